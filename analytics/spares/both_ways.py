"""What would demand be if every unclear ending were a premature failure, and if none were?

Either way the disc is used up. Counted as premature it makes wear or bad fitting
look quicker, so that the demand follows the discs' ages; counted as anything else
it comes at a constant rate.
"""

import pandas as pd

from analytics.errors import NotEstimable
from analytics.intervals.kept import PlanChances
from analytics.lives.unclear import UnclearAs
from analytics.spares.answer import demand_forecast
from analytics.survival.fleet_data import event_weights
from analytics.survival.position_laws import position_laws
from analytics.survival.unclear_endings import fit_to_lives

__all__ = ["demand_both_ways"]


def demand_both_ways(
    lives: pd.DataFrame,
    today: pd.DataFrame,
    planned_weeks: list[tuple[int, ...]],
    *,
    suspect_lots: tuple[str, ...] = (),
    n_draws: int,
    seed: int,
    weeks: int = 52,
    chances: PlanChances | None = None,
) -> pd.DataFrame:
    """Forecast the mean demand of every store and code with unclear endings read both ways.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    today : DataFrame, one row per position
        As `fitted_today` gives, with `family`.
    planned_weeks : list of tuple of int
        Weeks from now of each position's planned replacements. [weeks]
    suspect_lots : tuple of str
        Lots that get a covariate of their own.
    n_draws, seed : int
        Parameter draws and their seed.
    weeks : int
        Weeks the means speak of. [weeks]
    chances : PlanChances, optional
        As in `demand_forecast`.

    Returns
    -------
    DataFrame
        `store disc_code mean_all_unclear mean_no_unclear`; NaN where that reading
        leaves too little to fit.
    """
    columns = {
        "mean_all_unclear": UnclearAs.PREMATURE,
        "mean_no_unclear": UnclearAs.NOT_PREMATURE,
    }
    rows: dict[tuple[str, str], dict[str, float]] = {}
    for column, unclear in columns.items():
        try:
            data, model = fit_to_lives(
                lives, unclear=unclear, suspect_lots=suspect_lots, n_draws=n_draws, seed=seed
            )
            forecast = demand_forecast(
                lives,
                event_weights(data, lives),
                today,
                position_laws(model, data, lives, today),
                planned_weeks,
                n_weeks=weeks,
                one_by_one=True,
                chances=chances,
            )
        except NotEstimable:
            continue
        for group in forecast.groups:
            row = rows.setdefault((group.store, group.disc_code), {})
            row[column] = float(group.mean[-1])
    table = [{"store": store, "disc_code": code} | row for (store, code), row in rows.items()]
    return pd.DataFrame(table, columns=["store", "disc_code", *columns])
