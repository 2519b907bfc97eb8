"""What the case sheet tells its reader to do on Monday, whom to ring, and what to leave alone."""

from dataclasses import replace

import pandas as pd
import pytest
from sample import sample_findings

from analytics.early.rivals import CYCLES, LOT, RATIO, RIVALS, SPIKE, WARMTH, WRONG, Verdict
from analytics.findings import Findings
from analytics.installs.checklist import CHECKLIST
from dashboard.case_scene import ENGINEER, PLANNER, PURCHASING
from dashboard.monday import monday

SAMPLE = sample_findings()


@pytest.fixture
def case() -> pd.Series:
    failures = SAMPLE.installation.failures
    lives = SAMPLE.lives
    there = set(lives.loc[lives["ending"].eq("in_service"), "position_id"])
    found = failures[failures["position_id"].isin(there)].iloc[0].copy()
    found["main_defect"], found["share"], found["share_low"] = "", 0.05, 0.0
    return found


def life_of(case: pd.Series) -> pd.Series:
    return SAMPLE.lives.set_index("life_id", drop=False).loc[case["life_id"]].copy()


def with_rivals(case: pd.Series, *rows: tuple[str, Verdict], **changes: object) -> Findings:
    rivals = pd.DataFrame(
        [(case["life_id"], name, verdict.value, "seen", RIVALS[name][0]) for name, verdict in rows],
        columns=["life_id", "rival", "verdict", "evidence", "settles"],
    )
    installation = replace(SAMPLE.installation, rivals=rivals)
    return replace(SAMPLE, installation=installation, **changes)


def now_fitted(case: pd.Series, **columns: object) -> pd.DataFrame:
    lives = SAMPLE.lives.copy()
    here = lives["position_id"].eq(case["position_id"]) & lives["ending"].eq("in_service")
    assert here.sum() == 1
    for column, value in columns.items():
        lives.loc[here, column] = value
    return lives


def rung(found: Findings, case: pd.Series) -> dict[str, str]:
    """What each is asked, by whom."""
    asked: dict[str, str] = {}
    for step in monday(found, life_of(case), case).steps:
        asked[step.who] = f"{asked.get(step.who, '')} {step.what}".strip()
    return asked


@pytest.mark.parametrize(
    ("gap_even", "says"),
    [
        (False, "has the same defect on its record: decide whether to change it early."),
        (pd.NA, "whether “gap even” held: nobody recorded it."),
    ],
)
def test_the_disc_fitted_since_is_asked_about_first(case, gap_even, says):
    case["main_defect"], case["share"] = "gap_even", 0.7
    found = replace(SAMPLE, lives=now_fitted(case, gap_even=gap_even))
    steps = monday(found, life_of(case), case).steps
    assert says in steps[0].what
    assert CHECKLIST["gap_even"].mend in steps[1].what


def test_a_disc_fitted_since_with_the_check_passed_is_left_alone(case):
    case["main_defect"], case["share"] = "gap_even", 0.7
    found = replace(SAMPLE, lives=now_fitted(case, gap_even=True))
    leave, *_ = monday(found, life_of(case), case).leave
    assert leave.startswith(f"open the disc now at {case['position_id']} for this: it was fitted")
    assert leave.endswith("with “gap even” on record")


def test_no_crew_is_named_in_what_to_do(case):
    case["main_defect"], case["share"] = "gap_even", 0.7
    found = monday(SAMPLE, life_of(case), case)
    said = " ".join([*(step.who + step.what for step in found.steps), *found.leave])
    assert not [crew for crew in SAMPLE.lives["crew"].unique() if crew in said]
    assert "what gets in the way of “gap even”" in said


def test_others_in_service_with_the_same_defect_go_to_the_engineer_youngest_first(case):
    case["main_defect"], case["share"], case["share_low"] = "gap_even", 0.7, 0.4
    asked = rung(SAMPLE, case)[ENGINEER]
    lives = SAMPLE.lives
    alike = lives[lives["ending"].eq("in_service") & lives["gap_even"].eq(False).fillna(False)]
    alike = alike[alike["position_id"].ne(case["position_id"])]
    here = alike[alike["site"].eq(case["site"])].sort_values("installed_on", ascending=False)
    assert f"{len(alike)} other disc" in asked
    assert here.iloc[0]["position_id"] in asked


