"""The leaves of arrival and of chips: answered, measured and ticked by keys and touch; refusals in words; accessible in both lights, no sideways scroll."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page
from tests.browser.conftest import Bench
from tests.browser.test_accessibility import AXE, complaints
from tests.npm_tools import npm_tool

from coppermend.services.cases import case_state


def said(page: Page, words: str) -> None:
    page.locator("#outcome", has_text=words).wait_for(timeout=60_000)


def test_the_intake_by_keys_with_a_picture(page: Page, bench: Bench, tmp_path: Path) -> None:
    data = io.BytesIO()
    Image.new("RGB", (40, 30), "#557744").save(data, "PNG")
    photo = tmp_path / "front.png"
    photo.write_bytes(data.getvalue())
    page.goto(f"{bench.address}/page/intake.html?case={bench.case}")
    page.locator("#words-condition").fill("dusty")
    page.locator("#words-original").fill("no holes")
    page.locator("#photo-condition").set_input_files(photo)
    page.locator("#words-condition").press("Enter")
    said(page, "condition")
    page.locator("#ask-condition img").wait_for(timeout=60_000)
    assert [page.locator(f"#words-{one}").input_value() for one in ("condition", "original")] == ["", "no holes"]
    page.locator("#words-known-good").fill("own monitor")
    page.locator("#yes-known-good").focus()
    page.keyboard.press("Enter")
    said(page, "known good (own monitor)")
    page.locator("#act-unsolder button").first.click()
    said(page, "yes to unsolder")
    page.locator("#act-unsolder button[aria-pressed=true]", has_text="Agrees").wait_for(timeout=60_000)
    page.locator("#amount").fill("many")
    page.locator("#note-limit").click()
    said(page, '"many" is no number')
    state = case_state(bench.shop, bench.case)
    assert [one.item for one in state.intake] == ["condition", "known good", "consent"] and state.intake[0].photos
    bench.errors.clear()  # the browser's console notes the refused request; the page said it in words


def test_the_supply_and_the_gate_by_keys(page: Page, bench: Bench) -> None:
    page.goto(f"{bench.address}/page/intake.html?case={bench.case}")
    page.locator("#ask-before").wait_for(timeout=60_000)
    page.locator("body").press("2")
    page.locator("#VCC-volt").fill("5.7V")
    page.locator("#VCC-load").fill("1A")
    page.locator("#VCC-load").press("Enter")
    said(page, "Do not put it on the board")
    page.locator("#VCC-volt").fill("5.02")
    page.locator("#VCC-load").fill("1,2")
    page.locator("#note-VCC").click()
    said(page, "5.02 V")
    page.locator("#rail-VCC", has_text="proven").wait_for(timeout=60_000)
    page.locator("#ground-VCC").fill("0.4")
    page.locator("#ground-VCC").press("Enter")
    page.get_by_role("button", name="Which part shorts it?").click()
    page.locator("#shorted", has_text="C10").wait_for(timeout=60_000)
    assert float(page.locator("#limit_a").input_value()) > float(page.locator("#abort_a").input_value()) > 1
    page.locator("#note-limit").click()
    said(page, "limit")
    page.locator("#tab-gate").click()
    page.locator("#gate-rails", has_text="Do not switch on").wait_for(timeout=60_000)
    assert "done" in page.locator("#gate-supply").get_attribute("class")  # type: ignore[operator]
    assert not bench.foreign and not bench.errors


def test_chips_by_touch(page: Page, bench: Bench) -> None:
    page.goto(f"{bench.address}/page/chips.html?case={bench.case}")
    page.locator("#card-chip").fill("C7")
    page.locator("#card-type").fill("Z80A")
    page.locator("#card-place").fill("stock")
    page.locator("#note-card").click()
    page.locator("#cards", has_text="C7").wait_for(timeout=60_000)
    page.locator("#part-U1").click()
    page.locator("#now").wait_for(timeout=60_000)
    page.locator("#act-kind").select_option("swap")
    page.locator("#act-effect").select_option("none")
    page.locator("input[name=with]").fill("C7")
    page.locator("input[name=trial]").check()
    page.locator("#note-act").click()
    said(page, "for a try, put back: no change")
    page.locator("#check-seat button").last.click()
    said(page, "seat loose")
    page.locator("#now", has_text="Put right first: seat").wait_for(timeout=60_000)
    page.locator("#which-part").fill("U2")
    page.locator("#open-part").click()
    page.get_by_role("button", name="leg 1 is free", exact=True).click()
    said(page, "legs free, pins 1")
    page.locator("#now", has_text="Do not pull yet").wait_for(timeout=60_000)
    page.locator("#which-part").fill("U999")
    page.locator("#which-part").press("Enter")
    page.locator("#outcome .error-sheet").wait_for(timeout=60_000)
    assert "U999" in page.locator("#outcome").inner_text() and not bench.foreign
    bench.errors.clear()  # as above


@pytest.mark.parametrize("light", ["day", "lamp"])
@pytest.mark.parametrize(
    ("leaf", "shown"),
    [
        ("intake.html?tab=intake", "#consent"),
        ("intake.html?tab=supply", "#limit_a"),
        ("intake.html?tab=gate", "#gate-limit"),
        ("chips.html?x=1", "#part-U1"),
        ("chips.html?part=U1", "#pin-1"),
    ],
)
def test_no_rule_is_broken(chromium: Browser, bench: Bench, leaf: str, shown: str, light: str) -> None:
    axe = (npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8")
    context = chromium.new_context(viewport={"width": 390, "height": 844}, reduced_motion="reduce", bypass_csp=True)
    context.add_init_script(f"localStorage.setItem('light', '{light}')")
    page = context.new_page()
    page.goto(f"{bench.address}/page/{leaf}&case={bench.case}")
    page.locator(shown).first.wait_for(timeout=60_000)
    page.evaluate(axe)
    done = page.evaluate("() => axe.run(document, { resultTypes: ['violations'] })")
    wide = page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    context.close()
    assert len(done["passes"]) > 10 and complaints(done["violations"]) == [] and wide
