"""Where is the posterior of the two-hazard model highest? Newton's method, version by version."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from analytics.errors import NotConverged
from analytics.survival.two_hazard_data import TwoHazardData
from analytics.survival.two_hazard_posterior import Posterior, log_posterior, posterior, slopes
from analytics.survival.two_hazard_prior import VERSIONS, Version

__all__ = ["Mode", "find_modes"]

Array = NDArray[np.float64]

MAX_STEPS = 200
LONGEST_STEP = 2.0
FIRST_DAMPING = 0.01
GAIN_LEFT = 1e-10
NEARLY_AS_PLAUSIBLE = 3.0
MAX_ROUNDS = 50
SETTLED = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """The posterior of one version of the model, as a Gaussian around its highest point.

    Attributes
    ----------
    version : Version
        How defects act in it.
    problem : Posterior
        Data and priors as the search saw them.
    vector : ndarray, shape (P,)
        The highest point on the search scale of `two_hazard_prior`. [-]
    covariance : ndarray, shape (P, P)
        Inverse of minus the Hessian of the log posterior there. [-]
    log_likelihood, log_posterior : float
        There, for ages in years; the latter without the prior's constant. [-]
    effective_parameters : float
        trace(covariance x information of the data): P less what the priors supplied. [-]
    probability : float
        Of the version given the data, by Laplace's approximation of its evidence. [-]
    rival : bool
        Whether another peak is nearly as high.
    """

    version: Version
    problem: Posterior
    vector: Array
    covariance: Array
    log_likelihood: float
    log_posterior: float
    effective_parameters: float
    probability: float
    rival: bool


def find_modes(data: TwoHazardData) -> tuple[Mode, ...]:
    r"""Find the highest point of every version that the data can tell apart, likeliest first.

    .. math::
        P(v \mid \text{data}) \propto P(v)\, L(\hat\theta)\, \pi(\hat\theta)\,
        |2\pi C|^{1/2}

    Parameters
    ----------
    data : TwoHazardData
        n lives; ages in years.

    Returns
    -------
    tuple of Mode
        One per version; probabilities add up to 1.

    Raises
    ------
    NotConverged
        If a search does not end.
    """
    n_defects = data.defects.shape[1]
    # one defect cannot be told from any defect, and none has no effect to speak of
    tried = [
        version
        for version in VERSIONS
        if n_defects >= max(2 * version.first_counts_most, version.hastens_wear)
    ]
    plain = posterior(data)
    peaks = [_climb(plain, start) for start in _starts(plain)]
    best, height = max(peaks, key=lambda peak: peak[1])
    rival = any(
        height - other < NEARLY_AS_PLAUSIBLE and np.abs(at - best).max() > 0.1
        for at, other in peaks
    )
    plain, best = _settle(data, VERSIONS[0], plain, best)
    found = [_mode(version, data, plain, best, rival=rival) for version in tried]
    log_evidence = np.array([evidence for _, evidence in found])
    weight = np.exp(log_evidence - log_evidence.max())
    modes = [
        replace(mode, probability=float(share))
        for (mode, _), share in zip(found, weight / weight.sum(), strict=True)
    ]
    return tuple(sorted(modes, key=lambda mode: -mode.probability))


def _mode(
    version: Version, data: TwoHazardData, plain: Posterior, start: Array, *, rival: bool
) -> tuple[Mode, float]:
    """Climb a version from the plain version's peak; the mode and its log evidence."""
    problem, vector = plain, start
    if version is not VERSIONS[0]:
        problem = posterior(data, version)
        vector = _widened(plain, problem, start)
        if data.changing is not None:
            problem = posterior(data, version, around=vector)
        problem, vector = _settle(data, version, problem, _climb(problem, vector)[0])
    vector, value = _climb(problem, vector)
    _, curvature = slopes(problem, vector)
    covariance = np.asarray(np.linalg.inv(problem.prior_precision - curvature))
    volume = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(problem.prior_precision)[1]
    mode = Mode(
        version=version,
        problem=problem,
        vector=vector,
        covariance=covariance,
        log_likelihood=log_posterior(problem, vector)[0],
        log_posterior=value,
        effective_parameters=float(-np.sum(covariance * curvature)),
        probability=1.0,
        rival=rival,
    )
    return mode, float(value + 0.5 * volume + np.log(version.probability))


def _settle(
    data: TwoHazardData, version: Version, problem: Posterior, vector: Array
) -> tuple[Posterior, Array]:
    """Lay changing duties straight through the peak and climb again, until it stays put."""
    if data.changing is None:
        return problem, vector
    for _ in range(MAX_ROUNDS):
        problem = posterior(data, version, around=vector)
        before, (vector, _) = vector, _climb(problem, vector)
        if np.abs(vector - before).max() < SETTLED:
            return posterior(data, version, around=vector), vector
    raise NotConverged(
        f"the effect of a changing duty did not settle within {MAX_ROUNDS} rounds; "
        "check for extreme ratios or cycles"
    )


def _widened(plain: Posterior, problem: Posterior, start: Array) -> Array:
    """The plain version's vector in another version's layout, new parameters at 0."""
    vector = np.zeros(problem.at.size)
    for name in ("defects", "install", "duty"):
        vector[getattr(problem.at, name)] = start[getattr(plain.at, name)]
    for name in ("install_level", "install_shape", "wear_level", "wear_shape"):
        vector[getattr(problem.at, name)] = start[getattr(plain.at, name)]
    return vector


def _starts(problem: Posterior) -> list[Array]:
    """Prior mean, and the same with most failures given to either hazard."""
    starts = []
    for tilt in (0.0, 1.0, -1.0):
        start = problem.prior_mean.copy()
        start[problem.at.install_level] += tilt
        start[problem.at.wear_level] -= tilt
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
