r"""Log posterior of the two-hazard model on the scale where it is searched.

The search vector holds, in this order,

- a: log cumulative installation hazard of a clean disc at the reference age
- b_1..b_J: log hazard ratio of each defect
- c_1..c_q: coefficients of the installation covariates, centred and scaled
- logit k: shape of the installation hazard, kept in (0, 1)
- d: log cumulative wear hazard at the reference age
- g_1..g_r: coefficients of the wear covariates on log hazard, centred and scaled
- log(beta - 1): shape of the wear hazard, kept above 1

The reference age is the geometric mean age at failure and covariates are scaled by their own
spread, so neither the unit of time nor that of a covariate changes the fit.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.survival.lifetimes import Lifetimes
from analytics.survival.two_hazard_data import TwoHazardData
from analytics.survival.two_hazard_kernel import N_TERMS, row_terms

__all__ = ["PRIORS", "Posterior", "log_posterior", "posterior", "shapes", "slopes"]

Array = NDArray[np.float64]

EMPTY = np.zeros((0, 0))

LEVEL_SD = 4.0
DEFECT_LEVEL_SD = 1.5
DEFECT_OWN_SD = 1.0
INSTALL_SD = 1.0
INSTALL_SHAPE = (float(np.log(0.6 / 0.4)), 1.0)
WEAR_SD = 2.5
WEAR_SHAPE = (float(np.log(1.5)), 0.8)

PRIORS = {
    "levels": "log of half the crude failure rate, sd 4: either hazard may carry all failures "
    "or a thousandth of them",
    "defects": "log hazard ratios share a level N(0, 1.5) and differ from it by N(0, 1): no "
    "defect is presumed harmful, a ratio of 10 is not surprising, and a rare defect leans on "
    "the others",
    "install covariates": "N(0, 1) per standard deviation of the covariate, or per half the "
    "step of a yes/no one: a hazard ratio of 7 either way is at the edge",
    "install shape": "logit k ~ N(logit 0.6, 1): k between 0.17 and 0.91, a hazard that falls "
    "with age, as running-in failures do",
    "wear covariates": "on log hazard N(0, 2.5), scaled as above: weak, duty may change the "
    "hazard a hundredfold",
    "wear shape": "log(beta - 1) ~ N(log 1.5, 0.8): beta between 1.3 and 8.2, median 2.5, the "
    "range of fatigue and creep life",
}
"""Each prior with its mean, spread and reason; the ranges are central 95 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Data and priors prepared for the search.

    Attributes
    ----------
    log_ages : ndarray, shape (3, n)
        Log of entry, lower and upper age over the reference age. [-]
    weight : ndarray, shape (n,)
        Weights. [-]
    reference_age : float
        Geometric mean age at failure. [years]
    defects : ndarray, shape (n, J)
        Probability of each defect. [-]
    install, wear : ndarray, shapes (n, q), (n, r)
        Covariates, centred and scaled. [-]
    install_centre, install_scale, wear_centre, wear_scale : ndarray
        What they were centred on and divided by. [any]
    prior_mean, prior_precision : ndarray, shapes (P,), (P, P)
        The Gaussian prior of the search vector. [-]
    log_likelihood_offset : float
        -sum of weight times log age of the exact rows, the change of variable from log age
        to age. [-]
    """

    log_ages: Array
    weight: Array
    reference_age: float
    defects: Array
    install: Array
    wear: Array
    install_centre: Array
    install_scale: Array
    wear_centre: Array
    wear_scale: Array
    prior_mean: Array
    prior_precision: Array
    log_likelihood_offset: float


def posterior(data: TwoHazardData) -> Posterior:
    """Prepare lives and priors; at least one life must have ended."""
    lives = data.lifetimes
    reference_age = _reference_age(lives)
    with np.errstate(divide="ignore"):
        log_ages = np.log(np.stack([lives.entry, lives.lower, lives.upper]) / reference_age)
        exact_log = np.where(lives.exact, np.log(lives.lower), 0.0)
    install_centre, install_scale = _centre_and_scale(data.install_design, lives.weight)
    wear_centre, wear_scale = _centre_and_scale(data.wear_design, lives.weight)
    mean, precision = _prior(
        _log_crude_hazard(lives, reference_age),
        data.defects.shape[1],
        data.install_design.shape[1],
        data.wear_design.shape[1],
    )
    return Posterior(
        log_ages=log_ages,
        weight=np.ascontiguousarray(lives.weight),
        reference_age=reference_age,
        defects=data.defects,
        install=(data.install_design - install_centre) / install_scale,
        wear=(data.wear_design - wear_centre) / wear_scale,
        install_centre=install_centre,
        install_scale=install_scale,
        wear_centre=wear_centre,
        wear_scale=wear_scale,
        prior_mean=mean,
        prior_precision=precision,
        log_likelihood_offset=-float(lives.weight @ exact_log),
    )


def shapes(problem: Posterior, vectors: Array) -> tuple[Array, Array]:
    """Installation and wear shape of search vectors, shape (..., P)."""
    place = 1 + problem.defects.shape[1] + problem.install.shape[1]
    return 1 / (1 + np.exp(-vectors[..., place])), 1 + np.exp(vectors[..., -1])


def log_posterior(problem: Posterior, vector: Array) -> tuple[float, float]:
    """Log-likelihood and log posterior (without the prior's constant) of one search vector."""
    k, beta = shapes(problem, vector)
    xi, zeta = _levels(problem, vector)
    likelihood = row_terms(problem.log_ages, problem.weight, xi, float(k), zeta, float(beta), EMPTY)
    likelihood += problem.log_likelihood_offset
    if not np.isfinite(likelihood):
        return -np.inf, -np.inf
    away = vector - problem.prior_mean
    return likelihood, float(likelihood - 0.5 * away @ problem.prior_precision @ away)


def slopes(problem: Posterior, vector: Array) -> tuple[Array, Array]:
    """Gradient and Hessian of the log-likelihood (not of the prior) by the search vector.

    By the chain rule through q = (xi, k, zeta, beta) of each row. All are linear in the search
    vector but log(1 - x + x e^b), whose slope by b is the probability that a failure in the
    installation mode carries the defect, and the two shapes.
    """
    k, beta = shapes(problem, vector)
    xi, zeta = _levels(problem, vector)
    terms = np.empty((N_TERMS, xi.size))
    row_terms(problem.log_ages, problem.weight, xi, float(k), zeta, float(beta), terms)
    carried = _carried(problem, vector)
    one = np.ones((xi.size, 1))
    install, wear = np.hstack([one, carried, problem.install]), np.hstack([one, problem.wear])
    gradient, hessian = _by_raw_shapes(terms, install, wear)

    J, place = carried.shape[1], install.shape[1]
    step = np.ones(vector.size)
    step[place], step[-1] = k * (1 - k), beta - 1
    gradient *= step
    hessian *= np.outer(step, step)
    defect = np.arange(1, 1 + J)
    hessian[defect, defect] += terms[1] @ (carried * (1 - carried))
    hessian[place, place] += gradient[place] * (1 - 2 * k)
    hessian[-1, -1] += gradient[-1]
    return gradient, hessian


def _by_raw_shapes(terms: Array, install: Array, wear: Array) -> tuple[Array, Array]:
    """Gradient and Hessian by (install coefficients, k, wear coefficients, beta)."""
    p, r = install.shape[1], wear.shape[1]
    place, size = p, p + r + 2
    duty = slice(p + 1, p + 1 + r)
    column = terms[:, :, None]
    total = terms.sum(axis=1)
    gradient = np.concatenate([install.T @ terms[1], total[2:3], wear.T @ terms[3], total[4:5]])
    hessian = np.empty((size, size))
    hessian[:p] = install.T @ np.hstack(
        [install * column[5], column[6], wear * column[7], column[8]]
    )
    hessian[place, place], hessian[place, -1], hessian[-1, -1] = total[9], total[11], total[14]
    hessian[place, duty] = wear.T @ terms[10]
    hessian[duty, p + 1 :] = wear.T @ np.hstack([wear * column[12], column[13]])
    lower = np.tril_indices(size, -1)
    hessian[lower] = hessian.T[lower]
    return gradient, hessian


def _levels(problem: Posterior, vector: Array) -> tuple[Array, Array]:
    """Log cumulative hazards xi and zeta of each row at the reference age."""
    J, q = problem.defects.shape[1], problem.install.shape[1]
    ratio = np.exp(vector[1 : 1 + J])
    xi = vector[0] + problem.install @ vector[1 + J : 1 + J + q]
    if J:
        xi += np.log(np.prod(1 + problem.defects * (ratio - 1), axis=1))
    return xi, vector[2 + J + q] + problem.wear @ vector[3 + J + q : -1]


def _carried(problem: Posterior, vector: Array) -> Array:
    """Probability that a failure in the installation mode carries each defect, (n, J)."""
    odds = problem.defects * np.exp(vector[1 : 1 + problem.defects.shape[1]])
    return np.asarray(odds / (1 - problem.defects + odds))


def _reference_age(lives: Lifetimes) -> float:
    """Geometric mean age at failure; a left-censored one counts at its upper age. [years]"""
    ended = lives.ended
    lower, upper = lives.lower[ended], lives.upper[ended]
    middle = np.where(lower > 0, np.sqrt(np.where(lower > 0, lower, 1.0)) * np.sqrt(upper), upper)
    return float(np.exp(np.average(np.log(middle), weights=lives.weight[ended])))


def _log_crude_hazard(lives: Lifetimes, reference_age: float) -> float:
    """Log of failures per unit of exposure, times the reference age. [-]"""
    last = np.where(lives.ended, lives.upper, lives.lower)
    exposure = float(lives.weight @ (last - lives.entry))
    return float(np.log(lives.failures / exposure * reference_age))


def _centre_and_scale(design: Array, weight: Array) -> tuple[Array, Array]:
    """Weighted mean and spread of each column; of a two-valued one, half the step."""
    centre = np.average(design, axis=0, weights=weight) if design.shape[1] else np.zeros(0)
    scale = np.ones(design.shape[1])
    for j, values in enumerate(design.T):
        levels = np.unique(values)
        if len(levels) == 2:
            scale[j] = (levels[1] - levels[0]) / 2
        elif len(levels) > 2:
            scale[j] = np.sqrt(np.average((values - centre[j]) ** 2, weights=weight))
    return centre, scale


def _prior(log_crude: float, J: int, q: int, r: int) -> tuple[Array, Array]:
    """Mean and precision of the search vector, as `PRIORS` tells them."""
    level = log_crude - np.log(2)
    mean = np.concatenate(
        [[level], np.zeros(J + q), [INSTALL_SHAPE[0], level], np.zeros(r), [WEAR_SHAPE[0]]]
    )
    spread = np.concatenate(
        [
            [LEVEL_SD],
            np.full(J, DEFECT_OWN_SD),
            np.full(q, INSTALL_SD),
            [INSTALL_SHAPE[1], LEVEL_SD],
            np.full(r, WEAR_SD),
            [WEAR_SHAPE[1]],
        ]
    )
    covariance = np.diag(spread**2)
    covariance[1 : 1 + J, 1 : 1 + J] += DEFECT_LEVEL_SD**2
    return mean, np.linalg.inv(covariance)
