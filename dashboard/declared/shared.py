"""The columns that many tables share."""

from dashboard.tables import Kind

__all__ = ["CODE", "POSITION", "SITE", "STORE"]

POSITION = ("position_id", "Position", Kind.POSITION)
SITE = ("site", "Site", Kind.TEXT)
CODE = ("disc_code", "Disc code", Kind.TEXT)
STORE = ("store", "Store", Kind.TEXT)
