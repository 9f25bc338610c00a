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
    page.locator("#which input[name=part]").fill("U999")
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
    # three presses while the first is under way: two steps, each noted once and in order
    page.evaluate("for (const k of ['power', 'power', 'guard']) document.getElementById(`done-cell-${k}`).click()")
    page.locator("#step-cell-guard.over").wait_for(timeout=60_000)
    log = page.request.get(f"{bench.address}/api/cases/{bench.case}/log").json()["entries"]
    assert [one["payload"]["step"] for one in log if one["kind"] == "care"] == ["before", "power", "guard"]
    (taken,) = [one["payload"]["words"] for one in log if one["kind"] == "photo"]
    assert taken == "After a leaked cell: photographed as found"  # its line in the owner's record
    page.locator("#step-cell-neutralise button", has_text="Left out").click()
    page.locator("#outcome .error-sheet").wait_for(timeout=60_000)
    assert "CAR-004" in page.locator("#outcome").inner_text()
    assert not bench.foreign
    bench.errors.clear()  # as above


def focused(page: Page) -> str:
    """The id of what has the keyboard."""
    return str(page.evaluate("document.activeElement.id || document.activeElement.tagName"))


def test_keys_stay_where_they_are_and_typed_words_too(page: Page, bench: Bench) -> None:
    """Enter on a tab or on a part leaves the keyboard there; a refused part stays typed, and the refusal names no command; the plan is kept by a key."""
    page.goto(f"{bench.address}/page/rework.html?case={bench.case}&tab=care")
    page.locator("#care-cell").wait_for(timeout=60_000)
    page.locator("#tab-part").focus()
    page.keyboard.press("Enter")
    page.locator("#which").wait_for(timeout=60_000)
    assert focused(page) == "tab-part" and page.locator("#tab-part").get_attribute("aria-current") == "page"
    page.locator("#which input[name=part]").fill("U999")
    page.keyboard.press("Enter")
    page.locator("#outcome .error-sheet").wait_for(timeout=60_000)
    assert page.locator("#which input[name=part]").input_value() == "U999"
    assert "coppermend" not in page.locator("#outcome").inner_text()
    page.locator("#which input[name=part]").fill("U2")
    page.locator("#plan").focus()
    page.keyboard.press("Enter")
    page.locator("#order").wait_for(timeout=60_000)
    assert focused(page) == "plan"
    page.locator("#keep-plan").focus()
    page.keyboard.press("Enter")
    page.locator("#outcome", has_text="Kept for the record").wait_for(timeout=60_000)
    assert focused(page) == "keep-plan"
    assert "Plan for taking out U2" in page.request.get(f"{bench.address}/api/cases/{bench.case}/record.html").text()
    sizes = page.evaluate("[...document.querySelectorAll('button, a, summary, input')].filter(e => e.offsetParent)"
                          ".map(e => [e.id || e.textContent, e.getBoundingClientRect().height])")  # fmt: skip
    assert [one for one in sizes if one[1] < 44] == []
    assert not bench.foreign
    bench.errors.clear()  # the browser's console notes the refused request; the page said it in words


def test_a_gauge_is_reckoned_on_the_leaf_of_wires(page: Page, bench: Bench) -> None:
    """30 AWG has 338.6 ohm/km (tables after ASTM B258); both currents say what they rest on; a gauge that is none is refused; what was typed stays."""
    page.goto(bench.url("wires"))
    page.locator("#gauge > summary").click(timeout=60_000)
    page.locator("#gauge-length_mm").fill("100,0")
    page.locator("#gauge-go").click()
    page.locator("#gauge-answer", has_text="33.86 mΩ").wait_for(timeout=60_000)
    for k in (0, 1):
        page.locator("#gauge-answer .rests").nth(k).locator("summary").click()
    assert "ASTM B258" in page.locator("#gauge-answer").inner_text()
    assert "Preece" in page.locator("#gauge-answer .rests").nth(1).inner_text()
    page.locator("#gauge-awg").fill("70")
    page.locator("#gauge-go").click()
    page.locator("#gauge-answer .need").wait_for(timeout=60_000)
    assert page.locator("#gauge-length_mm").input_value() == "100,0"
    assert not bench.foreign
    bench.errors.clear()  # as above


