"""Torque arithmetic: what a recorded torque says about the clamp on the disc.

discward never chooses a torque; it compares what was recorded with the maker's target.
"""

import math

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "TORQUE_BAND",
    "lubrication_error",
    "nut_factor",
    "step_torques",
    "tightening_torque",
    "torque_ratio",
]

TORQUE_BAND = (0.9, 1.1)
"""Accepted torque as a part of target. Common practice, no source."""


def tightening_torque(nut_factor: float, diameter: float, preload: float) -> float:
    r"""Give the torque that reaches a bolt preload, :math:`T = K D F`.

    Parameters
    ----------
    nut_factor : float
        K, friction and geometry in one number, > 0. [-]
    diameter : float
        Nominal bolt diameter, > 0. [m]
    preload : float
        Bolt tension, >= 0. [N]

    Returns
    -------
    float
        Torque. [N m]

    Raises
    ------
    ValueError
        If an argument is out of range.

    Examples
    --------
    >>> round(tightening_torque(0.20, 0.016, 54165), 2)
    173.33
    """
    if not (nut_factor > 0 and diameter > 0 and preload >= 0):
        raise ValueError(
            "nut_factor and diameter must be > 0 and preload >= 0 N, "
            f"got {nut_factor!r}, {diameter!r} m, {preload!r} N"
        )
    return nut_factor * diameter * preload


def nut_factor(
    *,
    diameter: float,
    pitch: float,
    pitch_diameter: float,
    bearing_diameter: float,
    thread_friction: float,
    bearing_friction: float,
) -> float:
    r"""Work out the nut factor of a metric thread from its friction.

    .. math::
        K = \frac{1}{2D}\left(\frac{p}{\pi} + \frac{\mu_t d_2}{\cos 30^\circ}
            + \mu_n D_e\right)

    Parameters
    ----------
    diameter, pitch, pitch_diameter, bearing_diameter : float
        D, p, d2 and De, all in one unit, > 0; De is the mean of washer face and hole.
    thread_friction, bearing_friction : float
        Friction of thread and nut face, >= 0. [-]

    Returns
    -------
    float
        K. [-]

    Raises
    ------
    ValueError
        If a length is not positive or a friction negative.

    Notes
    -----
    Form of the equation from memory, unverified; 60 degree thread.

    Examples
    --------
    >>> round(nut_factor(diameter=16, pitch=2, pitch_diameter=14.701, bearing_diameter=20.75,
    ...                  thread_friction=0.12, bearing_friction=0.12), 4)
    0.1614
    """
    if not min(diameter, pitch, pitch_diameter, bearing_diameter) > 0:
        raise ValueError("diameter, pitch, pitch_diameter and bearing_diameter must be > 0")
    if not min(thread_friction, bearing_friction) >= 0:
        raise ValueError("thread_friction and bearing_friction must be >= 0")
    thread = thread_friction * pitch_diameter / math.cos(math.radians(30))
    return (pitch / math.pi + thread + bearing_friction * bearing_diameter) / (2 * diameter)


def lubrication_error(assumed_nut_factor: float, actual_nut_factor: float) -> float:
    """Give actual over meant preload when the lubrication is not the one assumed.

    Parameters
    ----------
    assumed_nut_factor, actual_nut_factor : float
        K the target was worked out with, and K of the studs as they were, > 0. [-]

    Returns
    -------
    float
        Ratio of preloads; above 1 is over-tightened. [-]

    Raises
    ------
    ValueError
        If a factor is not positive.

    Examples
    --------
    A torque meant for dry studs, put on oiled ones:

    >>> round(lubrication_error(0.20, 0.15), 2)
    1.33
    """
    if not (assumed_nut_factor > 0 and actual_nut_factor > 0):
        raise ValueError(
            f"nut factors must be > 0, got {assumed_nut_factor!r} and {actual_nut_factor!r}"
        )
    return assumed_nut_factor / actual_nut_factor


def step_torques(target: float, steps: tuple[float, ...] = (25, 50, 75, 100)) -> list[float]:
    """Give the torque of each step to the maker's target, criss-cross round the studs.

    Parameters
    ----------
    target : float
        The maker's torque, > 0. [N m]
    steps : tuple of float
        Rising percentages that end at 100. Common practice, no source. [%]

    Returns
    -------
    list of float
        Torque per step. [N m]

    Raises
    ------
    ValueError
        If the target is not positive or the steps do not rise to 100.

    Examples
    --------
    >>> step_torques(80.0)
    [20.0, 40.0, 60.0, 80.0]
    """
    if not target > 0:
        raise ValueError(f"target must be > 0 N m, got {target!r}")
    rising = all(a < b for a, b in zip((0, *steps), steps, strict=False))
    if not steps or not rising or steps[-1] != 100:
        raise ValueError(f"steps must rise from above 0 to 100 %, got {steps!r}")
    return [target * step / 100 for step in steps]


def torque_ratio(
    applied_nm: NDArray[np.float64], target_nm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Give recorded torque as a part of target; NaN where either is missing or zero.

    Parameters
    ----------
    applied_nm, target_nm : ndarray, shape (n_installs,)
        Recorded torque and the maker's target. [N m]

    Returns
    -------
    ndarray, shape (n_installs,)
        Ratio. [-]
    """
    target = np.where(np.asarray(target_nm, dtype=float) > 0, target_nm, np.nan)
    return np.asarray(np.asarray(applied_nm, dtype=float) / target)
