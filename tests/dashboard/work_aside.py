"""Work for the tests of `aside`: importable by the child, without the test's own imports."""

import os
import signal
import time
from collections.abc import Callable

from analytics.errors import InputError

LONG_SECONDS = 120


def whereabouts(tell: Callable[[str], None]) -> tuple[int, int]:
    tell("started")
    tell("nearly done")
    return os.getpid(), os.nice(0)


def refuse() -> None:
    raise InputError("logs must hold a table, got none")


def divide() -> float:
    return 1 / 0


def kill_itself() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def linger(tell: Callable[[str], None]) -> None:
    tell("started")
    time.sleep(LONG_SECONDS)
