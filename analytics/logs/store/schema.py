"""The tables of the store, its version, and the way forward from older versions.

Nothing is ever updated or deleted: an import adds records and sightings, a
correction adds a record and says which one it replaces.
"""

from sqlalchemy import (
    Column,
    Connection,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    insert,
    inspect,
    select,
    text,
    update,
)

from analytics.errors import InputError

__all__ = [
    "ABOUT",
    "CORRECTIONS",
    "IMPORTS",
    "METADATA",
    "RECORDS",
    "SIGHTINGS",
    "VERSION",
    "bring_up_to_date",
]

VERSION = 2
METADATA = MetaData()

ABOUT = Table(
    "about",
    METADATA,
    Column("name", String(40), primary_key=True),
    Column("value", Text, nullable=False),
)

IMPORTS = Table(
    "imports",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("made_at", String(40), nullable=False),
    Column("made_by", Text, nullable=False),
    Column("files", Text, nullable=False),  # JSON: table to file names
    Column("settings", Text, nullable=False),  # JSON: title, currency, days, renamed
    Column("digest", String(64), nullable=False, unique=True),
    sqlite_autoincrement=True,
)

RECORDS = Table(
    "records",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("table_name", String(40), nullable=False),
    Column("content", String(64), nullable=False, unique=True),
    Column("cells", Text, nullable=False),  # JSON: column to canonical text
    Column("refused", Text, nullable=False),  # JSON: what could not be read, and why
    sqlite_autoincrement=True,
)

SIGHTINGS = Table(
    "sightings",
    METADATA,
    Column("import_id", ForeignKey("imports.id"), primary_key=True),
    Column("place", Integer, primary_key=True, autoincrement=False),
    Column("record_id", ForeignKey("records.id"), nullable=False),
    Column("file", Text, nullable=False),
    Column("line", Integer, nullable=False),
    Column("raw", Text, nullable=False),
)

CORRECTIONS = Table(
    "corrections",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("made_at", String(40), nullable=False),
    Column("made_by", Text, nullable=False),
    Column("reason", Text, nullable=False),
    # One correction per version: of two people who correct one row, the second is told.
    Column("old_record", ForeignKey("records.id"), nullable=False, unique=True),
    Column("new_record", ForeignKey("records.id"), nullable=True),
    sqlite_autoincrement=True,
)

Index("sightings_by_record", SIGHTINGS.c.record_id)

_STEPS: dict[int, tuple[str, ...]] = {
    1: ("CREATE INDEX IF NOT EXISTS sightings_by_record ON sightings (record_id)",),
}
"""What turns a version into the next."""


def bring_up_to_date(connection: Connection) -> None:
    """Make the tables, or move an older store forward, inside the caller's transaction.

    Raises
    ------
    InputError
        If the store was made by a newer discward, or is something else.
    """
    if not inspect(connection).has_table("about"):
        if inspect(connection).get_table_names():
            raise InputError("this database holds tables of something else; give the store its own")
        METADATA.create_all(connection)
        connection.execute(insert(ABOUT).values(name="version", value=str(VERSION)))
        return
    version = connection.scalar(select(ABOUT.c.value).where(ABOUT.c.name == "version"))
    if version is None or not version.isdigit():
        raise InputError("this database is no store of discward")
    if int(version) > VERSION:
        raise InputError(
            f"the store has version {version}, this discward reads up to {VERSION}; "
            "open it with the newer discward that made it"
        )
    for step in range(int(version), VERSION):
        for statement in _STEPS[step]:
            connection.execute(text(statement))
        connection.execute(
            update(ABOUT).where(ABOUT.c.name == "version").values(value=str(step + 1))
        )
