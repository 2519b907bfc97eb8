"""How close to its burst pressure did a disc run?

All pressures are floats in bar. A disc bursts on the difference between its two
sides, so operating and burst pressures are compared as differential pressures.
"""

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.units import BAR_PER_PSI

__all__ = [
    "BurstWindow",
    "RatioDefinition",
    "burst_tolerance",
    "burst_window",
    "differential_pressure",
    "largest_operating_pressure",
    "operating_margin",
    "operating_ratio",
]

Floats = NDArray[np.float64]

TWO_PSI_BAR = 2.0 * BAR_PER_PSI
FORTY_PSI_BAR = 40.0 * BAR_PER_PSI
TOLERANCE_ABOVE_FORTY_PSI = 0.05


class RatioDefinition(Enum):
    """What an operating pressure is divided by; every result names the one it used."""

    MIN_BURST = "min_burst"
    MARKED = "marked"
    LOW_PRESSURE = "low_pressure"


@dataclass(frozen=True, slots=True, kw_only=True)
class BurstWindow:
    """The pressures between which a good disc may burst.

    Attributes
    ----------
    minimum, maximum : ndarray of float
        Least and greatest burst pressure. [bar]
    marked : ndarray of float
        The marked burst pressure, or the lowest mark the manufacturing range
        allows where the tag is not on record. [bar]
    from_tag : ndarray of bool
        True where the tag value was on record.
    range_known : ndarray of bool
        False where the tag is not on record and no manufacturing range is
        stated either: the specified pressure then stands in as it is.
    """

    minimum: Floats
    maximum: Floats
    marked: Floats
    from_tag: NDArray[np.bool_]
    range_known: NDArray[np.bool_]


def burst_tolerance(marked_barg: ArrayLike) -> Floats:
    r"""Give the burst tolerance around a marked burst pressure.

    .. math::
        \delta = 2\ \mathrm{psi} \;(M \le 40\ \mathrm{psi}),\quad
        \delta = 0.05\,M \;(M > 40\ \mathrm{psi})

    Parameters
    ----------
    marked_barg : array_like of float, any shape
        Marked burst pressure :math:`M`, positive; NaN stays NaN. [barg]

    Returns
    -------
    ndarray of float, same shape
        Half width of the band in which a disc of the lot may burst. [bar]

    Raises
    ------
    ValueError
        If any pressure is not positive.

    Notes
    -----
    Both rules give 2 psi at 40 psi. Some discs are sold with other tolerances; the
    maker's certificate then prevails.

    References
    ----------
    .. [1] Zappe, Valve Selection Handbook, 4th ed., pp. 222-223 (read in excerpts).

    Examples
    --------
    >>> burst_tolerance([2.757903, 10.0]).round(6).tolist()
    [0.137895, 0.5]
    """
    marked = _positive("marked burst pressure", marked_barg)
    return np.where(marked <= FORTY_PSI_BAR, TWO_PSI_BAR, TOLERANCE_ABOVE_FORTY_PSI * marked)


def burst_window(
    marked_barg: ArrayLike,
    specified_barg: ArrayLike,
    range_minus_pct: ArrayLike = np.nan,
    range_plus_pct: ArrayLike = np.nan,
) -> BurstWindow:
    r"""Give the least and greatest pressure at which a good disc may burst.

    With the tag: :math:`M \mp \delta(M)`. Without it the bottom and top of the
    manufacturing range stand in for the mark: :math:`S(1 - m_-) - \delta` and
    :math:`S(1 + m_+) + \delta`.

    Parameters
    ----------
    marked_barg : array_like of float, shape (n,)
        Marked burst pressure, NaN where the tag is not on record. [barg]
    specified_barg : array_like of float, shape (n,)
        Specified burst pressure, used where the mark is NaN. [barg]
    range_minus_pct, range_plus_pct : array_like of float, shape (n,)
        Manufacturing range below and above specified; NaN counts as 0. [%]

    Returns
    -------
    BurstWindow
        Minimum, maximum and the mark they were taken from.

    Raises
    ------
    ValueError
        If a pressure is not positive or a range is outside [0, 100) %.

    References
    ----------
    .. [1] Zappe, Valve Selection Handbook, 4th ed., pp. 222-223 (read in excerpts).

    Examples
    --------
    >>> window = burst_window([10.0, float("nan")], 10.0, 10.0, 5.0)
    >>> window.minimum.round(3).tolist(), window.maximum.round(3).tolist()
    ([9.5, 8.55], [10.5, 11.025])
    """
    marked, specified, minus, plus = np.broadcast_arrays(
        _positive("marked burst pressure", marked_barg),
        _positive("specified burst pressure", specified_barg),
        _percent("range_minus_pct", range_minus_pct),
        _percent("range_plus_pct", range_plus_pct),
    )
    from_tag = ~np.isnan(marked)
    lowest = np.where(from_tag, marked, specified * (1.0 - np.nan_to_num(minus) / 100.0))
    highest = np.where(from_tag, marked, specified * (1.0 + np.nan_to_num(plus) / 100.0))
    return BurstWindow(
        minimum=lowest - burst_tolerance(lowest),
        maximum=highest + burst_tolerance(highest),
        marked=lowest,
        from_tag=from_tag,
        range_known=from_tag | ~(np.isnan(minus) | np.isnan(plus)),
    )


