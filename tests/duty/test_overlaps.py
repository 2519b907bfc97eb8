"""Two files that tell of one position at one time: used once, and said whether they agree."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.duty.history import scan_history
from analytics.duty.ledger import ROWS
from analytics.duty.overlaps import Coverage
from analytics.duty.tally import HistoryTally

HOUR = pd.Timedelta(hours=1)


def rows(begin: str, end: str, position: str = "P", *, lift: float = 0.0) -> pd.DataFrame:
    """A row an hour; the same time always the same pressure, but for the lift."""
    times = pd.date_range(begin, end, freq="h", inclusive="left")
    hours = times.to_numpy().astype("datetime64[h]").astype(np.int64)
    pressure = (10 + 3 * np.sin(hours / 5) + np.sin(hours * 1.7) + lift).round(3)
    return pd.DataFrame({"position_id": position, "time": times, "pressure [barg]": pressure})


def scan(folder: Path, **files: pd.DataFrame) -> HistoryTally:
    folder.mkdir()
    for name, frame in files.items():
        frame.to_parquet(folder / f"{name}.parquet", index=False)
    return scan_history(folder)


def said(found: HistoryTally) -> list[tuple[str, str, int]]:
    return [(note.file, note.what.split(" ")[0], note.rows) for note in found.notes]


WHOLE = rows("2024-02-20", "2024-04-20")


@pytest.mark.parametrize(
    ("early", "late"),
    [
        # The later export begins before the earlier one ends, across the quarter's end or not.
        (("2024-02-20", "2024-03-20"), ("2024-03-10", "2024-04-20")),
        (("2024-02-20", "2024-04-05"), ("2024-03-25", "2024-04-20")),
        # The later file lies wholly within, or is the same again.
        (("2024-02-20", "2024-04-20"), ("2024-03-10", "2024-04-10")),
        (("2024-02-20", "2024-04-20"), ("2024-02-20", "2024-04-20")),
    ],
)
def test_overlapping_exports_give_the_tally_of_one(tmp_path: Path, early, late):
    expected = scan(tmp_path / "one", a=WHOLE)
    found = scan(tmp_path / "two", a=rows(*early), b=rows(*late))
    shared = len(rows(max(early[0], late[0]), min(early[1], late[1])))

    assert found.equals(expected)
    assert said(found) == [("b.parquet", "repeats", shared)]


def test_export_that_surrounds_others_adds_what_lies_between_and_beside_them(tmp_path: Path):
    expected = scan(tmp_path / "one", z=WHOLE)
    found = scan(
        tmp_path / "many",
        a=rows("2024-02-20", "2024-02-25"),
        b=rows("2024-02-22", "2024-04-20"),
        c=rows("2024-03-01", "2024-03-04"),
    )

    assert found.equals(expected)
    assert [file for file, *_ in said(found)] == ["b.parquet", "c.parquet"]


def test_contradicting_files_are_named_and_the_earlier_is_used(tmp_path: Path):
    early = rows("2024-02-20", "2024-03-20")
    late = rows("2024-03-10", "2024-04-20", lift=0.5)
    found = scan(tmp_path / "two", a=early, b=late)
    expected = scan(tmp_path / "cut", a=early, b=late[late["time"] >= "2024-03-20"])

    assert found.equals(expected)
    assert said(found) == [("b.parquet", "contradicts", 240)]
    assert "contradicts a.parquet on the same stretch of time" in found.cautions[0]


def test_one_position_repeated_leaves_the_others_alone(tmp_path: Path):
    both = pd.concat([rows("2024-03-01", "2024-03-10", "P"), rows("2024-03-01", "2024-03-10", "Q")])
    again = pd.concat(
        [rows("2024-03-05", "2024-03-12", "Q"), rows("2024-03-01", "2024-03-12", "R")]
    )
    found = scan(tmp_path / "logs", a=both, b=again)

    assert found.positions == ("P", "Q", "R")
    assert found.ledger.parts[:, ROWS].tolist() == [9 * 24, 11 * 24, 11 * 24]
    assert [(note.file, note.position_id) for note in found.notes] == [("b.parquet", "Q")]


def test_month_and_its_days_are_told_once(tmp_path: Path):
    days = {
        f"d{day:%m%d}": rows(f"{day:%F}", f"{day + pd.Timedelta(days=1):%F}")
        for day in pd.date_range("2024-03-01", "2024-03-09")
    }
    month = rows("2024-03-02", "2024-03-20")
    found = scan(tmp_path / "logs", month=month, **days)

    assert found.equals(scan(tmp_path / "one", a=rows("2024-03-01", "2024-03-20")))
    # Files are read in the order of their first row, then of their names.
    assert [note.file for note in found.notes] == [
        "month.parquet",
        *(f"d030{day}.parquet" for day in range(3, 10)),
    ]
    assert all(note.what.startswith("repeats what ") for note in found.notes)


def test_last_row_of_one_file_may_be_the_first_of_the_next(tmp_path: Path):
    cut = pd.Timestamp("2024-03-10")
    late = WHOLE[WHOLE["time"] >= cut]
    early = WHOLE[WHOLE["time"] <= cut]
    found = scan(tmp_path / "two", a=early, b=late)

    assert found.notes == ()
    assert found.ledger.parts[:, ROWS].sum() == len(WHOLE) + 1


def test_coverage_grows_with_gaps_not_with_files():
    coverage = Coverage(gap_ms=10)
    for number in range(1000):
        coverage.add(Path(f"{number}"), {"P": np.array([[number * 10, number * 10 + 5]])})

    assert coverage.spans["P"] == [[0, 9995]]
    shared = coverage.shared({"P": np.array([[9990, 12_000]]), "Q": np.array([[0, 9]])})
    assert {name: window.tolist() for name, window in shared.items()} == {"P": [[9990, 9995]]}
    assert [path.name for path in coverage.files_within(shared)] == ["999"]
