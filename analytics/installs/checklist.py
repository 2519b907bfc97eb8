"""The install checklist: what each check guards and what to do when it fails.

All reasons are common practice, no source; the maker's written instructions prevail.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from analytics.logs.tables import CHECKS

__all__ = ["CHECKLIST", "DEFECTS", "Check"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One thing to see to when a disc is fitted.

    Attributes
    ----------
    name : str
        Column of the install record, or a defect computed from its measurements.
    defect : str
        What is wrong when the check failed, in the words a table shows.
    sound : str
        What is so when it passed.
    reason : str
        Why it matters for the life of the disc.
    mend : str
        What to do about it at the next fitting.
    """

    name: str
    defect: str
    sound: str
    reason: str
    mend: str


_DECLARED = (
    Check(
        name="tag_matches",
        defect="tag did not match",
        sound="tag matched",
        reason="a disc of another pressure, type or temperature lives by other rules",
        mend="read the tag against the position before the disc leaves its box",
    ),
    Check(
        name="disc_undamaged",
        defect="disc dented or scratched",
        sound="disc free of dents and scratches",
        reason="a dent or scratch is where the dome tears or folds first",
        mend="keep discs boxed until the holder is ready, lift by the edge, reject any mark",
    ),
    Check(
        name="seat_clean",
        defect="seat not clean",
        sound="seat clean",
        reason="a grain under the seat bends the disc's edge and opens a leak path",
        mend="clean the seat without scraping and look at it under a light before closing",
    ),
    Check(
        name="seat_undamaged",
        defect="seat nicked or corroded",
        sound="seat sound",
        reason="a nick cuts the edge of the disc and lets it slip",
        mend="send the holder for rework and fit the spare holder",
    ),
    Check(
        name="holder_flat",
        defect="holder not flat",
        sound="holder flat",
        reason="a warped holder clamps one side harder than the other",
        mend="lay a straight edge across the holder; any rock or light means rework",
    ),
    Check(
        name="flow_direction",
        defect="wrong way round",
        sound="right way round",
        reason="a reversed disc bursts at another pressure, or not at all",
        mend="match arrow, dome and holder before closing, and have a second person look",
    ),
    Check(
        name="finger_tight_start",
        defect="not started finger-tight",
        sound="started finger-tight",
        reason="faces that start out of parallel cannot be pulled level by the wrench",
        mend="bring all nuts finger-tight and measure the gap before the first step",
    ),
    Check(
        name="gap_even",
        defect="gap uneven",
        sound="gap even",
        reason="an uneven gap shears the disc's edge and loads one side of the dome",
        mend="measure the gap at four points after every torque step and correct at once",
    ),
    Check(
        name="final_pass",
        defect="no last pass",
        sound="last pass at full torque made",
        reason="the first nuts relax while the last are tightened",
        mend="go once more round all nuts at the maker's torque, never above it, until none moves",
    ),
    Check(
        name="studs_lubricated",
        defect="studs not lubricated as specified",
        sound="studs lubricated",
        reason="friction eats the torque: dry studs clamp less, oiled ones more than meant",
        mend="lubricate as the maker's torque assumes, threads and nut faces, never the gasket",
    ),
    Check(
        name="studs_good",
        defect="studs worn or dirty",
        sound="studs good",
        reason="a nut that binds reads as torque but does not clamp",
        mend="before the disc goes in run every nut by hand over its travel; replace what binds",
    ),
    Check(
        name="gasket_suitable",
        defect="gasket unsuitable or reused",
        sound="gasket new and suitable",
        reason="a wrong or used gasket relaxes and lets the disc slip or leak",
        mend="fit new gaskets of the type the holder's maker names",
    ),
    Check(
        name="torque_not_low",
        defect="torque below 0.9 of target",
        sound="torque at least 0.9 of target",
        reason="a loosely clamped disc slips from its seat, leaks or bursts low",
        mend="use a calibrated wrench to the maker's target, in steps, criss-cross",
    ),
    Check(
        name="torque_not_high",
        defect="torque above 1.1 of target",
        sound="torque at most 1.1 of target",
        reason="too much clamp coins the seat and distorts the dome's edge",
        mend="check the target's lubrication basis and the wrench setting before the first step",
    ),
)

CHECKLIST: Mapping[str, Check] = {check.name: check for check in _DECLARED}
"""Every check by name: those of the install record, then those worked out from torque."""

DEFECTS = tuple(CHECKLIST)
"""Names of all checks whose failure is a defect, in the crew's order."""

assert DEFECTS[: len(CHECKS)] == CHECKS
