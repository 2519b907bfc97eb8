r"""How many discs outlive an age? Curves that assume no life model.

Ours rather than the library's, whose Nelson-Aalen spreads ties, whose Aalen-Johansen jitters
them, and for which a risk set that collapses is an error; one table of risk sets serves all.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from analytics.errors import InputError
from analytics.survival.risk_sets import early_collapse, risk_sets

__all__ = [
    "HazardCurve",
    "SurvivalCurve",
    "kaplan_meier",
    "nelson_aalen",
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
    # Survival never rises, so the first lower limit holds before the first failure as well;
    # without a failure the curve alone rules nothing out.
    first_low = curve.low[0] if curve.age.size else 0.0
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
