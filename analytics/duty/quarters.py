"""How did the duty of a disc change during its life? One row per life and quarter."""

from collections.abc import Mapping
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.duty.damage import Basquin, MeanCorrection, corrected_range
from analytics.duty.fold import fold
from analytics.duty.ledger import COVERED, FIRST, Ledger
from analytics.duty.observed import ENOUGH_COVERAGE, HIGH_SHARE, SMALL_CYCLE_SHARE
from analytics.duty.per_install import burst_of_installs
from analytics.duty.ratio import burst_tolerance, operating_ratio
from analytics.duty.readout import (
    counted_cycles,
    covered_years,
    cycles_above,
    mean_pressure,
    mean_temperature,
    pressure_quantile,
    share_of_time_above,
)
from analytics.duty.tally import HistoryTally
from analytics.duty.temperature import temperature_factor
from analytics.duty.windows import life_windows, parts_in_windows

__all__ = ["damage_of_parts", "duty_by_quarter"]

Tables = Mapping[str, pd.DataFrame]
Floats = NDArray[np.float64]

_YEAR = 365.25


def duty_by_quarter(
    tables: Tables,
    history: HistoryTally,
    *,
    until: date,
    curve: Basquin | None = None,
    correction: MeanCorrection = MeanCorrection.NONE,
) -> pd.DataFrame:
    """Split each disc's life at the quarters and give the duty of each piece.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Checked frames `positions`, `discs`, `installs` and, if there is one, `removals`.
    history : HistoryTally
        A scan cut at the days of change.
    until : date
        The day up to which discs still in are followed.
    curve : Basquin, optional
        Cycles to failure by range of differential pressure [bar], to add up damage.
    correction : MeanCorrection
        How the mean enters the damage; GOODMAN takes the least burst pressure.

    Returns
    -------
    DataFrame
        `install_id position_id from_on to_on`, `from_years to_years` (age, contiguous from
        0 to the end of the life), `operating_ratio` (95th percentile) and `mean_ratio` [-],
        `pressure_basis` (history, nominal), `cycles_per_year` [1/years],
        `share_above_limit` [-], `coverage` [-], `temperature_degc` (mean, as read) and
        `damage` of the covered time [-].

    Notes
    -----
    Burst pressures are those at the temperature read in the quarter where the discs table
    gives a curve that reaches it, else as in `duty_per_install` without a history.
    A quarter of which less than half was seen takes the nominal pressure of the
    positions table, and no cycles. Cycles that close in a later quarter than they
    began count one half in each at most.
    """
    lives = burst_of_installs(tables)
    windows = life_windows(tables)
    rows = _pieces(windows, tables["installs"]["installed_on"], until)
    life = rows["life"].to_numpy()
    piece = _piece_of_part(history, windows, rows)
    own = fold(history.ledger, piece, history.gap_ms, history.flat_ms)
    seen = np.unique(piece[piece >= 0])
    degc = np.full(len(rows), np.nan)
    degc[seen] = mean_temperature(own)
    warmed = _warmed(lives.iloc[life], degc)
    marked = lives["marked_barg"].to_numpy(dtype=float)[life] * warmed
    least = marked - burst_tolerance(marked)
    back = lives["back_pressure_barg"].fillna(0.0).to_numpy(dtype=float)[life]
    limit = least * lives["max_operating_ratio"].to_numpy(dtype=float)[life] + back
    nominal = lives["max_operating_pressure_barg"].to_numpy(dtype=float)[life]
    small = np.nan_to_num(SMALL_CYCLE_SHARE * marked[seen], nan=np.inf)
    years = covered_years(own)
    figures = {
        "covered": own.parts[:, COVERED].astype(float),
        "high": pressure_quantile(own, HIGH_SHARE),
        "mean": mean_pressure(own),
        "share_above_limit": share_of_time_above(own, limit[seen]),
        "cycles_per_year": cycles_above(own, small) / np.where(years > 0, years, np.nan),
        "damage": damage_of_parts(own, curve, correction, least[seen], back[seen]),
    }
    read = pd.DataFrame(figures, index=seen).reindex(np.arange(len(rows)))
    rows["coverage"] = (read["covered"] / rows.pop("length_ms")).fillna(0.0)
    enough = rows["coverage"] >= ENOUGH_COVERAGE
    rows["operating_ratio"] = operating_ratio(read["high"].where(enough, nominal), marked, back)
    rows["mean_ratio"] = operating_ratio(read["mean"].where(enough, nominal), marked, back)
    rows["pressure_basis"] = np.where(enough, "history", "nominal")
    for name in ("share_above_limit", "cycles_per_year"):
        rows[name] = read[name].where(enough)
    rows["temperature_degc"] = degc
    rows["damage"] = read["damage"]
    return rows.drop(columns=["life", "begins_ms"])


