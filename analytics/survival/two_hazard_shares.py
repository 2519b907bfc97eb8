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
        protect. [-]
    defect_share : ndarray, shape (n_failures, J)
        The same divided among the defects, mean over the draws. [-]
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
    defect_share: Array
    total_share: Estimate
    failures_owed: Estimate
    defect_owed: dict[str, Estimate]
    avoided: Estimate


def share_owed(draws: TwoHazardDraws, data: TwoHazardData) -> OwedShares:
    """Attribute each failure to the installation, with the uncertainty of the parameters.

    Parameters
    ----------
    draws : TwoHazardDraws
        Parameter draws.
    data : TwoHazardData
        The lives that were fitted, or others with the same columns.

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
    The intervals carry what is not known of the parameters. Which of the single failures were
    in truth owed to the installation stays a matter of chance beyond them.
    """
    if not data.defect_names:
        raise NotEstimable("shares owed to the installation need at least one recorded check")
    failures = np.flatnonzero(data.lifetimes.ended & (data.lifetimes.weight > 0))
    if failures.size == 0:
        raise NotEstimable("shares owed to the installation need at least one failure, got none")
    ended = take_rows(data, failures)
    weight = ended.lifetimes.weight
    log_ratio = log_defect_ratio(draws.defect_effects, ended.defects)
    base = _install_share(draws, ended)
    share = -np.expm1(-log_ratio) * base
    by_defect, defect_share = _divide(draws, ended, share, log_ratio, base)
    owed = share @ weight
    return OwedShares(
        failures=failures,
        share=share,
        defect_share=defect_share,
        total_share=from_draws(owed / weight.sum()),
        failures_owed=from_draws(owed),
        defect_owed={
            name: from_draws(column)
            for name, column in zip(data.defect_names, by_defect.T, strict=True)
        },
        avoided=from_draws(_avoided(draws, data)),
    )


def _divide(
    draws: TwoHazardDraws, ended: TwoHazardData, share: Array, log_ratio: Array, base: Array
) -> tuple[Array, Array]:
    """Divide shares among defects: sums over failures (n_draws, J), means (n_failures, J)."""
    # share / log ratio, whose limit where the ratio is 1 is the base itself
    flat = np.abs(log_ratio) < 1e-9
    per_log = np.where(flat, base, share / np.where(flat, 1.0, log_ratio))
    sums, means = [], []
    for effect, defect in zip(draws.defect_effects.T, ended.defects.T, strict=True):
        part = per_log * np.log1p(np.expm1(effect)[:, None] * defect)
        sums.append(part @ ended.lifetimes.weight)
        means.append(part.mean(axis=0))
    return np.stack(sums, axis=1), np.stack(means, axis=1)


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
    for start in range(0, len(data.lifetimes), BLOCK):
        part = take_rows(data, np.arange(start, min(start + BLOCK, len(data.lifetimes))))
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


def _law(draws: TwoHazardDraws, data: TwoHazardData) -> LifeLaw:
    return life_law(
        draws,
        defects=data.defects,
        install_design=data.install_design,
        wear_design=data.wear_design,
    )
