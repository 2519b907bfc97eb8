"""What did the failures owed to each install step cost, and in which year did they fall?"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.estimate import Estimate, from_draws
from analytics.installs.checklist import CHECKLIST
from analytics.survival.fleet_data import FleetData
from analytics.survival.two_hazard_shares import OwedShares

__all__ = ["COST", "NOT_PRICED", "failure_costs", "owed_by_year", "owed_tallies"]

COST, NOT_PRICED = 0, 1
"""Places of the tallies of `owed_tallies` that are not of one year."""

Array = NDArray[np.float64]


def failure_costs(lives: pd.DataFrame, positions: pd.DataFrame) -> Array:
    """Give what each life's failure cost: as logged, else as its position says, else NaN.

    Parameters
    ----------
    lives : DataFrame, one row per life
        Needs `cost` and `position_id`.
    positions : DataFrame
        Checked table; `unplanned_cost` may be absent.

    Returns
    -------
    ndarray, shape (n_lives,)
        In the currency of the logs.
    """
    logged = lives["cost"].astype(float)
    if "unplanned_cost" not in positions:
        return np.asarray(logged, dtype=np.float64)
    usual = lives["position_id"].map(positions.set_index("position_id")["unplanned_cost"])
    return np.asarray(logged.fillna(usual.astype(float)), dtype=np.float64)


def owed_tallies(lives: pd.DataFrame, fleet: FleetData, positions: pd.DataFrame) -> Array:
    """Lay out what `share_owed` is to sum the shares by.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame `fleet` was made from.
    fleet : FleetData
        What the model was fitted to.
    positions : DataFrame
        Checked table, for costs that were not logged.

    Returns
    -------
    ndarray, shape (n, 2 + 2 n_years)
        Cost, whether there is none, then for each year a failure fell in: whether it did, and
        its cost if so.
    """
    cost = failure_costs(lives, positions)[fleet.life]
    known = np.where(np.isfinite(cost), cost, 0.0)
    year = lives["ended_on"].dt.year.to_numpy()[fleet.life]
    then = year[:, None] == _years(lives, fleet)
    return np.column_stack([known, ~np.isfinite(cost), then, known[:, None] * then])


def owed_by_year(lives: pd.DataFrame, fleet: FleetData, owed: OwedShares) -> pd.DataFrame:
    """Give the failures owed to each install step in each year, and their cost.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame `fleet` was made from.
    fleet : FleetData
        What the model was fitted to.
    owed : OwedShares
        Shares summed by `owed_tallies`.

    Returns
    -------
    DataFrame
        The `owed_by_year` frame of `analytics.findings.Findings`, year by year.
    """
    years = _years(lives, fleet)
    by_year, cost_by_year = np.split(owed.tallied[:, :, 2:], 2, axis=2)
    rows = [
        {
            "year": int(year),
            "check": check,
            "about": CHECKLIST[check].defect,
            **_limits("failures_owed", from_draws(by_year[:, j, place])),
            **_limits("cost_owed", from_draws(cost_by_year[:, j, place])),
        }
        for place, year in enumerate(years)
        for j, check in enumerate(fleet.data.defect_names)
    ]
    return pd.DataFrame(rows)


def _years(lives: pd.DataFrame, fleet: FleetData) -> NDArray[np.int_]:
    """The years from the first failure of the fit to the last."""
    year = lives["ended_on"].dt.year.to_numpy()[fleet.life[fleet.data.lifetimes.ended]]
    return np.arange(year.min(), year.max() + 1)


def _limits(name: str, found: Estimate) -> dict[str, float]:
    return {name: found.estimate, f"{name}_low": found.low, f"{name}_high": found.high}
