r"""Which codes must be ordered, how many, by when? The planner's table.

For every store and disc code the pieces that fit, the orders under way and the
last days of use are laid along the weeks and held against the distribution of
demand. Ordering in week t helps from its arrival on, so t is early enough as
long as

.. math:: \sum_l P(L = l)\, P(D(t + l) \le A(t + l)) \ge \text{target}

with A what is available by then. The last such week is the order-by date.
"""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.days import day_spans
from analytics.spares.demand import DemandForecast, GroupDemand
from analytics.spares.matching import Matching
from analytics.spares.policy import (
    Terms,
    lead_time_pmf,
    mixed_over_lead_time,
    order_quantity,
    quantile,
)
from analytics.spares.reasons import Case, reason
from analytics.spares.supply import Supply, after_moves, arrived, on_shelf, supply_of

__all__ = [
    "SERVICE_TARGETS",
    "Settings",
    "criticality_of",
    "plan_group",
    "plan_stock",
    "terms_of",
]

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

SERVICE_TARGETS: Mapping[str, float] = MappingProxyType({"A": 0.99, "B": 0.97, "C": 0.95})
"""Probability that the stock outlasts a lead time, by criticality. Common practice, no source."""

_ASSUMED_LEAD_TIME_WEEKS = 8.0
_ASSUMED_SPREAD = 0.25
_WEEKS_PER_MONTH = 365.25 / 12 / 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What the planner may choose.

    Attributes
    ----------
    targets : mapping of str to float
        Service by criticality A, B, C. [-]
    review_weeks : int
        Time between two looks at the list. [weeks]
    holding_rate : float
        Yearly cost of holding a piece, as a share of its price; the default is
        common practice, no source. [1/years]
    horizon_weeks : int
        Weeks the demand columns of the planner's table speak of. [weeks]
    """

    targets: Mapping[str, float] = field(default_factory=lambda: SERVICE_TARGETS)
    review_weeks: int = 1
    holding_rate: float = 0.2
    horizon_weeks: int = 52


def terms_of(disc: Mapping[Hashable, Any], holding_rate: float) -> tuple[Terms, str]:
    """Read the terms of a disc code; say what had to be assumed.

    Parameters
    ----------
    disc : mapping
        Row of the checked log `discs`.
    holding_rate : float
        As in `Settings`. [1/years]

    Returns
    -------
    terms : Terms
        What it takes to buy the code.
    assumed : str
        What was blank and what stands in for it, or an empty string.
    """
    mean, spread = disc["lead_time_weeks"], disc["lead_time_sd_weeks"]
    assumed = []
    if pd.isna(mean):
        mean = _ASSUMED_LEAD_TIME_WEEKS
        assumed.append(f"lead time not on record, {mean:g} weeks assumed")
    if pd.isna(spread):
        spread = _ASSUMED_SPREAD * float(mean)
        assumed.append(f"its spread not on record, {spread:g} weeks assumed")
    life = disc["shelf_life_months"]
    terms = Terms(
        unit_price=float(disc["unit_price"]),
        lead_time_weeks=float(mean),
        lead_time_sd_weeks=float(spread),
        minimum_order=max(1, int(_or(disc["minimum_order"], 1))),
        lot_charge=_or(disc["lot_charge"], 0.0),
        test_discs=int(_or(disc["test_discs"], 0)),
        shelf_life_weeks=np.inf if pd.isna(life) else float(life) * _WEEKS_PER_MONTH,
        holding_rate=holding_rate,
    )
    return terms, "; ".join(assumed)


def criticality_of(positions: pd.DataFrame) -> pd.Series:
    """Give the highest criticality each store and code supplies; a blank one counts as A.

    Parameters
    ----------
    positions : DataFrame
        Checked log.

    Returns
    -------
    Series of str, index (store, disc_code)
        A, B or C.
    """
    worst = positions.assign(level=positions["criticality"].fillna("A"))
    return worst.groupby(["store", "disc_code"])["level"].min()


def plan_group(
    group: GroupDemand, supply: Supply, terms: Terms, criticality: str, settings: Settings
) -> Case:
    """Plan one store and disc code.

    Parameters
    ----------
    group : GroupDemand
        Its demand.
    supply : Supply
        What is there and under way.
    terms : Terms
        What it takes to buy.
    criticality : str
        A, B or C: the highest of the positions supplied.
    settings : Settings
        Targets and review time.

    Returns
    -------
    Case
        Reorder point, order and dates in weeks from now.

    Notes
    -----
    A group with a position of criticality A keeps at least one piece however
    rare the demand: an insurance spare.
    """
    target, n_weeks = settings.targets[criticality], len(group.pmf) - 1
    lead = lead_time_pmf(terms.lead_time_weeks, terms.lead_time_sd_weeks, longest=n_weeks)
    shelf, orders = on_shelf(supply, group.pmf), arrived(supply, n_weeks)
    supplied = shelf + orders
    cdf = np.minimum(np.cumsum(group.pmf, axis=1), 1.0)
    met = _met(cdf, supplied, np.arange(n_weeks + 1))
    level = int(
        quantile(mixed_over_lead_time(group.pmf, lead, start=settings.review_weeks), target)
    )
    floor = 1 if criticality == "A" else 0
    soon = int(quantile(lead, 0.95))
    last = _last_week(cdf, shelf, orders, lead, target)
    if int(supplied[soon]) < floor:
        last = min(0 if last is None else last, -int(np.ceil(terms.lead_time_weeks)))
    now = last is not None and last < settings.review_weeks
    quantity = 0 if last is None else _quantity(group, supplied, lead, terms, target, max(last, 0))
    return Case(
        group=group,
        terms=terms,
        criticality=criticality,
        target=target,
        shelf=supply.shelf,
        usable=supply.pieces,
        on_order=supply.on_order,
        moved=supply.moved,
        overdue=supply.overdue,
        reorder_point=max(level, floor),
        insurance=level < floor,
        service=float(lead @ met),
        out_week=_first_short(met, soon, target),
        order_week=last,
        last_looked=max(n_weeks - soon, 0),
        order_now=now,
        order_quantity=quantity,
        supplied=supplied,
    )


def plan_stock(
    forecast: DemandForecast,
    matching: Matching,
    orders: pd.DataFrame,
    positions: pd.DataFrame,
    discs: pd.DataFrame,
    today: pd.Timestamp,
    settings: Settings | None = None,
    moves: pd.DataFrame | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Plan every store and disc code of a forecast.

    Parameters
    ----------
    forecast : DemandForecast
        Demand by group.
    matching : Matching
        What the pieces in stock are good for.
    orders, positions, discs : DataFrame
        Checked logs.
    today : Timestamp
        Week 0.
    settings : Settings, optional
        Targets, review time, holding cost.
    moves : DataFrame, optional
        Pieces that will be moved between stores, as from `pooling.transfers`;
        they are taken to arrive next week.

    Returns
    -------
    spares : DataFrame
        `store disc_code weeks mean p50 p90 p95 planned premature upset unclear fitting
        usable_stock stock on_order move_in reorder_point order_quantity order_now order_by
        cost criticality target service insurance reason`, one row per group; without
        a need to order, `order_by` is the last day that was looked at.
    weekly : DataFrame
        `store disc_code week_start mean p50 p90 p95 stock`: cumulative demand
        and supply by week.
    """
    settings = settings or Settings()
    codes = discs.drop_duplicates("disc_code").to_dict("records")
    by_code = {str(row["disc_code"]): row for row in codes}
    levels = criticality_of(positions)
    rows, weekly = [], []
    for group in forecast.groups:
        key = (group.store, group.disc_code)
        terms, assumed = terms_of(by_code[group.disc_code], settings.holding_rate)
        supply = after_moves(supply_of(key, matching, orders, today), key, moves)
        case = plan_group(group, supply, terms, str(levels.get(key, "A")), settings)
        rows.append(_row(case, today, settings, assumed))
        weekly.append(_weekly(case, today))
    return pd.DataFrame(rows), pd.concat(weekly, ignore_index=True)


