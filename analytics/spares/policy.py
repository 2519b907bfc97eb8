r"""How low may the stock fall, and how much to order? Pure functions of distributions.

A piece is ordered a lead time L before it is there, so the stock and what is on
order must outlast the demand of that time: the reorder point is the smallest s
with :math:`P(D(L) \le s) \ge` target. Order when what is there and on order
falls below it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr
from scipy.stats import gamma

__all__ = [
    "Terms",
    "expected_shortage",
    "lead_time_pmf",
    "mixed_over_lead_time",
    "order_quantity",
    "quantile",
    "yearly_cost",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """What it takes to buy and keep one disc code.

    Attributes
    ----------
    unit_price : float
        Price of a piece, NaN when not on record. [currency]
    lead_time_weeks, lead_time_sd_weeks : float
        Order to receipt, mean and standard deviation. [weeks]
    minimum_order : int
        Fewest pieces per order. [-]
    lot_charge : float
        Charge per order. [currency]
    test_discs : int
        Pieces of each lot burst in test and paid for. [-]
    shelf_life_weeks : float
        Time a piece may lie, inf when it may lie for ever. [weeks]
    holding_rate : float
        Yearly cost of holding a piece, as a share of its price. [1/years]
    """

    unit_price: float
    lead_time_weeks: float
    lead_time_sd_weeks: float
    minimum_order: int = 1
    lot_charge: float = 0.0
    test_discs: int = 0
    shelf_life_weeks: float = np.inf
    holding_rate: float = 0.2

    @property
    def cost_per_order(self) -> float:
        """What an order costs beyond its usable pieces."""
        price = 0.0 if np.isnan(self.unit_price) else self.unit_price
        return self.lot_charge + self.test_discs * price


def quantile(pmf: Array, probability: float) -> NDArray[np.int64]:
    """Find the smallest count whose cumulative probability reaches a level.

    Parameters
    ----------
    pmf : ndarray, shape (..., n_counts)
        Probabilities of 0, 1, 2 ... [-]
    probability : float
        Level, in (0, 1). [-]

    Returns
    -------
    ndarray of int, shape (...)
        The count. [-]

    Raises
    ------
    ValueError
        If the level is outside (0, 1).

    Examples
    --------
    Poisson demand with mean 1: three pieces give 95 % service (0.98101).

    >>> from scipy.stats import poisson
    >>> int(quantile(poisson.pmf(np.arange(30), 1.0), 0.95))
    3
    """
    if not 0 < probability < 1:
        raise ValueError(f"probability must lie in (0, 1), got {probability!r}")
    # A hair of slack, so that a level met exactly is not missed by rounding.
    reached = np.cumsum(pmf, axis=-1) >= probability - 1e-12
    return np.asarray(np.where(reached.any(axis=-1), reached.argmax(axis=-1), pmf.shape[-1] - 1))


def lead_time_pmf(mean_weeks: float, sd_weeks: float, *, longest: int) -> Array:
    """Spread a lead time over whole weeks, as a gamma law rounded up.

    Parameters
    ----------
    mean_weeks, sd_weeks : float
        Mean, >= 0, and standard deviation, >= 0. [weeks]
    longest : int
        Last week of the horizon; what lies beyond is put there. [weeks]

    Returns
    -------
    ndarray, shape (longest + 1,)
        Probability of arrival in 0, 1, 2 ... weeks. [-]

    Raises
    ------
    ValueError
        If a figure is negative or NaN.

    Examples
    --------
    >>> lead_time_pmf(2.5, 0.0, longest=4).tolist()
    [0.0, 0.0, 0.0, 1.0, 0.0]
    """
    if not (mean_weeks >= 0 and sd_weeks >= 0):
        raise ValueError(
            f"lead time and its spread must be >= 0 weeks, got {mean_weeks!r} and {sd_weeks!r}"
        )
    weeks = np.arange(longest + 1.0)
    if sd_weeks == 0 or mean_weeks == 0:
        return np.asarray(weeks == min(np.ceil(mean_weeks), longest), dtype=float)
    shape = (mean_weeks / sd_weeks) ** 2
    cdf = np.asarray(gamma.cdf(weeks, shape, scale=sd_weeks**2 / mean_weeks))
    cdf[-1] = 1.0
    return np.diff(cdf, prepend=0.0)


def mixed_over_lead_time(demand: Array, lead_time: Array, *, start: int = 0) -> Array:
    r"""Give the demand until an order placed in week `start` arrives.

    .. math:: P(D = n) = \sum_l P(L = l)\, P(D(start + l) = n)

    Parameters
    ----------
    demand : ndarray, shape (n_weeks + 1, n_counts)
        Distribution of cumulative demand by week. [-]
    lead_time : ndarray, shape (n,)
        Probability of arrival after 0, 1, 2 ... weeks. [-]
    start : int
        Week the order is placed. [weeks]

    Returns
    -------
    ndarray, shape (n_counts,)
        Mixture; weeks beyond the horizon count as its last. [-]
    """
    weeks = np.minimum(start + np.arange(len(lead_time)), len(demand) - 1)
    return np.asarray(np.einsum("l,ln->n", lead_time, demand[weeks]))


def expected_shortage(pmf: Array) -> Array:
    r"""Give the expected number of pieces missing for every stock level.

    .. math:: E(D - s)^+ = \sum_{n > s} P(D \ge n)

    Parameters
    ----------
    pmf : ndarray, shape (n_counts,)
        Distribution of demand. [-]

    Returns
    -------
    ndarray, shape (n_counts,)
        Shortage with 0, 1, 2 ... pieces. [-]
    """
    above = np.cumsum(pmf[::-1])[::-1] - pmf
    return np.asarray(np.cumsum(above[::-1])[::-1])


def yearly_cost(quantities: Array, yearly_demand: float, terms: Terms, spread: float) -> Array:
    r"""Cost per year of ordering lots of each size, beyond the pieces used.

    .. math::
        \frac{\lambda}{E \min(Q, D_S)} [K + c\, E(Q - D_S)^+] + h c \frac{Q + 1}{2}

    with K the cost per order (charge and test discs), h the holding rate, c
    the price and D_S the demand within a shelf life, taken as normal: what is
    left of a lot by then is scrapped.

    Parameters
    ----------
    quantities : ndarray, shape (n,)
        Lot sizes, >= 1. [-]
    yearly_demand : float
        Expected demand, > 0. [1/years]
    terms : Terms
        Price, charges, shelf life.
    spread : float
        Variance of demand over its mean. [-]

    Returns
    -------
    ndarray, shape (n,)
        Cost. [currency/years]
    """
    left = np.zeros_like(quantities)
    if np.isfinite(terms.shelf_life_weeks):
        mean = yearly_demand * terms.shelf_life_weeks * 7 / 365.25
        deviation = np.sqrt(max(spread * mean, 1e-12))
        z = (quantities - mean) / deviation
        left = deviation * (z * ndtr(z) + np.exp(-z * z / 2) / np.sqrt(2 * np.pi))
    lots = yearly_demand / np.maximum(quantities - left, 1e-9)
    per_lot = terms.cost_per_order + terms.unit_price * left
    return np.asarray(lots * per_lot + terms.holding_rate * terms.unit_price * (quantities + 1) / 2)


def order_quantity(yearly_demand: float, terms: Terms, *, spread: float = 1.0) -> int:
    """Find the lot size of least yearly cost, no smaller than the minimum order.

    Parameters
    ----------
    yearly_demand : float
        Expected demand, >= 0. [1/years]
    terms : Terms
        Price, charges, shelf life, minimum.
    spread : float
        Variance of demand over its mean. [-]

    Returns
    -------
    int
        Pieces to order. [-]

    Notes
    -----
    Without a price nothing can be weighed: the minimum order is returned. No
    lot is larger than five years of demand: specifications change.

    Examples
    --------
    >>> terms = Terms(unit_price=100.0, lead_time_weeks=8, lead_time_sd_weeks=2, lot_charge=500.0)
    >>> order_quantity(10.0, terms)
    22
    """
    least = max(1, terms.minimum_order)
    if not yearly_demand > 0 or not terms.unit_price > 0:
        return least
    most = max(least, int(np.ceil(5 * yearly_demand)))
    quantities = np.arange(least, most + 1.0)
    return int(quantities[np.argmin(yearly_cost(quantities, yearly_demand, terms, spread))])
