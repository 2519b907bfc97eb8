"""At which positions does the operating ratio wear discs hardest, and how far can it be lowered?

Lowered only to a ratio that discs of the same family have lived at: nothing is extrapolated.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.errors import NotEstimable
from analytics.survival.fleet_data import RATIO, FleetData, defect_probabilities, wear_of_lives
from analytics.survival.law import cumulative_hazard
from analytics.survival.two_hazard_draws import TwoHazardDraws, life_law

__all__ = ["HARDEST", "LoweredRatio", "lowered_ratio"]

HARDEST = 10
"""Positions at which the ratio is lowered."""

_FEWEST_LIVES = 10
"""A family with fewer lives of known ratio has no range to speak of. Our choice."""

_RANGE = (0.05, 0.5, 0.95)
"""Quantiles of a family's ratios: ends of what counts as observed, and where to lower to."""

_DRAWS = 50

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LoweredRatio:
    """What lowering the ratio at the hardest positions means.

    Attributes
    ----------
    positions : tuple of str
        The positions, hardest first.
    change : ndarray, shape (n_lives,)
        Change of ln operating ratio for each life of the lives frame, at most 0. [-]
    target : dict of str to float
        Family to the ratio it is lowered to. [-]
    note : str
        What was clipped or left out, in words; blank if nothing.
    """

    positions: tuple[str, ...]
    change: Array
    target: dict[str, float]
    note: str


def lowered_ratio(
    lives: pd.DataFrame, fleet: FleetData, draws: TwoHazardDraws, *, to: float | None = None
) -> LoweredRatio:
    """Choose the hardest positions and lower their ratio inside what their family has seen.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame `fleet` was made from.
    fleet : FleetData
        What the model was fitted to.
    draws : TwoHazardDraws
        Parameter draws.
    to : float, optional
        Ratio to lower to, clipped to the middle nine tenths of the family's ratios; the
        family's median when left out. [-]

    Returns
    -------
    LoweredRatio
        Positions by the wear failures that the ratio above the target is expected to add over
        the time watched: duty decides, not which discs happened to fail.

    Raises
    ------
    NotEstimable
        If the ratio is not in the model, or no position runs above a ratio its family has seen.
    """
    if RATIO not in fleet.data.wear_names:
        raise NotEstimable("the operating ratio is not in the life model")
    ratio = lives["operating_ratio"].to_numpy(dtype=float)
    fitted = np.zeros(len(lives), dtype=bool)
    fitted[fleet.life] = True
    known = fitted & (ratio > 0)
    target, remarks = _targets(lives[known], to)
    goal = lives["family"].map(target).to_numpy(dtype=float)
    above = known & (ratio > goal)
    change = np.where(above, np.log(np.where(above, goal / ratio, 1.0)), 0.0)
    added = _added_wear(lives, fleet, draws, change)
    by_position = pd.Series(added).groupby(lives["position_id"].to_numpy()).sum()
    hardest = by_position[by_position > 0].nlargest(HARDEST)
    if hardest.empty:
        raise NotEstimable(
            "no position runs above a ratio that its family has been seen at"
            + (f": {'; '.join(remarks)}" if remarks else "")
        )
    chosen = lives["position_id"].isin(hardest.index).to_numpy()
    used = set(lives["family"][chosen & above])
    return LoweredRatio(
        positions=tuple(str(name) for name in hardest.index),
        change=np.where(chosen, change, 0.0),
        target={family: value for family, value in target.items() if family in used},
        note="; ".join(remarks),
    )


def _targets(lives: pd.DataFrame, to: float | None) -> tuple[dict[str, float], list[str]]:
    """Ratio that each family is lowered to, and what could not be taken as asked."""
    target, remarks = {}, []
    for family, ratios in lives.groupby("family")["operating_ratio"]:
        low, middle, high = ratios.quantile(_RANGE)
        if len(ratios) < _FEWEST_LIVES or not low < high:
            remarks.append(f"{family} left out: too few different ratios on record")
            continue
        target[str(family)] = float(middle if to is None else np.clip(to, low, high))
        if to is not None and not low <= to <= high:
            remarks.append(f"{family} clipped to {target[str(family)]:.2f}, as far as seen")
    return target, remarks


def _added_wear(
    lives: pd.DataFrame, fleet: FleetData, draws: TwoHazardDraws, change: Array
) -> Array:
    """Wear failures that the ratio above the target adds while each life was watched."""
    at = np.flatnonzero(change < 0)
    added = np.zeros(len(lives))
    if at.size == 0:
        return added
    rows = lives.iloc[at]
    law = life_law(
        draws,
        defects=defect_probabilities(fleet.design, lives)[at],
        wear_design=wear_of_lives(fleet, lives)[at],
    )
    wear = replace(law, install_log_rate=np.full_like(law.install_log_rate, -np.inf))
    watched = cumulative_hazard(wear, rows["age_years"].to_numpy(dtype=float))
    watched -= cumulative_hazard(wear, rows["entry_years"].to_numpy(dtype=float))
    effect = draws.wear_effects[:, fleet.data.wear_names.index(RATIO), None]
    spared = -np.expm1(-effect * change[at] / draws.wear_sigma[:, None])
    added[at] = (watched * spared)[:_DRAWS].mean(axis=0)
    return added
