"""Which lots live shorter than their duty and fitting explain, and where else are they?"""

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.early.crews_and_lots import FALSE_FLAG_RATE, group_rates
from analytics.early.lot_alarm import GoodLots, chance_if_good, good_lots
from analytics.early.lot_evidence import LotLives, log_evidence
from analytics.early.suspect_lots import what_else
from analytics.errors import NotEstimable
from analytics.lives.events import Ending
from analytics.survival.fleet_data import (
    FleetData,
    defect_probabilities,
    event_weights,
    wear_of_lives,
)
from analytics.survival.law import LifeLaw, cumulative_hazard, middle_of, part_of
from analytics.survival.model import LifeModel, fit_life_model, law_for
from analytics.survival.two_hazard_data import take_rows

__all__ = ["FALSE_LOT_ALARMS_PER_YEAR", "FEWEST_LOT_EVENTS", "excess_by_lot"]

FEWEST_LOT_EVENTS = 3
"""A lot is judged from its third failure on: waiting for more costs more."""

FALSE_LOT_ALARMS_PER_YEAR = 0.1
"""Good lots flagged per year, at most: one in ten years."""

_AIMED_AT = 0.6
"""Part of the stated alarms that the count aims at: each reading fits the law anew, which gives
good lots more chances than one law would."""

_DRAWS = 50

_NEAR = 10.0
_FELT = 0.02
_MOST_REFITS = 5
"""A lot whose chance is within a factor of `_NEAR` of the alarm line is judged by a law fitted
without it, where it could have bent that law: with `_FELT` of the fleet's failures or more."""

_SEED = 0

Array = NDArray[np.float64]


def excess_by_lot(
    lives: pd.DataFrame, stock: pd.DataFrame, fleet: FleetData, model: LifeModel
) -> pd.DataFrame:
    """Compare each lot's early failures with what duty and fitting explain.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    stock : DataFrame
        Checked stock table.
    fleet : FleetData
        What the model was fitted to.
    model : LifeModel
        The model in use.

    Returns
    -------
    DataFrame
        The `lots` frame of `analytics.findings.Findings`: with the positions that hold a disc
        of the lot today, the stores and pieces in stock, and what else the failures of a
        suspect lot share. `p_value` is the chance that a good lot of this fleet, watched as
        this one was, ever looks as bad at one of its failures from the third on. A lot is
        `suspect`, an alarm worth a quarantine, where at that chance fewer good lots a year
        than `FALSE_LOT_ALARMS_PER_YEAR` would be; it is `flagged`, more than noise, where at
        that chance fewer than `FALSE_FLAG_RATE` of fleets of good lots would have one.
    """
    fitted = np.zeros(len(lives), dtype=bool)
    fitted[fleet.life] = True
    rows = lives[fitted]
    law = _law(rows, lives, fleet, model)
    entry, age = (rows[name].to_numpy(dtype=float) for name in ("entry_years", "age_years"))
    middle = middle_of(law)
    expected = (cumulative_hazard(middle, age) - cumulative_hazard(middle, entry))[0]
    events = event_weights(fleet, lives)
    n_lots = max(int(rows["lot"].nunique()), 1)
    alarm_at = min(0.05, _AIMED_AT * FALSE_LOT_ALARMS_PER_YEAR * _years(rows) / n_lots)
    lots = group_rates(
        rows["lot"],
        events.to_numpy()[fitted],
        expected,
        fewest_events=FEWEST_LOT_EVENTS,
        evidence=_chances(rows, lives, fleet, events, law, alarm_at),
        alarm_at=FALSE_FLAG_RATE / n_lots,
    ).rename(columns={"group": "lot"})
    enough = lots["events"] >= FEWEST_LOT_EVENTS
    suspect = lots["flagged"] | (enough & (lots["p_value"] <= alarm_at))
    held = _where_held(lots.assign(suspect=suspect), lives, stock)
    return held.sort_values("suspect", ascending=False, kind="stable", ignore_index=True)


def _where_held(lots: pd.DataFrame, lives: pd.DataFrame, stock: pd.DataFrame) -> pd.DataFrame:
    running = lives[lives["ending"].eq(Ending.IN_SERVICE.value)]
    holding = running.groupby("lot")["position_id"].agg(" ".join)
    held = stock[stock["lot"].notna() & stock["quantity"].gt(0).fillna(False)]
    pieces = held.groupby("lot")["quantity"].sum()
    bins = held.groupby("lot")["store"].agg(lambda stores: " ".join(sorted(set(stores))))
    return lots.assign(
        positions=lots["lot"].map(holding).fillna(""),
        bins=lots["lot"].map(bins).fillna(""),
        in_stock=lots["lot"].map(pieces).fillna(0).astype(int),
        what_else=[
            what_else(str(lot), lives) if suspect else ""
            for lot, suspect in zip(lots["lot"], lots["suspect"], strict=True)
        ],
    )


