"""The rework page: a part's plan and its area, steps ticked with a photo, a short's supply or its refusal; accessible in both lights."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page
from tests.browser.conftest import Bench
from tests.browser.test_accessibility import AXE, complaints
from tests.npm_tools import npm_tool


def test_a_part_is_planned_and_its_area_marked(page: Page, bench: Bench) -> None:
    page.goto(f"{bench.address}/page/rework.html?case={bench.case}&part=U2")
    page.locator("#order").wait_for(timeout=60_000)
    order = page.locator("#order").inner_text().split()
    assert page.locator(".heat-map circle").count() == len(order) == len(set(order))
    assert "K/W" in page.locator("table.pins thead").inner_text()
    page.locator("#mark-area").click()
    page.locator("#outcome a").wait_for(timeout=60_000)
    assert "Marked" in page.locator("#outcome").inner_text() and "U2" in page.locator("#outcome").inner_text()
    page.locator("#which input").fill("U999")
    page.locator("#plan").click()
    page.locator("#outcome .error-sheet").wait_for(timeout=60_000)
    assert "U999" in page.locator("#outcome").inner_text()
    assert not bench.foreign
    bench.errors.clear()  # the browser's console notes the refused request; the page said it in words


def test_steps_are_ticked_with_a_photo_and_cautions(page: Page, bench: Bench, tmp_path: Path) -> None:
    data = io.BytesIO()
    Image.new("RGB", (40, 30), "#557744").save(data, "PNG")
    photo = tmp_path / "board.png"
    photo.write_bytes(data.getvalue())
    page.goto(f"{bench.address}/page/rework.html?case={bench.case}&tab=care")
    page.locator("#care-cell > summary").click()
    assert "caustic" in page.locator("#step-cell-guard").inner_text()
    page.locator("#step-cell-before input[type=file]").set_input_files(photo)
    page.locator("#done-cell-before").click()
    page.locator("#step-cell-before img").wait_for(timeout=60_000)
    assert "not ticked yet: power, guard" in page.locator("#outcome").inner_text()
    page.locator("#step-cell-neutralise button", has_text="Left out").click()
    page.locator("#outcome .error-sheet").wait_for(timeout=60_000)
    assert "CAR-004" in page.locator("#outcome").inner_text()
    assert not bench.foreign
    bench.errors.clear()  # as above


@pytest.mark.parametrize("light", ["day", "lamp"])
@pytest.mark.parametrize("tab", ["part=U1", "tab=care", "tab=short"])
def test_no_rule_is_broken(chromium: Browser, bench: Bench, tab: str, light: str) -> None:
    axe = (npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8")
    context = chromium.new_context(viewport={"width": 820, "height": 1180}, reduced_motion="reduce", bypass_csp=True)
    context.add_init_script(f"localStorage.setItem('light', '{light}')")
    page = context.new_page()
    page.goto(f"{bench.address}/page/rework.html?case={bench.case}&{tab}")
    page.locator(
        {"part=U1": "#order", "tab=care": "#care-cell", "tab=short": "#supply, .error-sheet"}[tab]
    ).first.wait_for(timeout=60_000)
    if tab == "tab=care":
        page.locator("#care-cell > summary").click()
    page.evaluate(axe)
    done = page.evaluate("() => axe.run(document, { resultTypes: ['violations'] })")
    wide = page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    context.close()
    assert len(done["passes"]) > 10 and complaints(done["violations"]) == [] and wide
