"""Duty read from a historian: what each life saw, what it withstood, quarter by quarter."""

import datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.duty.counting import tally_series
from analytics.duty.damage import Basquin, MeanCorrection
from analytics.duty.history import scan_history
from analytics.duty.per_install import duty_per_install, duty_per_position
from analytics.duty.quarters import duty_by_quarter
from analytics.duty.tally import HistoryTally, merge_tallies
from analytics.duty.windows import change_days, life_windows
from analytics.duty.withstood import pressures_withstood

DAY = 86_400_000


def at(day: str) -> int:
    return int(np.datetime64(day, "ms").astype(np.int64))


def tables() -> dict[str, pd.DataFrame]:
    """One position: a disc for a year, burst and replaced; a second that stays."""
    return {
        "positions": pd.DataFrame(
            {
                "position_id": ["P"],
                "site": ["north"],
                "disc_code": ["D"],
                "max_operating_pressure_barg": [6.0],
                "back_pressure_barg": [1.0],
                "disc_temperature_degc": [np.nan],
            }
        ),
        "discs": pd.DataFrame(
            {
                "disc_code": ["D"],
                "family": ["forward_plain"],
                "specified_burst_pressure_barg": [10.0],
                "coincident_temperature_degc": [20.0],
                "range_minus_pct": [0.0],
                "range_plus_pct": [0.0],
                "max_operating_ratio": [0.7],
            }
        ),
        "installs": pd.DataFrame(
            {
                "install_id": ["A", "B"],
                "position_id": ["P", "P"],
                "installed_on": pd.to_datetime(["2023-01-01", "2024-01-01"]),
                "disc_code": ["D", "D"],
                "marked_burst_pressure_barg": [10.0, 10.0],
                "lot": [None, None],
                "source_line": [2, 3],
            }
        ),
        "removals": pd.DataFrame(
            {
                "removal_id": ["R"],
                "position_id": ["P"],
                "found_on": pd.to_datetime(["2024-01-01"]),
                "last_good_on": pd.to_datetime(["2023-12-20"]),
                "reason": ["burst"],
            }
        ),
    }