def _met(cdf: Array, supplied: Counts, weeks: Counts) -> Array:
    """Probability that the demand by each week does not exceed the supply."""
    level = np.minimum(np.maximum(supplied, 0), cdf.shape[1] - 1)
    return np.asarray(cdf[weeks, level])


def _first_short(met: Array, before: int, target: float) -> int | None:
    """First week, before an order placed today is there, in which stock may not do."""
    short = np.flatnonzero(met[: before + 1] < target)
    return int(short[0]) if short.size else None


def _last_week(
    cdf: Array, shelf: Counts, arrived: Counts, lead: Array, target: float
) -> int | None:
    """Last week in which ordering is early enough: below 0 when past, None beyond the horizon.

    Orders under way that come before a new one surely would count in full: a gap
    until then is a matter for the supplier, not for one more order.
    """
    n_weeks = len(cdf) - 1
    soon = int(quantile(lead, 0.95))
    arrival = np.arange(len(lead))

    def early_enough(week: int) -> bool:
        weeks = np.clip(week + arrival, 0, n_weeks)
        counted = shelf[weeks] + arrived[np.clip(np.maximum(weeks, week + soon), 0, n_weeks)]
        return bool(lead @ _met(cdf, counted, weeks) >= target)

    if not early_enough(0):
        return next((week for week in range(-1, -n_weeks, -1) if early_enough(week)), -n_weeks)
    latest = max(n_weeks - soon, 0)
    late = next((week for week in range(1, latest + 1) if not early_enough(week)), None)
    return None if late is None else late - 1


