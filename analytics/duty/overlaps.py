"""Two files tell of one position at one time: do they agree, and which is used?"""

from bisect import bisect_left, insort
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analytics.duty.fold import fold
from analytics.duty.ledger import CYCLE_END, FIRST, LAST, POSITION, ROWS, Ledger
from analytics.duty.tally import HistoryTally, Note, merge_tallies

__all__ = ["Coverage", "Part", "Windows", "told_once", "told_spans"]

Windows = Mapping[str, NDArray[np.int64]]
"""Stretches of time per position, shape (k, 2): first and last row, ascending. [ms]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Which rows of a file are read again: those inside the windows, or all others."""

    windows: Windows
    inside: bool


ReadAgain = Callable[[Path, Part], HistoryTally]


def told_spans(tally: HistoryTally) -> Windows:
    """Give the stretches of time that a tally tells of, position by position."""
    parts = tally.ledger.parts
    order = np.lexsort((parts[:, FIRST], parts[:, POSITION]))
    spans = parts[order][:, [FIRST, LAST]]
    edges = np.searchsorted(parts[order, POSITION], np.arange(len(tally.positions) + 1))
    return {name: spans[edges[code] : edges[code + 1]] for code, name in enumerate(tally.positions)}


class Coverage:
    """What the files read so far tell of; grows with positions and gaps, not with files."""

    def __init__(self, gap_ms: int) -> None:
        self.gap_ms = gap_ms
        self.spans: dict[str, list[list[int]]] = {}
        self.files: list[tuple[Path, int, int]] = []

    def add(self, path: Path, told: Windows) -> None:
        """Take in what a file tells of and no file before it does."""
        ends = [spans for spans in told.values() if len(spans)]
        if ends:
            first = min(int(spans[0, 0]) for spans in ends)
            self.files.append((path, first, max(int(spans[-1, 1]) for spans in ends)))
        for name, spans in told.items():
            known = self.spans.setdefault(name, [])
            for first, last in spans.tolist():
                if known and 0 <= first - known[-1][1] <= self.gap_ms:
                    known[-1][1] = last  # goes on where the last one stopped
                else:
                    insort(known, [first, last])

    def shared(self, told: Windows) -> Windows:
        """Give the stretches of a file that files before it tell of too.

        The last row of one being the first row of the next is not telling it twice.
        """
        found = {}
        for name, spans in told.items():
            known = self.spans.get(name, [])
            both = [
                [max(first, begin), min(last, end)]
                for first, last in spans.tolist()
                for begin, end in _near(known, first, last)
            ]
            if both:
                found[name] = _joined(np.array(both, np.int64))
        return found

    def files_within(self, windows: Windows) -> list[Path]:
        """List the files that may tell of these stretches."""
        begin = min(int(window[0, 0]) for window in windows.values())
        end = max(int(window[-1, 1]) for window in windows.values())
        return [path for path, first, last in self.files if first < end and last > begin]


def told_once(
    path: Path,
    tally: HistoryTally,
    windows: Windows,
    earlier: Sequence[Path],
    read_again: ReadAgain,
) -> HistoryTally:
    """Leave out of a file's tally what earlier files tell of, and say whether they agree.

    Parameters
    ----------
    path : Path
        The file.
    tally : HistoryTally
        All of it.
    windows : Windows
        What earlier files tell of too.
    earlier : sequence of Path
        Those files.
    read_again : callable
        Tallies part of a file anew.

    Returns
    -------
    HistoryTally
        The tally of the rows outside, with a note per position: rows that say the same are
        used once; where files contradict each other, the earlier one is used.
    """
    part = Part(windows=windows, inside=True)
    mine = read_again(path, part)
    others = [read_again(other, part) for other in earlier]
    theirs = merge_tallies(others)
    told_by = [
        other.name for other, told in zip(earlier, others, strict=True) if len(told.ledger.parts)
    ]
    notes = [
        Note(file=path.name, position_id=name, what=_agreement(mine, theirs, name, told_by), rows=n)
        for name in windows
        if (n := int(mine.ledger.parts[_own(mine, name), ROWS].sum()))
    ]
    outside = read_again(path, Part(windows=windows, inside=False))
    return replace(outside, notes=(*tally.notes, *notes))


def _agreement(mine: HistoryTally, theirs: HistoryTally, name: str, told_by: list[str]) -> str:
    others = told_by[0] if told_by else "an earlier file"
    others += f" and {len(told_by) - 1} more files" if len(told_by) > 1 else ""
    if not _own(theirs, name).any():
        return f"falls into a gap of {others}; not used: write these times into one file"
    if _same(mine, theirs, name):
        return f"repeats what {others} told; used once"
    return (
        f"contradicts {others} on the same stretch of time; the earlier is used: export each "
        "stretch of time once"
    )


def _own(tally: HistoryTally, name: str) -> NDArray[np.bool_]:
    code = tally.positions.index(name) if name in tally.positions else -1
    return np.asarray(tally.ledger.parts[:, POSITION] == code)


def _same(one: HistoryTally, other: HistoryTally, name: str) -> bool:
    """Whether two tallies say the same of a position: times, counts and residues to the bit."""
    first, second = (_whole(tally, name) for tally in (one, other))
    return np.array_equal(
        first.parts[:, FIRST:CYCLE_END], second.parts[:, FIRST:CYCLE_END]
    ) and all(map(np.array_equal, first[1:], second[1:]))


def _whole(tally: HistoryTally, name: str) -> Ledger:
    groups = np.where(_own(tally, name), 0, -1)
    return fold(tally.ledger, groups.astype(np.int64), tally.gap_ms, tally.flat_ms)


def _near(known: list[list[int]], first: int, last: int) -> list[list[int]]:
    """Give the known stretches that overlap this one; known ones do not overlap each other."""
    stop = bisect_left(known, [last])
    start = stop
    while start > 0 and known[start - 1][1] > first:
        start -= 1
    return known[start:stop]


def _joined(windows: NDArray[np.int64]) -> NDArray[np.int64]:
    """Join windows that touch."""
    ordered = windows[np.argsort(windows[:, 0], kind="stable")]
    reached = np.maximum.accumulate(ordered[:, 1])
    begins = np.append(True, ordered[1:, 0] > reached[:-1])
    ends = np.append(begins[1:], True)
    return np.stack([ordered[begins, 0], reached[ends]], axis=1)
