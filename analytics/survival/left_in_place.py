r"""What does one failure fewer save, once the disc left in place has run its course?

A disc that does not fail at age a stays. It may fail later, it saves the new disc that would
have come, and all discs after it renew at their own times. With V(x, L) the failures expected
in the time L that is left from a disc of age x on, one failure not suffered saves

.. math:: D = 1 + V(0, L) - V(a, L)

failures: one now, and the new disc's later ones for those of the old disc. Where wear rises D
is below 1, which counts a failure put off but not avoided for what it is. Added over the
failures of a log, each by the probability that it would not have happened when it did, D gives
the exact difference of the expected counts between the world as it was and the world without
the cause: the difference of the two worlds' rates, paid as it arises along the path seen.

The renewal equation

.. math:: V(0, t) = \int_0^t \big(dF_p(u) + dF(u)\, V(0, t - u)\big)

with F_p the premature endings and F all endings of a disc, each the mean over the kinds of disc
that may come (by a mean hazard those that did not fail would still carry the worst ones'), is
solved on a grid of `CELLS` steps.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.survival.curves import nelson_aalen
from analytics.survival.law import LifeLaw, cumulative_hazard

__all__ = ["CELLS", "OtherEndings", "net_of_later", "other_endings"]

CELLS = 48
"""Steps of the time left; the error of a step's middle standing for the step is of order 1/n^2."""

_CERTAIN = 10.0
"""Cumulative hazard that ends a disc for sure: e^-10 are left."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherEndings:
    """How discs end otherwise than by a premature failure: on schedule, by demand.

    Attributes
    ----------
    age : ndarray, shape (n_ages,)
        Ages, ascending from 0. [years]
    cumulative_hazard : ndarray, shape (n_ages,)
        Cumulative hazard at those ages, flat beyond the last. [-]
    """

    age: Array
    cumulative_hazard: Array


def other_endings(
    age_years: ArrayLike, ended: ArrayLike, *, entry_years: ArrayLike, weight: ArrayLike
) -> OtherEndings:
    """Learn from all lives at which ages discs end otherwise than by a premature failure.

    Parameters
    ----------
    age_years, entry_years : array_like, shape (n_lives,)
        Ages between which each life was watched. [years]
    ended : array_like of bool, shape (n_lives,)
        Whether it ended otherwise at `age_years`. [-]
    weight : array_like, shape (n_lives,)
        How many lives a row stands for. [-]

    Returns
    -------
    OtherEndings
        By Nelson and Aalen; nothing ends otherwise when no life did.
    """
    age = np.maximum(np.asarray(age_years, dtype=float), 1e-6)
    entry = np.minimum(np.asarray(entry_years, dtype=float), age * (1 - 1e-9))
    if not np.any(ended):
        return OtherEndings(age=np.zeros(1), cumulative_hazard=np.zeros(1))
    curve = nelson_aalen(age, ended, entry=entry, weight=weight)
    # of the last discs at risk all may go: a certain end, kept finite
    left = np.maximum(1 - curve.events / curve.at_risk, np.exp(-_CERTAIN))
    return OtherEndings(
        age=np.concatenate([[0.0], curve.age]),
        cumulative_hazard=np.concatenate([[0.0], np.cumsum(-np.log(left))]),
    )


def net_of_later(
    left: Sequence[tuple[ArrayLike, LifeLaw]],
    following: Sequence[tuple[ArrayLike, LifeLaw]],
    others: OtherEndings,
    *,
    age_years: Array,
    remaining_years: Array,
) -> Array:
    """Give the failures saved by one failure that does not happen.

    Parameters
    ----------
    left, following : sequence of (array_like, LifeLaw)
        Premature failures of the disc left in place and of the discs after it, both in the
        world without the cause: the kinds such a disc may be of, how often, (n_draws,
        n_failures), and by what law, of that shape too.
    others : OtherEndings
        How discs end otherwise.
    age_years : ndarray, shape (n_failures,)
        Age of the disc when it failed. [years]
    remaining_years : ndarray, shape (n_failures,)
        Time from then to the end of the log, >= 0. [years]

    Returns
    -------
    ndarray, shape (n_draws, n_failures)
        D; 1 when no time is left. [failures]

    Notes
    -----
    The other endings come by age and alike for all discs: a schedule by the calendar is taken
    as the spread of ages it led to.
    """
    edge = np.linspace(0.0, 1.0, CELLS + 1)[:, None] * remaining_years
    failed_new, ended_new = _of_kinds(following, others, edge, np.zeros_like(age_years))
    failed_old, ended_old = _of_kinds(left, others, edge, age_years)
    later_new = _renewals(failed_new, ended_new)
    middle = (later_new[1:] + later_new[:-1]) / 2
    later_old = failed_old.sum(axis=0) + (ended_old * middle[::-1]).sum(axis=0)
    return np.asarray(1 + later_new[-1] - later_old)


def _of_kinds(
    kinds: Sequence[tuple[ArrayLike, LifeLaw]], others: OtherEndings, edge: Array, age: Array
) -> tuple[Array, Array]:
    """As `_by_step`, of a disc that may be of several kinds."""
    failed, ended = (np.zeros(1) for _ in range(2))
    for often, law in kinds:
        fails, ends = _by_step(law, others, edge, age)
        failed, ended = failed + np.asarray(often) * fails, ended + np.asarray(often) * ends
    return failed, ended


def _by_step(law: LifeLaw, others: OtherEndings, edge: Array, age: Array) -> tuple[Array, Array]:
    """Chance that a disc of that age fails, and that it ends, in each step, (CELLS, m, n)."""
    early = np.diff(cumulative_hazard(law, (age + edge)[:, None, :]), axis=0)
    by_age = np.interp(age + edge, others.age, others.cumulative_hazard)
    both = early + np.diff(by_age, axis=0)[:, None, :]
    reached = np.exp(-np.concatenate([np.zeros_like(both[:1]), np.cumsum(both, axis=0)[:-1]]))
    ended = -reached * np.expm1(-both)
    share = np.divide(early, both, out=np.zeros_like(both), where=both > 0)
    return ended * share, ended


def _renewals(failed: Array, ended: Array) -> Array:
    """Failures expected from a new disc on with 0 to `CELLS` steps left, (CELLS + 1, m, n)."""
    expected = np.zeros((len(failed) + 1, *failed.shape[1:]))
    middle = np.zeros_like(failed)
    for j in range(len(failed)):
        later = (ended[1 : j + 1] * middle[:j][::-1]).sum(axis=0)
        now = failed[: j + 1].sum(axis=0) + later + ended[0] * expected[j] / 2
        expected[j + 1] = now / (1 - ended[0] / 2)
        middle[j] = (expected[j] + expected[j + 1]) / 2
    return expected
