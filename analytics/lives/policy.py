"""Today's replacement policy as the log shows it, and the dates it leads to."""

from datetime import date

import numpy as np
import pandas as pd

from analytics.lives.build import DAYS_PER_YEAR
from analytics.lives.events import Ending

__all__ = ["planned_dates", "usual_intervals"]

MONTHS_PER_YEAR = 12.0

GRACE_DAYS = 31
"""An outage this long after the due day still counts as on time. Common practice, no source."""

_FEWEST_OWN = 2
_FEWEST_IN_GROUP = 5


def usual_intervals(lives: pd.DataFrame, today: pd.DataFrame) -> pd.Series:
    """Give the age at which each position's discs have been replaced on plan.

    Parameters
    ----------
    lives : DataFrame, one row per life
        Needs `ending`, `age_known`, `age_years`, `position_id`, `turnaround_group`.
    today : DataFrame, one row per position
        Needs `position_id` and `turnaround_group`.

    Returns
    -------
    Series of float, index of `today`
        Median age of the position's own planned replacements, else of its
        turnaround group's; NaN where the log shows no plan. [months]
    """
    planned = lives[lives["ending"].eq(Ending.PLANNED.value) & lives["age_known"]]
    own = _median_age(planned, "position_id", _FEWEST_OWN)
    group = _median_age(planned, "turnaround_group", _FEWEST_IN_GROUP)
    found = today["position_id"].map(own).astype(float)
    return found.fillna(today["turnaround_group"].map(group).astype(float))


def planned_dates(
    today: pd.DataFrame,
    turnarounds: pd.DataFrame,
    interval_months: pd.Series,
    *,
    export_date: date,
    horizon_years: float,
) -> list[tuple[pd.Timestamp, ...]]:
    """Give the outages at which each position's disc will be replaced on plan.

    Parameters
    ----------
    today : DataFrame, one row per position
        Needs `turnaround_group` and `age_years`.
    turnarounds : DataFrame
        Checked turnarounds table.
    interval_months : Series, index of `today`
        Age at which a disc is due; NaN for no plan. [months]
    export_date : date
        Today.
    horizon_years : float
        How far ahead, > 0. [years]

    Returns
    -------
    list of tuple of Timestamp
        Per position, ascending; a disc goes out at the last outage of its group
        before it is due, one that is overdue at the first outage to come.
    """
    now = pd.Timestamp(export_date)
    last = now + pd.Timedelta(days=horizon_years * DAYS_PER_YEAR)
    coming = turnarounds[(turnarounds["starts_on"] > now) & (turnarounds["starts_on"] <= last)]
    days = {
        str(group): np.unique((rows["starts_on"] - now).dt.days.to_numpy())
        for group, rows in coming.groupby("turnaround_group")
    }
    due_days = (interval_months / MONTHS_PER_YEAR * DAYS_PER_YEAR).to_numpy(dtype=float)
    ages = (today["age_years"] * DAYS_PER_YEAR).to_numpy(dtype=float)
    none = np.empty(0)
    return [
        tuple(
            now + pd.Timedelta(days=int(day)) for day in _outages(days.get(group, none), age, due)
        )
        for group, age, due in zip(today["turnaround_group"], ages, due_days, strict=True)
    ]


def _median_age(planned: pd.DataFrame, by: str, fewest: int) -> pd.Series:
    ages = planned.groupby(by)["age_years"]
    return ages.median()[ages.size() >= fewest] * MONTHS_PER_YEAR


def _outages(days: np.ndarray, age: float, due: float) -> list[float]:
    """Days from now of the planned replacements of one position."""
    chosen: list[float] = []
    fitted, coming = -age, days
    while len(coming) and np.isfinite(due):
        in_time = coming[coming <= fitted + due + GRACE_DAYS]
        day = float(in_time[-1] if len(in_time) else coming[0])
        chosen.append(day)
        fitted, coming = day, coming[coming > day]
    return chosen
