"""How is a historian file read? In batches, so memory does not grow with the file."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.parquet as pq
from numpy.typing import NDArray

from analytics.duty.zone import NO_ZONE, Clock, from_utc, from_wall
from analytics.errors import InputError, UnitError
from analytics.units import Dimension, convert_from, unit_words

__all__ = ["BATCH_ROWS", "Batch", "Names", "begins_at", "historian_files", "read_batches"]

BATCH_ROWS = 1 << 19
Ints = NDArray[np.int64]

_NEVER = np.iinfo(np.int64).min  # what pandas makes of a time it cannot read


@dataclass(slots=True)
class Names:
    """Position names of one file, numbered in the order met."""

    numbers: dict[str, int] = field(default_factory=dict)

    def number(self, names: list[str | None]) -> NDArray[np.int32]:
        """Give each name its number, -1 for a blank one."""
        return np.array(
            [
                -1 if not name else self.numbers.setdefault(name, len(self.numbers))
                for name in names
            ],
            np.int32,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Some rows of a historian file, rows of one position in one run.

    Attributes
    ----------
    codes : ndarray of int, shape (n,)
        Position numbers.
    times : ndarray of int, shape (n,)
        Milliseconds since 1970 of the plant's standard time (`analytics.duty.zone`).
    pressure : ndarray of float, shape (n,)
        NaN where none was readable. [barg]
    temperature : ndarray of float, shape (n,), or None
        NaN where none was readable; None when the file has no such column. [degC]
    repeats : ndarray of int, shape (r, 3)
        Hours that the file's clock shows twice; none when its times carry a zone. [ms]
    unreadable : int
        Rows left out because position or time was blank or unreadable.
    remark : str
        What else of the file is not used, and why; blank when nothing.
    """

    codes: NDArray[np.int32]
    times: NDArray[np.int64]
    pressure: NDArray[np.float64]
    temperature: NDArray[np.float64] | None = None
    repeats: NDArray[np.int64] = field(default_factory=lambda: NO_ZONE.repeats)
    unreadable: int
    remark: str = ""


def historian_files(folder: Path) -> list[Path]:
    """List the historian files under a folder, in the order of their first time and name.

    Raises
    ------
    InputError
        If the folder does not exist or holds no Parquet or CSV file.
    """
    found = [path for path in folder.rglob("*") if path.suffix.lower() in (".parquet", ".csv")]
    if not found:
        raise InputError(f"{folder} must hold Parquet or CSV files of the historian, found none")
    return sorted(found, key=lambda path: (begins_at(path), path.as_posix()))


