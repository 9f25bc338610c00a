"""The page "Schematic": attached, searched by keys and by a tap on the map, hits marked where they stand, axe on it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from tests.browser.conftest import Bench, leaf_page
from tests.browser.test_accessibility import AXE, complaints
from tests.facts.test_schematic import WORDS, pdf
from tests.npm_tools import npm_tool

WAIT_MS = 120_000


@pytest.fixture
def page(chromium: Browser, bench: Bench) -> Iterator[Page]:
    """An empty page under its own content policy, watched for requests to other hosts and for faults."""
    with leaf_page(chromium, bench, policy=True) as made:
        yield made


def test_what_is_tapped_on_the_map_is_found_on_the_page(page: Page, bench: Bench, tmp_path: Path) -> None:
    page.goto(f"{bench.address}/page/schematic.html?case={bench.case}")
    page.locator("#empty").wait_for(timeout=WAIT_MS)
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf(WORDS))
    page.locator("#file").set_input_files(str(file))
    page.locator("#add").tap()
    page.locator("#which:has-text('page 1 of 2')").wait_for(timeout=WAIT_MS)
    page.locator("h1").click()
    page.keyboard.press("/")
    page.locator("#name").fill("CPUCLK")
    page.keyboard.press("Enter")
    page.locator("#hit-0").wait_for(timeout=WAIT_MS)
    box, sheet = page.locator("#hit-0").bounding_box(), page.locator(".sch-page img").bounding_box()
    assert box and sheet and abs((box["x"] - sheet["x"]) / sheet["width"] - 178 / 595) < 0.02
    page.locator("h1").click()
    page.keyboard.press("+")
    larger = page.locator(".sch-page img").bounding_box()
    assert larger and larger["width"] > 1.4 * sheet["width"]  # one press magnifies 1.5 times
    page.keyboard.press("j")
    page.locator("#which:has-text('page 2 of 2')").wait_for(timeout=WAIT_MS)
    page.locator("#part-U1").dispatch_event("click")
    page.locator("#count:has-text('U1 stands at 1 places')").wait_for(timeout=WAIT_MS)
    assert "page 1 of 2" in page.locator("#which").inner_text() and page.locator("#map .part.on").count() == 1
    page.evaluate((npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8"))
    done = page.evaluate("async () => await axe.run(document, { resultTypes: ['violations'] })")
    assert len(done["passes"]) > 5 and complaints(done["violations"]) == []
