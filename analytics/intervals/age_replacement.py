"""Which age to recommend, how sure it is, and how little it matters around it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError
from analytics.intervals.cost import effects_of, least_of, money_of
from analytics.intervals.walk import walk
from analytics.survival.law import LifeLaw

__all__ = ["AgeReplacement", "age_replacement"]

Array = NDArray[np.float64]

_CHUNK = 128
"""Units worked on at a time: keeps draws x ages x units within some tens of megabytes."""
_GRID = 40
_YOUNGEST = 1 / 24


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeReplacement:
    """Recommended age per unit with what is known about it.

    Attributes
    ----------
    ages_years : ndarray, shape (n_ages,)
        Ages of the curves. [years]
    cost, cost_low, cost_high : ndarray, shape (n_ages, n_units)
        Yearly cost, mean over the draws, and its limits. [currency/year]
    premature_probability : ndarray, shape (n_ages, n_units)
        Mean chance of an early failure before the planned replacement. [-]
    recommended_years : ndarray, shape (n_units,)
        Age of least expected cost; inf when none below the horizon beats running to failure.
    low_years, high_years : ndarray, shape (n_units,)
        Limits of the draws' own optimum; inf when draws have none.
    cost_recommended : ndarray, shape (n_units,)
        Expected yearly cost there (run to failure when inf). [currency/year]
    run_to_failure, run_to_failure_low, run_to_failure_high : ndarray, shape (n_units,)
        Yearly cost without planned replacement. [currency/year]
    probability_cheaper : ndarray, shape (n_units,)
        Share of draws in which the recommended age beats running to failure; 0 when inf. [-]
    flat_low_years, flat_high_years : ndarray, shape (n_units,)
        Ages between which the expected cost stays within `flat_within` of the least. [years]
    """

    ages_years: Array
    cost: Array
    cost_low: Array
    cost_high: Array
    premature_probability: Array
    recommended_years: Array
    low_years: Array
    high_years: Array
    cost_recommended: Array
    run_to_failure: Array
    run_to_failure_low: Array
    run_to_failure_high: Array
    probability_cheaper: Array
    flat_low_years: Array
    flat_high_years: Array


def age_replacement(
    law: LifeLaw,
    planned_cost: ArrayLike,
    unplanned_cost: ArrayLike,
    *,
    demand_rate: ArrayLike = 0.0,
    demand_cost: ArrayLike | None = None,
    horizon_years: float = 15.0,
    confidence: float = 0.95,
    flat_within: float = 0.02,
) -> AgeReplacement:
    """Recommend the age of least expected cost over all draws, per unit.

    Parameters are those of `least_cost`, with

    Parameters
    ----------
    horizon_years : float, default 15
        No age beyond it is recommended. [years]
    confidence : float, default 0.95
        Level of all limits. [-]
    flat_within : float, default 0.02
        How much dearer than the least still counts as flat. [-]

    Returns
    -------
    AgeReplacement
        Curves and recommendation per unit.

    Raises
    ------
    InputError
        As `least_cost`, or if `horizon_years` is not above 0.1.
    """
    if not horizon_years > 0.1:
        raise InputError(f"horizon_years must be > 0.1 years, got {horizon_years!r}")
    ages = np.geomspace(_YOUNGEST, horizon_years, _GRID)
    tail = (1 - confidence) / 2
    parts = []
    for start in range(0, np.shape(law.wear_location)[-1], _CHUNK):
        pick = slice(start, start + _CHUNK)
        parts.append(
            _some_units(
                _columns(law, pick),
                _pick(planned_cost, pick),
                _pick(unplanned_cost, pick),
                _pick(demand_rate, pick),
                None if demand_cost is None else _pick(demand_cost, pick),
                ages,
                tail,
                flat_within,
            )
        )
    joined = {name: np.concatenate([part[name] for part in parts], axis=-1) for name in parts[0]}
    return AgeReplacement(ages_years=ages, **joined)


def _pick(values: ArrayLike, units: slice) -> Array:
    """Take some units of a scalar, of one value per unit, or of draws per unit."""
    given = np.asarray(values, dtype=float)
    return given if given.ndim == 0 or given.shape[-1] == 1 else given[..., units]


def _columns(law: LifeLaw, units: slice) -> LifeLaw:
    return LifeLaw(
        family=law.family,
        wear_location=_pick(law.wear_location, units),
        wear_sigma=_pick(law.wear_sigma, units),
        install_log_rate=_pick(law.install_log_rate, units),
        install_shape=_pick(law.install_shape, units),
    )


def _some_units(
    law: LifeLaw,
    planned_cost: Array,
    unplanned_cost: Array,
    demand_rate: Array,
    demand_cost: Array | None,
    ages: Array,
    tail: float,
    flat_within: float,
) -> dict[str, Array]:
    """All of `AgeReplacement` for some units, from one walk through every life."""
    money = money_of(law, planned_cost, unplanned_cost, demand_rate, demand_cost)
    seen = walk(law, ages, demand_rate=demand_rate, cost_ratio=money.ratio)
    curves, own = effects_of(seen, money), least_of(seen, money)
    forever = own.run_to_failure.mean(axis=0)
    width = float(np.log(ages[1] / ages[0]))
    by_log_age = ages[:, None, None] * curves.cost_slope
    mean = curves.cost_per_year.mean(axis=1)
    node, share = _least_of_mean(width, mean, by_log_age.mean(axis=1))
    powers = _cubic(width, curves.cost_per_year, by_log_age, node)
    there = powers[0] + share * (powers[1] + share * (powers[2] + share * powers[3]))
    cost = there.mean(axis=0)
    worth = (node >= 0) & (cost < forever)
    least = np.where(worth, cost, forever)
    recommended = np.where(worth, ages[node] * (ages[1] / ages[0]) ** share, np.inf)
    flat_low, flat_high = _flat(ages, mean, least * (1 + flat_within), recommended)
    low, high = np.quantile(curves.cost_per_year, [tail, 1 - tail], axis=1)
    # An optimum may be infinite: pick order statistics, which no inf - inf can spoil.
    ends = np.quantile(own.age_years, [tail, 1 - tail], axis=0, method="inverted_cdf")
    cost_ends = np.quantile(own.run_to_failure, [tail, 1 - tail], axis=0)
    return {
        "cost": mean,
        "cost_low": low,
        "cost_high": high,
        "premature_probability": curves.premature_probability.mean(axis=1),
        "recommended_years": recommended,
        "low_years": ends[0],
        "high_years": ends[1],
        "cost_recommended": least,
        "run_to_failure": forever,
        "run_to_failure_low": cost_ends[0],
        "run_to_failure_high": cost_ends[1],
        "probability_cheaper": np.where(worth, (there < own.run_to_failure).mean(axis=0), 0.0),
        "flat_low_years": flat_low,
        "flat_high_years": flat_high,
    }


def _least_of_mean(width: float, value: Array, slope: Array) -> tuple[NDArray[np.intp], Array]:
    """Node before the mean cost turns upward (-1: never) and the share of the step beyond it.

    Values and slopes are by log age, `width` apart; the root is that of the cubic's slope.
    """
    turns = (slope[:-1] < 0) & (slope[1:] >= 0)
    node = np.where(turns.any(axis=0), turns.argmax(axis=0), -1)
    _, first, second, third = _cubic(width, value[:, None], slope[:, None], node)
    bend = np.sqrt(np.maximum(4 * second**2 - 12 * third * first, 0.0))
    share = np.clip(-2 * first / np.where(node >= 0, 2 * second + bend, 1.0), 0.0, 1.0)[0]
    return node, np.where(node >= 0, share, 0.0)


def _cubic(
    width: float, value: Array, slope: Array, node: NDArray[np.intp]
) -> tuple[Array, Array, Array, Array]:
    """Coefficients of the cubic through values and slopes at a node and the next one.

    Takes shape (n_ages, n_draws, n_units), gives four of shape (n_draws, n_units).
    """
    units = np.arange(value.shape[2])
    here, there = np.maximum(node, 0), np.maximum(node, 0) + 1
    left, right = value[here, :, units].T, value[there, :, units].T
    rise, fall = width * slope[here, :, units].T, width * slope[there, :, units].T
    return left, rise, 3 * (right - left) - 2 * rise - fall, 2 * (left - right) + rise + fall


def _flat(ages: Array, mean: Array, limit: Array, centre: Array) -> tuple[Array, Array]:
    """Ages around the centre between which the mean cost stays below the limit."""
    low, high = np.full(mean.shape[1], np.nan), np.full(mean.shape[1], np.nan)
    for u in np.flatnonzero(np.isfinite(centre)):
        over = mean[:, u] > limit[u]
        left = np.flatnonzero(over & (ages < centre[u]))
        right = np.flatnonzero(over & (ages > centre[u]))
        low[u] = _meet(ages, mean[:, u], limit[u], left[-1], 1) if len(left) else ages[0]
        high[u] = _meet(ages, mean[:, u], limit[u], right[0], -1) if len(right) else ages[-1]
    return low, high


def _meet(ages: Array, cost: Array, limit: float, outside: np.intp, towards: int) -> float:
    """Where the curve meets the limit between a point above it and its neighbour, on log age."""
    inside = outside + towards
    share = (cost[outside] - limit) / max(cost[outside] - cost[inside], 1e-300)
    logs = np.log(ages[[outside, inside]])
    return float(np.exp(logs[0] + min(share, 1.0) * (logs[1] - logs[0])))
