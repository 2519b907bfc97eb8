"""Texts that try to run: in every text the logs can carry, and in the address. None runs."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import count
from urllib.parse import quote

import pandas as pd
import pytest
from conftest import served
from playwright.sync_api import Browser
from sample import sample_findings

from analytics.findings import Findings

pytestmark = pytest.mark.browser

SHAPES = (
    "<script>alert({n})</script>",
    "<img src=x onerror=alert({n})>",
    '"><svg onload=alert({n})>',
    "javascript:alert({n})",
    "</script><script>alert({n})</script>",
    '<a href="javascript:alert({n})">x</a>',
    "<iframe srcdoc='<script>alert({n})</script>'></iframe>",
    "';alert({n});//",
    "{{{{constructor.constructor('alert({n})')()}}}}",
    "[x](javascript:alert({n}))",
)
PAYLOADS = [SHAPES[n % len(SHAPES)].format(n=n) for n in range(200)]
KEPT = {
    "ending",
    "proposal",
    "limit",
    "policy",
    "measure",
    "chart",
    "main_defect",
    "check",
    "table",
}


def spoiled(findings: Findings) -> Findings:
    """Put a payload in place of every text, the same for the same text everywhere."""
    numbers, known = count(), {"all": "all"}

    def payload(text: object) -> object:
        if not isinstance(text, str):
            return text
        if text not in known:
            number = next(numbers)
            known[text] = f"{PAYLOADS[number % len(PAYLOADS)]}{number}"
        return known[text]

    def frame(rows: pd.DataFrame) -> pd.DataFrame:
        texts = [name for name in rows.select_dtypes("object").columns if name not in KEPT]
        return rows.assign(**{name: rows[name].map(payload) for name in texts})

    frames = {
        name: frame(getattr(findings, name))
        for name in Findings.__dataclass_fields__
        if isinstance(getattr(findings, name), pd.DataFrame)
    }
    early = findings.installation
    return replace(
        findings,
        **frames,
        title=PAYLOADS[0],
        currency=PAYLOADS[1],
        cautions=tuple(PAYLOADS),
        inferred=tuple(PAYLOADS),
        not_answered=dict(zip(PAYLOADS, PAYLOADS, strict=True)),
        installation=replace(early, defects=frame(early.defects), failures=frame(early.failures)),
        interval_curves={payload(name): rows for name, rows in findings.interval_curves.items()},
    )


@pytest.fixture(scope="module")
def hostile() -> Findings:
    return spoiled(sample_findings(positions=24))


@pytest.fixture(scope="module")
def hostile_address(hostile: Findings) -> Iterator[str]:
    yield from served(hostile)


def test_no_text_runs_on_any_page(chromium: Browser, hostile: Findings, hostile_address: str):
    page = chromium.new_page()
    ran = []
    page.on("dialog", lambda dialog: (ran.append(dialog.message), dialog.dismiss()))
    page.on("pageerror", lambda error: ran.append(str(error)))
    page.on(
        "console",
        lambda line: ran.append(line.text) if "Content Security Policy" in line.text else None,
    )
    life = hostile.installation.failures.iloc[0]
    paths = ["/", "/storeroom", "/early", "/intervals", "/fleet", "/logs", "/rows/lives"]
    paths += [f"/position/{quote(life['position_id'], safe='')}"]
    paths += [f"/case/{quote(life['life_id'], safe='')}"]
    paths += [f"/position/{quote(PAYLOADS[1], safe='')}", f"/early?site={quote(PAYLOADS[2])}"]
    shown = ""
    for path in paths:
        page.goto(hostile_address + path)
        page.wait_for_selector("#body h1, #body .sheet")
        page.wait_for_load_state("networkidle")
        shown += page.locator("#body").inner_text()
    page.close()

    assert ran == []
    assert "<script>alert(" in shown
    assert "onerror=alert(" in shown


def test_a_text_that_did_run_would_be_noticed(chromium: Browser, hostile_address: str):
    page = chromium.new_page()
    noticed = []
    page.on("console", lambda line: noticed.append(line.text))
    page.goto(hostile_address + "/help")
    page.wait_for_selector("#body h1")
    page.evaluate("document.body.innerHTML = '<img src=x onerror=alert(1)>'")
    page.wait_for_timeout(500)
    page.close()

    assert any("Content Security Policy" in line for line in noticed)
