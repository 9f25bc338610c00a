"""The waves page: a record taken in at a pin is measured, noted and drawn; looked at from near; refusals in words; accessible in both lights."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser, Page
from tests.browser.conftest import Bench
from tests.browser.test_accessibility import AXE, complaints
from tests.npm_tools import npm_tool

STEP_S = 4e-9


def scope_file(path: Path, hertz: float = 4e6) -> Path:
    t = np.arange(10_000) * STEP_S
    v = np.where((t * hertz) % 1 < 0.5, 3.6, 0.2) + np.random.default_rng(1).normal(0, 0.03, t.size)
    rows = "".join(f"{a:.6e},{b:.3f}\n" for a, b in zip(t, v, strict=True))
    path.write_text(f"Time (s),CH1 (V)\n{rows}", encoding="utf-8")
    return path


def take_in(page: Page, bench: Bench, file: Path, at: str = "U1.6") -> None:
    page.goto(f"{bench.address}/page/waves.html?case={bench.case}&at={at}")
    page.locator("#take-in").wait_for()
    page.locator("#take-in input[type=file]").set_input_files(file)
    page.locator("#measure").click()


def test_a_record_is_taken_in_at_a_pin(page: Page, bench: Bench, tmp_path: Path) -> None:
    take_in(page, bench, scope_file(tmp_path / "a.csv"))
    page.locator("#verdict").wait_for(timeout=60_000)
    assert "4 MHz" in page.locator("#pin-power").inner_text()
    page.locator("input[name=at]").fill("U1.12")
    page.locator("input[name=at]").blur()
    page.locator("#pin-power .need").filter(has_text="pin 11").wait_for()
    assert page.locator("#pin-power svg .rail").count() >= 1
    assert "right" in page.locator("#verdict").inner_text() and "Noted at U1.6" in page.locator("#outcome").inner_text()
    assert "MHz" in page.locator(".wave-values").inner_text()
    assert "U1.6" in page.locator(".wave-list").inner_text()
    drawn = page.evaluate(
        "() => { const c = document.getElementById('picture'); const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;"
        " const seen = new Set(); for (let i = 0; i < d.length; i += 4) seen.add(d[i] << 16 | d[i + 1] << 8 | d[i + 2]); return seen.size; }"
    )
    assert drawn > 20
    for _ in range(3):
        before = page.evaluate("() => window.wavesSheet.picture.end_s - window.wavesSheet.picture.begin_s")
        page.locator("#wave-nearer").click()
        page.wait_for_function(
            f"() => !window.wavesSheet.busy && window.wavesSheet.picture.end_s - window.wavesSheet.picture.begin_s < {before * 0.9}"
        )
    near = page.evaluate("() => window.wavesSheet.picture")
    assert (
        near["kind"] == "line"
        and near["edges_s"]
        and "edges marked" in (page.locator("#picture").get_attribute("aria-label") or "")
    )
    page.locator("#picture").focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_function(f"() => !window.wavesSheet.busy && window.wavesSheet.picture.begin_s > {near['begin_s']}")
    assert not bench.errors and not bench.foreign


def test_refusals_are_said(page: Page, bench: Bench, tmp_path: Path) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text("no numbers here\n" * 20, encoding="utf-8")
    take_in(page, bench, bad)
    page.locator("#outcome .need").filter(has_text="numbers").wait_for(timeout=60_000)
    bench.errors.clear()  # the browser's console notes the refused request; the page said it in words


@pytest.mark.parametrize("light", ["day", "lamp"])
def test_no_rule_is_broken(chromium: Browser, bench: Bench, tmp_path: Path, light: str) -> None:
    context = chromium.new_context(viewport={"width": 1280, "height": 860}, reduced_motion="reduce", bypass_csp=True)
    context.add_init_script(f"localStorage.setItem('light', '{light}')")
    page = context.new_page()
    take_in(page, bench, scope_file(tmp_path / "a.csv", 2e6))
    page.locator("#verdict").filter(has_text="wrong frequency").wait_for(timeout=60_000)
    page.add_script_tag(content=(npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8"))
    found = page.evaluate("async () => (await axe.run(document, { resultTypes: ['violations'] })).violations")
    wrong = complaints(found)
    shots = tmp_path / f"waves-{light}.png"
    page.screenshot(path=shots, full_page=True)
    context.close()
    assert shots.stat().st_size > 10_000 and wrong == []
