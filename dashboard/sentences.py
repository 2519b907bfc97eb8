"""What is said on every page: the caution, what stands behind a figure, danger, the logs."""

import pandas as pd

from analytics.findings import Findings
from dashboard.words import and_so_on, count, day, number

__all__ = ["CAUTION", "basis", "cannot", "dangerous_sentence", "logs_answer"]

CAUTION = (
    "Decision support only. The maker's written instructions, the code of construction, the"
    " jurisdiction and the responsible licensed engineer prevail. Premature life says nothing"
    " about failing to open."
)


def basis(findings: Findings, lives: pd.DataFrame | None = None) -> str:
    """Say what stands behind a figure: lives, events, period, ratio definition, model.

    `lives` names the lives drawn where they are fewer than those of the findings.
    """
    ended = findings.endings if lives is None else lives["ending"].value_counts().to_dict()
    every, early = sum(ended.values()), ended.get("premature", 0)
    model = findings.model
    ratio = model.ratio_definition if model else ""
    fitted = (
        f"Model: {model.name}, fitted on the {count(model.lives, 'life', 'lives')} of known age,"
        f" {count(model.failures, 'premature failure')} with the unclear ones weighed in."
        f" Operating ratio: {ratio}."
        if model
        else "No life model was fitted."
    )
    return (
        f"{count(every, 'disc life', 'disc lives')}, {count(early, 'premature failure')},"
        f" {day(findings.log_begins)} to {day(findings.export_date)}. {fitted}"
    )


def dangerous_sentence(findings: Findings) -> str:
    """Say how many dangerous findings there were and what rate is not excluded."""
    bound = findings.dangerous_bound
    limit = (
        f" The log does not exclude a rate of {number(100 * bound.high)} per 100 disc-years"
        " (upper 95 % limit)."
        if bound
        else ""
    )
    if findings.dangerous.empty:
        return f"No disc was found that failed to open.{limit} None on record is not none."
    places = and_so_on(findings.dangerous["position_id"].astype(str).unique())
    found = count(len(findings.dangerous), "dangerous finding")
    return f"{found}, at {places}: deal with these before anything else.{limit}"


def logs_answer(findings: Findings) -> list[str]:
    """Answer how much of the logs could be used and what is missing."""
    rows = findings.rows
    read, kept, aside = (int(rows[name].sum()) for name in ("read", "accepted", "quarantined"))
    answer = [
        f"Of {count(read, 'row')} read, {kept:,} were accepted and {aside:,} set aside,"
        " each with its reason and what would mend it."
    ]
    if len(findings.quarantine):
        worst = findings.quarantine.groupby(["table", "reason"]).size().sort_values().index[-1]
        answer.append(f"Most often: {worst[1].replace('_', ' ')} in {worst[0]}.")
    if findings.not_answered:
        answer.append(f"{count(len(findings.not_answered), 'question')} could not be answered.")
    return answer


def cannot(findings: Findings, key: str, question: str) -> str:
    """Say that a question cannot be answered, and why."""
    reason = findings.not_answered.get(key)
    return f"These logs cannot say {question}" + (f": {reason}." if reason else ".")
