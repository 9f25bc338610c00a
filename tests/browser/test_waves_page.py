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
    page.locator("#take-in input[name=at]").fill("U1.12")
    page.locator("#take-in input[name=at]").blur()
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


def records(folder: Path, seed: int = 3) -> tuple[Path, list[Path]]:
    """A 74LS32 gate whose output stands high from half way on (its function table: 1Y = 1A or 1B), and two starts, the second let go before its clock runs."""
    rng = np.random.default_rng(seed)
    a, b = (np.repeat(rng.integers(0, 2, 400), 10) for _ in range(2))
    y = a | b
    y[2000:] = 1
    rows = "".join(f"{k * 1e-6:.6e},{p},{q},{r}\n" for k, (p, q, r) in enumerate(zip(a, b, y, strict=True)))
    gate = folder / "gate.csv"
    gate.write_text(f"Time (s),D0,D1,D2\n{rows}", encoding="utf-8")
    starts = []
    for name, released in (("good", 0.12), ("early", 0.07)):
        t = np.arange(20_000) * 2e-5
        rail = np.clip((t - 0.05) / 0.02, 0, 1) * 5.0
        clock = np.where((t > 0.08) & ((t * 4000) % 1 < 0.5), 3.5, 0.1)
        reset = np.where(t > released, 4.5, 0.1)
        text = "".join(f"{p:.6e},{q:.3f},{r:.3f},{s:.3f}\n" for p, q, r, s in zip(t, rail, reset, clock, strict=True))
        starts.append(folder / f"{name}.csv")
        starts[-1].write_text(f"Time (s),VCC (V),RES (V),CLK (V)\n{text}", encoding="utf-8")
    return gate, starts


def test_a_typed_figure_a_gate_and_starts_by_keys(page: Page, bench: Bench, tmp_path: Path) -> None:
    """Each sheet is opened and answered by keys; its verdict stands below it and all are in the list: 1/252 to 1/248 ns round 4 MHz is coarser than 0.5 %."""
    gate, starts = records(tmp_path)
    page.goto(f"{bench.address}/page/waves.html?case={bench.case}&at=U1.6")
    page.locator("#take-in").wait_for()
    page.locator("#typed summary").press("Enter")
    page.locator("#typed [name=figure]").fill("250 ns")
    page.locator("#typed [name=step]").fill("2 ns")
    page.locator("#typed [name=step]").press("Enter")
    said = page.locator("#typed-said .wave-verdict")
    said.wait_for(timeout=60_000)
    assert (
        said.inner_text().startswith("right: 4 MHz, between 3.968 and 4.032 MHz") and "too coarse" in said.inner_text()
    )
    page.locator("#gate summary").press("Enter")
    page.locator("#gate [name=file]").set_input_files(gate)
    page.locator("#gate [name=part]").fill("U11")
    page.locator("#gate [name=pin]").fill("1A=D0, 1B=D1, 1Y=D2")
    page.locator("#gate [name=pin]").press("Enter")
    page.locator("#gate-said .wave-verdict.bad").wait_for(timeout=60_000)
    assert "does not follow its inputs" in page.locator("#gate-said").inner_text()
    page.locator("#start summary").press("Enter")
    page.locator("#start [name=file]").set_input_files(starts)
    page.locator("#start [name=at]").fill("U1.26")
    for name, channel in (("reset", "RES"), ("rail", "VCC"), ("clock", "CLK")):
        page.locator(f"#start [name={name}]").fill(channel)
    page.locator("#start [name=clock]").press("Enter")
    page.locator("#start-said .wave-verdict.bad").wait_for(timeout=60_000)
    assert "right 1 of 2 times" in page.locator("#start-said").inner_text()
    assert "released too early" in page.locator("#start-said").inner_text()
    listed = page.locator(".wave-list")
    for words in ("does not follow its inputs", "released too early"):
        listed.get_by_text(words).first.wait_for(timeout=20_000)
