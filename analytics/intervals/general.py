r"""Least-cost replacement for any life, given as functions: an independent route to the optimum.

Age replacement renews at failure or at age T; block replacement renews at fixed times T apart
whatever the age, with m(T) failures expected in between. A position replaced at every outage,
however young its disc, is block replacement.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, isfinite

from scipy.integrate import quad
from scipy.optimize import brentq

from analytics.errors import InputError

__all__ = ["Optimum", "least_cost_age", "least_cost_block"]

Curve = Callable[[float], float]

_STEPS = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Optimum:
    """Least-cost interval.

    Attributes
    ----------
    interval : float
        In the time unit of the curves; inf when no finite one up to the horizon is best.
    cost_rate : float
        Cost per unit of time there; NaN when inf. [currency/time]
    """

    interval: float
    cost_rate: float


def least_cost_age(
    survival: Curve, hazard: Curve, planned_cost: float, unplanned_cost: float, *, horizon: float
) -> Optimum:
    r"""Find the age T of least cost rate.

    .. math:: h(T) \int_0^T R + R(T) = \frac{c_f}{c_f - c_p}, \qquad C = (c_f - c_p) h(T)

    Parameters
    ----------
    survival, hazard : callable
        R(t) and h(t), for 0 < t < horizon. [-], [1/time]
    planned_cost, unplanned_cost : float
        c_p > 0 and c_f. [currency]
    horizon : float
        Search ends here, > 0. [time]

    Returns
    -------
    Optimum
        Inf when c_f <= c_p or the condition is met nowhere below the horizon.

    Raises
    ------
    InputError
        If a cost or the horizon is not positive.

    References
    ----------
    .. [1] R. E. Barlow, F. Proschan, Mathematical Theory of Reliability (1965), ch. 4.
       From memory, re-derived.

    Examples
    --------
    >>> best = least_cost_age(lambda t: 1 - t, lambda t: 1 / (1 - t), 1.0, 5.0, horizon=1.0)
    >>> round(best.interval, 6), round(best.cost_rate, 6)
    (0.5, 8.0)
    """
    _check(planned_cost, unplanned_cost, horizon)
    if unplanned_cost <= planned_cost:
        return Optimum(interval=inf, cost_rate=float("nan"))
    ratio = unplanned_cost / (unplanned_cost - planned_cost)

    def condition(t: float) -> float:
        area, _ = quad(survival, 0.0, t, epsabs=1e-13, epsrel=1e-12, limit=200)
        return float(hazard(t) * area + survival(t) - ratio)

    age = _first_rise(condition, horizon)
    rate = (unplanned_cost - planned_cost) * hazard(age) if isfinite(age) else float("nan")
    return Optimum(interval=age, cost_rate=rate)


def least_cost_block(
    failures: Curve, rate: Curve, planned_cost: float, unplanned_cost: float, *, horizon: float
) -> Optimum:
    r"""Find the block interval T of least cost rate.

    .. math:: T m'(T) - m(T) = c_p / c_f, \qquad C = c_f m'(T)

    Parameters
    ----------
    failures, rate : callable
        Expected failures m(t) since the last replacement and their rate m'(t): the renewal
        function when each failure is replaced, the cumulative hazard when it is only mended.
        [-], [1/time]
    planned_cost, unplanned_cost : float
        c_p and c_f, > 0. [currency]
    horizon : float
        Search ends here, > 0. [time]

    Returns
    -------
    Optimum
        Inf when the condition is met nowhere below the horizon.

    Raises
    ------
    InputError
        If a cost or the horizon is not positive.

    References
    ----------
    .. [1] R. Barlow, L. Hunter, "Optimum preventive maintenance policies", Operations Research
       8 (1960) 90-100. From memory, re-derived.
    """
    _check(planned_cost, unplanned_cost, horizon)

    def condition(t: float) -> float:
        return t * rate(t) - failures(t) - planned_cost / unplanned_cost

    interval = _first_rise(condition, horizon)
    cost = unplanned_cost * rate(interval) if isfinite(interval) else float("nan")
    return Optimum(interval=interval, cost_rate=cost)


def _first_rise(condition: Curve, horizon: float) -> float:
    """First place where the condition turns from negative to positive; inf without one."""
    before = horizon * 1e-6
    low = condition(before)
    for step in range(1, _STEPS):
        here = horizon * step / _STEPS
        value = condition(here)
        if low < 0 <= value:
            return float(brentq(condition, before, here, xtol=1e-12, rtol=1e-13))
        before, low = here, value
    return inf


def _check(planned_cost: float, unplanned_cost: float, horizon: float) -> None:
    if not (planned_cost > 0 and unplanned_cost > 0):
        raise InputError(
            f"both costs must be > 0, got {planned_cost!r} planned and {unplanned_cost!r} unplanned"
        )
    if not (horizon > 0 and isfinite(horizon)):
        raise InputError(f"horizon must be > 0 and finite, got {horizon!r}")
