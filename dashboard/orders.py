"""What the storeroom must order now, most urgent first."""

import pandas as pd

from analytics.findings import Findings

__all__ = ["to_order"]


def to_order(findings: Findings) -> pd.DataFrame:
    """Give the rows of `spares` to order now: by date, then criticality, then demand."""
    spares = findings.spares
    if spares.empty:
        return spares
    now = spares[spares["order_now"].fillna(False).astype(bool)]
    keys = [key for key in ("order_by", "criticality", "mean") if key in now]
    return now.sort_values(keys, ascending=[key != "mean" for key in keys], kind="stable")
