"""Writers that are killed, starved of disk or failed in the middle, and the laws they keep."""

import contextlib
import os
import random
import resource
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select, text

from analytics.errors import InputError
from analytics.logs.records import split_records
from analytics.logs.settings import Settings
from analytics.logs.store.importing import Prepared, prepare, write_import
from analytics.logs.store.opening import Store, open_store, reading, writing
from analytics.logs.store.schema import ABOUT, IMPORTS, METADATA, RECORDS, SIGHTINGS

__all__ = ["Tally", "batch", "check_state", "forked", "kill_inside", "small_disk", "starve"]

ROWS = 250
ROUND = 10


@dataclass(slots=True)
class Tally:
    """What happened to the writers.

    `inside` were stopped between their start and their acknowledgement.
    """

    inside: int = 0
    kept: int = 0
    lost: int = 0
    acknowledged: int = 0


def batch(number: int) -> Prepared:
    """One import's rows, no two batches alike."""
    lines = ["removal_id,position_id,found_on,reason,remarks\n"]
    lines += [
        f"R-{number}-{row},P-1,2021-04-0{1 + row % 9},burst,{'x' * 200}\n" for row in range(ROWS)
    ]
    return prepare({"removals": [split_records(lines, f"batch_{number}.csv")]}, Settings())


def empty(store: Store) -> None:
    """Begin anew; only a test may delete."""
    with writing(store) as connection:
        for table in reversed(METADATA.sorted_tables):
            if table is not ABOUT:
                connection.execute(table.delete())


def contents(store: Store) -> set[str]:
    with reading(store) as connection:
        return set(connection.scalars(select(RECORDS.c.content)))


def check_state(store: Store, before: set[str], incoming: Prepared, *, acknowledged: bool) -> bool:
    """Demand that the import is there whole or not at all; True when it is there."""
    with reading(store) as connection:
        found = set(connection.scalars(select(RECORDS.c.content)))
        sightings = connection.scalars(select(SIGHTINGS.c.record_id)).all()
        digests = set(connection.scalars(select(IMPORTS.c.digest)))
        if store.engine.dialect.name == "sqlite":
            assert connection.scalar(text("PRAGMA integrity_check")) == "ok"
            assert not connection.execute(text("PRAGMA foreign_key_check")).all()
    whole = before | {row.content for row in incoming.rows}
    assert found in (before, whole), "half an import"
    assert len(sightings) == len(found), "sightings and records do not agree"
    assert (incoming.digest in digests) == (found == whole), "an import without its rows"
    assert found == whole or not acknowledged, "an acknowledged import was lost"
    return found == whole


@contextlib.contextmanager
def forked(work: Callable[[int], None]) -> Iterator[tuple[int, int]]:
    """Run work in a fork of this process; yields its pid and the end of its pipe to read."""
    read_end, write_end = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(read_end)
        try:
            work(write_end)
        except InputError as error:
            os.write(write_end, b"refused " + str(error).encode()[:300])
        except BaseException as error:
            os.write(write_end, b"crashed " + repr(error).encode()[:300])
        os._exit(0)
    os.close(write_end)
    try:
        yield pid, read_end
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
        with contextlib.suppress(ChildProcessError):
            os.waitpid(pid, 0)
        os.close(read_end)


def heard(pid: int, read_end: int) -> bytes:
    """Wait for the end of a fork and give all it said."""
    os.waitpid(pid, 0)
    said = b""
    while part := os.read(read_end, 4096):
        said += part
    return said


def importer(address: str, incoming: Prepared) -> Callable[[int], None]:
    def work(write_end: int) -> None:
        store = open_store(address)
        os.write(write_end, b"start ")
        write_import(store, incoming, by="fork")
        os.write(write_end, b"done")

    return work


def kill_inside(address: str, kills: int, dice: random.Random) -> Tally:
    """Kill importers until so many kills landed inside an import; laws are checked at each."""
    tally = Tally()
    store = open_store(address)
    batches = [batch(number) for number in range(ROUND)]
    number, longest = 0, 0.03
    while tally.inside < kills:
        if number % ROUND == 0:
            empty(store)
        incoming, before = batches[number % ROUND], contents(store)
        number += 1
        with forked(importer(address, incoming)) as (pid, read_end):
            assert os.read(read_end, 6) == b"start "
            time.sleep(dice.uniform(0, longest))
            os.kill(pid, signal.SIGKILL)
            said = heard(pid, read_end)
        assert said in (b"", b"done"), said
        done = said == b"done"
        # Aim: half of the kills should come before the end.
        longest *= 0.95 if done else 1.05
        there = check_state(store, before, incoming, acknowledged=done)
        tally.inside += not done
        tally.acknowledged += done
        tally.kept += there and not done
        tally.lost += not there
        again = write_import(store, incoming, by="again")
        assert again.repeated == there, "the import could not be finished afterwards"
    return tally


def starve(address: str, times: int, dice: random.Random) -> Tally:
    """Import under a file size limit that makes one of the writes fail."""
    tally = Tally()
    store = open_store(address)
    batches = [batch(number) for number in range(ROUND)]
    for number in range(times):
        if number % ROUND == 0:
            empty(store)
        incoming, before = batches[number % ROUND], contents(store)
        # The journal begins anew at each opening, so a low limit fails any write of it.
        limit = dice.randrange(1, 400_000)

        def limited(write_end: int, limit: int = limit, incoming: Prepared = incoming) -> None:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
            importer(address, incoming)(write_end)

        with forked(limited) as (pid, read_end):
            said = heard(pid, read_end)
        judge(tally, store, before, incoming, said)
    return tally


def judge(tally: Tally, store: Store, before: set[str], incoming: Prepared, said: bytes) -> None:
    done = said.endswith(b"done")
    assert done or b"refused" in said, said
    assert done or b"nothing was changed" in said, said
    there = check_state(store, before, incoming, acknowledged=done)
    assert there == done, "refused, but kept"
    tally.acknowledged += done
    tally.inside += not done
    tally.lost += not there


@contextlib.contextmanager
def small_disk(folder: Path, kilobytes: int) -> Iterator[Path]:
    """Mount a small tmpfs; PermissionError where that is not allowed."""
    folder.mkdir(exist_ok=True)
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(folder)],
        capture_output=True,
        check=False,
    )
    if made.returncode:
        raise PermissionError(made.stderr.decode())
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)
