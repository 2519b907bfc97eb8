"""Which cycles close, and what is left? The mergeable core of the count.

Closed cycles follow the four-point rule: of three ranges in a row the middle one
closes when neither neighbour is smaller. What is left follows ASTM E1049-85, 5.4.4
as half cycles. Two halves of one range that the standard counts one after the other
are counted here as the one cycle they make up; every total by range and mean is the
standard's. The rule compares points only, so pieces of a series leave turning points
that, laid end to end, close exactly the cycles of the whole.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from analytics.duty.grid import MEAN_CLASSES, mean_class, range_class

__all__ = ["close_cycles", "count_halves", "segments_to_cycles"]

Ints = NDArray[np.int64]


@njit(cache=True, nogil=True)
def _count(
    sums: Ints, keys: Ints, seen: int, one: int, other: int, halves: int
) -> int:  # pragma: no cover
    """Add a cycle between two points to its class; give the classes seen so far.

    Written without a branch: the compiler then drops two reference counts per call.
    """
    span = abs(one - other)
    key = range_class(span) * MEAN_CLASSES + mean_class(one + other)
    keys[seen] = key
    seen += int(sums[key, 0] == 0)
    sums[key, 0] += halves
    sums[key, 1] += halves * span
    sums[key, 2] += halves * (one + other)
    return seen


@njit(cache=True, nogil=True)
def _turning_points(levels: Ints, points: Ints) -> int:  # pragma: no cover
    """Write the first point, every reversal and the last point; give how many these are.

    Every point is written and the place moves on only past a reversal: a branch on
    noise is guessed wrong half the time and costs more than a write.
    """
    points[0] = levels[0]
    count = 1
    before = levels[0]
    way = np.int64(0)  # the last change that was not nought
    for level in levels[1:]:
        change = level - before
        points[count] = before
        count += int(((change ^ way) < 0) & (change != 0) & (way != 0))
        way = change if change != 0 else way
        before = level
    if way != 0:
        points[count] = before
        count += 1
    return count


@njit(cache=True, nogil=True)
def _closes(first: int, second: int, third: int, last: int) -> bool:  # pragma: no cover
    """Whether the range between the second and third of four points is a closed cycle.

    Both comparisons are made at once: a second branch on noise costs more.
    """
    if third > second:
        return bool((last <= second) & (first >= third))
    return bool((last >= second) & (first <= third))


@njit(cache=True, nogil=True)
def close_cycles(
    levels: Ints, stack: Ints, sums: Ints, keys: Ints, seen: int
) -> tuple[int, int]:  # pragma: no cover
    """Count the closed cycles of one segment; leave its residue on the stack.

    Parameters
    ----------
    levels : ndarray of int, shape (n,), n >= 1
        Points of one segment in time order. [grid steps]
    stack : ndarray of int, shape (>= n,)
        Receives the residue.
    sums : ndarray of int, shape (classes, 3)
        Half cycles, sum of range, sum of twice the mean, by class; added to.
    keys : ndarray of int, shape (classes + 1,)
        Classes with any cycle so far, in the order first seen; added to.
    seen : int
        How many these are.

    Returns
    -------
    points, seen : int
        Length of the residue; classes seen now.
    """
    # The last three points are kept out of the stack as well: the rule then reads no memory
    # but where a cycle closes.
    top = -1
    first = second = third = levels[0]
    for index in range(_turning_points(levels, stack)):
        new = stack[index]  # the residue grows behind the turning points still to be read
        while top >= 2 and _closes(first, second, third, new):
            seen = _count(sums, keys, seen, second, third, 2)
            third = first
            top -= 2
            second, first = stack[top - 1], stack[top - 2]
        top += 1
        stack[top] = new
        first, second, third = second, third, new
    return top + 1, seen


@njit(cache=True, nogil=True)
def count_halves(residue: Ints, sums: Ints, keys: Ints, seen: int) -> int:  # pragma: no cover
    """Count what a finished segment leaves as half cycles; give the classes seen now."""
    for index in range(residue.size - 1):
        seen = _count(sums, keys, seen, residue[index], residue[index + 1], 1)
    return seen


@njit(cache=True, nogil=True)
def segments_to_cycles(
    levels: Ints,
    starts: Ints,
    stack: Ints,
    sums: Ints,
    keys: Ints,
    residues: Ints,
    at: int,
) -> tuple[int, int, int]:  # pragma: no cover
    """Count the segments of one part; write the residues of the first and the last.

    Parameters
    ----------
    levels : ndarray of int, shape (n,)
        Points of the part. [grid steps]
    starts : ndarray of int, shape (n_segments + 1,)
        Where each segment begins, and the end.
    stack, sums, keys
        As in `close_cycles`.
    residues : ndarray of int
        Receives the residues from `at` on.

    Returns
    -------
    head_end, tail_end, seen : int
        Where the residues end; classes with any cycle.
    """
    seen = 0
    head_end = at
    last = starts.size - 2
    for segment in range(last + 1):
        points, seen = close_cycles(
            levels[starts[segment] : starts[segment + 1]], stack, sums, keys, seen
        )
        if segment == 0 or segment == last:
            for index in range(points):
                residues[at + index] = stack[index]
            at += points
        else:
            seen = count_halves(stack[:points], sums, keys, seen)
        if segment == 0:
            head_end = at
    return head_end, at, seen
