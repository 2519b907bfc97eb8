"""Write a historian for the benchmarks: files sorted by position, or mixed by day."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

__all__ = ["ROWS_PER_FILE", "write_by_day", "write_by_position"]

ROWS_PER_FILE = 10_000_000
_START = np.datetime64("2024-01-01", "ms")
_STEP_MS = 10_000


def write_by_position(folder: Path, rows: int, positions_per_file: int = 10) -> Path:
    """Write files that each hold some positions, one after the other."""
    folder.mkdir(parents=True, exist_ok=True)
    each = min(rows, ROWS_PER_FILE) // positions_per_file
    for file in range(max(rows // ROWS_PER_FILE, 1)):
        names = [f"U{file:03d}-{number:02d}" for number in range(positions_per_file)]
        codes = np.repeat(np.arange(positions_per_file, dtype=np.int32), each)
        times = np.tile(_START + np.arange(each) * _STEP_MS, positions_per_file)
        _write(folder / f"{file:03d}.parquet", names, codes, times, seed=file)
    return folder


def write_by_day(folder: Path, rows: int, positions: int = 200) -> Path:
    """Write files that each hold some time of all positions, in the order of time."""
    folder.mkdir(parents=True, exist_ok=True)
    names = [f"U-{number:04d}" for number in range(positions)]
    each = min(rows, ROWS_PER_FILE) // positions
    for file in range(max(rows // ROWS_PER_FILE, 1)):
        begin = _START + file * each * _STEP_MS
        codes = np.tile(np.arange(positions, dtype=np.int32), each)
        times = np.repeat(begin + np.arange(each) * _STEP_MS, positions)
        _write(folder / f"{file:03d}.parquet", names, codes, times, seed=file)
    return folder


def _write(path: Path, names: list[str], codes: np.ndarray, times: np.ndarray, seed: int) -> None:
    random = np.random.default_rng(seed)
    wave = 20 + 3 * np.sin(np.arange(codes.size) / 50)
    pressure = (wave + random.normal(0, 0.5, codes.size)).round(2)
    table = pa.table(
        {
            "position_id": pa.DictionaryArray.from_arrays(pa.array(codes), names),
            "time": pa.array(times),
            "pressure [barg]": pressure,
        }
    )
    pq.write_table(table, path)
