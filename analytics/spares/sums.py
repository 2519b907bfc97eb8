"""Sums of independent counts, by week and parameter draw.

Distributions are arrays of probabilities of 0, 1, 2 ...; draws lie innermost so
that the processor's vector units run along them.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.stats import nbinom

__all__ = ["CountSum", "convolved", "shifted", "spoilt"]

Array = NDArray[np.float64]

_NEGLIGIBLE = 1e-13


def convolved(one: Array, other: Array) -> Array:
    """Sum of two independent counts, shapes (n, ...) and (m, ...) that broadcast."""
    result = np.zeros((len(one) + len(other) - 1, *one.shape[1:]))
    for count, probability in enumerate(other):
        result[count : count + len(one)] += probability * one
    return result


class CountSum:
    """Running distribution of a sum of independent counts, by week and draw."""

    def __init__(self, n_weeks: int, n_draws: int) -> None:
        self.pmf = np.zeros((n_weeks + 1, 64, n_draws))
        self.pmf[:, 0] = 1.0
        self.low = np.zeros(n_weeks + 1, dtype=np.int64)
        self.top = np.zeros(n_weeks + 1, dtype=np.int64)

    def add(self, counts: Array) -> None:
        """Add one independent count, shape (n_counts, n_weeks + 1, n_draws)."""
        needed = int(self.top.max()) + len(counts)
        if needed > self.pmf.shape[1]:
            self.pmf = np.pad(self.pmf, ((0, 0), (0, needed), (0, 0)))
        _add(self.pmf, self.low, self.top, np.ascontiguousarray(counts), _NEGLIGIBLE)

    def mixed(self) -> Array:
        """Mean over the draws, shape (n_weeks + 1, n_counts)."""
        pmf = np.maximum(self.pmf[:, : int(self.top.max()) + 1].mean(axis=2), 0.0)
        return np.asarray(pmf / pmf.sum(axis=1, keepdims=True))

    def means(self) -> Array:
        """Expected count by week and draw, shape (n_weeks + 1, n_draws)."""
        top = int(self.top.max()) + 1
        return np.asarray(np.einsum("n,wnd->wd", np.arange(top), self.pmf[:, :top]))


@njit(cache=True)
def _add(
    total: Array,
    low: NDArray[np.int64],
    top: NDArray[np.int64],
    counts: Array,
    negligible: float,
) -> None:
    """Convolve in place, from the top down; counts that no draw needs are dropped again."""
    n_draws = total.shape[2]
    n_counts = counts.shape[0]
    for w in range(total.shape[0]):
        size = n_counts
        while size > 1 and counts[size - 1, w].max() < negligible:
            size -= 1
        largest = top[w] + size - 1
        for m in range(largest, low[w] - 1, -1):
            for d in range(n_draws):
                total[w, m, d] *= counts[0, w, d]
            for k in range(max(1, m - top[w]), min(size - 1, m - low[w]) + 1):
                for d in range(n_draws):
                    total[w, m, d] += total[w, m - k, d] * counts[k, w, d]
        while largest > low[w] and total[w, largest].max() < negligible:
            total[w, largest] = 0.0
            largest -= 1
        top[w] = largest
        while low[w] < largest and total[w, low[w]].max() < negligible:
            total[w, low[w]] = 0.0
            low[w] += 1


def shifted(pmf: Array, planned: NDArray[np.int64]) -> Array:
    """Move each week's distribution up by the discs that are certain."""
    result = np.zeros((len(pmf), pmf.shape[1] + int(planned.max(initial=0))))
    for week, shift in enumerate(planned):
        result[week, shift : shift + pmf.shape[1]] = pmf[week]
    return result


def spoilt(fitted: Array, loss: float) -> Array:
    r"""Discs taken to fit n of them when each attempt fails with probability `loss`.

    Each disc fitted costs a geometric number of attempts.
    """
    if loss == 0:
        return fitted
    largest = fitted.shape[1] - 1
    spare = int(np.ceil(10 + 12 * np.sqrt(loss * (largest + 1)) + 3 * loss * largest))
    fits, used = np.arange(largest + 1)[:, None], np.arange(largest + spare + 1)
    attempts = np.where(
        fits == 0, used == 0, nbinom.pmf(used - fits, np.maximum(fits, 1), 1 - loss)
    )
    result = np.einsum("wn,nm->wm", fitted, attempts)
    return np.asarray(result / result.sum(axis=1, keepdims=True))
