"""How the fleet is doing: rates per disc-year, cost, and how good the records are."""

import numpy as np
import pandas as pd

from analytics.estimate import Estimate
from analytics.installs.checklist import DEFECTS
from analytics.lives.build import DAYS_PER_YEAR
from analytics.lives.events import Ending
from analytics.survival.scores import garwood_limits

__all__ = [
    "FLEET",
    "dangerous_events",
    "dangerous_rate",
    "data_quality",
    "disc_years_by_year",
    "usage_log",
    "yearly_costs",
    "yearly_trend",
]

FLEET = "all"
"""Stands in the `site` column for the whole fleet."""

PER_DISC_YEARS = 100.0


def disc_years_by_year(lives: pd.DataFrame) -> pd.DataFrame:
    """Split the time each disc was watched over the calendar years.

    Parameters
    ----------
    lives : DataFrame, one row per life
        Needs `observed_from` and `ended_on`.

    Returns
    -------
    DataFrame, shape (n_lives, n_years)
        Years watched, one column per calendar year. [years]
    """
    start, end = lives["observed_from"], lives["ended_on"]
    if lives.empty:
        return pd.DataFrame(index=lives.index)
    years = np.arange(int(start.min().year), int(end.max().year) + 2)
    edges = (years - 1970).astype("datetime64[Y]").astype("datetime64[s]").astype(np.int64)
    since, until = (
        day.to_numpy().astype("datetime64[s]").astype(np.int64)[:, None] for day in (start, end)
    )
    overlap = np.minimum(until, edges[1:]) - np.maximum(since, edges[:-1])
    watched = np.maximum(overlap, 0) / 86_400 / DAYS_PER_YEAR
    return pd.DataFrame(watched, index=lives.index, columns=[int(year) for year in years[:-1]])


