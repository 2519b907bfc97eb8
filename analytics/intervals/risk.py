r"""How likely is a premature failure before an age, and which age keeps a risk target?

With upsets at rate :math:`\delta` a disc fails early before age T with probability
:math:`\int_0^T h G`; without them with :math:`1 - e^{-H(T)}`, which is never smaller. A risk
target is held against the larger one.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError
from analytics.intervals.walk import walk
from analytics.survival.law import LifeLaw, cumulative_hazard, hazard

__all__ = ["age_at_risk", "premature_probability", "premature_probability_from"]

Array = NDArray[np.float64]

_LONGEST_YEARS = 1e4


def premature_probability(
    law: LifeLaw, age_years: ArrayLike, *, demand_rate: ArrayLike = 0.0
) -> Array:
    """Give the chance that a new disc fails early before an age and before any upset.

    Parameters
    ----------
    law : LifeLaw
        Shape (n_draws, n_units).
    age_years : array_like, shape (n_units,) or scalar
        Age of the planned replacement, > 0; inf stands for running to failure. [years]
    demand_rate : array_like, shape (n_units,), (n_draws, n_units) or scalar
        Upsets that open the disc. [1/years]

    Returns
    -------
    ndarray, shape (n_draws, n_units)
        Probability. [-]

    Examples
    --------
    >>> from analytics.survival.law import Family
    >>> one = np.ones((1, 1))
    >>> law = LifeLaw(family=Family.WEIBULL, wear_location=np.log(8 * one), wear_sigma=one / 2,
    ...               install_log_rate=-np.inf * one, install_shape=one)
    >>> round(float(premature_probability(law, 5.0)[0, 0]), 5)
    0.32337
    """
    seen = walk(law, np.atleast_1d(age_years)[None, :], demand_rate=demand_rate)
    return np.asarray(seen.early[0])


def premature_probability_from(
    law: LifeLaw, age_now_years: ArrayLike, age_then_years: ArrayLike
) -> Array:
    r"""Give the chance that a disc good today fails early before a later age.

    .. math:: 1 - e^{-(H(T) - H(a))}

    Parameters
    ----------
    law : LifeLaw
        Shape (n_draws, n_units).
    age_now_years, age_then_years : array_like, shape (n_units,) or scalar
        Age today and age at the replacement; a replacement in the past gives 0. [years]

    Returns
    -------
    ndarray, shape (n_draws, n_units)
        Probability, upsets aside. [-]
    """
    now = np.asarray(age_now_years, dtype=float)
    then = np.maximum(np.asarray(age_then_years, dtype=float), now)
    return np.asarray(-np.expm1(cumulative_hazard(law, now) - cumulative_hazard(law, then)))


def age_at_risk(law: LifeLaw, probability: ArrayLike) -> Array:
    r"""Find the age by which a share of new discs would have failed early.

    .. math:: H(T) = -\log(1 - p)

    Parameters
    ----------
    law : LifeLaw
        Shape (n_draws, n_units).
    probability : array_like, shape (n_units,) or scalar
        Risk target, strictly between 0 and 1. [-]

    Returns
    -------
    ndarray, shape (n_draws, n_units)
        Age; replacing no later keeps the target. Inf beyond 10,000 years. [years]

    Raises
    ------
    InputError
        If the target is outside (0, 1).

    Notes
    -----
    Upsets are left out: they end lives before they can fail and would lengthen the age.
    """
    target = np.asarray(probability, dtype=float)
    if not ((target > 0) & (target < 1)).all():
        raise InputError(f"the risk target must lie in (0, 1), got {probability!r}")
    wanted = -np.log1p(-target)
    low, high = _bracket(law, wanted)
    y, before = 0.5 * (low + high), np.full_like(low, np.inf)
    for _ in range(100):
        total = cumulative_hazard(law, np.exp(y))
        low, high = np.where(total < wanted, y, low), np.where(total < wanted, high, y)
        # Newton on log H over log age, on which every law here is close to straight.
        rate = sum(hazard(law, np.exp(y))) * np.exp(y) / total
        step = (np.log(total) - np.log(wanted)) / np.maximum(rate, 1e-300)
        done = np.minimum(np.abs(step), high - low) < 1e-11
        # Newton may run to and fro; where its step does not shrink by half, halve the bracket.
        good = (low < y - step) & (y - step < high) & (np.abs(step) < 0.5 * before)
        before = np.where(good, np.abs(step), 0.5 * (high - low))
        y = np.where(done, y, np.where(good, y - step, 0.5 * (low + high)))
        if done.all():
            break
    return np.where(y > np.log(_LONGEST_YEARS), np.inf, np.exp(y))


def _bracket(law: LifeLaw, wanted: Array) -> tuple[Array, Array]:
    """Log ages below and above the answer, or a little beyond the longest age."""
    shape = np.broadcast_shapes(np.shape(law.wear_location), np.shape(wanted))
    high = np.full(shape, np.log(_LONGEST_YEARS) + 0.1)
    low = np.full(shape, -5.0)
    for _ in range(12):
        above = cumulative_hazard(law, np.exp(low)) >= wanted
        if not above.any():
            break
        low = np.where(above, 2 * low, low)
    return low, high
