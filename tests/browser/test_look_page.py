"""The page "Look over the board": the tour by keys and by touch, findings noted where they are, the photo's state said, axe on it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page
from tests.browser.conftest import Bench, leaf_page
from tests.browser.test_accessibility import AXE, complaints
from tests.npm_tools import npm_tool

from coppermend.services.areas import add_area
from coppermend.services.bind import bind

WAIT_MS = 120_000


@pytest.fixture
def page(chromium: Browser, bench: Bench) -> Iterator[Page]:
    """An empty page, watched for requests to other hosts and for complaints."""
    with leaf_page(chromium, bench) as made:
        yield made


def looks(bench: Bench) -> list[tuple[str, bool | None, str]]:
    return [(act.finding, act.seen, act.side) for act in bind(bench.shop, bench.case).state.acts if act.kind == "look"]


def test_a_side_is_looked_over_by_keys_and_a_finding_by_touch(page: Page, bench: Bench) -> None:
    if not bind(bench.shop, bench.case).state.areas:
        add_area(bench.shop, bench.case, part="U1")
    page.goto(f"{bench.address}/page/look.html?case={bench.case}")
    page.locator("#stop-name").wait_for(timeout=WAIT_MS)
    assert "No photo is laid" in page.locator("#where").inner_text()
    page.locator("#side-1").tap()
    while not page.locator(".look-pins, #stop-holds:has-text('U1.')").count():
        page.keyboard.press("n")
    page.keyboard.press("1")
    page.locator(".look-pins button").first.tap()
    page.locator("#said li").first.wait_for(timeout=WAIT_MS)
    assert looks(bench)[-1][1:] == (True, "s")
    count = page.locator(".look-map .field").count()
    for _ in range(count):
        page.keyboard.press("n")
    page.locator("#side-done").wait_for(timeout=WAIT_MS)
    page.keyboard.press("d")
    page.locator("#side-1:has-text('looked over')").wait_for(timeout=WAIT_MS)
    assert looks(bench)[-1] == ("", None, "s")
    page.add_script_tag(content=(npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8"))
    done = page.evaluate("async () => await axe.run(document, { resultTypes: ['violations'] })")
    assert len(done["passes"]) > 5 and complaints(done["violations"]) == []
    page.keyboard.press("z")
    page.locator("#side-1:not(:has-text('looked over'))").wait_for(timeout=WAIT_MS)


def test_without_a_work_area_the_page_leads_to_marking_one(page: Page, bench: Bench) -> None:
    page.route(
        "**/look",
        lambda route: route.fulfill(
            json={"sides": [], "said": [], "conflicts": [], "findings": [], "map": {}, "caution": "", "mark": ""}
        ),
    )
    page.goto(f"{bench.address}/page/look.html?case={bench.case}")
    page.locator("#empty").wait_for(timeout=WAIT_MS)
    assert "Mark a work area" in page.locator("#stop").inner_text()
