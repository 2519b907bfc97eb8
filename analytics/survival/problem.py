r"""Life records made ready for the likelihood.

Log ages are shifted and scaled, covariates centred and divided by a quarter of their range,
so the search sees the same numbers whatever the unit of time or of a covariate. With
:math:`y = (\log t - m) / s` and :math:`\tilde x = (x - c) / k` the search runs in
:math:`\theta = (\gamma_0, \gamma, \rho)`, :math:`z = \rho y - \gamma_0 - \gamma'\tilde x`.
"""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from analytics.errors import InputError, NotEstimable
from analytics.survival.kernels import (
    EXACT,
    INTERVAL,
    LEFT,
    RIGHT,
    TRUNCATED,
    column_spans,
    likelihood_sums,
)
from analytics.survival.law import Family
from analytics.survival.lifetimes import Lifetimes
from analytics.survival.newton import climb
from analytics.survival.prior import Prior, add_prior, effect_precision

__all__ = [
    "CODES",
    "Problem",
    "evaluate",
    "inverse_information",
    "natural_parameters",
    "prepare",
    "row_kinds",
    "standard_covariates",
    "starting_point",
]

Array = NDArray[np.float64]

# Code of each family in the kernels.
CODES = {Family.WEIBULL: 0, Family.EXPONENTIAL: 0, Family.LOGNORMAL: 1, Family.LOGLOGISTIC: 2}
_TYPICAL_RHO = {0: 1.28, 1: 1.0, 2: 1.81}  # standard deviation of the standard log life
_NARROW = 1e-7  # an interval this narrow, relative to the age, is an exact age
_SAMPLE_ABOVE, _SAMPLE_ROWS = 20_000, 4_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Life records as the kernels take them.

    Attributes
    ----------
    family : int
        Code of the family in the kernels.
    kind : ndarray of uint8, shape (n,)
        Kind of each row.
    entry, lower, upper : ndarray, shape (n,)
        Log ages, shifted by `time_centre` and divided by `time_spread`. [-]
    weight : ndarray, shape (n,)
        Lives a row stands for. [-]
    design : ndarray, shape (n, p)
        Covariates as given.
    centre, spread, reach : ndarray, shape (p,)
        Centre and scale of each covariate, and its greatest scaled distance from the centre.
    time_centre, time_spread : float
        Shift and scale of the log ages.
    exact_weight : float
        Lives whose age at the end is exact. [-]
    constant : float
        Part of the log-likelihood that no parameter moves.
    names : tuple of str
        Covariate names.
    fixed_rho : float or None
        1 / sigma when it is not estimated (exponential, assumed shape). [-]
    prior : Prior or None
        Weak prior, if any.
    tightness : ndarray, shape (p,)
        Precision of the prior on each scaled slope of theta; 0 without a prior. [-]
    """

    family: int
    kind: NDArray[np.uint8]
    entry: Array
    lower: Array
    upper: Array
    weight: Array
    design: Array
    centre: Array
    spread: Array
    reach: Array
    time_centre: float
    time_spread: float
    exact_weight: float
    constant: float
    names: tuple[str, ...]
    fixed_rho: float | None
    prior: Prior | None
    tightness: Array

    @property
    def natural(self) -> Array:
        """Matrix that takes theta to (intercept, slopes, 1) / sigma in the caller's units."""
        p = len(self.spread)
        matrix = np.diag(np.r_[1.0, 1 / self.spread, 1 / self.time_spread])
        matrix[0, 1 : p + 1] = -self.centre / self.spread
        matrix[0, -1] = self.time_centre / self.time_spread
        return matrix

    @property
    def free(self) -> Array:
        """Basis of the directions the search may take, shape (p + 2, r)."""
        basis = np.eye(len(self.spread) + 2)
        return basis if self.fixed_rho is None else basis[:, :-1]


