r"""How many failures would not have been, had defects or duty been other than they were?

A failure at age t would not have happened then with probability

.. math:: s = 1 - \frac{h'(t)}{h(t)}

where h' is the hazard of the same disc with the defects or the duty it would have had. With all
defects gone this is the share owed to the installation. What is avoided over a log is less:
the disc left in place may fail later. Each failure counts s D, with D of `left_in_place`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace

import numpy as np
from numpy.typing import NDArray

from analytics.errors import NotEstimable
from analytics.survival.followers import Followers, followers
from analytics.survival.law import LifeLaw
from analytics.survival.left_in_place import OtherEndings, net_of_later
from analytics.survival.two_hazard_data import TwoHazardData, take_rows
from analytics.survival.two_hazard_draws import TwoHazardDraws, life_law
from analytics.survival.two_hazard_shares import BLOCK, SeenFailures, seen_failures
from analytics.survival.two_hazard_spared import hazard_with, log_ratios, ways_left

__all__ = ["Avoided", "Change", "avoided_failures"]

Array = NDArray[np.float64]

_CURVES = 24_000
"""Curves of later failures worked out per change, draws times failures it bears on."""

_FEWEST_CURVES = 4
"""Draws behind the later failures of a fleet however large."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What would have been other.

    Attributes
    ----------
    kept : mapping of int to ndarray, shape (n_failures,) or (n_draws, n_failures)
        Column of a defect to the chance that it, if present, would have been there all the
        same; a column left out stays as it was. [-]
    practice : ndarray, shape (n, J) or (J,)
        Chance of each defect on the discs that follow, a row per install they are like. [-]
    wear_shift : ndarray, shape (n_failures, r), optional
        Added to the wear covariates of each failed disc and of those that follow it. [any]
    """

    practice: Array
    kept: Mapping[int, Array] = field(default_factory=dict)
    wear_shift: Array | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Avoided:
    """What one change would have avoided.

    Attributes
    ----------
    total : ndarray, shape (n_draws, 1 + n_tallies)
        Failures avoided over the log, then the same summed with each tally's weights.
        [failures, unit of the tally]
    at_once : ndarray, shape (n_draws,)
        Failures that would not have happened when they did; some come later. [failures]
    each : ndarray, shape (n_failures,)
        Mean contribution of each failure, its weight not yet put on. [failures]
    """

    total: Array
    at_once: Array
    each: Array


def avoided_failures(
    draws: TwoHazardDraws,
    data: TwoHazardData,
    changes: Sequence[Change],
    *,
    others: OtherEndings,
    remaining_years: Array,
    tallies: Array | None = None,
    seed: int = 0,
) -> list[Avoided]:
    """Count what each change would have avoided over the time the lives were watched.

    Parameters
    ----------
    draws : TwoHazardDraws
        Parameter draws.
    data : TwoHazardData
        The lives that were fitted.
    changes : sequence of Change
        One answer each; every array by the rows of `data` that ended, in their order.
    others : OtherEndings
        How discs end otherwise than by a premature failure.
    remaining_years : ndarray, shape (n_failures,)
        Time from each failure to the end of its position's record. [years]
    tallies : ndarray, shape (n_failures, n_tallies), optional
        What else to sum by, such as cost. [any]
    seed : int, default 0
        Seed of the draws of unrecorded checks; the one of `share_owed` for like answers.

    Returns
    -------
    list of Avoided
        One per change.

    Raises
    ------
    NotEstimable
        If no life ended.

    Notes
    -----
    Expected counts under both worlds, renewals included, weighed along the failures that were
    seen: the estimate keeps to the log and needs no luck of its own. The later failures, a
    small part, are taken at their mean over the draws where failures are many.
    """
    failures = np.flatnonzero(data.lifetimes.ended & (data.lifetimes.weight > 0))
    if failures.size == 0:
        raise NotEstimable("what was avoided needs at least one failure on record, got none")
    n_draws = len(draws.install_shape)
    weight = data.lifetimes.weight[failures]
    weigh = weight[:, None] * np.column_stack(
        [np.ones(failures.size), *([] if tallies is None else [tallies])]
    )
    results = [
        Avoided(
            total=np.zeros((n_draws, weigh.shape[1])),
            at_once=np.zeros(n_draws),
            each=np.zeros(failures.size),
        )
        for _ in changes
    ]
    after = [followers(draws, change.practice) for change in changes]
    rng = np.random.default_rng(seed)
    for start in range(0, failures.size, BLOCK // 4):
        block = np.arange(start, min(start + BLOCK // 4, failures.size))
        ended = take_rows(data, failures[block])
        seen = seen_failures(draws, ended, rng)
        for change, follow, result in zip(changes, after, results, strict=True):
            here = _touched(change, block, seen)
            if here.size == 0:
                continue
            rows, near = block[here], take_rows(ended, here)
            part = _among(seen, here)
            share = _share(draws, part, change, rows)
            curves = _CURVES * block.size // (failures.size * here.size)
            some = _first(draws, min(n_draws, max(_FEWEST_CURVES, curves)))
            net = _net(some, near, part, change, rows, follow, others, remaining_years[rows])
            saved = share * net if len(net) == n_draws else share * net.mean(axis=0)
            result.total[:] += saved @ weigh[rows]
            result.at_once[:] += share @ weight[rows]
            result.each[rows] = saved.mean(axis=0)
    return results


def _touched(change: Change, block: NDArray[np.intp], seen: SeenFailures) -> NDArray[np.intp]:
    """Places in the block of the failures that the change may bear on."""
    touched = np.zeros(block.size, dtype=bool)
    for column, kept in change.kept.items():
        loses = (kept[..., block] < 1).reshape(-1, block.size).any(axis=0)
        touched |= loses & seen.present[column].any(axis=0)
    if change.wear_shift is not None:
        touched |= change.wear_shift[block].any(axis=1)
    return np.flatnonzero(touched)


def _share(
    draws: TwoHazardDraws, seen: SeenFailures, change: Change, rows: NDArray[np.intp]
) -> Array:
    """Chance that each failure would not have happened when it did, (n_draws, n)."""
    slower = _moved(draws, change, rows)
    now = hazard_with(draws, seen, {}, np.zeros_like(slower))
    return np.asarray(1 - hazard_with(draws, seen, _kept(change, rows), slower) / now)


def _net(
    draws: TwoHazardDraws,
    ended: TwoHazardData,
    seen: SeenFailures,
    change: Change,
    rows: NDArray[np.intp],
    follow: Followers,
    others: OtherEndings,
    remaining: Array,
) -> Array:
    """Failures saved by each that does not happen, (draws looked at, n)."""
    m, n = len(draws.install_shape), len(rows)
    seen = SeenFailures(
        early=seen.early[:m], late=seen.late[:m], present=[each[:m] for each in seen.present]
    )
    kept = {column: each[:m] for column, each in _kept(change, rows).items()}
    slower = _moved(draws, change, rows)
    clean = life_law(draws, install_design=ended.install_design, wear_design=ended.wear_design)
    duty = replace(clean, wear_location=clean.wear_location + slower)
    lives = ended.lifetimes
    return net_of_later(
        [
            (often, _fitted(duty, *log_ratios(draws, seen, way)))
            for often, way in ways_left(draws, seen, kept, slower)
        ],
        [
            (often, _fitted(duty, follow.early[:m, [k]], follow.late[:m, [k]]))
            for k, often in enumerate(follow.weight)
        ],
        others,
        age_years=np.where(lives.exact, lives.lower, (lives.lower + lives.upper) / 2),
        remaining_years=np.broadcast_to(remaining, n),
    )


def _fitted(clean: LifeLaw, early: Array, late: Array) -> LifeLaw:
    """The law of a clean disc with its two hazards multiplied, given the logs."""
    return replace(
        clean,
        wear_location=clean.wear_location - clean.wear_sigma * late,
        install_log_rate=clean.install_log_rate + early,
    )


def _moved(draws: TwoHazardDraws, change: Change, rows: NDArray[np.intp]) -> Array:
    """What the change adds to the location of log life under wear, (n_draws, n)."""
    if change.wear_shift is None:
        return np.zeros((len(draws.install_shape), len(rows)))
    return draws.wear_effects @ change.wear_shift[rows].T


def _kept(change: Change, rows: NDArray[np.intp]) -> dict[int, Array]:
    return {column: np.atleast_2d(each[..., rows]) for column, each in change.kept.items()}


def _among(seen: SeenFailures, here: NDArray[np.intp]) -> SeenFailures:
    return SeenFailures(
        early=seen.early[:, here],
        late=seen.late[:, here],
        present=[each[:, here] for each in seen.present],
    )


def _first(draws: TwoHazardDraws, count: int) -> TwoHazardDraws:
    """The first draws; they come in random order."""
    parts = {each.name: getattr(draws, each.name)[:count] for each in fields(TwoHazardDraws)}
    return TwoHazardDraws(**parts)
