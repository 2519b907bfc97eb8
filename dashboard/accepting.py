"""Recommendations a person accepted: noted with who, when and on what, never acted upon here.

Accepting writes one line in the list of changes. It orders nothing, moves no interval and
never touches a cap; a recommendation that changes with new logs has to be accepted anew.
"""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from analytics.findings import Findings
from dashboard.changes import Kind, changes_of
from dashboard.orders import to_order

__all__ = ["Accepted", "accepted_of", "interval_key", "order_key", "recommendation"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Accepted:
    """Who accepted a recommendation, and when [UTC]."""

    by: str
    at: str


def interval_key(position: str) -> str:
    """Name the proposal for a position's interval."""
    return json.dumps(["interval", position], ensure_ascii=False)


def order_key(store: str, disc_code: str) -> str:
    """Name the order proposed for a store and disc code."""
    return json.dumps(["order", store, disc_code], ensure_ascii=False)


def recommendation(findings: Findings, key: str) -> str:
    """Say in a line what is recommended; blank when nothing of that name is, or may be accepted.

    Only a shorter interval and an order can be accepted. A longer interval is a question
    to the responsible engineer, so it is none of these.
    """
    try:
        kind, *names = json.loads(key)
    except (ValueError, TypeError):
        return ""
    if kind == "interval" and len(names) == 1:
        return _interval(findings, names[0])
    if kind == "order" and len(names) == 2:
        return _order(findings, *names)
    return ""


def accepted_of(file: Path) -> dict[str, Accepted]:
    """Give who accepted each recommendation first, by its line."""
    rows = changes_of(file)
    rows = rows[rows["kind"] == Kind.RECOMMENDATION.value]
    return {row.what: Accepted(by=row.by, at=row.at) for row in rows.itertuples()}


def _interval(findings: Findings, position: Any) -> str:
    rows = findings.intervals
    if rows.empty:
        return ""
    found = rows[(rows["position_id"] == position) & (rows["proposal"] == "shorten")]
    if found.empty:
        return ""
    row = found.iloc[0]
    by = "" if pd.isna(row["replace_on"]) else f", next by {row['replace_on']:%Y-%m-%d}"
    return f"replace the disc at {position} at {row['age_months']:.3g} months{by}"


def _order(findings: Findings, store: Any, code: Any) -> str:
    rows = to_order(findings)
    if rows.empty:
        return ""
    found = rows[(rows["store"] == store) & (rows["disc_code"] == code)]
    if found.empty:
        return ""
    row = found.iloc[0]
    by = "" if pd.isna(row["order_by"]) else f" by {row['order_by']:%Y-%m-%d}"
    return f"order {row['order_quantity']:.0f} of {code} for {store}{by}"
