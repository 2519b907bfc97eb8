"""Mend a row: a new version beside the old one, with a reason and a name."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, Row, insert, select

from analytics.errors import InputError
from analytics.logs.refusals import Refusal
from analytics.logs.settings import Settings
from analytics.logs.store.canonical import canonical_text, content_of
from analytics.logs.store.opening import Store, writing
from analytics.logs.store.schema import CORRECTIONS, RECORDS
from analytics.logs.tables import TABLES, Column, Table
from analytics.logs.values import value_parser

__all__ = ["correct", "withdraw"]


def correct(
    store: Store, record_id: int, changes: Mapping[str, str], *, reason: str, by: str
) -> int:
    """Give a record a new version.

    Parameters
    ----------
    store : Store
        Where the record is kept.
    record_id : int
        Its newest version, as `tracing.trace` names it.
    changes : mapping of str to str
        Column name to its new text: ISO dates, decimal points, our units and
        code words; blank takes the value away.
    reason, by : str
        Why, and who.

    Returns
    -------
    int
        The new version's record_id.

    Raises
    ------
    InputError
        If a value cannot be read, somebody corrected the record meanwhile, no
        reason or name is given, or the store cannot be written.
    """
    _named(reason, by)
    with writing(store) as connection:
        record = _current(connection, record_id)
        table = TABLES[record.table_name]
        texts = _read_changes(table, changes)
        cells = {**json.loads(record.cells), **texts}
        cells = {name: text for name, text in cells.items() if text}
        refused = [item for item in json.loads(record.refused) if item["column"] not in texts]
        if any(item["column"] == "" for item in refused):
            # A line that could not be split: its correction gives the whole row.
            refused = []
        if cells == json.loads(record.cells) and refused == json.loads(record.refused):
            raise InputError("a correction must change something")
        made = connection.execute(
            insert(RECORDS).values(
                table_name=table.name,
                content=_free_content(connection, table.name, cells, refused),
                cells=json.dumps(cells, ensure_ascii=False, separators=(",", ":")),
                refused=json.dumps(refused, ensure_ascii=False),
            )
        )
        assert made.inserted_primary_key is not None
        new_id = int(made.inserted_primary_key[0])
        _note(connection, record_id, new_id, reason, by)
    return new_id


def withdraw(store: Store, record_id: int, *, reason: str, by: str) -> None:
    """Take a record out of the analysis; it stays in the store.

    Raises
    ------
    InputError
        As `correct`.
    """
    _named(reason, by)
    with writing(store) as connection:
        _current(connection, record_id)
        _note(connection, record_id, None, reason, by)


def _named(reason: str, by: str) -> None:
    if not reason.strip() or not by.strip():
        raise InputError("a correction must say its reason and who makes it")


def _current(connection: Connection, record_id: int) -> Row[Any]:
    """Give a record, unless a newer version replaced it."""
    record = connection.execute(select(RECORDS).where(RECORDS.c.id == record_id)).first()
    if record is None:
        raise InputError(f"no record {record_id} in the store")
    later = connection.execute(
        select(CORRECTIONS).where(CORRECTIONS.c.old_record == record_id)
    ).first()
    if later is not None:
        raise InputError(
            f"record {record_id} was corrected by {later.made_by} at {later.made_at}; "
            "look at the newest version first"
        )
    return record


def _read_changes(table: Table, changes: Mapping[str, str]) -> dict[str, str]:
    """Read every new value as the column reads it; all problems in one line."""
    texts: dict[str, str] = {}
    problems: list[str] = []
    for name, text in changes.items():
        try:
            column = table.column(name)
        except KeyError:
            problems.append(f"{table.name} has no column {name}")
            continue
        value = value_parser(column, Settings(), {})(text)
        problem = f"{value.required}; {value.mend}" if isinstance(value, Refusal) else ""
        problem = problem or _outside(column, value)
        if problem:
            problems.append(f"{name}: got {text!r}, needs {problem}")
        else:
            texts[name] = canonical_text(value)
    if problems:
        raise InputError("; ".join(problems))
    return texts


def _outside(column: Column, value: object) -> str:
    if not isinstance(value, int | float) or isinstance(value, bool):
        return ""
    if column.minimum is not None and value < column.minimum:
        return f"at least {column.minimum:g}"
    if column.maximum is not None and value > column.maximum:
        return f"at most {column.maximum:g}"
    return ""


def _free_content(
    connection: Connection, table: str, cells: dict[str, str], refused: list[dict[str, str]]
) -> str:
    """Find the first twin number that no record has yet."""
    occurrence = 0
    while True:
        content = content_of(table, cells, refused, occurrence)
        if connection.scalar(select(RECORDS.c.id).where(RECORDS.c.content == content)) is None:
            return content
        occurrence += 1


def _note(connection: Connection, old: int, new: int | None, reason: str, by: str) -> None:
    connection.execute(
        insert(CORRECTIONS).values(
            made_at=datetime.now(UTC).isoformat(timespec="seconds"),
            made_by=by.strip(),
            reason=reason.strip(),
            old_record=old,
            new_record=new,
        )
    )
