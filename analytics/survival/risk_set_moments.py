r"""What did the units at risk look like at each failure? The sums behind a Cox model.

Ties after Efron: of d failures at one age the k-th sees a risk set from which the share
k / d of the tied failures has gone.
"""

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

__all__ = ["CoxData", "Moments", "Ties", "moments", "score_residuals"]

Array = NDArray[np.float64]


class Ties(Enum):
    """What failures at one age take each other for."""

    EFRON = "efron"
    BRESLOW = "breslow"


@dataclass(frozen=True, slots=True, kw_only=True)
class CoxData:
    """Units with their covariates; build it with `analytics.survival.cox.cox_data`.

    Attributes
    ----------
    entry, age : ndarray, shape (n_units,)
        At risk if entry < t <= age. [time]
    failed : ndarray of bool, shape (n_units,)
        Whether the unit failed at `age`. [-]
    weight : ndarray, shape (n_units,)
        How many units a row stands for, > 0. [-]
    covariates : ndarray, shape (n_units, n_covariates)
        Centred covariates.
    names : tuple of str
        Their names.
    """

    entry: Array
    age: Array
    failed: NDArray[np.bool_]
    weight: Array
    covariates: Array
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """Sums over the risk set at every failure, tied failures one after the other.

    Attributes
    ----------
    log_likelihood : float
        Partial log-likelihood. [-]
    age : ndarray, shape (n_ages,)
        Distinct ages at failure, ascending. [time]
    place : ndarray of int, shape (n_failures,)
        Index into `age` of each failure.
    gone : ndarray, shape (n_failures,)
        Share of the tied failures that has left the risk set, k / d; 0 after Breslow. [-]
    hazard : ndarray, shape (n_failures,)
        Weight of the failure over the risk set's sum. [-]
    mean : ndarray, shape (n_failures, n_covariates)
        Mean covariates of the risk set.
    score : ndarray, shape (n_ages, n_covariates)
        Covariates of those that failed at the age minus what was expected.
    information : ndarray, shape (n_ages, n_covariates, n_covariates)
        Variance of the covariates in the risk set, summed over the failures at the age.
    """

    log_likelihood: float
    age: Array
    place: NDArray[np.intp]
    gone: Array
    hazard: Array
    mean: Array
    score: Array
    information: Array


def moments(data: CoxData, coefficients: Array, ties: Ties = Ties.EFRON) -> Moments:
    """Sum over the risk set at every failure, for given coefficients.

    Parameters
    ----------
    data : CoxData
        Units and covariates.
    coefficients : ndarray, shape (n_covariates,)
        Log hazard ratios.
    ties : Ties, default EFRON
        How failures at one age are treated.

    Returns
    -------
    Moments
        Means, score and information by age; their sums over ages are the gradient and the
        negative Hessian of the partial likelihood.

    References
    ----------
    .. [1] Efron (1977), J. Am. Stat. Assoc. 72, 557-565 (ties).
    .. [2] Breslow (1974), Biometrics 30, 89-99 (ties).
    """
    x, failed = data.covariates, data.failed
    risk = data.weight * _relative_risk(x, coefficients)
    rows = np.column_stack([np.ones(len(x)), x, np.einsum("ij,ik->ijk", x, x).reshape(len(x), -1)])
    weighted = rows * risk[:, None]
    age, place = np.unique(data.age[failed], return_inverse=True)
    # A unit seen from new is at risk from the start, also at age 0.
    entry = np.where(data.entry > 0, data.entry, -np.inf)
    at_risk = _sum_from(data.age, weighted, age) - _sum_from(entry, weighted, age)
    tied = np.zeros_like(at_risk)
    np.add.at(tied, place, weighted[failed])
    deaths = np.bincount(place)
    order = np.argsort(place, kind="stable")
    place = place[order]
    gone = (np.arange(place.size) - np.repeat(np.cumsum(deaths) - deaths, deaths)) / deaths[place]
    if ties is Ties.BRESLOW:
        gone = np.zeros_like(gone)
    sums = at_risk[place] - gone[:, None] * tied[place]
    n = x.shape[1]
    mean = sums[:, 1 : n + 1] / sums[:, :1]
    square = (sums[:, n + 1 :] / sums[:, :1]).reshape(-1, n, n)
    death_weight = data.weight[failed][order]
    mean_weight = (np.bincount(place, death_weight) / deaths)[place]
    spread = square - np.einsum("ij,ik->ijk", mean, mean)
    score, information = np.zeros((age.size, n)), np.zeros((age.size, n, n))
    np.add.at(score, place, death_weight[:, None] * x[failed][order] - mean_weight[:, None] * mean)
    np.add.at(information, place, mean_weight[:, None, None] * spread)
    own = np.log(_relative_risk(x, coefficients))[failed][order]
    return Moments(
        log_likelihood=float(death_weight @ own - mean_weight @ np.log(sums[:, 0])),
        age=age,
        place=place,
        gone=gone,
        hazard=mean_weight / sums[:, 0],
        mean=mean,
        score=score,
        information=information,
    )


def score_residuals(data: CoxData, coefficients: Array, sums: Moments) -> Array:
    r"""Give each unit's part in the score, tied failures treated exactly as in the fit.

    Parameters
    ----------
    data : CoxData
        Units and covariates.
    coefficients : ndarray, shape (n_covariates,)
        Log hazard ratios.
    sums : Moments
        From `moments` at the same coefficients.

    Returns
    -------
    ndarray, shape (n_units, n_covariates)
        Residuals per unit of weight; their weighted sum is the score.

    References
    ----------
    .. [1] Therneau & Grambsch (2000), Modeling Survival Data, 4.6 and 7.2 (from memory).
    """
    x, n_ages = data.covariates, sums.age.size
    risk = _relative_risk(x, coefficients)

    def by_age(values: Array) -> Array:
        total = np.zeros((n_ages, values.shape[1]))
        np.add.at(total, sums.place, values)
        return total

    hazard = sums.hazard[:, None]
    steps = np.hstack([hazard, hazard * sums.mean])
    running = np.vstack([np.zeros(steps.shape[1]), np.cumsum(by_age(steps), axis=0)])
    entry = np.where(data.entry > 0, data.entry, -np.inf)
    seen = running[np.searchsorted(sums.age, data.age, side="right")]
    seen = seen - running[np.searchsorted(sums.age, entry, side="right")]
    residual = -risk[:, None] * (x * seen[:, :1] - seen[:, 1:])

    # Of the tied failures' own exposure only the share not yet gone counts.
    failed = data.failed
    at = np.searchsorted(sums.age, data.age[failed])
    spared = by_age(steps * sums.gone[:, None])[at]
    deaths = np.bincount(sums.place)[at][:, None]
    own, own_risk = x[failed], risk[failed][:, None]
    residual[failed] += own - by_age(sums.mean)[at] / deaths
    residual[failed] += own_risk * (own * spared[:, :1] - spared[:, 1:])
    return np.asarray(residual)


def _relative_risk(x: Array, coefficients: Array) -> Array:
    """Hazard ratios, the largest 1 so that none overflows."""
    linear = x @ coefficients
    return np.asarray(np.exp(linear - linear.max()))


def _sum_from(at: Array, values: Array, age: Array) -> Array:
    """Sum the rows whose `at` is at or beyond each age."""
    order = np.argsort(at, kind="stable")
    total = np.vstack([np.cumsum(values[order][::-1], axis=0)[::-1], np.zeros(values.shape[1])])
    return np.asarray(total[np.searchsorted(at[order], age, side="left")])
