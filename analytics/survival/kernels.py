r"""The likelihood of location-scale lives, with its derivatives, in one pass over the rows.

The age is entered as :math:`z = \rho y - x'\gamma` with :math:`y = \log t`,
:math:`\rho = 1/\sigma` and :math:`\gamma = b/\sigma`. Every :math:`z` is then linear in the
parameters :math:`(\gamma, \rho)`, and without left truncation the log-likelihood is concave
in them for all the families here, so Newton's method has one summit to find. Quantiles,
probabilities, coefficients and sigma are *linear* constraints in these parameters, which is
what makes the likelihood-ratio limits cheap (`analytics.survival.limits`).

With :math:`H` the cumulative hazard of the standard member of the family, a row adds

.. math::
    \text{exact}\; \log h(z) - H(z) + \log\rho - y \qquad
    \text{right}\; -H(z_l) \qquad
    \text{interval}\; \log(e^{-H(z_l)} - e^{-H(z_u)}) \qquad
    \text{truncated}\; + H(z_e)

References
----------
.. [1] J. Burridge, "A note on maximum likelihood estimation for regression models using
   grouped data", J. R. Statist. Soc. B 43 (1981) 41-45: concavity in these parameters.
   From memory; the article was not opened.
"""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = [
    "EXACT",
    "INTERVAL",
    "LEFT",
    "RIGHT",
    "TRUNCATED",
    "age_slopes",
    "column_spans",
    "likelihood_sums",
    "row_terms",
    "standard_hazard",
]

Array = NDArray[np.float64]

RIGHT, EXACT, LEFT, INTERVAL, TRUNCATED = 0, 1, 2, 3, 4
"""Kinds of row; `TRUNCATED` is added to the kind of a row seen only from its entry age on."""

_WEIBULL, _LOGNORMAL = 0, 1
_BLOCK = 256
_LOG_ROOT_TWO_PI = 0.5 * math.log(2 * math.pi)


@njit(cache=True)
def _normal_hazard(z: float) -> tuple[float, float]:
    """Cumulative hazard and hazard of the standard normal, right in both far tails."""
    log_density = -0.5 * z * z - _LOG_ROOT_TWO_PI
    if z < 5.0:
        tail = 0.5 * math.erfc(-z / math.sqrt(2.0))
        total = -math.log1p(-tail) if z < 0.0 else -math.log(0.5 * math.erfc(z / math.sqrt(2.0)))
        return total, math.exp(log_density + total)
    # Laplace's continued fraction for the Mills ratio; 60 terms give 15 digits from z = 5 on.
    fraction = z
    for k in range(60, 0, -1):
        fraction = z + k / fraction
    return math.log(fraction) - log_density, fraction


@njit(cache=True)
def standard_hazard(family: int, z: float) -> tuple[float, float, float]:
    """Give the cumulative hazard, the hazard and its slope of the family's standard member.

    Parameters
    ----------
    family : int
        0 Weibull (and exponential), 1 lognormal, 2 loglogistic.
    z : float
        Standard age, (log t - location) / sigma. [-]

    Returns
    -------
    total, rate, slope : float
        H(z), dH/dz and its derivative. [-]
    """
    if family == _WEIBULL:
        total = math.exp(z)
        return total, total, total
    if family == _LOGNORMAL:
        total, rate = _normal_hazard(z)
        return total, rate, min(rate * (rate - z), 1.0)
    shrunk = math.exp(-abs(z))
    rate = 1.0 / (1.0 + shrunk) if z >= 0.0 else shrunk / (1.0 + shrunk)
    return max(z, 0.0) + math.log1p(shrunk), rate, rate * (1.0 - rate)


@njit(cache=True)
def _density(family: int, z: float) -> tuple[float, float, float]:
    """Log density of the standard member of the family and its two derivatives."""
    if family == _WEIBULL:
        total = math.exp(z)
        return z - total, 1.0 - total, -total
    if family == _LOGNORMAL:
        return -0.5 * z * z - _LOG_ROOT_TWO_PI, -z, -1.0
    total, rate, slope = standard_hazard(family, z)
    return z - 2.0 * total, 1.0 - 2.0 * rate, -2.0 * slope


