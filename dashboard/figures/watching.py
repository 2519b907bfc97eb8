"""Observed less expected: when the quality of installation changed."""

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.marks import literal
from dashboard.theme import Ink, bare, dress

__all__ = ["MOST_LINES", "watch_figure"]

MOST_LINES = 5

_LOOKS = (
    (Ink.BLUE, "solid"),
    (Ink.RUST, "dash"),
    (Ink.GREEN, "dot"),
    (Ink.PLUM, "dashdot"),
    (Ink.OCHRE, "longdash"),
)


def watch_figure(path: pd.DataFrame, signals: pd.DataFrame, chart: str, what: str) -> go.Figure:
    """Draw one family of charts: the whole, and whoever signalled, else the sites.

    A level line is as expected, a rising one more; circles mark the change-points, triangles
    the days on which the charts saw them.
    """
    axis = f"{what} less expected [-]"
    rows = path[path["chart"] == chart] if len(path) else path
    if rows.empty:
        return bare("No chart of this kind was kept.", x="Date", y=axis)
    seen = signals[signals["chart"] == chart] if len(signals) else signals
    figure = go.Figure()
    for (kind, group), (colour, dash) in zip(_drawn(rows, seen), _LOOKS, strict=False):
        line = rows[(rows["kind"] == kind) & (rows["group"] == group)]
        name = "all" if kind == "all" else literal(f"{kind} {group}")
        figure.add_scatter(
            x=line["on"],
            y=line["difference"],
            name=name,
            mode="lines",
            line={"color": colour, "dash": dash, "width": 2},
            customdata=line[["observed", "expected"]],
            hovertemplate=(
                f"{name}, %{{x|%Y-%m}}: %{{customdata[0]:.1f}} observed,"
                " %{customdata[1]:.1f} expected<extra></extra>"
            ),
        )
        own = seen[(seen["kind"] == kind) & (seen["group"] == group)] if len(seen) else seen
        for signal in own.to_dict("records"):
            _mark(figure, line, signal, colour)
    dress(figure, x="Date", y=axis)
    return figure.add_hline(y=0, line={"color": Ink.GREY, "width": 1})


def _drawn(rows: pd.DataFrame, seen: pd.DataFrame) -> list[tuple[str, str]]:
    every = list(rows[["kind", "group"]].drop_duplicates().itertuples(index=False, name=None))
    told = set(seen[["kind", "group"]].itertuples(index=False, name=None)) if len(seen) else set()
    first = [pair for pair in every if pair[0] == "all"]
    wanted = [*first, *(pair for pair in every if pair in told)]
    wanted += [pair for pair in every if pair[0] == "site"] or every
    return list(dict.fromkeys(wanted))[:MOST_LINES]


def _mark(figure: go.Figure, line: pd.DataFrame, signal: dict, colour: str) -> None:
    days = pd.DatetimeIndex([signal["since"], signal["signalled_on"]])
    at = line.set_index("on")["difference"]
    height = [float(at.asof(day)) if day >= at.index[0] else 0.0 for day in days]
    figure.add_scatter(
        x=days,
        y=height,
        mode="markers",
        showlegend=False,
        marker={
            "color": colour,
            "size": 11,
            "symbol": [
                "circle-open",
                "triangle-up" if signal["direction"] == "rose" else "triangle-down",
            ],
            "line": {"width": 2, "color": colour},
        },
        customdata=["change-point", "seen"],
        hovertemplate="%{customdata}, %{x|%Y-%m-%d}<extra></extra>",
    )
