"""What did the historian see of each disc's life?"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.duty.fold import fold
from analytics.duty.grid import LEVELS_PER_BAR
from analytics.duty.ledger import COVERED, HIGH, HIGH_AT, LAST, POSITION, Ledger
from analytics.duty.readout import (
    covered_years,
    cycles_above,
    is_compressed,
    mean_temperature,
    pressure_quantile,
    share_of_time_above,
    stuck_days,
)
from analytics.duty.tally import HistoryTally
from analytics.duty.windows import parts_in_windows

__all__ = [
    "ENOUGH_COVERAGE",
    "HIGH_SHARE",
    "SMALL_CYCLE_SHARE",
    "observed_lives",
    "observed_temperature",
]

ENOUGH_COVERAGE = 0.5
"""A life covered for less than this share is judged by the nominal pressure."""

ENOUGH_CYCLES = 10
"""Fewer cycles than this say too little about the rate of one life."""

HIGH_SHARE = 0.95
"""The operating pressure of a life is the one it stayed below for this share of its time."""

SMALL_CYCLE_SHARE = 0.02
"""Cycles below this share of the marked pressure are not counted; common practice, no source."""

_LEAST_YEARS = 30 / 365.25


def observed_lives(
    history: HistoryTally,
    windows: pd.DataFrame,
    marked_barg: NDArray[np.float64],
    limit_barg: NDArray[np.float64],
) -> pd.DataFrame:
    """Read each life out of the historian.

    Parameters
    ----------
    history : HistoryTally
        A scan cut at the days of change.
    windows : DataFrame, one row per life
        `position_id begins ends`.
    marked_barg, limit_barg : ndarray of float, shape (n_lives,)
        Marked pressure, of which a small share is the least cycle counted, and the
        pressure at which the disc's largest ratio is reached; NaN when unknown. [barg]

    Returns
    -------
    DataFrame, one row per life
        `coverage` share of the life seen, up to the last row of the historian [-];
        `high_barg` time-weighted 95th percentile; `share_above_limit` [-];
        `cycles_per_year` [1/years] and `cycles_basis`; `peak_barg` and `peak_at`;
        `compressed` (counts are a lower bound) and `stuck_days`. NaN where not seen.

    Notes
    -----
    Cycles are of this life when half of it or more was seen with ten cycles or more, else
    of all the position's history when that is at least 30 days, else unknown.
    """
    life = parts_in_windows(history, windows)
    seen = np.unique(life[life >= 0])
    own = fold(history.ledger, life, history.gap_ms, history.flat_ms)
    least = SMALL_CYCLE_SHARE * marked_barg
    least_seen = np.where(np.isnan(least[seen]), np.inf, least[seen])
    years = covered_years(own)
    enough = np.where(years > 0, years, np.nan)
    columns = {
        "high_barg": pressure_quantile(own, HIGH_SHARE),
        "share_above_limit": share_of_time_above(own, limit_barg[seen]),
        "cycles": (cycles := cycles_above(own, least_seen)),
        "cycles_per_year": cycles / enough,
        "peak_barg": own.parts[:, HIGH] / LEVELS_PER_BAR,
        "peak_at": own.parts[:, HIGH_AT].astype("datetime64[ms]"),
        "compressed": is_compressed(own),
        "stuck_days": stuck_days(own, history.flat_ms),
    }
    frame = pd.DataFrame(columns, index=seen).reindex(np.arange(len(windows)))
    frame["compressed"] = frame["compressed"].eq(True)
    frame["coverage"] = _coverage(history, own, seen, windows)
    frame["cycles_basis"] = "history of this life"
    scarce = ~((frame["coverage"] >= ENOUGH_COVERAGE) & (frame["cycles"] >= ENOUGH_CYCLES))
    by_position = _cycles_of_positions(history, windows, least)
    frame.loc[scarce, "cycles_per_year"] = by_position[scarce]
    frame.loc[scarce, "cycles_basis"] = "history of the position"
    frame.loc[frame["cycles_per_year"].isna(), "cycles_basis"] = "none"
    return frame.set_index(windows.index)


def observed_temperature(history: HistoryTally, windows: pd.DataFrame) -> NDArray[np.float64]:
    """Give the time-weighted mean temperature of each life, NaN where little was read.

    Parameters
    ----------
    history : HistoryTally
        A scan cut at the days of change.
    windows : DataFrame, one row per life
        `position_id begins ends`.

    Returns
    -------
    ndarray of float, shape (n_lives,)
        NaN also for a life of which less than half was seen. [degC]
    """
    life = parts_in_windows(history, windows)
    seen = np.unique(life[life >= 0])
    own = fold(history.ledger, life, history.gap_ms, history.flat_ms)
    degc = np.full(len(windows), np.nan)
    degc[seen] = mean_temperature(own)
    enough = _coverage(history, own, seen, windows) >= ENOUGH_COVERAGE
    return np.where(enough, degc, np.nan)


def _coverage(
    history: HistoryTally, own: Ledger, seen: NDArray[np.int64], windows: pd.DataFrame
) -> NDArray[np.float64]:
    """Share of each life that was seen, a life still going on taken to the last row."""
    covered = np.zeros(len(windows))
    covered[seen] = own.parts[:, COVERED]
    last = history.ledger.parts[:, LAST].max(initial=0)
    until = windows["ends"].fillna(pd.Timestamp(int(last), unit="ms"))
    lasted = (until - windows["begins"]).dt.total_seconds() * 1000
    return np.asarray(covered / lasted.where(lasted > 0).to_numpy(dtype=float))


def _cycles_of_positions(
    history: HistoryTally, windows: pd.DataFrame, least_bar: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Cycles per year of the whole history of each life's position."""
    codes = history.ledger.parts[:, POSITION]
    whole = fold(history.ledger, codes, history.gap_ms, history.flat_ms)
    least = pd.Series(least_bar).groupby(windows["position_id"].to_numpy()).median()
    names = [history.positions[code] for code in whole.parts[:, POSITION]]
    thresholds = least.reindex(names).to_numpy(dtype=float)
    years = covered_years(whole)
    rate = cycles_above(whole, np.where(np.isnan(thresholds), np.inf, thresholds)) / np.where(
        years >= _LEAST_YEARS, years, np.nan
    )
    rate[np.isnan(thresholds)] = np.nan
    return np.asarray(pd.Series(rate, names).reindex(windows["position_id"]), dtype=float)
