r"""How many discs does one position end, week by week, in every parameter draw?

The same renewal sums as `renewal`, laid out for a fleet: one position at a
time, all weeks and all draws at once, draws innermost so that the processor's
vector units run along them. A planned replacement starts a fresh disc on its
date whatever the age, which cuts the count into independent pieces.
"""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from analytics.spares.sums import convolved
from analytics.survival.law import LifeLaw, cumulative_hazard

__all__ = ["STEPS_WEEKS", "WEEK_YEARS", "Chances", "Pieces", "choose_step", "position_counts"]

Array = NDArray[np.float64]

WEEK_YEARS = 7 / 365.25
STEPS_WEEKS = (4.0, 2.0, 1.0, 0.5, 0.25, 0.125)
"""Steps of the convolution, coarsest first; `choose_step` takes the first that will do."""

_NEGLIGIBLE = 1e-7
_MOST_COUNTS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Chances:
    """How likely a planned replacement is made, by draw; arrays of shape (n_draws,).

    Attributes
    ----------
    due : ndarray
        When the disc it was planned for is still in. [-]
    young : ndarray
        When that disc has ended since and a younger one is in. [-]
    """

    due: Array
    young: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Pieces:
    """Number of unplanned ends of one position, whole and in pieces.

    Attributes
    ----------
    joined : ndarray, shape (n_counts, n_weeks + 1, n_draws)
        Probability of 0, 1, 2 ... ends by each week. [-]
    aged : ndarray, shape (n, until + 1, n_draws)
        The same for the disc now fitted and those that follow it, up to the
        first planned replacement or the horizon. [-]
    fresh : ndarray, shape (n, longest + 1, n_draws)
        The same from a fresh disc on, as far as it was asked for. [-]
    planned : tuple of int
        Weeks of planned replacement. [weeks]
    chances : Chances or None
        How likely those are; then `joined` counts them too.
    changed : ndarray, shape (n_weeks + 1, n_draws), or None
        Expected number of them made by each week. [-]
    """

    joined: Array
    aged: Array
    fresh: Array
    planned: tuple[int, ...]
    chances: Chances | None = None
    changed: Array | None = None


def position_counts(
    current: LifeLaw,
    following: LifeLaw,
    unit: int,
    *,
    age_years: float,
    other_rate: Array,
    planned_weeks: tuple[int, ...],
    n_weeks: int,
    step_weeks: float,
    whole_fresh: bool = False,
    chances: Chances | None = None,
) -> Pieces:
    r"""Find the number of unplanned ends of one position by each week.

    A disc's life ends by its own law or, at a constant rate, by something else
    (an upset that opens it); either way a new disc starts at age 0,

    .. math::
        S(t) = \exp[-H(a + t) + H(a) - u t]

    Parameters
    ----------
    current : LifeLaw
        Law of the disc now fitted, shape (n_draws, n_units).
    following : LifeLaw
        Law of every later disc, same shape.
    unit : int
        Column of the laws that belongs to this position.
    age_years : float
        Age of the disc now fitted, >= 0. [years]
    other_rate : ndarray, shape (n_draws,)
        Rate of ends that do not depend on age. [1/years]
    planned_weeks : tuple of int
        Weeks of planned replacement, ascending, each in 1 .. n_weeks.
    n_weeks : int
        Horizon. [weeks]
    step_weeks : float
        Step of the convolution, one of `STEPS_WEEKS`. [weeks]
    whole_fresh : bool
        Whether `fresh` is needed up to the horizon: a disc may be opened any week.
    chances : Chances, optional
        How likely the planned replacements are; certain, and not counted, without it.

    Returns
    -------
    Pieces
        Counts by week 0 .. n_weeks.

    Notes
    -----
    A disc passed over at a planned replacement is taken to go on as a fresh one.
    """
    later, fitted = _column(following, unit), _column(current, unit)
    longest = n_weeks if whole_fresh else _longest_later(planned_weeks, n_weeks)
    until = planned_weeks[0] if planned_weeks else n_weeks
    kernels = _kernels(later, other_rate, max(until, longest), step_weeks)
    aged = _to_pmf(_tails(_Life(fitted, age_years, other_rate), kernels, until))
    fresh = _to_pmf(_tails(_Life(later, 0.0, other_rate), kernels, longest))
    joined, changed = _join(aged, fresh, planned_weeks, n_weeks, chances)
    return Pieces(
        joined=joined,
        aged=aged,
        fresh=fresh,
        planned=planned_weeks,
        chances=chances,
        changed=changed if chances else None,
    )


