r"""How many discs does a unit use when one upset opens several of them?

Given the weeks of such upsets and the discs each opened, the positions are
independent again, and each is a string of renewal pieces. So the distribution
is a mean over histories,

.. math::
    P(D) = \sum_j e^{-\lambda T} \frac{(\lambda T)^j}{j!}\,
    E[\textstyle\prod_i P(D_i \mid \text{history}) \mid j \text{ upsets}]

j = 0 is exact for every draw. For j > 0 times and sizes are laid out by a
lattice rule and the discs opened by a shuffle, both the same in every run; the
products are taken of generating functions at the roots of unity.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain, islice

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.fft import next_fast_len
from scipy.stats import poisson

from analytics.spares.counts import Chances, Pieces
from analytics.spares.sums import CountSum
from analytics.spares.upset_histories import opened_discs, upset_histories

__all__ = ["HISTORIES", "unit_counts"]

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Counts = NDArray[np.int64]
Table = NDArray[np.int32]

HISTORIES = 2048
"""Histories laid out for one unit that stands alone in its group and has few upsets."""

_BUNDLES = 40
_MOST_KINDS = 16
_LARGEST_WORK = 300_000_000
_LARGE = 32
_USUAL = 0.18
_RARE = 1e-6
_NEGLIGIBLE = 1e-12


@dataclass(frozen=True, slots=True)
class _Kinds:
    """Positions that are taken alike; pieces as generating functions by bundle of draws."""

    of_position: Counts
    sizes: Counts
    planned: NDArray[np.bool_]
    joined: Complex
    aged: Complex
    fresh: Complex
    stays: Array
    chances: Array


def unit_counts(
    pieces: Iterable[Pieces],
    rate: Array,
    hits: Array,
    *,
    n_weeks: int,
    histories: int = HISTORIES,
    seed: int = 0,
) -> Array:
    """Find the number of unplanned ends of a unit's positions by each week.

    Parameters
    ----------
    pieces : iterable of Pieces, k positions
        What each position's discs do between replacements that are given.
    rate : ndarray, shape (n_draws,)
        Rate of upsets that open two or more of these positions. [1/years]
    hits : ndarray, shape (k + 1,)
        Share of those upsets that open 0, 1, 2 ... of them. [-]
    n_weeks : int
        Horizon. [weeks]
    histories : int
        Histories to average over; up to eight times as many where upsets are
        frequent, fewer where the unit is large. [-]
    seed : int
        Shift of the lattice, one per unit.

    Returns
    -------
    ndarray, shape (n_counts, n_weeks + 1, n_draws)
        Probability of 0, 1, 2 ... ends by each week. [-]

    Notes
    -----
    Histories are played for up to 40 bundles of draws with alike demand, and
    for up to 16 kinds of positions with alike demand and the same planned
    dates: a large unit costs no more than a few seconds.
    """
    alone, thin = CountSum(n_weeks, len(rate)), []
    coming = iter(pieces)
    head = list(islice(coming, _LARGE))
    bundle = _bundles(head, _BUNDLES if len(head) < _LARGE else _BUNDLES // 4)
    for piece in chain(head, coming):
        alone.add(piece.joined)
        thin.append(_bundled(piece, bundle, n_weeks))
    none = np.moveaxis(alone.pmf[:, : int(alone.top.max()) + 1], 1, 0)
    weights = _number_of_upsets(
        rate * n_weeks * 7 / 365.25, _RARE if len(head) < _LARGE else 10 * _RARE
    )
    most = len(weights) - 1
    length = 2 * next_fast_len((len(none) + most * int(np.flatnonzero(hits)[-1]) + 1) // 2)
    kinds = _kinds(thin, length)
    # What the histories err by weighs as much as there is any upset.
    wanted = histories * float(np.clip((weights[1:].sum(axis=0).mean() / _USUAL) ** 2, 1, 8))
    number = min(wanted, _LARGEST_WORK / (2 * kinds.joined[0].size))
    share = np.sqrt(weights[1:].mean(axis=1))
    each = np.ceil(number * share / share.sum() / len(kinds.joined)).astype(np.int64)
    rng = np.random.default_rng(seed)
    given = np.stack(
        [_given(kinds, upsets, hits, each[upsets - 1], rng) for upsets in range(1, most + 1)]
    )
    result = np.zeros((length, n_weeks + 1, len(rate)))
    result[: len(none)] = weights[0] * none
    for which in range(len(kinds.joined)):
        mine = bundle == which
        result[:, :, mine] += np.tensordot(given[:, which], weights[1:, mine], axes=(0, 0))
    return _trimmed(result)


def _number_of_upsets(mean: Array, rare: float) -> Array:
    """Probability of 0, 1 ... upsets per draw; those beyond the last that matters count as it."""
    most = max(1, int(poisson.isf(rare, mean.mean())))
    while np.mean(poisson.sf(most, mean)) > rare:
        most += 1
    weights = np.asarray(poisson.pmf(np.arange(most + 1)[:, None], mean))
    weights[-1] += poisson.sf(most, mean)
    return weights


def _bundles(pieces: Sequence[Pieces], most: int) -> Counts:
    """Bundle of each draw, by its expected count at the horizon."""
    expected = sum(np.arange(len(piece.joined)) @ piece.joined[:, -1] for piece in pieces)
    rank = np.asarray(expected).argsort().argsort()
    return np.asarray(rank * min(most, rank.size) // rank.size, dtype=np.int64)


def _bundled(piece: Pieces, bundle: Counts, n_weeks: int) -> Pieces:
    """Mean over the draws of each bundle, which take the place of the draws."""
    order, size = np.argsort(bundle, kind="stable"), np.bincount(bundle)
    begin = np.cumsum(size) - size

    def mean(pmf: Array) -> Array:
        found = np.add.reduceat(pmf[:, :, order], begin, axis=2) / size
        return np.pad(found, ((0, 0), (0, n_weeks + 1 - found.shape[1]), (0, 0)))

    return Pieces(
        joined=mean(piece.joined),
        aged=mean(piece.aged),
        fresh=mean(piece.fresh),
        planned=piece.planned,
        chances=piece.chances
        and Chances(
            due=np.bincount(bundle, piece.chances.due) / size,
            young=np.bincount(bundle, piece.chances.young) / size,
        ),
    )


def _kinds(pieces: Sequence[Pieces], length: int) -> _Kinds:
    """Sort positions into kinds and take the mean of their pieces."""
    expected = [float((np.arange(len(p.joined)) @ p.joined[:, -1]).mean()) for p in pieces]
    order = sorted(range(len(pieces)), key=lambda i: (pieces[i].planned, expected[i]))
    size = -(-len(pieces) // _MOST_KINDS)
    groups: list[list[int]] = []
    for i in order:
        room = groups and len(groups[-1]) < size
        if room and pieces[groups[-1][0]].planned == pieces[i].planned:
            groups[-1].append(i)
        else:
            groups.append([i])
    of_position = np.empty(len(pieces), dtype=np.int64)
    planned = np.zeros((len(groups), pieces[0].joined.shape[1]), dtype=np.bool_)
    for kind, members in enumerate(groups):
        of_position[members] = kind
        planned[kind, list(pieces[members[0]].planned)] = True

    def table(part: str) -> Complex:
        parts = [[getattr(pieces[i], part) for i in members] for members in groups]
        return np.stack([_generating(pmfs, length) for pmfs in parts], axis=1)

    def stay(members: list[int]) -> Array:
        """Chance that no disc has ended, (n_bundles, 2, n_weeks + 1): now fitted, fresh."""
        both = [np.stack([pieces[i].aged[0], pieces[i].fresh[0]]) for i in members]
        return np.asarray(np.mean(both, axis=0).transpose(2, 0, 1))

    def chance(members: list[int]) -> Array:
        """Chances of a planned replacement, (n_bundles, 2); 0 where it is counted elsewhere."""
        told = [pieces[i].chances for i in members]
        none = np.zeros((pieces[0].joined.shape[2], 2))
        each = [none if one is None else np.stack([one.due, one.young], axis=1) for one in told]
        return np.asarray(np.mean(each, axis=0))

    return _Kinds(
        of_position=of_position,
        sizes=np.bincount(of_position),
        planned=planned,
        joined=table("joined"),
        aged=table("aged"),
        fresh=table("fresh"),
        stays=np.stack([stay(members) for members in groups], axis=1),
        chances=np.stack([chance(members) for members in groups], axis=1),
    )


def _generating(parts: list[Array], length: int) -> Complex:
    """Mean generating function at the roots of unity, (n_bundles, n_weeks + 1, n_roots)."""
    mean = np.zeros((max(len(pmf) for pmf in parts), *parts[0].shape[1:]))
    for pmf in parts:
        mean[: len(pmf)] += pmf / len(parts)
    return np.asarray(np.fft.rfft(mean, n=length, axis=0).transpose(2, 1, 0))


def _given(kinds: _Kinds, upsets: int, hits: Array, each: int, rng: np.random.Generator) -> Array:
    """Distribution given the number of upsets, (n_bundles, length, n_weeks + 1)."""
    n_bundles, _, n_times, n_roots = kinds.joined.shape
    struck = upset_histories(upsets, each * n_bundles, hits, n_times - 1, rng)
    first = np.argmax(struck.any(axis=1), axis=1)
    total = np.empty((n_bundles, n_times, n_roots), dtype=complex)
    for bundle in range(n_bundles):
        mine = slice(bundle * each, (bundle + 1) * each)
        total[bundle] = _sum_over(
            kinds.joined[bundle],
            kinds.aged[bundle],
            kinds.fresh[bundle],
            kinds.stays[bundle],
            kinds.chances[bundle],
            kinds.planned,
            kinds.sizes,
            first[mine],
            *opened_discs(struck[mine], kinds.of_position),
        )
    return np.asarray(np.fft.irfft(total / each, n=2 * (n_roots - 1)).swapaxes(1, 2))


@njit(cache=True)
def _sum_over(
    joined: Complex,
    aged: Complex,
    fresh: Complex,
    stays: Array,
    chances: Array,
    planned: NDArray[np.bool_],
    sizes: Counts,
    first: Counts,
    rows: Table,
    count: Counts,
    start: Counts,
) -> Complex:
    """Sum of the generating functions over the histories, (n_weeks + 1, n_roots)."""
    total, alone = np.zeros_like(joined[0]), np.ones_like(joined[0])
    product, opened = np.empty_like(total), np.empty_like(total)
    for kind in range(len(joined)):
        _multiply(alone, joined[kind], sizes[kind], 0)
    for run in range(len(first)):
        begin = first[run]
        total[:begin] += alone[:begin]
        product[begin:] = 1.0
        left = sizes.copy()
        for row in range(start[run], start[run + 1]):
            kind = rows[row, 1]
            left[kind] -= count[row]
            _opened(
                opened,
                aged[kind],
                fresh[kind],
                stays[kind],
                chances[kind],
                planned[kind],
                rows[row, 2:],
                begin,
            )
            _multiply(product, opened, count[row], begin)
        for kind in range(len(joined)):
            _multiply(product, joined[kind], left[kind], begin)
        total[begin:] += product[begin:]
    return total  # type: ignore[no-any-return]


@njit(cache=True)
def _opened(
    into: Complex,
    aged: Complex,
    fresh: Complex,
    stays: Array,
    chances: Array,
    planned: NDArray[np.bool_],
    hits: Table,
    begin: int,
) -> None:
    """Generating function of one position that upsets open in given weeks, from a week on.

    An upset opens discs in the middle of a week, so that a piece that begins or
    ends with one is the mean of its values at two whole weeks.
    """
    n_times, n_roots = into.shape
    root = np.exp(-1j * np.pi * np.arange(n_roots) / (n_roots - 1))
    done, table = np.ones(n_roots, dtype=np.complex128), aged
    since, early, later = 0, 0, 0
    for t in range(n_times):
        if hits[t] > 0:
            low, high = t - since - 1 + early, t - since
            for z in range(n_roots):
                done[z] *= (table[low, z] + table[high, z]) / 2
                for _ in range(hits[t]):
                    done[z] *= root[z]
            table, since, early = fresh, t, 1
        if t >= begin or planned[t]:
            low, high = t - since, t - since + early
            for z in range(n_roots):
                into[t, z] = done[z] * (table[low, z] + table[high, z]) / 2
            if planned[t]:
                stay = 0.0 if early else stays[later, t - since]
                for z in range(n_roots):
                    made = (into[t, z] - done[z] * stay) * chances[1] + done[z] * stay * chances[0]
                    into[t, z] += made * (root[z] - 1)
                    done[z] = into[t, z]
                table, since, early, later = fresh, t, 0, 1


@njit(cache=True)
def _multiply(into: Complex, factor: Complex, times: int, begin: int) -> None:
    """Multiply the weeks from `begin` on by an integer power."""
    for t in range(begin, len(into) if times > 0 else begin):
        for z in range(into.shape[1]):
            power, base, left = into[t, z], factor[t, z], times
            while left > 0:
                if left & 1:
                    power *= base
                base *= base
                left >>= 1
            into[t, z] = power


def _trimmed(pmf: Array) -> Array:
    largest = np.flatnonzero(pmf.max(axis=(1, 2)) > _NEGLIGIBLE)[-1]
    return np.asarray(np.maximum(pmf[: largest + 1], 0.0, out=pmf[: largest + 1]))
