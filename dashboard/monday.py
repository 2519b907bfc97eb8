"""What to do on Monday about one failure: at most a handful of things, the first one first."""

import pandas as pd

from analytics.early.rivals import LOT, RIVALS, Verdict
from analytics.findings import Findings
from analytics.installs.checklist import CHECKLIST, DEFECTS
from dashboard.suspects import lot_action, suspect_lots
from dashboard.words import day, listed, sentence

__all__ = ["monday"]

_MOST_RECORDS = 2
_LIKELIEST = 0.5


def monday(findings: Findings, life: pd.Series, case: pd.Series) -> list[str]:
    """List what to do about one premature failure on the next working day.

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
    list of str
        Sentences, the most urgent first.
    """
    rivals = findings.installation.rivals if findings.installation else pd.DataFrame()
    own = rivals[rivals["life_id"].eq(case["life_id"])] if len(rivals) else rivals
    return [
        *_lot(findings, case),
        *_step(findings, life, case),
        *_records(own, case),
        *_blanks(life),
    ]


def _lot(findings: Findings, case: pd.Series) -> list[str]:
    lots = suspect_lots(findings)
    bad = lots[lots["lot"].eq(case["lot"])] if len(lots) else lots
    return [
        f"The disc came from a suspect lot. {lot_action(row, findings.lot_places)}"
        for _, row in bad.iterrows()
    ]


def _step(findings: Findings, life: pd.Series, case: pd.Series) -> list[str]:
    """The advice; where a recorded defect carries the failure, what of the disc fitted since."""
    if case["advice"] == RIVALS[LOT][1]:
        return []
    check = CHECKLIST.get(str(case["main_defect"]))
    if check is None or check.mend != case["advice"]:
        return [f"{sentence(str(case['advice']))}."]
    crew = life["crew"] if pd.notna(life["crew"]) else "the crew"
    weight = "the likeliest cause" if case["share"] >= _LIKELIEST else "part of the cause"
    return [
        f"Show {crew} this sheet: “{check.defect}” is {weight}. From the next fitting on:"
        f" {check.mend}.",
        *_fitted_since(findings, life, check.name),
    ]


def _fitted_since(findings: Findings, life: pd.Series, check: str) -> list[str]:
    lives = findings.lives
    now = lives[lives["position_id"].eq(life["position_id"]) & lives["ending"].eq("in_service")]
    if now.empty:
        return [f"Find out what sits at {life['position_id']} now: the log shows no disc there."]
    disc = now.iloc[-1]
    who = f", by {disc['crew']}" if pd.notna(disc["crew"]) else ""
    fitted = f"The disc now at {life['position_id']} was fitted {day(disc['installed_on'])}{who}"
    if pd.isna(disc[check]):
        return [f"{fitted}, and nobody recorded this check: ask those who fitted it today."]
    if disc[check]:
        return [f"{fitted}, with this check passed: no reason here to open it."]
    return [
        f"{fitted}, with the same defect on record: ask the responsible engineer today whether to"
        " open it."
    ]


def _records(rivals: pd.DataFrame, case: pd.Series) -> list[str]:
    """The records that would settle the rivals still standing, strongest first."""
    if rivals.empty:
        return []
    done = [name for name, (_, step) in RIVALS.items() if step == case["advice"]]
    standing = rivals[
        rivals["verdict"].ne(Verdict.AGAINST.value) & ~rivals["rival"].isin([LOT, *done])
    ]
    return [
        f"To rule {row['rival']} in or out, get {row['settles']}."
        for _, row in standing.head(_MOST_RECORDS).iterrows()
    ]


def _blanks(life: pd.Series) -> list[str]:
    blank = [CHECKLIST[name].defect for name in DEFECTS if name in life and pd.isna(life[name])]
    if not blank:
        return []
    shown = listed(blank[:3]) if len(blank) <= 3 else f"{', '.join(blank[:3])} and others"
    were = "was" if len(blank) == 1 else "were"
    return [
        f"{len(blank)} of {len(DEFECTS)} checks {were} not recorded at this fitting ({shown}):"
        " have every one answered at the next."
    ]
