"""Every table a reader can see or take away, by its key."""

from dashboard.declared.failures import FAILURES
from dashboard.declared.fleet import FLEET
from dashboard.declared.intervals import INTERVALS
from dashboard.declared.logs import LOGS
from dashboard.declared.storeroom import STOREROOM
from dashboard.declared.watching import WATCHING

__all__ = ["TABLES"]

TABLES = {view.key: view for view in (*STOREROOM, *FAILURES, *WATCHING, *INTERVALS, *FLEET, *LOGS)}
"""Every table by its key, which names it in addresses and files."""
