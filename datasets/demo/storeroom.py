"""What lies on the shelves and what is on its way."""

import numpy as np
import pandas as pd

from datasets.demo.places import BY_CODE, MONTH
from datasets.demo.world import EXPORT, day, iso

__all__ = ["make_orders", "make_stock"]


def make_stock(
    positions: pd.DataFrame, lots: pd.DataFrame, bad_lot: str, rng: np.random.Generator
) -> pd.DataFrame:
    """Count the shelves: recent lots, a few left over from long ago, some past their shelf life."""
    rows = []
    counts = positions.groupby(["store", "disc_code"]).size()
    for (store, code), places in counts.items():
        own = lots[lots["disc_code"] == code].tail(3)
        for lot, share in zip(own.itertuples(), (0.15, 0.3, 0.55), strict=True):
            pieces = int(rng.poisson(share * (1 + 0.16 * places)))
            if pieces:
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


def make_orders(positions: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """List the open orders; the first is overdue."""
    used = positions.groupby(["store", "disc_code"]).size().sort_values(ascending=False)
    chosen = [used.index[k] for k in rng.permutation(24)[:13]]
    rows = []
    for number, (store, code) in enumerate(chosen):
        disc = BY_CODE[code]
        due = (
            day("2026-08-12") if number == 0 else EXPORT + int(rng.uniform(0.1, 1) * 7 * disc.lead)
        )
        rows.append(
            {
                "order_id": f"PO-{7731 + 4 * number}",
                "store": "central" if number == 5 else store,
                "disc_code": code,
                "quantity": int(disc.minimum + rng.integers(0, 5)),
                "due_on": iso(due),
            }
        )
    return pd.DataFrame(rows)
