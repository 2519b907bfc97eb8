"""What do tally parts say in plain figures: pressures, shares of time, cycles?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.duty.grid import LEVELS_PER_BAR, TEMPERATURE_STEPS, pressure_edges
from analytics.duty.ledger import (
    COVERED,
    CYCLE_END,
    FIRST,
    FIRST_CHANGE,
    FLAT,
    HEAD_END,
    HIGH,
    LAST,
    LEVEL_TIME,
    LOW,
    RUN_START,
    STEPS,
    TAIL_END,
    TIME_END,
    WARM,
    WARM_TIME,
    WIDTH,
    Ledger,
    begins,
)

__all__ = [
    "CountedCycles",
    "YEAR_MS",
    "counted_cycles",
    "covered_years",
    "cycles_above",
    "is_compressed",
    "mean_pressure",
    "mean_temperature",
    "pressure_quantile",
    "share_of_time_above",
    "stuck_days",
]

Floats = NDArray[np.float64]

DAY_MS = 86_400_000
YEAR_MS = 365.25 * DAY_MS
ENOUGH_TEMPERATURE = 0.5
"""A temperature known for less than this share of the time stands for nothing."""

REGULAR_SHARE = 0.8
"""A historian whose time steps are less alike than this is taken to be compressed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CountedCycles:
    """Rainflow cycles of tally parts, by class.

    Attributes
    ----------
    part : ndarray of int, shape (n,)
        Number of the part.
    ranges, means : ndarray of float, shape (n,)
        Mean range and mean of the cycles in the class. [bar, barg]
    counts : ndarray of float, shape (n,)
        Cycles; halves count 0.5. [-]
    """

    part: NDArray[np.int64]
    ranges: Floats
    means: Floats
    counts: Floats


def covered_years(ledger: Ledger) -> Floats:
    """Give the time each part covers, gaps left out. [years]"""
    years: Floats = ledger.parts[:, COVERED] / YEAR_MS
    return years


def mean_pressure(ledger: Ledger) -> Floats:
    """Give the time-weighted mean pressure of each part, NaN when it covers no time. [barg]"""
    covered = ledger.parts[:, COVERED].astype(float)
    levels = ledger.parts[:, LEVEL_TIME] / np.where(covered > 0, covered, np.nan)
    return np.asarray(levels / LEVELS_PER_BAR, dtype=float)


def mean_temperature(ledger: Ledger) -> Floats:
    """Give the time-weighted mean temperature of each part, NaN where little was read. [degC]

    It must be known for half the time that the part covers, or more.
    """
    warm, covered = ledger.parts[:, WARM].astype(float), ledger.parts[:, COVERED]
    enough = (warm > 0) & (warm >= ENOUGH_TEMPERATURE * covered)
    mean = ledger.parts[:, WARM_TIME] / np.where(enough, warm, np.nan)
    return np.asarray(mean / TEMPERATURE_STEPS, dtype=float)


def pressure_quantile(ledger: Ledger, share: float) -> Floats:
    """Give the pressure below which each part spent a share of its time.

    Parameters
    ----------
    ledger : Ledger
        Tally parts.
    share : float
        Between 0 and 1. [-]

    Returns
    -------
    ndarray of float, shape (n_parts,)
        Read from classes 0.3 % wide, straight between their edges; NaN when the part
        covers no time. [barg]

    Raises
    ------
    ValueError
        If `share` is outside [0, 1].
    """
    if not 0 <= share <= 1:
        raise ValueError(f"share must lie in [0, 1], got {share!r}")
    parts = ledger.parts
    covered = parts[:, COVERED]
    if not len(ledger.times):
        return np.full(len(parts), np.nan)
    total = np.cumsum(ledger.times[:, 1])
    before = np.concatenate([[0], total])[begins(parts[:, TIME_END])]
    target = before + share * covered
    last = np.maximum(parts[:, TIME_END] - 1, 0)
    row = np.minimum(np.searchsorted(total, target, side="left"), last)
    low, high = pressure_edges(ledger.times[row, 0])
    within = 1.0 - (total[row] - target) / ledger.times[row, 1]
    value = low + np.clip(within, 0.0, 1.0) * (high - low)
    value = np.clip(value, parts[:, LOW] / LEVELS_PER_BAR, parts[:, HIGH] / LEVELS_PER_BAR)
    return np.where(covered > 0, value, np.nan)


