"""The plant as the logs show it: its disc lives, what is fitted today, the fitted life model.

Everything a decision needs and nothing decided yet. The whole job and the backtest,
which looks at the same plant on earlier days, both start here.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analytics.duty.damage import Basquin, MeanCorrection
from analytics.duty.per_install import duty_per_install, duty_per_position
from analytics.duty.quarters import duty_by_quarter
from analytics.duty.steps import duty_steps
from analytics.duty.tally import HistoryTally
from analytics.early.lots import excess_by_lot
from analytics.errors import InputError
from analytics.findings import empty_frame
from analytics.intervals.kept import PlanChances, past_visits, plan_chances
from analytics.intervals.practice import todays_practice
from analytics.ledger import Ledger
from analytics.lives.build import build_lives
from analytics.lives.outages import own_rounds, planned_dates
from analytics.lives.today import fitted_today
from analytics.logs.reading import CheckedLogs
from analytics.logs.settings import Fatigue
from analytics.survival.fleet_data import FleetData
from analytics.survival.model import LifeModel
from analytics.survival.position_laws import PositionLaws, position_laws
from analytics.survival.unclear_endings import fit_to_lives

__all__ = ["FittedLives", "Plant", "kept_plans", "log_period", "planned_weeks", "read_plant"]

HORIZON_YEARS = 2.1
"""How far planned replacements are laid out: a little more than the spares forecast."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedLives:
    """The life model and what it was fitted to.

    Attributes
    ----------
    data : FleetData
        Lives and covariates.
    model : LifeModel
        The model in use.
    laws : PositionLaws
        Life laws of all positions.
    lots : DataFrame
        The `lots` frame of findings, as the lots looked before suspect ones got a
        covariate of their own.
    at_one_duty : tuple of FleetData and LifeModel, or None
        The same fitted as if each life had one duty throughout; None when none changed.
    """

    data: FleetData
    model: LifeModel
    laws: PositionLaws
    lots: pd.DataFrame
    at_one_duty: tuple[FleetData, LifeModel] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """The plant on its export date.

    Attributes
    ----------
    begins, export : date
        First and last day the log covers.
    duty, duty_quarters : DataFrame
        Frames of findings.
    duty_steps : DataFrame or None
        Duty of the lives whose duty changed, as `duty_steps` gives; None without a history.
    lives : DataFrame
        One row per disc life.
    inferred : tuple of str
        What was inferred while making lives.
    today : DataFrame
        One row per position, as `fitted_today` gives, with `family`.
    practice : DataFrame
        One row per position, as `todays_practice` gives.
    fitted : FittedLives or None
        None when no life model could be fitted; the ledger says why.
    """

    begins: date
    export: date
    duty: pd.DataFrame
    duty_quarters: pd.DataFrame
    duty_steps: pd.DataFrame | None
    lives: pd.DataFrame
    inferred: tuple[str, ...]
    today: pd.DataFrame
    practice: pd.DataFrame
    fitted: FittedLives | None


def read_plant(
    logs: CheckedLogs,
    history: HistoryTally | None,
    ledger: Ledger,
    *,
    n_draws: int,
    seed: int,
) -> Plant:
    """Make the plant from its checked logs.

    Parameters
    ----------
    logs : CheckedLogs
        A log folder after checking.
    history : HistoryTally or None
        A scan of its historian.
    ledger : Ledger
        Takes reasons and cautions.
    n_draws, seed : int
        Parameter draws and their seed.

    Returns
    -------
    Plant
        Frozen.

    Raises
    ------
    InputError
        If the logs hold no disc life or no date.
    """
    begins, export = log_period(logs, ledger)
    duty = duty_per_position(logs.tables, history)
    lives = build_lives(
        logs.tables, duty_per_install(logs.tables, history), log_begins=begins, export_date=export
    )
    if lives.frame.empty:
        raise InputError("no disc life lies in the logs: give positions, installs and removals")
    today = fitted_today(lives.frame, logs.tables["positions"], duty, export_date=export)
    today["family"] = today["disc_code"].map(logs.tables["discs"].set_index("disc_code")["family"])
    quarters, steps = empty_frame("duty_quarters"), None
    if history is not None:
        curve, correction = _fatigue(logs.settings.fatigue)
        quarters = duty_by_quarter(
            logs.tables, history, until=export, curve=curve, correction=correction
        )
        steps = duty_steps(quarters)
    fitted = ledger.try_for(
        "life model", lambda: _fit(logs, lives.frame, today, steps, n_draws=n_draws, seed=seed)
    )
    if fitted is not None:
        ledger.cautions.extend(fitted.model.warnings)
        ledger.not_answered.update(
            {f"effect of: {name}": why for name, why in fitted.data.design.not_answered.items()}
        )
    return Plant(
        begins=begins,
        export=export,
        duty=duty,
        duty_quarters=quarters,
        duty_steps=steps,
        lives=lives.frame,
        inferred=lives.inferred,
        today=today,
        practice=todays_practice(lives.frame, today),
        fitted=fitted,
    )


