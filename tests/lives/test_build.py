from datetime import date

import numpy as np
import pandas as pd
import pytest

from analytics.lives.build import build_lives
from analytics.logs.tables import TABLES, Kind

BEGINS, EXPORT = date(2018, 1, 1), date(2022, 1, 1)
YEAR = 365.25


def table(name: str, rows: list[dict]) -> pd.DataFrame:
    frame = pd.DataFrame(rows)
    for column in TABLES[name].columns:
        if column.internal_name not in frame:
            frame[column.internal_name] = None
        series = frame[column.internal_name]
        if column.kind is Kind.DATE:
            series = pd.to_datetime(series)
        elif column.kind is Kind.YES_NO:
            series = series.astype("boolean")
        elif column.kind is Kind.NUMBER:
            series = series.astype(float)
        frame[column.internal_name] = series
    return frame


def install(number: int, day: str, position: str = "P1", **more) -> dict:
    return {
        "install_id": f"I{number}",
        "position_id": position,
        "installed_on": day,
        "disc_code": "D1",
        **more,
    }


def removal(number: int, day: str, reason: str = "planned", position: str = "P1", **more) -> dict:
    return {
        "removal_id": f"R{number}",
        "position_id": position,
        "found_on": day,
        "reason": reason,
        **more,
    }


def lives_of(installs: list[dict], removals: list[dict], **position):
    place = {"position_id": "P1", "site": "S", "disc_code": "D1", **position}
    tables = {
        "positions": table("positions", [place]),
        "discs": table("discs", [{"disc_code": "D1", "family": "composite"}]),
        "installs": table("installs", installs),
        "removals": table("removals", removals),
    }
    duty = pd.DataFrame(
        {"operating_ratio": 0.8, "minimum_burst_bar": 9.5, "maximum_burst_bar": 10.5},
        index=[row["install_id"] for row in installs],
    )
    return build_lives(tables, duty, log_begins=BEGINS, export_date=EXPORT)


def test_a_disc_removed_and_its_successor_still_in_service():
    lives = lives_of(
        [install(1, "2019-01-01"), install(2, "2020-01-01")], [removal(1, "2020-01-01")]
    ).frame

    assert lives["ending"].tolist() == ["planned", "in_service"]
    assert lives["age_years"].tolist() == pytest.approx([365 / YEAR, 731 / YEAR])
    assert np.isinf(lives["upper_years"].iloc[1])
    assert lives["removal_id"].iloc[0] == "R1"
    assert lives["age_known"].all()


def test_a_disc_fitted_before_the_log_enters_at_its_age():
    lives = lives_of([install(1, "2016-01-01")], [removal(1, "2019-01-01")]).frame

    assert lives["entry_years"].iloc[0] == pytest.approx(731 / YEAR)
    assert lives["age_years"].iloc[0] == pytest.approx(1096 / YEAR)


def test_a_life_that_ended_before_the_log_is_left_out_and_counted():
    made = lives_of([install(1, "2016-01-01")], [removal(1, "2017-06-01")])

    assert made.frame.empty
    assert any("ended before the log began" in line for line in made.inferred)


def test_a_removal_without_install_is_kept_without_an_age():
    lives = lives_of([], [removal(1, "2019-01-01", "leak")]).frame

    assert lives["ending"].tolist() == ["premature"]
    assert not lives["age_known"].any()
    assert lives["life_id"].tolist() == ["?P1/R1"]
    assert "age unknown" in lives["inferred"].iloc[0]


def test_a_position_without_any_row_holds_a_disc_of_unknown_age():
    lives = lives_of([], []).frame

    assert lives["ending"].tolist() == ["in_service"]
    assert not lives["age_known"].any()


def test_two_installs_in_a_row_show_a_missing_removal():
    lives = lives_of([install(1, "2019-01-01"), install(2, "2020-01-01")], []).frame

    assert lives["ending"].tolist() == ["unclear", "in_service"]
    assert lives["lower_years"].iloc[0] == 0
    assert lives["upper_years"].iloc[0] == pytest.approx(365 / YEAR)
    assert "removal missing" in lives["inferred"].iloc[0]


def test_a_leak_lies_between_the_last_look_and_the_find():
    seen = lives_of(
        [install(1, "2019-01-01")],
        [removal(1, "2021-01-01", "leak", last_good_on="2020-01-01")],
    ).frame.iloc[0]
    never_looked = lives_of(
        [install(1, "2017-01-01")], [removal(1, "2021-01-01", "damage_found")]
    ).frame.iloc[0]

    assert (seen["lower_years"], seen["upper_years"]) == pytest.approx((365 / YEAR, 731 / YEAR))
    assert never_looked["lower_years"] == never_looked["entry_years"]


def test_a_disc_that_came_out_on_its_first_day_lived_half_a_day():
    lives = lives_of(
        [install(1, "2019-01-01"), install(2, "2019-01-01")],
        [removal(1, "2019-01-01", "leak"), removal(2, "2018-06-01")],
    ).frame

    first = lives[lives["install_id"] == "I1"].iloc[0]
    assert first["age_years"] == pytest.approx(0.5 / YEAR)
    assert "half a day" in first["inferred"]


def test_a_lost_install_does_not_turn_later_changes_into_days():
    # The install of 2019 is lost; the change of 2020 is an old disc out and a new one in.
    lives = lives_of(
        [install(1, "2018-06-01"), install(3, "2020-01-01")],
        [removal(1, "2019-01-01"), removal(2, "2020-01-01"), removal(3, "2021-01-01")],
    ).frame

    assert lives["install_id"].fillna("lost").tolist() == ["I1", "lost", "I3"]
    assert lives["age_known"].tolist() == [True, False, True]
    assert lives["age_years"].iloc[2] == pytest.approx(366 / YEAR)


def test_back_pressure_raises_the_pressure_a_disc_bursts_at():
    rows = [install(1, "2019-01-01")], [removal(1, "2020-01-01", "burst", peak_pressure_barg=10.0)]
    alone = lives_of(*rows).frame
    held = lives_of(*rows, back_pressure_barg=2.0).frame

    assert alone["ending"].tolist() == ["demand"]
    assert held["ending"].tolist() == ["premature"]


def test_no_life_is_negative_and_every_row_is_used_once():
    generator = np.random.default_rng(11)
    days = pd.date_range("2016-06-01", "2021-12-01", freq="D").strftime("%Y-%m-%d")
    installs = [install(i, d) for i, d in enumerate(generator.choice(days, 40))]
    removals = [removal(i, d) for i, d in enumerate(generator.choice(days, 40))]

    lives = lives_of(installs, removals).frame

    known = lives[lives["age_known"]]
    assert (known["age_years"] > 0).all()
    assert (known["lower_years"] <= known["upper_years"]).all()
    assert lives["removal_id"].dropna().is_unique
    assert lives["install_id"].dropna().is_unique
    assert lives["life_id"].is_unique
