"""A photo laid under the board on the page: file chosen, pins tapped by mouse, the slider, the net lit over it; a blurred one refused in words.

The photo is made by tests/photo_maker.py; where each pin lies in it is computed by the camera's own formulas, so the taps are true ones.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page
from tests.browser.conftest import Bench, opened
from tests.browser.test_accessibility import AXE, complaints
from tests.npm_tools import npm_tool
from tests.photo_maker import Shot, photograph, project

from coppermend.services.bind import bind
from coppermend.services.cases import case_state

SHOT = Shot(k1=-0.02, size=(2000, 1500))


def photo(bench: Bench, folder: Path, shot: Shot) -> Path:
    out = folder / "top.jpg"
    Image.fromarray(photograph(bind(bench.shop, bench.case).board, "c", shot)).save(out, quality=92)
    return out


def tap_pins(page: Page, bench: Bench, shot: Shot, count: int) -> None:
    """Tap the pins that the sheet asks for: first from far, which brings the place near, then exactly."""
    board = bind(bench.shop, bench.case).board
    ring = np.vstack([o for o in board.outline if len(o)])
    box = (*map(float, ring.min(axis=0)), *map(float, ring.max(axis=0)))
    pins = {p.name: (p.x_mm, p.y_mm) for part in board.parts for p in part.pins}
    canvas = page.locator("#lay-photo")
    for _ in range(count):
        name = str(page.evaluate("() => window.bench.laySheet.pin"))
        x, y = project(shot, box, [pins[name]], "c")[0]
        for _ in range(2):
            at = page.evaluate(
                "([x, y]) => { const v = window.bench.laySheet.view; return [v.w / 2 + v.scale * (x + 0.5 - v.x), v.h / 2 + v.scale * (y + 0.5 + v.y)]; }",
                [float(x), float(y)],
            )
            canvas.click(position={"x": at[0], "y": at[1]})
            page.wait_for_timeout(120)
            if page.evaluate("() => window.bench.laySheet.pin") != name:
                break


def test_the_net_lights_up_on_the_persons_own_photo(page: Page, bench: Bench, tmp_path: Path) -> None:
    """Also a second window of the case shows the photo when it was laid here, and no more when it was taken back."""
    other = page.context.new_page()
    other.goto(bench.url())
    other.wait_for_selector("body[data-ready]")
    page.bring_to_front()
    file = photo(bench, tmp_path, SHOT)
    page.locator("#tool-layPhoto").click()
    page.locator("#lay-file").set_input_files(file)
    page.locator(".lay-pins").wait_for()
    assert page.locator("#lay-it").is_disabled()
    tap_pins(page, bench, SHOT, 5)
    page.locator("#lay-it").click()
    page.locator("#underlay").wait_for(timeout=60_000)
    assert "lands found" in page.locator("#toast").inner_text()
    residual = page.evaluate("async () => (await (await fetch(window.bench.url('laid'))).json()).laid.c.residual_mm")
    assert residual < 0.1
    slider = page.locator("#underlay-share")
    slider.focus()
    pixel = """() => { const m = window.bench.map, c = m.canvas.getContext('2d'); let s = 0;
      const d = c.getImageData(m.canvas.width * 0.4, m.canvas.height * 0.4, 60, 60).data; for (const v of d) s += v; return s; }"""
    page.keyboard.press("Home")
    page.wait_for_timeout(200)
    drawn = page.evaluate(pixel)
    page.keyboard.press("End")
    page.wait_for_timeout(200)
    assert page.evaluate(pixel) != drawn
    # the other side has no photo: no slider there
    page.locator("#tool-turn").click()
    page.wait_for_timeout(400)
    assert page.locator("#underlay").is_hidden()
    other.bring_to_front()
    other.locator("#underlay").wait_for(timeout=30_000)
    page.bring_to_front()
    page.evaluate("() => window.bench.note('undo')")
    other.bring_to_front()
    other.locator("#underlay").wait_for(state="hidden", timeout=30_000)


def test_a_blurred_photo_is_refused_with_the_reason_and_the_sheet_stays(
    page: Page, bench: Bench, tmp_path: Path
) -> None:
    shot = replace(SHOT, blur_px=4.0)
    file = photo(bench, tmp_path, shot)
    page.locator("#tool-layPhoto").click()
    page.locator("#lay-file").set_input_files(file)
    page.locator(".lay-pins").wait_for()
    tap_pins(page, bench, shot, 4)
    page.locator("#lay-it").click()
    said = page.locator("#lay-panel .need")
    said.wait_for(timeout=60_000)
    assert "blurred" in said.inner_text() and "PHO-011" in said.inner_text()
    assert page.locator("#lay").is_visible()
    assert len(case_state(bench.shop, bench.case).photos) == 1
    page.keyboard.press("Escape")
    page.wait_for_function("() => !document.getElementById('lay').open")
    page.wait_for_timeout(1500)
    assert case_state(bench.shop, bench.case).photos == (), "a refused photo stays out of the owner's record"
    bench.errors[:] = [one for one in bench.errors if "422" not in one]  # the refusal itself


def test_a_hopelessly_blurred_photo_is_refused_when_it_is_chosen(page: Page, bench: Bench, tmp_path: Path) -> None:
    """14 px are 2 mm here: no pin could be tapped. Nothing is kept, and a sharp one of the same name is taken at once."""
    page.locator("#tool-layPhoto").click()
    page.locator("#lay-file").set_input_files(photo(bench, tmp_path, replace(SHOT, blur_px=14.0)))
    said = page.locator("#lay-panel .need")
    said.wait_for(timeout=60_000)
    assert "blurred" in said.inner_text() and "PHO-011" in said.inner_text()
    assert page.locator(".lay-pins").count() == 0 and page.locator("#lay-it").count() == 0
    assert case_state(bench.shop, bench.case).photos == ()
    assert page.locator("#lay-file").input_value() == ""
    page.locator("#lay-file").set_input_files(photo(bench, tmp_path, SHOT))
    page.locator(".lay-pins").wait_for()
    assert len(case_state(bench.shop, bench.case).photos) == 1
    bench.errors[:] = [one for one in bench.errors if "422" not in one]  # the refusal itself


@pytest.mark.parametrize("megapixels", [10])
def test_a_large_photo_stays_smooth(chromium: Browser, bench: Bench, megapixels: int) -> None:
    """The drawing of one frame with a photo of that size under the board: the page's own work, median of 60, within a third of a frame at 30 a second.

    The photo here is any picture of that size; how it got there is the test above.
    """
    page = opened(chromium, bench)
    own = page.evaluate(
        """async (n) => {
          const map = window.bench.map, c = document.createElement('canvas');
          c.width = Math.round(Math.sqrt(n * 1e6 * 4 / 3)); c.height = Math.round(c.width * 0.75);
          const x = c.getContext('2d'); x.fillStyle = '#385'; x.fillRect(0, 0, c.width, c.height);
          map.setPhoto('c', c);
          const at = map.frames.length = 0;
          for (let i = 0; i < 60; i++) {
            map.move({ ...map.view, x: map.view.x + (i % 20 < 10 ? 1 : -1), scale: map.view.scale * (i % 30 < 15 ? 1.02 : 1 / 1.02) });
            await new Promise((r) => requestAnimationFrame(r));
          }
          return map.frames.slice().sort((a, b) => a - b)[Math.floor(map.frames.length / 2)];
        }""",
        megapixels,
    )
    page.context.close()
    assert own < 11


@pytest.mark.parametrize("light", ["day", "lamp"])
def test_the_sheet_and_the_slider_break_no_rule_of_axe(
    chromium: Browser, bench: Bench, tmp_path: Path, light: str
) -> None:
    axe = (npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8")
    plain = tmp_path / "plain.png"
    Image.new("RGB", (1200, 900), (40, 90, 60)).save(plain)
    context = chromium.new_context(viewport={"width": 1280, "height": 860}, reduced_motion="reduce", bypass_csp=True)
    context.add_init_script(f"localStorage.setItem('light', '{light}')")
    page = context.new_page()
    page.goto(bench.url())
    page.wait_for_selector("body[data-ready]")
    page.evaluate(
        "() => { const c = document.createElement('canvas'); c.width = c.height = 600; window.bench.map.setPhoto('c', c); window.bench.map.fit(); }"
    )
    page.locator("#underlay-share").wait_for()
    page.locator("#tool-layPhoto").click()
    page.locator("#lay-file").set_input_files(plain)
    page.locator(".lay-pins").wait_for()
    page.evaluate(axe)
    done = page.evaluate("() => axe.run(document, { resultTypes: ['violations'] })")
    context.close()
    assert len(done["passes"]) > 10 and complaints(done["violations"]) == []


def test_keys_typed_in_the_sheet_answer_no_check(page: Page, bench: Bench) -> None:
    """The sheet lies over the round: C and O there must not be readings."""
    page.keyboard.press("p")
    page.locator("#lay-file").wait_for()
    page.locator("#lay-photo").focus()
    for key in ("c", "o", "z", "n"):
        page.keyboard.press(key)
    page.wait_for_timeout(400)
    page.keyboard.press("Escape")
    assert page.evaluate("() => window.bench.bench.readings.length") == 0
    assert page.locator("#lay").is_hidden()
