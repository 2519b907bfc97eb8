"""Many readers at once: every answer right, none late, no memory lost; an import changes nothing.

`pytest -m study tests/studies/test_dashboard_load.py`; `DISCWARD_LOAD_MINUTES` sets how
long (default 10). Results go to `results/dashboard_load.csv`. The gate runs a tenth.
"""

import csv
import json
import os
import random
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from http.client import HTTPConnection
from pathlib import Path

import numpy as np
import pytest

HERE = Path(__file__).resolve().parent
N_READERS = 100
MINUTES = float(os.environ.get("DISCWARD_LOAD_MINUTES", "10"))
SHARE = os.environ.get("DISCWARD_TEST_SHARE")
THINKS_SECONDS = (4.0, 16.0)
N_ROWS = 1_000_000
PATHS = ("/", "/storeroom", "/early", "/intervals", "/fleet", "/logs")
SEARCHES = ("", "?site=Millbank", "?site=Northwater&from=2019", "?family=graphite", "?pressure=psi")
SERVER = """
import sys
sys.path[:0] = [{root!r}, {sample!r}]
from pathlib import Path
import waitress
from sample import sample_findings
from small_logs import small_logs
from dashboard.app import build_app
from dashboard.serving import THREADS
server = waitress.create_server(
    build_app(sample_findings(positions=400), logs=small_logs(Path({logs!r}))).server,
    host="127.0.0.1", port=0, threads=THREADS, connection_limit=1000,
)
print(server.effective_port, flush=True)
server.run()
"""

Bodies = dict[tuple[str, str], bytes]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[tuple[subprocess.Popen, int]]:
    root = HERE.parents[1]
    code = SERVER.format(
        root=str(root), sample=str(root / "tests" / "dashboard"), logs=str(tmp_path / "logs")
    )
    process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    yield process, int(process.stdout.readline())
    process.terminate()
    process.wait(10)
    process.stdout.close()


def body(path: str, search: str) -> str:
    return json.dumps(
        {
            "output": "..body.children...navigation.children...title.data..",
            "outputs": [
                {"id": "body", "property": "children"},
                {"id": "navigation", "property": "children"},
                {"id": "title", "property": "data"},
            ],
            "inputs": [
                {"id": "address", "property": "pathname", "value": path},
                {"id": "address", "property": "search", "value": search},
            ],
            "changedPropIds": ["address.pathname"],
            "state": [{"id": "shown", "property": "data", "value": None}],
        }
    )


def ask(port: int, path: str, search: str) -> tuple[int, bytes]:
    connection = HTTPConnection("127.0.0.1", port, timeout=30)
    headers = {"Origin": f"http://127.0.0.1:{port}", "Content-Type": "application/json"}
    connection.request("POST", "/_dash-update-component", body(path, search), headers)
    answer = connection.getresponse()
    text = answer.read()
    connection.close()
    return answer.status, text


def bodies(port: int) -> Bodies:
    """Ask for every page alone, so that what a reader gets in the crowd can be held to it."""
    return {(path, search): ask(port, path, search)[1] for path in PATHS for search in SEARCHES}


class Crowd:
    """Readers who ask, read and ask again until told to stop, and what they saw."""

    def __init__(self, port: int, right: Bodies, seed: int) -> None:
        self.took: list[float] = []
        self.wrong: list[str] = []
        self._stop = threading.Event()
        self._readers = [
            threading.Thread(target=self._read, args=(port, right, seed + number))
            for number in range(N_READERS)
        ]

    def run(self, meanwhile: Callable[[], None]) -> None:
        for reader in self._readers:
            reader.start()
        try:
            meanwhile()
        finally:
            self._stop.set()
            for reader in self._readers:
                reader.join()

    def _read(self, port: int, right: Bodies, seed: int) -> None:
        rng = random.Random(seed)
        self._stop.wait(rng.uniform(0, THINKS_SECONDS[1]))
        while not self._stop.is_set():
            path, search = rng.choice(PATHS), rng.choice(SEARCHES)
            start = time.perf_counter()
            try:
                status, text = ask(port, path, search)
            except OSError as error:
                self.wrong.append(f"{path}{search}: {error}")
                continue
            self.took.append(time.perf_counter() - start)
            if status != 200 or text != right[path, search]:
                self.wrong.append(f"{path}{search}: {status}")
            self._stop.wait(rng.uniform(*THINKS_SECONDS))


