"""What a change would have avoided, and how well discs were fitted."""

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.marks import limits, literal
from dashboard.figures.steps import broken
from dashboard.theme import Ink, bare, dress

__all__ = ["avoided_figure", "fitting_figure"]

_WHOLE = ("clean", "best practice", "ratio")


def avoided_figure(changes: pd.DataFrame) -> go.Figure:
    """Draw the failures each change would have avoided with their limits.

    Changes of the whole fleet are squares, single steps mended are diamonds.
    """
    avoided = "Premature failures avoided over the log [-]"
    known = changes.dropna(subset=["avoided"]) if len(changes) else changes
    if known.empty:
        return bare("What would have been avoided could not be reckoned.", x=avoided)
    figure = go.Figure()
    whole = known["change"].isin(_WHOLE)
    for rows, name, colour, symbol in (
        (known[~whole], "one step mended", Ink.RUST, "diamond"),
        (known[whole], "a change of the whole fleet", Ink.BLUE, "square"),
    ):
        shown = rows.iloc[::-1]
        figure.add_scatter(
            x=shown["avoided"],
            y=shown["about"].str.removeprefix("mended: ").map(literal).map(broken),
            name=name,
            mode="markers",
            marker={"symbol": symbol, "size": 10, "color": colour},
            error_x=limits(shown["avoided"], shown["avoided_low"], shown["avoided_high"], colour),
            customdata=shown[["avoided_low", "avoided_high"]],
            hovertemplate=(
                "%{x:.1f} failures [%{customdata[0]:.1f} to %{customdata[1]:.1f}]<extra></extra>"
            ),
        )
    dress(figure, x=avoided, y="", height=130 + 38 * len(known))
    figure.update_yaxes(ticks="outside", ticklen=8, tickcolor="rgba(0,0,0,0)")
    return figure.update_xaxes(rangemode="tozero", showgrid=True)


def fitting_figure(fitting: pd.DataFrame) -> go.Figure:
    """Draw, by year of fitting, the failures that install defects add to the first year."""
    added = "Per 100 installs"
    years = fitting[fitting["of"] == "year"] if len(fitting) else fitting
    known = years.dropna(subset=["per_100"]) if len(years) else years
    if known.empty:
        return bare("The fitting of no year could be judged.", x="Year fitted", y=added)
    figure = go.Figure(
        go.Scatter(
            x=known["name"].astype(int),
            y=known["per_100"],
            mode="lines+markers",
            line={"color": Ink.RUST, "dash": "dash", "width": 1.5},
            marker={"symbol": "square", "size": 9, "color": Ink.RUST},
            error_y=limits(known["per_100"], known["per_100_low"], known["per_100_high"], Ink.RUST),
            customdata=known[["per_100_low", "per_100_high", "installs"]],
            hovertemplate=(
                "%{y:.1f} [%{customdata[0]:.1f} to %{customdata[1]:.1f}] per 100;"
                " %{customdata[2]} installs in %{x}<extra></extra>"
            ),
        )
    )
    dress(figure, x="Year fitted", y=added)
    figure.update_xaxes(dtick=1, tickformat="d")
    return figure.update_yaxes(rangemode="tozero")
