r"""What can be said when nothing, or next to nothing, has failed?

With no failures the data are a bound, not a curve: at an assumed shape, the shortest life
under which so many ages without a failure would still be seen one time in 1 / (1 - C),

.. math::
    \sum_i w_i\,\{H(z_i) - H(z_{e,i})\} = -\ln(1 - C)
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.stats import chi2

from analytics.errors import InputError, NotEstimable
from analytics.survival.demonstration import need_level, need_positive
from analytics.survival.fit import Fit, fit
from analytics.survival.law import Family, LifeLaw, cumulative_hazard
from analytics.survival.lifetimes import Lifetimes
from analytics.survival.limits import Limits, limits
from analytics.survival.prior import Prior
from analytics.survival.quantities import life_quantile

__all__ = [
    "ASSUMED_SHAPES",
    "ENOUGH_FAILURES",
    "ShapeCase",
    "careful_fit",
    "fit_with_prior",
    "no_failure_bound",
    "scale_bound",
    "shape_cases",
]

ASSUMED_SHAPES = (1.0, 1.5, 2.0, 3.0)
"""Shapes tried when the data cannot tell one: from chance alone to strong wear."""

ENOUGH_FAILURES = 10
"""Below this many failures a fit is flagged, and `careful_fit` uses a prior."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShapeCase:
    """What a table of lives says if the shape were known.

    Attributes
    ----------
    shape : float
        Assumed 1 / sigma. [-]
    scale : Limits
        Characteristic life exp(b0): the Weibull scale, else the median; two-sided. With no
        failures the estimate is nan and only the one-sided lower limit is there. [time]
    b10 : Limits
        Age by which a tenth has failed, likewise. [time]
    """

    shape: float
    scale: Limits
    b10: Limits


def scale_bound(
    ages: ArrayLike, shape: float, *, failures: int = 0, confidence: float = 0.95
) -> float:
    r"""Give the lower limit of a Weibull scale at an assumed shape.

    .. math::
        \eta_L = \left[\frac{2 \sum t_i^\beta}{\chi^2_{C,\,2r+2}}\right]^{1/\beta}

    Parameters
    ----------
    ages : array_like, shape (n,)
        Age of every unit, failed or not, >= 0, at least one > 0. [time]
    shape : float
        Assumed Weibull shape, > 0. [-]
    failures : int, default 0
        How many of them failed. [-]
    confidence : float, default 0.95
        One-sided level. [-]

    Returns
    -------
    float
        Lower limit of the scale, in the unit of `ages`.

    Raises
    ------
    InputError
        If an argument is out of its range.

    References
    ----------
    .. [1] W. Nelson, "Weibull analysis of reliability data with few or no failures",
       J. Quality Technology 17 (1985) 140-146. From memory; closed form.

    Examples
    --------
    Ten units of 500 h without a failure.

    >>> round(scale_bound([500.0] * 10, 2.0), 3)
    913.521
    """
    t = np.asarray(ages, dtype=float)
    need_positive(shape=shape)
    need_level(confidence)
    if t.size == 0 or not (np.isfinite(t).all() and (t >= 0).all() and t.max() > 0):
        raise InputError("ages must be one or more finite numbers >= 0, at least one > 0")
    if not 0 <= failures <= t.size:
        raise InputError(f"failures must lie between 0 and the {t.size} ages, got {failures!r}")
    longest = t.max()
    total = float(np.sum((t / longest) ** shape))
    drop = float(chi2.ppf(confidence, 2 * failures + 2))
    return float(longest * (2 * total / drop) ** (1 / shape))


def no_failure_bound(
    data: Lifetimes,
    family: Family,
    shape: float,
    *,
    fraction: float | None = None,
    confidence: float = 0.95,
) -> float:
    """Give the lower limit of life at an assumed shape when no life has ended.

    Parameters
    ----------
    data : Lifetimes
        Records, none of which ended. [time]
    family : Family
        Family of life.
    shape : float
        Assumed 1 / sigma, > 0; taken as 1 for the exponential. [-]
    fraction : float, optional
        Bound the age by which this fraction has failed; without it, exp(location), which
        for a Weibull is its scale. [-]
    confidence : float, default 0.95
        One-sided level. [-]

    Returns
    -------
    float
        Lower limit, in the unit of `data`.

    Raises
    ------
    NotEstimable
        If a life has ended (fit a curve instead) or none was watched at all.
    InputError
        If an argument is out of its range.

    Examples
    --------
    >>> from analytics.survival.lifetimes import lifetimes
    >>> data = lifetimes([500.0] * 10, [np.inf] * 10)
    >>> round(no_failure_bound(data, Family.WEIBULL, 2.0), 3)
    913.521
    """
    need_positive(shape=shape)
    need_level(confidence)
    if data.failures > 0:
        raise NotEstimable(
            f"a bound without failures needs none, got {data.failures:g}; fit a curve instead"
        )
    watched = data.weight @ (data.lower - data.entry)
    if not watched > 0:
        raise NotEstimable("some time in service is needed for a bound, got none")
    sigma = 1.0 if family is Family.EXPONENTIAL else 1 / shape
    need = -np.log1p(-confidence)
    longest = float(np.log(data.lower.max()))

    def excess(location: float) -> float:
        law = _law(family, location, sigma)
        hazard = cumulative_hazard(law, data.lower) - cumulative_hazard(law, data.entry)
        return float(np.log(max(hazard[0] @ data.weight, 1e-300)) - np.log(need))

    low = high = longest
    while excess(low) < 0:
        low -= 5 * sigma
    while excess(high) > 0:
        high += 5 * sigma
    location = brentq(excess, low, high, xtol=1e-13, rtol=1e-14)
    if fraction is None:
        return float(np.exp(location))
    if not 0 < fraction < 1:
        raise InputError(f"fraction must lie in (0, 1), got {fraction!r}")
    return float(np.exp(_age_of(family, location, sigma, fraction)))


