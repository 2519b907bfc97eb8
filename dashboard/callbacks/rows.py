"""The slice of a long table that is on the screen: filtered, sorted, cut."""

from typing import Any

import pandas as pd

from dashboard.bodies import text_of
from dashboard.components.tables import records
from dashboard.tables import Column, TableView, converted, converted_column
from dashboard.view import View

__all__ = ["slice_of"]

_MOST_ROWS = 500
_COMPARE = {
    "equals": lambda values, limit: values == limit,
    "notEqual": lambda values, limit: values != limit,
    "lessThan": lambda values, limit: values < limit,
    "lessThanOrEqual": lambda values, limit: values <= limit,
    "greaterThan": lambda values, limit: values > limit,
    "greaterThanOrEqual": lambda values, limit: values >= limit,
}
_MATCH = {
    "contains": lambda texts, word: texts.str.contains(word, regex=False),
    "notContains": lambda texts, word: ~texts.str.contains(word, regex=False),
    "equals": lambda texts, word: texts == word,
    "notEqual": lambda texts, word: texts != word,
    "startsWith": lambda texts, word: texts.str.startswith(word),
    "endsWith": lambda texts, word: texts.str.endswith(word),
}


def slice_of(table: TableView, view: View, request: dict[str, Any]) -> dict[str, Any]:
    """Answer a grid's request for rows.

    Parameters
    ----------
    table : TableView
        The table asked for.
    view : View
        The reader's look at the findings.
    request : dict
        `startRow`, `endRow`, `sortModel` and `filterModel` as the grid sends them;
        what it does not understand it leaves out.

    Returns
    -------
    dict
        `rowData` (at most 500 rows) and `rowCount` (rows after filtering).
    """
    rows = table.rows(view.findings)
    columns = {column.key: column for column in table.present(rows)}
    for key, rule in _dictionary(request.get("filterModel")).items():
        if key in columns:
            values = converted_column(rows[key], columns[key], view.units)
            rows = rows[_kept(values, _dictionary(rule))]
    # Every unit keeps the order, so the logged values are sorted and only the slice converted.
    rows = _sorted(rows, columns, request.get("sortModel"))
    start = _whole(request.get("startRow"))
    end = min(max(_whole(request.get("endRow")), start), start + _MOST_ROWS)
    shown = converted(table, rows.iloc[start:end], view.units)
    return {"rowData": records(shown), "rowCount": len(rows)}


def _sorted(rows: pd.DataFrame, columns: dict[str, Column], model: Any) -> pd.DataFrame:
    order = [
        (rule["colId"], rule.get("sort") != "desc")
        for rule in (model if isinstance(model, list) else [])
        if isinstance(rule, dict) and text_of(rule.get("colId")) in columns
    ]
    if not order:
        return rows
    keys, ascending = zip(*order, strict=True)
    return rows.sort_values(list(keys), ascending=list(ascending), kind="stable")


def _kept(values: pd.Series, rule: dict[str, Any]) -> pd.Series:
    """Tell which rows a column's filter keeps; a rule it cannot read keeps all."""
    kind, limit = rule.get("type"), rule.get("filter")
    every = pd.Series(True, index=values.index)
    blank = values.isna() | (values.astype(object) == "")
    if kind in ("blank", "notBlank"):
        return blank if kind == "blank" else ~blank
    if rule.get("filterType") == "number":
        numbers = pd.to_numeric(values, errors="coerce")
        if kind == "inRange":
            high = rule.get("filterTo")
            return numbers.between(limit, high) if _is_number(limit) and _is_number(high) else every
        return _COMPARE[kind](numbers, limit) if kind in _COMPARE and _is_number(limit) else every
    if kind not in _MATCH or not isinstance(limit, str):
        return every
    return _MATCH[kind](_texts(values), limit.lower())


def _texts(values: pd.Series) -> pd.Series:
    if pd.api.types.is_datetime64_any_dtype(values):
        values = values.dt.strftime("%Y-%m-%d")
    return values.fillna("").astype(str).str.lower()


def _dictionary(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _whole(value: Any) -> int:
    return max(0, int(value)) if _is_number(value) else 0
