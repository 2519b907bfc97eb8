"""The whole job as one call: a log folder in, findings out."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pandas as pd

from analytics import fleet
from analytics.duty.history import scan_logs
from analytics.duty.tally import HistoryTally
from analytics.duty.withstood import pressures_withstood
from analytics.early.answer import excess_by_crew, excess_by_site
from analytics.early.fleet_answer import FleetAnswer, fleet_answer
from analytics.early.suspect_lots import lot_places
from analytics.early.two_by_two import counts_alone
from analytics.early.watching import Watching, watching
from analytics.errors import InputError
from analytics.findings import (
    Findings,
    Installation,
    empty_frame,
)
from analytics.intervals.answer import IntervalsAnswer, intervals_answer
from analytics.ledger import Ledger
from analytics.logs.fingerprint import fingerprint
from analytics.logs.reading import CheckedLogs, read_logs
from analytics.logs.store.loading import stored_logs
from analytics.logs.store.opening import open_store
from analytics.model_summary import (
    hazard_curve,
    life_curve,
    model_in_use,
    model_version,
    wear_found,
)
from analytics.plain_remarks import CAUTIONS, absent_tables, plain_warnings, stock_remarks
from analytics.plant import Plant, kept_plans, planned_weeks, read_plant
from analytics.spares.answer import SparesAnswer, spares_answer
from analytics.spares.both_ways import demand_both_ways
from analytics.survival.fleet_data import event_weights

__all__ = ["N_DRAWS", "SEED", "run", "run_logs"]

N_DRAWS = 400
SEED = 20_170

Tell = Callable[[str], None]


def _silent(step: str) -> None:
    """Say nothing."""


def run(
    folder: Path,
    *,
    n_draws: int = N_DRAWS,
    seed: int = SEED,
    keep_in: Path | None = None,
    cluster: str | None = None,
    tell: Tell = _silent,
) -> Findings:
    """Read a log folder and find everything there is to find.

    Parameters
    ----------
    folder : Path
        A log folder, with a historian in its `pressure/`, or a store file; the
        historian of a store lies in `pressure/` beside it.
    n_draws : int
        Parameter draws behind every interval. [-]
    seed : int
        Seed of the draws: the same logs give the same findings.
    keep_in : Path, optional
        Folder for the tallies of historian files already read; those are not read again.
    cluster : str, optional
        Address of a Dask scheduler whose workers read the historian; else this machine.
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
    logs = stored_logs(open_store(folder)) if folder.is_file() else read_logs(folder)
    if not logs.settings.title:
        logs = replace(logs, settings=replace(logs.settings, title=folder.stem))
    tell("reading the pressure history")
    ledger = Ledger()
    history = None
    try:
        history = scan_logs(
            folder.parent if folder.is_file() else folder,
            logs.tables,
            zone=logs.settings.time_zone,
            keep_in=keep_in,
            cluster=cluster,
            on_progress=lambda done, files: tell(
                f"reading the pressure history: {done} of {files} files"
            ),
        )
    except InputError as reason:
        ledger.cautions.append(f"The pressure history was left out: {reason}")
    return run_logs(logs, history, ledger=ledger, n_draws=n_draws, seed=seed, tell=tell)


