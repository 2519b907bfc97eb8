"""Which discs are past their cap or their recommended age, today and at the next outage?"""

from datetime import date

import numpy as np
import pandas as pd

__all__ = ["DAYS_PER_MONTH", "next_outage", "outage_before", "overdue_list"]

DAYS_PER_MONTH = 365.25 / 12


def overdue_list(
    intervals: pd.DataFrame, turnarounds: pd.DataFrame, *, export_date: date
) -> pd.DataFrame:
    """List every disc past its cap or its recommended age, today or by its next outage.

    Parameters
    ----------
    intervals : DataFrame, one row per position
        As `propose` gives; needs `position_id turnaround_group age_months cap_months
        disc_age_months`.
    turnarounds : DataFrame
        Checked turnarounds table.
    export_date : date
        Today, as the logs know it.

    Returns
    -------
    DataFrame
        `position_id limit over_today_months next_outage over_then_months`, one row per limit
        passed (`cap` or `recommended age`), worst first. A position whose outages end with the
        plan has a blank date and is judged today only.
    """
    then = next_outage(intervals["turnaround_group"], turnarounds, export_date)
    ahead = (then - pd.Timestamp(export_date)).dt.days / DAYS_PER_MONTH
    parts = []
    for limit, column in (("cap", "cap_months"), ("recommended age", "age_months")):
        now = intervals["disc_age_months"] - intervals[column]
        parts.append(
            pd.DataFrame(
                {
                    "position_id": intervals["position_id"],
                    "limit": limit,
                    "over_today_months": now,
                    "next_outage": then,
                    "over_then_months": now + ahead,
                }
            )
        )
    both = pd.concat(parts, ignore_index=True)
    late = (both["over_today_months"] > 0) | (both["over_then_months"] > 0)
    return both[late].sort_values("over_today_months", ascending=False, ignore_index=True)


def next_outage(groups: pd.Series, turnarounds: pd.DataFrame, export_date: date) -> pd.Series:
    """Give each position the first day of its group's next outage; NaT without one."""
    return outage_before(
        groups, turnarounds, export_date, pd.Series(pd.NaT, index=groups.index), first=True
    )


def outage_before(
    groups: pd.Series,
    turnarounds: pd.DataFrame,
    export_date: date,
    latest: pd.Series,
    *,
    first: bool = False,
) -> pd.Series:
    """Give the last outage that starts from today on and no later than `latest`.

    With `first`, the first outage from today on, whatever `latest`.
    """
    today = np.datetime64(pd.Timestamp(export_date), "ns")
    future = turnarounds[turnarounds["starts_on"] >= today]
    starts = {g: np.sort(f.to_numpy()) for g, f in future.groupby("turnaround_group")["starts_on"]}
    found = np.full(len(groups), np.datetime64("NaT"), dtype="datetime64[ns]")
    limits = latest.to_numpy(dtype="datetime64[ns]")
    for row, group in enumerate(groups):
        own = starts.get(group, np.empty(0, dtype="datetime64[ns]"))
        own = own[:1] if first else own[own <= limits[row]]
        if len(own):
            found[row] = own[-1]
    return pd.Series(found, index=groups.index)
