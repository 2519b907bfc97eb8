"""Who was at risk, and what happened, at every age at which something happened."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError

__all__ = ["THIN", "RiskSets", "early_collapse", "risk_sets"]

Array = NDArray[np.float64]

THIN = 5
"""Fewer at risk than this, and a single failure moves a curve by more than a fifth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskSets:
    """Counts at the ages at which something happened, ascending.

    Attributes
    ----------
    age : ndarray, shape (n_ages,)
        Distinct ages with at least one event. [time]
    at_risk : ndarray, shape (n_ages,)
        Units under observation just before the age. [-]
    events : ndarray, shape (n_causes, n_ages)
        Events at the age, by cause. [-]
    last_age : float
        Largest age seen, event or not; no curve says anything beyond it. [time]
    """

    age: Array
    at_risk: Array
    events: Array
    last_age: float


def risk_sets(
    age: ArrayLike,
    cause: ArrayLike,
    *,
    entry: ArrayLike = 0.0,
    weight: ArrayLike = 1.0,
    given_age: float = 0.0,
) -> RiskSets:
    """Count units at risk and events at every distinct event age.

    A unit is at risk at t if entry < t <= age; one seen from new (entry 0) also at t = 0.

    Parameters
    ----------
    age : array_like, shape (n_units,)
        Age at the event, or when observation ended without one. [time]
    cause : array_like of int or bool, shape (n_units,)
        0 (False): no event. 1, 2, ...: the cause of the event. [-]
    entry : array_like, shape (n_units,) or scalar, default 0
        Age when observation began (delayed entry); 0 if seen from new. [time]
    weight : array_like, shape (n_units,) or scalar, default 1
        How many units a row stands for, >= 0. [-]
    given_age : float, default 0
        Count only what happened after this age, to the units that reached it. [time]

    Returns
    -------
    RiskSets
        Counts by age, one row of events per cause.

    Raises
    ------
    InputError
        If shapes differ, a number is missing or negative, or an entry is not below its age.

    Examples
    --------
    >>> counts = risk_sets([3, 5, 5, 8], [1, 1, 0, 1], entry=[0, 0, 4, 4])
    >>> counts.age, counts.at_risk, counts.events[0]
    (array([3., 5., 8.]), array([2., 3., 1.]), array([1., 1., 1.]))
    """
    ages, causes, entries, weights = _checked(age, cause, entry, weight)
    if not (np.isfinite(given_age) and given_age >= 0):
        raise InputError(f"given_age must be a finite age >= 0, got {given_age!r}")
    counted = (causes > 0) & (weights > 0) & ((ages > given_age) | (given_age == 0))
    event_age, place = np.unique(ages[counted], return_inverse=True)
    n_causes = max(int(causes.max(initial=0)), 1)
    events = np.zeros((n_causes, event_age.size))
    np.add.at(events, (causes[counted] - 1, place), weights[counted])
    leaving = _weight_from(ages, weights, event_age)
    late = entries > 0
    waiting = _weight_from(entries[late], weights[late], event_age)
    return RiskSets(
        age=event_age,
        at_risk=leaving - waiting,
        events=events,
        last_age=float(ages.max()),
    )


def early_collapse(counts: RiskSets) -> str:
    """Say in words if an early risk set is too thin to carry the curve behind it.

    With delayed entry few units are seen young. If one of one fails, the product of
    survivals is 0 for ever, whatever the many units seen later do.

    Parameters
    ----------
    counts : RiskSets
        Counts of one or more causes.

    Returns
    -------
    str
        Blank, or what happened at which age and the age to condition on instead.
    """
    if counts.age.size == 0:
        return ""
    fullest = int(np.argmax(counts.at_risk))
    thin = np.flatnonzero(counts.at_risk[:fullest] < THIN)
    if thin.size == 0:
        return ""
    lost = counts.events.sum(axis=0)
    worst = int(thin[np.argmax(lost[thin] / counts.at_risk[thin])])
    return (
        f"at age {counts.age[worst]:g} only {counts.at_risk[worst]:g} at risk and "
        f"{lost[worst]:g} failed, while {counts.at_risk[fullest]:g} were seen at age "
        f"{counts.age[fullest]:g}: the curve rests on that early handful; "
        f"condition on reaching age {counts.age[thin[-1]]:g} (given_age) instead"
    )


def _weight_from(at: Array, weight: Array, age: Array) -> Array:
    """Sum the weights of those whose `at` is at or beyond each age."""
    order = np.argsort(at, kind="stable")
    total = np.append(np.cumsum(weight[order][::-1])[::-1], 0.0)
    return np.asarray(total[np.searchsorted(at[order], age, side="left")])


def _checked(
    age: ArrayLike, cause: ArrayLike, entry: ArrayLike, weight: ArrayLike
) -> tuple[Array, NDArray[np.int64], Array, Array]:
    ages = np.asarray(age, dtype=float)
    if ages.ndim != 1 or ages.size == 0:
        raise InputError(f"age must have shape (n_units,) with n_units >= 1, got {ages.shape}")
    codes = np.asarray(cause, dtype=float)
    entries = np.asarray(entry, dtype=float)
    weights = np.asarray(weight, dtype=float)
    for name, column in (("cause", codes), ("entry", entries), ("weight", weights)):
        if column.shape not in ((), ages.shape):
            raise InputError(f"{name} must have shape {ages.shape}, got {column.shape}")
    codes, entries, weights = (np.broadcast_to(c, ages.shape) for c in (codes, entries, weights))
    for name, column in (("age", ages), ("entry", entries), ("weight", weights)):
        _refuse(f"{name} must be finite and >= 0", ~(np.isfinite(column) & (column >= 0)), column)
    _refuse("cause must be a whole number >= 0", ~((codes >= 0) & (codes % 1 == 0)), codes)
    _refuse("entry must be below age", (entries >= ages) & (entries > 0), entries)
    return ages, codes.astype(np.int64), entries, weights


def _refuse(rule: str, broken: NDArray[np.bool_], column: Array) -> None:
    if broken.any():
        row = int(np.argmax(broken))
        raise InputError(
            f"{rule}; {int(broken.sum())} rows are not, first row {row}: {column[row]:g}"
        )
