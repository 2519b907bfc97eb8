"""The list of jobs: who asked for what, how far it is, and how it ended."""

from dataclasses import dataclass
from datetime import UTC, datetime
from enum import Enum
from pathlib import Path

from sqlalchemy import (
    Column,
    Engine,
    Integer,
    MetaData,
    Row,
    String,
    Table,
    Text,
    create_engine,
    insert,
    select,
    update,
)

__all__ = ["Job", "Ledger", "State", "ask", "history", "open_ledger", "tell"]

METADATA = MetaData()
JOBS = Table(
    "jobs",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("what", String(80), nullable=False),
    Column("asked_by", String(80), nullable=False),
    Column("asked_at", String(40), nullable=False),
    Column("state", String(20), nullable=False),
    Column("said", Text, nullable=False),
    Column("ended_at", String(40), nullable=False),
    sqlite_autoincrement=True,
)
_SHOWN = 10


class State(Enum):
    """How a job stands."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    CANCELLED = "cancelled"
    FAILED = "failed"
    CUT_OFF = "cut off by a restart"


OPEN = (State.WAITING.value, State.RUNNING.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One job as it stands.

    Attributes
    ----------
    number : int
        Its number.
    what, asked_by, asked_at : str
        What was asked, by whom and when.
    state : State
        How it stands.
    said : str
        Its last word: the step it is at, or why it ended.
    ended_at : str
        When it ended, blank while it is open.
    """

    number: int
    what: str
    asked_by: str
    asked_at: str
    state: State
    said: str
    ended_at: str


@dataclass(frozen=True, slots=True)
class Ledger:
    """Where the list is kept."""

    engine: Engine


def open_ledger(path: Path) -> Ledger:
    """Open the list; a job that an earlier run left open was cut off, and is marked so."""
    path.parent.mkdir(parents=True, exist_ok=True)
    engine = create_engine(f"sqlite:///{path}")
    METADATA.create_all(engine)
    with engine.begin() as connection:
        connection.execute(
            update(JOBS)
            .where(JOBS.c.state.in_(OPEN))
            .values(state=State.CUT_OFF.value, ended_at=_now())
        )
    return Ledger(engine)


def ask(ledger: Ledger, what: str, *, by: str) -> int:
    """Enter a job and give its number."""
    with ledger.engine.begin() as connection:
        entered = connection.execute(
            insert(JOBS).values(
                what=what,
                asked_by=by,
                asked_at=_now(),
                state=State.WAITING.value,
                said="",
                ended_at="",
            )
        )
        return int(entered.inserted_primary_key[0])


def tell(ledger: Ledger, number: int, state: State, said: str) -> None:
    """Note how a job stands."""
    ended = "" if state.value in OPEN else _now()
    with ledger.engine.begin() as connection:
        connection.execute(
            update(JOBS)
            .where(JOBS.c.id == number)
            .values(state=state.value, said=said, ended_at=ended)
        )


def history(ledger: Ledger) -> list[Job]:
    """List the last ten jobs, newest first."""
    with ledger.engine.connect() as connection:
        rows = connection.execute(select(JOBS).order_by(JOBS.c.id.desc()).limit(_SHOWN))
        return [_job(row) for row in rows]


def _job(row: Row) -> Job:
    return Job(
        number=row.id,
        what=row.what,
        asked_by=row.asked_by,
        asked_at=row.asked_at,
        state=State(row.state),
        said=row.said,
        ended_at=row.ended_at,
    )


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
