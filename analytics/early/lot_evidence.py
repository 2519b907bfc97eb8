r"""Do the discs of a lot live shorter than like discs of other lots? Evidence by likelihood ratio.

A bad lot does not only fail more often: it fails at ages at which discs of its duty hardly
fail, and its other discs say by their ages how much of that is luck. Lives divided by c give,
over events i and all lives j of the lot watched from age e to age t, the likelihood

.. math::
    L_c = \prod_i c\,h(c t_i) \exp\Big(-\sum_j \big[H(c t_j) - H(c e_j)\big]\Big)

With the lives' true law no other test than :math:`L_c / L_1` finds more bad lots of that c at
the same false alarms. Neither c nor the law is known: the likelihoods are averaged over several
c and over the draws of the law, before they are divided where the lot had no part in the draws.
Where it had, as a good lot, each draw is already as much more likely as :math:`L_1` says, and
the mean of the ratios is what the draws without the lot would give:

.. math::
    \frac{\int L_c\, p(\theta \mid \text{others})\,d\theta}
         {\int L_1\, p(\theta \mid \text{others})\,d\theta}
    = \int \frac{L_c}{L_1}\, p(\theta \mid \text{others and the lot as good})\,d\theta
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.errors import InputError
from analytics.survival.law import Family, LifeLaw, cumulative_parts, hazard, part_of

__all__ = ["SHORTENED", "Evidence", "LotLives", "evidence_at_failures", "most_looks"]

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Evidence at the failures looked at, lot by lot and in the order of days.

    Attributes
    ----------
    lot : ndarray of int, shape (n_looks,)
        Number of the lot.
    is_first : ndarray of bool, shape (n_looks,)
        The first failure of its lot that is looked at.
    log_ratio : ndarray, shape (n_looks,)
        Log of the likelihood of shorter lives over that of the fleet's. [-]
    """

    lot: Numbers
    is_first: NDArray[np.bool_]
    log_ratio: Array


def evidence_at_failures(
    lives: LotLives,
    law: LifeLaw,
    *,
    from_event: int,
    in_the_fit: bool,
    factors: tuple[float, ...] = SHORTENED,
) -> Evidence:
    """Give each lot's evidence for shorter lives as it stood at its failures.

    Parameters
    ----------
    lives : LotLives
        Lives of all lots.
    law : LifeLaw
        Life of each disc as a good lot has it, shape (n_draws, n_lives); shapes (n_draws, 1),
        wear Weibull.
    from_event : int
        Number of the first failure looked at, >= 1. [-]
    in_the_fit : bool
        Whether these lives had a part in the draws of the law.
    factors : tuple of float, default `SHORTENED`
        By what a bad lot may divide life. [-]

    Returns
    -------
    Evidence
        On the day of each failure looked at.

    Raises
    ------
    InputError
        If wear is not Weibull.

    References
    ----------
    .. [1] J. Neyman and E. S. Pearson, "On the problem of the most efficient tests of
       statistical hypotheses", Phil. Trans. R. Soc. A 231 (1933) 289-337.
    """
    if law.family is not Family.WEIBULL:
        raise InputError(f"evidence of lots needs Weibull wear, got {law.family.value}")
    failure, is_first = _looks(lives, from_event)
    seen, each = _at_looks(lives, failure), np.array([1.0, *factors])
    logs = np.stack(  # draw by draw: all at once would fill the memory
        [
            _log_likelihoods(part_of(law, draws=slice(d, d + 1)), seen, failure.size, each)
            for d in range(len(law.wear_location))
        ]
    )
    good, bad = logs[:, 0], logs[:, 1:]
    if in_the_fit:
        log_ratio = _log_mean(bad - good[:, None], (0, 1))
    else:
        log_ratio = _log_mean(bad, (0, 1)) - _log_mean(good, (0,))
    return Evidence(lot=lives.lot[failure], is_first=is_first, log_ratio=log_ratio)


def most_looks(size: float) -> int:
    """At how many failures a lot of a size is looked at, at most."""
    return max(int((size > _RANKS).sum()), 1)


def _log_mean(logs: Array, axes: tuple[int, ...]) -> Array:
    count = np.prod([logs.shape[axis] for axis in axes])
    return np.asarray(np.logaddexp.reduce(logs, axis=axes) - np.log(count))


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _AtLooks:
    """Every life of its lot as it stood at each look, look after look."""

    look: Numbers
    life: Numbers
    entry_years: Array
    age_years: Array
    events: Array


def _at_looks(lives: LotLives, failure: Numbers) -> _AtLooks:
    size = np.bincount(lives.lot)
    members, starts = np.argsort(lives.lot, kind="stable"), np.cumsum(size) - size
    n = size[lives.lot[failure]]
    look = np.repeat(np.arange(failure.size), n)
    within = np.arange(look.size) - np.repeat(np.cumsum(n) - n, n)
    life = members[np.repeat(starts[lives.lot[failure]], n) + within]
    now, ended = lives.ended_years[failure][look], lives.ended_years[life]
    entry = np.minimum(lives.entry_years[life], lives.age_years[life])
    return _AtLooks(
        look=look,
        life=life,
        entry_years=entry,
        age_years=np.maximum(lives.age_years[life] - np.maximum(ended - now, 0.0), entry),
        events=np.where(ended <= now + _SAME, lives.events[life], 0.0),
    )


def _log_likelihoods(law: LifeLaw, seen: _AtLooks, n: int, factors: Array) -> Array:
    """Log likelihood of each lot at each look by one draw, (n_factors, n).

    Both hazards go as powers of age: divided lives multiply each by a constant.
    """
    shapes = law.install_shape[0, 0], 1 / law.wear_sigma[0, 0]
    times = np.stack([factors**shape for shape in shapes], axis=1)
    failed = np.flatnonzero(seen.events > 0)
    at = np.maximum(seen.age_years[failed], _SHORTEST_YEARS)
    rates = np.stack([rate[0] for rate in hazard(part_of(law, units=seen.life[failed]), at)])
    logs = seen.events[failed] * np.log(times @ rates)
    gained = np.stack([np.bincount(seen.look[failed], log, minlength=n) for log in logs])
    watched = _cumulative(law, seen, seen.age_years, np.arange(seen.life.size), n)
    late = np.flatnonzero(seen.entry_years > 0)
    before = _cumulative(law, seen, seen.entry_years, late, n)
    return np.asarray(gained - times @ (watched - before))


def _cumulative(law: LifeLaw, seen: _AtLooks, age: Array, rows: Numbers, n: int) -> Array:
    """Both cumulative hazards of some rows up to an age, summed by look, (2, n)."""
    parts = cumulative_parts(part_of(law, units=seen.life[rows]), age[rows])
    return np.stack([np.bincount(seen.look[rows], part[0], minlength=n) for part in parts])