def begins_at(path: Path) -> int:
    """Give the first time in a file, from its statistics or first row; 0 if it has none. [ms]"""
    try:
        if path.suffix.lower() == ".csv":
            first = next(iter(_csv_tables(path, 1 << 16)))
            return int(_milliseconds(first.column("time"), NO_ZONE)[0][0]) if len(first) else 0
        with pq.ParquetFile(path) as file:
            column = file.schema_arrow.names.index("time")
            groups = (file.metadata.row_group(g) for g in range(file.metadata.num_row_groups))
            lows = [g.column(column).statistics.min for g in groups if g.column(column).statistics]
        return int(min(pd.Timestamp(low).value for low in lows) // 1_000_000) if lows else 0
    except (OSError, ValueError, TypeError, AttributeError, StopIteration, pa.ArrowException):
        return 0  # whatever is wrong with it is said when it is read


def read_batches(
    path: Path, names: Names, clock: Clock = NO_ZONE, rows: int = BATCH_ROWS
) -> Iterator[Batch]:
    """Read a historian file batch by batch.

    Parameters
    ----------
    path : Path
        Columns `position_id`, `time`, `pressure [unit]` and, if there is one,
        `temperature [unit]`. A Parquet file may state a unit in the metadata of the
        column instead, that of the pressure in the metadata of the file (key `unit`).
    names : Names
        Numbers the positions; added to.
    clock : Clock
        The plant's clock, for times that carry no zone of their own.
    rows : int
        Rows per batch.

    Yields
    ------
    Batch
        In file order, but rows of one position brought together.

    Raises
    ------
    InputError
        If the file is torn, lacks a column or says no unit.
    UnitError
        If the unit is not a gauge or absolute pressure.
    """
    try:
        csv = path.suffix.lower() == ".csv"
        for table in _csv_tables(path, 32 * rows) if csv else _parquet_tables(path, rows):
            yield _batch(table, names, clock)
    except (OSError, pa.ArrowException) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise InputError(f"cannot be read to its end, write it again: {reason}") from error


def _parquet_tables(path: Path, rows: int) -> Iterator[pa.RecordBatch]:
    with pq.ParquetFile(path, read_dictionary=["position_id"]) as file:
        columns, units = _columns(file.schema_arrow)
        # Files are read side by side, so each is decoded by one thread.
        for batch in file.iter_batches(rows, columns=list(columns), use_threads=False):
            named = batch.select(list(columns)).rename_columns(list(columns.values()))
            yield named.replace_schema_metadata(units)


def _csv_tables(path: Path, block: int) -> Iterator[pa.RecordBatch]:
    with open(path, "rb") as stream:
        header = stream.readline().decode("utf-8-sig", "replace").strip().split(",")
    names = [name.strip().strip('"') for name in header]
    columns, units = _columns(pa.schema([(name, pa.string()) for name in names]))
    reader = pyarrow.csv.open_csv(
        path,
        read_options=pyarrow.csv.ReadOptions(block_size=block, column_names=names, skip_rows=1),
        parse_options=pyarrow.csv.ParseOptions(invalid_row_handler=lambda _: "skip"),
        convert_options=pyarrow.csv.ConvertOptions(
            include_columns=list(columns), column_types={name: pa.string() for name in names}
        ),
    )
    for batch in reader:
        named = batch.rename_columns(list(columns.values()))
        yield named.replace_schema_metadata(units)


def _columns(schema: pa.Schema) -> tuple[dict[str, str], dict[str, str]]:
    """Find the columns by their own names, and the units of pressure and temperature."""
    missing = [name for name in ("position_id", "time") if name not in schema.names]
    pressures = [name for name in schema.names if name.partition(" [")[0] == "pressure"]
    warm = [name for name in schema.names if name.partition(" [")[0] == "temperature"]
    if missing or len(pressures) != 1 or len(warm) > 1:
        raise InputError(
            "needs the columns position_id, time and one pressure [unit], at most one "
            f"temperature [unit], got {', '.join(schema.names)}"
        )
    whole_file = (schema.metadata or {}).get(b"unit", b"").decode()
    columns = {"position_id": "position_id", "time": "time", pressures[0]: "pressure"}
    units = {"pressure": _unit(schema, pressures[0], whole_file, _PRESSURE, "[barg]")}
    for name in warm:
        try:
            units["temperature"] = _unit(schema, name, "", _TEMPERATURE, "[degC]")
            columns[name] = "temperature"
        except UnitError as error:
            units["remark"] = f"{error}; temperatures not used"
    return columns, units


def _unit(schema: pa.Schema, name: str, other: str, dimension: Dimension, example: str) -> str:
    """Read the unit of a column from its header, its metadata or the file's."""
    stated = (schema.field(name).metadata or {}).get(b"unit", b"").decode() or other
    unit = name.partition(" [")[2].rstrip("]") or stated
    if unit not in unit_words(dimension):
        what = name.partition(" [")[0]
        raise UnitError(
            f"must say the unit of its {what}, e.g. {what} {example}, one of: "
            f"{' '.join(unit_words(dimension))}; got {unit or 'none'!r}"
        )
    return unit


def _batch(table: pa.RecordBatch, names: Names, clock: Clock) -> Batch:
    """Turn columns into numbers and bring the rows of each position together."""
    codes = _codes(table.column("position_id"), names)
    times, repeats = _milliseconds(table.column("time"), clock)
    values = [_quantity(table, "pressure", _PRESSURE)]
    if "temperature" in table.schema.names:
        values.append(_quantity(table, "temperature", _TEMPERATURE))
    unreadable = 0
    if codes.min(initial=0) < 0 or times.min(initial=0) == _NEVER:
        readable = (codes >= 0) & (times != _NEVER)
        unreadable = int(codes.size - np.count_nonzero(readable))
        codes, times = codes[readable], times[readable]
        values = [column[readable] for column in values]
    changes = np.count_nonzero(codes[1:] != codes[:-1])
    if changes >= len(names.numbers):
        # Sixteen-bit keys are sorted by radix, several times faster than by comparison.
        narrow = codes.astype(np.int16) if len(names.numbers) < 32_768 else codes
        order = np.argsort(narrow, kind="stable")
        codes, times = codes[order], times[order]
        values = [column[order] for column in values]
    return Batch(
        codes=codes,
        times=times,
        pressure=values[0],
        temperature=values[1] if len(values) > 1 else None,
        repeats=repeats,
        unreadable=unreadable,
        remark=(table.schema.metadata or {}).get(b"remark", b"").decode(),
    )


def _quantity(table: pa.RecordBatch, name: str, dimension: Dimension) -> NDArray[np.float64]:
    unit = table.schema.metadata[name.encode()].decode()
    return convert_from(_numbers(table.column(name)), unit, dimension)


_PRESSURE, _TEMPERATURE = Dimension.GAUGE_PRESSURE, Dimension.TEMPERATURE


def _codes(column: pa.Array, names: Names) -> NDArray[np.int32]:
    if not pa.types.is_dictionary(column.type):
        column = pc.dictionary_encode(pc.cast(column, pa.string()))
    numbers = names.number(
        [str(n).strip() if n is not None else None for n in column.dictionary.to_pylist()]
    )
    indices = column.indices.fill_null(numbers.size) if column.null_count else column.indices
    places = np.asarray(indices.to_numpy(zero_copy_only=False), np.int32)
    if not column.null_count and np.array_equal(numbers, np.arange(numbers.size)):
        return places  # the file numbers its positions as we do
    codes: NDArray[np.int32] = np.append(numbers, np.int32(-1))[places]
    return codes


def _milliseconds(column: pa.Array, clock: Clock) -> tuple[Ints, Ints]:
    """Read times as milliseconds of standard time, and the hours that may come twice.

    What cannot be read becomes `_NEVER`.
    """
    if pa.types.is_timestamp(column.type):
        zone = column.type.tz
        whole = pc.cast(column, pa.timestamp("ms", zone), safe=False).cast(pa.int64())
        whole = whole.fill_null(_NEVER) if whole.null_count else whole
        times = np.asarray(whole.to_numpy(zero_copy_only=False), np.int64)
        return _straight(times, clock, carries_zone=zone is not None)
    if not pa.types.is_string(column.type) and not pa.types.is_large_string(column.type):
        raise InputError(f"time must be a timestamp or ISO text, got {column.type}")
    text = pd.Series(column.to_pandas())
    carries_zone = text.str.contains(_ZONE_AT_END, regex=True, na=False)
    stamps = pd.to_datetime(text, format="ISO8601", errors="coerce", utc=True)
    times = np.asarray(stamps.to_numpy("datetime64[ms]").astype(np.int64))
    if carries_zone.all() or not carries_zone.any():
        return _straight(times, clock, carries_zone=bool(carries_zone.any()))
    utc, _ = _straight(times, clock, carries_zone=True)
    wall, repeats = _straight(times, clock, carries_zone=False)
    return np.where(carries_zone, utc, wall), repeats


_ZONE_AT_END = r"\d:\d\d.*(?:Z|[+-]\d\d(?::?\d\d)?)$"


def _straight(times: Ints, clock: Clock, *, carries_zone: bool) -> tuple[Ints, Ints]:
    straight = from_utc(times, clock) if carries_zone else from_wall(times, clock)
    if straight is not times:
        straight[times == _NEVER] = _NEVER
    return straight, NO_ZONE.repeats if carries_zone else clock.repeats


def _numbers(column: pa.Array) -> NDArray[np.float64]:
    if pa.types.is_string(column.type) or pa.types.is_large_string(column.type):
        return np.asarray(pd.to_numeric(pd.Series(column.to_pandas()), errors="coerce"), float)
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    if not pa.types.is_float64(column.type):
        column = pc.cast(column, pa.float64(), safe=False)
    return np.asarray(column.to_numpy(zero_copy_only=False), float)
