r"""Which discs to replace at which outage: the cheapest plan for a whole outage group.

A plan is a path per position from today over the outages at which its disc is replaced to the
end of the plan. A stretch between two of them costs the failures and upsets expected in it, the
replacement at its end, and, where it is longer than the cap, replacements in outages of their
own. Crews set how many discs one outage can take, and opening a process unit costs once however
many of its discs are changed. The whole is a small integer programme, solved exactly.
"""

from dataclasses import dataclass
from math import ceil

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from analytics.errors import InputError, NotConverged
from analytics.intervals.cost import least_cost
from analytics.intervals.segments import Segments, segment_costs
from analytics.intervals.walk import walk
from analytics.survival.law import LifeLaw

__all__ = ["OutagePlan", "choose_turnarounds"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class OutagePlan:
    """The cheapest plan.

    Attributes
    ----------
    replace : ndarray of bool, shape (n_positions, n_outages)
        Whether the position's disc is replaced at that outage.
    own_outages : ndarray of int, shape (n_positions,)
        Replacements that the cap forces between outages.
    cost : float
        Expected cost of the plan up to its end, with what the discs left then are worth.
        [currency]
    cost_without_limits : float
        The same if crews could change any number: what the limits cost is the difference.
        [currency]
    """

    replace: NDArray[np.bool_]
    own_outages: NDArray[np.int64]
    cost: float
    cost_without_limits: float


@dataclass(frozen=True, slots=True)
class _Arcs:
    """Stretches of all positions: node 0 is today, 1..K the outages, K + 1 the end."""

    position: NDArray[np.int64]
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    cost: Array
    own: NDArray[np.int64]


def choose_turnarounds(
    law: LifeLaw,
    ages_years: ArrayLike,
    cap_years: ArrayLike,
    outages_years: ArrayLike,
    planned_cost: ArrayLike,
    unplanned_cost: ArrayLike,
    *,
    own_outage_cost: ArrayLike,
    demand_rate: ArrayLike = 0.0,
    demand_cost: ArrayLike | None = None,
    crew_limit: ArrayLike | None = None,
    process_unit: list[str] | None = None,
    opening_cost: float = 0.0,
    plan_years: float | None = None,
    current: LifeLaw | None = None,
) -> OutagePlan:
    """Choose the outages at which each position of one group gets a new disc.

    Parameters
    ----------
    law : LifeLaw, shape (n_draws, n_positions)
        Life of every later disc.
    ages_years, cap_years : array_like, shape (n_positions,)
        Age today and the cap; every position needs a cap. [years]
    outages_years : array_like, shape (n_outages,)
        Coming outages from today, ascending, > 0. [years]
    planned_cost, unplanned_cost, demand_rate, demand_cost
        As `analytics.intervals.cost.least_cost`.
    own_outage_cost : array_like, shape (n_positions,) or scalar
        What a replacement outside an outage costs on top: the opportunity missed. [currency]
    crew_limit : array_like of int, shape (n_outages,), optional
        Most discs that can be changed at each outage.
    process_unit : list of str, optional
        Process unit of each position, for `opening_cost`.
    opening_cost : float
        Cost of opening a process unit at an outage, once for all its discs. [currency]
    plan_years : float, optional
        End of the plan; one mean gap after the last outage when not given. [years]
    current : LifeLaw, optional
        The discs now fitted; `law` when not given.

    Returns
    -------
    OutagePlan
        The cheapest plan, exact for expected costs averaged over the draws.

    Raises
    ------
    InputError
        If there is no outage, they do not ascend, or a position has no cap.
    NotConverged
        If the solver does not prove the optimum.

    Notes
    -----
    A disc that failed shortly before an outage at which the plan replaces it is replaced all the
    same, so plans are a little too dear; make a new one before each outage. What a disc of age a
    is worth at the end is its expected cost until its least-cost age less that of the same time
    at the long-run rate.
    """
    times = np.asarray(outages_years, dtype=float)
    if times.size == 0 or not (np.diff(np.concatenate([[0.0], times])) > 0).all():
        raise InputError("outages_years must be one or more ascending times > 0 years from today")
    n = np.shape(law.wear_location)[-1]
    cap = np.broadcast_to(np.asarray(cap_years, dtype=float), (n,))
    if not (cap > 0).all():
        raise InputError("every position needs a cap > 0 years: no cap, no recommendation")
    age = np.broadcast_to(np.asarray(ages_years, dtype=float), (n,))
    planned, unplanned = _each(planned_cost, n), _each(unplanned_cost, n)
    upset = _each(unplanned_cost if demand_cost is None else demand_cost, n)
    rate = np.broadcast_to(np.asarray(demand_rate, dtype=float), (n,))
    end = float(times[-1] + times[-1] / times.size) if plan_years is None else plan_years
    if not end > times[-1]:
        raise InputError(f"plan_years must be after the last outage, got {end!r}")
    stretches = segment_costs(
        law, age, unplanned, rate, upset, horizon_years=end, current=current
    )  # fmt: skip
    worth = _worth(law, cap, planned, unplanned, rate, upset)
    own = _each(own_outage_cost, n)
    arcs = _arcs(stretches, worth, age, cap, np.concatenate([[0.0], times, [end]]), planned, own)
    units = process_unit if opening_cost > 0 and process_unit is not None else None
    free = _solve(arcs, n, times.size, None, units, opening_cost)
    limit = None if crew_limit is None else np.broadcast_to(crew_limit, times.shape)
    best = free if limit is None else _solve(arcs, n, times.size, limit, units, opening_cost)
    return OutagePlan(
        replace=best[0], own_outages=best[1], cost=best[2], cost_without_limits=free[2]
    )


def _each(values: ArrayLike, n: int) -> Array:
    return np.array(np.broadcast_to(np.asarray(values, dtype=float), (n,)))


def _worth(
    law: LifeLaw, cap: Array, planned: Array, unplanned: Array, rate: Array, upset: Array
) -> tuple[Array, Array]:
    """Ages on a grid, shape (n_grid,), and what a disc of that age still costs beyond average.

    From age a to the least-cost age T (at most the cap): expected cost of the end, less the
    long-run rate times the expected time; c_p beyond T, zero for a new disc.
    """
    grid = np.concatenate([[1e-6], np.arange(1, int(ceil(cap.max() * 12)) + 2) / 12])
    best = least_cost(law, planned, unplanned, demand_rate=rate, demand_cost=upset)
    stop = np.minimum(np.median(best.age_years, axis=0), cap)
    ages = np.minimum(grid[:, None], stop[None, :])
    seen = walk(law, np.concatenate([ages, stop[None, :]]), demand_rate=rate)
    opened = np.clip(1 - seen.survived - seen.early, 0, 1)
    spent = seen.early * unplanned + opened * upset
    whole = spent[-1] + seen.survived[-1] * planned
    long_run = whole / seen.exposure[-1]
    left = np.maximum(seen.survived[:-1], 1e-300)
    ahead = (whole - spent[:-1] - long_run * (seen.exposure[-1] - seen.exposure[:-1])) / left
    return grid, ahead.mean(axis=1)


def _arcs(
    stretches: Segments,
    worth: tuple[Array, Array],
    age: Array,
    cap: Array,
    nodes: Array,
    planned: Array,
    own_cost: Array,
) -> _Arcs:
    last = len(nodes) - 1
    rows = []
    for position in range(len(age)):
        for start in range(last):
            for end in range(start + 1, last + 1):
                held = age[position] if start == 0 else 0.0
                extra, own, final = _stretch(
                    stretches, position, held, nodes[end] - nodes[start], cap[position]
                )
                cost = extra + own * (planned[position] + own_cost[position])
                if end == last:
                    cost += float(np.interp(final, worth[0], worth[1][:, position]))
                else:
                    cost += planned[position]
                rows.append((position, start, end, cost, own))
    position_, start_, end_, cost_, own_ = zip(*rows, strict=True)
    return _Arcs(
        np.array(position_), np.array(start_), np.array(end_), np.array(cost_), np.array(own_)
    )


def _stretch(
    stretches: Segments, position: int, held: float, years: float, cap: float
) -> tuple[float, int, float]:
    """Failures' cost over a stretch, replacements the cap forces in it, age at its end."""
    aged = held > 0
    room = max(cap - held, 0.0)
    if years <= room + 1e-9:
        curve = stretches.aged if aged else stretches.new
        return stretches.of(position, curve, years), 0, held + years
    curve = stretches.aged if aged else stretches.new
    cost, rest, own = stretches.of(position, curve, room), years - room, 1
    while rest > cap + 1e-9:
        cost += stretches.of(position, stretches.new, cap)
        rest, own = rest - cap, own + 1
    return cost + stretches.of(position, stretches.new, rest), own, rest


def _solve(
    arcs: _Arcs,
    n: int,
    outages: int,
    limit: NDArray[np.int64] | None,
    units: list[str] | None,
    opening_cost: float,
) -> tuple[NDArray[np.bool_], NDArray[np.int64], float]:
    """Shortest paths of all positions together, with limits and shared openings."""
    count = len(arcs.cost)
    codes = pd.factorize(pd.Series(units))[0] if units is not None else np.zeros(n, dtype=int)
    openings = (int(codes.max()) + 1) * outages if units is not None else 0
    cost = np.concatenate([arcs.cost, np.full(openings, opening_cost)])
    rules = [_flow(arcs, n, outages, count + openings)]
    if limit is not None:
        rules.append(_limits(arcs, limit, count + openings))
    if openings:
        rules.append(_openings(arcs, codes, outages, count))
    found = milp(
        cost,
        constraints=rules,
        integrality=np.ones(len(cost), dtype=np.int64),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 1e-9},
    )
    if found.x is None or found.status != 0:
        raise NotConverged(f"no outage plan was proved cheapest: {found.message}")
    taken = found.x[:count] > 0.5
    replace = np.zeros((n, outages + 2), dtype=bool)
    replace[arcs.position[taken], arcs.end[taken]] = True
    own = np.bincount(arcs.position[taken], arcs.own[taken], minlength=n).astype(np.int64)
    return replace[:, 1:-1], own, float(found.fun)


