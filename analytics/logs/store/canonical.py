"""One text per value: how a row is kept, and how it is known again.

A row is kept as canonical texts (ISO dates, our unit, our code words), so that
the same row from another file, encoding or date format is the same record.
"""

import hashlib
import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.logs.checking import CheckedTable
from analytics.logs.refusals import Reason
from analytics.logs.tables import Column, Kind

__all__ = ["Row", "canonical_text", "content_of", "rows_of"]

FOUND_ANEW = frozenset(
    {
        Reason.BLANK,
        Reason.TOO_SMALL,
        Reason.TOO_LARGE,
        Reason.AFTER_EXPORT,
        Reason.WRONG_ORDER,
        Reason.DUPLICATE_ROW,
        Reason.DUPLICATE_KEY,
        Reason.ONE_ORDER_SEVERAL_POSITIONS,
        Reason.UNKNOWN_POSITION,
        Reason.UNKNOWN_DISC_CODE,
    }
)
"""Reasons that every loading finds again; all others lie in the text itself and are kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row as it goes into the store.

    Attributes
    ----------
    table : str
        Its table.
    content : str
        Hash of what it says; the same row twice in one import counts as two.
    cells : str
        JSON of column name to canonical text, blanks left out.
    refused : str
        JSON list of `{column, value, reason, required, mend}`.
    file, line : str, int
        Where it stood.
    raw : str
        JSON of its text as it stood; JSON, since a database text cannot hold every character.
    """

    table: str
    content: str
    cells: str
    refused: str
    file: str
    line: int
    raw: str


def rows_of(checked: CheckedTable) -> Iterator[Row]:
    """Give every row of a checked table, good or bad, as it is kept."""
    name = checked.table.name
    seen: Counter[str] = Counter()
    refused = _refusals(checked)
    texts = {
        column.name: _canonical(checked.frame[column.internal_name], column)
        for column in checked.table.columns
    }
    columns = list(texts)
    position = 0
    for raw in checked.raws:
        for row in range(len(raw.lines)):
            values = (texts[column][position] for column in columns)
            cells = {column: value for column, value in zip(columns, values, strict=True) if value}
            bad = refused.get(position, [])
            yield _row(name, cells, bad, raw.file, int(raw.lines[row]), raw.raw(row), seen)
            position += 1
        for broken in raw.broken:
            bad = [
                {
                    "column": "",
                    "value": broken.raw,
                    "reason": Reason.BROKEN_ROW.value,
                    "required": broken.required,
                    "mend": "mend the delimiters and quotes of this line",
                }
            ]
            yield _row(name, {}, bad, raw.file, broken.line, broken.raw, seen)


def _row(
    table: str,
    cells: dict[str, str],
    refused: list[dict[str, str]],
    file: str,
    line: int,
    raw: str,
    seen: Counter[str],
) -> Row:
    once = content_of(table, cells, refused, 0)
    seen[once] += 1
    content = once if seen[once] == 1 else content_of(table, cells, refused, seen[once] - 1)
    return Row(
        table=table,
        content=content,
        cells=_json(cells),
        refused=_json(refused),
        file=file,
        line=line,
        raw=_json(raw),
    )


def content_of(
    table: str, cells: dict[str, str], refused: Sequence[dict[str, str]], occurrence: int
) -> str:
    """Hash what a row says: its cells, the texts that were refused, which of its twins it is."""
    bad = sorted((item["column"], item["value"]) for item in refused)
    said = _json([table, occurrence, sorted(cells.items()), bad])
    return hashlib.sha256(said.encode("utf-8", "surrogatepass")).hexdigest()


def canonical_text(value: object) -> str:
    """Write one typed value as its canonical text.

    Examples
    --------
    >>> canonical_text(7.2), canonical_text(True), canonical_text(None)
    ('7.2', 'yes', '')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return repr(value) if isinstance(value, float) else str(value)


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _refusals(checked: CheckedTable) -> dict[int, list[dict[str, str]]]:
    """What could not be read, by row position; texts as they stood."""
    found: dict[int, list[dict[str, str]]] = {}
    for finding in checked.findings:
        refusal = finding.refusal
        if refusal.reason in FOUND_ANEW:
            continue
        for position, value in zip(
            finding.rows.tolist(), checked.texts(finding.column, finding.rows), strict=True
        ):
            found.setdefault(position, []).append(
                {
                    "column": finding.column,
                    "value": value.strip(),
                    "reason": refusal.reason.value,
                    "required": refusal.required,
                    "mend": refusal.mend,
                }
            )
    return found


def _canonical(values: pd.Series, column: Column) -> list[str]:
    """Write a typed column as texts that read back to the bit; blank is the empty text."""
    if column.kind is Kind.DATE:
        return list(values.dt.strftime("%Y-%m-%d").fillna(""))
    if column.kind is Kind.NUMBER:
        numbers = values.to_numpy(dtype=float)
        blank = np.isnan(numbers)
        return [
            "" if gone else repr(value) for value, gone in zip(numbers.tolist(), blank, strict=True)
        ]
    if column.kind is Kind.YES_NO:
        return list(values.astype(object).map({True: "yes", False: "no"}).fillna(""))
    return ["" if value is None or value is pd.NA else str(value) for value in values]
