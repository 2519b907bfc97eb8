"""Bring a log folder into the store: all of it or nothing, and no row twice."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path

from sqlalchemy import Connection, func, insert, select

from analytics.errors import InputError
from analytics.logs.checking import check_table
from analytics.logs.reading import Progress, existing_folder, files_of, read_raw_tables
from analytics.logs.recorded import Taken, less_taken, taken_of, version_of, with_records
from analytics.logs.records import RawTable
from analytics.logs.settings import Settings, read_settings
from analytics.logs.store.canonical import Row, rows_of
from analytics.logs.store.opening import Store, writing
from analytics.logs.store.schema import IMPORTS, RECORDS, SIGHTINGS
from analytics.logs.tables import TABLES

__all__ = ["Imported", "Prepared", "import_logs", "prepare", "write_import"]

_CHUNK = 500
"""Values in one statement; SQLite and PostgreSQL both take more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """What an import did.

    Attributes
    ----------
    import_id : int
        Its number, or that of the earlier import with the same content.
    read, new, known : int
        Rows in the files; of these new to the store; and already there.
    repeated : bool
        True when the store held exactly this import before; nothing was written.
    """

    import_id: int
    read: int
    new: int
    known: int
    repeated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """An import before it is written.

    Attributes
    ----------
    rows : tuple of Row
        Every row of every file.
    files, settings : str
        JSON for the imports table.
    digest : str
        Hash of all rows and the settings, whatever the order of rows and the names of files.
    """

    rows: tuple[Row, ...]
    files: str
    settings: str
    digest: str


def import_logs(
    store: Store, folder: Path, *, by: str, progress: Progress | None = None
) -> Imported:
    """Import a log folder.

    Parameters
    ----------
    store : Store
        Where to.
    folder : Path
        A log folder, as `read_logs` takes it.
    by : str
        Who does it; kept with the import.
    progress : callable, optional
        Called with a sentence and the share done.

    Returns
    -------
    Imported
        Returned only after the import is safe on disk.

    Raises
    ------
    InputError
        If the folder cannot be read, nobody is named, or the store cannot be
        written; then nothing was changed.
    """
    if not by.strip():
        raise InputError("an import must say who makes it")
    settings, _ = with_records(read_settings(existing_folder(folder)), folder)
    raws = read_raw_tables(folder, settings, progress=progress)
    stock = TABLES["stock"]
    taken = taken_of(folder, version_of(files_of(stock, folder, settings)))
    return write_import(store, prepare(raws, settings, taken), by=by.strip())


def prepare(
    raws: Mapping[str, Sequence[RawTable]], settings: Settings, taken: Sequence[Taken] = ()
) -> Prepared:
    """Turn files into the rows that will be kept, less the pieces taken; touches no store."""
    last_day = settings.export_date or date.today()
    problems: list[str] = []
    rows: list[Row] = []
    for name, parts in raws.items():
        try:
            checked = check_table(TABLES[name], parts, settings, last_day=last_day)
        except InputError as error:
            problems.append(str(error))
            continue
        if name == "stock":
            checked = replace(checked, frame=less_taken(checked.frame, taken))
        rows += rows_of(checked)
    if problems:
        raise InputError("; ".join(problems))
    kept = _kept_settings(settings)
    said = "\n".join([kept, *sorted(raws), *sorted(row.content for row in rows)])
    return Prepared(
        rows=tuple(rows),
        files=json.dumps({name: [part.file for part in parts] for name, parts in raws.items()}),
        settings=kept,
        digest=hashlib.sha256(said.encode()).hexdigest(),
    )


def _kept_settings(settings: Settings) -> str:
    """Keep what canonical rows still need; formats, maps and units are spent."""
    begins, ends = settings.log_begins, settings.export_date
    return json.dumps(
        {
            "title": settings.title,
            "currency": settings.currency,
            "log_begins": begins.isoformat() if begins else None,
            "export_date": ends.isoformat() if ends else None,
            "renamed": [
                [item.was, item.now, item.until.isoformat() if item.until else None]
                for item in settings.renamed
            ],
            **_programmes(settings),
        },
        sort_keys=True,
    )


def _programmes(settings: Settings) -> dict[str, object]:
    """Keep the programmes, if any; without one the digest is that of earlier imports."""
    kept = [
        [item.name, item.starts_on.isoformat(), list(item.sites), list(item.crews)]
        for item in settings.programmes
    ]
    return {"programmes": kept} if kept else {}


def write_import(store: Store, prepared: Prepared, *, by: str) -> Imported:
    """Write a prepared import in one transaction."""
    read = len(prepared.rows)
    with writing(store) as connection:
        before = connection.scalar(select(IMPORTS.c.id).where(IMPORTS.c.digest == prepared.digest))
        if before is not None:
            return Imported(import_id=before, read=read, new=0, known=read, repeated=True)
        made = connection.execute(
            insert(IMPORTS).values(
                made_at=datetime.now(UTC).isoformat(timespec="seconds"),
                made_by=by,
                files=prepared.files,
                settings=prepared.settings,
                digest=prepared.digest,
            )
        )
        assert made.inserted_primary_key is not None
        import_id = int(made.inserted_primary_key[0])
        ids = _known(connection, (row.content for row in prepared.rows))
        fresh = [row for row in prepared.rows if row.content not in ids]
        _insert_records(connection, fresh)
        ids |= _known(connection, (row.content for row in fresh))
        _insert_sightings(connection, import_id, prepared.rows, ids)
    return Imported(
        import_id=import_id, read=read, new=len(fresh), known=read - len(fresh), repeated=False
    )


def _known(connection: Connection, contents: Iterable[str]) -> dict[str, int]:
    """Find the records that hold these contents already."""
    wanted = list(contents)
    if connection.scalar(select(func.count()).select_from(RECORDS)) == 0:
        return {}
    found: dict[str, int] = {}
    for start in range(0, len(wanted), _CHUNK):
        chunk = wanted[start : start + _CHUNK]
        query = select(RECORDS.c.content, RECORDS.c.id).where(RECORDS.c.content.in_(chunk))
        found |= {content: number for content, number in connection.execute(query)}
    return found


def _insert_records(connection: Connection, rows: Sequence[Row]) -> None:
    for start in range(0, len(rows), _CHUNK):
        connection.execute(
            insert(RECORDS),
            [
                {
                    "table_name": row.table,
                    "content": row.content,
                    "cells": row.cells,
                    "refused": row.refused,
                }
                for row in rows[start : start + _CHUNK]
            ],
        )


def _insert_sightings(
    connection: Connection, import_id: int, rows: Sequence[Row], ids: Mapping[str, int]
) -> None:
    for start in range(0, len(rows), _CHUNK):
        connection.execute(
            insert(SIGHTINGS),
            [
                {
                    "import_id": import_id,
                    "place": place,
                    "record_id": ids[row.content],
                    "file": row.file,
                    "line": row.line,
                    "raw": row.raw,
                }
                for place, row in enumerate(rows[start : start + _CHUNK], start=start)
            ],
        )
