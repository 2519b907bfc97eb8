r"""Which failures were owed to the installation, and to which of its defects?

A failure at age t owes to the defects the part of the hazard they added,

.. math::
    \text{share}(t) = \frac{h(t; x) - h(t; 0)}{h(t; x)}

that is, the probability that the same disc without defects would not have failed then. Of a
failure known only to an interval, the mean over the ages it may have had is taken. Several
defects divide what they added to each of the two hazards in proportion to their log hazard
ratios: the only division that comes out of letting all defects grow together from nothing,
along the exponential path, so it adds up exactly and does not depend on any order. A defect
that seems to protect gets a negative part.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray

from analytics.errors import NotEstimable
from analytics.estimate import Estimate, from_draws
from analytics.survival.law import LifeLaw, cumulative_hazard, hazard
from analytics.survival.two_hazard_data import TwoHazardData, take_rows
from analytics.survival.two_hazard_draws import (
    TwoHazardDraws,
    install_log_ratio,
    life_law,
    log_defect_ratio,
)

__all__ = ["BLOCK", "OwedShares", "SeenFailures", "seen_failures", "share_owed"]

Array = NDArray[np.float64]

NODES, NODE_WEIGHTS = leggauss(12)
BLOCK = 2000
"""Lives handled at once, which bounds the memory of large fleets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OwedShares:
    """What the failures owed to the defects found when their discs were fitted.

    Attributes
    ----------
    failures : ndarray of int, shape (n_failures,)
        Rows of the data that ended. [-]
    share : ndarray, shape (n_draws, n_failures)
        Share of each failure owed to its defects, below 1; negative where defects seem to
        protect. Where a check was not recorded, each draw says anew whether the defect was
        there. [-]
    estimate, low, high : ndarray, shape (n_failures,)
        Mean of the share over the draws, and its 95 % limits: wide where checks are missing. [-]
    defect_share : ndarray, shape (n_failures, J)
        The same means divided among the defects. [-]
    total_share : Estimate
        Share of all failures, weighted. [-]
    failures_owed : Estimate
        The same as a count: the sum of the shares. [failures]
    defect_owed : dict of str to Estimate
        Failures owed to each defect; the draws add up to `failures_owed`. [failures]
    avoided : Estimate
        Failures a clean installation would have avoided, expected over the ages at which the
        lives were watched: the installation's added cumulative hazard. Equal on average to
        `failures_owed`, without its luck of the draw. [failures]
    tallied : ndarray, shape (n_draws, J, n_tallies)
        Shares of each defect summed with the weights of each tally. [unit of the tally]
    """

    failures: NDArray[np.intp]
    share: Array
    estimate: Array
    low: Array
    high: Array
    defect_share: Array
    total_share: Estimate
    failures_owed: Estimate
    defect_owed: dict[str, Estimate]
    avoided: Estimate
    tallied: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenFailures:
    """Failures as each draw sees them.

    Attributes
    ----------
    early, late : ndarray, shape (n_draws, n_failures)
        Installation and wear hazard of the same disc without defects at the age of the
        failure, over the hazard it had when what was not recorded is averaged over. [-]
    present : list of ndarray of bool, J of shape (n_draws, n_failures)
        Which defects each draw has present: as recorded, else drawn given the failure.
    """

    early: Array
    late: Array
    present: list[NDArray[np.bool_]]


