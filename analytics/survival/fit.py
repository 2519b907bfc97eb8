r"""Which life curve fits best? Maximum likelihood for one family, with or without covariates.

.. math::
    \log T = b_0 + x'b + \sigma W
"""

from dataclasses import dataclass, replace
from functools import partial
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError, NotEstimable
from analytics.survival.law import Family, LifeLaw
from analytics.survival.lifetimes import Lifetimes
from analytics.survival.newton import Summit, climb
from analytics.survival.prior import Prior
from analytics.survival.problem import (
    Problem,
    evaluate,
    inverse_information,
    natural_parameters,
    prepare,
    starting_point,
)

__all__ = [
    "Fit",
    "Regression",
    "draw_parameters",
    "failure_warnings",
    "fit",
    "life_law",
    "refuse_summit_at_infinity",
]

Array = NDArray[np.float64]

_FEW, _VERY_FEW, _PER_EFFECT = 10, 5, 5
_HARDLY_APART = 1e-4


class Regression(Protocol):
    """What every fitted regression on log life has, whatever it was fitted to."""

    @property
    def family(self) -> Family:
        """Family of life."""

    @property
    def names(self) -> tuple[str, ...]:
        """Covariates, in the order of the coefficients behind the intercept."""

    @property
    def coefficients(self) -> Array:
        """Intercept and effects on log life, shape (p + 1,)."""

    @property
    def sigma(self) -> float:
        """Scale of log life."""

    @property
    def covariance(self) -> Array:
        """Covariance of the coefficients and log sigma, shape (p + 2, p + 2)."""

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a reader must know before using the numbers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A fitted life curve.

    Attributes
    ----------
    family : Family
        Family of life.
    names : tuple of str
        Covariates, in the order of the coefficients behind the intercept.
    coefficients : ndarray, shape (p + 1,)
        Intercept and effects on log life. [log time]
    sigma : float
        Scale of log life; a Weibull shape is 1 / sigma. [-]
    covariance : ndarray, shape (p + 2, p + 2)
        Of the coefficients and log sigma; the last row is 0 when sigma is not estimated.
    log_likelihood : float
        At the estimates, without any prior. [-]
    lives, failures : float
        Sums of weights: all rows, and those that ended. [-]
    steps : int
        Newton steps the search took.
    warnings : tuple of str
        What a reader must know before using the numbers.
    problem : Problem
        The data, as the search and the likelihood-ratio limits take them.
    summit : Summit
        Where the search ended.
    """

    family: Family
    names: tuple[str, ...]
    coefficients: Array
    sigma: float
    covariance: Array
    log_likelihood: float
    lives: float
    failures: float
    steps: int
    warnings: tuple[str, ...]
    problem: Problem
    summit: Summit


def fit(
    data: Lifetimes,
    family: Family,
    design: ArrayLike | None = None,
    names: tuple[str, ...] = (),
    *,
    shape: float | None = None,
    prior: Prior | None = None,
) -> Fit:
    r"""Fit one family of life by maximum likelihood.

    .. math::
        F(t \mid x) = F_0\!\left(\frac{\log t - b_0 - x'b}{\sigma}\right)

    Parameters
    ----------
    data : Lifetimes
        n checked records. [time]
    family : Family
        Weibull, lognormal, loglogistic or exponential.
    design : array_like, shape (n, p), optional
        Covariates without an intercept; in any units, they are scaled inside.
    names : tuple of str
        Covariate names, p of them.
    shape : float, optional
        Assumed 1 / sigma (a Weibull shape), not estimated. [-]
    prior : Prior, optional
        Weak prior for few failures or separated covariates; the estimates are then the
        most probable values, and the result warns so.

    Returns
    -------
    Fit

    Raises
    ------
    InputError
        If covariates are unusable.
    NotEstimable
        If the data cannot answer: no failures, all failures at one age, covariates that
        repeat each other or split failures from survivors; the message says which.
    NotConverged
        If the search does not end.

    Notes
    -----
    Assumes that censoring and late entry tell nothing about the life itself.

    References
    ----------
    .. [1] W. Q. Meeker and L. A. Escobar, "Statistical Methods for Reliability Data", Wiley,
       1998, ch. 8, 11 and 17. From memory; the book was not opened.

    Examples
    --------
    Ten of twenty units failed before the test ended at 500 h (NIST/SEMATECH e-Handbook 8.2.2.1).

    >>> from analytics.survival.lifetimes import lifetimes
    >>> failed = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    >>> data = lifetimes(failed + [500] * 10, failed + [np.inf] * 10)
    >>> result = fit(data, Family.WEIBULL)
    >>> round(1 / result.sigma, 4), round(float(np.exp(result.coefficients[0])), 2)
    (1.7208, 606.53)
    """
    covariates = None if design is None else np.asarray(design, dtype=float)
    problem = prepare(data, family, covariates, tuple(names), shape=shape, prior=prior)
    summit = climb(partial(evaluate, problem), starting_point(problem), problem.free)
    if prior is not None or _flattest(summit, problem.free)[0] < 1e-9:
        _refuse_repeats(problem)  # a prior would hide them
    refuse_summit_at_infinity(summit, problem.free, problem.names, problem.reach)
    coefficients, sigma, turn = natural_parameters(problem, summit.theta)
    covariance = turn @ inverse_information(problem, summit.hessian) @ turn.T
    return Fit(
        family=family,
        names=problem.names,
        coefficients=coefficients,
        sigma=sigma,
        covariance=covariance,
        log_likelihood=_likelihood_alone(problem, summit),
        lives=data.lives,
        failures=data.failures,
        steps=summit.steps,
        warnings=_warnings(problem, data.failures, covariance),
        problem=problem,
        summit=summit,
    )


def life_law(
    result: Regression, design: ArrayLike | None = None, draws: ArrayLike | None = None
) -> LifeLaw:
    """Turn a fit into the life law that the decisions are made with.

    Parameters
    ----------
    result : Regression
        A fit with p covariates.
    design : array_like, shape (n_units, p), optional
        Covariates of the units; without it one unit, for a fit without covariates.
    draws : array_like, shape (n_draws, p + 2), optional
        Draws of the coefficients and log sigma (`draw_parameters`); without it the
        estimates, as one draw.

    Returns
    -------
    LifeLaw
        Arrays of shape (n_draws, n_units) and (n_draws, 1).

    Raises
    ------
    InputError
        If `design` or `draws` do not fit the model.
    """
    p = len(result.names)
    rows = np.empty((1, 0)) if design is None else np.asarray(design, dtype=float)
    if rows.ndim != 2 or rows.shape[1] != p:
        raise InputError(
            f"units need shape (n_units, {p}), a column per covariate, got {rows.shape}"
        )
    best = np.r_[result.coefficients, np.log(result.sigma)]
    samples = best[None, :] if draws is None else np.asarray(draws, dtype=float)
    if samples.ndim != 2 or samples.shape[1] != p + 2:
        raise InputError(f"draws need shape (n_draws, {p + 2}), got {samples.shape}")
    location = samples[:, :1] + samples[:, 1:-1] @ rows.T
    return LifeLaw(
        family=result.family,
        wear_location=location,
        wear_sigma=np.exp(samples[:, -1:]),
        install_log_rate=np.full_like(location, -np.inf),
        install_shape=np.ones((len(samples), 1)),
    )


def draw_parameters(result: Regression, n_draws: int, random: np.random.Generator) -> Array:
    """Draw coefficients and log sigma from their large-sample normal distribution.

    Parameters
    ----------
    result : Regression
        A fit with p covariates.
    n_draws : int
        How many draws, >= 1.
    random : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    ndarray, shape (n_draws, p + 2)
        Intercept, effects and log sigma.
    """
    roots, axes = np.linalg.eigh(result.covariance)
    spread = axes * np.sqrt(np.maximum(roots, 0.0))
    best = np.r_[result.coefficients, np.log(result.sigma)]
    return np.asarray(best + random.standard_normal((n_draws, len(best))) @ spread.T)


def _likelihood_alone(problem: Problem, summit: Summit) -> float:
    if problem.prior is None:
        return summit.value
    return float(evaluate(replace(problem, prior=None), summit.theta)[0])


def refuse_summit_at_infinity(
    summit: Summit, free: Array, names: tuple[str, ...], reach: Array
) -> None:
    """Refuse a summit at infinity or a ridge, and say what lies behind it.

    Parameters
    ----------
    summit : Summit
        Where the climb ended, (intercept, effects, rho) / sigma or alike.
    free : ndarray, shape (p + 2, r)
        Directions the climb could take.
    names : tuple of str
        Covariates.
    reach : ndarray, shape (p,)
        Greatest distance of each scaled covariate from its centre.

    Raises
    ------
    NotEstimable
        If the last step still moved, or the surface is flat in some direction.
    """
    flattest, along = _flattest(summit, free)
    distance = np.concatenate([[1.0], reach, [1.0]])
    moving = np.abs(summit.step) * distance
    still_moving = moving.max() > 0.02
    if not (still_moving or flattest < 1e-12):
        return
    culprits = moving if still_moving else np.abs(along) * distance
    named = [
        name for name, a in zip(names, culprits[1:-1], strict=True) if a > 0.1 * culprits.max()
    ]
    if named:
        raise NotEstimable(
            "an effect needs failures on both sides of it; no finite effect for "
            f"{', '.join(named)}: drop or merge it, or give effects a prior"
        )
    raise NotEstimable(
        "the records fix one point of the life curve but not its spread (e.g. a single "
        "inspection age); assume a shape or give it a prior"
    )


def _flattest(summit: Summit, free: Array) -> tuple[float, Array]:
    """Least curvature of the scaled surface and the direction it lies in."""
    information = -(free.T @ summit.hessian @ free)
    unit = 1 / np.sqrt(np.maximum(np.diag(information), 1e-300))
    roots, axes = np.linalg.eigh(information * np.outer(unit, unit))
    return float(roots[0]), np.asarray(free @ (unit * axes[:, 0]))


def _refuse_repeats(problem: Problem) -> None:
    """Refuse covariates that are, to rounding, sums of each other."""
    if not problem.names:
        return
    rows = problem.weight > 0
    columns = (problem.design[rows] - problem.centre) / problem.spread
    columns = columns - columns.mean(axis=0)
    length = np.sqrt((columns**2).sum(axis=0))
    same = [name for name, size in zip(problem.names, length, strict=True) if not size > 1e-9]
    if not same:
        columns = columns / length
        roots, axes = np.linalg.eigh(columns.T @ columns)
        if roots[0] > 1e-10:
            return
        same = [n for n, a in zip(problem.names, axes[:, 0], strict=True) if abs(a) > 1e-3]
    raise NotEstimable(f"covariates must not repeat each other; drop one of: {', '.join(same)}")


def failure_warnings(failures: float, effects: int) -> tuple[str, ...]:
    """Say what so few failures mean for a fit with so many effects."""
    told = []
    many = f"{failures:g} failure{'s' * (failures != 1)}"
    if failures < _VERY_FEW:
        told.append(
            f"only {many}: the spread of life is hardly known; see the results by assumed shape"
        )
    elif failures < _FEW:
        told.append(f"only {many}, fewer than {_FEW}: limits may be too narrow")
    if effects and failures < _PER_EFFECT * effects:
        told.append(
            f"{many} for {effects} covariates, fewer than {_PER_EFFECT} each: "
            "effects may look larger than they are"
        )
    return tuple(told)


def _nearly_repeated(names: tuple[str, ...], covariance: Array) -> tuple[str, ...]:
    """Warn of covariates whose effects can hardly be told apart."""
    if len(names) < 2:
        return ()
    effects = covariance[1:-1, 1:-1]
    unit = 1 / np.sqrt(np.diag(effects))
    roots, axes = np.linalg.eigh(effects * np.outer(unit, unit))
    if roots[0] > _HARDLY_APART * roots[-1]:
        return ()
    alike = [name for name, a in zip(names, axes[:, -1], strict=True) if abs(a) > 0.1]
    return (f"hardly told apart, their effects only add up: {', '.join(alike)}",)


def _warnings(problem: Problem, failures: float, covariance: Array) -> tuple[str, ...]:
    """What a reader must know before using the numbers."""
    told = (
        *failure_warnings(failures, len(problem.names)),
        *_nearly_repeated(problem.names, covariance),
    )
    if problem.prior is None:
        return told
    prior = problem.prior
    return (
        *told,
        f"a prior was used: shape {prior.shape_median:g} within a factor of "
        f"{prior.shape_factor:g} (95 %)"
        + (
            f", log hazard ratios 0 with standard deviation {prior.effect_sd:g}"
            * bool(problem.names)
        ),
    )
