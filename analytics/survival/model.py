"""The life model in use: two hazards where the data carry them, a regression otherwise."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.errors import NotEstimable
from analytics.survival.changing_duty import as_stretches
from analytics.survival.compare import TWO_HAZARDS, compare_models
from analytics.survival.cumulative_exposure import fit_exposure
from analytics.survival.fit import Regression, draw_parameters, fit
from analytics.survival.fit import life_law as regression_law
from analytics.survival.fleet_data import FleetData
from analytics.survival.goodness import check_fit
from analytics.survival.law import Family, LifeLaw
from analytics.survival.two_hazard import TwoHazardFit, fit_two_hazard, parameter_draws
from analytics.survival.two_hazard_draws import TwoHazardDraws, life_law

__all__ = ["LifeModel", "fit_life_model", "judged", "law_for", "wear_draws"]

Array = NDArray[np.float64]

STEEPEST_SHAPE = 50.0
"""A wear shape above this is no wear: nine in ten lives would end within 6 % of one age."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeModel:
    """One fitted life model with its parameter draws.

    Attributes
    ----------
    name : str
        What it is, in words.
    two_hazard : TwoHazardFit or None
        The two-hazard fit, where the data carry one.
    hazard_draws : TwoHazardDraws or None
        Its parameter draws.
    regression : Regression or None
        The regression that stands in for it.
    regression_draws : ndarray or None, shape (n_draws, n_parameters)
        Its parameter draws.
    why, fit_statement : str
        Why this model, and how well it fits, in words.
    warnings : tuple of str
        What a reader must know before relying on it.
    """

    name: str
    two_hazard: TwoHazardFit | None
    hazard_draws: TwoHazardDraws | None
    regression: Regression | None
    regression_draws: Array | None
    why: str
    fit_statement: str
    warnings: tuple[str, ...]


def fit_life_model(fleet: FleetData, *, n_draws: int, seed: int) -> LifeModel:
    """Fit the richest life model the data carry.

    Parameters
    ----------
    fleet : FleetData
        Lives and covariates.
    n_draws : int
        Parameter draws that later stages use. [-]
    seed : int
        Seed of the draws.

    Returns
    -------
    LifeModel
        Two hazards; without install defects or with too few failures, a Weibull
        regression on duty; failing that, one Weibull for all discs.

    Raises
    ------
    NotEstimable
        If not even one Weibull can be fitted; the message says why.
    """
    reasons: list[str] = []
    if fleet.data.defect_names:
        try:
            fitted = fit_two_hazard(fleet.data)
        except NotEstimable as reason:
            reasons.append(f"two hazards could not be told apart: {reason}")
        else:
            _refuse_a_schedule(fitted.estimates.wear_shape.estimate)
            return LifeModel(
                name="two hazards (Weibull installation, Weibull wear)",
                two_hazard=fitted,
                hazard_draws=parameter_draws(fitted, n_draws, seed),
                regression=None,
                regression_draws=None,
                why="install checks are on record and some failed",
                fit_statement="",
                warnings=fitted.warnings,
            )
    return _regression(fleet, n_draws, seed, reasons)


def judged(model: LifeModel, fleet: FleetData, *, seed: int) -> LifeModel:
    """Add to a model how it did against its rivals and how well it fits.

    Parameters
    ----------
    model : LifeModel
        The model in use.
    fleet : FleetData
        What it was fitted to.
    seed : int
        Seed of the parts the lives are dealt into.

    Returns
    -------
    LifeModel
        The same with `why` and `fit_statement`; with a warning where a regression clearly
        foretells unseen lives better than two hazards, or where the fit is bad.
    """
    check = check_fit(law_for(model, fleet, fleet.data.defects, fleet.data.wear_design), fleet.data)
    warnings = model.warnings if check.fits else (*model.warnings, check.statement)
    if model.two_hazard is None:
        return replace(model, fit_statement=check.statement, warnings=warnings)
    try:
        scores = compare_models(fleet.data, seed=seed)
    except NotEstimable as reason:
        why = f"{model.why}; too little to compare it with a regression: {reason}"
        return replace(model, why=why, fit_statement=check.statement, warnings=warnings)
    (own,) = [score for score in scores.scores if score.model == TWO_HAZARDS]
    if own.note or own.behind > 2 * own.behind_error:
        doubt = "two hazards is kept because only it tells what the installation did"
        warnings = (*warnings, f"{scores.why}; {doubt}")
    return replace(model, why=scores.why, fit_statement=check.statement, warnings=warnings)


