r"""How likely was an unclear burst a premature one? As likely as the hazards say.

A burst whose cause was not recorded is either a premature failure, hazard h(t), or a
true demand, rate d. Given that it happened at age t it was premature with probability

.. math:: w = h(t) / (h(t) + d)

Fitting with these weights and working them out again from the fit is expectation
maximisation of the likelihood in which an unclear burst contributes h(t) + d.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.lives.events import Ending
from analytics.lives.unclear import UnclearAs, premature_weight
from analytics.survival.fleet_data import (
    FleetData,
    defect_probabilities,
    fleet_data,
    wear_of_lives,
    with_equivalent_duty,
)
from analytics.survival.law import hazard
from analytics.survival.model import LifeModel, fit_life_model, law_for, wear_draws

__all__ = ["fit_to_lives"]

ROUNDS = 3
"""Rounds of fitting and weighing; the weights settle to the second digit in two."""

_DRAWS_TO_WEIGH = 50

_PRIOR_YEARS = 20.0
"""Disc-years of the fleet's demand rate that each unit's own record is joined with."""


def fit_to_lives(
    lives: pd.DataFrame,
    *,
    unclear: UnclearAs = UnclearAs.WEIGHTED,
    suspect_lots: tuple[str, ...] = (),
    duty_steps: pd.DataFrame | None = None,
    n_draws: int,
    seed: int,
) -> tuple[FleetData, LifeModel]:
    """Fit the life model to the lives frame, weighing the unclear endings.

    Parameters
    ----------
    lives : DataFrame, one row per life, index 0..n-1
        The lives frame.
    unclear : UnclearAs
        How unclear endings are read; WEIGHTED lets the fit weigh them.
    suspect_lots : tuple of str
        Lots that get a covariate of their own.
    duty_steps : DataFrame, optional
        Duty of the lives whose duty changed, as in `fleet_data`.
    n_draws, seed : int
        Parameter draws and their seed.

    Returns
    -------
    FleetData, LifeModel
        The data as weighed, and the model fitted to them.

    Raises
    ------
    NotEstimable
        If no model can be fitted; the message says why.
    """
    weight = premature_weight(lives, unclear)
    open_question = _unclear_bursts(lives)
    if unclear is UnclearAs.WEIGHTED and open_question.any():
        demand = _demand_rate(lives, weight)
        for _ in range(ROUNDS):
            fleet, model = _fitted(lives, weight, suspect_lots, duty_steps, _DRAWS_TO_WEIGH, seed)
            early = _premature_hazard(lives[open_question], lives, fleet, model)
            weight = weight.copy()
            weight[open_question] = early / (early + demand[open_question.to_numpy()])
    return _fitted(lives, weight, suspect_lots, duty_steps, n_draws, seed)


def _fitted(
    lives: pd.DataFrame,
    weight: pd.Series,
    suspect_lots: tuple[str, ...],
    duty_steps: pd.DataFrame | None,
    n_draws: int,
    seed: int,
) -> tuple[FleetData, LifeModel]:
    """Fit, then let constant duties stand for the changing ones."""
    fleet = fleet_data(lives, weight, suspect_lots, duty_steps)
    model = fit_life_model(fleet, n_draws=n_draws, seed=seed)
    if fleet.data.changing is None:
        return fleet, model
    shape, effects = wear_draws(model, fleet)
    none = np.zeros(1)
    typical = np.array([np.median(effects.get(name, none)) for name in fleet.data.wear_names])
    return with_equivalent_duty(fleet, typical, float(np.median(shape))), model


def _unclear_bursts(lives: pd.DataFrame) -> pd.Series:
    return (
        lives["ending"].eq(Ending.UNCLEAR.value) & lives["reason"].eq("burst") & lives["age_known"]
    )


def _demand_rate(lives: pd.DataFrame, weight: pd.Series) -> NDArray[np.float64]:
    """Rate of true demands at each life's unit, drawn towards the fleet's. [1/years]"""
    watched = (lives["ended_on"] - lives["observed_from"]).dt.total_seconds() / 86_400 / 365.25
    demand = lives["ending"].eq(Ending.DEMAND.value).astype(float)
    demand += (1 - weight).where(lives["ending"].eq(Ending.UNCLEAR.value), 0.0)
    fleet = float(demand.sum() / max(float(watched.sum()), 1e-9))
    unit = lives["unit"].fillna(lives["position_id"])
    seen, years = demand.groupby(unit).transform("sum"), watched.groupby(unit).transform("sum")
    rate = (seen + fleet * _PRIOR_YEARS) / (years + _PRIOR_YEARS)
    return rate.to_numpy(dtype=float)


def _premature_hazard(
    rows: pd.DataFrame, lives: pd.DataFrame, fleet: FleetData, model: LifeModel
) -> NDArray[np.float64]:
    """Mean hazard of a premature failure at the age of each unclear burst. [1/years]"""
    defects = defect_probabilities(fleet.design, lives)[rows.index]
    law = law_for(model, fleet, defects, wear_of_lives(fleet, lives)[rows.index])
    installation, wear = hazard(law, rows["age_years"].to_numpy(dtype=float))
    return np.asarray((installation + wear).mean(axis=0))
