"""What does a survival curve say at an age, or up to one? Readings off `curves`."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError, NotEstimable
from analytics.survival.curves import SurvivalCurve

__all__ = [
    "RestrictedMean",
    "life_quantile",
    "limits_at",
    "restricted_mean",
    "step_at",
    "survival_at",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class RestrictedMean:
    """Mean life counted no further than a horizon.

    Attributes
    ----------
    mean : float
        Area under the survival curve up to `horizon`. [time]
    std_error : float
        Its standard error. [time]
    horizon : float
        Age at which counting stops. [time]
    """

    mean: float
    std_error: float
    horizon: float


def step_at(step_age: ArrayLike, value: ArrayLike, age: ArrayLike, *, before: float) -> Array:
    """Read a right-continuous step function.

    Parameters
    ----------
    step_age, value : array_like, shape (n_steps,)
        Ages of the steps, ascending, and the value from each step on.
    age : array_like
        Ages to read at, any shape. [time]
    before : float
        Value before the first step, in the unit of `value`.

    Returns
    -------
    ndarray, shape of `age`
        Values.

    Examples
    --------
    >>> step_at([1, 2], [0.9, 0.4], [0.5, 1, 3], before=1.0)
    array([1. , 0.9, 0.4])
    """
    values = np.concatenate(([before], np.asarray(value, dtype=float)))
    return np.asarray(values[np.searchsorted(step_age, age, side="right")])


def survival_at(curve: SurvivalCurve, age: ArrayLike) -> Array:
    """Read a survival curve at given ages.

    Parameters
    ----------
    curve : SurvivalCurve
        From `kaplan_meier`.
    age : array_like
        Ages within `curve.given_age` and `curve.last_age`. [time]

    Returns
    -------
    ndarray, shape of `age`
        Survival. [-]

    Raises
    ------
    NotEstimable
        If an age lies where the curve says nothing.
    """
    ages = np.asarray(age, dtype=float)
    _refuse_outside(curve, ages)
    return step_at(curve.age, curve.survival, ages, before=1.0)


def limits_at(curve: SurvivalCurve, age: ArrayLike) -> tuple[Array, Array]:
    """Read the limits of a survival curve at given ages.

    Parameters
    ----------
    curve : SurvivalCurve
        From `kaplan_meier`.
    age : array_like
        Ages within `curve.given_age` and `curve.last_age`. [time]

    Returns
    -------
    low, high : ndarray, shape of `age`
        Limits. Before the first failure the lower one is that of the first failure, since
        survival never rises, and the upper one 1; without any failure they are 0 and 1. [-]

    Raises
    ------
    NotEstimable
        If an age lies where the curve says nothing.

    Examples
    --------
    >>> from analytics.survival.curves import kaplan_meier
    >>> low, high = limits_at(kaplan_meier([5, 6, 7], [False, False, False]), 4.0)
    >>> float(low), float(high)
    (0.0, 1.0)
    """
    ages = np.asarray(age, dtype=float)
    _refuse_outside(curve, ages)
    first = float(curve.low[0]) if curve.age.size else 0.0
    return (
        step_at(curve.age, curve.low, ages, before=first),
        step_at(curve.age, curve.high, ages, before=1.0),
    )


def restricted_mean(curve: SurvivalCurve, horizon: float) -> RestrictedMean:
    r"""Average the life counted no further than a horizon.

    .. math::
        \mu = \int_a^h S(u)\,du, \quad
        \mathrm{Var} = \sum_j \Big(\int_{t_j}^h S(u)\,du\Big)^2 \frac{d_j}{n_j (n_j - d_j)}

    Parameters
    ----------
    curve : SurvivalCurve
        From `kaplan_meier`; counting starts at its `given_age`, a.
    horizon : float
        Age at which counting stops, h, within the curve. [time]

    Returns
    -------
    RestrictedMean
        Mean and standard error. [time]

    Raises
    ------
    NotEstimable
        If the curve does not reach the horizon.

    Examples
    --------
    >>> from analytics.survival.curves import kaplan_meier
    >>> restricted_mean(kaplan_meier([1, 2], [True, True]), 2.0).mean
    1.5
    """
    _refuse_outside(curve, np.asarray([horizon], dtype=float))
    inside = curve.age < horizon
    edges = np.concatenate(([curve.given_age], curve.age[inside], [horizon]))
    heights = np.concatenate(([1.0], curve.survival[inside]))
    areas = heights * np.diff(edges)
    beyond = np.cumsum(areas[::-1])[::-1][1:]
    at_risk, events = curve.at_risk[inside], curve.events[inside]
    left = np.where(at_risk > events, at_risk - events, np.inf)
    variance = np.sum(beyond**2 * events / (at_risk * left))
    return RestrictedMean(
        mean=float(areas.sum()), std_error=float(np.sqrt(variance)), horizon=horizon
    )


def life_quantile(curve: SurvivalCurve, share: float) -> tuple[float, float, float]:
    """Give the age by which a share has failed, and its limits.

    The limits are the ages at which the limits of the curve cross the same level
    (Brookmeyer & Crowley 1982).

    Parameters
    ----------
    curve : SurvivalCurve
        From `kaplan_meier`.
    share : float
        Share failed, e.g. 0.1 for B10. [-]

    Returns
    -------
    estimate, low, high : float
        Ages; inf where the data do not reach that far. [time]

    Raises
    ------
    InputError
        If `share` lies outside (0, 1).

    Examples
    --------
    >>> from analytics.survival.curves import kaplan_meier
    >>> life_quantile(kaplan_meier([1, 2, 3, 4], [True] * 4), 0.5)[0]
    2.0
    """
    if not 0 < share < 1:
        raise InputError(f"share must lie in (0, 1), got {share!r}")
    level = 1 - share + 1e-12  # so that 1 - 0.1 and a product of steps meet

    def crossing(values: Array) -> float:
        below = np.flatnonzero(values <= level)
        return float(curve.age[below[0]]) if below.size else np.inf

    return crossing(curve.survival), crossing(curve.low), crossing(curve.high)


def _refuse_outside(curve: SurvivalCurve, ages: Array) -> None:
    bad = ages[~((ages >= curve.given_age) & (ages <= curve.last_age))]
    if bad.size:
        raise NotEstimable(
            f"the curve covers ages {curve.given_age:g} to {curve.last_age:g}, got {bad[0]:g}; "
            "beyond the last age seen a life model is needed"
        )
