"""The life of one position: its discs one after another."""

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.marks import literal, spans
from dashboard.theme import ENDINGS, bare, dress

__all__ = ["timeline_figure"]


def timeline_figure(lives: pd.DataFrame) -> go.Figure:
    """Draw every disc of a position from fitting to ending, with the ending's mark."""
    if lives.empty:
        return bare("No disc of this position is on record.", x="Date")
    ordered = lives.sort_values("ended_on").assign(row=range(len(lives), 0, -1))
    figure = go.Figure()
    for ending, rows in ordered.groupby("ending", sort=False):
        look = ENDINGS[str(ending)]
        figure.add_scatter(
            x=spans(rows["installed_on"].fillna(rows["ended_on"]), rows["ended_on"]),
            y=spans(rows["row"], rows["row"]),
            mode="lines",
            line={"color": look.colour, "width": 7},
            hoverinfo="skip",
            showlegend=False,
        )
        figure.add_scatter(
            x=rows["ended_on"],
            y=rows["row"],
            mode="markers",
            name=look.label,
            marker={
                "symbol": look.symbol,
                "size": 13,
                "color": look.colour,
                "line": {"width": 2, "color": look.colour},
            },
            customdata=list(zip(rows["life_id"].map(literal), rows["lower_years"], strict=True)),
            hovertemplate=(
                f"%{{customdata[0]}}: {look.label} on %{{x|%Y-%m-%d}}"
                " at %{customdata[1]:.1f} years<extra></extra>"
            ),
        )
    dress(figure, x="Date", y="", height=130 + 30 * len(ordered))
    return figure.update_yaxes(
        tickvals=ordered["row"].tolist(), ticktext=ordered["life_id"].map(literal).tolist()
    )
