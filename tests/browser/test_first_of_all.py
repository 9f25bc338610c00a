"""The bench shows what comes first of all the work where the next step stands, with one tap to where it is done and a way on with the copper; keys and touch."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.browser.conftest import Bench, opened
from tests.browser.test_accessibility import AXE, complaints
from tests.browser.test_bench_page import readings
from tests.npm_tools import npm_tool

from coppermend.bootstrap import device_book, machine_model
from coppermend.services.bench import next_for_case
from coppermend.services.bind import bind
from coppermend.services.notes import note
from coppermend.services.placewords import places_in_words
from coppermend.services.requests import Request
from coppermend.services.whole import next_of_all

pytestmark = pytest.mark.browser
WAIT_MS = 180_000


def started(bench: Bench) -> str:
    """A start that showed nothing; what the command line names then, in the page's words."""
    note(bench.shop, bench.case, Request("gate", value="override", words="a test"))
    note(bench.shop, bench.case, Request("power", value="on"))
    note(bench.shop, bench.case, Request("seen", fields={"screen": "blank"}))
    note(bench.shop, bench.case, Request("power", value="off"))
    binding = bind(bench.shop, bench.case)
    step = next_of_all(bench.shop, bench.case, device_book(), machine_model(binding.state.package))
    assert step.kind == "powered"
    return places_in_words(binding.board, step.words)


def weighed(page: Page) -> None:
    """Wait until the bench has what comes first."""
    for _ in range(WAIT_MS // 250):
        if page.evaluate("() => Boolean(window.bench.first.found)"):
            return
        page.wait_for_timeout(250)
    raise AssertionError("what comes first was not weighed")


def done_there(page: Page, act: Callable[[], None]) -> None:
    """One tap leads to where it is done: a look to the suspects, a check without power sets both tips."""
    tips = page.evaluate("() => window.bench.first.found.tips?.map((t) => t.name)")
    act()
    if tips is None:
        page.wait_for_url("**/page/suspects.html?case=*")
        return
    expect(page.locator(".slip-head b")).to_have_text("Your own check")
    for k in (0, 1):
        expect(page.locator(".tip .name").nth(k)).to_contain_text(tips[k])


def test_with_keys_only(bench: Bench, chromium: Browser) -> None:
    words = started(bench)
    page = opened(chromium, bench)
    weighed(page)
    if page.locator("#show-first").count():  # the check had stood for a while when it came
        page.keyboard.press("e")
    expect(page.locator("#first-words")).to_have_text(words)
    expect(page.locator("#slip")).to_contain_text("modelled")
    page.keyboard.press("c")  # an answer to a check that nobody sees
    expect(page.locator("#toast")).to_contain_text("Not noted")
    assert readings(bench) == []
    page.keyboard.press("e")
    check = next_for_case(bench.shop, bench.case).check
    assert check is not None
    expect(page.locator(".tip .name")).to_have_count(2)
    expect(page.locator("#of-all")).to_contain_text("First of all the work")
    page.keyboard.press("c")
    expect(page.locator(".ticks i.closed")).to_have_count(1)
    assert readings(bench) == [("closed", (check.point_a, check.point_b))]
    weighed(page)
    expect(page.locator("#first-words")).to_have_count(0)  # the copper was chosen: it stays a line
    expect(page.locator("#show-first")).to_be_visible()
    page.keyboard.press("2")
    expect(page.locator("#story")).to_be_visible()
    page.keyboard.press("1")
    expect(page.locator("#first-words")).to_be_visible()
    done_there(page, lambda: page.keyboard.press("d"))
    page.context.close()
    assert bench.errors == [] and bench.foreign == []


def test_by_touch_on_a_phone(bench: Bench, chromium: Browser) -> None:
    words = started(bench)
    page = opened(chromium, bench, touch=True, size=(390, 844))
    weighed(page)
    if page.locator("#show-first").count():
        page.locator("#show-first").tap()
    expect(page.locator("#first-words")).to_have_text(words)
    page.locator("#copper-on").tap()
    before = page.locator("#answer-closed").bounding_box()
    expect(page.locator("#of-all")).to_be_visible()
    page.evaluate("() => { window.bench.first.found = null; window.bench.redraw(); }")  # while it is weighed anew
    assert page.locator("#answer-closed").bounding_box() == before, "an answer's key moved under the finger"
    page.reload()
    page.wait_for_selector("body[data-ready]", timeout=60_000)
    weighed(page)
    if page.locator("#show-first").count():
        page.locator("#show-first").tap()
    done_there(page, lambda: page.locator("#slip [data-main]").tap())
    page.context.close()
    assert bench.errors == [] and bench.foreign == []


@pytest.mark.parametrize("light", ["day", "lamp"])
def test_no_rule_of_accessibility_is_broken(bench: Bench, chromium: Browser, light: str) -> None:
    """The choice on the slip, and the line above the check, against axe-core."""
    started(bench)
    context = chromium.new_context(viewport={"width": 1280, "height": 860}, reduced_motion="reduce", bypass_csp=True)
    context.add_init_script(f"localStorage.setItem('light', '{light}')")
    page = context.new_page()
    page.goto(bench.url())
    page.wait_for_selector("body[data-ready]", timeout=60_000)
    weighed(page)
    page.add_script_tag(content=(npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8"))
    for _ in range(2):
        done = page.evaluate("() => axe.run(document, { resultTypes: ['violations'] })")
        assert complaints(done["violations"]) == []
        page.keyboard.press("e")
        page.wait_for_timeout(200)
    context.close()
