"""A case sheet is one page, on the paper of either continent, for every kind of cause."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import served
from playwright.sync_api import Browser
from test_pages_in_browser import opened, show

from analytics.findings import Findings
from analytics.installs.checklist import DEFECTS

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def demo_address(
    demo_findings: Findings, demo_logs: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    logs = shutil.copytree(demo_logs, tmp_path_factory.mktemp("demo-cases") / "logs")
    yield from served(demo_findings, logs)


def one_of_each_advice(findings: Findings) -> list[str]:
    """The newest failure of every piece of advice, and the worst recorded and longest told."""
    failures = findings.installation.failures
    lives = findings.lives.set_index("life_id").loc[failures["life_id"]]
    blank = lives[list(DEFECTS)].isna().sum(axis=1).idxmax()
    told = failures.set_index("life_id")["rivals"].str.len().idxmax()
    return [*failures.drop_duplicates("advice")["life_id"], blank, told]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_kind_of_case_prints_on_one_page(
    chromium: Browser, demo_address: str, demo_findings: Findings, paper: str
):
    long = []
    with opened(chromium) as page:
        for life in one_of_each_advice(demo_findings):
            show(page, f"{demo_address}/case/{life}")
            page.wait_for_selector(".sheet")
            printed = page.pdf(format=paper)
            if len(re.findall(rb"/Type\s*/Page[^s]", printed)) != 1:
                long.append(life)
    assert long == []
