"""Figures are drawn where the reader looks first, in the end all of them."""

import pytest
from playwright.sync_api import Browser
from test_pages_in_browser import opened, show

pytestmark = pytest.mark.browser

STAND = """figures =>
  document.querySelectorAll("#body .js-plotly-plot .subplot").length >= figures"""


@pytest.mark.parametrize("height", [800, 300])
def test_figures_off_the_screen_are_drawn_without_scrolling(
    chromium: Browser, address: str, height: int
):
    with opened(chromium) as page:
        page.set_viewport_size({"width": 1200, "height": height})
        show(page, address + "/early")
        figures = page.locator("#body figure").count()
        page.wait_for_function(STAND, arg=figures)

        assert figures == 7
        assert page.evaluate("() => window.scrollY") == 0
        assert page.evaluate("() => window.discward.waiting.length") == 0
        assert page.complaints == []


def test_a_change_of_filter_draws_every_figure_of_the_new_page(chromium: Browser, address: str):
    with opened(chromium) as page:
        show(page, address + "/early")
        page.get_by_text("Filters and units").click()
        page.get_by_role("textbox", name="Site").first.click()
        page.get_by_role("option", name="Millbank").click()
        page.wait_for_url(lambda url: "site=Millbank" in url)
        page.get_by_text("That is the whole fleet.").wait_for()
        page.wait_for_function(STAND, arg=7)

        assert page.complaints == []


def test_links_keep_the_filters_in_force_or_lift_them(chromium: Browser, address: str):
    with opened(chromium) as page:
        show(page, address + "/early?site=Millbank&pressure=psi")
        behind = page.locator("figure").filter(has_text="Whole fleet").first
        behind.get_by_role("link", name="The rows behind it").click()
        page.wait_for_url("**/rows/failures?pressure=psi")
        page.go_back()
        page.wait_for_url("**/early?site=Millbank&pressure=psi")

        duty = page.locator("figure").filter(has_text="Operating ratio at")
        duty.get_by_role("link", name="The rows behind it").click()
        page.wait_for_url("**/rows/duty?site=Millbank&pressure=psi")
        page.wait_for_selector("#body h1:has-text('Duty of every position')")
        with page.expect_download() as taken:
            page.get_by_role("link", name="Duty of every position as CSV").click()
        assert "site=Millbank" in taken.value.url
        assert page.complaints == []


def test_a_part_that_no_filter_changes_is_left_as_the_reader_set_it(
    chromium: Browser, address: str
):
    with opened(chromium) as page:
        show(page, address + "/early")
        page.get_by_text("Year by year").click()
        page.get_by_text("Filters and units").click()
        page.get_by_role("textbox", name="Site").first.click()
        page.get_by_role("option", name="Millbank").click()
        page.get_by_text("That is the whole fleet.").wait_for()

        assert page.locator("details:has-text('Year by year')").first.get_attribute("open") == ""
        page.get_by_role("textbox", name="Site").first.press("Backspace")
        page.get_by_text("That is the whole fleet.").wait_for(state="hidden")
        assert page.complaints == []
