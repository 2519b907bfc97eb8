"""The whole job as one call: a log folder in, findings out."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TypeVar

import numpy as np
import pandas as pd

from analytics import fleet as fleet_figures
from analytics.duty.per_install import duty_per_install, duty_per_position
from analytics.early.answer import (
    early_answer,
    excess_by_crew,
    excess_by_lot,
    hazard_by_age,
    share_if_unclear,
)
from analytics.errors import InputError, NotEstimable
from analytics.estimate import Estimate, from_draws
from analytics.findings import Findings, Installation, Model, Wear, empty_frame
from analytics.intervals.practice import todays_practice
from analytics.intervals.proposals import cost_curves, propose
from analytics.lives.build import build_lives
from analytics.lives.outages import planned_dates
from analytics.lives.today import fitted_today
from analytics.lives.unclear import UnclearAs, premature_weight
from analytics.logs.reading import CheckedLogs, read_logs
from analytics.spares.answer import SparesAnswer, spares_answer
from analytics.survival.curves import kaplan_meier, survival_frame
from analytics.survival.fleet_data import CYCLES, RATIO, FleetData, event_weights
from analytics.survival.model import LifeModel, wear_draws
from analytics.survival.position_laws import PositionLaws, position_laws
from analytics.survival.unclear_endings import fit_to_lives

__all__ = ["run", "run_logs"]

N_DRAWS = 400
SEED = 20_170

HORIZON_YEARS = 2.1
"""How far planned replacements are laid out: a little more than the spares forecast."""

_CURVES_SHOWN = 40
"""Cost curves kept for drawing: the positions with the most to gain."""

RATIO_DEFINITION = "min_burst: operating pressure over marked less burst tolerance"

CAUTIONS = (
    "Decision support only. The maker's written instructions, the code of construction, the "
    "jurisdiction and the responsible licensed engineer prevail.",
    "Early bursts say nothing of a disc that fails to open; those are listed apart.",
    "What crews and lots show is association, not blame.",
)

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class _Ledger:
    """Collects, along the way, what could not be answered and what to beware of."""

    not_answered: dict[str, str] = field(default_factory=dict)
    cautions: list[str] = field(default_factory=list)

    def try_for(self, question: str, answer: Callable[[], T]) -> T | None:
        """Give the answer, or note why there is none."""
        try:
            return answer()
        except NotEstimable as reason:
            self.not_answered[question] = str(reason)
            return None


def run(
    folder: Path,
    *,
    n_draws: int = N_DRAWS,
    seed: int = SEED,
    tell: Callable[[str], None] = lambda step: None,
) -> Findings:
    """Read a log folder and find everything there is to find.

    Parameters
    ----------
    folder : Path
        A log folder.
    n_draws : int
        Parameter draws behind every interval. [-]
    seed : int
        Seed of the draws: the same logs give the same findings.
    tell : callable
        Called with a few words before each step.

    Returns
    -------
    Findings
        Frozen; what could not be answered carries its reason.

    Raises
    ------
    InputError
        If the folder cannot be used at all.
    """
    tell("reading the logs")
    return run_logs(read_logs(folder), n_draws=n_draws, seed=seed, tell=tell)


def run_logs(
    logs: CheckedLogs,
    *,
    n_draws: int = N_DRAWS,
    seed: int = SEED,
    tell: Callable[[str], None] = lambda step: None,
) -> Findings:
    """Find everything there is to find in checked logs; arguments as `run`."""
    ledger = _Ledger()
    begins, export = _period(logs, ledger)
    tell("duty and disc lives")
    duty = duty_per_position(logs.tables)
    lives = build_lives(
        logs.tables, duty_per_install(logs.tables), log_begins=begins, export_date=export
    )
    if lives.frame.empty:
        raise InputError("no disc life lies in the logs: give positions, installs and removals")
    today = fitted_today(lives.frame, logs.tables["positions"], duty, export_date=export)
    today["family"] = today["disc_code"].map(logs.tables["discs"].set_index("disc_code")["family"])

    tell("life model")
    fitted = ledger.try_for(
        "life model", lambda: _fit(lives.frame, logs, n_draws=n_draws, seed=seed)
    )
    laws = None
    if fitted is not None:
        laws = position_laws(fitted.model, fitted.data, lives.frame, today)
        ledger.not_answered.update(
            {f"effect of: {name}": why for name, why in fitted.data.design.not_answered.items()}
        )

    tell("early failures")
    found = _early(logs, lives.frame, fitted, ledger, n_draws=n_draws, seed=seed)

    tell("replacement intervals")
    practice = todays_practice(lives.frame, today)
    plan = _intervals(today, practice, laws, logs.tables["turnarounds"], export, ledger)

    tell("spares")
    stores = _spares(logs, lives.frame, fitted, today, practice, laws, export, ledger)

    tell("the fleet")
    share = (
        found.installation.failures.set_index("life_id")["share"]
        if found.installation is not None
        else pd.Series(dtype=float)
    )
    return Findings(
        title=logs.settings.title,
        export_date=export,
        log_begins=begins,
        currency=logs.settings.currency,
        rows=logs.rows,
        quarantine=logs.quarantine,
        lives=lives.frame,
        endings=_endings(lives.frame),
        life_curve=_life_curve(lives.frame, ledger),
        hazard_curve=_hazard_curve(laws, lives.frame),
        model=_model(fitted, ledger),
        installation=found.installation,
        wear=_wear(fitted),
        crews=found.crews,
        lots=found.lots,
        duty=duty,
        intervals=plan.intervals,
        interval_curves=plan.curves,
        spares=stores.spares,
        demand_weekly=stores.weekly,
        dangerous=fleet_figures.dangerous_events(lives.frame),
        dangerous_bound=fleet_figures.dangerous_rate(lives.frame),
        trend=fleet_figures.yearly_trend(lives.frame),
        costs=fleet_figures.yearly_costs(lives.frame, share),
        data_quality=fleet_figures.data_quality(lives.frame),
        inferred=lives.inferred,
        cautions=(*CAUTIONS, *ledger.cautions, *logs.notes),
        not_answered=ledger.not_answered,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fitted:
    """The life model, its data, and the lots as they looked before they got a covariate."""

    data: FleetData
    model: LifeModel
    lots: pd.DataFrame


def _fit(lives: pd.DataFrame, logs: CheckedLogs, *, n_draws: int, seed: int) -> _Fitted:
    """Fit once to find suspect lots, then, if any, again with those lots apart."""
    data, model = fit_to_lives(lives, n_draws=n_draws, seed=seed)
    lots = excess_by_lot(lives, logs.tables["stock"], data, model)
    suspect = tuple(lots.loc[lots["flagged"], "lot"])
    if suspect:
        data, model = fit_to_lives(lives, suspect_lots=suspect, n_draws=n_draws, seed=seed)
    return _Fitted(data=data, model=model, lots=lots)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Early:
    installation: Installation | None
    crews: pd.DataFrame
    lots: pd.DataFrame


def _early(
    logs: CheckedLogs,
    lives: pd.DataFrame,
    fitted: _Fitted | None,
    ledger: _Ledger,
    *,
    n_draws: int,
    seed: int,
) -> _Early:
    if fitted is None:
        return _Early(installation=None, crews=empty_frame("crews"), lots=empty_frame("lots"))
    crews = excess_by_crew(lives, fitted.data, fitted.model)
    suspect = fitted.data.design.lots
    answer = ledger.try_for(
        "installation",
        lambda: early_answer(lives, fitted.data, fitted.model, logs.tables, frozenset(suspect)),
    )
    if answer is None:
        return _Early(installation=None, crews=crews, lots=fitted.lots)
    either = {
        unclear: share_if_unclear(lives, unclear, suspect_lots=suspect, n_draws=n_draws, seed=seed)
        for unclear in (UnclearAs.PREMATURE, UnclearAs.NOT_PREMATURE)
    }
    installation = Installation(
        share_of_premature=answer.owed.total_share,
        failures_owed=answer.owed.failures_owed,
        share_all_unclear=either[UnclearAs.PREMATURE],
        share_no_unclear=either[UnclearAs.NOT_PREMATURE],
        shape=answer.shape,
        defects=answer.defects,
        failures=answer.failures,
    )
    return _Early(installation=installation, crews=crews, lots=fitted.lots)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    intervals: pd.DataFrame
    curves: dict[str, pd.DataFrame]


def _intervals(
    today: pd.DataFrame,
    practice: pd.DataFrame,
    laws: PositionLaws | None,
    turnarounds: pd.DataFrame,
    export: date,
    ledger: _Ledger,
) -> _Plan:
    if laws is None:
        ledger.not_answered["intervals"] = "a replacement age needs a life model; none was fitted"
        return _Plan(intervals=empty_frame("intervals"), curves={})
    found = propose(
        today,
        laws.following,
        practice,
        turnarounds,
        export_date=export,
        current=laws.current,
    )
    if not found.priced:
        ledger.not_answered["intervals"] = (
            "the least-cost age needs planned_cost and unplanned_cost, and no position has both"
        )
    rows = found.intervals
    gain = (rows["cost_today"] - rows["cost_per_year"]).sort_values(ascending=False)
    shown = rows.loc[gain.index[:_CURVES_SHOWN], "position_id"].tolist()
    return _Plan(intervals=rows, curves=cost_curves(found, shown))


def _spares(
    logs: CheckedLogs,
    lives: pd.DataFrame,
    fitted: _Fitted | None,
    today: pd.DataFrame,
    practice: pd.DataFrame,
    laws: PositionLaws | None,
    export: date,
    ledger: _Ledger,
) -> SparesAnswer:
    if fitted is None or laws is None:
        ledger.not_answered["spares"] = "demand needs a life model, and none could be fitted"
        return SparesAnswer(
            spares=empty_frame("spares"), weekly=empty_frame("demand_weekly"), remarks=()
        )
    planned = planned_dates(
        today,
        logs.tables["turnarounds"],
        practice["today_years"],
        export_date=export,
        horizon_years=HORIZON_YEARS,
    )
    premature = event_weights(fitted.data, lives)
    return spares_answer(logs.tables, lives, premature, today, laws, planned, pd.Timestamp(export))


def _period(logs: CheckedLogs, ledger: _Ledger) -> tuple[date, date]:
    """First and last day of the removals log, declared or, said so, inferred."""
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


def _endings(lives: pd.DataFrame) -> dict[str, int]:
    return {str(name): int(count) for name, count in lives["ending"].value_counts().items()}


def _life_curve(lives: pd.DataFrame, ledger: _Ledger) -> pd.DataFrame:
    """Kaplan-Meier of premature failures; a leak counts at the middle of its interval."""
    known = lives[lives["age_known"]]
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


def _hazard_curve(laws: PositionLaws | None, lives: pd.DataFrame) -> pd.DataFrame:
    if laws is None:
        return empty_frame("hazard_curve")
    return hazard_by_age(laws, float(lives["age_years"].quantile(0.99)))


def _model(fitted: _Fitted | None, ledger: _Ledger) -> Model | None:
    if fitted is None:
        return None
    ledger.cautions.extend(fitted.model.warnings)
    return Model(
        name=fitted.model.name,
        why=fitted.model.why,
        fit_statement=fitted.model.fit_statement,
        lives=len(np.unique(fitted.data.life)),
        failures=round(fitted.data.data.lifetimes.failures),
        ratio_definition=RATIO_DEFINITION,
    )


def _wear(fitted: _Fitted | None) -> Wear | None:
    if fitted is None:
        return None
    shape, effects = wear_draws(fitted.model, fitted.data)

    def exponent(name: str) -> Estimate | None:
        return from_draws(-effects[name]) if name in effects else None

    return Wear(
        shape=from_draws(shape), ratio_exponent=exponent(RATIO), cycle_exponent=exponent(CYCLES)
    )
