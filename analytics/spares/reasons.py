"""Why this order? One plain sentence per line of the planner's table."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.spares.demand import GroupDemand
from analytics.spares.policy import Terms, lead_time_pmf, quantile

__all__ = ["Case", "reason"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """The plan of one store and disc code.

    Attributes
    ----------
    group : GroupDemand
        Its demand.
    terms : Terms
        What it takes to buy.
    criticality : str
        A, B or C.
    target, service : float
        Wanted and present probability that what is there and on order lasts
        until an order placed today arrives. [-]
    shelf, usable, on_order, overdue : int
        Pieces in the store, those that fit, those under way and those of them
        that should have come. [-]
    moved : mapping of str to int
        Pieces that come from other stores. [-]
    reorder_point : int
        Order when usable pieces and those on order fall below it. [-]
    insurance : bool
        Kept for what its absence would cost, not for expected demand.
    out_week : int or None
        First week, before an order placed today is there, in which the stock may
        not do; None: it does. [weeks]
    order_week : int or None
        Last week in which ordering is early enough, below 0 when past; None:
        no need within the horizon. [weeks]
    last_looked : int
        Last week in which an order would still be here within the horizon. [weeks]
    order_now : bool
        Whether waiting for the next review would be too late.
    order_quantity : int
        Pieces to order then. [-]
    supplied : ndarray of int, shape (n_weeks + 1,)
        Pieces that can have been handed out by each week. [-]
    """

    group: GroupDemand
    terms: Terms
    criticality: str
    target: float
    service: float
    shelf: int
    usable: int
    on_order: int
    overdue: int
    moved: Mapping[str, int]
    reorder_point: int
    insurance: bool
    out_week: int | None
    order_week: int | None
    last_looked: int
    order_now: bool
    order_quantity: int
    supplied: NDArray[np.int64]

    @property
    def cost(self) -> float:
        """What the order costs with its test discs and charge; NaN without a price."""
        if self.order_quantity == 0:
            return 0.0
        return self.order_quantity * self.terms.unit_price + self.terms.cost_per_order


def reason(case: Case) -> str:
    """Say in one plain sentence why to order or not.

    Parameters
    ----------
    case : Case
        The plan of a group.

    Returns
    -------
    str
        The sentence; no full stop.
    """
    moves = "".join(f"move {count} from {store}; " for store, count in case.moved.items())
    fit = f"{moves}{case.usable} of {case.shelf} in store fit, {case.on_order} on order"
    if case.insurance and case.order_now:
        lead = np.ceil(case.terms.lead_time_weeks)
        return f"{fit}; insurance spare: sole relief, and a new disc takes {lead:.0f} weeks"
    if case.order_week is None:
        if case.out_week is not None:
            return f"{fit}; {_gap(case)}"
        return f"{fit}; enough for an order placed in {_weeks(case.last_looked)}: look again then"
    gap = f"; {_gap(case)}" if case.out_week is not None and case.on_order else ""
    if case.order_week < 0:
        late = _weeks(-case.order_week)
        return (
            f"{fit}; {_need(case)}: {late} late, so order now and ask for it sooner"
            f"{_lot(case)}{gap}"
        )
    when = "this week" if case.order_now else f"within {_weeks(case.order_week)}"
    return f"{fit}; {_need(case)}: order {when}{_lot(case)}{gap}"


def _need(case: Case) -> str:
    """What may be used before an order placed a week too late would surely be there."""
    lead = lead_time_pmf(
        case.terms.lead_time_weeks,
        case.terms.lead_time_sd_weeks,
        longest=len(case.group.pmf) - 1,
    )
    wait = max(case.order_week or 0, 0) + 1
    until = min(wait + int(quantile(lead, case.target)), len(case.group.pmf) - 1)
    likely = int(quantile(case.group.pmf[until], case.target))
    planned = round(float(case.group.planned[until]))
    part = f", {planned} of them planned" if planned else ""
    return f"up to {likely} may be used in {until} weeks ({case.target:.0%}){part}"


def _weeks(count: int) -> str:
    return f"{count} week" if count == 1 else f"{count} weeks"


def _gap(case: Case) -> str:
    """Say that what is under way comes too late."""
    return f"may run out in week {case.out_week}, before what is under way comes: expedite that"


def _lot(case: Case) -> str:
    """What makes the lot larger than the need."""
    minimum = case.terms.minimum_order
    if case.order_quantity == minimum and minimum > 1:
        return f"; {minimum} is the minimum order"
    if case.terms.test_discs:
        return f"; {case.terms.test_discs} more are paid for and burst in test"
    return ""
