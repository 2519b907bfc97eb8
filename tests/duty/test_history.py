"""Scanning files: one answer however they are split, torn, mixed, repeated or interrupted."""

from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from analytics.duty import batches as reading
from analytics.duty import history as scanning
from analytics.duty.counting import Limits, tally_series
from analytics.duty.history import scan_history, scan_logs
from analytics.duty.ledger import HOTTEST, ROWS
from analytics.duty.readout import mean_temperature
from analytics.duty.tally import HistoryTally
from analytics.duty.zone import NO_ZONE
from analytics.errors import InputError

MINUTE = np.timedelta64(60_000, "ms")
BEGIN = np.datetime64("2024-03-28", "ms")


def samples(positions: int = 3, days: int = 6, seed: int = 5) -> pd.DataFrame:
    """A noisy batch process per position, a row every ten minutes, across a quarter's end."""
    random = np.random.default_rng(seed)
    frames = []
    for number in range(positions):
        times = BEGIN + np.arange(days * 144) * 10 * MINUTE
        wave = 10 + number + 4 * np.sin(np.arange(times.size) / (5 + number))
        frames.append(
            pd.DataFrame(
                {
                    "position_id": f"P{number}",
                    "time": times,
                    "pressure [barg]": (wave + random.normal(0, 0.2, times.size)).round(3),
                }
            )
        )
    return pd.concat(frames, ignore_index=True)


def write(frame: pd.DataFrame, path: Path, **options: object) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    pq.write_table(pa.Table.from_pandas(frame, preserve_index=False), path, **options)


def write_by_position(frame: pd.DataFrame, folder: Path) -> Path:
    for name, rows in frame.groupby("position_id"):
        write(rows, folder / f"{name}.parquet")
    return folder


def write_by_day(frame: pd.DataFrame, folder: Path) -> Path:
    """Days as files named so that their names do not sort by time; positions mixed."""
    for day, rows in frame.sort_values("time", kind="stable").groupby(frame["time"].dt.date):
        write(rows, folder / f"{day:%d-%m}.parquet", row_group_size=50)
    return folder


@pytest.fixture
def frame() -> pd.DataFrame:
    return samples()


@pytest.fixture
def whole(frame: pd.DataFrame, tmp_path: Path) -> HistoryTally:
    return scan_history(write_by_position(frame, tmp_path / "whole"))


def test_one_answer_by_position_by_day_mixed_or_text(
    frame: pd.DataFrame, whole: HistoryTally, tmp_path: Path
):
    by_day = scan_history(write_by_day(frame, tmp_path / "day"))
    text = tmp_path / "text"
    text.mkdir()
    frame.sort_values("time", kind="stable").to_csv(text / "all.csv", index=False)
    psi = frame.rename(columns={"pressure [barg]": "pressure"}).copy()

    assert whole.notes == ()
    assert by_day.equals(whole)
    assert scan_history(text).equals(whole)
    # The unit may stand in the metadata of the file instead of the header.
    table = pa.Table.from_pandas(psi, preserve_index=False).replace_schema_metadata(
        {"unit": "barg"}
    )
    (tmp_path / "meta").mkdir()
    pq.write_table(table, tmp_path / "meta" / "a.parquet")
    assert scan_history(tmp_path / "meta").equals(whole)


def test_agrees_with_rows_held_in_memory(frame: pd.DataFrame, whole: HistoryTally):
    one = frame[frame["position_id"] == "P1"]
    alone = tally_series(
        "P1",
        one["time"].to_numpy().astype("datetime64[ms]").astype(np.int64),
        one["pressure [barg]"].to_numpy(),
    )

    parts = whole.ledger.parts[whole.ledger.parts[:, 0] == 1]
    assert parts[:, 1:17].tolist() == alone.ledger.parts[:, 1:17].tolist()


@pytest.mark.parametrize("rows", [1, 7, 500])
def test_size_of_batches_changes_nothing(
    frame: pd.DataFrame, whole: HistoryTally, tmp_path: Path, monkeypatch, rows: int
):
    small = frame[frame["position_id"] == "P0"].head(200) if rows == 1 else frame
    folder = write_by_day(small, tmp_path / "day")
    expected = scan_history(folder)
    monkeypatch.setattr(reading.read_batches, "__defaults__", (NO_ZONE, rows))
    monkeypatch.setattr("analytics.duty.counting.PARTS_AT_ONCE", 20)
    monkeypatch.setattr("analytics.duty.history.PARTS_AT_ONCE", 5)

    assert scan_history(folder).equals(expected)


def test_change_days_become_stretches_of_their_own(frame: pd.DataFrame, tmp_path: Path):
    folder = write_by_position(frame, tmp_path)
    days = {"P1": np.array(["2024-03-30"], "datetime64[D]")}
    found = scan_history(folder, change_days=days)

    own = found.ledger.parts[found.ledger.parts[:, 0] == 1]
    assert own[:, ROWS].tolist() == [2 * 144, 144, 144, 2 * 144]
    assert found.ledger.parts[:, ROWS].sum() == len(frame)


