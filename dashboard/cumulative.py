"""How premature failures add up per position since the log began."""

from datetime import date

import numpy as np
import pandas as pd

from analytics.survival.mean_cumulative import mean_cumulative

__all__ = ["failures_per_position"]

_COLUMNS = ["on", "mean", "low", "high", "positions", "failures"]
_MONTHS_PER_YEAR = 12


def failures_per_position(lives: pd.DataFrame, begins: date) -> pd.DataFrame:
    """Give the mean number of premature failures per position, month by month.

    Parameters
    ----------
    lives : DataFrame, one row per life
        All endings; a position is watched from the first day one of its discs is
        observed to the last.
    begins : date
        First day of the log.

    Returns
    -------
    DataFrame
        `on mean low high positions failures`: the month, the mean so far with its 95 %
        limits [failures/position], positions watched and failures in that month. Days
        are rounded up to whole months, so that the curve has one step a month.
    """
    premature = lives[lives["ending"] == "premature"] if len(lives) else lives
    if premature.empty:
        return pd.DataFrame(columns=_COLUMNS)
    start = pd.Timestamp(begins)
    watch = lives.groupby("position_id").agg(
        first=("observed_from", "min"), last=("ended_on", "max")
    )
    first, last = _months(watch["first"], start), _months(watch["last"], start)
    unit = watch.index.get_indexer(premature["position_id"])
    month = np.clip(_months(premature["ended_on"], start), first[unit] + 1, last[unit])
    # A watch that ended in the month it began still covers that month.
    ends = np.maximum(last, first + 1)
    curve = mean_cumulative(np.minimum(month, ends[unit]), unit, start=first, end=ends)
    on = [start + pd.DateOffset(months=int(months)) for months in curve.age]
    return pd.DataFrame(
        {
            "on": on,
            "mean": curve.mean,
            "low": curve.low,
            "high": curve.high,
            "positions": curve.at_risk,
            "failures": curve.events,
        }
    )


def _months(days: pd.Series, start: pd.Timestamp) -> np.ndarray:
    years = (days - start).dt.total_seconds().to_numpy() / 86_400 / 365.25
    return np.ceil(np.maximum(years, 0.0) * _MONTHS_PER_YEAR)
