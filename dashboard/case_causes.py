"""What most likely ended one disc early: the causes in order, each with its number first."""

from dataclasses import dataclass

import pandas as pd

from analytics.early.rivals import LOT, Verdict
from analytics.findings import Findings
from analytics.installs.checklist import CHECKLIST
from dashboard.suspects import ALARM
from dashboard.words import number, percent, sentence

__all__ = [
    "FITTING",
    "WEAR",
    "Cause",
    "at_least",
    "is_sure",
    "likely_causes",
    "own_rivals",
    "share_range",
]

FITTING, WEAR = "the fitting", "wear"

_MOSTLY = 0.5
_PARTLY = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One likely cause of one failure.

    Attributes
    ----------
    name : str
        `FITTING`, `WEAR` or a rival of `analytics.early.rivals.RIVALS`.
    said : str
        Why, as a sentence; blank where the age says it.
    """

    name: str
    said: str


def own_rivals(findings: Findings, life_id: str) -> pd.DataFrame:
    """Give the rivals of one failure, those the record points to first."""
    early = findings.installation
    rivals = early.rivals if early else pd.DataFrame()
    return rivals[rivals["life_id"].eq(life_id)] if len(rivals) else rivals


def likely_causes(findings: Findings, case: pd.Series) -> tuple[Cause, ...]:
    """List what the record points to, the likeliest first; empty where nothing stands out.

    Parameters
    ----------
    findings : Findings
        What the job found.
    case : Series
        The failure's row of the failures frame.

    Returns
    -------
    tuple of Cause
        The fitting first where it carries half of the failure or more; then what the record
        points to; then a fitting that carries a part. Where it carries none, wear comes last
        if most discs fitted cleanly fail by this age.
    """
    rivals = own_rivals(findings, case["life_id"])
    pointed = (
        [
            Cause(name=row["rival"], said=_why(findings, case, row))
            for _, row in rivals[rivals["verdict"].eq(Verdict.FOR.value)].iterrows()
        ]
        if len(rivals)
        else []
    )
    if at_least(case["share"], _MOSTLY):
        return (Cause(name=FITTING, said=_fitting(case)), *pointed)
    if at_least(case["share"], _PARTLY) and case["main_defect"]:
        return (*pointed, Cause(name=FITTING, said=_fitting(case)))
    if at_least(case.get("percentile_low"), _MOSTLY):
        return (*pointed, Cause(name=WEAR, said=""))
    return tuple(pointed)


def share_range(case: pd.Series) -> str:
    """Write what part of a failure its fitting carries; nothing below none is said.

    Examples
    --------
    >>> share_range(pd.Series({"share": 0.3, "share_low": -0.32, "share_high": 0.81}))
    '30 % [0 % to 81 %]'
    """
    shown = (max(0.0, case[name]) for name in ("share", "share_low", "share_high"))
    share, low, high = (percent(0.0 if value < 0.001 else value) for value in shown)
    return f"{share} [{low} to {high}]"


def is_sure(case: pd.Series) -> bool:
    """Say whether the limits exclude that the fitting had no part in a failure."""
    return bool(case["share_low"] > 0)


def at_least(value: float | None, limit: float) -> bool:
    """Say whether a number is known and not below a limit."""
    return value is not None and bool(pd.notna(value)) and value >= limit


def _fitting(case: pd.Series) -> str:
    check = CHECKLIST.get(str(case["main_defect"]))
    most = (
        f", most of it to “{check.defect}”"
        if check
        else ", though its record names no defect: checks left blank carry it"
    )
    unsure = "" if is_sure(case) else " The limits do not exclude that it had no part."
    return f"{share_range(case)} of this failure is owed to the fitting{most}.{unsure}"


def _why(findings: Findings, case: pd.Series, rival: pd.Series) -> str:
    lots = findings.lots
    own = lots[lots["lot"].eq(case["lot"])] if len(lots) else lots
    if rival["rival"] == LOT and len(own):
        lot = own.iloc[0]
        return (
            f"Lot {lot['lot']} has had {number(lot['events'])} premature failures where duty and"
            f" fitting explain {number(lot['expected'])}. {ALARM}"
        )
    return f"{sentence(rival['evidence'])}."
