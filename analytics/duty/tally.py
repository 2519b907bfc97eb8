"""What a historian says about each position and stretch of time, in mergeable form."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.duty.fold import fold
from analytics.duty.ledger import CELL, FIRST, LAST, POSITION, ROWS, Ledger, concatenate

__all__ = ["HistoryTally", "Note", "merge_tallies"]

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """Something a reader of the historian must know.

    Attributes
    ----------
    file : str
        The file's name.
    position_id : str
        Blank when it concerns the whole file.
    what : str
        In plain words, with what would mend it.
    rows : int
        Rows it concerns.
    """

    file: str
    position_id: str
    what: str
    rows: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HistoryTally:
    """All a scan keeps of a historian: whole numbers that merge exactly.

    Attributes
    ----------
    positions : tuple of str
        Position names, ascending; parts name them by number.
    ledger : Ledger
        One part per position and stretch of time, ascending.
    gap_ms, flat_ms : int
        The limits it was made with. [ms]
    notes : tuple of Note
        What was set aside or looks wrong.
    """

    positions: tuple[str, ...]
    ledger: Ledger
    gap_ms: int
    flat_ms: int
    notes: tuple[Note, ...] = ()

    @property
    def cautions(self) -> tuple[str, ...]:
        """The notes in plain sentences, those that say the same of many positions joined."""
        found: dict[tuple[str, str], list[Note]] = {}
        for note in self.notes:
            found.setdefault((note.file, note.what), []).append(note)
        return tuple(
            f"Historian file {file}{_where(notes)}: {what}."
            for (file, what), notes in found.items()
        )

    def equals(self, other: "HistoryTally") -> bool:
        """Whether both say the same to the bit; notes are not compared."""
        return (
            self.positions == other.positions
            and (self.gap_ms, self.flat_ms) == (other.gap_ms, other.flat_ms)
            and all(map(np.array_equal, self.ledger, other.ledger))
        )


def _where(notes: list[Note]) -> str:
    """Say which positions and how many rows notes are about."""
    names = [note.position_id for note in notes if note.position_id]
    rows = sum(note.rows for note in notes)
    places = [", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")]
    places += [f"{rows:,} rows"] if rows else []
    said = ", ".join(place for place in places if place)
    return f" ({said})" if said else ""


def merge_tallies(tallies: Sequence[HistoryTally], files: Sequence[str] = ()) -> HistoryTally:
    """Merge the tallies of several pieces, in whatever order they come.

    Parameters
    ----------
    tallies : sequence of HistoryTally
        At least one; all made with the same limits.
    files : sequence of str, optional
        The names of the files they are from.

    Returns
    -------
    HistoryTally
        Where two parts of one position overlap in time, the one that begins later
        is set aside and noted.

    Raises
    ------
    ValueError
        If there is none or the limits differ.
    """
    if not tallies or len({(tally.gap_ms, tally.flat_ms) for tally in tallies}) > 1:
        raise ValueError("merge_tallies needs one or more tallies made with the same limits")
    names = tuple(sorted({name for tally in tallies for name in tally.positions}))
    joined = concatenate([_renumbered(tally, names) for tally in tallies])
    _, groups = np.unique(joined.parts[:, [POSITION, CELL]], axis=0, return_inverse=True)
    groups, late = _without_overlap(joined.parts, groups.reshape(-1).astype(np.int64))
    labels = list(files) or [""] * len(tallies)
    source = np.repeat(np.arange(len(tallies)), [len(tally.ledger.parts) for tally in tallies])
    overlaps = [
        Note(
            file=labels[source[part]],
            position_id=names[joined.parts[part, POSITION]],
            what="overlaps in time what another file says of this position; not used: "
            "export each stretch of time once",
            rows=int(joined.parts[part, ROWS]),
        )
        for part in late
    ]
    return HistoryTally(
        positions=names,
        ledger=fold(joined, groups, tallies[0].gap_ms, tallies[0].flat_ms),
        gap_ms=tallies[0].gap_ms,
        flat_ms=tallies[0].flat_ms,
        notes=(*(note for tally in tallies for note in tally.notes), *overlaps),
    )


def _renumbered(tally: HistoryTally, names: tuple[str, ...]) -> Ledger:
    """Number the positions of a tally by a longer list of names."""
    number = {name: index for index, name in enumerate(names)}
    codes = np.array([number[name] for name in tally.positions], np.int64)
    parts = tally.ledger.parts.copy()
    parts[:, POSITION] = codes[parts[:, POSITION]]
    return tally.ledger._replace(parts=parts)


def _without_overlap(parts: Ints, groups: Ints) -> tuple[Ints, list[int]]:
    """Leave out parts that begin before an earlier part of their group ended."""
    order = np.lexsort((parts[:, LAST], parts[:, FIRST], groups))
    first, last, group = parts[order, FIRST], parts[order, LAST], groups[order]
    if not ((first[1:] < last[:-1]) & (group[1:] == group[:-1])).any():
        return groups, []
    kept = groups.copy()
    late = []
    reached, current = np.int64(0), -1
    for index, part in enumerate(order):
        if group[index] == current and first[index] < reached:
            kept[part] = -1
            late.append(int(part))
        else:
            reached, current = last[index], group[index]
    return kept, late