def prepare(
    data: Lifetimes,
    family: Family,
    design: Array | None = None,
    names: tuple[str, ...] = (),
    *,
    shape: float | None = None,
    prior: Prior | None = None,
) -> Problem:
    """Check the covariates and bring records to the form the kernels take.

    Parameters
    ----------
    data : Lifetimes
        n checked records.
    family : Family
        Family of life.
    design : ndarray, shape (n, p), optional
        Covariates, without an intercept.
    names : tuple of str
        Covariate names, p of them.
    shape : float, optional
        Assumed 1 / sigma, not estimated. [-]
    prior : Prior, optional
        Weak prior.

    Returns
    -------
    Problem

    Raises
    ------
    InputError
        If the covariates have the wrong shape, are not finite or not named.
    NotEstimable
        If nothing failed, or a covariate is the same in every row.
    """
    n = len(data)
    covariates = _covariates(design, names, n)
    if data.failures <= 0:
        raise NotEstimable(
            "at least one life must have ended to fit a life curve, got none; "
            "a bound by assumed shape is possible"
        )
    if shape is not None and not (shape > 0 and np.isfinite(shape)):
        raise InputError(f"an assumed shape must be > 0, got {shape!r}")
    spans = column_spans(covariates)
    _refuse_bad_columns(spans, names)
    kind, entry, lower, upper, constant = _rows(data)
    centre, spread = _standardise(kind, (entry, lower, upper))
    exact = float(data.weight @ (kind % TRUNCATED == EXACT))
    scale = (spans[2] - spans[1]) / 4
    return Problem(
        family=CODES[family],
        kind=kind,
        entry=entry,
        lower=lower,
        upper=upper,
        weight=data.weight,
        design=covariates,
        centre=spans[0],
        spread=scale,
        reach=np.maximum(spans[2] - spans[0], spans[0] - spans[1]) / scale,
        time_centre=centre,
        time_spread=spread,
        exact_weight=exact,
        constant=constant - exact * np.log(spread),
        names=names,
        fixed_rho=1.0 if family is Family.EXPONENTIAL else shape,
        prior=prior,
        tightness=effect_precision(covariates, spans, prior),
    )


def _covariates(design: Array | None, names: tuple[str, ...], n: int) -> Array:
    if design is None:
        design = np.empty((n, 0))
    covariates = np.ascontiguousarray(design, dtype=float)
    if covariates.ndim != 2 or covariates.shape != (n, len(names)):
        raise InputError(
            f"covariates must have shape ({n}, {len(names)}): a row per life, a column per "
            f"name; got {covariates.shape}"
        )
    if len(set(names)) < len(names):
        raise InputError(f"covariate names must differ, got {', '.join(names)}")
    return covariates


def _refuse_bad_columns(spans: Array, names: tuple[str, ...]) -> None:
    mean, low, high = spans
    bad = [
        name for name, good in zip(names, np.isfinite(mean + high - low), strict=True) if not good
    ]
    if bad:
        raise InputError(f"covariates must be finite in every row; not so: {', '.join(bad)}")
    same = [name for name, one in zip(names, low == high, strict=True) if one]
    if same:
        raise NotEstimable(
            f"a covariate must vary to show an effect; the same in every row: {', '.join(same)}"
        )


def _rows(data: Lifetimes) -> tuple[NDArray[np.uint8], Array, Array, Array, float]:
    """Kind of each row, its log ages and the constant of the log-likelihood.

    An array that no row needs is the same object as another that is there, to save memory.
    """
    kind, narrow = row_kinds(data)
    base = kind % TRUNCATED
    lower = _log(data.lower)
    constant = -float(data.weight @ np.where(data.exact, lower, 0.0))
    upper = entry = lower
    if (base >= LEFT).any() or narrow.any():
        upper = _log(np.where(data.ended, data.upper, 1.0))
        lower[narrow] = (lower[narrow] + upper[narrow]) / 2
        width = np.log(np.log(data.upper[narrow] / data.lower[narrow]))
        constant += float(data.weight[narrow] @ width)
    if (kind >= TRUNCATED).any():
        entry = _log(data.entry)
    return kind, entry, lower, upper, constant


def row_kinds(data: Lifetimes) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Give the kind of each row, and whether it is an interval too narrow to be one.

    A narrow interval is of kind `EXACT`: its chance is its width times the density.
    """
    kind = np.where(data.exact, EXACT, RIGHT).astype(np.uint8)
    within = data.ended & ~data.exact
    kind[within] = np.where(data.lower[within] > 0, INTERVAL, LEFT)
    narrow = within & (data.upper - data.lower < _NARROW * data.upper)
    kind[narrow] = EXACT
    kind[data.entry > 0] += TRUNCATED
    return kind, narrow


def _log(age: Array) -> Array:
    """Log age; age 0, where nothing has failed yet, far below any other."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.maximum(np.log(age), -1e6))


