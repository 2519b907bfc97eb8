r"""Follow a disc through its life: exposure, survival and the least-cost age, in one pass.

With the cumulative hazard H of the life law and upsets at rate :math:`\delta`,

.. math::
    G(t) = e^{-H(t) - \delta t}, \qquad M(T) = \int_0^T G, \qquad
    \varphi(T) = \lambda(T) M(T) + G(T) - \frac{c_f}{c_f - c_p}

with :math:`\lambda = h + \delta`. The yearly cost has slope zero where :math:`\varphi` crosses
zero from below; while the hazard rises, :math:`\varphi` does. A hazard that falls, then rises,
and perhaps falls again late has one such crossing at most.
"""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from analytics.survival.kernels import standard_hazard
from analytics.survival.law import Family

__all__ = ["FAMILY_CODES", "follow"]

Array = NDArray[np.float64]

FAMILY_CODES = {
    Family.WEIBULL: 0,
    Family.EXPONENTIAL: 0,
    Family.LOGNORMAL: 1,
    Family.LOGLOGISTIC: 2,
}

_FINE, _FINE_WEIGHTS = np.polynomial.legendre.leggauss(6)
_QUICK, _QUICK_WEIGHTS = np.polynomial.legendre.leggauss(3)
_LONGEST = math.log(1e4)
"""Nobody waits 10,000 years: the end of every life, for laws whose mean is infinite. [log years]"""
_NEGLIGIBLE = 1e-13
_EARLY = math.log(1e-5)
_LOGNORMAL = 1


@njit(cache=True)
def _hazards(
    family: int, y: float, m: float, s: float, a: float, k: float, d: float
) -> tuple[float, float]:
    """Cumulative hazard with upsets, and age times hazard, at log age y."""
    worn, rate, _ = standard_hazard(family, (y - m) / s)
    install = math.exp(a + k * y)
    upset = d * math.exp(y)
    return worn + install + upset, rate / s + k * install + upset


@njit(cache=True)
def _exposure(
    family: int, start: float, end: float, m: float, s: float, a: float, k: float, d: float
) -> float:
    """Integral of G between two log ages, by Gauss and Legendre on log age."""
    half, middle = 0.5 * (end - start), 0.5 * (end + start)
    short = end - start < 0.3 * min(s, 0.8)
    nodes, weights = (_QUICK, _QUICK_WEIGHTS) if short else (_FINE, _FINE_WEIGHTS)
    total = 0.0
    for j in range(nodes.size):
        y = middle + half * nodes[j]
        hazard, _ = _hazards(family, y, m, s, a, k, d)
        total += weights[j] * math.exp(y - hazard)
    return half * total


@njit(cache=True)
def _begin(
    family: int, first: float, m: float, s: float, a: float, k: float, d: float
) -> tuple[float, float]:
    """A log age by which hardly anything happened (H about 1e-5), and the exposure up to it.

    There G = 1 - H to ten digits, and the integral of c t^p is H t / (1 + p).
    """
    y = min(first - 0.5, m + s * (-8.0 if family == _LOGNORMAL else _EARLY))
    if a > -math.inf:
        y = min(y, (_EARLY - a) / k)
    if d > 0.0:
        y = min(y, _EARLY - math.log(d))
    worn, _, _ = standard_hazard(family, (y - m) / s)
    lost = worn / (1.0 + 1.0 / s) + math.exp(a + k * y) / (1.0 + k) + 0.5 * d * math.exp(y)
    return y, math.exp(y) * (1.0 - lost)


@njit(cache=True)
def _crossing(
    family: int,
    start: float,
    end: float,
    before: float,
    ratio: float,
    m: float,
    s: float,
    a: float,
    k: float,
    d: float,
) -> float:
    """Log age in (start, end) where phi crosses zero from below: Newton within a bracket."""
    low, high, y, last = start, end, 0.5 * (start + end), math.inf
    for _ in range(60):
        hazard, slope = _hazards(family, y, m, s, a, k, d)
        _, ahead = _hazards(family, y + 1e-4, m, s, a, k, d)
        area = before + _exposure(family, start, y, m, s, a, k, d)
        value = slope * area * math.exp(-y) + math.exp(-hazard) - ratio
        if value < 0.0:
            low = y
        else:
            high = y
        # d phi / dy = t h'(t) M, and t^2 h' = d(t h)/dy - t h.
        rise = ((ahead - slope) * 1e4 - slope) * area * math.exp(-y)
        step = value / rise if rise > 0.0 else math.inf
        if abs(step) < 1e-11 or high - low < 1e-11:
            break
        good = low < y - step < high and abs(step) < 0.5 * last
        last = abs(step) if good else 0.5 * (high - low)
        y = y - step if good else 0.5 * (low + high)
    return y


