r"""How often will a position need a new disc? Renewal counts of one life law.

A disc that ends its life is replaced at once, so the number of ends by time t,
N(t), is a renewal count: with F_0 the law of the disc now fitted (already aged)
and F that of every later one,

.. math::
    P(N(t) \ge n) = (F_0 * F^{*(n-1)})(t), \qquad M(t) = E\,N(t)

Every convolution is a Riemann-Stieltjes sum over midpoints; the step is halved
until two extrapolated answers agree, so each answer comes with its error.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import fftconvolve

from analytics.errors import NotConverged
from analytics.survival.law import LifeLaw, cumulative_hazard

__all__ = ["Cdf", "RenewalCounts", "aged_cdf", "renewal_counts"]

Array = NDArray[np.float64]
Cdf = Callable[[Array], Array]

_FEWEST_STEPS = 32
_MOST_STEPS = 1 << 14
_TAIL = 1e-15


@dataclass(frozen=True, slots=True, kw_only=True)
class RenewalCounts:
    """Distribution of the number of renewals in (0, t].

    Attributes
    ----------
    horizon_years : float
        The time t. [years]
    mean : float
        Expected number of renewals, M(t). [-]
    pmf : ndarray, shape (n_counts,)
        Probability of 0, 1, 2 ... renewals. [-]
    error : float
        Largest change of the mean or of any probability at the last halving
        of the step. [-]
    """

    horizon_years: float
    mean: float
    pmf: Array
    error: float


def aged_cdf(law: LifeLaw, age_years: float = 0.0, *, draw: int = 0, unit: int = 0) -> Cdf:
    """Give the distribution of the life that remains to a disc of this age.

    Parameters
    ----------
    law : LifeLaw
        Parameters, shape (n_draws, n_units).
    age_years : float
        Age reached alive, >= 0. [years]
    draw, unit : int
        Which entry of the law.

    Returns
    -------
    callable
        Maps times from now [years] to the probability of an end by then. [-]

    Examples
    --------
    >>> from analytics.survival.law import Family
    >>> one = np.ones((1, 1))
    >>> law = LifeLaw(family=Family.WEIBULL, wear_location=np.log(5 * one), wear_sigma=one / 3,
    ...               install_log_rate=-np.inf * one, install_shape=one)
    >>> round(float(aged_cdf(law, 3.0)(np.array([2.0]))[0]), 5)
    0.54342
    """

    def cdf(times_years: Array) -> Array:
        ages = age_years + np.asarray(times_years, dtype=float)[..., None, None]
        reached = cumulative_hazard(law, age_years)[draw, unit]
        return np.asarray(-np.expm1(reached - cumulative_hazard(law, ages)[..., draw, unit]))

    return cdf


def renewal_counts(
    cdf: Cdf, horizon_years: float, *, first_cdf: Cdf | None = None, tolerance: float = 1e-8
) -> RenewalCounts:
    r"""Find how many discs one position goes through in a time span.

    .. math::
        P(N(t_i) \ge n + 1) \approx \sum_{j=1}^{i} F(t_i - t_{j-1/2})
        \,[P(N(t_j) \ge n) - P(N(t_{j-1}) \ge n)]

    Parameters
    ----------
    cdf : callable
        Distribution function of a new disc's life; times [years] to [-].
    horizon_years : float
        Length of the span, >= 0. [years]
    first_cdf : callable, optional
        The same for the disc now fitted, from now; default: it is new.
    tolerance : float
        Wanted absolute error of the mean and of each probability. [-]

    Returns
    -------
    RenewalCounts
        Mean, distribution and the error reached.

    Raises
    ------
    ValueError
        If the horizon is negative or NaN.
    NotConverged
        If 16,384 steps do not reach the tolerance.

    Notes
    -----
    The midpoint sum needs no density, so it copes with a hazard that is
    infinite at age 0. The limit of the halvings is taken by Aitken's rule,
    which asks for no known order of convergence.

    References
    ----------
    .. [1] Xie, M. (1989), "On the solution of renewal-type integral equations",
       Communications in Statistics - Simulation and Computation 18, 281-293.

    Examples
    --------
    Life of two exponential stages of rate 1: M(2) = 3/4 + exp(-4)/4.

    >>> counts = renewal_counts(lambda t: 1 - (1 + t) * np.exp(-t), 2.0)
    >>> round(counts.mean, 8)
    0.75457891
    """
    if not horizon_years >= 0:
        raise ValueError(f"horizon_years must be >= 0, got {horizon_years!r}")
    first = cdf if first_cdf is None else first_cdf
    steps = _FEWEST_STEPS
    rough = [_tails(cdf, first, horizon_years, n) for n in (steps // 4, steps // 2, steps)]
    best = _limit(*rough)
    while steps < _MOST_STEPS:
        steps *= 2
        rough = [*rough[1:], _tails(cdf, first, horizon_years, steps)]
        previous, best = best, _limit(*rough)
        error = _distance(previous, best)
        if error <= tolerance:
            return _counts(best, horizon_years, error)
    raise NotConverged(
        f"renewal counts to {horizon_years:g} years must reach an error of {tolerance:g}, "
        f"got {error:g} with {steps} steps; ask for a larger tolerance"
    )


def _tails(cdf: Cdf, first: Cdf, horizon: float, steps: int) -> Array:
    """P(N >= 1), P(N >= 2) ... at the horizon with one step size."""
    grid = np.linspace(0.0, horizon, steps + 1)
    middle = cdf((grid[1:] + grid[:-1]) / 2)
    tail = np.asarray(first(grid), dtype=float)
    tails = [tail[-1]]
    while tails[-1] > _TAIL and len(tails) < 400:
        tail = np.concatenate([[0.0], fftconvolve(middle, np.diff(tail))[:steps]])
        tails.append(tail[-1])
    return np.asarray(np.clip(tails, 0.0, 1.0), dtype=float)


def _limit(coarse: ArrayLike, middle: ArrayLike, fine: ArrayLike) -> Array:
    """Aitken's limit of three halvings, where they behave like a geometric series."""
    arrays = [np.asarray(values) for values in (coarse, middle, fine)]
    size = max(values.size for values in arrays)
    a, b, c = (np.pad(values, (0, size - values.size)) for values in arrays)
    first, second = b - a, c - b
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = second / first
        step = second * ratio / (1 - ratio)
    regular = (ratio > 0) & (ratio < 0.7)
    return np.asarray(np.clip(np.where(regular, c + np.where(regular, step, 0.0), c), 0.0, 1.0))


def _distance(one: Array, other: Array) -> float:
    size = max(one.size, other.size)
    gaps = np.pad(one, (0, size - one.size)) - np.pad(other, (0, size - other.size))
    return float(max(np.abs(gaps).max(), abs(gaps.sum())))


def _counts(tails: Array, horizon: float, error: float) -> RenewalCounts:
    pmf = -np.diff(np.concatenate([[1.0], tails, [0.0]]))
    return RenewalCounts(
        horizon_years=horizon, mean=float(tails.sum()), pmf=np.clip(pmf, 0.0, 1.0), error=error
    )
