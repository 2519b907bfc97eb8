"""Texts that try to run, typed or brought into every field that takes text. None runs."""

import json
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from conftest import served
from playwright.sync_api import Browser, Page
from sample import sample_findings
from small_logs import FILES, small_logs
from test_hostile_text import PAYLOADS

from analytics.logs.tables import TABLES
from dashboard.access.people import Role, add_person, open_access
from dashboard.changes import About, Kind, changes_file, note_change
from dashboard.jobs.ledger import State, ask, open_ledger, tell
from dashboard.recording.forms import Form
from dashboard.recording.keeping import Keeper, save_draft

pytestmark = pytest.mark.browser

FILE = "installs_<img src=x onerror=alert(1)>.csv"


def quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Logs whose every text is a payload: 200 rows set aside, drafts, changes, jobs."""
    folder = small_logs(tmp_path_factory.mktemp("hostile") / "logs")
    rows = [
        ",".join(quoted(text) for text in (PAYLOADS[n - 1], PAYLOADS[n - 2], "2024-05-01", payload))
        for n, payload in enumerate(PAYLOADS)
    ]
    (folder / FILE).write_text("\n".join([FILES["installs.csv"].splitlines()[0], *rows]))
    (folder / "stock.csv").write_text(
        FILES["stock.csv"] + f"{quoted(PAYLOADS[3])},FS-100-06,{quoted(PAYLOADS[4])},6.1,2\n"
    )
    for n, payload in enumerate(PAYLOADS):
        note_change(changes_file(folder), Kind.SETTING, payload, About(by=PAYLOADS[n - 1]))
    ledger = open_ledger(folder / "recorded" / "jobs.sqlite")
    for payload in PAYLOADS[:10]:
        tell(ledger, ask(ledger, payload[:80], by=payload[:80]), State.FAILED, payload)
    return folder


@pytest.fixture(scope="module")
def address(logs: Path) -> Iterator[str]:
    yield from served(sample_findings(positions=12), logs)


@pytest.fixture
def watched(chromium: Browser) -> Iterator[Page]:
    """A tab that fails the test when anything ran or was stopped by the content policy."""
    page = chromium.new_page()
    ran: list[str] = []
    page.on("dialog", lambda dialog: (ran.append(dialog.message), dialog.dismiss()))
    page.on("pageerror", lambda error: ran.append(str(error)))
    page.on(
        "console",
        lambda line: ran.append(line.text) if "Content Security Policy" in line.text else None,
    )
    yield page
    page.wait_for_timeout(300)
    page.close()
    assert ran == []


def mend(line: int) -> str:
    return f"/mend/now/installs/{line}?file={quote(FILE)}"


def test_rows_set_aside_are_mended_with_any_text(watched: Page, address: str):
    for line in (2, 3, 4):
        watched.goto(address + mend(line))
        assert "alert(" in watched.locator("main").inner_text()
        for number, field in enumerate(watched.locator("form input").all()):
            field.fill(PAYLOADS[(line + number) % 10])
        watched.get_by_role("button", name="Check it again").click()
        watched.wait_for_selector("text=still set aside")
        assert watched.locator("#cell0").input_value() == PAYLOADS[line % 10]


def test_lists_of_changes_and_jobs_show_any_text(watched: Page, address: str):
    watched.goto(address + "/logs")
    watched.wait_for_selector("#changes td >> text=alert(")
    watched.wait_for_selector("#jobs td >> text=alert(")


@pytest.mark.parametrize("payloads", [40, pytest.param(200, marks=pytest.mark.study)])
@pytest.mark.parametrize("form", Form)
def test_a_record_takes_any_text_in_every_field(
    watched: Page, address: str, logs: Path, form: Form, payloads: int
):
    fields = [column.name for column in TABLES[form.value].columns]
    fields += ["signed_by", "photos", "piece", "family", "nominal_size", "coincident_temperature"]
    for n in range(-(-payloads // len(fields))):
        first = n * len(fields)
        entries = {name: PAYLOADS[(first + m) % 200] for m, name in enumerate(fields)}
        save_draft(Keeper(logs), form, f"X-{n}", entries)
        watched.goto(f"{address}/record/X-{n}")
        watched.wait_for_selector("#record-problems li")
        box = watched.get_by_label("Your name")
        assert box.input_value() == entries["signed_by"]
        box.fill(PAYLOADS[n])
        watched.get_by_role("button", name="Sign off").click()
        watched.wait_for_selector("#record-said p.stop")


def test_the_stock_offered_shows_any_text(watched: Page, address: str):
    watched.goto(address + "/record/install")
    watched.get_by_label("Piece taken from the storeroom").first.click()
    watched.wait_for_selector("[role=option] >> text=alert(")


def test_brought_files_show_any_text(watched: Page, address: str, logs: Path, tmp_path: Path):
    files = [logs / name for name in FILES if name != "installs.csv"]
    bad = tmp_path / "installs.csv"
    bad.write_text((logs / FILE).read_text())
    watched.goto(address + "/bring")
    watched.get_by_label("Log files").set_input_files([*files, bad])
    watched.get_by_role("button", name="Bring them").click()
    watched.wait_for_selector("text=What the rows came to")
    assert watched.locator("main").inner_text().count("alert(") >= 200
    watched.get_by_label("Mapping").fill(PAYLOADS[4])
    watched.get_by_role("button", name="Save and check again").click()
    watched.wait_for_selector("p.stop")


def test_logging_in_shows_no_name(watched: Page, tmp_path: Path):
    access = open_access(tmp_path / "access.sqlite")
    add_person(access, PAYLOADS[0], "correct horse battery", Role.EDITOR)
    for address in served(sample_findings(positions=6), access=access):
        for payload in PAYLOADS[:6]:
            watched.goto(f"{address}/login?to={quote(payload)}")
            watched.get_by_label("Name").fill(payload)
            watched.get_by_label("Password").fill(payload)
            watched.get_by_role("button", name="Log in").click()
            watched.wait_for_selector("text=do not match")


def test_the_payloads_are_two_hundred_and_differ():
    assert len(set(PAYLOADS)) == 200
    assert json.dumps(PAYLOADS).count("alert(") == 200
