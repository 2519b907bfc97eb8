"""The findings on show: replaced whole when the logs are read again."""

import threading
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Any

from dash import html

from analytics.findings import Findings
from dashboard.narrowing import Narrower
from dashboard.parts import Parts, parts_of
from dashboard.reading import Units
from dashboard.selection import from_search, to_search
from dashboard.view import View

__all__ = ["Live"]

_KEPT = 64
"""Views kept ready; equal selections share one."""
_DRAWN = 32
"""Pages kept drawn: readers come back to the same few, and drawing is the dear part."""


class Live:
    """The findings on show and the views and pages that were asked for.

    Attributes
    ----------
    findings : Findings
        What the pages show now.
    folder : Path or None
        The log folder they were found in; None when that cannot be written to.
    """

    def __init__(self, findings: Findings, folder: Path | None = None) -> None:
        self.findings = findings
        self.folder = folder
        self._narrower = Narrower(findings)
        self._of_fleet: dict[tuple[str, Units], Any] = {}
        self._views: OrderedDict[str, View] = OrderedDict()
        self._pages: OrderedDict[tuple[str, str], Parts] = OrderedDict()
        self._lock = threading.Lock()

    def show(self, findings: Findings, folder: Path | None = None) -> None:
        """Show other findings from now on; of another folder, if one is given."""
        narrower = Narrower(findings)
        with self._lock:
            self.findings = findings
            self._narrower, self._of_fleet = narrower, {}
            self.folder = folder or self.folder
            self._views.clear()
            self._pages.clear()

    def look(self, search: str | None) -> View:
        """Give the view of an address's query."""
        selection = from_search(search)
        key = to_search(selection)
        with self._lock:
            narrower, of_fleet = self._narrower, self._of_fleet
            known = self._views.get(key)
            if known is not None:
                self._views.move_to_end(key)
                return known
        view = View(
            whole=narrower.findings,
            findings=narrower.narrow(selection),
            selection=selection,
            of_fleet=of_fleet,
        )
        with self._lock:
            # Findings replaced meanwhile: this reader sees the old ones once, nobody again.
            if narrower is self._narrower:
                self._views[key] = view
                while len(self._views) > _KEPT:
                    self._views.popitem(last=False)
        return view

    def page(self, search: str | None, path: str, draw: Callable[[View, str], html.Div]) -> Parts:
        """Give an address's page in parts, drawn once for all who ask for the same."""
        view = self.look(search)
        key = (view.search, path)
        with self._lock:
            known = self._pages.get(key)
            if known is not None:
                self._pages.move_to_end(key)
                return known
        drawn = parts_of(draw(view, path))
        with self._lock:
            if view.whole is self.findings:
                self._pages[key] = drawn
                while len(self._pages) > _DRAWN:
                    self._pages.popitem(last=False)
        return drawn
