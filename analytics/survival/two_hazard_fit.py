"""Where does the two-hazard model fit best, and how sharply? Newton's method on its posterior."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from analytics.errors import NotConverged, NotEstimable
from analytics.estimate import Estimate
from analytics.survival.two_hazard_data import TwoHazardData
from analytics.survival.two_hazard_posterior import (
    Posterior,
    log_posterior,
    posterior,
    shapes,
    slopes,
)

__all__ = [
    "MIN_FAILURES",
    "MIN_FAILURES_BLIND",
    "TwoHazardEstimates",
    "TwoHazardFit",
    "fit_two_hazard",
]

Array = NDArray[np.float64]

MIN_FAILURES = 5
"""Below this many failures the priors would answer, not the data."""

MIN_FAILURES_BLIND = 20
"""The same when nothing is known of the installation: only the ages tell the hazards apart."""

FEW_FAILURES = 10
BARELY_LEARNT = 0.95
"""Posterior over prior spread above which a coefficient is the prior's."""

MAX_STEPS = 200
LONGEST_STEP = 2.0
FIRST_DAMPING = 0.01
GAIN_LEFT = 1e-10
Z95 = 1.959963984540054


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoHazardEstimates:
    """Posterior modes with 95 % limits.

    Attributes
    ----------
    install_shape, wear_shape : Estimate
        Shapes k and 1/s. [-]
    defect_effects : dict of str to Estimate
        Log hazard ratio of each defect in the installation hazard. [-]
    install_effects : dict of str to Estimate
        Log hazard ratio per unit of each installation covariate. [1/unit]
    wear_effects : dict of str to Estimate
        Change of log life under wear per unit of each covariate; for ln(operating ratio) the
        exponent of the ratio, negative when a higher ratio shortens life. [1/unit]
    """

    install_shape: Estimate
    wear_shape: Estimate
    defect_effects: Mapping[str, Estimate]
    install_effects: Mapping[str, Estimate]
    wear_effects: Mapping[str, Estimate]


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoHazardFit:
    """The most plausible parameters and how well they are known.

    Attributes
    ----------
    data : TwoHazardData
        What it was fitted to.
    problem : Posterior
        The same as the search saw it, with the priors.
    vector : ndarray, shape (P,)
        Posterior mode on the search scale of `two_hazard_posterior`. [-]
    covariance : ndarray, shape (P, P)
        Inverse of minus the Hessian of the log posterior there. [-]
    log_likelihood, log_posterior : float
        At the mode, for ages in years; the latter without the prior's constant. [-]
    effective_parameters : float
        trace(covariance x information of the data): P less what the priors supplied. [-]
    converged : bool
        Always True: a search that does not end raises.
    estimates : TwoHazardEstimates
        The parameters by name.
    warnings : tuple of str
        What a reader must know before relying on it.
    """

    data: TwoHazardData
    problem: Posterior
    vector: Array
    covariance: Array
    log_likelihood: float
    log_posterior: float
    effective_parameters: float
    converged: bool
    estimates: TwoHazardEstimates
    warnings: tuple[str, ...]


def fit_two_hazard(data: TwoHazardData) -> TwoHazardFit:
    """Find the posterior mode of the two-hazard model.

    Parameters
    ----------
    data : TwoHazardData
        n lives; ages in years.

    Returns
    -------
    TwoHazardFit
        Estimates with 95 % limits from the curvature at the mode.

    Raises
    ------
    NotEstimable
        If fewer than `MIN_FAILURES` lives ended, or fewer than `MIN_FAILURES_BLIND` when
        neither defects nor installation covariates are known.
    NotConverged
        If the search does not end.

    Notes
    -----
    Newton's method, damped while the posterior is not concave, from three starting points
    (even split, mostly installation, mostly wear); the highest mode is kept and a rival close
    to it is reported. The priors are in `PRIORS`.
    """
    _refuse_too_few(data)
    problem = posterior(data)
    modes = [_climb(problem, start) for start in _starts(problem)]
    vector, value = max(modes, key=lambda mode: mode[1])
    _, curvature = slopes(problem, vector)
    covariance: Array = np.asarray(np.linalg.inv(problem.prior_precision - curvature))
    rivals = [at for at, other in modes if value - other < 3 and np.abs(at - vector).max() > 0.1]
    return TwoHazardFit(
        data=data,
        problem=problem,
        vector=vector,
        covariance=covariance,
        log_likelihood=log_posterior(problem, vector)[0],
        log_posterior=value,
        effective_parameters=float(-np.sum(covariance * curvature)),
        converged=True,
        estimates=_estimates(data, problem, vector, covariance),
        warnings=_warnings(data, problem, covariance, rival=bool(rivals)),
    )


def _refuse_too_few(data: TwoHazardData) -> None:
    blind = data.defects.shape[1] + data.install_design.shape[1] == 0
    needed = MIN_FAILURES_BLIND if blind else MIN_FAILURES
    failures = data.lifetimes.failures
    if failures < needed:
        known = "without installation records" if blind else "with installation records"
        raise NotEstimable(
            f"two hazards {known} need at least {needed} failures, got {failures:g}; "
            "use the plain regression or the few-failure bounds"
        )


def _starts(problem: Posterior) -> list[Array]:
    """Prior mean, and the same with most failures given to either hazard."""
    wear_level = problem.prior_mean.size - 2 - problem.wear.shape[1]
    starts = []
    for tilt in (0.0, 1.0, -1.0):
        start = problem.prior_mean.copy()
        start[0] += tilt
        start[wear_level] -= tilt
        starts.append(start)
    return starts


