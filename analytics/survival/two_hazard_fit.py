"""Fit the two-hazard model: estimates, draws and what to know before relying on them."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.errors import NotEstimable
from analytics.estimate import Estimate, from_draws
from analytics.survival.two_hazard_data import TwoHazardData
from analytics.survival.two_hazard_draws import TwoHazardDraws, draw_modes
from analytics.survival.two_hazard_modes import Mode, find_modes

__all__ = [
    "MIN_FAILURES",
    "MIN_FAILURES_BLIND",
    "TwoHazardEstimates",
    "TwoHazardFit",
    "fit_two_hazard",
    "parameter_draws",
]

Array = NDArray[np.float64]

MIN_FAILURES = 5
"""Below this many failures the priors would answer, not the data."""

MIN_FAILURES_BLIND = 20
"""The same when nothing is known of the installation: only the ages tell the hazards apart."""

FEW_FAILURES = 10
BARELY_LEARNT = 0.95
"""Posterior over prior spread above which a coefficient is the prior's."""

ESTIMATE_DRAWS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoHazardEstimates:
    """Posterior medians with 95 % limits, over all versions of the model.

    Attributes
    ----------
    install_shape, wear_shape : Estimate
        Shapes k and 1/s. [-]
    defect_effects : dict of str to Estimate
        Log hazard ratio of each defect in the installation hazard. [-]
    first_defect_effect : Estimate
        Log hazard ratio of having any defect, to be added to those of the defects; 0 in the
        draws of versions without. [-]
    install_effects : dict of str to Estimate
        Log hazard ratio per unit of each installation covariate. [1/unit]
    wear_effects : dict of str to Estimate
        Change of log life under wear per unit of each covariate; for ln(operating ratio) the
        exponent of the ratio, negative when a higher ratio shortens life. [1/unit]
    wear_defect_effects : dict of str to Estimate
        Log hazard ratio of each defect in the wear hazard; near 0 unless it also wears. [-]
    """

    install_shape: Estimate
    wear_shape: Estimate
    defect_effects: Mapping[str, Estimate]
    first_defect_effect: Estimate
    install_effects: Mapping[str, Estimate]
    wear_effects: Mapping[str, Estimate]
    wear_defect_effects: Mapping[str, Estimate]


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoHazardFit:
    """The fitted model: every version of it with its probability.

    Attributes
    ----------
    data : TwoHazardData
        What it was fitted to.
    modes : tuple of Mode
        Versions of the model, likeliest first: do the ratios of several defects multiply or
        does the first do most harm, and do defects hasten wear as well?
    estimates : TwoHazardEstimates
        The parameters by name.
    log_likelihood, log_posterior, effective_parameters : float
        Of the likeliest version. [-]
    hastens_wear, first_counts_most : float
        Probability that defects hasten wear, and that the first defect does most harm. [-]
    converged : bool
        Always True: a search that does not end raises.
    warnings : tuple of str
        What a reader must know before relying on it.
    """

    data: TwoHazardData
    modes: tuple[Mode, ...]
    estimates: TwoHazardEstimates
    log_likelihood: float
    log_posterior: float
    effective_parameters: float
    hastens_wear: float
    first_counts_most: float
    converged: bool
    warnings: tuple[str, ...]


def fit_two_hazard(data: TwoHazardData) -> TwoHazardFit:
    """Fit the two-hazard model.

    Parameters
    ----------
    data : TwoHazardData
        n lives; ages in years.

    Returns
    -------
    TwoHazardFit
        Estimates with 95 % limits, and the modes that `parameter_draws` draws from.

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
    (even split, mostly installation, mostly wear); the highest peak is kept and a rival close
    to it is reported. Versions of the model (`two_hazard_prior.VERSIONS`) enter in proportion
    to their evidence. The priors are in `PRIORS`.
    """
    _refuse_too_few(data)
    modes = find_modes(data)
    best = modes[0]
    hastens_wear = sum(m.probability for m in modes if m.version.hastens_wear)
    first_counts_most = sum(m.probability for m in modes if m.version.first_counts_most)
    return TwoHazardFit(
        data=data,
        modes=modes,
        estimates=_estimates(data, draw_modes(modes, ESTIMATE_DRAWS, seed=0)),
        log_likelihood=best.log_likelihood,
        log_posterior=best.log_posterior,
        effective_parameters=best.effective_parameters,
        hastens_wear=hastens_wear,
        first_counts_most=first_counts_most,
        converged=True,
        warnings=(*_version_warnings(hastens_wear, first_counts_most), *_warnings(data, best)),
    )


