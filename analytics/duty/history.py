"""What does the historian say each disc endured? Any number of files, in bounded memory."""

import os
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.duty.batches import Batch, Names, historian_files, read_batches
from analytics.duty.counting import PARTS_AT_ONCE, ChangeDays, Counter, Limits, stretch_starts
from analytics.duty.kept import keep, kept_tally
from analytics.duty.ledger import CELL, FIRST, LAST, POSITION, empty_ledger
from analytics.duty.overlaps import Coverage, Part, told_once, told_spans
from analytics.duty.tally import HistoryTally, Note, merge_tallies
from analytics.duty.windows import change_days
from analytics.duty.zone import Clock, clock_of
from analytics.errors import InputError, UnitError

__all__ = ["HistoryTally", "Limits", "scan_history", "scan_logs", "tally_file"]

Progress = Callable[[int, int], None]

_SORTABLE_ROWS = 10_000_000


def scan_history(
    folder: Path | str,
    *,
    change_days: ChangeDays | None = None,
    limits: Limits | None = None,
    zone: str | None = None,
    keep_in: Path | None = None,
    cluster: str | None = None,
    on_progress: Progress | None = None,
) -> HistoryTally:
    """Tally every historian file under a folder, position by position and quarter by quarter.

    Parameters
    ----------
    folder : Path
        Parquet or CSV files with `position_id`, `time`, `pressure [unit]`, by day, by
        position or mixed.
    change_days : mapping of str to array of datetime64[D], optional
        Days on which the disc at a position was changed; each becomes a stretch of its
        own, so that no stretch belongs to two discs.
    limits : Limits, optional
        When rows are not joined and when a reading is stuck.
    zone : str, optional
        IANA name of the zone that times without one of their own are written in; days and
        quarters are the zone's. Without it such times are taken as they stand.
    keep_in : Path, optional
        Folder for the tallies of files already read. A file with the same content is
        not read again.
    cluster : str, optional
        Address of a Dask scheduler whose workers see the same files. Without it the
        files are read by this machine's cores.
    on_progress : callable, optional
        Called with files done and files in all.

    Returns
    -------
    HistoryTally
        The same to the bit however the files were shared out. A file that cannot be
        read is named in its notes and the rest is used; what two files tell of one position
        and time is used once, with a note that says whether they agree.

    Raises
    ------
    InputError
        If the folder holds no historian file, or not one of them can be used.
    """
    limits = limits or Limits()
    files = historian_files(Path(folder))
    task = _Task(change_days=dict(change_days or {}), limits=limits, zone=zone, keep_in=keep_in)
    if cluster is None:
        results = _on_this_machine(files, task)
    else:
        from analytics.duty.cluster import on_cluster  # the extra is loaded only when asked for

        results = on_cluster(files, task, cluster)
    pending: list[HistoryTally] = []
    labels: list[str] = []
    coverage = Coverage(limits.gap_ms)
    for done, (path, tally) in enumerate(zip(files, results, strict=True), start=1):
        pending.append(_new_of(path, tally, coverage, task))
        labels.append(path.name)
        if sum(len(part.ledger.parts) for part in pending) > PARTS_AT_ONCE:
            pending, labels = [merge_tallies(pending, labels)], ["an earlier file"]
        if on_progress:
            on_progress(done, len(files))
    merged = merge_tallies(pending, labels)
    if not len(merged.ledger.parts):
        raise InputError(
            f"{folder} holds no historian file that can be used: {_in_words(merged.notes)}"
        )
    return merged


def _new_of(path: Path, tally: HistoryTally, coverage: Coverage, task: "_Task") -> HistoryTally:
    """Give what a file tells that files before it do not, and remember it."""
    told = told_spans(tally)
    shared = coverage.shared(told)
    if shared:
        earlier = coverage.files_within(shared)
        tally = told_once(path, tally, shared, earlier, task.read_again)
        told = told_spans(tally)
    coverage.add(path, told)
    return tally


