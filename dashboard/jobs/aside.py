"""Heavy work in a process of its own, behind the readers in the queue for the processor.

In a thread it would hold the interpreter that answers the pages.
"""

import atexit
import multiprocessing
import os
import traceback
from collections.abc import Callable
from contextlib import suppress
from enum import Enum
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from analytics.errors import DiscwardError, InputError

__all__ = ["WorkLost", "aside"]

_LATER = 10
"""Added to the child's niceness: it gets what the readers leave."""

_Result = TypeVar("_Result")
Tell = Callable[[str], None]


class WorkLost(RuntimeError):
    """The work broke off for a reason that is no fault of its input."""


class _Word(Enum):
    STEP = "step"
    DONE = "done"
    REFUSED = "refused"
    BROKEN = "broken"


def aside(work: Callable[..., _Result], *given: Any, tell: Tell | None = None) -> _Result:
    """Do work in a child process at low priority and give its result.

    Parameters
    ----------
    work : callable
        A function of a module, called with `given`, and with the keyword `tell` if one is
        given here. What it takes and gives is pickled on the way.
    tell : callable, optional
        Called here with each step the work says. What it raises ends the child: so a
        job is cancelled.

    Returns
    -------
    any
        What the work gives.

    Raises
    ------
    InputError
        If the work refuses its input, with its words.
    WorkLost
        If the child fails or is killed.

    Examples
    --------
    >>> aside(pow, 2, 10)
    1024
    """
    spawning = multiprocessing.get_context("spawn")
    here, there = spawning.Pipe(duplex=False)
    # No daemon: reading a workbook has a child of its own, which daemons may not.
    child = spawning.Process(target=_work, args=(there, work, given, tell is not None))
    child.start()
    atexit.register(child.kill)
    there.close()
    try:
        return _heard(here, tell)
    finally:
        here.close()
        child.kill()
        child.join()
        atexit.unregister(child.kill)


def _heard(here: Connection, tell: Tell | None) -> Any:
    while True:
        try:
            word, said = here.recv()
        except EOFError:
            raise WorkLost("the work ended without a word: it was killed") from None
        if word is _Word.DONE:
            return said
        if word is _Word.REFUSED:
            raise InputError(said)
        if word is _Word.BROKEN:
            raise WorkLost(said)
        if tell is not None:
            tell(said)


def _work(there: Connection, work: Callable[..., Any], given: tuple[Any, ...], tells: bool) -> None:
    with suppress(AttributeError, OSError):
        os.nice(_LATER)

    def say(step: str) -> None:
        there.send((_Word.STEP, step))

    try:
        done = work(*given, tell=say) if tells else work(*given)
        answer = (_Word.DONE, done)
    except DiscwardError as error:
        answer = (_Word.REFUSED, str(error))
    except Exception:
        answer = (_Word.BROKEN, traceback.format_exc())
    there.send(answer)
