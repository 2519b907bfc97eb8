"""Every early failure of the demo has a sheet that reads, names nobody and contradicts nothing."""

import re
from collections.abc import Iterator

import pandas as pd
import pytest
from test_pages import texts

from analytics.findings import Findings
from dashboard.monday import Monday, monday
from dashboard.pages.case import page
from dashboard.selection import Selection
from dashboard.view import View

_UNREAD = re.compile(r"\bnan\b|NaN|\bNone\b|NaT|<NA>|\binf\b|\.\.|: \.|“”|  |\(\)")


@pytest.fixture(scope="module")
def every_monday(demo_findings: Findings) -> list[tuple[pd.Series, Monday]]:
    lives = demo_findings.lives.set_index("life_id", drop=False)
    return [
        (case, monday(demo_findings, lives.loc[case["life_id"]], case))
        for _, case in demo_findings.installation.failures.iterrows()
    ]


def said(found: Monday) -> Iterator[str]:
    yield from (f"{step.who}: {step.what}" for step in found.steps)
    yield from found.leave


def test_every_sheet_reads(demo_findings: Findings):
    view = View(whole=demo_findings, findings=demo_findings, selection=Selection())
    failed = demo_findings.lives.query("ending == 'premature'")["life_id"]
    assert len(failed) > 400
    odd = {
        life: found[0]
        for life in failed
        for text in texts(page(view, life))
        if (found := _UNREAD.search(text))
    }
    assert odd == {}


def test_every_failure_asks_somebody_for_something_and_nothing_twice(every_monday):
    for _, found in every_monday:
        whats = [step.what for step in found.steps]
        assert whats
        assert len(set(whats)) == len(whats)
        assert found.leave
        assert all(not what[0].islower() and what.endswith(".") for what in whats)


def test_nothing_is_asked_for_that_is_also_forbidden(every_monday):
    for _, found in every_monday:
        shut = [leave for leave in found.leave if leave.startswith("open the disc")]
        asked = " ".join(step.what for step in found.steps)
        if shut:
            assert "has the same defect on its record" not in asked
            assert "Change the disc now at" not in asked
            assert "Read the tag" not in asked
        assert not re.search(r"raise|higher rating|accept|refit", asked)


def test_no_crew_is_named(every_monday, demo_findings: Findings):
    crews = set(demo_findings.lives["crew"].dropna())
    named = [
        line for _, found in every_monday for line in said(found) if any(c in line for c in crews)
    ]
    assert named == []