def scan_logs(
    folder: Path | str,
    tables: Mapping[str, pd.DataFrame],
    *,
    limits: Limits | None = None,
    zone: str | None = None,
    keep_in: Path | None = None,
    cluster: str | None = None,
    on_progress: Progress | None = None,
) -> HistoryTally | None:
    """Tally the historian of a log folder, cut where its discs were changed.

    Parameters
    ----------
    folder : Path
        A log folder; its historian lies under `pressure/`.
    tables : mapping of str to DataFrame
        Checked frames `installs` and, if there is one, `removals`.
    limits, zone, keep_in, cluster, on_progress
        As in `scan_history`.

    Returns
    -------
    HistoryTally or None
        None when the folder holds no historian.
    """
    pressure = Path(folder) / "pressure"
    if not pressure.is_dir():
        return None
    return scan_history(
        pressure,
        change_days=change_days(tables),
        limits=limits,
        zone=zone,
        keep_in=keep_in,
        cluster=cluster,
        on_progress=on_progress,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """All that a worker needs to tally a file."""

    change_days: dict[str, NDArray[np.datetime64]]
    limits: Limits
    zone: str | None
    keep_in: Path | None

    def __call__(self, path: Path, stopped: Callable[[], bool] = lambda: False) -> HistoryTally:
        if self.keep_in is None:
            return self._tallied(path, stopped)
        limits = self.limits
        digest, tally = kept_tally(self.keep_in, path, limits.gap_ms, limits.flat_ms, self.zone)
        if tally is None or not _same_stretches(tally, self.change_days):
            tally = self._tallied(path, stopped)
            keep(self.keep_in, digest, tally, self.zone)
        return tally

    def _tallied(self, path: Path, stopped: Callable[[], bool]) -> HistoryTally:
        return tally_file(path, self.change_days, self.limits, zone=self.zone, stopped=stopped)

    def read_again(self, path: Path, part: Part) -> HistoryTally:
        """Tally part of a file; what is wrong with the file was said the first time."""
        found = tally_file(path, self.change_days, self.limits, zone=self.zone, part=part)
        return replace(found, notes=())


def _on_this_machine(files: Sequence[Path], task: _Task) -> Iterator[HistoryTally]:
    """Tally files on all cores, in order; stops between batches when interrupted."""
    stop = threading.Event()
    pool = ThreadPoolExecutor(os.cpu_count() or 1)
    try:
        yield from pool.map(lambda path: task(path, stop.is_set), files)
    finally:
        stop.set()
        pool.shutdown(wait=True, cancel_futures=True)


def tally_file(
    path: Path,
    change_days: ChangeDays,
    limits: Limits,
    *,
    zone: str | None = None,
    part: Part | None = None,
    stopped: Callable[[], bool] = lambda: False,
) -> HistoryTally:
    """Tally one historian file; a file that cannot be used gives an empty tally and a note.

    `part` keeps some of its rows only.
    """
    names, clock = Names(), clock_of(zone)
    try:
        counter = Counter(path.name, names, change_days, limits, part)
        for batch in read_batches(path, names, clock):
            if stopped():
                raise KeyboardInterrupt
            counter.add(batch)
        if counter.out_of_order:
            counter = Counter(path.name, names, change_days, limits, part)
            counter.add(_sorted_rows(path, names, clock))
            counter.note("", "rows are not in the order of time; sorted in memory", 0)
        return counter.finish()
    except (InputError, UnitError) as error:
        note = Note(file=path.name, position_id="", what=f"{error}; not used", rows=0)
        return HistoryTally(
            positions=(),
            ledger=empty_ledger(0, 0),
            gap_ms=limits.gap_ms,
            flat_ms=limits.flat_ms,
            notes=(note,),
        )


def _sorted_rows(path: Path, names: Names, clock: Clock) -> Batch:
    """Read a whole file whose rows are out of order and sort it by position and time."""
    batches = []
    rows = 0
    for batch in read_batches(path, names, clock):
        batches.append(batch)
        rows += batch.codes.size
        if rows > _SORTABLE_ROWS:
            raise InputError(
                f"rows are not in the order of time and more than {_SORTABLE_ROWS:,} are too many "
                "to sort here: sort the file by position and time, or split it"
            )
    codes = np.concatenate([batch.codes for batch in batches])
    times = np.concatenate([batch.times for batch in batches])
    pressure = np.concatenate([batch.pressure for batch in batches])
    degc = [batch.temperature for batch in batches if batch.temperature is not None]
    order = np.lexsort((times, codes))
    return Batch(
        codes=codes[order],
        times=times[order],
        pressure=pressure[order],
        temperature=np.concatenate(degc)[order] if degc else None,
        repeats=batches[0].repeats,
        unreadable=sum(batch.unreadable for batch in batches),
    )


def _same_stretches(tally: HistoryTally, change_days: ChangeDays) -> bool:
    """Whether a kept tally was cut where these days of change would cut it."""
    parts = tally.ledger.parts
    for number, name in enumerate(tally.positions):
        own = parts[parts[:, POSITION] == number]
        cuts = stretch_starts(change_days.get(name))
        first = np.searchsorted(cuts, own[:, FIRST], side="right")
        last = np.searchsorted(cuts, own[:, LAST], side="right")
        if (first != last).any() or (cuts[first - 1] != own[:, CELL]).any():
            return False
    return True


def _in_words(notes: Sequence[Note]) -> str:
    return "; ".join(f"{note.file} {note.what}" for note in notes[:3]) or "no rows"
