"""A phone, a tablet and a laptop at 200 % zoom: both places, what is expected and the answers are all in sight at once.

WCAG 2.2, success criterion 1.4.4: text is resized to 200 % without loss of content. A window of 1280 x 800 at 200 % has 640 x 400 CSS pixels.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser
from tests.browser.conftest import Bench, opened

BOXES = """() => Object.fromEntries(['.tip:nth-child(1 of .tip)', '.tip:nth-child(2 of .tip)', '.expect', '.hands', '#slip', '.looks'].map(
    (s) => { const r = document.querySelector(s === '#slip' ? s : `#slip ${s}`).getBoundingClientRect(); return [s, [r.top, r.bottom]]; }))"""


TWO_SIDES = """() => { const c = window.bench.bench.step.check; c.b = { ...c.b, side: 's', side_words: 'solder side' }; c.turn_over = true; window.bench.redraw(); }"""
"""The longest words that a check has: a tip on either side, and the board to be turned over."""

LONG_NAMES = """() => { const c = window.bench.bench.step.check; c.a = { ...c.a, name: 'U51 pin 14', touch: 'touch the solder joint', kind: 'joint' };
    c.b = { ...c.b, side: c.a.side, side_words: c.a.side_words, name: 'U38 pin 15' }; c.turn_over = false; window.bench.redraw(); }"""
IN_OHMS = """() => { const c = window.bench.bench.step.check; Object.assign(c, { purpose: 'ohms', expected_ohm: 0.003, broken_ohm: 0.0054,
    meter: { words: 'four-wire, 0.1 milliohm', options: { wires: 4 } } }); window.bench.redraw(); }"""


@pytest.mark.parametrize(
    "size", [(640, 400), (683, 384), (390, 780), (390, 844), (768, 1024), (820, 1180), (1024, 768), (1280, 800)]
)
def test_both_places_and_the_expectation_stand_above_the_answers(
    chromium: Browser, bench: Bench, size: tuple[int, int]
) -> None:
    page = opened(chromium, bench, size=size)
    page.wait_for_selector("#answer-closed")
    assert page.locator("#slip .tip").count() == 2
    for state, bring in (("first", ""), ("long names", LONG_NAMES), ("two sides", TWO_SIDES), ("in ohms", IN_OHMS)):
        page.evaluate(bring or "() => 0")
        one, two, expect, hands, slip, looks = page.evaluate(BOXES).values()
        assert slip[0] <= one[0] < one[1] <= two[0] < two[1] <= expect[0] < expect[1] <= hands[0] + 0.5, state
        inner = looks if looks[1] else slip  # a window with room has no box of its own for the looks
        assert expect[1] <= inner[1] + 0.5 and hands[1] <= slip[1] <= size[1], state
    page.context.close()
    assert bench.errors == []


DOUBT = """() => { const b = window.bench.bench, c = b.step.check; c.purpose = 'isolation'; c.needs = []; c.turn_over = false;
    c.a = { ...c.a, side: window.bench.map.view.face }; c.b = { ...c.b, side: c.a.side };
    b.step.reason = 'VCC and /cpu/A0 read joined where they should be apart: 71 % that it is true'; window.bench.redraw();
    const r = document.querySelector('#slip .looks > .why'), hands = document.querySelector('#slip .hands').getBoundingClientRect();
    return [r.clientWidth, r.scrollWidth, r.clientHeight, r.scrollHeight, hands.bottom, document.querySelector('#slip').getBoundingClientRect().bottom]; }"""


def test_a_laptop_shows_the_whole_reason(chromium: Browser, bench: Bench) -> None:
    page = opened(chromium, bench, size=(1366, 768))
    page.wait_for_selector("#answer-closed")
    wide, text_wide, high, text_high, hands, slip = page.evaluate(DOUBT)
    assert wide > 0 and text_wide <= wide and text_high <= high and hands <= slip <= 768
    page.context.close()
    assert bench.errors == []
