"""How plausible is a set of parameters of the two-hazard model? Value, slopes and curvature.

The reference age is the geometric mean age at failure and covariates are scaled by their own
spread, so neither the unit of time nor that of a covariate changes the fit.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.survival.exposure_rows import ExposureRows, exposure_rows, plain_rows
from analytics.survival.lifetimes import Lifetimes
from analytics.survival.two_hazard_data import TwoHazardData
from analytics.survival.two_hazard_kernel import N_TERMS, row_terms
from analytics.survival.two_hazard_prior import VERSIONS, Places, Version, gaussian_prior, places

__all__ = ["Posterior", "log_posterior", "posterior", "shapes", "slopes"]

Array = NDArray[np.float64]

EMPTY = np.zeros((0, 0))
NARROW = 1e-7
"""Width of an interval over its age below which it counts as exact."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Data and priors prepared for the search.

    Attributes
    ----------
    at : Places
        Where each parameter sits in the search vector.
    log_ages, wear_log_ages : ndarray, shape (3, n)
        Log of entry, lower and upper age over the reference age, and the same as wear sees
        them; n rows, more than lives where duties changed (`exposure_rows`). [-]
    pace : ndarray, shape (n,)
        Log of the hazard of wear at the end over that of constant duty. [-]
    weight : ndarray, shape (n,)
        Weights. [-]
    reference_age : float
        Geometric mean age at failure. [years]
    defects : ndarray, shape (n, J)
        Probability of each defect. [-]
    clean : ndarray, shape (n,)
        Probability of none, the product of 1 - x. [-]
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

    at: Places
    log_ages: Array
    wear_log_ages: Array
    pace: Array
    weight: Array
    reference_age: float
    defects: Array
    clean: Array
    install: Array
    wear: Array
    install_centre: Array
    install_scale: Array
    wear_centre: Array
    wear_scale: Array
    prior_mean: Array
    prior_precision: Array
    log_likelihood_offset: float


def posterior(
    data: TwoHazardData, version: Version = VERSIONS[0], around: Array | None = None
) -> Posterior:
    """Prepare lives and priors; at least one life must have ended.

    Parameters
    ----------
    data : TwoHazardData
        n lives.
    version : Version
        How defects act.
    around : ndarray, shape (P,), optional
        Search vector of the round before, that changing duties are laid straight through;
        without it their effects are taken as nothing.

    Returns
    -------
    Posterior
    """
    lives = _exact_where_narrow(data.lifetimes)
    reference_age = _reference_age(lives)
    exact_log = np.log(np.where(lives.exact, lives.lower, 1.0))
    install_centre, install_scale = _centre_and_scale(data.install_design, lives.weight)
    wear_centre, wear_scale = _centre_and_scale(data.wear_design, lives.weight)
    at = places(
        version,
        data.defects.shape[1],
        data.install_design.shape[1],
        data.wear_design.shape[1],
    )
    mean, precision = gaussian_prior(at, _log_crude_hazard(lives, reference_age))
    rows = _rows(data, lives, at, mean if around is None else around, wear_scale)
    log_reference = np.log(reference_age)
    log_ages = rows.log_ages - log_reference
    constant = rows.wear_log_ages is rows.log_ages
    defects, install = data.defects, data.install_design
    if not constant:
        defects, install = defects[rows.source], install[rows.source]
    return Posterior(
        at=at,
        log_ages=log_ages,
        wear_log_ages=log_ages if constant else rows.wear_log_ages - log_reference,
        pace=rows.pace,
        weight=rows.weight,
        reference_age=reference_age,
        defects=defects,
        clean=np.prod(1 - defects, axis=1),
        install=(install - install_centre) / install_scale,
        wear=(rows.wear - wear_centre) / wear_scale,
        install_centre=install_centre,
        install_scale=install_scale,
        wear_centre=wear_centre,
        wear_scale=wear_scale,
        prior_mean=mean,
        prior_precision=precision,
        log_likelihood_offset=-float(lives.weight @ exact_log),
    )


def _rows(
    data: TwoHazardData, lives: Lifetimes, at: Places, vector: Array, wear_scale: Array
) -> ExposureRows:
    if data.changing is None:
        return plain_rows(lives, data.wear_design)
    shape = 1 + float(np.exp(vector[at.wear_shape]))
    effects = -vector[at.duty] / wear_scale / shape
    return exposure_rows(lives, data.wear_design, data.changing, effects, shape)


def shapes(problem: Posterior, vectors: Array) -> tuple[Array, Array]:
    """Installation and wear shape of search vectors, shape (..., P)."""
    k = 1 / (1 + np.exp(-vectors[..., problem.at.install_shape]))
    return k, 1 + np.exp(vectors[..., problem.at.wear_shape])


def log_posterior(problem: Posterior, vector: Array) -> tuple[float, float]:
    """Log-likelihood and log posterior (without the prior's constant) of one search vector."""
    k, beta = shapes(problem, vector)
    xi, zeta = _levels(problem, vector)
    likelihood = _likelihood(problem, xi, float(k), zeta, float(beta), EMPTY)
    likelihood += problem.log_likelihood_offset
    if not np.isfinite(likelihood):
        return -np.inf, -np.inf
    away = vector - problem.prior_mean
    return likelihood, float(likelihood - 0.5 * away @ problem.prior_precision @ away)


