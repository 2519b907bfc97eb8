"""The hot loop: historian rows into tally parts."""

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from analytics.duty.grid import (
    LEVELS_PER_BAR,
    MEAN_CLASSES,
    RANGE_CLASSES,
    TEMPERATURE_STEPS,
    TIME_CLASSES,
    octave,
    pressure_class,
)
from analytics.duty.ledger import (
    CELL,
    COVERED,
    CROSSINGS,
    CYCLE_END,
    FIRST,
    FIRST_CHANGE,
    FIRST_LEVEL,
    FLAT,
    HEAD_END,
    HIGH,
    HIGH_AT,
    HOTTEST,
    LAST,
    LAST_LEVEL,
    LAST_WARM,
    LEVEL_TIME,
    LOW,
    POSITION,
    ROWS,
    RUN_START,
    SEGMENTS,
    STEP_CLASSES,
    STEPS,
    TAIL_END,
    TIME_END,
    UNKNOWN,
    WARM,
    WARM_TIME,
    Ledger,
)
from analytics.duty.rainflow import segments_to_cycles

__all__ = [
    "ALWAYS",
    "Work",
    "clean_rows",
    "end_run",
    "find_stretches",
    "hand_over",
    "make_work",
    "tally_rows",
    "tally_temperature",
]

Ints = NDArray[np.int64]

ALWAYS = -(2**62)
"""Before all time, in milliseconds."""


class Work(NamedTuple):
    """Room to count in; the sums are zero whenever it is handed on."""

    stack: Ints
    starts: Ints
    time_sum: Ints
    time_keys: Ints
    cycle_sum: Ints
    cycle_keys: Ints


def make_work(rows: int) -> Work:
    """Make room to count so many rows."""
    classes = RANGE_CLASSES * MEAN_CLASSES
    return Work(
        stack=np.empty(rows + 1, np.int64),
        starts=np.empty(rows + 2, np.int64),
        time_sum=np.zeros(TIME_CLASSES, np.int64),
        time_keys=np.empty(TIME_CLASSES + 1, np.int64),
        cycle_sum=np.zeros((classes, 3), np.int64),
        cycle_keys=np.empty(classes + 1, np.int64),
    )


@njit(cache=True, nogil=True)
def clean_rows(
    codes: NDArray[np.int32],
    times: Ints,
    pressure: NDArray[np.float64],
    repeats: Ints,
    straight: Ints,
    last_seen: Ints,
    late: Ints,
    bad: Ints,
    rows: Ints,
    levels: Ints,
) -> tuple[int, int]:  # pragma: no cover
    """Keep the rows whose time moves on and whose pressure is a number.

    Parameters
    ----------
    codes, times, pressure : ndarray, shape (n,)
        Position number, time [ms] and pressure [barg] of each row; rows of one
        position in one run.
    repeats : ndarray of int, shape (r, 3)
        Hours that the clock shows twice, as in `analytics.duty.zone.Clock`.
    straight : ndarray of int, shape (n,), or (0,) without such hours
        The times once more; those that come the second time are put later. [ms]
    last_seen, late, bad : ndarray of int, shape (n_positions,)
        Latest time so far [ms], rows set aside because their time does not lie
        after it, rows without a usable pressure; all kept up to date.
    rows, levels : ndarray of int, shape (n,)
        Receive the kept rows' numbers and pressures. [-, grid steps]

    Returns
    -------
    kept, backward : int
        Rows kept; times that a row is earlier than the row before it.
    """
    kept = 0
    backward = 0
    for row in range(codes.size):
        code = codes[row]
        now = times[row]
        if now <= last_seen[code] and repeats.size > 0:
            now += _second_time(now, repeats)
            straight[row] = now
        if now <= last_seen[code]:
            late[code] += 1
            if row > 0 and codes[row - 1] == code and now < times[row - 1]:
                backward += 1
            continue
        last_seen[code] = now
        value = pressure[row]
        if not (value > -2.0 and value < 20_000.0):  # refuses NaN too
            bad[code] += 1
            continue
        rows[kept] = row
        levels[kept] = np.int64(np.floor(value * LEVELS_PER_BAR + 0.5))
        kept += 1
    return kept, backward


