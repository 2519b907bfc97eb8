"""What does a store hold and expect of one disc code, week by week?"""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.spares.matching import Matching
from analytics.spares.policy import quantile

__all__ = ["Supply", "after_moves", "arrived", "available", "on_shelf", "supply_of"]

Array = NDArray[np.float64]
Counts = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """What one store holds and expects of one disc code.

    Attributes
    ----------
    shelf : int
        Pieces counted in the store, fit or not. [-]
    usable : tuple of (int or None, int)
        Last week of use, None when unlimited, and usable pieces. [weeks, -]
    arrivals : tuple of (int, int)
        Week of arrival and pieces on order. [weeks, -]
    overdue : int
        Pieces on order that should have come already. [-]
    moved : mapping of str to int
        Pieces that come from other stores next week. [-]
    """

    shelf: int = 0
    usable: tuple[tuple[int | None, int], ...] = ()
    arrivals: tuple[tuple[int, int], ...] = ()
    overdue: int = 0
    moved: Mapping[str, int] = field(default_factory=dict)

    @property
    def pieces(self) -> int:
        """Usable pieces on the shelf today."""
        return sum(count for _, count in self.usable)

    @property
    def on_order(self) -> int:
        """Pieces under way."""
        return sum(count for _, count in self.arrivals)


def available(supply: Supply, demand: Array) -> Counts:
    """Give the pieces that can have been handed out by each week.

    Pieces past their last week count only as far as they were surely used
    before: the demand that is exceeded with probability 0.9.

    Parameters
    ----------
    supply : Supply
        What is there and what is under way.
    demand : ndarray, shape (n_weeks + 1, n_counts)
        Distribution of cumulative demand. [-]

    Returns
    -------
    ndarray of int, shape (n_weeks + 1,)
        Cumulative supply. [-]
    """
    return on_shelf(supply, demand) + arrived(supply, len(demand) - 1)


def on_shelf(supply: Supply, demand: Array) -> Counts:
    """Pieces on the shelf today that can have been handed out by each week."""
    n_weeks = len(demand) - 1
    total = np.full(n_weeks + 1, supply.pieces, dtype=np.int64)
    used_surely = quantile(demand, 0.1)
    gone = 0
    for week, count in sorted((w, c) for w, c in supply.usable if w is not None and w < n_weeks):
        used = min(count, max(0, int(used_surely[max(week, 0)]) - gone))
        total[max(week, 0) + 1 :] -= count - used
        gone += used
    return total


def arrived(supply: Supply, n_weeks: int) -> Counts:
    """Pieces on order that have come by each week."""
    total = np.zeros(n_weeks + 1, dtype=np.int64)
    for week, count in (*supply.arrivals, *((1, count) for count in supply.moved.values())):
        total[min(week, n_weeks + 1) :] += count
    return total


def supply_of(
    key: tuple[str, str], matching: Matching, orders: pd.DataFrame, today: pd.Timestamp
) -> Supply:
    """Collect what one store holds and expects of one code.

    An order that is overdue is counted as arriving next week; `remarks` says so.
    """
    lots, groups = matching.lots, matching.by_group
    mine = lots[(lots["store"] == key[0]) & (lots["disc_code"] == key[1])]
    shelf = groups[(groups["store"] == key[0]) & (groups["disc_code"] == key[1])]["stock"]
    due = orders[(orders["store"] == key[0]) & (orders["disc_code"] == key[1])]
    weeks = np.ceil((due["due_on"] - today).dt.days / 7).astype(int)
    return Supply(
        shelf=int(shelf.sum()),
        usable=tuple(
            (None if pd.isna(day) else int((day - today).days // 7), int(count))
            for day, count in zip(mine["expires_on"], mine["usable"], strict=True)
        ),
        arrivals=tuple(
            (max(int(week), 1), int(count))
            for week, count in zip(weeks, due["quantity"], strict=True)
        ),
        overdue=int(due["quantity"][due["due_on"] < today].sum()),
    )


def after_moves(supply: Supply, key: tuple[str, str], moves: pd.DataFrame | None) -> Supply:
    """Add the pieces that come from other stores and take off those given away."""
    if moves is None or moves.empty:
        return supply
    coming = moves[(moves["to_store"] == key[0]) & (moves["for_code"] == key[1])]
    going = moves[(moves["from_store"] == key[0]) & (moves["disc_code"] == key[1])]
    left, usable = int(going["pieces"].sum()), []
    for week, count in sorted(supply.usable, key=lambda lot: np.inf if lot[0] is None else lot[0]):
        given = min(left, count)
        left -= given
        usable.append((week, count - given))
    return replace(
        supply,
        usable=tuple(usable),
        moved={str(row["from_store"]): int(row["pieces"]) for row in _by_origin(coming)},
    )


def _by_origin(coming: pd.DataFrame) -> list[dict[Hashable, Any]]:
    return coming.groupby("from_store")["pieces"].sum().reset_index().to_dict("records")
