"""Every page by its address."""

from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import unquote

from dash import html

from dashboard.components.blocks import message
from dashboard.components.said import in_units
from dashboard.pages import (
    case,
    early,
    fleet,
    help,
    intervals,
    logs_health,
    position,
    record,
    rows,
    start,
    storeroom,
)
from dashboard.recording.asking import Plant
from dashboard.recording.keeping import Keeper
from dashboard.view import View

__all__ = ["Listing", "list_pages"]

_Whole = Callable[[View], html.Div]
_One = Callable[[View, list[str]], html.Div]


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """The pages of one dashboard.

    Attributes
    ----------
    whole : dict of str to (str, callable)
        Name and page by path.
    one_of : dict of str to (str, callable)
        Name and page by the first part of the path; the parts after it name what is shown.
    """

    whole: dict[str, tuple[str, _Whole]]
    one_of: dict[str, tuple[str, _One]]

    @property
    def names(self) -> dict[str, str]:
        """Names of the pages in the way about, by path."""
        return {path: name for path, (name, _) in self.whole.items()}

    def draw(self, view: View, path: str) -> html.Div:
        """Draw the page of an address; an unknown address gets a page that says so."""
        return in_units(self._drawn(view, path), view.units)

    def _drawn(self, view: View, path: str) -> html.Div:
        if path in self.whole:
            return self.whole[path][1](view)
        kind, *names = _parts(path)
        if kind in self.one_of and names:
            return self.one_of[kind][1](view, names)
        return html.Div([html.H1("No such page"), message("Choose a page above.")])

    def is_fresh(self, path: str) -> bool:
        """Tell whether a page changes without the findings, so that none may be kept."""
        return _parts(path)[0] == "record"

    def title(self, path: str) -> str:
        """Give the browser's title of an address."""
        kind, *names = _parts(path)
        if path in self.whole:
            return f"{self.whole[path][0]} - discward"
        return (
            f"{self.one_of[kind][0]} {' '.join(names)} - discward"
            if kind in self.one_of
            else "discward"
        )


def list_pages(keeper: Keeper | None = None, plant: Plant | None = None) -> Listing:
    """List every page; those that record need a log folder to record into."""
    whole: dict[str, tuple[str, _Whole]] = {
        "/": ("Now", start.page),
        "/storeroom": (
            "Storeroom",
            lambda view: storeroom.page(view, can_accept=keeper is not None),
        ),
        "/early": ("Early failures", early.page),
        "/intervals": (
            "Intervals",
            lambda view: intervals.page(view, can_accept=keeper is not None),
        ),
        "/fleet": ("Fleet", fleet.page),
        "/logs": (
            "Logs' health",
            lambda view: logs_health.page(view, can_read_again=keeper is not None),
        ),
    }
    one_of: dict[str, tuple[str, _One]] = {
        "position": ("Position", _named(position.page)),
        "case": ("Case", _named(case.page)),
        "rows": ("Table", rows.page),
    }
    if keeper and plant:
        whole["/record"] = ("Record", lambda view: record.chooser(view, keeper))
        one_of["record"] = (
            "Record",
            _named(lambda view, name: record.form_page(view, keeper, plant, name)),
        )
    whole["/help"] = ("Help", help.page)
    return Listing(whole=whole, one_of=one_of)


def _named(page: Callable[[View, str], html.Div]) -> _One:
    """Take all that follows for one name, slashes and all."""
    return lambda view, names: page(view, "/".join(names))


def _parts(path: str) -> list[str]:
    return [unquote(part) for part in path.strip("/").split("/")]
