"""A board that must be built first: the page answers at once, tells the stage, stops it, and everything else goes on (issue 3)."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Route, expect
from tests.browser.conftest import Bench, served

from coppermend.bootstrap import workshop
from coppermend.core.findings import refuse
from coppermend.services.cases import new_case
from coppermend.services.packages import Progress
from coppermend.services.ports import ShelvedBoard

pytestmark = pytest.mark.browser


class HeldBuild:
    """A build that ends when it is let go; ``bad`` makes it refuse the package."""

    def __init__(self, made: ShelvedBoard) -> None:
        self.made, self.go, self.bad = made, threading.Event(), False

    def __call__(self, package: str, told: Progress) -> ShelvedBoard:
        while not self.go.wait(0.02):
            told("contacts on the solder side", 0.42)
        if self.bad:
            raise refuse("PKG-001", "There is no such package.", "Name a folder or a zip.")
        return self.made


@pytest.fixture
def slow(tmp_path: Path, builder, demo_package: Path) -> Iterator[tuple[Bench, HeldBuild]]:  # type: ignore[no-untyped-def]
    """A served bench with a case, started anew: its board is not in memory, and builds wait until they are let go."""
    shop = workshop(str(tmp_path / "store"), builder=builder)
    case = new_case(shop, str(demo_package), "A slow machine").state.case
    build = HeldBuild(builder(str(demo_package)))
    for bench in served(shop, case, build):
        yield bench, build


def test_progress_stop_and_the_rest_of_the_page(chromium: Browser, slow: tuple[Bench, HeldBuild]) -> None:
    bench, build = slow
    context = chromium.new_context(viewport={"width": 1280, "height": 860}, reduced_motion="reduce")
    context.set_default_timeout(30_000)
    page = context.new_page()
    page.on("pageerror", lambda err: bench.errors.append(str(err)))
    page.on("console", lambda m: bench.errors.append(m.text) if m.type == "error" else None)
    page.goto(bench.url())
    sheet = page.locator(".building")
    expect(sheet).to_contain_text("Building the board of")
    expect(sheet).to_contain_text("contacts on the solder side; 42 % done")
    expect(sheet.locator("progress")).to_have_attribute("value", "0.42")
    # nothing else waits: the list of cases
    page.locator("#mark").click()
    expect(page.locator(".cases")).to_contain_text("A slow machine")
    # stopped: the bench says so and what to do
    page.goto(bench.url())
    page.reload()
    expect(sheet).to_be_visible()
    sheet.get_by_role("button", name="Stop").click()
    expect(sheet).to_have_count(0)
    wrong = page.locator("#slip")
    expect(wrong).to_contain_text("was stopped")
    expect(wrong).to_contain_text("BLD-002")
    # a package that gives no board says its own words
    build.bad = True
    wrong.get_by_role("button", name="Try again").click()
    expect(sheet).to_be_visible()
    build.go.set()
    expect(wrong).to_contain_text("There is no such package")
    build.bad = False
    page.wait_for_timeout(5_500)  # the refusal is repeated for as long as a build counts as fresh
    wrong.get_by_role("button", name="Try again").click()
    page.wait_for_selector("body[data-ready]")
    expect(page.locator("#title")).to_contain_text("A slow machine")
    context.close()
    assert [one for one in bench.errors if "422" not in one] == []  # a stopped build and a bad package are refusals


def test_the_wires_leaf_opened_first_goes_on_by_itself_when_the_board_is_there(
    chromium: Browser, slow: tuple[Bench, HeldBuild]
) -> None:
    """Its address opened while the board is being built: "on its way" first, then the leaf without a touch; the same when only the leaf's own request is early."""
    bench, build = slow
    context = chromium.new_context(viewport={"width": 1280, "height": 860}, reduced_motion="reduce")
    context.set_default_timeout(60_000)
    page = context.new_page()
    page.on("pageerror", lambda err: bench.errors.append(str(err)))
    page.on("console", lambda m: bench.errors.append(m.text) if m.type == "error" else None)
    early: list[int] = []

    def first_is_too_early(route: Route) -> None:
        if not early:
            early.append(202)
            build_id = "1"
            finding = {
                "code": "BLD-001",
                "severity": "note",
                "words": "being built",
                "remedy": "",
                "place": {"thing": build_id},
            }
            route.fulfill(status=202, json=finding)
        else:
            route.continue_()

    page.route("**/api/cases/*/wires", first_is_too_early)
    page.goto(bench.url("wires"))
    expect(page.locator(".building")).to_contain_text("Building the board of")
    build.go.set()
    expect(page.locator("#wires")).to_contain_text("No break is known yet", timeout=60_000)
    assert early == [202]
    context.close()
    assert bench.errors == []