def share_owed(
    draws: TwoHazardDraws, data: TwoHazardData, seed: int = 0, *, tallies: Array | None = None
) -> OwedShares:
    """Attribute each failure to the installation, with what is not known of it.

    Parameters
    ----------
    draws : TwoHazardDraws
        Parameter draws.
    data : TwoHazardData
        The lives that were fitted, or others with the same columns.
    seed : int, default 0
        Seed of the draws of unrecorded checks.
    tallies : ndarray, shape (n, n_tallies), optional
        What else to sum the shares of the failures by, such as their cost or their year; the
        weights of unclear endings are put on here. [any]

    Returns
    -------
    OwedShares
        Per failure, per defect and in total; medians and 95 % limits.

    Raises
    ------
    NotEstimable
        If no life ended, or no defect column was fitted.

    Notes
    -----
    The limits carry what is not known of the parameters and of checks that were not recorded.
    Which single failures the installation in truth caused stays a matter of chance beyond them.
    """
    if not data.defect_names:
        raise NotEstimable("shares owed to the installation need at least one recorded check")
    failures = np.flatnonzero(data.lifetimes.ended & (data.lifetimes.weight > 0))
    if failures.size == 0:
        raise NotEstimable("shares owed to the installation need at least one failure, got none")
    rng = np.random.default_rng(seed)
    share = np.empty((len(draws.install_shape), failures.size))
    weigh = data.lifetimes.weight[:, None] * np.column_stack(
        [np.ones(len(data.lifetimes)), *([] if tallies is None else [tallies])]
    )
    tallied = np.zeros((len(draws.install_shape), len(data.defect_names), weigh.shape[1]))
    defect_share = np.empty((failures.size, len(data.defect_names)))
    for block in _blocks(failures.size, BLOCK // 4):
        ended = take_rows(data, failures[block])
        for j, part in enumerate(_divide(draws, ended, rng)):
            tallied[:, j] += part @ weigh[failures[block]]
            defect_share[block, j] = part.mean(axis=0)
            share[:, block] = part if j == 0 else share[:, block] + part
    by_defect = tallied[:, :, 0]
    owed = by_defect.sum(axis=1)
    estimate = share.mean(axis=0)
    low, high = np.quantile(share, [0.025, 0.975], axis=0)
    return OwedShares(
        failures=failures,
        share=share,
        estimate=estimate,
        low=np.minimum(low, estimate),
        high=np.maximum(high, estimate),
        defect_share=defect_share,
        total_share=from_draws(owed / data.lifetimes.failures),
        failures_owed=from_draws(owed),
        defect_owed={
            name: from_draws(column)
            for name, column in zip(data.defect_names, by_defect.T, strict=True)
        },
        avoided=from_draws(_avoided(draws, data)),
        tallied=tallied[:, :, 1:],
    )


def seen_failures(
    draws: TwoHazardDraws, ended: TwoHazardData, rng: np.random.Generator
) -> SeenFailures:
    """Draw what was not recorded of failed discs and split their hazards.

    Parameters
    ----------
    draws : TwoHazardDraws
        Parameter draws.
    ended : TwoHazardData
        Lives that failed, `BLOCK` / 4 of them at most for the sake of memory.
    rng : Generator
        Source of the draws of unrecorded checks.

    Returns
    -------
    SeenFailures
        An unrecorded defect is present with the probability it has given the failure,
        p e^b / (1 - p + p e^b) if the installation's hazard struck, with w for b if wear did.
    """
    base = _install_share(draws, ended)
    return SeenFailures(
        early=base * np.exp(-install_log_ratio(draws, ended.defects)),
        late=(1 - base) * np.exp(-log_defect_ratio(draws.wear_defect_effects, ended.defects)),
        present=_present(draws, ended.defects, rng.random(base.shape) < base, rng),
    )


def _divide(
    draws: TwoHazardDraws, ended: TwoHazardData, rng: np.random.Generator
) -> Iterator[Array]:
    """Draw each failure's share, one defect after the other, (n_draws, n_failures) each.

    Averaged over the draws this is the share of the marginal hazard.
    """
    seen = seen_failures(draws, ended, rng)
    early, late, present = seen.early, seen.late, seen.present
    count = np.sum(present, axis=0)
    # what the first defect does is divided evenly among those present
    first = draws.first_defect_effect[:, None] / np.maximum(count, 1)
    log_early, log_late = np.zeros(early.shape), np.zeros(early.shape)
    for b, w, x in zip(draws.defect_effects.T, draws.wear_defect_effects.T, present, strict=True):
        log_early += (b[:, None] + first) * x
        log_late += w[:, None] * x
    hazard_now = early * np.exp(log_early) + late * np.exp(log_late)
    early = early * _relative_growth(log_early) / hazard_now
    late = late * _relative_growth(log_late) / hazard_now
    for b, w, x in zip(draws.defect_effects.T, draws.wear_defect_effects.T, present, strict=True):
        yield (early * (b[:, None] + first) + late * w[:, None]) * x


def _present(
    draws: TwoHazardDraws, defects: Array, struck: NDArray[np.bool_], rng: np.random.Generator
) -> list[NDArray[np.bool_]]:
    """Draw whether each defect was there, J of (n_draws, n_failures); recorded ones as recorded.

    One defect after the other, each given those before it: with the first's own effect f they
    are not independent, since a disc that failed early is likely to have had some defect.
    """
    first = np.exp(np.where(struck, draws.first_defect_effect[:, None], 0.0))
    some = np.repeat((defects == 1).any(axis=1)[None, :], len(struck), axis=0)
    drawn = []
    for j, defect in enumerate(defects.T):
        there = np.repeat((defect == 1)[None, :], len(struck), axis=0)
        unsure = np.flatnonzero((defect > 0) & (defect < 1))
        hit, rest = struck[:, unsure], defects[unsure, j + 1 :]
        effects = np.where(hit[..., None], draws.defect_effects[:, None, j:], 0.0)
        effects += np.where(hit[..., None], 0.0, draws.wear_defect_effects[:, None, j:])
        product = np.prod(1 + rest * np.expm1(effects[..., 1:]), axis=2)
        clean = np.prod(1 - rest, axis=1)
        f = first[:, unsure]
        with_it = defect[unsure] * np.exp(effects[..., 0]) * f * product
        without = np.where(some[:, unsure], f * product, clean + f * (product - clean))
        without *= 1 - defect[unsure]
        there[:, unsure] = rng.random(with_it.shape) * (with_it + without) < with_it
        some |= there
        drawn.append(there)
    return drawn


def _relative_growth(log_ratio: Array) -> Array:
    """(e^x - 1) / x, which is 1 at 0."""
    flat = np.abs(log_ratio) < 1e-9
    return np.where(flat, 1.0, np.expm1(log_ratio) / np.where(flat, 1.0, log_ratio))


def _install_share(draws: TwoHazardDraws, ended: TwoHazardData) -> Array:
    """Part of the hazard at failure that is the installation's, (n_draws, n_failures)."""
    lives = ended.lifetimes
    share = np.empty((len(draws.install_shape), len(lives)))
    exact = lives.exact
    at_end = _with_duty_at_end(ended)
    installation, wear = hazard(_law(draws, take_rows(at_end, exact)), lives.lower[exact])
    share[:, exact] = installation / (installation + wear)
    share[:, ~exact] = _over_interval(draws, take_rows(at_end, ~exact))[0]
    return share


def _with_duty_at_end(data: TwoHazardData) -> TwoHazardData:
    """The same with the duties that give the hazard at the end, where duties changed."""
    if data.changing is None:
        return data
    wear = data.wear_design.copy()
    wear[data.changing.row] = data.changing.at_end
    return replace(data, wear_design=wear, changing=None)


def _avoided(draws: TwoHazardDraws, data: TwoHazardData) -> Array:
    """Expected failures that the defects added while the lives were watched, (n_draws,)."""
    total = np.zeros(len(draws.install_shape))
    for block in _blocks(len(data.lifetimes), BLOCK):
        part = take_rows(data, block)
        lives = part.lifetimes
        law = _law(draws, part)
        k = draws.install_shape[:, None]
        early = np.exp(law.install_log_rate) * (lives.lower**k - lives.entry**k)
        both = cumulative_hazard(law, lives.lower) - cumulative_hazard(law, lives.entry)
        late = both - early
        interval = lives.ended & ~lives.exact
        _, early_beyond, late_beyond = _over_interval(draws, take_rows(part, interval))
        early[:, interval] += early_beyond
        late[:, interval] += late_beyond
        early *= -np.expm1(-install_log_ratio(draws, part.defects))
        late *= -np.expm1(-log_defect_ratio(draws.wear_defect_effects, part.defects))
        total += (early + late) @ lives.weight
    return total


def _over_interval(draws: TwoHazardDraws, ended: TwoHazardData) -> tuple[Array, Array, Array]:
    r"""Means over the age T of a failure in (l, u], each (n_draws, n_failures).

    The installation's share, :math:`\int_l^u S\,d\Lambda_1 / (S(l) - S(u))`, its cumulative
    hazard beyond l, :math:`\int_l^u (S - S(u))\,d\Lambda_1 / (S(l) - S(u))`, and that of wear:
    what is left of :math:`E[H(T) - H(l)] = 1 - D e^{-D} / (1 - e^{-D})`, :math:`D = H(u) - H(l)`.
    Integrated over :math:`y = t^k`, where :math:`d\Lambda_1 = e^{a} dy` is flat even when l = 0.
    """
    law = _law(draws, ended)
    k = law.install_shape
    low, high = ended.lifetimes.lower**k, ended.lifetimes.upper**k
    at_low = cumulative_hazard(law, ended.lifetimes.lower)
    gap = cumulative_hazard(law, ended.lifetimes.upper) - at_low
    failed = -np.expm1(-gap)
    survived = np.zeros(gap.shape)
    for node, weight in zip(NODES, NODE_WEIGHTS, strict=True):
        y = low + (high - low) * (1 + node) / 2
        survived += weight / 2 * np.exp(at_low - cumulative_hazard(law, y ** (1 / k)))
    added = np.exp(law.install_log_rate) * (high - low)
    early = added * (survived - (1 - failed)) / failed
    both = 1 - gap * np.exp(-gap) / failed
    return added * survived / failed, early, both - early


def _blocks(n: int, size: int) -> list[NDArray[np.intp]]:
    return [np.arange(start, min(start + size, n)) for start in range(0, n, size)]


def _law(draws: TwoHazardDraws, data: TwoHazardData) -> LifeLaw:
    return life_law(
        draws,
        defects=data.defects,
        install_design=data.install_design,
        wear_design=data.wear_design,
    )