def test_a_suspect_lot_is_held_asked_about_and_not_fitted(case):
    case["lot"] = "L03"
    found = with_rivals(case, (LOT, Verdict.FOR))
    steps = monday(found, life_of(case), case).steps
    asked = rung(found, case)
    pieces = SAMPLE.lot_places.query("lot == 'L03' and position_id == ''")
    assert steps[0].who == f"Storeroom, {pieces['store'].iloc[0]}"
    assert "of lot L03" in steps[0].what
    assert "tag HOLD, issue none" in steps[0].what
    assert "P-003 and P-012" in asked[ENGINEER]
    assert "certificate and burst tests of lot L03" in asked[PURCHASING]
    assert "fit a disc of lot L03" in monday(found, life_of(case), case).leave


def test_a_high_ratio_is_a_question_to_operations_with_its_limit_in_pressure(case):
    duty = SAMPLE.duty.assign(limit=0.8)
    life = life_of(case)
    found = with_rivals(case, (RATIO, Verdict.FOR), duty=duty)
    asked = rung(found, case)
    # The sample's discs may burst from 9.69 bar against an open vent: 0.8 of it is 7.75 barg.
    ran = f"{life['operating_ratio'] * 9.69:.3g} barg"
    how = {"history": "and below for 95 % of its time", "nominal": "by its nominal pressure"}
    said = f"ran at {ran} {how[life['pressure_basis']]}; its limit, 0.80 of its least burst"
    assert f"{said} pressure, was 7.75 barg" in asked[f"Operations, {life['site']}"]
    assert "decide which disc" in asked[ENGINEER]
    assert any("without the responsible engineer" in one for one in monday(found, life, case).leave)


@pytest.mark.parametrize(("ratio", "first"), [(0.84, True), (0.79, False)])
def test_a_disc_in_service_above_its_limit_waits_for_nobody(case, ratio, first):
    found = with_rivals(
        case,
        (RATIO, Verdict.FOR),
        duty=SAMPLE.duty.assign(limit=0.8),
        lives=now_fitted(case, operating_ratio=ratio),
    )
    step = monday(found, life_of(case), case).steps[0]
    assert (step.who == ENGINEER and "decide whether it may run on" in step.what) is first
    assert step.first is first


def test_after_a_wrong_disc_its_ratio_is_not_asked_about(case):
    found = with_rivals(case, (WRONG, Verdict.FOR), (RATIO, Verdict.FOR))
    asked = " ".join(rung(found, case).values())
    assert "Read the tag of the disc now at" in asked
    assert "highest pressure of the last month" not in asked


def test_another_wrong_disc_in_service_is_for_today(case):
    found = with_rivals(
        case, (WRONG, Verdict.FOR), lives=now_fitted(case, disc_code="another code")
    )
    first = monday(found, life_of(case), case).steps[0]
    assert first.who == ENGINEER
    assert first.what.startswith(f"By the log the disc now at {case['position_id']} is ano")


@pytest.mark.parametrize(
    ("name", "asked_of_plant", "asked_of_maker"),
    [
        (CYCLES, "Trend the pressure", "fatigue life"),
        (WARMTH, "Measure the temp", "burst pressure"),
    ],
)
def test_cycles_and_warmth_are_measured_and_the_maker_asked(
    case, name, asked_of_plant, asked_of_maker
):
    found = with_rivals(case, (name, Verdict.FOR))
    first, second = monday(found, life_of(case), case).steps[:2]
    assert first.what.startswith(asked_of_plant)
    assert second.who == PURCHASING
    assert asked_of_maker in second.what


def test_at_most_two_open_records_are_asked_for_the_spike_first_and_none_ruled_out(case):
    found = with_rivals(
        case,
        (LOT, Verdict.OPEN),
        (CYCLES, Verdict.OPEN),
        (WARMTH, Verdict.OPEN),
        (SPIKE, Verdict.OPEN),
        (WRONG, Verdict.AGAINST),
    )
    asked = [
        step.what for step in monday(found, life_of(case), case).steps if "to rule" in step.what
    ]
    assert [what.rsplit("to rule ")[1] for what in asked] == [
        f"{SPIKE} in or out.",
        f"{CYCLES} in or out.",
    ]
    assert f"one-second record of {case['ended_on']:%Y-%m-%d}" in asked[0]


