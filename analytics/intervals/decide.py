"""Keep, shorten, or ask: the safety rules that turn an age into a proposal.

The rules stand in one place and see one position at a time, so they can be read and tested
alone. Nothing here is ever past the cap, and nothing here lengthens an interval: what would be
cheaper later is a question to the responsible engineer.
"""

from dataclasses import dataclass
from enum import Enum
from math import floor, inf, isfinite, isnan, nan

__all__ = ["GRACE_MONTHS", "Case", "Decision", "Proposal", "decide"]

_MONTHS = 12
_SAME = 0.5
"""Ages closer than this are one interval. [months]"""

GRACE_MONTHS = 1.0
"""An outage this much later than the site has ever waited still keeps today's interval."""

NOT_RISING = (
    "A schedule is not shown to cut premature bursts at this position. The cap still rules, for"
    " the dangerous modes."
)
DEARER = (
    "Replacing before failure costs more than it saves here. The cap still rules, for the"
    " dangerous modes."
)


class Proposal(Enum):
    """What is proposed; the values are the words of the findings."""

    SHORTEN = "shorten"
    KEEP = "keep"
    ASK = "ask"


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One position as the rules see it.

    Attributes
    ----------
    best_years, low_years, high_years : float
        Age of least expected cost with its limits; inf when there is none. [years]
    flat_low_years, flat_high_years : float
        Ages within 2 % of the least cost; NaN when there is none. [years]
    risk_years : float
        Age by which the risk target is reached; inf when there is no target. [years]
    cap_months : float
        Smallest cap on record; NaN when nobody wrote one down. [months]
    today_years : float
        Today's interval; inf when run to failure, NaN when unknown. [years]
    longest_years : float
        The oldest disc the site has replaced as planned, at least today's interval. [years]
    wear_rises : bool
        Whether replacing on schedule is shown to cut premature failures.
    """

    best_years: float
    low_years: float
    high_years: float
    flat_low_years: float
    flat_high_years: float
    risk_years: float
    cap_months: float
    today_years: float
    longest_years: float
    wear_rises: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What the rules say.

    Attributes
    ----------
    age_months : float
        Age to replace at, never past the cap nor past today's interval; NaN: no recommendation.
    latest_months : float
        Age up to which an outage may be waited for: within 2 % of the least cost when shortened,
        a month more than the site has done before when kept; never past the cap.
    proposal : Proposal or None
        None when there is no cap to hold it against.
    note : str
        Why, in plain words.
    """

    age_months: float
    latest_months: float
    proposal: Proposal | None
    note: str


def decide(case: Case) -> Decision:
    """Apply the rules to one position.

    Examples
    --------
    >>> case = Case(best_years=2.5, low_years=2.0, high_years=3.1, flat_low_years=2.1,
    ...             flat_high_years=3.0, risk_years=inf, cap_months=36.0, today_years=3.4,
    ...             longest_years=3.4, wear_rises=True)
    >>> decision = decide(case)
    >>> decision.proposal.value, decision.age_months
    ('shorten', 30.0)
    """
    if isnan(case.cap_months) or case.cap_months <= 0:
        return Decision(age_months=nan, latest_months=nan, proposal=None, note=_evidence(case))
    cap = case.cap_months
    wanted = min(_statistical_months(case), cap)
    today = cap if isnan(case.today_years) else case.today_years * _MONTHS
    if today > cap + _SAME:
        return _shorten(case, wanted, _past_cap(today, cap))
    today = min(today, cap)
    if _good_enough(case, today):
        return _as_today(case, today, Proposal.KEEP, _why_keep(case))
    if wanted < today - _SAME:
        return _shorten(case, wanted, "")
    if wanted > today + _SAME:
        return _as_today(case, today, Proposal.ASK, _ask(case, wanted))
    return _as_today(case, today, Proposal.KEEP, _why_keep(case))


def _statistical_months(case: Case) -> float:
    """Least-cost age or the risk target, whichever is earlier, where a schedule helps at all."""
    if not case.wear_rises:
        return inf
    return min(case.best_years, case.risk_years) * _MONTHS


