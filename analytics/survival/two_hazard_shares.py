r"""Which failures were owed to the installation, and to which of its defects?

A failure at age t owes to the recorded defects the part of the hazard they added,

.. math::
    \text{share}(t) = \frac{h_1(t; x) - h_1(t; 0)}{h_1(t; x) + h_w(t)}

that is, the probability that the same disc without defects would not have failed then. Of a
failure known only to an interval, the mean over the ages it may have had is taken. Several
defects divide the share in proportion to their log hazard ratios
:math:`\ell_j = \log(1 - x_j + x_j e^{b_j})`: the only division that comes out of letting all
defects grow together from nothing, along the exponential path, so it adds up exactly and does
not depend on any order. A defect that seems to protect (:math:`b_j < 0`) gets a negative part.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray

from analytics.errors import NotEstimable
from analytics.estimate import Estimate, from_draws
from analytics.survival.law import LifeLaw, cumulative_hazard, hazard
from analytics.survival.two_hazard_data import TwoHazardData, take_rows
from analytics.survival.two_hazard_draws import TwoHazardDraws, life_law, log_defect_ratio

__all__ = ["OwedShares", "share_owed"]

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


def share_owed(draws: TwoHazardDraws, data: TwoHazardData, seed: int = 0) -> OwedShares:
    """Attribute each failure to the installation, with what is not known of it.

    Parameters
    ----------
    draws : TwoHazardDraws
        Parameter draws.
    data : TwoHazardData
        The lives that were fitted, or others with the same columns.
    seed : int, default 0
        Seed of the draws of unrecorded checks.

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
    by_defect = np.zeros((len(draws.install_shape), len(data.defect_names)))
    defect_share = np.empty((failures.size, len(data.defect_names)))
    for block in _blocks(failures.size, BLOCK // 4):
        ended = take_rows(data, failures[block])
        for j, part in enumerate(_divide(draws, ended, rng)):
            by_defect[:, j] += part @ ended.lifetimes.weight
            defect_share[block, j] = part.mean(axis=0)
            share[:, block] = part if j == 0 else share[:, block] + part
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
    )


def _divide(
    draws: TwoHazardDraws, ended: TwoHazardData, rng: np.random.Generator
) -> Iterator[Array]:
    """Draw each failure's share, one defect after the other, (n_draws, n_failures) each.

    An unrecorded defect is drawn as present with the probability it has given the failure:
    p e^b / (1 - p + p e^b) if the installation's hazard struck, p if wear did. Averaged over
    the draws this is the share of the marginal hazard.
    """
    base = _install_share(draws, ended)
    marginal = log_defect_ratio(draws.defect_effects, ended.defects)
    struck = rng.random(base.shape) < base
    log_parts = []
    for effect, defect in zip(draws.defect_effects.T, ended.defects.T, strict=True):
        part = effect[:, None] * (defect == 1)
        unsure = np.flatnonzero((defect > 0) & (defect < 1))
        raised = np.where(struck[:, unsure], np.exp(effect)[:, None], 1.0) * defect[unsure]
        present = rng.random(raised.shape) * (1 - defect[unsure] + raised) < raised
        part[:, unsure] = effect[:, None] * present
        log_parts.append(part)
    log_ratio = np.sum(log_parts, axis=0)
    # hazard of a clean disc, and of wear, in units of the marginal hazard
    clean = base * np.exp(-marginal)
    per_log = clean / (clean * np.exp(log_ratio) + 1 - base) * _relative_growth(log_ratio)
    for part in log_parts:
        yield per_log * part


def _relative_growth(log_ratio: Array) -> Array:
    """(e^x - 1) / x, which is 1 at 0."""
    flat = np.abs(log_ratio) < 1e-9
    return np.where(flat, 1.0, np.expm1(log_ratio) / np.where(flat, 1.0, log_ratio))


def _install_share(draws: TwoHazardDraws, ended: TwoHazardData) -> Array:
    """Part of the hazard at failure that is the installation's, (n_draws, n_failures)."""
    lives = ended.lifetimes
    share = np.empty((len(draws.install_shape), len(lives)))
    exact = lives.exact
    installation, wear = hazard(_law(draws, take_rows(ended, exact)), lives.lower[exact])
    share[:, exact] = installation / (installation + wear)
    share[:, ~exact] = _over_interval(draws, take_rows(ended, ~exact))[0]
    return share


def _avoided(draws: TwoHazardDraws, data: TwoHazardData) -> Array:
    """Expected failures that the defects added while the lives were watched, (n_draws,)."""
    total = np.zeros(len(draws.install_shape))
    for block in _blocks(len(data.lifetimes), BLOCK):
        part = take_rows(data, block)
        lives = part.lifetimes
        log_rate = _law(draws, part).install_log_rate
        k = draws.install_shape[:, None]
        added = np.exp(log_rate) * (lives.lower**k - lives.entry**k)
        interval = lives.ended & ~lives.exact
        added[:, interval] += _over_interval(draws, take_rows(part, interval))[1]
        owed = -np.expm1(-log_defect_ratio(draws.defect_effects, part.defects))
        total += (owed * added) @ lives.weight
    return total


def _over_interval(draws: TwoHazardDraws, ended: TwoHazardData) -> tuple[Array, Array]:
    r"""Means over the age T of a failure in (l, u], each (n_draws, n_failures).

    The installation's share, :math:`\int_l^u S\,d\Lambda_1 / (S(l) - S(u))`, and its cumulative
    hazard beyond l, :math:`\int_l^u (S - S(u))\,d\Lambda_1 / (S(l) - S(u))`. Integrated over
    :math:`y = t^k`, where :math:`d\Lambda_1 = e^{a} dy` is flat even when l = 0.
    """
    law = _law(draws, ended)
    k = law.install_shape
    low, high = ended.lifetimes.lower**k, ended.lifetimes.upper**k
    at_low = cumulative_hazard(law, ended.lifetimes.lower)
    failed = -np.expm1(at_low - cumulative_hazard(law, ended.lifetimes.upper))
    survived = np.zeros(np.broadcast_shapes(low.shape, at_low.shape))
    for node, weight in zip(NODES, NODE_WEIGHTS, strict=True):
        y = low + (high - low) * (1 + node) / 2
        survived += weight / 2 * np.exp(at_low - cumulative_hazard(law, y ** (1 / k)))
    added = np.exp(law.install_log_rate) * (high - low)
    return added * survived / failed, added * (survived - (1 - failed)) / failed


def _blocks(n: int, size: int) -> list[NDArray[np.intp]]:
    return [np.arange(start, min(start + size, n)) for start in range(0, n, size)]


def _law(draws: TwoHazardDraws, data: TwoHazardData) -> LifeLaw:
    return life_law(
        draws,
        defects=data.defects,
        install_design=data.install_design,
        wear_design=data.wear_design,
    )
