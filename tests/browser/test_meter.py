"""The meter on the page: found, named, tried; its touches answer the bench of the browser that connected it, once however many windows are open."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.browser.conftest import Bench, opened
from tests.scpi_server import Bench as Far
from tests.scpi_server import on_socket

from coppermend.services.cases import case_state

pytestmark = pytest.mark.browser

OL = "+9.90000000E+37"


def open_meter(page: Page, bench: Bench) -> None:
    """The meter's page, from the bench."""
    page.locator("#meter-page").click()
    expect(page.locator("#meter h1")).to_have_text("Meter")


def test_found_named_tried_and_refused_in_words(page: Page, bench: Bench) -> None:
    open_meter(page, bench)
    page.get_by_role("button", name="Take this: sim:meter").click()
    page.locator("#try").click()
    expect(page.locator("#outcome")).to_contain_text("Coppermend simulated meter reads ohms in 2 wires", timeout=10_000)
    with on_socket(Far()) as port:
        pass
    page.locator("#meter-address").fill(f"127.0.0.1:{port}")
    page.keyboard.press("Enter")
    expect(page.locator("#outcome")).to_contain_text("nothing listens on that port", timeout=10_000)
    expect(page.locator("#outcome")).to_contain_text("by hand")
    bench.errors.clear()  # Chromium writes the refusal (503) to its console


def test_touches_answer_once_in_two_windows_and_the_round_goes_on_by_hand(page: Page, bench: Bench) -> None:
    far = Far([OL], delays_s={"READ?": 0.03})
    with on_socket(far) as port:
        open_meter(page, bench)
        page.locator("#meter-address").fill(f"127.0.0.1:{port}")
        page.locator("#read-on").click()
        expect(page.locator(".dial")).to_have_attribute("data-state", "on")
        expect(page.locator(".dial")).to_contain_text("Touch two points")
        page.locator("#back").click()
        page.wait_for_selector("body[data-ready]")
        expect(page.locator("#meter-words")).to_have_text("Touch two points.")
        other = page.context.new_page()
        other.goto(bench.url())
        expect(other.locator("#meter-words")).to_have_text("Touch two points.")
        for count, ohm in enumerate(("+3.00E-01", "+2.00E-01"), 1):
            far.readings = [ohm]
            expect(page.locator(".ticks i.closed")).to_have_count(count)
            expect(other.locator(".ticks i.closed")).to_have_count(count)
            far.readings = [OL]
            expect(page.locator("#meter-words")).to_have_text("Touch two points.")
        assert [(one.kind, one.value) for one in case_state(bench.shop, bench.case).readings] == [
            ("ohms", 0.3),
            ("ohms", 0.2),
        ]
        page.locator("#meter-now").click()
        expect(page.locator(".ticks i.open")).to_have_count(1)
        far.hang_up_at = 0
        expect(page.locator(".meter-line")).to_have_attribute("data-state", "lost", timeout=10_000)
        expect(page.locator("#meter-words")).to_contain_text("broke off")
        page.keyboard.press("c")
        expect(page.locator(".ticks i.closed")).to_have_count(3)
    assert len(case_state(bench.shop, bench.case).readings) == 4
    open_meter(page, bench)
    page.locator("#let-go").click()
    expect(page.locator(".dial")).to_have_attribute("data-state", "off")


def test_a_window_of_another_browser_follows_and_does_not_answer(page: Page, chromium: Browser, bench: Bench) -> None:
    far = Far([OL], delays_s={"READ?": 0.03})
    with on_socket(far) as port:
        open_meter(page, bench)
        page.locator("#meter-address").fill(f"127.0.0.1:{port}")
        page.locator("#read-on").click()
        expect(page.locator(".dial")).to_contain_text("Touch two points")
        stranger = opened(chromium, bench)
        expect(stranger.locator("#meter-page")).to_have_text("Meter")
        far.readings = ["+3.00E-01"]
        expect(page.locator(".dial")).to_contain_text("Lift the tips")
        stranger.wait_for_timeout(400)
        assert case_state(bench.shop, bench.case).readings == ()
        stranger.context.close()
        page.locator("#let-go").click()
        expect(page.locator(".dial")).to_have_attribute("data-state", "off")


def test_a_touch_that_began_before_the_check_was_shown_answers_nothing(page: Page, bench: Bench) -> None:
    """The beep or a key answered while the tips still lay there: their value must not become the next check's."""
    far, unsteady = Far([OL], delays_s={"READ?": 0.03}), [False]

    def answer(line: str) -> bytes | None:
        if unsteady[0] and line == "READ?":
            far.readings = ["+1.00E+02" if far.reads % 2 else "+3.00E+02"]
        return far(line)

    with on_socket(answer) as port:
        open_meter(page, bench)
        page.locator("#meter-address").fill(f"127.0.0.1:{port}")
        page.locator("#read-on").click()
        expect(page.locator(".dial")).to_contain_text("Touch two points")
        page.locator("#back").click()
        expect(page.locator("#meter-words")).to_have_text("Touch two points.")
        unsteady[0] = True
        expect(page.locator("#meter-words")).to_contain_text("Hold still")
        page.keyboard.press("c")
        expect(page.locator(".ticks i.closed")).to_have_count(1)
        unsteady[0], far.readings = False, ["+3.00E-01"]
        expect(page.locator("#toast")).to_contain_text("began before this check")
        assert len(case_state(bench.shop, bench.case).readings) == 1
        far.readings = [OL]
        expect(page.locator("#meter-words")).to_have_text("Touch two points.")
        far.readings = ["+3.00E-01"]
        expect(page.locator(".ticks i.closed")).to_have_count(2)
    assert [one.kind for one in case_state(bench.shop, bench.case).readings] == ["closed", "ohms"]