@njit(cache=True)
def _ages(
    family: int, kind: int, z_entry: float, z_lower: float, z_upper: float
) -> tuple[float, float, float, float, float, float, float, float]:
    """One row: its log-likelihood and its slopes by the three standard ages.

    First by entry, lower, upper; then the second slopes by entry, lower, lower and upper,
    upper. The exact row's ``log(rho) - y`` is left to the caller, who knows the sum of weights.
    """
    value = d_entry = d_low = d_up = dd_entry = dd_low = dd_both = dd_up = 0.0
    base = kind % TRUNCATED
    if base == EXACT:
        value, d_low, dd_low = _density(family, z_lower)
    elif base == RIGHT:
        total, rate, slope = standard_hazard(family, z_lower)
        value, d_low, dd_low = -total, -rate, -slope
    else:
        low_total = low_rate = low_slope = odds = 0.0
        if base == INTERVAL:
            low_total, low_rate, low_slope = standard_hazard(family, z_lower)
        up_total, up_rate, up_slope = standard_hazard(family, z_upper)
        gap = up_total - low_total
        value = -low_total
        if gap < 700.0:  # beyond, the chance of outliving the interval is nil and adds nothing
            odds = 1.0 / math.expm1(gap) if gap > 0.0 else math.inf
            value += math.log(-math.expm1(-gap)) if gap > 0.0 else -math.inf
        else:
            up_rate = up_slope = 0.0
        low_odds, d_up = low_rate * odds, up_rate * odds  # first: odds squared may overflow
        d_low = -low_rate - low_odds
        dd_low = -low_slope * (1.0 + odds) + low_odds * d_low
        dd_both = low_odds * (up_rate + d_up)
        dd_up = up_slope * odds - d_up * (up_rate + d_up)
    if kind >= TRUNCATED:
        total, d_entry, dd_entry = standard_hazard(family, z_entry)
        value += total
    return value, d_entry, d_low, d_up, dd_entry, dd_low, dd_both, dd_up


@njit(cache=True)
def _row(
    family: int, kind: int, linear: float, rho: float, entry: float, lower: float, upper: float
) -> tuple[float, float, float, float, float, float]:
    """One row: its log-likelihood, the slopes by -x'gamma and rho, and the second slopes."""
    value, d_entry, d_low, d_up, dd_entry, dd_low, dd_both, dd_up = _ages(
        family, kind, rho * entry - linear, rho * lower - linear, rho * upper - linear
    )
    if kind in (RIGHT, EXACT):
        across = dd_low * lower
        return value, d_low, d_low * lower, dd_low, across, across * lower
    return (
        value,
        d_entry + d_low + d_up,
        d_entry * entry + d_low * lower + d_up * upper,
        dd_entry + dd_low + 2.0 * dd_both + dd_up,
        dd_entry * entry + dd_low * lower + dd_both * (lower + upper) + dd_up * upper,
        dd_entry * entry * entry
        + dd_low * lower * lower
        + 2.0 * dd_both * lower * upper
        + dd_up * upper * upper,
    )


@njit(cache=True, fastmath={"reassoc", "contract"})
def _add_products(
    rows: int,
    columns: Array,
    first: Array,
    second: Array,
    mixed: Array,
    scaled: Array,
    gradient: Array,
    hessian: Array,
) -> None:
    """Add a block of rows to the gradient and to the Hessian's upper triangle."""
    width = len(columns)
    for j in range(width):
        column = columns[j]
        slope = cross = 0.0
        for i in range(rows):
            slope += first[i] * column[i]
            cross += mixed[i] * column[i]
            scaled[i] = second[i] * column[i]
        gradient[j] -= slope
        hessian[j, width] -= cross
        for k in range(j + 1):
            other = columns[k]
            total = 0.0
            for i in range(rows):
                total += scaled[i] * other[i]
            hessian[k, j] += total


