"""States of the leaves beside the bench, for `take_states.py`: arrival, chips, looks, starts and readings, a schematic, rework, acceptance."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from typing import TYPE_CHECKING

from playwright.sync_api import Page

from coppermend.services.schematics import attach_schematic
from coppermend.services.workshop import Workshop

if TYPE_CHECKING:
    from tools.take_states import World

Act = Callable[[Page, "World"], None]
LEAVES: dict[str, Act] = {}
WAIT_MS = 120_000
DATA_PINS = (14, 15, 12, 8, 7, 9, 10, 13)
"""D0 to D7 of the Z80 (its data sheet)."""
ERRORS = "range 8000-FFFF\n" + "".join(f"{0x8000 + k:04X} 55 5D\n" for k in range(10))
ROM = bytes((7 * k + (k >> 5)) % 256 for k in range(8192))


def leaf(name: str) -> Callable[[Act], Act]:
    """A state of a leaf; its function takes a page there."""

    def keep(act: Act) -> Act:
        LEAVES[name] = act
        return act

    return keep


def page_of(page: Page, world: World, file: str, case: str, more: str = "") -> None:
    """A leaf of a case by its file."""
    world.bring(case)
    page.goto(f"{world.address}/page/{file}.html?case={world.cases[case]}{more}")


def shown(name: str, file: str, case: str, more: str, wait: str) -> None:
    """A state that is a leaf once ``wait`` is there."""

    def act(page: Page, world: World) -> None:
        page_of(page, world, file, case, more)
        page.locator(wait).first.wait_for(timeout=WAIT_MS)

    LEAVES[name] = act


shown("arrival", "intake", "leaves", "&tab=intake", "#ask-condition")
shown("arrival-supply", "intake", "leaves", "&tab=supply", "#limit_a")
shown("arrival-gate", "intake", "leaves", "&tab=gate", "#gate-limit")
shown("chips", "chips", "leaves", "", "#part-U1")
shown("chips-part", "chips", "leaves", "&part=U1", "#pin-1")
shown("look", "look", "leaves", "", "#stop-name")
shown("starts", "found", "leaves", "", "#tallies")
shown("diagnostic", "found", "leaves", "&tab=diagnostic", ".found-steps")
shown("rework-care", "rework", "leaves", "&tab=care", "#care-cell")
shown("rework-supply", "rework", "short", "&tab=short", "#supply")
shown("schematic-empty", "schematic", "fresh", "", "#empty")


@leaf("arrival-refused")
def _arrival_refused(page: Page, world: World) -> None:
    page_of(page, world, "intake", "leaves", "&tab=supply")
    page.locator("#VCC-volt").fill("5,7.1")
    page.locator("#note-VCC").click()
    page.locator("#outcome .error-sheet").wait_for(timeout=WAIT_MS)


@leaf("chips-empty")
def _chips_no_case(page: Page, world: World) -> None:
    page.goto(f"{world.address}/page/chips.html")
    page.get_by_text("No case is chosen").wait_for()


@leaf("look-finding")
def _look_finding(page: Page, world: World) -> None:
    page_of(page, world, "look", "leaves")
    page.locator("#stop-name").wait_for(timeout=WAIT_MS)
    page.locator("#side-1").click()
    for _ in range(60):
        if page.locator(".look-pins, #stop-holds:has-text('U1.')").count():
            break
        page.keyboard.press("n")
    page.keyboard.press("1")
    page.locator(".look-pins button").first.wait_for(timeout=WAIT_MS)


@leaf("look-empty")
def _look_empty(page: Page, world: World) -> None:
    page_of(page, world, "look", "fresh")
    page.locator("#empty").wait_for(timeout=WAIT_MS)


@leaf("free-run")
def _free_run(page: Page, world: World) -> None:
    page_of(page, world, "found", "leaves", "&tab=freerun")
    page.locator("#clock").wait_for(timeout=WAIT_MS)
    page.locator("#clock").fill("4MHz")
    for bit, hz in ((0, "500k"), (1, "250k"), (2, "0")):
        page.locator(f"#line-{bit}").fill(hz)
    page.locator("#run-do").click()
    page.locator("#answer").wait_for(timeout=WAIT_MS)


@leaf("memory-test")
def _memory(page: Page, world: World) -> None:
    page_of(page, world, "found", "leaves", "&tab=memory")
    page.locator("#error-words").fill(ERRORS)
    page.locator("#words-do").click()
    page.locator("#answer").wait_for(timeout=WAIT_MS)


@leaf("rom")
def _rom(page: Page, world: World) -> None:
    page_of(page, world, "found", "leaves", "&tab=rom")
    bad = bytes(one & 0xF7 for one in ROM)
    page.locator("#rom-part").fill("U4")
    file = {"name": "u4.bin", "mimeType": "application/octet-stream", "buffer": bad}
    page.locator("#rom-file").set_input_files([file])  # type: ignore[list-item]
    page.locator("#rom-list").fill(f"U4 basic.bin {zlib.crc32(ROM):08x}")
    page.locator("#read-out-do").click()
    page.locator("#answer").wait_for(timeout=WAIT_MS)


@leaf("readings-compared")
def _compared(page: Page, world: World) -> None:
    page_of(page, world, "found", "leaves", "&tab=readings")
    page.locator("#compare-do").click()
    page.locator("#answer").wait_for(timeout=WAIT_MS)


@leaf("schematic")
def _schematic(page: Page, world: World) -> None:
    page_of(page, world, "schematic", "leaves")
    page.locator("#name").fill("CPUCLK")
    page.locator("#name").press("Enter")
    page.locator("#hit-0").wait_for(timeout=WAIT_MS)


@leaf("wires-own")
def _wires_own(page: Page, world: World) -> None:
    from tools.take_states import at, to_top

    at(page, world, "round", "wires")
    page.locator("#own > summary").click(timeout=WAIT_MS)
    page.locator("#own-net").fill("A5")
    page.locator("#own-cut").fill("104.00,118.11/c")
    page.locator("#own-go").click()
    page.locator("#own-keep").wait_for(timeout=WAIT_MS)
    to_top(page, "#own-plans")


@leaf("acceptance")
def _acceptance(page: Page, world: World) -> None:
    from tools.take_states import at, to_top

    at(page, world, "leaves", "story")
    page.locator("#acceptance").wait_for(timeout=WAIT_MS)
    to_top(page, "#acceptance")


@leaf("no-case")
def _no_case(page: Page, world: World) -> None:
    page.goto(f"{world.address}/page/found.html")
    page.get_by_text("No case is chosen").wait_for()


def brought(world: World, case: str) -> None:
    """A case on which the leaves have something to show: what came in, a supply, pieces, diode readings, starts, a schematic."""
    call = world.call
    call(case, "intake", {"item": "condition", "words": "dusty, one key missing", "photos": []})
    call(case, "supply", {"rail": "VCC", "at": "alone", "volt": "5.02", "load": "1,2", "ripple": "30mV"})
    call(case, "chips", {"chip": "C7", "type": "Z80A", "place": "stock"})
    call(case, "chips/U1/checks", {"item": "seat", "good": False, "pins": ""})
    for k, pin in enumerate(DATA_PINS):
        volt = "0.21V" if k == 5 else f"0.6{k}V"
        call(case, "entries", {"kind": "diode", "points": [f"U1.{pin}", "U1.29"], "value": volt})
    call(case, "starts", {"good": 3, "of": 5, "condition": "cold"})
    call(case, "diagnostic", {"passed": 2})
    call(case, "entries", {"kind": "test", "value": "works", "options": {"item": "keyboard"}})


def schematic_kept(shop: Workshop, case: str) -> None:
    """Attach the words of a schematic on two pages, as the tests write them."""
    from tests.facts.test_schematic import WORDS, pdf

    attach_schematic(shop, case, pdf(WORDS), "larkenfell.pdf")
