"""What a case sheet says of its causes, apart from what to do."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from sample import sample_findings

from analytics.early.rivals import LOT, RATIO, RIVALS, SPIKE, Verdict
from analytics.findings import Findings
from dashboard.case_causes import FITTING, WEAR, likely_causes, share_range
from dashboard.case_sentences import (
    age_sentence,
    answered,
    case_facts,
    likeliest,
    repeat_sentence,
    ruled_out,
    share_sentence,
    title,
)
from dashboard.reading import PressureUnit, Units

SAMPLE = sample_findings()


def a_case(**changes: object) -> pd.Series:
    first = SAMPLE.installation.failures.iloc[0].copy()
    plain = {"main_defect": "", "share": 0.05, "share_low": 0.0, "share_high": 0.1, "lot": "L99"}
    for name, value in (plain | changes).items():
        first[name] = value
    return first


def with_rivals(*rows: tuple[str, Verdict]) -> Findings:
    life = a_case()["life_id"]
    rivals = pd.DataFrame(
        [(life, name, verdict.value, f"seen {name}", RIVALS[name][0]) for name, verdict in rows],
        columns=["life_id", "rival", "verdict", "evidence", "settles"],
    )
    return replace(SAMPLE, installation=replace(SAMPLE.installation, rivals=rivals))


@pytest.mark.parametrize(
    ("changes", "names"),
    [
        ({"share": 0.5, "main_defect": "gap_even"}, [FITTING, RATIO]),
        ({"share": 0.5}, [FITTING, RATIO]),
        ({"share": 0.49, "main_defect": "gap_even"}, [RATIO, FITTING]),
        ({"share": 0.49}, [RATIO]),
        ({"share": 0.19, "main_defect": "gap_even"}, [RATIO]),
        ({"share": np.nan, "share_low": np.nan}, [RATIO]),
    ],
)
def test_causes_stand_in_the_order_of_their_weight(changes, names):
    found = with_rivals((RATIO, Verdict.FOR), (SPIKE, Verdict.OPEN))
    assert [cause.name for cause in likely_causes(found, a_case(**changes))] == names


@pytest.mark.parametrize(("low", "names"), [(0.5, [WEAR]), (0.49, []), (np.nan, [])])
def test_wear_is_named_last_and_only_where_most_fail_by_then(low, names):
    case = a_case(percentile=0.6, percentile_low=low, percentile_high=0.7)
    assert [cause.name for cause in likely_causes(with_rivals(), case)] == names
    found = with_rivals((RATIO, Verdict.FOR))
    assert [cause.name for cause in likely_causes(found, case)] == [RATIO, *names]


def test_the_fitting_speaks_number_first_and_says_when_it_may_be_nothing():
    case = a_case(share=0.6, share_low=-0.2, share_high=0.9, main_defect="gap_even")
    (fitting,) = likely_causes(with_rivals(), case)
    assert fitting.said.startswith("60 % [0 % to 90 %] of this failure is owed to the fitting")
    assert fitting.said.endswith("“gap uneven”. The limits do not exclude that it had no part.")


def test_a_bad_lot_shows_its_count():
    lot = SAMPLE.lots.iloc[0]
    found = with_rivals((LOT, Verdict.FOR))
    (cause,) = likely_causes(found, a_case(lot=lot["lot"]))
    assert cause.said.startswith(f"Lot {lot['lot']} has had ")
    assert "premature failures where duty and fitting explain" in cause.said


def test_the_heading_names_every_cause_or_none():
    found = with_rivals((RATIO, Verdict.FOR))
    both = likely_causes(found, a_case(share=0.3, main_defect="gap_even"))
    assert likeliest(both, a_case()) == f"Likeliest cause: {RATIO}; then the fitting"
    assert likeliest((), a_case()) == "Likeliest cause: none stands out"
    assert likeliest(both[::-1], a_case()).startswith("Likeliest cause: the fitting, not proven;")
    sure = a_case(share_low=0.1)
    assert likeliest(both[::-1], sure).startswith("Likeliest cause: the fitting;")


@pytest.mark.parametrize(
    ("low", "high", "ends"),
    [
        (0.02, 0.09, ": so early a failure is unusual here."),
        (0.02, 0.1, "fail by 12 months."),
        (0.5, 0.8, ": at this duty that is the rule."),
        (0.49, 0.8, "fail by 12 months."),
    ],
)
def test_an_age_is_called_unusual_only_where_its_limits_say_so(low, high, ends):
    case = a_case(percentile=0.5, percentile_low=low, percentile_high=high, age_years=1.0)
    said = age_sentence(SAMPLE, case, Units())
    assert said.startswith("Of discs fitted cleanly at this duty 50 % [")
    assert said.endswith(ends)


def test_the_share_is_said_once_and_a_clean_record_carries_none():
    fitting = likely_causes(with_rivals(), a_case(share=0.7, main_defect="gap_even"))
    assert share_sentence(a_case(share=0.7), fitting) == ""
    assert share_sentence(a_case(), ()) == "The fitting carries 5 % [0 % to 10 %] of this failure."
    assert "carries none" in share_sentence(a_case(share=0.0, share_low=0.0, share_high=0.0), ())
    assert share_sentence(a_case(share=np.nan), ()).startswith("Its age is not known")
    assert share_range(a_case(share=-0.02, share_low=-0.3, share_high=0.4)) == "0 % [0 % to 40 %]"


def test_a_position_that_fails_its_discs_again_and_again_is_told():
    life = SAMPLE.lives.iloc[0].copy()
    ended = pd.DataFrame([life.to_dict() | {"ending": "premature"}] * 3)
    planned = pd.DataFrame([life.to_dict() | {"ending": "planned"}] * 3)
    every = replace(SAMPLE, lives=pd.concat([ended, planned]))
    assert repeat_sentence(every, life) == "Of 6 discs taken out here 3 had failed early."
    more = replace(SAMPLE, lives=pd.concat([ended, planned, planned]))
    assert repeat_sentence(more, life) == ""
    assert repeat_sentence(replace(SAMPLE, lives=ended.iloc[:2]), life) == ""


def test_what_the_record_speaks_against_keeps_its_evidence():
    found = with_rivals((RATIO, Verdict.AGAINST), (LOT, Verdict.AGAINST), (SPIKE, Verdict.OPEN))
    said = ruled_out(found.installation.rivals)
    assert said == f"{RATIO} (seen {RATIO}); {LOT} (seen {LOT})"


def test_checks_are_named_by_what_is_so_unless_it_is_not():
    life = SAMPLE.lives.iloc[0].copy()
    life["gap_even"], life["seat_clean"], life["holder_flat"] = False, True, pd.NA
    checks = answered(life)
    assert "gap uneven" in checks["amiss"]
    assert "seat clean" in checks["passed"]
    assert "holder flat" in checks["blank"]


def test_facts_speak_the_readers_units_and_leave_no_gap():
    life = SAMPLE.lives.iloc[0].copy()
    life["peak_pressure_barg"], life["cost"], life["lot"] = np.nan, np.nan, None
    facts = case_facts(SAMPLE, life, Units(pressure=PressureUnit.PSI))
    assert "psig" in facts["Ran at"]
    assert facts["Peak that day"] == "not logged"
    assert facts["Cost"].startswith("not logged")
    assert "lot unknown" in facts["Disc"]
    assert not [value for value in facts.values() if "nan" in value or "None" in value]


def test_a_title_reads_as_a_person_would_say_it():
    life = SAMPLE.lives[SAMPLE.lives["ending"].eq("premature")].iloc[0].copy()
    assert ": premature burst on " in title(life, Units())
    life["reason"] = "damage_found"
    assert ": damage found, premature on " in title(life, Units())


def test_the_discs_before_and_after_are_named_for_a_wrong_one_is_a_clue():
    life = SAMPLE.lives[SAMPLE.lives["ending"].eq("premature")].iloc[0].copy()
    place, ended = life["position_id"], life["ended_on"]
    others = SAMPLE.lives[SAMPLE.lives["position_id"].ne(place)]
    before, after = life.copy(), life.copy()
    before["life_id"], before["ended_on"] = "B", ended - pd.Timedelta(days=2)
    after["life_id"], after["ended_on"] = "A", ended + pd.Timedelta(days=20)
    after["disc_code"], after["ending"] = "XX-9", "wrong_disc"
    rows = pd.DataFrame([before, life, after])

    def told(lives: pd.DataFrame) -> str:
        found = replace(SAMPLE, lives=pd.concat([others.astype(object), lives]))
        facts = case_facts(found, life, Units())
        return f"{facts['Disc before']}; {facts['Disc after']}"

    assert told(rows).startswith(f"{life['disc_code']}, {life['lot']}, ")
    assert "; XX-9, " in told(rows)
    assert told(rows).endswith(f"to {after['ended_on']:%Y-%m-%d}, wrong disc")
    assert told(rows.iloc[1:2]) == "none on record; none on record"
    after["ending"] = "in_service"
    assert told(pd.DataFrame([life, after])) == "none on record; the one there now"


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (0.4, "after less than a day"),
        (1, "after 1 day"),
        (12.2, "after 12 days"),
        (61, "months"),
    ],
)
def test_a_short_life_is_counted_in_days(days, said):
    life = SAMPLE.lives[SAMPLE.lives["age_known"]].iloc[0].copy()
    life["age_years"] = days / 365.25
    assert title(life, Units()).endswith(said)
