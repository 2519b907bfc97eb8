"""The reliability engineer's first answer in words: what early failures were owed to."""

import pandas as pd

from analytics.findings import Findings
from dashboard.sentences import cannot
from dashboard.words import count, number, percent, within

__all__ = ["early_answer", "early_part"]


def early_answer(findings: Findings) -> list[str]:
    """Answer which early failures were owed to poor installation."""
    early = findings.installation
    if early is None:
        return [cannot(findings, "installation", "which failures were owed to installation")]
    total = findings.model.failures if findings.model else len(early.failures)
    if early.share_of_premature.low <= 0:
        return [
            f"No effect of the installation is shown on {count(total, 'premature failure')}: at"
            f" most {percent(max(early.share_of_premature.high, 0.0))} of them can be owed to it."
        ]
    answer = [
        f"Of {count(total, 'premature failure')}{_counted(findings, total)},"
        f" {within(early.failures_owed)} would not have happened after a clean installation:"
        f" {within(early.share_of_premature, percent)}."
    ]
    if len(early.defects) and early.defects.iloc[0]["failures_owed_low"] > 0:
        answer.append(_worst_step(early.defects))
        answer.append(f"What mends it: {early.defects.iloc[0]['mend']}.")
    return [sentence for sentence in answer if sentence]


def _counted(findings: Findings, total: int) -> str:
    """Say how many of the failures are the part of unclear endings that counts as premature."""
    known = findings.lives[findings.lives["age_known"].astype(bool)]["ending"]
    told, unclear = (int((known == kind).sum()) for kind in ("premature", "unclear"))
    if not unclear or total <= told:
        return ""
    return f" ({told:,} told, {total - told:,} expected among {unclear:,} unclear endings)"


def early_part(findings: Findings) -> str:
    """Say what the failures that a filter keeps owe to the installation; blank when none do."""
    early = findings.installation
    if early is None or early.failures.empty:
        return ""
    owed, kept = float(early.failures["share"].sum()), len(early.failures)
    return (
        f"That is the whole fleet. Of the {count(kept, 'premature failure')} that the filters"
        f" keep, {number(owed)} {'is' if kept == 1 else 'are'} owed to it:"
        f" {percent(owed / kept)}."
    )


def _worst_step(defects: pd.DataFrame) -> str:
    worst = defects.iloc[0]
    return (
        f"The costliest defect is “{worst['about']}”: {number(worst['failures_owed'])}"
        f" [{number(worst['failures_owed_low'])} to {number(worst['failures_owed_high'])}]"
        f" of them, amiss on {number(worst['defect_pct'])} % of the records that state it."
    )
