"""Pages that work on a case, opened without one; a sheet that takes its time; cautions that stand before the first result."""

from __future__ import annotations

import time

import pytest
from playwright.sync_api import Browser, Route
from tests.browser.conftest import Bench, opened


@pytest.mark.parametrize(
    "name", ["waves", "rework", "solder", "suspects", "look", "found", "schematic", "intake", "chips"]
)
def test_without_a_case_the_page_says_so_and_leads_to_the_cases(chromium: Browser, bench: Bench, name: str) -> None:
    page = opened(chromium, bench)
    page.goto(f"{bench.address}/page/{name}.html")
    sheet = page.locator("#no-case")
    sheet.wait_for()
    assert "No case is chosen" in sheet.inner_text()
    said = page.locator("main").inner_text()
    assert "/api/" not in said and "Not Found" not in said
    assert "local rules" in said
    sheet.locator("a").click()
    page.wait_for_selector("#home .cases a")
    page.context.close()
    assert bench.errors == []


def test_a_plan_that_takes_its_time_says_what_is_being_worked_out(chromium: Browser, bench: Bench) -> None:
    page = opened(chromium, bench)

    def late(route: Route) -> None:
        time.sleep(5.0)  # long enough that a loaded machine sees the words
        route.continue_()

    page.route("**/removal/U2", late)
    page.goto(f"{bench.address}/page/rework.html?case={bench.case}&part=U2")
    page.locator("#waiting").wait_for()
    assert "how U2 comes out" in page.locator("#waiting").inner_text()
    assert page.locator("#which input[name=part]").input_value() == "U2"
    page.locator("#order").wait_for(timeout=60_000)
    assert page.locator("#waiting").count() == 0
    page.context.close()
    assert bench.errors == []


def test_marking_pins_without_a_case_a_board_or_a_picture_is_told_in_words(chromium: Browser, bench: Bench) -> None:
    page = opened(chromium, bench)
    page.goto(f"{bench.address}/page/places.html")
    page.locator("#no-case").wait_for()
    assert "/api/" not in page.locator("main").inner_text()
    page.goto(f"{bench.address}/page/places.html?case={bench.case}")
    page.locator("#places .error-sheet, #places .empty").first.wait_for()
    assert bench.errors == [] or all("Failed to load" in one for one in bench.errors)
    page.context.close()
    bench.errors.clear()