def yearly_trend(lives: pd.DataFrame) -> pd.DataFrame:
    """Give premature failures per 100 disc-years by calendar year, site and fleet.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.

    Returns
    -------
    DataFrame
        `year site disc_years premature rate low high install_quality`; the rate
        with exact 95 % Poisson limits [1/100 disc-years], the quality as checks
        passed of checks recorded on that year's installs [-].
    """
    watched = disc_years_by_year(lives)
    premature = lives["ending"].eq(Ending.PREMATURE.value)
    parts = []
    for site, rows in _sites(lives):
        exposure = watched.loc[rows].sum()
        ended = lives.loc[rows & premature, "ended_on"].dt.year.value_counts()
        count = ended.reindex(exposure.index, fill_value=0)
        limits = [garwood_limits(int(seen)) for seen in count]
        per = PER_DISC_YEARS / exposure.where(exposure > 0)
        parts.append(
            pd.DataFrame(
                {
                    "year": exposure.index,
                    "site": site,
                    "disc_years": exposure.to_numpy(),
                    "premature": count.to_numpy(),
                    "rate": (count * per).to_numpy(),
                    "low": [limit.low for limit in limits] * per.to_numpy(),
                    "high": [limit.high for limit in limits] * per.to_numpy(),
                    "install_quality": _quality(lives[rows])
                    .reindex(exposure.index)
                    .to_numpy(dtype=float),
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _sites(lives: pd.DataFrame) -> list[tuple[str, pd.Series]]:
    everything = pd.Series(True, index=lives.index)
    sites = [(str(name), lives["site"].eq(name)) for name in sorted(lives["site"].unique())]
    return [(FLEET, everything), *sites]


def _quality(lives: pd.DataFrame) -> pd.Series:
    """Checks passed of checks recorded, by year of install."""
    by_year = lives.groupby(lives["installed_on"].dt.year)[["checks_passed", "checks_recorded"]]
    total = by_year.sum().astype(float)
    return total["checks_passed"] / total["checks_recorded"].where(total["checks_recorded"] > 0)


def dangerous_events(lives: pd.DataFrame, withstood: pd.DataFrame) -> pd.DataFrame:
    """List every sign of a disc that does not open when it should.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    withstood : DataFrame
        Pressures above mark plus tolerance that discs stayed whole at, as
        `analytics.duty.withstood` reads them from the historian.

    Returns
    -------
    DataFrame, newest first
        `position_id date what`.
    """
    rows = lives[lives["ending"].eq(Ending.DANGEROUS.value)]
    logged = pd.DataFrame(
        {
            "position_id": rows["position_id"],
            "date": rows["ended_on"],
            "what": np.where(
                rows["reason"].eq("failed_to_open"),
                "failed to open",
                "stayed whole although the pressure went above its marked pressure plus tolerance",
            ),
        }
    )
    # concat of an empty frame would let its dtypes leak into the other
    parts = [part for part in (logged, withstood) if len(part)] or [logged]
    return pd.concat(parts).sort_values("date", ascending=False, ignore_index=True)


def dangerous_rate(lives: pd.DataFrame, events: int) -> Estimate | None:
    """Give dangerous events per disc-year with 95 % limits.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame, for the time watched.
    events : int
        Dangerous events seen in it.

    Returns
    -------
    Estimate or None
        Rate [1/years]; with no event the upper limit is the one-sided 95 % bound
        -ln(0.05)/T. None when nothing was watched.

    Notes
    -----
    0 events in 50 disc-years leave a rate of up to 0.0599 a year.
    """
    watched = float(disc_years_by_year(lives).to_numpy().sum()) if len(lives) else 0.0
    if watched <= 0:
        return None
    return garwood_limits(events, exposure=watched, confidence=0.95 if events else 0.90)


def yearly_costs(lives: pd.DataFrame, share_owed: pd.Series) -> pd.DataFrame:
    """Add up what endings cost by calendar year.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    share_owed : Series, indexed by life_id
        Share of each premature failure owed to the installation. [-]

    Returns
    -------
    DataFrame
        `year premature_cost owed_cost planned_cost`, in the currency of the logs.
    """
    cost = lives["cost"].astype(float).fillna(0.0)
    premature = lives["ending"].eq(Ending.PREMATURE.value)
    planned = lives["ending"].isin([Ending.PLANNED.value, Ending.OPPORTUNITY.value])
    share = lives["life_id"].map(share_owed).astype(float).fillna(0.0)
    by_year = pd.DataFrame(
        {
            "year": lives["ended_on"].dt.year,
            "premature_cost": cost.where(premature, 0.0),
            "owed_cost": (cost * share).where(premature, 0.0),
            "planned_cost": cost.where(planned, 0.0),
        }
    )
    return by_year.groupby("year", as_index=False).sum()


def usage_log(lives: pd.DataFrame, positions: pd.DataFrame) -> pd.DataFrame:
    """List every disc that had to be replaced: one row per ended life.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    positions : DataFrame
        Needs `position_id`, `store`, `disc_code`.

    Returns
    -------
    DataFrame
        `store disc_code used_on`; the code is the one its position asks for.
    """
    over = lives[lives["ending"].ne(Ending.IN_SERVICE.value)]
    place = positions.set_index("position_id").loc[over["position_id"], ["store", "disc_code"]]
    return place.assign(used_on=over["ended_on"].to_numpy()).reset_index(drop=True)


def data_quality(lives: pd.DataFrame) -> pd.DataFrame:
    """Say by year what share of the records holds what the models ask for.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.

    Returns
    -------
    DataFrame
        `year measure share`: of that year's installs, each check recorded and the
        torque; of that year's ended lives, the install date; of its bursts, the
        cause. [-]
    """
    fitted = lives["installed_on"].dt.year
    ended = lives["ended_on"].dt.year
    over = ~lives["ending"].eq(Ending.IN_SERVICE.value)
    burst = lives["reason"].eq("burst")
    measures: list[tuple[str, pd.Series, pd.Series]] = [
        ("install date known", lives.loc[over, "age_known"], ended[over]),
        (
            "cause of burst known",
            lives.loc[burst, "ending"].ne(Ending.UNCLEAR.value),
            ended[burst],
        ),
        ("operating ratio from the tag", lives["ratio_basis"].eq("tag"), fitted),
        ("pressure history", lives["pressure_basis"].eq("history"), fitted),
        *[(f"check recorded: {name}", lives[name].notna(), fitted) for name in DEFECTS],
    ]
    parts = [
        values.astype(float)
        .groupby(year)
        .mean()
        .rename("share")
        .reset_index(name="share")
        .set_axis(["year", "share"], axis=1)
        .assign(measure=name)
        for name, values, year in measures
        if len(values)
    ]
    if not parts:
        return pd.DataFrame(columns=["year", "measure", "share"])
    table = pd.concat(parts, ignore_index=True)[["year", "measure", "share"]]
    return table.astype({"year": int})
