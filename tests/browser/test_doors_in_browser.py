"""Who sees what, in a browser: links, roles, mending a row, accepting an order."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import served
from playwright.sync_api import Browser, Page
from sample import sample_findings
from small_logs import FILES, small_logs
from test_pages_in_browser import FADE_MS, barriers, opened, show

from dashboard.access.people import Access, Role, add_person, open_access
from dashboard.access.sessions import one_time_token
from dashboard.changes import changes_file, changes_of

pytestmark = pytest.mark.browser

PASSWORD = "correct horse battery"


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = small_logs(tmp_path_factory.mktemp("doors") / "logs")
    bad = "I-2,P-9,2024-05-01,FS-100-06\n"
    (folder / "installs.csv").write_text(FILES["installs.csv"] + bad)
    return folder


@pytest.fixture(scope="module")
def access(logs: Path) -> Access:
    access = open_access(logs.parent / "people.sqlite")
    for name, role in (("vera", Role.VIEWER), ("ed", Role.EDITOR), ("ada", Role.ADMIN)):
        add_person(access, name, PASSWORD, role)
    return access


@pytest.fixture(scope="module")
def address(logs: Path, access: Access) -> Iterator[str]:
    yield from served(sample_findings(), logs, access)


def log_in(page: Page, address: str, name: str, to: str = "/logs") -> None:
    page.goto(address + to)
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_selector("#body h1")


def without_barriers(page: Page) -> bool:
    found = barriers(page)
    page.emulate_media(color_scheme="dark")
    page.wait_for_timeout(FADE_MS)
    return not found and not barriers(page)


def test_logging_in_leads_to_the_page_of_a_shared_link(chromium: Browser, address: str):
    with opened(chromium) as page:
        log_in(page, address, "vera", to="/early?site=Millbank")

        assert page.url == address + "/early?site=Millbank"
        assert page.complaints == []


def test_a_viewer_sees_no_button_that_would_be_refused(chromium: Browser, address: str):
    with opened(chromium) as page:
        log_in(page, address, "vera")
        page.wait_for_selector("#jobs")
        assert not page.get_by_role("button", name="Read the logs again").is_visible()
        assert not page.get_by_role("link", name="People").is_visible()
        show(page, address + "/storeroom")
        assert not page.get_by_role("button", name="Accept").first.is_visible()

        assert page.complaints == []


def test_an_editor_accepts_an_order_and_all_see_who(chromium: Browser, address: str, logs: Path):
    with opened(chromium) as page:
        log_in(page, address, "ed", to="/storeroom")
        page.wait_for_load_state("networkidle")
        page.locator(".order").get_by_role("button", name="Accept").first.click()
        page.wait_for_selector(".order .note >> text=ed, ")
        page.reload()
        page.wait_for_selector(".order .note >> text=ed, ")
        assert without_barriers(page)
        show(page, address + "/logs")
        page.wait_for_selector("#changes >> text=accepted recommendation")

        assert "order" in changes_of(changes_file(logs)).iloc[0]["what"]
        assert page.complaints == []


def test_an_editor_mends_a_row_and_sees_it_accepted(chromium: Browser, address: str):
    with opened(chromium) as page:
        log_in(page, address, "ed")
        page.goto(address + "/mend/now/installs/3?file=installs.csv")
        page.wait_for_selector("text=unknown position")
        assert without_barriers(page)
        page.get_by_label("position_id").fill("P-8")
        page.get_by_role("button", name="Check it again").click()
        page.wait_for_selector("text=Kept, but still set aside")
        page.get_by_label("position_id").fill("P-2")
        page.get_by_role("textbox", name="Why").fill("misread tag")
        page.get_by_role("button", name="Check it again").click()
        page.wait_for_selector("text=Accepted. The row joins the rest")
        assert barriers(page) == []
        page.get_by_role("link", name="read the logs again").click()
        page.wait_for_selector("#changes >> text=position_id 'P-8' to 'P-2' (misread tag)")

        assert page.complaints == []


def test_an_admin_ends_the_sessions_of_a_person(chromium: Browser, address: str):
    with opened(chromium) as theirs, opened(chromium) as page:
        log_in(theirs, address, "vera")
        log_in(page, address, "ada")
        page.get_by_role("link", name="People").click()
        page.wait_for_selector("text=People and their open sessions")
        assert without_barriers(page)
        page.get_by_role("button", name="End the sessions of vera").click()
        page.wait_for_selector("text=The sessions of vera ended.")
        theirs.goto(address + "/early")
        theirs.wait_for_selector("text=Log in to see the fleet.")

        assert page.complaints == []


def test_a_link_lets_in_an_admin_once(chromium: Browser, address: str, access: Access):
    link = f"{address}/enter/{one_time_token(access)}"
    with opened(chromium) as page, opened(chromium) as other:
        page.goto(link)
        page.wait_for_selector("#body h1")
        assert "/enter/" not in page.url
        assert page.get_by_role("link", name="People").is_visible()
        other.goto(link)
        other.wait_for_selector("text=This link is spent or too old")
