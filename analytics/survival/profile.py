"""How does the likelihood fall off when one quantity is held away from its estimate?"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from analytics.errors import NotEstimable
from analytics.survival.fit import Fit
from analytics.survival.newton import climb
from analytics.survival.problem import evaluate
from analytics.survival.quantities import Quantity

__all__ = ["Held", "follow_profile", "profile_end", "working_se"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The best fit with a quantity held at a value.

    Attributes
    ----------
    value : float
        Log-likelihood there.
    theta : ndarray, shape (p + 2,)
        Parameters in the search's own scales. [-]
    plane : ndarray, shape (p + 2, r - 1)
        Orthonormal basis of the directions in which the quantity keeps its value.
    """

    value: float
    theta: Array
    plane: Array


def follow_profile(result: Fit, quantity: Quantity) -> Callable[[float], Held | None]:
    """Give the profile as a function of the working value; None where it cannot be followed.

    Each search starts from the nearest value already held.
    """
    seen = {quantity.working: result.summit.theta}

    def at(c: float) -> Held | None:
        near = seen[min(seen, key=lambda other: abs(other - c))]
        try:
            held = _hold(result, quantity, c, near)
        except NotEstimable:
            return None
        seen[c] = held.theta
        return held

    return at


def profile_end(
    depth: Callable[[float], float], best: float, stride: float, root: float
) -> float | None:
    """Find where a profile has fallen far enough, on one side of its summit.

    Parameters
    ----------
    depth : callable
        From a value to the root of twice the drop there, less `root`; inf where the
        profile cannot be followed.
    best : float
        Where the profile is greatest.
    stride : float
        First guess of the way to the end; its sign is the side.
    root : float
        Root of the chi-square quantile.

    Returns
    -------
    float or None
        None if the profile levels out above the limit.
    """

    def drop(value: float) -> float:
        return -root if value == best else depth(value)

    bracket = _bracket(drop, best, stride, root)
    if bracket is None:
        return None
    inside, outside = bracket
    return float(brentq(drop, inside, outside, xtol=1e-9 * abs(outside - best), rtol=1e-13))


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
        outside = best + (outside - best) * min(3.0, max(1.2, 1.05 * root / max(root + here, 1e-9)))
    return None


def working_se(result: Fit, quantity: Quantity) -> float:
    """Give the standard error on the quantity's working scale."""
    slope = quantity.slope(result.coefficients, result.sigma)
    return float(np.sqrt(max(float(slope @ result.covariance @ slope), 0.0)))


def _hold(result: Fit, quantity: Quantity, c: float, near: Array) -> Held:
    """Climb to the best fit on the plane where the quantity has the value c."""
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
    plane = np.asarray(free @ np.linalg.qr(across[:, None], mode="complete")[0][:, 1:])
    if plane.shape[1] == 0:
        return Held(value=float(evaluate(problem, start)[0]), theta=start, plane=plane)
    summit = climb(partial(evaluate, problem), start, plane)
    return Held(value=summit.value, theta=summit.theta, plane=plane)
