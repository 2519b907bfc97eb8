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

__all__ = [
    "SESSIONS",
    "Access",
    "Person",
    "Role",
    "add_person",
    "change_password",
    "change_role",
    "knows",
    "list_people",
    "open_access",
    "people",
    "remove_person",
]

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
_FORGOTTEN = 3600.0
"""Seconds after the end of a wait until its guesses no longer count."""
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """One of the people.

    Attributes
    ----------
    name : str
        Who.
    role : Role
        What they may do.
    sessions : int
        How many sessions of theirs are open.
    """

    name: str
    role: Role
    sessions: int


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
    """Add a person.

    Raises
    ------
    InputError
        If the name is blank or taken, or the password shorter than 12 characters.
    """
    if not name.strip() or len(name) > 80 or not name.isprintable():
        raise InputError("a person's name must hold 1 to 80 printable characters")
    hashed = _hashed(password)
    with access.engine.begin() as connection:
        if connection.scalar(select(PEOPLE.c.name).where(PEOPLE.c.name == name)):
            raise InputError(f"{name} is there already; change the role or the password instead")
        connection.execute(insert(PEOPLE).values(name=name, password=hashed, role=int(role)))


def change_password(access: Access, name: str, password: str) -> None:
    """Give a person another password; their sessions end and wrong guesses are forgotten.

    Raises
    ------
    InputError
        If there is no such person, or the password is shorter than 12 characters.
    """
    _change(access, name, password=_hashed(password))
    with access.engine.begin() as connection:
        connection.execute(delete(GUESSES).where(GUESSES.c.name == name))


def change_role(access: Access, name: str, role: Role) -> None:
    """Give a person another role; their sessions end, for each carries the role it began with.

    Raises
    ------
    InputError
        If there is no such person.
    """
    _change(access, name, role=int(role))


def remove_person(access: Access, name: str) -> None:
    """Remove a person and end their sessions.

    Raises
    ------
    InputError
        If there is no such person.
    """
    with access.engine.begin() as connection:
        gone = connection.execute(delete(PEOPLE).where(PEOPLE.c.name == name)).rowcount
        connection.execute(delete(SESSIONS).where(SESSIONS.c.name == name))
    if not gone:
        raise InputError(f"there is no {name}")


def list_people(access: Access) -> list[Person]:
    """List the people by name, with their open sessions."""
    now = datetime.now(UTC).timestamp()
    open_ones = (
        select(func.count())
        .where(SESSIONS.c.name == PEOPLE.c.name, SESSIONS.c.once == 0, SESSIONS.c.ends > now)
        .scalar_subquery()
    )
    with access.engine.connect() as connection:
        rows = connection.execute(
            select(PEOPLE.c.name, PEOPLE.c.role, open_ones.label("sessions")).order_by(
                PEOPLE.c.name
            )
        )
        return [Person(name=row.name, role=Role(row.role), sessions=row.sessions) for row in rows]


def _change(access: Access, name: str, **values: object) -> None:
    with access.engine.begin() as connection:
        changed = connection.execute(update(PEOPLE).where(PEOPLE.c.name == name).values(**values))
        connection.execute(delete(SESSIONS).where(SESSIONS.c.name == name))
    if not changed.rowcount:
        raise InputError(f"there is no {name}")


def _hashed(password: str) -> str:
    if len(password) < _SHORTEST:
        raise InputError(f"a password must hold at least {_SHORTEST} characters")
    return _HASHER.hash(password)


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
        # Old guesses are forgotten, so that made-up names cannot fill the file.
        connection.execute(delete(GUESSES).where(GUESSES.c.until < moment - _FORGOTTEN))
        wrong = (guess.wrong if guess else 0) + 1
        values = {"wrong": wrong, "until": moment + _wait(wrong)}
        connection.execute(delete(GUESSES).where(GUESSES.c.name == name))
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
