"""Pages as layouts: every question's view is there, every page bears any findings."""

import pytest
from dash.development.base_component import Component
from sample import empty_findings, sample_findings

from dashboard.components.plain_table import PlainTable
from dashboard.narrowing import narrow
from dashboard.pages.listing import list_pages
from dashboard.questions import QUESTIONS
from dashboard.selection import Selection, from_search
from dashboard.view import View

PAGES = list_pages()
SAMPLE = sample_findings()


def view_of(findings, search: str = "") -> View:
    selection = from_search(search)
    return View(whole=findings, findings=narrow(findings, selection), selection=selection)


def texts(part: object) -> list[str]:
    """List every text of a layout, in order."""
    if isinstance(part, str):
        return [part]
    if isinstance(part, PlainTable):
        cells = [cell if isinstance(cell, str) else cell[0] for row in part.body for cell in row]
        return [part.caption, *(column["name"] for column in part.head), *cells]
    if isinstance(part, Component):
        part = getattr(part, "children", None)
        return texts(part)
    if isinstance(part, list | tuple):
        return [text for child in part for text in texts(child)]
    return []


def headings(part: object) -> list[str]:
    if isinstance(part, Component):
        own = "".join(texts(part)) if type(part).__name__ in ("H1", "H2") else None
        return [own] if own else headings(getattr(part, "children", None))
    if isinstance(part, list | tuple):
        return [text for child in part for text in headings(child)]
    return []


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.text[:50])
def test_every_question_leads_to_a_view_that_exists_or_says_it_is_not_answered(question):
    assert question.how
    if question.page:
        assert question.view in headings(PAGES.draw(view_of(SAMPLE), f"/{question.page}"))
    else:
        assert not question.view


def test_there_are_ten_questions_for_each_reader():
    readers = [question.reader for question in QUESTIONS]

    assert {reader: readers.count(reader) for reader in readers} == {
        "reliability engineer": 10,
        "storeroom planner": 10,
        "manager": 10,
    }


@pytest.mark.parametrize("path", [*PAGES.names, "/position/P-003", "/rows/lives", "/nowhere"])
@pytest.mark.parametrize("search", ["", "?site=nowhere", "?pressure=psi&age=years"])
@pytest.mark.parametrize("findings", [SAMPLE, empty_findings()], ids=["full", "empty"])
def test_every_page_bears_full_and_empty_findings(path: str, search: str, findings):
    page = PAGES.draw(view_of(findings, search), path)

    assert headings(page)
    assert not [text for text in texts(page) if text in ("nan", "NaN", "None", "NaT")]


def test_every_table_cell_that_names_a_position_leads_to_it():
    drawn = PAGES.draw(view_of(SAMPLE, "?site=Northwater"), "/early").to_plotly_json()

    assert "/position/P-007" in str(drawn)


@pytest.mark.parametrize("ending", sorted(set(SAMPLE.lives["ending"])))
def test_every_ending_has_a_sheet(ending: str):
    life = SAMPLE.lives[SAMPLE.lives["ending"] == ending].iloc[0]["life_id"]
    sheet = texts(PAGES.draw(view_of(SAMPLE), f"/case/{life}"))

    assert sheet[0].startswith(f"Case sheet {life}, ")
    assert ("What to do on Monday" in sheet) is (ending == "premature")


def test_dangerous_findings_stand_first_on_the_engineers_page():
    assert headings(PAGES.draw(view_of(SAMPLE), "/early"))[0] == "Dangerous findings first"


def test_the_order_list_stands_first_for_the_planner():
    assert headings(PAGES.draw(view_of(SAMPLE), "/storeroom"))[:2] == [
        "What to order this week?",
        "Order this week",
    ]


def test_whole_selection_shows_the_whole():
    assert view_of(SAMPLE).findings is SAMPLE
    assert Selection().is_whole
