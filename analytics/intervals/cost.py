r"""At which age does a planned replacement cost least per year?

A disc ends by a premature failure (hazard h), by an upset (rate :math:`\delta`, whatever its
age) or by the planned replacement at age T; each time a new one is fitted. The yearly cost is

.. math::
    C(T) = \frac{c_p G(T) + c_f (1 - G(T))}{M(T)} + \delta (c_d - c_f), \qquad
    G = e^{-H - \delta t}, \quad M(T) = \int_0^T G

so upsets shorten the cycle and what one costs, c_d, lifts the whole curve but moves no optimum.
At the optimum :math:`C = (c_f - c_p)(h + \delta) + \delta (c_d - c_f)`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.intervals.walk import Walk, per_unit, walk
from analytics.survival.law import LifeLaw

__all__ = [
    "LeastCost",
    "Money",
    "Policies",
    "effects_of",
    "least_cost",
    "least_of",
    "money_of",
    "policies",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeastCost:
    """The least-cost age of every draw and unit.

    Attributes
    ----------
    age_years : ndarray, shape (n_draws, n_units)
        Age at least cost; inf where running to failure costs no more. [years]
    cost_per_year : ndarray, shape (n_draws, n_units)
        Cost at that age. [currency/year]
    run_to_failure : ndarray, shape (n_draws, n_units)
        Cost without planned replacement. [currency/year]
    """

    age_years: Array
    cost_per_year: Array
    run_to_failure: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Policies:
    """What replacing at given ages does, per age, draw and unit.

    Attributes
    ----------
    cost_per_year : ndarray, shape (n_ages, n_draws, n_units)
        Yearly cost. [currency/year]
    cost_slope : ndarray, same shape
        Its derivative by the age. [currency/year^2]
    premature_probability : ndarray, same shape
        Chance that a new disc fails early before anything else ends it. [-]
    planned_per_year, premature_per_year : ndarray, same shape
        Yearly counts; upsets come on top at their own rate. [1/years]
    """

    cost_per_year: Array
    cost_slope: Array
    premature_probability: Array
    planned_per_year: Array
    premature_per_year: Array


def least_cost(
    law: LifeLaw,
    planned_cost: ArrayLike,
    unplanned_cost: ArrayLike,
    *,
    demand_rate: ArrayLike = 0.0,
    demand_cost: ArrayLike | None = None,
) -> LeastCost:
    r"""Find the least-cost age of every draw by its first-order condition.

    .. math:: (h(T) + \delta) M(T) + G(T) = c_f / (c_f - c_p)

    Parameters
    ----------
    law : LifeLaw
        Shape (n_draws, n_units).
    planned_cost, unplanned_cost : array_like, shape (n_units,) or scalar
        Costs of a planned replacement and of a premature failure, > 0. [currency]
    demand_rate : array_like, shape (n_units,), (n_draws, n_units) or scalar
        Rate of upsets that open the disc. [1/years]
    demand_cost : array_like, optional
        Cost of such an opening; that of a premature failure when not given. [currency]

    Returns
    -------
    LeastCost
        Exact to about nine digits; inf where the hazard never rises enough.

    Raises
    ------
    InputError
        If a cost is not positive or a rate is negative.

    Notes
    -----
    A life is followed for 10,000 years at most, which is what running to failure means for
    a law without a mean.

    References
    ----------
    .. [1] R. E. Barlow, F. Proschan, Mathematical Theory of Reliability (1965), ch. 4.
       From memory; the values were re-derived to 60 digits.

    Examples
    --------
    >>> from analytics.survival.law import Family
    >>> one = np.ones((1, 1))
    >>> law = LifeLaw(family=Family.WEIBULL, wear_location=0 * one, wear_sigma=one / 2,
    ...               install_log_rate=-np.inf * one, install_shape=one)
    >>> round(float(least_cost(law, 1.0, 10.0).age_years[0, 0]), 6)
    0.336451
    """
    money = money_of(law, planned_cost, unplanned_cost, demand_rate, demand_cost)
    none = np.empty((0, 1))
    return least_of(walk(law, none, demand_rate=demand_rate, cost_ratio=money.ratio), money)


def policies(
    law: LifeLaw,
    planned_cost: ArrayLike,
    unplanned_cost: ArrayLike,
    ages_years: ArrayLike,
    *,
    demand_rate: ArrayLike = 0.0,
    demand_cost: ArrayLike | None = None,
) -> Policies:
    """Say what planned replacement at given ages costs and does.

    Parameters are those of `least_cost`, with

    Parameters
    ----------
    ages_years : array_like, shape (n_ages,) or (n_ages, n_units)
        Ages > 0; inf stands for running to failure. [years]

    Returns
    -------
    Policies
        Arrays of shape (n_ages, n_draws, n_units).
    """
    money = money_of(law, planned_cost, unplanned_cost, demand_rate, demand_cost)
    return effects_of(walk(law, ages_years, demand_rate=demand_rate), money)


@dataclass(frozen=True, slots=True)
class Money:
    """Costs per unit: planned, of a failure, the difference, what upsets add per year."""

    planned: Array
    unplanned: Array
    ratio: Array
    upsets: Array

    @property
    def gain(self) -> Array:
        """What a planned replacement saves against a failure. [currency]"""
        return self.unplanned - self.planned


def money_of(
    law: LifeLaw,
    planned_cost: ArrayLike,
    unplanned_cost: ArrayLike,
    demand_rate: ArrayLike,
    demand_cost: ArrayLike | None,
) -> Money:
    """Check the costs and bring them to one per unit; parameters as `least_cost`."""
    units = np.shape(law.wear_location)[-1]
    planned = per_unit(planned_cost, units, "planned_cost")
    unplanned = per_unit(unplanned_cost, units, "unplanned_cost")
    dear = unplanned if demand_cost is None else per_unit(demand_cost, units, "demand_cost")
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(unplanned > planned, unplanned / (unplanned - planned), np.inf)
    upsets = np.atleast_2d(np.asarray(demand_rate, dtype=float)) * (dear - unplanned)
    return Money(planned, unplanned, ratio, upsets)


def least_of(seen: Walk, money: Money) -> LeastCost:
    """Price the least-cost age that a walk found."""
    with np.errstate(invalid="ignore"):
        cost = money.gain * seen.best_rate
    forever = (money.unplanned - money.gain * seen.left) / seen.lived_years
    finite = np.isfinite(seen.best_years) & (cost < forever)
    return LeastCost(
        age_years=np.where(finite, seen.best_years, np.inf),
        cost_per_year=np.where(finite, cost, forever) + money.upsets,
        run_to_failure=forever + money.upsets,
    )


def effects_of(seen: Walk, money: Money) -> Policies:
    """Price the ages a walk was asked for."""
    cycle = money.unplanned - money.gain * seen.survived
    steep = money.gain * seen.ended_per_year * seen.exposure - cycle
    return Policies(
        cost_per_year=cycle / seen.exposure + money.upsets,
        cost_slope=seen.survived * steep / seen.exposure**2,
        premature_probability=seen.early,
        planned_per_year=seen.survived / seen.exposure,
        premature_per_year=seen.early / seen.exposure,
    )