def _refuse_a_schedule(shape: float) -> None:
    """Refuse lives that end so close to one age that a schedule, not wear, must have ended them."""
    if shape > STEEPEST_SHAPE:
        raise NotEstimable(
            f"all failures lie so close to one age (Weibull shape {shape:.0f}) that "
            "they look like replacements on schedule: check the reasons logged"
        )


def law_for(model: LifeModel, fleet: FleetData, defects: Array, wear: Array) -> LifeLaw:
    """Give the life law of any units under the model.

    Parameters
    ----------
    model : LifeModel
        The model in use.
    fleet : FleetData
        What it was fitted to.
    defects : ndarray, shape (n_units, n_defects)
        Probability of each defect of `fleet.data.defect_names`; a regression
        does not use it. [-]
    wear : ndarray, shape (n_units, n_wear)
        Columns of `fleet.data.wear_names`. [-]

    Returns
    -------
    LifeLaw
        Shape (n_draws, n_units).
    """
    if model.hazard_draws is not None:
        return life_law(model.hazard_draws, defects=defects, wear_design=wear)
    assert model.regression is not None
    columns = [fleet.data.wear_names.index(name) for name in model.regression.names]
    return regression_law(model.regression, wear[:, columns], model.regression_draws)


def wear_draws(model: LifeModel, fleet: FleetData) -> tuple[Array, dict[str, Array]]:
    """Give the draws of the wear hazard's shape and of its covariates' effects.

    Parameters
    ----------
    model : LifeModel
        The model in use.
    fleet : FleetData
        What it was fitted to.

    Returns
    -------
    shape : ndarray, shape (n_draws,)
        Weibull shape. [-]
    effects : dict of str to ndarray, shape (n_draws,)
        Change of log life per unit of each covariate. [1/unit]
    """
    if model.hazard_draws is not None:
        draws = model.hazard_draws
        return 1 / draws.wear_sigma, dict(
            zip(fleet.data.wear_names, draws.wear_effects.T, strict=True)
        )
    assert model.regression is not None
    assert model.regression_draws is not None
    effects = model.regression_draws[:, 1:-1].T
    return np.exp(-model.regression_draws[:, -1]), dict(
        zip(model.regression.names, effects, strict=True)
    )


def _on_duty(fleet: FleetData) -> Regression:
    """Regress on duty, by cumulative exposure where it changed during a life."""
    data, names, wear = fleet.data.lifetimes, fleet.data.wear_names, fleet.data.wear_design
    if fleet.data.changing is None:
        return fit(data, Family.WEIBULL, wear if names else None, names)
    duty = as_stretches(fleet.data.changing, wear, data)
    return fit_exposure(data, Family.WEIBULL, duty, names)


def _regression(fleet: FleetData, n_draws: int, seed: int, reasons: list[str]) -> LifeModel:
    data, names = fleet.data.lifetimes, fleet.data.wear_names
    try:
        fitted = _on_duty(fleet)
    except NotEstimable as reason:
        if not names:
            raise
        reasons.append(f"duty could not enter the life model: {reason}")
        fitted = fit(data, Family.WEIBULL)
    _refuse_a_schedule(1 / fitted.sigma)
    with_duty = f" on {', '.join(fitted.names)}" if fitted.names else ""
    return LifeModel(
        name=f"Weibull regression{with_duty}" if fitted.names else "Weibull, all discs alike",
        two_hazard=None,
        hazard_draws=None,
        regression=fitted,
        regression_draws=draw_parameters(fitted, n_draws, np.random.default_rng(seed)),
        why="; ".join(reasons) or "no install check on record failed often enough to enter",
        fit_statement="",
        warnings=fitted.warnings,
    )
