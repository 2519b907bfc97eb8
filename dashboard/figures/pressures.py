"""What the discs of one position stood under: operating pressure against the burst pressure."""

import pandas as pd
import plotly.graph_objects as go

from analytics.units import Dimension, convert_to
from dashboard.figures.marks import literal
from dashboard.reading import Units
from dashboard.theme import ENDINGS, Ink, bare, dress

__all__ = ["operating_pressures", "pressures_figure"]

_BASES = {
    "history": ("operating, 95th percentile of the history", "solid"),
    "nominal": ("operating, as the positions table states", "dot"),
}


def operating_pressures(lives: pd.DataFrame) -> pd.DataFrame:
    r"""Put beside each life the pressure it ran at and the least at which its disc may burst.

    .. math:: p = R\,p_{min} + p_{back}

    Parameters
    ----------
    lives : DataFrame, one row per life
        Needs `operating_ratio` (definition min_burst) [-], `minimum_burst_bar` and
        `back_pressure_barg`; a back pressure left blank is none.

    Returns
    -------
    DataFrame
        The lives with `operating_pressure_barg` and `minimum_burst_barg`.

    Examples
    --------
    >>> life = {"operating_ratio": [0.8], "minimum_burst_bar": [5.0], "back_pressure_barg": [1.0]}
    >>> operating_pressures(pd.DataFrame(life))["operating_pressure_barg"].item()
    5.0
    """
    least = lives["minimum_burst_bar"].astype(float)
    back = lives["back_pressure_barg"].astype(float).fillna(0.0)
    return lives.assign(
        operating_pressure_barg=lives["operating_ratio"].astype(float) * least + back,
        minimum_burst_barg=least + back,
    )


def pressures_figure(lives: pd.DataFrame, units: Units) -> go.Figure:
    """Draw each disc's operating pressure, its least burst pressure, and peaks at its ending.

    Parameters
    ----------
    lives : DataFrame
        Lives of one position, as `operating_pressures` gives them.
    units : Units
        The reader's units.
    """
    unit = f"{units.pressure.value}g"
    axis = f"Pressure [{unit}]"
    known = lives.dropna(subset=["minimum_burst_barg"]) if len(lives) else lives
    if known.empty:
        return bare("No pressure is known for the discs of this position.", x="Date", y=axis)
    figure = go.Figure()
    _steps(figure, known, "minimum_burst_barg", "least burst pressure", Ink.GREY, "dash", unit)
    for basis, (name, dash) in _BASES.items():
        rows = known[known["pressure_basis"] == basis]
        _steps(figure, rows, "operating_pressure_barg", name, Ink.BLUE, dash, unit)
    _peaks(figure, lives, unit)
    dress(figure, x="Date", y=axis, height=300)
    return figure.update_yaxes(rangemode="tozero")


def _steps(
    figure: go.Figure, rows: pd.DataFrame, column: str, name: str, colour: str, dash: str, unit: str
) -> None:
    """Draw one level line per life, all as one trace."""
    if rows.empty:
        return
    levels = _in(unit, rows[column])
    starts = rows["installed_on"].fillna(rows["observed_from"])
    spans = zip(starts, rows["ended_on"], levels, rows["life_id"].map(literal), strict=True)
    x, y, ids = [], [], []
    for start, end, level, life in spans:
        x += [start, end, None]
        y += [level, level, None]
        ids += [life, life, None]
    figure.add_scatter(
        x=x,
        y=y,
        customdata=ids,
        mode="lines",
        name=name,
        line={"color": colour, "dash": dash, "width": 2.5},
        hovertemplate=f"%{{customdata}}: %{{y:.3~r}} {unit}<extra></extra>",
    )


def _peaks(figure: go.Figure, lives: pd.DataFrame, unit: str) -> None:
    peaks = lives.dropna(subset=["peak_pressure_barg"])
    for ending, rows in peaks.groupby("ending", sort=False):
        look = ENDINGS[str(ending)]
        figure.add_scatter(
            x=rows["ended_on"],
            y=_in(unit, rows["peak_pressure_barg"]),
            mode="markers",
            name=f"peak at the ending, {look.label}",
            marker={"symbol": look.symbol, "size": 11, "color": look.colour},
            customdata=rows["life_id"].map(literal),
            hovertemplate=f"%{{customdata}}: peak %{{y:.3~r}} {unit}<extra></extra>",
        )


def _in(unit: str, values: "pd.Series[float]") -> list[float]:
    gauge = convert_to(values.astype(float).to_numpy(), unit, Dimension.GAUGE_PRESSURE)
    return [float(value) for value in gauge]
