"""How much fatigue and creep life did the cycles and the heat use up?

Ranges and means are pressures in one unit; the curves are whatever the user
states for the disc at hand. discward states none of its own.
"""

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "Basquin",
    "MeanCorrection",
    "basquin_life_factor",
    "coffin_manson_life_factor",
    "corrected_range",
    "equivalent_range",
    "larson_miller",
    "larson_miller_life",
    "miner_damage",
    "miner_sum",
]

Floats = NDArray[np.float64]


class MeanCorrection(Enum):
    """How the mean of a cycle changes the harm it does."""

    NONE = "none"
    GOODMAN = "goodman"
    SMITH_WATSON_TOPPER = "smith_watson_topper"


@dataclass(frozen=True, slots=True, kw_only=True)
class Basquin:
    r"""A straight line on log-log paper: :math:`N(r) = C\,r^{-m}`.

    Attributes
    ----------
    cycles_at_unit_range : float
        :math:`C`, cycles to failure at a range of one pressure unit. [-]
    slope : float
        :math:`m`, positive. [-]
    """

    cycles_at_unit_range: float
    slope: float

    def __post_init__(self) -> None:
        if not (self.cycles_at_unit_range > 0 and self.slope > 0):
            raise ValueError(
                "cycles_at_unit_range and slope must be > 0, got "
                f"{self.cycles_at_unit_range!r} and {self.slope!r}"
            )


def corrected_range(
    ranges: ArrayLike,
    means: ArrayLike,
    correction: MeanCorrection,
    burst_pressure: ArrayLike = np.nan,
) -> Floats:
    r"""Give the range about a zero mean that does the same harm.

    .. math::
        \text{Goodman: } \frac{r}{1 - \bar p / P_b},\qquad
        \text{SWT: } 2\sqrt{(r/2 + \bar p)\,r/2}

    Parameters
    ----------
    ranges, means : array_like of float, shape (n,)
        Range and mean of each cycle, one unit of pressure.
    correction : MeanCorrection
        Which rule. GOODMAN takes the burst pressure as the ultimate strength.
    burst_pressure : array_like of float
        Needed by GOODMAN, one for all cycles or one for each, same unit.

    Returns
    -------
    ndarray of float, shape (n,)
        Equivalent ranges, same unit. A mean in compression is not credited
        by GOODMAN; SWT gives 0 when the peak is not above zero.

    Raises
    ------
    ValueError
        If GOODMAN has no positive burst pressure or a mean reaches it.

    References
    ----------
    .. [1] The Goodman and Smith-Watson-Topper rules are textbook; common
       practice, no single source.

    Examples
    --------
    >>> corrected_range([60.0], [50.0], MeanCorrection.GOODMAN, 100.0).tolist()
    [120.0]
    """
    spans: Floats = np.asarray(ranges, dtype=float)
    centres: Floats = np.asarray(means, dtype=float)
    if correction is MeanCorrection.NONE:
        return spans
    if correction is MeanCorrection.SMITH_WATSON_TOPPER:
        peak = np.maximum(spans / 2 + centres, 0.0)
        equivalent: Floats = 2.0 * np.sqrt(peak * spans / 2)
        return equivalent
    burst: Floats = np.asarray(burst_pressure, dtype=float)
    if not (burst > 0).all():
        raise ValueError(f"Goodman needs a burst_pressure > 0, got {burst_pressure!r}")
    if (centres >= burst).any():
        raise ValueError(
            f"Goodman needs means below the burst pressure {burst_pressure!r}, "
            f"got {float(centres.max())!r}"
        )
    goodman: Floats = spans / (1.0 - np.maximum(centres, 0.0) / burst)
    return goodman


