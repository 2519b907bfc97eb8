"""The life model in a few numbers and curves: what it is, what wear does, how life runs out."""

from importlib.metadata import PackageNotFoundError, version

import numpy as np
import pandas as pd

from analytics.early.answer import hazard_by_age
from analytics.estimate import Estimate, from_draws
from analytics.findings import ChangedDuty, Model, Wear, empty_frame
from analytics.ledger import Ledger
from analytics.lives.unclear import UnclearAs, premature_weight
from analytics.plant import FittedLives, Plant
from analytics.survival.curves import kaplan_meier, survival_frame
from analytics.survival.fleet_data import CYCLES, RATIO, FleetData
from analytics.survival.model import LifeModel, judged, wear_draws

__all__ = ["hazard_curve", "life_curve", "model_in_use", "model_version", "wear_found"]

RATIO_DEFINITION = "min_burst: operating pressure over marked less burst tolerance"


def life_curve(lives: pd.DataFrame, ledger: Ledger) -> pd.DataFrame:
    """Kaplan-Meier of premature failures; a leak counts at the middle of its interval."""
    known = lives[lives["age_known"]]
    if known.empty:
        ledger.not_answered["life curve"] = "no life has a known age"
        return empty_frame("life_curve")
    premature = premature_weight(known, UnclearAs.NOT_PREMATURE).to_numpy() > 0
    middle = (known["lower_years"] + known["upper_years"]).to_numpy() / 2
    age = np.where(premature, middle, known["age_years"].to_numpy())
    entry = np.minimum(known["entry_years"].to_numpy(), age * (1 - 1e-9))
    curve = ledger.try_for("life curve", lambda: kaplan_meier(age, premature, entry=entry))
    if curve is None:
        return empty_frame("life_curve")
    if curve.warning:
        ledger.cautions.append(curve.warning)
    return survival_frame(curve)


def hazard_curve(plant: Plant) -> pd.DataFrame:
    """Mean hazards by age, to the age that one life in twenty outlives."""
    if plant.fitted is None:
        return empty_frame("hazard_curve")
    return hazard_by_age(plant.fitted.laws, float(plant.lives["age_years"].quantile(0.95)))


def model_in_use(fitted: FittedLives | None, ledger: Ledger, seed: int) -> Model | None:
    """Name the model in use, why it is used, and how well it fits; warnings go to the ledger."""
    if fitted is None:
        return None
    model = judged(fitted.model, fitted.data, seed=seed)
    ledger.cautions.extend(said for said in model.warnings if said not in fitted.model.warnings)
    return Model(
        name=model.name,
        why=model.why,
        fit_statement=model.fit_statement,
        lives=len(np.unique(fitted.data.life)),
        failures=round(fitted.data.data.lifetimes.failures),
        ratio_definition=RATIO_DEFINITION,
    )


def model_version(fitted: FittedLives | None, *, seed: int, n_draws: int) -> str:
    """Name what was fitted and how, so that the same logs give the same numbers again."""
    try:
        package = version("discward")
    except PackageNotFoundError:
        package = "from source"
    model = fitted.model.name if fitted else "no life model"
    return f"discward {package}; {model}; seed {seed}; {n_draws} draws"


def wear_found(fitted: FittedLives | None) -> Wear | None:
    """Give the wear shape and the exponents of duty; None where no model was fitted."""
    if fitted is None:
        return None
    shape, _ = wear_draws(fitted.model, fitted.data)
    ratio, cycles = _exponents(fitted.data, fitted.model)
    return Wear(
        shape=from_draws(shape),
        ratio_exponent=ratio,
        cycle_exponent=cycles,
        changed_duty=_changed_duty(fitted),
    )


def _exponents(data: FleetData, model: LifeModel) -> tuple[Estimate | None, Estimate | None]:
    """Exponents of ratio and cycles; None for one that is not in the model."""
    _, effects = wear_draws(model, data)
    ratio, cycles = (
        from_draws(-effects[name]) if name in effects else None for name in (RATIO, CYCLES)
    )
    return ratio, cycles


def _changed_duty(fitted: FittedLives) -> ChangedDuty | None:
    changing = fitted.data.data.changing
    if changing is None or fitted.at_one_duty is None:
        return None
    lives = fitted.data.data.lifetimes
    ratio, cycles = _exponents(*fitted.at_one_duty)
    return ChangedDuty(
        lives=len(np.unique(fitted.data.life[changing.row])),
        failures=round(float(lives.weight[changing.row] @ lives.ended[changing.row])),
        ratio_exponent=ratio,
        cycle_exponent=cycles,
    )
