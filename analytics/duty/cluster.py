"""The same scan on a Dask cluster; needs the extra `cluster`."""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from analytics.duty.tally import HistoryTally
from analytics.errors import InputError

__all__ = ["on_cluster"]

ANSWERS_WITHIN = "20s"


def on_cluster(
    files: Sequence[Path], task: Callable[[Path], HistoryTally], address: str
) -> Iterator[HistoryTally]:
    """Tally files on the workers of a Dask scheduler, in the order given.

    Parameters
    ----------
    files : sequence of Path
        Absolute paths that the workers see too.
    task : callable
        What makes a tally of a file; sent to the workers.
    address : str
        The scheduler, e.g. ``tcp://127.0.0.1:8786``.

    Yields
    ------
    HistoryTally
        One per file. A file whose worker is lost is tallied by another.

    Raises
    ------
    InputError
        If the extra is not installed or the scheduler does not answer.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise InputError("a cluster needs the extra: install discward[cluster]") from error
    try:
        client = Client(address, timeout=ANSWERS_WITHIN)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise InputError(f"cluster must be the address of a Dask scheduler: {error}") from error
    with client:
        for future in client.map(task, files, pure=False):
            yield future.result()
