r"""How seldom does a good lot look as bad? Counted on bad ones, each weighed by its evidence.

A bound that holds however often one looks (one over the likelihood ratio) wastes most of the
false alarms one is ready to bear: evidence stops short of it, or jumps far past it. So the
chance is counted. Good lots that look as bad are rare, so it is bad lots that are lived: the
fleet's own, with their discs at the same positions, fitted on the same days with the same
defects, lives divided. A path of failures is :math:`\Lambda` times as frequent among bad lots as
among good ones, :math:`\Lambda` being its evidence. Stopped at the first failure whose evidence
is at least x,

.. math:: P_\mathrm{good}(\text{ever} \ge x) = E_\mathrm{bad}\big[\Lambda^{-1};\ \text{stopped}\big]

What is not known of the law is in both: lives are drawn from, and evidence read with, its draws.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.early.lot_evidence import (
    SHORTENED,
    Evidence,
    LotLives,
    evidence_at_failures,
    most_looks,
)
from analytics.survival.law import LifeLaw, cumulative_hazard, part_of

__all__ = ["BadLots", "bad_lots", "chance_if_good"]

FIRST_SHARE = 0.75
"""Part of the false alarms borne at the first failure looked at, the rest at all later ones:
a bad lot found later has cost more. Our choice."""

_LOTS = (10, 500)
"""Bad lots lived; chances are known to about a fifteenth with five hundred. Of large lots fewer,
which show more: `_MOST_SEEN` lives at failures looked at, `_AT_ONCE` lives in memory."""

_MOST_SEEN = 300_000
_AT_ONCE = 50_000
_HALVINGS = 40

Array = NDArray[np.float64]
Numbers = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class BadLots:
    """Evidence that bad lots show against themselves.

    Attributes
    ----------
    n_lots : int
        How many were lived.
    evidence : Evidence
        What they show, at every failure looked at.
    """

    n_lots: int
    evidence: Evidence


def bad_lots(
    lives: LotLives, law: LifeLaw, until_years: Array, *, from_event: int, seed: int = 0
) -> BadLots:
    """Live lots of the fleet again as bad ones and read the evidence they then show.

    Parameters
    ----------
    lives : LotLives
        Lives of all lots.
    law : LifeLaw
        Life of each disc as a good lot has it, shape (n_draws, n_lives).
    until_years : ndarray, shape (n_lives,)
        Age to which each disc would have been watched had it not failed. [years]
    from_event : int
        Number of the first failure looked at. [-]
    seed : int, default 0
        Seed of the lives.

    Returns
    -------
    BadLots
        Each lived by one draw of the law, all lots equally often, its lives divided by one of
        `SHORTENED`.
    """
    rng = np.random.default_rng(seed)
    size = np.bincount(lives.lot)
    typical = max(float(size.mean()), 1.0)
    n = int(np.clip(_MOST_SEEN / (typical * most_looks(typical)), *_LOTS))
    # whole rounds over the lots in new order, the last in part: each lot as often as any other
    rounds = [rng.permutation(size.size) for _ in range(-(-n // size.size))]
    lots = np.array_split(np.concatenate(rounds)[:n], int(np.ceil(n * typical / _AT_ONCE)))
    shown = [_shown(lives, law, until_years, some, from_event, rng) for some in lots]
    before = np.cumsum([0, *(len(some) for some in lots)])
    return BadLots(
        n_lots=n,
        evidence=Evidence(
            lot=np.concatenate([e.lot + k for e, k in zip(shown, before, strict=False)]),
            is_first=np.concatenate([each.is_first for each in shown]),
            log_ratio=np.concatenate([each.log_ratio for each in shown]),
        ),
    )


def _shown(
    lives: LotLives,
    law: LifeLaw,
    until_years: Array,
    lots: Numbers,
    from_event: int,
    rng: np.random.Generator,
) -> Evidence:
    """What some of the lots, numbered anew, show when lived as bad ones."""
    size = np.bincount(lives.lot)
    members, starts = np.argsort(lives.lot, kind="stable"), np.cumsum(size) - size
    of = np.repeat(np.arange(lots.size), size[lots])
    within = np.arange(of.size) - np.repeat(np.cumsum(size[lots]) - size[lots], size[lots])
    row = members[starts[lots][of] + within]
    draw = rng.integers(len(law.wear_location), size=lots.size)
    factor = rng.choice(SHORTENED, size=lots.size)
    watched = LotLives(
        lot=of,
        events=np.zeros(row.size),
        entry_years=np.minimum(lives.entry_years, until_years)[row],
        age_years=until_years[row],
        born_years=lives.born_years[row],
    )
    lived = _lived(watched, _divided(_by_row(law, draw[of], row), factor[of]), rng)
    law = part_of(law, units=row)
    return evidence_at_failures(lived, law, from_event=from_event, in_the_fit=False)


def chance_if_good(seen: Evidence, bad: BadLots, n_lots: int) -> Array:
    """Give the chance, at most, that a good lot ever shows as much evidence against itself.

    Parameters
    ----------
    seen : Evidence
        Evidence of the lots in question.
    bad : BadLots
        What bad lots show.
    n_lots : int
        How many lots are in question.

    Returns
    -------
    ndarray, shape (n_lots,)
        That of a lot taken at random from the fleet; 1 for a lot that was not looked at. Never
        above the bound by Ville: evidence of a good lot ever passes x at most once in x. [-]

    References
    ----------
    .. [1] J. Ville, "Etude critique de la notion de collectif" (1939): the inequality. From
       memory, unverified.
    .. [2] A. Wald, "Sequential tests of statistical hypotheses", Ann. Math. Statist. 16 (1945)
       117-186: the identity of likelihood ratios at a stopping time. From memory, unverified.
    """
    chance = np.ones(n_lots)
    for first, share in ((True, FIRST_SHARE), (False, 1 - FIRST_SHARE)):
        of_seen = seen.is_first == first
        most = np.full(n_lots, -np.inf)
        np.maximum.at(most, seen.lot[of_seen], seen.log_ratio[of_seen])
        looked = np.isfinite(most)
        at = _reached(most[looked], bad, first) / share
        chance[looked] = np.minimum(chance[looked], at)
    return chance


def _reached(level: Array, bad: BadLots, first: bool) -> Array:
    """Chance of a good lot to reach each level, at the first look or ever at later ones.

    The lot in question counts as one more that stops there, so that no chance is nought.
    """
    shown = bad.evidence
    kept = shown.is_first == first
    log_ratio, before = shown.log_ratio[kept], _most_before(shown.lot[kept], shown.log_ratio[kept])
    weight, own = np.exp(-log_ratio), np.exp(-level)
    # each lot stops at the look that reaches the level while none before it did
    stopped = np.array([weight[(before < at) & (at <= log_ratio)].sum() for at in level])
    return np.asarray(np.minimum((stopped + own) / (bad.n_lots + 1), np.minimum(own, 1.0)))


def _most_before(lot: Numbers, log_ratio: Array) -> Array:
    """Most evidence of the same lot at earlier looks, -inf at its first."""
    before = np.full(lot.size, -np.inf)
    for look in range(1, lot.size):
        if lot[look] == lot[look - 1]:
            before[look] = max(before[look - 1], log_ratio[look - 1])
    return before


def _by_row(law: LifeLaw, draw: Numbers, row: Numbers) -> LifeLaw:
    """One law whose units are rows, each with a draw of its own."""

    def pick(values: Array) -> Array:
        return np.asarray(values[draw, row if values.shape[1] > 1 else 0][None, :])

    return replace(
        law,
        wear_location=pick(law.wear_location),
        wear_sigma=pick(law.wear_sigma),
        install_log_rate=pick(law.install_log_rate),
        install_shape=pick(law.install_shape),
    )


def _divided(law: LifeLaw, factor: Array) -> LifeLaw:
    """The law of lives divided by a factor."""
    return replace(
        law,
        wear_location=law.wear_location - np.log(factor),
        install_log_rate=law.install_log_rate + law.install_shape * np.log(factor),
    )


def _lived(lives: LotLives, law: LifeLaw, rng: np.random.Generator) -> LotLives:
    """The same discs with lives drawn by the law, given that they had reached their entry age.

    The ages of `lives` say how long each is watched.
    """
    entry, until = lives.entry_years, lives.age_years
    need = cumulative_hazard(law, entry)[0] + rng.exponential(size=entry.size)
    failed = np.flatnonzero(need < cumulative_hazard(law, until)[0])
    of_failed, low, high = part_of(law, units=failed), entry[failed], until[failed]
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        short = cumulative_hazard(of_failed, middle)[0] < need[failed]
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    age, events = until.copy(), np.zeros(entry.size)
    age[failed], events[failed] = high, 1.0
    return replace(lives, events=events, age_years=age)
