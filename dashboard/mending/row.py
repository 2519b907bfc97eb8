"""One row that was set aside: what it holds, why it was refused, what another text comes to."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.errors import InputError
from analytics.logs.headers import match_header
from analytics.logs.mending import Mend, keep_mend, raw_at
from analytics.logs.reading import check_tables, existing_folder, read_raw_tables
from analytics.logs.recorded import with_records
from analytics.logs.records import RawTable
from analytics.logs.settings import read_settings, settings_of
from analytics.logs.tables import TABLES

__all__ = ["Aside", "look_at", "retry"]

_LONGEST = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Aside:
    """A row of a log file as it counts today.

    Attributes
    ----------
    table, file, line : str, str, int
        Which row.
    raw : str
        Its text as it stands in the file.
    header, cells : tuple of str
        Column names as the file writes them, and the texts that count under them.
    refused : DataFrame
        `column value reason required mend`; no rows once it is accepted.
    bad : frozenset of int
        Places of the cells that were refused.
    """

    table: str
    file: str
    line: int
    raw: str
    header: tuple[str, ...]
    cells: tuple[str, ...]
    refused: pd.DataFrame
    bad: frozenset[int]


def look_at(folder: Path, table: str, file: str, line: int) -> Aside:
    """Read the folder and find one row with what is wrong with it.

    Raises
    ------
    InputError
        If there is no such row, or the folder cannot be read.
    """
    settings, _ = with_records(read_settings(existing_folder(folder)), folder)
    raws = read_raw_tables(folder, settings)
    aside = check_tables(raws, settings).quarantine
    mine = (aside["table"] == table) & (aside["file"] == file) & (aside["line"] == line)
    for raw in raws.get(table, []):
        text = raw_at(raw, line) if raw.file == file else None
        if text is not None:
            own = settings_of(settings, table, file)
            places = match_header(raw.header, TABLES[table], own).places
            refused = aside[mine]
            return Aside(
                table=table,
                file=file,
                line=line,
                raw=text,
                header=raw.header,
                cells=_cells(raw, line),
                refused=refused,
                bad=frozenset(places[name] for name in refused["column"] if name in places),
            )
    raise InputError(f"{file} has no row on line {line}")


def retry(
    folder: Path, before: Aside, cells: Sequence[str], *, by: str, why: str
) -> tuple[Aside, str]:
    """Keep other texts for a row and check it again with all the rest.

    Returns
    -------
    after : Aside
        The row as it counts now.
    changed : str
        What was changed, in one line; blank when nothing was.

    Raises
    ------
    InputError
        If the texts are not one per column, or too long, or cannot be kept.
    """
    given = tuple(cell.replace("\r\n", "\n") for cell in cells)
    if len(given) != len(before.header):
        raise InputError(f"a row of {before.file} needs {len(before.header)} cells")
    if any(len(cell) > _LONGEST for cell in given):
        raise InputError(f"a cell holds at most {_LONGEST:,} characters")
    changed = ", ".join(
        f"{name} {old!r} to {new!r}"
        for name, old, new in zip(before.header, before.cells, given, strict=True)
        if old != new
    )
    if not changed and not before.refused["reason"].eq("broken_row").any():
        return before, ""
    mend = Mend(
        table=before.table,
        file=before.file,
        line=before.line,
        raw=before.raw,
        cells=given,
        by=by,
        at=datetime.now(UTC).isoformat(timespec="seconds"),
        why=why[:_LONGEST],
    )
    keep_mend(folder, mend)
    after = look_at(folder, before.table, before.file, before.line)
    return after, changed or "split anew into its columns"


def _cells(raw: RawTable, line: int) -> tuple[str, ...]:
    """Give the texts of a row; of a broken record, what a plain split gives of it."""
    for row in np.flatnonzero(raw.lines == line).tolist():
        return tuple(column[row].as_py() or "" for column in raw.columns)
    text = raw_at(raw, line) or ""
    mark = max(",;\t|", key=text.count)
    try:
        fields = next(csv.reader([text], delimiter=mark), [])
    except csv.Error:
        fields = text.split(mark)
    width = len(raw.header)
    return (*fields[:width], *[""] * (width - len(fields)))
