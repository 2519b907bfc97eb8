"""The answers in words: the right number, its limits, and nothing claimed without grounds."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from sample import empty_findings, sample_findings

from analytics.estimate import Estimate
from dashboard.early_sentences import early_answer, early_part
from dashboard.fleet_sentences import fleet_answer, sites_answer
from dashboard.interval_sentences import (
    changed_duty_sentence,
    gain_sentence,
    intervals_answer,
    outage_limits,
)
from dashboard.sentences import basis, dangerous_sentence, logs_answer
from dashboard.storeroom_sentences import storeroom_answer

SAMPLE = sample_findings()


def test_a_crew_limit_that_costs_is_named_with_its_price():
    assert "north-a" in outage_limits(SAMPLE)
    assert "800" in outage_limits(SAMPLE)
    free = SAMPLE.outage_groups.assign(cost=lambda frame: frame["cost_without_limits"])
    assert outage_limits(replace(SAMPLE, outage_groups=free)) == ""


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
    moves, first, second, _ = storeroom_answer(SAMPLE)

    assert moves == ("First move 2 pieces between stores in 1 move: the orders count on them.")
    assert first.startswith(f"Order {int(now['order_quantity'].sum())} pieces this week")
    assert f"in {len(now)} orders" in first
    assert "a day that has passed" in second


def test_storeroom_answer_names_what_comes_within_four_weeks():
    ordered = SAMPLE.spares.assign(order_now=False, order_quantity=4)
    ordered.loc[ordered.index[0], "order_now"] = True
    export = pd.Timestamp(SAMPLE.export_date)
    ordered["order_by"] = export + pd.to_timedelta(7 * np.arange(len(ordered)), unit="D")

    *_, soon, rest = storeroom_answer(replace(SAMPLE, spares=ordered))

    second, third = ordered.iloc[1], ordered.iloc[2]
    assert soon.startswith(
        f"Within four weeks order also {second['disc_code']} for {second['store']} by "
        f"{second['order_by']:%Y-%m-%d}, {third['disc_code']} for {third['store']}"
    )
    assert rest.endswith("can wait.") or "put them together" in rest


def test_a_day_to_look_again_is_no_order():
    ample = SAMPLE.spares.assign(order_now=False, order_quantity=0)

    assert storeroom_answer(replace(SAMPLE, spares=ample, moves=SAMPLE.moves.iloc[:0])) == [
        "Nothing needs ordering this week."
    ]


def test_storeroom_answer_names_the_next_order_when_none_is_due():
    spares = SAMPLE.spares.assign(order_now=False)
    quiet = replace(SAMPLE, spares=spares, moves=SAMPLE.moves.iloc[:0])

    assert storeroom_answer(quiet)[0] == "Nothing needs ordering this week."
    assert "Next is RS-080-10 for ST-N" in storeroom_answer(quiet)[1]


def test_intervals_answer_counts_proposals_and_the_overdue():
    rows = SAMPLE.intervals
    first, second, third, last = intervals_answer(SAMPLE)

    assert f"sooner than today at {(rows['proposal'] == 'shorten').sum()} positions" in first
    assert second == (
        "2 discs are past the cap today: P-011 and P-001; the furthest, P-011, by 14 months."
    )
    assert "save 75,000 [61,000 to 88,000] EUR a year" in third
    assert "7 premature failures a year instead of 11" in third
    assert last.startswith("Wear grows with age")


def test_a_dearer_proposal_is_called_dearer():
    dearer = SAMPLE.policies.copy()
    dearer.loc[1, ["saving", "saving_low", "saving_high"]] = [-9e3, -12e3, -6e3]

    said = intervals_answer(replace(SAMPLE, policies=dearer))[2]
    assert "would cost 9,000 [6,000 to 12,000] EUR a year" in said


def test_gain_of_a_lower_ratio_follows_the_exponent():
    # 0.95 ** -6.1 = 1.3673, 0.95 ** -4.2 = 1.2404 and 0.95 ** -8.0 = 1.5073, by arithmetic.
    assert "multiply it by 1.4 [1.2 to 1.5]" in gain_sentence(SAMPLE)
    assert gain_sentence(empty_findings()) == ""


def test_wear_not_shown_to_grow_is_said_so():
    flat = replace(
        SAMPLE, wear=replace(SAMPLE.wear, shape=Estimate(estimate=1.2, low=0.9, high=1.6))
    )

    assert "scheduled replacement does not cut premature bursts" in intervals_answer(flat)[-1]


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


def policies(saving: float, low: float, high: float) -> pd.DataFrame:
    row = {"premature_per_year": 40.0, "saving": 0.0, "saving_low": 0.0, "saving_high": 0.0}
    then = {
        "premature_per_year": 30.0,
        "saving": saving,
        "saving_low": low,
        "saving_high": high,
    }
    return pd.DataFrame([{"policy": "today", **row}, {"policy": "proposed", **then}])


@pytest.mark.parametrize(
    ("saving", "said"),
    [
        ((200.0, 100.0, 300.0), "would save 200 [100 to 300]"),
        ((-200.0, -300.0, -100.0), "would cost 200 [100 to 300]"),
        ((20.0, -100.0, 140.0), "change neither cost nor failures clearly"),
    ],
)
def test_intervals_answer_says_what_the_proposals_do_in_the_long_run(saving, said):
    findings = replace(sample_findings(), policies=policies(*saving))

    assert any(said in sentence for sentence in intervals_answer(findings))


def test_told_and_expected_failures_are_those_of_known_age():
    # 3 told of known age, one of unknown age; 5 fitted, so 2 of the 4 unclear are expected ones.
    lives = SAMPLE.lives.iloc[:8].assign(
        ending=["premature"] * 4 + ["unclear"] * 4,
        age_known=[True, True, True, False, True, True, True, True],
    )
    model = replace(SAMPLE.model, failures=5)

    said = early_answer(replace(SAMPLE, lives=lives, model=model))[0]
    assert "(3 told, 2 expected among 4 unclear endings)" in said


def test_the_part_that_filters_keep_adds_up_its_own_failures():
    early = SAMPLE.installation
    kept = replace(early, failures=early.failures.iloc[:4].assign(share=[0.5, 0.5, 1.0, 0.0]))

    said = early_part(replace(SAMPLE, installation=kept))
    assert "4 premature failures" in said
    assert "2 are owed to it: 50 %" in said
    assert early_part(replace(SAMPLE, installation=None)) == ""


def test_sites_are_called_worse_only_when_flagged():
    flagged = SAMPLE.sites.assign(flagged=[True, False, False])

    assert sites_answer(SAMPLE).startswith("On equal duty no site stands out")
    assert sites_answer(replace(SAMPLE, sites=flagged)) == (
        "Northwater has 1.3 [0.9 to 1.7] times the premature failures that its duty explains,"
        " more than noise."
    )
    assert "Too few failures" in sites_answer(replace(SAMPLE, sites=SAMPLE.sites.iloc[2:]))


def test_basis_counts_the_lives_drawn():
    drawn = SAMPLE.lives[SAMPLE.lives["position_id"] == "P-003"]

    assert basis(SAMPLE, drawn).startswith(f"{len(drawn)} disc lives")


def test_changed_duty_is_set_against_one_duty_per_life():
    said = changed_duty_sentence(SAMPLE)

    assert said.startswith("The duty of 41 discs changed during its life (17 failed early)")
    assert "exponent of the ratio 6.1 [4.2 to 8] against 4 [2.9 to 5.2]" in said
    assert said.endswith("that alters what the ratio does.")
    assert changed_duty_sentence(empty_findings()) == ""


def test_changed_duty_within_the_limits_alters_nothing():
    wear = replace(SAMPLE.wear, ratio_exponent=Estimate(estimate=4.5, low=3.0, high=6.0))

    assert changed_duty_sentence(replace(SAMPLE, wear=wear)).endswith("not alter the answer.")
    steady = replace(SAMPLE, wear=replace(SAMPLE.wear, changed_duty=None))
    assert changed_duty_sentence(steady).startswith("No disc is seen to have changed its duty")
