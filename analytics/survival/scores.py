"""How good was a forecast? Proper scores and exact limits for counts."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincinv, i0e, i1e, ndtr
from scipy.stats import nbinom, poisson

from analytics.errors import InputError
from analytics.estimate import Estimate

__all__ = [
    "brier_score",
    "crps_normal",
    "crps_pmf",
    "crps_poisson",
    "gamma_poisson_pmf",
    "garwood_limits",
    "interval_score",
    "log_score",
    "pinball_loss",
]

Array = NDArray[np.float64]


def crps_pmf(pmf: ArrayLike, observed: ArrayLike) -> Array:
    r"""Score count forecasts given as probabilities of 0, 1, 2, ...

    .. math::
        \mathrm{CRPS} = \sum_{k \ge 0} (F(k) - 1\{y \le k\})^2

    Parameters
    ----------
    pmf : array_like, shape (..., n_counts)
        Probability of each count; a rest of the mass may lie beyond the last count
        and is then taken to lie just beyond it. [-]
    observed : array_like of int, shape (...)
        Counts seen, >= 0, may lie beyond the last count of `pmf`. [-]

    Returns
    -------
    ndarray, shape (...)
        Scores, the smaller the better. [count]

    Raises
    ------
    InputError
        If probabilities are negative or sum to more than 1, or a count is negative.

    References
    ----------
    .. [1] Gneiting & Raftery (2007), J. Am. Stat. Assoc. 102, 359-378.

    Examples
    --------
    >>> crps_pmf([0.2, 0.5, 0.2, 0.1], [0, 1]).round(2)
    array([0.74, 0.14])
    """
    mass = np.asarray(pmf, dtype=float)
    seen = _counts(observed)
    total = mass.sum(axis=-1)
    if mass.ndim == 0 or not (np.all(mass >= 0) and np.all(total <= 1 + 1e-9)):
        raise InputError("pmf must hold probabilities >= 0 with a sum of at most 1")
    below = np.cumsum(mass, axis=-1)
    n_counts = mass.shape[-1]
    counts = np.arange(n_counts)
    within = np.sum((below - (seen[..., None] <= counts)) ** 2, axis=-1)
    # Past the last count the forecast is certain; each count up to `observed` costs 1.
    return np.asarray(within + np.maximum(seen - n_counts, 0.0))


def crps_normal(mean: ArrayLike, std: ArrayLike, observed: ArrayLike) -> Array:
    r"""Score normal forecasts.

    .. math::
        \sigma [z (2\Phi(z) - 1) + 2\phi(z) - 1/\sqrt{\pi}], \quad z = (y - \mu)/\sigma

    Parameters
    ----------
    mean, std, observed : array_like, broadcast together
        Mean and standard deviation (> 0) of the forecast, and what was seen, in one unit.

    Returns
    -------
    ndarray
        Scores, the smaller the better, in the same unit.

    Raises
    ------
    InputError
        If a standard deviation is not > 0.

    References
    ----------
    .. [1] Gneiting & Raftery (2007), J. Am. Stat. Assoc. 102, 359-378.

    Examples
    --------
    >>> round(float(crps_normal(0, 1, 0)), 10)
    0.2336949773
    """
    spread = np.asarray(std, dtype=float)
    if not np.all(spread > 0):
        raise InputError(f"std must be > 0, got {np.min(spread)!r}")
    z = (np.asarray(observed, dtype=float) - np.asarray(mean, dtype=float)) / spread
    density = np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
    return np.asarray(spread * (z * (2 * ndtr(z) - 1) + 2 * density - 1 / np.sqrt(np.pi)))


def crps_poisson(mean: ArrayLike, observed: ArrayLike) -> Array:
    """Score Poisson forecasts.

    Parameters
    ----------
    mean : array_like
        Means of the forecasts, >= 0, broadcast with `observed`. [count]
    observed : array_like of int
        Counts seen, >= 0. [count]

    Returns
    -------
    ndarray
        Scores, the smaller the better. [count]

    Raises
    ------
    InputError
        If a mean or a count is negative.

    Notes
    -----
    Closed form with modified Bessel functions I0 and I1 (Wei & Held 2014, Test 23, 787-805):
    (y - m)(2 F(y) - 1) + 2 m f(y) - m exp(-2m) (I0(2m) + I1(2m)).

    Examples
    --------
    >>> round(float(crps_poisson(3, 7)), 9)
    3.078261482
    """
    m = np.asarray(mean, dtype=float)
    if not np.all(m >= 0):
        raise InputError(f"mean must be >= 0, got {np.min(m)!r}")
    y = _counts(observed)
    error = (y - m) * (2 * poisson.cdf(y, m) - 1)
    return np.asarray(error + 2 * m * poisson.pmf(y, m) - m * (i0e(2 * m) + i1e(2 * m)))


def log_score(probability: ArrayLike) -> Array:
    """Score a forecast by minus the log of the probability it gave to what happened.

    Parameters
    ----------
    probability : array_like
        Probability or density given to what was seen. [-]

    Returns
    -------
    ndarray
        Scores, the smaller the better; inf when the forecast ruled out what happened. [-]

    Examples
    --------
    >>> float(log_score(1.0))
    0.0
    """
    with np.errstate(divide="ignore"):
        return np.asarray(-np.log(np.asarray(probability, dtype=float)) + 0.0)


def brier_score(probability: ArrayLike, happened: ArrayLike) -> float:
    """Average the squared error of probability forecasts.

    Parameters
    ----------
    probability : array_like, shape (n,)
        Forecast probability of the event, in [0, 1]. [-]
    happened : array_like of bool, shape (n,)
        Whether it happened. [-]

    Returns
    -------
    float
        Mean squared error, the smaller the better. [-]

    Raises
    ------
    InputError
        If there is no forecast or a probability lies outside [0, 1].

    References
    ----------
    .. [1] Brier (1950), Mon. Weather Rev. 78, 1-3.

    Examples
    --------
    >>> round(brier_score([0.8, 0.3], [True, False]), 3)
    0.065
    """
    p = np.asarray(probability, dtype=float)
    if p.size == 0 or not np.all((p >= 0) & (p <= 1)):
        raise InputError("probability must hold one or more numbers in [0, 1]")
    return float(np.mean((p - np.asarray(happened, dtype=float)) ** 2))


def pinball_loss(level: ArrayLike, forecast: ArrayLike, observed: ArrayLike) -> Array:
    """Score quantile forecasts.

    Parameters
    ----------
    level : array_like
        Level of the quantile, in (0, 1). [-]
    forecast, observed : array_like, broadcast together
        Forecast quantile and what was seen, in one unit.

    Returns
    -------
    ndarray
        level * (y - q) above the forecast, (1 - level) * (q - y) below it.

    Raises
    ------
    InputError
        If a level lies outside (0, 1).

    Examples
    --------
    >>> pinball_loss(0.9, 5.0, [8.0, 2.0]).round(12)
    array([2.7, 0.3])
    """
    tau = np.asarray(level, dtype=float)
    if not np.all((tau > 0) & (tau < 1)):
        raise InputError("level must lie in (0, 1)")
    miss = np.asarray(observed, dtype=float) - np.asarray(forecast, dtype=float)
    return np.asarray(np.where(miss >= 0, tau * miss, (tau - 1) * miss))


def interval_score(
    low: ArrayLike, high: ArrayLike, observed: ArrayLike, *, confidence: float = 0.95
) -> Array:
    r"""Score interval forecasts by width plus a fine for every miss.

    .. math::
        (u - l) + \frac{2}{\alpha} (l - y)^+ + \frac{2}{\alpha} (y - u)^+

    Parameters
    ----------
    low, high, observed : array_like, broadcast together
        Limits and what was seen, in one unit.
    confidence : float, default 0.95
        Level of the intervals, 1 - alpha. [-]

    Returns
    -------
    ndarray
        Scores, the smaller the better.

    Raises
    ------
    InputError
        If `low` exceeds `high` or `confidence` lies outside (0, 1).

    References
    ----------
    .. [1] Gneiting & Raftery (2007), J. Am. Stat. Assoc. 102, 359-378, eq. 43.

    Examples
    --------
    >>> interval_score(1, 3, [2, 4], confidence=0.9).round(12)
    array([ 2., 22.])
    """
    if not 0 < confidence < 1:
        raise InputError(f"confidence must lie in (0, 1), got {confidence!r}")
    lower, upper = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    if np.any(lower > upper):
        raise InputError("low must not exceed high")
    y = np.asarray(observed, dtype=float)
    missed = np.maximum(lower - y, 0) + np.maximum(y - upper, 0)
    return np.asarray(upper - lower + 2 / (1 - confidence) * missed)


def garwood_limits(count: int, *, exposure: float = 1.0, confidence: float = 0.95) -> Estimate:
    r"""Give the rate of a Poisson count with its exact limits.

    .. math::
        \tfrac12 \chi^2_{\alpha/2,\,2k} / T \le \lambda \le \tfrac12 \chi^2_{1-\alpha/2,\,2k+2} / T

    Parameters
    ----------
    count : int
        Events seen, k >= 0; none still gives an upper limit. [-]
    exposure : float, default 1
        Disc-years, or any time, in which they were seen, T > 0. [time]
    confidence : float, default 0.95
        Two-sided level. [-]

    Returns
    -------
    Estimate
        Rate and limits. [1/time]

    Raises
    ------
    InputError
        If `count` is negative or not whole, or `exposure` is not > 0.

    References
    ----------
    .. [1] Garwood (1936), Biometrika 28, 437-442.

    Examples
    --------
    >>> round(garwood_limits(0).high, 4)
    3.6889
    """
    if not 0 < confidence < 1:
        raise InputError(f"confidence must lie in (0, 1), got {confidence!r}")
    if not (exposure > 0 and np.isfinite(exposure)):
        raise InputError(f"exposure must be > 0, got {exposure!r}")
    k = float(_counts(count))
    tail = (1 - confidence) / 2
    low = float(gammaincinv(k, tail)) if k > 0 else 0.0
    high = float(gammaincinv(k + 1, 1 - tail))
    return Estimate(estimate=k / exposure, low=low / exposure, high=high / exposure)


def gamma_poisson_pmf(shape: float, rate: float, exposure: float, *, tail: float = 1e-12) -> Array:
    r"""Forecast a count whose rate is known only as a gamma distribution.

    .. math::
        \lambda \sim \mathrm{Gamma}(a, b),\; N \mid \lambda \sim \mathrm{Poisson}(\lambda h)
        \;\Rightarrow\; N \sim \mathrm{NB}(a,\, b / (b + h))

    With a weak prior, a is prior events plus events seen, b prior plus observed time.

    Parameters
    ----------
    shape : float
        Shape a of the gamma distribution, > 0. [events]
    rate : float
        Rate b of the gamma distribution, > 0. [time]
    exposure : float
        Time forecast, h >= 0, in the unit of `rate`. [time]
    tail : float, default 1e-12
        Probability that may lie beyond the last count returned. [-]

    Returns
    -------
    ndarray, shape (n_counts,)
        Probability of 0, 1, 2, ... events. [-]

    Raises
    ------
    InputError
        If a parameter is out of range.

    Examples
    --------
    >>> gamma_poisson_pmf(2.5, 4.0, 1.5)[:2].round(10)
    array([0.45106928, 0.30754724])
    """
    if not (shape > 0 and rate > 0 and exposure >= 0 and 0 < tail < 1):
        raise InputError(
            "shape and rate must be > 0, exposure >= 0 and tail in (0, 1), "
            f"got {shape!r}, {rate!r}, {exposure!r}, {tail!r}"
        )
    law = nbinom(shape, rate / (rate + exposure))
    last = int(law.isf(tail)) + 1
    return np.asarray(law.pmf(np.arange(last + 1)), dtype=float)


def _counts(observed: ArrayLike) -> Array:
    counts = np.asarray(observed, dtype=float)
    if not np.all((counts >= 0) & (counts % 1 == 0)):
        raise InputError("counts must be whole numbers >= 0")
    return counts
