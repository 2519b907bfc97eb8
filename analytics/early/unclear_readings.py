"""What would have been avoided, with unclear endings weighed, all premature, and none?"""

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from analytics.early.what_if import with_unclear
from analytics.errors import NotEstimable
from analytics.estimate import Estimate
from analytics.lives.events import Ending
from analytics.lives.unclear import UnclearAs
from analytics.survival.fleet_data import FleetData
from analytics.survival.model import LifeModel
from analytics.survival.two_hazard_shares import share_owed
from analytics.survival.unclear_endings import fit_to_lives

__all__ = ["Readings", "every_reading"]

Asked = Callable[[FleetData, LifeModel], pd.DataFrame]


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """The answers however unclear endings are read.

    Attributes
    ----------
    share_all, share_no : Estimate or None
        Share owed to the installation with every unclear ending taken as premature, and with
        none; None when that leaves too little to fit. [-]
    what_if : DataFrame
        The `what_if` frame of `analytics.findings.Findings`.
    """

    share_all: Estimate | None
    share_no: Estimate | None
    what_if: pd.DataFrame


def every_reading(
    lives: pd.DataFrame,
    fleet: FleetData,
    model: LifeModel,
    asked: Asked,
    *,
    duty_steps: pd.DataFrame | None = None,
    n_draws: int,
    seed: int,
) -> Readings:
    """Ask the same of the model as fitted, and fitted anew with unclear endings read one way.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    fleet, model : FleetData, LifeModel
        The fit with unclear endings weighed.
    asked : callable
        Gives the `what_if` table of a fit.
    duty_steps : DataFrame, optional
        Duty of the lives whose duty changed, as in `fleet_data`.
    n_draws, seed : int
        Parameter draws of the new fits and their seed.

    Returns
    -------
    Readings
        All three alike when no ending is unclear.

    Raises
    ------
    NotEstimable
        If nothing can be asked of the fit with unclear endings weighed.
    """
    told = asked(fleet, model)
    if not lives["ending"].eq(Ending.UNCLEAR.value).any():
        share = _share(fleet, model)
        return Readings(share_all=share, share_no=share, what_if=with_unclear(told, told, told))
    shares: list[Estimate | None] = []
    tables: list[pd.DataFrame | None] = []
    for unclear in (UnclearAs.PREMATURE, UnclearAs.NOT_PREMATURE):
        try:
            fit = fit_to_lives(
                lives,
                unclear=unclear,
                suspect_lots=fleet.design.lots,
                duty_steps=duty_steps,
                n_draws=n_draws,
                seed=seed,
            )
            tables.append(asked(*fit))
            shares.append(_share(*fit))
        except NotEstimable:
            tables.append(None)
            shares.append(None)
    return Readings(share_all=shares[0], share_no=shares[1], what_if=with_unclear(told, *tables))


def _share(fleet: FleetData, model: LifeModel) -> Estimate | None:
    if model.hazard_draws is None:
        return None
    return share_owed(model.hazard_draws, fleet.data).total_share
