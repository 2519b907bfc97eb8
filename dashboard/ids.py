"""Every id that a callback reads or writes, once."""

__all__ = [
    "ACCEPTED",
    "ASKED",
    "BODY",
    "CANCEL",
    "CANCELLED",
    "CHANGES",
    "CHANGES_TICK",
    "COST_CURVE",
    "DEMAND",
    "FILTERS",
    "GAP_PANEL",
    "JOBS",
    "NAVIGATION",
    "PAST",
    "PICKED_DEMAND",
    "PICKED_POSITION",
    "READ_AGAIN",
    "RECORD",
    "RECORD_PROBLEMS",
    "RECORD_SAID",
    "SAVE_DRAFT",
    "SCAN",
    "SHOWN",
    "SIGN_OFF",
    "STEPS_PANEL",
    "TAG_PANEL",
    "TICK",
    "TITLE",
    "URL",
    "accept_id",
    "accepted_id",
    "filter_id",
    "part_id",
    "record_id",
    "size_id",
    "table_id",
]

URL = "address"
NAVIGATION = "navigation"
FILTERS = "filters"
BODY = "body"
TITLE = "title"
SHOWN = "shown"
PICKED_DEMAND = "picked-demand"
DEMAND = "demand"
PICKED_POSITION = "picked-position"
COST_CURVE = "cost-curve"
RECORD = "record"
RECORD_PROBLEMS = "record-problems"
RECORD_SAID = "record-said"
SAVE_DRAFT = "save-draft"
SIGN_OFF = "sign-off"
TAG_PANEL = "tag-panel"
STEPS_PANEL = "steps-panel"
GAP_PANEL = "gap-panel"
READ_AGAIN = "read-again"
SCAN = "scan-history"
PAST = "past-forecasts"
CANCEL = "cancel-job"
ASKED = "asked"
CANCELLED = "cancelled"
JOBS = "jobs"
TICK = "tick"
ACCEPTED = "accepted"
CHANGES = "changes"
CHANGES_TICK = "changes-tick"


def filter_id(name: object) -> dict[str, object]:
    """Give the id of one filter; pass `ALL` for all of them."""
    return {"filter": name}


def part_id(place: object) -> dict[str, object]:
    """Give the id of one part of the page on show; pass `ALL` for all of them."""
    return {"part": place}


def table_id(key: object) -> dict[str, object]:
    """Give the id of one long table; pass `MATCH` in a callback."""
    return {"table": key}


def size_id(key: object) -> dict[str, object]:
    """Give the id of the text that says how many rows a long table has."""
    return {"said": "size", "table": key}


def record_id(name: object) -> dict[str, object]:
    """Give the id of one field of a record; pass `ALL` for all of them."""
    return {"record": name}


def accept_id(key: object) -> dict[str, object]:
    """Give the id of the button that accepts one recommendation; pass `ALL` for all of them."""
    return {"accept": key}


def accepted_id(key: object) -> dict[str, object]:
    """Give the id of the text that says who accepted it; pass `ALL` for all of them."""
    return {"accepted": key}