def _years(lives: pd.DataFrame) -> float:
    return float((lives["ended_on"].max() - lives["observed_from"].min()).days) / 365.25


def _chances(
    rows: pd.DataFrame,
    lives: pd.DataFrame,
    fleet: FleetData,
    events: pd.Series,
    law: LifeLaw,
    alarm_at: float,
) -> pd.Series:
    """Chance of each lot if good, by name; doubtful lots against a law fitted without them."""
    named = rows["lot"].notna().to_numpy()
    names, number = np.unique(rows.loc[named, "lot"].to_numpy(dtype=str), return_inverse=True)
    if names.size == 0:
        return pd.Series(dtype=float)
    of_lots, law = rows[named], part_of(law, units=np.flatnonzero(named))
    watched = _lot_lives(of_lots, number, events)
    first, later = log_evidence(watched, middle_of(law), from_event=FEWEST_LOT_EVENTS)
    good = good_lots(
        watched,
        law,
        _until(watched),
        from_event=FEWEST_LOT_EVENTS,
        alarm_at=alarm_at,
        seed=_SEED,
    )
    chance = chance_if_good(first, later, good)
    failures = np.bincount(number, watched.events)
    bends = (failures >= _FELT * failures.sum()) & (chance > FALSE_FLAG_RATE / names.size)
    for lot in np.argsort(np.where(bends, chance, 1.0))[:_MOST_REFITS]:
        if not bends[lot] or chance[lot] > _NEAR * alarm_at:
            break
        chance[lot] = _without_itself(
            str(names[lot]), of_lots, lives, fleet, events, good, chance[lot]
        )
    return pd.Series(chance, index=names)


def _without_itself(
    lot: str,
    of_lots: pd.DataFrame,
    lives: pd.DataFrame,
    fleet: FleetData,
    events: pd.Series,
    good: GoodLots,
    otherwise: float,
) -> float:
    """Chance of one lot by a law that its own lives had no part in."""
    kept = lives["lot"].ne(lot).to_numpy()[fleet.life]
    others = replace(fleet, data=take_rows(fleet.data, kept), life=fleet.life[kept])
    try:
        model = fit_life_model(others, n_draws=_DRAWS, seed=_SEED)
    except NotEstimable:
        return otherwise
    own = of_lots[of_lots["lot"].eq(lot)]
    law = middle_of(_law(own, lives, fleet, model))
    watched = _lot_lives(own, np.zeros(len(own), dtype=np.intp), events)
    return float(chance_if_good(*log_evidence(watched, law, from_event=FEWEST_LOT_EVENTS), good)[0])


def _lot_lives(rows: pd.DataFrame, number: NDArray[np.intp], events: pd.Series) -> LotLives:
    age = rows["age_years"].to_numpy(dtype=float)
    ended = (rows["ended_on"] - pd.Timestamp(0)).dt.total_seconds().to_numpy() / 86_400 / 365.25
    return LotLives(
        lot=number,
        events=events[rows.index].to_numpy(dtype=float),
        entry_years=rows["entry_years"].to_numpy(dtype=float),
        age_years=age,
        born_years=ended - age,
    )


def _until(watched: LotLives) -> Array:
    """Age each disc would have been watched to: a failed one to the end of the log, but no
    older than any disc grew that did not fail. [years]
    """
    age, failed = watched.age_years, watched.events > 0
    oldest = age[~failed].max(initial=0.0)
    could = np.minimum(watched.ended_years.max() - watched.born_years, oldest)
    return np.where(failed, np.maximum(could, age), age)


def _law(rows: pd.DataFrame, lives: pd.DataFrame, fleet: FleetData, model: LifeModel) -> LifeLaw:
    """Law of the discs of some rows of the lives, each with its own duty and defects."""
    defects = defect_probabilities(fleet.design, lives)[rows.index]
    law = law_for(model, fleet, defects, wear_of_lives(fleet, lives)[rows.index])
    return part_of(law, draws=slice(_DRAWS))
