r"""Where is the likelihood greatest? Newton's method with a line search.

The last parameter is always :math:`\rho = 1/\sigma > 0`, in standard deviations of the log
ages, so an answer at either end of its range is known for what it is.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve

from analytics.errors import NotConverged, NotEstimable

__all__ = ["Ascent", "Summit", "ascend", "climb", "newton_step"]

Array = NDArray[np.float64]
Surface = Callable[[Array], tuple[float, Array, Array]]
Slopes = TypeVar("Slopes")

_GAIN_DONE = 1e-13
_MOST_STEPS = 200
_LEAST_RHO, _GREATEST_RHO = 1e-6, 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Ascent(Generic[Slopes]):
    """Where an ascent ended.

    Attributes
    ----------
    theta : ndarray
        The parameters.
    value : float
        Height of the surface there.
    slopes : object
        What the surface gave with its last value: its slopes, in any form.
    step : ndarray
        The last Newton step; far from nothing when the summit lies at infinity.
    steps : int
        Newton steps taken.
    """

    theta: Array
    value: float
    slopes: Slopes
    step: Array
    steps: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Summit:
    """Where a climb ended.

    Attributes
    ----------
    theta : ndarray, shape (k,)
        Parameters in the search's own scales. [-]
    value : float
        Log-likelihood, with the log prior if there is one.
    hessian : ndarray, shape (k, k)
        Second derivatives of `value`, at `theta` to a thousandth of a standard error.
    step : ndarray, shape (k,)
        The last Newton step; far from nothing when the summit lies at infinity.
    steps : int
        Newton steps taken.
    """

    theta: Array
    value: float
    hessian: Array
    step: Array
    steps: int


def climb(surface: Surface, start: Array, basis: Array) -> Summit:
    """Climb to the summit within `start` plus the span of a basis.

    Parameters
    ----------
    surface : callable
        From parameters, shape (k,), to value, gradient and Hessian.
    start : ndarray, shape (k,)
        Where to start; the last entry, rho, > 0.
    basis : ndarray, shape (k, r)
        Directions that may be taken.

    Returns
    -------
    Summit

    Raises
    ------
    NotEstimable
        If the likelihood grows as the spread of life goes to nothing or has no end.
    NotConverged
        If the steps run out.
    """

    def look(theta: Array) -> tuple[float, tuple[Array, Array]]:
        value, gradient, hessian = surface(theta)
        return value, (gradient, hessian)

    found = ascend(
        look,
        lambda slopes: newton_step(*slopes, basis),
        start,
        spread_is_free=bool((np.abs(basis[-1]) > 1e-12).any()),
    )
    return Summit(
        theta=found.theta,
        value=found.value,
        hessian=found.slopes[1],
        step=found.step,
        steps=found.steps,
    )


def ascend(
    surface: Callable[[Array], tuple[float, Slopes]],
    newton: Callable[[Slopes], tuple[Array, float]],
    start: Array,
    *,
    spread_is_free: bool = True,
) -> Ascent[Slopes]:
    """Take Newton steps, halved until the surface rises, until the next would gain nothing.

    Parameters
    ----------
    surface : callable
        From parameters to the value and its slopes, in whatever form `newton` takes.
    newton : callable
        From the slopes to the Newton step and its gain, gradient @ step.
    start : ndarray
        Where to start; the last entry, rho, > 0.
    spread_is_free : bool, default True
        Whether rho is searched for; held fixed it may have any value.

    Returns
    -------
    Ascent

    Raises
    ------
    NotEstimable, NotConverged
        As `climb`.
    """
    theta = start
    if not 1e-150 < theta[-1] < 1e150:
        raise NotConverged(f"the likelihood search cannot start from 1 / sigma of {theta[-1]:g}")
    value, slopes = surface(theta)
    if not np.isfinite(value):
        raise NotConverged(f"the likelihood search cannot start from a likelihood of {value}")
    for steps in range(_MOST_STEPS):
        step, gain = newton(slopes)
        if gain < _GAIN_DONE:
            return Ascent(
                theta=theta + step, value=value + gain / 2, slopes=slopes, step=step, steps=steps
            )
        if not np.isfinite(gain):
            raise NotConverged("the likelihood search left the numbers a computer can hold")
        if spread_is_free:
            _refuse_endless_spread(theta[-1])
        slack = 1e-14 * (abs(value) + 1.0)
        length = 1.0 if step[-1] > -0.9 * theta[-1] else 0.9 * theta[-1] / -step[-1]
        for _ in range(60):
            trial = theta + length * step
            higher, slopes = surface(trial)
            if higher >= value + 1e-4 * length * gain - slack:
                break
            length /= 2
        else:
            raise NotConverged(
                f"the likelihood search stalled after {steps} steps, gain {gain:.3g}"
            )
        theta, value = trial, higher
    raise NotConverged(f"the likelihood search did not end within {_MOST_STEPS} steps")


def newton_step(gradient: Array, hessian: Array, basis: Array) -> tuple[Array, float]:
    """Give the Newton step within the basis, and the gain in value it promises twice over.

    Where the surface does not curve down (possible under left truncation) the curvature's
    size stands in, which still points uphill.
    """
    slope = basis.T @ gradient
    bend = -(basis.T @ hessian @ basis)
    unit = 1 / np.sqrt(np.maximum(np.abs(np.diag(bend)), 1e-300))
    scaled = bend * np.outer(unit, unit)
    try:
        root = np.linalg.cholesky(scaled)
        along = unit * cho_solve((root, True), unit * slope, check_finite=False)
    except np.linalg.LinAlgError:
        if not np.isfinite(scaled).all():
            return basis @ slope, np.inf
        roots, axes = np.linalg.eigh(scaled)
        roots = np.maximum(np.abs(roots), 1e-10)
        along = unit * (axes @ ((axes.T @ (unit * slope)) / roots))
    return basis @ along, float(slope @ along)


def _refuse_endless_spread(rho: float) -> None:
    if rho > _GREATEST_RHO:
        raise NotEstimable(
            "failures must differ in age to show the spread of life, but given the covariates "
            "all of them lie at one age; add lives, drop covariates or assume a shape"
        )
    if rho < _LEAST_RHO:
        raise NotEstimable(
            "failures must come at some ages more than at others to show the spread of life, "
            "but these fit best with a spread without end; add lives or assume a shape"
        )
