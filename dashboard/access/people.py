"""People, their passwords and roles, and how often a password was guessed wrong."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import IntEnum
from pathlib import Path

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import (
    Column,
    Engine,
    Float,
    Integer,
    MetaData,
    String,
    Table,
    create_engine,
    delete,
    func,
    insert,
    select,
    update,
)

from analytics.errors import InputError

__all__ = ["SESSIONS", "Access", "Role", "add_person", "knows", "open_access", "remove_person"]

METADATA = MetaData()
PEOPLE = Table(
    "people",
    METADATA,
    Column("name", String(80), primary_key=True),
    Column("password", String(200), nullable=False),
    Column("role", Integer, nullable=False),
)
SESSIONS = Table(
    "sessions",
    METADATA,
    Column("token", String(64), primary_key=True),  # a hash, so that the file opens no door
    Column("name", String(80), nullable=False),
    Column("role", Integer, nullable=False),
    Column("ends", Float, nullable=False),
    Column("once", Integer, nullable=False),
)
GUESSES = Table(
    "guesses",
    METADATA,
    Column("name", String(80), primary_key=True),
    Column("wrong", Integer, nullable=False),
    Column("until", Float, nullable=False),
)

_SHORTEST = 12
_FREE_GUESSES = 5
_LONGEST_WAIT = timedelta(minutes=15)
_HASHER = PasswordHasher()
_NOBODY = _HASHER.hash("nobody has this password")
"""Checked against when there is no such person, so that both take the same time."""


class Role(IntEnum):
    """What a person may do; each may do all that the lower ones may."""

    VIEWER = 1
    EDITOR = 2
    ADMIN = 3


@dataclass(frozen=True, slots=True)
class Access:
    """The list of people and sessions.

    Attributes
    ----------
    engine : Engine
        Where it is kept.
    secure : bool
        Whether cookies travel over TLS only.
    """

    engine: Engine
    secure: bool = False


def open_access(path: Path, *, secure: bool = False) -> Access:
    """Open the list of people, making it if there is none.

    Parameters
    ----------
    path : Path
        A SQLite file, readable by its owner only.
    secure : bool
        Whether TLS stands in front, so that cookies need it.
    """
    path.touch(mode=0o600, exist_ok=True)
    engine = create_engine(f"sqlite:///{path}")
    METADATA.create_all(engine)
    return Access(engine, secure)


def add_person(access: Access, name: str, password: str, role: Role) -> None:
    """Add a person, or give one a new password and role; their sessions end.

    Raises
    ------
    InputError
        If the name is blank or the password shorter than 12 characters.
    """
    if not name.strip() or len(name) > 80:
        raise InputError("a person's name must hold 1 to 80 characters")
    if len(password) < _SHORTEST:
        raise InputError(f"a password must hold at least {_SHORTEST} characters")
    with access.engine.begin() as connection:
        connection.execute(delete(PEOPLE).where(PEOPLE.c.name == name))
        connection.execute(delete(SESSIONS).where(SESSIONS.c.name == name))
        connection.execute(
            insert(PEOPLE).values(name=name, password=_HASHER.hash(password), role=int(role))
        )


def remove_person(access: Access, name: str) -> None:
    """Remove a person and end their sessions."""
    with access.engine.begin() as connection:
        connection.execute(delete(PEOPLE).where(PEOPLE.c.name == name))
        connection.execute(delete(SESSIONS).where(SESSIONS.c.name == name))


def people(access: Access) -> int:
    """Count the people."""
    with access.engine.connect() as connection:
        return int(connection.scalar(select(func.count()).select_from(PEOPLE)) or 0)


def knows(access: Access, name: str, password: str, *, now: datetime | None = None) -> Role | None:
    """Check a password; None when it is wrong, or guessed wrong too often of late.

    From the fifth wrong guess on, a name must wait twice as long each time, up to
    15 minutes; until then even the right password is refused.
    """
    moment = (now or datetime.now(UTC)).timestamp()
    name = name[:80]
    with access.engine.begin() as connection:
        guess = connection.execute(select(GUESSES).where(GUESSES.c.name == name)).first()
        if guess and guess.until > moment:
            return None
        person = connection.execute(select(PEOPLE).where(PEOPLE.c.name == name)).first()
        if _is_right(person.password if person else _NOBODY, password) and person:
            connection.execute(delete(GUESSES).where(GUESSES.c.name == name))
            return Role(person.role)
        wrong = (guess.wrong if guess else 0) + 1
        values = {"wrong": wrong, "until": moment + _wait(wrong)}
        if guess:
            connection.execute(update(GUESSES).where(GUESSES.c.name == name).values(values))
        else:
            connection.execute(insert(GUESSES).values(name=name, **values))
    return None


def _wait(wrong: int) -> float:
    over = min(wrong - _FREE_GUESSES, 20)
    return 0.0 if over < 0 else min(2.0**over, _LONGEST_WAIT.total_seconds())


def _is_right(kept: str, password: str) -> bool:
    try:
        return _HASHER.verify(kept, password)
    except (VerificationError, InvalidHashError):
        return False