def _standardise(
    kind: NDArray[np.uint8], columns: tuple[Array, Array, Array]
) -> tuple[float, float]:
    """Shift and scale the log ages in place; gives the shift and the scale."""
    _, lower, upper = columns
    seen = lower if upper is lower else np.where(kind % TRUNCATED == LEFT, upper, lower)
    known = seen[seen > -1e6]
    centre = float(known.mean())
    spread = float(known.std())
    if not spread > 1e-12 * max(1.0, abs(centre)):
        spread = 1.0
    for column in {id(column): column for column in columns}.values():
        column -= centre
        column /= spread
    return centre, spread


def starting_point(problem: Problem) -> Array:
    """Give a place to start the climb: no effects, a typical spread, the failures matched.

    Many rows first send a strided sample of themselves up, which leaves two or three
    steps for the whole.
    """
    n, p = problem.design.shape
    rho = _TYPICAL_RHO[problem.family]
    if problem.fixed_rho is not None:
        rho = problem.fixed_rho * problem.time_spread
    if n > _SAMPLE_ABOVE:
        part = _every(problem, n // _SAMPLE_ROWS)
        try:
            theta = climb(partial(evaluate, part), starting_point(part), problem.free).theta
        except NotEstimable:
            pass
        else:
            if np.abs(theta).max() < 1e3:
                return theta
    with np.errstate(over="ignore"):
        exposure = np.exp(
            rho * np.where(problem.kind % TRUNCATED == LEFT, problem.upper, problem.lower)
        )
        late = problem.kind >= TRUNCATED
        exposure = exposure - np.where(late, np.exp(rho * problem.entry), 0.0)
    failures = float(problem.weight @ (problem.kind % TRUNCATED != RIGHT))
    total = float(problem.weight @ exposure)
    level = np.log(total / failures) if 0 < total < np.inf else 0.0
    return np.concatenate(([level], np.zeros(p), [rho]))


def _every(problem: Problem, stride: int) -> Problem:
    """The problem of every stride-th row."""
    weight = problem.weight[::stride].copy()
    kind = problem.kind[::stride].copy()
    return replace(
        problem,
        kind=kind,
        entry=problem.entry[::stride].copy(),
        lower=problem.lower[::stride].copy(),
        upper=problem.upper[::stride].copy(),
        weight=weight,
        design=problem.design[::stride].copy(),
        exact_weight=float(weight @ (kind % TRUNCATED == EXACT)),
    )


def evaluate(problem: Problem, theta: Array) -> tuple[float, Array, Array]:
    """Give the log-likelihood (with the log prior, if any), its gradient and Hessian at theta."""
    value, gradient, hessian = likelihood_sums(
        problem.family,
        problem.kind,
        problem.entry,
        problem.lower,
        problem.upper,
        problem.weight,
        problem.design,
        problem.centre,
        problem.spread,
        theta,
    )
    rho = theta[-1]
    value += problem.constant + problem.exact_weight * np.log(rho)
    gradient[-1] += problem.exact_weight / rho
    hessian[-1, -1] -= problem.exact_weight / rho**2
    if problem.prior is not None:
        rho_unit = problem.time_spread if problem.fixed_rho is None else None
        value += add_prior(problem.prior, problem.tightness, rho_unit, theta, gradient, hessian)
    return value, gradient, hessian


def natural_parameters(problem: Problem, theta: Array) -> tuple[Array, float, Array]:
    """Turn the search's parameters to those of log life in the caller's units.

    Returns
    -------
    coefficients : ndarray, shape (p + 1,)
        Intercept and effects. [log time]
    sigma : float
        Scale of log life. [-]
    turn : ndarray, shape (p + 2, p + 2)
        Slopes of the coefficients and log sigma by theta.
    """
    to_natural = problem.natural
    over_sigma = to_natural @ theta
    sigma = float(1 / over_sigma[-1])
    coefficients = over_sigma[:-1] * sigma
    turn = np.eye(len(theta)) * sigma
    turn[:-1, -1] = -coefficients * sigma
    turn[-1, -1] = -sigma
    return coefficients, sigma, turn @ to_natural


def inverse_information(problem: Problem, hessian: Array) -> Array:
    """Give the covariance of theta, 0 where it is not searched for; shape (p + 2, p + 2)."""
    free = problem.free
    information = -(free.T @ hessian @ free)
    unit = 1 / np.sqrt(np.diag(information))
    scale = np.outer(unit, unit)
    return np.asarray(free @ (np.linalg.inv(information * scale) * scale) @ free.T)


def standard_covariates(problem: Problem) -> Array:
    """Give the covariates as the search sees them, an intercept first; shape (n, p + 1)."""
    scaled = (problem.design - problem.centre) / problem.spread
    return np.column_stack([np.ones(len(scaled)), scaled])