def _quantity(
    group: GroupDemand, supplied: Counts, lead: Array, terms: Terms, target: float, week: int
) -> int:
    """Pieces that carry the group past the next cycle of least cost."""
    n_weeks = len(supplied) - 1
    yearly = float(group.mean[-1]) / (n_weeks * 7 / 365.25)
    mean = float(group.mean[-1])
    counts = np.arange(group.pmf.shape[1])
    variance = float(group.pmf[-1] @ counts**2 - (group.pmf[-1] @ counts) ** 2)
    lot = order_quantity(yearly, terms, spread=variance / mean if mean > 0 else 1.0)
    cycle = int(np.ceil(lot / yearly * 365.25 / 7)) if yearly > 0 else n_weeks
    until = min(week + int(lead @ np.arange(len(lead))) + cycle, n_weeks)
    missing = int(quantile(group.pmf[until], target)) - int(supplied[until])
    return max(terms.minimum_order, missing, 1)


def _row(case: Case, today: pd.Timestamp, settings: Settings, assumed: str) -> dict[str, object]:
    group = case.group
    week = min(settings.horizon_weeks, len(group.pmf) - 1)
    p50, p90, p95 = (int(quantile(group.pmf[week], level)) for level in (0.5, 0.9, 0.95))
    wait = 7.0 * (case.last_looked if case.order_week is None else case.order_week)
    return {
        "store": group.store,
        "disc_code": group.disc_code,
        "weeks": week,
        "mean": float(group.mean[week]),
        "p50": p50,
        "p90": p90,
        "p95": p95,
        **{
            part: float(getattr(group, part)[week])
            for part in ("planned", "premature", "upset", "unclear", "fitting")
        },
        "usable_stock": case.usable,
        "stock": case.shelf,
        "on_order": case.on_order,
        "move_in": sum(case.moved.values()),
        "reorder_point": case.reorder_point,
        "order_quantity": case.order_quantity,
        "order_now": case.order_now,
        "order_by": today + day_spans(wait)[0],
        "cost": case.cost,
        "criticality": case.criticality,
        "target": case.target,
        "service": case.service,
        "insurance": case.insurance,
        "reason": "; ".join(part for part in (reason(case), assumed) if part),
    }


def _weekly(case: Case, today: pd.Timestamp) -> pd.DataFrame:
    group = case.group
    weeks = np.arange(len(group.pmf))
    return pd.DataFrame(
        {
            "store": group.store,
            "disc_code": group.disc_code,
            "week_start": today + pd.to_timedelta(7 * weeks, unit="D"),
            "mean": group.mean,
            "p50": quantile(group.pmf, 0.5),
            "p90": quantile(group.pmf, 0.9),
            "p95": quantile(group.pmf, 0.95),
            "stock": case.supplied,
        }
    )


def _or(value: float, default: float) -> float:
    return default if pd.isna(value) else float(value)
