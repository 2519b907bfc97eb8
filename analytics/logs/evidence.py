"""What do the values themselves prove about dates, decimal marks and blanks?"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from analytics.logs.dates import day_parser
from analytics.logs.refusals import Refusal
from analytics.logs.settings import Settings

__all__ = ["Verdict", "blanks_in", "date_format_of", "marks_of"]

_FORMATS = tuple(
    mark.join(order)
    for order in (("%d", "%m", "%Y"), ("%m", "%d", "%Y"), ("%d", "%m", "%y"), ("%m", "%d", "%y"))
    for mark in "/.-"
) + ("%d-%b-%Y", "%d-%b-%y", "%d %b %Y", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d")  # fmt: skip
_CLOCKS = ("", " %H:%M", " %H:%M:%S")
_BLANKS = {"-", "--", "n/a", "na", "#n/a", "none", "null", "nil", "unknown", "?", "tbd", "nan"}
_GOOD_SHARE = 0.9
"""Dirt is allowed for: a format must read nine values in ten."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What the values say.

    Attributes
    ----------
    answers : tuple of str
        The possible answers, the best first; none when nothing fits.
    why : str
        A few words a person can check.
    """

    answers: tuple[str, ...]
    why: str

    @property
    def proven(self) -> bool:
        """Whether only one answer is left."""
        return len(self.answers) == 1


def date_format_of(texts: Iterable[str]) -> Verdict:
    """Find the date formats that read the values; two are left when no day is above 12.

    Examples
    --------
    >>> date_format_of(["03/04/2021", "25/04/2021"]).answers
    ('%d/%m/%Y',)
    >>> date_format_of(["03/04/2021"]).answers
    ('%d/%m/%Y', '%m/%d/%Y')
    """
    values = sorted({text.strip() for text in texts} - {""})[:5000]
    if not values or _read(values, None) >= _GOOD_SHARE * len(values):
        return Verdict(answers=("",) if values else (), why="dates are ISO")
    counts = {
        form + clock: _read(values, form + clock, strictly=True)
        for form in _FORMATS
        for clock in _CLOCKS
    }
    most = max(counts.values())
    if most < _GOOD_SHARE * len(values):
        return Verdict(answers=(), why=f"no format reads most dates, e.g. {values[0]!r}")
    best = tuple(form for form, count in counts.items() if count == most)
    if len(best) > 1:
        return Verdict(answers=best, why=f"no value tells day from month, e.g. {values[0]!r}")
    rivals = [count for form, count in counts.items() if form != best[0]]
    return Verdict(
        answers=best, why=f"reads {most} of {len(values)} different dates, the next {max(rivals)}"
    )


def _read(values: Sequence[str], form: str | None, *, strictly: bool = False) -> int:
    parse = day_parser(Settings(date_format=form))
    iso = day_parser(Settings()) if strictly else None
    return sum(
        not isinstance(parse(value), Refusal)
        and (iso is None or isinstance(iso(value), Refusal) or str(form).startswith("%Y"))
        for value in values
    )


def marks_of(texts: Iterable[str]) -> Verdict:
    """Find the decimal and thousands marks as `decimal` followed by `thousands`.

    Examples
    --------
    >>> marks_of(["1.234,5", "7,2"]).answers
    (',.',)
    >>> marks_of(["1,234"]).answers
    ('.,', ',')
    """
    values = sorted({text.strip() for text in texts})
    evidence = {mark: [text for text in values if _fraction(mark).fullmatch(text)] for mark in ".,"}
    thousands = {mark: [text for text in values if _grouped(mark).fullmatch(text)] for mark in ".,"}
    dot, comma = len(evidence["."]), len(evidence[","])
    if comma > dot:
        return Verdict(
            answers=("," + ("." if thousands["."] else ""),), why=f"e.g. {evidence[','][0]!r}"
        )
    if dot or not thousands[","]:
        return Verdict(answers=("." + ("," if thousands[","] else ""),), why="decimal points")
    return Verdict(answers=(".,", ","), why=f"{thousands[','][0]!r} can mean two numbers")


def _fraction(mark: str) -> re.Pattern[str]:
    """Match a number whose mark cannot part thousands."""
    other = re.escape("," if mark == "." else ".")
    mark = re.escape(mark)
    return re.compile(
        rf"[+-]?(?:\d+{mark}(?:\d{{1,2}}|\d{{4,}})|0{mark}\d+|\d{{4,}}{mark}\d+|"
        rf"\d{{1,3}}(?:{other}\d{{3}})+{mark}\d+)",
        re.ASCII,
    )


def _grouped(mark: str) -> re.Pattern[str]:
    other = re.escape("," if mark == "." else ".")
    return re.compile(rf"[+-]?[1-9]\d{{0,2}}(?:{re.escape(mark)}\d{{3}})+(?:{other}\d*)?", re.ASCII)


def blanks_in(texts: Iterable[str]) -> list[str]:
    """List the texts that usually mean "not recorded"."""
    return sorted({text.strip() for text in texts if text.strip().casefold() in _BLANKS})
