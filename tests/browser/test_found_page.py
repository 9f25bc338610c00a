"""The page "Starts, memory, ROMs, readings": each kind taken in by keys or touch, answered in words, refused in words, axe on every tab."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route
from tests.browser.conftest import Bench, leaf_page
from tests.browser.test_accessibility import AXE, complaints
from tests.npm_tools import npm_tool

from coppermend.services.bind import bind
from coppermend.services.startwork import note_starts

WAIT_MS = 120_000


@pytest.fixture
def page(chromium: Browser, bench: Bench) -> Iterator[Page]:
    """An empty page, watched for requests to other hosts and for complaints other than refusals that a test asks for."""
    with leaf_page(chromium, bench, console=False) as made:
        yield made


def notes(bench: Bench) -> list[str]:
    return [one.kind for one in bind(bench.shop, bench.case).state.notes]


def checked(page: Page) -> None:
    done = page.evaluate("async () => await axe.run(document, { resultTypes: ['violations'] })")
    assert len(done["passes"]) > 5 and complaints(done["violations"]) == []


def test_every_kind_is_taken_in_and_answered(page: Page, bench: Bench, tmp_path: Path) -> None:
    page.goto(f"{bench.address}/page/found.html?case={bench.case}&tab=memory")
    page.add_script_tag(content=(npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8"))
    page.locator("#error-words").fill("range 8000-FFFF\n" + "".join(f"{0x8000 + k:04X} 55 5D\n" for k in range(10)))
    page.locator("#words-do").tap()
    page.locator("#answer").wait_for(timeout=WAIT_MS)
    assert "part U53" in page.locator("#answer").inner_text() and notes(bench)[-1] == "memory"
    checked(page)
    page.locator("h1").click()
    page.keyboard.press("5")
    data = bytes((7 * k + (k >> 5)) % 256 for k in range(8192))
    rom = tmp_path / "u4.bin"
    rom.write_bytes(data)
    page.locator("#rom-part").fill("U4")
    page.locator("#rom-file").set_input_files(str(rom))
    page.locator("#rom-list").fill(f"U4 basic.bin {zlib.crc32(data):08x}")
    page.locator("#read-out-do").tap()
    page.locator("#answer:has-text('U4: right')").wait_for(timeout=WAIT_MS)
    assert notes(bench)[-1] == "rom"
    checked(page)
    page.locator("#tab-readings").tap()
    page.locator("#compare-do").tap()
    page.locator("#outcome:has-text('no diode or ohms reading')").wait_for(timeout=WAIT_MS)
    checked(page)
    page.locator("#tab-freerun").tap()
    page.locator("#clock").wait_for(timeout=WAIT_MS)
    page.locator("#clock").fill("4MHz")
    for bit, hz in ((0, "500k"), (1, "250k"), (2, "much")):
        page.locator(f"#line-{bit}").fill(hz)
    page.locator("#run-do").tap()
    page.locator("#outcome:has-text('much')").wait_for(timeout=WAIT_MS)
    assert [page.locator(f"#line-{bit}").input_value() for bit in range(3)] == ["500k", "250k", "much"], "all is typed"
    page.locator("#line-2").fill("0")
    page.locator("#run-do").tap()
    page.locator("#answer:has-text('A2 does not move')").wait_for(timeout=WAIT_MS)
    checked(page)
    page.locator("#tab-diagnostic").tap()
    page.locator("#empty:has-text('no diagnostic')").wait_for(
        timeout=WAIT_MS
    )  # this bench's machine has no file of its own
    checked(page)


def test_starts_are_counted_by_keys_and_taken_back(page: Page, bench: Bench) -> None:
    page.goto(f"{bench.address}/page/found.html?case={bench.case}")
    page.locator("#good-of").wait_for(timeout=WAIT_MS)
    page.locator("#good-of").fill("now and then")
    page.keyboard.press("Enter")
    page.locator("#outcome:has-text('such as 3/5')").wait_for(timeout=WAIT_MS)
    page.locator("#good-of").fill("3/5")
    page.keyboard.press("Enter")
    page.locator("#tallies:has-text('3 of 5 starts good')").wait_for(timeout=WAIT_MS)
    assert [(one.good, one.of) for one in bind(bench.shop, bench.case).state.starts] == [(3, 5)]
    page.locator("h1").click()
    page.keyboard.press("z")
    page.locator("#tallies:has-text('No starts were counted')").wait_for(timeout=WAIT_MS)
    assert bind(bench.shop, bench.case).state.starts == ()


def test_news_of_the_case_while_it_works_leaves_the_button_free_after_a_refusal(page: Page, bench: Bench) -> None:
    """The sheet is drawn anew while a note is on its way; the refusal that follows keeps what was typed, and the button may be pressed again."""
    page.goto(f"{bench.address}/page/found.html?case={bench.case}&tab=starts")
    page.locator("#good-of").wait_for(timeout=WAIT_MS)

    held: list[Route] = []
    page.route("**/starts", lambda route: held.append(route), times=1)
    page.locator("#good-of").fill("6/5")
    page.locator("#count-do").tap()
    page.locator("#outcome:has-text('Working')").wait_for(timeout=WAIT_MS)
    note_starts(bench.shop, bench.case, 2, 5)
    page.locator("#tallies:has-text('2 of 5')").wait_for(timeout=WAIT_MS)
    held[0].continue_()
    page.locator("#outcome:has-text('6 of 5')").wait_for(timeout=WAIT_MS)
    assert page.locator("#count-do").is_enabled() and page.locator("#good-of").input_value() == "6/5"
