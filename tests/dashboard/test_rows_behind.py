"""The rows behind a figure are those it draws, no more and no fewer."""

import re
from dataclasses import replace
from urllib.parse import unquote

import pytest
from dash.development.base_component import Component
from sample import sample_findings
from test_pages import texts, view_of

from dashboard.pages.listing import list_pages

PAGES = list_pages()
SAMPLE = sample_findings()
POSITION = SAMPLE.lives["position_id"].iloc[0]


def figures(part: object) -> list[tuple[str, str, bool]]:
    """Each figure's caption, the address behind it, and whether that lifts the filters."""
    if isinstance(part, Component) and type(part).__name__ == "Figcaption":
        link = part.children[-1]
        lifted = link.to_plotly_json()["props"]["data-filters"] == "lifted"
        return [("".join(texts(part)), link.href, lifted)]
    inside = getattr(part, "children", None) if isinstance(part, Component) else part
    if isinstance(inside, list | tuple):
        return [found for child in inside for found in figures(child)]
    return figures(inside) if isinstance(inside, Component) else []


@pytest.mark.parametrize("path", [*PAGES.names, f"/position/{POSITION}"])
@pytest.mark.parametrize("search", ["", "?site=Millbank"])
def test_every_figure_leads_to_rows_that_are_there(path: str, search: str):
    drawn = PAGES.draw(view_of(SAMPLE, search), path)
    for caption, address, lifted in figures(drawn):
        assert lifted is ("Whole fleet, whatever is filtered." in caption)
        behind = PAGES.draw(view_of(SAMPLE, "" if lifted else search), address)
        said = " ".join(texts(behind))
        assert "No such table" not in said
        assert "No rows." not in said, (caption, address)


def test_lives_behind_a_position_are_as_many_as_its_figure_says():
    drawn = PAGES.draw(view_of(SAMPLE), f"/position/{POSITION}")
    caption, address, _ = next(each for each in figures(drawn) if "Every disc at" in each[0])
    lives = int((SAMPLE.lives["position_id"] == POSITION).sum())

    assert unquote(address) == f"/rows/lives/position_id/{POSITION}"
    said = " ".join(texts(PAGES.draw(view_of(SAMPLE), address)))
    assert f"{lives} rows of {POSITION}." in said
    (counted,) = re.findall(r"(\d+) disc lives", caption)
    assert int(counted) == lives


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("/rows/none", "No such table"),
        ("/rows/lives/position_id/nowhere", "No rows of nowhere."),
        ("/rows/lives/no_such_column/x", "No rows of x."),
        ("/rows/lives/position_id", "disc lives"),
    ],
)
def test_rows_that_are_not_there_are_said_not_to_be(address: str, said: str):
    assert said in " ".join(texts(PAGES.draw(view_of(SAMPLE), address)))


def test_a_name_with_a_slash_is_one_name():
    lives = SAMPLE.lives.assign(position_id=SAMPLE.lives["position_id"].replace(POSITION, "A/1 b"))
    view = view_of(replace(SAMPLE, lives=lives))

    said = " ".join(texts(PAGES.draw(view, "/rows/lives/position_id/A%2F1%20b")))
    assert "rows of A/1 b." in said
    assert "No rows" not in said
