"""How fast are cycles counted and historians scanned? Ratios measured in one run.

Run with `pytest -m benchmark tests/benchmarks/test_duty_speed.py`. Scans are held against mere
reading by CPU time, which other work on the machine disturbs least, wall time beside it in the
results. Set DISCWARD_BENCHMARK_ROWS to 200000000 for the full scan (1.3 GB of temporary files).
"""

import csv
import datetime
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import rainflow
from make_historian import write_by_day, write_by_position

from analytics.duty.counting import tally_series
from analytics.duty.grid import LEVELS_PER_BAR
from analytics.duty.rainflow import close_cycles
from analytics.duty.rows import make_work

pytestmark = [pytest.mark.benchmark, pytest.mark.filterwarnings("ignore")]

RESULTS = Path(__file__).parent / "results" / "duty_speed.csv"
ROWS = int(os.environ.get("DISCWARD_BENCHMARK_ROWS", "20000000"))
SMALL_ROWS = 20_000_000


def record(what: str, **figures: float) -> None:
    RESULTS.parent.mkdir(exist_ok=True)
    new = not RESULTS.exists()
    with open(RESULTS, "a", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        if new:
            writer.writerow(["date", "what", "figure", "value"])
        today = datetime.date.today().isoformat()
        writer.writerows([today, what, name, f"{value:.4g}"] for name, value in figures.items())


def cpu_seconds(work: Callable[[], object], runs: int = 1) -> float:
    taken = []
    for _ in range(runs):
        begun = time.process_time()
        work()
        taken.append(time.process_time() - begun)
    return min(taken)


def wall_seconds(work: Callable[[], object], runs: int = 1) -> float:
    taken = []
    for _ in range(runs):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun)
    return min(taken)


def test_counting_ten_million_samples_against_two_packages():
    stress = pytest.importorskip("pylife.stress.rainflow")
    samples = np.random.default_rng(0).normal(20, 3, 10_000_000).round(3)
    times = np.arange(samples.size) * 1000
    tally_series("P", times, samples)  # compile before the clock starts

    def detected() -> object:
        detector = stress.FourPointDetector(recorder=stress.LoopValueRecorder())
        return detector.process(samples).recorder

    def count_plainly() -> object:
        return rainflow.count_cycles(samples)

    def whole() -> object:
        return tally_series("P", times, samples)

    def counted() -> object:
        # The detector lists its loops; its recorder then counts them by range and mean. What
        # the tally gives is counts, so the two together are its like.
        return detected().histogram_numpy(bins=64)

    # Like for like, on one core: turning points, closed cycles, counts by range and mean.
    levels = np.floor(samples * LEVELS_PER_BAR + 0.5).astype(np.int64)
    work = make_work(levels.size)
    count_only = cpu_seconds(
        lambda: close_cycles(levels, work.stack, work.cycle_sum, work.cycle_keys, 0), 5
    )
    counted_cpu, listed_cpu = cpu_seconds(counted, 3), cpu_seconds(detected, 3)
    # The whole tally, times at each pressure and stuck readings too.
    ours, one_core = wall_seconds(whole, 5), cpu_seconds(whole, 3)
    half = cpu_seconds(lambda: tally_series("P", times[::2], samples[::2]), 3)
    python, python_cpu = wall_seconds(count_plainly), cpu_seconds(count_plainly)

    record(
        "count 1e7 samples of white noise",
        seconds=ours,
        cpu_seconds=one_core,
        times_faster_than_rainflow=python / ours,
        times_faster_than_rainflow_cpu=python_cpu / one_core,
        times_faster_than_pylife_wall=wall_seconds(counted, 2) / ours,
        times_faster_than_pylife_cpu=counted_cpu / one_core,
        cycles_alone_times_faster_than_pylife_cpu=counted_cpu / count_only,
        cycles_alone_times_faster_than_its_list_of_loops_cpu=listed_cpu / count_only,
        seconds_over_twice_half_the_samples=one_core / (2 * half),
    )
    assert python_cpu / one_core >= 25
    assert counted_cpu / count_only >= 5
    assert counted_cpu / one_core >= 2
    assert 0.7 < one_core / (2 * half) < 1.4


def once(work: str, folder: Path) -> dict[str, float]:
    """Run in a process of its own, so that its peak memory is its own."""
    script = Path(__file__).parent / "scan_once.py"
    done = subprocess.run(
        [sys.executable, str(script), work, str(folder)],
        check=True,
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    return json.loads(done.stdout.splitlines()[-1])


def scan_and_read(what: str, folder: Path) -> tuple[dict[str, float], float]:
    once("scan", folder)  # compile and fill the file cache
    scan, read = once("scan", folder), once("read", folder)
    share = read["cpu_s"] / scan["cpu_s"]
    record(
        what,
        rows=scan["rows"],
        million_rows_per_second=scan["rows"] / scan["wall_s"] / 1e6,
        speed_over_mere_reading_cpu=share,
        speed_over_mere_reading_wall=read["wall_s"] / scan["wall_s"],
        peak_gigabytes=scan["peak_bytes"] / 1e9,
        core_seconds_per_billion_rows=1e9 * scan["cpu_s"] / scan["rows"],
    )
    return scan, share


def test_scan_by_position_keeps_half_the_speed_of_reading_in_flat_memory(tmp_path: Path):
    small, small_share = scan_and_read(
        "scan by position", write_by_position(tmp_path / "a", SMALL_ROWS)
    )
    large, share = small, small_share
    least_share = 0.4  # two files only: starting up weighs
    if ROWS > SMALL_ROWS:
        large, share = scan_and_read("scan by position", write_by_position(tmp_path / "b", ROWS))
        per_row = (large["cpu_s"] / large["rows"]) / (small["cpu_s"] / small["rows"])
        record("scan by position", time_per_row_large_over_small=per_row)
        assert per_row < 1.25
        least_share = 0.5

    # A billion rows a day, from the CPU time of a row on this machine.
    core_seconds = 1e9 * large["cpu_s"] / large["rows"]
    record("a billion rows", core_seconds=core_seconds, cores_for_an_hour=core_seconds / 3600)
    assert share >= least_share
    assert large["peak_bytes"] < 1e9
    assert large["peak_bytes"] < 1.25 * small["peak_bytes"]


def test_scan_of_files_mixed_by_day(tmp_path: Path):
    scan, _ = scan_and_read("scan mixed by day", write_by_day(tmp_path / "d", SMALL_ROWS))

    assert scan["rows"] == SMALL_ROWS
    assert scan["peak_bytes"] < 1e9
