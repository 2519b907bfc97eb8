"""What sits at each position on the export date, and how old it is."""

from datetime import date

import numpy as np
import pandas as pd

from analytics.lives.build import DAYS_PER_YEAR
from analytics.lives.events import Ending

__all__ = ["fitted_today"]

_FROM_LIFE = ["life_id", "life_row", "lot", "installed_on", "observed_from", "age_known"]
_FROM_DUTY = ["operating_ratio", "limit", "cycles_per_year"]


def fitted_today(
    lives: pd.DataFrame, positions: pd.DataFrame, duty: pd.DataFrame, *, export_date: date
) -> pd.DataFrame:
    """Say what each position holds today.

    Parameters
    ----------
    lives : DataFrame, one row per life, index 0..n-1
        The lives frame.
    positions : DataFrame
        Checked positions table.
    duty : DataFrame, one row per position
        The `duty` frame of `analytics.findings.Findings`.
    export_date : date
        Today, as the logs know it.

    Returns
    -------
    DataFrame, one row per position, in the order of `positions`
        The position's own columns, then `life_id`, `life_row` (-1 without one), `lot`,
        `age_years` [years], `age_assumed` (an install date is missing, so the age
        counts from the first day the disc was watched; a position without any disc
        on record counts from new), `operating_ratio`, `limit` [-] and
        `cycles_per_year` [1/years].
    """
    running = lives.assign(life_row=np.arange(len(lives)))
    running = running[running["ending"].eq(Ending.IN_SERVICE.value)]
    latest = running.drop_duplicates("position_id", keep="last").set_index("position_id")
    today = positions.reset_index(drop=True).join(latest[_FROM_LIFE], on="position_id")
    today = today.join(duty.set_index("position_id")[_FROM_DUTY], on="position_id")
    since = today["installed_on"].fillna(today["observed_from"])
    days = (pd.Timestamp(export_date) - since).dt.total_seconds() / 86_400
    return today.assign(
        life_row=today["life_row"].fillna(-1).astype(int),
        age_years=(days / DAYS_PER_YEAR).fillna(0.0).clip(lower=0.0),
        age_assumed=~today["age_known"].eq(True),
    )
