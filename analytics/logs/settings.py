"""How this plant writes its logs: the optional `logs.toml`.

Whatever is ambiguous on paper (03/04/2021, 1,234, a clock hour that occurs
twice) is settled here by the plant and nowhere by us.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import field, fields, replace
from datetime import date
from difflib import get_close_matches
from math import inf
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import ConfigDict, TypeAdapter, ValidationError
from pydantic.dataclasses import dataclass

from analytics.errors import InputError
from analytics.logs.tables import TABLES

__all__ = [
    "FILE_NAME",
    "RECORDED",
    "Fatigue",
    "Format",
    "Programme",
    "Renamed",
    "Settings",
    "parse_settings",
    "read_settings",
    "settings_of",
]

FILE_NAME = "logs.toml"
RECORDED = "_recorded"
"""Ends the name of a file that discward wrote itself."""
_LARGEST = 1_000_000
Decimal = Literal[".", ","]
Thousands = Literal["", ".", ",", " ", "'"]
Encoding = Literal["utf-8", "utf-16", "cp1252"]
Correction = Literal["none", "goodman", "smith_watson_topper"]
Delimiter = Literal[",", ";", "\t", "|"]

_STRICT = ConfigDict(extra="forbid", hide_input_in_errors=False)
_PARTS = {"%d", "%m", "%Y", "%y", "%b", "%H", "%M", "%S"}


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Renamed:
    """A position that carried another name.

    Attributes
    ----------
    was, now : str
        The old and the present position_id.
    until : date or None
        First day on which the old name no longer meant this position; None for all time.
    """

    was: str
    now: str
    until: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Fatigue:
    """Cycles to failure of this plant's discs by their range; discward states none of its own.

    Attributes
    ----------
    cycles_at_one_bar : float
        Cycles to failure at a range of one bar. [-]
    slope : float
        By which power of the range that number falls (Basquin). [-]
    mean_correction : str
        How the mean of a cycle changes its harm: `none`, `goodman` or
        `smith_watson_topper`.
    """

    cycles_at_one_bar: float
    slope: float
    mean_correction: Correction = "none"

    def __post_init__(self) -> None:
        if not (0 < self.cycles_at_one_bar < inf and 0 < self.slope < inf):
            raise ValueError("cycles_at_one_bar and slope must be > 0")


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Programme:
    """An improvement programme whose effect is to be told.

    Attributes
    ----------
    name : str
        What the plant calls it.
    starts_on : date
        First day of fittings under it.
    sites, crews : tuple of str
        Whom it reached; blank for everybody, both for these crews at these sites.
    """

    name: str
    starts_on: date
    sites: tuple[str, ...] = ()
    crews: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Format:
    """How one table is written where it differs from the rest; None follows the rest.

    Attributes
    ----------
    date_format, decimal, thousands, time_zone, encoding, delimiter : str or None
        As in `Settings`.
    """

    date_format: str | None = None
    decimal: Decimal | None = None
    thousands: Thousands | None = None
    time_zone: str | None = None
    encoding: Encoding | None = None
    delimiter: Delimiter | None = None


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Settings:
    """What `logs.toml` declares.

    Attributes
    ----------
    title, currency : str
        Name of the plant or of these logs, and the one currency of every cost.
    log_begins : date or None
        First day on which every removal was recorded.
    export_date : date or None
        Last day the logs speak of; discs still in service are censored there.
    date_format : str or None
        Written with %d %m %Y %y %b (English) %H %M %S; None is ISO, 2021-04-03.
    decimal : str
        Decimal mark, `.` or `,`.
    thousands : str
        Mark between thousands, blank when none is written.
    time_zone : str or None
        IANA name of the zone that clock times are written in.
    encoding, delimiter : str or None
        Of every CSV file; None is found from the file itself.
    blank : tuple of str
        Texts that mean "not recorded", e.g. `n/a`.
    columns : mapping
        Per table: the plant's column name to ours.
    units : mapping
        Per table: our column name to its unit word, where the header has none of ours.
    words : mapping
        Per table and column (ours): the plant's code word to ours.
    renamed : tuple of Renamed
        Positions that carried another name.
    programmes : tuple of Programme
        Improvement programmes to be judged by what came before and after.
    sources : mapping
        Per table: the files that hold it when their names do not say so;
        `book.xlsx#Sheet2` names a sheet.
    fatigue : Fatigue or None
        Cycles to failure by range, to add up the fatigue life used; None leaves it out.
    formats : mapping of str to Format
        Per table: how it is written where it differs from the rest.
    """

    title: str = ""
    currency: str = ""
    log_begins: date | None = None
    export_date: date | None = None
    date_format: str | None = None
    decimal: Decimal = "."
    thousands: Thousands = ""
    time_zone: str | None = None
    encoding: Encoding | None = None
    delimiter: Delimiter | None = None
    blank: tuple[str, ...] = ()
    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    units: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, Mapping[str, str]]] = field(default_factory=dict)
    renamed: tuple[Renamed, ...] = ()
    programmes: tuple[Programme, ...] = ()
    sources: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    formats: Mapping[str, Format] = field(default_factory=dict)
    fatigue: Fatigue | None = None


def settings_of(settings: Settings, table: str, file: str = "") -> Settings:
    r"""Give the settings that hold for one table, or for one file of it.

    A file named after its table and `_recorded` was written by discward itself:
    ISO dates, decimal points, our names and words, whatever the plant declares.

    Examples
    --------
    >>> both = parse_settings('decimal = ","\n[formats.discs]\ndecimal = "."')
    >>> settings_of(both, "discs").decimal, settings_of(both, "stock").decimal
    ('.', ',')
    >>> settings_of(both, "stock", "stock_recorded.csv").decimal
    '.'
    """
    if Path(file).stem == f"{table}{RECORDED}":
        return replace(
            Settings(),
            log_begins=settings.log_begins,
            export_date=settings.export_date,
            renamed=settings.renamed,
            programmes=settings.programmes,
        )
    own = settings.formats.get(table, Format())
    named = {part.name: getattr(own, part.name) for part in fields(own)}
    return replace(settings, **{name: value for name, value in named.items() if value is not None})


_ADAPTER = TypeAdapter(Settings)


def read_settings(folder: Path) -> Settings:
    """Read `logs.toml` of a log folder; the defaults when there is none.

    Raises
    ------
    InputError
        As `parse_settings`, or when the file is not UTF-8 text of a sane size.
    """
    path = folder / FILE_NAME
    if not path.is_file():
        return Settings()
    if path.stat().st_size > _LARGEST:
        raise InputError(f"{FILE_NAME} must be smaller than {_LARGEST} bytes")
    try:
        return parse_settings(path.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError:
        raise InputError(f"{FILE_NAME} must be UTF-8 text; save it as UTF-8") from None


def parse_settings(text: str) -> Settings:
    """Read the text of a `logs.toml`.

    Raises
    ------
    InputError
        If it is no TOML, or names something that does not exist; every problem in one line.

    Examples
    --------
    >>> parse_settings('date_format = "%d/%m/%Y"').date_format
    '%d/%m/%Y'
    """
    try:
        settings = _ADAPTER.validate_python(tomllib.loads(text))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError(f"{FILE_NAME} is no valid TOML: {error}") from None
    except ValidationError as error:
        problems = [_problem(item["loc"], item["type"], item["msg"]) for item in error.errors()]
        raise InputError(f"{FILE_NAME}: {'; '.join(problems)}") from None
    problems = [*_unknown_names(settings), *_contradictions(settings)]
    for table in settings.formats:
        problems += [f"{table}: {text}" for text in _contradictions(settings_of(settings, table))]
    if problems:
        raise InputError(f"{FILE_NAME}: {'; '.join(problems)}")
    return settings


def _problem(place: tuple[int | str, ...], kind: str, words: str) -> str:
    """Say what is wrong with one key, and what it may have been meant for."""
    name = ".".join(map(str, place))
    if kind == "unexpected_keyword_argument":
        near = get_close_matches(name, list(Settings.__dataclass_fields__), n=1)
        return f"unknown key {name}{f'; did you mean {near[0]}?' if near else ''}"
    if kind.startswith("date"):
        return f"{name} must be a date such as 2025-12-31, without quotes; {words}"
    return f"{name}: {words}"


def _unknown_names(settings: Settings) -> list[str]:
    """Name every table, column or file that a mapping points at in vain."""
    problems = []
    for section in ("columns", "units", "words", "sources", "formats"):
        mapping = getattr(settings, section)
        problems += [f"{section}.{name} is no table" for name in mapping if name not in TABLES]
    pointed = [
        *((name, target) for name, map_ in settings.columns.items() for target in map_.values()),
        *((name, target) for name, map_ in settings.units.items() for target in map_),
        *((name, target) for name, map_ in settings.words.items() for target in map_),
    ]
    for name, target in pointed:
        known = {column.name for column in TABLES[name].columns} if name in TABLES else {target}
        if target.removesuffix("_unit") not in known:
            problems.append(f"table {name} has no column {target}")
    files = [file for names in settings.sources.values() for file in names]
    problems += [
        f"{file!r} must be a file name in the log folder" for file in files if _is_path(file)
    ]
    return problems


def _is_path(name: str) -> bool:
    return re.search(r"[/\\:\0]", name) is not None or name.startswith(".") or not name


def _contradictions(settings: Settings) -> list[str]:
    problems = []
    if settings.thousands == settings.decimal:
        problems.append("decimal and thousands must be different marks")
    begins, ends = settings.log_begins, settings.export_date
    if begins and ends and begins > ends:
        problems.append(f"log_begins {begins} must not be after export_date {ends}")
    if settings.date_format is not None:
        parts = re.findall(r"%.?", settings.date_format)
        year = [part for part in parts if part in ("%Y", "%y")]
        month = [part for part in parts if part in ("%m", "%b")]
        if (
            set(parts) - _PARTS
            or len(set(parts)) < len(parts)
            or not (year and month and "%d" in parts)
        ):
            problems.append(
                f"date_format must hold %d, %m or %b, and %Y or %y, each once, with no other part "
                f"than %H %M %S; got {settings.date_format!r}"
            )
    if settings.time_zone is not None and not _is_zone(settings.time_zone):
        problems.append(
            f"time_zone must be a name such as Europe/Berlin, got {settings.time_zone!r}"
        )
    return problems


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True
