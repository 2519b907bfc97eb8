"""In which weeks do upsets come, and which discs does each open? Histories laid out evenly.

Times and sizes follow a lattice, so that a few thousand histories stand for
all, and the same ones come in every run.
"""

import numpy as np
from numpy.typing import NDArray

__all__ = ["opened_discs", "upset_histories"]

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
Table = NDArray[np.int32]


def upset_histories(
    upsets: int, number: int, hits: Array, n_weeks: int, rng: np.random.Generator
) -> NDArray[np.uint8]:
    """Lay out histories with a given number of upsets.

    Parameters
    ----------
    upsets : int
        Upsets in every history, at least 1. [-]
    number : int
        Histories. [-]
    hits : ndarray, shape (k + 1,)
        Share of the upsets that open 0, 1, 2 ... of the k discs. [-]
    n_weeks : int
        Horizon; each upset falls into any week 1 .. n_weeks alike. [weeks]
    rng : Generator
        Shifts the lattice and shuffles the discs.

    Returns
    -------
    ndarray of uint8, shape (number, k, n_weeks + 1)
        How often each disc is opened in each week. [-]

    References
    ----------
    .. [1] Niederreiter, H. (1978), "Quasi-Monte Carlo methods and pseudo-random
       numbers", Bulletin of the American Mathematical Society 84, 957-1041.

    Examples
    --------
    One upset opens both of two discs; over 4 histories it comes once in each of 4 weeks.

    >>> rng = np.random.default_rng(1)
    >>> found = upset_histories(1, 4, np.array([0.0, 0.0, 1.0]), 4, rng)
    >>> found.sum(axis=0).tolist()
    [[0, 1, 1, 1, 1], [0, 1, 1, 1, 1]]
    """
    roots = np.sqrt(_primes(2 * upsets)) % 1
    points = (np.arange(1, number + 1)[:, None] * roots + rng.random(2 * upsets)) % 1
    # Ranks for values: then every week and every size has its exact share.
    points = (points.argsort(axis=0).argsort(axis=0) + 0.5) / number
    size = np.searchsorted(np.cumsum(hits) / hits.sum(), points[:, ::2], side="right")
    week = 1 + np.floor(points[:, 1::2] * n_weeks).astype(np.int64)
    struck = np.zeros((number, len(hits) - 1, n_weeks + 1), dtype=np.uint8)
    for event in range(upsets):
        rank = rng.random((number, len(hits) - 1)).argsort(axis=1).argsort(axis=1)
        run, place = np.nonzero(rank < size[:, event, None])
        struck[run, place, week[run, event]] += 1
    return struck


def opened_discs(struck: NDArray[np.uint8], kind: Counts) -> tuple[Table, Counts, Counts]:
    """List the discs opened, those of one kind with one history counted together.

    Parameters
    ----------
    struck : ndarray of uint8, shape (number, k, n_weeks + 1)
        As from `upset_histories`.
    kind : ndarray of int, shape (k,)
        Kind of each disc, 0, 1 ... [-]

    Returns
    -------
    rows : ndarray of int32, shape (n_rows, n_weeks + 3)
        Number of the history, kind, and hits by week; ordered by history.
    count : ndarray of int, shape (n_rows,)
        Discs each row stands for. [-]
    start : ndarray of int, shape (number + 1,)
        First row of each history.
    """
    run, place = np.nonzero(struck.any(axis=2))
    table = np.empty((len(run), 2 + struck.shape[2]), dtype=np.int32)
    table[:, 0], table[:, 1], table[:, 2:] = run, kind[place], struck[run, place]
    count = np.ones(len(table), dtype=np.int64)
    if kind.size > kind.max() + 1:
        table, count = np.unique(table, axis=0, return_counts=True)
    return table, count, np.searchsorted(table[:, 0], np.arange(len(struck) + 1))


def _primes(number: int) -> Counts:
    """The first primes."""
    found: list[int] = []
    candidate = 2
    while len(found) < number:
        if all(candidate % prime for prime in found):
            found.append(candidate)
        candidate += 1
    return np.array(found)
