"""Tally the batches of one historian file and remember what was set aside."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.duty.batches import BATCH_ROWS, Batch, Names
from analytics.duty.fold import fold
from analytics.duty.ledger import (
    CELL,
    FIRST,
    POSITION,
    Ledger,
    concatenate,
    empty_ledger,
    take_used,
)
from analytics.duty.overlaps import Part
from analytics.duty.rows import (
    ALWAYS,
    clean_rows,
    find_stretches,
    make_work,
    tally_rows,
    tally_temperature,
)
from analytics.duty.tally import HistoryTally, Note, merge_tallies

__all__ = ["PARTS_AT_ONCE", "ChangeDays", "Counter", "Limits", "stretch_starts", "tally_series"]

Ints = NDArray[np.int64]
ChangeDays = Mapping[str, NDArray[np.datetime64]]

PARTS_AT_ONCE = 20_000
"""More parts than this are folded together before going on, to bound memory."""

_NO_TIMES = np.empty(0, np.int64)
_HOUR_MS = 3_600_000
_DAY_MS = 24 * _HOUR_MS
_QUARTERS: Ints = (
    np.arange("1970-01", "2101-01", 3, dtype="datetime64[M]")
    .astype("datetime64[ms]")
    .astype(np.int64)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """When a historian is taken to have paused or stuck.

    Attributes
    ----------
    gap_hours : float
        Rows further apart than this are not joined: the segment ends. [h]
    flat_hours : float
        One value for at least this long is a stuck reading. [h]
    """

    gap_hours: float = 24.0
    flat_hours: float = 168.0

    def __post_init__(self) -> None:
        if not (self.gap_hours > 0 and self.flat_hours > 0):
            raise ValueError(
                f"gap_hours and flat_hours must be > 0 h, got {self.gap_hours}, {self.flat_hours}"
            )

    @property
    def gap_ms(self) -> int:
        """The gap in whole milliseconds."""
        return round(self.gap_hours * _HOUR_MS)

    @property
    def flat_ms(self) -> int:
        """The stuck time in whole milliseconds."""
        return round(self.flat_hours * _HOUR_MS)


class Counter:
    """Tallies the batches of one file and remembers what was set aside."""

    def __init__(
        self,
        file: str,
        names: Names,
        change_days: ChangeDays,
        limits: Limits,
        part: Part | None = None,
    ) -> None:
        self.file, self.names, self.change_days, self.limits = file, names, change_days, limits
        self.part = part
        self.last_seen = np.empty(0, np.int64)
        self.late = np.empty(0, np.int64)
        self.bad = np.empty(0, np.int64)
        self.cuts = np.empty(0, np.int64)
        self.cut_ends = np.zeros(1, np.int64)
        self.work = make_work(0)
        self.room = empty_ledger(0, 0)
        self.scratch = np.empty((4, 1), np.int64)
        self.ledgers: list[Ledger] = []
        self.parts = self.rows = self.backward = self.unreadable = 0
        self.notes: list[Note] = []

    @property
    def out_of_order(self) -> bool:
        """Whether so many rows come late that the file is unsorted, not a clock set back."""
        return bool(self.backward > 100 + self.rows // 100 or self.late.sum() > self.rows // 10)

    def note(self, position: str, what: str, rows: int) -> None:
        """Remember something the reader must know."""
        self.notes.append(Note(file=self.file, position_id=position, what=what, rows=rows))

    def add(self, batch: Batch) -> None:
        """Tally one batch, or the part of it that is wanted."""
        if self.part is not None:
            batch = _wanted(batch, self.names, self.part)
        self._make_room(batch.codes.size)
        rows, levels, starts, cells = self.scratch
        straight = batch.times.copy() if batch.repeats.size else _NO_TIMES
        kept, backward = clean_rows(
            batch.codes,
            batch.times,
            batch.pressure,
            batch.repeats,
            straight,
            self.last_seen,
            self.late,
            self.bad,
            rows,
            levels,
        )
        self.backward += backward
        self.unreadable += batch.unreadable
        if batch.remark and not self.rows:
            self.note("", batch.remark, 0)
        self.rows += batch.codes.size
        codes, degc = batch.codes, batch.temperature
        times = straight if batch.repeats.size else batch.times
        if kept < codes.size:
            codes, times = codes[rows[:kept]], times[rows[:kept]]
            degc = None if degc is None else degc[rows[:kept]]
        count = find_stretches(codes, times, self.cuts, self.cut_ends, starts, cells)
        if count > len(self.room.parts):
            self.room = empty_ledger(count, len(self.room.residues))
        tally_rows(
            codes,
            times,
            levels[:kept],
            starts[: count + 1],
            cells[:count],
            self.limits.gap_ms,
            self.limits.flat_ms,
            self.work,
            self.room,
        )
        if degc is not None:
            gap = self.limits.gap_ms
            tally_temperature(times, degc, starts[: count + 1], gap, self.room.parts)
        self.ledgers.append(take_used(self.room, count))
        self.parts += count
        if self.parts > PARTS_AT_ONCE:
            self.ledgers = [self._folded()]
            self.parts = len(self.ledgers[0].parts)

    def finish(self) -> HistoryTally:
        """Give the tally of the file, its positions in the order of their names."""
        self._say_what_was_set_aside()
        names = list(self.names.numbers)
        ledger = self._folded() if self.ledgers else empty_ledger(0, 0)
        if self.part is not None:
            self._forget_window_cuts(ledger.parts)
        empty = HistoryTally(
            positions=tuple(names),
            ledger=ledger,
            gap_ms=self.limits.gap_ms,
            flat_ms=self.limits.flat_ms,
            notes=tuple(self.notes),
        )
        return merge_tallies([empty])

    def _folded(self) -> Ledger:
        joined = concatenate(self.ledgers)
        _, groups = np.unique(joined.parts[:, [POSITION, CELL]], axis=0, return_inverse=True)
        return fold(joined, groups.reshape(-1), self.limits.gap_ms, self.limits.flat_ms)

    def _say_what_was_set_aside(self) -> None:
        if self.unreadable:
            self.note("", "position or time blank or unreadable; rows not used", self.unreadable)
        for name, number in self.names.numbers.items():
            if number < self.late.size and self.late[number]:
                what = "time repeats or goes back; rows not used until it moves on again"
                self.note(name, what, int(self.late[number]))
            if number < self.bad.size and self.bad[number]:
                what = "pressure blank, not a number or beyond any vessel; rows not used"
                self.note(name, what, int(self.bad[number]))

    def _cuts(self, name: str) -> Ints:
        """Where stretches begin; a part that goes round a window is cut at it."""
        starts = stretch_starts(self.change_days.get(name))
        if self.part is None or name not in self.part.windows:
            return starts
        return np.unique(np.concatenate([starts, self.part.windows[name][:, 0]]))

    def _forget_window_cuts(self, parts: Ints) -> None:
        """Name the stretches as they would be named without windows."""
        for name, number in self.names.numbers.items():
            own = parts[:, POSITION] == number
            starts = stretch_starts(self.change_days.get(name))
            parts[own, CELL] = starts[np.searchsorted(starts, parts[own, FIRST], "right") - 1]

    def _make_room(self, rows: int) -> None:
        """Grow what is counted per position, and the room to count rows in."""
        new = list(self.names.numbers)[self.last_seen.size :]
        if new:
            self.last_seen = np.append(self.last_seen, np.full(len(new), ALWAYS))
            self.late = np.append(self.late, np.zeros(len(new), np.int64))
            self.bad = np.append(self.bad, np.zeros(len(new), np.int64))
            cuts = [self._cuts(name) for name in new]
            self.cuts = np.concatenate([self.cuts, *cuts])
            ends = self.cut_ends[-1] + np.cumsum([len(cut) for cut in cuts])
            self.cut_ends = np.append(self.cut_ends, ends)
        if rows >= self.work.stack.size:
            self.work = make_work(rows)
            self.room = empty_ledger(len(self.room.parts), rows + 1)
            self.scratch = np.empty((4, rows + 1), np.int64)


def _wanted(batch: Batch, names: Names, part: Part) -> Batch:
    """Keep the rows inside the windows of their position, or those outside."""
    keep = np.full(batch.codes.size, not part.inside)
    known = list(names.numbers)
    begins = np.flatnonzero(np.diff(batch.codes, prepend=-1))
    for begin, end in zip(begins, np.append(begins[1:], batch.codes.size), strict=True):
        windows = part.windows.get(known[batch.codes[begin]])
        if windows is None:
            continue
        times = batch.times[begin:end]
        window = np.searchsorted(windows[:, 0], times, side="right") - 1
        inside = (window >= 0) & (times <= windows[window, 1])
        keep[begin:end][inside] = part.inside
    return replace(
        batch,
        codes=batch.codes[keep],
        times=batch.times[keep],
        pressure=batch.pressure[keep],
        temperature=None if batch.temperature is None else batch.temperature[keep],
    )


def stretch_starts(change_days: NDArray[np.datetime64] | None) -> Ints:
    """Give where the stretches of a position begin: quarters, and days of change. [ms]"""
    if change_days is None or not len(change_days):
        return np.concatenate([[ALWAYS], _QUARTERS])
    days = np.asarray(change_days, "datetime64[D]").astype("datetime64[ms]").astype(np.int64)
    return np.unique(np.concatenate([[ALWAYS], _QUARTERS, days, days + _DAY_MS]))


def tally_series(
    position: str,
    times_ms: NDArray[np.int64],
    pressure_barg: NDArray[np.float64],
    limits: Limits | None = None,
    change_days: ChangeDays | None = None,
) -> HistoryTally:
    """Tally one position's rows held in memory.

    Parameters
    ----------
    position : str
        Its name.
    times_ms : ndarray of int, shape (n,)
        Times, ascending. [ms since 1970]
    pressure_barg : ndarray of float, shape (n,)
        NaN where none was read. [barg]
    limits, change_days
        As in `scan_history`.

    Returns
    -------
    HistoryTally
        What a scan of a file with these rows gives.
    """
    names = Names()
    codes = np.zeros(min(len(times_ms), BATCH_ROWS), np.int32) + names.number([position])
    counter = Counter("", names, change_days or {}, limits or Limits())
    for start in range(0, len(times_ms), BATCH_ROWS):
        times = times_ms[start : start + BATCH_ROWS]
        pressure = pressure_barg[start : start + BATCH_ROWS]
        counter.add(Batch(codes=codes[: times.size], times=times, pressure=pressure, unreadable=0))
    return counter.finish()
