"""How seldom does a good lot look as bad? The fleet's own lots, lived again by the fitted law.

A bound that holds however often one looks (one over the likelihood ratio) wastes most of the
false alarms one is ready to bear: evidence stops short of it, or jumps far past it. So the
chance is counted. All lots are lived again many times as good ones, their discs at the same
positions, fitted on the same days with the same defects, and the evidence is read at the same
failures. Lots that can hardly gather evidence take nothing from the others' share of alarms.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.early.lot_evidence import LotLives, log_evidence
from analytics.survival.law import LifeLaw, cumulative_hazard, middle_of, part_of

__all__ = ["GoodLots", "chance_if_good", "good_lots"]

FIRST_SHARE = 0.75
"""Part of the false alarms borne at the first failure looked at, the rest at all later ones:
a bad lot found later has cost more. Our choice."""

_WANTED = 100.0
"""False alarms counted behind the alarm line, which is then known to a tenth."""

_MOST_LIVES = 2_000_000
_TIMES = (10, 400)
_HALVINGS = 40

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class GoodLots:
    """Evidence that good lots show against themselves, ascending.

    Attributes
    ----------
    first, later : ndarray, shape (n_times * n_lots,)
        As `log_evidence` gives it. [-]
    """

    first: Array
    later: Array


def good_lots(
    lives: LotLives,
    law: LifeLaw,
    until_years: Array,
    *,
    from_event: int,
    alarm_at: float,
    seed: int = 0,
) -> GoodLots:
    """Live all lots again as good ones and read the evidence they then show.

    Parameters
    ----------
    lives : LotLives
        Lives of all lots.
    law : LifeLaw
        Life of each disc as a good lot has it, shape (n_draws, n_lives); one draw after the
        other is lived by, so that what is not known of the law is in the result.
    until_years : ndarray, shape (n_lives,)
        Age to which each disc would have been watched had it not failed. [years]
    from_event : int
        Number of the first failure looked at. [-]
    alarm_at : float
        Chance below which a lot will be flagged: says how often to live again. [-]
    seed : int, default 0
        Seed of the lives.

    Returns
    -------
    GoodLots
        The evidence of every lot every time.
    """
    rng, middle = np.random.default_rng(seed), middle_of(law)
    n_lots = int(lives.lot.max(initial=-1)) + 1
    wanted = int(_WANTED / max(alarm_at * n_lots, 1e-9))
    times = min(max(wanted, _TIMES[0]), _TIMES[1], max(_MOST_LIVES // lives.lot.size, _TIMES[0]))
    seen = []
    for time in range(times):
        draw = part_of(law, draws=np.array([time % len(law.wear_location)]))
        again = _lived_again(lives, draw, until_years, rng)
        seen.append(log_evidence(again, middle, from_event=from_event))
    first, later = (np.sort(np.concatenate(part)) for part in zip(*seen, strict=True))
    return GoodLots(first=first, later=later)


def chance_if_good(first: Array, later: Array, good: GoodLots) -> Array:
    """Give the chance, at most, that a good lot ever shows as much evidence against itself.

    Parameters
    ----------
    first, later : ndarray, shape (n_lots,)
        Evidence of the lots in question, as `log_evidence` gives it. [-]
    good : GoodLots
        What good lots show.

    Returns
    -------
    ndarray, shape (n_lots,)
        Counted over all lots of the fleet, 1 for a lot that was not looked at; where the count
        runs out, the bound by Ville: evidence of a good lot ever passes x at most once in x. [-]

    References
    ----------
    .. [1] J. Ville, "Etude critique de la notion de collectif" (1939): the inequality. From
       memory, unverified.
    """
    at_first = _share_above(first, good.first) / FIRST_SHARE
    at_later = _share_above(later, good.later) / (1 - FIRST_SHARE)
    return np.asarray(np.minimum(np.minimum(at_first, at_later), 1.0))


def _share_above(evidence: Array, good: Array) -> Array:
    """Share of the good that show as much: counted, itself as one, but at most the bound."""
    above = good.size - np.searchsorted(good, evidence)
    share = np.minimum((above + 1) / (good.size + 1), np.exp(-np.maximum(evidence, 0.0)))
    return np.where(np.isneginf(evidence), 1.0, share)


def _lived_again(
    lives: LotLives, law: LifeLaw, until_years: Array, rng: np.random.Generator
) -> LotLives:
    """The same discs with lives drawn by the law, given that they had reached their entry age."""
    entry = np.minimum(lives.entry_years, until_years)
    need = cumulative_hazard(law, entry)[0] + rng.exponential(size=entry.size)
    failed = np.flatnonzero(need < cumulative_hazard(law, until_years)[0])
    of_failed, low, high = part_of(law, units=failed), entry[failed], until_years[failed]
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        short = cumulative_hazard(of_failed, middle)[0] < need[failed]
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    age, events = until_years.copy(), np.zeros(entry.size)
    age[failed], events[failed] = high, 1.0
    return LotLives(
        lot=lives.lot,
        events=events,
        entry_years=entry,
        age_years=age,
        born_years=lives.born_years,
    )
