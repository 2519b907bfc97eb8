"""Today's interval, costs and upset rates, as the log shows them."""

import numpy as np
import pandas as pd
import pytest
from interval_cases import places

from analytics.intervals.practice import todays_practice


def lives(*rows: tuple[str, float, str], cost: float = np.nan) -> pd.DataFrame:
    """One life after the other at each position: (position, age in years, ending)."""
    frame = pd.DataFrame(rows, columns=["position_id", "age_years", "ending"])
    start = frame.groupby("position_id")["age_years"].cumsum() - frame["age_years"]
    return frame.assign(
        installed_on=pd.Timestamp("2010-01-01") + pd.to_timedelta(start * 365.25, unit="D"),
        entry_years=0.0,
        age_known=True,
        unit="M10",
        disc_code="BD-1",
        reason=frame["ending"].map({"unclear": "burst", "demand": "burst"}),
        cost=cost,
    )


def test_interval_is_the_median_of_discs_fitted_in_the_run_of_the_plan():
    log = lives(
        ("P0", 3.0, "planned"), ("P0", 3.1, "planned"), ("P0", 1.0, "premature"),
        ("P0", 2.0, "planned"), ("P0", 3.3, "planned"),
    )  # fmt: skip
    found = todays_practice(log, places(1))
    # 2.0 followed a failure in mid-cycle, 3.0 nothing: of 3.1 and 3.3 the median is 3.2.
    assert found["today_years"][0] == pytest.approx(3.2)
    assert found["longest_years"][0] == pytest.approx(3.3)


def test_a_position_never_replaced_on_plan_is_run_to_failure_once_watched_long_enough():
    log = lives(
        ("P0", 3.0, "planned"), ("P0", 3.0, "planned"), ("P1", 5.0, "premature"),
        ("P1", 4.0, "in_service"), ("P2", 2.0, "in_service"),
    )  # fmt: skip
    found = todays_practice(log, places(3))
    assert np.isinf(found["today_years"][1])
    # Watched for two years only: its outage group's interval stands in.
    assert found["today_years"][2] == pytest.approx(3.0)


def test_no_plan_anywhere_and_nothing_watched_is_unknown():
    found = todays_practice(lives(("P9", 1.0, "in_service")), places(1))
    assert np.isnan(found["today_years"][0])


def test_costs_fall_back_to_like_removals_and_say_so():
    log = lives(("P0", 3.0, "planned"), ("P0", 1.0, "premature"), cost=700.0)
    log.loc[1, "cost"] = 8_000.0
    found = todays_practice(log, places(1, planned_cost=np.nan, unplanned_cost=np.nan))

    assert (found["planned_cost"][0], found["unplanned_cost"][0]) == (700.0, 8_000.0)
    assert (
        found["inferred"][0]
        == "planned_cost from like removals. unplanned_cost from like removals."
    )
    bare = todays_practice(lives(("P0", 3.0, "planned")), places(1, planned_cost=np.nan))
    assert np.isnan(bare["planned_cost"][0])
    assert "planned_cost is nowhere on record" in bare["inferred"][0]


def test_upset_rate_is_shrunk_to_the_fleet():
    log = pd.concat(
        [
            lives(("P0", 2.0, "demand"), ("P0", 2.0, "demand"), ("P0", 6.0, "planned")),
            lives(("P1", 10.0, "in_service")).assign(unit="M20"),
        ],
        ignore_index=True,
    )
    found = todays_practice(log, places(2, unit=["M10", "M20"]))
    # Fleet: 2 upsets in 20 disc-years = 0.1; (2 + 1) / (10 + 10) and (0 + 1) / (10 + 10).
    assert found["demand_rate"].tolist() == pytest.approx([0.15, 0.05])


def test_unclear_bursts_count_by_what_can_be_told():
    log = lives(("P0", 5.0, "unclear"), ("P0", 5.0, "demand"), ("P0", 10.0, "premature"))
    log["reason"] = "burst"
    found = todays_practice(log, places(1))
    # Of the bursts that can be told half are demand: 1.5 in 20 disc-years.
    assert found["demand_rate"][0] == pytest.approx((1.5 + 1) / (20 + 20 / 1.5))
