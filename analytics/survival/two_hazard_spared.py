r"""Which defects are on a disc that a change spared, left in place?

Where a defect is kept only by chance, a disc is spared because it lost what made it fail: those
left in place are better fitted than the change makes all discs. With q the chance that a defect
is kept, h the hazard as it was, h' its mean under the change and h'_1 the same with the defect
kept for sure, Bayes' rule gives the chance that a spared disc has it still,

.. math:: q' = q \frac{h - h'_1}{h - h'}

Discs with and without the strongest defect are told apart, since what they suffer later is not
the mean of it; the other defects enter by their q'. With one defect in doubt that is exact.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from analytics.survival.two_hazard_draws import TwoHazardDraws
from analytics.survival.two_hazard_shares import SeenFailures

__all__ = ["hazard_with", "log_ratios", "ways_left"]

_NOTHING = 1e-9
"""Part of the hazard below which nothing is spared and nothing learnt."""

Array = NDArray[np.float64]


def ways_left(
    draws: TwoHazardDraws, seen: SeenFailures, kept: Mapping[int, Array], slower: Array
) -> list[tuple[Array, dict[int, Array]]]:
    """Give the ways a spared disc may be fitted.

    Parameters
    ----------
    draws : TwoHazardDraws
        Parameter draws.
    seen : SeenFailures
        The failures.
    kept : mapping of int to ndarray, shape (1, n) or (n_draws, n)
        Column of a defect to the chance that it, if present, would be there all the same. [-]
    slower : ndarray, shape (n_draws, n)
        Added to the location of log life under wear. [-]

    Returns
    -------
    list of (ndarray, dict)
        How often each way is found among the spared, shape (n_draws, n), and its `kept`. One
        way if no defect is in doubt.
    """
    unsure = {j: q for j, q in kept.items() if ((q > 0) & (q < 1)).any()}
    if not unsure:
        return [(np.ones(seen.early.shape), dict(kept))]
    now = hazard_with(draws, seen, {}, np.zeros_like(slower))
    strength = np.stack(
        [
            np.abs(draws.defect_effects[:, j, None]) * (seen.present[j] & (q > 0) & (q < 1))
            for j, q in unsure.items()
        ]
    )
    strongest = strength.argmax(axis=0)
    ways, weights = [], []
    for there in (1.0, 0.0):
        way, often = dict(kept), np.ones(now.shape)
        for place, (j, q) in enumerate(unsure.items()):
            here = strongest == place
            way[j] = np.where(here, there, q)
            often = np.where(here, q if there else 1 - q, often)
        ways.append(_given_spared(draws, seen, way, slower, now))
        weights.append(often * (now - hazard_with(draws, seen, way, slower)))
    with_it = _part(weights[0], weights[0] + weights[1], now, or_else=0.0)
    return [(with_it, ways[0]), (1 - with_it, ways[1])]


def _given_spared(
    draws: TwoHazardDraws,
    seen: SeenFailures,
    kept: Mapping[int, Array],
    slower: Array,
    now: Array,
) -> dict[int, Array]:
    """Chance of each defect to be there on the discs that do not fail, by Bayes' rule."""
    spared = now - hazard_with(draws, seen, kept, slower)
    found = {}
    for j, chance in kept.items():
        sure = {**kept, j: np.ones_like(chance)}
        with_it = chance * (now - hazard_with(draws, seen, sure, slower))
        found[j] = _part(with_it, spared, now, or_else=chance)
    return found


def _part(part: Array, whole: Array, now: Array, *, or_else: Array | float) -> Array:
    """Part of what is spared, between 0 and 1; where defects seem to protect, nothing is learnt."""
    learnt = whole > _NOTHING * now
    return np.where(learnt, np.clip(part / np.where(learnt, whole, 1.0), 0.0, 1.0), or_else)


def hazard_with(
    draws: TwoHazardDraws, seen: SeenFailures, kept: Mapping[int, Array], slower: Array
) -> Array:
    """Give the mean hazard of failed discs with their defects kept by chance.

    Parameters
    ----------
    draws, seen, kept, slower
        As in `ways_left`; a defect left out of `kept` stays as it was.

    Returns
    -------
    ndarray, shape (n_draws, n)
        In the unit of `seen`, whose hazards sum to 1 with the defects as recorded. [-]
    """
    early, late = log_ratios(draws, seen, kept)
    late = late - slower / draws.wear_sigma[:, None]
    return np.asarray(seen.early * np.exp(early) + seen.late * np.exp(late))


def log_ratios(
    draws: TwoHazardDraws, seen: SeenFailures, kept: Mapping[int, Array]
) -> tuple[Array, Array]:
    """Give the log ratios of both hazards to the clean disc's, averaged over what is kept.

    Parameters
    ----------
    draws, seen, kept
        As in `hazard_with`.

    Returns
    -------
    installation, wear : ndarray, shape (n_draws, n)
        Log ratios. [-]
    """
    shape = seen.early.shape
    early, late, none = np.zeros(shape), np.zeros(shape), np.ones(shape)
    for j, present in enumerate(seen.present):
        chance = present * kept.get(j, np.ones(1))
        early += np.log1p(chance * np.expm1(draws.defect_effects[:, j, None]))
        late += np.log1p(chance * np.expm1(draws.wear_defect_effects[:, j, None]))
        none *= 1 - chance
    if draws.first_defect_effect.any():
        first = np.exp(draws.first_defect_effect[:, None])
        early = np.log(none + first * (np.exp(early) - none))
    return early, late
