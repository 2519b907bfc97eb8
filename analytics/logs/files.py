"""Read one file into rows of text, each with its line; nothing is interpreted yet."""

import csv
import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from analytics.errors import InputError
from analytics.logs.sandbox import unpacked_text
from analytics.logs.settings import Settings

__all__ = ["SUFFIXES", "Broken", "RawTable", "parse_text", "read_file"]

SUFFIXES = (".csv", ".txt", ".tsv", ".xlsx", ".parquet")
_LARGEST = 600_000_000
_CHUNK = 50_000
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
    columns : tuple of pyarrow.ChunkedArray of string, each of length n_rows
        Cell texts in the order of the header.
    lines : ndarray of int, shape (n_rows,)
        Line (CSV) or row (XLSX, Parquet) on which each row begins; a header is line 1.
    spans : ndarray of int, shape (n_rows, 2)
        First and one past the last of `text_lines` that made the row.
    text_lines : sequence of str
        The text as read, by line.
    broken : tuple of Broken
        Records that fit no column.
    notes : tuple of str
        What was assumed about the file.
    """

    file: str
    header: tuple[str, ...]
    columns: tuple[pa.ChunkedArray, ...]
    lines: NDArray[np.int64]
    spans: NDArray[np.int64]
    text_lines: Sequence[str]
    broken: tuple[Broken, ...]
    notes: tuple[str, ...] = ()

    def raw(self, row: int) -> str:
        """Give the text that made a row, as it stood in the file."""
        first, last = self.spans[row]
        return "".join(self.text_lines[first:last]).rstrip("\r\n")


def read_file(
    path: Path,
    settings: Settings,
    *,
    sheets: Sequence[str],
    known: Callable[[Sequence[str]], int],
) -> RawTable:
    """Read a CSV, XLSX or Parquet file into text.

    Parameters
    ----------
    path : Path
        The file.
    settings : Settings
        Declared encoding, delimiter, decimal mark and date format.
    sheets : sequence of str
        Sheet names to look for in a workbook, the best first.
    known : callable
        Counts the known columns of a header; the delimiter that gives most is taken.

    Raises
    ------
    InputError
        If the file is empty, too large, not text, or refused by its parser.
    """
    size = path.stat().st_size
    if size == 0:
        raise InputError(f"{path.name} is empty; it must hold a header line")
    if size > _LARGEST:
        raise InputError(
            f"{path.name} must be smaller than {_LARGEST // 10**6} MB; split it by year"
        )
    if path.suffix.lower() in (".xlsx", ".parquet"):
        text = unpacked_text(path, sheets, settings)
        return parse_text(text, path.name, delimiter=",", numbered=True)
    text, notes = _decode(path.read_bytes(), path.name, settings.encoding)
    return parse_text(text, path.name, delimiter=settings.delimiter, known=known, notes=notes)


def _decode(data: bytes, name: str, declared: str | None) -> tuple[str, tuple[str, ...]]:
    notes: tuple[str, ...] = ()
    if declared is not None:
        encoding = {"utf-8": "utf-8-sig"}.get(declared, declared)
    elif data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    else:
        encoding = "utf-8-sig"
        try:
            return data.decode(encoding), notes
        except UnicodeDecodeError:
            encoding = "cp1252"
            notes = (
                f"{name} is not UTF-8 and was read as Windows-1252; "
                "declare encoding in logs.toml if letters look wrong",
            )
    try:
        return data.decode(encoding), notes
    except UnicodeDecodeError as error:
        raise InputError(
            f"{name} is no {encoding} text (byte {error.start}); save it as CSV in UTF-8"
        ) from None


def parse_text(
    text: str,
    name: str,
    *,
    delimiter: str | None = None,
    known: Callable[[Sequence[str]], int] = len,
    numbered: bool = False,
    notes: tuple[str, ...] = (),
) -> RawTable:
    """Split CSV text into rows, keeping each row's line.

    A record whose quotes do not close takes only its own first line into
    quarantine; reading goes on at the next line, so one stray quote cannot
    swallow the rest of the file.

    Parameters
    ----------
    text : str
        The decoded text.
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

    Raises
    ------
    InputError
        If there is no header.
    """
    lines = list(io.StringIO(text, newline=""))
    start = 0
    if lines and lines[0].strip().lower() in {f"sep={mark}" for mark in _DELIMITERS}:
        delimiter, start = lines[0].strip()[4], 1
    while start < len(lines) and not lines[start].strip('\r\n\t ,;|"'):
        start += 1
    if start == len(lines):
        raise InputError(f"{name} is empty; it must hold a header line")
    delimiter = delimiter or _sniff(lines[start], known)
    records = _records(lines, start, delimiter)
    _, last, fields = next(records)
    if fields is None:
        raise InputError(f"{name} has a header whose quotes do not close (line {start + 1})")
    header = tuple(fields[1:] if numbered else fields)
    return _gather(records, name, header, lines, numbered, notes)


def _sniff(line: str, known: Callable[[Sequence[str]], int]) -> str:
    return max(
        _DELIMITERS,
        key=lambda mark: (known(next(csv.reader([line], delimiter=mark))), line.count(mark)),
    )


def _records(
    lines: Sequence[str], start: int, delimiter: str
) -> Iterator[tuple[int, int, list[str] | None]]:
    """Yield first line, one past the last, and the fields; None when quotes are broken."""
    while start < len(lines):
        rest = map(lines.__getitem__, range(start, len(lines)))
        reader = csv.reader(rest, delimiter=delimiter, strict=True)
        begun = 0
        try:
            for fields in reader:
                ended = reader.line_num
                yield start + begun, start + ended, fields
                begun = ended
            return
        except csv.Error:
            yield start + begun, start + begun + 1, None
            start += begun + 1


def _gather(
    records: Iterator[tuple[int, int, list[str] | None]],
    name: str,
    header: tuple[str, ...],
    lines: Sequence[str],
    numbered: bool,
    notes: tuple[str, ...],
) -> RawTable:
    width = len(header) + numbered
    rows: list[list[str]] = []
    spans: list[tuple[int, int]] = []
    chunks: list[pa.Table] = []
    broken: list[Broken] = []
    for first, last, fields in records:
        if fields is not None and len(fields) > width and not any(fields[width:]):
            fields = fields[:width]  # a spreadsheet's empty columns on the right
        if fields is not None and not any(map(str.strip, fields[numbered:])):
            continue
        if fields is None or len(fields) != width:
            broken.append(_broken(lines, first, last, fields, width, numbered))
            continue
        rows.append(fields)
        spans.append((first, last))
        if len(rows) == _CHUNK:
            chunks.append(_as_arrow(rows, width))
            rows = []
    table = pa.concat_tables([*chunks, _as_arrow(rows, width)])
    columns = tuple(table.columns)
    where = np.asarray(spans, dtype=np.int64).reshape(-1, 2)
    return RawTable(
        file=name,
        header=header,
        columns=columns[numbered:],
        lines=_numbers(columns[0]) if numbered else where[:, 0] + 1,
        spans=where,
        text_lines=lines,
        broken=tuple(broken),
        notes=notes,
    )


def _as_arrow(rows: list[list[str]], width: int) -> pa.Table:
    cells = zip(*rows, strict=True) if rows else [()] * width
    return pa.table(
        [pa.array(column, type=pa.string()) for column in cells], names=list(map(str, range(width)))
    )


def _numbers(column: pa.ChunkedArray) -> NDArray[np.int64]:
    return np.asarray(column.cast(pa.int64()), dtype=np.int64)


def _broken(
    lines: Sequence[str],
    first: int,
    last: int,
    fields: list[str] | None,
    width: int,
    numbered: bool,
) -> Broken:
    required = f"{width - numbered} fields, quotes in pairs"
    line = int(fields[0]) if numbered and fields else first + 1
    return Broken(line=line, raw="".join(lines[first:last]).rstrip("\r\n"), required=required)
