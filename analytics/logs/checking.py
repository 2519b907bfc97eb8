"""Which rows of a table can be used, and what is wrong with the others?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from analytics.errors import InputError
from analytics.logs.columns import findings_where, type_file
from analytics.logs.headers import Header, match_header
from analytics.logs.records import RawTable
from analytics.logs.refusals import Finding, Reason
from analytics.logs.settings import Settings, settings_of
from analytics.logs.tables import Table
from analytics.units import unit_words

__all__ = [
    "QUARANTINE_COLUMNS",
    "CheckedTable",
    "accepted",
    "check_table",
    "header_problems",
    "quarantine",
]

QUARANTINE_COLUMNS = (
    "table", "file", "line", "column", "value", "reason", "required", "mend", "raw",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedTable:
    """Every row of one table, typed, and what was found wrong.

    Attributes
    ----------
    table : Table
        The declaration.
    raws : tuple of RawTable
        The files it came from, in order.
    headers : tuple of Header
        One per file.
    frame : DataFrame
        All rows that could be split, good or bad, in file order, index 0..n-1.
    findings : tuple of Finding
        What is wrong with which rows.
    notes : tuple of str
        Questions to the plant.
    """

    table: Table
    raws: tuple[RawTable, ...]
    headers: tuple[Header, ...]
    frame: pd.DataFrame
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]

    @property
    def read(self) -> int:
        """Count the rows of all files."""
        return len(self.frame) + sum(len(raw.broken) for raw in self.raws)

    def texts(self, column: str, rows: NDArray[np.int64]) -> list[str]:
        """Give the texts of one column as they stood, for ascending row positions."""
        texts: list[str] = []
        for raw, header, inside in _by_file(self, rows):
            place = header.places.get(column)
            found = (
                raw.columns[place].take(pa.array(inside)).to_pylist() if place is not None else []
            )
            texts += found or [""] * len(inside)
        return texts


def check_table(
    table: Table, raws: Sequence[RawTable], settings: Settings, *, last_day: date
) -> CheckedTable:
    """Type every cell of a table and say what is wrong with each row.

    Parameters
    ----------
    table : Table
        The declaration.
    raws : sequence of RawTable
        The files that hold it.
    settings : Settings
        How this plant writes; the table's own format is looked up here.
    last_day : date
        Nothing can have happened after this day.

    Returns
    -------
    CheckedTable
        `accepted` and `quarantine` give its two halves.

    Raises
    ------
    InputError
        If a required column or a unit is missing or unknown; all in one line.
    """
    owns = [settings_of(settings, table.name, raw.file) for raw in raws]
    headers = tuple(
        match_header(raw.header, table, own) for raw, own in zip(raws, owns, strict=True)
    )
    problems = header_problems(table, raws, settings)
    if problems:
        raise InputError("; ".join(problems))
    frames: list[pd.DataFrame] = []
    findings: list[Finding] = []
    offset = 0
    for raw, header, own in zip(raws, headers, owns, strict=True):
        frame, found = type_file(table, raw, header, own, last_day)
        frames.append(frame)
        findings += [replace(item, rows=item.rows + offset) for item in found]
        offset += len(frame)
    frame = pd.concat(frames, ignore_index=True) if len(frames) > 1 else frames[0]
    checked = CheckedTable(
        table=table,
        raws=tuple(raws),
        headers=headers,
        frame=frame,
        findings=(*findings, *_out_of_order(table, frame)),
        notes=tuple(_notes(table, raws, headers)),
    )
    return replace(checked, findings=(*checked.findings, *_duplicates(checked)))


def header_problems(table: Table, raws: Sequence[RawTable], settings: Settings) -> list[str]:
    """Name what makes the files of a table unusable: columns missing, twice, without a unit."""
    problems = []
    for raw in raws:
        header = match_header(raw.header, table, settings_of(settings, table.name, raw.file))
        found = (*header.problems, *_unitless(table, raw, header))
        problems += [f"{raw.file}: {problem}" for problem in found]
    return problems


def accepted(checked: CheckedTable) -> pd.DataFrame:
    """Give the rows with nothing wrong; the index is still the row's position."""
    good = _good(checked)
    return checked.frame if good.all() else checked.frame[good]


def _good(checked: CheckedTable) -> NDArray[np.bool_]:
    good = np.ones(len(checked.frame), dtype=bool)
    for finding in checked.findings:
        good[finding.rows] = False
    return good


