"""Every page in a real browser: it draws, complains of nothing, and asks no other host."""

from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from conftest import served
from playwright.sync_api import Browser, Page
from sample import sample_findings
from small_logs import small_logs

from dashboard.access.people import open_access
from dashboard.access.sessions import one_time_token

pytestmark = pytest.mark.browser

PATHS = (
    "/",
    "/storeroom",
    "/early",
    "/intervals",
    "/fleet",
    "/logs",
    "/record",
    "/record/install",
    "/record/removal",
    "/rows/lives",
    "/help",
    "/position/P-003",
    "/case/I-0014",
)
FADE_MS = 600
"""Controls fade from one scheme into the other; half faded they fail on contrast."""

SERIOUS = {"serious", "critical"}


@contextmanager
def opened(chromium: Browser) -> Iterator[Page]:
    """Open a tab that remembers complaints and foreign requests."""
    context = chromium.new_context(
        color_scheme="light", viewport={"width": 1200, "height": 800}, accept_downloads=True
    )
    page = context.new_page()
    page.complaints = []
    page.on(
        "console",
        lambda line: (
            page.complaints.append(line.text) if line.type in ("error", "warning") else None
        ),
    )
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on(
        "request",
        lambda request: (
            page.complaints.append(f"asked {request.url}")
            if urlsplit(request.url).hostname not in (None, "127.0.0.1")
            else None
        ),
    )
    yield page
    context.close()


def barriers(page: Page) -> list[object]:
    """List what a reader with an aid could not pass, as axe finds it."""
    return [
        (rule["id"], [node["html"][:160] for node in rule["nodes"]][:3])
        for rule in Axe().run(page).response["violations"]
        if rule["impact"] in SERIOUS
    ]


def show(page: Page, url: str) -> None:
    page.goto(url)
    page.wait_for_selector("#body h1")
    page.wait_for_load_state("networkidle")


@pytest.mark.parametrize("path", PATHS)
def test_page_draws_in_light_and_dark_wide_and_narrow(chromium: Browser, address: str, path: str):
    with opened(chromium) as page:
        show(page, address + path)

        assert barriers(page) == []
        page.emulate_media(color_scheme="dark")
        page.wait_for_selector("html[data-mantine-color-scheme=dark]")
        page.wait_for_timeout(FADE_MS)
        assert barriers(page) == []
        page.set_viewport_size({"width": 390, "height": 800})
        page.wait_for_function("document.documentElement.scrollWidth <= 390", timeout=5_000)
        assert page.locator("footer").inner_text().startswith("Caution.")
        assert "discward" in page.title()
        assert page.complaints == []


def test_a_foreign_request_and_a_console_error_would_be_noticed(chromium: Browser, address: str):
    with opened(chromium) as page:
        show(page, address + "/help")
        page.evaluate("fetch('http://192.0.2.1/').catch(() => console.error('refused'))")
        page.wait_for_timeout(500)

        assert any("Content Security Policy" in line for line in page.complaints)


def test_axe_would_notice_a_barrier(chromium: Browser, address: str):
    with opened(chromium) as page:
        show(page, address + "/help")
        page.evaluate("document.body.insertAdjacentHTML('beforeend', '<img src=\"/x.png\">')")

        assert "image-alt" in {name for name, _ in barriers(page)}


def test_filters_live_in_the_address_and_survive_a_reload(chromium: Browser, address: str):
    with opened(chromium) as page:
        show(page, address + "/early")
        page.get_by_text("Filters and units").click()
        page.get_by_label("Site").first.click()
        page.get_by_role("option", name="Millbank").click()
        page.wait_for_url("**/early?site=Millbank")
        page.reload()
        page.wait_for_selector(".grid .ag-row [col-id=site] >> text=Millbank")

        seen = set(page.locator(".grid .ag-row [col-id=site]").all_inner_texts()) - {""}
        assert seen == {"Millbank"}
        fleet = page.get_by_role("link", name="Fleet")
        fleet.hover()
        assert fleet.get_attribute("href") == f"{address}/fleet?site=Millbank"


def test_engineer_finds_the_worst_step_and_opens_a_case(chromium: Browser, address: str):
    with opened(chromium) as page:
        show(page, address + "/")
        page.locator("header").get_by_role("link", name="Early failures").click()
        page.wait_for_selector("text=The costliest defect is")
        page.locator(".grid .ag-row a[href^='/case/']").first.click()
        page.wait_for_selector(".sheet")

        assert "What to do on Monday" in page.locator(".sheet").inner_text()
        assert page.complaints == []


