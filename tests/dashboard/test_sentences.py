"""The answers in words: the right number, its limits, and nothing claimed without grounds."""

from dataclasses import replace

import pandas as pd
import pytest
from sample import empty_findings, sample_findings

from analytics.estimate import Estimate
from dashboard.sentences import (
    basis,
    dangerous_sentence,
    early_answer,
    fleet_answer,
    intervals_answer,
    logs_answer,
    storeroom_answer,
)

SAMPLE = sample_findings()


def test_early_answer_gives_count_share_and_limits():
    first, second, third = early_answer(SAMPLE)

    assert first == (
        "Of 85 premature failures, 26 [20 to 32] would not have happened after a clean"
        " installation: 31 % [24 % to 38 %]."
    )
    assert "“gap uneven”: 7.6 [4.2 to 12]" in second
    assert third.startswith("What mends it: measure the gap")


def test_storeroom_answer_counts_pieces_orders_and_cost():
    now = SAMPLE.spares[SAMPLE.spares["order_now"]]
    first, second, _ = storeroom_answer(SAMPLE)

    assert first.startswith(f"Order {int(now['order_quantity'].sum())} pieces this week")
    assert f"in {len(now)} orders" in first
    assert "a day that has passed" in second


def test_storeroom_answer_names_the_next_order_when_none_is_due():
    quiet = replace(SAMPLE, spares=SAMPLE.spares.assign(order_now=False))

    assert storeroom_answer(quiet)[0] == "Nothing needs ordering this week."
    assert "Next is RS-080-10 for ST-N" in storeroom_answer(quiet)[1]


def test_intervals_answer_counts_proposals_and_the_overdue():
    rows = SAMPLE.intervals
    first, second, third = intervals_answer(SAMPLE)

    assert f"sooner than today at {(rows['proposal'] == 'shorten').sum()} positions" in first
    assert second.startswith(f"{rows['overdue'].sum()} discs are past the cap")
    assert third.startswith("Wear grows with age")


def test_wear_not_shown_to_grow_is_said_so():
    flat = replace(
        SAMPLE, wear=replace(SAMPLE.wear, shape=Estimate(estimate=1.2, low=0.9, high=1.6))
    )

    assert "scheduled replacement does not cut premature bursts" in intervals_answer(flat)[2]


@pytest.mark.parametrize(
    ("early", "late", "words"),
    [
        (100, 30, "fell to"),
        (30, 100, "rose to"),
        (30, 31, "did not clearly change"),
    ],
)
def test_fleet_answer_claims_a_change_only_when_limits_part(early: int, late: int, words: str):
    trend = pd.DataFrame(
        {
            "year": [2022, 2023, 2024, 2025],
            "site": "all",
            "disc_years": 500.0,
            "premature": [early, early, late, late],
        }
    )

    assert words in fleet_answer(replace(SAMPLE, trend=trend))[0]


def test_fleet_answer_pools_with_exact_poisson_limits():
    # Common practice: exact limits of a Poisson count of 10 are 4.7954 and 18.3904 (chi-square
    # with 20 and 22 degrees of freedom); over 200 disc-years they halve.
    trend = pd.DataFrame(
        {"year": [2023, 2024], "site": "all", "disc_years": 100.0, "premature": [4, 6]}
    )

    assert "5 [2.4 to 9.2] premature failures" in fleet_answer(replace(SAMPLE, trend=trend))[0]


def test_cost_is_told_for_the_last_whole_year():
    # The sample's logs end on 31 October 2025, so 2024 is the last year they cover.
    assert "They cost 330,000 EUR in 2024, 21 % of it owed" in fleet_answer(SAMPLE)[1]


def test_no_dangerous_finding_still_prints_its_bound():
    none = replace(SAMPLE, dangerous=SAMPLE.dangerous.iloc[:0])

    assert "does not exclude a rate of 1.2 per 100 disc-years" in dangerous_sentence(none)
    assert "None on record is not none" in dangerous_sentence(none)


def test_logs_answer_adds_up():
    read, kept, aside = (SAMPLE.rows[name].sum() for name in ("read", "accepted", "quarantined"))

    assert read == kept + aside
    assert logs_answer(SAMPLE)[0].startswith(f"Of {read} rows read, {kept} were accepted")


def test_basis_names_lives_events_period_ratio_and_model():
    said = basis(SAMPLE)

    for part in (
        "285 disc lives",
        "85 premature",
        "2017-01-01 to 2025-10-31",
        "min_burst",
        "two haz",
    ):
        assert part in said


@pytest.mark.parametrize(
    "answer", [early_answer, storeroom_answer, intervals_answer, fleet_answer, logs_answer]
)
def test_logs_that_answer_nothing_are_told_so(answer: object):
    said = answer(empty_findings())

    assert said
    assert all("nan" not in sentence.lower() for sentence in said)


def test_a_reason_is_given_when_there_is_one():
    assert "no premature failure is on record" in early_answer(empty_findings())[0]
