"""The findings in a page of plain lines, as the command prints them."""

from analytics.findings import Findings
from dashboard.early_sentences import early_answer
from dashboard.fleet_sentences import fleet_answer
from dashboard.interval_sentences import intervals_answer
from dashboard.sentences import dangerous_sentence, logs_answer
from dashboard.storeroom_sentences import storeroom_answer

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
