"""The command as a stranger meets it: published numbers out, one clear line when it cannot."""

import json
import sys
from pathlib import Path

import pandas as pd
import pytest

from analytics.findings import Findings
from dashboard.command import main
from datasets.reference import path


@pytest.fixture
def discward(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    def call(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["discward", *(str(word) for word in words)])
        with pytest.raises(SystemExit) as ended:
            main()
        printed = capsys.readouterr()
        return int(ended.value.code or 0), printed.out, printed.err

    return call


def life_table(folder: Path, failed: list[float], running: list[float]) -> Path:
    rows = [f"{age},{age}" for age in failed] + [f"{age}," for age in running]
    table = folder / "lives.csv"
    table.write_text("\n".join(["lower,upper", *rows]) + "\n")
    return table


def test_life_of_the_handbook_sample(discward, tmp_path: Path):
    # NIST/SEMATECH e-Handbook 8.2.2.1: ten of twenty units failed by 500 h. Published Weibull
    # estimates 606.5280 and 1.7208; further digits and limits from R 4.2.2 survreg.
    failed = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    table = life_table(tmp_path, failed, [500] * 10)

    code, out, _ = discward("life", table, "--family", "weibull", "--json")

    found = json.loads(out)
    scale, shape = found["parameters"]["scale"], found["parameters"]["shape"]
    assert code == 0
    assert (found["family"], found["n"], found["events"]) == ("weibull", 20, 10)
    assert found["log_likelihood"] == pytest.approx(-75.1346182, rel=1e-6)
    assert scale["estimate"] == pytest.approx(606.5280, rel=2e-6)
    assert shape["estimate"] == pytest.approx(1.7208, abs=5e-5)
    assert scale["wald"] == pytest.approx([405.0893, 908.1348], rel=1e-5)
    assert shape["likelihood_ratio"] == pytest.approx([0.9056454, 2.885738], rel=1e-4)
    assert found["b10"]["estimate"] == pytest.approx(164.0224, rel=1e-5)


def test_life_of_the_ball_bearings(discward, tmp_path: Path):
    # Lieblein and Zelen (1956), J. Res. NBS 57(5), RP2719: published shape 2.10, scale 81.88;
    # further digits from R 4.2.2 survreg.
    bearings = pd.read_csv(path("ballbearing23"))["megarevs"].tolist()

    code, out, _ = discward(
        "life", life_table(tmp_path, bearings, []), "--family", "weibull", "--json"
    )

    found = json.loads(out)
    assert code == 0
    assert found["log_likelihood"] == pytest.approx(-113.6912909, rel=1e-6)
    assert found["parameters"]["scale"]["estimate"] == pytest.approx(81.878334, rel=1e-6)
    assert found["parameters"]["shape"]["estimate"] == pytest.approx(2.1020589, rel=1e-6)
    assert found["parameters"]["shape"]["wald"] == pytest.approx([1.547203, 2.855896], rel=1e-5)


def test_cycles_of_the_standards_example(discward, tmp_path: Path):
    # ASTM E1049-85, 5.4.4, figure 6: counts as quoted by the tests of PyPI rainflow 3.2.0.
    series = tmp_path / "series.csv"
    series.write_text("pressure\n" + "\n".join(map(str, (-2, 1, -3, 5, -1, 3, -4, 4, -2))) + "\n")

    code, out, _ = discward("cycles", series, "--json")

    counted = [(c["range"], c["mean"], c["count"]) for c in json.loads(out)["cycles"]]
    assert code == 0
    assert counted == [
        (3, -0.5, 0.5),
        (4, -1, 0.5),
        (4, 1, 1),
        (8, 1, 0.5),
        (9, 0.5, 0.5),
        (8, 0, 0.5),
        (6, 1, 0.5),
    ]


def test_cycles_with_the_users_curve_threshold_and_mean_correction(discward, tmp_path: Path):
    # Arithmetic on the standard's cycles: N = 1e7 r^-5 gives D = 0.0067838 and an equivalent
    # range of 7.012657185; without the cycle and a half below 4: 8 and 9 and half a 6 remain.
    series = tmp_path / "series.csv"
    series.write_text("pressure\n" + "\n".join(map(str, (-2, 1, -3, 5, -1, 3, -4, 4, -2))) + "\n")
    curve = ("--cycles-to-failure", "1e7", "--slope", "5")

    plain = json.loads(discward("cycles", series, *curve, "--json")[1])
    assert plain["damage"]["miner_damage"] == pytest.approx(0.0067838, rel=1e-9)
    assert plain["damage"]["equivalent_range"] == pytest.approx(7.012657185, rel=1e-9)
    goodman = ("--mean-correction", "goodman", "--burst-pressure", "100")
    raised = json.loads(discward("cycles", series, *curve, *goodman, "--json")[1])
    by_hand = sum(
        n * (r / (1 - max(m, 0) / 100)) ** 5 / 1e7
        for r, m, n in (
            (3, -0.5, 0.5),
            (4, -1, 0.5),
            (4, 1, 1),
            (8, 1, 0.5),
            (9, 0.5, 0.5),
            (8, 0, 0.5),
            (6, 1, 0.5),
        )
    )
    assert raised["damage"]["miner_damage"] == pytest.approx(by_hand, rel=1e-12)
    large = json.loads(discward("cycles", series, "--threshold", "5", "--json")[1])
    assert [row["range"] for row in large["totals"]] == [6, 8, 9]
    assert (large["threshold"], large["below_threshold"]) == (5.0, 2.0)
    code, _, complaint = discward("cycles", series, "--slope", "5")
    assert code == 2
    assert "needs both --cycles-to-failure and --slope" in complaint
    assert discward("cycles", series, *curve, "--mean-correction", "goodman")[0] == 2


def test_trend_of_the_handbook_example(discward, tmp_path: Path):
    # NIST/SEMATECH e-Handbook 8.4.5 prints bHat 0.483506, aHat 0.2913003 and MTBF 310.234.
    events = text(tmp_path, path("nist_repair").read_text().replace('"t"', "time"))

    code, out, _ = discward("trend", events, "--end", "1500", "--json")

    found = json.loads(out)
    assert code == 0
    assert found["shape_unbiased"] == pytest.approx(0.483506, abs=5e-7)
    assert found["rate_constant_unbiased"] == pytest.approx(0.2913003, abs=5e-8)
    assert found["mtbf_at_end_unbiased"] == pytest.approx(310.234, abs=5e-4)


def test_check_of_the_demo_balances(discward, demo_logs: Path):
    code, out, _ = discward("check", demo_logs)
    strict, _, _ = discward("check", demo_logs, "--strict")

    assert code == 0
    assert strict == 1
    assert "installs" in out
    assert "duplicate_row" in out


def test_analyse_writes_tables_findings_and_report(
    discward,
    demo_logs: Path,
    demo_findings: Findings,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
):
    # The job itself is tested elsewhere; once a session is enough.
    monkeypatch.setattr("dashboard.command._run", lambda *_: demo_findings)

    code, out, _ = discward("analyse", demo_logs, "--out", tmp_path / "found")

    written = {file.name for file in (tmp_path / "found").iterdir()}
    found = json.loads((tmp_path / "found" / "findings.json").read_text(encoding="utf-8"))
    lives = pd.read_csv(tmp_path / "found" / "lives.csv")
    assert code == 0
    assert {"findings.json", "report.html", "order-this-week.csv", "intervals.csv"} <= written
    assert len(lives) == found["lives"]
    assert "Storeroom" in out


UNITLESS = "removal_id,position_id,found_on,reason,peak_pressure\nR1,P1,2021-01-01,burst,9\n"

CASES = {
    "no folder": lambda folder: ("check", folder / "nowhere"),
    "an empty folder": lambda folder: ("analyse", folder, "--out", folder / "out"),
    "an empty file": lambda folder: ("check", with_files(folder, installs="")),
    "a column missing": lambda folder: ("check", with_files(folder, installs="a,b\n1,2\n")),
    "a unit missing": lambda folder: (
        "check",
        with_files(folder, removals=UNITLESS),
    ),
    "a life table that is not there": lambda folder: (
        "life",
        folder / "x.csv",
        "--family",
        "weibull",
    ),
    "an unknown family": lambda folder: (
        "life",
        life_table(folder, [1, 2], []),
        "--family",
        "gumbel",
    ),
    "an unknown covariate": lambda folder: (
        "life",
        life_table(folder, [1, 2], []),
        "--family",
        "weibull",
        "--covariates",
        "ratio",
    ),
    "a pressure that is no number": lambda folder: ("cycles", text(folder, "pressure\nhigh\n")),
    "a series without pressure": lambda folder: ("cycles", text(folder, "level\n1\n")),
    "events without time": lambda folder: ("trend", text(folder, "day\n1\n"), "--end", "5"),
    "an event after the end": lambda folder: ("trend", text(folder, "time\n9\n"), "--end", "5"),
}


@pytest.mark.parametrize("name", CASES)
def test_unusable_input_ends_with_one_line_and_exit_code_2(discward, tmp_path: Path, name: str):
    code, out, err = discward(*CASES[name](tmp_path))

    assert code == 2
    assert err.startswith("discward: ")
    assert len(err.strip().splitlines()) == 1
    assert "Traceback" not in out + err


def with_files(folder: Path, **files: str) -> Path:
    minimal = {
        "positions": "position_id,site,disc_code\nP1,S,D1\n",
        "discs": "disc_code,family\nD1,composite\n",
        "installs": "install_id,position_id,installed_on,disc_code\nI1,P1,2020-01-01,D1\n",
    }
    for name, content in {**minimal, **files}.items():
        (folder / f"{name}.csv").write_text(content)
    return folder


def text(folder: Path, content: str) -> Path:
    file = folder / "input.csv"
    file.write_text(content)
    return file


def test_a_store_takes_the_logs_once_and_traces_a_row_to_its_line(
    discward, demo_logs: Path, tmp_path: Path
):
    store = tmp_path / "plant.db"

    first = discward("import", demo_logs, "--store", store, "--by", "planner")
    again = discward("import", demo_logs, "--store", store, "--by", "planner")
    code, out, _ = discward("trace", store, "installs", "I00042")
    missing = discward("trace", store, "installs", "nobody")

    assert first[0] == again[0] == code == 0
    assert "0 known" in first[1]
    assert "0 new" in again[1]
    assert "installs.csv" in out
    assert missing[0] == 2