def _climb(problem: Posterior, start: Array) -> tuple[Array, float]:
    """Newton's method on the log posterior, damped until a step gains."""
    vector, damping = start, 0.0
    value = log_posterior(problem, vector)[1]
    gradient, precision = _gradient_and_precision(problem, vector)
    for _ in range(MAX_STEPS):
        step = _step(precision, gradient, damping)
        if step is not None:
            if damping == 0 and gradient @ step < GAIN_LEFT * (1 + abs(value)):
                return vector + step, log_posterior(problem, vector + step)[1]
            ahead = log_posterior(problem, vector + step)[1]
            if ahead > value:
                vector, value = vector + step, ahead
                gradient, precision = _gradient_and_precision(problem, vector)
                damping = 0.0 if damping < FIRST_DAMPING else damping / 10
                continue
        damping = max(10 * damping, FIRST_DAMPING)
    raise NotConverged(
        f"the two-hazard search did not end after {MAX_STEPS} steps; "
        "check for extreme ages, weights or covariates"
    )


def _gradient_and_precision(problem: Posterior, vector: Array) -> tuple[Array, Array]:
    """Gradient of the log posterior and minus its Hessian."""
    gradient, curvature = slopes(problem, vector)
    pull = problem.prior_precision @ (vector - problem.prior_mean)
    return gradient - pull, problem.prior_precision - curvature


def _step(precision: Array, gradient: Array, damping: float) -> Array | None:
    """Newton step no longer than the search allows; None where the curvature is upward."""
    damped = precision + damping * np.diag(np.abs(np.diag(precision)))
    try:
        step = cho_solve(cho_factor(damped, check_finite=False), gradient, check_finite=False)
    except np.linalg.LinAlgError:
        return None
    length = float(np.abs(step).max())
    return np.asarray(step * min(1.0, LONGEST_STEP / length) if length > 0 else step)


def _estimates(
    data: TwoHazardData, problem: Posterior, vector: Array, covariance: Array
) -> TwoHazardEstimates:
    """Shapes on the search scale, log ratios as they are, effects on life by the delta method."""
    J, q, r = problem.defects.shape[1], problem.install.shape[1], problem.wear.shape[1]
    b, c = slice(1, 1 + J), slice(1 + J, 1 + J + q)
    g = slice(3 + J + q, 3 + J + q + r)
    variance = np.diag(covariance)
    reach = Z95 * np.sqrt(variance)
    k, beta = zip(
        *(shapes(problem, v) for v in (vector, vector - reach, vector + reach)), strict=True
    )
    # life effect = -gamma / (scale beta), and beta - 1 = exp(last search coordinate)
    per_gamma = -1 / (problem.wear_scale * beta[0])
    life = per_gamma * vector[g]
    per_last = -life * (beta[0] - 1) / beta[0]
    life_variance = (
        per_gamma**2 * variance[g]
        + 2 * per_gamma * per_last * covariance[g, -1]
        + per_last**2 * variance[-1]
    )
    scale = problem.install_scale
    return TwoHazardEstimates(
        install_shape=Estimate(estimate=float(k[0]), low=float(k[1]), high=float(k[2])),
        wear_shape=Estimate(estimate=float(beta[0]), low=float(beta[1]), high=float(beta[2])),
        defect_effects=_named(data.defect_names, vector[b], variance[b]),
        install_effects=_named(data.install_names, vector[c] / scale, variance[c] / scale**2),
        wear_effects=_named(data.wear_names, life, life_variance),
    )


def _named(names: tuple[str, ...], values: Array, variances: Array) -> dict[str, Estimate]:
    reach = Z95 * np.sqrt(variances)
    limits = zip(names, values, values - reach, values + reach, strict=True)
    return {
        name: Estimate(estimate=float(value), low=float(low), high=float(high))
        for name, value, low, high in limits
    }


def _warnings(
    data: TwoHazardData, problem: Posterior, covariance: Array, *, rival: bool
) -> tuple[str, ...]:
    """Say where the priors, not the data, answer."""
    said = []
    failures = data.lifetimes.failures
    if failures < FEW_FAILURES:
        said.append(f"only {failures:g} failures: the priors weigh as much as the data")
    if rival:
        said.append("two explanations of the data are nearly as plausible; the likelier is shown")
    for name, values in zip(data.defect_names, data.defects.T, strict=True):
        if np.ptp(values) == 0:
            seen = {0.0: "never", 1.0: "always"}.get(
                float(values[0]), "equally likely on each life"
            )
            said.append(f"defect {name} was {seen} seen: its effect is the prior's")
    prior_sd = np.sqrt(np.diag(np.linalg.inv(problem.prior_precision)))
    known = np.sqrt(np.diag(covariance)) / prior_sd
    J, q = problem.defects.shape[1], problem.install.shape[1]
    for name, ratio in zip(data.install_names, known[1 + J : 1 + J + q], strict=True):
        if ratio > BARELY_LEARNT:
            said.append(f"the data say almost nothing of {name} in the installation hazard")
    for name, ratio in zip(data.wear_names, known[3 + J + q : -1], strict=True):
        if ratio > BARELY_LEARNT:
            said.append(f"the data say almost nothing of {name} in the wear hazard")
    return tuple(said)
