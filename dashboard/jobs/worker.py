"""The worker: one long job at a time, in a thread of its own."""

import logging
import threading
from collections.abc import Callable

from analytics.errors import DiscwardError
from dashboard.jobs.ledger import Ledger, State, ask, tell

__all__ = ["Cancelled", "Worker"]

_log = logging.getLogger(__name__)

Action = Callable[[Callable[[str], None]], str | None]
"""Work that says what it is at and gives its last word; saying so is where it can be cancelled."""


class Cancelled(Exception):
    """Somebody cancelled the job."""


class Worker:
    """Runs one job at a time; a second is refused until the first has ended.

    Attributes
    ----------
    ledger : Ledger
        Where jobs are noted.
    """

    def __init__(self, ledger: Ledger) -> None:
        self.ledger = ledger
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()
        self._lock = threading.Lock()

    @property
    def is_busy(self) -> bool:
        """Whether a job is running."""
        return self._thread is not None and self._thread.is_alive()

    def start(self, what: str, action: Action, *, by: str) -> bool:
        """Start a job; False when another is still running."""
        with self._lock:
            if self.is_busy:
                return False
            self._stop.clear()
            number = ask(self.ledger, what, by=by)
            self._thread = threading.Thread(
                target=self._run, args=(number, action), name=f"job {number}", daemon=True
            )
            self._thread.start()
            return True

    def cancel(self) -> None:
        """Ask the running job to stop at its next step."""
        self._stop.set()

    def wait(self, seconds: float) -> None:
        """Wait for the running job, at most so long."""
        if self._thread is not None:
            self._thread.join(seconds)

    def _run(self, number: int, action: Action) -> None:
        def say(step: str) -> None:
            if self._stop.is_set():
                raise Cancelled
            tell(self.ledger, number, State.RUNNING, step)

        try:
            last = action(say)
        except Cancelled:
            tell(self.ledger, number, State.CANCELLED, "cancelled; nothing was changed")
        except DiscwardError as error:
            tell(self.ledger, number, State.FAILED, str(error))
        except Exception:
            # A fault of ours: the reader gets one line, the server's log the whole of it.
            _log.exception("job %d failed", number)
            tell(self.ledger, number, State.FAILED, "it failed; the server's log says where")
        else:
            tell(self.ledger, number, State.DONE, last or "done")
