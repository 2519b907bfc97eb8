"""Which lots live shorter than their duty and fitting explain, and where else are they?"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.early.crews_and_lots import FALSE_FLAG_RATE, group_rates
from analytics.early.lot_alarm import bad_lots, chance_if_good
from analytics.early.lot_evidence import LotLives, evidence_at_failures
from analytics.early.suspect_lots import what_else
from analytics.lives.events import Ending
from analytics.survival.fleet_data import (
    FleetData,
    defect_probabilities,
    event_weights,
    wear_of_lives,
)
from analytics.survival.law import LifeLaw, cumulative_hazard, middle_of, part_of
from analytics.survival.model import LifeModel, law_for

__all__ = ["FALSE_LOT_ALARMS_PER_YEAR", "FEWEST_LOT_EVENTS", "excess_by_lot"]

FEWEST_LOT_EVENTS = 3
"""A lot is judged from its third failure on: waiting for more costs more."""

FALSE_LOT_ALARMS_PER_YEAR = 0.1
"""Good lots flagged per year, at most: one in ten years."""

_AIMED_AT = 0.5
"""Part of the stated alarms that the count aims at: each reading fits the law anew, which gives
good lots more chances than one law would. With it 14 good lots were suspect in 258 years of
reading 60 simulated plants that no choice had seen, 0.5 in ten years, 95 % limits 0.3 to 0.9."""

_FEWEST_YEARS = 5.0
"""A shorter log may spend the alarms of so many years: the lots a plant begins with are fitted
together and judged in its first years, where the good ones that look bad mostly are too. Within
any ten years of a log the count allows no more than before. [years]"""

_DRAWS = (10, 200)
_DRAWS_TO_LIVE = 30
_MOST_DRAWN = 1_000_000
"""Draws of the law that evidence is averaged over: fewer of many lives, which fix it better."""

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
        of the log, counted as five years at least, than `FALSE_LOT_ALARMS_PER_YEAR` would be;
        it is `flagged`, more than noise, where at that chance fewer than `FALSE_FLAG_RATE` of
        fleets of good lots would have one.
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
    years = max(_years(rows), _FEWEST_YEARS)
    alarm_at = min(0.05, _AIMED_AT * FALSE_LOT_ALARMS_PER_YEAR * years / n_lots)
    lots = group_rates(
        rows["lot"],
        events.to_numpy()[fitted],
        expected,
        fewest_events=FEWEST_LOT_EVENTS,
        evidence=_chances(rows, events, law),
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


def _chances(rows: pd.DataFrame, events: pd.Series, law: LifeLaw) -> pd.Series:
    """Chance of each lot if good, by name."""
    named = rows["lot"].notna().to_numpy()
    names, number = np.unique(rows.loc[named, "lot"].to_numpy(dtype=str), return_inverse=True)
    if names.size == 0:
        return pd.Series(dtype=float)
    law = part_of(law, units=np.flatnonzero(named))
    watched = _lot_lives(rows[named], number, events)
    seen = evidence_at_failures(watched, law, from_event=FEWEST_LOT_EVENTS, in_the_fit=True)
    bad = bad_lots(
        watched,
        part_of(law, draws=slice(_DRAWS_TO_LIVE)),
        _until(watched),
        from_event=FEWEST_LOT_EVENTS,
        seed=_SEED,
    )
    return pd.Series(chance_if_good(seen, bad, names.size), index=names)


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
    return part_of(law, draws=slice(int(np.clip(_MOST_DRAWN // len(rows), *_DRAWS))))
