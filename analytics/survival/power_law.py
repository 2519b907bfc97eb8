r"""Do failures come faster as time goes on? The power-law process of repaired systems.

Each system fails at the rate

.. math::
    \rho(t) = \lambda \beta t^{\beta - 1},

so a shape above 1 means failures come faster and faster, below 1 slower and slower.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import chi2, norm

from analytics.errors import InputError, NotEstimable
from analytics.estimate import Estimate
from analytics.survival.histories import Histories

__all__ = ["PowerLaw", "fit_power_law", "mtbf_limits", "shape_limits"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerLaw:
    """A fitted power-law process, the same for every system.

    Attributes
    ----------
    shape : float
        Maximum likelihood shape. [-]
    rate_constant : float
        Maximum likelihood rate constant; a system's expected events by t are
        rate_constant * t ** shape. [time^-shape]
    shape_unbiased : float
        Shape without bias, (M - 1) / S; NaN below two counted events. [-]
    rate_constant_unbiased : float
        Rate constant that goes with it. [time^-shape_unbiased]
    log_likelihood : float
        At the maximum. [-]
    events, counted_events : int
        All events N, and those whose time was free, M (the event that closed a watch
        does not count). [-]
    log_sum : float
        Sum over events of log(end / time), S. [-]
    end : float
        Longest watch of any system, where the rates below are taken. [time]
    mtbf : float
        Mean time between failures of one system at `end`, maximum likelihood. [time]
    mtbf_unbiased : float
        The same from the unbiased shape. [time]
    one_end, closed_by_event : bool
        Whether all systems were watched equally long, and each until its last event. [-]
    """

    shape: float
    rate_constant: float
    shape_unbiased: float
    rate_constant_unbiased: float
    log_likelihood: float
    events: int
    counted_events: int
    log_sum: float
    end: float
    mtbf: float
    mtbf_unbiased: float
    one_end: bool
    closed_by_event: bool


def fit_power_law(data: Histories) -> PowerLaw:
    r"""Fit a power-law process to the events of one or more systems.

    .. math::
        \hat\lambda = N / \sum_q T_q^{\hat\beta}, \quad
        \hat\beta = N / \sum \log(T / t_i) \text{ when all ends } T_q = T

    Parameters
    ----------
    data : Histories
        Event times and ends.

    Returns
    -------
    PowerLaw
        Estimates; limits come from `shape_limits` and `mtbf_limits`.

    Raises
    ------
    NotEstimable
        If no event has a free time.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.2.3 and 8.4.5.
    .. [2] Crow (1974), Reliability Analysis for Complex, Repairable Systems.

    Examples
    --------
    >>> from analytics.survival.histories import histories
    >>> fit = fit_power_law(histories([5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478], end=1500))
    >>> round(fit.shape, 6), round(fit.shape_unbiased, 6)
    (0.537229, 0.483506)
    """
    counted = int(data.counted.sum())
    log_sum = float(-np.log(data.share).sum())
    # Events that differ from the end by rounding alone say nothing of what came before.
    if counted == 0 or log_sum <= 1e-9 * counted:
        raise NotEstimable(
            "a trend needs at least one event before the end of a watch; "
            f"got {data.time.size} events, {counted} of them before their end"
        )
    events = data.time.size
    one_end = bool(np.all(data.end == data.end[0]))
    shape = events / log_sum if one_end else _solve_shape(data)
    unbiased = (counted - 1) / log_sum if counted > 1 else np.nan
    log_rate, log_rate_unbiased = (_log_rate(data, s) for s in (shape, unbiased))
    end = float(data.end.max())
    log_time = float(np.log(data.time).sum())
    log_likelihood = events * (log_rate + np.log(shape)) + (shape - 1) * log_time - events
    return PowerLaw(
        shape=float(shape),
        rate_constant=_exp(log_rate),
        shape_unbiased=float(unbiased),
        rate_constant_unbiased=_exp(log_rate_unbiased),
        log_likelihood=float(log_likelihood),
        events=events,
        counted_events=counted,
        log_sum=log_sum,
        end=end,
        mtbf=_mtbf(data, shape, end),
        mtbf_unbiased=_mtbf(data, unbiased, end),
        one_end=one_end,
        closed_by_event=bool(np.all(data.closed_by_event)),
    )


def shape_limits(fit: PowerLaw, *, confidence: float = 0.95) -> Estimate:
    r"""Give the shape with its exact limits.

    .. math::
        \frac{\chi^2_{\alpha/2,\,2M}}{2S} \le \beta \le \frac{\chi^2_{1-\alpha/2,\,2M}}{2S}

    Parameters
    ----------
    fit : PowerLaw
        From `fit_power_law`.
    confidence : float, default 0.95
        Two-sided level. [-]

    Returns
    -------
    Estimate
        Maximum likelihood shape and limits. [-]

    Raises
    ------
    InputError
        If `confidence` lies outside (0, 1).

    References
    ----------
    .. [1] MIL-HDBK-189C and IEC 61164 (formulas from memory); NIST/SEMATECH e-Handbook 8.4.5.
    """
    tail = _tail(confidence)
    low, high = (
        float(chi2.ppf(p, 2 * fit.counted_events)) / (2 * fit.log_sum) for p in (tail, 1 - tail)
    )
    return Estimate(estimate=fit.shape, low=low, high=high)


def mtbf_limits(fit: PowerLaw, *, confidence: float = 0.95) -> Estimate:
    r"""Give the mean time between failures at the end of the watch with its limits.

    Watched until a set time: the closed approximation NIST prints, around the unbiased value.
    Watched until the last event of one system: exact, the true rate over its estimate being
    distributed as :math:`\chi^2_{2n} \chi^2_{2n-2} / (4 n^2)`.

    Parameters
    ----------
    fit : PowerLaw
        From `fit_power_law`.
    confidence : float, default 0.95
        Two-sided level. [-]

    Returns
    -------
    Estimate
        Unbiased value and limits; the upper one is inf with too few events. [time]

    Raises
    ------
    NotEstimable
        If systems were watched unequally long, several of them each until its last event,
        or fewer than two events had a free time.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5 (printed R output).
    .. [2] Lee & Lee (1978), Technometrics 20, 199-204 (failure-terminated; from memory).
    """
    tail = _tail(confidence)
    if fit.counted_events < 2 or not fit.one_end:
        raise NotEstimable("limits need one end for all systems and two events before it")
    if fit.closed_by_event:
        return _failure_terminated_limits(fit, tail)
    z, r = float(norm.ppf(1 - tail)), fit.events
    scale = fit.mtbf_unbiased * r * (r - 1)
    below = r + z * z / 4 + np.sqrt(r * z * z / 2 + z**4 / 16)
    above = r - z * np.sqrt(r / 2)
    high = scale / above**2 if above > 0 else np.inf
    return Estimate(estimate=fit.mtbf_unbiased, low=float(scale / below**2), high=float(high))


def _failure_terminated_limits(fit: PowerLaw, tail: float) -> Estimate:
    if fit.events != fit.counted_events + 1:
        raise NotEstimable("limits for several systems need an end set beforehand")
    n = fit.events
    low, high = (_product_quantile(p, n) / (4 * n * n) for p in (tail, 1 - tail))
    return Estimate(estimate=fit.mtbf_unbiased, low=fit.mtbf / high, high=fit.mtbf / low)


@lru_cache(maxsize=128)
def _product_quantile(probability: float, n: int) -> float:
    """Quantile of the product of independent chi-squares with 2n and 2n - 2 degrees."""
    # P(XY <= q) = mean of F_X(q / Y), by Gauss-Legendre over all but 2e-14 of Y.
    node, weight = np.polynomial.legendre.leggauss(400)
    low, high = (float(chi2.ppf(p, 2 * n - 2)) for p in (1e-14, 1 - 1e-14))
    y = low + (high - low) * (node + 1) / 2
    mass = chi2.pdf(y, 2 * n - 2) * weight * (high - low) / 2

    def miss(log_q: float) -> float:
        return float(mass @ chi2.cdf(np.exp(log_q) / y, 2 * n)) - probability

    middle = float(np.log(4.0 * n * n))
    return float(np.exp(brentq(miss, middle - 25, middle + 5, xtol=1e-12)))


def _solve_shape(data: Histories) -> float:
    """Shape for unequal ends: the root of the score with the rate constant profiled out."""
    log_end = np.log(data.end / data.end.max())
    log_time = np.log(data.time / data.end.max()).sum()
    events = data.time.size

    def score(log_shape: float) -> float:
        shape = np.exp(log_shape)
        weight = np.exp(shape * log_end)
        return float(events / shape + log_time - events * (weight @ log_end) / weight.sum())

    return float(np.exp(brentq(score, np.log(1e-8), np.log(1e8), xtol=1e-15, rtol=1e-14)))


def _log_rate(data: Histories, shape: float) -> float:
    """Log rate constant for a shape; in logs, since time^shape may be beyond any float."""
    longest = data.end.max()
    exposure = float(np.sum((data.end / longest) ** shape))
    return float(np.log(data.time.size / exposure) - shape * np.log(longest))


def _exp(value: float) -> float:
    """Exponential, inf where it is beyond any float."""
    with np.errstate(over="ignore", under="ignore"):
        return float(np.exp(value))


def _mtbf(data: Histories, shape: float, age: float) -> float:
    """Mean time between failures at an age, the rate constant following from the shape."""
    exposure = np.sum((data.end / age) ** shape)
    return float(exposure * age / (data.time.size * shape))


def _tail(confidence: float) -> float:
    if not 0 < confidence < 1:
        raise InputError(f"confidence must lie in (0, 1), got {confidence!r}")
    return (1 - confidence) / 2
