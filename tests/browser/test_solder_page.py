"""The page of solder and heat: a mixture, doses for a part with the diagram, warming the board; refusals in words; accessible in both lights."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from tests.browser.conftest import Bench
from tests.browser.test_accessibility import AXE, complaints
from tests.npm_tools import npm_tool


def opened(page: Page, bench: Bench) -> None:
    page.goto(f"{bench.address}/page/solder.html?case={bench.case}&part=U1")
    page.locator("#warm").wait_for()


def test_mixture_doses_and_warming(page: Page, bench: Bench) -> None:
    opened(page, bench)
    page.locator("#mix button").click()
    page.locator("#melts").wait_for(timeout=60_000)
    # the model's ternary eutectic, 98 degC (NIST), and its warning
    assert "begins to melt at 98 °C" in page.locator("#melts").inner_text()
    assert "95 to 96 °C" in page.locator("#mix-answer").inner_text()
    page.locator("#doses button").click()
    page.locator("#dose").wait_for(timeout=60_000)
    told = page.locator("#doses-answer").inner_text()
    assert "40 pins take" in told and "rounds of wick" in told
    page.wait_for_function(
        "() => { const i = document.querySelector('#doses-answer img'); return i.complete && i.naturalWidth > 300; }"
    )
    page.locator("#warm input[name=nozzle]").fill("100 80 15")
    page.locator("#warm button").click()
    page.locator("#spot").wait_for(timeout=120_000)
    assert "All of the heated area is at 100 °C" in page.locator("#warming").inner_text()
    assert page.locator("#warm-answer svg polyline").count() == 2
    assert page.locator("#warm-answer tbody tr").count() >= 5
    page.locator("#warm-answer summary").filter(has_text="time rests on").click()
    assert page.locator("#warm-answer details[open]").count() == 3  # first, mind, what the time rests on
    assert "BT1 is a cell" in page.locator("#warm-answer details").first.inner_text()
    page.locator("#keep-doses").click()
    page.locator("#keep-doses").filter(has_text="Noted").wait_for(timeout=60_000)
    page.goto(f"{bench.address}/#/case/{bench.case}/story")
    page.locator(".line").filter(has_text="rounds of wick").first.wait_for(timeout=60_000)
    assert not bench.errors and not bench.foreign


def test_refusals_are_said(page: Page, bench: Bench) -> None:
    opened(page, bench)
    page.locator("#mix input[name=base]").fill("Sn63Pb30")
    page.locator("#mix button").click()
    page.locator("#mix-answer .need").filter(has_text="93 percent").wait_for(timeout=60_000)
    page.locator("#mix input[name=share]").fill("half")
    page.locator("#mix button").click()
    page.locator("#mix-answer .need").filter(has_text="no number").wait_for(timeout=60_000)
    page.locator("#warm input[name=target_c]").fill("160")
    page.locator("#warm button").click()
    page.locator("#warm-answer .need").filter(has_text="glass transition").wait_for(timeout=60_000)
    page.locator("#warm input[name=target_c]").fill("100")
    page.locator("#warm input[name=nozzle]").fill("5")
    page.locator("#warm button").click()
    page.locator("#warm-answer .need").filter(has_text="such as 100 80 15").wait_for(timeout=60_000)
    page.locator("#warm input[name=nozzle]").fill("")
    page.locator("#warm-more > summary").click()
    page.locator("#warm input[name=at]").fill("5000 5000")
    page.locator("#warm button").click()
    page.locator("#warm-answer .need").filter(has_text="not on the board").wait_for(timeout=60_000)
    page.locator("#warm input[name=at]").fill("")
    page.locator("#warm input[name=room_c]").fill("30,5")
    page.locator("#warm button").click()
    page.locator("#warming").wait_for(timeout=120_000)
    assert page.locator("#warm-answer .rests").count() >= 5
    bench.errors.clear()  # the browser's console notes the refused requests; the page said them in words


@pytest.mark.parametrize("light", ["day", "lamp"])
def test_no_rule_is_broken(chromium: Browser, bench: Bench, tmp_path: Path, light: str) -> None:
    context = chromium.new_context(viewport={"width": 1280, "height": 860}, reduced_motion="reduce", bypass_csp=True)
    context.add_init_script(f"localStorage.setItem('light', '{light}')")
    page = context.new_page()
    opened(page, bench)
    for form, answer in (("#mix", "#melts"), ("#doses", "#dose"), ("#warm", "#warming")):
        page.locator(f"{form} button").click()
        page.locator(answer).wait_for(timeout=120_000)
    page.add_script_tag(content=(npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8"))
    found = page.evaluate("async () => (await axe.run(document, { resultTypes: ['violations'] })).violations")
    wrong = complaints(found)
    shots = tmp_path / f"solder-{light}.png"
    page.screenshot(path=shots, full_page=True)
    context.close()
    assert shots.stat().st_size > 10_000 and wrong == []
