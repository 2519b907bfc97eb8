"""How the fleet is doing: rate, money and records, year by year."""

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.marks import band, limits, literal, spoken
from dashboard.theme import Ink, bare, dress

__all__ = [
    "costs_figure",
    "cumulative_figure",
    "quality_figure",
    "records_figure",
    "sites_figure",
    "trend_figure",
]

_LOOKS = (
    (Ink.BLUE, "circle", "solid"),
    (Ink.RUST, "square", "dash"),
    (Ink.GREEN, "triangle-up", "dot"),
    (Ink.PLUM, "diamond", "dashdot"),
    (Ink.OCHRE, "x", "longdash"),
)


def trend_figure(trend: pd.DataFrame) -> go.Figure:
    """Draw premature failures per 100 disc-years, each year with its limits."""
    rate = "Per 100 disc-years"
    if trend.empty:
        return bare("No disc-year was observed.", x="Year", y=rate)
    sites = list(dict.fromkeys(trend["site"]))
    figure = go.Figure()
    for place, site in enumerate(sites):
        rows = trend[trend["site"] == site]
        colour, symbol, dash = _LOOKS[place % len(_LOOKS)]
        shift = 0.07 * (place - (len(sites) - 1) / 2)
        figure.add_scatter(
            x=rows["year"] + shift,
            y=rows["rate"],
            name="all sites" if site == "all" else literal(site),
            mode="lines+markers",
            line={"color": colour, "dash": dash, "width": 1.5},
            marker={"symbol": symbol, "size": 9, "color": colour},
            error_y=limits(rows["rate"], rows["low"], rows["high"], colour),
            customdata=rows[["low", "high", "premature", "disc_years"]],
            hovertemplate=(
                "%{y:.1f} [%{customdata[0]:.1f} to %{customdata[1]:.1f}]; %{customdata[2]}"
                " failures in %{customdata[3]:.0f} disc-years<extra></extra>"
            ),
        )
    dress(figure, x="Year", y=rate)
    figure.update_xaxes(dtick=1, tickformat="d")
    return figure.update_yaxes(rangemode="tozero")


def sites_figure(sites: pd.DataFrame) -> go.Figure:
    """Draw each site's failures over those its duty explains, with limits; 1 is as expected."""
    ratio = "Observed over expected on this duty [-]"
    known = sites.dropna(subset=["rate_ratio"]).iloc[::-1] if len(sites) else sites
    if known.empty:
        return bare("No site has failures enough to compare.", x=ratio)
    figure = go.Figure(
        go.Scatter(
            x=known["rate_ratio"],
            y=known["site"].map(literal),
            mode="markers",
            marker={"symbol": "diamond", "size": 10, "color": Ink.BLUE},
            error_x=limits(known["rate_ratio"], known["low"], known["high"], Ink.BLUE),
            customdata=known[["low", "high", "events", "expected"]],
            hovertemplate=(
                "%{x:.2f} [%{customdata[0]:.2f} to %{customdata[1]:.2f}]; %{customdata[2]:.0f}"
                " failures, %{customdata[3]:.0f} expected<extra></extra>"
            ),
        )
    )
    figure.add_vline(x=1, line={"color": Ink.GREY, "dash": "dash", "width": 1.5})
    dress(figure, x=ratio, y="", height=110 + 38 * len(known))
    figure.update_layout(margin={"t": 8})
    return figure.update_xaxes(rangemode="tozero", showgrid=True)


def cumulative_figure(curve: pd.DataFrame) -> go.Figure:
    """Draw the premature failures per position added up; a straight line is a steady rate."""
    so_far = "Per position so far [-]"
    if curve.empty:
        return bare("No premature failure is on record.", x="Date", y=so_far)
    figure = go.Figure(
        band(curve["on"], curve["low"], curve["high"], Ink.BLUE, "95 % limits", step=True)
    )
    figure.add_scatter(
        x=curve["on"],
        y=curve["mean"],
        name="mean of all positions",
        line={"shape": "hv", "color": Ink.BLUE, "width": 2},
        customdata=curve["positions"],
        hovertemplate="%{y:.2f} by %{x|%Y-%m}; %{customdata:.0f} positions watched<extra></extra>",
    )
    dress(figure, x="Date", y=so_far)
    return figure.update_yaxes(rangemode="tozero")


def costs_figure(costs: pd.DataFrame, currency: str) -> go.Figure:
    """Draw what each year cost: failures owed to installation, other failures, planned."""
    money = f"Cost [{currency}]"
    if costs.empty:
        return bare("No cost is on record.", x="Year", y=money)
    other = costs["premature_cost"] - costs["owed_cost"]
    figure = go.Figure()
    for values, name, colour, pattern in (
        (costs["owed_cost"], "premature, owed to installation", Ink.RUST, "x"),
        (other, "premature, other", Ink.OCHRE, "/"),
        (costs["planned_cost"], "planned", Ink.BLUE, ""),
    ):
        figure.add_bar(
            x=costs["year"],
            y=values,
            name=name,
            marker={
                "color": colour,
                "pattern": {
                    "shape": pattern,
                    "size": 7,
                    "fillmode": "overlay",
                    "fgcolor": "#ffffff",
                    "fgopacity": 0.75,
                },
            },
            hovertemplate=f"{name}: %{{y:,.0f}} {currency}<extra></extra>",
        )
    dress(figure, x="Year", y=money)
    figure.update_layout(barmode="stack", bargap=0.35)
    return figure.update_xaxes(dtick=1, tickformat="d")


def quality_figure(trend: pd.DataFrame) -> go.Figure:
    """Draw the share of recorded install checks that passed, year by year."""
    share = "Install checks passed [%]"
    known = trend.dropna(subset=["install_quality"]) if len(trend) else trend
    if known.empty:
        return bare("No install check is on record.", x="Year", y=share)
    return _lines(known.assign(share=known["install_quality"]), "site", share)


def records_figure(quality: pd.DataFrame) -> go.Figure:
    """Draw the share of records that hold each thing the job needs, year by year."""
    share = "Recorded [%]"
    if quality.empty:
        return bare("No record to judge.", x="Year", y=share)
    # Each check has its line in the table; here they are drawn as one, their mean.
    kind = quality["measure"].str.partition(":")[0]
    kind = kind.replace("check recorded", "install checks recorded, mean")
    drawn = quality.assign(measure=kind).groupby(["measure", "year"], sort=False)["share"].mean()
    return _lines(drawn.reset_index(), "measure", share)


def _lines(frame: pd.DataFrame, by: str, y: str) -> go.Figure:
    figure = go.Figure()
    for place, (name, rows) in enumerate(frame.groupby(by, sort=False)):
        colour, symbol, dash = _LOOKS[place % len(_LOOKS)]
        figure.add_scatter(
            x=rows["year"],
            y=100 * rows["share"],
            name=spoken(name),
            mode="lines+markers",
            line={"color": colour, "dash": dash, "width": 2},
            marker={"symbol": symbol, "size": 8, "color": colour},
            hovertemplate=f"{spoken(name)}: %{{y:.0f}} % in %{{x}}<extra></extra>",
        )
    dress(figure, x="Year", y=y)
    figure.update_xaxes(dtick=1 if frame["year"].nunique() <= 11 else 2, tickformat="d")
    return figure.update_yaxes(range=[0, 103])