def test_a_part_is_planned_with_ones_own_iron_and_each_number_says_what_it_rests_on(page: Page, bench: Bench) -> None:
    """Tip, solder and margin typed with a comma count in plan and area; a word is refused; needs, order, K/W, W, lists and risks each have their help."""
    page.goto(f"{bench.address}/page/rework.html?case={bench.case}&part=U2")
    page.locator("#order").wait_for(timeout=60_000)
    page.locator("#iron > summary").click()
    page.locator("#removal-tip_c").fill("hot")
    page.locator("#plan").click()
    page.locator("#outcome .error-sheet", has_text='"hot" is no number').wait_for(timeout=60_000)
    page.locator("#removal-tip_c").fill("330,5")
    page.locator("#removal-margin_mm").fill("7")
    page.locator("#plan").click()
    page.locator("#order").wait_for(timeout=60_000)
    helps = page.locator("#rework-view .rests")
    said = helps.locator("summary").all_inner_texts()
    for number in ("these needs", "the order", "K/W", "W rests", '"needs"', "this list", "these places"):
        assert any(number in one for one in said), said
    for k in range(helps.count()):
        helps.nth(k).locator("summary").click()
        assert helps.nth(k).locator("li").first.is_visible()
    assert "tip 330.5 °C" in helps.nth(0).inner_text()
    page.locator("#mark-area").click()
    page.locator("#outcome a").wait_for(timeout=60_000)
    log = page.request.get(f"{bench.address}/api/cases/{bench.case}/log").json()["entries"]
    assert log[-1]["payload"]["part"] == "U2" and log[-1]["payload"]["margin_mm"] == 7
    assert not bench.foreign and not bench.errors


def test_drops_are_noted_where_they_are_told(page: Page, bench: Bench) -> None:
    """Two nets are asked for; a drop is typed beside its place: volt, ampere and tips are in the log, below nothing with its tips turned, and the plan counts it.
    54.1 mV at 0.3 A are 0.180 ohm (Ohm's law)."""
    page.goto(f"{bench.address}/page/rework.html?case={bench.case}&tab=short")
    page.locator("#outcome .error-sheet").wait_for(timeout=60_000)
    page.locator("#supply-asked input[name=net_a]").fill("D5")
    page.locator("#supply-plan").click()
    page.locator("#outcome", has_text="Only one net is named").wait_for(timeout=60_000)
    page.locator("#supply-asked input[name=net_b]").fill("D6")
    page.locator("#supply-plan").click()
    page.locator("#supply").wait_for(timeout=60_000)
    plan = page.request.get(f"{bench.address}/api/cases/{bench.case}/short/supply?net_a=D5&net_b=D6").json()
    second = next(k for k, one in enumerate(plan["drops"]) if one["net"] == "D6") + 1
    page.locator("#supply-ampere").fill("0,3")
    for k, typed in ((1, "54,1"), (second, "-20")):
        page.locator(f"#drop-{k}").fill(typed)
        page.keyboard.press("Enter")
        page.locator("#supply .drop span", has_text=f"{typed} noted").wait_for(timeout=60_000)
        assert focused(page) == f"drop-{k + 1}" and page.locator("#supply-ampere").input_value() == "0,3"
    log = page.request.get(f"{bench.address}/api/cases/{bench.case}/log").json()["entries"]
    first, turned = [one["payload"] for one in log if one["kind"] == "ohms"]
    told = [[one["id"] for one in entry["sense"]] for entry in (first, turned)]
    assert told == [[plan["feed"][0], plan["drops"][1]["point"]], [plan["feed"][1], plan["drops"][second]["point"]]]
    assert abs(first["ohm"] - 0.0541 / 0.3) < 1e-6 and (first["volt"], first["ampere"]) == (0.0541, 0.3)
    assert abs(turned["ohm"] - 0.02 / 0.3) < 1e-6
    assert page.locator("#supply .rests").count() == 3
    assert not bench.foreign
    bench.errors.clear()  # the browser's console notes the refused requests; the page said them in words


