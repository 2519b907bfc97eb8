"""Jobs: told step by step, cancelled between steps, remembered, and never two at once."""

import threading
from pathlib import Path

import pytest
from dash import html
from sample import empty_findings, sample_findings

from analytics.errors import InputError
from dashboard.jobs.ledger import Ledger, State, ask, history, open_ledger, tell
from dashboard.jobs.worker import Worker
from dashboard.live import Live


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
        _, page = live.page(search, path, draw)
        assert page.children == path
    assert drawn == [("", "/a"), ("?site=Millbank", "/a"), ("", "/b")]

    live.show(empty_findings())
    live.page("", "/a", draw)
    assert len(drawn) == 4
