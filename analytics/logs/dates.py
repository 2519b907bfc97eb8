"""Which day, which moment does a text mean? ISO unless the plant declares a format."""

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from analytics.logs.refusals import Reason, Refusal
from analytics.logs.settings import Settings

__all__ = ["day_parser", "moment_parser"]

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_ISO = re.compile(
    r"(?P<Y>\d{4})-(?P<m>\d{2})-(?P<d>\d{2})"
    r"(?:[T ](?P<H>\d{2}):(?P<M>\d{2})(?::(?P<S>\d{2}(?:[.]\d{1,9})?))?"
    r"(?P<zone>Z|[+-]\d{2}:?\d{2})?)?",
    re.ASCII,
)
_LOOKS_LIKE_A_DATE = re.compile(r"\d{1,4}[./ -](?:\d{1,2}|[A-Za-z]{3,9})[./ -]\d{1,4}.*", re.ASCII)
_PATTERNS = {
    "%d": r"(?P<d>\d{1,2})",
    "%m": r"(?P<m>\d{1,2})",
    "%b": r"(?P<b>[A-Za-z]{3})",
    "%Y": r"(?P<Y>\d{4})",
    "%y": r"(?P<y>\d{2})",
    "%H": r"(?P<H>\d{1,2})",
    "%M": r"(?P<M>\d{2})",
    "%S": r"(?P<S>\d{2})",
}
_FIRST_YEAR, _LAST_YEAR = 1950, 2200


def day_parser(settings: Settings) -> Callable[[str], date | Refusal]:
    """Build the reader of a DATE column.

    A clock time beside the date is dropped; one with an offset is first moved
    to the plant's declared zone, since its day depends on it.

    Examples
    --------
    >>> day_parser(Settings())("2021-04-03")
    datetime.date(2021, 4, 3)
    >>> day_parser(Settings(date_format="%d/%m/%Y"))("03/04/2021")
    datetime.date(2021, 4, 3)
    >>> day_parser(Settings())("03/04/2021").reason.value
    'ambiguous_date'
    """

    def parse(text: str) -> date | Refusal:
        stamp = _stamp(text, settings)
        if isinstance(stamp, Refusal) or stamp.tzinfo is None:
            return stamp if isinstance(stamp, Refusal) else stamp.date()
        if settings.time_zone is None:
            return _zone_unknown()
        return stamp.astimezone(ZoneInfo(settings.time_zone)).date()

    return parse


def moment_parser(settings: Settings) -> Callable[[str], datetime | Refusal]:
    """Build the reader of a TIME column: moments in UTC.

    A text without an offset needs the plant's declared zone. An hour that the
    clocks repeat or skip is refused.

    Examples
    --------
    >>> parse = moment_parser(Settings(time_zone="Europe/Berlin"))
    >>> parse("2021-07-01 12:00").isoformat()
    '2021-07-01T10:00:00+00:00'
    >>> parse("2021-10-31 02:30").reason.value
    'ambiguous_hour'
    >>> parse("2021-03-28 02:30").reason.value
    'no_such_hour'
    """

    def parse(text: str) -> datetime | Refusal:
        stamp = _stamp(text, settings)
        if isinstance(stamp, Refusal):
            return stamp
        if stamp.tzinfo is not None:
            return stamp.astimezone(UTC)
        if settings.time_zone is None:
            return _zone_unknown()
        return _in_zone(stamp, ZoneInfo(settings.time_zone))

    return parse


def _in_zone(wall: datetime, zone: ZoneInfo) -> datetime | Refusal:
    first, second = (wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if first == second:
        return first
    if first.astimezone(zone).replace(tzinfo=None) == wall:
        return Refusal(
            reason=Reason.AMBIGUOUS_HOUR,
            required=f"a moment that occurs once in {zone.key}",
            mend="write the offset behind the time, e.g. +02:00 for summer time",
        )
    return Refusal(
        reason=Reason.NO_SUCH_HOUR,
        required=f"a moment that exists in {zone.key}",
        mend="clocks went forward over this hour: mend the time or the declared time_zone",
    )


def _stamp(text: str, settings: Settings) -> datetime | Refusal:
    """Date and time as written, with a zone only where the text has an offset."""
    declared = settings.date_format
    match = _pattern(declared).fullmatch(text) if declared else None
    if match is None and (declared is None or not declared.startswith(("%Y", "%y"))):
        # An ISO day cannot be mistaken for a format that does not begin with the year.
        match = _ISO.fullmatch(text)
    if match is None:
        return _no_date(text, declared)
    try:
        stamp = _assemble(match.groupdict())
    except ValueError:
        stamp = None
    if stamp is None or not _FIRST_YEAR <= stamp.year < _LAST_YEAR:
        return Refusal(
            reason=Reason.NOT_A_DATE,
            required=f"a day of the calendar from {_FIRST_YEAR} to {_LAST_YEAR - 1}",
            mend="mend the date, or declare the right date_format in logs.toml",
        )
    return stamp


def _assemble(parts: dict[str, str | None]) -> datetime:
    named = parts.get("b")
    month = _MONTHS.index(named.lower()) + 1 if named else int(parts["m"] or 0)
    if parts.get("y"):
        # POSIX: 69-99 is the last century, 00-68 this one.
        short = int(str(parts["y"]))
        year = short + (1900 if short >= 69 else 2000)
    else:
        year = int(parts["Y"] or 0)
    seconds = float(parts.get("S") or 0)
    if seconds >= 60:
        raise ValueError("seconds must be below 60")
    zone = parts.get("zone")
    stamp = datetime(
        year, month, int(parts["d"] or 0), int(parts.get("H") or 0), int(parts.get("M") or 0)
    )
    stamp += timedelta(seconds=seconds)
    return stamp if zone is None else datetime.fromisoformat(stamp.isoformat() + zone)


@cache
def _pattern(date_format: str) -> re.Pattern[str]:
    pieces = re.split(r"(%.)", date_format)
    return re.compile(
        "".join(_PATTERNS[piece] if piece in _PATTERNS else re.escape(piece) for piece in pieces),
        re.ASCII,
    )


def _no_date(text: str, declared: str | None) -> Refusal:
    if declared is None and _LOOKS_LIKE_A_DATE.fullmatch(text):
        return Refusal(
            reason=Reason.AMBIGUOUS_DATE,
            required="an ISO date, e.g. 2021-04-03",
            mend='declare the order of day and month, e.g. date_format = "%d/%m/%Y" in logs.toml',
        )
    form = declared or "YYYY-MM-DD"
    return Refusal(
        reason=Reason.NOT_A_DATE,
        required=f"a date written as {form}",
        mend=f"write the date as {form}, or leave it blank where it is not required",
    )


def _zone_unknown() -> Refusal:
    return Refusal(
        reason=Reason.ZONE_UNKNOWN,
        required="the zone that clock times are written in",
        mend='declare it, e.g. time_zone = "Europe/Berlin" in logs.toml',
    )