def choose_step(
    following: LifeLaw, *, n_weeks: int, other_rate: Array, tolerance: float = 2e-5
) -> tuple[float, float]:
    """Choose the coarsest step that keeps every count probability within tolerance.

    The step is tried on the eight units whose fresh discs fail soonest, each
    against half the step, in every draw.

    Parameters
    ----------
    following : LifeLaw
        Law of new discs, shape (n_draws, n_units).
    n_weeks : int
        Horizon. [weeks]
    other_rate : ndarray, shape (n_draws, n_units)
        Rate of ends that do not depend on age. [1/years]
    tolerance : float
        Wanted error of each count probability of one position. [-]

    Returns
    -------
    step_weeks, error : float
        The step [weeks] and the largest difference seen with it [-].
    """
    half_year = cumulative_hazard(following, 0.5).max(axis=0)
    worst = np.argsort(-np.broadcast_to(half_year, other_rate.shape[1:]))[:8]
    error = np.inf
    for step, finer in zip(STEPS_WEEKS[:-1], STEPS_WEEKS[1:], strict=True):
        error = max(
            _difference(_column(following, unit), other_rate[:, unit], n_weeks, step, finer)
            for unit in worst
        )
        if error <= tolerance:
            return step, error
    return STEPS_WEEKS[-1], error / 4


def _difference(law: LifeLaw, rate: Array, n_weeks: int, step: float, finer: float) -> float:
    life = _Life(law, 0.0, rate)
    coarse, fine = (
        _tails(life, _kernels(law, rate, n_weeks, size), n_weeks) for size in (step, finer)
    )
    shared = min(len(coarse), len(fine))
    return float(np.abs(coarse[:shared] - fine[:shared]).max())


def _column(law: LifeLaw, unit: int) -> LifeLaw:
    """One unit of a law, its fields of shape (n_draws,)."""

    def pick(values: Array) -> Array:
        return np.ascontiguousarray(values[:, unit if values.shape[1] > 1 else 0])

    return LifeLaw(
        family=law.family,
        wear_location=pick(law.wear_location),
        wear_sigma=pick(law.wear_sigma),
        install_log_rate=pick(law.install_log_rate),
        install_shape=pick(law.install_shape),
    )


@dataclass(frozen=True, slots=True)
class _Life:
    """Law of one unit, the age it has reached and the rate of other ends."""

    law: LifeLaw
    age_years: float
    rate: Array

    def ended(self, weeks: Array) -> Array:
        """Probability of an end by each time, shape (n_times, n_draws)."""
        times = WEEK_YEARS * weeks[:, None]
        hazard = cumulative_hazard(self.law, self.age_years + times) + self.rate * times
        if self.age_years > 0:
            hazard -= cumulative_hazard(self.law, self.age_years)
        return np.asarray(-np.expm1(-hazard))

    def first_step(self, later: "_Life", step: float) -> Array:
        """Probability that this life and a later one both end within the first step.

        Each density may be infinite at 0, so the step is cut in half and each
        half summed over cells that shrink towards the end where it is.
        """
        weeks = step / 2 * _GRADED
        ends = [life.ended(weeks) for life in (self, later)]
        rest = [life.ended(step - (weeks[1:] + weeks[:-1]) / 2) for life in (later, self)]
        halves = [
            (np.diff(end, axis=0) * other).sum(axis=0)
            for end, other in zip(ends, rest, strict=True)
        ]
        return np.asarray(halves[0] + halves[1] - ends[0][-1] * ends[1][-1])

    def average_ended(self, step: float) -> Array:
        """Mean of `ended` over the first step, where the hazard may be infinite."""
        return np.asarray(_HEAD_WEIGHTS @ self.ended(step * _HEAD_POINTS))


@dataclass(frozen=True, slots=True)
class _Kernel:
    """A fresh life laid out for the midpoint sum with one step."""

    life: _Life
    step: float
    middle: Array
    grid: Array


def _head_rule() -> tuple[Array, Array]:
    """Quadrature on (0, 1) that is also right for small powers: Gauss in x = v^4."""
    points, weights = np.polynomial.legendre.leggauss(6)
    v = (points + 1) / 2
    return v**4, weights / 2 * 4 * v**3


_HEAD_POINTS, _HEAD_WEIGHTS = _head_rule()
_GRADED = np.linspace(0.0, 1.0, 9) ** 3


def _kernels(law: LifeLaw, rate: Array, n_weeks: int, step: float) -> tuple[_Kernel, _Kernel]:
    """A fresh life for the double step and for the step."""
    pairs = int(np.ceil(n_weeks / (2 * step)))
    life = _Life(law, 0.0, rate)
    fine = life.ended(step * np.arange(2 * pairs + 1.0))
    middle = life.ended(step * np.arange(0.5, 2 * pairs))
    double = fine[1::2].copy()
    for kernel, size in ((middle, step), (double, 2 * step)):
        kernel[:1] = life.average_ended(size)
    return _Kernel(life, 2 * step, double, fine[::2]), _Kernel(life, step, middle, fine)


