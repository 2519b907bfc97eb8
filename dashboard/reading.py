"""The units a reader chose: kept in the address, applied when shown, never before."""

import re
from dataclasses import dataclass
from enum import Enum

from analytics.units import Dimension, convert_to

__all__ = ["AgeUnit", "PressureUnit", "Units"]

MONTHS_PER_YEAR = 12.0
_NAMED = re.compile(
    r"(?<![\w.,])(\d+(?:\.\d+)?)(?:( to | and | or )(\d+(?:\.\d+)?))? (barg?|months?)\b"
)
"""A number or two with a unit behind them, as findings write them."""


class PressureUnit(Enum):
    """Pressure as the reader wants it."""

    BAR = "bar"
    PSI = "psi"
    KPA = "kPa"


class AgeUnit(Enum):
    """Age and interval as the reader wants them."""

    MONTHS = "months"
    YEARS = "years"


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """The reader's choice of units.

    Attributes
    ----------
    pressure : PressureUnit
        For gauge and differential pressures.
    age : AgeUnit
        For ages of discs and for intervals.
    """

    pressure: PressureUnit = PressureUnit.BAR
    age: AgeUnit = AgeUnit.MONTHS

    @property
    def per_bar(self) -> float:
        """What one bar of difference is in the reader's unit."""
        word = f"{self.pressure.value}g"
        at_one, at_zero = (
            float(convert_to(bar, word, Dimension.GAUGE_PRESSURE)) for bar in (1.0, 0.0)
        )
        return at_one - at_zero

    def gauge(self, barg: float) -> str:
        """Write a gauge pressure with its unit.

        Examples
        --------
        >>> Units().gauge(6.3), Units(pressure=PressureUnit.PSI).gauge(6.3)
        ('6.3 barg', '91.37 psig')
        """
        return f"{barg * self.per_bar:.4g} {self.pressure.value}g"

    def said(self, text: str) -> str:
        """Turn the pressures and months that a sentence names into the reader's units.

        Findings speak bar and months; every number that means one carries its unit.

        Examples
        --------
        >>> british = Units(pressure=PressureUnit.PSI, age=AgeUnit.YEARS)
        >>> british.said("Costs least at 18 months (95 % limits 15 to 24 months).")
        'Costs least at 1.5 years (95 % limits 1.25 to 2 years).'
        >>> british.said("did not open at 11.9 barg, the 3rd time in a month")
        'did not open at 173 psig, the 3rd time in a month'
        """
        if self == Units():
            return text
        return _NAMED.sub(self._restated, text)

    def _restated(self, found: re.Match[str]) -> str:
        first, between, second, unit = found.groups()
        if unit.startswith("bar"):
            factor, word = self.per_bar, self.pressure.value + unit.removeprefix("bar")
        else:
            factor, word = self.per_month, self.age.value
        if factor == 1.0:
            return found[0]
        numbers = [f"{float(number) * factor:.3g}" for number in (first, second) if number]
        return f"{(between or '').join(numbers)} {word}"

    @property
    def per_year(self) -> float:
        """What one year is in the reader's unit."""
        return MONTHS_PER_YEAR if self.age is AgeUnit.MONTHS else 1.0

    @property
    def per_month(self) -> float:
        """What one month is in the reader's unit."""
        return self.per_year / MONTHS_PER_YEAR
