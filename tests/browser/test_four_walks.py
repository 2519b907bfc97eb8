"""Four walks through the demo, each as its reader would do it the first time.

They start at the front page and follow what is on the screen. With
`DISCWARD_COLD_START=1` the demo is made, run and served by the command itself.
"""

import os
import re
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from conftest import served
from playwright.sync_api import Browser, Page
from printed import mark_figures, sheets
from test_pages_in_browser import barriers, opened, show

from analytics.findings import Findings
from analytics.logs.reading import read_logs

pytestmark = pytest.mark.browser

COLD = "DISCWARD_COLD_START" in os.environ
MARGIN_POINTS = 42.5
"""15 mm, as the report asks for."""


@pytest.fixture(scope="module")
def folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("walks") / "logs"
    return home if COLD else shutil.copytree(request.getfixturevalue("demo_logs"), home)


@pytest.fixture(scope="module")
def start(request: pytest.FixtureRequest, folder: Path) -> Iterator[str]:
    """Give the address that opens the dashboard of the demo."""
    if not COLD:
        yield from served(request.getfixturevalue("demo_findings"), folder)
        return
    # Open, for each walk has a browser of its own and the link lets one in.
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    command = [str(Path(sys.executable).with_name("discward")), "demo", "--open", "--port", port]
    run = subprocess.Popen(
        [*command, "--folder", str(folder)], stdout=subprocess.PIPE, text=True, bufsize=1
    )
    served_at = re.compile(r"http://[\d.]+:\d+")
    address = next(found[0] for line in run.stdout if (found := served_at.search(line)))
    yield address
    run.terminate()
    run.wait(10)
    run.stdout.close()


def go(page: Page, name: str, heading: str) -> None:
    page.locator("header").get_by_role("link", name=name).click()
    page.wait_for_selector(f"#body h1:has-text('{heading}')")
    page.wait_for_load_state("networkidle")


def one_to_fit(folder: Path) -> tuple[pd.Series, pd.Series, str, str]:
    """Give a position, the disc it needs, a lot of it in stock, and another disc's code."""
    tables = read_logs(folder).tables
    stock = tables["stock"].dropna(subset=["lot", "marked_burst_pressure_barg"])
    discs = tables["discs"].set_index("disc_code", drop=False)
    place = tables["positions"].query("disc_code in @stock.disc_code").iloc[0]
    disc = discs.loc[place["disc_code"]]
    piece = stock[stock["disc_code"] == disc["disc_code"]].iloc[0]
    other = next(code for code in discs.index if code != disc["disc_code"])
    return place, disc, piece, other


def test_crew_is_stopped_by_a_tag_that_does_not_match_corrects_it_and_signs(
    chromium: Browser, start: str, folder: Path
):
    with opened(chromium) as page:
        page.set_viewport_size({"width": 820, "height": 1100})
        show(page, start)
        place, disc, piece, other = one_to_fit(folder)
        go(page, "Record", "Record an install or a removal")
        page.get_by_role("link", name="Record an install").click()
        page.get_by_label("Position").first.fill(place["position_id"])
        page.get_by_role("option", name=place["position_id"], exact=True).click()
        for label, text in (
            ("Day of fitting", "2026-09-30"),
            ("Disc code", other),
            ("Size", disc["nominal_size"]),
            ("Marked burst pressure", f"{piece['marked_burst_pressure_barg']:g}"),
            ("Temperature", f"{disc['coincident_temperature_degc']:g}"),
            ("Lot", piece["lot"]),
            ("The maker's torque", "80"),
            ("Your name", "A. Fitter"),
        ):
            page.get_by_label(label).first.fill(str(text))
        page.get_by_label("Type").first.click()
        page.get_by_role("option", name=disc["family"].replace("_", " "), exact=True).click()
        page.get_by_label("Piece taken from the storeroom").first.fill(piece["lot"])
        page.get_by_role("option").filter(has_text=piece["lot"]).first.click()
        for answer in page.locator(".check label", has_text="yes").all():
            answer.click()
        page.wait_for_selector("#tag-panel >> text=another disc code than the position needs")
        assert barriers(page) == []
        page.get_by_role("button", name="Sign off").click()
        page.wait_for_selector("#record-said >> text=Not signed: the tag does not match")

        page.get_by_label("Disc code").first.fill(disc["disc_code"])
        page.wait_for_selector("text=The tag matches. The disc may be fitted.")
        page.wait_for_selector("#record-problems >> text=Nothing is open.")
        page.get_by_role("button", name="Sign off").click()
        said = page.wait_for_selector("#record-said >> text=Signed off as I-").inner_text()

        assert page.complaints == []
    number = re.search(r"I-\S+[^.\s]", said)[0]
    recorded = read_logs(folder).tables["installs"].set_index("install_id")
    assert recorded.loc[number, "disc_code"] == disc["disc_code"]
    assert recorded.loc[number, "tag_matches"]


