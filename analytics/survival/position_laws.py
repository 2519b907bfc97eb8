"""The life law of the disc each position holds today, and of those that follow it."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.survival.fleet_data import (
    CYCLES,
    RATIO,
    FleetData,
    defect_probabilities,
    wear_columns,
)
from analytics.survival.law import LifeLaw
from analytics.survival.model import LifeModel, law_for

__all__ = ["PositionLaws", "position_laws", "recent_practice"]

RECENT_YEARS = 2.0
"""How far back today's fitting practice reaches."""

_FEWEST_INSTALLS = 20
"""A site with fewer recent installs is taken to work as the fleet does."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionLaws:
    """Life laws of all positions; fields of shape (n_draws, n_positions).

    Attributes
    ----------
    current : LifeLaw
        The disc now fitted, with the defects of its own install.
    following : LifeLaw
        The next discs, fitted as the site has fitted lately.
    clean : LifeLaw
        A disc fitted without any defect.
    """

    current: LifeLaw
    following: LifeLaw
    clean: LifeLaw


def position_laws(
    model: LifeModel, fleet: FleetData, lives: pd.DataFrame, today: pd.DataFrame
) -> PositionLaws:
    """Give every position's life laws.

    Parameters
    ----------
    model : LifeModel
        The model in use.
    fleet : FleetData
        What it was fitted to.
    lives : DataFrame
        The lives frame.
    today : DataFrame, one row per position
        As `fitted_today` gives, with `family`.

    Returns
    -------
    PositionLaws
        In the order of `today`.
    """
    probabilities = defect_probabilities(fleet.design, lives)
    practice = recent_practice(lives, probabilities, today["site"])
    row = today["life_row"].to_numpy()
    own = np.where((row >= 0)[:, None], probabilities[np.maximum(row, 0)], practice)
    next_lot = wear_columns(fleet.design, today.assign(lot=None))
    in_place = wear_columns(fleet.design, today)
    _take_changed_duty(fleet, row, in_place, next_lot)
    return PositionLaws(
        current=law_for(model, fleet, own, in_place),
        following=law_for(model, fleet, practice, next_lot),
        clean=law_for(model, fleet, np.zeros_like(practice), next_lot),
    )


def _take_changed_duty(
    fleet: FleetData, life_row: NDArray[np.int64], in_place: Array, following: Array
) -> None:
    """Write in the duty of today where it is not what the disc in place began with.

    The disc in place gets the constant duty that gives its hazard of today, those that follow
    it the duty of its last stretch.
    """
    changing = fleet.data.changing
    if changing is None:
        return
    of_life = dict(zip(fleet.life[changing.row].tolist(), range(len(changing.row)), strict=True))
    duty = [i for i, name in enumerate(fleet.design.wear_names) if name in (RATIO, CYCLES)]
    for position, life in enumerate(life_row.tolist()):
        if (changed := of_life.get(life)) is not None:
            in_place[position, duty] = changing.at_end[changed, duty]
            following[position, duty] = changing.design[changed, -1, duty]


def recent_practice(lives: pd.DataFrame, probabilities: Array, sites: pd.Series) -> Array:
    """Give the prevalence of each defect on the last two years' installs of each site.

    Parameters
    ----------
    lives : DataFrame, one row per life
        Needs `site` and `installed_on`.
    probabilities : ndarray, shape (n_lives, n_defects)
        Probability of each defect on each install. [-]
    sites : Series of str
        Sites wanted, repeats allowed.

    Returns
    -------
    ndarray, shape (len(sites), n_defects)
        Mean probabilities; the fleet's where a site has few recent installs, and
        those of all time where the fleet has. [-]
    """
    fitted = lives["installed_on"]
    recent = fitted > fitted.max() - pd.Timedelta(days=365.25 * RECENT_YEARS)
    if int(recent.sum()) < _FEWEST_INSTALLS:
        recent = fitted.notna()
    everywhere = probabilities[recent].mean(axis=0) if recent.any() else probabilities.mean(axis=0)
    by_site = {}
    for site in sites.unique():
        rows = (recent & lives["site"].eq(site)).to_numpy()
        enough = int(rows.sum()) >= _FEWEST_INSTALLS
        by_site[site] = probabilities[rows].mean(axis=0) if enough else everywhere
    return np.array([by_site[site] for site in sites]).reshape(len(sites), probabilities.shape[1])
