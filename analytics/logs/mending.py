"""Rows mended by hand: another text for a row that stays in its file as it stood."""

import json
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np
import pyarrow as pa

from analytics.errors import InputError
from analytics.logs.records import RawTable

__all__ = ["MENDS", "Mend", "keep_mend", "mends_of", "raw_at", "with_mends"]

MENDS = Path("recorded") / "mends.jsonl"
"""Where a log folder keeps its mends; no log table, so nothing else reads it."""

_LOCK = threading.Lock()


@dataclass(frozen=True, slots=True, kw_only=True)
class Mend:
    """Another text for one row of a file.

    Attributes
    ----------
    table, file, line : str, str, int
        Which row.
    raw : str
        Its text as it stood when it was mended; on a row that reads otherwise the
        mend no longer speaks of it and is left out.
    cells : tuple of str
        The texts that count instead, in the order of the file's header.
    by, at, why : str
        Who mended it, when [UTC], and why.
    """

    table: str
    file: str
    line: int
    raw: str
    cells: tuple[str, ...]
    by: str
    at: str
    why: str = ""


def mends_of(folder: Path) -> list[Mend]:
    """List the mends of a log folder; of several for one row the last counts."""
    path = folder / MENDS
    if not path.is_file():
        return []
    found: dict[tuple[str, str, int], Mend] = {}
    for text in path.read_text(encoding="utf-8").splitlines():
        try:
            read = json.loads(text)
            mend = Mend(**{**read, "cells": tuple(read["cells"])})
        except (ValueError, TypeError, KeyError):
            continue  # a line cut short by a crash
        found[mend.table, mend.file, mend.line] = mend
    return list(found.values())


def keep_mend(folder: Path, mend: Mend) -> None:
    """Add a mend to a log folder's; earlier ones stay on record.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    path = folder / MENDS
    line = json.dumps(asdict(mend), ensure_ascii=False)
    try:
        with _LOCK:
            path.parent.mkdir(exist_ok=True)
            with path.open("a", encoding="utf-8") as mends:
                mends.write(line + "\n")
    except OSError as error:
        raise InputError(f"mends are kept in {path}, which fails: {error.strerror}") from None


def with_mends(
    raws: Mapping[str, Sequence[RawTable]], mends: Iterable[Mend]
) -> dict[str, list[RawTable]]:
    """Put mended texts in place of the rows they mend, before anything is checked.

    Parameters
    ----------
    raws : mapping of str to sequence of RawTable
        The files of every table as read.
    mends : iterable of Mend
        What counts instead.

    Returns
    -------
    dict of str to list of RawTable
        The same rows in all; mended ones stand behind the others of their file, so
        that of two equal rows the one that was right from the start counts.
    """
    given = list(mends)
    return {
        name: [
            part
            for raw in parts
            for part in _mended(raw, [m for m in given if (m.table, m.file) == (name, raw.file)])
        ]
        for name, parts in raws.items()
    }


def raw_at(raw: RawTable, line: int) -> str | None:
    """Give the text of the row or broken record on a line; None if there is none."""
    for row in np.flatnonzero(raw.lines == line).tolist():
        return raw.raw(row)
    return next((broken.raw for broken in raw.broken if broken.line == line), None)


def _mended(raw: RawTable, mends: Sequence[Mend]) -> list[RawTable]:
    if not mends:
        return [raw]
    good = [m for m in mends if raw_at(raw, m.line) == m.raw and len(m.cells) == len(raw.header)]
    stale = sorted(m.line for m in mends if m not in good)
    notes = raw.notes
    if stale:
        lines = ", ".join(map(str, stale))
        notes += (f"{raw.file}: mends of lines that read otherwise now were left out: {lines}",)
    if not good:
        return [replace(raw, notes=notes)]
    notes += (f"{raw.file}: {len(good)} rows count as mended here, not as the file has them",)
    gone = {mend.line for mend in good}
    stays = ~np.isin(raw.lines, list(gone))
    rest = replace(
        raw,
        columns=tuple(column.filter(pa.array(stays)) for column in raw.columns),
        lines=raw.lines[stays],
        spans=raw.spans[stays],
        broken=tuple(broken for broken in raw.broken if broken.line not in gone),
        notes=notes,
    )
    places = np.arange(len(good), dtype=np.int64)
    instead = replace(
        raw,
        columns=tuple(
            pa.chunked_array([pa.array([mend.cells[n] for mend in good], type=pa.string())])
            for n in range(len(raw.header))
        ),
        lines=np.array([mend.line for mend in good], dtype=np.int64),
        spans=np.column_stack([places, places + 1]),
        text_lines=pa.array([mend.raw for mend in good], type=pa.string()),
        broken=(),
        notes=(),
    )
    return [rest, instead]