def miner_damage(
    ranges: ArrayLike,
    counts: ArrayLike,
    curve: Basquin,
    *,
    means: ArrayLike | None = None,
    correction: MeanCorrection = MeanCorrection.NONE,
    burst_pressure: float = np.nan,
) -> float:
    r"""Add up the life used: :math:`D = \sum n_i / N(r_i)` (Palmgren-Miner).

    Parameters
    ----------
    ranges, counts : array_like of float, shape (n,)
        Range of each class of cycles and how many there were.
    curve : Basquin
        Cycles to failure by range.
    means : array_like of float, shape (n,), optional
        Needed by any correction but NONE.
    correction, burst_pressure
        As in `corrected_range`.

    Returns
    -------
    float
        Damage; failures are commonly seen between 0.3 and 3 (from memory,
        unverified). [-]

    Raises
    ------
    ValueError
        If a count is negative or a correction lacks what it needs.

    References
    ----------
    .. [1] Miner, M. A. (1945), Cumulative damage in fatigue, J. Appl. Mech. 12.

    Examples
    --------
    >>> curve = Basquin(cycles_at_unit_range=1e6, slope=3.0)
    >>> round(miner_damage([3, 4, 6, 8, 9], [0.5, 1.5, 0.5, 1.0, 0.5], curve), 9)
    0.001094
    """
    if means is None and correction is not MeanCorrection.NONE:
        raise ValueError(f"{correction.value} needs the means of the cycles, got none")
    spans = corrected_range(ranges, 0.0 if means is None else means, correction, burst_pressure)
    harm = np.power(spans, curve.slope) / curve.cycles_at_unit_range
    return float(np.sum(_counts(counts) * harm))


def miner_sum(counts: ArrayLike, lives: ArrayLike) -> float:
    """Add cycles counted over cycles to failure, class by class.

    Examples
    --------
    >>> miner_sum([1000, 200], [1e4, 1e3])
    0.30000000000000004
    """
    return float(np.sum(_counts(counts) / np.asarray(lives, dtype=float)))


def equivalent_range(ranges: ArrayLike, counts: ArrayLike, slope: float) -> float:
    r"""Give the one range that does the same harm in as many cycles.

    .. math:: r_e = \left(\sum n_i r_i^m / \sum n_i\right)^{1/m}

    Examples
    --------
    >>> round(equivalent_range([3, 4, 6, 8, 9], [0.5, 1.5, 0.5, 1.0, 0.5], 3.0), 9)
    6.491112113
    """
    cycles = _counts(counts)
    if not cycles.sum() > 0:
        raise ValueError("equivalent_range needs at least part of a cycle, got none")
    weighted = np.sum(cycles * np.power(np.asarray(ranges, dtype=float), slope))
    return float((weighted / cycles.sum()) ** (1.0 / slope))


def basquin_life_factor(range_from: float, range_to: float, exponent: float) -> float:
    r"""Give the change of life when a range changes: :math:`(r_2/r_1)^{1/b}`, b below 0.

    Examples
    --------
    >>> round(basquin_life_factor(0.9, 0.8, -0.12), 3)
    2.669
    """
    return _life_factor(range_to / range_from, exponent)


def coffin_manson_life_factor(strain_factor: float, exponent: float) -> float:
    r"""Give the change of life when plastic strain is multiplied: :math:`k^{1/c}`, c below 0.

    Examples
    --------
    >>> round(coffin_manson_life_factor(2.0, -0.5), 3)
    0.25
    """
    return _life_factor(strain_factor, exponent)


def larson_miller(temperature_k: float, life_h: float, constant: float = 20.0) -> float:
    r"""Give the Larson-Miller parameter :math:`T\,(C + \log_{10} t)`.

    Examples
    --------
    >>> round(larson_miller(673.15, 87_600.0), 1)
    16790.0
    """
    if not (temperature_k > 0 and life_h > 0):
        raise ValueError(
            f"temperature_k and life_h must be > 0, got {temperature_k!r} and {life_h!r}"
        )
    return float(temperature_k * (constant + np.log10(life_h)))


def larson_miller_life(parameter: float, temperature_k: float, constant: float = 20.0) -> float:
    r"""Give the creep life [h] at another temperature [K]: :math:`10^{P/T - C}`.

    Examples
    --------
    >>> round(larson_miller_life(24_000.0, 1073.0), 1)
    232.9
    """
    if not temperature_k > 0:
        raise ValueError(f"temperature_k must be > 0, got {temperature_k!r}")
    return float(10.0 ** (parameter / temperature_k - constant))


def _counts(counts: ArrayLike) -> Floats:
    cycles: Floats = np.asarray(counts, dtype=float)
    if (cycles < 0).any():
        raise ValueError(f"counts must be >= 0, got {float(cycles.min())!r}")
    return cycles


def _life_factor(factor: float, exponent: float) -> float:
    if not (factor > 0 and exponent < 0):
        raise ValueError(
            f"the factor must be > 0 and the exponent < 0, got {factor!r}, {exponent!r}"
        )
    return float(factor ** (1.0 / exponent))
