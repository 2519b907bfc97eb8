"""How many premature failures were to be expected of each lot, month by month?

A lot is made once, so it has no level of its own to change from: its discs are held against the
fleet's life law at their own duty and with the defects of their own fitting.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.early.usual_fitting import YEAR_DAYS, Usual
from analytics.survival.fleet_data import FleetData, defect_probabilities
from analytics.survival.law import LifeLaw, cumulative_hazard, part_of
from analytics.survival.model import LifeModel, law_for

__all__ = ["lots_by_month"]

_DRAWS = 10

Array = NDArray[np.float64]


def lots_by_month(
    usual: Usual, fleet: FleetData, model: LifeModel, *, fewest: float
) -> pd.DataFrame:
    """Give the premature failures expected of each lot that had enough of them.

    Parameters
    ----------
    usual : Usual
        The lives.
    fleet : FleetData
        What the model was fitted to.
    model : LifeModel
        The model in use.
    fewest : float
        Fewest failures of a lot that is reckoned. [failures]

    Returns
    -------
    DataFrame, one row per lot, one column per month
        Expected failures. The covariate that a suspect lot has in the fit is left out: it
        would explain away what is to be seen.
    """
    events = pd.Series(usual.events).groupby(usual.lives["lot"].to_numpy()).sum()
    kept = usual.lives["lot"].isin(events.index[events >= fewest]).to_numpy()
    rows = usual.lives[kept]
    if rows.empty:
        return pd.DataFrame(columns=range(len(usual.edges) - 1))
    defects = defect_probabilities(fleet.design, usual.lives)[kept]
    duty = usual.duty[kept].copy()
    duty[:, np.isin(fleet.data.wear_names, [f"lot {lot}" for lot in fleet.design.lots])] = 0.0
    law = part_of(law_for(model, fleet, defects, duty), draws=slice(_DRAWS))
    at_edges = np.stack([_so_far(usual, kept, law, day) for day in usual.edges], axis=1)
    by_month = pd.DataFrame(np.diff(at_edges, axis=1))
    return by_month.groupby(rows["lot"].to_numpy()).sum()


def _so_far(usual: Usual, kept: NDArray[np.bool_], law: LifeLaw, day: float) -> Array:
    """Mean cumulative hazard that each life has been watched through by a day."""
    start, stop = usual.watched[kept], usual.ended[kept]
    age = (np.clip(day, start, np.maximum(stop, start)) - usual.fitted[kept]) / YEAR_DAYS
    return np.asarray(cumulative_hazard(law, np.maximum(age, 0.0)).mean(axis=0))
