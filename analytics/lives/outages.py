"""The outages at which discs will be replaced on plan."""

from datetime import date

import numpy as np
import pandas as pd

from analytics.lives.build import DAYS_PER_YEAR

__all__ = ["GRACE_DAYS", "WINDOW_DAYS", "own_rounds", "planned_dates"]

GRACE_DAYS = 31
"""An outage this long after the due day still counts as on time. Common practice, no source."""


WINDOW_DAYS = 45
"""A change this long after the start of an outage belongs to it. Common practice, no source."""


def own_rounds(lives: pd.DataFrame, today: pd.DataFrame, turnarounds: pd.DataFrame) -> pd.Series:
    """Say which positions are changed on plan by age, mostly away from outages.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    today : DataFrame, one row per position
        Needs `position_id` and `turnaround_group`.
    turnarounds : DataFrame
        Checked turnarounds table.

    Returns
    -------
    Series of bool, index of `today`
        True where at least two planned replacements, and most, fell outside outages.
    """
    taken = lives.loc[lives["ending"].eq("planned"), ["position_id", "ended_on"]]
    group = today.set_index("position_id")["turnaround_group"]
    taken = taken.assign(turnaround_group=taken["position_id"].map(group)).sort_values("ended_on")
    starts = turnarounds[["turnaround_group", "starts_on"]].sort_values("starts_on")
    last = pd.merge_asof(
        taken.dropna(subset="turnaround_group"),
        starts,
        left_on="ended_on",
        right_on="starts_on",
        by="turnaround_group",
    )
    outside = ~((last["ended_on"] - last["starts_on"]).dt.days <= WINDOW_DAYS)
    share = outside.groupby(last["position_id"]).agg(["mean", "sum"])
    apart = share.index[(share["mean"] > 0.5) & (share["sum"] >= 2)]
    return today["position_id"].isin(apart)


def planned_dates(
    today: pd.DataFrame,
    turnarounds: pd.DataFrame,
    interval_years: pd.Series,
    *,
    export_date: date,
    horizon_years: float,
    own_round: pd.Series | None = None,
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
    own_round : Series of bool, optional
        Positions changed whenever they are due, outage or not.

    Returns
    -------
    list of tuple of Timestamp
        Per position, ascending; a disc goes out at the last outage of its group
        before it is due, one that is overdue at the first outage to come.
    """
    now = pd.Timestamp(export_date)
    last = now + pd.Timedelta(days=horizon_years * DAYS_PER_YEAR)
    days = {
        str(group): _coming((rows["starts_on"] - now).dt.days.to_numpy())
        for group, rows in turnarounds.groupby("turnaround_group")
    }
    due_days = (interval_years * DAYS_PER_YEAR).to_numpy(dtype=float)
    ages = (today["age_years"] * DAYS_PER_YEAR).to_numpy(dtype=float)
    none, reach = np.empty(0), horizon_years * DAYS_PER_YEAR
    alone = np.zeros(len(today), dtype=bool) if own_round is None else own_round.to_numpy()
    return [
        tuple(
            day
            for days_on in (
                _round(age, due, reach) if free else _outages(days.get(group, none), age, due)
            )
            if (day := now + pd.Timedelta(days=int(days_on))) <= last
        )
        for group, age, due, free in zip(
            today["turnaround_group"], ages, due_days, alone, strict=True
        )
    ]


def _round(age: float, due: float, until: float) -> list[float]:
    """Days from now of replacements by age alone."""
    if not np.isfinite(due):
        return []
    first = max(due - age, 1.0)
    return list(np.arange(first, until + 1, max(due, 1.0)))


def _coming(days: np.ndarray) -> np.ndarray:
    """Give the outages to come, and after them the one that may be looked for though not set.

    Without it every disc would count as due at the last outage on record, however young.
    """
    known = np.unique(days).astype(float)
    gap = float(np.median(np.diff(known))) if len(known) > 1 else np.inf
    return np.append(known[known > 0], max(known[-1], 0.0) + gap)


def _outages(days: np.ndarray, age: float, due: float) -> list[float]:
    """Days from now of the planned replacements of one position; the last of `days` is not set."""
    chosen: list[float] = []
    fitted, coming = -age, days
    while len(coming) > 1 and np.isfinite(due):
        in_time = coming[coming <= fitted + due + GRACE_DAYS]
        day = float(in_time[-1] if len(in_time) else coming[0])
        if day == days[-1]:
            break
        chosen.append(day)
        fitted, coming = day, coming[coming > day]
    return chosen
