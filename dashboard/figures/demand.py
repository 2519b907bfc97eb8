"""What one store will need of one disc code, with the stock laid over it."""

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.marks import band
from dashboard.theme import Ink, bare, dress

__all__ = ["demand_figure"]


def demand_figure(weekly: pd.DataFrame) -> go.Figure:
    """Draw the running total of demand as a fan, with usable stock and orders due."""
    when, pieces = "Week", "Pieces, running total [-]"
    if weekly.empty:
        return bare("No demand forecast for this store and disc code.", x=when, y=pieces)
    weeks = weekly["week_start"]
    figure = go.Figure(
        band(weeks, weekly["p50"], weekly["p95"], Ink.BLUE, "half to 19 in 20 times", step=True)
    )
    for column, name, colour, dash, width in (
        ("mean", "demand, mean", Ink.BLUE, "solid", 2),
        ("p90", "demand, 9 in 10", Ink.BLUE, "dot", 1.5),
        ("stock", "usable stock with orders due", Ink.RUST, "dash", 2.5),
    ):
        figure.add_scatter(
            x=weeks,
            y=weekly[column],
            name=name,
            mode="lines",
            line={
                "color": colour,
                "dash": dash,
                "width": width,
                "shape": "linear" if column == "mean" else "hv",
            },
            hovertemplate=f"{name}: %{{y:.1f}} by %{{x|%Y-%m-%d}}<extra></extra>",
        )
    dress(figure, x=when, y=pieces)
    return figure.update_yaxes(rangemode="tozero")
