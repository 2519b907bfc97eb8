"""The fleet's answer: what the early failures were owed to, and what would have avoided them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import pandas as pd

from analytics.early.answer import early_answer
from analytics.early.unclear_readings import every_reading
from analytics.early.what_if import what_if
from analytics.findings import Installation, empty_frame
from analytics.ledger import Ledger
from analytics.survival.fleet_data import FleetData
from analytics.survival.model import LifeModel

__all__ = ["FleetAnswer", "fleet_answer"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetAnswer:
    """What the whole log says of early failures; fields as in `analytics.findings.Findings`."""

    installation: Installation | None = None
    what_if: pd.DataFrame = field(default_factory=lambda: empty_frame("what_if"))
    owed_by_year: pd.DataFrame = field(default_factory=lambda: empty_frame("owed_by_year"))
    fitting: pd.DataFrame = field(default_factory=lambda: empty_frame("fitting"))


def fleet_answer(
    lives: pd.DataFrame,
    fleet: FleetData,
    model: LifeModel,
    tables: Mapping[str, pd.DataFrame],
    ledger: Ledger,
    *,
    begins: date,
    export: date,
    suspect_lots: frozenset[str] = frozenset(),
    duty_steps: pd.DataFrame | None = None,
    n_draws: int,
    seed: int,
) -> FleetAnswer:
    """Attribute the early failures, and ask of each change what it would have avoided.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    fleet, model : FleetData, LifeModel
        The fit in use.
    tables : mapping of str to DataFrame
        Checked logs; `discs` and `positions` are read.
    ledger : Ledger
        Takes the reasons of what could not be answered.
    begins, export : date
        First and last day the log covers.
    suspect_lots : frozenset of str
        Lots under suspicion, a rival explanation of their failures.
    duty_steps : DataFrame, optional
        Duty of the lives whose duty changed, as in `fleet_data`.
    n_draws, seed : int
        Parameter draws of the fits with unclear endings read one way, and their seed.

    Returns
    -------
    FleetAnswer
        A model without an installation hazard still says what a lower ratio would do.
    """
    years = (export - begins).days / 365.25
    answer = ledger.try_for(
        "installation", lambda: early_answer(lives, fleet, model, tables, suspect_lots, years=years)
    )
    readings = ledger.try_for(
        "what would have been avoided",
        lambda: every_reading(
            lives,
            fleet,
            model,
            lambda data, life_model: what_if(
                lives, data, life_model, tables["positions"], begins=begins, export=export
            ),
            duty_steps=duty_steps,
            n_draws=n_draws,
            seed=seed,
        ),
    )
    avoided = readings.what_if if readings else empty_frame("what_if")
    if answer is None:
        return FleetAnswer(what_if=avoided)
    return FleetAnswer(
        installation=Installation(
            share_of_premature=answer.owed.total_share,
            failures_owed=answer.owed.failures_owed,
            share_all_unclear=readings.share_all if readings else None,
            share_no_unclear=readings.share_no if readings else None,
            shape=answer.shape,
            defects=answer.defects,
            failures=answer.failures,
            rivals=answer.rivals,
        ),
        what_if=avoided,
        owed_by_year=answer.owed_by_year,
        fitting=answer.fitting,
    )
