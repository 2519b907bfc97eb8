r"""Where does a failure belong on probability paper, and which line runs through the points?"""

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv

from analytics.errors import InputError, NotEstimable

__all__ = [
    "MedianRank",
    "PlotPositions",
    "RankRegression",
    "Regress",
    "adjusted_ranks",
    "median_rank",
    "plot_positions",
    "rank_regression",
]

Array = NDArray[np.float64]


class MedianRank(Enum):
    """How a rank becomes a share failed."""

    EXACT = "exact"
    BENARD = "benard"


class Regress(Enum):
    """Which distances the line makes small: those of age or those of share failed."""

    AGE_ON_SHARE = "x on y"
    SHARE_ON_AGE = "y on x"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlotPositions:
    """Points of a probability plot, one per failure.

    Attributes
    ----------
    age : ndarray, shape (n_failures,)
        Ages at failure, ascending. [time]
    rank : ndarray, shape (n_failures,)
        Rank among all units, raised for units that left earlier. [-]
    share_failed : ndarray, shape (n_failures,)
        Median share failed by the age. [-]
    """

    age: Array
    rank: Array
    share_failed: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class RankRegression:
    """A straight line on Weibull paper.

    Attributes
    ----------
    shape : float
        Weibull shape. [-]
    scale : float
        Weibull scale. [time]
    r_squared : float
        Squared correlation of the points. [-]
    """

    shape: float
    scale: float
    r_squared: float


def median_rank(rank: ArrayLike, n_units: int, *, method: MedianRank = MedianRank.EXACT) -> Array:
    r"""Give the median share failed at a rank.

    Exact: the median of a beta distribution with i and N + 1 - i; Benard's approximation:

    .. math::
        (i - 0.3) / (N + 0.4)

    Parameters
    ----------
    rank : array_like
        Ranks i, 0 < i < N + 1, need not be whole. [-]
    n_units : int
        Units N, failed or not. [-]
    method : MedianRank, default EXACT
        Which of the two.

    Returns
    -------
    ndarray, shape of `rank`
        Shares failed. [-]

    Raises
    ------
    InputError
        If a rank lies outside its range.

    References
    ----------
    .. [1] Benard & Bos-Levenbach (1953), Statistica Neerlandica 7, 163-173.

    Examples
    --------
    >>> median_rank([1, 2, 3], 5).round(7)
    array([0.1294494, 0.3138102, 0.5      ])
    """
    i = np.asarray(rank, dtype=float)
    if not np.all((i > 0) & (i < n_units + 1)):
        raise InputError(f"rank must lie in (0, {n_units + 1}), got {i.min():g} to {i.max():g}")
    if method is MedianRank.BENARD:
        return np.asarray((i - 0.3) / (n_units + 0.4))
    return np.asarray(betaincinv(i, n_units + 1 - i, 0.5))


def adjusted_ranks(age: ArrayLike, failed: ArrayLike) -> tuple[Array, Array]:
    r"""Rank failures among units of which some left early.

    .. math::
        i_j = i_{j-1} + \frac{N + 1 - i_{j-1}}{1 + \text{units from } j \text{ on}}

    Parameters
    ----------
    age : array_like, shape (n_units,)
        Ages at failure or at leaving; a failure counts as before a leaver of the same age.
    failed : array_like of bool, shape (n_units,)
        Whether the unit failed. [-]

    Returns
    -------
    age, rank : ndarray, shape (n_failures,)
        Ages at failure, ascending, and their adjusted ranks. [time], [-]

    Raises
    ------
    InputError
        If ages are missing or shapes differ.

    References
    ----------
    .. [1] Johnson (1964), The Statistical Treatment of Fatigue Experiments (as quoted in
       open sources; not opened).

    Examples
    --------
    >>> adjusted_ranks([10, 30, 45, 49], [False, True, False, True])[1]
    array([1.25 , 3.125])
    """
    ages, ended = np.asarray(age, dtype=float), np.asarray(failed, dtype=bool)
    if ages.ndim != 1 or ages.size == 0 or ended.shape != ages.shape:
        raise InputError(f"age and failed must have one shape (n,), got {ages.shape}")
    if not np.all(np.isfinite(ages)):
        raise InputError("age must be finite")
    order = np.lexsort((~ended, ages))
    n = ages.size
    # N + 1 - i shrinks by the factor (units from j on) / (1 + units from j on) at a failure.
    from_here = n - np.arange(n)
    factor = np.where(ended[order], from_here / (from_here + 1), 1.0)
    rank = (n + 1) * (1 - np.cumprod(factor))
    return ages[order][ended[order]], rank[ended[order]]


def plot_positions(
    age: ArrayLike, failed: ArrayLike, *, method: MedianRank = MedianRank.EXACT
) -> PlotPositions:
    """Give the points of a probability plot from failures and units still running.

    Parameters
    ----------
    age, failed
        As in `adjusted_ranks`.
    method : MedianRank, default EXACT
        How a rank becomes a share failed.

    Returns
    -------
    PlotPositions
        One point per failure; none if nothing failed.

    Raises
    ------
    InputError
        If ages are missing or shapes differ.

    Notes
    -----
    Units first seen at an age above 0 have no rank among the others; for them take the
    points from `analytics.survival.curves.kaplan_meier`.

    Examples
    --------
    >>> plot_positions([30, 49, 82], [True, True, True]).share_failed.round(4)
    array([0.2063, 0.5   , 0.7937])
    """
    ages, rank = adjusted_ranks(age, failed)
    share = median_rank(rank, np.size(age), method=method) if rank.size else rank
    return PlotPositions(age=ages, rank=rank, share_failed=share)


def rank_regression(
    positions: PlotPositions, *, regress: Regress = Regress.AGE_ON_SHARE
) -> RankRegression:
    r"""Draw the least-squares line through the points on Weibull paper.

    .. math::
        \log(-\log(1 - F)) = \beta \log t - \beta \log \eta

    Parameters
    ----------
    positions : PlotPositions
        From `plot_positions`.
    regress : Regress, default AGE_ON_SHARE
        Which distances are made small.

    Returns
    -------
    RankRegression
        Shape, scale and squared correlation.

    Raises
    ------
    NotEstimable
        With fewer than two distinct ages above 0.

    Notes
    -----
    For reading a plot only: with few failures the line and the maximum likelihood fit can
    differ by half in shape, and the line has no honest limits.

    Examples
    --------
    >>> line = rank_regression(plot_positions([30, 49, 82, 90, 96], [True] * 5))
    >>> round(line.shape, 3), round(line.scale, 2)
    (2.168, 79.79)
    """
    if np.unique(positions.age[positions.age > 0]).size < 2 or positions.age[0] <= 0:
        raise NotEstimable("a line needs failures at two distinct ages, all above 0")
    x = np.log(positions.age)
    y = np.log(-np.log1p(-positions.share_failed))
    dx, dy = x - x.mean(), y - y.mean()
    xx, yy, xy = dx @ dx, dy @ dy, dx @ dy
    shape = yy / xy if regress is Regress.AGE_ON_SHARE else xy / xx
    return RankRegression(
        shape=float(shape),
        scale=float(np.exp(x.mean() - y.mean() / shape)),
        r_squared=float(xy**2 / (xx * yy)),
    )
