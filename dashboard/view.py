"""What one page is drawn from: the findings, the selection, and the way to address them."""

from dataclasses import dataclass
from urllib.parse import quote

from analytics.findings import Findings
from dashboard.reading import Units
from dashboard.selection import Selection, to_search

__all__ = ["View"]


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """One reader's look at the findings.

    Attributes
    ----------
    whole : Findings
        Everything the job found.
    findings : Findings
        The part that the selection keeps.
    selection : Selection
        The filters and units in force.
    """

    whole: Findings
    findings: Findings
    selection: Selection

    @property
    def units(self) -> Units:
        """The reader's units."""
        return self.selection.units

    @property
    def currency(self) -> str:
        """Unit of every cost."""
        return self.whole.currency

    @property
    def search(self) -> str:
        """The query that carries the selection in an address."""
        return to_search(self.selection)

    def address(self, *parts: str) -> str:
        """Give the address of a page under the same selection."""
        path = "/".join(quote(part, safe="") for part in parts)
        return f"/{path}{self.search}"