def shape_cases(
    data: Lifetimes,
    family: Family,
    *,
    shapes: tuple[float, ...] = ASSUMED_SHAPES,
    confidence: float = 0.95,
) -> tuple[ShapeCase, ...]:
    """Give the scale and the B10 life under each assumed shape.

    Parameters
    ----------
    data : Lifetimes
        Records with any number of failures, none included. [time]
    family : Family
        Family of life; the exponential has shape 1 only.
    shapes : tuple of float
        Assumed values of 1 / sigma. [-]
    confidence : float, default 0.95
        Two-sided level of the limits; one-sided when there is no failure. [-]

    Returns
    -------
    tuple of ShapeCase
    """
    if family is Family.EXPONENTIAL:
        shapes = (1.0,)
    if data.failures == 0:
        return tuple(
            ShapeCase(
                shape=shape,
                scale=_only_low(no_failure_bound(data, family, shape, confidence=confidence)),
                b10=_only_low(
                    no_failure_bound(data, family, shape, fraction=0.1, confidence=confidence)
                ),
            )
            for shape in shapes
        )
    at_scale = float(-np.expm1(-cumulative_hazard(_law(family, 0.0, 1.0), 1.0)[0, 0]))
    cases = []
    for shape in shapes:
        result = fit(data, family, shape=shape)
        cases.append(
            ShapeCase(
                shape=shape,
                scale=limits(result, life_quantile(result, at_scale), confidence=confidence),
                b10=limits(result, life_quantile(result, 0.1), confidence=confidence),
            )
        )
    return tuple(cases)


def fit_with_prior(
    data: Lifetimes,
    family: Family,
    design: ArrayLike | None = None,
    names: tuple[str, ...] = (),
    *,
    prior: Prior | None = None,
) -> Fit:
    """Fit with the stated weak prior on the shape (and on effects, when there are any).

    The default prior holds the shape near 1.5 within a factor of three (95 %), and each
    effect's log hazard ratio near 0 with standard deviation 2.5 over two standard deviations
    of the covariate, or from one side to the other of a two-valued one.

    Parameters
    ----------
    data, family, design, names
        As in `analytics.survival.fit.fit`; at least one life must have ended.
    prior : Prior, optional
        Another prior.

    Returns
    -------
    Fit
        Its warnings state the prior.
    """
    chosen = prior if prior is not None else Prior(effect_sd=2.5 if names else np.inf)
    return fit(data, family, design, names, prior=chosen)


def careful_fit(
    data: Lifetimes,
    family: Family,
    design: ArrayLike | None = None,
    names: tuple[str, ...] = (),
) -> Fit:
    """Fit plainly where failures carry it, with the stated weak prior where they do not.

    The prior is used below ten failures, or where the plain fit is refused because no
    finite answer exists (an effect without failures on one side, all failures at one age).

    Parameters
    ----------
    data, family, design, names
        As in `analytics.survival.fit.fit`.

    Returns
    -------
    Fit
        Flagged in its warnings where the prior was used.

    Raises
    ------
    NotEstimable
        If no life has ended, a covariate does not vary, or covariates repeat each other.
    """
    if data.failures < ENOUGH_FAILURES:
        return fit_with_prior(data, family, design, names)
    try:
        return fit(data, family, design, names)
    except NotEstimable:
        return fit_with_prior(data, family, design, names)


def _law(family: Family, location: float, sigma: float) -> LifeLaw:
    one = np.ones((1, 1))
    return LifeLaw(
        family=family,
        wear_location=location * one,
        wear_sigma=sigma * one,
        install_log_rate=-np.inf * one,
        install_shape=one,
    )


def _age_of(family: Family, location: float, sigma: float, fraction: float) -> float:
    """Log age by which a fraction has failed."""
    need = -np.log1p(-fraction)
    z = brentq(
        lambda z: float(cumulative_hazard(_law(family, 0.0, 1.0), np.exp(z))[0, 0]) - need,
        -50.0,
        50.0,
        xtol=1e-13,
    )
    return location + sigma * float(z)


def _only_low(low: float) -> Limits:
    return Limits(
        estimate=np.nan,
        se=np.nan,
        wald=(np.nan, np.nan),
        likelihood_ratio=(low, None),
        confidence=np.nan,
    )
