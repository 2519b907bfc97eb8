"""On which grid are historian pressures held and sorted into classes?

A pressure is a whole number of 1/65536 bar (far below any transmitter's
resolution), a time a whole number of milliseconds. Whole numbers add up to the
same sum in any order, so a tally made in pieces equals the tally of the whole to
the bit. Classes are geometric, a fixed number per factor of two, read straight
from the bits of a float: they need no plant-specific width.
"""

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "LEVELS_PER_BAR",
    "MEAN_CLASSES",
    "MEAN_ZERO",
    "RANGE_CLASSES",
    "TEMPERATURE_STEPS",
    "TIME_CLASSES",
    "TIME_ZERO",
    "mean_class",
    "octave",
    "pressure_class",
    "pressure_edges",
    "range_class",
]

LEVELS_PER_BAR = 65_536
"""Grid steps in one bar."""

TEMPERATURE_STEPS = 256
"""Grid steps in one degree Celsius."""

_BIAS = 1023  # exponent of 1.0 in a binary64

_TIME_BITS = 8
TIME_CLASSES = 2 * 32 * 256
TIME_ZERO = TIME_CLASSES // 2
"""256 pressure classes per factor of two: each 0.3 % wide; class of pressure zero."""

_RANGE_BITS = 5
RANGE_CLASSES = 32 * 32
"""32 range classes per factor of two; each also keeps the exact sum of its ranges."""

_MEAN_BITS = 2
MEAN_ZERO = 33 * 4
MEAN_CLASSES = 2 * MEAN_ZERO
"""4 mean classes per factor of two; each also keeps the exact sum of its means."""


@njit(cache=True, nogil=True)
def _geometric(magnitude: int, bits: int) -> int:  # pragma: no cover
    """Class of a whole number >= 1: its exponent and its first mantissa bits."""
    return int(np.float64(magnitude).view(np.int64) >> (52 - bits)) - (_BIAS << bits)


@njit(cache=True, nogil=True)
def octave(magnitude: int) -> int:  # pragma: no cover
    """Give the whole part of log2 of a number >= 1."""
    return _geometric(magnitude, 0)


@njit(cache=True, nogil=True)
def range_class(span: int) -> int:  # pragma: no cover
    """Give the class of a range of at least one grid step."""
    return _geometric(span, _RANGE_BITS)


@njit(cache=True, nogil=True)
def pressure_class(level: int) -> int:  # pragma: no cover
    """Give the class of a pressure on the grid; classes ascend with pressure."""
    if level > 0:
        return TIME_ZERO + 1 + _geometric(level, _TIME_BITS)
    if level < 0:
        return TIME_ZERO - 1 - _geometric(-level, _TIME_BITS)
    return TIME_ZERO


@njit(cache=True, nogil=True)
def mean_class(twice_mean: int) -> int:  # pragma: no cover
    """Give the class of a cycle's mean, from the sum of its two ends."""
    if twice_mean > 0:
        return MEAN_ZERO + _geometric(twice_mean, _MEAN_BITS)
    if twice_mean < 0:
        return MEAN_ZERO - 1 - _geometric(-twice_mean, _MEAN_BITS)
    return MEAN_ZERO


def pressure_edges(classes: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the lower and upper edge of pressure classes. [bar]

    Examples
    --------
    >>> low, high = pressure_edges([pressure_class(10 * LEVELS_PER_BAR)])
    >>> low.tolist(), high.tolist()
    ([10.0], [10.03125])
    """
    offset = np.asarray(classes, dtype=np.int64) - TIME_ZERO
    number = np.abs(offset) - 1
    inner = np.where(offset == 0, 0.0, _power(number))
    outer = np.where(offset == 0, 0.0, _power(number + 1))
    low = np.where(offset > 0, inner, -outer) / LEVELS_PER_BAR
    high = np.where(offset > 0, outer, -inner) / LEVELS_PER_BAR
    return low, high


def _power(number: NDArray[np.int64]) -> NDArray[np.float64]:
    per_octave = 1 << _TIME_BITS
    return np.ldexp(1.0 + (number % per_octave) / per_octave, number // per_octave)