def test_wires_are_planned_round_a_cut_under_own_conditions(page: Page, bench: Bench) -> None:
    """The leaf plans what the command plans: a cut, a box kept free; the plan is kept, the cut is noted, what was typed stays."""
    page.goto(bench.url("wires"))
    page.locator("#own > summary").click(timeout=60_000)
    page.locator("#own-net").fill("A5")
    page.locator("#own-cut").fill("104.00,118.11/c")
    page.locator("#own-keep_out").fill("1,2")
    page.locator("#own-go").click()
    page.locator("#own-plans .error-sheet").wait_for(timeout=60_000)
    assert "--" not in page.locator("#own-plans").inner_text()
    page.locator("#own-keep_out").fill("10,10 12,12/s")
    page.locator("#own-go").click()
    page.locator("#own-keep").wait_for(timeout=60_000)
    text = page.locator("#own-plans").inner_text()
    assert "Cut first" in text and "blade" in text and "cut to" in text and "3 mm of it bared" in text
    page.locator("#own-plans summary", has_text="Rules of laying").click()
    rules = page.locator("#own-plans details[open]").inner_text()
    assert "lap: On a track" in rules.replace("Lap:", "lap:") and "IPC-7721" in rules  # each rule with its source
    assert page.locator("#own-plans .need").count() == 0
    page.locator("#own-current_a").fill(
        "50"
    )  # 18 AWG, the thickest of the bench, has 0.823 mm2 (ASTM B258): at 6 A/mm2 (our choice) some 5 A
    page.locator("#own-go").click()
    page.locator("#own-plans .need", has_text="18 AWG falls short").first.wait_for(timeout=60_000)
    page.locator("#own-current_a").fill("")
    page.locator("#own-go").click()
    page.wait_for_function(
        "() => !document.querySelector('#own-plans .need') && document.querySelector('#own-keep')", timeout=60_000
    )
    page.locator("#own-keep").click()
    page.locator("#own-plans", has_text="Kept for the record").wait_for(timeout=60_000)
    page.locator("#own-cut-0").click()
    page.wait_for_function("async () => (await (await fetch(`/api/cases/${location.hash.split('/')[2]}/log`)).json())"
                           ".entries.some(e => e.kind === 'cut')", timeout=60_000)  # fmt: skip
    page.locator("#own-net").wait_for(timeout=60_000)
    assert page.locator("#own-net").input_value() == "A5"
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
        page.locator("#done-cell-power").click()  # a step that is over is drawn otherwise
        page.locator("#step-cell-power.over").wait_for(timeout=60_000)
    page.evaluate("document.querySelectorAll('details.rests').forEach(one => { one.open = true; })")
    page.evaluate(axe)
    done = page.evaluate("() => axe.run(document, { resultTypes: ['violations'] })")
    wide = page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    context.close()
    assert len(done["passes"]) > 10 and complaints(done["violations"]) == [] and wide


@pytest.mark.parametrize("width", [412, 1180])
def test_no_rule_is_broken_by_own_wires(chromium: Browser, bench: Bench, width: int) -> None:
    """The form of one's own wires and its answer, on a telephone and on a tablet: no rule of axe broken, nothing runs off sideways, keys of 44 px and more."""
    axe = (npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8")
    context = chromium.new_context(viewport={"width": width, "height": 900}, reduced_motion="reduce", bypass_csp=True)
    page = context.new_page()
    page.goto(bench.url("wires"))
    page.locator("#own > summary").click(timeout=60_000)
    page.locator("#own-net").fill("A5")
    page.locator("#own-cut").fill("104.00,118.11/c")
    page.locator("#own-go").click()
    page.locator("#own-keep").wait_for(timeout=60_000)
    page.evaluate(axe)
    done = page.evaluate("() => axe.run(document, { resultTypes: ['violations'] })")
    wide = page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    low = page.evaluate("[...document.querySelectorAll('#own button, #own summary, #own input:not([type=checkbox]), #own .tickbox')]"
                        ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 44).map(e => e.outerHTML.slice(0, 80))")  # fmt: skip
    context.close()
    assert len(done["passes"]) > 10 and complaints(done["violations"]) == [] and wide and low == []
