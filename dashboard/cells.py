"""How one value of a table reads: the same on a page, among facts and in the report."""

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from dashboard.tables import Column, Kind
from dashboard.words import day, money, number

__all__ = ["cell_text"]

_ENDLESS = "run to failure"


def cell_text(column: Column, row: Mapping[str, Any], limits: tuple[str, str] | None = None) -> str:
    """Give a value as text, its limits behind it where they are known.

    Parameters
    ----------
    column : Column
        What is shown.
    row : mapping of str to any
        One row in the reader's units, by column key.
    limits : (str, str), optional
        Keys of the lower and the upper limit.

    Examples
    --------
    >>> age = Column(key="age", name="Age", kind=Kind.MONTHS)
    >>> cell_text(age, {"age": 24.2, "low": 18.1, "high": 30.0}, ("low", "high"))
    '24 [18 to 30]'
    >>> cell_text(age, {"age": math.inf}), cell_text(age, {"age": None})
    ('run to failure', '')
    """
    value = row[column.key]
    said = _said(column.kind, value)
    ends = [row.get(key) for key in limits or ()]
    if not said or not ends or said == _ENDLESS or any(end is None or pd.isna(end) for end in ends):
        return said
    if column.kind is Kind.MONEY:
        said, *ends = (money(float(each), "") for each in (value, *ends))
        return f"{said} [{ends[0]} to {ends[1]}]"
    low, high = (_said(column.kind, end) for end in ends)
    return f"{said} [{low} to {high}]"


def _said(kind: Kind, value: Any) -> str:
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return ""
    if isinstance(value, pd.Timestamp) or kind is Kind.DAY:
        return day(value)
    if kind is Kind.TEXT or isinstance(value, str):
        return str(value)
    if kind is Kind.MONEY:
        return f"{value:,.0f}"
    if kind is Kind.MONTHS and math.isinf(value):
        return _ENDLESS
    return number(float(value))
