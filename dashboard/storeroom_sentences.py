"""The storeroom in words: what to move, what to order, by when."""

import pandas as pd

from analytics.findings import Findings
from dashboard.orders import to_order
from dashboard.sentences import cannot
from dashboard.words import count, day, listed, money

__all__ = ["storeroom_answer"]

_NAMED = 3


def storeroom_answer(findings: Findings) -> list[str]:
    """Answer what to order this week."""
    rows = findings.spares
    if rows.empty:
        return [cannot(findings, "spares", "what to order")]
    now = to_order(findings)
    later = rows.drop(now.index)
    if now.empty:
        moves = _moves_sentence(findings)
        first = _waiting(later).head(1)
        return [*moves, "Nothing needs ordering this week."] + [
            f"Next is {row.disc_code} for {row.store}, to be ordered by {day(row.order_by)}."
            for row in first.itertuples()
        ]
    pieces = int(now["order_quantity"].sum())
    first = now.iloc[0]
    return [
        *_moves_sentence(findings),
        f"Order {count(pieces, 'piece')} this week in {count(len(now), 'order')}, for about"
        f" {money(float(now['cost'].sum()), findings.currency)}.",
        f"First {first['disc_code']} for {first['store']}:"
        f" {count(int(first['order_quantity']), 'piece')} by {day(first['order_by'])}"
        f"{_late(findings, first)}.",
        *_next_sentences(later, findings),
    ]


def _waiting(later: pd.DataFrame) -> pd.DataFrame:
    """Orders that will come, soonest first; a code without one only carries a day to look again."""
    coming = later[later["order_quantity"] > 0] if "order_quantity" in later else later
    return coming.dropna(subset=["order_by"]).sort_values("order_by", kind="stable")


def _next_sentences(later: pd.DataFrame, findings: Findings) -> list[str]:
    """Say what comes within the next four weeks, so that orders can be put together."""
    if later.empty:
        return []
    coming = _waiting(later)
    soon = coming[coming["order_by"] <= pd.Timestamp(findings.export_date) + pd.Timedelta(weeks=4)]
    rest = f"{count(len(later) - len(soon), 'other pair').capitalize()} of store and disc code"
    named = [
        f"{row.disc_code} for {row.store} by {day(row.order_by)}"
        for row in soon.head(_NAMED).itertuples()
    ]
    if not named:
        return [f"{rest} can wait more than four weeks."]
    more = f" and {len(soon) - _NAMED} more" if len(soon) > _NAMED else ""
    said = f"Within four weeks order also {listed(named) if not more else ', '.join(named)}{more}"
    together = f"{said}: where a charge per order is paid, put them together."
    return [together, f"{rest} can wait."] if len(later) > len(soon) else [together]


def _moves_sentence(findings: Findings) -> list[str]:
    """Say what another store can give before anything is bought; nothing when none can."""
    moves = findings.moves
    if moves.empty:
        return []
    pieces, lots = int(moves["pieces"].sum()), len(moves)
    return [
        f"First move {count(pieces, 'piece')} between stores in {count(lots, 'move')}: the orders"
        " count on them."
    ]


def _late(findings: Findings, order: pd.Series) -> str:
    """Say so when an order should already have gone out."""
    late = pd.notna(order["order_by"]) and order["order_by"].date() < findings.export_date
    return ", a day that has passed" if late else ""
