"""What the case sheet tells its reader to do on Monday."""

from dataclasses import replace

import pandas as pd
import pytest
from sample import sample_findings

from analytics.early.rivals import LOT, RIVALS, SPIKE, Verdict
from analytics.findings import Findings
from analytics.installs.checklist import CHECKLIST
from dashboard.monday import monday

SAMPLE = sample_findings()


@pytest.fixture
def case() -> pd.Series:
    return SAMPLE.installation.failures.iloc[0].copy()


def life_of(case: pd.Series) -> pd.Series:
    return SAMPLE.lives.set_index("life_id", drop=False).loc[case["life_id"]]


def with_rivals(case: pd.Series, *rows: tuple[str, Verdict]) -> Findings:
    rivals = pd.DataFrame(
        [(case["life_id"], name, verdict.value, "seen", RIVALS[name][0]) for name, verdict in rows],
        columns=["life_id", "rival", "verdict", "evidence", "settles"],
    )
    return replace(SAMPLE, installation=replace(SAMPLE.installation, rivals=rivals))


def now_fitted(case: pd.Series, gap_even: object) -> Findings:
    lives = SAMPLE.lives.copy()
    here = lives["position_id"].eq(case["position_id"]) & lives["ending"].eq("in_service")
    lives.loc[here, "gap_even"] = gap_even
    return replace(SAMPLE, lives=lives)


@pytest.mark.parametrize(
    ("gap_even", "says"),
    [
        (False, "with the same defect on record: ask the responsible engineer today"),
        (True, "with this check passed: no reason here to open it"),
        (pd.NA, "nobody recorded this check: ask those who fitted it"),
    ],
)
def test_a_defect_is_told_to_the_crew_and_looked_for_in_the_disc_now_fitted(case, gap_even, says):
    case["main_defect"], case["share"] = "gap_even", 0.7
    case["advice"] = CHECKLIST["gap_even"].mend
    steps = monday(now_fitted(case, gap_even), life_of(case), case)
    assert steps[0].startswith(f"Show {life_of(case)['crew']} this sheet: “gap uneven” is the like")
    assert says in steps[1]


def test_a_suspect_lot_is_set_aside_before_anything_else(case):
    case["lot"] = "L03"
    case["advice"] = RIVALS[LOT][1]
    steps = monday(SAMPLE, life_of(case), case)
    assert steps[0].startswith("The disc came from a suspect lot. Take 4 pieces of lot L03 out of")
    assert "P-003 and P-012" in steps[0]
    assert RIVALS[LOT][1] not in " ".join(steps).lower()


def test_at_most_two_records_are_asked_for_and_none_that_is_ruled_out(case):
    case["main_defect"] = ""
    findings = with_rivals(
        case,
        ("temperature", Verdict.FOR),
        (SPIKE, Verdict.OPEN),
        ("pressure cycles", Verdict.OPEN),
        ("the wrong disc", Verdict.AGAINST),
    )
    asked = [s for s in monday(findings, life_of(case), case) if s.startswith("To rule")]
    assert [s.split(" in or out")[0] for s in asked] == [
        "To rule temperature",
        "To rule a short pressure spike",
    ]
    assert "one-second record of that day" in asked[1]


def test_the_advice_is_not_asked_for_twice(case):
    case["main_defect"], case["advice"] = "", RIVALS[SPIKE][1]
    steps = monday(with_rivals(case, (SPIKE, Verdict.OPEN)), life_of(case), case)
    assert steps[0].startswith("Look up the day's highest pressure")
    assert not any(step.startswith("To rule") for step in steps)


def test_checks_left_blank_are_named(case):
    life = life_of(case).copy()
    life["gap_even"] = pd.NA
    assert "not recorded at this fitting" in monday(SAMPLE, life, case)[-1]
