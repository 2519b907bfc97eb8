"""What can be asked for as a job: read and fit anew, scan the history, check past forecasts."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from analytics.backtest import backtest_logs
from analytics.duty.history import scan_logs
from analytics.job import N_DRAWS, SEED, run
from analytics.logs.reading import read_logs
from analytics.spares.backtest import Backtest
from dashboard.changes import Kind, author, changes_file, note_change
from dashboard.jobs.aside import aside
from dashboard.live import Live
from dashboard.past_forecasts import keep_past, with_past

__all__ = ["Work", "bring", "works"]

Say = Callable[[str], None]

WEEKS = 52
MOST_CUTS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One kind of job.

    Attributes
    ----------
    what : str
        Its name in the list of jobs.
    act : callable
        Does it; told who asks and where to say the steps, it gives its last word.
    """

    what: str
    act: Callable[[str, str, Say], str]


def works(live: Live, folder: Path) -> dict[str, Work]:
    """Give the kinds of job on a log folder, by the name that asks for each."""
    tallies = folder / "recorded" / "tallies"

    def read_again(by: str, account: str, say: Say) -> str:
        found = aside(partial(run, folder, keep_in=tallies), tell=say)
        say("showing the new findings")
        live.show(with_past(found, folder), folder)
        what = "read the logs again and fitted anew"
        note_change(changes_file(folder), Kind.IMPORT, what, author(found, by, account=account))
        return f"done: data version {found.data_version}"

    def scan(_by: str, _account: str, say: Say) -> str:
        files = aside(partial(_tallied, folder, tallies), tell=say)
        if files is None:
            return "these logs have no pressure history"
        return f"{files} files tallied; read the logs again to use them"

    def past_forecasts(by: str, account: str, say: Say) -> str:
        shown = live.findings.data_version
        found = aside(partial(_forecast_anew, folder), tell=say)
        keep_past(folder, found, weeks=WEEKS, version=shown)
        if live.folder == folder:
            live.show(with_past(live.findings, folder), folder)
        return "done: see what came of earlier forecasts on the storeroom's page"

    return {
        "read": Work(what="read the logs again", act=read_again),
        "scan": Work(what="scan the pressure history", act=scan),
        "past": Work(what="check past forecasts", act=past_forecasts),
    }


def bring(live: Live, folder: Path, number: str, notes: Path) -> Work:
    """Give the job that runs on logs brought in the browser and shows what it finds."""

    def act(by: str, account: str, say: Say) -> str:
        found = aside(partial(run, folder), tell=say)
        live.show(found, folder)
        what = f"ran the job on the logs brought as {number}"
        note_change(notes, Kind.IMPORT, what, author(found, by, account=account))
        return "done"

    return Work(what=f"run the job on {number}", act=act)


def _tallied(folder: Path, tallies: Path, *, tell: Say) -> int | None:
    """Scan the pressure history and give how many files it has; None when there is none."""
    tell("reading the logs")
    seen = 0

    def progress(done: int, files: int) -> None:
        nonlocal seen
        seen = files
        tell(f"reading the pressure history: {done} of {files} files")

    found = scan_logs(folder, read_logs(folder).tables, keep_in=tallies, on_progress=progress)
    return None if found is None else seen


def _forecast_anew(folder: Path, *, tell: Say) -> Backtest:
    tell("reading the logs")
    made = 0

    def step(said: str) -> None:
        nonlocal made
        made += 1
        tell(f"forecast {made} of at most {MOST_CUTS}: {said}")

    return backtest_logs(
        read_logs(folder),
        horizon_weeks=WEEKS,
        most_cuts=MOST_CUTS,
        n_draws=N_DRAWS,
        seed=SEED,
        tell=step,
    )
