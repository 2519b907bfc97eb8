r"""What can be asked of a fitted life: its parameters, an age, a probability.

Each quantity knows its estimate on a scale without ends, its slope there, and the linear
constraint in :math:`(\gamma, \rho) = (b, 1) / \sigma` that holds it at a value.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit, ndtr, ndtri

from analytics.errors import InputError
from analytics.survival.fit import Fit
from analytics.survival.law import Family

__all__ = ["Quantity", "failure_probability", "life_quantile", "parameters"]

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
    slope : callable
        From coefficients, shape (p + 1,), and sigma to the slope of the working value by
        the coefficients and log sigma, shape (p + 2,).
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
    slope: Callable[[Array, float], Array]
    back: Callable[[float], float]
    back_slope: float
    constraint: Callable[[float], tuple[Array, float]]


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
                slope=lambda _, __: sign * unit[-1],
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
        slope=lambda _, sigma: np.append(x, sigma * w),
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
        slope=lambda b, sigma: np.append(-x, x @ b - log_age) / sigma,
        back=lambda c: _standard_probability(result.family, c),
        back_slope=_standard_density(result.family, z),
        constraint=lambda c: (np.r_[-x, log_age], c),
    )


def _coefficient(result: Fit, j: int, name: str) -> Quantity:
    unit = np.eye(len(result.coefficients) + 1)

    def constraint(c: float) -> tuple[Array, float]:
        return unit[j] - c * unit[-1], 0.0

    return Quantity(
        name=name,
        working=float(result.coefficients[j]),
        slope=lambda _, __: unit[j],
        back=float,
        back_slope=1.0,
        constraint=constraint,
    )


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
