"""Turn one XLSX or Parquet file into CSV text, alone in a process with limits.

Run as a script by `analytics.logs.sandbox`; it imports nothing of discward, so
that a file that kills its parser kills this process and nothing else. The first
field of each record is the row number in the source.
"""

import csv
import io
import os
import re
import sys
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta

__all__: list[str] = []

MEGABYTE = 1_000_000
MOST_MEMORY = 2_500 * MEGABYTE
LARGEST_UNPACKED = 600 * MEGABYTE
LARGEST_OUTPUT = 300 * MEGABYTE
MOST_ENTRIES = 5_000
HIGHEST_RATIO = 100
SMALL = 20 * MEGABYTE
"""Below this unpacked size a high compression ratio is no danger."""
MOST_EMPTY = 200_000
"""Cells of a sheet's rectangle that may be empty; the parser holds the rectangle in memory."""

_ENTITIES = re.compile(rb"<!(?:DOCTYPE|ENTITY)|<\0!\0D\0|\0<\0!\0D")
"""Plain or in UTF-16."""
_CELL = re.compile(rb"<(?:\w+:)?c[\s/>]")
_REFERENCE = re.compile(rb"""<(?:\w+:)?(?:c|row)\s[^>]*?r=["']([A-Z]{0,3})(\d{1,7})["']""")


class Refused(Exception):
    """The file is not one we open; its text goes to the user."""


def main(arguments: list[str]) -> int:
    """Write the records of a file to standard output; 3 and one line when refused."""
    path, sheets, decimal, date_format = arguments
    try:
        if path.lower().endswith(".parquet"):
            _limit(1000 * MEGABYTE + 20 * os.path.getsize(path))
            records = _parquet(path)
        else:
            # A cell takes the parser some 80 bytes for 30 bytes of XML.
            _limit(250 * MEGABYTE + 5 * check_archive(path))
            records = _sheet(path, sheets.split("\n"))
        _write(records, decimal, date_format)
    except Refused as refusal:
        print(refusal, file=sys.stderr)
        return 3
    return 0


def _limit(memory_bytes: int) -> None:
    """Bound memory and processor time where the system can."""
    try:
        import resource
    except ImportError:  # Windows: the parent's time limit still holds
        return
    most = min(memory_bytes, MOST_MEMORY)
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def check_archive(path: str) -> int:
    """Look at an archive before it is parsed; give its unpacked size in bytes."""
    with open(path, "rb") as file:
        start = file.read(8)
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        raise Refused("is encrypted or an old .xls; save it as .xlsx without a password")
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
            _check_directory(entries)
            for entry in entries:
                if entry.filename.lower().endswith((".xml", ".rels")):
                    _check_part(archive, entry)
            return sum(entry.file_size for entry in entries)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, RuntimeError):
        raise Refused("is no whole XLSX file; export it again") from None


def _check_directory(entries: list[zipfile.ZipInfo]) -> None:
    if len(entries) > MOST_ENTRIES:
        raise Refused(f"holds more than {MOST_ENTRIES} parts; export the table alone")
    for entry in entries:
        parts = entry.filename.replace("\\", "/").split("/")
        if ".." in parts or entry.filename.startswith("/") or ":" in entry.filename:
            raise Refused(f"holds a part that points outside it: {entry.filename!r}")
        if entry.flag_bits & 1:
            raise Refused("is encrypted; save it without a password")
    unpacked = sum(entry.file_size for entry in entries)
    packed = sum(entry.compress_size for entry in entries)
    if unpacked > LARGEST_UNPACKED or (unpacked > SMALL and unpacked > HIGHEST_RATIO * packed):
        raise Refused(f"unpacks to {unpacked // MEGABYTE} MB; export the table alone, as CSV")


