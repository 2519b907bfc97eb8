"""What the storeroom must order now, most urgent first."""

import re

import pandas as pd

from analytics.findings import Findings

__all__ = ["stock_remarks", "to_order"]

_ABOUT_STOCK = re.compile(r"\((?P<store>[^(),]+)(?:, [^()]+)?\):")


def to_order(findings: Findings) -> pd.DataFrame:
    """Give the rows of `spares` to order now: by date, then criticality, then demand."""
    spares = findings.spares
    if spares.empty:
        return spares
    now = spares[spares["order_now"].fillna(False).astype(bool)]
    keys = [key for key in ("order_by", "criticality", "mean") if key in now]
    return now.sort_values(keys, ascending=[key != "mean" for key in keys], kind="stable")


def stock_remarks(findings: Findings) -> list[str]:
    """Pick the cautions that speak of a store: expired pieces, orders overdue, and the like."""
    stores = set(findings.spares["store"]) if len(findings.spares) else set()
    return [
        caution
        for caution in findings.cautions
        if (found := _ABOUT_STOCK.search(caution)) and found["store"] in stores
    ]
