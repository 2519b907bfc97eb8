"""Many readers at once: every answer right, none late, no memory lost.

`pytest -m study tests/studies/test_dashboard_load.py`; `DISCWARD_LOAD_MINUTES` sets how
long (default 10). Results go to `results/dashboard_load.csv`.
"""

import csv
import json
import os
import random
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime
from http.client import HTTPConnection
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.study

HERE = Path(__file__).resolve().parent
N_READERS = 100
MINUTES = float(os.environ.get("DISCWARD_LOAD_MINUTES", "10"))
THINKS_SECONDS = (4.0, 16.0)
TITLES = {
    "/": "What the logs say now",
    "/storeroom": "What to order this week?",
    "/early": "Which early failures were owed to the installation?",
    "/intervals": "When should each disc be replaced?",
    "/fleet": "Are premature failures falling, and what do they cost?",
    "/logs": "Can these logs be trusted?",
}
SEARCHES = ("", "?site=Millbank", "?site=Northwater&from=2019", "?family=graphite", "?pressure=psi")
SERVER = """
import sys
sys.path[:0] = [{root!r}, {sample!r}]
import waitress
from sample import sample_findings
from dashboard.app import build_app
server = waitress.create_server(
    build_app(sample_findings(positions=400)).server, host="127.0.0.1", port=0, threads=8,
    connection_limit=1000,
)
print(server.effective_port, flush=True)
server.run()
"""


@pytest.fixture
def server():
    root = HERE.parents[1]
    code = SERVER.format(root=str(root), sample=str(root / "tests" / "dashboard"))
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
            "state": [],
        }
    )


def read(port: int, seed: int, until: float, took: list[float], wrong: list[str]) -> None:
    rng = random.Random(seed)
    time.sleep(rng.uniform(0, THINKS_SECONDS[1]))
    while time.monotonic() < until:
        path, search = rng.choice(list(TITLES)), rng.choice(SEARCHES)
        origin = f"http://127.0.0.1:{port}"
        start = time.perf_counter()
        try:
            connection = HTTPConnection("127.0.0.1", port, timeout=30)
            headers = {"Origin": origin, "Content-Type": "application/json"}
            connection.request("POST", "/_dash-update-component", body(path, search), headers)
            answer = connection.getresponse()
            text = answer.read().decode()
            connection.close()
        except OSError as error:
            wrong.append(f"{path}{search}: {error}")
            continue
        took.append(time.perf_counter() - start)
        if answer.status != 200 or TITLES[path] not in text:
            wrong.append(f"{path}{search}: {answer.status}")
        time.sleep(rng.uniform(*THINKS_SECONDS))


def memory_mb(process: subprocess.Popen) -> float:
    pages = int(Path(f"/proc/{process.pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def run(port: int, seconds: float, took: list[float], wrong: list[str], seed: int) -> None:
    until = time.monotonic() + seconds
    readers = [
        threading.Thread(target=read, args=(port, seed + n, until, took, wrong))
        for n in range(N_READERS)
    ]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join()


def test_a_hundred_readers_are_answered(server):
    process, port = server
    warm: list[float] = []
    run(port, 30, warm, [], 1)
    before = memory_mb(process)
    took: list[float] = []
    wrong: list[str] = []
    run(port, 60 * MINUTES, took, wrong, 1_000)
    grown = memory_mb(process) / before - 1

    middle, late, latest = np.quantile(took, [0.5, 0.95, 0.99])
    row = {
        "date": f"{datetime.now(UTC):%Y-%m-%d}",
        "seed": 1_000,
        "readers": N_READERS,
        "minutes": MINUTES,
        "answers": len(took),
        "wrong": len(wrong),
        "p50_s": round(float(middle), 4),
        "p95_s": round(float(late), 4),
        "p99_s": round(float(latest), 4),
        "memory_before_mb": round(before, 1),
        "memory_grown_pct": round(100 * grown, 2),
        "load_average": round(os.getloadavg()[0], 1),
    }
    path = HERE / "results" / "dashboard_load.csv"
    path.parent.mkdir(exist_ok=True)
    is_new = not path.exists()
    with path.open("a", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, fieldnames=list(row))
        if is_new:
            writer.writeheader()
        writer.writerow(row)
    print(row)

    assert wrong == []
    assert late < 0.5
    assert latest < 1.0
    assert grown < 0.05
