"""Plain forecasts of a demand rate, to be beaten: what a storeroom system would do."""

from enum import Enum

import numpy as np
from numpy.typing import ArrayLike

__all__ = ["Baseline", "baseline_rate"]


class Baseline(Enum):
    """A plain way to read a rate off past demand."""

    ROLLING_MEAN = "rolling mean"
    CROSTON_SBA = "Croston-SBA"
    TSB = "TSB"


def baseline_rate(demand: ArrayLike, method: Baseline, *, smoothing: float = 0.1) -> float:
    r"""Forecast the demand per period from the demand of past periods.

    Croston smooths the size z of demands and the interval p between them, both
    when a demand comes; Syntetos and Boylan take off its bias,
    :math:`(1 - \alpha / 2) z / p`. TSB smooths the chance of a demand in every
    period instead, so that a code nobody asks for fades out.

    Parameters
    ----------
    demand : array_like, shape (n_periods,)
        Pieces used per period, oldest first. [-]
    method : Baseline
        Which forecast.
    smoothing : float
        Weight of the newest observation, in (0, 1). [-]

    Returns
    -------
    float
        Expected pieces per period; 0 when nothing was ever used. [-]

    Raises
    ------
    ValueError
        If there is no period or the smoothing is outside (0, 1).

    References
    ----------
    .. [1] Croston, J. D. (1972), "Forecasting and stock control for intermittent demands",
       Operational Research Quarterly 23, 289-303.
    .. [2] Syntetos, A. A., Boylan, J. E. (2005), "The accuracy of intermittent demand
       estimates", International Journal of Forecasting 21, 303-314.
    .. [3] Teunter, R. H., Syntetos, A. A., Babai, M. Z. (2011), "Intermittent demand: linking
       forecasting to inventory obsolescence", European Journal of Operational Research 214,
       606-615.

    Examples
    --------
    >>> baseline_rate([0, 2, 0, 2], Baseline.ROLLING_MEAN)
    1.0
    >>> round(baseline_rate([0, 2, 0, 2], Baseline.CROSTON_SBA), 4)
    0.95
    """
    used = np.asarray(demand, dtype=float)
    if used.size == 0:
        raise ValueError("demand must cover at least one period, got none")
    if not 0 < smoothing < 1:
        raise ValueError(f"smoothing must lie in (0, 1), got {smoothing!r}")
    periods = np.flatnonzero(used)
    if periods.size == 0:
        return 0.0
    if method is Baseline.ROLLING_MEAN:
        return float(used.mean())
    size = _smoothed(used[periods], smoothing)
    if method is Baseline.CROSTON_SBA:
        interval = _smoothed(np.diff(periods, prepend=-1).astype(float), smoothing)
        return (1 - smoothing / 2) * size / interval
    return size * _smoothed((used > 0).astype(float), smoothing, start=1 / (periods[0] + 1))


def _smoothed(values: ArrayLike, weight: float, *, start: float | None = None) -> float:
    series = np.asarray(values, dtype=float)
    level = float(series[0]) if start is None else start
    for value in series[1:] if start is None else series:
        level += weight * (float(value) - level)
    return level