def slopes(problem: Posterior, vector: Array) -> tuple[Array, Array]:
    """Gradient and Hessian of the log-likelihood (not of the prior) by the search vector.

    By the chain rule through q = (xi, k, zeta, beta) of each row. All are linear in the search
    vector but the two shapes and the log ratios of defects, whose slopes are the probabilities
    that a failure of that hazard carries the defect.
    """
    at = problem.at
    k, beta = shapes(problem, vector)
    xi, zeta = _levels(problem, vector)
    terms = np.empty((N_TERMS, xi.size))
    _likelihood(problem, xi, float(k), zeta, float(beta), terms)
    early, bend_early = _defect_slopes(problem, vector[at.defects], vector[at.first], terms[1])
    late, bend_late = _defect_slopes(problem, vector[at.wear_defects], np.zeros(0), terms[3])
    one = np.ones((xi.size, 1))
    gradient, hessian = _by_raw_shapes(
        terms, np.hstack([one, early, problem.install]), np.hstack([one, problem.wear, late])
    )
    step = np.ones(at.size)
    step[at.install_shape], step[at.wear_shape] = k * (1 - k), beta - 1
    gradient *= step
    hessian *= np.outer(step, step)
    ratios = slice(at.defects.start, at.first.stop)
    hessian[ratios, ratios] += bend_early
    hessian[at.wear_defects, at.wear_defects] += bend_late
    hessian[at.install_shape, at.install_shape] += gradient[at.install_shape] * (1 - 2 * k)
    hessian[at.wear_shape, at.wear_shape] += gradient[at.wear_shape]
    return gradient, hessian


def _likelihood(
    problem: Posterior, xi: Array, k: float, zeta: Array, beta: float, out: Array
) -> float:
    return float(
        row_terms(
            problem.log_ages,
            problem.wear_log_ages,
            problem.pace,
            problem.weight,
            xi,
            k,
            zeta,
            beta,
            out,
        )
    )


def _defect_slopes(
    problem: Posterior, effects: Array, first: Array, pull: Array
) -> tuple[Array, Array]:
    r"""Slopes of each row's log ratio by the effects, and its curvature summed with `pull`.

    With p_j = x e^b / (1 - x + x e^b), F the product of 1 - x + x e^b, P the probability of a
    clean disc and R = P + e^f (F - P), the log ratio log R has slopes B p_j by b_j and A by f,
    where B = e^f F / R and A = e^f (F - P) / R.
    """
    if effects.size == 0:
        return np.zeros((pull.size, 0)), np.zeros((0, 0))
    odds = problem.defects * np.exp(effects)
    p = odds / (1 - problem.defects + odds)
    if first.size == 0:
        return p, np.diag(pull @ (p * (1 - p)))
    product = np.prod(1 - problem.defects + odds, axis=1)
    some = np.exp(first[0]) * (product - problem.clean)
    carried = np.exp(first[0]) * product / (problem.clean + some)
    any_defect = some / (problem.clean + some)
    bend = np.zeros((effects.size + 1, effects.size + 1))
    bend[:-1, :-1] = p.T @ ((pull * carried * (1 - carried))[:, None] * p)
    bend[:-1, :-1] += np.diag((pull * carried) @ (p * (1 - p)))
    bend[-1, :-1] = bend[:-1, -1] = (pull * carried * (1 - any_defect)) @ p
    bend[-1, -1] = pull @ (any_defect * (1 - any_defect))
    return np.column_stack([carried[:, None] * p, any_defect]), bend


def _by_raw_shapes(terms: Array, install: Array, wear: Array) -> tuple[Array, Array]:
    """Gradient and Hessian by (install coefficients, k, wear coefficients, beta)."""
    p, size = install.shape[1], install.shape[1] + wear.shape[1] + 2
    late = slice(p + 1, size - 1)
    column = terms[:, :, None]
    total = terms.sum(axis=1)
    gradient = np.concatenate([install.T @ terms[1], total[2:3], wear.T @ terms[3], total[4:5]])
    hessian = np.empty((size, size))
    hessian[:p] = install.T @ np.hstack(
        [install * column[5], column[6], wear * column[7], column[8]]
    )
    hessian[p, p], hessian[p, -1], hessian[-1, -1] = total[9], total[11], total[14]
    hessian[p, late] = wear.T @ terms[10]
    hessian[late, p + 1 :] = wear.T @ np.hstack([wear * column[12], column[13]])
    lower = np.tril_indices(size, -1)
    hessian[lower] = hessian.T[lower]
    return gradient, hessian


def _levels(problem: Posterior, vector: Array) -> tuple[Array, Array]:
    """Log cumulative hazards xi and zeta of each row at the reference age."""
    at = problem.at
    xi = vector[at.install_level] + problem.install @ vector[at.install]
    zeta = vector[at.wear_level] + problem.wear @ vector[at.duty]
    if problem.defects.shape[1]:
        product = np.prod(1 + problem.defects * np.expm1(vector[at.defects]), axis=1)
        if at.first.start < at.first.stop:
            product = problem.clean + np.exp(vector[at.first]) * (product - problem.clean)
        xi += np.log(product)
    if at.wear_defects.start < at.wear_defects.stop:
        zeta += np.log(np.prod(1 + problem.defects * np.expm1(vector[at.wear_defects]), axis=1))
    return xi, zeta


def _exact_where_narrow(lives: Lifetimes) -> Lifetimes:
    """Take an interval too narrow for a difference of two survivals as an exact age."""
    narrow = lives.ended & (lives.upper - lives.lower < NARROW * lives.upper)
    return replace(lives, lower=np.where(narrow, lives.upper, lives.lower))


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
