"""The engineer's weekly look: what changed, did the programme work, what to record next?"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd

from analytics.early.crews_and_lots import FEWEST_EVENTS
from analytics.early.programmes import before_and_after
from analytics.early.record_next import record_next
from analytics.early.usual_fitting import usual_fitting
from analytics.early.watch import WatchAnswer, watch
from analytics.early.watched_lots import lots_by_month
from analytics.early.watched_records import found_defects
from analytics.logs.settings import Programme
from analytics.survival.fleet_data import FleetData
from analytics.survival.model import LifeModel

__all__ = ["Watching", "watching"]


def _nothing() -> WatchAnswer:
    return WatchAnswer(signals=pd.DataFrame(), charts=pd.DataFrame(), path=pd.DataFrame())


@dataclass(frozen=True, slots=True, kw_only=True)
class Watching:
    """What was seen; empty frames where nothing could be.

    Attributes
    ----------
    watch : WatchAnswer
        The charts.
    programmes, record_next : DataFrame
        The frames of findings of these names.
    """

    watch: WatchAnswer = field(default_factory=_nothing)
    programmes: pd.DataFrame = field(default_factory=pd.DataFrame)
    record_next: pd.DataFrame = field(default_factory=pd.DataFrame)


def watching(
    lives: pd.DataFrame,
    fleet: FleetData,
    model: LifeModel,
    programmes: Sequence[Programme] = (),
    defects: pd.DataFrame | None = None,
) -> Watching:
    """Watch the quality of installation over the log.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    fleet : FleetData
        What the model was fitted to.
    model : LifeModel
        The model in use.
    programmes : sequence of Programme
        As `logs.toml` declares them.
    defects : DataFrame, optional
        The `defects` frame of findings; without it nothing is said of what to record.

    Returns
    -------
    Watching
        Charts, programmes and checks to record.

    Raises
    ------
    NotEstimable
        If the model has no installation hazard.
    """
    usual = usual_fitting(lives, fleet, model)
    found = found_defects(lives)
    lots = lots_by_month(usual, fleet, model, fewest=FEWEST_EVENTS)
    fit = model.two_hazard
    return Watching(
        watch=watch(usual, found, lots),
        programmes=before_and_after(usual, found, programmes),
        record_next=record_next(fit, defects)
        if fit is not None and defects is not None
        else pd.DataFrame(),
    )
