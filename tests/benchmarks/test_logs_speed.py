import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

pytestmark = pytest.mark.benchmark
ROWS = 1_000_000
TIMES_TEXT = 10.0
MEGABYTES = 1000.0

RUN = """
import resource, sys, time
from pathlib import Path
folder, what = Path(sys.argv[1]), sys.argv[2]
if what == "text":
    import pandas
    began = time.process_time()
    pandas.read_csv(folder / "removals.csv", dtype=str, keep_default_na=False)
else:
    from analytics.logs.reading import read_logs
    began = time.process_time()
    logs = read_logs(folder)
    removals = logs.rows.set_index("table").loc["removals"]
    assert removals["read"] == 1_000_000 and removals["quarantined"] == 1, removals
print(time.process_time() - began, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000)
"""


def write_logs(folder: Path) -> None:
    rng = np.random.default_rng(1)
    days = pd.Timestamp("2000-01-01") + pd.to_timedelta(rng.integers(0, 8000, ROWS), unit="D")
    removals = pd.DataFrame(
        {
            "removal_id": [f"R{number:07d}" if number != 77 else "" for number in range(ROWS)],
            "position_id": [f"P-{number}" for number in rng.integers(0, 5000, ROWS)],
            "found_on": days,
            "last_good_on": "",
            "reason": rng.choice(["burst", "leak", "planned"], ROWS),
            "upset": rng.choice(["yes", "no", ""], ROWS),
            "peak_pressure [barg]": rng.uniform(0, 20, ROWS).round(3),
            "event_group": "",
            "downtime [h]": rng.uniform(0, 20, ROWS).round(1),
            "cost": rng.uniform(0, 20_000, ROWS).round(2),
            "remarks": [f"text {number % 1000} on {number}" for number in range(ROWS)],
        }
    )
    removals.to_csv(folder / "removals.csv", index=False, date_format="%Y-%m-%d")
    places = "".join(f"P-{number},North,D,5\n" for number in range(5000))
    (folder / "positions.csv").write_text(
        "position_id,site,disc_code,max_operating_pressure [barg]\n" + places
    )
    (folder / "discs.csv").write_text(
        "disc_code,family,specified_burst_pressure [barg]\nD,graphite,10\n"
    )
    (folder / "installs.csv").write_text(
        "install_id,position_id,installed_on,disc_code\nI,P-1,2001-01-01,D\n"
    )


def run(folder: Path, what: str) -> tuple[float, float]:
    done = subprocess.run(
        [sys.executable, "-c", RUN, str(folder), what],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )
    seconds, megabytes = map(float, done.stdout.split())
    return seconds, megabytes


def test_a_million_rows_are_checked_in_ten_times_the_time_of_reading_text(tmp_path, capsys):
    write_logs(tmp_path)
    text_seconds, _ = run(tmp_path, "text")
    seconds, megabytes = run(tmp_path, "check")
    with capsys.disabled():
        print(
            f"\n1,000,000 rows: text {text_seconds:.2f} s, checked {seconds:.2f} s "
            f"({seconds / text_seconds:.1f} times), peak {megabytes:.0f} MB"
        )

    assert seconds < TIMES_TEXT * text_seconds
    assert megabytes < MEGABYTES
