"""Every page by its address."""

from collections.abc import Callable
from urllib.parse import unquote

from dash import html

from dashboard.components.blocks import message
from dashboard.pages import (
    case,
    early,
    fleet,
    help,
    intervals,
    logs_health,
    position,
    rows,
    start,
    storeroom,
)
from dashboard.view import View

__all__ = ["NAMES", "draw", "title_of"]

_PAGES: dict[str, tuple[str, Callable[[View], html.Div]]] = {
    "/": ("Now", start.page),
    "/storeroom": ("Storeroom", storeroom.page),
    "/early": ("Early failures", early.page),
    "/intervals": ("Intervals", intervals.page),
    "/fleet": ("Fleet", fleet.page),
    "/logs": ("Logs' health", logs_health.page),
    "/help": ("Help", help.page),
}
_ONE_OF: dict[str, tuple[str, Callable[[View, str], html.Div]]] = {
    "position": ("Position", position.page),
    "case": ("Case", case.page),
    "rows": ("Table", rows.page),
}

NAMES = {path: name for path, (name, _) in _PAGES.items()}
"""Names of the pages in the way about, by path."""


def draw(view: View, path: str) -> html.Div:
    """Draw the page of an address; an unknown address gets a page that says so."""
    if path in _PAGES:
        return _PAGES[path][1](view)
    kind, name = _one_of(path)
    if kind in _ONE_OF and name:
        return _ONE_OF[kind][1](view, name)
    return html.Div([html.H1("No such page"), message("Choose a page above.")])


def title_of(path: str) -> str:
    """Give the browser's title of an address."""
    kind, name = _one_of(path)
    if path in NAMES:
        return f"{NAMES[path]} - discward"
    return f"{_ONE_OF[kind][0]} {name} - discward" if kind in _ONE_OF else "discward"


def _one_of(path: str) -> tuple[str, str]:
    kind, _, name = path.strip("/").partition("/")
    return kind, unquote(name)
