"""What to do on Monday about one failure, by whom, and what not to do."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.early.rivals import CYCLES, LOT, RATIO, SPIKE, WARMTH, WRONG, Verdict
from analytics.findings import Findings
from analytics.installs.checklist import CHECKLIST
from dashboard.case_causes import FITTING, at_least
from dashboard.case_scene import ENGINEER, PLANNER, Scene, Step, scene_of
from dashboard.case_sentences import repeat_sentence
from dashboard.case_steps import STEPS
from dashboard.words import day, number

__all__ = ["Monday", "monday"]

_MOST_STEPS = 6
_MOST_RECORDS = 2
_KEPT_DAYS = 90
"""A removed disc is asked for as if at hand for so long; after that, whether it was kept. [days]"""
_OUTAGE_DAYS = 10
"""A date so much before the proposed age is an outage's. [days]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Monday:
    """What one failure asks for on the next working day.

    Attributes
    ----------
    done : str
        Of an old failure, that much of it may have been done; else blank.
    steps : tuple of Step
        The most urgent first.
    leave : tuple of str
        What not to do on this evidence, each to follow the words “do not”.
    """

    done: str
    steps: tuple[Step, ...]
    leave: tuple[str, ...]


def monday(findings: Findings, life: pd.Series, case: pd.Series) -> Monday:
    """List what to do about one premature failure on the next working day, and what not.

    Parameters
    ----------
    findings : Findings
        What the job found.
    life : Series
        Its row of the lives frame.
    case : Series
        Its row of the failures frame.

    Returns
    -------
    Monday
        One step or more, six at most, and at least one thing to leave alone.
    """
    scene = scene_of(findings, life, case)
    steps = [
        *_empty_place(scene),
        *(step for cause in scene.causes for step in STEPS[cause.name](scene)),
        *_again(scene),
        *_records(scene),
        *_removed_disc(scene),
        *_next_change(scene),
    ]
    ordered = sorted(dict.fromkeys(steps), key=lambda step: not step.first)
    return Monday(done=_done(scene), steps=tuple(ordered)[:_MOST_STEPS], leave=tuple(_leave(scene)))


def _days_ago(scene: Scene) -> int:
    return int((pd.Timestamp(scene.findings.export_date) - scene.life["ended_on"]).days)


def _done(scene: Scene) -> str:
    if _days_ago(scene) <= _KEPT_DAYS:
        return ""
    return f"This failure is of {day(scene.life['ended_on'])}: tick first what was done since."


def _again(scene: Scene) -> list[Step]:
    """A position that fails its discs again and again is a matter of its own."""
    again = repeat_sentence(scene.findings, scene.life)
    if not again or any(scene.blames(name) for name in (FITTING, RATIO, WRONG)):
        return []
    asked = (
        f"{again} Look at {scene.place} as a whole, its data sheet beside the discs on its page,"
        " before the next disc."
    )
    return [Step(who=ENGINEER, what=asked)]


def _empty_place(scene: Scene) -> list[Step]:
    if scene.now is not None:
        return []
    asked = f"Find out what sits at {scene.place} now: the log shows no disc there."
    return [Step(who=scene.crews, what=asked)]


def _records(scene: Scene) -> list[Step]:
    """The records that would settle what the log leaves open, unless the fitting settles it."""
    settled = scene.blames(FITTING) and at_least(scene.case["share_low"], 0.5)
    if scene.rivals.empty or settled:
        return []
    whom = {
        SPIKE: scene.operations,
        RATIO: scene.operations,
        CYCLES: scene.operations,
        WARMTH: f"Instruments, {scene.life['site']}",
        WRONG: scene.crews,
    }
    # Of a lot that is not on record nobody can ask anything.
    standing = scene.rivals[
        scene.rivals["verdict"].eq(Verdict.OPEN.value) & scene.rivals["rival"].isin(whom)
    ]
    # A spike leaves no other trace than this day's record, so it is asked for first.
    first = standing.sort_values("rival", key=lambda name: name.ne(SPIKE), kind="stable")
    on = f"of {day(scene.life['ended_on'])}"
    return [
        Step(
            who=whom[row["rival"]],
            what=f"Get {row['settles'].replace('of that day', on)}: to rule {row['rival']} in or"
            " out.",
        )
        for _, row in first.head(_MOST_RECORDS).iterrows()
    ]


def _removed_disc(scene: Scene) -> list[Step]:
    """The disc itself is evidence where its lot, its tag or nothing at all is suspected."""
    if scene.causes and not any(scene.blames(name) for name in (LOT, WRONG)):
        return []
    look = f"have its fracture and tag looked at; label it {scene.life['life_id']}"
    recent = _days_ago(scene) <= _KEPT_DAYS
    asked = f"Box the removed disc once it is clean and safe to handle, {look}." if recent else ""
    return [
        Step(
            who=f"Workshop, {scene.life['site']}",
            what=asked or f"Ask whether the removed disc was kept. If so, {look}.",
        )
    ]


def _next_change(scene: Scene) -> list[Step]:
    """Where duty or age ended the disc, when to change the one now there."""
    causes = {cause.name for cause in scene.causes}
    rows = scene.findings.intervals
    own = rows[rows["position_id"].eq(scene.place)] if len(rows) else rows
    if causes & {FITTING, LOT, WRONG} or scene.now is None or own.empty:
        return []
    row = own.iloc[0]
    if pd.isna(row["cap_months"]) or pd.isna(row["replace_on"]):
        asked = (
            f"Find out the longest interval that maker, code and site allow at {scene.place}:"
            " without it no age for replacement is proposed."
        )
        return [Step(who=PLANNER, what=asked)]
    today = row["today_age_months"]
    practice = f"at {number(today)} months" if np.isfinite(today) else "at failure"
    why = {"shorten": f"today it is changed {practice}", "keep": "as today"}.get(
        row["proposal"], "as today, until the responsible engineer decides otherwise"
    )
    due = f"by {day(row['replace_on'])}"
    late = scene.now["installed_on"] + pd.DateOffset(months=int(row["age_months"]))
    if pd.notna(late) and late > row["replace_on"] + pd.Timedelta(days=_OUTAGE_DAYS):
        due += f", the last outage before it is {number(row['age_months'])} months old"
    return [Step(who=PLANNER, what=f"Change the disc now at {scene.place} {due}: {why}.")]


def _leave(scene: Scene) -> list[str]:
    leave = []
    if scene.blames(LOT):
        leave.append(f"fit a disc of lot {scene.case['lot']}")
    if scene.blames(RATIO) or scene.blames(WRONG):
        leave.append("change a rating, family, pressure or limit without the responsible engineer")
    check = CHECKLIST.get(str(scene.case["main_defect"]))
    if (
        scene.now is not None
        and check
        and {cause.name for cause in scene.causes} == {FITTING}
        and pd.notna(scene.now[check.name])
        and scene.now[check.name]
    ):
        leave.append(
            f"open the disc now at {scene.place} for this: it was fitted"
            f" {day(scene.now['installed_on'])} with “{check.sound}” on record"
        )
    leave.append("open a holder only to look: a disc once unclamped is not fitted again")
    leave.append("open any holder before it is isolated, depressurised and released for the work")
    return leave
