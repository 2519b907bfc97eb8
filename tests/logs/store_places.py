"""Fresh stores for tests: a SQLite file each, and a PostgreSQL database when a server is named."""

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
from sqlalchemy.engine import make_url

__all__ = ["POSTGRESQL", "fresh_address"]

POSTGRESQL = os.environ.get("DISCWARD_TEST_POSTGRESQL", "")
"""Address of a server that may make and drop databases, e.g. postgresql://me@127.0.0.1/postgres."""


@contextmanager
def fresh_address(kind: str, folder: Path) -> Iterator[str]:
    """Give the address of a store that is not there yet; a database is dropped afterwards."""
    if kind == "sqlite":
        yield str(folder / "store.sqlite")
        return
    name = f"discward_test_{uuid.uuid4().hex[:12]}"
    server = make_url(POSTGRESQL)
    with psycopg.connect(POSTGRESQL, autocommit=True) as admin:
        admin.execute(f"CREATE DATABASE {name}")
    try:
        yield server.set(database=name).render_as_string(hide_password=False)
    finally:
        with psycopg.connect(POSTGRESQL, autocommit=True) as admin:
            admin.execute(f"DROP DATABASE {name} WITH (FORCE)")
