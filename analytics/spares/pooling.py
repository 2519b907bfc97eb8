"""Whose spare is it? Pieces to move between stores, and what one shared stock would save."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.spares.demand import GroupDemand
from analytics.spares.matching import Matching, fits
from analytics.spares.policy import Terms, lead_time_pmf, mixed_over_lead_time, quantile

__all__ = ["dead_stock", "pooled_levels", "transfers"]

Array = NDArray[np.float64]

_MOVE_COLUMNS = ["from_store", "to_store", "disc_code", "lot", "for_code", "pieces", "reason"]


def dead_stock(matching: Matching, discs: pd.DataFrame) -> pd.DataFrame:
    """List the pieces that no position anywhere can take, with their value.

    Parameters
    ----------
    matching : Matching
        What the pieces are good for.
    discs : DataFrame
        Checked log `discs`, for the price.

    Returns
    -------
    DataFrame
        `store disc_code lot quantity value note`, dearest first; value NaN
        without a price.
    """
    pieces = matching.pieces
    held = pieces["quantity"].fillna(0) > 0
    nobody = held & (pieces["serves_here"] == 0) & (pieces["serves_elsewhere"] == 0)
    price = discs.drop_duplicates("disc_code").set_index("disc_code")["unit_price"]
    dead = pieces[nobody][["store", "disc_code", "lot", "quantity", "note"]].copy()
    value = dead["quantity"].to_numpy(dtype=float) * dead["disc_code"].map(price).to_numpy(float)
    dead.insert(4, "value", value)
    return dead.sort_values("value", ascending=False, na_position="last", kind="stable")


_OTHER_CODE = "; alike, but of another code: only if the responsible engineer accepts it"


def transfers(
    spares: pd.DataFrame,
    stock: pd.DataFrame,
    positions: pd.DataFrame,
    discs: pd.DataFrame,
    today: pd.Timestamp,
) -> pd.DataFrame:
    """Propose moves between stores that spare an order.

    A store that must order now may take pieces that fit its positions and that
    another store can miss: those above that store's own reorder point, or that
    fit nothing there. Shortest of stock first, pieces soonest to expire first.

    Parameters
    ----------
    spares : DataFrame
        The planner's table.
    stock, positions, discs : DataFrame
        Checked logs.
    today : Timestamp
        Date of the question.

    Returns
    -------
    DataFrame
        `from_store to_store disc_code lot for_code pieces reason`: the code on
        the tag and the code it stands in for; empty when nothing can be moved.
    """
    stock = stock.reset_index(drop=True)
    allowed = fits(stock, positions, discs, today)
    left = stock["quantity"].fillna(0).clip(lower=0).to_numpy(dtype=np.int64).copy()
    surplus = _surplus(spares)
    rows = []
    short = spares[spares["order_now"]].copy()
    short["missing"] = short["reorder_point"] - short["usable_stock"] - short["on_order"]
    for need in short.sort_values("missing", ascending=False).to_dict("records"):
        mine = (positions["store"] == need["store"]) & (positions["disc_code"] == need["disc_code"])
        fitting = np.asarray(allowed[:, mine.to_numpy()].any(axis=1), dtype=bool)
        missing = int(need["missing"])
        for row in _candidates(stock, fitting, need["store"]):
            give = min(missing, int(left[row]), _can_miss(row, stock, positions, allowed, surplus))
            if give <= 0:
                continue
            missing, left[row] = missing - give, left[row] - give
            group = (str(stock.at[row, "store"]), str(stock.at[row, "disc_code"]))
            if group in surplus:
                surplus[group] -= give
            rows.append(
                {
                    "from_store": group[0],
                    "to_store": need["store"],
                    "disc_code": group[1],
                    "lot": stock.at[row, "lot"],
                    "for_code": need["disc_code"],
                    "pieces": give,
                    "reason": f"{need['store']} is {int(need['missing'])} short of its reorder "
                    f"point; {group[0]} can miss them"
                    + ("" if group[1] == need["disc_code"] else _OTHER_CODE),
                }
            )
    return pd.DataFrame(rows, columns=_MOVE_COLUMNS)


def pooled_levels(
    groups: Sequence[GroupDemand], terms: Mapping[str, Terms], targets: Mapping[str, float]
) -> pd.DataFrame:
    """Work out what one shared stock of each code would save against one per store.

    Parameters
    ----------
    groups : sequence of GroupDemand
        Demand per store and code.
    terms : mapping of str to Terms
        By disc code.
    targets : mapping of str to float
        Service each code must give, in every store and shared. [-]

    Returns
    -------
    DataFrame
        `disc_code stores apart together saved value`: the pieces that cover a
        lead time held store by store and held in one place; codes of one
        store are left out.

    Notes
    -----
    Stores are taken as independent, given what is known; the time to carry a
    piece from the shared stock is not counted.
    """
    rows = []
    for code in sorted({group.disc_code for group in groups}):
        mine = [group for group in groups if group.disc_code == code]
        if len(mine) < 2:
            continue
        demands = [_lead_time_demand(group, terms[code]) for group in mine]
        apart = sum(int(quantile(demand, targets[code])) for demand in demands)
        shared = demands[0]
        for demand in demands[1:]:
            shared = np.convolve(shared, demand)
        together = int(quantile(shared, targets[code]))
        rows.append(
            {
                "disc_code": code,
                "stores": len(mine),
                "apart": apart,
                "together": together,
                "saved": apart - together,
                "value": (apart - together) * terms[code].unit_price,
            }
        )
    columns = ["disc_code", "stores", "apart", "together", "saved", "value"]
    return pd.DataFrame(rows, columns=columns)


def _lead_time_demand(group: GroupDemand, terms: Terms) -> Array:
    lead = lead_time_pmf(
        terms.lead_time_weeks, terms.lead_time_sd_weeks, longest=len(group.pmf) - 1
    )
    return mixed_over_lead_time(group.pmf, lead)


def _surplus(spares: pd.DataFrame) -> dict[tuple[str, str], int]:
    """Usable pieces of each group above what it needs itself."""
    extra = (spares["usable_stock"] - spares["reorder_point"]).clip(lower=0)
    names = zip(spares["store"], spares["disc_code"], strict=True)
    return dict(zip(names, extra.astype(int), strict=True))


def _candidates(stock: pd.DataFrame, fitting: NDArray[np.bool_], store: str) -> list[int]:
    elsewhere = fitting & (stock["store"] != store).to_numpy()
    rows = stock[elsewhere].sort_values("expires_on", na_position="last", kind="stable")
    return [int(row) for row in rows.index]


def _can_miss(
    row: int,
    stock: pd.DataFrame,
    positions: pd.DataFrame,
    allowed: NDArray[np.bool_],
    surplus: Mapping[tuple[str, str], int],
) -> int:
    """Pieces of a stock row that its store does not need."""
    store = str(stock.at[row, "store"])
    at_home = allowed[row] & (positions["store"] == store).to_numpy()
    if not at_home.any():
        return int(stock["quantity"].fillna(0).clip(lower=0).iloc[row])
    return surplus.get((store, str(stock.at[row, "disc_code"])), 0)
