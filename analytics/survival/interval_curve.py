r"""How many discs outlive an age, when some ends are known only to lie between two looks?

The nonparametric maximum likelihood curve. In terms of hazard increments :math:`h_j \ge 0`
on the gaps where the curve may fall, the log-likelihood

.. math::
    \sum_i w_i \Big[\log\big(1 - e^{-\sum_{j \in (L_i, R_i]} h_j}\big)
    - \sum_{j \in (E_i, L_i]} h_j\Big]

is concave even with delayed entry E: there is one maximum, and the search proves it was met.
"""

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression
from scipy.sparse import csc_array
from scipy.sparse.linalg import MatrixRankWarning, spsolve

from analytics.errors import NotConverged, NotEstimable
from analytics.survival.lifetimes import Lifetimes

__all__ = ["IntervalCurve", "interval_curve", "interval_survival_at"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

MAX_STEPS = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalCurve:
    """A survival curve that falls somewhere within each of its gaps.

    Attributes
    ----------
    left, right : ndarray, shape (n_gaps,)
        The curve falls after `left` and no later than `right`; nobody can say where in
        between. Equal where the age is exactly known. Ascending. [time]
    hazard : ndarray, shape (n_gaps,)
        Cumulative hazard of the gap; inf where all that were left failed. [-]
    survival : ndarray, shape (n_gaps,)
        Probability of living past `right`. [-]
    log_likelihood : float
        At the maximum. [-]
    last_age : float
        Largest age at which anybody was seen. [time]
    warning : str
        Blank, or where an early handful decides the whole curve.
    """

    left: Array
    right: Array
    hazard: Array
    survival: Array
    log_likelihood: float
    last_age: float
    warning: str


@dataclass(frozen=True, slots=True)
class _Gaps:
    """Gaps that may carry a fall, and which of them concern a row: [first, last)."""

    left: Array
    right: Array
    exposed_from: Index
    first: Index
    last: Index


def interval_curve(data: Lifetimes) -> IntervalCurve:
    """Estimate survival from exact, interval-, left- and right-censored lives.

    Parameters
    ----------
    data : Lifetimes
        Lives from `analytics.survival.lifetimes.lifetimes`, delayed entry included. [time]

    Returns
    -------
    IntervalCurve
        The exact nonparametric maximum likelihood estimate; no gaps if nothing ended.

    Raises
    ------
    NotConverged
        If the search does not reach the maximum.

    Notes
    -----
    With exact and right-censored lives alone this is Kaplan-Meier; with units seen once
    each it is the isotonic regression of "ended" on age. No limits are given: their usual
    forms do not hold here; take them from a life model.

    References
    ----------
    .. [1] Turnbull (1976), J. R. Stat. Soc. B 38, 290-295 (gaps).
    .. [2] Frydman (1994), J. R. Stat. Soc. B 56, 71-74 (gaps under delayed entry).
    .. [3] Ayer et al. (1955), Ann. Math. Stat. 26, 641-647 (units seen once).

    Examples
    --------
    >>> from analytics.survival.lifetimes import lifetimes
    >>> curve = interval_curve(lifetimes([0, 1, 2, 3], [1, 3, 4, np.inf]))
    >>> curve.right, curve.survival.round(4)
    (array([1., 3., 4.]), array([0.75 , 0.375, 0.   ]))
    """
    if _seen_once(data):
        left, right, hazard = _isotonic(data)
    else:
        gaps = _gaps(data)
        left, right, hazard = gaps.left, gaps.right, _maximum(data, gaps)
    keep = hazard > 1e-8  # below, rounding
    left, right, hazard = left[keep], right[keep], hazard[keep]
    seen = np.where(np.isfinite(data.upper), data.upper, data.lower)
    return IntervalCurve(
        left=left,
        right=right,
        hazard=hazard,
        survival=np.exp(-np.cumsum(hazard)),
        log_likelihood=_log_likelihood(data, left, right, hazard),
        last_age=float(seen.max()),
        warning=_warning(right, hazard),
    )


def interval_survival_at(curve: IntervalCurve, age: NDArray[np.float64]) -> tuple[Array, Array]:
    """Give the lowest and highest survival the curve allows at an age.

    Parameters
    ----------
    curve : IntervalCurve
        From `interval_curve`.
    age : ndarray
        Ages up to `curve.last_age`. [time]

    Returns
    -------
    low, high : ndarray, shape of `age`
        Equal but within a gap. [-]

    Raises
    ------
    NotEstimable
        If an age lies beyond what was seen.
    """
    ages = np.asarray(age, dtype=float)
    if ages.size and not (ages.min() >= 0 and ages.max() <= curve.last_age):
        raise NotEstimable(f"the curve covers ages 0 to {curve.last_age:g}")
    values = np.concatenate(([1.0], curve.survival))
    exact = curve.left == curve.right
    begun = np.searchsorted(curve.left, ages, side="left")
    # A fall at an exact age has happened at that age, one after a look has not.
    begun += np.isin(ages, curve.left[exact])
    return values[begun], values[np.searchsorted(curve.right, ages, side="right")]


def _seen_once(data: Lifetimes) -> bool:
    looked = (data.lower == 0) | np.isinf(data.upper)
    return bool(np.all(looked & (data.entry == 0) & ~data.exact))


def _isotonic(data: Lifetimes) -> tuple[Array, Array, Array]:
    """Share ended by age among units seen once each, made to rise."""
    looked_at = np.where(data.ended, data.upper, data.lower)
    ages, place = np.unique(looked_at, return_inverse=True)
    total = np.bincount(place, data.weight)
    ended = np.bincount(place, data.weight * data.ended)
    weighted = total > 0
    ages, total, ended = ages[weighted], total[weighted], ended[weighted]
    share = np.asarray(isotonic_regression(ended / total, weights=total).x)
    with np.errstate(divide="ignore", invalid="ignore"):
        hazard = np.diff(-np.log1p(-np.minimum(share, 1.0)), prepend=0.0)
    hazard[np.isnan(hazard)] = 0.0  # everybody had ended already
    return np.concatenate(([0.0], ages[:-1])), ages, hazard


def _gaps(data: Lifetimes) -> _Gaps:
    """Find where the curve may fall: after a lower bound, before the next upper or entry.

    Codes order what happens at one age: an exact end comes after nothing of that age was
    survived (0), then ends and entries (1), then what was survived to that age (2).
    """
    late = data.entry > 0
    values = np.unique(np.concatenate([data.lower, data.upper[data.ended], data.entry]))

    def code(ages: Array, kind: Index | int) -> Index:
        return np.asarray(3 * np.searchsorted(values, ages) + kind, dtype=np.intp)

    lower = code(data.lower, np.where(data.exact, 0, 2))
    upper = np.where(data.ended, code(np.where(data.ended, data.upper, 0.0), 1), 3 * values.size)
    entry = np.where(late, code(data.entry, 1), -1)
    starts = np.unique(lower)
    stops = np.unique(np.concatenate([upper[data.ended], entry[late]]))
    following = np.searchsorted(stops, starts, side="right")
    closed = following < stops.size
    starts, following = starts[closed], following[closed]
    # Of several lower bounds before one stop the last counts.
    last_of_run = np.append(following[1:] != following[:-1], True)[: starts.size]
    starts, stop = starts[last_of_run], stops[following[last_of_run]]
    return _Gaps(
        values[starts // 3],
        values[stop // 3],
        np.searchsorted(stop, entry, side="right"),
        np.searchsorted(starts, lower, side="left"),
        np.searchsorted(stop, upper, side="right"),
    )


def _maximum(data: Lifetimes, gaps: _Gaps) -> Array:
    """Hazard of each gap at the maximum, gap by gap or tangle by tangle."""
    n_gaps = gaps.left.size
    cost = np.zeros(n_gaps + 1)
    np.add.at(cost, gaps.exposed_from, data.weight)
    np.add.at(cost, np.maximum(gaps.first, gaps.exposed_from), -data.weight)
    cost = np.cumsum(cost)[:-1]
    cost[cost < 1e-9 * data.weight.max()] = 0.0
    ended = data.ended & (data.weight > 0)
    spans, place = np.unique(
        np.column_stack([gaps.first[ended], gaps.last[ended]]), axis=0, return_inverse=True
    )
    weight = np.bincount(place.ravel(), data.weight[ended], minlength=len(spans)).astype(float)
    hazard = np.zeros(n_gaps)
    # A gap nobody was seen to outlive takes all that is left, at no cost to anybody.
    free = cost == 0
    frees = np.concatenate(([0], np.cumsum(free)))
    settled = frees[spans[:, 1]] > frees[spans[:, 0]]
    covered = np.zeros(n_gaps + 1)
    np.add.at(covered, spans[:, 0], 1)
    np.add.at(covered, spans[:, 1], -1)
    hazard[free & (np.cumsum(covered)[:-1] > 0)] = np.inf
    spans, weight = spans[~settled], weight[~settled]
    for begin, stop in _tangles(spans):
        first, last = spans[begin:stop].T
        low, high = first.min(), last.max()
        hazard[low:high] = _climb(cost[low:high], first - low, last - low, weight[begin:stop])
    return hazard


def _tangles(spans: NDArray[np.intp]) -> list[tuple[int, int]]:
    """Runs of spans, sorted by their first gap, that hang together by overlapping."""
    if not len(spans):
        return []
    reach = np.maximum.accumulate(spans[:, 1])
    cuts = np.flatnonzero(spans[1:, 0] >= reach[:-1]) + 1
    return list(zip(np.append(0, cuts).tolist(), np.append(cuts, len(spans)).tolist(), strict=True))


def _climb(cost: Array, first: Index, last: Index, weight: Array) -> Array:
    """Maximise over hazards >= 0 by a primal-dual interior point method."""
    if cost.size == 1:
        return np.asarray(np.log1p(weight.sum(keepdims=True) / cost))
    hazard = _start(cost, first, last, weight)
    dual = 0.1 * cost
    for _ in range(MAX_STEPS):
        pull, bend = _pull(hazard, first, last, weight)
        gradient = pull - cost
        off = np.abs(gradient + dual).max() / cost.max()
        if off <= 1e-9 and np.all(hazard * dual < 1e-12 * cost):
            # Where the bound holds the dual price outweighs the hazard.
            return _polish(np.where(hazard > dual / cost, hazard, 0.0), cost, first, last, weight)
        target = 0.1 * float(hazard @ dual) / cost.size / hazard
        step = _solve(bend, first, last, dual / hazard, gradient + target)
        dual_step = target - dual - dual / hazard * step
        hazard = hazard + _reach(hazard, step) * step
        dual = dual + _reach(dual, dual_step) * dual_step
    raise NotConverged("the curve through the overlapping intervals did not reach its maximum")


def _polish(hazard: Array, cost: Array, first: Index, last: Index, weight: Array) -> Array:
    """Newton's method on the hazards above 0; one that would fall below stays at 0."""
    for _ in range(20):
        free = hazard > 0
        place = np.concatenate(([0], np.cumsum(free)))
        spans = place[first], place[last]
        pull, bend = _pull(hazard[free], *spans, weight)
        step = _solve(bend, *spans, 1e-9 * cost[free], pull - cost[free])
        moved = np.maximum(hazard[free] + step, 0.0)
        done = np.all(np.abs(moved - hazard[free]) <= 1e-13)
        hazard[free] = moved
        if done:
            break
    return hazard


def _start(cost: Array, first: Index, last: Index, weight: Array) -> Array:
    """Spread each row's end evenly over its gaps."""
    spread = _over_spans(weight / (last - first), first, last, cost.size)
    return np.asarray(np.log1p(np.maximum(spread, 1e-3 * spread.max()) / cost))


def _pull(hazard: Array, first: Index, last: Index, weight: Array) -> tuple[Array, Array]:
    """How much the rows that ended want each hazard raised, and the bend of each row's part."""
    running = np.concatenate(([0.0], np.cumsum(hazard)))
    total = running[last] - running[first]
    pull = np.exp(-total) / -np.expm1(-total)
    return _over_spans(weight * pull, first, last, hazard.size), weight * pull * (1 + pull)


def _over_spans(value: Array, first: Index, last: Index, n_gaps: int) -> Array:
    """Sum over the spans that contain each gap."""
    edge = np.zeros(n_gaps + 1)
    np.add.at(edge, first, value)
    np.add.at(edge, last, -value)
    return np.cumsum(edge)[:-1]


def _solve(bend: Array, first: Index, last: Index, stiffness: Array, force: Array) -> Array:
    """Newton step of the hazards, found as the step of the cumulative hazard.

    In the cumulative hazard every span, and every gap's bound, ties two points together: the
    matrix is a sparse weighted graph Laplacian, whatever the overlap.
    """
    n = stiffness.size
    gap = np.arange(n)
    here, there = np.concatenate([first, gap]), np.concatenate([last, gap + 1])
    tie = np.concatenate([bend, stiffness])
    rows = np.concatenate([here, there, here, there])
    columns = np.concatenate([here, there, there, here])
    entries = np.concatenate([tie, tie, -tie, -tie])
    matrix = csc_array((entries, (rows, columns)), shape=(n + 1, n + 1))[1:, 1:]
    with warnings.catch_warnings():
        warnings.simplefilter("error", MatrixRankWarning)
        try:
            cumulative = spsolve(matrix, force - np.append(force[1:], 0.0))
        except MatrixRankWarning:
            raise NotConverged("the curve's weights are too unequal to solve for it") from None
    return np.diff(cumulative, prepend=0.0)


def _reach(value: Array, step: Array) -> float:
    """Share of a step that keeps every value above 0."""
    falling = step < 0
    return min(1.0, 0.995 * float(np.min(-value[falling] / step[falling], initial=np.inf)))


def _log_likelihood(data: Lifetimes, left: Array, right: Array, hazard: Array) -> float:
    """Log-likelihood of the rows under a finished curve."""
    running = np.concatenate(([0.0], np.cumsum(hazard)))
    exact = data.exact
    lower = running[np.searchsorted(right, data.lower, side="right")]
    before = running[np.searchsorted(right, data.lower, side="left")]
    lower = np.where(exact, before, lower)
    entry = running[np.searchsorted(right, data.entry, side="right")]
    entry = np.where(data.entry > 0, entry, 0.0)
    upper = running[np.searchsorted(right, data.upper, side="right")]
    known = data.weight * np.isfinite(lower)
    with np.errstate(invalid="ignore"):
        ended = np.where(data.ended, np.log(-np.expm1(-np.maximum(upper - lower, 1e-300))), 0.0)
        survived = np.where(known > 0, lower - entry, 0.0)
    return float(known @ (np.where(known > 0, ended, 0.0) - survived))


def _warning(right: Array, hazard: Array) -> str:
    gone = np.flatnonzero(np.isinf(hazard))
    if gone.size == 0 or gone[0] == hazard.size - 1:
        return ""
    return (
        f"by age {right[gone[0]]:g} all units then under observation had failed, though others "
        "were seen later: the curve stays at 0 behind it and says nothing about older units"
    )
