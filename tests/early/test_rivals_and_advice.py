import pandas as pd
import pytest

from analytics.early.attribution import _alive, advice
from analytics.early.rivals import (
    LOT,
    RIVALS,
    SPIKE,
    Rival,
    Verdict,
    rival_explanations,
    rivals_frame,
)
from analytics.installs.checklist import CHECKLIST


def rivals(suspect=frozenset(), **changes):
    life = {
        "life_id": "I1", "ending": "premature", "disc_code": "D", "position_id": "P", "lot": "L1",
        "operating_ratio": 0.7, "cycles_per_year": 10.0, "tag_matches": True, "reason": "leak",
        "peak_pressure_barg": None, "pressure_basis": "history", **changes,
    }  # fmt: skip
    quiet = {**life, "life_id": "I2", "ending": "in_service", "cycles_per_year": 5000.0}
    lives = pd.DataFrame([life, *[quiet] * 9])
    lives["install_id"] = lives["life_id"]
    lives.loc[0, "install_id"] = changes.get("install_id", "I1")
    return rival_explanations(lives, tables(**changes), suspect)["I1"]


def tables(*, marks=(10.0, 10.0, 10.0), disc_degc=30.0, asked="D", plus=10.0, **_):
    """The mark of disc I1, then those of two others of its lot."""
    return {
        "discs": pd.DataFrame(
            {
                "disc_code": ["D", "E"], "max_operating_ratio": 0.8,
                "coincident_temperature_degc": 20.0, "range_minus_pct": 5.0,
                "specified_burst_pressure_barg": [10.0, 16.0], "range_plus_pct": plus,
            }
        ),
        "positions": pd.DataFrame(
            {"position_id": ["P"], "disc_temperature_degc": [disc_degc], "disc_code": [asked]}
        ),
        "installs": pd.DataFrame(
            {
                "install_id": ["I1", "J1", "J2"], "disc_code": "D", "lot": "L1",
                "marked_burst_pressure_barg": marks,
            }
        ),
        "stock": pd.DataFrame(columns=["disc_code", "lot", "marked_burst_pressure_barg"]),
    }  # fmt: skip


def of(found, name):
    (one,) = [rival for rival in found if rival.name == name]
    return one


def test_every_rival_of_a_quiet_life_is_spoken_against():
    found = rivals()
    assert {one.name for one in found} == set(RIVALS)
    assert {one.verdict for one in found} == {Verdict.AGAINST}


@pytest.mark.parametrize(
    ("name", "changes", "evidence"),
    [
        ("pressure too close to the burst pressure", {"operating_ratio": 0.85}, "0.85 above the"),
        ("the wrong disc", {"tag_matches": False}, "did not match"),
        ("pressure cycles", {"cycles_per_year": 9000.0}, "about 9,000 pressure cycles"),
        ("temperature", {"disc_degc": 45.0}, "25 °C warmer"),
    ],
)
def test_each_rival_shows_its_evidence_and_leads_to_a_step(name, changes, evidence):
    first = rivals(**changes)[0]
    assert (first.name, first.verdict) == (name, Verdict.FOR)
    assert evidence in first.evidence
    assert advice("", 0.0, [first]) == RIVALS[name][1]


@pytest.mark.parametrize(
    ("name", "changes", "evidence"),
    [
        (LOT, {"lot": None}, "no lot on record"),
        ("pressure too close to the burst pressure", {"operating_ratio": None}, "no operating"),
        ("the wrong disc", {"tag_matches": pd.NA}, "nobody recorded"),
        ("pressure cycles", {"cycles_per_year": None}, "no pressure history"),
        ("temperature", {"disc_degc": None}, "no temperature"),
        (SPIKE, {"reason": "burst"}, "no peak pressure on record"),
    ],
)
def test_a_silent_record_is_no_answer(name, changes, evidence):
    one = of(rivals(**changes), name)
    assert one.verdict is Verdict.OPEN
    assert evidence in one.evidence


def test_a_known_peak_speaks_against_a_spike_without_ruling_it_out():
    one = of(rivals(reason="burst", peak_pressure_barg=3.0), SPIKE)
    assert one.verdict is Verdict.AGAINST
    assert "leaves no trace" in one.evidence


