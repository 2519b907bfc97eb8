"""Jobs: told step by step, cancelled between steps, remembered, and never two at once."""

import shutil
import threading
from dataclasses import replace
from functools import partial
from pathlib import Path

import pandas as pd
import pytest
from dash import html
from sample import empty_findings, sample_findings
from small_logs import small_logs

from analytics.errors import InputError
from analytics.findings import empty_frame
from analytics.spares.backtest import Backtest
from dashboard.changes import changes_file, changes_of
from dashboard.jobs.ledger import Job, Ledger, State, ask, history, open_ledger, tell
from dashboard.jobs.work import Work, works
from dashboard.jobs.worker import Worker
from dashboard.live import Live
from dashboard.past_forecasts import keep_past, past_sentence, with_past


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return open_ledger(tmp_path / "jobs.sqlite")


def finished(worker: Worker, action: object) -> State:
    assert worker.start("test", action, by="ada")
    worker.wait(10)
    return history(worker.ledger)[0].state


def test_a_job_is_noted_from_asking_to_its_end(ledger: Ledger):
    steps = []

    def action(say):
        for step in ("one", "two"):
            say(step)
            steps.append(history(ledger)[0].said)

    assert finished(Worker(ledger), action) is State.DONE
    (job,) = history(ledger)
    assert steps == ["one", "two"]
    assert job.asked_by == "ada"
    assert job.ended_at >= job.asked_at


def test_a_job_is_cancelled_at_its_next_step(ledger: Ledger):
    worker, at_first, go_on = Worker(ledger), threading.Event(), threading.Event()
    reached = []

    def action(say):
        say("one")
        at_first.set()
        go_on.wait(10)
        say("two")
        reached.append("two")

    worker.start("test", action, by="ada")
    at_first.wait(10)
    worker.cancel()
    go_on.set()
    worker.wait(10)

    assert history(ledger)[0].state is State.CANCELLED
    assert reached == []


def test_a_second_job_waits_its_turn(ledger: Ledger):
    worker, go_on = Worker(ledger), threading.Event()

    assert worker.start("test", lambda say: go_on.wait(10), by="ada")
    assert not worker.start("test", lambda say: None, by="bob")
    go_on.set()
    worker.wait(10)
    assert worker.start("test", lambda say: None, by="bob")
    worker.wait(10)
    assert len(history(ledger)) == 2


def test_an_error_of_the_input_is_told_and_a_fault_is_not_spread(ledger: Ledger):
    def no_folder(say):
        raise InputError("no log folder at x")

    def fault(say):
        raise KeyError("secret detail")

    worker = Worker(ledger)
    assert finished(worker, no_folder) is State.FAILED
    assert history(ledger)[0].said == "no log folder at x"
    assert finished(worker, fault) is State.FAILED
    assert "secret" not in history(ledger)[0].said


def test_a_restart_marks_what_it_cut_off_and_keeps_the_rest(tmp_path: Path):
    first = open_ledger(tmp_path / "jobs.sqlite")
    tell(first, ask(first, "test", by="ada"), State.DONE, "done")
    tell(first, ask(first, "test", by="ada"), State.RUNNING, "half way")

    jobs = history(open_ledger(tmp_path / "jobs.sqlite"))
    assert [job.state for job in jobs] == [State.CUT_OFF, State.DONE]
    assert jobs[0].said == "half way"


def test_new_findings_replace_the_old_whole():
    live = Live(sample_findings(positions=6))
    before = live.look("?site=Millbank")
    assert live.look("?site=Millbank") is before

    live.show(empty_findings())
    assert live.look("?site=Millbank").whole.lives.empty
    assert len(before.whole.lives) > 0


def test_a_page_is_drawn_once_until_the_findings_change():
    live = Live(sample_findings(positions=6))
    drawn = []

    def draw(view, path):
        drawn.append((view.search, path))
        return html.Div(path)

    for search, path in (("", "/a"), ("", "/a"), ("?site=Millbank", "/a"), ("", "/b")):
        page = live.page(search, path, draw)
        assert page.drawn == (path,)
    assert drawn == [("", "/a"), ("?site=Millbank", "/a"), ("", "/b")]

    live.show(empty_findings())
    live.page("", "/a", draw)
    assert len(drawn) == 4


@pytest.fixture
def plant(demo_logs: Path, tmp_path: Path) -> Path:
    """The demo's tables and two files of its history."""
    folder = tmp_path / "logs"
    shutil.copytree(demo_logs, folder, ignore=shutil.ignore_patterns("pressure", "recorded"))
    (folder / "pressure").mkdir()
    files = sorted(path for path in (demo_logs / "pressure").rglob("*") if path.is_file())
    for path in files[:2]:
        shutil.copy(path, folder / "pressure" / path.name)
    return folder


