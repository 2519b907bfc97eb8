"""The self-check: every published value holds, and a wrong one would be told."""

import subprocess
import sys
import time

import numpy as np
import pytest

from analytics.reference import selfcheck
from analytics.reference.check import compare
from analytics.reference.selfcheck import TOPICS
from datasets.reference import folder, path


@pytest.fixture(scope="module")
def checks():
    return selfcheck(folder())


def test_every_published_value_is_met(checks):
    wrong = checks[~checks["ok"]]

    assert wrong.empty, wrong.to_string()
    assert len(checks) > 700
    assert checks["topic"].nunique() > 60


def test_every_value_has_a_source_and_a_tolerance_that_can_fail(checks):
    assert checks["source"].str.len().min() > 10
    assert np.isfinite(checks[["computed", "expected", "tolerance"]]).all(axis=None)
    # Half a percent is the widest any published figure is taken.
    scale = checks["expected"].abs().clip(lower=0.05)
    assert (checks["tolerance"] <= 0.005 * scale).all()


def test_a_wrong_table_is_told(tmp_path):
    # The same checks on a table with one altered life: they must not all pass.
    for file in folder().glob("*.csv"):
        text = file.read_text()
        if file.stem == "ballbearing23":
            text = text.replace("48.48", "48.80")  # the other version in circulation
        (tmp_path / file.name).write_text(text)
    checks = selfcheck(tmp_path, TOPICS[:1])

    told = checks[~checks["ok"]]
    assert len(told) > 10
    assert told["topic"].str.startswith("ball bearings").all()


def test_a_missing_table_is_told_and_the_rest_still_runs(tmp_path):
    checks = selfcheck(tmp_path, TOPICS[6:8])

    assert checks["ok"].tolist()[0] is False
    assert "cannot be computed here: FileNotFoundError" in checks["value"].iloc[0]
    assert checks["ok"].iloc[1:].all()


def test_a_missing_number_never_agrees():
    found = compare("t", "s", {"x": (np.nan, 1.0), "y": (1.0, np.nan)}, absolute=1e9)

    assert [one.ok for one in found] == [False, False]
    with pytest.raises(ValueError, match=r"t, x: \(2,\) computed, \(\) expected"):
        compare("t", "s", {"x": ([1.0, 2.0], 1.0)})


def test_command_prints_every_value_in_time():
    begun = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-c", "from dashboard.command import main; main()", "selfcheck"],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip

    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    assert "NIST life test, weibull  [NIST/SEMATECH e-Handbook 8.2.2.1" in done.stdout
    assert "  ok   shape: 1.720797" in done.stdout
    assert "NOT" not in done.stdout
    assert "values agree" in done.stdout
    assert time.monotonic() - begun < 60


def test_tables_are_found_by_name_and_others_refused():
    assert path("nist_repair.csv") == path("nist_repair")
    with pytest.raises(ValueError, match="name must be one of ballbearing23"):
        path("nothing")