def test_engineer_finds_the_worst_step_and_opens_a_case_of_it(
    chromium: Browser, start: str, request: pytest.FixtureRequest
):
    with opened(chromium) as page:
        show(page, start)
        go(page, "Early failures", "Which early failures")
        answer = page.locator(".answer").inner_text()
        worst = re.search(r"The costliest defect is “(.+?)”", answer)[1]
        page.get_by_text("The same as a table").first.click()
        assert page.locator("details[open] tbody tr td").first.inner_text() == worst

        part = page.locator("section.part", has_text="Every premature failure, one by one")
        grid = part.locator(".grid")
        grid.locator("[col-id=main_defect] .ag-header-cell-filter-button").click()
        page.locator(".ag-filter input[type=text]").first.fill(worst)
        first = grid.locator(".ag-row[row-index='0']")
        first.locator("[col-id=main_defect]", has_text=worst).wait_for()
        page.keyboard.press("Escape")
        first.locator("a[href^='/case/']").click()
        page.wait_for_selector(".sheet")
        sheet = page.locator(".sheet").inner_text()

        assert worst in sheet
        assert "What else could it be?" in sheet
        assert barriers(page) == []
        assert page.complaints == []
    if not COLD:
        defects = request.getfixturevalue("demo_findings").installation.defects
        assert worst == defects.loc[defects["failures_owed"].idxmax(), "about"]


def test_planner_exports_this_weeks_purchase_list(
    chromium: Browser, start: str, request: pytest.FixtureRequest
):
    with opened(chromium) as page:
        show(page, start)
        go(page, "Storeroom", "What to order this week?")
        with page.expect_download() as download:
            page.get_by_role("link", name="Order this week as CSV").first.click()
        taken = pd.read_csv(download.value.path(), encoding="utf-8-sig")
        on_screen = page.locator(".order tbody tr").all_inner_texts()
        pieces = int(re.search(r"Order ([\d,]+) piece", page.locator(".answer").inner_text())[1])

        assert barriers(page) == []
        assert page.complaints == []
    assert list(taken)[:5] == ["Disc code", "Store", "Pieces", "Order by", "Cost [EUR]"]
    assert len(taken) == len(on_screen) > 0
    assert taken["Pieces"].sum() == pieces
    for line, row in zip(on_screen, taken.itertuples(), strict=True):
        assert line.split("\t")[:2] == [row[1], row[2]]
    if not COLD:
        spares = request.getfixturevalue("demo_findings").spares
        wanted = spares[spares["order_now"].astype(bool)].set_index(["disc_code", "store"])
        listed = taken.set_index(["Disc code", "Store"])
        assert set(listed.index) == set(wanted.index)
        assert np.allclose(listed["Cost [EUR]"], wanted["cost"].loc[listed.index].astype(float))
        assert (listed["Order by"] == wanted["order_by"].loc[listed.index].astype(str)).all()


SECTIONS = (
    "Dangerous findings",
    "The fleet",
    "Which early failures were owed to the installation",
    "What would have been avoided",
    "Has the quality of installation changed",
    "When to replace",
    "What to order this week",
    "The logs behind this report",
)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_manager_prints_the_report(chromium: Browser, start: str, tmp_path: Path, paper: str):
    with opened(chromium) as page:
        show(page, start)
        go(page, "Fleet", "Are premature failures falling")
        with page.expect_download() as download:
            page.get_by_role("link", name="report for the meeting").click()
        report = tmp_path / "report.html"
        download.value.save_as(report)
        page.goto(report.as_uri())
        page.wait_for_selector("figure .svg-container")

        assert barriers(page) == []
        assert page.complaints == []
        headings = page.locator("h2").all_inner_texts()
        text = page.locator("body").inner_text()
        figures = mark_figures(page)
        printed = sheets(page.pdf(format=paper))
    assert tuple(headings) == SECTIONS
    for before, after in zip(headings, [*headings[1:], None], strict=True):
        section = text.partition(f"\n{before}\n")[2].partition(f"\n{after}\n")[0]
        assert re.match(r"[^\n]{40,}[.]", section.strip()), before
    assert text.count("Operating ratio: ") == figures >= 5
    for said in ("Caution.", "What a reader must know", "Data", "Made by discward", "Model:"):
        assert said in text
    assert 5 <= len(printed) <= 14
    assert_no_figure_is_cut(printed, figures)


def assert_no_figure_is_cut(printed: list, figures: int) -> None:
    """Every figure lies, caption and all, between the margins of one sheet."""
    seen: dict[int, set[int]] = {}
    ends: dict[int, set[str]] = {}
    for number, sheet in enumerate(printed):
        for mark in sheet.marks:
            if mark.bottom < MARGIN_POINTS or mark.top > sheet.height - MARGIN_POINTS + 1:
                continue  # the same mark, clipped at the edge of the sheet before or after
            seen.setdefault(mark.figure, set()).add(number)
            ends.setdefault(mark.figure, set()).add(mark.end)
            assert MARGIN_POINTS - 1 <= mark.left < mark.right <= sheet.width - MARGIN_POINTS + 1
    assert ends == {number: {"top", "bottom", "said"} for number in range(figures)}
    assert all(len(on) == 1 for on in seen.values()), seen


def test_a_figure_that_straddles_two_sheets_would_be_noticed(
    chromium: Browser, demo_findings: Findings, tmp_path: Path
):
    from dashboard.report import write_report

    write_report(demo_findings, tmp_path / "report.html")
    page = chromium.new_page()
    page.goto((tmp_path / "report.html").as_uri())
    page.add_style_tag(content="figure { break-inside: auto !important; padding-top: 30mm; }")
    figures = mark_figures(page)
    printed = sheets(page.pdf(format="A4"))
    page.close()

    with pytest.raises(AssertionError):
        assert_no_figure_is_cut(printed, figures)
