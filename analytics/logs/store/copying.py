"""Backup and restore: copy a store, whole, into an empty one of either kind."""

from pathlib import Path

from sqlalchemy import func, insert, select, text

from analytics.errors import InputError
from analytics.logs.store.opening import Store, open_store, reading, writing
from analytics.logs.store.schema import ABOUT, METADATA

__all__ = ["back_up", "copy_store"]

_CHUNK = 500


def back_up(store: Store, path: Path) -> None:
    """Write a store to a new SQLite file, which opens as a store itself.

    Raises
    ------
    InputError
        If the file exists already, or cannot be written.
    """
    if path.exists():
        raise InputError(f"a backup must go to a new file; {path.name} exists")
    copy_store(store, open_store(path))


def copy_store(source: Store, target: Store) -> None:
    """Copy every row of a store into an empty one; restores a backup.

    The copy is one transaction: the target is whole or stays empty.

    Parameters
    ----------
    source, target : Store
        SQLite or PostgreSQL, in any pairing.

    Raises
    ------
    InputError
        If the target holds anything, or the counts differ after copying.
    """
    with reading(source) as origin, writing(target) as copy:
        for table in METADATA.sorted_tables:
            if table is ABOUT:
                continue
            if copy.scalar(select(func.count()).select_from(table)):
                raise InputError(f"store {target.name} must be empty to copy into it")
            rows = origin.execute(select(table).order_by(*table.primary_key.columns))
            copied = 0
            while chunk := rows.fetchmany(_CHUNK):
                copy.execute(insert(table), [dict(row._mapping) for row in chunk])
                copied += len(chunk)
            if "id" in table.c and target.engine.dialect.name == "postgresql":
                # Rows came with their numbers: the next number must follow them.
                copy.execute(
                    text(
                        f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), "
                        f"COALESCE((SELECT MAX(id) FROM {table.name}), 0) + 1, false)"
                    )
                )
            if copied != copy.scalar(select(func.count()).select_from(table)):
                raise InputError(f"the copy of {source.name} is not whole; nothing was kept")
