"""Where marks set on a page come to lie when Chromium prints it.

A link becomes an annotation of the PDF, which names its address and its box in plain
text; so a link set at the ends of a figure tells on which sheet each end was printed.
"""

import re
from dataclasses import dataclass

from playwright.sync_api import Page

__all__ = ["Mark", "Sheet", "mark_figures", "sheets"]

_OBJECT = re.compile(rb"(\d+) 0 obj\n(<</Type /(?:Page|Annot)\n.*?)\nendobj", re.DOTALL)
_BOX = re.compile(rb"/(?:MediaBox|Rect) \[([^\]]*)\]")
_REFERENCES = re.compile(rb"/Annots \[([^\]]*)\]")
_MARK = re.compile(rb"https://mark\.invalid/(\d+)/(\w+)")

_SET_MARKS = """() => {
  const set = (box, name, side) => {
    const link = document.createElement("a");
    link.href = "https://mark.invalid/" + name;
    link.textContent = ".";
    link.style.cssText = "position:absolute;font-size:4px;line-height:4px;" + side;
    box.style.position = "relative";
    box.append(link);
  };
  const figures = document.querySelectorAll("figure");
  figures.forEach((figure, number) => {
    const drawing = figure.querySelector(".svg-container");
    set(drawing, number + "/top", "top:0;left:0");
    set(drawing, number + "/bottom", "bottom:0;right:0");
    set(figure.querySelector("figcaption"), number + "/said", "bottom:0;left:0");
  });
  return figures.length;
}"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One end of a figure: which, and its box on the sheet [points]."""

    figure: int
    end: str
    left: float
    bottom: float
    right: float
    top: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One printed sheet: its size [points] and the marks on it."""

    width: float
    height: float
    marks: tuple[Mark, ...]


def mark_figures(page: Page) -> int:
    """Set a link at the ends of every figure of a report and give the number of figures."""
    return int(page.evaluate(_SET_MARKS))


def sheets(pdf: bytes) -> list[Sheet]:
    """Read the sheets of a PDF that Chromium printed, with the marks on each, in order."""
    objects = {int(number): body for number, body in _OBJECT.findall(pdf)}
    pages = [body for body in objects.values() if body.startswith(b"<</Type /Page\n")]
    return [_sheet(page, objects) for page in pages]


def _sheet(page: bytes, objects: dict[int, bytes]) -> Sheet:
    _, _, width, height = _box(page)
    listed = _REFERENCES.search(page)
    numbers = re.findall(rb"(\d+) 0 R", listed[1]) if listed else []
    annotations = [objects[int(number)] for number in numbers]
    return Sheet(
        width=width,
        height=height,
        marks=tuple(_mark(each) for each in annotations if _MARK.search(each)),
    )


def _mark(annotation: bytes) -> Mark:
    figure, end = _MARK.search(annotation).groups()
    left, bottom, right, top = _box(annotation)
    return Mark(
        figure=int(figure), end=end.decode(), left=left, bottom=bottom, right=right, top=top
    )


def _box(body: bytes) -> list[float]:
    return [float(number) for number in _BOX.search(body)[1].split()]
