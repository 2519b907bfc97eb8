"""The cluster engine: the same to the bit, a worker lost on the way or not."""

import os
import signal
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from analytics.duty.history import scan_history
from analytics.errors import InputError

distributed = pytest.importorskip("distributed")

DAYS = 24


def write_days(folder: Path) -> Path:
    random = np.random.default_rng(11)
    folder.mkdir()
    for day in range(DAYS):
        times = np.datetime64("2024-03-20", "ms") + np.arange(1440) * 60_000 + day * 86_400_000
        table = pa.table(
            {
                "position_id": np.repeat(["A", "B"], times.size),
                "time": np.tile(times, 2),
                "pressure [barg]": random.normal(20, 3, 2 * times.size).round(2),
            }
        )
        pq.write_table(table, folder / f"day-{day:02d}.parquet")
    return folder


@pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::DeprecationWarning")
def test_cluster_with_one_of_two_workers_killed_midway_gives_the_same_to_the_bit(tmp_path: Path):
    folder = write_days(tmp_path / "logs")
    days = {"B": np.array(["2024-03-28"], "datetime64[D]")}
    local = scan_history(folder, change_days=days)
    killed: list[int] = []

    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as cluster:

        def kill_one_after_the_first_files(done: int, total: int) -> None:
            if done == 3:
                worker = next(iter(cluster.workers.values()))
                killed.append(worker.pid)
                os.kill(worker.pid, signal.SIGKILL)

        remote = scan_history(
            folder,
            change_days=days,
            cluster=cluster.scheduler_address,
            on_progress=kill_one_after_the_first_files,
        )

    assert killed
    assert remote.equals(local)
    assert remote.notes == local.notes == ()


def test_cluster_that_does_not_answer_is_one_clear_line(tmp_path: Path, monkeypatch):
    folder = write_days(tmp_path / "logs")
    monkeypatch.setattr("analytics.duty.cluster.ANSWERS_WITHIN", "1s")
    begun = time.monotonic()

    with pytest.raises(InputError, match="must be the address of a Dask scheduler"):
        scan_history(folder, cluster="tcp://127.0.0.1:9")
    assert time.monotonic() - begun < 20


def test_without_the_extra_the_error_says_what_to_install(tmp_path: Path, monkeypatch):
    folder = write_days(tmp_path / "logs")
    monkeypatch.setitem(__import__("sys").modules, "distributed", None)

    with pytest.raises(InputError, match=r"install discward\[cluster\]"):
        scan_history(folder, cluster="tcp://127.0.0.1:9")
