"""Which install steps cost how many failures."""

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.marks import limits, literal
from dashboard.theme import Ink, bare, dress

__all__ = ["broken", "steps_figure"]


def steps_figure(defects: pd.DataFrame) -> go.Figure:
    """Draw the failures owed to each install step with their limits, worst on top."""
    owed = "Failures owed to this defect [-]"
    if defects.empty:
        return bare("No install step could be judged.", x=owed)
    shown = defects.iloc[::-1]
    figure = go.Figure(
        go.Scatter(
            x=shown["failures_owed"],
            y=shown["about"].map(literal).map(broken),
            mode="markers",
            marker={"symbol": "diamond", "size": 10, "color": Ink.RUST},
            error_x=limits(
                shown["failures_owed"],
                shown["failures_owed_low"],
                shown["failures_owed_high"],
                Ink.RUST,
            ),
            customdata=shown[["failures_owed_low", "failures_owed_high", "defect_pct"]],
            hovertemplate=(
                "%{x:.1f} failures [%{customdata[0]:.1f} to %{customdata[1]:.1f}];"
                " amiss on %{customdata[2]:.0f} % of records<extra></extra>"
            ),
        )
    )
    dress(figure, x=owed, y="", height=90 + 38 * len(shown))
    figure.update_layout(margin={"t": 8})
    figure.update_yaxes(ticks="outside", ticklen=8, tickcolor="rgba(0,0,0,0)")
    return figure.update_xaxes(rangemode="tozero", showgrid=True)


def broken(text: str) -> str:
    """Break a long label over two lines at the space nearest its middle."""
    if len(text) <= 34:
        return text
    spaces = [place for place, letter in enumerate(text) if letter == " "]
    if not spaces:
        return text
    middle = min(spaces, key=lambda place: abs(place - len(text) / 2))
    return f"{text[:middle]}<br>{text[middle + 1 :]}"