def log_period(logs: CheckedLogs, ledger: Ledger) -> tuple[date, date]:
    """Give the first and last day of the removals log, declared or, said so, inferred."""
    found, fitted = logs.tables["removals"]["found_on"], logs.tables["installs"]["installed_on"]
    days = pd.concat([found, fitted]).dropna()
    begins, export = logs.settings.log_begins, logs.settings.export_date
    if export is None:
        if days.empty:
            raise InputError("no install or removal carries a date: nothing can be dated")
        export = days.max().date()
        ledger.cautions.append(
            f"logs.toml gives no export_date: the last day in the logs, {export}, stands for it."
        )
    if begins is None:
        first = found.dropna().min() if found.notna().any() else days.min()
        begins = first.date() if pd.notna(first) else export
        ledger.cautions.append(
            f"logs.toml gives no log_begins: the first removal, {begins}, stands for it. If "
            "removals were logged earlier without any happening, early lives are understated."
        )
    if begins >= export:
        raise InputError(f"log_begins must lie before export_date, got {begins} and {export}")
    return begins, export


def planned_weeks(plant: Plant, turnarounds: pd.DataFrame) -> list[tuple[int, ...]]:
    """Give the weeks from the export date of each position's planned replacements.

    Parameters
    ----------
    plant : Plant
        The plant; today's practice says when a disc is due.
    turnarounds : DataFrame
        Checked turnarounds table.

    Returns
    -------
    list of tuple of int
        Per position, ascending. [weeks]
    """
    dates = planned_dates(
        plant.today,
        turnarounds,
        plant.practice["today_years"],
        export_date=plant.export,
        horizon_years=HORIZON_YEARS,
        own_round=own_rounds(plant.lives, plant.today, turnarounds),
    )
    now = pd.Timestamp(plant.export)
    weeks = ([int(np.ceil((day - now).days / 7)) for day in days] for days in dates)
    return [tuple(dict.fromkeys(each)) for each in weeks]


def kept_plans(
    plant: Plant, turnarounds: pd.DataFrame, *, n_draws: int, seed: int
) -> PlanChances | None:
    """Estimate from past outages the chance that what `planned_weeks` gives is done.

    Parameters
    ----------
    plant : Plant
        The plant.
    turnarounds : DataFrame
        Checked turnarounds table.
    n_draws, seed : int
        Draws and their seed.

    Returns
    -------
    PlanChances or None
        In the order of `plant.today`; None when certain.
    """
    visits = past_visits(plant.lives, plant.today, turnarounds, export=pd.Timestamp(plant.export))
    return plan_chances(visits, plant.today, n_draws=n_draws, seed=seed)


def _fatigue(stated: Fatigue | None) -> tuple[Basquin | None, MeanCorrection]:
    if stated is None:
        return None, MeanCorrection.NONE
    curve = Basquin(cycles_at_unit_range=stated.cycles_at_one_bar, slope=stated.slope)
    return curve, MeanCorrection(stated.mean_correction)


def _fit(
    logs: CheckedLogs,
    lives: pd.DataFrame,
    today: pd.DataFrame,
    steps: pd.DataFrame | None,
    *,
    n_draws: int,
    seed: int,
) -> FittedLives:
    """Fit once to find suspect lots, then, if any, again with those lots apart."""
    suspect: tuple[str, ...] = ()

    def fitted(steps: pd.DataFrame | None) -> tuple[FleetData, LifeModel]:
        return fit_to_lives(
            lives, suspect_lots=suspect, duty_steps=steps, n_draws=n_draws, seed=seed
        )

    data, model = fitted(steps)
    lots = excess_by_lot(lives, logs.tables["stock"], data, model)
    suspect = tuple(lots.loc[lots["flagged"], "lot"])
    if suspect:
        data, model = fitted(steps)
    return FittedLives(
        data=data,
        model=model,
        laws=position_laws(model, data, lives, today),
        lots=lots,
        at_one_duty=None if data.data.changing is None else fitted(None),
    )
