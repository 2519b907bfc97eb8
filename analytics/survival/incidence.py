r"""How many discs end by each cause? Cumulative incidence of competing endings."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from analytics.errors import InputError
from analytics.survival.risk_sets import RiskSets, early_collapse, risk_sets

__all__ = ["IncidenceCurves", "cumulative_incidence"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class IncidenceCurves:
    """Probability of having ended by each cause, at every age with an event.

    Attributes
    ----------
    age : ndarray, shape (n_ages,)
        Ages with an event of any cause, ascending. [time]
    at_risk : ndarray, shape (n_ages,)
        Units at risk just before the age. [-]
    events : ndarray, shape (n_causes, n_ages)
        Events at the age; row 0 is cause 1. [-]
    incidence, std_error, low, high : ndarray, shape (n_causes, n_ages)
        Probability of having ended by the cause at or before the age, its standard error
        and pointwise limits on the log-log scale. [-]
    given_age, last_age, confidence, warning
        As in `analytics.survival.curves.SurvivalCurve`.
    """

    age: Array
    at_risk: Array
    events: Array
    incidence: Array
    std_error: Array
    low: Array
    high: Array
    given_age: float
    last_age: float
    confidence: float
    warning: str


def cumulative_incidence(
    age: ArrayLike,
    cause: ArrayLike,
    *,
    entry: ArrayLike = 0.0,
    weight: ArrayLike = 1.0,
    given_age: float = 0.0,
    confidence: float = 0.95,
) -> IncidenceCurves:
    r"""Estimate the probability of ending by each of several competing causes.

    .. math::
        F_k(t) = \sum_{t_j \le t} S(t_j^-)\, d_{kj} / n_j

    One minus Kaplan-Meier per cause would count a disc that ended otherwise as one that
    could still fail, and overstate every cause.

    Parameters
    ----------
    age : array_like, shape (n_units,)
        Age at the ending, or when observation ended without one. [time]
    cause : array_like of int, shape (n_units,)
        0: no ending seen. 1, 2, ...: its cause. [-]
    entry, weight, given_age, confidence
        As in `analytics.survival.curves.kaplan_meier`.

    Returns
    -------
    IncidenceCurves
        One row per cause, from 1 to the largest code.

    Raises
    ------
    InputError
        If the input breaks the rules of `risk_sets`.

    Notes
    -----
    Tied endings are counted together, exactly as they stand; nothing is jittered. The variance
    is that of the delta method on multinomial increments, equal to the infinitesimal jackknife.

    References
    ----------
    .. [1] Aalen & Johansen (1978), Scand. J. Stat. 5, 141-150.

    Examples
    --------
    >>> curves = cumulative_incidence([1, 2, 3, 4], [1, 2, 0, 1])
    >>> curves.incidence
    array([[0.25, 0.25, 0.75],
           [0.  , 0.25, 0.25]])
    """
    if not 0 < confidence < 1:
        raise InputError(f"confidence must lie in (0, 1), got {confidence!r}")
    counts = risk_sets(age, cause, entry=entry, weight=weight, given_age=given_age)
    incidence, variance = _incidence_and_variance(counts)
    std_error = np.sqrt(np.maximum(variance, 0.0))
    low, high = _limits(counts, incidence, std_error, confidence)
    return IncidenceCurves(
        age=counts.age,
        at_risk=counts.at_risk,
        events=counts.events,
        incidence=incidence,
        std_error=std_error,
        low=low,
        high=high,
        given_age=given_age,
        last_age=counts.last_age,
        confidence=confidence,
        warning=early_collapse(counts),
    )


def _incidence_and_variance(counts: RiskSets) -> tuple[Array, Array]:
    """Give F and Var F in one pass.

    The slope of F_k(t) by the increment of cause j at s is u - F_k(t) v with
    u = [j = k] S(s-) + F_k(s) v and v = 1 / (1 - sum of increments), so the variance is a
    quadratic in F_k(t) whose three coefficients are running sums over s.
    """
    increments = counts.events / counts.at_risk
    lost = np.minimum(increments.sum(axis=0), 1.0)
    surviving = np.cumprod(1 - lost)
    before = np.concatenate(([1.0], surviving[:-1]))
    incidence = np.cumsum(before * increments, axis=1)
    # Once everybody is gone nothing later depends on the increment.
    v = np.divide(1.0, 1 - lost, out=np.zeros_like(lost), where=lost < 1)
    spread = lost * (1 - lost) / counts.at_risk
    vv = np.cumsum(v**2 * spread)
    variance = np.empty_like(incidence)
    for k, (own, reached) in enumerate(zip(increments, incidence, strict=True)):
        base = reached * v
        cross = before * own * (1 - lost) / counts.at_risk
        uu = before**2 * own * (1 - own) / counts.at_risk + 2 * base * cross + base**2 * spread
        uv = (cross + base * spread) * v
        variance[k] = np.cumsum(uu) - 2 * reached * np.cumsum(uv) + reached**2 * vv
    return incidence, variance


def _limits(
    counts: RiskSets, incidence: Array, std_error: Array, confidence: float
) -> tuple[Array, Array]:
    """Limits F^exp(-+ z se / (F log F)), with bounds of another kind at the two ends."""
    inside = (incidence > 0) & (incidence < 1)
    level = np.where(inside, incidence, 0.5)
    z = float(ndtri(0.5 + confidence / 2))
    with np.errstate(over="ignore"):  # an error that large leaves 0 and 1 as the limits
        power = np.exp(z * std_error / (level * -np.log(level)))
    # A cause not yet seen among n units: its hazard is below log(2 / (1 - confidence)) / n.
    fewest = np.minimum.accumulate(counts.at_risk)
    unseen = 1 - ((1 - confidence) / 2) ** (1 / fewest)
    low = np.where(inside, level**power, 0.0)
    high = np.where(inside, level ** (1 / power), np.where(incidence > 0, 1.0, unseen))
    # Incidence never falls, so the lower limit of the step before still holds at F = 1.
    low = np.where(incidence < 1, low, np.maximum.accumulate(low, axis=1))
    return low, high
