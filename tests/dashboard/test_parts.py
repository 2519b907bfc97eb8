"""A change of filter sends the parts of a page that it changes, and no other."""

import json

import pytest
from dash import html, no_update
from sample import sample_findings

from dashboard.app import build_app
from dashboard.live import Live
from dashboard.pages.listing import list_pages
from dashboard.parts import Parts, changes, is_shown, parts_of

FINDINGS = sample_findings(positions=12)
PAGES = list_pages()
OWN = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}


def page(*texts: str | None) -> Parts:
    return parts_of(html.Div([None if text is None else html.P(text) for text in texts]))


def told(parts: Parts, shown: object, places: int) -> list[str | None]:
    """What each place gets: a text, nothing, or the word that it stays."""
    said = []
    for part in changes(parts, shown, places):
        if part is no_update:
            said.append("stays")
        elif isinstance(part, list):
            said.append(" ".join(each.children for each in part))
        else:
            said.append(part and part.children)
    return said


def test_equal_parts_stay_and_others_are_sent():
    before, after = page("answer", "figure", "table"), page("answer", "other", "table")

    assert told(after, before.shown("/"), 3) == ["stays", "other", "stays"]
    assert told(before, before.shown("/"), 3) == ["stays"] * 3


def test_a_part_that_comes_or_goes_keeps_its_place():
    before, after = page("answer", None, "table"), page("answer", "warning", "table")

    assert told(after, before.shown("/"), 3) == ["stays", "warning", "stays"]
    assert told(before, after.shown("/"), 3) == ["stays", None, "stays"]


def test_a_page_of_more_or_fewer_parts_than_places_is_shown_whole():
    short, long = page("one"), page("one", "two", "three")

    assert told(long, page("one", "two").shown("/"), 2) == ["stays", "two three"]
    assert told(short, long.shown("/"), 3) == ["stays", None, None]
    # What is on show is then no longer part by part, and the next change sends all.
    assert told(long, long.shown("/"), 2) == ["one", "two three"]
    assert told(long, short.shown("/"), 3) == ["one", "two", "three"]


@pytest.mark.parametrize("shown", [None, 7, [], {}, {"marks": None}, {"marks": [1]}, {"path": 3}])
def test_what_no_page_keeps_changes_all(shown: object):
    assert told(page("one", "two"), shown, 2) == ["one", "two"]
    assert not is_shown(shown, "/early")


@pytest.mark.parametrize("path", ["/", "/storeroom", "/early", "/intervals", "/fleet", "/logs"])
def test_a_page_changed_part_by_part_is_the_page_drawn_whole(path: str):
    live = Live(FINDINGS)
    shown, held = None, None
    for search in ("", "?site=Millbank", "?site=Northwater&ending=premature", "?pressure=psi", ""):
        parts = live.page(search, path, PAGES.draw)
        held = held or [None] * len(parts.drawn)
        sent = changes(parts, shown, len(held))
        held = [old if new is no_update else new for old, new in zip(held, sent, strict=True)]
        shown = parts.shown(path)

        fresh = parts_of(PAGES.draw(live.look(search), path))
        assert parts_of(html.Div(held)).marks == fresh.marks


def test_no_filter_changes_a_figure_of_the_whole_fleet():
    live = Live(FINDINGS)
    whole, part = (live.page(search, "/early", PAGES.draw) for search in ("", "?site=Millbank"))
    same = sum(one == other for one, other in zip(whole.marks, part.marks, strict=True))

    assert same >= 7


def test_the_server_answers_a_change_of_filter_with_the_changed_parts_alone():
    client = build_app(FINDINGS).server.test_client()
    live = Live(FINDINGS)
    before, after = (live.page(search, "/early", PAGES.draw) for search in ("", "?site=Millbank"))
    places = [{"id": {"part": str(n)}, "property": "children"} for n in range(len(before.drawn))]
    body = {
        "output": '..{"part":["ALL"]}.children...shown.data..',
        "outputs": [places, {"id": "shown", "property": "data"}],
        "inputs": [{"id": "address", "property": "search", "value": "?site=Millbank"}],
        "changedPropIds": ["address.search"],
        "state": [
            {"id": "address", "property": "pathname", "value": "/early"},
            {"id": "shown", "property": "data", "value": before.shown("/early")},
        ],
    }
    sent = client.post("/_dash-update-component", json=body, headers=OWN).get_json()["response"]

    differ = {n for n, mark in enumerate(after.marks) if mark != before.marks[n]}
    assert {json.loads(name)["part"] for name in sent if name != "shown"} == set(map(str, differ))
    assert sent["shown"]["data"] == after.shown("/early")
