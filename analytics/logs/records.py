"""Split lines of delimited text into records, each with the lines that made it."""

import csv
from array import array
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from analytics.errors import InputError
from analytics.logs.refusals import Finding

__all__ = ["Broken", "RawTable", "split_records"]

_CHUNK = 20_000
_MOST_COLUMNS = 2_000
_DELIMITERS = (",", ";", "\t", "|")


@dataclass(frozen=True, slots=True, kw_only=True)
class Broken:
    """A record that could not be split into the header's columns."""

    line: int
    raw: str
    required: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """The rows of one file as text.

    Attributes
    ----------
    file : str
        Its name in the log folder.
    header : tuple of str
        Column names as written.
    header_end : int
        Lines up to and with the header.
    columns : tuple of pyarrow.ChunkedArray of string, each of length n_rows
        Cell texts in the order of the header.
    lines : ndarray of int, shape (n_rows,)
        Line (CSV) or row (XLSX, Parquet) on which each row begins; a header is line 1.
    spans : ndarray of int, shape (n_rows, 2)
        First and one past the last of `text_lines` that made the row.
    text_lines : pyarrow.Array of string
        The text as read, by line.
    broken : tuple of Broken
        Records that fit no column.
    notes : tuple of str
        What was assumed about the file.
    given : tuple of Finding
        Cells that were refused when the row first came in, by row of this file.
    """

    file: str
    header: tuple[str, ...]
    header_end: int
    columns: tuple[pa.ChunkedArray, ...]
    lines: NDArray[np.int64]
    spans: NDArray[np.int64]
    text_lines: pa.Array
    broken: tuple[Broken, ...]
    notes: tuple[str, ...] = ()
    given: tuple[Finding, ...] = ()

    def raw(self, row: int) -> str:
        """Give the text that made a row, as it stood in the file."""
        first, last = self.spans[row]
        return "".join(self.text_lines[first:last].to_pylist()).rstrip("\r\n")


def split_records(
    lines: Sequence[str],
    name: str,
    *,
    delimiter: str | None = None,
    known: Callable[[Sequence[str]], int] = len,
    numbered: bool = False,
    notes: tuple[str, ...] = (),
) -> RawTable:
    """Split lines into a header and rows, keeping each row's line.

    A record whose quotes do not close takes only its own first line into
    quarantine; reading goes on at the next line, so one stray quote cannot
    swallow the rest of the file.

    Parameters
    ----------
    lines : sequence of str
        The decoded lines with their ends.
    name : str
        File name for messages.
    delimiter : str or None
        Field separator; None takes the one that gives most known columns.
    known : callable
        Counts the known columns of a header.
    numbered : bool
        Whether the first field of each record is its row number in the source.
    notes : tuple of str
        Carried into the result.

    Returns
    -------
    RawTable
        Rows without any text are skipped; all others are rows or broken.

    Raises
    ------
    InputError
        If there is no header.
    """
    start = 0
    if lines and lines[0].strip().lower() in {f"sep={mark}" for mark in _DELIMITERS}:
        delimiter, start = lines[0].strip()[4], 1
    while start < len(lines) and not lines[start].strip('\r\n\t ,;|"'):
        start += 1
    if start == len(lines):
        raise InputError(f"{name} is empty; it must hold a header line")
    records = _records(lines, start, delimiter or _sniff(lines[start], known))
    _, header_end, fields = next(records)
    if not fields:
        raise InputError(
            f"{name} has a header (line {start + 1}) whose quotes do not close, or that has no end"
        )
    if len(fields) > _MOST_COLUMNS:
        raise InputError(f"{name} has {len(fields)} columns; a log has at most {_MOST_COLUMNS}")
    header = tuple(fields[1:] if numbered else fields)
    raw = _gather(records, name, header, lines, numbered)
    return replace(raw, header_end=header_end, notes=notes)


def _sniff(line: str, known: Callable[[Sequence[str]], int]) -> str:
    """Take the delimiter that gives the most known columns, then the most columns."""

    def merit(mark: str) -> tuple[int, int]:
        try:
            return known(next(csv.reader([line], delimiter=mark))), line.count(mark)
        except csv.Error:
            return 0, 0

    return max(_DELIMITERS, key=merit)


def _records(
    lines: Sequence[str], start: int, delimiter: str
) -> Iterator[tuple[int, int, list[str]]]:
    """Yield first line, one past the last, and the fields; none when quotes are broken."""
    while start < len(lines):
        rest = map(lines.__getitem__, range(start, len(lines)))
        reader = csv.reader(rest, delimiter=delimiter, strict=True)
        first = start
        try:
            for fields in reader:
                last = start + reader.line_num
                if fields:
                    yield first, last, fields
                first = last
            return
        except csv.Error:
            yield first, first + 1, []
            start = first + 1


def _gather(
    records: Iterator[tuple[int, int, list[str]]],
    name: str,
    header: tuple[str, ...],
    lines: Sequence[str],
    numbered: bool,
) -> RawTable:
    width = len(header) + numbered
    rows: list[list[str]] = []
    spans = array("q")
    chunks: list[pa.Table] = []
    broken: list[Broken] = []
    for first, last, fields in records:
        if fields and not "".join(fields[numbered:]).strip():
            continue
        if len(fields) != width:
            if len(fields) < width or any(fields[width:]):
                broken.append(_broken(lines, first, last, fields, width, numbered))
                continue
            fields = fields[:width]  # a spreadsheet's empty columns on the right
        rows.append(fields)
        spans.append(first)
        spans.append(last)
        if len(rows) == _CHUNK:
            chunks.append(_as_arrow(rows, width))
            rows = []
    table = pa.concat_tables([*chunks, _as_arrow(rows, width)])
    columns = tuple(table.columns)
    where = np.frombuffer(spans, dtype=np.int64).reshape(-1, 2)
    return RawTable(
        file=name,
        header=header,
        header_end=0,
        columns=columns[numbered:],
        lines=np.asarray(columns[0].cast(pa.int64())) if numbered else where[:, 0] + 1,
        spans=where,
        text_lines=pa.array(lines, type=pa.string()),
        broken=tuple(broken),
    )


def _as_arrow(rows: list[list[str]], width: int) -> pa.Table:
    cells = zip(*rows, strict=True) if rows else [()] * width
    return pa.table(
        [pa.array(column, type=pa.string()) for column in cells], names=list(map(str, range(width)))
    )


def _broken(
    lines: Sequence[str], first: int, last: int, fields: list[str], width: int, numbered: bool
) -> Broken:
    return Broken(
        line=int(fields[0]) if numbered and fields else first + 1,
        raw="".join(lines[first:last]).rstrip("\r\n"),
        required=f"{width - numbered} fields, quotes in pairs",
    )
