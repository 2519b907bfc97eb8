"""How is a tally laid out? Four arrays of whole numbers that can be kept, sent and merged.

A part covers one position over one stretch of time. What a part owns in the other
three arrays ends where its `*_END` columns say and begins where the part before ends.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "CELL",
    "COVERED",
    "CROSSINGS",
    "CYCLE_END",
    "FIRST",
    "FIRST_CHANGE",
    "FIRST_LEVEL",
    "FLAT",
    "HEAD_END",
    "HIGH",
    "HIGH_AT",
    "HOTTEST",
    "LAST",
    "LAST_LEVEL",
    "LAST_WARM",
    "LEVEL_TIME",
    "LOW",
    "POSITION",
    "ROWS",
    "RUN_START",
    "SEGMENTS",
    "STEPS",
    "STEP_CLASSES",
    "TAIL_END",
    "TIME_END",
    "UNKNOWN",
    "WARM",
    "WARM_TIME",
    "WIDTH",
    "Ledger",
    "begins",
    "concatenate",
    "empty_ledger",
    "take_used",
]

Ints = NDArray[np.int64]

POSITION = 0
CELL = 1  # start of the stretch [ms]
FIRST = 2  # time of the first and last row [ms]
LAST = 3
FIRST_LEVEL = 4  # pressure of the first and last row [grid steps]
LAST_LEVEL = 5
ROWS = 6
COVERED = 7  # time between rows not further apart than the gap [ms]
LEVEL_TIME = 8  # pressure times time [grid steps ms]
LOW = 9  # extremes [grid steps]
HIGH = 10
HIGH_AT = 11  # time of the first highest row [ms]
CROSSINGS = 12  # passages through zero gauge
SEGMENTS = 13  # stretches without a gap
FLAT = 14  # time in inner runs of one value at least as long as the flat limit [ms]
FIRST_CHANGE = 15  # end of the run the part begins with, -1 when it never ends [ms]
RUN_START = 16  # start of the run the part ends with [ms]
TIME_END = 17
CYCLE_END = 18
HEAD_END = 19  # end of the residue of the first segment
TAIL_END = 20  # end of the residue of the last segment, if that is another one
WARM = 21  # time at a known temperature [ms]
WARM_TIME = 22  # temperature times that time [1/256 degC ms]
HOTTEST = 23  # highest temperature, UNKNOWN when none was read [1/256 degC]
LAST_WARM = 24  # temperature of the last row, UNKNOWN likewise
STEPS = 25  # counts of time steps by factor of two of a millisecond, 40 columns
STEP_CLASSES = 40
WIDTH = STEPS + STEP_CLASSES

UNKNOWN = -(2**31)
"""Stands for a temperature that was not read; colder than anything."""


class Ledger(NamedTuple):
    """Tally parts as four arrays.

    Attributes
    ----------
    parts : ndarray of int, shape (n_parts, WIDTH)
        One row per part; the columns are the constants of this module.
    times : ndarray of int, shape (n, 2)
        Pressure class and the time spent in it [ms], ascending within a part.
    cycles : ndarray of int, shape (n, 4)
        Class of range and mean, half cycles, and the sums over half cycles of the
        range and of twice the mean [grid steps], ascending within a part.
    residues : ndarray of int, shape (n,)
        Turning points not yet paired: head, then tail, of each part. [grid steps]
    """

    parts: Ints
    times: Ints
    cycles: Ints
    residues: Ints


def empty_ledger(parts: int, rows: int) -> Ledger:
    """Make room for the tally of so many rows; memory that is not written costs nothing."""
    return Ledger(
        parts=np.empty((parts, WIDTH), np.int64),
        times=np.empty((rows, 2), np.int64),
        cycles=np.empty((rows, 4), np.int64),
        residues=np.empty(rows, np.int64),
    )


def take_used(room: Ledger, count: int) -> Ledger:
    """Copy the first `count` parts out of the room they were made in, classes ascending."""
    parts = room.parts[:count].copy()
    points = parts[-1, TAIL_END] if count else 0
    return Ledger(
        parts=parts,
        times=_ascending(room.times, parts[:, TIME_END]),
        cycles=_ascending(room.cycles, parts[:, CYCLE_END]),
        residues=room.residues[:points].copy(),
    )


def _ascending(table: Ints, ends: Ints) -> Ints:
    """Sort the rows of each part by class."""
    owner = np.repeat(np.arange(len(ends)), ends - begins(ends))
    used = table[: owner.size]
    # One number per part and class: numbers sort several times faster than pairs.
    return used[np.argsort((owner << 32) + used[:, 0])]


def begins(ends: Ints) -> Ints:
    """Give where each part's rows begin, from where they end."""
    return np.concatenate([np.zeros(1, np.int64), ends[:-1]])[: len(ends)]


def concatenate(ledgers: Sequence[Ledger]) -> Ledger:
    """Lay ledgers end to end."""
    offset = np.zeros(3, np.int64)
    moved = []
    for ledger in ledgers:
        parts = ledger.parts.copy()
        parts[:, TIME_END] += offset[0]
        parts[:, CYCLE_END] += offset[1]
        parts[:, [HEAD_END, TAIL_END]] += offset[2]
        offset += (len(ledger.times), len(ledger.cycles), len(ledger.residues))
        moved.append(parts)
    return Ledger(
        parts=np.concatenate(moved),
        times=np.concatenate([ledger.times for ledger in ledgers]),
        cycles=np.concatenate([ledger.cycles for ledger in ledgers]),
        residues=np.concatenate([ledger.residues for ledger in ledgers]),
    )
