r"""How far can an estimate be trusted? Wald and likelihood-ratio limits of a fitted life.

In :math:`(\gamma, \rho) = (b, 1) / \sigma` a coefficient, sigma, a quantile of life and a
probability of failure held at a value are all one linear constraint,

.. math::
    b_j = c:\; \gamma_j - c\rho = 0 \qquad \sigma = c:\; \rho = 1/c \qquad
    t_p = e^c:\; c\rho - x'\gamma = w_p \qquad F(t) = F_0(c):\; \rho\log t - x'\gamma = c

so the profile likelihood of each is the same climb on a plane, and its limits lie where twice
the drop equals a chi-square quantile. Limits are found on a scale without ends (log, or the
standard age z) and turned back, so they never leave the range of the quantity.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import chi2

from analytics.errors import InputError
from analytics.survival.fit import Fit
from analytics.survival.profile import follow_profile, profile_end, working_se
from analytics.survival.quantities import Quantity, failure_probability

__all__ = [
    "Limits",
    "chi_root",
    "likelihood_ratio_limits",
    "limits",
    "simultaneous_band",
    "wald_limits",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """An estimate with its standard error and both kinds of limits.

    Attributes
    ----------
    estimate : float
        In the quantity's own unit.
    se : float
        Standard error, same unit.
    wald : tuple of float
        Limits from the curvature, on the working scale.
    likelihood_ratio : tuple of (float or None)
        Limits from the likelihood ratio; None where the likelihood never falls far
        enough, so the data set no limit on that side.
    confidence : float
        Two-sided level. [-]
    """

    estimate: float
    se: float
    wald: tuple[float, float]
    likelihood_ratio: tuple[float | None, float | None]
    confidence: float


def limits(result: Fit, quantity: Quantity, *, confidence: float = 0.95) -> Limits:
    """Give an estimate with its Wald and likelihood-ratio limits.

    Parameters
    ----------
    result : Fit
        The fit.
    quantity : Quantity
        From `parameters`, `life_quantile` or `failure_probability`.
    confidence : float, default 0.95
        Two-sided level. [-]

    Returns
    -------
    Limits

    Raises
    ------
    InputError
        If `confidence` is outside (0, 1).

    Examples
    --------
    >>> from analytics.survival.fit import fit
    >>> from analytics.survival.law import Family
    >>> from analytics.survival.lifetimes import lifetimes
    >>> from analytics.survival.quantities import life_quantile
    >>> failed = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    >>> result = fit(lifetimes(failed + [500] * 10, failed + [np.inf] * 10), Family.WEIBULL)
    >>> b10 = limits(result, life_quantile(result, 0.1))
    >>> round(b10.estimate, 1), [round(x, 1) for x in b10.wald]
    (164.0, [83.9, 320.8])
    """
    return Limits(
        estimate=float(quantity.back(quantity.working)),
        se=abs(quantity.back_slope) * working_se(result, quantity),
        wald=wald_limits(result, quantity, confidence=confidence),
        likelihood_ratio=likelihood_ratio_limits(result, quantity, confidence=confidence),
        confidence=confidence,
    )


def wald_limits(
    result: Fit, quantity: Quantity, *, confidence: float = 0.95, dimensions: int = 1
) -> tuple[float, float]:
    """Give limits from the curvature of the likelihood, on the quantity's working scale."""
    reach = chi_root(confidence, dimensions) * working_se(result, quantity)
    low, high = quantity.working - reach, quantity.working + reach
    return float(quantity.back(low)), float(quantity.back(high))


def likelihood_ratio_limits(
    result: Fit, quantity: Quantity, *, confidence: float = 0.95, dimensions: int = 1
) -> tuple[float | None, float | None]:
    r"""Give the values at which the profile likelihood has fallen to the level.

    .. math::
        2\{\ell(\hat\theta) - \max_{q(\theta) = c} \ell(\theta)\} = \chi^2_{k,\,1-\alpha}

    Parameters
    ----------
    result : Fit
        The fit; with a prior, the posterior stands for the likelihood.
    quantity : Quantity
        What to hold.
    confidence : float, default 0.95
        Two-sided level. [-]
    dimensions : int, default 1
        Degrees of freedom k; 2 gives a band that holds at all ages at once. [-]

    Returns
    -------
    low, high : float or None
        None where the data set no limit on that side.

    Raises
    ------
    InputError
        If `confidence` is outside (0, 1).
    """
    root = chi_root(confidence, dimensions)
    low, high = (_end(result, quantity, root, side) for side in (-1.0, 1.0))
    return low, high


def simultaneous_band(
    result: Fit, ages: ArrayLike, row: ArrayLike = (), *, confidence: float = 0.95
) -> tuple[Array, Array, Array]:
    """Give F(t) with limits that hold at all ages at once, for a life plot.

    The band is the envelope of all curves in the joint likelihood region of location and
    scale, hence two degrees of freedom (one when sigma is not estimated).

    Parameters
    ----------
    result : Fit
        The fit.
    ages : array_like, shape (k,)
        Ages > 0, in the unit of time of the data.
    row : array_like, shape (p,)
        Covariates of the life in question.
    confidence : float, default 0.95
        Level of the whole band. [-]

    Returns
    -------
    probability, low, high : ndarray, shape (k,)
        Each within [0, 1]; an end the data do not limit is 0 or 1.

    References
    ----------
    .. [1] R. C. H. Cheng and T. C. Iles, "Confidence bands for cumulative distribution
       functions of continuous random variables", Technometrics 25 (1983) 77-86. From
       memory; the article was not opened.
    """
    dimensions = 2 if result.problem.fixed_rho is None else 1
    told = []
    for age in np.asarray(ages, dtype=float):
        quantity = failure_probability(result, float(age), row)
        low, high = likelihood_ratio_limits(
            result, quantity, confidence=confidence, dimensions=dimensions
        )
        told.append(
            (
                quantity.back(quantity.working),
                0.0 if low is None else low,
                1.0 if high is None else high,
            )
        )
    probability, lows, highs = np.array(told, dtype=float).reshape(-1, 3).T
    return probability, lows, highs


def _end(result: Fit, quantity: Quantity, root: float, side: float) -> float | None:
    """One end of the likelihood-ratio interval, or None where there is none."""
    at = follow_profile(result, quantity)

    def depth(c: float) -> float:
        held = at(c)
        if held is None:
            return np.inf
        return float(np.sqrt(max(2 * (result.summit.value - held.value), 0.0))) - root

    stride = side * root * working_se(result, quantity)
    end = profile_end(depth, quantity.working, stride, root)
    return None if end is None else float(quantity.back(end))


def chi_root(confidence: float, dimensions: int = 1) -> float:
    """Give the root of the chi-square quantile; 1.96 for 95 % in one dimension."""
    if not 0 < confidence < 1:
        raise InputError(f"confidence must lie in (0, 1), got {confidence!r}")
    return float(np.sqrt(chi2.ppf(confidence, dimensions)))
