"""The outages at which discs will be replaced on plan."""

from datetime import date

import numpy as np
import pandas as pd

from analytics.lives.build import DAYS_PER_YEAR

__all__ = ["planned_dates"]

GRACE_DAYS = 31
"""An outage this long after the due day still counts as on time. Common practice, no source."""


def planned_dates(
    today: pd.DataFrame,
    turnarounds: pd.DataFrame,
    interval_years: pd.Series,
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
    interval_years : Series, index of `today`
        Age at which a disc is due; NaN or inf for no plan. [years]
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
    due_days = (interval_years * DAYS_PER_YEAR).to_numpy(dtype=float)
    ages = (today["age_years"] * DAYS_PER_YEAR).to_numpy(dtype=float)
    none = np.empty(0)
    return [
        tuple(
            now + pd.Timedelta(days=int(day)) for day in _outages(days.get(group, none), age, due)
        )
        for group, age, due in zip(today["turnaround_group"], ages, due_days, strict=True)
    ]


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
