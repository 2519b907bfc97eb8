r"""What does money buy in service? The next piece goes where it does most per cost.

Holding one piece more of a code meets one demand more with probability
:math:`P(D > s)`, so pieces are bought in the order of

.. math:: w \, P(D_L > s) / c

until the money is spent. For such a separable, concave aim this greedy order is
the best there is at every budget it passes through.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["Candidate", "budget_curve", "spend"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A code that money could be spent on.

    Attributes
    ----------
    store, disc_code : str
        The group.
    demand : ndarray, shape (n_counts,)
        Distribution of demand until an order arrives. [-]
    held : int
        Pieces there or on order. [-]
    unit_price : float
        Price, > 0. [currency]
    weight : float
        How much a met demand of this group counts. [-]
    """

    store: str
    disc_code: str
    demand: Array
    held: int
    unit_price: float
    weight: float = 1.0


def budget_curve(candidates: Sequence[Candidate], *, most_pieces: int = 10_000) -> pd.DataFrame:
    """List the pieces in the order worth buying, with the service each step reaches.

    Parameters
    ----------
    candidates : sequence of Candidate
        Codes with a price.
    most_pieces : int
        Longest list. [-]

    Returns
    -------
    DataFrame
        `spent service store disc_code pieces gain_per_cost`; the first row is
        what is held today, without store and code. `service` is the weighted
        share of the demand met from the shelf; `pieces` is the number then
        held by that group.

    Raises
    ------
    ValueError
        If a price is not positive.

    References
    ----------
    .. [1] Sherbrooke, C. C. (2004), Optimal Inventory Modeling of Systems, 2nd
       ed., ch. 2 (marginal analysis; from memory, unverified).
    """
    if any(not item.unit_price > 0 for item in candidates):
        raise ValueError("every candidate needs a unit price > 0; leave out codes without one")
    total = sum(item.weight * _mean(item.demand) for item in candidates)
    met = sum(item.weight * _met(item.demand, item.held) for item in candidates)
    gains = [_gains(item) for item in candidates]
    owner = np.repeat(np.arange(len(gains)), [len(gain) for gain in gains])
    nth = np.concatenate([np.arange(len(gain)) for gain in gains]) if gains else np.zeros(0, int)
    gain = np.concatenate(gains) if gains else np.zeros(0)
    price = np.array([item.unit_price for item in candidates])[owner] if gains else np.zeros(0)
    # Equal gains keep the order in which one code's pieces are bought.
    order = np.lexsort((nth, -gain / price))[:most_pieces]
    whole = total if total > 0 else 1.0
    return pd.DataFrame(
        {
            "spent": np.concatenate([[0.0], np.cumsum(price[order])]),
            "service": (met + np.concatenate([[0.0], np.cumsum(gain[order])])) / whole,
            "store": [None, *(candidates[i].store for i in owner[order])],
            "disc_code": [None, *(candidates[i].disc_code for i in owner[order])],
            "pieces": [
                0,
                *(
                    candidates[i].held + n + 1
                    for i, n in zip(owner[order], nth[order], strict=True)
                ),
            ],
            "gain_per_cost": np.concatenate([[np.nan], gain[order] / price[order]]),
        }
    )


def spend(curve: pd.DataFrame, budget: float) -> pd.DataFrame:
    """Give the pieces a budget buys along the curve, by store and code.

    Parameters
    ----------
    curve : DataFrame
        As from `budget_curve`.
    budget : float
        Money, >= 0. [currency]

    Returns
    -------
    DataFrame
        `store disc_code buy`, most pieces first.
    """
    bought = curve[(curve["spent"] <= budget) & curve["store"].notna()]
    counts = bought.groupby(["store", "disc_code"]).size().rename("buy").reset_index()
    return counts.sort_values(["buy", "store", "disc_code"], ascending=[False, True, True])


def _mean(pmf: Array) -> float:
    return float(pmf @ np.arange(len(pmf)))


def _met(pmf: Array, held: int) -> float:
    return float(pmf @ np.minimum(np.arange(len(pmf)), held))


def _gains(item: Candidate) -> Array:
    """Weighted demand met by each piece beyond those held, until none matters."""
    above = np.cumsum(item.demand[::-1])[::-1] - item.demand
    return np.asarray(item.weight * above[item.held :][above[item.held :] > 1e-6])