def memory_mb(process: subprocess.Popen) -> float:
    pages = int(Path(f"/proc/{process.pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def note(alongside: str, minutes: float, crowd: Crowd, before: float, grown: float) -> dict:
    middle, late, latest = np.quantile(crowd.took, [0.5, 0.95, 0.99])
    row = {
        "date": f"{datetime.now(UTC):%Y-%m-%d}",
        "seed": 1_000,
        "readers": N_READERS,
        "minutes": round(minutes, 2),
        "answers": len(crowd.took),
        "wrong": len(crowd.wrong),
        "p50_s": round(float(middle), 4),
        "p95_s": round(float(late), 4),
        "p99_s": round(float(latest), 4),
        "memory_before_mb": round(before, 1),
        "memory_grown_pct": round(100 * grown, 2),
        "load_average": round(os.getloadavg()[0], 1),
        "alongside": alongside,
    }
    if SHARE is None:
        path = HERE / "results" / "dashboard_load.csv"
        with path.open("a", newline="", encoding="utf-8") as file:
            csv.DictWriter(file, fieldnames=list(row)).writerow(row)
    print(row)
    return row


def hundred_readers(server: tuple[subprocess.Popen, int], minutes: float) -> None:
    process, port = server
    right = bodies(port)
    Crowd(port, right, 1).run(lambda: time.sleep(min(30, 60 * minutes)))
    before = memory_mb(process)
    crowd = Crowd(port, right, 1_000)
    crowd.run(lambda: time.sleep(60 * minutes))
    grown = memory_mb(process) / before - 1
    row = note("nothing", minutes, crowd, before, grown)

    assert crowd.wrong == []
    assert row["p95_s"] < 0.5
    assert row["p99_s"] < 1.0
    assert grown < 0.05


@pytest.mark.study
def test_a_hundred_readers_are_answered(server):
    hundred_readers(server, MINUTES)


@pytest.mark.skipif(SHARE is None, reason="a tenth of the load study: set DISCWARD_TEST_SHARE=0.1")
def test_a_hundred_readers_are_answered_for_a_tenth_of_the_time(server):
    hundred_readers(server, 10 * float(SHARE or 0))


def million_removals() -> dict[str, str]:
    """Write logs with a million removals of which one lacks its number."""
    rng = np.random.default_rng(1)
    days = np.datetime64("2000-01-01") + rng.integers(0, 8000, N_ROWS)
    places, peaks = rng.integers(0, 5000, N_ROWS), rng.uniform(0, 20, N_ROWS).round(3)
    rows = (
        f"{'' if number == 77 else f'R{number:07d}'},P-{place},{day},burst,{peak}"
        for number, (place, day, peak) in enumerate(zip(places, days, peaks, strict=True))
    )
    header = "removal_id,position_id,found_on,reason,peak_pressure [barg]"
    return {
        "removals.csv": "\n".join([header, *rows, ""]),
        "positions.csv": "\n".join(
            [
                "position_id,site,disc_code,max_operating_pressure [barg]",
                *(f"P-{number},North,D,5" for number in range(5000)),
                "",
            ]
        ),
        "discs.csv": "disc_code,family,specified_burst_pressure [barg]\nD,graphite,10\n",
        "installs.csv": "install_id,position_id,installed_on,disc_code\nI,P-1,2001-01-01,D\n",
    }


def bring(port: int, files: dict[str, str]) -> str:
    """Bring files as the page's form does and give the page that says what the rows came to."""
    edge = "edge-of-a-part"
    parts = [
        f'--{edge}\r\nContent-Disposition: form-data; name="files"; filename="{name}"\r\n'
        f"Content-Type: text/csv\r\n\r\n{text}\r\n"
        for name, text in files.items()
    ]
    sent = "".join([*parts, f"--{edge}--\r\n"]).encode()
    connection = HTTPConnection("127.0.0.1", port, timeout=600)
    headers = {
        "Origin": f"http://127.0.0.1:{port}",
        "Content-Type": f"multipart/form-data; boundary={edge}",
    }
    connection.request("POST", "/bring", sent, headers)
    answer = connection.getresponse()
    answer.read()
    assert answer.status == 302
    connection.request("GET", answer.getheader("Location"))
    told = connection.getresponse().read().decode()
    connection.close()
    return told


@pytest.mark.study
def test_a_million_rows_brought_alongside_do_not_hold_the_readers_up(server):
    process, port = server
    files, right, told = million_removals(), bodies(port), []
    Crowd(port, right, 1).run(lambda: time.sleep(20))
    before, start = memory_mb(process), time.monotonic()
    crowd = Crowd(port, right, 1_000)

    def import_for_as_long() -> None:
        while not told or time.monotonic() - start < 60 * min(MINUTES, 2):
            told.append(bring(port, files))

    crowd.run(import_for_as_long)
    minutes = (time.monotonic() - start) / 60
    grown = memory_mb(process) / before - 1
    row = note(f"{len(told)} imports of {N_ROWS:,} rows", minutes, crowd, before, grown)

    for page in told:
        assert ">1,000,000<" in page or ">1000000<" in page
    assert crowd.wrong == []
    assert row["p95_s"] < 1.0
