"""From columns of text to columns of values, and what is wrong with which cell."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from analytics.errors import UnitError
from analytics.logs.headers import Header
from analytics.logs.records import RawTable
from analytics.logs.refusals import Finding, Reason, Refusal
from analytics.logs.settings import Settings
from analytics.logs.tables import Column, Kind, Table
from analytics.logs.values import value_parser
from analytics.units import convert_from, unit_words

__all__ = ["empty_frame", "findings_where", "type_file"]

_BATCH = 50_000
_DTYPES = {
    Kind.TEXT: "object",
    Kind.CODE: "object",
    Kind.STEPS: "object",
    Kind.CURVE: "object",
    Kind.YES_NO: "boolean",
    Kind.DATE: "datetime64[ns]",
    Kind.TIME: "datetime64[ns, UTC]",
    Kind.NUMBER: "float64",
    Kind.COUNT: "Int64",
}


def empty_frame(table: Table) -> pd.DataFrame:
    """Give a frame without rows but with every column of a checked table."""
    frame = pd.DataFrame(
        {column.internal_name: _typed([], column.kind) for column in table.columns}
    )
    frame["source_file"] = pd.Series([], dtype="object")
    frame["source_line"] = pd.Series([], dtype="int64")
    return frame


def type_file(
    table: Table, raw: RawTable, header: Header, settings: Settings, last_day: date
) -> tuple[pd.DataFrame, list[Finding]]:
    """Type every declared column of one file.

    Parameters
    ----------
    table, raw, header : Table, RawTable, Header
        The declaration, the cell texts and which column is which.
    settings : Settings
        How this plant writes.
    last_day : date
        Nothing can have happened after this day.

    Returns
    -------
    frame : DataFrame
        One row per row of `raw`, every declared column, then `source_file`, `source_line`.
    findings : list of Finding
        Rows are positions in `frame`; a refused cell is blank there.
    """
    columns: dict[str, object] = {}
    findings: list[Finding] = list(raw.given)
    words = settings.words.get(table.name, {})
    for column in table.columns:
        place = header.places.get(column.name)
        if place is None:
            nothing = _typed([None], column.kind).take(np.zeros(len(raw.lines), dtype=np.int64))
            columns[column.internal_name] = nothing.reset_index(drop=True)
            continue
        read = value_parser(column, settings, words.get(column.name, {}))
        known = [item.rows for item in raw.given if item.column == column.name]
        texts = _blanked(raw.columns[place], known)
        values, found = _convert(texts, column, read)
        found = [_without(item, known) for item in found]
        if column.dimension is not None:
            values, more = _in_internal_unit(values, column, raw, header)
            found += more
        found += _outside(values, column, last_day)
        columns[column.internal_name] = values
        findings += found
    columns["source_file"] = np.full(len(raw.lines), raw.file, dtype=object)
    columns["source_line"] = raw.lines
    return pd.DataFrame(columns, copy=False), findings


def _blanked(texts: pa.ChunkedArray, known: Sequence[NDArray[np.int64]]) -> pa.ChunkedArray:
    """Blank the cells that were refused once: they are not read again by other rules."""
    if not known:
        return texts
    cells = texts.to_pylist()
    for row in np.concatenate(known):
        cells[row] = ""
    return pa.chunked_array([pa.array(cells, type=pa.string())])


def _without(finding: Finding, known: Sequence[NDArray[np.int64]]) -> Finding:
    """Take rows that were refused once out of a finding."""
    if not known:
        return finding
    return replace(finding, rows=np.setdiff1d(finding.rows, np.concatenate(known)))


def _convert(
    texts: pa.ChunkedArray, column: Column, read: Callable[[str], object]
) -> tuple[pd.Series, list[Finding]]:
    """Type a column by reading each distinct text once."""
    encoded = texts.combine_chunks().dictionary_encode()
    codes = np.asarray(encoded.indices)
    refused: dict[int, Refusal] = {}
    batches = [_typed([], column.kind)]
    # In batches, so that a million different texts never stand in memory as objects at once.
    for start in range(0, len(encoded.dictionary), _BATCH):
        parsed = [read(text) for text in encoded.dictionary[start : start + _BATCH].to_pylist()]
        for number, item in enumerate(parsed):
            if isinstance(item, Refusal):
                refused[start + number] = item
                parsed[number] = None
        batches.append(_typed(parsed, column.kind))
    values = pd.concat(batches, ignore_index=True) if len(batches) != 2 else batches[1]
    findings = []
    if refused:
        bad = np.flatnonzero(np.isin(codes, list(refused)))
        for refusal in dict.fromkeys(refused.values()):
            same = [number for number, item in refused.items() if item == refusal]
            rows = bad[np.isin(codes[bad], same)]
            findings.append(Finding(rows=rows, column=column.name, refusal=refusal))
    return values.take(codes).reset_index(drop=True), findings


def _typed(values: Sequence[object], kind: Kind) -> pd.Series:
    return pd.Series(list(values), dtype=_DTYPES[kind])


def _in_internal_unit(
    values: pd.Series, column: Column, raw: RawTable, header: Header
) -> tuple[pd.Series, list[Finding]]:
    """Convert a measured column by its header's unit, or row by row by its unit column."""
    assert column.dimension is not None
    numbers = np.array(values, dtype=float)
    place = header.unit_places.get(column.name)
    common = header.units.get(column.name)
    if place is None:
        if common is not None:
            numbers = convert_from(numbers, common, column.dimension)
        return pd.Series(numbers), []
    encoded = raw.columns[place].combine_chunks().dictionary_encode()
    codes = np.asarray(encoded.indices, dtype=np.int64)
    unknown = np.zeros(len(numbers), dtype=bool)
    for code, text in enumerate(encoded.dictionary.to_pylist()):
        rows = codes == code
        try:
            numbers[rows] = convert_from(
                numbers[rows], text.strip() or common or "", column.dimension
            )
        except UnitError:
            unknown |= rows & ~np.isnan(numbers)
            numbers[rows] = np.nan
    if not unknown.any():
        return pd.Series(numbers), []
    refusal = Refusal(
        reason=Reason.UNKNOWN_UNIT,
        required=f"a unit in {column.name}_unit: {' '.join(unit_words(column.dimension))}",
        mend="write the unit; a pressure must say gauge or absolute",
    )
    finding = Finding(rows=np.flatnonzero(unknown), column=column.name, refusal=refusal)
    return pd.Series(numbers), [finding]


