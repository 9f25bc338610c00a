"""The page against the rules of axe-core (WCAG 2 A and AA and its own best practices), every view in both lights.

axe-core is fetched by npm into a cache folder; without Node and npm, or without Chromium, this is not run, and says so.
"""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser
from tests.browser.conftest import Bench
from tests.facts import record_sample as sample
from tests.npm_tools import npm_tool

from coppermend.services.recording.editions import edition
from coppermend.services.recording.html import record_html

pytestmark = pytest.mark.browser

AXE = "4.14.1"
VIEWS = (
    "home",
    "bench",
    "list",
    "marks",
    "keys",
    "area",
    "story",
    "wires",
    "record",
    "ohms",
    "trust",
    "sound",
    "skip",
    "finish",
    "places",
    "meter",
    "lan",
    "pair",
    "waves",
    "rework",
    "solder",
)


@pytest.fixture(scope="session")
def axe() -> str:
    """The checker's script."""
    return (npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8")


def complaints(found: list[dict[str, Any]]) -> list[str]:
    """What is wrong, and where."""
    return [
        f"{one['id']}: {one['help']}: {node['html'][:200]} {node['failureSummary']}"
        for one in found
        for node in one["nodes"]
    ]


@pytest.mark.parametrize("light", ["day", "lamp"])
@pytest.mark.parametrize("view", VIEWS)
def test_no_rule_is_broken(chromium: Browser, bench: Bench, axe: str, view: str, light: str) -> None:
    # the page's policy forbids scripts from elsewhere; only this test's window lets the checker in
    context = chromium.new_context(viewport={"width": 1280, "height": 860}, reduced_motion="reduce", bypass_csp=True)
    context.add_init_script(f"localStorage.setItem('light', '{light}')")
    page = context.new_page()
    where = {
        "home": f"{bench.address}/",
        "places": f"{bench.address}/page/places.html?case={bench.case}",
        "meter": f"{bench.address}/page/meter.html?case={bench.case}",
        "lan": f"{bench.address}/page/lan.html",
        "pair": f"{bench.address}/page/pair.html",
        "waves": f"{bench.address}/page/waves.html?case={bench.case}",
        "rework": f"{bench.address}/page/rework.html?case={bench.case}",
        "solder": f"{bench.address}/page/solder.html?case={bench.case}",
    }
    leaf = view if view in ("story", "wires", "record", "ohms", "trust") else "bench"
    page.goto(where.get(view, bench.url(leaf)))
    if view not in where:
        page.wait_for_selector("body[data-ready]")
    drawn = {
        "home": "#home > *",
        "places": "#places > *",
        "meter": "#rest .sheet",
        "lan": "#shut",
        "pair": "#pair .sheet",
        "waves": "#take-in",
        "rework": "#rework-view .sheet",
        "solder": "#mix button",
        "bench": ".tip",
    }.get(view if view in where else leaf, "#ohms-leaf h1" if leaf == "ohms" else f"#{leaf} h1")
    page.wait_for_selector(drawn, timeout=60_000)
    assert page.locator("html").get_attribute("data-light") == light
    if view in ("list", "marks", "keys"):
        page.keyboard.press({"list": "l", "marks": "m", "keys": "?"}[view])
    if view in ("sound", "skip", "finish"):
        page.evaluate(f"window.bench.do('{'truth' if view == 'finish' else view}')")
        page.wait_for_selector(
            {"sound": "#pedal-open", "skip": "#skip-a", "finish": "#against dd"}[view], timeout=60_000
        )
    if view == "area":
        page.locator("#tool-newArea").click()
    page.evaluate(axe)
    done = page.evaluate("() => axe.run(document, { resultTypes: ['violations'] })")
    context.close()
    assert len(done["passes"]) > 10, "the checker saw next to nothing"
    assert complaints(done["violations"]) == []


@pytest.mark.parametrize("reader", ["owner", "technician"])
def test_the_record_that_is_handed_over_breaks_no_rule(chromium: Browser, axe: str, reader: str) -> None:
    context = chromium.new_context(viewport={"width": 900, "height": 860}, bypass_csp=True)
    page = context.new_page()
    page.set_content(record_html(edition(sample.view(), reader)))
    page.evaluate(axe)
    done = page.evaluate("() => axe.run(document, { resultTypes: ['violations'] })")
    context.close()
    assert len(done["passes"]) > 10, "the checker saw next to nothing"
    assert complaints(done["violations"]) == []
