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
from dashboard.case_causes import likely_causes
from dashboard.monday import monday

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def demo_address(
    demo_findings: Findings, demo_logs: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    logs = shutil.copytree(demo_logs, tmp_path_factory.mktemp("demo-cases") / "logs")
    yield from served(demo_findings, logs)


def one_of_each_kind(findings: Findings) -> list[str]:
    """The newest failure of every set of causes, the worst recorded, and the longest told."""
    failures = findings.installation.failures
    lives = findings.lives.set_index("life_id", drop=False)
    kinds = {
        tuple(cause.name for cause in likely_causes(findings, case)): life
        for life, case in failures[::-1].set_index("life_id", drop=False).iterrows()
    }
    blank = lives.loc[failures["life_id"], list(DEFECTS)].isna().sum(axis=1).idxmax()
    told = {
        case["life_id"]: sum(
            len(step.what) for step in monday(findings, lives.loc[case["life_id"]], case).steps
        )
        for _, case in failures.iterrows()
    }
    return [*kinds.values(), blank, max(told, key=told.__getitem__)]


def test_every_kind_of_case_prints_on_one_page_of_a4_and_of_letter(
    chromium: Browser, demo_address: str, demo_findings: Findings
):
    long = []
    with opened(chromium) as page:
        for life in one_of_each_kind(demo_findings):
            show(page, f"{demo_address}/case/{life}")
            page.wait_for_selector(".sheet")
            for paper in ("A4", "Letter"):
                printed = page.pdf(format=paper)
                if len(re.findall(rb"/Type\s*/Page[^s]", printed)) != 1:
                    long.append((life, paper))
    assert long == []
