"""The units a reader chose: kept in the address, applied when shown, never before."""

from dataclasses import dataclass
from enum import Enum

from analytics.units import Dimension, convert_to

__all__ = ["AgeUnit", "PressureUnit", "Units"]

MONTHS_PER_YEAR = 12.0


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

    @property
    def per_year(self) -> float:
        """What one year is in the reader's unit."""
        return MONTHS_PER_YEAR if self.age is AgeUnit.MONTHS else 1.0

    @property
    def per_month(self) -> float:
        """What one month is in the reader's unit."""
        return self.per_year / MONTHS_PER_YEAR
