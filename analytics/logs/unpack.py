"""Turn one XLSX or Parquet file into CSV text, alone in a process with limits.

Run as a script by `analytics.logs.sandbox`; it imports nothing of discward, so
that a file that kills its parser kills this process and nothing else. The first
field of each record is the row number in the source.
"""

import csv
import io
import sys
import zipfile
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta

__all__: list[str] = []

MEGABYTE = 1_000_000
LARGEST_UNPACKED = 600 * MEGABYTE
LARGEST_OUTPUT = 600 * MEGABYTE
MOST_ENTRIES = 5_000
HIGHEST_RATIO = 100
SMALL = 20 * MEGABYTE
"""Below this unpacked size a high compression ratio is no danger."""
MOST_EMPTY = 2_000_000
"""Cells of a sheet's rectangle that may be empty; the parser holds the rectangle in memory."""


class Refused(Exception):
    """The file is not one we open; its text goes to the user."""


def main(arguments: list[str]) -> int:
    """Write the records of a file to standard output; 3 and one line when refused."""
    path, limit, sheets, decimal, date_format = arguments
    _limit(int(limit))
    try:
        if path.lower().endswith(".parquet"):
            records = _parquet(path)
        else:
            check_archive(path)
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
    resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def check_archive(path: str) -> None:
    """Look at the archive's directory before anything is unpacked."""
    with open(path, "rb") as file:
        start = file.read(8)
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        raise Refused("is encrypted or an old .xls; save it as .xlsx without a password")
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
            _check_directory(entries)
            for entry in entries:
                if entry.filename.startswith("xl/worksheets/") and entry.filename.endswith(".xml"):
                    _check_sheet(archive, entry)
    except (zipfile.BadZipFile, EOFError, OSError, ValueError, NotImplementedError, RuntimeError):
        raise Refused("is no whole XLSX file; export it again") from None
    except zipfile.zlib.error:  # type: ignore[attr-defined]
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


def _check_sheet(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> None:
    """Refuse document types (entity bombs) and rectangles that are mostly empty."""
    import re

    reference = re.compile(rb'<c\s[^>]*?r="([A-Z]{1,3})(\d{1,7})"')
    cells, right, bottom, seen, tail = 0, 0, 0, 0, b""
    with archive.open(entry) as part:
        while block := part.read(MEGABYTE):
            seen += len(block)
            if seen > max(entry.file_size, SMALL):
                raise Refused("unpacks to more than it says; export it again")
            block = tail + block
            if b"<!DOCTYPE" in block or b"<!ENTITY" in block:
                raise Refused("declares XML entities; export it again from the spreadsheet program")
            cut = block.rfind(b"<")
            block, tail = block[:cut], block[cut:]
            for letters, digits in reference.findall(block):
                cells += 1
                bottom = max(bottom, int(digits))
                column = 0
                for letter in letters:
                    column = column * 26 + letter - 64
                right = max(right, column)
    if bottom * right - cells > MOST_EMPTY + cells:
        raise Refused(
            f"spans {bottom} rows and {right} columns but holds {cells} cells; "
            "delete the empty rows and columns"
        )


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
    for number, values in records:
        buffer = io.StringIO()
        texts = [as_text(value, decimal, date_format) for value in values]
        csv.writer(buffer, lineterminator="\n").writerow([str(number), *texts])
        data = buffer.getvalue().encode("utf-8", "replace")
        written += len(data)
        if written > LARGEST_OUTPUT:
            raise Refused("holds too much; split it into several files")
        sys.stdout.buffer.write(data)


def as_text(value: object, decimal: str, date_format: str) -> str:
    """Write a typed cell as the plant would; ISO and `.` when nothing is declared."""
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
