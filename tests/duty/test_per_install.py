"""Duty per install and per position, from small hand-made tables."""

import numpy as np
import pandas as pd
import pytest

from analytics.duty.per_install import duty_per_install, duty_per_position


def tables(**changes: object) -> dict[str, pd.DataFrame]:
    positions = pd.DataFrame(
        {
            "position_id": ["P1", "P2", "P3"],
            "site": ["north", "north", "south"],
            "disc_code": ["D10", "D10", "D20"],
            "max_operating_pressure_barg": [7.0, 9.6, 12.0],
            "back_pressure_barg": [np.nan, 0.0, 2.0],
            "disc_temperature_degc": [20.0, 80.0, np.nan],
        }
    )
    discs = pd.DataFrame(
        {
            "disc_code": ["D10", "D20"],
            "family": ["forward_scored", "reverse_scored"],
            "specified_burst_pressure_barg": [10.0, 20.0],
            "coincident_temperature_degc": [22.0, 22.0],
            "range_minus_pct": [10.0, np.nan],
            "range_plus_pct": [5.0, np.nan],
            "max_operating_ratio": [0.8, np.nan],
        }
    )
    installs = pd.DataFrame(
        {
            "install_id": ["I1", "I2", "I3"],
            "position_id": ["P1", "P2", "P1"],
            "installed_on": pd.to_datetime(["2020-01-01", "2020-02-01", "2021-01-01"]),
            "disc_code": ["D10", "D10", "D10"],
            "lot": ["A", "B", None],
            "marked_burst_pressure_barg": [10.0, 10.0, np.nan],
            "source_line": [2, 3, 4],
        }
    )
    removals = pd.DataFrame(
        {"removal_id": ["R1"], "position_id": ["P1"], "found_on": pd.to_datetime(["2021-01-01"])}
    )
    made = {"positions": positions, "discs": discs, "installs": installs, "removals": removals}
    return made | changes  # type: ignore[operator]


def test_ratio_uses_the_tag_where_there_is_one_and_the_lowest_mark_otherwise():
    duty = duty_per_install(tables())

    assert duty.index.tolist() == ["I1", "I2", "I3"]
    assert duty["ratio_basis"].tolist() == ["tag", "tag", "specified"]
    # By hand: 7 / (10 - 0.5); 9.6 / 9.5; lowest mark 10 x 0.9 = 9, less 5 % of 9 is 8.55.
    assert duty["operating_ratio"].tolist() == pytest.approx([7 / 9.5, 9.6 / 9.5, 7 / 8.55])
    assert duty["minimum_burst_bar"].tolist() == pytest.approx([9.5, 9.5, 8.55])
    assert duty["maximum_burst_bar"].tolist() == pytest.approx([10.5, 10.5, 10.5 * 1.05])
    assert set(duty["pressure_basis"]) == {"nominal"}
    assert set(duty["cycles_basis"]) == {"none"}


def test_position_is_judged_by_the_disc_now_fitted_and_alarms_say_why():
    duty = duty_per_position(tables()).set_index("position_id")

    assert duty.loc["P1", "operating_ratio"] == pytest.approx(7 / 8.55)
    assert duty.loc["P1", "alarm"] == "operating ratio 0.819 is above the disc's maximum 0.80"
    assert duty.loc["P2", "alarm"].startswith("operating ratio 1.011 is above 1")
    assert "disc runs at 80 degC" in duty.loc["P2", "alarm"]
    # P3 has no install: its own disc code, 20 barg as specified, 2 barg behind it.
    assert duty.loc["P3", "operating_ratio"] == pytest.approx(10 / 19)
    assert duty.loc["P3", "alarm"].startswith("no tag value and no manufacturing range")
    assert np.isnan(duty.loc["P3", "limit"])


def test_unknown_disc_and_zero_mark_give_no_ratio_and_say_so():
    odd = tables()
    odd["installs"] = odd["installs"].assign(
        disc_code=["D10", "D99", "D10"], marked_burst_pressure_barg=[0.0, np.nan, 10.0]
    )

    assert duty_per_install(odd)["ratio_basis"].tolist() == ["specified", None, "tag"]
    assert "no burst pressure on record" in duty_per_position(odd)["alarm"].tolist()[1]


def test_a_temperature_curve_corrects_the_ratio_and_silences_the_alarm():
    plain = tables()
    plain["positions"] = plain["positions"].assign(disc_temperature_degc=120.0)
    plain["discs"] = plain["discs"].assign(coincident_temperature_degc=20.0)
    curved = plain | {"discs": plain["discs"].assign(temperature_curve="20:1.00/120:0.80")}

    before, after = duty_per_install(plain), duty_per_install(curved)

    # The burst tolerance is 5 % of the mark, so the ratio rises by exactly 1 / 0.8.
    tagged = before["ratio_basis"].eq("tag") & before["minimum_burst_bar"].gt(3)
    assert tagged.any()
    np.testing.assert_allclose(
        after["operating_ratio"][tagged], before["operating_ratio"][tagged] / 0.8
    )
    assert "nominal" in duty_per_position(plain)["alarm"].str.cat()
    assert "the ratio is nominal" not in duty_per_position(curved)["alarm"].str.cat()