def parameter_draws(fit: TwoHazardFit, n_draws: int = 2000, seed: int = 0) -> TwoHazardDraws:
    """Draw parameters from the posterior; see `draw_modes` for the arguments' meaning."""
    return draw_modes(fit.modes, n_draws, seed)


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
    lives = data.lifetimes
    ages = lives.lower[lives.exact]
    if lives.exact.sum() == lives.ended.sum() and np.ptp(ages) <= 1e-9 * ages.max():
        raise NotEstimable(
            f"two hazards need failures at different ages, got all {failures:g} at one age"
        )


def _estimates(data: TwoHazardData, draws: TwoHazardDraws) -> TwoHazardEstimates:
    return TwoHazardEstimates(
        install_shape=from_draws(draws.install_shape),
        wear_shape=from_draws(1 / draws.wear_sigma),
        defect_effects=_named(data.defect_names, draws.defect_effects),
        first_defect_effect=from_draws(draws.first_defect_effect),
        install_effects=_named(data.install_names, draws.install_effects),
        wear_effects=_named(data.wear_names, draws.wear_effects),
        wear_defect_effects=_named(data.defect_names, draws.wear_defect_effects),
    )


def _named(names: tuple[str, ...], draws: Array) -> dict[str, Estimate]:
    return {name: from_draws(column) for name, column in zip(names, draws.T, strict=True)}


def _version_warnings(hastens_wear: float, first_counts_most: float) -> list[str]:
    """Say where the effects on the installation hazard do not tell the whole harm."""
    said = []
    if hastens_wear > 0.5:
        said.append(
            f"defects hasten wear as well (probability {hastens_wear:.2f}): their effects on the "
            "installation hazard are not the whole harm; the shares count both"
        )
    if first_counts_most > 0.5:
        said.append(
            "ratios of several defects do not multiply (probability "
            f"{first_counts_most:.2f}): having any defect has a ratio of its own beside theirs"
        )
    return said


def _warnings(data: TwoHazardData, best: Mode) -> tuple[str, ...]:
    """Say where the priors, not the data, answer."""
    said = []
    problem = best.problem
    failures = data.lifetimes.failures
    if failures < FEW_FAILURES:
        said.append(f"only {failures:g} failures: the priors weigh as much as the data")
    if best.rival:
        said.append("two explanations of the data are nearly as plausible; the likelier is shown")
    for name, values in zip(data.defect_names, data.defects.T, strict=True):
        if np.ptp(values) == 0:
            seen = {0.0: "never", 1.0: "always"}.get(
                float(values[0]), "equally likely on each life"
            )
            said.append(f"defect {name} was {seen} seen: its effect is the prior's")
    prior_sd = np.sqrt(np.diag(np.linalg.inv(problem.prior_precision)))
    known = np.sqrt(np.diag(best.covariance)) / prior_sd
    for name, ratio in zip(data.install_names, known[problem.at.install], strict=True):
        if ratio > BARELY_LEARNT:
            said.append(f"the data say almost nothing of {name} in the installation hazard")
    for name, ratio in zip(data.wear_names, known[problem.at.duty], strict=True):
        if ratio > BARELY_LEARNT:
            said.append(f"the data say almost nothing of {name} in the wear hazard")
    return tuple(said)
