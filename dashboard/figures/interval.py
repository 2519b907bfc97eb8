"""What a replacement age costs."""

import math

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.marks import band
from dashboard.reading import Units
from dashboard.theme import Ink, bare, dress, faint

__all__ = ["cost_figure", "flat_region"]

_MOST_OF_LEAST = 4.0
_BEYOND = 1.6
"""Times the oldest age to compare that the figure reaches."""

FLAT = 1.02
"""Within 2 % of the least cost an age is as good as any other; the notes say the same."""


def flat_region(curve: pd.DataFrame) -> tuple[float, float] | None:
    """Give the ages [months] between which the cost stays within 2 % of its least."""
    if curve.empty:
        return None
    near = curve.loc[curve["cost_per_year"] <= FLAT * curve["cost_per_year"].min(), "age_months"]
    return float(near.min()), float(near.max())


def cost_figure(
    curve: pd.DataFrame, units: Units, currency: str, marks: dict[str, float] | None = None
) -> go.Figure:
    """Draw cost a year against replacement age, the flat region, and ages to compare.

    Parameters
    ----------
    curve : DataFrame
        `age_months cost_per_year low high`.
    units : Units
        The reader's units.
    currency : str
        Unit of the cost.
    marks : dict of str to float
        Ages [months] drawn as upright lines, by name.
    """
    age, cost = f"Replace at age [{units.age.value}]", f"Cost [{currency}/year]"
    if curve.empty:
        return bare("No cost curve for this position.", x=age, y=cost)
    ages = units.per_month * curve["age_months"]
    figure = go.Figure(band(ages, curve["low"], curve["high"], Ink.BLUE, "95 % limits"))
    figure.add_scatter(
        x=ages,
        y=curve["cost_per_year"],
        name="cost a year",
        mode="lines",
        line={"color": Ink.BLUE, "width": 2.5},
        hovertemplate="%{y:,.0f} a year at %{x:.1f}<extra></extra>",
    )
    low, high = flat_region(curve) or (0.0, 0.0)
    figure.add_vrect(
        x0=units.per_month * low,
        x1=units.per_month * high,
        fillcolor=faint(Ink.GREEN, 0.14),
        line_width=0,
        annotation_text="within 2 % of the least cost",
        annotation_position="bottom left",
    )
    for place, (name, months) in enumerate((marks or {}).items()):
        if math.isfinite(months):
            _upright(figure, units.per_month * months, name, place)
    dress(figure, x=age, y=cost)
    # What is compared lies far left of the oldest age reckoned; the rest is one level line.
    compared = [months for months in (marks or {}).values() if math.isfinite(months)]
    if compared:
        figure.update_xaxes(range=[0, units.per_month * _BEYOND * max(*compared, low, 6.0)])
    # Replacing at a very young age costs without bound; the eye needs the least cost.
    top = min(float(curve["high"].max()), _MOST_OF_LEAST * float(curve["cost_per_year"].min()))
    return figure.update_yaxes(range=[0, top])


def _upright(figure: go.Figure, at: float, name: str, place: int) -> None:
    dashes = ("solid", "dash", "dot")
    colours = (Ink.GREEN, Ink.OCHRE, Ink.RED)
    figure.add_vline(
        x=at,
        line={"color": colours[place % 3], "dash": dashes[place % 3], "width": 2},
        annotation={"text": name, "y": 1 - 0.09 * place, "yanchor": "top"},
    )
