"""The state of every life at given ages: exposure, survival, hazard and the least-cost age."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError
from analytics.intervals.following import FAMILY_CODES, follow
from analytics.survival.law import LifeLaw

__all__ = ["Walk", "per_unit", "walk"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """What `walk` saw, per age, draw and unit.

    Attributes
    ----------
    exposure : ndarray, shape (n_ages, n_draws, n_units)
        Mean time in service until the age, M(t). [years]
    survived : ndarray, same shape
        Chance that nothing, neither failure nor upset, ended the life before, G(t). [-]
    ended_per_year : ndarray, same shape
        Hazard of failures and upsets together at that age. [1/years]
    early : ndarray, same shape
        Chance that a premature failure ended the life before. [-]
    best_years, best_rate : ndarray, shape (n_draws, n_units)
        Age where the yearly cost has its minimum (inf: none) and the hazard there.
        [years], [1/years]
    lived_years, left : ndarray, shape (n_draws, n_units)
        M and G at the end of every life. [years], [-]
    """

    exposure: Array
    survived: Array
    ended_per_year: Array
    early: Array
    best_years: Array
    best_rate: Array
    lived_years: Array
    left: Array


def walk(
    law: LifeLaw,
    ages_years: ArrayLike,
    *,
    demand_rate: ArrayLike = 0.0,
    cost_ratio: ArrayLike = np.inf,
) -> Walk:
    """Follow every draw of every unit's life once.

    Parameters
    ----------
    law : LifeLaw
        Shape (n_draws, n_units).
    ages_years : array_like, shape (n_ages,) or (n_ages, n_units)
        Ages > 0, in any order; above 9,900 years they count as that. [years]
    demand_rate : array_like, shape (n_units,), (n_draws, n_units) or scalar
        Upsets that open the disc, >= 0. [1/years]
    cost_ratio : array_like, shape (n_units,) or scalar
        c_f / (c_f - c_p), for `best_years`; inf asks for none. [-]

    Returns
    -------
    Walk
        Exact to about nine digits.

    Raises
    ------
    InputError
        If the law is not of shape (n_draws, n_units), a rate is negative or an age
        is not positive.
    """
    if np.ndim(law.wear_location) != 2:
        shape = np.shape(law.wear_location)
        raise InputError(f"the life law must have shape (n_draws, n_units), got {shape}")
    upsets = np.atleast_2d(np.asarray(demand_rate, dtype=float))
    if not (upsets >= 0).all() or not np.isfinite(upsets).all():
        raise InputError("demand_rate must be >= 0 per year")
    m, s, a, k, d, ratio = (
        np.ascontiguousarray(field, dtype=float)
        for field in np.broadcast_arrays(
            law.wear_location,
            law.wear_sigma,
            law.install_log_rate,
            law.install_shape,
            upsets,
            np.atleast_2d(np.asarray(cost_ratio, dtype=float)),
        )
    )
    ages = _ages(ages_years, m.shape[1])
    order = np.argsort(ages, axis=0, kind="stable")
    ascending = np.log(np.take_along_axis(ages, order, axis=0))
    shape = (len(ages), *m.shape)
    area, hazard, slope = np.empty(shape), np.empty(shape), np.empty(shape)
    best, lived = np.empty((2, *m.shape)), np.empty((2, *m.shape))
    code = FAMILY_CODES[law.family]
    follow(code, m, s, a, k, d, ratio, ascending, area, hazard, slope, best, lived)
    back = np.argsort(order, axis=0)[:, None, :]
    area, hazard, slope = (np.take_along_axis(x, back, axis=0) for x in (area, hazard, slope))
    survived = np.exp(-hazard)
    return Walk(
        exposure=area,
        survived=survived,
        ended_per_year=slope / ages[:, None, :],
        early=np.clip(1 - survived - d * area, 0.0, 1.0),
        best_years=best[0],
        best_rate=best[1],
        lived_years=lived[0],
        left=lived[1],
    )


def per_unit(values: ArrayLike, units: int, name: str) -> Array:
    """Broadcast costs to the units and refuse what is not positive."""
    given = np.asarray(values, dtype=float)
    if given.ndim > 1 or given.size not in (1, units):
        raise InputError(f"{name} must be one number or one per unit ({units}), got {given.shape}")
    if not (given > 0).all() or not np.isfinite(given).all():
        raise InputError(f"{name} must be > 0 and known for every unit")
    return np.ascontiguousarray(np.broadcast_to(given, (units,)))


def _ages(ages_years: ArrayLike, units: int) -> Array:
    ages = np.minimum(np.asarray(ages_years, dtype=float), 9.9e3)
    ages = ages[:, None] if ages.ndim == 1 else ages
    if not (ages > 0).all():
        raise InputError("ages_years must be > 0 years")
    return np.ascontiguousarray(np.broadcast_to(ages, (len(ages), units)))
