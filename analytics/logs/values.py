"""What does one text mean? The reader of each kind of column."""

import math
import re
from collections.abc import Callable, Mapping
from datetime import date, datetime

from analytics.logs.dates import day_parser, moment_parser
from analytics.logs.formulas import restore
from analytics.logs.refusals import Reason, Refusal
from analytics.logs.settings import Settings
from analytics.logs.tables import Column, Kind

__all__ = ["Value", "value_parser"]

Value = str | bool | int | float | date | datetime | None

LONGEST = 32_767
"""Characters in one value: what a spreadsheet cell can hold."""

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_TRUTH = {"yes": True, "no": False, "true": True, "false": False}
_CURVE = re.compile(
    r"-?\d{1,4}(?:[.]\d+)?:\d(?:[.]\d+)?(?:/-?\d{1,4}(?:[.]\d+)?:\d(?:[.]\d+)?)+", re.ASCII
)
_LARGEST_FACTOR = 3.0
_STEPS = re.compile(r"\d{1,3}(?:[.]\d+)?(?:/\d{1,3}(?:[.]\d+)?)*", re.ASCII)
_LARGEST_COUNT = 2**53


def value_parser(
    column: Column, settings: Settings, words: Mapping[str, str]
) -> Callable[[str], Value | Refusal]:
    """Build the reader of one column: text in, typed value, None (blank) or Refusal out.

    Parameters
    ----------
    column : Column
        The declaration.
    settings : Settings
        Date format, decimal mark, blank words, zone.
    words : mapping
        The plant's code words of this column to ours.

    Examples
    --------
    >>> from analytics.logs.tables import TABLES
    >>> read = value_parser(TABLES["stock"].column("quantity"), Settings(), {})
    >>> read("12"), read("1,234").reason.value
    (12, 'ambiguous_number')
    """
    parse = _by_kind(column, settings)
    blank = {"", *settings.blank}

    def read(text: str) -> Value | Refusal:
        text = text.strip()
        text = words.get(text, text)
        if text in blank:
            return _missing(column) if column.required else None
        if len(text) > LONGEST:
            return _refuse(Reason.TOO_LONG, f"at most {LONGEST} characters", "shorten the text")
        if _CONTROL.search(text):
            return _refuse(
                Reason.CONTROL_CHARACTER, "printable text", "take the control characters out"
            )
        return parse(text)

    return read


def _by_kind(column: Column, settings: Settings) -> Callable[[str], Value | Refusal]:
    match column.kind:
        case Kind.TEXT:
            return restore
        case Kind.CODE:
            return _code_parser(column.allowed)
        case Kind.YES_NO:
            return _yes_no
        case Kind.DATE:
            return day_parser(settings)
        case Kind.TIME:
            return moment_parser(settings)
        case Kind.STEPS:
            return _steps
        case Kind.CURVE:
            return _curve
        case Kind.COUNT:
            return _count_parser(column, settings)
        case Kind.NUMBER:
            return _number_parser(settings)


def _code_parser(allowed: tuple[str, ...]) -> Callable[[str], str | Refusal]:
    by_folded = {word.casefold(): word for word in allowed}
    refusal = _refuse(
        Reason.UNKNOWN_WORD,
        f"one of: {' '.join(allowed)}",
        "use one of these words, or map yours under [words] in logs.toml",
    )
    return lambda text: by_folded.get(text.casefold(), refusal)


def _yes_no(text: str) -> bool | Refusal:
    truth = _TRUTH.get(text.casefold())
    if truth is None:
        return _refuse(
            Reason.UNKNOWN_WORD,
            "yes, no or blank",
            "use yes or no, or map your words under [words] in logs.toml",
        )
    return truth


def _steps(text: str) -> str | Refusal:
    compact = text.replace(" ", "").replace("%", "")
    if _STEPS.fullmatch(compact):
        return compact
    return _refuse(Reason.NOT_STEPS, "percentages joined by /", "write the steps like 25/50/75/100")


def _curve(text: str) -> str | Refusal:
    compact = text.replace(" ", "")
    points = [point.split(":") for point in compact.split("/")] if _CURVE.fullmatch(compact) else []
    temperatures = [float(point[0]) for point in points]
    rising = all(a < b for a, b in zip(temperatures, temperatures[1:], strict=False))
    if points and rising and all(0 < float(point[1]) <= _LARGEST_FACTOR for point in points):
        return compact
    return _refuse(
        Reason.NOT_A_CURVE,
        "temperature:factor pairs joined by /, temperatures rising, factors above 0",
        "write the maker's curve like 20:1.00/100:0.94, with decimal points",
    )


def _number_parser(settings: Settings) -> Callable[[str], float | Refusal]:
    mark, thousands = settings.decimal, settings.thousands
    plain = re.compile(rf"[+-]?\d+(?:{re.escape(mark)}\d*)?(?:[eE][+-]?\d{{1,3}})?", re.ASCII)
    bare = re.compile(rf"[+-]?{re.escape(mark)}\d+(?:[eE][+-]?\d{{1,3}})?", re.ASCII)
    grouped = re.compile(
        rf"[+-]?\d{{1,3}}(?:{re.escape(thousands)}\d{{3}})+(?:{re.escape(mark)}\d*)?", re.ASCII
    )

    def parse(text: str) -> float | Refusal:
        if thousands and grouped.fullmatch(text):
            text = text.replace(thousands, "")
        elif not plain.fullmatch(text) and not bare.fullmatch(text):
            return _no_number(text, mark)
        number = float(text.replace(mark, "."))
        return number if math.isfinite(number) else _no_number(text, mark)

    return parse


def _no_number(text: str, mark: str) -> Refusal:
    other = "," if mark == "." else "."
    if re.fullmatch(r"[+-]?[\d.,' ]*\d[\d.,' ]*", text, re.ASCII):
        return _refuse(
            Reason.AMBIGUOUS_NUMBER,
            f"a number with the decimal mark {mark!r} and no other mark",
            f'declare decimal = "{other}" or thousands = "{other}" in logs.toml, '
            "whichever the plant writes",
        )
    return _refuse(
        Reason.NOT_A_NUMBER, "a number", "write digits only; the unit belongs in the header"
    )


def _count_parser(column: Column, settings: Settings) -> Callable[[str], int | Refusal]:
    number = _number_parser(settings)

    def parse(text: str) -> int | Refusal:
        value = number(text)
        if isinstance(value, Refusal):
            return value
        if value != int(value) or abs(value) > _LARGEST_COUNT:
            return _refuse(Reason.NOT_WHOLE, "a whole number", f"mend {column.name}")
        return int(value)

    return parse


def _missing(column: Column) -> Refusal:
    return _refuse(
        Reason.BLANK, f"{column.name} in every row", f"fill in {column.name}: {column.about}"
    )


def _refuse(reason: Reason, required: str, mend: str) -> Refusal:
    return Refusal(reason=reason, required=required, mend=mend)
