r"""What does one replacement more change in the failures that follow?

An upset that opens several discs renews all of them at one moment x. A renewed
disc fails later (or, when fresh discs fail most, sooner), so beside the disc it
uses, a hit changes the number of ends by week t. Within the piece between
planned replacements that x falls into, ending at e,

.. math::
    N' = A(x) + F(e - x), \qquad R(z) = E z^{N'} / E z^{N}

and the first two factorial moments of R are carried, for x in each quarter of
(0, t) apart, because discs hit together share the moment.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from analytics.spares.sums import compound, convolved

__all__ = ["PARTS", "common_hits", "hit_effects", "moments"]

Array = NDArray[np.float64]

PARTS = 4
"""Parts of (0, t) that a common upset may fall into."""


def moments(tails: Array) -> Array:
    r"""Mean and second factorial moment of a count, averaged over the draws.

    .. math:: E N = \sum_n P(N \ge n), \quad E N(N-1) = 2 \sum_n (n - 1) P(N \ge n)

    Parameters
    ----------
    tails : ndarray, shape (n_counts + 1, n_weeks + 1, n_draws)
        Probability of at least 0, 1, 2 ... ends by each week. [-]

    Returns
    -------
    ndarray, shape (2, n_weeks + 1)
        The two moments. [-]
    """
    middle = tails[1:].mean(axis=2)
    before = np.arange(len(middle))
    return np.stack([middle.sum(axis=0), 2 * before @ middle])


def hit_effects(first: Array, fresh: Array, planned: tuple[int, ...], n_weeks: int) -> Array:
    """Work out what one hit changes, by the part of (0, t) it falls into.

    Parameters
    ----------
    first : ndarray, shape (2, n)
        Moments of the count of the disc now fitted and its successors, to the
        first planned replacement or the horizon.
    fresh : ndarray, shape (2, n_weeks + 1)
        The same, started with a fresh disc.
    planned : tuple of int
        Weeks of planned replacement, ascending. [weeks]
    n_weeks : int
        Horizon. [weeks]

    Returns
    -------
    ndarray, shape (2, PARTS, n_weeks + 1)
        Mean change of the count and second factorial moment of R. [-]
    """
    edges = np.array([0, *planned, n_weeks], dtype=np.int64)
    return np.asarray(_effects(first, fresh, edges, n_weeks, PARTS))


@njit(cache=True)
def _effects(
    first: Array, fresh: Array, edges: NDArray[np.int64], n_weeks: int, parts: int
) -> Array:
    result = np.zeros((2, parts, n_weeks + 1))
    for t in range(1, n_weeks + 1):
        cells = np.zeros(parts)
        piece = 0
        for j in range(t):
            while piece + 1 < edges.size - 1 and j >= edges[piece + 1]:
                piece += 1
            start, stop = edges[piece], min(edges[piece + 1], t)
            before = first if piece == 0 else fresh
            a1 = (before[0, j - start] + before[0, j - start + 1]) / 2
            a2 = (before[1, j - start] + before[1, j - start + 1]) / 2
            f1 = (fresh[0, stop - j - 1] + fresh[0, stop - j]) / 2
            f2 = (fresh[1, stop - j - 1] + fresh[1, stop - j]) / 2
            whole1, whole2 = before[0, stop - start], before[1, stop - start]
            change = a1 + f1 - whole1
            part = j * parts // t
            cells[part] += 1
            result[0, part, t] += change
            result[1, part, t] += a2 + 2 * a1 * f1 + f2 - whole2 - 2 * whole1 * change
        for part in range(parts):
            if cells[part] > 0:
                result[0, part, t] /= cells[part]
                result[1, part, t] /= cells[part]
    return result


def common_hits(rates: Array, effects: Array, years: Array) -> Array:
    """Number of discs owed to upsets that open several of a group.

    Parameters
    ----------
    rates : ndarray, shape (n_draws, n)
        Rate of upsets that open 0, 1, 2 ... of the group. [1/years]
    effects : ndarray, shape (2, PARTS, n_weeks + 1)
        As from `hit_effects`, averaged over the group.
    years : ndarray, shape (n_weeks + 1,)
        Time of each week. [years]

    Returns
    -------
    ndarray, shape (n_counts, n_weeks + 1, n_draws)
        Distribution; a compound Poisson law. A hit stands for 0, 1 or 2
        discs with weights that may be slightly negative, since they only
        carry the two moments.
    """
    largest = int(np.flatnonzero(rates.any(axis=0))[-1])
    weeks = np.arange(len(years))
    jumps = np.zeros((2 * largest + 1, len(years), len(rates)))
    for part in range(PARTS):
        # Cells of week t that fall into this part: those with j * PARTS // t == part.
        cells = -(-(part + 1) * weeks // PARTS) + (-part * weeks // PARTS)
        time = years * cells / np.maximum(weeks, 1)
        hit = _hit(effects[0, part], effects[1, part])
        several = hit
        for count in range(2, largest + 1):
            several = convolved(several, hit)
            jumps[: len(several)] += several[..., None] * time[:, None] * rates[:, count]
    return compound(jumps)


def _hit(change: Array, second: Array) -> Array:
    """Weights of 0, 1 and 2 discs for one hit, shape (3, n_weeks + 1)."""
    two = second / 2 + change
    one = 1 + change - 2 * two
    return np.stack([1 - one - two, one, two])
