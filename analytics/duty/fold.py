"""How do tallies of pieces become the tally of the whole?"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from analytics.duty.grid import MEAN_CLASSES, RANGE_CLASSES, TIME_CLASSES, octave, pressure_class
from analytics.duty.ledger import (
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
    WIDTH,
    Ledger,
    begins,
    empty_ledger,
    take_used,
)
from analytics.duty.rainflow import segments_to_cycles
from analytics.duty.rows import Work, end_run, hand_over, make_work

__all__ = ["fold"]

Ints = NDArray[np.int64]


def fold(ledger: Ledger, groups: Ints, gap_ms: int, flat_ms: int) -> Ledger:
    """Merge the parts of each group into one.

    Parameters
    ----------
    ledger : Ledger
        Parts that do not overlap in time within a group.
    groups : ndarray of int, shape (n_parts,)
        Group of each part; a negative one leaves the part out.
    gap_ms, flat_ms : int
        The limits the parts were made with. [ms]

    Returns
    -------
    Ledger
        One part per group, groups ascending: what the rows of all its parts,
        tallied at once, would give, to the bit.
    """
    order = np.lexsort((ledger.parts[:, LAST], ledger.parts[:, FIRST], groups))
    order = order[groups[order] >= 0]
    parts = ledger.parts[order]
    first = np.flatnonzero(np.diff(groups[order], prepend=-1))
    if not first.size:
        return take_used(ledger, 0)
    number = np.cumsum(np.diff(groups[order], prepend=-1) > 0) - 1
    merged = _plain_columns(parts, first, number)
    held = _joins(parts, number, merged, gap_ms)
    _merge_runs(parts, first, gap_ms, flat_ms, merged)
    owner = np.full(len(ledger.parts), -1, np.int64)
    owner[order] = number
    times, merged[:, TIME_END] = _sum_by_class(
        [ledger.times, held[1]],
        [_owners(ledger.parts[:, TIME_END], owner), held[0]],
        TIME_CLASSES,
        len(merged),
    )
    room = _residues(ledger, order, first, gap_ms, merged)
    cycles, cycle_ends = _sum_by_class(
        [ledger.cycles, room.cycles],
        [
            _owners(ledger.parts[:, CYCLE_END], owner),
            _owners(merged[:, CYCLE_END], np.arange(len(merged))),
        ],
        RANGE_CLASSES * MEAN_CLASSES,
        len(merged),
    )
    merged[:, CYCLE_END] = cycle_ends
    return Ledger(parts=merged, times=times, cycles=cycles, residues=room.residues)


def _plain_columns(parts: Ints, first: Ints, number: Ints) -> Ints:
    """Merge the columns that need no look across a join."""
    merged = parts[first].copy()
    last = np.append(first[1:], len(parts)) - 1
    merged[:, LAST] = parts[last, LAST]
    merged[:, LAST_LEVEL] = parts[last, LAST_LEVEL]
    merged[:, LAST_WARM] = parts[last, LAST_WARM]
    summed = [ROWS, COVERED, LEVEL_TIME, CROSSINGS, SEGMENTS, WARM, WARM_TIME]
    summed += range(STEPS, WIDTH)
    merged[:, summed] = np.add.reduceat(parts[:, summed], first)
    merged[:, LOW] = np.minimum.reduceat(parts[:, LOW], first)
    merged[:, HIGH] = np.maximum.reduceat(parts[:, HIGH], first)
    merged[:, HOTTEST] = np.maximum.reduceat(parts[:, HOTTEST], first)
    highest = parts[:, HIGH] == merged[number, HIGH]
    when = np.where(highest, parts[:, HIGH_AT], np.iinfo(np.int64).max)
    merged[:, HIGH_AT] = np.minimum.reduceat(when, first)
    return merged


def _joins(parts: Ints, number: Ints, merged: Ints, gap: int) -> tuple[Ints, Ints]:
    """Hold the last pressure of each part until the next part of its group begins.

    Adds to `merged` what the steps between parts add; gives group, class and time
    of each step held.
    """
    step = parts[1:, FIRST] - parts[:-1, LAST]
    joined = (number[1:] == number[:-1]) & (step <= gap)
    where = np.flatnonzero(joined)
    group, step = number[where], step[where]
    level, following = parts[where, LAST_LEVEL], parts[where + 1, FIRST_LEVEL]
    np.add.at(merged[:, COVERED], group, step)
    np.add.at(merged[:, LEVEL_TIME], group, level * step)
    np.add.at(merged[:, CROSSINGS], group, ((level < 0) != (following < 0)).astype(np.int64))
    np.add.at(merged[:, SEGMENTS], group, -1)
    warm = parts[where, LAST_WARM]
    known = warm != UNKNOWN
    np.add.at(merged[:, WARM], group[known], step[known])
    np.add.at(merged[:, WARM_TIME], group[known], (warm * step)[known])
    held = np.flatnonzero(step > 0)
    classes, octaves = _classes(level[held], step[held])
    np.add.at(merged, (group[held], STEPS + octaves), 1)
    return group[held], np.column_stack([classes, step[held]])


@njit(cache=True, nogil=True)
def _classes(levels: Ints, steps: Ints) -> tuple[Ints, Ints]:  # pragma: no cover
    classes = np.empty(levels.size, np.int64)
    octaves = np.empty(levels.size, np.int64)
    for index in range(levels.size):
        classes[index] = pressure_class(levels[index])
        octaves[index] = min(octave(steps[index]), STEP_CLASSES - 1)
    return classes, octaves


@njit(cache=True, nogil=True)
def _merge_runs(
    parts: Ints, first: Ints, gap: int, flat: int, merged: Ints
) -> None:  # pragma: no cover
    """Join the runs of one value that go on from part to part."""
    for group in range(first.size):
        stop = first[group + 1] if group + 1 < first.size else len(parts)
        change, total, start = -1, 0, int(parts[first[group], FIRST])
        for index in range(first[group], stop):
            part = parts[index]
            if index > first[group]:
                before = parts[index - 1]
                apart = part[FIRST] - before[LAST] > gap
                if apart or part[FIRST_LEVEL] != before[LAST_LEVEL]:
                    end = int(before[LAST] if apart else part[FIRST])
                    change, total = end_run(change, total, start, end, flat)
                    start = int(part[FIRST])
            if part[FIRST_CHANGE] >= 0:
                change, total = end_run(change, total, start, int(part[FIRST_CHANGE]), flat)
                total += int(part[FLAT])
                start = int(part[RUN_START])
        merged[group, FIRST_CHANGE] = change
        merged[group, FLAT] = total
        merged[group, RUN_START] = start


def _owners(ends: Ints, owner: Ints) -> Ints:
    """Give the group of every row that parts own."""
    return np.repeat(owner, ends - begins(ends))


def _sum_by_class(
    tables: list[Ints], owners: list[Ints], classes: int, groups: int
) -> tuple[Ints, Ints]:
    """Add up rows of one group and class; rows of a negative group are left out."""
    table, owner = np.concatenate(tables), np.concatenate(owners)
    table, owner = table[owner >= 0], owner[owner >= 0]
    keys = owner * classes + table[:, 0]
    order = np.argsort(keys)
    first = np.flatnonzero(np.diff(keys[order], prepend=-1))
    summed = table[order[first]]
    if first.size:
        summed[:, 1:] = np.add.reduceat(table[order, 1:], first)
    counts = np.bincount(owner[order[first]], minlength=groups)
    return summed, np.cumsum(counts, dtype=np.int64)


def _residues(ledger: Ledger, order: Ints, first: Ints, gap: int, merged: Ints) -> Ledger:
    """Close what the parts' residues close together; `merged` gets the new ends."""
    points = ledger.residues.size
    room = empty_ledger(0, points + 1)
    _fold_residues(ledger, order, first, gap, make_work(points), room, merged)
    last = merged[-1]
    return Ledger(
        parts=merged,
        times=room.times[:0],
        cycles=room.cycles[: last[CYCLE_END]],
        residues=room.residues[: last[TAIL_END]].copy(),
    )


