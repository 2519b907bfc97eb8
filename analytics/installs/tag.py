"""Is this the disc the position needs? The tag as read against what is required."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum

import pandas as pd

__all__ = ["Match", "Verdict", "match_tag", "may_be_fitted"]

_SLACK = 1e-9
"""A hair: 10 * 1.05 must not refuse a mark of 10.5."""


class Verdict(Enum):
    """What one comparison came to."""

    MATCHED = "matched"
    STOPPED = "stopped"
    UNKNOWN = "not on record"


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """One line of the tag against one requirement.

    Attributes
    ----------
    what : str
        What is compared.
    required, read : str
        What the position needs and what the tag says, as shown.
    verdict : Verdict
        Matched, stopped, or not on record at the position.
    reason : str
        Why it was stopped or cannot be judged; blank when matched.
    """

    what: str
    required: str
    read: str
    verdict: Verdict
    reason: str = ""


def _in_barg(pressure: float) -> str:
    return f"{pressure:.4g} barg"


def match_tag(
    disc: Mapping[str, object],
    tag: Mapping[str, str | float | None],
    lots: frozenset[str],
    show: Callable[[float], str] = _in_barg,
) -> tuple[Match, ...]:
    """Compare a tag, line by line, with the disc that a position needs.

    Parameters
    ----------
    disc : mapping
        The row of the `discs` table for the position's disc code.
    tag : mapping
        `disc_code`, `nominal_size`, `family`, `lot` as text, `marked_burst_pressure_barg`
        [bar gauge] and `coincident_temperature_degc` [degC] as numbers; None is not read.
    lots : frozenset of str
        Lots of this disc code in the stores; empty when no stock is on record.
    show : callable
        Writes a pressure [bar gauge] as the reader wants it, with its unit.

    Returns
    -------
    tuple of Match
        One per line of the tag. A disc may be fitted only if none is stopped.

    Notes
    -----
    The marked pressure must lie in the manufacturing range of what was specified,
    S (1 - minus) to S (1 + plus). Whether another disc is accepted instead is the
    responsible engineer's decision, never this function's.
    """
    return (
        _same_word("disc code", disc.get("disc_code"), tag.get("disc_code")),
        _same_word("type", disc.get("family"), tag.get("family")),
        _same_word("size", disc.get("nominal_size"), tag.get("nominal_size")),
        _mark(disc, _number(tag.get("marked_burst_pressure_barg")), show),
        _temperature(
            _number(disc.get("coincident_temperature_degc")),
            _number(tag.get("coincident_temperature_degc")),
        ),
        _lot(_word(tag.get("lot")), lots),
    )


def may_be_fitted(matches: tuple[Match, ...]) -> bool:
    """Tell whether no line of the tag stops the fitting."""
    return all(match.verdict is not Verdict.STOPPED for match in matches)


def _same_word(what: str, required: object, read: object) -> Match:
    wanted, given = _word(required), _word(read)
    if not given:
        return _stopped(what, wanted, "", f"read the {what} off the tag")
    if not wanted:
        return Match(
            what=what,
            required="",
            read=given,
            verdict=Verdict.UNKNOWN,
            reason=f"the logs do not say which {what} the position needs",
        )
    if wanted.casefold() == given.casefold():
        return Match(what=what, required=wanted, read=given, verdict=Verdict.MATCHED)
    return _stopped(what, wanted, given, f"another {what} than the position needs")


def _mark(disc: Mapping[str, object], mark: float, show: Callable[[float], str]) -> Match:
    what = "marked burst pressure"
    specified = _number(disc.get("specified_burst_pressure_barg"))
    minus, plus = (_number(disc.get(f"range_{side}_pct")) for side in ("minus", "plus"))
    low = specified * (1 - (0.0 if math.isnan(minus) else minus) / 100)
    high = specified * (1 + (0.0 if math.isnan(plus) else plus) / 100)
    wanted = f"{show(low)} to {show(high)}" if not math.isnan(specified) else ""
    if math.isnan(mark):
        return _stopped(what, wanted, "", "read the marked burst pressure off the tag")
    read = show(mark)
    if not wanted:
        return Match(
            what=what,
            required="",
            read=read,
            verdict=Verdict.UNKNOWN,
            reason="the logs do not say which burst pressure was specified",
        )
    if low * (1 - _SLACK) <= mark <= high * (1 + _SLACK):
        return Match(what=what, required=wanted, read=read, verdict=Verdict.MATCHED)
    side = "below" if mark < low else "above"
    return _stopped(what, wanted, read, f"the mark is {side} the range that was specified")


def _temperature(wanted: float, read: float) -> Match:
    what = "temperature"
    required = "" if math.isnan(wanted) else f"{wanted:g} degC"
    if math.isnan(read):
        return _stopped(what, required, "", "read the temperature off the tag")
    given = f"{read:g} degC"
    if math.isnan(wanted):
        return Match(
            what=what,
            required="",
            read=given,
            verdict=Verdict.UNKNOWN,
            reason="the logs do not say at which temperature the burst pressure is stated",
        )
    if math.isclose(wanted, read, abs_tol=0.5):  # tags are stamped in whole degrees
        return Match(what=what, required=required, read=given, verdict=Verdict.MATCHED)
    return _stopped(what, required, given, "the burst pressure is stated at another temperature")


def _lot(read: str, lots: frozenset[str]) -> Match:
    required = ", ".join(sorted(lots)[:6])
    if not read:
        return _stopped("lot", required, "", "read the lot off the tag")
    if read in lots:
        return Match(what="lot", required=required, read=read, verdict=Verdict.MATCHED)
    return Match(
        what="lot",
        required=required,
        read=read,
        verdict=Verdict.UNKNOWN,
        reason="no store has this lot on record; note where the piece came from",
    )


def _stopped(what: str, required: str, read: str, reason: str) -> Match:
    return Match(what=what, required=required, read=read, verdict=Verdict.STOPPED, reason=reason)


def _word(value: object) -> str:
    known = isinstance(value, str | int | float) and not pd.isna(value)
    return str(value).strip() if known else ""


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else math.nan
