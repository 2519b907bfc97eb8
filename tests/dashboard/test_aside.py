"""Work aside: its result, its steps, its refusals and its end come back; readers come first."""

import os
import time

import pytest
import work_aside

from analytics.errors import InputError
from dashboard.jobs.aside import WorkLost, aside


def test_result_and_steps_come_back_from_another_process_of_lower_priority():
    said = []
    process, niceness = aside(work_aside.whereabouts, tell=said.append)

    assert process != os.getpid()
    assert niceness >= min(os.nice(0) + 10, 19)
    assert said == ["started", "nearly done"]


def test_a_refusal_keeps_its_words():
    with pytest.raises(InputError, match="logs must hold a table, got none"):
        aside(work_aside.refuse)


def test_a_fault_tells_where_it_happened():
    with pytest.raises(WorkLost, match=r"work_aside[\s\S]*ZeroDivisionError"):
        aside(work_aside.divide)


def test_a_killed_child_is_told_and_not_waited_for():
    with pytest.raises(WorkLost, match="killed"):
        aside(work_aside.kill_itself)


def test_what_tell_raises_ends_the_work_at_once():
    class Stop(Exception):
        pass

    def stop(_step: str) -> None:
        raise Stop

    start = time.monotonic()
    with pytest.raises(Stop):
        aside(work_aside.linger, tell=stop)
    assert time.monotonic() - start < work_aside.LONG_SECONDS / 2