def quarantine(checked: CheckedTable) -> pd.DataFrame:
    """List everything wrong: one line per row and column, with the raw text.

    Returns
    -------
    DataFrame
        Columns `QUARANTINE_COLUMNS`; a row with two bad cells stands twice.
    """
    records = [
        (checked.table.name, raw.file, broken.line, "", "", Reason.BROKEN_ROW.value,
         broken.required, "mend the delimiters and quotes of this line", broken.raw)
        for raw in checked.raws
        for broken in raw.broken
    ]  # fmt: skip
    for finding in checked.findings:
        refusal = finding.refusal
        texts = iter(checked.texts(finding.column, finding.rows))
        for part, _, rows in _by_file(checked, finding.rows):
            records += [
                (checked.table.name, part.file, int(part.lines[row]), finding.column, text,
                 refusal.reason.value, refusal.required, refusal.mend, part.raw(row))
                for row, text in zip(rows, texts, strict=False)
            ]  # fmt: skip
    listed = pd.DataFrame.from_records(records, columns=list(QUARANTINE_COLUMNS))
    listed["line"] = listed["line"].astype("int64")
    return listed.sort_values(["file", "line"], kind="stable", ignore_index=True)


def _unitless(table: Table, raw: RawTable, header: Header) -> list[str]:
    """Name the measured columns that hold values but say no unit."""
    problems = []
    for column in table.columns:
        silent = column.name not in header.units and column.name not in header.unit_places
        if column.dimension is None or column.name not in header.places or not silent:
            continue
        if any(
            text.strip() for text in raw.columns[header.places[column.name]].unique().to_pylist()
        ):
            words = " ".join(unit_words(column.dimension))
            problems.append(
                f"column {column.name} needs its unit, as {column.name} [unit] in the header, "
                f"one of: {words}"
            )
    return problems


def _notes(table: Table, raws: Sequence[RawTable], headers: Sequence[Header]) -> list[str]:
    notes = [note for raw in raws for note in raw.notes]
    for raw, header in zip(raws, headers, strict=True):
        if header.unknown:
            notes.append(
                f"{raw.file}: columns that are not part of {table.name} were left aside: "
                f"{', '.join(header.unknown)}"
            )
    return list(dict.fromkeys(notes))  # mended rows of a file come under the same header


def _out_of_order(table: Table, frame: pd.DataFrame) -> list[Finding]:
    findings = []
    for first, second in table.in_order:
        mask = (frame[first] > frame[second]).to_numpy(dtype=bool)
        findings += findings_where(
            mask, table.column(first), Reason.WRONG_ORDER, f"{first} up to {second}",
            f"mend {first} or {second}",
        )  # fmt: skip
    return findings


def _duplicates(checked: CheckedTable) -> list[Finding]:
    """Find rows that repeat an earlier good row, or its key with another content."""
    table = checked.table
    key = [table.column(name).internal_name for name in table.key]
    keys = checked.frame.loc[_good(checked), key]
    if not key or keys.empty:
        return []
    rivals = checked.frame.loc[keys.index[keys.duplicated(keep=False)]]
    content = [column.internal_name for column in table.columns]
    same = rivals.duplicated(content).to_numpy()
    clash = rivals.duplicated(key).to_numpy() & ~same
    name = " and ".join(table.key)
    several = np.zeros(len(rivals), dtype=bool)
    if table.name in ("installs", "removals"):
        several = clash & (
            rivals["position_id"] != rivals.groupby(key)["position_id"].transform("first")
        ).to_numpy(dtype=bool)
    kinds = (
        (same, Reason.DUPLICATE_ROW, "each row once", "nothing to do: the first one counts"),
        (clash & ~several, Reason.DUPLICATE_KEY, f"one row per {name}",
         f"give each row its own {name}, or take the wrong one out; the first one counts"),
        (several, Reason.ONE_ORDER_SEVERAL_POSITIONS, f"one row per {name}",
         f"give each position its own {name}, e.g. with -1, -2 behind the number"),
    )  # fmt: skip
    index = rivals.index.to_numpy(dtype=np.int64)
    return [
        replace(finding, rows=index[finding.rows])
        for mask, reason, required, mend in kinds
        for finding in findings_where(mask, table.column(table.key[0]), reason, required, mend)
    ]


def _by_file(
    checked: CheckedTable, rows: NDArray[np.int64]
) -> list[tuple[RawTable, Header, NDArray[np.int64]]]:
    """Split positions in the frame into positions in each file."""
    parts = []
    offset = 0
    for raw, header in zip(checked.raws, checked.headers, strict=True):
        inside = rows[(rows >= offset) & (rows < offset + len(raw.lines))] - offset
        if inside.size:
            parts.append((raw, header, inside))
        offset += len(raw.lines)
    return parts
