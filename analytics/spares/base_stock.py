r"""What does a stock level give, and what does it cost? One store, steady demand.

With one-for-one replenishment the pieces on order X follow the demand of a lead
time (Palm's theorem), and every measure of a level S is a sum over its law.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import poisson

__all__ = [
    "StockMeasures",
    "best_level",
    "best_lot",
    "level_cost",
    "lot_cost",
    "poisson_pmf",
    "stock_measures",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class StockMeasures:
    """What a stock level gives.

    Attributes
    ----------
    backorders, backorder_variance : float
        Mean and variance of the demand waiting for a piece. [-]
    fill_rate : float
        Probability that a demand finds a piece. [-]
    ready_rate : float
        Probability that nothing is waiting. [-]
    on_hand : float
        Expected pieces on the shelf. [-]
    """

    backorders: float
    backorder_variance: float
    fill_rate: float
    ready_rate: float
    on_hand: float


def poisson_pmf(mean: float, *, tail: float = 1e-16) -> Array:
    """Give Poisson probabilities up to a negligible tail.

    Parameters
    ----------
    mean : float
        Mean, >= 0. [-]
    tail : float
        Probability left out at the top. [-]

    Returns
    -------
    ndarray, shape (n_counts,)
        Probabilities of 0, 1, 2 ... [-]

    Raises
    ------
    ValueError
        If the mean is negative or NaN.
    """
    if not mean >= 0:
        raise ValueError(f"mean must be >= 0, got {mean!r}")
    largest = int(poisson.isf(tail, mean)) + 2 if mean > 0 else 0
    return np.asarray(poisson.pmf(np.arange(largest + 1), mean))


def stock_measures(pipeline: Array, level: int) -> StockMeasures:
    r"""Work out what a level gives when this many pieces are under way.

    .. math::
        B = E(X - S)^+,\quad \text{fill} = P(X \le S - 1),\quad
        \text{ready} = P(X \le S),\quad \text{on hand} = E(S - X)^+

    Parameters
    ----------
    pipeline : ndarray, shape (n_counts,)
        Distribution of the pieces under way. [-]
    level : int
        Pieces there, on order less those owed, S >= 0. [-]

    Returns
    -------
    StockMeasures
        Backorders, service and shelf.

    Raises
    ------
    ValueError
        If the level is negative.

    References
    ----------
    .. [1] Palm (1938); Feeney, G. J., Sherbrooke, C. C. (1966), "The (s-1, s) inventory
       policy under compound Poisson demand", Management Science 12, 391-411.

    Examples
    --------
    >>> measures = stock_measures(poisson_pmf(1.0), 3)
    >>> round(measures.backorders, 8), round(measures.ready_rate, 8)
    (0.02333693, 0.98101184)
    """
    if level < 0:
        raise ValueError(f"level must be >= 0, got {level!r}")
    counts = np.arange(len(pipeline))
    waiting = np.maximum(counts - level, 0)
    backorders = float(pipeline @ waiting)
    return StockMeasures(
        backorders=backorders,
        backorder_variance=float(pipeline @ waiting**2) - backorders**2,
        fill_rate=float(pipeline[counts < level].sum()),
        ready_rate=float(pipeline[counts <= level].sum()),
        on_hand=float(pipeline @ np.maximum(level - counts, 0)),
    )


def level_cost(demand: Array, holding: float, shortage: float) -> Array:
    r"""Cost of each level for one season of demand, :math:`h E(S-D)^+ + p E(D-S)^+`.

    Parameters
    ----------
    demand : ndarray, shape (n_counts,)
        Distribution of demand. [-]
    holding, shortage : float
        Cost of a piece left over and of one missing, > 0. [currency]

    Returns
    -------
    ndarray, shape (n_counts,)
        Cost of levels 0, 1, 2 ... [currency]
    """
    below = np.cumsum(demand)
    left = np.concatenate([[0.0], np.cumsum(below[:-1])])
    missing = left + demand @ np.arange(len(demand)) - np.arange(len(demand))
    return np.asarray(holding * left + shortage * missing)


def best_level(demand: Array, holding: float, shortage: float) -> int:
    """Find the level of least cost for one season of demand (newsvendor).

    Parameters
    ----------
    demand, holding, shortage
        As for `level_cost`.

    Returns
    -------
    int
        Smallest S with P(D <= S) >= p / (p + h). [-]

    Raises
    ------
    ValueError
        If a cost is not positive.

    Examples
    --------
    >>> best_level(poisson_pmf(6.0), holding=1.0, shortage=4.0)
    8
    """
    if not (holding > 0 and shortage > 0):
        raise ValueError(f"both costs must be > 0, got {holding!r} and {shortage!r}")
    return int(np.argmax(np.cumsum(demand) >= shortage / (shortage + holding) - 1e-12))


def lot_cost(
    point: int,
    lot: int,
    *,
    rate: float,
    lead_time: float,
    holding: float,
    shortage: float,
    order: float,
) -> float:
    r"""Cost per unit time of ordering `lot` whenever the position falls to `point`.

    .. math::
        \frac{\lambda K}{Q} + \frac1Q \sum_{y=r+1}^{r+Q} [h E(y - D_L)^+ + p E(D_L - y)^+]

    Parameters
    ----------
    point, lot : int
        Reorder point r and lot Q >= 1; ordering happens *at* r, which is one
        below the level under which the planner's table asks to order. [-]
    rate : float
        Poisson demand per unit time. [1/time]
    lead_time : float
        Order to receipt. [time]
    holding, shortage : float
        Cost of a piece held and of one owed, per unit time. [currency/time]
    order : float
        Cost per order. [currency]

    Returns
    -------
    float
        Expected cost. [currency/time]

    References
    ----------
    .. [1] Federgruen, A., Zheng, Y.-S. (1992), "An efficient algorithm for computing an
       optimal (r, Q) policy in continuous review stochastic inventory systems",
       Operations Research 40, 808-813.
    """
    demand = np.pad(poisson_pmf(rate * lead_time), (0, max(0, point + lot) + 1))
    costs = level_cost(demand, holding, shortage)
    below = np.arange(point + 1, point + lot + 1)
    owed = shortage * (rate * lead_time - below)
    season = np.where(below < 0, owed, costs[np.maximum(below, 0)]).sum()
    return float((rate * order + season) / lot)


def best_lot(
    *, rate: float, lead_time: float, holding: float, shortage: float, order: float
) -> tuple[int, int]:
    """Find reorder point and lot of least cost under Poisson demand, exactly.

    Parameters
    ----------
    rate, lead_time, holding, shortage, order
        As for `lot_cost`.

    Returns
    -------
    point, lot : int
        Reorder point r and lot Q. [-]

    Notes
    -----
    The best r + 1 .. r + Q are the Q cheapest levels, which lie side by side
    because the cost of a level is convex; Q grows while the next cheapest
    level costs less than the average so far.

    References
    ----------
    .. [1] Federgruen and Zheng (1992), as for `lot_cost`.

    Examples
    --------
    >>> best_lot(rate=1.5, lead_time=2, holding=20, shortage=150, order=100)
    (3, 5)
    """
    size = len(poisson_pmf(rate * lead_time))
    room = size + int(np.ceil(2 * np.sqrt(2 * order * rate / holding))) + 10
    demand = np.pad(poisson_pmf(rate * lead_time), (0, room))
    costs = level_cost(demand, holding, shortage)
    low = high = int(np.argmin(costs))
    total = order * rate + costs[low]
    while True:
        under = costs[low - 1] if low > 0 else shortage * (rate * lead_time - low + 1)
        following = min(under, costs[high + 1])
        if following >= total / (high - low + 1):
            return low - 1, high - low + 1
        total += following
        low, high = (low - 1, high) if under <= costs[high + 1] else (low, high + 1)
