"""How long discs live, and where the hazard comes from."""

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.marks import band
from dashboard.reading import Units
from dashboard.theme import Ink, bare, dress

__all__ = ["hazard_figure", "life_figure"]


def life_figure(curve: pd.DataFrame, units: Units) -> go.Figure:
    """Draw the share of discs that have not failed prematurely, with its limits."""
    age, share = f"Age [{units.age.value}]", "Not failed [%]"
    if curve.empty:
        return bare("No disc life with a known age.", x=age, y=share)
    ages = units.per_year * curve["age_years"]
    figure = go.Figure(
        band(ages, 100 * curve["low"], 100 * curve["high"], Ink.BLUE, "95 % limits", step=True)
    )
    figure.add_scatter(
        x=ages,
        y=100 * curve["survival"],
        line={"shape": "hv", "color": Ink.BLUE, "width": 2},
        name="observed",
        customdata=curve["at_risk"],
        hovertemplate="%{y:.1f} % at %{x:.1f}; %{customdata} discs at this age<extra></extra>",
    )
    dress(figure, x=age, y=share)
    return figure.update_yaxes(range=[0, 102])


def hazard_figure(curve: pd.DataFrame, units: Units) -> go.Figure:
    """Draw the yearly hazard, split into what fitting and what wear bring."""
    age, hazard = f"Age [{units.age.value}]", "Hazard [1/year]"
    if curve.empty:
        return bare("No life model could be fitted.", x=age, y=hazard)
    ages = units.per_year * curve["age_years"]
    figure = go.Figure()
    for column, name, colour, dash in (
        ("installation", "installation", Ink.RUST, "dash"),
        ("wear", "wear", Ink.BLUE, "solid"),
        ("clean", "both, after a clean install", Ink.GREEN, "dot"),
    ):
        figure.add_scatter(
            x=ages,
            y=curve[column],
            name=name,
            line={"color": colour, "dash": dash, "width": 2.5},
            hovertemplate=f"{name}: %{{y:.3f}} a year at %{{x:.1f}}<extra></extra>",
        )
    dress(figure, x=age, y=hazard)
    return figure.update_yaxes(rangemode="tozero")
