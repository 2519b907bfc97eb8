import contextlib
import os
import random
from datetime import date
from pathlib import Path

import pytest
from faults import (
    Tally,
    batch,
    check_state,
    contents,
    forked,
    heard,
    judge,
    kill_inside,
    small_disk,
    starve,
)
from shares import share
from sqlalchemy import event, func, select

from analytics.errors import InputError
from analytics.logs.store import importing
from analytics.logs.store.correcting import correct
from analytics.logs.store.importing import write_import
from analytics.logs.store.opening import open_store, reading
from analytics.logs.store.schema import CORRECTIONS, RECORDS

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and signals")
FULL = 1_000
RESULTS = Path(__file__).parents[1] / "studies" / "results"


def record(name: str, tally: Tally) -> None:
    RESULTS.mkdir(exist_ok=True)
    (RESULTS / f"{name}.csv").write_text(
        "date,stopped_inside,kept_whole,absent,acknowledged,half,acknowledged_lost\n"
        f"{date.today()},{tally.inside},{tally.kept},{tally.lost},{tally.acknowledged},0,0\n"
    )


def test_kills_inside_an_import_leave_it_whole_or_absent(address):
    tally = kill_inside(address, share(FULL), random.Random(1))

    assert tally.lost > 5, "the kills came too late to prove anything"
    assert tally.acknowledged > 0, "the kills came too early to prove anything"


@pytest.mark.study
def test_a_thousand_kills_inside_an_import(address, request):
    tally = kill_inside(address, FULL, random.Random(2))
    record(f"store_kills_{request.node.callspec.params['address']}", tally)


def test_a_writer_that_commits_piece_by_piece_is_caught(tmp_path, monkeypatch):
    # Negative control: the same kills against an import that is not one transaction.
    @contextlib.contextmanager
    def piecemeal(store):
        with store.engine.connect().execution_options(writes=True) as connection:
            event.listen(connection, "after_cursor_execute", lambda _, cursor, *rest: (
                cursor.connection.commit()
            ))  # fmt: skip
            yield connection
            connection.commit()

    monkeypatch.setattr(importing, "writing", piecemeal)
    monkeypatch.setattr(importing, "_CHUNK", 10)
    with pytest.raises(AssertionError, match="half an import|an import without its rows"):
        kill_inside(str(tmp_path / "store.sqlite"), 200, random.Random(3))


def test_a_writer_that_acknowledges_too_early_is_caught(tmp_path):
    # Negative control: the law itself, given an acknowledgement without an import.
    store = open_store(tmp_path / "store.sqlite")
    with pytest.raises(AssertionError, match="acknowledged import was lost"):
        check_state(store, set(), batch(1), acknowledged=True)


def test_a_write_that_fails_leaves_the_store_as_it_was(tmp_path):
    tally = starve(str(tmp_path / "store.sqlite"), share(FULL), random.Random(4))

    assert tally.inside > 8
    assert tally.acknowledged > 2


@pytest.mark.study
def test_a_thousand_failing_writes(tmp_path):
    record("store_failing_writes", starve(str(tmp_path / "store.sqlite"), FULL, random.Random(5)))


def fill_up(folder: Path, times: int, dice: random.Random) -> Tally:
    """Import on a disk with less and less room left, then with room again."""
    tally = Tally()
    address = folder / "store.sqlite"
    filler = folder / "filler"
    for number in range(times):
        if number % 20 == 0:
            for path in folder.iterdir():
                path.unlink()
        filler.unlink(missing_ok=True)
        store = open_store(address)
        incoming, before = batch(number), contents(store)
        free = os.statvfs(folder).f_bavail * os.statvfs(folder).f_frsize
        filler.write_bytes(bytes(max(free - dice.randrange(4096, 400_000), 0)))
        try:
            write_import(store, incoming, by="me")
            said = b"done"
        except InputError as error:
            said = b"refused " + str(error).encode()
        filler.unlink()
        judge(tally, store, before, incoming, said)
        assert write_import(store, incoming, by="me").repeated == (said == b"done")
    return tally


def test_a_full_disk_leaves_the_store_as_it_was(tmp_path):
    try:
        with small_disk(tmp_path / "disk", 12_000) as folder:
            tally = fill_up(folder, share(FULL), random.Random(6))
    except PermissionError:
        pytest.skip("this machine does not let us mount a small disk")

    assert tally.inside > 8
    assert tally.acknowledged > 2


@pytest.mark.study
def test_a_thousand_full_disks(tmp_path):
    with small_disk(tmp_path / "disk", 12_000) as folder:
        record("store_full_disk", fill_up(folder, FULL, random.Random(7)))


def test_eight_writers_at_once_lose_nothing_and_wait_in_line(address):
    batches = [batch(number) for number in range(8)]

    def writer(number: int):
        def work(write_end: int) -> None:
            store = open_store(address)  # all eight make the store, too
            for step in range(3):
                part = batch(100 * number + step)
                write_import(store, part, by=f"writer {number}")
            write_import(store, batches[number], by=f"writer {number}")
            os.write(write_end, b"done")

        return work

    said = together([writer(number) for number in range(8)])
    store = open_store(address)

    assert said == [b"done"] * 8
    expected = {row.content for part in batches for row in part.rows}
    expected |= {
        row.content
        for number in range(8)
        for step in range(3)
        for row in batch(100 * number + step).rows
    }
    assert contents(store) == expected


def test_of_eight_who_correct_one_row_one_wins_and_seven_are_told(address):
    store = open_store(address)
    write_import(store, batch(1), by="me")
    with reading(store) as connection:
        number = connection.scalar(select(func.min(RECORDS.c.id)))

    def corrector(name: int):
        def work(write_end: int) -> None:
            correct(
                open_store(address), number, {"remarks": f"by {name}"}, reason="x", by=str(name)
            )
            os.write(write_end, b"done")

        return work

    said = together([corrector(name) for name in range(8)])

    assert sorted(text == b"done" for text in said) == [False] * 7 + [True]
    assert all(text == b"done" or b"was corrected by" in text for text in said), said
    with reading(store) as connection:
        assert connection.scalar(select(func.count()).select_from(CORRECTIONS)) == 1


def together(works) -> list[bytes]:
    """Fork all, then hear all."""
    with contextlib.ExitStack() as stack:
        forks = [stack.enter_context(forked(work)) for work in works]
        return [heard(pid, read_end) for pid, read_end in forks]