def test_planner_takes_the_order_list_away(chromium: Browser, address: str):
    with opened(chromium) as page:
        show(page, address + "/storeroom")
        with page.expect_download() as download:
            page.get_by_role("link", name="Order this week as CSV").first.click()
        text = download.value.path().read_text(encoding="utf-8-sig")

        assert text.startswith("Disc code,Store,Pieces,Order by,Cost [EUR],Criticality,Why")
        assert "RS-080-10" in text


def test_crew_is_stopped_by_a_wrong_tag_corrects_it_and_signs_off(chromium: Browser, address: str):
    with opened(chromium) as page:
        page.set_viewport_size({"width": 820, "height": 1100})
        show(page, address + "/record")
        page.get_by_role("link", name="Record an install").click()
        page.get_by_label("Position").first.click()
        page.get_by_role("option", name="P-1").click()
        for label, text in (
            ("Day of fitting", "2024-09-30"),
            ("Disc code", "FS-100-07"),
            ("Size", "DN100"),
            ("Marked burst pressure", "6.1"),
            ("Temperature", "120"),
            ("Lot", "L7"),
            ("The maker's torque", "80"),
            ("Your name", "A. Fitter"),
        ):
            page.get_by_label(label).first.fill(text)
        page.get_by_label("Type").first.click()
        page.get_by_role("option", name="forward scored").click()
        for answer in page.locator(".check label", has_text="yes").all():
            answer.click()
        page.wait_for_selector("#tag-panel >> text=another disc code than the position needs")
        page.wait_for_selector("text=20, 40, 60, 80 N.m")
        page.get_by_role("button", name="Sign off").click()
        page.wait_for_selector("#record-said >> text=Not signed: the tag does not match")

        page.get_by_label("Disc code").first.fill("FS-100-06")
        page.wait_for_selector("text=The tag matches. The disc may be fitted.")
        page.wait_for_selector("#record-problems >> text=Nothing is open.")
        page.get_by_role("button", name="Sign off").click()
        page.wait_for_selector("#record-said >> text=Signed off as I-")

        assert page.complaints == []


def test_logs_are_read_again_as_a_job_and_its_history_survives_a_reload(
    chromium: Browser, address: str
):
    with opened(chromium) as page:
        show(page, address + "/logs")
        page.get_by_role("button", name="Read the logs again").click()
        page.wait_for_selector("#jobs >> text=Show the new findings", timeout=60_000)
        page.reload()
        page.wait_for_selector("#jobs >> text=read the logs again")
        page.get_by_role("link", name="Show the new findings").first.click()
        page.wait_for_selector("text=Small, logs to 2024-12-31")

        assert page.complaints == []


def test_own_logs_are_brought_checked_and_run(
    chromium: Browser, address: str, tmp_path_factory: pytest.TempPathFactory
):
    files = sorted(small_logs(tmp_path_factory.mktemp("brought")).iterdir())
    with opened(chromium) as page:
        page.goto(address + "/bring")
        assert barriers(page) == []
        page.emulate_media(color_scheme="dark")
        page.wait_for_timeout(FADE_MS)
        assert barriers(page) == []
        page.get_by_label("Log files").set_input_files(files)
        page.get_by_role("button", name="Bring them").click()
        page.wait_for_selector("text=What the rows came to")
        assert barriers(page) == []
        page.get_by_role("button", name="Run the job").click()
        page.wait_for_selector("#jobs >> text=Show the new findings", timeout=60_000)

        assert page.complaints == []


def test_a_link_opens_the_door_once_and_logging_out_closes_it(
    chromium: Browser, tmp_path_factory: pytest.TempPathFactory
):
    access = open_access(tmp_path_factory.mktemp("access") / "access.sqlite")
    for address in served(sample_findings(positions=12), access=access):
        with opened(chromium) as page:
            page.goto(address + "/early")
            page.wait_for_selector("text=Open the link that discward printed")
            assert barriers(page) == []
            page.goto(f"{address}/enter/{one_time_token(access)}")
            page.wait_for_selector("#body h1")
            page.get_by_role("button", name="Log out").click()
            page.wait_for_selector("text=Open the link that discward printed")
            page.goto(address + "/early")
            page.wait_for_selector("text=Open the link that discward printed")

            assert page.complaints == []
