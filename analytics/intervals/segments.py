r"""What a position costs from one outage to the next, every disc in between replaced as it ends.

With life density f of failures and upsets, and K(t) the cost until t from a new disc,

.. math:: K(t) = \int_0^t c(u) f(u) \, [1 + \dots] du = A(t) + \int_0^t K(t - u) dF(u)

where A is the cost of the first end; for a disc of age a the same with the law given survival
to a. The integrals are Stieltjes sums at midpoints.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.intervals.walk import walk
from analytics.survival.law import LifeLaw

__all__ = ["STEPS_PER_YEAR", "Segments", "segment_costs"]

Array = NDArray[np.float64]

STEPS_PER_YEAR = 24
_MOST_DRAWS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Segments:
    """Expected cost of ends until each step.

    Attributes
    ----------
    new : ndarray, shape (n_steps + 1, n_units)
        From a new disc. [currency]
    aged : ndarray, shape (n_steps + 1, n_units)
        From the disc now fitted, at its age. [currency]
    """

    new: Array
    aged: Array

    def of(self, unit: int, start: Array, years: float) -> float:
        """Read one curve at a time between the steps; `start` is `new` or `aged`. [currency]"""
        times = np.arange(len(start)) / STEPS_PER_YEAR
        return float(np.interp(years, times, start[:, unit]))


def segment_costs(
    law: LifeLaw,
    ages_years: Array,
    unplanned_cost: Array,
    demand_rate: Array,
    demand_cost: Array,
    *,
    horizon_years: float,
    current: LifeLaw | None = None,
) -> Segments:
    """Tabulate the expected cost of failures and upsets over time.

    Parameters
    ----------
    law : LifeLaw, shape (n_draws, n_units)
        Every later disc; at most 40 draws, evenly spaced, are used.
    ages_years : ndarray, shape (n_units,)
        Age of the disc now fitted, >= 0. [years]
    unplanned_cost, demand_rate, demand_cost : ndarray, shape (n_units,)
        Costs and the rate of upsets. [currency], [1/years]
    horizon_years : float
        How far to tabulate, > 0. [years]
    current : LifeLaw, optional
        The disc now fitted; `law` when not given.

    Returns
    -------
    Segments
        Means over the draws.
    """
    steps = int(np.ceil(horizon_years * STEPS_PER_YEAR)) + 1
    times = np.arange(1, steps + 1) / STEPS_PER_YEAR
    law, current = _thin(law), _thin(current or law)
    ended, cost = _ends(law, times, unplanned_cost, demand_rate, demand_cost)
    new = _renew(ended, cost)
    from_age = np.concatenate([ages_years[None, :], ages_years[None, :] + times[:, None]])
    ended_aged, cost_aged = _ends(
        current, np.maximum(from_age, 1e-9), unplanned_cost, demand_rate, demand_cost
    )
    left = np.maximum(1 - ended_aged[0], 1e-300)
    masses = np.diff(ended_aged, axis=0) / left
    first = (cost_aged[1:] - cost_aged[0]) / left
    return Segments(new=_from_zero(new), aged=_from_zero(first + _follow_on(masses, new)))


def _thin(law: LifeLaw) -> LifeLaw:
    draws = len(law.wear_location)
    pick = np.unique(np.linspace(0, draws - 1, min(draws, _MOST_DRAWS)).round().astype(int))

    def take(values: Array) -> Array:
        return values[pick] if len(values) == draws else values

    return LifeLaw(
        family=law.family,
        wear_location=take(law.wear_location),
        wear_sigma=take(law.wear_sigma),
        install_log_rate=take(law.install_log_rate),
        install_shape=take(law.install_shape),
    )


def _ends(
    law: LifeLaw, ages: Array, unplanned_cost: Array, demand_rate: Array, demand_cost: Array
) -> tuple[Array, Array]:
    """Chance that a life ended by each age, and the expected cost of that end."""
    seen = walk(law, ages, demand_rate=demand_rate)
    upset = np.clip(1 - seen.survived - seen.early, 0.0, 1.0)
    return 1 - seen.survived, seen.early * unplanned_cost + upset * demand_cost


def _renew(ended: Array, cost: Array) -> Array:
    """Cost from a new disc at every step: ends of the first, then all that follows it."""
    masses = np.diff(np.concatenate([np.zeros_like(ended[:1]), ended]), axis=0)
    total = np.zeros_like(cost)
    for step in range(len(cost)):
        # A disc that ended in an earlier step has run on average for half a step less; one that
        # ended in this step costs again what half a step costs.
        middle = 0.5 * (total[:step] + np.concatenate([np.zeros_like(cost[:1]), total])[:step])
        known = (masses[1 : step + 1][::-1] * middle).sum(axis=0) if step else 0.0
        half = total[step - 1] if step else 0.0
        known = known + masses[0] * 0.5 * half
        total[step] = (cost[step] + known) / (1 - 0.5 * masses[0])
    return total


def _follow_on(masses: Array, new: Array) -> Array:
    """Cost of all discs after the first, whose end has the given masses per step."""
    middle = 0.5 * (new + np.concatenate([np.zeros_like(new[:1]), new[:-1]]))
    out = np.zeros_like(new)
    for step in range(len(new)):
        out[step] = (masses[: step + 1][::-1] * middle[: step + 1]).sum(axis=0)
    return out


def _from_zero(curve: Array) -> Array:
    return np.concatenate([np.zeros((1, curve.shape[2])), curve.mean(axis=1)])
