"""Units: plant words in, one system inside.

Inside discward a pressure is bar gauge (`_barg`), a differential pressure bar
(`_bar`), a temperature degrees Celsius (`_degc`), a torque newton metre
(`_nm`), a length millimetre (`_mm`), a duration hour (`_h`). This is the only
module that imports pint, and no text from a user ever reaches it: unit words
are looked up in the allow-list below.
"""

from dataclasses import dataclass
from enum import Enum
from functools import cache

import numpy as np
import pint
from numpy.typing import NDArray

from analytics.errors import UnitError

__all__ = ["BAR_PER_PSI", "Dimension", "convert_from", "convert_to", "unit_words"]

BAR_PER_PSI = 0.0689475729316836
"""1 psi in bar: 1 lbf/in2 with the international pound and inch. NIST SP 811, B.8."""

STANDARD_ATMOSPHERE_BAR = 1.01325
"""Taken off an absolute pressure to make it gauge. ISO 2533:1975, sea level."""


class Dimension(Enum):
    """What a column measures; the value is the suffix its internal column carries."""

    GAUGE_PRESSURE = "barg"
    TEMPERATURE = "degc"
    TORQUE = "nm"
    LENGTH = "mm"
    DURATION = "h"


@dataclass(frozen=True, slots=True)
class _Unit:
    dimension: Dimension
    name: str
    absolute: bool = False


_WORDS: dict[str, _Unit] = {
    **{f"{word}g": _Unit(Dimension.GAUGE_PRESSURE, word) for word in ("bar", "mbar", "psi")},
    **{f"{word}a": _Unit(Dimension.GAUGE_PRESSURE, word, True) for word in ("bar", "mbar", "psi")},
    **{f"{word}g": _Unit(Dimension.GAUGE_PRESSURE, word) for word in ("kPa", "MPa")},
    **{f"{word}a": _Unit(Dimension.GAUGE_PRESSURE, word, True) for word in ("kPa", "MPa")},
    "kgf/cm2g": _Unit(Dimension.GAUGE_PRESSURE, "kgf/cm**2"),
    "kgf/cm2a": _Unit(Dimension.GAUGE_PRESSURE, "kgf/cm**2", True),
    "degC": _Unit(Dimension.TEMPERATURE, "degC"),
    "degF": _Unit(Dimension.TEMPERATURE, "degF"),
    "K": _Unit(Dimension.TEMPERATURE, "kelvin"),
    "N.m": _Unit(Dimension.TORQUE, "newton*meter"),
    "lbf.ft": _Unit(Dimension.TORQUE, "force_pound*foot"),
    "lbf.in": _Unit(Dimension.TORQUE, "force_pound*inch"),
    "kgf.m": _Unit(Dimension.TORQUE, "kgf*meter"),
    "mm": _Unit(Dimension.LENGTH, "mm"),
    "in": _Unit(Dimension.LENGTH, "inch"),
    "h": _Unit(Dimension.DURATION, "hour"),
    "min": _Unit(Dimension.DURATION, "minute"),
    "d": _Unit(Dimension.DURATION, "day"),
}

_INTERNAL = {
    Dimension.GAUGE_PRESSURE: "bar",
    Dimension.TEMPERATURE: "degC",
    Dimension.TORQUE: "newton*meter",
    Dimension.LENGTH: "mm",
    Dimension.DURATION: "hour",
}


def unit_words(dimension: Dimension) -> tuple[str, ...]:
    """List the unit words a column of this dimension may carry.

    Examples
    --------
    >>> unit_words(Dimension.TORQUE)
    ('N.m', 'lbf.ft', 'lbf.in', 'kgf.m')
    """
    return tuple(word for word, unit in _WORDS.items() if unit.dimension is dimension)


def convert_from(
    values: NDArray[np.float64] | float, word: str, dimension: Dimension
) -> NDArray[np.float64]:
    """Convert plant values to the internal unit of their dimension.

    Parameters
    ----------
    values : array_like of float, any shape
        Values in the unit named by `word`; NaN stays NaN.
    word : str
        A unit word from the allow-list, e.g. ``psig``. Case matters (mm, MPa).
    dimension : Dimension
        What the column measures.

    Returns
    -------
    ndarray of float, same shape
        Values in the internal unit (see the module's first lines).

    Raises
    ------
    UnitError
        If the word is unknown or measures something else. A pressure word must
        say gauge or absolute.

    Notes
    -----
    An absolute pressure becomes gauge by taking off one standard atmosphere,
    1.01325 bar; at altitude the plant's own barometric pressure differs.

    Examples
    --------
    >>> float(convert_from(40.0, "psig", Dimension.GAUGE_PRESSURE).round(6))
    2.757903
    >>> float(convert_from(212.0, "degF", Dimension.TEMPERATURE).round(6))
    100.0
    """
    scale, offset = _line(word, dimension)
    return np.asarray(values, dtype=float) * scale + offset


def convert_to(
    values: NDArray[np.float64] | float, word: str, dimension: Dimension
) -> NDArray[np.float64]:
    """Convert internal values to a unit somebody wants to read.

    The inverse of `convert_from`, with the same arguments and errors.

    Examples
    --------
    >>> float(convert_to(2.757903, "psig", Dimension.GAUGE_PRESSURE).round(4))
    40.0
    """
    scale, offset = _line(word, dimension)
    return (np.asarray(values, dtype=float) - offset) / scale


@cache
def _line(word: str, dimension: Dimension) -> tuple[float, float]:
    """Scale and offset of the straight line from a unit to the internal one."""
    unit = _WORDS.get(word)
    if unit is None or unit.dimension is not dimension:
        allowed = " ".join(unit_words(dimension))
        raise UnitError(f"unit must be one of: {allowed}; got {word!r}")
    registry = _registry()
    target = _INTERNAL[dimension]
    at_zero = float(registry.Quantity(0.0, unit.name).to(target).magnitude)
    at_one = float(registry.Quantity(1.0, unit.name).to(target).magnitude)
    offset = at_zero - (STANDARD_ATMOSPHERE_BAR if unit.absolute else 0.0)
    return at_one - at_zero, offset


@cache
def _registry() -> "pint.UnitRegistry[float]":
    return pint.UnitRegistry()
