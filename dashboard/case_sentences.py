"""The sentences and facts of a case sheet, apart from what to do."""

import pandas as pd

from analytics.early.rivals import Verdict
from analytics.findings import Findings
from analytics.installs.checklist import CHECKLIST, DEFECTS
from analytics.lives.build import DAYS_PER_YEAR
from dashboard.case_causes import FITTING, Cause, is_sure, share_range
from dashboard.figures.pressures import operating_pressures
from dashboard.reading import Units
from dashboard.words import count, day, listed, money, number, percent

__all__ = [
    "age_sentence",
    "answered",
    "case_facts",
    "likeliest",
    "repeat_sentence",
    "ruled_out",
    "share_sentence",
    "title",
]

_BASES = {"history": "by the historian", "nominal": "by the nominal pressure"}
_UNUSUAL, _ORDINARY = 0.1, 0.5
_NOTHING = 0.001
_AGAIN = 3
_SHORT_DAYS = 31


def title(life: pd.Series, units: Units) -> str:
    """Say where, how, when and at what age a disc ended."""
    age = f" after {_age(life, units)}" if life["age_known"] else ""
    return f"{life['position_id']}: {_ending(life)} on {day(life['ended_on'])}{age}"


def likeliest(causes: tuple[Cause, ...], case: pd.Series) -> str:
    """Name the likeliest cause, whether it is more than likely, and what else is pointed to."""
    if not causes:
        return "Likeliest cause: none stands out"
    first, *rest = (cause.name for cause in causes)
    unsure = ", not proven" if first == FITTING and not is_sure(case) else ""
    return f"Likeliest cause: {first}{unsure}" + (f"; then {listed(rest)}" if rest else "")


def age_sentence(findings: Findings, case: pd.Series, units: Units) -> str:
    """Say how usual so early a failure is where nothing was amiss; blank when not known."""
    share = case["percentile"]
    if pd.isna(share):
        return ""
    low, high = case.get("percentile_low"), case.get("percentile_high")
    known = low is not None and pd.notna(low)
    limits = f" [{percent(low)} to {percent(high)}]" if known else ""
    usual = ""
    if known and high < _UNUSUAL:
        usual = ": so early a failure is unusual here"
    elif known and low >= _ORDINARY:
        usual = ": at this duty that is the rule"
    lots = findings.lots
    apart = len(lots) and case["lot"] in set(lots.loc[lots["flagged"].astype(bool), "lot"])
    return (
        f"{'Even of this lot, of discs' if apart else 'Of discs'} fitted cleanly at this duty"
        f" {percent(share)}{limits} fail by {_age(case, units)}{usual}."
    )


def share_sentence(case: pd.Series, causes: tuple[Cause, ...]) -> str:
    """Say what part of the failure the fitting carries, unless a cause already says it."""
    if pd.isna(case["share"]):
        return "Its age is not known, so the share of the fitting cannot be worked out."
    if FITTING in [cause.name for cause in causes]:
        return ""
    if case["share_high"] < _NOTHING:
        return "By its record the fitting carries none of this failure."
    return f"The fitting carries {share_range(case)} of this failure."


def repeat_sentence(findings: Findings, life: pd.Series) -> str:
    """Say where a position fails its discs again and again; blank where it does not."""
    early, ended = _taken_out(findings, life)
    if early < _AGAIN or 2 * early < ended:
        return ""
    return f"Of {count(ended, 'disc')} taken out here {early:,} had failed early."


def ruled_out(rivals: pd.DataFrame) -> str:
    """Name the explanations that the record speaks against, each with its evidence."""
    against = rivals[rivals["verdict"].eq(Verdict.AGAINST.value)]
    return "; ".join(f"{row['rival']} ({row['evidence']})" for _, row in against.iterrows())


def answered(life: pd.Series) -> dict[str, list[str]]:
    """Sort the checks of an install record into `amiss`, `blank` (never a pass) and `passed`."""
    answers: dict[str, list[str]] = {"amiss": [], "blank": [], "passed": []}
    for name in DEFECTS:
        check = CHECKLIST[name]
        if name not in life or pd.isna(life[name]):
            answers["blank"].append(check.sound)
        elif life[name]:
            answers["passed"].append(check.sound)
        else:
            answers["amiss"].append(check.defect)
    return answers


