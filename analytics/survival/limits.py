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

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import expit, logit, ndtr, ndtri
from scipy.stats import chi2

from analytics.errors import InputError, NotEstimable
from analytics.survival.fit import Fit
from analytics.survival.law import Family
from analytics.survival.problem import climb, evaluate

__all__ = [
    "Limits",
    "Quantity",
    "failure_probability",
    "life_quantile",
    "likelihood_ratio_limits",
    "limits",
    "parameters",
    "simultaneous_band",
    "wald_limits",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """Something a fit tells, on a scale without ends.

    Attributes
    ----------
    name : str
        Plain name.
    working : float
        Estimate on the working scale.
    slope : ndarray, shape (p + 2,)
        Slope of `working` by the coefficients and log sigma.
    back : callable
        From the working scale to the quantity's own.
    back_slope : float
        Slope of `back` at the estimate.
    constraint : callable
        From a value on the working scale to (a, d): the quantity has that value where
        a @ (gamma, rho) = d.
    """

    name: str
    working: float
    slope: Array
    back: Callable[[float], float]
    back_slope: float
    constraint: Callable[[float], tuple[Array, float]]


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


def parameters(result: Fit) -> tuple[Quantity, ...]:
    """List the parameters of a fit under their plain names.

    Without covariates `scale` and `shape` (Weibull), `scale` (exponential), `location` and
    `sigma` (lognormal, loglogistic); with covariates `intercept`, each covariate, `sigma`.
    A parameter that was assumed is not listed.
    """
    size = len(result.coefficients) + 1
    unit = np.eye(size)
    found: list[Quantity] = []
    if result.names:
        found += [
            _coefficient(result, j, name) for j, name in enumerate(("intercept", *result.names))
        ]
    elif result.family in (Family.WEIBULL, Family.EXPONENTIAL):
        scale = float(np.exp(result.coefficients[0]))
        plain = _coefficient(result, 0, "scale")
        found.append(
            Quantity(
                name="scale",
                working=plain.working,
                slope=plain.slope,
                back=_exp,
                back_slope=scale,
                constraint=plain.constraint,
            )
        )
    else:
        found.append(_coefficient(result, 0, "location"))
    if result.problem.fixed_rho is None:
        is_shape = result.family is Family.WEIBULL and not result.names
        sign = -1.0 if is_shape else 1.0
        working = sign * float(np.log(result.sigma))
        found.append(
            Quantity(
                name="shape" if is_shape else "sigma",
                working=working,
                slope=sign * unit[-1],
                back=_exp,
                back_slope=float(np.exp(working)),
                constraint=lambda c: (unit[-1], float(np.exp(-sign * c))),
            )
        )
    return tuple(found)


def life_quantile(result: Fit, fraction: float, row: ArrayLike = ()) -> Quantity:
    """Give the age by which a fraction of lives has ended (B10 life: fraction 0.1).

    Parameters
    ----------
    result : Fit
        A fit with p covariates.
    fraction : float
        Strictly between 0 and 1. [-]
    row : array_like, shape (p,)
        Covariates of the life in question.

    Returns
    -------
    Quantity
        In the unit of time of the data, worked on its log.

    Raises
    ------
    InputError
        If `fraction` or `row` is out of its range.
    """
    if not 0 < fraction < 1:
        raise InputError(f"fraction must lie in (0, 1), got {fraction!r}")
    x = _row(result, row)
    w = _standard_quantile(result.family, fraction)
    working = float(x @ result.coefficients + result.sigma * w)
    return Quantity(
        name=f"b{100 * fraction:g}",
        working=working,
        slope=np.r_[x, result.sigma * w],
        back=_exp,
        back_slope=float(np.exp(working)),
        constraint=lambda c: (np.r_[-x, c], w),
    )


def failure_probability(result: Fit, age: float, row: ArrayLike = ()) -> Quantity:
    """Give the probability that a new life has ended by an age.

    Parameters
    ----------
    result : Fit
        A fit with p covariates.
    age : float
        Age, > 0, in the unit of time of the data.
    row : array_like, shape (p,)
        Covariates of the life in question.

    Returns
    -------
    Quantity
        A probability, worked on the standard age z.

    Raises
    ------
    InputError
        If `age` or `row` is out of its range.
    """
    if not (age > 0 and np.isfinite(age)):
        raise InputError(f"age must be > 0 and finite, got {age!r}")
    x = _row(result, row)
    log_age = float(np.log(age))
    z = float((log_age - x @ result.coefficients) / result.sigma)
    return Quantity(
        name="failure_probability",
        working=z,
        slope=np.r_[-x / result.sigma, -z],
        back=lambda c: _standard_probability(result.family, c),
        back_slope=_standard_density(result.family, z),
        constraint=lambda c: (np.r_[-x, log_age], c),
    )


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
    >>> from analytics.survival.lifetimes import lifetimes
    >>> failed = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    >>> result = fit(lifetimes(failed + [500] * 10, failed + [np.inf] * 10), Family.WEIBULL)
    >>> b10 = limits(result, life_quantile(result, 0.1))
    >>> round(b10.estimate, 1), [round(x, 1) for x in b10.wald]
    (164.0, [83.9, 320.8])
    """
    return Limits(
        estimate=float(quantity.back(quantity.working)),
        se=abs(quantity.back_slope) * _working_se(result, quantity),
        wald=wald_limits(result, quantity, confidence=confidence),
        likelihood_ratio=likelihood_ratio_limits(result, quantity, confidence=confidence),
        confidence=confidence,
    )


def wald_limits(
    result: Fit, quantity: Quantity, *, confidence: float = 0.95, dimensions: int = 1
) -> tuple[float, float]:
    """Give limits from the curvature of the likelihood, on the quantity's working scale."""
    reach = _root(confidence, dimensions) * _working_se(result, quantity)
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
    root = _root(confidence, dimensions)
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
    seen = {quantity.working: result.summit.theta}

    def depth(c: float) -> float:
        if c == quantity.working:
            return -root
        near = seen[min(seen, key=lambda other: abs(other - c))]
        try:
            value, seen[c] = _profile(result, quantity, c, near)
        except NotEstimable:
            return np.inf
        return float(np.sqrt(max(2 * (result.summit.value - value), 0.0))) - root

    bracket = _bracket(depth, quantity.working, side * root * _working_se(result, quantity), root)
    if bracket is None:
        return None
    inside, outside = bracket
    end = brentq(depth, inside, outside, xtol=1e-9 * abs(outside - quantity.working), rtol=1e-13)
    return float(quantity.back(end))


def _bracket(
    depth: Callable[[float], float], best: float, stride: float, root: float
) -> tuple[float, float] | None:
    """Two values, one inside the limit and one outside; None if the profile levels out."""
    inside, inside_depth = best, -root
    outside = best + stride
    for _ in range(60):
        here = depth(outside)
        if here == np.inf:
            outside = (inside + outside) / 2
            continue
        if here >= 0:
            return inside, outside
        far = abs(outside - best) > 20 * abs(stride)
        if far and here - inside_depth < 1e-3 * root:
            return None
        inside, inside_depth = outside, here
        outside = best + (outside - best) * min(3.0, max(1.2, 1.05 * root / (root + here)))
    return None


def _profile(result: Fit, quantity: Quantity, c: float, near: Array) -> tuple[float, Array]:
    """Greatest log-likelihood with the quantity held at c, and where it lies."""
    problem = result.problem
    held, level = quantity.constraint(c)
    held = problem.natural.T @ held
    free = problem.free
    across = free.T @ held
    shortfall = level - held @ near
    information = -(free.T @ result.summit.hessian @ free)
    move = np.linalg.solve(information, across)
    start = near + free @ move * (shortfall / (across @ move))
    slopes = held[:-1]
    if start[-1] < 0.05 * near[-1] and slopes.any():
        # The straight way would turn sigma negative; keep sigma and move the location alone.
        start = near.copy()
        start[:-1] += slopes * (shortfall / (slopes @ slopes))
    plane = free @ np.linalg.qr(across[:, None], mode="complete")[0][:, 1:]
    if plane.shape[1] == 0:
        return float(evaluate(problem, start)[0]), start
    summit = climb(problem, start, plane)
    return summit.value, summit.theta


def _coefficient(result: Fit, j: int, name: str) -> Quantity:
    unit = np.eye(len(result.coefficients) + 1)

    def constraint(c: float) -> tuple[Array, float]:
        return unit[j] - c * unit[-1], 0.0

    return Quantity(
        name=name,
        working=float(result.coefficients[j]),
        slope=unit[j],
        back=float,
        back_slope=1.0,
        constraint=constraint,
    )


def _working_se(result: Fit, quantity: Quantity) -> float:
    variance = float(quantity.slope @ result.covariance @ quantity.slope)
    return float(np.sqrt(max(variance, 0.0)))


def _root(confidence: float, dimensions: int) -> float:
    if not 0 < confidence < 1:
        raise InputError(f"confidence must lie in (0, 1), got {confidence!r}")
    return float(np.sqrt(chi2.ppf(confidence, dimensions)))


def _row(result: Fit, row: ArrayLike) -> Array:
    x = np.asarray(row, dtype=float)
    if x.shape != (len(result.names),) or not np.isfinite(x).all():
        raise InputError(
            f"a covariate row needs {len(result.names)} finite numbers "
            f"({', '.join(result.names) or 'none'}), got {row!r}"
        )
    return np.concatenate(([1.0], x))


def _exp(value: float) -> float:
    return float(np.exp(value))


def _standard_quantile(family: Family, fraction: float) -> float:
    if family is Family.LOGNORMAL:
        return float(ndtri(fraction))
    if family is Family.LOGLOGISTIC:
        return float(logit(fraction))
    return float(np.log(-np.log1p(-fraction)))


def _standard_probability(family: Family, z: float) -> float:
    if family is Family.LOGNORMAL:
        return float(ndtr(z))
    if family is Family.LOGLOGISTIC:
        return float(expit(z))
    return float(-np.expm1(-np.exp(min(z, 700.0))))


def _standard_density(family: Family, z: float) -> float:
    if family is Family.LOGNORMAL:
        return float(np.exp(-z * z / 2) / np.sqrt(2 * np.pi))
    if family is Family.LOGLOGISTIC:
        return float(expit(z) * expit(-z))
    return float(np.exp(min(z, 700.0) - np.exp(min(z, 700.0))))