def _check_part(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> None:
    """Refuse document types (entity bombs) and rectangles that are mostly empty."""
    cells, right, bottom, seen, tail = 0, 0, 0, 0, b""
    with archive.open(entry) as part:
        while block := part.read(MEGABYTE):
            seen += len(block)
            if seen > max(entry.file_size, SMALL):
                raise Refused("unpacks to more than it says; export it again")
            block = tail + block
            if _ENTITIES.search(block):
                raise Refused("declares XML entities; export it again from the spreadsheet program")
            cut = block.rfind(b"<")
            block, tail = block[:cut], block[cut:][-1000:]
            cells += len(_CELL.findall(block))
            for letters, digits in _REFERENCE.findall(block):
                bottom = max(bottom, int(digits))
                right = max(right, _column_number(letters))
    if bottom * max(right, 1) > MOST_EMPTY + 6 * cells:
        raise Refused(
            f"spans {bottom} rows and {right} columns but holds {cells} cells; "
            "delete the empty rows and columns"
        )


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _sheet(path: str, wanted: list[str]) -> Iterator[tuple[int, list[object]]]:
    import python_calamine

    try:
        book = python_calamine.CalamineWorkbook.from_path(path)
        name = _choose(book.sheet_names, wanted)
        rows = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
    except (python_calamine.CalamineError, OSError, ValueError) as error:
        raise Refused(f"cannot be read as XLSX: {' '.join(str(error).split())[:200]}") from None
    yield from enumerate(rows, start=1)


def _choose(names: list[str], wanted: list[str]) -> str:
    for name in wanted:
        for candidate in names:
            if candidate.casefold() == name.casefold():
                return candidate
    if len(names) == 1:
        return names[0]
    raise Refused(
        f"holds the sheets {', '.join(names)[:200]}; name the sheet after the table, "
        "or declare it as book.xlsx#Sheet under [sources] in logs.toml"
    )


def _parquet(path: str) -> Iterator[tuple[int, list[object]]]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        file = pq.ParquetFile(path, thrift_string_size_limit=MEGABYTE * 10)
        yield 0, list(file.schema_arrow.names)
        row = 0
        for batch in file.iter_batches(batch_size=50_000):
            for values in zip(*(column.to_pylist() for column in batch.columns), strict=True):
                row += 1
                yield row, list(values)
    except (pa.ArrowException, OSError, ValueError, MemoryError) as error:
        raise Refused(f"cannot be read as Parquet: {' '.join(str(error).split())[:200]}") from None


def _write(records: Iterable[tuple[int, list[object]]], decimal: str, date_format: str) -> None:
    """Write records as CSV, typed cells in the way the plant writes them."""
    written = 0
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    for number, values in records:
        writer.writerow([str(number), *(as_text(value, decimal, date_format) for value in values)])
        if buffer.tell() > MEGABYTE:
            written += _flush(buffer)
        if written > LARGEST_OUTPUT:
            raise Refused("holds too much; split it into several files")
    _flush(buffer)


def _flush(buffer: io.StringIO) -> int:
    """Hand what is buffered to the parent; gives its size in bytes."""
    data = buffer.getvalue().encode("utf-8", "replace")
    sys.stdout.buffer.write(data)
    buffer.seek(0)
    buffer.truncate()
    return len(data)


def as_text(value: object, decimal: str, date_format: str) -> str:
    """Write a typed cell as the plant would; ISO and `.` when nothing is declared."""
    if isinstance(value, str):
        return value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        if value != value:
            return ""
        return (
            str(int(value)) if value.is_integer() and abs(value) < 2**53 else repr(value)
        ).replace(".", decimal)
    if isinstance(value, datetime):
        if value.tzinfo is None and value.time() == time():
            return _day(value.date(), date_format)
        return value.isoformat(sep=" ")
    if isinstance(value, date):
        return _day(value, date_format)
    if isinstance(value, timedelta):
        return repr(value.total_seconds())
    return str(value)


def _day(value: date, date_format: str) -> str:
    return (
        value.isoformat()
        if not date_format.startswith(("%Y", "%y"))
        else value.strftime(date_format)
    )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