@njit(cache=True)
def _width(y: float, hazard: float, zone: float, s: float) -> float:
    """How far the next panel reaches: fine where the survival turns down."""
    width = 1.5 if hazard < 0.02 else 0.75
    return min(width, zone - y + 1e-9) if y < zone else min(width, 0.8 * s)


@njit(cache=True)
def follow(
    family: int,
    m: Array,
    s: Array,
    a: Array,
    k: Array,
    d: Array,
    ratio: Array,
    log_ages: Array,
    area: Array,
    hazard: Array,
    slope: Array,
    best: Array,
    lived: Array,
) -> None:
    """Fill, per draw and unit, the state at every age asked for and the least-cost age.

    Parameters
    ----------
    family : int
        From `FAMILY_CODES`.
    m, s, a, k, d : ndarray, shape (n_draws, n_units)
        Fields of the life law and the rate of upsets.
    ratio : ndarray, shape (n_draws, n_units)
        c_f / (c_f - c_p); inf when a planned replacement is no cheaper. [-]
    log_ages : ndarray, shape (n_ages, n_units)
        Ages asked for, ascending. [log years]
    area, hazard, slope : ndarray, shape (n_ages, n_draws, n_units), out
        M, H + delta t and t lambda at those ages. [years], [-], [-]
    best : ndarray, shape (2, n_draws, n_units), out
        Age where phi crosses zero from below and the hazard lambda there; inf without one.
        [years], [1/years]
    lived : ndarray, shape (2, n_draws, n_units), out
        M and G at the end of every life. [years], [-]
    """
    for i in range(m.shape[0]):
        for u in range(m.shape[1]):
            _walk(
                family, m[i, u], s[i, u], a[i, u], k[i, u], d[i, u], ratio[i, u], log_ages[:, u],
                area[:, i, u], hazard[:, i, u], slope[:, i, u], best[:, i, u], lived[:, i, u],
            )  # fmt: skip


@njit(cache=True)
def _walk(
    family: int,
    m: float,
    s: float,
    a: float,
    k: float,
    d: float,
    ratio: float,
    log_ages: Array,
    area: Array,
    hazard: Array,
    slope: Array,
    best: Array,
    lived: Array,
) -> None:
    """Walk one life from panel to panel; arguments as `follow`, one draw and unit."""
    n_ages = log_ages.size
    y, passed = _begin(family, log_ages[0] if n_ages else math.inf, m, s, a, k, d)
    total, phi, j = 0.0, -1.0, 0
    best[0] = best[1] = math.inf
    while y < _LONGEST and math.exp(y - total) >= _NEGLIGIBLE * passed:
        end = min(y + _width(y, total, m - 3.0 * s, s), _LONGEST)
        asked = j < n_ages and log_ages[j] <= end
        if asked:
            end = log_ages[j]
        before = passed
        passed += _exposure(family, y, end, m, s, a, k, d)
        total, rate = _hazards(family, end, m, s, a, k, d)
        value = rate * passed * math.exp(-end) + math.exp(-total) - ratio
        if phi < 0.0 <= value and best[0] == math.inf:
            root = _crossing(family, y, end, before, ratio, m, s, a, k, d)
            best[0] = math.exp(root)
            best[1] = _hazards(family, root, m, s, a, k, d)[1] / best[0]
        phi, y = value, end
        if asked:
            area[j], hazard[j], slope[j] = passed, total, rate
            j += 1
    lived[0], lived[1] = passed, math.exp(-total)
    for rest in range(j, n_ages):
        area[rest] = passed
        hazard[rest], slope[rest] = _hazards(family, log_ages[rest], m, s, a, k, d)
