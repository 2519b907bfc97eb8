"""Rainflow extraction against the standard, by hand and against an outside package."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rainflow

from analytics.duty.cycles import cycles_findings, extract_cycles, read_series
from analytics.errors import InputError, UnitError

E1049 = [-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]


def listed(series: object) -> list[tuple[float, float, float]]:
    found = extract_cycles(series)  # type: ignore[arg-type]
    return list(
        zip(found.ranges.tolist(), found.means.tolist(), found.counts.tolist(), strict=True)
    )


def test_worked_history_of_the_standard():
    # ASTM E1049-85, 5.4.4 (numbers as the rainflow package 3.2.0 tests give them): cycles in
    # the order of extraction, exact; totals by range 3: 0.5, 4: 1.5, 6: 0.5, 8: 1.0, 9: 0.5.
    assert listed(E1049) == [
        (3.0, -0.5, 0.5),
        (4.0, -1.0, 0.5),
        (4.0, 1.0, 1.0),
        (8.0, 1.0, 0.5),
        (9.0, 0.5, 0.5),
        (8.0, 0.0, 0.5),
        (6.0, 1.0, 0.5),
    ]
    totals = cycles_findings(pd.DataFrame({"pressure": E1049}))["totals"]
    assert totals == [
        {"range": 3.0, "count": 0.5},
        {"range": 4.0, "count": 1.5},
        {"range": 6.0, "count": 0.5},
        {"range": 8.0, "count": 1.0},
        {"range": 9.0, "count": 0.5},
    ]


def test_ties_count_as_half_cycles():
    # By hand: 0, 10, 2, 8, 0, 10, 0 holds one closed cycle of 6 and four halves of 10.
    found = extract_cycles([0, 10, 2, 8, 0, 10, 0])

    assert found.ranges.tolist() == [6, 10, 10, 10, 10]
    assert found.counts.tolist() == [1, 0.5, 0.5, 0.5, 0.5]


def test_flat_tops_and_points_on_the_way_change_nothing():
    # A plateau or a sample between two reversals is no reversal (ASTM E1049-85, 3.1).
    stretched = np.repeat(E1049, 3)
    between = np.interp(np.arange(0, 8.25, 0.25), np.arange(9), E1049)

    assert listed(stretched) == listed(E1049)
    assert listed(between) == listed(E1049)


@pytest.mark.parametrize("kind", ["noise", "walk", "few levels"])
def test_thousand_random_series_against_an_outside_package(kind: str):
    # Oracle: rainflow 3.2.0 (MIT), same order, same numbers. It reports nothing for a series
    # of two samples, which the standard counts as one half cycle, so series begin at three.
    random = np.random.default_rng(20_240_501)
    for _ in range(334):
        size = int(random.integers(3, 150))
        series = {
            "noise": lambda size=size: random.normal(size=size),
            "walk": lambda size=size: random.normal(size=size).cumsum(),
            "few levels": lambda size=size: random.integers(0, 6, size).astype(float),
        }[kind]()
        expected = [
            (span, mean, count) for span, mean, count, _, _ in rainflow.extract_cycles(series)
        ]
        assert listed(series) == expected


def test_short_series():
    assert listed([]) == []
    assert listed([4.0]) == []
    assert listed([4.0, 4.0]) == []
    assert listed([4.0, 6.0]) == [(2.0, 5.0, 0.5)]


def test_missing_sample_ends_a_segment():
    # Joined across the gap 0, 5 | 0, 5 would hold a half cycle from 5 to 0.
    found = cycles_findings(pd.DataFrame({"pressure": [0.0, 5.0, np.nan, 0.0, 5.0]}))

    assert [cycle["count"] for cycle in found["cycles"]] == [0.5, 0.5]
    assert (found["segments"], found["missing"], found["samples"]) == (2, 1, 5)


def test_vacuum_crossings_are_counted():
    found = cycles_findings(pd.DataFrame({"pressure": [1.0, -0.5, -0.2, 0.0, -0.1, np.nan, 2.0]}))

    assert found["vacuum_crossings"] == 3


def test_series_must_be_finite():
    with pytest.raises(ValueError, match="one row of finite numbers, got"):
        extract_cycles([1.0, np.inf])


def test_reads_a_csv_and_converts_a_stated_unit(tmp_path: Path):
    plain, psi = tmp_path / "plain.csv", tmp_path / "psi.csv"
    plain.write_text("time,pressure\n0,1.5\n1,\n2,3\n")
    psi.write_text("pressure [psig]\n40\n")

    assert read_series(str(plain))["pressure"].tolist() == pytest.approx(
        [1.5, np.nan, 3.0], nan_ok=True
    )
    assert read_series(str(psi))["pressure"].tolist() == pytest.approx([2.757903], abs=5e-7)


@pytest.mark.parametrize(
    ("text", "error", "message"),
    [
        (
            "pressure\n1\nx7\n",
            InputError,
            "line 3: pressure must be a finite number or blank, got 'x7'",
        ),
        ("pressure\ninf\n", InputError, "line 2: pressure must be a finite number"),
        ("pressure\n", InputError, "needs at least one row below its header"),
        ("force\n1\n", InputError, r"needs one column pressure or pressure \[unit\], got force"),
        ("", InputError, "must be a CSV file that can be read"),
        ("pressure [psi]\n1\n", UnitError, "unit must be one of: barg"),
    ],
)
def test_unusable_csv_says_what_is_wrong(tmp_path: Path, text: str, error: type, message: str):
    path = tmp_path / "series.csv"
    path.write_text(text)

    with pytest.raises(error, match=message):
        read_series(str(path))


def test_absent_file_is_one_clear_line(tmp_path: Path):
    with pytest.raises(InputError, match="must be a CSV file that can be read"):
        read_series(str(tmp_path / "absent.csv"))


def test_frame_without_pressure_is_refused():
    with pytest.raises(InputError, match="needs a column pressure, got force"):
        cycles_findings(pd.DataFrame({"force": [1.0]}))
