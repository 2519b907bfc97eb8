"""Open a store, and read or write it whole or not at all."""

import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, OperationalError, SQLAlchemyError
from sqlalchemy.pool import NullPool

from analytics.errors import InputError
from analytics.logs.store.schema import bring_up_to_date

__all__ = ["Store", "open_store", "reading", "writing"]

_PATIENCE_SECONDS = 60.0
_POSTGRESQL_LOCK = 7_305_931
"""Any number nobody else takes: writers of one store queue up on it."""

Result = TypeVar("Result")


class _Busy(InputError):
    """Another writer holds the store for longer than we wait."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Store:
    """An open store.

    Attributes
    ----------
    engine : Engine
        Where it is kept.
    name : str
        How to call it in a message; never with a password.
    """

    engine: Engine
    name: str


def open_store(where: str | Path) -> Store:
    """Open a store, making it when it is not there yet.

    Parameters
    ----------
    where : str or Path
        A file (SQLite), or an address `postgresql://user@host/database`.

    Returns
    -------
    Store
        With its tables in place and at today's version.

    Raises
    ------
    InputError
        If it cannot be opened, is something else, or was made by a newer discward.
    """
    try:
        url = (
            make_url(str(where))
            if "://" in str(where)
            else make_url("sqlite://").set(database=str(Path(where).absolute()))
        )
    except ArgumentError:
        raise InputError("a store is a file or postgresql://user@host/database") from None
    if url.get_backend_name() not in ("sqlite", "postgresql") or not url.database:
        raise InputError(f"a store is a file or a PostgreSQL database, got {url.drivername}")
    if url.get_backend_name() == "postgresql":
        engine = create_engine(url.set(drivername="postgresql+psycopg"), poolclass=NullPool)
        store = Store(engine=engine, name=url.render_as_string(hide_password=True))
    else:
        engine = create_engine(url, poolclass=NullPool, connect_args={"timeout": _PATIENCE_SECONDS})
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        store = Store(engine=engine, name=Path(url.database).name)
    _patiently(lambda: _prepare(store))
    return store


def _prepare(store: Store) -> None:
    with writing(store) as connection:
        bring_up_to_date(connection)


def _set_up_sqlite(connection: sqlite3.Connection, _: object) -> None:
    """Full sync and foreign keys hold per connection; begin is ours, not the driver's."""
    connection.isolation_level = None
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def reading(store: Store) -> Iterator[Connection]:
    """Read one consistent state of the store."""
    with _in_one_line(store, "read"), store.engine.connect() as connection:
        if store.engine.dialect.name == "postgresql":
            connection = connection.execution_options(isolation_level="REPEATABLE READ")
        with connection.begin():
            yield connection


@contextmanager
def writing(store: Store) -> Iterator[Connection]:
    """Write all or nothing; writers queue up."""
    with _in_one_line(store, "written"), store.engine.connect() as connection:
        connection = connection.execution_options(writes=True)
        with connection.begin():
            if store.engine.dialect.name == "postgresql":
                lock = text("SELECT pg_advisory_xact_lock(:key)")
                connection.execute(lock, {"key": _POSTGRESQL_LOCK})
            yield connection


@contextmanager
def _in_one_line(store: Store, what: str) -> Iterator[None]:
    try:
        yield
    except OperationalError as error:
        if _is_busy(error):
            busy = f"store {store.name} is busy with another writer; nothing was changed, try again"
            raise _Busy(busy) from None
        raise InputError(_line(store, what, error)) from None
    except DBAPIError as error:
        raise InputError(_line(store, what, error)) from None
    except SQLAlchemyError as error:
        raise InputError(
            f"store {store.name} could not be {what}: {type(error).__name__}"
        ) from None


def _line(store: Store, what: str, error: DBAPIError) -> str:
    cause = str(error.orig).strip().splitlines() or [""]
    return f"store {store.name} could not be {what}: {cause[0]}; nothing was changed"


def _is_busy(error: OperationalError) -> bool:
    return "locked" in str(error.orig) or "busy" in str(error.orig)


def _patiently(action: Callable[[], Result]) -> Result:
    """Try again while another process makes the store or turns on its journal."""
    give_up = time.monotonic() + _PATIENCE_SECONDS
    while True:
        try:
            return action()
        except _Busy:
            if time.monotonic() > give_up:
                raise
            time.sleep(0.02)