def test_a_ratio_from_the_nominal_pressure_says_so():
    one = of(rivals(pressure_basis="nominal"), "pressure too close to the burst pressure")
    assert one.evidence.endswith("by the nominal pressure only")


WRONG = "the wrong disc"


@pytest.mark.parametrize(
    ("changes", "verdict", "evidence"),
    [
        # Specified 10 barg, -5 % +10 %: a mark of 9.5 to 11 barg is one the position asks for.
        ({"marks": (9.5, 9.5, 9.5)}, Verdict.AGAINST, "read and matched"),
        ({"marks": (9.4, 9.4, 9.4)}, Verdict.FOR, "9.4 barg, where the position asks today for D,"),
        ({"marks": (11.0, None, None)}, Verdict.AGAINST, "read and matched"),
        ({"marks": (11.2, None, None)}, Verdict.FOR, "9.5 to 11 barg; the tag was recorded as mat"),
        ({"marks": (None, 11.2, 11.2)}, Verdict.FOR, "marked 11.2 barg"),
        ({"asked": "E"}, Verdict.FOR, "asks today for E, 15.2 to 17.6 barg"),
        ({"asked": "E", "tag_matches": False}, Verdict.FOR, "recorded as not matching"),
        ({"asked": "E", "plus": None, "marks": (20.0,) * 3}, Verdict.AGAINST, "read and matched"),
        ({"asked": "unheard of"}, Verdict.AGAINST, "read and matched"),
        ({"tag_matches": pd.NA}, Verdict.OPEN, "its mark, 10 barg, is one the position asks for"),
        ({"marks": (145.0, 10.0, 10.0)}, Verdict.OPEN, "as 145 barg and the lot's other records"),
    ],
)
def test_the_mark_speaks_of_the_wrong_disc(changes, verdict, evidence):
    one = of(rivals(**changes), WRONG)
    assert one.verdict is verdict
    assert evidence in one.evidence


def test_a_mark_that_is_not_the_lots_leaves_the_lot_open():
    one = of(rivals(marks=(145.0, 10.0, 10.0)), LOT)
    assert one.verdict is Verdict.OPEN
    assert one.evidence.endswith("say 10 barg: the lot on record may be wrong")
    assert of(rivals(frozenset({"L1"}), marks=(145.0, 10.0, 10.0)), LOT).verdict is Verdict.FOR


def test_a_life_without_an_install_has_no_mark():
    one = of(rivals(install_id=None, tag_matches=pd.NA), WRONG)
    assert one == Rival(
        name=WRONG,
        verdict=Verdict.OPEN,
        evidence="nobody recorded whether the tag matched the position",
    )


def test_a_suspect_lot_comes_first():
    first = rivals(frozenset({"L1"}), operating_ratio=0.9)[0]
    assert first == Rival(
        name=LOT, verdict=Verdict.FOR, evidence="its lot L1 fails more often than duty explains"
    )


def test_every_rival_names_the_record_that_would_settle_it():
    frame = rivals_frame({"I1": rivals(reason="burst")})
    assert len(frame) == len(RIVALS)
    assert frame["settles"].str.len().gt(20).all()
    assert frame.set_index("rival").loc[SPIKE, "settles"].startswith("the historian's one-second")
    assert "certificate" in frame.set_index("rival").loc[LOT, "settles"]


def test_what_is_known_stands_before_what_is_not_before_what_is_ruled_out():
    found = rivals(reason="burst", operating_ratio=0.85)
    assert [one.verdict for one in found] == [Verdict.FOR, Verdict.OPEN] + [Verdict.AGAINST] * 4
    assert [one.name for one in _alive({"I1": found}, "I1")] == [found[0].name, SPIKE]


def test_the_installation_comes_before_its_rivals():
    assert advice("gap_even", 0.6, rivals(operating_ratio=0.9)) == CHECKLIST["gap_even"].mend


def test_a_large_share_without_a_recorded_defect_asks_for_the_record():
    assert advice("", 0.6, []).startswith("record every check")


def test_without_any_cause_the_disc_is_kept():
    assert advice("", 0.1, []).startswith("no recorded cause stands out: keep the disc")
