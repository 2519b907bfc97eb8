"""What a record asks for: the fields of the log table, in the order of the work."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import Enum
from typing import Any

from analytics.logs.exporting import header_of
from analytics.logs.refusals import Refusal
from analytics.logs.settings import Settings
from analytics.logs.tables import CHECKS, TABLES, Column
from analytics.logs.values import value_parser

__all__ = ["GAPS", "STEPS", "Form", "Problem", "gap_spreads", "problems_of", "row_of"]

STEPS = "25/50/75/100"
"""Torque steps offered when none are given. Common practice, no source."""
GAPS = tuple(f"gap_{step}_{point}" for step in range(1, 5) for point in range(1, 5))
"""Gap readings [mm]: four points after each of four steps."""


class Form(Enum):
    """What may be recorded; the value is the log table it ends in."""

    INSTALL = "installs"
    REMOVAL = "removals"


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Why a record cannot be signed yet: the field, and what would mend it."""

    field: str
    mend: str


def row_of(form: Form, entries: Mapping[str, Any]) -> dict[str, str]:
    """Turn entries into the row of the log table, as text under the file's headers.

    Parameters
    ----------
    form : Form
        Install or removal.
    entries : mapping
        Entry by column name; numbers in the internal unit.

    Returns
    -------
    dict of str to str
        One text per column of the table, blank where nothing was entered. The gap's
        spread is that of the last step with readings.
    """
    filled = dict(entries)
    if form is Form.INSTALL:
        spreads = [spread for spread in gap_spreads(entries) if spread is not None]
        filled["gap_spread"] = f"{spreads[-1]:.4g}" if spreads else ""
    return {header_of(column): _text(filled.get(column.name)) for column in _columns(form)}


def problems_of(form: Form, entries: Mapping[str, Any]) -> list[Problem]:
    """List what keeps a record from being signed: unreadable entries, open checks, no name."""
    row = row_of(form, entries)
    problems = [
        Problem(field=column.name, mend=f"{column.about}: {mend}")
        for column in _columns(form)
        if (mend := _mend(column, row[header_of(column)]))
    ]
    if form is Form.INSTALL:
        problems += [
            Problem(field=check, mend=f"answer yes or no: {_about(check)}")
            for check in CHECKS
            if _text(entries.get(check)) not in ("yes", "no")
        ]
    if not _text(entries.get("signed_by")):
        problems.append(Problem(field="signed_by", mend="say who signs"))
    return problems


def gap_spreads(entries: Mapping[str, Any]) -> list[float | None]:
    """Give the largest less the smallest gap after each step; None until all four are read.

    Examples
    --------
    >>> gap_spreads({"gap_1_1": 1.2, "gap_1_2": 1.3, "gap_1_3": 1.2, "gap_1_4": 1.25})[0]
    0.1
    """
    spreads: list[float | None] = []
    for step in range(1, 5):
        read = [entries.get(f"gap_{step}_{point}") for point in range(1, 5)]
        known = [float(gap) for gap in read if isinstance(gap, int | float)]
        spreads.append(round(max(known) - min(known), 6) if len(known) == 4 else None)
    return spreads


def _mend(column: Column, text: str) -> str:
    """Say what would mend an entry; blank when it can be read and lies in its limits."""
    if column.past and text > f"{date.today()}":  # ISO days stand in the order of their texts
        return f"a day up to today, got {text}"
    value = value_parser(column, Settings(), {})(text)
    if isinstance(value, Refusal):
        return value.mend
    if not isinstance(value, int | float) or isinstance(value, bool):
        return ""
    if column.minimum is not None and value < column.minimum:
        return f"at least {column.minimum:g}, got {text}"
    if column.maximum is not None and value > column.maximum:
        return f"at most {column.maximum:g}, got {text}"
    return ""


def _columns(form: Form) -> tuple[Column, ...]:
    return TABLES[form.value].columns


def _about(check: str) -> str:
    return TABLES["installs"].column(check).about


def _text(value: Any) -> str:
    if isinstance(value, bool) or value is None:
        return ""
    if isinstance(value, int | float):
        return f"{value:.10g}"
    return value.strip() if isinstance(value, str) else ""