@njit(cache=True, fastmath={"reassoc", "contract"})
def likelihood_sums(
    family: int,
    kind: NDArray[np.uint8],
    entry: Array,
    lower: Array,
    upper: Array,
    weight: Array,
    design: Array,
    centre: Array,
    spread: Array,
    theta: Array,
) -> tuple[float, Array, Array]:
    """Sum the log-likelihood of all rows, its gradient and its Hessian.

    Parameters
    ----------
    family : int
        0 Weibull (and exponential), 1 lognormal, 2 loglogistic.
    kind : ndarray of uint8, shape (n,)
        `RIGHT`, `EXACT`, `LEFT` or `INTERVAL`, plus `TRUNCATED`.
    entry, lower, upper : ndarray, shape (n,)
        Log ages, shifted and scaled; read only where the kind of row has them. [-]
    weight : ndarray, shape (n,)
        Lives a row stands for. [-]
    design : ndarray, shape (n, p)
        Covariates, C-ordered; the intercept is added here.
    centre, spread : ndarray, shape (p,)
        Taken off each covariate, then divided by.
    theta : ndarray, shape (p + 2,)
        Intercept and slopes divided by sigma, then rho = 1 / sigma. [-]

    Returns
    -------
    value : float
        Log-likelihood, without ``log(rho) - y`` of the exact rows.
    gradient : ndarray, shape (p + 2,)
    hessian : ndarray, shape (p + 2, p + 2)
    """
    n, p = design.shape
    size = p + 2
    rho = theta[size - 1]
    gradient = np.zeros(size)
    hessian = np.zeros((size, size))
    columns = np.ones((p + 1, _BLOCK))
    linear = np.empty(_BLOCK)
    first, second = np.empty(_BLOCK), np.empty(_BLOCK)
    mixed, scaled = np.empty(_BLOCK), np.empty(_BLOCK)
    value = 0.0
    for start in range(0, n, _BLOCK):
        rows = min(_BLOCK, n - start)
        linear[:rows] = theta[0]
        for j in range(p):
            for i in range(rows):
                columns[j + 1, i] = (design[start + i, j] - centre[j]) / spread[j]
                linear[i] += theta[j + 1] * columns[j + 1, i]
        for i in range(rows):
            at = start + i
            w = weight[at]
            first[i] = second[i] = mixed[i] = 0.0
            if w == 0.0:
                continue
            term, d, dy, dd, ddy, ddyy = _row(
                family, kind[at], linear[i], rho, entry[at], lower[at], upper[at]
            )
            value += w * term
            first[i], second[i], mixed[i] = w * d, w * dd, w * ddy
            gradient[size - 1] += w * dy
            hessian[size - 1, size - 1] += w * ddyy
        _add_products(rows, columns, first, second, mixed, scaled, gradient, hessian)
    for j in range(size):
        for k in range(j):
            hessian[j, k] = hessian[k, j]
    return value, gradient, hessian


@njit(cache=True)
def row_terms(
    family: int,
    kind: NDArray[np.uint8],
    entry: Array,
    lower: Array,
    upper: Array,
    linear: Array,
    rho: float,
) -> Array:
    """Give each row's log-likelihood and its slopes, unweighted.

    Parameters
    ----------
    family, kind, entry, lower, upper
        As in `likelihood_sums`.
    linear : ndarray, shape (n,)
        The row's x'gamma. [-]
    rho : float
        1 / sigma. [-]

    Returns
    -------
    ndarray, shape (6, n)
        Log-likelihood (without ``log(rho) - y`` of an exact row), slope by z, by rho,
        second slope by z twice, by z and rho, by rho twice. The slopes by x'gamma are
        those by z with the sign turned.
    """
    n = len(kind)
    terms = np.empty((6, n))
    for i in range(n):
        row = _row(family, kind[i], linear[i], rho, entry[i], lower[i], upper[i])
        for k in range(6):
            terms[k, i] = row[k]
    return terms


@njit(cache=True)
def column_spans(design: Array) -> Array:
    """Give the mean, least and greatest value of each column in one pass, without a copy.

    Parameters
    ----------
    design : ndarray, shape (n, p)
        Covariates, C-ordered.

    Returns
    -------
    ndarray, shape (3, p)
        Means, minima, maxima; the mean of a column with a NaN or inf is not finite.
    """
    n, p = design.shape
    spans = np.zeros((3, p))
    spans[1], spans[2] = np.inf, -np.inf
    for i in range(n):
        for j in range(p):
            x = design[i, j]
            spans[0, j] += (x - design[0, j]) / n  # from the first row on: no loss at 1e12
            spans[1, j] = min(spans[1, j], x)
            spans[2, j] = max(spans[2, j], x)
    for j in range(p):
        spans[0, j] += design[0, j]
    return spans


@njit(cache=True)
def age_slopes(
    family: int, kind: NDArray[np.uint8], z_entry: Array, z_lower: Array, z_upper: Array
) -> Array:
    """Give each row's log-likelihood and its slopes by its own standard ages, unweighted.

    Parameters
    ----------
    family, kind
        As in `likelihood_sums`.
    z_entry, z_lower, z_upper : ndarray, shape (n,)
        Standard ages; read only where the kind of row has them. [-]

    Returns
    -------
    ndarray, shape (8, n)
        Log-likelihood (without ``log(rho) - y`` of an exact row), slopes by entry, lower and
        upper, second slopes by entry, lower, lower and upper, upper.
    """
    n = len(kind)
    slopes = np.empty((8, n))
    for i in range(n):
        row = _ages(family, kind[i], z_entry[i], z_lower[i], z_upper[i])
        for k in range(8):
            slopes[k, i] = row[k]
    return slopes