def run_logs(
    logs: CheckedLogs,
    history: HistoryTally | None = None,
    *,
    ledger: Ledger | None = None,
    n_draws: int = N_DRAWS,
    seed: int = SEED,
    tell: Tell = _silent,
) -> Findings:
    """Find everything there is to find in checked logs.

    Parameters
    ----------
    logs : CheckedLogs
        A log folder after checking.
    history : HistoryTally, optional
        A scan of its historian.
    ledger : Ledger, optional
        Cautions that came up while reading.
    n_draws, seed, tell
        As in `run`.

    Returns
    -------
    Findings
        Frozen.

    Raises
    ------
    InputError
        If the logs hold no disc life or no date.
    """
    ledger = ledger or Ledger()
    ledger.cautions.extend(absent_tables(logs))
    if history is not None:
        ledger.cautions.extend(history.cautions)
    tell("disc lives and life model")
    plant = read_plant(logs, history, ledger, n_draws=n_draws, seed=seed)
    tell("early failures")
    early = _early(logs, plant, ledger, n_draws=n_draws, seed=seed)
    tell("watching the quality of installation")
    watched = _watched(logs, plant, early.installation, ledger)
    tell("replacement intervals")
    intervals = _intervals(logs, plant, ledger)
    tell("spares")
    spares = _spares(logs, plant, ledger, n_draws=n_draws, seed=seed)
    tell("the fleet")
    lives, owed = plant.lives, _share_by_life(early.installation)
    withstood = (
        empty_frame("dangerous") if history is None else pressures_withstood(logs.tables, history)
    )
    dangerous = fleet.dangerous_events(lives, withstood)
    ledger.cautions.extend(plain_warnings(plant))
    return Findings(
        title=logs.settings.title,
        export_date=plant.export,
        log_begins=plant.begins,
        currency=logs.settings.currency,
        rows=logs.rows,
        quarantine=logs.quarantine,
        lives=lives,
        endings={str(name): int(n) for name, n in lives["ending"].value_counts().items()},
        life_curve=life_curve(lives, ledger),
        hazard_curve=hazard_curve(plant),
        model=model_in_use(plant.fitted, ledger, seed),
        installation=early.installation,
        wear=wear_found(plant.fitted),
        crews=_crews(plant),
        lots=plant.fitted.lots if plant.fitted else empty_frame("lots"),
        sites=_sites(plant),
        lot_places=_lot_places(logs, plant),
        counts_alone=counts_alone(lives),
        watch=_or_empty("watch", watched.watch.signals),
        watch_charts=_or_empty("watch_charts", watched.watch.charts),
        watch_path=_or_empty("watch_path", watched.watch.path),
        programmes=_or_empty("programmes", watched.programmes),
        record_next=_or_empty("record_next", watched.record_next),
        duty=plant.duty,
        duty_quarters=plant.duty_quarters,
        intervals=intervals.intervals,
        interval_curves=intervals.curves,
        overdue=intervals.overdue,
        policies=intervals.policies,
        outage_plan=intervals.outage_plan,
        outage_groups=intervals.outage_groups,
        spares=spares.spares,
        demand_weekly=spares.weekly,
        moves=_or_empty("moves", spares.lists.moves),
        kits=_or_empty("kits", spares.lists.kits),
        dead_stock=_or_empty("dead_stock", spares.lists.dead),
        stock_remarks=stock_remarks(logs.quarantine, spares.odd),
        pooled=_or_empty("pooled", spares.lists.pooled),
        placing=_or_empty("placing", spares.lists.placing),
        budget=_or_empty("budget", spares.lists.budget),
        what_if=early.what_if,
        owed_by_year=early.owed_by_year,
        fitting=early.fitting,
        dangerous=dangerous,
        dangerous_bound=fleet.dangerous_rate(lives, len(dangerous)),
        trend=fleet.yearly_trend(lives),
        costs=fleet.yearly_costs(lives, owed),
        data_quality=fleet.data_quality(lives),
        inferred=plant.inferred,
        cautions=(*CAUTIONS, *ledger.cautions, *logs.notes, *spares.remarks),
        not_answered=ledger.not_answered,
        data_version=fingerprint({**logs.tables, "duty of positions": plant.duty}),
        model_version=model_version(plant.fitted, seed=seed, n_draws=n_draws),
    )


