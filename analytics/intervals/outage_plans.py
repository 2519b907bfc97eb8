"""The coming outages of every group: which disc goes out at which, and what limits cost."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analytics.intervals.calendar import OutagePlan, choose_turnarounds
from analytics.intervals.proposals import pick_units
from analytics.survival.law import LifeLaw

__all__ = ["OutagePlans", "plan_outages"]

_MOST_OUTAGES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class OutagePlans:
    """Plans of all groups.

    Attributes
    ----------
    replacements : DataFrame
        One row per disc to change: `position_id disc_code store turnaround_group outage_on`,
        by date.
    groups : DataFrame
        One row per group: `turnaround_group positions outages own_outages cost
        cost_without_limits`; own outages are those the caps force in between.
    left_out : dict of str to str
        Position to the reason why it has no plan.
    """

    replacements: pd.DataFrame
    groups: pd.DataFrame
    left_out: dict[str, str]


def plan_outages(
    today: pd.DataFrame,
    intervals: pd.DataFrame,
    practice: pd.DataFrame,
    law: LifeLaw,
    turnarounds: pd.DataFrame,
    *,
    export_date: date,
    current: LifeLaw | None = None,
) -> OutagePlans:
    """Choose for every outage group the discs to change at each coming outage.

    Parameters
    ----------
    today, practice : DataFrame, one row per position
        As `propose` takes them.
    intervals : DataFrame, one row per position, same order
        As `propose` gives; its `latest_months` is the longest any disc is left, so the plan
        neither passes a cap nor lengthens an interval.
    law : LifeLaw, shape (n_draws, n_positions)
        Life of every later disc.
    turnarounds : DataFrame
        Checked turnarounds table; a `crew_limit` on record is kept.
    export_date : date
        Today, as the logs know it.
    current : LifeLaw, optional
        The discs now fitted; `law` when not given.

    Returns
    -------
    OutagePlans
        At most the six coming outages of each group, planned to the one that would follow.

    Notes
    -----
    An outage of its own is taken to cost the downtime of a failure: what a premature burst
    costs more than a planned replacement.
    """
    left_out = _without_plan(today, intervals, turnarounds, pd.Timestamp(export_date))
    usable = ~today["position_id"].isin(left_out)
    changes, summary = [], []
    for group, members in today[usable.to_numpy()].groupby("turnaround_group"):
        rows = members.index.to_numpy()
        stops = _coming(turnarounds, str(group), pd.Timestamp(export_date))
        limit = _crew_limit(turnarounds, str(group), stops)
        gap = _gap(turnarounds, str(group), float(intervals["latest_months"].iloc[rows].max()))
        plan = _plan(rows, stops, today, intervals, practice, law, current, limit, export_date, gap)
        where, when = np.nonzero(plan.replace)
        changes.append(
            members[["position_id", "disc_code", "store", "turnaround_group"]]
            .iloc[where]
            .assign(outage_on=stops[when])
        )
        summary.append(
            {
                "turnaround_group": group,
                "positions": len(rows),
                "outages": len(stops),
                "own_outages": int(plan.own_outages.sum()),
                "cost": plan.cost,
                "cost_without_limits": plan.cost_without_limits,
            }
        )
    replacements = pd.concat(changes, ignore_index=True) if changes else _no_changes()
    return OutagePlans(
        replacements=replacements.sort_values(["outage_on", "position_id"], ignore_index=True),
        groups=pd.DataFrame(summary, columns=list(_GROUP_COLUMNS)),
        left_out=left_out,
    )


_GROUP_COLUMNS = (
    "turnaround_group",
    "positions",
    "outages",
    "own_outages",
    "cost",
    "cost_without_limits",
)


def _plan(
    rows: np.ndarray,
    stops: np.ndarray,
    today: pd.DataFrame,
    intervals: pd.DataFrame,
    practice: pd.DataFrame,
    law: LifeLaw,
    current: LifeLaw | None,
    limit: np.ndarray | None,
    export_date: date,
    gap_years: float,
) -> OutagePlan:
    own = practice.iloc[rows]
    years = (stops - np.datetime64(export_date)).astype("timedelta64[D]").astype(float) / 365.25
    return choose_turnarounds(
        pick_units(law, rows),
        today["age_years"].to_numpy(dtype=float)[rows],
        intervals["latest_months"].to_numpy(dtype=float)[rows] / 12,
        np.maximum(years, 1 / 365.25),
        own["planned_cost"],
        own["unplanned_cost"],
        own_outage_cost=(own["unplanned_cost"] - own["planned_cost"]).clip(lower=0.0),
        demand_rate=own["demand_rate"],
        demand_cost=own["demand_cost"],
        crew_limit=limit,
        plan_years=float(years[-1] + gap_years),
        current=None if current is None else pick_units(current, rows),
    )


def _without_plan(
    today: pd.DataFrame, intervals: pd.DataFrame, turnarounds: pd.DataFrame, now: pd.Timestamp
) -> dict[str, str]:
    coming = set(turnarounds.loc[turnarounds["starts_on"] >= now, "turnaround_group"])
    reasons = {}
    for row in range(len(today)):
        name = str(today["position_id"].iloc[row])
        if not intervals["latest_months"].iloc[row] > 0:
            reasons[name] = "no cap or no costs on record, so no plan"
        elif today["turnaround_group"].iloc[row] not in coming:
            reasons[name] = "no coming outage of its group is on record"
    return reasons


def _coming(turnarounds: pd.DataFrame, group: str, now: pd.Timestamp) -> np.ndarray:
    own = turnarounds[turnarounds["turnaround_group"].eq(group) & turnarounds["starts_on"].ge(now)]
    return np.unique(own["starts_on"].to_numpy(dtype="datetime64[ns]"))[:_MOST_OUTAGES]


def _crew_limit(turnarounds: pd.DataFrame, group: str, stops: np.ndarray) -> np.ndarray | None:
    """Most discs at each outage; None where no limit is on record for any of them."""
    own = turnarounds[turnarounds["turnaround_group"].eq(group)]
    limits = own.groupby("starts_on")["crew_limit"].min().reindex(stops).astype(float)
    if limits.isna().all():
        return None
    whole: np.ndarray = limits.fillna(np.iinfo(np.int32).max).to_numpy().astype(np.int64)
    return whole


def _gap(turnarounds: pd.DataFrame, group: str, longest_months: float) -> float:
    """Usual time between the group's outages, past and coming; the longest age without two."""
    starts = np.unique(turnarounds.loc[turnarounds["turnaround_group"].eq(group), "starts_on"])
    if len(starts) < 2:
        return longest_months / 12
    return float(np.median(np.diff(starts).astype("timedelta64[D]").astype(float)) / 365.25)


def _no_changes() -> pd.DataFrame:
    names = ["position_id", "disc_code", "store", "turnaround_group", "outage_on"]
    return pd.DataFrame(columns=names)
