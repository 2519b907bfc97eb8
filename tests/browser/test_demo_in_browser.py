"""The demo's own pages: each draws, complains of nothing and asks no other host."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import served
from playwright.sync_api import Browser
from test_pages_in_browser import FADE_MS, barriers, opened, show

from analytics.findings import Findings

pytestmark = pytest.mark.browser

PATHS = ["/", "/storeroom", "/early", "/intervals", "/fleet", "/logs", "/record", "/help"]


@pytest.fixture(scope="module")
def demo_address(
    demo_findings: Findings, demo_logs: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    logs = shutil.copytree(demo_logs, tmp_path_factory.mktemp("demo-served") / "logs")
    yield from served(demo_findings, logs)


@pytest.mark.parametrize("path", PATHS)
def test_page_of_the_demo_draws_in_light_and_dark(chromium: Browser, demo_address: str, path: str):
    with opened(chromium) as page:
        show(page, demo_address + path)

        assert barriers(page) == []
        page.emulate_media(color_scheme="dark")
        page.wait_for_timeout(FADE_MS)
        assert barriers(page) == []
        assert page.complaints == []


@pytest.mark.parametrize("path", ["/early", "/intervals", "/storeroom", "/fleet", "/logs"])
def test_grids_far_down_draw_their_rows_and_paper_shows_no_blank(
    chromium: Browser, demo_address: str, path: str
):
    with opened(chromium) as page:
        show(page, demo_address + path)
        for grid in page.locator(".grid:visible").all():
            grid.scroll_into_view_if_needed()
            grid.locator(".ag-row .ag-cell:not(:empty)").first.wait_for(state="visible")
            shown = grid.locator(".ag-row").all_inner_texts()
            assert sum(bool(text.strip()) for text in shown) >= min(5, len(shown)) > 0

        page.set_viewport_size({"width": 700, "height": 1000})
        page.emulate_media(media="print")
        assert page.locator(".grid .ag-root-wrapper:visible").count() == 0
        said = page.locator(".grid .take:visible").all_inner_texts()
        assert said
        assert all(
            re.fullmatch(r"On the dashboard: [0-9,]+ rows?\.", text.strip()) for text in said
        )
        wide = "() => [...document.querySelectorAll('.scrolled')].filter(box =>"
        wide += " box.offsetParent && box.scrollWidth > 702).map(box => box.ariaLabel)"
        assert page.evaluate(wide) == []


def test_planner_sees_the_order_before_scrolling(
    chromium: Browser, demo_address: str, demo_findings: Findings
):
    order = demo_findings.spares[demo_findings.spares["order_now"]]
    with opened(chromium) as page:
        show(page, demo_address + "/storeroom")

        first = page.locator(".order td").first
        assert first.inner_text() in set(order["disc_code"])
        assert first.bounding_box()["y"] < 800