def test_a_fitting_that_carries_most_within_its_limits_sends_nobody_after_records(case):
    case["main_defect"], case["share"], case["share_low"] = "gap_even", 0.8, 0.6
    found = with_rivals(case, (SPIKE, Verdict.OPEN))
    assert not [s for s in monday(found, life_of(case), case).steps if "to rule" in s.what]
    case["share_low"] = 0.3
    assert [s for s in monday(found, life_of(case), case).steps if "to rule" in s.what]


@pytest.mark.parametrize(("days", "says"), [(10, "Box the removed"), (200, "Ask whether the rem")])
def test_the_removed_disc_is_evidence_where_nothing_stands_out(case, days, says):
    life = life_of(case)
    life["ended_on"] = pd.Timestamp(SAMPLE.export_date) - pd.Timedelta(days=days)
    steps = monday(with_rivals(case), life, case).steps
    assert [s.what for s in steps if s.who.startswith("Workshop")][0].startswith(says)


def interval(case: pd.Series, **columns: object) -> pd.DataFrame:
    rows = SAMPLE.intervals.copy()
    here = rows["position_id"].eq(case["position_id"])
    assert here.any()
    wanted = {"cap_months": 48.0, "age_months": 30.0, "today_age_months": 36.0}
    for column, value in (wanted | columns).items():
        rows.loc[here, column] = value
    rows.loc[here, "replace_on"] = pd.Timestamp("2027-05-01")
    return rows


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        (
            {"proposal": "shorten"},
            "by 2027-05-01, the last outage before it is 30 months old: today it is changed at 36",
        ),
        ({"proposal": "shorten", "age_months": 12.0}, "by 2027-05-01: today it is changed at 36"),
        ({"proposal": "shorten", "today_age_months": float("inf")}, "changed at failure."),
        ({"proposal": "keep"}, ": as today."),
        ({"proposal": "ask"}, "until the responsible engineer decides otherwise."),
        (
            {"cap_months": float("nan")},
            "Find out the longest interval that maker, code and site allow",
        ),
    ],
)
def test_the_planner_is_told_when_the_next_change_is_due(case, columns, says):
    found = with_rivals(case, intervals=interval(case, **columns))
    assert says in rung(found, case)[PLANNER]


def test_after_a_bad_fitting_no_interval_is_touched(case):
    case["main_defect"], case["share"] = "gap_even", 0.7
    assert PLANNER not in rung(with_rivals(case, intervals=interval(case)), case)


def test_an_empty_position_is_asked_about_first(case):
    lives = SAMPLE.lives
    gone = lives[~(lives["position_id"].eq(case["position_id"]) & lives["ending"].eq("in_service"))]
    steps = monday(replace(SAMPLE, lives=gone), life_of(case), case).steps
    assert steps[0].what.startswith(f"Find out what sits at {case['position_id']} now")


def test_others_are_left_alone_where_the_limits_do_not_exclude_that_the_fitting_had_no_part(case):
    case["main_defect"], case["share"], case["share_low"] = "gap_even", 0.7, 0.0
    asked = " ".join(rung(SAMPLE, case).values())
    assert "other disc" not in asked
    assert "what gets in the way of “gap even”" in asked


def test_a_holder_found_amiss_is_asked_after_for_the_next_disc_sits_in_it(case):
    case["main_defect"], case["share"] = "gap_even", 0.7
    life = life_of(case)
    life["holder_flat"] = False
    said = " ".join(step.what for step in monday(SAMPLE, life, case).steps)
    assert "“holder not flat”" in said
    assert "until then fit no disc in it" in said


@pytest.mark.parametrize(("days", "told"), [(5, False), (400, True)])
def test_an_old_failure_asks_what_was_done_since(case, days, told):
    life = life_of(case)
    life["ended_on"] = pd.Timestamp(SAMPLE.export_date) - pd.Timedelta(days=days)
    assert bool(monday(SAMPLE, life, case).done) is told


def test_every_sheet_says_what_no_one_may_do_with_a_holder(case):
    for rival in RIVALS:
        leave = monday(with_rivals(case, (rival, Verdict.FOR)), life_of(case), case).leave
        assert any(each.startswith("open a holder only to look") for each in leave)
        assert any("isolated, depressurised and released" in each for each in leave)


def test_what_may_be_bad_today_comes_before_what_was_bad(case):
    case["main_defect"], case["share"], case["lot"] = "gap_even", 0.7, "L03"
    steps = monday(with_rivals(case, (LOT, Verdict.FOR)), life_of(case), case).steps
    firsts = [step.first for step in steps]
    assert firsts[0]
    assert firsts == sorted(firsts, reverse=True)
