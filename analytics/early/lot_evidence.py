r"""Do the discs of a lot live shorter than like discs of other lots? Evidence by likelihood ratio.

A bad lot does not only fail more often: it fails at ages at which discs of its duty hardly
fail, and its other discs say by their ages how much of that is luck. Lives divided by c against
lives as the model has them give, over events i and all lives j of the lot watched from age e
to age t,

.. math::
    \Lambda_c = \prod_i \frac{c\,h(c t_i)}{h(t_i)}
        \exp\Big(-\sum_j \big[H(c t_j) - H(c e_j) - H(t_j) + H(e_j)\big]\Big)

With the lives' true law no other test against that c finds more bad lots at the same false
alarms; since c is not known, the ratios of several are averaged.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.survival.law import LifeLaw, cumulative_hazard, hazard, part_of

__all__ = ["SHORTENED", "LotLives", "log_evidence"]

SHORTENED = (2.0, 3.0, 4.0, 6.0)
"""By what a bad lot may divide life, weighed alike. Our choice."""

_SHORTEST_YEARS = 1 / 365.25
"""A falling hazard is infinite at age 0: an age of 0 counts as a day. [years]"""

_RANKS = np.unique(np.floor(1.2 ** np.arange(70)).astype(int) - 1)
"""Failures looked at, from the first: each of the first six, then ever fewer, so that what all
call by one lot's name costs no more than its size."""

_SAME = 1e-9

Array = NDArray[np.float64]
Numbers = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class LotLives:
    """Lives of discs of known lot; arrays of shape (n_lives,).

    Attributes
    ----------
    lot : ndarray of int
        Number of the lot, from 0.
    events : ndarray
        Premature failures, parts of one where unclear. [-]
    entry_years, age_years : ndarray
        Ages between which each life was watched. [years]
    born_years : ndarray
        When each disc was fitted, on a clock common to all. [years]
    """

    lot: Numbers
    events: Array
    entry_years: Array
    age_years: Array
    born_years: Array

    @property
    def ended_years(self) -> Array:
        """When each watch ended, on the common clock. [years]"""
        return self.born_years + self.age_years


def log_evidence(
    lives: LotLives, law: LifeLaw, *, from_event: int, factors: tuple[float, ...] = SHORTENED
) -> tuple[Array, Array]:
    """Give each lot's evidence for shorter lives as it stood at its failures.

    Parameters
    ----------
    lives : LotLives
        Lives of all lots.
    law : LifeLaw
        Life of each disc as a good lot has it, shape (1, n_lives).
    from_event : int
        Number of the first failure looked at, >= 1. [-]
    factors : tuple of float, default `SHORTENED`
        By what a bad lot may divide life. [-]

    Returns
    -------
    first, later : ndarray, shape (n_lots,)
        Log of the mean ratio over the factors on the day of that failure, and the most at any
        failure after it; -inf where there was none. [-]

    References
    ----------
    .. [1] J. Neyman and E. S. Pearson, "On the problem of the most efficient tests of
       statistical hypotheses", Phil. Trans. R. Soc. A 231 (1933) 289-337.
    """
    failure, is_first = _looks(lives, from_event)
    ratio = _at_failures(lives, law, failure, factors)
    lot, n_lots = lives.lot[failure], int(lives.lot.max(initial=-1)) + 1
    first, later = np.full(n_lots, -np.inf), np.full(n_lots, -np.inf)
    first[lot[is_first]] = ratio[is_first]
    np.maximum.at(later, lot[~is_first], ratio[~is_first])
    return first, later


def _looks(lives: LotLives, from_event: int) -> tuple[Numbers, NDArray[np.bool_]]:
    """Rows of the failures looked at, by lot and day, and which is the first of its lot."""
    order = np.lexsort((lives.ended_years, lives.lot))
    failed = order[lives.events[order] > 0]
    lot, count = lives.lot[failed], np.cumsum(lives.events[failed])
    opens = np.diff(lot, prepend=-1) > 0
    before = (count - lives.events[failed])[opens][np.cumsum(opens) - 1]
    looked = failed[count - before >= from_event - _SAME]
    is_first = np.diff(lives.lot[looked], prepend=-1) > 0
    rank = np.arange(looked.size) - np.flatnonzero(is_first)[np.cumsum(is_first) - 1]
    kept = np.isin(rank, _RANKS)
    return looked[kept], is_first[kept]


def _at_failures(
    lives: LotLives, law: LifeLaw, failure: Numbers, factors: tuple[float, ...]
) -> Array:
    """Log ratio of the whole lot on the day of each failure, (n_failures,)."""
    size = np.bincount(lives.lot)
    members, starts = np.argsort(lives.lot, kind="stable"), np.cumsum(size) - size
    n = size[lives.lot[failure]]
    look = np.repeat(np.arange(failure.size), n)
    within = np.arange(look.size) - np.repeat(np.cumsum(n) - n, n)
    life = members[np.repeat(starts[lives.lot[failure]], n) + within]
    now, ended = lives.ended_years[failure][look], lives.ended_years[life]
    entry = np.minimum(lives.entry_years[life], lives.age_years[life])
    age = np.maximum(lives.age_years[life] - np.maximum(ended - now, 0.0), entry)
    events = np.where(ended <= now + _SAME, lives.events[life], 0.0)
    parts = _log_ratios(part_of(law, units=life), entry, age, events, factors)
    sums = np.array([np.bincount(look, part, minlength=failure.size) for part in parts])
    return np.asarray(np.logaddexp.reduce(sums, axis=0) - np.log(len(factors)))


def _log_ratios(
    law: LifeLaw, entry: Array, age: Array, events: Array, factors: tuple[float, ...]
) -> Array:
    """What each life adds to the log ratio of each factor, (n_factors, n_lives)."""
    failed = np.flatnonzero(events > 0)
    at = np.maximum(age[failed], _SHORTEST_YEARS)
    of_failed = part_of(law, units=failed)
    watched = _cumulative(law, age) - _cumulative(law, entry)
    ratios = np.empty((len(factors), age.size))
    for factor, ratio in zip(factors, ratios, strict=True):
        ratio[:] = watched + _cumulative(law, factor * entry) - _cumulative(law, factor * age)
        gained = np.log(factor * _hazard(of_failed, factor * at) / _hazard(of_failed, at))
        ratio[failed] += events[failed] * gained
    return ratios


def _hazard(law: LifeLaw, age: Array) -> Array:
    return np.asarray(sum(part[0] for part in hazard(law, age)))


def _cumulative(law: LifeLaw, age: Array) -> Array:
    return np.asarray(cumulative_hazard(law, age)[0])
