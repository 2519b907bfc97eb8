"""Every id that a callback reads or writes, once."""

__all__ = ["BODY", "FILTERS", "NAVIGATION", "TITLE", "URL", "filter_id", "table_id"]

URL = "address"
NAVIGATION = "navigation"
FILTERS = "filters"
BODY = "body"
TITLE = "title"
PICKED_DEMAND = "picked-demand"
DEMAND = "demand"
PICKED_POSITION = "picked-position"
COST_CURVE = "cost-curve"


def filter_id(name: object) -> dict[str, object]:
    """Give the id of one filter; pass `ALL` for all of them."""
    return {"filter": name}


def table_id(key: object) -> dict[str, object]:
    """Give the id of one long table; pass `MATCH` in a callback."""
    return {"table": key}
