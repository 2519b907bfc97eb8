"""Sessions: begun by a password or a one-time token, ended by time or by hand."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import delete, insert, select

from dashboard.access.people import SESSIONS, Access, Role

__all__ = [
    "BY_LINK",
    "Session",
    "begin",
    "end",
    "end_all",
    "one_time_token",
    "redeem",
    "session_of",
]

BY_LINK = "this machine"
"""What those are called whom a link let in."""

_LASTS = timedelta(hours=12)
_TOKEN_LASTS = timedelta(minutes=15)


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """Somebody who is in.

    Attributes
    ----------
    name : str
        Who.
    role : Role
        What they may do.
    """

    name: str
    role: Role


def begin(access: Access, name: str, role: Role, *, now: datetime | None = None) -> str:
    """Begin a session of 12 hours and give its secret."""
    return _issue(access, name, role, lasts=_LASTS, once=False, now=now)


def one_time_token(access: Access, *, name: str = BY_LINK, role: Role = Role.ADMIN) -> str:
    """Give a secret that begins one session, within 15 minutes, and then is spent."""
    return _issue(access, name, role, lasts=_TOKEN_LASTS, once=True, now=None)


def redeem(access: Access, token: str, *, now: datetime | None = None) -> str | None:
    """Turn a one-time token into a session's secret; None if it is unknown, old or spent."""
    moment = (now or datetime.now(UTC)).timestamp()
    with access.engine.begin() as connection:
        found = (SESSIONS.c.token == _hashed(token)) & (SESSIONS.c.once == 1)
        row = connection.execute(select(SESSIONS).where(found)).first()
        # Spent by deleting it: of two who come at once, only one deletes a row.
        spent = connection.execute(delete(SESSIONS).where(found)).rowcount
    if row is None or spent != 1 or row.ends <= moment:
        return None
    return begin(access, row.name, Role(row.role), now=now)


def session_of(access: Access, secret: str, *, now: datetime | None = None) -> Session | None:
    """Give the session of a secret; None if it is forged, over or revoked."""
    moment = (now or datetime.now(UTC)).timestamp()
    with access.engine.connect() as connection:
        row = connection.execute(
            select(SESSIONS).where(SESSIONS.c.token == _hashed(secret), SESSIONS.c.once == 0)
        ).first()
    if row is None or row.ends <= moment:
        return None
    return Session(name=row.name, role=Role(row.role))


def end(access: Access, secret: str) -> None:
    """End one session."""
    with access.engine.begin() as connection:
        connection.execute(delete(SESSIONS).where(SESSIONS.c.token == _hashed(secret)))


def end_all(access: Access, name: str) -> None:
    """End every session of a person."""
    with access.engine.begin() as connection:
        connection.execute(delete(SESSIONS).where(SESSIONS.c.name == name))


def _issue(
    access: Access, name: str, role: Role, *, lasts: timedelta, once: bool, now: datetime | None
) -> str:
    secret = secrets.token_urlsafe(32)
    ends = ((now or datetime.now(UTC)) + lasts).timestamp()
    with access.engine.begin() as connection:
        connection.execute(
            insert(SESSIONS).values(
                token=_hashed(secret), name=name, role=int(role), ends=ends, once=int(once)
            )
        )
    return secret


def _hashed(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()
