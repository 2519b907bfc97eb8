"""What a reader looks at: the filters, kept in the address so that a link carries them."""

from dataclasses import dataclass, field, replace
from enum import Enum
from typing import TypeVar
from urllib.parse import parse_qsl, urlencode

import pandas as pd

from analytics.findings import Findings
from dashboard.reading import AgeUnit, PressureUnit, Units

__all__ = ["CHOICES", "Selection", "from_search", "narrow", "to_search"]

CHOICES = {
    "site": "Site",
    "family": "Disc family",
    "service": "Service",
    "crew": "Crew",
    "ending": "Ending",
}
"""The filters that take several words, by column of the lives, with their labels."""

_PLACE = ("site", "family", "service")
_LONGEST_SEARCH = 8_000
_YEARS = range(1900, 2200)
_Unit = TypeVar("_Unit", bound=Enum)


@dataclass(frozen=True, slots=True, kw_only=True)
class Selection:
    """The filters and units in force.

    Attributes
    ----------
    words : dict of str to tuple of str
        Chosen words per filter of `CHOICES`; a filter without words lets all through.
    first_year, last_year : int or None
        Years in which a life ended, inclusive.
    units : Units
        The reader's units.
    """

    words: dict[str, tuple[str, ...]] = field(default_factory=dict)
    first_year: int | None = None
    last_year: int | None = None
    units: Units = field(default_factory=Units)

    @property
    def is_whole(self) -> bool:
        """Whether nothing is filtered out."""
        return not any(self.words.values()) and self.first_year is None and self.last_year is None


def from_search(search: str | None) -> Selection:
    """Read the query part of an address; what it does not know, it leaves out.

    Examples
    --------
    >>> from_search("?site=North&site=South&from=2020").words["site"]
    ('North', 'South')
    """
    pairs = parse_qsl((search or "").lstrip("?")[:_LONGEST_SEARCH])
    words: dict[str, tuple[str, ...]] = {}
    for key, word in pairs:
        if key in CHOICES:
            words[key] = (*words.get(key, ()), word)
    single = dict(pairs)
    return Selection(
        words=words,
        first_year=_year(single.get("from")),
        last_year=_year(single.get("to")),
        units=Units(
            pressure=_unit(PressureUnit, single.get("pressure"), PressureUnit.BAR),
            age=_unit(AgeUnit, single.get("age"), AgeUnit.MONTHS),
        ),
    )


def to_search(selection: Selection) -> str:
    """Write the query part of an address; nothing chosen gives an empty text.

    Examples
    --------
    >>> to_search(Selection(words={"site": ("North", "South")}, last_year=2024))
    '?site=North&site=South&to=2024'
    """
    pairs = [(key, word) for key in CHOICES for word in selection.words.get(key, ())]
    if selection.first_year is not None:
        pairs.append(("from", str(selection.first_year)))
    if selection.last_year is not None:
        pairs.append(("to", str(selection.last_year)))
    if selection.units.pressure is not PressureUnit.BAR:
        pairs.append(("pressure", selection.units.pressure.value))
    if selection.units.age is not AgeUnit.MONTHS:
        pairs.append(("age", selection.units.age.value))
    return f"?{urlencode(pairs)}" if pairs else ""


def narrow(findings: Findings, selection: Selection) -> Findings:
    """Keep the rows that the selection asks for, in every frame where it makes sense.

    Model parameters, crews' and lots' ratios and the defects' effects stay those of
    the whole fleet: narrowing a table is no new fit.
    """
    if selection.is_whole:
        return findings
    lives = _narrow_lives(findings.lives, selection)
    places = _places(findings.lives, selection)
    return replace(
        findings,
        lives=lives,
        endings=lives["ending"].value_counts().to_dict(),
        installation=findings.installation
        and replace(
            findings.installation,
            failures=_among(findings.installation.failures, "life_id", lives["life_id"]),
        ),
        crews=_chosen(findings.crews, "crew", selection),
        duty=_among(findings.duty, "position_id", places["position_id"]),
        intervals=_among(findings.intervals, "position_id", places["position_id"]),
        spares=_among_pairs(findings.spares, places),
        demand_weekly=_among_pairs(findings.demand_weekly, places),
        dangerous=_among(findings.dangerous, "position_id", places["position_id"]),
        trend=_within_years(_chosen_sites(findings.trend, selection), selection),
        costs=_within_years(findings.costs, selection),
        data_quality=_within_years(findings.data_quality, selection),
    )


def _year(text: str | None) -> int | None:
    if text is None or not (text.isascii() and text.isdigit() and len(text) == 4):
        return None
    return int(text) if int(text) in _YEARS else None


def _unit(choices: type[_Unit], text: str | None, default: _Unit) -> _Unit:
    return next((unit for unit in choices if unit.value == text), default)


def _narrow_lives(lives: pd.DataFrame, selection: Selection) -> pd.DataFrame:
    for column in CHOICES:
        lives = _chosen(lives, column, selection)
    ended = lives["ended_on"].dt.year
    first = selection.first_year or _YEARS.start
    last = selection.last_year or _YEARS.stop
    return lives[ended.between(first, last)]


def _places(lives: pd.DataFrame, selection: Selection) -> pd.DataFrame:
    for column in _PLACE:
        lives = _chosen(lives, column, selection)
    return lives[["position_id", "store", "disc_code"]].drop_duplicates()


def _chosen(frame: pd.DataFrame, column: str, selection: Selection) -> pd.DataFrame:
    words = selection.words.get(column)
    return _among(frame, column, words) if words else frame


def _among(frame: pd.DataFrame, column: str, kept: object) -> pd.DataFrame:
    return frame[frame[column].isin(kept)] if column in frame else frame


def _among_pairs(frame: pd.DataFrame, places: pd.DataFrame) -> pd.DataFrame:
    pairs = places[["store", "disc_code"]].drop_duplicates()
    return frame.merge(pairs, on=["store", "disc_code"]) if len(frame) else frame


def _chosen_sites(trend: pd.DataFrame, selection: Selection) -> pd.DataFrame:
    sites = selection.words.get("site")
    return trend[trend["site"].isin(sites)] if sites else trend


def _within_years(frame: pd.DataFrame, selection: Selection) -> pd.DataFrame:
    if "year" not in frame:
        return frame
    first = selection.first_year or _YEARS.start
    last = selection.last_year or _YEARS.stop
    return frame[frame["year"].between(first, last)]