def ran(worker: Worker, work: Work) -> Job:
    assert worker.start(work.what, partial(work.act, "ada", ""), by="ada")
    worker.wait(300)
    return history(worker.ledger)[0]


def test_a_scan_keeps_its_tallies_and_tells_its_files(ledger: Ledger, plant: Path):
    live = Live(sample_findings(positions=6), plant)
    job = ran(Worker(ledger), works(live, plant)["scan"])

    assert job.state is State.DONE, job.said
    assert job.said == "2 files tallied; read the logs again to use them"
    assert len(list((plant / "recorded" / "tallies").glob("*.npz"))) == 2


def test_a_scan_can_be_cancelled_and_keeps_what_was_done(ledger: Ledger, plant: Path):
    worker = Worker(ledger)
    work = works(Live(sample_findings(positions=6), plant), plant)["scan"]

    def act(say):
        def then_cancel(step: str) -> None:
            say(step)
            if "1 of 2" in step:
                worker.cancel()

        return work.act("ada", "", then_cancel)

    worker.start(work.what, act, by="ada")
    worker.wait(120)

    assert history(ledger)[0].state is State.CANCELLED
    assert (plant / "recorded" / "tallies").is_dir()


def test_logs_without_a_history_have_nothing_to_scan(ledger: Ledger, tmp_path: Path):
    folder = small_logs(tmp_path / "logs")
    job = ran(Worker(ledger), works(Live(sample_findings(positions=6), folder), folder)["scan"])

    assert job.said == "these logs have no pressure history"


def test_past_forecasts_are_told_kept_and_shown_after_a_restart(
    ledger: Ledger, plant: Path, monkeypatch: pytest.MonkeyPatch
):
    steps, found = [], past_of(0.5)

    def short(logs, *, tell, **_):
        tell("as if it were 2022-01-01")
        return found

    monkeypatch.setattr("dashboard.jobs.work.backtest_logs", short)
    monkeypatch.setattr("dashboard.jobs.work.aside", lambda work, tell: work(tell=tell))
    before = replace(sample_findings(positions=6), past_forecasts=empty_frame("past_forecasts"))
    live = Live(before, plant)
    assert past_sentence(live.findings) == ""
    work = works(live, plant)["past"]
    work.act("ada", "", steps.append)

    assert "forecast 1 of at most 5: as if it were 2022-01-01" in steps
    said = past_sentence(live.findings)
    assert "50 % nearer than the best of three plain ones" in said
    assert "lay in its 80 % interval 80 % of the time" in said
    assert "changed since" not in said
    assert past_sentence(with_past(before, plant)) == said
    later = with_past(replace(before, data_version="another"), plant)
    assert "The logs have changed since." in past_sentence(later)


def past_of(ratio: float) -> Backtest:
    summary = pd.DataFrame(
        [("discward", 0.1, 0.4, ratio, 0.5, 0.8, 0.95), ("croston", 0.0, 0.8, 1.0, 0.5, 0.8, 0.95)],
        columns=["method", "bias", "crps", "crps_ratio", "covered_50", "covered_80", "covered_95"],
    )
    return Backtest(rows=pd.DataFrame({"cut": [1, 1, 2]}), summary=summary)


def test_a_forecast_that_did_worse_is_said_to_have(plant: Path):
    keep_past(plant, past_of(1.25), weeks=52, version="x")

    said = past_sentence(with_past(sample_findings(positions=6), plant))
    assert "From 2 earlier days, 52 weeks ahead" in said
    assert "25 % further off than the best" in said


def test_scores_written_by_something_else_are_left_out(plant: Path):
    (plant / "recorded").mkdir()
    (plant / "recorded" / "past_forecasts.json").write_text("{")
    before = sample_findings(positions=6)

    assert with_past(before, plant) is before


def test_reading_again_shows_and_notes_the_new_data_and_model(ledger: Ledger, tmp_path: Path):
    folder = small_logs(tmp_path / "logs")
    live = Live(sample_findings(positions=6), folder)
    job = ran(Worker(ledger), works(live, folder)["read"])
    noted = changes_of(changes_file(folder)).iloc[0]

    assert job.state is State.DONE, job.said
    assert live.findings.title == "Small"
    assert noted["data_version"] == live.findings.data_version != ""
    assert noted["model_version"] == live.findings.model_version
    assert noted["kind"] == "import"
