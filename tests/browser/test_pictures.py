"""Pictures of every page for the README, made from the demo when asked for.

Run `DISCWARD_PICTURES=dashboard/pictures pytest tests/browser/test_pictures.py`.
"""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import served
from playwright.sync_api import Browser

from analytics.findings import Findings

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif("DISCWARD_PICTURES" not in os.environ, reason="pictures are not asked for"),
]

WIDTH = 1200
PAGES = {
    "now": ("/", "light", 980),
    "storeroom": ("/storeroom", "light", 1000),
    "early-failures": ("/early", "light", 1180),
    "early-failures-dark": ("/early", "dark", 1180),
    "intervals": ("/intervals", "light", 1000),
    "fleet": ("/fleet", "light", 1180),
    "logs-health": ("/logs", "light", 900),
    "position": ("/position/H20-140", "light", 1180),
    "record": ("/record/install", "light", 1180),
}


@pytest.fixture(scope="module")
def demo_address(
    demo_findings: Findings, demo_logs: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    logs = shutil.copytree(demo_logs, tmp_path_factory.mktemp("pictures") / "logs")
    yield from served(demo_findings, logs)


@pytest.mark.parametrize("name", PAGES)
def test_picture_is_taken(chromium: Browser, demo_address: str, name: str):
    path, scheme, height = PAGES[name]
    page = chromium.new_page(
        color_scheme=scheme, viewport={"width": WIDTH, "height": height}, reduced_motion="reduce"
    )
    page.goto(demo_address + path)
    page.wait_for_selector("#body h1")
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(1_500)
    target = Path(os.environ["DISCWARD_PICTURES"]) / f"{name}.png"
    target.parent.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=target)
    page.close()

    assert target.stat().st_size > 20_000
