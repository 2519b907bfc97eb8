"""How does the burst pressure change when the disc is not at the temperature on its tag?"""

from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["temperature_factor"]


def temperature_factor(
    curve: pd.Series, disc_degc: pd.Series, coincident_degc: pd.Series
) -> NDArray[np.float64]:
    r"""Give burst pressure at the disc's temperature over the marked one.

    .. math:: k = f(T_{disc}) / f(T_{tag})

    with f the maker's curve, straight between its points.

    Parameters
    ----------
    curve : Series of str, n discs
        Points `temperature:factor` joined by /, rising in temperature, such as
        `20:1.00/100:0.94`; blank when the discs table gives none. [degC:-]
    disc_degc, coincident_degc : Series of float
        Temperature of the disc, and that its burst pressure is stated at. [degC]

    Returns
    -------
    ndarray, shape (n,)
        k, NaN without a curve or a temperature, and outside the curve's own range:
        it is never extended. [-]

    Examples
    --------
    >>> one = pd.Series
    >>> float(temperature_factor(one(["20:1.00/120:0.90"]), one([70.0]), one([20.0]))[0])
    0.95
    """
    rows = zip(curve, disc_degc.astype(float), coincident_degc.astype(float), strict=True)
    return np.array([_at(text, there) / _at(text, tag) for text, there, tag in rows], dtype=float)


def _at(text: object, degc: float) -> float:
    if not isinstance(text, str) or np.isnan(degc):
        return float("nan")
    temperatures, factors = _points(text)
    return float(np.interp(degc, temperatures, factors, left=np.nan, right=np.nan))


@cache
def _points(text: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    pairs = [point.split(":") for point in text.split("/")]
    return tuple(float(pair[0]) for pair in pairs), tuple(float(pair[1]) for pair in pairs)
