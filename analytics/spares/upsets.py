r"""How often does an upset come, and how many discs does it open at once?

Upsets come to a process unit at a constant rate; each opens some of the unit's
discs. The log's event groups give the number of upsets per unit and how many
discs each opened.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize_scalar
from scipy.special import gammaln
from scipy.stats import gamma, hypergeom

__all__ = ["UpsetRates", "gamma_rate_draws", "hits_in_group", "upset_events", "upset_rates"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class UpsetRates:
    """Upsets per process unit and what one of them opens.

    Attributes
    ----------
    units : tuple of str
        Names of the process units.
    positions : ndarray of int, shape (n_units,)
        Positions in each unit. [-]
    events_per_year : ndarray, shape (n_draws, n_units)
        Draws of the rate of upsets. [1/years]
    opened : ndarray, shape (n_sizes,)
        Probability that an upset opens 1, 2 ... discs; a unit with fewer
        positions opens all of them. [-]
    """

    units: tuple[str, ...]
    positions: NDArray[np.int64]
    events_per_year: Array
    opened: Array


def upset_events(lives: pd.DataFrame) -> pd.DataFrame:
    """List the upsets behind the discs that opened on demand.

    Parameters
    ----------
    lives : DataFrame
        Columns `ending unit position_id event_group ended_on`; rows of other
        endings are ignored. A blank unit means the position stands alone.

    Returns
    -------
    DataFrame
        One row per upset: `unit event opened`. Rows share an upset when they
        share the event group, or the day where none is recorded.
    """
    demand = lives[lives["ending"] == "demand"]
    day = demand["ended_on"].dt.strftime("%Y-%m-%d")
    keys = pd.DataFrame(
        {
            "unit": demand["unit"].where(demand["unit"].notna(), demand["position_id"]),
            "event": demand["event_group"].where(demand["event_group"].notna(), day),
            "position_id": demand["position_id"],
        }
    )
    counts = keys.groupby(["unit", "event"])["position_id"].nunique()
    return counts.rename("opened").reset_index()


def upset_rates(
    events: pd.DataFrame, positions: pd.Series, years: float, *, n_draws: int, seed: int = 0
) -> UpsetRates:
    r"""Estimate the rate of upsets per unit and how many discs each opens.

    With n upsets in T years the rate of a unit has the posterior
    :math:`\Gamma(\alpha + n, \beta + T)`; :math:`\alpha / \beta` is the fleet's
    rate and :math:`\alpha` is chosen by marginal likelihood over the units.

    Parameters
    ----------
    events : DataFrame
        As from `upset_events`.
    positions : Series
        Number of positions, indexed by unit; every unit, also those without
        an upset. [-]
    years : float
        Time the log covers, > 0. [years]
    n_draws : int
        Draws of each rate; equal-probability points of the posterior in
        random order, so that few draws already carry its tail.
    seed : int
        Seed of that order.

    Returns
    -------
    UpsetRates
        Draws per unit and the fleet's distribution of discs opened.

    Raises
    ------
    ValueError
        If the time is not positive or there is no unit.
    """
    if not years > 0:
        raise ValueError(f"years must be > 0, got {years!r}")
    if positions.empty:
        raise ValueError("positions must name at least one unit, got none")
    units = tuple(str(unit) for unit in positions.index)
    per_unit = events.groupby("unit")["opened"].size().reindex(units).fillna(0)
    seen = np.array(per_unit, dtype=np.float64)
    shape, rate = _fleet_prior(seen, years)
    return UpsetRates(
        units=units,
        positions=positions.to_numpy(dtype=np.int64),
        events_per_year=gamma_rate_draws(shape + seen, rate + years, n_draws=n_draws, seed=seed),
        opened=_opened(events["opened"].to_numpy(dtype=np.int64)),
    )


def gamma_rate_draws(shape: ArrayLike, rate: ArrayLike, *, n_draws: int, seed: int = 0) -> Array:
    """Draw gamma rates at equal-probability points, in a random order per column.

    Parameters
    ----------
    shape : array_like, shape (n,)
        Shapes, > 0. [-]
    rate : array_like, shape (n,) or ()
        Rates, > 0. [years]
    n_draws : int
        Points per column.
    seed : int
        Seed of the orders.

    Returns
    -------
    ndarray, shape (n_draws, n)
        Rates; the mean of each column is that of its gamma law. [1/years]

    Examples
    --------
    >>> draws = gamma_rate_draws(np.array([4.0]), 16.0, n_draws=200)
    >>> round(float(draws.mean()), 6)
    0.25
    """
    shapes = np.asarray(shape, dtype=float)
    points = np.asarray(gamma.ppf((np.arange(n_draws)[:, None] + 0.5) / n_draws, shapes))
    points *= shapes / points.mean(axis=0)
    draws = np.random.default_rng(seed).permuted(points, axis=0)
    return np.asarray(draws / np.asarray(rate, dtype=float))


def hits_in_group(opened: Array, unit_positions: int, group_positions: int) -> Array:
    """Give the number of a group's discs that one upset of the unit opens.

    Every disc of the unit is as likely to be among the opened as any other.

    Parameters
    ----------
    opened : ndarray, shape (n_sizes,)
        Probability that an upset opens 1, 2 ... discs. [-]
    unit_positions, group_positions : int
        Positions in the unit and how many of them belong to the group.

    Returns
    -------
    ndarray, shape (group_positions + 1,)
        Probability of 0, 1, 2 ... hits in the group. [-]

    Examples
    --------
    Two of four discs open: the pair at issue is missed, hit once, hit twice.

    >>> hits_in_group(np.array([0.0, 1.0]), 4, 2).round(4).tolist()
    [0.1667, 0.6667, 0.1667]
    """
    sizes = np.minimum(np.arange(1, len(opened) + 1), unit_positions)
    hits = np.arange(group_positions + 1)
    chances = hypergeom.pmf(hits[None, :], unit_positions, group_positions, sizes[:, None])
    return np.asarray(opened @ chances)


def _fleet_prior(seen: Array, years: float) -> tuple[float, float]:
    """Gamma prior of the fleet, its mean half an event above none at all."""
    mean = (seen.sum() + 0.5) / (seen.size * years)

    def minus_log_likelihood(log_shape: float) -> float:
        shape = np.exp(log_shape)
        rate = shape / mean
        terms = (
            gammaln(shape + seen)
            - gammaln(shape)
            + shape * np.log(rate / (rate + years))
            - seen * np.log(rate + years)
        )
        return -float(terms.sum())

    best = minimize_scalar(minus_log_likelihood, bounds=(np.log(0.3), np.log(30.0)))
    shape = float(np.exp(best.x))
    return shape, shape / mean


def _opened(sizes: NDArray[np.int64]) -> Array:
    """Share of upsets by discs opened, with one upset of one disc added."""
    counts = np.bincount(np.append(sizes, 1))[1:].astype(float)
    return np.asarray(counts / counts.sum())
