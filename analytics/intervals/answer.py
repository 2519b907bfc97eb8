"""The engineer's second answer: when to replace, what it saves, what is overdue."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analytics.errors import NotEstimable
from analytics.intervals.money import compare_policies
from analytics.intervals.outage_plans import plan_outages
from analytics.intervals.overdue import overdue_list
from analytics.intervals.proposals import Proposals, cost_curves, pick_units, propose
from analytics.survival.position_laws import PositionLaws

__all__ = ["IntervalsAnswer", "intervals_answer"]

CURVES_SHOWN = 40
"""Cost curves kept for drawing: the positions with the most to gain."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalsAnswer:
    """When to replace.

    Attributes
    ----------
    intervals, overdue, policies, outage_plan, outage_groups : DataFrame
        As in `analytics.findings.Findings`.
    curves : mapping of str to DataFrame
        Cost curve per position, for those with the most to gain.
    """

    intervals: pd.DataFrame
    overdue: pd.DataFrame
    policies: pd.DataFrame
    outage_plan: pd.DataFrame
    outage_groups: pd.DataFrame
    curves: Mapping[str, pd.DataFrame]


def intervals_answer(
    today: pd.DataFrame,
    practice: pd.DataFrame,
    laws: PositionLaws,
    turnarounds: pd.DataFrame,
    export_date: date,
) -> IntervalsAnswer:
    """Propose a replacement age for every position and put it beside today's.

    Parameters
    ----------
    today, practice : DataFrame, one row per position
        As `fitted_today` and `todays_practice` give.
    laws : PositionLaws
        Life laws in the same order.
    turnarounds : DataFrame
        Checked turnarounds table.
    export_date : date
        Today, as the logs know it.

    Returns
    -------
    IntervalsAnswer
        Proposals within caps and outages, the overdue list, the policies compared.

    Raises
    ------
    NotEstimable
        If no position has both costs on record.
    """
    found = propose(
        today, laws.following, practice, turnarounds, export_date=export_date, current=laws.current
    )
    if not found.priced:
        raise NotEstimable(
            "the least-cost age needs planned_cost and unplanned_cost, and no position has both"
        )
    rows = found.intervals
    gain = (rows["cost_today"] - rows["cost_per_year"]).sort_values(ascending=False)
    plans = plan_outages(
        today.reset_index(drop=True),
        rows,
        practice.reset_index(drop=True),
        laws.following,
        turnarounds,
        export_date=export_date,
        current=laws.current,
    )
    shown = rows.loc[gain.index[:CURVES_SHOWN], "position_id"].tolist()
    return IntervalsAnswer(
        intervals=rows,
        overdue=overdue_list(rows, turnarounds, export_date=export_date),
        policies=_policies(found, practice, laws),
        outage_plan=plans.replacements,
        outage_groups=plans.groups,
        curves=cost_curves(found, shown),
    )


def _policies(found: Proposals, practice: pd.DataFrame, laws: PositionLaws) -> pd.DataFrame:
    """Today's intervals, the proposed ones and run to failure, over the priced positions."""
    priced = found.intervals["position_id"].isin(found.priced).to_numpy()
    habits = practice[priced]
    now = habits["today_years"].fillna(np.inf).to_numpy(dtype=float)
    age = found.intervals.loc[priced, "age_months"].to_numpy(dtype=float) / 12
    return compare_policies(
        pick_units(laws.following, np.flatnonzero(priced)),
        habits["planned_cost"].to_numpy(dtype=float),
        habits["unplanned_cost"].to_numpy(dtype=float),
        {
            "today": now,
            "proposed": np.where(np.isnan(age), now, age),
            "run to failure": np.full(len(now), np.inf),
        },
        demand_rate=habits["demand_rate"].to_numpy(dtype=float),
        demand_cost=habits["demand_cost"].to_numpy(dtype=float),
    )