def differential_pressure(operating_barg: ArrayLike, back_pressure_barg: ArrayLike = 0.0) -> Floats:
    """Take the back pressure off the operating pressure; a blank back pressure is 0 gauge.

    Examples
    --------
    >>> differential_pressure([7.0, 7.0], [1.5, float("nan")]).tolist()
    [5.5, 7.0]
    """
    upstream: Floats = np.asarray(operating_barg, dtype=float)
    downstream: Floats = np.nan_to_num(np.asarray(back_pressure_barg, dtype=float))
    difference: Floats = upstream - downstream
    return difference


def operating_ratio(
    operating_barg: ArrayLike,
    marked_barg: ArrayLike,
    back_pressure_barg: ArrayLike = 0.0,
    definition: RatioDefinition = RatioDefinition.MIN_BURST,
) -> Floats:
    r"""Divide the operating pressure by the burst pressure, as the definition says.

    .. math::
        \text{min\_burst: } \frac{P_o}{M - \delta},\quad
        \text{marked: } \frac{P_o}{M},\quad
        \text{low\_pressure: } \frac{P_o}{M - 2\,\mathrm{psi}} \;(M \le 40\,\mathrm{psi}),
        \; \frac{P_o}{M} \;(M > 40\,\mathrm{psi})

    Parameters
    ----------
    operating_barg : array_like of float, any shape
        Highest pressure in normal running, upstream of the disc. [barg]
    marked_barg : array_like of float, broadcastable
        Marked burst pressure :math:`M` at disc temperature. [barg]
    back_pressure_barg : array_like of float, broadcastable, default 0
        Pressure downstream of the disc; NaN counts as 0 gauge. [barg]
    definition : RatioDefinition, default MIN_BURST
        Which of the three to use. They differ by up to a tenth, so ratios of
        different definitions are never compared.

    Returns
    -------
    ndarray of float
        The ratio; NaN where a pressure is unknown or the tolerance leaves no
        burst pressure (a mark at or below 2 psi needs the maker's own
        tolerance). [-]

    Raises
    ------
    ValueError
        If a marked pressure is not positive.

    Notes
    -----
    A ratio above 1 is returned as it is: it is an alarm, not an outlier.

    References
    ----------
    .. [1] Zappe, Valve Selection Handbook, 4th ed., p. 223 (min_burst; read in
       excerpts). The low-pressure form is as used in refinery practice: from
       memory, unverified.

    Examples
    --------
    >>> float(operating_ratio(63.0, 70.0).round(5))
    0.94737
    >>> float(operating_ratio(63.0, 70.0, definition=RatioDefinition.MARKED))
    0.9
    """
    marked = _positive("marked burst pressure", marked_barg)
    if definition is RatioDefinition.MIN_BURST:
        divisor = marked - burst_tolerance(marked)
    elif definition is RatioDefinition.MARKED:
        divisor = marked
    else:
        divisor = np.where(marked <= FORTY_PSI_BAR, marked - TWO_PSI_BAR, marked)
    ratio: Floats = differential_pressure(operating_barg, back_pressure_barg) / np.where(
        divisor > 0, divisor, np.nan
    )
    return ratio


def operating_margin(
    operating_barg: ArrayLike, minimum_burst_bar: ArrayLike, back_pressure_barg: ArrayLike = 0.0
) -> Floats:
    """Give the pressure left between operation and the least burst pressure. [bar]

    Examples
    --------
    >>> float(operating_margin(63.0, 66.5))
    3.5
    """
    least: Floats = np.asarray(minimum_burst_bar, dtype=float)
    margin: Floats = least - differential_pressure(operating_barg, back_pressure_barg)
    return margin


def largest_operating_pressure(minimum_burst_bar: ArrayLike, max_ratio: ArrayLike) -> Floats:
    """Give the differential pressure at which the ratio (min_burst) reaches its limit. [bar]

    Examples
    --------
    >>> float(largest_operating_pressure(150.0, 0.7))
    105.0
    """
    largest: Floats = np.asarray(minimum_burst_bar, dtype=float) * np.asarray(
        max_ratio, dtype=float
    )
    return largest


def _positive(name: str, values: ArrayLike) -> Floats:
    array = np.asarray(values, dtype=float)
    if (array <= 0).any():
        raise ValueError(f"{name} must be > 0 barg, got {float(array[array <= 0].flat[0])!r}")
    return array


def _percent(name: str, values: ArrayLike) -> Floats:
    array = np.asarray(values, dtype=float)
    if ((array < 0) | (array >= 100)).any():
        raise ValueError(f"{name} must lie in [0, 100) %, got {array.tolist()!r}")
    return array