def test_torn_and_mistaken_files_are_named_and_the_rest_is_used(
    frame: pd.DataFrame, whole: HistoryTally, tmp_path: Path
):
    folder = write_by_position(frame, tmp_path / "logs")
    intact = (folder / "P0.parquet").read_bytes()
    (folder / "torn.parquet").write_bytes(intact[: len(intact) // 2])
    (folder / "empty.csv").write_text("")
    write(frame.rename(columns={"pressure [barg]": "pressure [bar]"}), folder / "unit.parquet")
    write(frame.rename(columns={"pressure [barg]": "pressure"}), folder / "none.parquet")
    write(frame.drop(columns="time"), folder / "clockless.parquet")
    write(frame.assign(time=1.5), folder / "number.parquet")
    found = scan_history(folder)

    assert found.equals(whole)
    said = {note.file: note.what for note in found.notes}
    assert set(said) == {
        "torn.parquet",
        "empty.csv",
        "unit.parquet",
        "none.parquet",
        "clockless.parquet",
        "number.parquet",
    }
    assert "cannot be read to its end" in said["torn.parquet"]
    assert "must say the unit of its pressure" in said["unit.parquet"]
    assert "got 'bar'" in said["unit.parquet"]
    assert "got 'none'" in said["none.parquet"]
    assert "needs the columns position_id, time" in said["clockless.parquet"]
    assert "time must be a timestamp" in said["number.parquet"]


def test_clock_that_jumps_back_is_reported_and_the_rest_is_used(tmp_path: Path):
    one = samples(positions=1)
    times = one["time"].to_numpy().copy()
    times[500:] -= 60 * MINUTE  # summer time ends: six rows come a second time
    write(one.assign(time=times), tmp_path / "a.parquet")
    found = scan_history(tmp_path)

    assert found.ledger.parts[:, ROWS].sum() == len(one) - 6
    assert [(note.file, note.position_id, note.rows) for note in found.notes] == [
        ("a.parquet", "P0", 6)
    ]


def test_shuffled_rows_are_sorted_and_reported(
    frame: pd.DataFrame, whole: HistoryTally, tmp_path: Path
):
    write(frame.sample(frac=1.0, random_state=1), tmp_path / "logs" / "a.parquet")
    found = scan_history(tmp_path / "logs")

    assert found.equals(whole)
    assert [note.what for note in found.notes] == [
        "rows are not in the order of time; sorted in memory"
    ]


def test_shuffled_file_too_large_to_sort_is_left_out(
    frame: pd.DataFrame, tmp_path: Path, monkeypatch
):
    monkeypatch.setattr(scanning, "_SORTABLE_ROWS", 100)
    write(frame.sample(frac=1.0, random_state=1), tmp_path / "a.parquet")

    with pytest.raises(InputError, match="sort the file by position and time, or split it"):
        scan_history(tmp_path)


def test_bad_cells_of_a_text_file_are_counted(tmp_path: Path):
    (tmp_path / "a.csv").write_text(
        "time,position_id,pressure [psig]\n"
        "2024-01-01T00:00:00Z,P,10\n"
        "2024-01-01T00:01:00Z,P,Bad Input\n"
        "yesterday,P,10\n"
        "2024-01-01T00:02:00Z,,10\n"
        "2024-01-01T01:03:00+01:00,P,30\n"
    )
    found = scan_history(tmp_path)

    assert found.ledger.parts[:, ROWS].tolist() == [2]
    assert sorted((note.position_id, note.rows) for note in found.notes) == [("", 2), ("P", 1)]


def test_one_stretch_exported_twice_is_used_once(frame: pd.DataFrame, tmp_path: Path):
    folder = write_by_position(frame, tmp_path / "logs")
    expected = scan_history(folder)
    again = frame[(frame["position_id"] == "P2") & (frame["time"] >= "2024-03-29")]
    write(again, folder / "again.parquet")
    found = scan_history(folder)

    assert found.equals(expected)
    assert {(note.file, note.position_id) for note in found.notes} == {("again.parquet", "P2")}
    assert found.notes[0].what == "repeats what P2.parquet told; used once"
    assert found.notes[0].rows == len(again)


def test_only_new_files_are_read_and_a_change_of_disc_reads_its_files_anew(
    frame: pd.DataFrame, tmp_path: Path, monkeypatch
):
    folder, kept = write_by_day(frame, tmp_path / "logs"), tmp_path / "kept"
    later = folder / "01-04.parquet"
    aside = later.read_bytes()
    later.unlink()
    scan_history(folder, keep_in=kept)
    read: list[str] = []
    real = scanning.read_batches
    monkeypatch.setattr(
        scanning,
        "read_batches",
        lambda path, *others: read.append(path.name) or real(path, *others),
    )
    later.write_bytes(aside)
    (folder / "28-03.parquet").rename(folder / "renamed.parquet")

    second = scan_history(folder, keep_in=kept)
    assert read == ["01-04.parquet"]
    days = {"P1": np.array(["2024-03-30"], "datetime64[D]")}
    cut = scan_history(folder, keep_in=kept, change_days=days)
    # A day's file lies wholly before, on or after the day of change: only the new stretches'
    # names differ, on that day and from it to the quarter's end.
    assert sorted(read[1:]) == ["30-03.parquet", "31-03.parquet"]
    monkeypatch.undo()
    assert second.equals(scan_history(folder))
    assert cut.equals(scan_history(folder, change_days=days))


def test_kept_tally_that_is_torn_or_of_other_limits_is_made_anew(
    frame: pd.DataFrame, tmp_path: Path
):
    folder, kept = write_by_position(frame, tmp_path / "logs"), tmp_path / "kept"
    first = scan_history(folder, keep_in=kept)
    for path in kept.iterdir():
        path.write_bytes(path.read_bytes()[:100])

    assert scan_history(folder, keep_in=kept).equals(first)
    short = Limits(gap_hours=0.05)
    assert scan_history(folder, keep_in=kept, limits=short).equals(
        scan_history(folder, limits=short)
    )


def test_interrupted_scan_leaves_what_was_done(frame: pd.DataFrame, tmp_path: Path):
    folder, kept = write_by_day(frame, tmp_path / "logs"), tmp_path / "kept"

    def interrupt(done: int, total: int) -> None:
        assert total == 6
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        scan_history(folder, keep_in=kept, on_progress=interrupt)
    assert len(list(kept.glob("*.npz"))) >= 3
    assert not list(kept.glob(".*"))
    assert scan_history(folder, keep_in=kept).equals(scan_history(folder))


def test_log_folder_without_a_historian_and_with_an_empty_one(tmp_path: Path):
    tables = {
        "installs": pd.DataFrame(
            {"position_id": ["P0"], "installed_on": pd.to_datetime(["2024-03-29"])}
        )
    }
    assert scan_logs(tmp_path, tables) is None
    (tmp_path / "pressure").mkdir()
    with pytest.raises(InputError, match="must hold Parquet or CSV files"):
        scan_logs(tmp_path, tables)
    write(samples(positions=1), tmp_path / "pressure" / "a.parquet")
    found = scan_logs(tmp_path, tables)
    assert found is not None
    assert found.ledger.parts[:, ROWS].tolist() == [144, 144, 2 * 144, 2 * 144]


def warm(frame: pd.DataFrame) -> pd.DataFrame:
    degc = 60 + 10 * np.sin(np.arange(len(frame)) / 30)
    degc[::17] = np.nan
    return frame.assign(**{"temperature [degC]": degc.round(1)})


def test_temperature_is_tallied_the_same_however_the_files_are_split(
    frame: pd.DataFrame, whole: HistoryTally, tmp_path: Path
):
    by_position = scan_history(write_by_position(warm(frame), tmp_path / "position"))
    by_day = scan_history(write_by_day(warm(frame), tmp_path / "day"))
    kelvin = warm(frame)
    kelvin["temperature [K]"] = kelvin.pop("temperature [degC]") + 273.15
    (tmp_path / "text").mkdir()
    kelvin.sort_values("time").to_csv(tmp_path / "text" / "a.csv", index=False)

    assert by_day.equals(by_position)
    assert scan_history(tmp_path / "text").equals(by_position)
    # Independent route: each row's temperature held until the next row of its position.
    one = warm(frame)[frame["position_id"] == "P1"].reset_index(drop=True)
    quarter = one["time"] < "2024-04-01"
    degc, step = one["temperature [degC]"][quarter], 10.0
    last = degc.index[-1]
    expected = (degc.drop(last) * step).sum() / (degc.drop(last).notna() * step).sum()
    part = by_position.ledger.parts[by_position.ledger.parts[:, 0] == 1][:1]
    found = mean_temperature(by_position.ledger._replace(parts=part))
    assert found[0] == pytest.approx(expected, abs=1 / 256)
    assert part[0, HOTTEST] / 256 == pytest.approx(degc.max(), abs=1 / 256)
    # Without the column nothing is known and nothing else changes.
    assert np.isnan(mean_temperature(whole.ledger)).all()
    columns = [*range(17), *range(25, 65)]
    assert whole.ledger.parts[:, columns].tolist() == by_day.ledger.parts[:, columns].tolist()


def test_temperature_without_a_unit_is_said_and_the_pressures_are_used(
    frame: pd.DataFrame, whole: HistoryTally, tmp_path: Path
):
    write(frame.assign(temperature=20.0), tmp_path / "logs" / "bare.parquet")
    found = scan_history(tmp_path / "logs")

    assert found.equals(whole)
    assert [note.file for note in found.notes] == ["bare.parquet"]
    assert "must say the unit of its temperature" in found.notes[0].what
    assert found.notes[0].what.endswith("temperatures not used")