def _tails(life: _Life, kernels: tuple[_Kernel, _Kernel], n_weeks: int) -> Array:
    """P(N >= 0), P(N >= 1) ... by each week, shape (n_counts + 1, n_weeks + 1, n_draws).

    The midpoint sum errs by the square of the step, so the double step and the
    step together give the answer to a higher power (Richardson). Where a life
    begins its density may be infinite; there its mean time stands for the middle.
    """
    by_week = life.ended(np.arange(n_weeks + 1.0))
    tails = [np.ones_like(by_week), by_week]
    step = kernels[1].step
    pairs = int(np.ceil(n_weeks / (2 * step)))
    fine = life.ended(step * np.arange(2 * pairs + 1.0))
    grids = [fine[::2], fine]
    while n_weeks and tails[-1][-1].max() > _NEGLIGIBLE and len(tails) < _MOST_COUNTS:
        following = []
        for kernel, grid in zip(kernels, grids, strict=True):
            longer = _another(kernel.middle[: len(grid) - 1], grid)
            if len(tails) == 2:
                head = life.average_ended(kernel.step) - grid[1] / 2
                longer[2:] += head * np.diff(kernel.grid[: len(grid)], axis=0)[1:]
                longer[1] = life.first_step(kernel.life, kernel.step)
            following.append(longer)
        grids = following
        tails.append(_read(grids[0], grids[1], step, n_weeks))
    return np.asarray(tails)


def _read(coarse: Array, fine: Array, step: float, n_weeks: int) -> Array:
    """Values at whole weeks from those at the double step and the step."""
    gain = (fine[::2] - coarse) / 3
    better = fine.copy()
    better[::2] += gain
    better[1::2] += (gain[1:] + gain[:-1]) / 2
    if step <= 1:
        return better[:: int(1 / step)][: n_weeks + 1]
    return np.asarray(_between(better, int(step), n_weeks))


@njit(cache=True)
def _between(values: Array, step: int, n_weeks: int) -> Array:
    """Cubic through the four nearest steps, read at whole weeks."""
    last, n_draws = values.shape[0] - 1, values.shape[1]
    result = np.zeros((n_weeks + 1, n_draws))
    for week in range(n_weeks + 1):
        first = min(max(week // step - 1, 0), max(last - 3, 0))
        size = min(4, last + 1)
        for i in range(first, first + size):
            weight = 1.0
            for j in range(first, first + size):
                if j != i:
                    weight *= (week / step - j) / (i - j)
            if weight != 0.0:
                for d in range(n_draws):
                    result[week, d] += weight * values[i, d]
    return result


@njit(cache=True)
def _another(middle: Array, tail: Array) -> Array:
    """Probability of one renewal more: the midpoint sum, shape as `tail`."""
    n_steps, n_draws = middle.shape
    result = np.zeros((n_steps + 1, n_draws))
    for j in range(1, n_steps + 1):
        for i in range(j, n_steps + 1):
            for d in range(n_draws):
                result[i, d] += middle[i - j, d] * (tail[j, d] - tail[j - 1, d])
    return result


def _to_pmf(tails: Array) -> Array:
    pmf = np.empty_like(tails)
    np.subtract(tails[:-1], tails[1:], out=pmf[:-1])
    pmf[-1] = tails[-1]
    return np.clip(pmf, 0.0, 1.0, out=pmf)


def _join(
    aged: Array, fresh: Array, planned: tuple[int, ...], n_weeks: int, chances: Chances | None
) -> tuple[Array, Array]:
    """String the pieces between planned replacements together; also what is changed on plan."""
    changed = np.zeros((n_weeks + 1, aged.shape[2]))
    if not planned:
        return aged, changed
    pieces, done, stayed = [aged[:, : planned[0]]], aged[:, planned[0]], aged[:1, planned[0]]
    for start, stop in zip(planned, (*planned[1:], n_weeks + 1), strict=True):
        if chances is not None:
            stay = stayed.sum(axis=0)
            changed[start:] += stay * chances.due + (1 - stay) * chances.young
            done = _counted(done, stayed, chances)
        pieces.append(done[:, None])
        pieces.append(convolved(fresh[:, 1 : stop - start], done))
        if stop <= n_weeks:
            stayed = done * fresh[0, stop - start]
            done = convolved(fresh[:, stop - start], done)
    size = max(len(piece) for piece in pieces)
    padded = [np.pad(piece, ((0, size - len(piece)), (0, 0), (0, 0))) for piece in pieces]
    return _trim(np.concatenate(padded, axis=1)), changed


def _counted(done: Array, stayed: Array, chances: Chances) -> Array:
    """Add a planned replacement to a count; `stayed` is the part whose disc is still in."""
    still = np.pad(stayed, ((0, len(done) - len(stayed)), (0, 0)))
    made = still * chances.due + (done - still) * chances.young
    return np.pad(done - made, ((0, 1), (0, 0))) + np.pad(made, ((1, 0), (0, 0)))


def _trim(pmf: Array) -> Array:
    size = len(pmf)
    while size > 1 and pmf[size - 1].max() < _NEGLIGIBLE:
        size -= 1
    return pmf[:size]


def _longest_later(planned: tuple[int, ...], n_weeks: int) -> int:
    if not planned:
        return 0
    return int(np.diff([*planned, n_weeks]).max())
