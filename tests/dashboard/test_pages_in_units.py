"""Every page in every unit: no number is left in a unit the reader did not choose."""

import re
from typing import Any

import pytest
from sample import sample_findings
from small_logs import small_logs

from analytics.findings import Findings
from dashboard.callbacks.recording import entries_of
from dashboard.pages.listing import Listing, list_pages
from dashboard.reading import AgeUnit, PressureUnit, Units
from dashboard.recording.asking import Plant
from dashboard.recording.keeping import Keeper
from dashboard.selection import from_search
from dashboard.tables import VERBATIM
from dashboard.view import View

SAMPLE = sample_findings()
LIFE = SAMPLE.installation.failures["life_id"].iloc[0]
PATHS = (
    *("/", "/storeroom", "/early", "/intervals", "/fleet", "/logs", "/record", "/help"),
    *("/record/install", "/record/removal", "/position/P-001", f"/case/{LIFE}"),
    *("/rows/intervals", "/rows/duty", "/rows/dangerous", "/rows/lives", "/rows/overdue"),
)
OTHERS = {
    "": r"psig?|kPag?",
    "?pressure=psi&age=years": r"[\d.]+ barg?|\[barg?\]|kPag?|[\d.]+ months?|\[months\]",
    "?pressure=kPa&age=years": r"[\d.]+ barg?|\[barg?\]|psig?|[\d.]+ months?|\[months\]",
}
"""Units that must not be read under each choice."""


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Listing:
    logs = small_logs(tmp_path_factory.mktemp("units") / "logs")
    return list_pages(Keeper(logs), Plant(logs))


def texts(drawn: Any) -> list[str]:
    """Every text a reader of a page sees, figures and grids included."""
    if hasattr(drawn, "to_plotly_json"):
        return texts(drawn.to_plotly_json().get("props", drawn.to_plotly_json()))
    if isinstance(drawn, dict):
        skipped = {"href", "id", "type", "className", "dashGridOptions", "config", "template"}
        skipped |= VERBATIM
        return [text for key, part in drawn.items() if key not in skipped for text in texts(part)]
    if isinstance(drawn, list | tuple):
        return [text for part in drawn for text in texts(part)]
    return [drawn] if isinstance(drawn, str) else []


def in_other_units(pages: Listing, findings: Findings, path: str, search: str) -> list[str]:
    view = View(whole=findings, findings=findings, selection=from_search(search))
    other = re.compile(rf"(?<![\w'])(?:{OTHERS[search]})(?!\w)")
    return [text for text in texts(pages.draw(view, path)) if other.search(text)]


@pytest.mark.parametrize("search", OTHERS)
@pytest.mark.parametrize("path", PATHS)
def test_no_page_speaks_another_unit(pages: Listing, path: str, search: str):
    assert in_other_units(pages, SAMPLE, path, search) == []


@pytest.mark.parametrize("search", OTHERS)
def test_no_page_of_the_demo_speaks_another_unit(
    pages: Listing, demo_findings: Findings, search: str
):
    for path in PATHS[:6]:
        assert in_other_units(pages, demo_findings, path, search) == [], path


def test_a_unit_left_behind_would_be_noticed(pages: Listing, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(Units, "said", lambda _, text: text)

    assert in_other_units(pages, SAMPLE, "/intervals", "?pressure=psi&age=years")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        # NIST SP 811, B.8: 1 psi = 6.894757 kPa, so 1 bar = 14.50377 psi.
        ("at 2.00 bar across", "at 29 psi across"),
        ("10 to 20 barg", "145 to 290 psig"),
        ("past its cap of 60 months: replace", "past its cap of 5 years: replace"),
        ("from 47 to 60 months", "from 3.92 to 5 years"),
        ("in the last month", "in the last month"),
        ("part A10 barrel, 7 bars", "part A10 barrel, 7 bars"),
    ],
)
def test_sentences_are_restated(text: str, said: str):
    assert Units(pressure=PressureUnit.PSI, age=AgeUnit.YEARS).said(text) == said
    assert Units().said(text) == text


def test_pressures_are_entered_in_the_readers_unit():
    names = [{"record": "marked_burst_pressure"}, {"record": "peak_pressure"}, {"record": "lot"}]
    entries = entries_of(names, [100.0, 50.0, "L7"], Units(pressure=PressureUnit.PSI))

    assert entries["marked_burst_pressure"] == pytest.approx(6.894757, rel=1e-6)
    assert entries["peak_pressure"] == pytest.approx(3.447379, rel=1e-6)
    assert entries["lot"] == "L7"
