"""What lies on the shelves and what is on its way."""

import numpy as np
import pandas as pd

from datasets.demo.places import BY_CODE, MONTH
from datasets.demo.world import EXPORT, day, iso

__all__ = ["make_orders", "make_stock", "outage_needs"]

_LAID_IN_DAYS = 60
_RUN_DOWN = 0.06
_FORGOTTEN = 0.08
_WITHOUT_PAPERS = 40


def make_stock(
    positions: pd.DataFrame,
    outages: pd.DataFrame,
    lots: pd.DataFrame,
    bad_lot: str,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Count the shelves: recent lots, a few left over from long ago, some past their shelf life.

    A store keeps a base stock and lays in the discs of the outages that are closest.
    """
    rows = []
    soon = outage_needs(positions, outages)
    for (store, code), places in positions.groupby(["store", "disc_code"]).size().items():
        need = sum(pieces for days, pieces in soon.get((store, code), []) if days < _LAID_IN_DAYS)
        base = 0 if rng.random() < _RUN_DOWN else 2 + int(rng.poisson(0.4 * places))
        own = lots[lots["disc_code"] == code].tail(3)
        for lot, share in zip(own.itertuples(), (0.1, 0.25, 0.65), strict=True):
            pieces = round(share * (base + need) + float(rng.uniform(-0.2, 0.3)))
            if pieces > 0:
                rows.append(_row(str(store), code, lot.lot, lot.marked, pieces, lot.received))
        if rng.random() < 0.18:
            age = (BY_CODE[code].shelf or 60.0) * MONTH + 45
            left = lots[(lots["disc_code"] == code) & (lots["received"] < EXPORT - age)].iloc[-1]
            rows.append(_row(str(store), code, left.lot, left.marked, 2, left.received))
    for code, disc in BY_CODE.items():
        lot = lots[lots["disc_code"] == code].iloc[-1]
        pieces = int(rng.poisson(3 if disc.price > 900 else 2))
        if pieces:
            rows.append(_row("central", code, lot["lot"], lot["marked"], pieces, lot["received"]))
    bad = lots[lots["lot"] == bad_lot].iloc[0]
    users = positions.loc[positions["disc_code"] == bad["disc_code"], "store"].value_counts()
    rows.append(_row(users.index[0], bad["disc_code"], bad_lot, bad["marked"], 3, bad["received"]))
    frame = pd.DataFrame(rows)
    frame = frame.groupby(["store", "disc_code", "lot"], as_index=False, dropna=False).agg(
        {
            "marked_burst_pressure": "first",
            "quantity": "sum",
            "received_on": "first",
            "expires_on": "first",
        }
    )
    untagged = rng.choice(frame.index[frame["lot"] != bad_lot], 3, replace=False)
    frame.loc[untagged, ["lot", "marked_burst_pressure"]] = [None, np.nan]
    frame["certificate"] = np.where(frame.index % _WITHOUT_PAPERS == 5, None, "3.1")
    return frame


def _row(
    store: str, code: str, lot: str, marked: float, quantity: int, received: float
) -> dict[str, object]:
    shelf = BY_CODE[code].shelf
    return {
        "store": store,
        "disc_code": code,
        "lot": lot,
        "marked_burst_pressure": marked,
        "quantity": quantity,
        "received_on": iso(received),
        "expires_on": iso(received + shelf * MONTH) if shelf else None,
    }


def outage_needs(
    positions: pd.DataFrame, outages: pd.DataFrame
) -> dict[tuple[str, str], list[tuple[int, int]]]:
    """Days until each coming outage and the discs it will use, by store and code."""
    needs: dict[tuple[str, str], list[tuple[int, int]]] = {}
    planned = positions[positions["true_policy"] != "none"]
    for (store, code), users in planned.groupby(["store", "disc_code"]):
        for group, places in users.groupby("turnaround_group").size().items():
            starts = outages.loc[outages["turnaround_group"] == group, "starts_on"]
            coming = starts[starts > EXPORT]
            if len(coming):
                days = int(coming.min() - EXPORT)
                needs.setdefault((str(store), str(code)), []).append((days, int(places)))
    return needs


def make_orders(
    positions: pd.DataFrame, outages: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """List the open orders, most for coming outages; one is overdue, some were forgotten."""
    rows: list[dict[str, object]] = []
    for (store, code), outage in sorted(outage_needs(positions, outages).items()):
        disc = BY_CODE[code]
        for days, pieces in outage:
            close = _LAID_IN_DAYS <= days < 7 * disc.lead + 150
            if close and rng.random() > _FORGOTTEN:
                due = EXPORT + max(days - int(rng.integers(14, 35)), 3)
                rows.append(_order(store, code, max(pieces, disc.minimum), due))
    used = positions.groupby(["store", "disc_code"]).size().sort_values(ascending=False)
    store, code = used.index[int(rng.integers(0, 10))]
    rows.append(_order(store, code, BY_CODE[code].minimum + 2, day("2026-08-12")))
    rows.append(_order("central", code, BY_CODE[code].minimum, EXPORT + 20))
    for store, code in used.index[10:13]:
        due = EXPORT + int(7 * BY_CODE[code].lead * rng.uniform(0.2, 0.9))
        rows.append(_order(store, code, BY_CODE[code].minimum, due))
    numbered = [{"order_id": f"PO-{7731 + 4 * n}", **row} for n, row in enumerate(rows)]
    return pd.DataFrame(numbered)


def _order(store: str, code: str, quantity: int, due: float) -> dict[str, object]:
    return {"store": store, "disc_code": code, "quantity": int(quantity), "due_on": iso(due)}