def share_of_time_above(ledger: Ledger, limit_barg: ArrayLike) -> Floats:
    """Give the share of covered time each part spent above its limit.

    Parameters
    ----------
    ledger : Ledger
        Tally parts.
    limit_barg : array_like of float, shape (n_parts,)
        Limits; NaN gives NaN. [barg]

    Returns
    -------
    ndarray of float, shape (n_parts,)
        NaN when the part covers no time. [-]
    """
    parts = ledger.parts
    limits = np.broadcast_to(np.asarray(limit_barg, dtype=float), len(parts))
    owner = np.repeat(np.arange(len(parts)), parts[:, TIME_END] - begins(parts[:, TIME_END]))
    low, high = pressure_edges(ledger.times[:, 0])
    # The top class of a part reaches only to the highest pressure seen.
    high = np.minimum(high, np.maximum(parts[owner, HIGH] / LEVELS_PER_BAR, low))
    width = np.where(high > low, high - low, 1.0)
    above = np.where(
        high > low,
        np.clip((high - limits[owner]) / width, 0.0, 1.0),
        (low > limits[owner]).astype(float),
    )
    time = np.bincount(owner, weights=above * ledger.times[:, 1], minlength=len(parts))
    covered = parts[:, COVERED].astype(float)
    share = time / np.where(covered > 0, covered, np.nan)
    return np.where(np.isnan(limits), np.nan, share)


def counted_cycles(ledger: Ledger) -> CountedCycles:
    """List the cycles of each part; what its residues leave counts as half cycles."""
    parts = ledger.parts
    owner = np.repeat(np.arange(len(parts)), parts[:, CYCLE_END] - begins(parts[:, CYCLE_END]))
    halves = ledger.cycles[:, 1].astype(float)
    open_owner = np.repeat(np.arange(len(parts)), parts[:, TAIL_END] - begins(parts[:, TAIL_END]))
    left, right = ledger.residues[:-1], ledger.residues[1:]
    joined = open_owner[:-1] == open_owner[1:]
    joined[(parts[:, HEAD_END] - 1)[parts[:, HEAD_END] < parts[:, TAIL_END]]] = False
    left, right = left[joined], right[joined]
    return CountedCycles(
        part=np.concatenate([owner, open_owner[:-1][joined]]),
        ranges=np.concatenate([ledger.cycles[:, 2] / halves, np.abs(right - left)])
        / LEVELS_PER_BAR,
        means=np.concatenate([ledger.cycles[:, 3] / halves, left + right]) / 2 / LEVELS_PER_BAR,
        counts=np.concatenate([halves / 2, np.full(left.size, 0.5)]),
    )


def cycles_above(ledger: Ledger, threshold_bar: ArrayLike) -> Floats:
    """Count the cycles of each part whose range reaches the part's threshold [bar]."""
    cycles = counted_cycles(ledger)
    thresholds = np.broadcast_to(np.asarray(threshold_bar, dtype=float), len(ledger.parts))
    counted = cycles.ranges >= thresholds[cycles.part]
    number = np.bincount(
        cycles.part[counted], weights=cycles.counts[counted], minlength=len(ledger.parts)
    )
    return number.astype(float)


def is_compressed(ledger: Ledger) -> NDArray[np.bool_]:
    """Tell which parts come from a historian that stores changes only.

    Their time steps are spread out: less than four fifths lie within any factor of
    four. A count of their cycles is a lower bound, for peaks between stored rows
    were dropped.
    """
    steps = ledger.parts[:, STEPS:WIDTH].astype(float)
    most = np.max(steps[:, 1:] + steps[:, :-1], axis=1, initial=0.0)
    return np.asarray(most < REGULAR_SHARE * steps.sum(axis=1))


def stuck_days(ledger: Ledger, flat_ms: int) -> Floats:
    """Give the days each part spent in long runs of one value, its end runs included."""
    parts = ledger.parts
    whole = parts[:, FIRST_CHANGE] < 0
    head = np.where(whole, parts[:, LAST], parts[:, FIRST_CHANGE]) - parts[:, FIRST]
    tail = np.where(whole, 0, parts[:, LAST] - parts[:, RUN_START])
    runs = parts[:, FLAT] + sum(np.where(run >= flat_ms, run, 0) for run in (head, tail))
    return np.asarray(runs / DAY_MS, dtype=float)
