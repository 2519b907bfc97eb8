"""The parts of a page on show: a change of filter sends those it changes, and no other.

A browser builds what it is sent, and building a page takes it far longer than the server
takes to draw one. Most parts are of the whole fleet, which no filter changes.
"""

from dataclasses import dataclass
from hashlib import blake2b
from typing import Any

from dash import dcc, html, no_update
from dash.development.base_component import Component
from plotly.io.json import to_json_plotly

from dashboard import ids
from dashboard.bodies import text_of

__all__ = ["Parts", "changes", "is_shown", "parts_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """A drawn page in parts.

    Attributes
    ----------
    drawn : tuple
        The parts, top to bottom; None where the page has nothing to say.
    marks : tuple of str
        One per part, equal when all that a reader would see is equal.
    """

    drawn: tuple[Any, ...] = ()
    marks: tuple[str, ...] = ()

    def body(self, path: str) -> list[Component]:
        """Give the whole page, each part in a place of its own, with what the browser keeps."""
        places = [html.Div(part, id=ids.part_id(str(n))) for n, part in enumerate(self.drawn)]
        return [dcc.Store(id=ids.SHOWN, data=self.shown(path)), *places]

    def shown(self, path: str) -> dict[str, Any]:
        """Give what the browser keeps: whose parts are on show, and their marks."""
        return {"path": path, "marks": list(self.marks)}


def parts_of(page: html.Div) -> Parts:
    """Part a drawn page where its own children part it."""
    inside = page.children if isinstance(page.children, list | tuple) else [page.children]
    return Parts(drawn=tuple(inside), marks=tuple(map(_mark, inside)))


def is_shown(shown: Any, path: str) -> bool:
    """Tell whether the browser shows the page of this path, by what it says it keeps."""
    return isinstance(shown, dict) and text_of(shown.get("path")) == path


def changes(parts: Parts, shown: Any, places: int) -> list[Any]:
    """Give what each place on show is to hold now; `no_update` where that stands already.

    Parameters
    ----------
    parts : Parts
        The page as it should be.
    shown : any
        What the browser says it keeps; anything else than `Parts.shown` changes all.
    places : int
        Parts on show. Where the page has more, the last place takes the rest; where it
        has fewer, the last places are emptied.
    """
    marks = shown.get("marks") if isinstance(shown, dict) else None
    known = marks if isinstance(marks, list) and len(marks) == places else [None] * places
    if len(parts.drawn) > places:
        drawn = [*parts.drawn[: places - 1], list(parts.drawn[places - 1 :])]
        wanted = [*parts.marks[: places - 1], None]
    else:
        missing = places - len(parts.drawn)
        drawn = [*parts.drawn, *[None] * missing]
        wanted = [*parts.marks, *[_NOTHING] * missing]
    return [
        no_update if mark == had and mark is not None else part
        for part, mark, had in zip(drawn, wanted, known, strict=True)
    ]


def _mark(part: Any) -> str:
    return blake2b(to_json_plotly(part).encode(), digest_size=9).hexdigest()


_NOTHING = _mark(None)
