"""The list of cases by keys: find one, step into the lines, filter by state, an error that leaves the search where it is."""

from __future__ import annotations

from playwright.sync_api import Browser
from tests.browser.conftest import Bench, opened


def test_a_case_is_found_by_keys_alone(chromium: Browser, bench: Bench) -> None:
    page = opened(chromium, bench)
    page.goto(f"{bench.address}/")
    page.locator("#home .cases a").first.wait_for()
    page.keyboard.press("/")
    page.keyboard.type("nobody ever said this")
    page.locator("#cases-said", has_text="No case is like that").wait_for()
    assert page.locator("#home .cases a").count() == 0
    page.keyboard.press("Control+a")
    page.keyboard.press("Delete")
    page.locator("#home .cases a").first.wait_for()
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.closest('.cases') !== null")
    page.keyboard.press("ArrowUp")
    assert page.evaluate("document.activeElement.id") == "case-search"
    chip = page.locator(".states .key").first
    chip.press("Enter")
    page.locator(".states .key[aria-pressed=true]").wait_for()
    page.locator("#cases-said", has_text=" of ").wait_for()
    assert page.evaluate("document.activeElement.ariaPressed") == "true", "the filter keeps the keyboard"
    page.route("**/api/cases?*", lambda route: route.abort())
    page.locator("#case-search").fill("late")
    page.locator("#cases-again").wait_for()
    page.unroute("**/api/cases?*")
    page.locator("#cases-again").click()
    page.locator("#cases-again").wait_for(state="detached")
    page.context.close()
    bench.errors[:] = [one for one in bench.errors if "Failed to load" not in one and "net::" not in one]
    assert bench.errors == []
