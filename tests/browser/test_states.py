"""Every state of every screen (tools/take_states.py) against the rules of axe-core in both lights, and at 200 % zoom and on a phone without a sideways scroll.

Takes a quarter of an hour, so it runs with the soak tier; test_accessibility looks at the views always.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page
from tests.browser.test_accessibility import AXE, complaints
from tests.npm_tools import npm_tool
from tools.take_states import STATES, World, laid, made_world

pytestmark = [pytest.mark.browser, pytest.mark.soak]

ZOOMED = (720, 450)
"""1440 by 900 at 200 % zoom: so many CSS pixels are left."""
PHONE = (390, 844)


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory, chromium: Browser) -> Iterator[World]:
    """The served cases, each brought where its pictures are taken."""
    with made_world(tmp_path_factory.mktemp("world")) as made:
        laid(chromium, made)
        yield made


def shown(chromium: Browser, world: World, state: str, size: tuple[int, int], light: str) -> Page:
    """A page in that state; its policy lets the checker in."""
    context = chromium.new_context(
        viewport={"width": size[0], "height": size[1]},
        reduced_motion="reduce",
        bypass_csp=True,
        has_touch=size[0] < 800,
    )
    context.add_init_script(f"localStorage.setItem('light', '{light}')")
    context.set_default_timeout(30_000)
    page = context.new_page()
    STATES[state](page, world)
    return page


@pytest.mark.parametrize("state", sorted(STATES))
def test_no_rule_is_broken_and_nothing_is_cut_at_twice_the_size(chromium: Browser, world: World, state: str) -> None:
    axe = (npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8")
    for light in ("day", "lamp"):
        page = shown(chromium, world, state, (1440, 900), light)
        page.evaluate(axe)
        done = page.evaluate("() => axe.run(document, { resultTypes: ['violations'] })")
        page.unroute_all(behavior="ignoreErrors")
        page.context.close()
        assert len(done["passes"]) > 5, "the checker saw next to nothing"
        assert complaints(done["violations"]) == [], light
    for size in (ZOOMED, PHONE):
        page = shown(chromium, world, state, size, "day")
        wide = page.evaluate(
            "() => [document.documentElement, ...document.querySelectorAll('main > section:not([hidden]), #slip, #card, dialog[open]')]"
            ".filter((e) => e.clientWidth && e.scrollWidth > e.clientWidth + 1).map((e) => `${e.id || e.tagName} ${e.scrollWidth} > ${e.clientWidth}`)"
        )
        page.unroute_all(behavior="ignoreErrors")
        page.context.close()
        assert wide == [], size
