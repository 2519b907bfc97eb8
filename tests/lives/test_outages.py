from datetime import date

import numpy as np
import pandas as pd
import pytest

from analytics.lives.outages import own_rounds, planned_dates

EXPORT = date(2025, 1, 1)


def dates_of(age_years: float, interval_years: float, outages: list[str]) -> list[str]:
    today = pd.DataFrame({"turnaround_group": ["G"], "age_years": [age_years]})
    turnarounds = pd.DataFrame(
        {"turnaround_group": ["G"] * len(outages), "starts_on": pd.to_datetime(outages)}
    )
    (dates,) = planned_dates(
        today,
        turnarounds,
        pd.Series([interval_years]),
        export_date=EXPORT,
        horizon_years=10,
    )
    return [str(day.date()) for day in dates]


OUTAGES = ["2024-06-01", "2025-06-01", "2026-06-01", "2027-06-01", "2028-06-01"]


@pytest.mark.parametrize(
    ("age", "interval", "expected"),
    [
        # due at the end of 2026: the outage before it; then in 2029, which is not set yet
        (1.0, 3.0, ["2026-06-01"]),
        # overdue: the first outage to come
        (5.0, 3.0, ["2025-06-01", "2028-06-01"]),
        # due a fortnight after an outage's year is up: still on time
        (0.0, 1.4, ["2026-06-01", "2027-06-01", "2028-06-01"]),
        (1.0, np.nan, []),
        (1.0, np.inf, []),
    ],
)
def test_a_disc_goes_out_at_the_last_outage_before_it_is_due(age, interval, expected):
    assert dates_of(age, interval, OUTAGES) == expected


def test_a_horizon_does_not_make_a_disc_due_at_its_last_outage():
    today = pd.DataFrame({"turnaround_group": ["G"], "age_years": [0.0]})
    outages = pd.DataFrame({"turnaround_group": "G", "starts_on": pd.to_datetime(OUTAGES)})
    (dates,) = planned_dates(today, outages, pd.Series([3.0]), export_date=EXPORT, horizon_years=2)
    assert dates == ()


def test_a_position_changed_by_age_alone_needs_no_outage():
    lives = pd.DataFrame(
        {
            "position_id": ["A", "A", "B", "B"],
            "ending": "planned",
            "ended_on": pd.to_datetime(["2022-01-10", "2023-02-20", "2024-06-04", "2023-06-02"]),
        }
    )
    today = pd.DataFrame(
        {"position_id": ["A", "B"], "turnaround_group": "G", "age_years": [0.5, 0.5]}
    )
    starts = ["2023-06-01", "2024-06-01", "2025-06-01", "2026-06-01"]
    outages = pd.DataFrame({"turnaround_group": "G", "starts_on": pd.to_datetime(starts)})
    apart = own_rounds(lives, today, outages)
    assert apart.tolist() == [True, False]
    dates, _ = planned_dates(
        today,
        outages,
        pd.Series([1.0, 1.0]),
        export_date=EXPORT,
        horizon_years=2,
        own_round=apart,
    )
    assert [day.year + day.month / 12 for day in dates] == pytest.approx(
        [2025.58, 2026.58], abs=0.1
    )


def test_no_outage_no_date():
    assert dates_of(1.0, 2.0, []) == []
