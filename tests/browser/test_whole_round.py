"""Whole rounds in a real Chromium on the demonstration machine: with keys only, with touch only, with generated beeps only, until the round names no check any more.

The whole machine takes minutes for each and runs with the soak tier; a small work area runs always. No real meter, no real room: see test_sound.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page, Playwright, expect
from playwright.sync_api import TimeoutError as WaitedTooLong
from tests.browser.conftest import Bench, opened
from tests.browser.test_sound import GENERATOR, PATIENT, browser_page

from coppermend.services.areas import add_area
from coppermend.services.bench import next_for_case, proven_for_case
from coppermend.services.cases import case_state, new_case
from coppermend.services.patients import patient_truth, put_patient

pytestmark = pytest.mark.browser
expect.set_options(timeout=20_000)

MOST = 400
"""More answers than any of these rounds takes."""
TRIES = 4
"""So often is a check measured before the test says that beeps are not heard."""
COUNT = "window.bench.bench.readings.filter((r) => !r.undone).length"


def with_keys(page: Page) -> None:
    """Touch the tips, then the key that says what the meter said."""
    page.keyboard.press(" ")
    chosen = page.locator(".hands .key.chosen")
    expect(chosen).to_have_count(1)
    page.keyboard.press(
        {"answer-closed": "c", "answer-open": "o", "answer-ohms": "d"}[chosen.get_attribute("id") or ""]
    )


def with_touch(page: Page) -> None:
    """The same with a finger."""
    page.locator("#touch").tap()
    chosen = page.locator(".hands .key.chosen")
    expect(chosen).to_have_count(1)
    chosen.tap()


def with_beeps(page: Page) -> None:
    """The tips are moved; the meter beeps, or they are tapped twice; where nothing was heard, once more, as a hand does.

    Nothing is heard within 0.8 s of sound after a new check; a busy machine shows it late, and then the first beep can fall into that time.
    """
    before = page.evaluate(COUNT)
    for _ in range(TRIES):
        page.wait_for_timeout(1000)
        says = page.evaluate(PATIENT)
        page.evaluate("beep(0.05, 0.35)" if says == "closed" else "beep(0.05, 0.07), beep(0.3, 0.07)")
        with contextlib.suppress(WaitedTooLong):
            page.wait_for_function(f"() => {COUNT} > {before}", timeout=6_000)
            return


def to_the_end(page: Page, bench: Bench, answer: Callable[[Page], None]) -> int:
    """Answer every check that is shown from here on; how many there were."""
    for count in range(MOST):
        if not page.evaluate("Boolean(window.bench.bench.step.check)"):
            assert next_for_case(bench.shop, bench.case).check is None
            return count
        before = page.evaluate(COUNT)
        answer(page)
        page.wait_for_function(f"() => {COUNT} > {before} && !window.bench.busy", timeout=30_000)
    raise AssertionError("the round does not end")


def judged(bench: Bench, count: int) -> None:
    """Every answer is in the log, everything provable is settled, and what was broken was found."""
    state = case_state(bench.shop, bench.case)
    assert len(state.readings) == count > 3
    proof = proven_for_case(bench.shop, bench.case)
    assert not proof.open_sites
    truth = patient_truth(bench.shop, bench.case)
    assert truth.breaks and all(one.found or one.mended for one in truth.breaks)


@pytest.fixture
def small(bench: Bench, demo_package) -> Bench:  # type: ignore[no-untyped-def]
    """A case with the work area round one small part and one break in it; readings are true."""
    bench.case = new_case(bench.shop, str(demo_package), "A small area").state.case
    add_area(bench.shop, bench.case, part="U31", margin_mm=1.0)
    put_patient(bench.shop, bench.case, seed=3, breaks=1, noise="off")
    return bench


def play(how: str, chromium: Browser, player: Playwright, bench: Bench) -> None:
    """A whole round by one hand alone."""
    if how == "beeps":
        with browser_page(player, bench, script=GENERATOR) as page:
            page.evaluate(
                "Object.assign(window.bench.hearing, {set: {meter: {hz: 2730, db: -26}, hold_ms: 100, taps: true, wait_s: 0}})"
            )
            page.locator("#hear").click()
            expect(page.locator("#hear")).to_contain_text("listening")
            judged(bench, to_the_end(page, bench, with_beeps))
        return
    page = opened(chromium, bench, touch=how == "touch", size=(820, 1180) if how == "touch" else (1280, 800))
    judged(bench, to_the_end(page, bench, with_touch if how == "touch" else with_keys))
    page.context.close()
    assert bench.foreign == [] and bench.errors == []


@pytest.mark.parametrize("how", ["keys", "touch", pytest.param("beeps", marks=pytest.mark.soak)])
def test_a_small_round_to_its_end(how: str, chromium: Browser, player: Playwright, small: Bench) -> None:
    play(how, chromium, player, small)


@pytest.mark.soak
@pytest.mark.parametrize("how", ["keys", "touch", "beeps"])
def test_the_whole_machine_to_its_end(how: str, chromium: Browser, player: Playwright, bench: Bench) -> None:
    play(how, chromium, player, bench)


def test_keys_only_from_the_break_to_the_planners_count(chromium: Browser, small: Bench) -> None:
    """A break is found, noted as mended, what that asks for is read; the end shows what was broken and what the planner needs."""
    page = opened(chromium, small)
    for _ in range(6):
        to_the_end(page, small, with_keys)
        if page.evaluate("window.bench.bench.step.kind") not in ("patch", "reseat", "solder", "look", "clean"):
            break
        before = page.evaluate(COUNT)
        page.keyboard.press("d")
        page.wait_for_function(f"() => {COUNT} > {before} && !window.bench.busy")
    assert page.evaluate("window.bench.bench.step.kind") in ("gate", "power", "done")
    page.get_by_role("button", name="What was really broken?").focus()
    page.keyboard.press("Enter")
    truths = page.locator(".truths li")
    expect(truths).to_have_count(1)
    expect(truths).to_contain_text("mended")
    expect(page.locator("#against")).to_contain_text("the planner’s checks", timeout=60_000)
    mine = sum(1 for one in case_state(small.shop, small.case).readings if one.points[0].net == one.points[1].net)
    expect(page.locator("#against dd").first).to_have_text(str(mine))
    page.context.close()
    assert small.foreign == [] and small.errors == []


def test_a_bridge_and_a_break_by_keys_to_the_planners_counts(chromium: Browser, bench: Bench, demo_package) -> None:  # type: ignore[no-untyped-def]
    """Practice with a short: it is found, cleared, read again; the break is mended; the end shows both and the counts on one net and between two."""
    bench.case = new_case(bench.shop, str(demo_package), "A small area with a bridge").state.case
    add_area(bench.shop, bench.case, part="U31", margin_mm=1.0)
    put_patient(bench.shop, bench.case, seed=3, breaks=1, noise="off", bridges=1)
    page = opened(chromium, bench)
    kinds = []
    for _ in range(8):
        to_the_end(page, bench, with_keys)
        kind = page.evaluate("window.bench.bench.step.kind")
        if kind not in ("patch", "reseat", "solder", "look", "clean", "short"):
            break
        kinds.append(kind)
        if kind == "short":
            expect(page.locator("#slip .step-words")).to_contain_text("are joined")
            expect(page.locator("#slip")).not_to_contain_text("short locate")
        before = page.evaluate("window.bench.bench.step.words")
        page.keyboard.press("d")
        page.wait_for_function("(was) => window.bench.bench.step.words !== was && !window.bench.busy", arg=before)
    assert "short" in kinds and len(kinds) >= 2
    assert page.evaluate("window.bench.bench.step.kind") in ("gate", "power", "done")
    page.get_by_role("button", name="What was really broken?").focus()
    page.keyboard.press("Enter")
    truths = page.locator(".truths li")
    expect(truths).to_have_count(2)
    for row in truths.all():
        expect(row).to_have_attribute("data-fate", "mended")
    expect(page.locator("#against")).to_contain_text("your readings between two nets", timeout=60_000)
    apart = sum(1 for one in case_state(bench.shop, bench.case).readings if one.points[0].net != one.points[1].net)
    expect(page.locator("#against dd").nth(3)).to_have_text(str(apart))
    page.context.close()
    assert bench.foreign == [] and bench.errors == []
