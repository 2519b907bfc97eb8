"""The plant's clock: put forward and back, or with a zone of its own, time runs straight."""

from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from analytics.duty.history import scan_history
from analytics.duty.ledger import FIRST, LAST, ROWS, SEGMENTS
from analytics.duty.zone import clock_of, from_utc, from_wall
from analytics.job import run

BERLIN = "Europe/Berlin"


def ms(*stamps: str) -> np.ndarray:
    return np.array(stamps, "datetime64[ms]").astype(np.int64)


def test_summer_time_is_taken_off_and_winter_time_stays():
    # Central European summer time began on 31 March 2024 at 02:00 and ended on 27 October at
    # 03:00 (directive 2000/84/EC: last Sundays, 01:00 UTC); standard time is UTC + 1 h.
    clock = clock_of(BERLIN)
    wall = ms("2024-01-01T12:00", "2024-03-31T03:00", "2024-07-01T12:00", "2024-10-27T03:00")

    assert (
        from_wall(wall, clock).tolist()
        == ms(
            "2024-01-01T12:00", "2024-03-31T02:00", "2024-07-01T11:00", "2024-10-27T03:00"
        ).tolist()
    )
    assert from_utc(ms("2024-07-01T10:00"), clock).tolist() == ms("2024-07-01T11:00").tolist()
    repeat = clock.repeats[np.searchsorted(clock.repeats[:, 0], ms("2024-10-01")[0])]
    assert repeat.tolist() == [*ms("2024-10-27T01:00", "2024-10-27T02:00"), 3_600_000]


def test_zone_that_never_changes_and_no_zone_leave_times_as_they_stand():
    wall = ms("2024-01-01", "2024-07-01")

    assert from_wall(wall, clock_of("Asia/Kolkata")).tolist() == wall.tolist()
    assert from_wall(wall, clock_of(None)).tolist() == wall.tolist()
    assert from_utc(wall, clock_of(None)).tolist() == wall.tolist()
    assert clock_of("Australia/Sydney").offset == 10 * 3_600_000


def year_of_rows() -> pd.DatetimeIndex:
    """A row every ten minutes through a year, in true time."""
    return pd.date_range("2024-01-01", "2025-01-01", freq="10min", tz="UTC")


def write(path: Path, times: pa.Array, pressure: np.ndarray) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    pq.write_table(
        pa.table({"position_id": ["P"] * len(times), "time": times, "pressure [barg]": pressure}),
        path,
    )


def test_wall_clock_utc_and_text_with_offsets_all_tell_the_same(tmp_path: Path):
    true = year_of_rows()
    pressure = np.random.default_rng(1).normal(20, 3, len(true)).round(2)
    local = true.tz_convert(BERLIN)
    write(
        tmp_path / "aware" / "a.parquet",
        pa.array(true.to_numpy("datetime64[ms]")).cast(pa.timestamp("ms", "UTC")),
        pressure,
    )
    write(
        tmp_path / "wall" / "a.parquet",
        pa.array(local.tz_localize(None).to_numpy("datetime64[ms]")),
        pressure,
    )
    text = pd.DataFrame(
        {
            "position_id": "P",
            "time": local.map(lambda t: t.isoformat()),
            "pressure [barg]": pressure,
        }
    )
    (tmp_path / "text").mkdir()
    text.to_csv(tmp_path / "text" / "a.csv", index=False)
    found = {name: scan_history(tmp_path / name, zone=BERLIN) for name in ("aware", "wall", "text")}

    # The clock put back is no jump: every row is used, nothing is said.
    assert found["wall"].notes == ()
    assert found["wall"].ledger.parts[:, ROWS].sum() == len(true)
    assert found["wall"].equals(found["aware"])
    assert found["text"].equals(found["aware"])
    whole_year = found["wall"].ledger.parts
    assert whole_year[-1, LAST] - whole_year[0, FIRST] == 366 * 86_400_000
    assert whole_year[:, SEGMENTS].tolist() == [1] * len(whole_year)


def test_without_the_zone_the_hour_put_back_is_lost_and_said(tmp_path: Path):
    true = year_of_rows()
    wall = true.tz_convert(BERLIN).tz_localize(None)
    write(
        tmp_path / "a.parquet",
        pa.array(wall.to_numpy("datetime64[ms]")),
        np.arange(len(true)) % 7.0,
    )
    found = scan_history(tmp_path)

    assert found.ledger.parts[:, ROWS].sum() == len(true) - 6
    assert [note.rows for note in found.notes] == [6]


def test_clock_that_truly_jumps_back_is_still_reported(tmp_path: Path):
    true = year_of_rows()[:40_000]  # to October
    wall = true.tz_convert(BERLIN).tz_localize(None).to_numpy("datetime64[ms]").copy()
    wall[20_000:] -= np.timedelta64(3, "h")  # in May: no hour comes twice then
    write(tmp_path / "a.parquet", pa.array(wall), np.arange(len(true)) % 7.0)
    found = scan_history(tmp_path, zone=BERLIN)

    assert [note.rows for note in found.notes] == [18]
    assert "goes back" in found.notes[0].what


def test_quarters_begin_at_the_plants_midnight(tmp_path: Path):
    # 23:30 UTC on 31 March is 1 April in Berlin.
    stamps = pa.array(ms("2024-03-31T10:00", "2024-03-31T23:30", "2024-04-01T10:00")).cast(
        pa.timestamp("ms", "UTC")
    )
    write(tmp_path / "a.parquet", stamps, np.array([1.0, 2.0, 1.0]))

    assert scan_history(tmp_path, zone=BERLIN).ledger.parts[:, ROWS].tolist() == [1, 2]
    assert scan_history(tmp_path).ledger.parts[:, ROWS].tolist() == [2, 1]


def test_kept_tally_of_another_zone_is_not_used(tmp_path: Path):
    true = year_of_rows()
    logs, kept = tmp_path / "logs", tmp_path / "kept"
    write(
        logs / "a.parquet",
        pa.array(true.tz_localize(None).to_numpy("datetime64[ms]")),
        np.arange(len(true)) % 7.0,
    )
    scan_history(logs, keep_in=kept)
    found = scan_history(logs, keep_in=kept, zone=BERLIN)

    assert found.equals(scan_history(logs, zone=BERLIN))


def test_job_reads_the_historian_by_the_zone_of_the_logs(tmp_path: Path, monkeypatch):
    asked: list[str | None] = []
    monkeypatch.setattr(
        "analytics.job.scan_logs", lambda *_, zone, **__: asked.append(zone) or 1 / 0
    )
    from datasets.reference.valve_seats import write_valve_seat_logs

    write_valve_seat_logs(tmp_path)
    with open(tmp_path / "logs.toml", "r+", encoding="utf-8") as stream:
        declared = stream.read()
        stream.seek(0)
        stream.write(f'time_zone = "{BERLIN}"\n' + declared)
    with pytest.raises(ZeroDivisionError):
        run(tmp_path)
    assert asked == [BERLIN]
