"""How did the duty of each life change with its age? Stretches of constant duty, checked once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError
from analytics.survival.lifetimes import Lifetimes

__all__ = ["Stretches", "stretches"]

Array = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretches:
    """Duty of each life, stretch by stretch, from age 0 on without gaps.

    Attributes
    ----------
    life : ndarray of int, shape (m,)
        Row of the life in the lifetimes, ascending.
    start, stop : ndarray, shape (m,)
        Ages between which the duty was constant. [time]
    design : ndarray, shape (m, p)
        Covariates of the stretch.
    """

    life: Whole
    start: Array
    stop: Array
    design: Array


def stretches(
    life: ArrayLike, start: ArrayLike, stop: ArrayLike, design: ArrayLike, data: Lifetimes
) -> Stretches:
    """Check that the stretches tell the duty of every life from new to its end.

    Parameters
    ----------
    life : array_like of int, shape (m,)
        Row of the life in `data`, 0 to n - 1; stretches of a life in order of age.
    start, stop : array_like, shape (m,)
        Ages between which the duty was constant. [time]
    design : array_like, shape (m, p)
        Covariates of the stretch.
    data : Lifetimes
        The n lives.

    Returns
    -------
    Stretches
        Sorted by life.

    Raises
    ------
    InputError
        If a stretch is empty or not finite, or a life's stretches do not start at age 0,
        leave a gap, overlap or stop before its last known age. The duty before a late entry
        counts too: life is used up from new.
    """
    rows = np.asarray(life, dtype=np.int64)
    begin, end = np.asarray(start, dtype=float), np.asarray(stop, dtype=float)
    x = np.asarray(design, dtype=float)
    m = len(rows)
    if begin.shape != (m,) or end.shape != (m,) or x.ndim != 2 or len(x) != m or m == 0:
        raise InputError("stretches need one life, start, stop and covariate row each")
    if not (np.isfinite(begin).all() and np.isfinite(end).all() and np.isfinite(x).all()):
        raise InputError("stretches need finite ages and covariates")
    order = np.lexsort((begin, rows))
    rows, begin, end, x = rows[order], begin[order], end[order], x[order]
    n = len(data)
    if rows[0] != 0 or rows[-1] != n - 1 or len(np.unique(rows)) != n:
        raise InputError(f"stretches must tell of every life from 0 to {n - 1}")
    first = np.r_[True, rows[1:] != rows[:-1]]
    last = np.r_[first[1:], True]
    expected = np.where(first, 0.0, np.r_[0.0, end[:-1]])
    known = np.where(data.ended, data.upper, data.lower)
    slack = 1e-9 * known.max()
    _refuse_rows(
        "must start where the one before stopped, the first at 0",
        rows,
        np.abs(begin - expected) > slack,
    )
    _refuse_rows("must stop after its start", rows, end <= begin)
    _refuse_rows("must reach the life's last known age", rows, last & (end < known[rows] - slack))
    return Stretches(life=rows, start=expected, stop=end, design=x)


def _refuse_rows(rule: str, rows: Whole, broken: NDArray[np.bool_]) -> None:
    if broken.any():
        raise InputError(f"a stretch {rule}; not so in life {rows[int(np.argmax(broken))]}")
