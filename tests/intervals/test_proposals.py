"""Ages become dates: snapped down, never past a cap, never longer than today."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from interval_cases import EXPORT, habits, outages, places, some_law, wear_only

from analytics.intervals.overdue import DAYS_PER_MONTH, overdue_list
from analytics.intervals.proposals import Proposals, cost_curves, propose
from analytics.survival.law import Family, LifeLaw

DAY = EXPORT.date()
LISTED = [
    "position_id",
    "site",
    "disc_code",
    "age_months",
    "age_low",
    "age_high",
    "cap_months",
    "today_age_months",
    "replace_on",
    "premature_probability",
    "cost_per_year",
    "cost_today",
    "proposal",
    "note",
    "overdue",
]


def one(law: LifeLaw | None = None, stops: tuple[str, ...] = (), **columns: object) -> pd.Series:
    """Propose for one position; costs 1 to 12 and a Weibull of shape 3 and scale 5 years."""
    known = {k: v for k, v in columns.items() if k in habits(1).columns}
    rest = {k: v for k, v in columns.items() if k not in known}
    found = propose(
        places(1, **rest), law or wear_only(3.0, 5.0), habits(1, **known), outages(*stops),
        export_date=DAY,
    )  # fmt: skip
    return found.intervals.iloc[0]


def test_columns_of_the_findings_come_first():
    found = propose(places(2), some_law(units=2), habits(2), outages(), export_date=DAY)
    assert list(found.intervals.columns[: len(LISTED)]) == LISTED
    assert found.priced == ("P0", "P1")


def test_date_is_the_last_outage_no_later_than_the_age():
    # Shape 3, scale 5, 1 to 12: least cost near 1.8 years = 21 months; the disc is 12 months old.
    row = one(stops=("2027-01-10", "2027-05-20", "2028-03-01"))
    assert (row["proposal"], row["age_months"]) == ("shorten", 21.0)
    assert row["replace_on"] == pd.Timestamp("2027-05-20")


def test_an_outage_a_little_later_is_taken_while_the_cost_is_flat():
    row = one(stops=("2027-07-20",))
    assert row["replace_on"] == pd.Timestamp("2027-07-20")
    assert row["age_months"] < 21.7 < row["latest_months"]


def test_without_an_outage_it_gets_a_date_of_its_own_and_the_next_one_is_a_question():
    row = one(stops=("2028-03-01",))
    assert row["replace_on"] == EXPORT - pd.Timedelta(days=365) + pd.Timedelta(
        days=int(21 * DAYS_PER_MONTH)
    )
    assert "2028-03-01, keeps the cap but not this age" in row["note"]
    assert "No outage before the cap" in one()["note"]


def test_past_the_cap_means_now_and_is_said():
    row = one(stops=("2027-01-10",), age_years=5.5, cap_interval_months=60.0)
    assert row["overdue"]
    assert row["replace_on"] == EXPORT
    assert row["note"].startswith("Past its cap of 60 months: replace now.")


def test_past_a_shorter_age_means_now_and_waiting_is_a_question_with_its_risk():
    row = one(stops=("2027-06-10",), age_years=3.0, demand_rate=0.0)
    assert not row["overdue"]
    assert row["replace_on"] == EXPORT
    # From 3.0 to 3 + 253/365.25 years: 1 - exp(-(3.6927^3 - 27) / 125) = 0.170.
    assert row["risk_until_next_outage"] == pytest.approx(0.170, abs=5e-4)
    assert "fails early with a chance of 17 %. To wait is a question" in row["note"]


def test_where_nothing_is_shortened_the_next_outage_within_the_cap_serves():
    flat = wear_only(1.0, 5.0, Family.EXPONENTIAL)
    known = {"today_years": 2.0, "longest_years": 2.0, "age_years": 3.0}
    row = one(flat, stops=("2027-01-10",), **known)
    assert (row["proposal"], row["replace_on"]) == ("ask", pd.Timestamp("2027-01-10"))
    assert one(flat, stops=("2029-01-10",), **known)["replace_on"] == EXPORT


def test_past_its_cap_there_is_nothing_to_ask():
    flat = wear_only(1.0, 5.0, Family.EXPONENTIAL)
    row = one(flat, today_years=2.0, longest_years=2.0, age_years=5.5)
    assert (row["proposal"], row["note"]) == ("keep", "Past its cap of 60 months: replace now.")


def test_no_cap_no_age_no_date():
    row = one(cap_interval_months=np.nan)
    assert row["proposal"] is None
    assert pd.isna(row[["age_months", "replace_on", "premature_probability"]]).all()
    assert not row["overdue"]
    assert row["cost_today"] > 0


def test_wear_that_does_not_rise_is_said():
    row = one(law=wear_only(1.0, 5.0, Family.EXPONENTIAL), today_years=5.0, longest_years=5.0)
    assert row["proposal"] == "keep"
    assert "A schedule is not shown to cut premature bursts" in row["note"]


def test_costs_and_risk_are_those_of_the_age_printed():
    row = one(demand_rate=0.0)
    assert row["premature_probability"] == pytest.approx(1 - np.exp(-((21 / 12 / 5) ** 3)))
    assert row["cost_per_year"] < row["cost_today"] < row["cost_run_to_failure"]


def test_risk_target_shortens_further():
    free = propose(places(1), wear_only(3.0, 5.0), habits(1), outages(), export_date=DAY)
    held = propose(
        places(1), wear_only(3.0, 5.0), habits(1), outages(), export_date=DAY, risk_target=0.01
    )
    # 1 - exp(-(t/5)^3) = 0.01 at t = 5 * 0.01005^(1/3) = 1.079 years.
    assert held.intervals["age_months"][0] == 12.0
    assert held.intervals["age_months"][0] < free.intervals["age_months"][0]
    assert held.intervals["premature_probability"][0] <= 0.01


def test_positions_without_costs_are_named_and_the_rest_answered():
    found = propose(
        places(3), some_law(units=3), habits(3, unplanned_cost=[9e3, np.nan, 9e3]), outages(),
        export_date=DAY,
    )  # fmt: skip
    assert found.priced == ("P0", "P2")
    assert set(found.not_priced) == {"P1"}
    assert found.intervals["proposal"].notna().tolist() == [True, False, True]
    none = propose(
        places(1), some_law(units=1), habits(1, planned_cost=np.nan), outages(), export_date=DAY
    )
    assert none.replacement is None
    assert cost_curves(none, ["P0"]) == {}


def test_curves_are_those_of_the_position():
    found = propose(places(3), some_law(units=3), habits(3), outages(), export_date=DAY)
    curve = cost_curves(found, ["P2", "nowhere"])["P2"]
    assert list(curve.columns) == [
        "age_months", "cost_per_year", "low", "high", "premature_probability",
    ]  # fmt: skip
    assert (curve["low"] <= curve["high"]).all()
    assert curve["premature_probability"].is_monotonic_increasing
    # The mean of the draws lies within the draws.
    assert (
        (curve["low"] <= curve["cost_per_year"]) & (curve["cost_per_year"] <= curve["high"])
    ).all()


def test_overdue_list_counts_today_and_the_next_outage():
    found = propose(
        places(3, age_years=[5.5, 4.0, 0.5]), some_law(units=3), habits(3),
        outages("2027-12-31"), export_date=DAY,
    )  # fmt: skip
    late = overdue_list(found.intervals, outages("2027-12-31"), export_date=DAY)
    caps = late[late["limit"] == "cap"].set_index("position_id")

    assert caps.loc["P0", "over_today_months"] == pytest.approx(66 - 60, abs=0.01)
    assert caps.loc["P1", "over_today_months"] == pytest.approx(48 - 60, abs=0.01)
    assert caps.loc["P1", "over_then_months"] == pytest.approx(48 + 15 - 60, abs=0.1)
    assert "P2" not in caps.index


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 10_000), family=st.sampled_from(list(Family)),
    planned=st.floats(10, 1e5), unplanned=st.floats(10, 1e6),
    cap=st.one_of(st.just(np.nan), st.floats(1.0, 150.0)),
    today=st.one_of(st.just(np.nan), st.just(np.inf), st.floats(0.1, 20.0)),
    age=st.floats(0.0, 15.0), target=st.one_of(st.none(), st.floats(1e-4, 0.9)),
    days=st.lists(st.integers(0, 3000), max_size=4), rate=st.floats(0.0, 1.0),
)  # fmt: skip
def test_no_settings_pass_a_cap_or_lengthen(
    seed, family, planned, unplanned, cap, today, age, target, days, rate
):
    stops = outages(*[str((EXPORT + pd.Timedelta(days=d)).date()) for d in days])
    found = propose(
        places(4, cap_interval_months=cap, age_years=age),
        some_law(family, draws=5, units=4, seed=seed),
        habits(
            4, today_years=today, longest_years=today, planned_cost=planned,
            unplanned_cost=unplanned, demand_rate=rate,
        ),
        stops, export_date=DAY, risk_target=target,
    )  # fmt: skip
    keeps_the_rules(found, cap, today, age)


def keeps_the_rules(found: Proposals, cap: float, today: float, age: float) -> None:
    rows = found.intervals
    if np.isnan(cap):
        assert rows["proposal"].isna().all()
        assert rows[["age_months", "replace_on"]].isna().all().all()
        return
    assert (rows["age_months"] <= cap).all()
    assert not (rows["age_months"] > (cap if np.isnan(today) else today * 12) + 1e-9).any()
    assert (rows[["age_low", "age_high"]].max(axis=None) <= cap) or rows["age_high"].isna().all()
    held = (rows["replace_on"] - EXPORT).dt.days / DAYS_PER_MONTH + age * 12
    # A disc already past its cap is replaced today; no other date is past the cap.
    assert ((held <= cap + 0.04) | (rows["replace_on"] == EXPORT)).all()
    assert (rows["replace_on"] >= EXPORT).all()
    asked = rows["proposal"] == "ask"
    assert rows.loc[asked, "note"].str.contains("question for the responsible engineer").all()
    assert rows.loc[~asked, "note"].str.contains("up to").sum() == 0
