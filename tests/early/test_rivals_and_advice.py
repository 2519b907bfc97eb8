import pandas as pd
import pytest

from analytics.early.attribution import _advice
from analytics.early.rivals import rival_explanations
from analytics.installs.checklist import CHECKLIST


def phrases(flagged=frozenset(), **changes):
    life = {
        "life_id": "I1", "ending": "premature", "disc_code": "D", "position_id": "P", "lot": "L1",
        "operating_ratio": 0.7, "cycles_per_year": 10.0, "tag_matches": True, "reason": "leak",
        "peak_pressure_barg": None, **changes,
    }  # fmt: skip
    quiet = {**life, "life_id": "I2", "ending": "in_service", "cycles_per_year": 5000.0}
    lives = pd.DataFrame([life, *[quiet] * 9])
    discs = pd.DataFrame(
        {"disc_code": ["D"], "max_operating_ratio": [0.8], "coincident_temperature_degc": [20.0]}
    )
    positions = pd.DataFrame({"position_id": ["P"], "disc_temperature_degc": [30.0]})
    return rival_explanations(lives, discs, positions, flagged)["I1"]


def test_a_quiet_life_has_no_rival():
    assert phrases() == ()


@pytest.mark.parametrize(
    ("changes", "start"),
    [
        ({"operating_ratio": 0.85}, "operating ratio 0.85 above the limit 0.80"),
        ({"tag_matches": False}, "the tag did not match"),
        ({"cycles_per_year": 9000.0}, "about 9,000 pressure cycles"),
        ({"reason": "burst"}, "no peak pressure on record"),
    ],
)
def test_each_rival_shows_its_evidence_and_leads_to_a_step(changes, start):
    (phrase,) = phrases(**changes)
    assert phrase.startswith(start)
    said = _advice({"main_defect": "", "share": 0.0, "rivals": phrase})
    assert not said.startswith("no recorded cause")


def test_a_flagged_lot_comes_first():
    assert phrases(frozenset({"L1"}), operating_ratio=0.9)[0].startswith("its lot L1")


def test_the_installation_comes_before_its_rivals():
    row = {"main_defect": "gap_even", "share": 0.6, "rivals": "operating ratio 0.9 above"}
    assert _advice(row) == CHECKLIST["gap_even"].mend