def _flow(arcs: _Arcs, n: int, outages: int, width: int) -> LinearConstraint:
    """One path leaves today per position; what reaches an outage leaves it."""
    column = np.arange(len(arcs.cost))
    row_out = arcs.position * (outages + 1) + arcs.start
    inner = arcs.end <= outages
    row_in = (arcs.position * (outages + 1) + arcs.end)[inner]
    matrix = coo_array(
        (
            np.concatenate([np.ones(len(column)), -np.ones(inner.sum())]),
            (np.concatenate([row_out, row_in]), np.concatenate([column, column[inner]])),
        ),
        shape=(n * (outages + 1), width),
    )
    wanted = np.tile(np.eye(1, outages + 1)[0], n)
    return LinearConstraint(matrix.tocsr(), wanted, wanted)


def _limits(arcs: _Arcs, limit: NDArray[np.int64], width: int) -> LinearConstraint:
    inner = np.flatnonzero(arcs.end <= len(limit))
    matrix = coo_array(
        (np.ones(len(inner)), (arcs.end[inner] - 1, inner)), shape=(len(limit), width)
    )
    return LinearConstraint(matrix.tocsr(), -np.inf, limit)


def _openings(arcs: _Arcs, codes: NDArray[np.int64], outages: int, count: int) -> LinearConstraint:
    """A disc is replaced at an outage only if its process unit is opened there."""
    inner = np.flatnonzero(arcs.end <= outages)
    opened = count + codes[arcs.position[inner]] * outages + arcs.end[inner] - 1
    row = np.arange(len(inner))
    width = count + (int(codes.max()) + 1) * outages
    matrix = coo_array(
        (
            np.concatenate([np.ones(len(row)), -np.ones(len(row))]),
            (np.concatenate([row, row]), np.concatenate([inner, opened])),
        ),
        shape=(len(row), width),
    )
    return LinearConstraint(matrix.tocsr(), -np.inf, 0)
