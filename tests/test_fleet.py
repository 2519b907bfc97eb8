import numpy as np
import pandas as pd
import pytest

from analytics.fleet import (
    FLEET,
    dangerous_events,
    dangerous_rate,
    data_quality,
    disc_years_by_year,
    yearly_costs,
    yearly_trend,
)
from analytics.installs.checklist import DEFECTS


def lives(rows: list[dict]) -> pd.DataFrame:
    base = {
        "site": "S",
        "reason": None,
        "age_known": True,
        "ratio_basis": "tag",
        "pressure_basis": "nominal",
        "checks_passed": 0,
        "checks_recorded": 0,
        "cost": np.nan,
    }
    frame = pd.DataFrame([{"life_id": f"L{i}", **base, **row} for i, row in enumerate(rows)])
    for day in ("observed_from", "ended_on"):
        frame[day] = pd.to_datetime(frame[day])
    frame["installed_on"] = frame["observed_from"]
    for check in DEFECTS:
        frame[check] = pd.array([None] * len(frame), dtype="boolean")
    return frame


def one(ending: str, start: str = "2019-01-01", end: str = "2021-01-01", **more) -> dict:
    return {"ending": ending, "observed_from": start, "ended_on": end, **more}


def test_disc_years_add_up_to_the_time_watched():
    frame = lives([one("planned", "2018-07-01", "2021-03-01"), one("in_service")])

    watched = disc_years_by_year(frame)

    days = (frame["ended_on"] - frame["observed_from"]).dt.days.sum()
    assert watched.to_numpy().sum() == pytest.approx(days / 365.25)
    assert watched[2019].tolist() == pytest.approx([365 / 365.25] * 2)


def test_trend_counts_premature_failures_over_disc_years():
    frame = lives([one("premature", end="2020-06-01"), one("demand"), one("in_service", site="T")])

    trend = yearly_trend(frame).set_index(["site", "year"])

    assert trend.loc[("S", 2020), "premature"] == 1
    assert trend.loc[("T", 2020), "premature"] == 0
    assert trend.loc[(FLEET, 2019), "disc_years"] == pytest.approx(3 * 365 / 365.25)
    row = trend.loc[(FLEET, 2020)]
    assert row["low"] < row["rate"] < row["high"]
    assert trend.loc[("T", 2020), "low"] == 0 < trend.loc[("T", 2020), "high"]


def test_no_dangerous_event_still_leaves_a_bound():
    # 0 events in 50 disc-years: -ln(0.05) / 50 = 0.059915 a year, worked by hand.
    frame = lives([one("in_service", "2000-01-01", "2050-01-01")])

    rate = dangerous_rate(frame, 0)

    assert rate.estimate == rate.low == 0
    assert rate.high == pytest.approx(0.059915, abs=5e-6)


def test_a_disc_that_withstood_too_much_is_listed_with_those_that_failed_to_open():
    frame = lives([one("dangerous", reason="failed_to_open")]).assign(position_id="P1")
    withstood = pd.DataFrame(
        {"position_id": ["P2"], "date": pd.to_datetime(["2022-03-04"]), "what": ["stayed whole"]}
    )

    listed = dangerous_events(frame, withstood)

    assert listed["position_id"].tolist() == ["P2", "P1"]
    assert listed["what"].tolist() == ["stayed whole", "failed to open"]
    assert dangerous_events(frame.iloc[:0], withstood.iloc[:0]).empty


def test_costs_split_by_year_and_share():
    frame = lives(
        [one("premature", cost=100.0), one("planned", cost=30.0), one("demand", cost=9.0)]
    )

    costs = yearly_costs(frame, pd.Series({"L0": 0.25})).set_index("year").loc[2021]

    assert costs.tolist() == [100.0, 25.0, 30.0]


def test_data_quality_is_a_share():
    frame = lives([one("premature", reason="burst"), one("unclear", reason="burst")])

    quality = data_quality(frame)

    cause = quality[quality["measure"] == "cause of burst known"]
    assert cause["share"].tolist() == [0.5]
    assert quality["share"].between(0, 1).all()


def test_nothing_watched_gives_no_rate():
    assert dangerous_rate(lives([one("planned")]).iloc[:0], 0) is None