def _outside(values: pd.Series, column: Column, last_day: date) -> list[Finding]:
    """Find values outside the declared limits and events after the last day."""
    if column.past:
        late = np.asarray(values, dtype="datetime64[ns]") > np.datetime64(last_day, "ns")
        return findings_where(
            late, column, Reason.AFTER_EXPORT, f"a day up to {last_day}",
            "mend the date, or declare the right export_date in logs.toml",
        )  # fmt: skip
    findings = []
    unit = column.dimension.value if column.dimension else ""
    if column.minimum is not None:
        required = f"at least {column.minimum:g} {unit}".strip()
        low = (values < column.minimum).fillna(False).to_numpy(dtype=bool)
        findings += findings_where(
            low, column, Reason.TOO_SMALL, required, f"mend {column.name} or its unit"
        )
    if column.maximum is not None:
        required = f"at most {column.maximum:g} {unit}".strip()
        high = (values > column.maximum).fillna(False).to_numpy(dtype=bool)
        findings += findings_where(
            high, column, Reason.TOO_LARGE, required, f"mend {column.name} or its unit"
        )
    return findings


def findings_where(
    mask: NDArray[np.bool_], column: Column, reason: Reason, required: str, mend: str
) -> list[Finding]:
    """Turn a mask into at most one finding."""
    if not mask.any():
        return []
    refusal = Refusal(reason=reason, required=required, mend=mend)
    return [Finding(rows=np.flatnonzero(mask), column=column.name, refusal=refusal)]
