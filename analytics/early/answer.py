"""The reliability engineer's first answer: what the early failures were owed to."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.early.attribution import defect_table, failure_table
from analytics.early.crews_and_lots import group_rates
from analytics.early.fitting_quality import fitting_quality
from analytics.early.rivals import rival_explanations, rivals_frame
from analytics.early.what_if import ends_otherwise, remaining_years
from analytics.early.worth import owed_by_year, owed_tallies
from analytics.errors import NotEstimable
from analytics.estimate import Estimate
from analytics.survival.fleet_data import (
    FleetData,
    defect_probabilities,
    event_weights,
    wear_of_lives,
)
from analytics.survival.law import LifeLaw, cumulative_hazard, hazard, part_of
from analytics.survival.model import LifeModel, law_for
from analytics.survival.position_laws import PositionLaws
from analytics.survival.two_hazard_shares import OwedShares, share_owed

__all__ = [
    "EarlyAnswer",
    "early_answer",
    "excess_by_crew",
    "excess_by_site",
    "hazard_by_age",
]

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
    defects, failures, rivals : DataFrame
        As in `analytics.findings.Installation`.
    owed_by_year, fitting : DataFrame
        As in `analytics.findings.Findings`.
    """

    owed: OwedShares
    shape: Estimate
    defects: pd.DataFrame
    failures: pd.DataFrame
    rivals: pd.DataFrame
    owed_by_year: pd.DataFrame
    fitting: pd.DataFrame


def early_answer(
    lives: pd.DataFrame,
    fleet: FleetData,
    model: LifeModel,
    tables: Mapping[str, pd.DataFrame],
    suspect_lots: frozenset[str],
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
        Checked logs; `discs`, `positions`, `installs` and `stock` are read.
    suspect_lots : frozenset of str
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
    rivals = rival_explanations(lives, tables, suspect_lots)
    return EarlyAnswer(
        owed=owed,
        shape=model.two_hazard.estimates.install_shape,
        defects=defect_table(lives, fleet, model.two_hazard, owed, years=years),
        failures=failure_table(lives, fleet, model.hazard_draws, owed, rivals),
        rivals=rivals_frame(rivals),
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
    lives: pd.DataFrame, column: str, defects: Array, fleet: FleetData, model: LifeModel
) -> pd.DataFrame:
    fitted = np.zeros(len(lives), dtype=bool)
    fitted[fleet.life] = True
    rows = lives[fitted]
    law = _few(law_for(model, fleet, defects[fitted], wear_of_lives(fleet, lives)[fitted]))
    entry, end = (rows[name].to_numpy(dtype=float) for name in ("entry_years", "age_years"))
    expected = (cumulative_hazard(law, end) - cumulative_hazard(law, entry)).mean(axis=0)
    return group_rates(rows[column], event_weights(fleet, lives).to_numpy()[fitted], expected)


def _few(law: LifeLaw) -> LifeLaw:
    """The first draws only: a mean curve needs no more."""
    return part_of(law, draws=slice(_DRAWS_FOR_CURVES))
