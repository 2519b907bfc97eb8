"""Where did this row come from, and what became of it?"""

import json
import re
from dataclasses import dataclass

from sqlalchemy import Connection, select

from analytics.errors import InputError
from analytics.logs.store.opening import Store, reading
from analytics.logs.store.schema import CORRECTIONS, IMPORTS, RECORDS, SIGHTINGS
from analytics.logs.tables import TABLES

__all__ = ["Sighting", "Trace", "Version", "trace", "trace_key"]

_SOURCE = re.compile(r"(.*) \(import (\d+)\)", re.DOTALL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One place where a row stood.

    Attributes
    ----------
    import_id : int
        Number of the import.
    made_at, made_by : str
        When it was imported [UTC], and by whom.
    file : str
        File name.
    line : int
        Line (CSV) or row (XLSX, Parquet).
    raw : str
        The text as it stood.
    """

    import_id: int
    made_at: str
    made_by: str
    file: str
    line: int
    raw: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Version:
    """One version of a row.

    Attributes
    ----------
    record_id : int
        Its number.
    cells : dict of str to str
        Column to canonical text.
    made_at, made_by, reason : str
        Of the correction that made it; blank for the first.
    withdrawn : bool
        Whether a correction took it out without another version.
    """

    record_id: int
    cells: dict[str, str]
    made_at: str
    made_by: str
    reason: str
    withdrawn: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """The whole story of one row.

    Attributes
    ----------
    table : str
        Its table.
    sightings : tuple of Sighting
        Every place where it stood, the first import first.
    versions : tuple of Version
        Oldest first; the last one counts, unless it is withdrawn.
    """

    table: str
    sightings: tuple[Sighting, ...]
    versions: tuple[Version, ...]


def trace(store: Store, source_file: str, source_line: int) -> Trace:
    """Follow a row of the checked logs back to its files and on to its versions.

    Parameters
    ----------
    store : Store
        Where the row is kept.
    source_file, source_line : str, int
        As in the frames and the quarantine of `loading.stored_logs`.

    Raises
    ------
    InputError
        If no row stands there.
    """
    match = _SOURCE.fullmatch(source_file)
    if match is None:
        raise InputError(f"a stored source reads 'file (import n)', got {source_file!r}")
    with reading(store) as connection:
        record_id = connection.scalar(
            select(SIGHTINGS.c.record_id)
            .where(SIGHTINGS.c.import_id == int(match[2]))
            .where(SIGHTINGS.c.file == match[1])
            .where(SIGHTINGS.c.line == int(source_line))
        )
        if record_id is None:
            raise InputError(f"no row at line {source_line} of {source_file}")
        return _trace(connection, record_id)


def trace_key(store: Store, table: str, key: str) -> tuple[Trace, ...]:
    """Follow every row of a table whose first key column reads `key`.

    Examples are the `install_id` and `removal_id` that a life carries.
    """
    if table not in TABLES or not TABLES[table].key:
        raise InputError(f"{table!r} is no table with a key")
    name = TABLES[table].key[0]
    quoted = json.dumps({name: key}, ensure_ascii=False, separators=(",", ":"))[1:-1]
    with reading(store) as connection:
        newer = {row.new_record for row in connection.execute(select(CORRECTIONS.c.new_record))}
        query = (
            select(RECORDS.c.id, RECORDS.c.cells)
            .where(RECORDS.c.table_name == table)
            .where(RECORDS.c.cells.contains(quoted, autoescape=True))
            .order_by(RECORDS.c.id)
        )
        return tuple(
            _trace(connection, row.id)
            for row in connection.execute(query).all()
            if row.id not in newer and json.loads(row.cells).get(name) == key
        )


def _trace(connection: Connection, first: int) -> Trace:
    sightings = connection.execute(
        select(SIGHTINGS, IMPORTS.c.made_at, IMPORTS.c.made_by)
        .join(IMPORTS, IMPORTS.c.id == SIGHTINGS.c.import_id)
        .where(SIGHTINGS.c.record_id == first)
        .order_by(SIGHTINGS.c.import_id, SIGHTINGS.c.place)
    ).all()
    record = connection.execute(select(RECORDS).where(RECORDS.c.id == first)).one()
    return Trace(
        table=record.table_name,
        sightings=tuple(
            Sighting(
                import_id=row.import_id,
                made_at=row.made_at,
                made_by=row.made_by,
                file=row.file,
                line=row.line,
                raw=json.loads(row.raw),
            )
            for row in sightings
        ),
        versions=_versions(connection, first),
    )


def _versions(connection: Connection, first: int) -> tuple[Version, ...]:
    versions: list[Version] = []
    record_id: int | None = first
    made_at = made_by = reason = ""
    while record_id is not None:
        cells = connection.scalar(select(RECORDS.c.cells).where(RECORDS.c.id == record_id))
        later = connection.execute(
            select(CORRECTIONS).where(CORRECTIONS.c.old_record == record_id)
        ).first()
        ends = later is not None and later.new_record is None
        versions.append(
            Version(
                record_id=record_id,
                cells=json.loads(str(cells)),
                made_at=made_at,
                made_by=made_by,
                reason=reason,
                withdrawn=ends,
            )
        )
        if later is None:
            break
        made_at, made_by, reason = later.made_at, later.made_by, later.reason
        record_id = later.new_record
    return tuple(versions)
