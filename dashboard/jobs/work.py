"""What can be asked for as a job: read and fit anew, scan the history, check past forecasts."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from analytics.backtest import backtest_logs
from analytics.duty.history import scan_logs
from analytics.job import N_DRAWS, SEED, run
from analytics.logs.reading import read_logs
from dashboard.changes import Kind, author, changes_file, note_change
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
        found = run(folder, keep_in=tallies, tell=say)
        say("showing the new findings")
        live.show(with_past(found, folder), folder)
        what = "read the logs again and fitted anew"
        note_change(changes_file(folder), Kind.IMPORT, what, author(found, by, account=account))
        return f"done: data version {found.data_version}"

    def scan(_by: str, _account: str, say: Say) -> str:
        say("reading the logs")
        tables = read_logs(folder).tables
        seen: list[int] = [0]

        def progress(done: int, files: int) -> None:
            seen[0] = files
            say(f"reading the pressure history: {done} of {files} files")

        if scan_logs(folder, tables, keep_in=tallies, on_progress=progress) is None:
            return "these logs have no pressure history"
        return f"{seen[0]} files tallied; read the logs again to use them"

    def past_forecasts(by: str, account: str, say: Say) -> str:
        say("reading the logs")
        shown = live.findings.data_version
        made = [0]

        def tell(step: str) -> None:
            made[0] += 1
            say(f"forecast {made[0]} of at most {MOST_CUTS}: {step}")

        found = backtest_logs(
            read_logs(folder),
            horizon_weeks=WEEKS,
            most_cuts=MOST_CUTS,
            n_draws=N_DRAWS,
            seed=SEED,
            tell=tell,
        )
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
        found = run(folder, tell=say)
        live.show(found, folder)
        what = f"ran the job on the logs brought as {number}"
        note_change(notes, Kind.IMPORT, what, author(found, by, account=account))
        return "done"

    return Work(what=f"run the job on {number}", act=act)
