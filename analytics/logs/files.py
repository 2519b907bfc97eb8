"""Read one file into rows of text; nothing is interpreted yet."""

import io
from collections.abc import Callable, Sequence
from pathlib import Path

from analytics.errors import InputError
from analytics.logs.records import RawTable, split_records
from analytics.logs.sandbox import unpacked_text
from analytics.logs.settings import Settings

__all__ = ["SUFFIXES", "read_file"]

SUFFIXES = (".csv", ".txt", ".tsv", ".xlsx", ".parquet")
_LARGEST = 300_000_000
"""Bytes of one file; a million removals take about a third of it."""


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
        lines = _lines(unpacked_text(path, sheets, settings), "utf-8")
        return split_records(lines, path.name, delimiter=",", numbered=True)
    lines, notes = _decode(path.read_bytes(), path.name, settings.encoding)
    return split_records(lines, path.name, delimiter=settings.delimiter, known=known, notes=notes)


def _decode(data: bytes, name: str, declared: str | None) -> tuple[list[str], tuple[str, ...]]:
    notes: tuple[str, ...] = ()
    marked = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    if declared == "cp1252":
        encoding = "cp1252"
    elif marked or declared == "utf-16":
        encoding = "utf-16" if marked else "utf-16-le"  # without its mark: as Windows writes it
    elif declared == "utf-8":
        encoding = "utf-8-sig"
    else:
        encoding = "utf-8-sig"
        try:
            return _lines(data, encoding), notes
        except UnicodeDecodeError:
            encoding = "cp1252"
            notes = (
                f"{name} is not UTF-8 and was read as Windows-1252; "
                "declare encoding in logs.toml if letters look wrong",
            )
    try:
        return _lines(data, encoding), notes
    except UnicodeDecodeError as error:
        raise InputError(
            f"{name} is no {encoding} text (byte {error.start}); save it as CSV in UTF-8"
        ) from None


def _lines(data: bytes, encoding: str) -> list[str]:
    """Decode to lines that keep their ends, without a second copy of the whole text."""
    return list(io.TextIOWrapper(io.BytesIO(data), encoding=encoding, newline=""))