def _good_enough(case: Case, today: float) -> bool:
    """Whether today's interval already lies where the cost is flat, within the risk target."""
    if not case.wear_rises or not isfinite(case.best_years):
        return False
    flat = case.flat_low_years * _MONTHS <= today <= case.flat_high_years * _MONTHS
    return flat and today <= case.risk_years * _MONTHS


def _down(months: float) -> float:
    """Round down to whole months once there are any: never later than worked out."""
    return min(float(floor(months + 1e-9)), months) if months >= 1 else months


def _as_today(case: Case, today: float, proposal: Proposal, note: str) -> Decision:
    done = today if isnan(case.longest_years) else max(case.longest_years * _MONTHS, today)
    return Decision(
        age_months=_down(today),
        latest_months=min(done + GRACE_MONTHS, case.cap_months),
        proposal=proposal,
        note=note,
    )


def _shorten(case: Case, wanted: float, because: str) -> Decision:
    reason = because or _why_shorter(case)
    latest = wanted
    if case.wear_rises:
        flat = case.flat_high_years if isfinite(case.best_years) else 0.0
        flat = min(flat, case.risk_years) * _MONTHS
        latest = min(max(wanted, flat), case.cap_months)
    else:
        reason = f"{reason} {NOT_RISING}"
    return Decision(
        age_months=_down(wanted),
        latest_months=latest,
        proposal=Proposal.SHORTEN,
        note=f"{reason} {_flat(case)}".strip(),
    )


def _past_cap(today: float, cap: float) -> str:
    if isfinite(today):
        return f"Today's interval of {today:.0f} months is past the cap of {cap:.0f} months."
    return f"Run to failure today, although a cap of {cap:.0f} months is on record."


def _why_shorter(case: Case) -> str:
    if case.risk_years < case.best_years:
        return f"The risk target is reached at {case.risk_years * _MONTHS:.0f} months."
    return f"Costs least at {_span(case)}."


def _why_keep(case: Case) -> str:
    if not case.wear_rises:
        return NOT_RISING
    if not isfinite(case.best_years):
        return DEARER
    if case.best_years * _MONTHS > case.cap_months + _SAME:
        return "The cap comes before the age of least cost."
    return f"Costs least at {_span(case)}. {_flat(case)}".strip()


def _ask(case: Case, wanted: float) -> str:
    question = (
        "A question for the responsible engineer, who would have to sign: up to"
        f" {_down(wanted):.0f} months, within the cap?"
    )
    if not case.wear_rises:
        return f"{NOT_RISING} {question}"
    if not isfinite(case.best_years):
        return f"{DEARER} {question}"
    return f"{question} {_flat(case)}".strip()


def _evidence(case: Case) -> str:
    """What can be said without a cap: no recommendation."""
    lead = "No cap on record (maker, code, site), so no recommendation; evidence only:"
    if not case.wear_rises:
        return f"{lead} a schedule is not shown to cut premature bursts here."
    if not isfinite(case.best_years):
        return f"{lead} replacing before failure costs more than it saves."
    return f"{lead} costs least at {_span(case)}."


def _span(case: Case) -> str:
    """Name the least-cost age with its limits, none of them past the cap."""
    best, low, high = (x * _MONTHS for x in (case.best_years, case.low_years, case.high_years))
    low = min(low, best)
    if high > case.cap_months:
        limits = f"{low:.0f} months to past the cap"
    else:
        limits = f"{low:.0f} to {high:.0f} months" if isfinite(high) else f"{low:.0f} months on"
    return f"{best:.0f} months (95 % limits {limits})"


def _flat(case: Case) -> str:
    """Say how flat the optimum is, cut at the cap so that no later age is named as good."""
    if not case.wear_rises or not isfinite(case.best_years) or isnan(case.flat_low_years):
        return ""
    low = case.flat_low_years * _MONTHS
    high = min(case.flat_high_years * _MONTHS, case.cap_months)
    if high - low < 1:
        return ""
    return f"Anywhere from {low:.0f} to {_down(high):.0f} months costs within 2 %."