def hourly(begin: str, end: str, swing: float = 3.0, spikes: dict[str, float] | None = None):
    """Twelve hours at 8 barg, twelve lower by the swing: one cycle a day."""
    times = np.arange(at(begin), at(end), 3_600_000)
    pressure = np.where(times % DAY < DAY // 2, 8.0, 8.0 - swing)
    for when, value in (spikes or {}).items():
        pressure[np.searchsorted(times, at(when))] = value
    return tally_series("P", times, pressure, change_days=change_days(tables()))


def test_windows_leave_the_days_of_change_to_neither_disc():
    windows = life_windows(tables())

    assert windows["begins"].dt.strftime("%F").tolist() == ["2023-01-02", "2024-01-02"]
    assert windows["ends"].dt.strftime("%F").tolist()[0] == "2024-01-01"
    assert windows["ends"].isna().tolist() == [False, True]
    assert windows["intact_until"].dt.strftime("%F").tolist()[0] == "2023-12-20"
    assert change_days(tables())["P"].astype(str).tolist() == ["2023-01-01", "2024-01-01"]


def test_ratio_and_cycles_come_from_the_history_of_the_life():
    duty = duty_per_install(tables(), hourly("2023-01-01", "2024-07-01"))

    # By hand: 8 barg for half the time is the 95th percentile; less 1 behind, over 9.5.
    assert duty["operating_ratio"].tolist() == pytest.approx([7 / 9.5] * 2, rel=0.003)
    assert duty["pressure_basis"].tolist() == ["history", "history"]
    assert duty["cycles_per_year"].tolist() == pytest.approx([365.25] * 2, rel=0.01)
    assert duty["cycles_basis"].tolist() == ["history of this life"] * 2
    # The limit 0.7 x 9.5 + 1 = 7.65 barg lies between the two pressures.
    assert duty["share_above_limit"].tolist() == pytest.approx([0.5] * 2, abs=0.01)
    assert duty["coverage"].tolist() == pytest.approx([1.0, 1.0], abs=0.01)


def test_life_seen_for_less_than_half_is_nominal_with_the_cycles_of_the_position():
    duty = duty_per_install(tables(), hourly("2023-11-01", "2024-07-01"))

    assert duty["pressure_basis"].tolist() == ["nominal", "history"]
    assert duty["operating_ratio"].iloc[0] == pytest.approx(5 / 9.5)
    assert duty["cycles_basis"].tolist() == ["history of the position", "history of this life"]
    assert duty["cycles_per_year"].iloc[0] == pytest.approx(365.25, rel=0.01)
    assert np.isnan(duty["share_above_limit"].iloc[0])


def test_swings_below_a_fiftieth_of_the_mark_are_no_cycles():
    small = duty_per_install(tables(), hourly("2023-01-01", "2024-07-01", swing=0.19))
    counted = duty_per_install(tables(), hourly("2023-01-01", "2024-07-01", swing=0.21))

    assert small["cycles_per_year"].tolist() == [0.0, 0.0]
    assert counted["cycles_per_year"].tolist() == pytest.approx([365.25] * 2, rel=0.01)


def test_position_elsewhere_in_the_historian_changes_nothing():
    other = tally_series("Q", np.arange(10) * DAY + at("2023-05-01"), np.full(10, 5.0))
    duty = duty_per_install(tables(), merge_tallies([other]))

    assert duty["pressure_basis"].tolist() == ["nominal", "nominal"]
    assert duty["cycles_basis"].tolist() == ["none", "none"]


def test_pressure_above_marked_plus_tolerance_with_the_disc_whole_is_dangerous():
    # Bursts by 10.5 bar across at the latest, so 11.5 barg against 1 barg behind it.
    # 12 barg in May 2023 was withstood; 12 barg on 28 December came after the last good look
    # and was the burst itself; 11.4 in 2024 is below the limit.
    seen = hourly(
        "2023-01-01",
        "2024-07-01",
        spikes={"2023-05-05": 12.0, "2023-12-28": 12.5, "2024-03-03": 11.4},
    )
    found = pressures_withstood(tables(), seen)

    assert found["position_id"].tolist() == ["P"]
    assert found["date"].dt.strftime("%F").tolist() == ["2023-05-05"]
    assert found["what"].iloc[0].startswith("11.00 bar across the disc, which should open by 10.50")
    assert "may not open" not in duty_per_position(tables(), seen)["alarm"].iloc[0]


def test_alarm_of_the_disc_now_in_names_the_day_and_a_stuck_reading():
    times = np.arange(at("2024-01-02"), at("2024-07-01"), 3_600_000)
    pressure = np.where(times % DAY < DAY // 2, 8.0, 5.0)
    pressure[(times >= at("2024-02-01")) & (times < at("2024-02-21"))] = 4.0
    pressure[np.searchsorted(times, at("2024-05-05"))] = 12.0
    seen = tally_series("P", times, pressure, change_days=change_days(tables()))
    alarm = duty_per_position(tables(), seen)["alarm"].iloc[0]

    assert alarm.startswith("11.00 bar across the disc on 2024-05-05, above the 10.50 bar")
    assert "it may not open" in alarm
    assert "stood still for 20 days" in alarm


def quarters(history: HistoryTally, **options: object) -> pd.DataFrame:
    return duty_by_quarter(tables(), history, until=datetime.date(2024, 7, 1), **options)


def test_quarters_lie_end_to_end_over_each_life_and_fall_back_to_nominal():
    rows = quarters(hourly("2023-10-01", "2024-07-01"))

    for _, life in rows.groupby("install_id"):
        assert life["from_years"].iloc[0] == 0
        assert life["from_years"].tolist()[1:] == life["to_years"].tolist()[:-1]
    first = rows[rows["install_id"] == "A"]
    assert first["to_years"].iloc[-1] == pytest.approx(365 / 365.25)
    assert first["pressure_basis"].tolist() == ["nominal"] * 3 + ["history"]
    assert first["operating_ratio"].tolist() == pytest.approx([5 / 9.5] * 3 + [7 / 9.5], rel=0.003)
    # Half the time at 8, half at 5 barg, less 1 behind it.
    assert first["mean_ratio"].iloc[-1] == pytest.approx(5.5 / 9.5, rel=0.005)


def test_damage_of_a_quarter_is_cycles_times_harm():
    # By hand: one cycle of 3 bar a day. N = 1e6 r^-4; Goodman about mean 6.5 - 1 of 9.5 bar.
    curve = Basquin(cycles_at_unit_range=1e6, slope=4.0)
    history = hourly("2023-01-01", "2024-07-01")
    plain = quarters(history, curve=curve)
    goodman = quarters(history, curve=curve, correction=MeanCorrection.GOODMAN)

    second = plain[plain["install_id"] == "A"].iloc[1]  # April to June 2023: 91 days
    assert second["damage"] == pytest.approx(91 * 3.0**4 / 1e6, rel=0.02)
    raised = goodman[goodman["install_id"] == "A"].iloc[1]["damage"] / second["damage"]
    assert raised == pytest.approx((1 / (1 - 5.5 / 9.5)) ** 4, rel=1e-6)
    assert quarters(history)["damage"].isna().all()


def warm_tables() -> dict[str, pd.DataFrame]:
    """The maker's curve: a tenth weaker at 120 degC than at the 20 degC of the tag."""
    made = tables()
    made["discs"] = made["discs"].assign(temperature_curve="20:1.00/120:0.90")
    made["positions"] = made["positions"].assign(disc_temperature_degc=20.0)
    return made


def warm_history(folder: Path, degc: object, unit: str = "degC") -> HistoryTally:
    times = np.arange(at("2023-01-01"), at("2024-07-01"), 3_600_000)
    frame = pd.DataFrame(
        {
            "position_id": "P",
            "time": times.astype("datetime64[ms]"),
            "pressure [barg]": np.where(times % DAY < DAY // 2, 8.0, 5.0),
            f"temperature [{unit}]": degc(times) if callable(degc) else degc,
        }
    )
    frame.to_parquet(folder / "a.parquet", index=False)
    return scan_history(folder, change_days=change_days(tables()))


def test_temperature_read_by_the_historian_corrects_the_burst_pressure(tmp_path: Path):
    warmer = warm_history(
        tmp_path, lambda times: np.where(times < at("2024-01-01"), 158.0, 248.0), "degF"
    )
    duty = duty_per_install(warm_tables(), warmer)

    # By hand: 158 degF is 70 degC, factor 0.95; 248 degF is 120 degC, factor 0.90.
    assert duty["disc_temperature_degc"].tolist() == pytest.approx([70.0, 120.0], abs=0.1)
    assert duty["temperature_basis"].tolist() == ["history", "history"]
    assert duty["operating_ratio"].tolist() == pytest.approx([7 / 9.025, 7 / 8.55], rel=0.003)
    by_quarter = duty_by_quarter(warm_tables(), warmer, until=datetime.date(2024, 7, 1))
    assert by_quarter["temperature_degc"].tolist() == pytest.approx([70] * 4 + [120] * 2, abs=0.2)
    ratios = by_quarter["operating_ratio"].tolist()
    assert ratios == pytest.approx([7 / 9.025] * 4 + [7 / 8.55] * 2, rel=0.004)


def test_without_a_curve_the_temperature_read_is_flagged_not_used(tmp_path: Path):
    plain = tables()
    plain["positions"] = plain["positions"].assign(disc_temperature_degc=20.0)
    warm = warm_history(tmp_path, 90.0)

    assert duty_per_install(plain, warm)["operating_ratio"].tolist() == pytest.approx(
        [7 / 9.5] * 2, rel=0.003
    )
    alarm = duty_per_position(plain, warm)["alarm"].iloc[0]
    assert "disc runs at 90 degC, its burst pressure is stated at 20 degC" in alarm


def test_temperature_seldom_read_leaves_the_positions_table_in_force(tmp_path: Path):
    seldom = warm_history(
        tmp_path, lambda times: np.where((times // 3_600_000) % 10 == 0, 90.0, np.nan)
    )
    duty = duty_per_install(warm_tables(), seldom)

    assert duty["disc_temperature_degc"].tolist() == [20.0, 20.0]
    assert duty["temperature_basis"].tolist() == ["nominal", "nominal"]
    assert duty["operating_ratio"].tolist() == pytest.approx([7 / 9.5] * 2, rel=0.003)
