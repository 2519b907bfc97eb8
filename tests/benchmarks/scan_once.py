"""Scan or merely read a historian folder in a process of its own; print what it took.

    python scan_once.py scan|read FOLDER

One line of JSON: rows, wall and CPU seconds of the better of two runs, peak memory.
"""

import json
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pyarrow.parquet as pq

from analytics.duty.history import scan_history
from analytics.duty.ledger import ROWS

COLUMNS = ["position_id", "time", "pressure [barg]"]


def scan(folder: Path) -> int:
    """Tally the folder; give its rows."""
    return int(scan_history(folder).ledger.parts[:, ROWS].sum())


def read(folder: Path) -> int:
    """Decode the same columns batch by batch on as many threads, and drop them."""
    with ThreadPoolExecutor(2) as pool:
        return sum(pool.map(_read_file, sorted(folder.glob("*.parquet"))))


def _read_file(path: Path) -> int:
    with pq.ParquetFile(path, read_dictionary=["position_id"]) as file:
        return sum(
            len(batch) for batch in file.iter_batches(1 << 19, columns=COLUMNS, use_threads=False)
        )


def _timed(work: Callable[[Path], int], folder: Path) -> dict[str, float]:
    wall, cpu = time.perf_counter(), time.process_time()
    rows = work(folder)
    return {
        "rows": rows,
        "wall_s": time.perf_counter() - wall,
        "cpu_s": time.process_time() - cpu,
    }


def peak_bytes() -> int:
    """Most memory held since this program began; `ru_maxrss` would count the parent's too."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    line = next(line for line in status.splitlines() if line.startswith("VmHWM"))
    return int(line.split()[1]) * 1024


if __name__ == "__main__":
    chosen = {"scan": scan, "read": read}[sys.argv[1]]
    runs = [_timed(chosen, Path(sys.argv[2])) for _ in range(2)]
    best = min(runs, key=lambda run: run["cpu_s"])
    print(json.dumps({**best, "peak_bytes": peak_bytes()}))