def _warmed(lives: pd.DataFrame, degc: Floats) -> Floats:
    """Burst pressure at the temperature read over the one the life was reckoned with."""
    read = temperature_factor(
        lives["temperature_curve"], pd.Series(degc), lives["coincident_temperature_degc"]
    )
    usual = lives["temperature_factor"].to_numpy(dtype=float)
    return np.where(np.isnan(read), 1.0, read / usual)


def damage_of_parts(
    ledger: Ledger,
    curve: Basquin | None,
    correction: MeanCorrection,
    burst_bar: Floats,
    back_pressure_barg: Floats,
) -> Floats:
    """Add up the Miner damage of each part, NaN without a curve; see `miner_damage`.

    A mean at or above the burst pressure, which a Goodman line does not reach, gives NaN.
    """
    damage = np.full(len(ledger.parts), np.nan)
    if curve is None:
        return damage
    cycles = counted_cycles(ledger)
    means = cycles.means - back_pressure_barg[cycles.part]
    burst = burst_bar[cycles.part]
    defined = (
        means < burst
        if correction is MeanCorrection.GOODMAN
        else np.ones(means.size, dtype=np.bool_)
    )
    harm = np.full(means.size, np.nan)
    harm[defined] = (
        corrected_range(cycles.ranges[defined], means[defined], correction, burst[defined])
        ** curve.slope
    )
    weights = cycles.counts * harm / curve.cycles_at_unit_range
    return np.bincount(cycles.part, weights=weights, minlength=len(damage)).astype(float)


def _pieces(
    windows: pd.DataFrame, installed_on: "pd.Series[pd.Timestamp]", until: date
) -> pd.DataFrame:
    """Lay out each life from its first day to its last, cut at the quarters."""
    begins = installed_on.to_numpy().astype("datetime64[D]")
    ends = windows["ends"].fillna(pd.Timestamp(until)).to_numpy().astype("datetime64[D]")
    first = begins.astype("datetime64[M]").astype(np.int64) // 3
    last = (np.maximum(ends, begins + 1) - 1).astype("datetime64[M]").astype(np.int64) // 3
    counts = np.where(ends > begins, last - first + 1, 0)
    life = np.repeat(np.arange(len(windows)), counts)
    number = np.arange(life.size) - np.repeat(np.cumsum(counts) - counts, counts)
    quarter = first[life] + number
    start = (3 * quarter).astype("datetime64[M]").astype("datetime64[D]")
    stop = (3 * quarter + 3).astype("datetime64[M]").astype("datetime64[D]")
    start, stop = np.maximum(start, begins[life]), np.minimum(stop, ends[life])
    day_ms = 86_400_000
    return pd.DataFrame(
        {
            "install_id": windows["install_id"].to_numpy()[life],
            "position_id": windows["position_id"].to_numpy()[life],
            "from_on": start.astype("datetime64[ns]"),
            "to_on": stop.astype("datetime64[ns]"),
            "from_years": (start - begins[life]).astype(np.int64) / _YEAR,
            "to_years": (stop - begins[life]).astype(np.int64) / _YEAR,
            "life": life,
            "begins_ms": start.astype(np.int64) * day_ms,
            "length_ms": (stop - start).astype(np.int64) * float(day_ms),
        }
    )


def _piece_of_part(
    history: HistoryTally, windows: pd.DataFrame, rows: pd.DataFrame
) -> NDArray[np.int64]:
    """Find the piece that each tally part lies in, -1 for none."""
    life = parts_in_windows(history, windows)
    # Pieces are in the order of life and time: one search finds life and quarter at once.
    scale = 1 << 46  # milliseconds in two thousand years
    keys = rows["life"].to_numpy() * scale + rows["begins_ms"].to_numpy()
    wanted = life * scale + history.ledger.parts[:, FIRST]
    piece = np.searchsorted(keys, wanted, side="right") - 1
    inside = (life >= 0) & (piece >= 0) & (rows["life"].to_numpy()[piece] == life)
    return np.where(inside, piece, -1).astype(np.int64)
