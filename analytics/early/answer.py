"""The reliability engineer's first answer: what the early failures were owed to."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.early.attribution import defect_table, failure_table
from analytics.early.crews_and_lots import FEWEST_EVENTS, group_rates
from analytics.early.fitting_quality import fitting_quality
from analytics.early.lot_evidence import shorter_lives
from analytics.early.rivals import rival_explanations
from analytics.early.what_if import ends_otherwise, remaining_years
from analytics.early.worth import owed_by_year, owed_tallies
from analytics.errors import NotEstimable
from analytics.estimate import Estimate
from analytics.lives.events import Ending
from analytics.survival.fleet_data import (
    FleetData,
    defect_probabilities,
    event_weights,
    wear_of_lives,
)
from analytics.survival.law import LifeLaw, cumulative_hazard, hazard
from analytics.survival.model import LifeModel, law_for
from analytics.survival.position_laws import PositionLaws
from analytics.survival.two_hazard_shares import OwedShares, share_owed

__all__ = [
    "EarlyAnswer",
    "early_answer",
    "excess_by_crew",
    "excess_by_lot",
    "excess_by_site",
    "hazard_by_age",
]

FEWEST_LOT_EVENTS = 3
"""A lot is judged from its third failure on: waiting for more costs more."""

FALSE_LOT_ALARMS_PER_YEAR = 0.1
"""Good lots flagged per year, at most: one in ten years."""

_DRAWS_FOR_CURVES = 50

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlyAnswer:
    """What the early failures were owed to.

    Attributes
    ----------
    owed : OwedShares
        Shares of the fitted failures.
    shape : Estimate
        Weibull shape of the installation hazard. [-]
    defects, failures : DataFrame
        As in `analytics.findings.Installation`.
    owed_by_year, fitting : DataFrame
        As in `analytics.findings.Findings`.
    """

    owed: OwedShares
    shape: Estimate
    defects: pd.DataFrame
    failures: pd.DataFrame
    owed_by_year: pd.DataFrame
    fitting: pd.DataFrame


def early_answer(
    lives: pd.DataFrame,
    fleet: FleetData,
    model: LifeModel,
    tables: Mapping[str, pd.DataFrame],
    flagged_lots: frozenset[str],
    *,
    years: float,
) -> EarlyAnswer:
    """Attribute the early failures to the install steps.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    fleet : FleetData
        What the model was fitted to.
    model : LifeModel
        The model in use.
    tables : mapping of str to DataFrame
        Checked logs; `discs` and `positions` are read.
    flagged_lots : frozenset of str
        Lots under suspicion.
    years : float
        How long the log covers. [years]

    Returns
    -------
    EarlyAnswer
        Totals by step and year, one row per failure, and how well the discs were fitted.

    Raises
    ------
    NotEstimable
        If the model has no installation hazard.
    """
    if model.two_hazard is None or model.hazard_draws is None:
        raise NotEstimable(
            "the share owed to the installation needs install checks on record, "
            "some of them failed, and failures enough to tell two hazards apart"
        )
    owed = share_owed(
        model.hazard_draws, fleet.data, tallies=owed_tallies(lives, fleet, tables["positions"])
    )
    rivals = rival_explanations(lives, tables["discs"], tables["positions"], flagged_lots)
    return EarlyAnswer(
        owed=owed,
        shape=model.two_hazard.estimates.install_shape,
        defects=defect_table(lives, fleet, model.two_hazard, owed, years=years),
        failures=failure_table(lives, fleet, model.hazard_draws, owed, rivals),
        owed_by_year=owed_by_year(lives, fleet, owed),
        fitting=fitting_quality(
            lives,
            fleet,
            model.hazard_draws,
            others=ends_otherwise(lives, fleet),
            remaining_years=remaining_years(lives),
        ),
    )


def excess_by_crew(lives: pd.DataFrame, fleet: FleetData, model: LifeModel) -> pd.DataFrame:
    """Compare each crew's early failures with what its positions' duty explains.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    fleet : FleetData
        What the model was fitted to.
    model : LifeModel
        The model in use.

    Returns
    -------
    DataFrame
        The `crews` frame of `analytics.findings.Findings`.

    Notes
    -----
    The expectation gives every crew the fleet's mean practice, so that its own
    defects stay in the comparison and its hard or easy positions do not.
    """
    frame = _excess(lives, "crew", _usual_fitting(lives, fleet), fleet, model)
    return frame.rename(columns={"group": "crew"})


def excess_by_site(lives: pd.DataFrame, fleet: FleetData, model: LifeModel) -> pd.DataFrame:
    """Compare each site's premature failures with what its duty explains.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    fleet : FleetData
        What the model was fitted to.
    model : LifeModel
        The model in use.

    Returns
    -------
    DataFrame
        The `sites` frame of `analytics.findings.Findings`. Every disc is taken as fitted
        the fleet's usual way, so a site that fits badly stands out and one that merely
        runs its discs harder does not.
    """
    frame = _excess(lives, "site", _usual_fitting(lives, fleet), fleet, model)
    return frame.rename(columns={"group": "site"})


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
        The `lots` frame of `analytics.findings.Findings`: with the positions that
        hold a disc of the lot today and the pieces in stock. `p_value` is that of
        `shorter_lives`, valid however often the logs are read.
    """
    own = defect_probabilities(fleet.design, lives)
    frame = _excess(lives, "lot", own, fleet, model, fewest_events=FEWEST_LOT_EVENTS, by_age=True)
    running = lives[lives["ending"].eq(Ending.IN_SERVICE.value)]
    holding = running.groupby("lot")["position_id"].agg(" ".join)
    pieces = stock.dropna(subset=["lot"]).groupby("lot")["quantity"].sum()
    frame = frame.rename(columns={"group": "lot"})
    return frame.assign(
        positions=frame["lot"].map(holding).fillna(""),
        in_stock=frame["lot"].map(pieces).fillna(0).astype(int),
    )


