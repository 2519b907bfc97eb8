"""The checked logs as the store holds them: today's version of every row that counts."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pyarrow as pa
from sqlalchemy import Connection, select

from analytics.errors import InputError
from analytics.logs.exporting import header_of
from analytics.logs.formulas import neutralise
from analytics.logs.reading import CheckedLogs, Progress, check_tables
from analytics.logs.records import Broken, RawTable
from analytics.logs.refusals import Finding, Reason, Refusal
from analytics.logs.settings import Programme, Renamed, Settings
from analytics.logs.store.opening import Store, reading
from analytics.logs.store.schema import CORRECTIONS, IMPORTS, RECORDS, SIGHTINGS
from analytics.logs.tables import TABLES, Keep, Kind, Table

__all__ = ["stored_logs"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kept:
    """A record that counts, and where it was first seen."""

    cells: dict[str, str]
    refused: list[dict[str, str]]
    seen_in: frozenset[int]
    import_id: int
    file: str
    line: int
    raw: str


def stored_logs(store: Store, *, progress: Progress | None = None) -> CheckedLogs:
    """Check the rows in the store, as `read_logs` checks a folder.

    Installs and removals add up over all imports; of positions, discs and
    turnarounds the row that came in last counts; stock and orders are those of
    the import that came in last. Corrected rows stand in their newest version.

    Parameters
    ----------
    store : Store
        What was imported.
    progress : callable, optional
        Called with a sentence and the share done.

    Returns
    -------
    CheckedLogs
        `source_file` names the import too, so that it and `source_line` lead to
        one row; see `tracing.trace`.

    Raises
    ------
    InputError
        If nothing was imported yet, or a required table is missing.
    """
    with reading(store) as connection:
        imports = connection.execute(select(IMPORTS).order_by(IMPORTS.c.id)).all()
        if not imports:
            raise InputError(f"store {store.name} holds no import yet; import a log folder first")
        files = {item.id: json.loads(item.files) for item in imports}
        kept = _records_that_count(connection)
    raws: dict[str, list[RawTable]] = {}
    for name, table in TABLES.items():
        within = [number for number, names in files.items() if name in names]
        if within:
            rows = _latest(table, kept.get(name, []), last=max(within))
            raws[name] = _as_files(table, rows) or [_no_rows(table)]
    absent = [name for name, table in TABLES.items() if table.required and name not in raws]
    if absent:
        raise InputError(f"tables missing in store {store.name}: {', '.join(absent)}")
    return check_tables(raws, _settings(imports[-1].settings), progress=progress)


def _records_that_count(connection: Connection) -> dict[str, list[_Kept]]:
    """Give the newest version of every record, by table, in order of import."""
    origin: dict[int, int] = {}
    replaced: set[int] = set()
    for old, new in connection.execute(
        select(CORRECTIONS.c.old_record, CORRECTIONS.c.new_record).order_by(CORRECTIONS.c.id)
    ):
        replaced.add(old)
        if new is not None:
            origin[new] = origin.get(old, old)
    seen: dict[int, list[Any]] = {}
    query = select(SIGHTINGS).order_by(SIGHTINGS.c.import_id, SIGHTINGS.c.place)
    for sighting in connection.execute(query):
        seen.setdefault(sighting.record_id, []).append(sighting)
    kept: list[tuple[tuple[int, int], str, _Kept]] = []
    for record in connection.execute(select(RECORDS)):
        if record.id in replaced:
            continue
        sightings = seen.get(record.id, []) + seen.get(origin.get(record.id, record.id), [])
        first = min(sightings, key=lambda item: (item.import_id, item.place))
        row = _Kept(
            cells=json.loads(record.cells),
            refused=json.loads(record.refused),
            seen_in=frozenset(item.import_id for item in sightings),
            import_id=first.import_id,
            file=first.file,
            line=first.line,
            raw=json.loads(first.raw),
        )
        kept.append(((first.import_id, first.place), record.table_name, row))
    by_table: dict[str, list[_Kept]] = {}
    for _, name, row in sorted(kept, key=lambda item: item[0]):
        by_table.setdefault(name, []).append(row)
    return by_table


def _latest(table: Table, rows: Sequence[_Kept], *, last: int) -> list[_Kept]:
    """Leave out what a later import of the table replaced."""
    if table.keep is Keep.ALL:
        return list(rows)
    if table.keep is Keep.LATEST_WHOLE:
        return [row for row in rows if last in row.seen_in]
    newest: dict[tuple[str, ...], int] = {}
    for row in rows:
        key = tuple(row.cells.get(name, "") for name in table.key)
        newest[key] = max(newest.get(key, 0), *row.seen_in)
    return [
        row
        for row in rows
        if (key := tuple(row.cells.get(name, "") for name in table.key))
        and max(row.seen_in) == (newest[key] if all(key) else last)
    ]


def _as_files(table: Table, rows: Iterable[_Kept]) -> list[RawTable]:
    """Give the rows back as the files they came from."""
    groups: dict[str, list[_Kept]] = {}
    for row in rows:
        groups.setdefault(f"{row.file} (import {row.import_id})", []).append(row)
    return [_as_file(table, name, group) for name, group in groups.items()]


def _as_file(table: Table, name: str, group: Sequence[_Kept]) -> RawTable:
    broken = tuple(
        Broken(line=row.line, raw=row.raw, required=row.refused[0]["required"])
        for row in group
        if _is_broken(row)
    )
    whole = [row for row in group if not _is_broken(row)]
    columns = []
    for column in table.columns:
        shown = [
            {item["column"]: item["value"] for item in row.refused}.get(column.name)
            or row.cells.get(column.name, "")
            if row.refused
            else row.cells.get(column.name, "")
            for row in whole
        ]
        if column.kind is Kind.TEXT:
            shown = [neutralise(text) for text in shown]
        columns.append(pa.chunked_array([pa.array(shown, type=pa.string())]))
    places = np.arange(len(whole), dtype=np.int64)
    return RawTable(
        file=name,
        header=tuple(header_of(column) for column in table.columns),
        header_end=0,
        columns=tuple(columns),
        lines=np.array([row.line for row in whole], dtype=np.int64),
        spans=np.column_stack([places, places + 1]),
        text_lines=pa.array([row.raw for row in whole], type=pa.string()),
        broken=broken,
        given=_given(whole),
    )


def _is_broken(row: _Kept) -> bool:
    return any(item["reason"] == Reason.BROKEN_ROW.value for item in row.refused)


def _given(rows: Sequence[_Kept]) -> tuple[Finding, ...]:
    """Give the refusals that were recorded when the rows came in."""
    found: dict[tuple[str, Refusal], list[int]] = {}
    for position, row in enumerate(rows):
        for item in row.refused:
            refusal = Refusal(
                reason=Reason(item["reason"]), required=item["required"], mend=item["mend"]
            )
            found.setdefault((item["column"], refusal), []).append(position)
    return tuple(
        Finding(rows=np.array(positions, dtype=np.int64), column=column, refusal=refusal)
        for (column, refusal), positions in found.items()
    )


def _no_rows(table: Table) -> RawTable:
    return replace(_as_file(table, table.name, []))


def _settings(kept: str) -> Settings:
    """Give the settings of canonical rows: ISO, decimal points, our units and words."""
    said = json.loads(kept)
    begins, ends = said["log_begins"], said["export_date"]
    return Settings(
        title=said["title"],
        currency=said["currency"],
        log_begins=date.fromisoformat(begins) if begins else None,
        export_date=date.fromisoformat(ends) if ends else None,
        renamed=tuple(
            Renamed(was=was, now=now, until=date.fromisoformat(until) if until else None)
            for was, now, until in said["renamed"]
        ),
        programmes=tuple(
            Programme(
                name=name,
                starts_on=date.fromisoformat(starts),
                sites=tuple(sites),
                crews=tuple(crews),
            )
            for name, starts, sites, crews in said.get("programmes", [])
        ),
    )
