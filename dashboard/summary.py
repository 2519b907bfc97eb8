"""The findings in a page of plain lines, as the command prints them."""

from analytics.findings import Findings
from dashboard.sentences import (
    dangerous_sentence,
    early_answer,
    fleet_answer,
    intervals_answer,
    logs_answer,
    storeroom_answer,
)

__all__ = ["summary"]


def summary(findings: Findings) -> list[str]:
    """Give every page's first answer in one list of lines.

    Parameters
    ----------
    findings : Findings
        What the job found.

    Returns
    -------
    list of str
        Headings and sentences, dangerous findings first, cautions last.
    """
    parts = [
        ("Dangerous", [dangerous_sentence(findings)]),
        ("Early failures", early_answer(findings)),
        ("Replacement intervals", intervals_answer(findings)),
        ("Storeroom", storeroom_answer(findings)),
        ("Fleet", fleet_answer(findings)),
        ("Logs", logs_answer(findings)),
        ("Not answered", [f"{what}: {why}" for what, why in findings.not_answered.items()]),
        ("Before you act", list(findings.cautions)),
    ]
    lines = [f"{findings.title}, {findings.log_begins} to {findings.export_date}"]
    for heading, sentences in parts:
        if sentences:
            lines += ["", heading, *(f"  {sentence}" for sentence in sentences)]
    return lines
