r"""How many discs has a position used up by an age? The mean cumulative function."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from analytics.errors import InputError

__all__ = ["MeanCumulative", "mean_cumulative"]

Array = NDArray[np.float64]

_BLOCK = 1_000_000
"""Units times steps held in memory at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanCumulative:
    """Mean number of events per unit, a step up at every age with an event.

    Attributes
    ----------
    age : ndarray, shape (n_ages,)
        Distinct ages with an event, ascending. [time]
    at_risk, events : ndarray, shape (n_ages,)
        Units watched at the age, events at it. [-]
    mean : ndarray, shape (n_ages,)
        Mean cumulative events per unit. [events/unit]
    naive_error : ndarray, shape (n_ages,)
        Standard error if events were Poisson, the root of the sum of events / at_risk^2.
    robust_error : ndarray, shape (n_ages,)
        Standard error that lets units differ and their events cluster. [events/unit]
    low, high : ndarray, shape (n_ages,)
        Pointwise limits on the log scale from the robust error. [events/unit]
    last_age : float
        Longest watch; the curve says nothing beyond. [time]
    confidence : float
        Two-sided level of the limits. [-]
    """

    age: Array
    at_risk: Array
    events: Array
    mean: Array
    naive_error: Array
    robust_error: Array
    low: Array
    high: Array
    last_age: float
    confidence: float


def mean_cumulative(
    age: ArrayLike,
    unit: ArrayLike,
    *,
    end: ArrayLike,
    start: ArrayLike = 0.0,
    confidence: float = 0.95,
) -> MeanCumulative:
    r"""Estimate the mean number of events per unit by age.

    .. math::
        M(t) = \sum_{t_k \le t} \frac{d_k}{n_k}, \quad
        \mathrm{Var} = \sum_i \Big[\sum_{t_k \le t} \frac{Y_i(t_k)}{n_k}
        \Big(d_{ik} - \frac{d_k}{n_k}\Big)\Big]^2

    Parameters
    ----------
    age : array_like, shape (n_events,)
        Age of the unit at each event. [time]
    unit : array_like of int, shape (n_events,)
        Unit of each event, 0 to n_units - 1. [-]
    end : array_like, shape (n_units,)
        Age at which watching each unit ended, with or without events. [time]
    start : array_like, shape (n_units,) or scalar, default 0
        Age at which watching began. [time]
    confidence : float, default 0.95
        Two-sided level of the limits. [-]

    Returns
    -------
    MeanCumulative
        One step per age with an event; none if there were no events.

    Raises
    ------
    InputError
        If an event lies outside its unit's watch or a shape does not fit.

    Notes
    -----
    Events of one unit at one age count as many. The robust variance has divisor n;
    Nelson's own unbiased variance differs slightly.

    References
    ----------
    .. [1] Nelson (2003), Recurrent Events Data Analysis for Product Repairs.
    .. [2] Lawless & Nadeau (1995), Technometrics 37, 158-168 (robust variance).

    Examples
    --------
    >>> mean_cumulative([3, 5, 5], [0, 0, 1], end=[10, 8, 4.5]).mean.round(4)
    array([0.3333, 1.3333])
    """
    ages, units, starts, ends = _checked(age, unit, start, end)
    if not 0 < confidence < 1:
        raise InputError(f"confidence must lie in (0, 1), got {confidence!r}")
    event_age, place = np.unique(ages, return_inverse=True)
    events = np.bincount(place, minlength=event_age.size).astype(float)
    watched_from = np.searchsorted(np.sort(starts), event_age, side="left")
    watched_to = np.searchsorted(np.sort(ends), event_age, side="left")
    at_risk = (watched_from - watched_to).astype(float)
    mean = np.cumsum(events / at_risk)
    robust = np.sqrt(_robust_variance(place, units, starts, ends, event_age, events, at_risk))
    spread = np.exp(float(ndtri(0.5 + confidence / 2)) * robust / mean)
    return MeanCumulative(
        age=event_age,
        at_risk=at_risk,
        events=events,
        mean=mean,
        naive_error=np.sqrt(np.cumsum(events / at_risk**2)),
        robust_error=robust,
        low=mean / spread,
        high=mean * spread,
        last_age=float(ends.max()),
        confidence=confidence,
    )


def _robust_variance(
    place: NDArray[np.intp],
    units: NDArray[np.intp],
    starts: Array,
    ends: Array,
    event_age: Array,
    events: Array,
    at_risk: Array,
) -> Array:
    """Sum over units of the squared sum of residuals, a block of units at a time."""
    steps = event_age.size
    expected = np.concatenate(([0.0], np.cumsum(events / at_risk**2)))
    first = np.searchsorted(event_age, starts, side="right")[:, None]
    last = np.maximum(np.searchsorted(event_age, ends, side="right")[:, None], first)
    order = np.argsort(units, kind="stable")
    units, place = units[order], place[order]
    variance = np.zeros(steps)
    if not steps:
        return variance
    block = max(1, _BLOCK // steps)
    for begin in range(0, ends.size, block):
        stop = min(begin + block, ends.size)
        own = slice(*np.searchsorted(units, (begin, stop)))
        cell = (units[own] - begin) * steps + place[own]
        seen = np.bincount(cell, minlength=(stop - begin) * steps).reshape(-1, steps) / at_risk
        rows = slice(begin, stop)
        due = (
            expected[np.clip(np.arange(1, steps + 1), first[rows], last[rows])]
            - expected[first[rows]]
        )
        variance += ((np.cumsum(seen, axis=1) - due) ** 2).sum(axis=0)
    return variance


def _checked(
    age: ArrayLike, unit: ArrayLike, start: ArrayLike, end: ArrayLike
) -> tuple[Array, NDArray[np.intp], Array, Array]:
    ages, ends = np.asarray(age, dtype=float), np.asarray(end, dtype=float)
    units = np.asarray(unit, dtype=np.intp)
    if ends.ndim != 1 or ends.size == 0:
        raise InputError(f"end must have shape (n_units,) with n_units >= 1, got {ends.shape}")
    if ages.ndim != 1 or units.shape != ages.shape:
        raise InputError(f"age and unit must have one shape (n,), got {ages.shape}, {units.shape}")
    starts = np.broadcast_to(np.asarray(start, dtype=float), ends.shape)
    if not (np.isfinite(ends).all() and np.all((starts >= 0) & (starts < ends))):
        raise InputError("every unit needs 0 <= start < end, finite")
    if np.any((units < 0) | (units >= ends.size)):
        raise InputError(f"unit must lie in 0 to {ends.size - 1}")
    outside = ~((ages > starts[units]) & (ages <= ends[units]))
    if outside.any():
        row = int(np.argmax(outside))
        at = units[row]
        raise InputError(
            f"an event at age {ages[row]:g} lies outside the watch of unit {at}, "
            f"{starts[at]:g} to {ends[at]:g}"
        )
    return ages, units, starts, ends
