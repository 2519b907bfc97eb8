"""What would the policy have done? Past use replayed against reorder points and lots."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.spares.policy import Terms

__all__ = ["Replay", "replay"]

Counts = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """Service and money of a policy over a stretch of weeks.

    Attributes
    ----------
    used, short : int
        Discs asked for, and those that had to wait. [-]
    weeks_out : int
        Weeks that ended with somebody waiting. [weeks]
    orders, bought : int
        Orders placed and pieces ordered. [-]
    order_cost, holding_cost : float
        Charges and test discs; the cost of what lay on the shelf. [currency]
    value_left : float
        Value of the shelf at the end. [currency]
    """

    used: int
    short: int
    weeks_out: int
    orders: int
    bought: int
    order_cost: float
    holding_cost: float
    value_left: float

    @property
    def fill_rate(self) -> float:
        """Share of the discs asked for that were there; 1 when none was."""
        return 1.0 if self.used == 0 else 1 - self.short / self.used


def replay(
    used: Counts, points: Counts, lots: Counts, lead_weeks: Counts, terms: Terms, *, opening: int
) -> Replay:
    """Run weekly reviews over past use: below the point, order a lot.

    Within a week what was ordered arrives first, then the week's demand is met
    or waits, then the list is reviewed.

    Parameters
    ----------
    used : ndarray of int, shape (n_weeks,)
        Discs asked for in each week. [-]
    points, lots : ndarray of int, shape (n_weeks,)
        Reorder point and lot in force in each week. [-]
    lead_weeks : ndarray of int, shape (n_weeks,)
        Weeks an order placed then takes. [weeks]
    terms : Terms
        Prices and charges.
    opening : int
        Pieces there at the start. [-]

    Returns
    -------
    Replay
        Service and money.
    """
    n_weeks = len(used)
    arriving = np.zeros(n_weeks + int(lead_weeks.max(initial=0)) + 2, dtype=np.int64)
    stock, under_way, short, weeks_out, orders, bought, shelf_weeks = opening, 0, 0, 0, 0, 0, 0
    for week in range(n_weeks):
        stock += int(arriving[week])
        under_way -= int(arriving[week])
        short += max(0, min(int(used[week]), int(used[week]) - stock))
        stock -= int(used[week])
        weeks_out += stock < 0
        shelf_weeks += max(stock, 0)
        missing = int(points[week]) - (stock + under_way)
        if missing > 0:
            lot = max(int(lots[week]), missing)
            arriving[week + max(1, int(lead_weeks[week]))] += lot
            under_way, orders, bought = under_way + lot, orders + 1, bought + lot
    price = 0.0 if np.isnan(terms.unit_price) else terms.unit_price
    return Replay(
        used=int(used.sum()),
        short=short,
        weeks_out=weeks_out,
        orders=orders,
        bought=bought,
        order_cost=orders * terms.cost_per_order,
        holding_cost=shelf_weeks * terms.holding_rate * price * 7 / 365.25,
        value_left=max(stock, 0) * price,
    )
