"""How close every position runs to what its disc allows."""

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.marks import literal, spans, spoken
from dashboard.theme import Ink, bare, dress, faint

__all__ = ["duty_figure", "quarters_figure"]

_MARK = 9
_MOST_MARKS = 1_500
"""More positions than this are gathered: so many marks hide each other and draw for seconds."""


def duty_figure(duty: pd.DataFrame) -> go.Figure:
    """Draw each position's operating ratio against its limit, family by family."""
    ratio = "Operating ratio [% of burst pressure]"
    known = duty.dropna(subset=["operating_ratio"]) if len(duty) else duty
    if known.empty:
        return bare("No position has an operating ratio.", x=ratio)
    above = known["operating_ratio"] > known["limit"]
    marks = known.assign(what=known["position_id"], size=_MARK)
    if len(known) > _MOST_MARKS:
        marks = _gathered(known, above)
        above = marks["above"]
    figure = go.Figure()
    for within, name, colour, symbol in (
        (~above, "within its limit", Ink.BLUE, "circle-open"),
        (above, "above its limit", Ink.RED, "x"),
    ):
        rows = marks[within]
        count = int((known["operating_ratio"] > known["limit"]).eq(colour == Ink.RED).sum())
        figure.add_scatter(
            x=100 * rows["operating_ratio"],
            y=rows["family"].map(spoken),
            mode="markers",
            name=f"{name} ({count})",
            marker={"symbol": symbol, "color": colour, "size": rows["size"], "opacity": 0.85},
            customdata=list(zip(rows["what"].map(literal), 100 * rows["limit"], strict=True)),
            hovertemplate="%{customdata[0]}: %{x:.0f} %, limit %{customdata[1]:.0f} %"
            "<extra></extra>",
        )
    _mark_limits(figure, known)
    dress(figure, x=ratio, y="", height=150 + 44 * known["family"].nunique())
    return figure


def _gathered(known: pd.DataFrame, above: "pd.Series[bool]") -> pd.DataFrame:
    """Give one mark per family, limit and percent of ratio; its area grows with the positions."""
    whole = known["operating_ratio"].mul(100).round() / 100
    groups = known.assign(operating_ratio=whole, above=above).groupby(
        ["family", "limit", "above", "operating_ratio"], dropna=False, as_index=False
    )
    marks = groups.size().rename(columns={"size": "positions"})
    return marks.assign(
        what=marks["positions"].map("{:,} positions".format),
        size=4 + 18 * (marks["positions"] / marks["positions"].max()) ** 0.5,
    )


def _mark_limits(figure: go.Figure, known: pd.DataFrame) -> None:
    marks = known.dropna(subset=["limit"])[["family", "limit"]].drop_duplicates()
    figure.add_scatter(
        x=100 * marks["limit"],
        y=marks["family"].map(spoken),
        mode="markers",
        name="limit",
        marker={
            "symbol": "line-ns",
            "size": 24,
            "line": {"width": 2.5, "color": Ink.GREY},
            "color": faint(Ink.GREY),
        },
        hovertemplate="limit %{x:.0f} %<extra></extra>",
    )


def quarters_figure(quarters: pd.DataFrame, limit: float) -> go.Figure:
    """Draw the operating ratio of a position's discs quarter by quarter.

    `limit` is the highest ratio its disc allows, NaN when none is stated.
    """
    ratio = "Operating ratio [%]"
    known = quarters.dropna(subset=["operating_ratio"]) if len(quarters) else quarters
    if known.empty:
        return bare("The pressure history does not reach this position.", x="Date", y=ratio)
    figure = go.Figure()
    for basis, name, colour, dash in (
        ("history", "seen by the historian", Ink.BLUE, "solid"),
        ("nominal", "nominal, nothing seen", Ink.GREY, "dot"),
    ):
        rows = known[known["pressure_basis"] == basis]
        if rows.empty:
            continue
        figure.add_scatter(
            x=spans(rows["from_on"], rows["to_on"]),
            y=spans(100 * rows["operating_ratio"], 100 * rows["operating_ratio"]),
            mode="lines",
            name=name,
            line={"color": colour, "width": 3, "dash": dash},
            hovertemplate="%{x|%Y-%m-%d}: %{y:.0f} %<extra></extra>",
        )
    dress(figure, x="Date", y=ratio, height=260)
    if pd.notna(limit):
        figure.add_hline(
            y=100 * limit,
            line={"color": Ink.RED, "width": 1.5, "dash": "dash"},
            annotation={"text": "highest allowed", "font": {"color": Ink.RED}},
        )
    return figure
