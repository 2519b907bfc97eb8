"""What a reader looks at: the filters, kept in the address so that a link carries them."""

from dataclasses import dataclass, field
from enum import Enum
from typing import TypeVar
from urllib.parse import parse_qsl, urlencode

from dashboard.reading import AgeUnit, PressureUnit, Units

__all__ = ["CHOICES", "YEARS", "Selection", "from_search", "to_search"]

CHOICES = {
    "site": "Site",
    "family": "Disc family",
    "service": "Service",
    "crew": "Crew",
    "ending": "Ending",
}
"""The filters that take several words, by column of the lives, with their labels."""

_LONGEST_SEARCH = 8_000
YEARS = range(1900, 2200)
"""Years that a filter may name."""

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


def _year(text: str | None) -> int | None:
    if text is None or not (text.isascii() and text.isdigit() and len(text) == 4):
        return None
    return int(text) if int(text) in YEARS else None


def _unit(choices: type[_Unit], text: str | None, default: _Unit) -> _Unit:
    return next((unit for unit in choices if unit.value == text), default)
