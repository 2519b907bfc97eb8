r"""A fitted life as the rest of discward sees it: a cumulative hazard in closed form.

Every life model ends here, so replacement intervals, spares and early failures
do not know which model was fitted. Two hazards are added,

.. math::
    H(t) = e^{a} t^{k} + H_w\!\left(\frac{\log t - m}{s}\right)

an installation hazard that falls with age and a wear hazard of a location-scale
family on log time. A plain regression has no installation term (a = -inf).
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr

__all__ = [
    "Family",
    "LifeLaw",
    "cumulative_hazard",
    "cumulative_parts",
    "hazard",
    "middle_of",
    "part_of",
    "survival",
]

Array = NDArray[np.float64]


class Family(Enum):
    """Location-scale family of log life."""

    WEIBULL = "weibull"
    LOGNORMAL = "lognormal"
    LOGLOGISTIC = "loglogistic"
    EXPONENTIAL = "exponential"


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeLaw:
    """Parameters of one life law per draw and unit; fields broadcast together.

    Attributes
    ----------
    family : Family
        Family of the wear hazard.
    wear_location : ndarray, shape (n_draws, n_units)
        Location of log life under wear alone, m. [log years]
    wear_sigma : ndarray, shape (n_draws, 1) or (n_draws, n_units)
        Scale of log life under wear alone, s; Weibull shape is 1 / s. [-]
    install_log_rate : ndarray, shape (n_draws, n_units)
        Log of the installation hazard's rate, a; -inf when there is none. [log years^-k]
    install_shape : ndarray, shape (n_draws, 1) or (n_draws, n_units)
        Shape of the installation hazard, k, at most 1. [-]
    """

    family: Family
    wear_location: Array
    wear_sigma: Array
    install_log_rate: Array
    install_shape: Array


def cumulative_hazard(law: LifeLaw, age_years: ArrayLike) -> Array:
    """Give the cumulative hazard at an age.

    Parameters
    ----------
    law : LifeLaw
        Parameters, shape (n_draws, n_units).
    age_years : array_like
        Ages, >= 0, broadcastable to (n_draws, n_units) or with leading axes
        of their own, e.g. shape (n_ages, 1, 1). [years]

    Returns
    -------
    ndarray
        Cumulative hazard, the broadcast shape. [-]

    Examples
    --------
    >>> one = np.ones((1, 1))
    >>> law = LifeLaw(family=Family.WEIBULL, wear_location=np.log(8 * one), wear_sigma=one / 2,
    ...               install_log_rate=-np.inf * one, install_shape=one)
    >>> round(float(1 - survival(law, 5.0)[0, 0]), 5)
    0.32337
    """
    installation, wear = cumulative_parts(law, age_years)
    return np.asarray(installation + wear)


def cumulative_parts(law: LifeLaw, age_years: ArrayLike) -> tuple[Array, Array]:
    """Give the two parts of `cumulative_hazard`: of the installation and of wear."""
    log_age = _log(age_years)
    z = (log_age - law.wear_location) / law.wear_sigma
    installation = np.exp(law.install_log_rate + law.install_shape * log_age)
    return np.asarray(installation), _wear(law.family, z)


def survival(law: LifeLaw, age_years: ArrayLike) -> Array:
    """Give the probability of living past an age; shapes as `cumulative_hazard`."""
    return np.asarray(np.exp(-cumulative_hazard(law, age_years)))


def hazard(law: LifeLaw, age_years: ArrayLike) -> tuple[Array, Array]:
    """Give the installation and the wear hazard at an age.

    Parameters
    ----------
    law : LifeLaw
        Parameters, shape (n_draws, n_units).
    age_years : array_like
        Ages, > 0 (a falling hazard is infinite at 0), shapes as in
        `cumulative_hazard`. [years]

    Returns
    -------
    installation, wear : ndarray
        The two hazards; their sum is the hazard of the life. [1/years]
    """
    log_age = _log(age_years)
    z = (log_age - law.wear_location) / law.wear_sigma
    wear = _wear_slope(law.family, z) / law.wear_sigma * np.exp(-log_age)
    rate = law.install_log_rate + (law.install_shape - 1) * log_age
    return np.asarray(law.install_shape * np.exp(rate)), np.asarray(wear)


def part_of(
    law: LifeLaw,
    *,
    draws: slice | NDArray[np.intp] = slice(None),
    units: slice | NDArray[np.intp] = slice(None),
) -> LifeLaw:
    """Give some draws and some units of a law; a field with one column keeps it.

    Examples
    --------
    >>> law = LifeLaw(family=Family.WEIBULL, wear_location=np.zeros((4, 3)),
    ...               wear_sigma=np.ones((4, 1)), install_log_rate=np.zeros((4, 3)),
    ...               install_shape=np.ones((4, 1)))
    >>> part_of(law, draws=slice(2), units=np.array([0])).wear_location.shape
    (2, 1)
    """

    def pick(values: Array) -> Array:
        rows = values[draws]
        return rows if rows.shape[1] == 1 else rows[:, units]

    return _each(law, pick)


def middle_of(law: LifeLaw) -> LifeLaw:
    """Give the one law whose parameters are the means over the draws, shape (1, n_units)."""
    return _each(law, lambda values: values.mean(axis=0, keepdims=True))


def _each(law: LifeLaw, change: Callable[[Array], Array]) -> LifeLaw:
    return LifeLaw(
        family=law.family,
        wear_location=change(law.wear_location),
        wear_sigma=change(law.wear_sigma),
        install_log_rate=change(law.install_log_rate),
        install_shape=change(law.install_shape),
    )


def _log(age_years: ArrayLike) -> Array:
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(np.asarray(age_years, dtype=float)))


def _wear(family: Family, z: Array) -> Array:
    """Cumulative hazard of the standard member of the family."""
    if family is Family.LOGNORMAL:
        return np.asarray(-log_ndtr(-z))
    if family is Family.LOGLOGISTIC:
        return np.asarray(np.logaddexp(0.0, z))
    return np.asarray(np.exp(z))


def _wear_slope(family: Family, z: Array) -> Array:
    """Derivative of `_wear` by z."""
    if family is Family.LOGNORMAL:
        return np.asarray(np.exp(-0.5 * z * z - log_ndtr(-z)) / np.sqrt(2 * np.pi))
    if family is Family.LOGLOGISTIC:
        return np.asarray(1 / (1 + np.exp(-z)))
    return np.asarray(np.exp(z))