def case_facts(findings: Findings, life: pd.Series, units: Units) -> dict[str, str]:
    """Give the facts of one disc life by name, as a person would write them on a form."""
    lot = _known(life["lot"], "lot unknown")
    mark = life["marked_burst_pressure_barg"]
    marked = f", marked {_gauge(mark, units)}" if pd.notna(mark) else ", mark not logged"
    return {
        "Site, service": f"{life['site']}, {_known(life['service'], 'service unknown')}",
        "Disc": f"{life['disc_code']}, {lot}{marked}",
        "Fitted": day(life["installed_on"]) or "day unknown",
        "Ran at": _ran_at(life, units),
        "Cycles a year": number(life["cycles_per_year"]),
        "Peak that day": _peak(life, units),
        "Cost": _cost(findings, life),
        "There now": _there_now(findings, life),
        "At this position": _story(findings, life),
        **_neighbours(findings, life),
    }


def _gauge(barg: float, units: Units) -> str:
    return units.said(f"{barg:.3g} barg")


def _known(value: object, otherwise: str) -> str:
    return value if isinstance(value, str) and value else otherwise


def _age(row: pd.Series, units: Units) -> str:
    days = DAYS_PER_YEAR * row["age_years"]
    if days < _SHORT_DAYS:
        return count(round(days), "day") if days >= 1 else "less than a day"
    return f"{number(units.per_year * row['age_years'])} {units.age.value}"


def _ending(life: pd.Series) -> str:
    reason = str(life["reason"]).replace("_", " ") if life.get("reason") else ""
    ending = str(life["ending"]).replace("_", " ")
    if reason in ("burst", "leak"):
        return f"{ending} {reason}"
    return f"{reason}, {ending}" if reason and reason != ending else ending


def _ran_at(life: pd.Series, units: Units) -> str:
    if pd.isna(life["operating_ratio"]):
        return "not known"
    basis = _BASES.get(life["pressure_basis"], "pressure unknown")
    ratio = f"ratio {life['operating_ratio']:.2f}"
    if pd.isna(life["minimum_burst_bar"]):
        return f"{ratio} {basis}"
    ran = operating_pressures(life.to_frame().T).iloc[0]
    return (
        f"{_gauge(ran['operating_pressure_barg'], units)} {basis}; may burst from"
        f" {_gauge(ran['minimum_burst_barg'], units)}, {ratio}"
    )


def _peak(life: pd.Series, units: Units) -> str:
    peak = life["peak_pressure_barg"]
    return _gauge(peak, units) if pd.notna(peak) else "not logged"


def _cost(findings: Findings, life: pd.Series) -> str:
    hours = f", {number(life['downtime_h'])} h down" if pd.notna(life["downtime_h"]) else ""
    cost = money(life["cost"], findings.currency) if pd.notna(life["cost"]) else "not logged"
    return f"{cost}{hours}"


def _there_now(findings: Findings, life: pd.Series) -> str:
    lives = findings.lives
    now = lives[lives["position_id"].eq(life["position_id"]) & lives["ending"].eq("in_service")]
    if now.empty:
        return "no disc in the log"
    disc = now.iloc[-1]
    lot = _known(disc["lot"], "lot unknown")
    return f"{disc['disc_code']}, {lot}, fitted {day(disc['installed_on']) or 'on a day unknown'}"


def _story(findings: Findings, life: pd.Series) -> str:
    early, ended = _taken_out(findings, life)
    return f"{early:,} of {count(ended, 'disc')} taken out had failed early"


def _neighbours(findings: Findings, life: pd.Series) -> dict[str, str]:
    """Name the disc before and the disc after: a wrong one, or one of the same lot, is a clue."""
    lives = findings.lives
    here = lives[lives["position_id"].eq(life["position_id"])].sort_values("ended_on")
    others = here[here["life_id"].ne(life["life_id"])]
    before = others[others["ended_on"] <= life["ended_on"]].tail(1)
    after = others[others["ended_on"] > life["ended_on"]].head(1)
    return {"Disc before": _gone(before), "Disc after": _gone(after)}


def _gone(rows: pd.DataFrame) -> str:
    if rows.empty:
        return "none on record"
    disc = rows.iloc[0]
    known = f"{disc['disc_code']}, {_known(disc['lot'], 'lot unknown')}"
    if disc["ending"] == "in_service":
        return "the one there now"
    days = f"{day(disc['installed_on']) or 'day unknown'} to {day(disc['ended_on'])}"
    return f"{known}, {days}, {str(disc['ending']).replace('_', ' ')}"


def _taken_out(findings: Findings, life: pd.Series) -> tuple[int, int]:
    lives = findings.lives
    here = lives[lives["position_id"].eq(life["position_id"]) & lives["ending"].ne("in_service")]
    return int(here["ending"].eq("premature").sum()), len(here)