@njit(cache=True, nogil=True)
def _second_time(now: int, repeats: Ints) -> int:  # pragma: no cover
    """By how much a time is later when the clock shows it again, 0 when it never does."""
    at = np.searchsorted(repeats[:, 0], now, side="right") - 1
    if at >= 0 and now < repeats[at, 1]:
        return int(repeats[at, 2])
    return 0


@njit(cache=True, nogil=True)
def tally_temperature(
    times: Ints, degc: NDArray[np.float64], starts: Ints, gap: int, parts: Ints
) -> None:  # pragma: no cover
    """Add to each part how warm it was; a temperature holds until the next row, as a pressure.

    Done apart from `tally_rows`, so that files without temperatures pay nothing.
    """
    for count in range(starts.size - 1):
        part = parts[count]
        for row in range(starts[count], starts[count + 1]):
            value = degc[row]
            warm = UNKNOWN
            if value > -274.0 and value < 3000.0:  # refuses NaN too
                warm = int(np.floor(value * TEMPERATURE_STEPS + 0.5))
                part[HOTTEST] = max(part[HOTTEST], warm)
            if row + 1 < starts[count + 1]:
                step = times[row + 1] - times[row]
                if warm != UNKNOWN and step <= gap:
                    part[WARM] += step
                    part[WARM_TIME] += warm * step
            else:
                part[LAST_WARM] = warm


@njit(cache=True, nogil=True)
def find_stretches(
    codes: NDArray[np.int32], times: Ints, cuts: Ints, cut_ends: Ints, starts: Ints, cells: Ints
) -> int:  # pragma: no cover
    """Find where the position or its stretch of time changes.

    `cuts[cut_ends[p] : cut_ends[p + 1]]` are the beginnings of the stretches of position
    p, ascending, the first before all time. Row number and beginning of each stretch go
    to `starts` and `cells`; `starts` is closed by the number of rows.
    """
    count = 0
    code = -1
    following = 0
    for row in range(codes.size):
        if codes[row] == code and times[row] < following:
            continue
        code = codes[row]
        cut, end = cut_ends[code], cut_ends[code + 1]
        while end - cut > 1:  # halve until only the stretch that holds the row is left
            middle = (cut + end) // 2
            if cuts[middle] <= times[row]:
                cut = middle
            else:
                end = middle
        following = int(cuts[end]) if end < cut_ends[code + 1] else -ALWAYS
        starts[count] = row
        cells[count] = cuts[cut]
        count += 1
    starts[count] = codes.size
    return count


@njit(cache=True, nogil=True)
def tally_rows(
    codes: NDArray[np.int32],
    times: Ints,
    levels: Ints,
    starts: Ints,
    cells: Ints,
    gap: int,
    flat: int,
    work: Work,
    out: Ledger,
) -> None:  # pragma: no cover
    """Tally each stretch into one part of `out`, its classes in the order first met.

    Limits are in milliseconds.
    """
    time_at = 0
    cycle_at = 0
    residue_at = 0
    for count in range(cells.size):
        when = times[starts[count] : starts[count + 1]]
        what = levels[starts[count] : starts[count + 1]]
        part = out.parts[count]
        for column in range(part.size):
            part[column] = 0
        part[POSITION] = codes[starts[count]]
        part[CELL] = cells[count]
        part[HOTTEST] = part[LAST_WARM] = UNKNOWN
        segments, held = _walk(when, what, gap, flat, part, work)
        _extremes(when, what, part)
        part[SEGMENTS] = segments
        part[HEAD_END], part[TAIL_END], closed = segments_to_cycles(
            what,
            work.starts[: segments + 1],
            work.stack,
            work.cycle_sum,
            work.cycle_keys,
            out.residues,
            residue_at,
        )
        residue_at = part[TAIL_END]
        for index in range(held):
            key = work.time_keys[index]
            out.times[time_at, 0] = key
            out.times[time_at, 1] = work.time_sum[key]
            work.time_sum[key] = 0
            time_at += 1
        part[TIME_END] = time_at
        for index in range(closed):
            hand_over(work.cycle_sum, work.cycle_keys[index], out.cycles[cycle_at])
            cycle_at += 1
        part[CYCLE_END] = cycle_at


