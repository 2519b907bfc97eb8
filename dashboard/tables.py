"""How a table is shown or taken away: its columns, their headings and their units."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum

import pandas as pd

from analytics.findings import Findings
from analytics.units import Dimension, convert_to
from dashboard.reading import Units

__all__ = [
    "LIMITS",
    "VERBATIM",
    "Column",
    "Kind",
    "TableView",
    "columns",
    "converted",
    "heading",
    "limits_of",
    "shown",
]

LIMITS = ("from", "to")
"""Names of the columns that hold the limits of the estimate before them."""


class Kind(Enum):
    """How a column is shown."""

    TEXT = "text, as it stands"
    CODE_WORD = "code word, its underscores read as spaces"
    DAY = "day"
    YES_NO = "yes or no"
    COUNT = "count"
    NUMBER = "number"
    PERCENT = "percent"
    SHARE = "share, shown in percent"
    MONEY = "money"
    BAR = "difference of pressure"
    BARG = "gauge pressure"
    YEARS = "age in years"
    MONTHS = "age in months"
    PER_YEAR = "per year"
    POSITION = "position, opens its page"
    CASE = "life, opens its case sheet"


VERBATIM = frozenset({"raw", "value", "required"})
"""Columns that quote a log file, in whatever unit it is written."""

WORDS = frozenset({Kind.TEXT, Kind.CODE_WORD, Kind.DAY, Kind.YES_NO, Kind.POSITION, Kind.CASE})
"""Kinds that stand to the left; the others are numbers and stand to the right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: where it stands in the frame, what it is called, how it is shown."""

    key: str
    name: str
    kind: Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class TableView:
    """One table of the pages, the exports and the report.

    Attributes
    ----------
    key : str
        Name in addresses and of the exported file.
    title : str
        What the rows are.
    rows : callable
        Picks the frame out of the findings.
    columns : tuple of Column
        In reading order; a column the frame lacks is left out.
    """

    key: str
    title: str
    rows: Callable[[Findings], pd.DataFrame]
    columns: tuple[Column, ...]

    def present(self, frame: pd.DataFrame) -> list[Column]:
        """List the columns that the frame has."""
        return [column for column in self.columns if column.key in frame]


def heading(column: Column, units: Units, currency: str) -> str:
    """Give a column's heading with its unit in square brackets.

    Examples
    --------
    >>> heading(Column(key="age_years", name="Age", kind=Kind.YEARS), Units(), "EUR")
    'Age [months]'
    """
    unit = {
        Kind.PERCENT: "%",
        Kind.SHARE: "%",
        Kind.MONEY: currency,
        Kind.BAR: units.pressure.value,
        Kind.BARG: f"{units.pressure.value}g",
        Kind.YEARS: units.age.value,
        Kind.MONTHS: units.age.value,
        Kind.PER_YEAR: "1/year",
    }.get(column.kind)
    return f"{column.name} [{unit}]" if unit else column.name


def converted(view: TableView, frame: pd.DataFrame, units: Units) -> pd.DataFrame:
    """Turn a frame into the reader's units, columns still under their keys.

    Numbers stay numbers and days stay days; only the unit changes.
    """
    return pd.DataFrame(
        {
            column.key: converted_column(frame[column.key], column, units)
            for column in view.present(frame)
        }
    )


def shown(view: TableView, frame: pd.DataFrame, units: Units, currency: str) -> pd.DataFrame:
    """Turn a frame into what is read: the reader's units under full headings."""
    return converted(view, frame, units).set_axis(
        _full_headings(view.present(frame), units, currency), axis="columns"
    )


def limits_of(view: TableView) -> dict[str, tuple[str, str]]:
    """Give the keys of the lower and upper limit that follow an estimate's column."""
    triples = zip(view.columns, view.columns[1:], view.columns[2:], strict=False)
    return {
        estimate.key: (low.key, high.key)
        for estimate, low, high in triples
        if (low.name, high.name) == LIMITS
    }


def _full_headings(columns: list[Column], units: Units, currency: str) -> list[str]:
    """Name limits after the estimate before them, so that every heading is its own."""
    names, estimate = [], ""
    for column in columns:
        if column.name in LIMITS:
            column = replace(column, name=f"{estimate}, {column.name}")
        else:
            estimate = column.name
        names.append(heading(column, units, currency))
    return names


def converted_column(values: pd.Series, column: Column, units: Units) -> pd.Series:
    """Turn one column into the reader's unit."""
    kind = column.kind
    if kind is Kind.SHARE:
        return 100 * pd.to_numeric(values)
    if kind is Kind.BAR:
        return units.per_bar * pd.to_numeric(values)
    if kind is Kind.BARG:
        word = f"{units.pressure.value}g"
        gauge = convert_to(pd.to_numeric(values).to_numpy(), word, Dimension.GAUGE_PRESSURE)
        return pd.Series(gauge, index=values.index)
    if kind is Kind.YEARS:
        return units.per_year * pd.to_numeric(values)
    if kind is Kind.MONTHS:
        return units.per_month * pd.to_numeric(values)
    if kind is Kind.CODE_WORD:
        return values.map(_spaced, na_action="ignore")
    if kind is Kind.TEXT and column.key not in VERBATIM and units != Units():
        return values.map(lambda text: units.said(text) if isinstance(text, str) else text)
    if kind is Kind.YES_NO:
        return values.map({True: "yes", False: "no"}).astype(object).where(values.notna(), "")
    return values


def _spaced(word: object) -> str:
    return str(word).replace("_", " ")


def columns(*declared: tuple[str, str, Kind]) -> tuple[Column, ...]:
    """Declare columns as (key in the frame, name, kind)."""
    return tuple(Column(key=key, name=name, kind=kind) for key, name, kind in declared)
