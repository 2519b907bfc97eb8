"""Which column of a file is which, and in what unit?"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analytics.errors import UnitError
from analytics.logs.settings import Settings
from analytics.logs.tables import Column, Table
from analytics.units import convert_from, unit_words

__all__ = ["Header", "bare_name", "count_known", "match_header", "ours", "unit_in"]

_WITH_UNIT = re.compile(r"(.*?)\s*\[([^\[\]]*)\]", re.DOTALL)

_ANY_UNIT = re.compile(r"[\[(]([^\[\]()]*)[\])]\s*$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """The header of one file, understood.

    Attributes
    ----------
    places : dict of str to int
        Our column name to its place in the file.
    units : dict of str to str
        Our column name to the unit word of the whole column.
    unit_places : dict of str to int
        Our column name to the place of its row-by-row unit column.
    problems : tuple of str
        What makes the file unusable.
    unknown : tuple of str
        Columns that mean nothing to us.
    """

    places: dict[str, int]
    units: dict[str, str]
    unit_places: dict[str, int]
    problems: tuple[str, ...]
    unknown: tuple[str, ...]


def count_known(cells: Sequence[str], table: Table, settings: Settings) -> int:
    """Count the cells of a header that name a column of the table."""
    names = {ours(cell, table, settings)[0] for cell in cells}
    return sum(column.name in names for column in table.columns)


def match_header(cells: Sequence[str], table: Table, settings: Settings) -> Header:
    """Match a file's header with the declared columns.

    Parameters
    ----------
    cells : sequence of str
        The header as written; a unit stands in square brackets behind the name.
    table : Table
        The declaration.
    settings : Settings
        Mapped names and declared units.

    Returns
    -------
    Header
        With every problem at once; the caller decides when to stop.
    """
    places: dict[str, int] = {}
    written: dict[str, str] = {}
    unit_places: dict[str, int] = {}
    problems: list[str] = []
    unknown: list[str] = []
    declared = {column.name: column for column in table.columns}
    measured = {f"{name}_unit": name for name, column in declared.items() if column.dimension}
    for place, cell in enumerate(cells):
        name, unit = ours(cell, table, settings)
        target = places if name in declared else unit_places if name in measured else None
        if target is None:
            unknown += [cell.strip()] if cell.strip() else []
            continue
        name = measured.get(name, name)
        if name in target:
            problems.append(f"column {name} occurs twice")
        target[name] = place
        if unit is not None and target is places:
            written[name] = unit
    missing = [
        column.name for column in table.columns if column.required and column.name not in places
    ]
    if missing:
        problems.insert(0, f"required columns missing: {', '.join(missing)}")
    units = _units(written, settings.units.get(table.name, {}), declared)
    problems += [_unit_problem(declared[name], unit) for name, unit in units.items()]
    return Header(
        places=places,
        units=units,
        unit_places=unit_places,
        problems=tuple(problem for problem in problems if problem),
        unknown=tuple(unknown),
    )


def _units(
    written: dict[str, str], stated: Mapping[str, str], declared: dict[str, Column]
) -> dict[str, str]:
    """Take a header's unit where it is one of ours, else the one `logs.toml` states."""
    units = {name: unit for name, unit in written.items() if declared[name].dimension}
    for name, unit in stated.items():
        if name in units and not _unit_problem(declared[name], units[name]):
            continue
        units[name] = unit
    return {name: unit for name, unit in units.items() if declared[name].dimension}


def ours(cell: str, table: Table, settings: Settings) -> tuple[str, str | None]:
    """Give our name for a header cell, and the unit it carries."""
    cell = cell.strip()
    match = _WITH_UNIT.fullmatch(cell)
    bare, unit = (match[1].strip(), match[2].strip()) if match else (cell, None)
    mapped = settings.columns.get(table.name, {})
    if cell in mapped:
        return mapped[cell], unit
    if bare in mapped:
        return mapped[bare], unit
    return bare.casefold(), unit


def bare_name(cell: str) -> str:
    """Strip a header cell of its unit, in square or round brackets.

    Examples
    --------
    >>> bare_name("Peak pressure (bar g)")
    'Peak pressure'
    """
    return _ANY_UNIT.sub("", cell).strip()


def unit_in(cell: str) -> str | None:
    """Give what stands in a header's brackets, square or round, without spaces.

    Examples
    --------
    >>> unit_in("Peak pressure (bar g)"), unit_in("Peak pressure")
    ('barg', None)
    """
    match = _ANY_UNIT.search(cell)
    return re.sub(r"\s", "", match[1]) if match else None


def _unit_problem(column: Column, unit: str) -> str:
    assert column.dimension is not None
    try:
        convert_from(0.0, unit, column.dimension)
    except UnitError as error:
        hint = ""
        if f"{unit}g" in unit_words(column.dimension):
            hint = f" (say gauge or absolute: {unit}g or {unit}a)"
        return f"column {column.name}: {error}{hint}"
    return ""