def hazard_by_age(laws: PositionLaws, oldest_years: float) -> pd.DataFrame:
    """Give the fleet's mean hazards by age, installation and wear apart.

    Parameters
    ----------
    laws : PositionLaws
        Life laws of all positions.
    oldest_years : float
        Last age shown, > 0. [years]

    Returns
    -------
    DataFrame
        `age_years installation wear clean`: hazards of the next discs, and the
        whole hazard of discs fitted without defect. [1/years]
    """
    ages = np.linspace(oldest_years / 60, oldest_years, 60)
    installation, wear = hazard(_few(laws.following), ages[:, None, None])
    clean = sum(hazard(_few(laws.clean), ages[:, None, None]))
    return pd.DataFrame(
        {
            "age_years": ages,
            "installation": installation.mean(axis=(1, 2)),
            "wear": wear.mean(axis=(1, 2)),
            "clean": np.asarray(clean).mean(axis=(1, 2)),
        }
    )


def _usual_fitting(lives: pd.DataFrame, fleet: FleetData) -> Array:
    """Chances of each defect as the whole fleet has them, for every life alike."""
    probabilities = defect_probabilities(fleet.design, lives)
    return np.broadcast_to(probabilities.mean(axis=0), probabilities.shape)


def _excess(
    lives: pd.DataFrame,
    column: str,
    defects: Array,
    fleet: FleetData,
    model: LifeModel,
    *,
    fewest_events: int = FEWEST_EVENTS,
    by_age: bool = False,
) -> pd.DataFrame:
    fitted = np.zeros(len(lives), dtype=bool)
    fitted[fleet.life] = True
    rows = lives[fitted]
    law = _few(law_for(model, fleet, defects[fitted], wear_of_lives(fleet, lives)[fitted]))
    end = rows["age_years"].to_numpy(dtype=float)
    entry = rows["entry_years"].to_numpy(dtype=float)
    expected = (cumulative_hazard(law, end) - cumulative_hazard(law, entry)).mean(axis=0)
    events = event_weights(fleet, lives).to_numpy()[fitted]
    label = rows[column]
    evidence = (
        shorter_lives(label, events, law, entry_years=entry, age_years=end) if by_age else None
    )
    return group_rates(
        label,
        events,
        expected,
        fewest_events=fewest_events,
        evidence=evidence,
        alarm_at=_lot_alarm_at(rows) if by_age else None,
    )


def _lot_alarm_at(lives: pd.DataFrame) -> float:
    """Evidence that flags a lot, so that good lots are flagged as seldom as is stated.

    The chance that a good lot ever passes p is at most p, so p times the lots that come
    into use each year is a bound on the false alarms of a year.
    """
    lots = int(lives["lot"].nunique())
    years = float((lives["ended_on"].max() - lives["observed_from"].min()).days) / 365.25
    return min(0.05, FALSE_LOT_ALARMS_PER_YEAR * years / max(lots, 1))


def _few(law: LifeLaw) -> LifeLaw:
    """The first draws only: a mean curve needs no more."""
    return LifeLaw(
        family=law.family,
        wear_location=law.wear_location[:_DRAWS_FOR_CURVES],
        wear_sigma=law.wear_sigma[:_DRAWS_FOR_CURVES],
        install_log_rate=law.install_log_rate[:_DRAWS_FOR_CURVES],
        install_shape=law.install_shape[:_DRAWS_FOR_CURVES],
    )
