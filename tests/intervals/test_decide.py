"""The safety rules: no cap no age, never past the cap, never longer than today."""

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.intervals.decide import DEARER, NOT_RISING, Case, Decision, Proposal, decide

INF = math.inf


def case(**changes: object) -> Case:
    plain: dict[str, object] = {
        "best_years": 2.5,
        "low_years": 2.0,
        "high_years": 3.2,
        "flat_low_years": 2.1,
        "flat_high_years": 3.0,
        "risk_years": INF,
        "cap_months": 60.0,
        "today_years": 4.0,
        "longest_years": 4.1,
        "wear_rises": True,
    }
    return Case(**{**plain, **changes})  # type: ignore[arg-type]


def test_shortens_to_the_least_cost_age():
    found = decide(case())
    assert (found.proposal, found.age_months) == (Proposal.SHORTEN, 30.0)
    assert found.latest_months == pytest.approx(36.0)
    assert "Anywhere from 25 to 36 months costs within 2 %" in found.note


def test_keeps_what_lies_where_the_cost_is_flat():
    found = decide(case(today_years=2.9, longest_years=3.0))
    assert (found.proposal, found.age_months) == (Proposal.KEEP, 34.0)
    assert found.latest_months == pytest.approx(37.0)


def test_a_longer_age_is_a_question_and_not_the_age_printed():
    found = decide(case(today_years=1.0, longest_years=1.1))
    assert (found.proposal, found.age_months) == (Proposal.ASK, 12.0)
    assert "question for the responsible engineer, who would have to sign" in found.note
    assert "up to 30 months, within the cap?" in found.note


def test_the_question_stops_at_the_cap():
    found = decide(case(today_years=1.0, longest_years=1.1, cap_months=24.0))
    assert "up to 24 months" in found.note
    assert found.age_months == 12.0


def test_no_cap_gives_evidence_and_no_age():
    for cap in (math.nan, 0.0):
        found = decide(case(cap_months=cap))
        assert found.proposal is None
        assert math.isnan(found.age_months)
        assert "no recommendation; evidence only" in found.note


def test_today_past_the_cap_is_shortened_even_where_a_schedule_saves_nothing():
    found = decide(case(today_years=5.0, cap_months=36.0, wear_rises=False))
    assert (found.proposal, found.age_months) == (Proposal.SHORTEN, 36.0)
    assert "Today's interval of 60 months is past the cap of 36 months." in found.note
    assert NOT_RISING in found.note


def test_run_to_failure_with_a_cap_is_shortened():
    found = decide(case(today_years=INF, longest_years=INF, best_years=INF, cap_months=48.0))
    assert (found.proposal, found.age_months) == (Proposal.SHORTEN, 48.0)
    assert "Run to failure today, although a cap of 48 months" in found.note


def test_wear_not_shown_to_rise_is_said():
    found = decide(case(wear_rises=False, today_years=5.0, longest_years=5.0))
    assert found.proposal is Proposal.KEEP
    assert found.note == NOT_RISING
    asked = decide(case(wear_rises=False, today_years=2.0, longest_years=2.0))
    assert asked.proposal is Proposal.ASK
    assert asked.note.startswith(NOT_RISING)


def test_a_schedule_dearer_than_waiting_is_said():
    found = decide(case(best_years=INF, today_years=5.0, longest_years=5.0))
    assert (found.proposal, found.note) == (Proposal.KEEP, DEARER)


def test_the_risk_target_cuts_what_is_flat_in_cost():
    found = decide(case(today_years=2.9, longest_years=3.0, risk_years=1.5))
    assert (found.proposal, found.age_months) == (Proposal.SHORTEN, 18.0)
    assert found.latest_months == pytest.approx(18.0)
    assert "risk target is reached at 18 months" in found.note


def test_unknown_habit_is_taken_to_be_the_cap():
    found = decide(case(today_years=math.nan, longest_years=math.nan))
    assert (found.proposal, found.age_months) == (Proposal.SHORTEN, 30.0)


years = st.one_of(st.floats(0.01, 60.0), st.just(INF))


@settings(max_examples=600, deadline=None)
@given(
    best=years, low=years, high=years, flat=st.tuples(st.floats(0.01, 60), st.floats(0.01, 60)),
    risk=years, cap=st.one_of(st.floats(0.5, 240.0), st.just(math.nan)),
    today=st.one_of(years, st.just(math.nan)), more=st.floats(0.0, 10.0), rises=st.booleans(),
)  # fmt: skip
def test_no_input_passes_the_cap_or_lengthens(best, low, high, flat, risk, cap, today, more, rises):
    given_case = case(
        best_years=best, low_years=low, high_years=high, flat_low_years=min(flat),
        flat_high_years=max(flat), risk_years=risk, cap_months=cap, today_years=today,
        longest_years=today + more, wear_rises=rises,
    )  # fmt: skip
    found = decide(given_case)
    holds(given_case, found)


def holds(asked: Case, found: Decision) -> None:
    if math.isnan(asked.cap_months):
        assert found.proposal is None
        assert math.isnan(found.age_months)
        return
    today = asked.cap_months if math.isnan(asked.today_years) else asked.today_years * 12
    assert 0 < found.age_months <= asked.cap_months
    assert found.age_months <= today + 1e-9
    assert found.latest_months <= asked.cap_months
    if found.proposal is Proposal.ASK:
        assert "question" in found.note
    else:
        assert "?" not in found.note
    today_said = re.sub(r"(interval of|a cap of|cap of) \d+( months)?", "", found.note)
    for said in re.findall(r"(\d+) months", today_said):
        assert float(said) <= asked.cap_months + 0.5  # said in whole months
