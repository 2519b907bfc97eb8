"""What one page is drawn from: the findings and the selection."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, TypeVar

from analytics.findings import Findings
from dashboard.reading import Units
from dashboard.selection import Selection, to_search

__all__ = ["View"]


_Made = TypeVar("_Made")


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
    of_fleet : dict
        What was made of the whole findings so far; views of the same findings share it.
    """

    whole: Findings
    findings: Findings
    selection: Selection
    of_fleet: dict[tuple[str, Units], Any] = field(default_factory=dict)

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

    def once(self, name: str, make: Callable[[], _Made]) -> _Made:
        """Give what is made of the whole findings, which no filter changes, made once per units."""
        key = name, self.units
        if key not in self.of_fleet:
            self.of_fleet[key] = make()
        made: _Made = self.of_fleet[key]
        return made
