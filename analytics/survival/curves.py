r"""How many discs outlive an age? Curves that assume no life model.

Ours rather than lifelines' where its conventions differ from the textbook ones: Nelson-Aalen
there spreads ties, Aalen-Johansen jitters them, and a risk set that collapses is an error.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from analytics.errors import InputError, NotEstimable
from analytics.survival.risk_sets import early_collapse, risk_sets

__all__ = [
    "HazardCurve",
    "RestrictedMean",
    "SurvivalCurve",
    "kaplan_meier",
    "life_quantile",
    "nelson_aalen",
    "restricted_mean",
    "step_at",
    "survival_at",
    "survival_frame",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SurvivalCurve:
    """A product-limit survival curve: a step down at every age with a failure.

    Attributes
    ----------
    age : ndarray, shape (n_ages,)
        Ages with a failure, ascending. [time]
    at_risk, events : ndarray, shape (n_ages,)
        Units at risk just before the age, failures at it. [-]
    survival : ndarray, shape (n_ages,)
        Probability of living past the age, given `given_age` was reached. [-]
    std_error : ndarray, shape (n_ages,)
        Greenwood standard error; NaN once the curve is 0. [-]
    low, high : ndarray, shape (n_ages,)
        Pointwise limits on the log-log scale, inside [0, 1]. [-]
    given_age : float
        Age the curve starts from. [time]
    last_age : float
        Largest age seen; the curve says nothing beyond. [time]
    confidence : float
        Two-sided level of the limits. [-]
    warning : str
        Blank, or why an early risk set is too thin to carry the curve.
    """

    age: Array
    at_risk: Array
    events: Array
    survival: Array
    std_error: Array
    low: Array
    high: Array
    given_age: float
    last_age: float
    confidence: float
    warning: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HazardCurve:
    """A Nelson-Aalen cumulative hazard: a step up at every age with a failure.

    Attributes
    ----------
    age : ndarray, shape (n_ages,)
        Ages with a failure, ascending. [time]
    at_risk, events : ndarray, shape (n_ages,)
        Units at risk just before the age, failures at it. [-]
    cumulative_hazard : ndarray, shape (n_ages,)
        Sum of events / at_risk from `given_age` on; tied failures count together. [-]
    std_error : ndarray, shape (n_ages,)
        Square root of Aalen's variance, the sum of events / at_risk^2. [-]
    low, high : ndarray, shape (n_ages,)
        Pointwise limits on the log scale. [-]
    given_age, last_age, confidence, warning
        As in `SurvivalCurve`.
    """

    age: Array
    at_risk: Array
    events: Array
    cumulative_hazard: Array
    std_error: Array
    low: Array
    high: Array
    given_age: float
    last_age: float
    confidence: float
    warning: str


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


def kaplan_meier(
    age: ArrayLike,
    failed: ArrayLike,
    *,
    entry: ArrayLike = 0.0,
    weight: ArrayLike = 1.0,
    given_age: float = 0.0,
    confidence: float = 0.95,
) -> SurvivalCurve:
    r"""Estimate the probability of living past an age without assuming a life model.

    .. math::
        S(t) = \prod_{t_j \le t} (1 - d_j / n_j), \quad
        \mathrm{Var}\log S = \sum d_j / (n_j (n_j - d_j))

    Parameters
    ----------
    age : array_like, shape (n_units,)
        Age at failure, or when observation ended. [time]
    failed : array_like of bool, shape (n_units,)
        Whether the unit failed at `age`. [-]
    entry, weight
        As in `risk_sets`. [time], [-]
    given_age : float, default 0
        Start from this age: survival of those that reached it. [time]
    confidence : float, default 0.95
        Two-sided level of the limits. [-]

    Returns
    -------
    SurvivalCurve
        One step per age with a failure; none if nothing failed.

    Raises
    ------
    InputError
        If the input breaks the rules of `risk_sets`.

    Notes
    -----
    Where the log-log limits do not exist (the curve has reached 0) the upper limit of the
    step before still holds, because survival never rises; the lower one is 0.

    References
    ----------
    .. [1] Kaplan & Meier (1958), J. Am. Stat. Assoc. 53, 457-481.
    .. [2] Kalbfleisch & Prentice (1980), The Statistical Analysis of Failure Time Data, 1.3
       (log-log limits).

    Examples
    --------
    >>> curve = kaplan_meier([54, 187, 216, 500], [True, True, True, False])
    >>> curve.survival
    array([0.75, 0.5 , 0.25])
    """
    z = _normal_deviate(confidence)
    counts = risk_sets(age, np.asarray(failed, dtype=bool), entry=entry, weight=weight,
                       given_age=given_age)  # fmt: skip
    events = counts.events[0]
    survival = np.cumprod(1 - events / counts.at_risk)
    all_failed = events >= counts.at_risk * (1 - 1e-12)  # weights need not be whole
    survival[np.cumsum(all_failed) > 0] = 0.0
    alive = survival > 0
    left = np.where(alive, counts.at_risk - events, 1.0)
    log_variance = np.where(alive, np.cumsum(events / (counts.at_risk * left)), np.nan)
    low, high = _log_log_limits(survival, np.sqrt(log_variance), z)
    return SurvivalCurve(
        age=counts.age,
        at_risk=counts.at_risk,
        events=events,
        survival=survival,
        std_error=survival * np.sqrt(log_variance),
        low=low,
        high=high,
        given_age=given_age,
        last_age=counts.last_age,
        confidence=confidence,
        warning=early_collapse(counts),
    )


def nelson_aalen(
    age: ArrayLike,
    failed: ArrayLike,
    *,
    entry: ArrayLike = 0.0,
    weight: ArrayLike = 1.0,
    given_age: float = 0.0,
    confidence: float = 0.95,
) -> HazardCurve:
    r"""Estimate the cumulative hazard without assuming a life model.

    .. math::
        H(t) = \sum_{t_j \le t} d_j / n_j, \quad \mathrm{Var} = \sum_{t_j \le t} d_j / n_j^2

    Parameters
    ----------
    age, failed, entry, weight, given_age, confidence
        As in `kaplan_meier`.

    Returns
    -------
    HazardCurve
        One step per age with a failure; none if nothing failed.

    Raises
    ------
    InputError
        If the input breaks the rules of `risk_sets`.

    References
    ----------
    .. [1] Nelson (1972), Technometrics 14, 945-966; Aalen (1978), Ann. Stat. 6, 701-726.

    Examples
    --------
    >>> nelson_aalen([54, 187, 216, 500], [True, True, True, False]).cumulative_hazard
    array([0.25      , 0.58333333, 1.08333333])
    """
    z = _normal_deviate(confidence)
    counts = risk_sets(age, np.asarray(failed, dtype=bool), entry=entry, weight=weight,
                       given_age=given_age)  # fmt: skip
    events = counts.events[0]
    total = np.cumsum(events / counts.at_risk)
    std_error = np.sqrt(np.cumsum(events / counts.at_risk**2))
    spread = np.exp(z * std_error / total)
    return HazardCurve(
        age=counts.age,
        at_risk=counts.at_risk,
        events=events,
        cumulative_hazard=total,
        std_error=std_error,
        low=total / spread,
        high=total * spread,
        given_age=given_age,
        last_age=counts.last_age,
        confidence=confidence,
        warning=early_collapse(counts),
    )


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


def survival_frame(curve: SurvivalCurve) -> pd.DataFrame:
    """Lay a survival curve out for drawing, from its first age to its last.

    Parameters
    ----------
    curve : SurvivalCurve
        From `kaplan_meier`, ages in years.

    Returns
    -------
    DataFrame
        `age_years at_risk events survival low high`; the first row is the start (nothing
        failed yet, upper limit 1), the last the largest age seen.
    """
    first_low = curve.low[0] if curve.age.size else np.nan
    start = [curve.given_age, np.nan, 0.0, 1.0, first_low, 1.0]
    body = np.column_stack(
        [curve.age, curve.at_risk, curve.events, curve.survival, curve.low, curve.high]
    )
    rows = np.vstack([start, body])
    if curve.last_age > rows[-1, 0]:
        rows = np.vstack([rows, [curve.last_age, np.nan, 0.0, *rows[-1, 3:]]])
    return pd.DataFrame(rows, columns=["age_years", "at_risk", "events", "survival", "low", "high"])


def _normal_deviate(confidence: float) -> float:
    if not 0 < confidence < 1:
        raise InputError(f"confidence must lie in (0, 1), got {confidence!r}")
    return float(ndtri(0.5 + confidence / 2))


def _log_log_limits(survival: Array, log_error: Array, z: float) -> tuple[Array, Array]:
    """Limits of log(-log S); where S is 0 the upper limit of the step before holds."""
    alive = survival[survival > 0]
    spread = np.exp(z * log_error[: alive.size] / -np.log(alive))
    low, high = np.zeros_like(survival), np.ones_like(survival)
    low[: alive.size], high[: alive.size] = alive**spread, alive ** (1 / spread)
    high[alive.size :] = high[alive.size - 1] if alive.size else 1.0
    return low, high


def _refuse_outside(curve: SurvivalCurve, ages: Array) -> None:
    bad = ages[~((ages >= curve.given_age) & (ages <= curve.last_age))]
    if bad.size:
        raise NotEstimable(
            f"the curve covers ages {curve.given_age:g} to {curve.last_age:g}, got {bad[0]:g}; "
            "beyond the last age seen a life model is needed"
        )