def _early(
    logs: CheckedLogs, plant: Plant, ledger: Ledger, *, n_draws: int, seed: int
) -> FleetAnswer:
    if plant.fitted is None:
        ledger.not_answered["installation"] = "a share owed needs a life model; none was fitted"
        return FleetAnswer()
    lots = plant.fitted.lots
    return fleet_answer(
        plant.lives,
        plant.fitted.data,
        plant.fitted.model,
        logs.tables,
        ledger,
        begins=plant.begins,
        export=plant.export,
        suspect_lots=frozenset(lots.loc[lots["suspect"].astype(bool), "lot"]),
        duty_steps=plant.duty_steps,
        n_draws=n_draws,
        seed=seed,
    )


def _crews(plant: Plant) -> pd.DataFrame:
    fitted = plant.fitted
    if fitted is None:
        return empty_frame("crews")
    return excess_by_crew(plant.lives, fitted.data, fitted.model)


def _sites(plant: Plant) -> pd.DataFrame:
    fitted = plant.fitted
    if fitted is None:
        return empty_frame("sites")
    return excess_by_site(plant.lives, fitted.data, fitted.model)


def _lot_places(logs: CheckedLogs, plant: Plant) -> pd.DataFrame:
    if plant.fitted is None:
        return empty_frame("lot_places")
    places = lot_places(plant.fitted.lots, plant.lives, logs.tables["stock"])
    return _or_empty("lot_places", places)


def _watched(
    logs: CheckedLogs, plant: Plant, installation: Installation | None, ledger: Ledger
) -> Watching:
    fitted = plant.fitted
    if fitted is None:
        ledger.not_answered["watching"] = "a watch needs a life model; none was fitted"
        return Watching()
    defects = installation.defects if installation else None
    programmes = logs.settings.programmes
    answer = ledger.try_for(
        "watching",
        lambda: watching(plant.lives, fitted.data, fitted.model, programmes, defects),
    )
    return answer or Watching()


def _share_by_life(installation: Installation | None) -> pd.Series:
    if installation is None:
        return pd.Series(dtype=float)
    return installation.failures.set_index("life_id")["share"]


def _intervals(logs: CheckedLogs, plant: Plant, ledger: Ledger) -> IntervalsAnswer:
    fitted = plant.fitted
    if fitted is None:
        ledger.not_answered["intervals"] = "a replacement age needs a life model; none was fitted"
    answer = fitted and ledger.try_for(
        "intervals",
        lambda: intervals_answer(
            plant.today, plant.practice, fitted.laws, logs.tables["turnarounds"], plant.export
        ),
    )
    return answer or IntervalsAnswer(
        intervals=empty_frame("intervals"),
        overdue=empty_frame("overdue"),
        policies=empty_frame("policies"),
        outage_plan=empty_frame("outage_plan"),
        outage_groups=empty_frame("outage_groups"),
        curves={},
    )


def _spares(
    logs: CheckedLogs, plant: Plant, ledger: Ledger, *, n_draws: int, seed: int
) -> SparesAnswer:
    fitted = plant.fitted
    weeks = planned_weeks(plant, logs.tables["turnarounds"])
    chances = kept_plans(plant, logs.tables["turnarounds"], n_draws=n_draws, seed=seed)
    if fitted is None:
        ledger.not_answered["spares"] = "demand needs a life model, and none could be fitted"
    answer = fitted and ledger.try_for(
        "spares",
        lambda: spares_answer(
            logs.tables,
            plant.lives,
            event_weights(fitted.data, plant.lives),
            plant.today,
            fitted.laws,
            weeks,
            pd.Timestamp(plant.export),
            chances,
        ),
    )
    if fitted and answer:
        both = demand_both_ways(
            plant.lives,
            plant.today,
            weeks,
            suspect_lots=fitted.data.design.lots,
            n_draws=n_draws,
            seed=seed,
        )
        spares = answer.spares.merge(both, on=["store", "disc_code"], how="left")
        answer = replace(answer, spares=spares)
    return answer or SparesAnswer(
        spares=empty_frame("spares"), weekly=empty_frame("demand_weekly"), remarks=()
    )


def _or_empty(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    return empty_frame(name) if frame.empty else frame