@njit(cache=True, nogil=True)
def hand_over(sums: Ints, key: int, row: Ints) -> None:  # pragma: no cover
    """Write a class of cycles to a row and set its sums back to zero."""
    row[0] = key
    for column in range(3):
        row[column + 1] = sums[key, column]
        sums[key, column] = 0


@njit(cache=True, nogil=True)
def end_run(
    first_change: int, total: int, start: int, end: int, flat: int
) -> tuple[int, int]:  # pragma: no cover
    """Close a run of one value; the run a part begins with stays open at its start."""
    if first_change < 0:
        return end, total
    return first_change, total + (end - start if end - start >= flat else 0)


@njit(cache=True, nogil=True)
def _walk(
    times: Ints, levels: Ints, gap: int, flat: int, part: Ints, work: Work
) -> tuple[int, int]:  # pragma: no cover
    """Add up how long each pressure was held and stood still; find the segments.

    A pressure holds until the next row, unless that is further away than the gap: there
    a new segment begins.
    """
    sums, keys, starts = work.time_sum, work.time_keys, work.starts
    starts[0] = 0
    segments = 1
    seen = 0
    covered = 0
    level_time = 0
    crossings = 0
    first_change, still, run_start = -1, 0, int(times[0])
    usual, alike = np.int64(0), 0  # a historian mostly keeps its step: count those at once
    before, level = times[0], levels[0]
    for row in range(1, times.size):
        now, new = times[row], levels[row]
        step = now - before
        apart = step > gap
        if apart or new != level:
            end = int(before if apart else now)
            first_change, still = end_run(first_change, still, run_start, end, flat)
            run_start = int(now)
        if apart:
            starts[segments] = row
            segments += 1
        else:
            covered += step
            level_time += level * step
            key = pressure_class(level)
            keys[seen] = key
            held = sums[key]
            seen += int(held == 0)
            sums[key] = held + step
            if step != usual:
                _add_steps(part, int(usual), alike)
                usual, alike = step, 0
            alike += 1
            crossings += int((new < 0) != (level < 0))
        before, level = now, new
    _add_steps(part, int(usual), alike)
    starts[segments] = times.size
    part[CROSSINGS] = crossings
    part[COVERED] = covered
    part[LEVEL_TIME] = level_time
    part[FIRST_CHANGE] = first_change
    part[FLAT] = still
    part[RUN_START] = run_start
    return segments, seen


@njit(cache=True, nogil=True)
def _add_steps(part: Ints, step: int, count: int) -> None:  # pragma: no cover
    """Count time steps of one length."""
    if count > 0:
        part[STEPS + min(octave(step), STEP_CLASSES - 1)] += count


@njit(cache=True, nogil=True)
def _extremes(times: Ints, levels: Ints, part: Ints) -> None:  # pragma: no cover
    """Note the ends and the extremes of a stretch."""
    lowest = levels[0]
    highest = 0
    for row in range(levels.size):
        lowest = min(lowest, levels[row])
        if levels[row] > levels[highest]:
            highest = row
    part[FIRST] = times[0]
    part[LAST] = times[-1]
    part[FIRST_LEVEL] = levels[0]
    part[LAST_LEVEL] = levels[-1]
    part[ROWS] = times.size
    part[LOW] = lowest
    part[HIGH] = levels[highest]
    part[HIGH_AT] = times[highest]
