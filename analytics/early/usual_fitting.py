"""What would discs fitted as the fleet usually fits them have suffered, month by month?

Every crew's and site's work is held against this one measure: the installation hazard of the
fitted model with the fleet's mean prevalence of defects, on the lives that were watched.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.days import day_spans
from analytics.early.crews_and_lots import group_rates
from analytics.errors import NotEstimable
from analytics.survival.fleet_data import (
    FleetData,
    defect_probabilities,
    event_weights,
    wear_of_lives,
)
from analytics.survival.law import LifeLaw, cumulative_hazard, hazard, middle_of, part_of
from analytics.survival.model import LifeModel, law_for

__all__ = [
    "Usual",
    "dates",
    "levels",
    "monthly",
    "other_failures",
    "reached_by_change",
    "shares",
    "usual_fitting",
]

YEAR_DAYS = 365.25
MONTH_DAYS = YEAR_DAYS / 12

_DRAWS = 50
_AGES = 2001
_BLOCK = 20_000
_YOUNGEST = 1 / YEAR_DAYS
"""A falling hazard is infinite at age 0: an age of 0 counts as a day. [years]"""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """Lives in the fit, what befell them, and what usual fitting led one to expect.

    Attributes
    ----------
    lives : DataFrame, n rows
        Those of the lives frame that entered the fit.
    begins : Timestamp
        First day anything was watched.
    edges : ndarray, shape (m + 1,)
        Edges of the months since `begins`; the last is the last day watched. [days]
    fitted, watched, ended : ndarray, shape (n,)
        When the disc was fitted, first watched and last known to be whole or, when it failed,
        taken to have failed: the middle of what is known. [days since `begins`]
    found : ndarray, shape (n,)
        When the end was found. [days since `begins`]
    events : ndarray, shape (n,)
        Premature failures, parts of one where unclear. [-]
    install, wear : ndarray, shape (n,)
        Usual installation hazard and wear hazard at the last age. [1/years]
    duty : ndarray, shape (n, n_wear)
        Wear covariates, equivalent ones where the duty changed. [-]
    expected : ndarray, shape (n,)
        Installation failures expected while watched. [failures]
    ages, cumulative : ndarray, shape (k,)
        The usual cumulative installation hazard by age. [years], [-]
    wearing : LifeLaw
        Life by the mean of the parameter draws, shape (1, n).
    """

    lives: pd.DataFrame
    begins: pd.Timestamp
    edges: Array
    fitted: Array
    watched: Array
    ended: Array
    found: Array
    events: Array
    install: Array
    wear: Array
    duty: Array
    expected: Array
    ages: Array
    cumulative: Array
    wearing: LifeLaw

    @property
    def years(self) -> float:
        """Years watched."""
        return float(self.edges[-1]) / YEAR_DAYS


def usual_fitting(lives: pd.DataFrame, fleet: FleetData, model: LifeModel) -> Usual:
    """Hold every life against the fleet's usual fitting.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    fleet : FleetData
        What the model was fitted to.
    model : LifeModel
        The model in use.

    Returns
    -------
    Usual
        Scaled so that as many installation failures are expected as were observed, each failure
        counting by the installation's share of its hazard.

    Raises
    ------
    NotEstimable
        If the model has no installation hazard.
    """
    if model.hazard_draws is None:
        raise NotEstimable(
            "watching the quality of installation needs a model that tells installation and "
            "wear apart: install checks on record, some of them failed"
        )
    kept = np.zeros(len(lives), dtype=bool)
    kept[fleet.life] = True
    rows = lives[kept].reset_index(drop=True)
    events = event_weights(fleet, lives).to_numpy()[kept]
    mean = defect_probabilities(fleet.design, lives).mean(axis=0)
    end, entry = rows["age_years"].to_numpy(dtype=float), rows["entry_years"].to_numpy(dtype=float)
    age = np.where(events > 0, (rows["lower_years"] + rows["upper_years"]).to_numpy() / 2, end)
    age = np.maximum(age, np.maximum(entry, _YOUNGEST))
    defects = np.broadcast_to(mean, (len(rows), len(mean)))
    duty = wear_of_lives(fleet, lives)[kept]
    law = part_of(law_for(model, fleet, defects, duty), draws=slice(_DRAWS))
    install, wear = (part.mean(axis=0) for part in hazard(law, age))
    ages, cumulative = _by_age(float(age.max()), law)
    observed = float((events * install / (install + wear)).sum())
    expected = np.interp(age, ages, cumulative) - np.interp(entry, ages, cumulative)
    scale = observed / max(float(expected.sum()), 1e-12)
    begins = pd.Timestamp(rows["observed_from"].min()).normalize()
    found = _days(rows["ended_on"] - begins)
    fitted = found - end * YEAR_DAYS
    return Usual(
        lives=rows,
        begins=begins,
        edges=_months(float(found.max())),
        fitted=fitted,
        watched=fitted + entry * YEAR_DAYS,
        ended=fitted + age * YEAR_DAYS,
        found=found,
        events=events,
        install=install,
        wear=wear,
        duty=duty,
        expected=expected * scale,
        ages=ages,
        cumulative=cumulative * scale,
        wearing=middle_of(law),
    )


def shares(usual: Usual, level: Array) -> Array:
    """Give by how much each life counts as an installation failure at given levels of practice.

    Parameters
    ----------
    usual : Usual
        The lives.
    level : ndarray, shape (n,)
        Installation hazard of each disc over that of usual fitting. [-]

    Returns
    -------
    ndarray, shape (n,)
        The failure's weight times the installation's share of its hazard; 0 where none. [-]

    Notes
    -----
    For an unclear burst the weight is h / (h + d), d being the rate of true demands, so the
    product is the installation's share of all that could have burst it: the likelihood ratio
    of a changed installation hazard takes it like any other share.
    """
    early = level * usual.install
    return np.asarray(usual.events * early / (early + usual.wear))


def levels(usual: Usual, label: pd.Series, *, rounds: int = 5) -> Array:
    """Give each life the level of its group's practice over the whole log.

    Parameters
    ----------
    usual : Usual
        The lives.
    label : Series, one per life
        Crew or site; lives without one stand at 1.
    rounds : int, default 5
        Rounds of dividing failures between installation and wear, and estimating levels.

    Returns
    -------
    ndarray, shape (n,)
        Ratio of the group's installation hazard to the usual one, drawn towards the other
        groups' where it had few failures. [-]
    """
    level: Array = np.ones(len(usual.lives))
    for _ in range(rounds):
        rates = group_rates(label, shares(usual, level), usual.expected, fewest_events=0)
        found = label.map(rates.set_index("group")["rate_ratio"]) if len(rates) else label.isna()
        level = np.asarray(found.astype(float).fillna(1.0), dtype=float)
    return level


def monthly(usual: Usual, codes: NDArray[np.int_], level: Array, groups: int) -> Array:
    """Give the installation failures expected of each group in each month.

    Parameters
    ----------
    usual : Usual
        The lives.
    codes : ndarray of int, shape (n,)
        Group of each life, below 0 for none.
    level : ndarray, shape (n,)
        As `levels` gives. [-]
    groups : int
        How many groups.

    Returns
    -------
    ndarray, shape (groups, m)
        Expected at the group's own level of practice. [failures]
    """
    total = np.zeros((groups, len(usual.edges) - 1))
    for rows in _blocks(np.flatnonzero(codes >= 0)):
        np.add.at(total, codes[rows], level[rows, None] * _passed(usual, rows))
    return total


def reached_by_change(usual: Usual) -> Array:
    """Give the part of what is expected that a change of fitting has reached after so long.

    Parameters
    ----------
    usual : Usual
        The lives.

    Returns
    -------
    ndarray, shape (m,)
        Part of the expected installation failures that falls on discs fitted since the change,
        1, 2, ... months after it, on average over the log. [-]
    """
    months = len(usual.edges) - 1
    by_fitting = np.zeros((months + 1, months))
    cohort = np.clip(np.ceil(usual.fitted / MONTH_DAYS), 0, months).astype(int)
    for rows in _blocks(np.arange(len(usual.lives))):
        np.add.at(by_fitting, cohort[rows], _passed(usual, rows))
    since = by_fitting[::-1].cumsum(axis=0)[::-1]
    after = range(months)
    new = [sum(since[at, at + t] for at in range(1, months - t)) for t in after]
    every = [sum(since[0, at + t] for at in range(1, months - t)) for t in after]
    part = np.array(new[:-1] or [1.0]) / np.maximum(np.array(every[:-1] or [1.0]), 1e-12)
    return np.clip(np.maximum.accumulate(part), 0.0, 1.0)


def other_failures(
    usual: Usual, members: NDArray[np.bool_], level: Array, window: tuple[float, float]
) -> tuple[float, float]:
    """Give a group's failures by wear in a window of days, observed and expected.

    Parameters
    ----------
    usual : Usual
        The lives.
    members : ndarray of bool, shape (n,)
        Lives of the group.
    level : ndarray, shape (n,)
        As `levels` gives. [-]
    window : (float, float)
        From and to. [days since `begins`]

    Returns
    -------
    observed, expected : float
        What the installation did not cause, at the group's own level of wear over the whole
        log. [failures]
    """
    worn = usual.events - shares(usual, level)
    inside = members & (usual.found > window[0]) & (usual.found <= window[1])
    ever = _worn(usual, 0.0, float(usual.edges[-1]))[members].sum()
    own = worn[members].sum() / max(float(ever), 1e-12)
    return float(worn[inside].sum()), float(own * _worn(usual, *window)[members].sum())


def _worn(usual: Usual, start: float, stop: float) -> Array:
    """Expected failures by wear of each life between two days."""
    alone = replace(usual.wearing, install_log_rate=np.full((1, 1), -np.inf))
    first, last = (
        (np.clip(day, usual.watched, np.maximum(usual.ended, usual.watched)) - usual.fitted)
        / YEAR_DAYS
        for day in (start, stop)
    )
    gone = cumulative_hazard(alone, np.maximum(last, 0)) - cumulative_hazard(
        alone, np.maximum(first, 0)
    )
    return np.asarray(gone[0])


def _passed(usual: Usual, rows: NDArray[np.int_]) -> Array:
    """Expected installation failures of some lives in each month, (len(rows), m)."""
    start, stop = usual.watched[rows, None], usual.ended[rows, None]
    days = np.clip(usual.edges[None, :], start, np.maximum(stop, start))
    at_age = np.interp((days - usual.fitted[rows, None]) / YEAR_DAYS, usual.ages, usual.cumulative)
    return np.asarray(np.diff(at_age, axis=1))


def _by_age(oldest: float, law: LifeLaw) -> tuple[Array, Array]:
    """The usual cumulative installation hazard at many ages, closest where it is steepest."""
    ages = oldest * np.linspace(0.0, 1.0, _AGES) ** 2
    alone = replace(
        law,
        wear_location=np.full_like(law.wear_location[:, :1], np.inf),
        install_log_rate=law.install_log_rate[:, :1],
    )
    return ages, np.append(0.0, cumulative_hazard(alone, ages[1:, None, None]).mean(axis=(1, 2)))


def _months(last: float) -> Array:
    """Month edges from 0 to the last day."""
    return np.append(np.arange(0.0, max(last, 1.0) - 1.0, MONTH_DAYS), max(last, 1.0))


def _days(spans: pd.Series) -> Array:
    return np.asarray(spans.dt.total_seconds().to_numpy() / 86_400)


def dates(begins: pd.Timestamp, days: Array) -> pd.DatetimeIndex:
    """Give the dates of days since a first day."""
    return pd.DatetimeIndex(begins + day_spans(days)).normalize()


def _blocks(rows: NDArray[np.int_]) -> list[NDArray[np.int_]]:
    return [rows[start : start + _BLOCK] for start in range(0, len(rows), _BLOCK)]