@njit(cache=True, nogil=True)
def _fold_residues(
    given: Ledger, order: Ints, first: Ints, gap: int, work: Work, room: Ledger, merged: Ints
) -> None:  # pragma: no cover
    points = np.empty(given.residues.size, np.int64)
    cycle_at = 0
    residue_at = 0
    for group in range(first.size):
        stop = first[group + 1] if group + 1 < first.size else order.size
        size = 0
        segments = 0
        for index in range(first[group], stop):
            part = given.parts[order[index]]
            begin = given.parts[order[index] - 1, TAIL_END] if order[index] > 0 else 0
            before = given.parts[order[index - 1]]
            if index == first[group] or part[FIRST] - before[LAST] > gap:
                work.starts[segments] = size
                segments += 1
            for index_of_point in range(begin, part[TAIL_END]):
                if index_of_point == part[HEAD_END]:
                    work.starts[segments] = size
                    segments += 1
                points[size] = given.residues[index_of_point]
                size += 1
        work.starts[segments] = size
        merged[group, HEAD_END], merged[group, TAIL_END], closed = segments_to_cycles(
            points[:size],
            work.starts[: segments + 1],
            work.stack,
            work.cycle_sum,
            work.cycle_keys,
            room.residues,
            residue_at,
        )
        residue_at = merged[group, TAIL_END]
        for index in range(closed):
            hand_over(work.cycle_sum, work.cycle_keys[index], room.cycles[cycle_at])
            cycle_at += 1
        merged[group, CYCLE_END] = cycle_at
