"""The suspects page: evidence colours the board, a pin's card says what was expected and seen, every answer reaches the log, every state says what it is."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Browser, Page, Route
from tests.browser.conftest import Bench
from tests.browser.test_accessibility import AXE, complaints
from tests.browser.test_waves_page import scope_file
from tests.npm_tools import npm_tool
from tests.thermal_pictures import csv_of, picture, png_of, seen_at

from coppermend.core.thermal.greybody import apparent_c
from coppermend.services.bind import bind
from coppermend.services.notes import note
from coppermend.services.typed import request_from_words

WAIT_MS = 120_000
AIR_C = 22.0
WARM = {f"U{k}": 33.0 for k in (1, 2, 4, 5, 22, 26, 27, 29, *range(50, 58))}
TAPPED = ("U1.1", "U57.8", "U2.20", "U50.1", "U22.40", "U4.14")


@pytest.fixture
def page(chromium: Browser, bench: Bench) -> Iterator[Page]:
    """An empty page, watched like the bench's own; the bench itself is not drawn, which would take longer than the test."""
    context = chromium.new_context(viewport={"width": 1280, "height": 860}, reduced_motion="reduce")
    made = context.new_page()
    mine = (bench.address, "data:", f"blob:{bench.address}")
    made.on("request", lambda r: None if r.url.startswith(mine) else bench.foreign.append(r.url))
    made.on("pageerror", lambda err: bench.errors.append(str(err)))
    made.on("console", lambda m: bench.errors.append(m.text) if m.type == "error" else None)
    yield made
    context.close()
    assert bench.foreign == [], "the page asked another host"
    assert bench.errors == [], "the page complained"


def say(bench: Bench, *words: str) -> None:
    note(bench.shop, bench.case, request_from_words(bench.shop, bench.case, words[0], words[1:]))


def three_levels(bench: Bench) -> None:
    """The clock is there at the processor, its reset is right, and A11 stays low at the processor."""
    for point, says in (("U1.6", "pulsing"), ("U1.26", "high"), ("U1.1", "low")):
        say(bench, "level", point, says)


def opened(page: Page, bench: Bench) -> None:
    page.goto(f"{bench.address}/page/suspects.html?case={bench.case}")
    page.locator("#suspect-list li").first.wait_for(timeout=WAIT_MS)
    page.locator("#pin-power, #say-closed").first.wait_for(timeout=WAIT_MS)


def last(bench: Bench) -> dict[str, Any]:
    entry = bench.shop.store.entries(bench.case)[-1]
    return {"kind": entry.kind, **entry.payload}


def noted(page: Page, words: str) -> None:
    page.locator("#outcome .need").filter(has_text=words).wait_for(timeout=WAIT_MS)
    page.wait_for_function("() => !window.suspectsPage.busy && !window.suspectsPage.looking", timeout=WAIT_MS)


def altered(page: Page, change: Callable[[dict[str, Any]], None]) -> None:
    """An answer that cannot be had here is put in the way: the server's own, changed."""

    def answer(route: Route) -> None:
        got = route.fetch(timeout=WAIT_MS)
        body = got.json()
        change(body)
        route.fulfill(response=got, body=json.dumps(body))

    page.route("**/suspects/map", answer)


def test_readings_colour_the_board_and_fill_the_card(page: Page, bench: Bench) -> None:
    three_levels(bench)
    opened(page, bench)
    assert page.locator("#suspect-map .mark").count() == 3
    assert page.locator("#suspect-map .mark .fits").count() == 2
    assert page.locator("#suspect-map .mark .breaks").count() == 1
    assert page.locator("#suspect-map .lie").count() >= 1 and page.locator("#suspect-map .rank").count() >= 1
    assert page.locator("#suspect-map .track.odd").count() >= 1
    assert page.locator("#suspect-map .track:not(.odd)").count() >= 1
    assert "3 places looked at, 1 not as expected" in (page.locator("#suspect-map").get_attribute("aria-label") or "")
    rows = page.locator("#places tbody tr").all_inner_texts()
    assert len(rows) == 3 and "A11" in rows[2] and "not as expected" in rows[2] and "4 MHz" in rows[0]
    moments = page.locator("#course tbody tr").all_inner_texts()
    assert len(moments) == 4 and "U1.6" in moments[1] and "%" in moments[3]
    suspects = page.locator("#suspect-list").inner_text()
    assert "For:" in suspects and "likelier" in suspects and "What would clear it" in suspects
    assert "bits a minute" in page.locator("#worth").inner_text() and "modelled" in page.locator("#why").inner_text()
    page.locator("#suspect-map .mark[aria-label*='not as']").focus()
    page.keyboard.press("Enter")
    page.locator("#seen").wait_for(timeout=WAIT_MS)
    card = page.locator("#pin-card").inner_text()
    assert "U1 pin 1: not as expected" in card and "Expected:" in card and "Seen:" in card and "low" in card
    assert "one probe" in page.locator("#probing").inner_text()
    page.locator("#to-next").click()
    say(bench, "level", "U1.12", "high")  # another screen: the page follows
    page.locator("#course tbody tr").nth(4).wait_for(timeout=WAIT_MS)


def test_one_key_answers_and_one_takes_it_back(page: Page, bench: Bench) -> None:
    opened(page, bench)
    assert "Nothing was seen under power yet" in page.locator("#empty").inner_text()
    assert "Nothing was looked at" in page.locator("#places").inner_text()
    caution = page.locator("#caution").inner_text()
    if page.evaluate("() => window.suspectsPage.checking"):  # copper first: a place under power is chosen by hand
        assert "Power off, supply unplugged" in caution
        page.evaluate("() => window.suspectsPage.choose('U1.6')")
    else:
        assert "local rules" in caution
    at = page.evaluate("() => window.suspectsPage.points[0]")
    both = page.evaluate("() => window.suspectsPage.found.suspects.copper_first")
    assert both["prove_all_s"] > 0 and both["words"] in page.locator("#copper-first").inner_text()
    page.keyboard.press("p")
    noted(page, "Noted")
    made = last(bench)
    assert (made["kind"], made["level"]) == ("level", "pulsing") and made["points"][0]["id"].startswith(at)
    page.wait_for_function(
        "() => /Noted.*Next:/.test(document.getElementById('say').textContent)", timeout=WAIT_MS
    )  # what a screen reader hears
    assert page.locator("#suspect-map .mark").count() == 1
    page.keyboard.press("z")
    noted(page, "taken back")
    assert last(bench)["kind"] == "undo" and page.locator("#suspect-map .mark").count() == 0
    if page.locator("[id^='to-U']").count() > 1:
        before = page.evaluate("() => window.suspectsPage.points[0]")
        page.keyboard.press("n")
        page.wait_for_function("(was) => window.suspectsPage.points[0] !== was", arg=before)
    page.locator("#value").fill("h")  # typing is never an answer
    page.locator("#value").press("h")
    assert last(bench)["kind"] == "undo"


@pytest.mark.parametrize(
    ("at", "typed", "kind", "field", "value"),
    [("U1.6", "3.9 MHz", "hertz", "hertz", 3.9e6), ("U1.11", "4.95 V", "volts", "volt", 4.95)],
)
def test_a_value_is_a_frequency_or_a_voltage(
    page: Page, bench: Bench, at: str, typed: str, kind: str, field: str, value: float
) -> None:
    opened(page, bench)
    page.evaluate(f"() => window.suspectsPage.choose('{at}')")
    page.locator("#pin-power").wait_for(timeout=WAIT_MS)
    page.locator("#value").fill(typed)
    page.locator("#value").press("Enter")
    noted(page, "Noted")
    made = last(bench)
    assert made["kind"] == kind and made[field] == pytest.approx(value) and made["raw"] == typed
    row = page.locator("#places tbody tr").inner_text()
    assert ("not as expected" in row) == (kind == "hertz")  # the clock is 4 MHz, the rail 5 V with 5 %


def test_a_saved_wave_is_taken_in_at_the_pin(page: Page, bench: Bench, tmp_path: Path) -> None:
    opened(page, bench)
    page.evaluate("() => window.suspectsPage.choose('U1.6')")
    page.locator("#pin-power").wait_for(timeout=WAIT_MS)
    page.locator("#wave-file").set_input_files(scope_file(tmp_path / "a.csv"))
    noted(page, "Measured and noted")
    assert last(bench)["kind"] == "wave"
    assert "moves as expected" in page.locator("#course").inner_text()


def test_what_a_start_shows_is_evidence(page: Page, bench: Bench) -> None:
    opened(page, bench)
    page.locator("#screen").select_option("fails")
    page.locator("#symptom-form button").click()
    noted(page, "Noted")
    assert last(bench)["kind"] == "symptom" and last(bench)["code"] == "fails"
    assert "the start shows: it does not start as it should" in page.locator("#course").inner_text()


def test_a_thermal_picture_is_handed_in(page: Page, bench: Bench, tmp_path: Path) -> None:
    """One chip is 95 degC: the picture is made through a known view, the chip is called hot on the map and in the list."""
    board = bind(bench.shop, bench.case).board
    celsius, view = picture(board, {**WARM, "U29": 95.0}, AIR_C, (160, 120))
    file = tmp_path / "hot.csv"
    file.write_bytes(csv_of(apparent_c(celsius, 0.9, AIR_C)))
    pins = {pin.name: (pin.x_mm, pin.y_mm) for part in board.parts for pin in part.pins}
    taps = " ".join(f"{name}={x:.1f},{y:.1f}" for name in TAPPED for x, y in seen_at(view, pins[name]))
    opened(page, bench)
    page.locator("#heat > summary").click()
    assert "touch nothing" in page.locator("#heat .need").first.inner_text()
    page.locator("#heat-file").set_input_files(file)
    page.locator("#heat-picture").wait_for()
    page.locator("#heat-taps").fill(taps)
    page.locator("#heat-air").fill(f"{AIR_C:g}")
    page.locator("#heat-read").click()
    noted(page, "Read and noted")
    assert last(bench)["kind"] == "heat"
    row = page.locator("#places tbody tr").filter(has=page.locator("th", has_text=re.compile("^U29$")))
    assert "hot" in row.inner_text()
    assert page.locator("#suspect-map .ref.odd").all_text_contents().count("U29 hot") == 1
    lies_under_the_map(page, bench)


def test_places_and_the_colour_bar_are_tapped_in_the_picture(page: Page, bench: Bench, tmp_path: Path) -> None:
    """By mouse and by keys: the taps stand where they were made (a pixel of the file), two marks on the bar, a good board's picture to compare with; U29 of 95 degC is hot."""
    board = bind(bench.shop, bench.case).board
    celsius, view = picture(board, {**WARM, "U29": 95.0}, AIR_C, (320, 240))
    good, _ = picture(board, WARM, AIR_C, (320, 240))
    files = []
    for name, values in (("now", celsius), ("good", good)):
        data, marks = png_of(apparent_c(values, 0.9, AIR_C), 15.0, 95.0)
        files.append(tmp_path / f"{name}.png")
        files[-1].write_bytes(data)
    pins = {pin.name: (pin.x_mm, pin.y_mm) for part in board.parts for pin in part.pins}
    at = {name: seen_at(view, pins[name])[0] for name in TAPPED}
    opened(page, bench)
    page.locator("#heat > summary").click()
    page.locator("#heat-file").set_input_files(files[0])
    shown = page.locator("#heat-picture")
    shown.wait_for()
    wide, high = (float(one) for one in (shown.get_attribute("viewBox") or "").split()[2:])
    assert (wide, high) == (340.0, 240.0)  # with its bar
    page.wait_for_function("() => document.getElementById('heat-point').value")

    def tap(x: float, y: float) -> None:
        box = shown.bounding_box()
        assert box is not None
        shown.click(position={"x": (x + 0.5) / wide * box["width"], "y": (y + 0.5) / high * box["height"]})

    page.locator("#heat-aim").select_option("scale")
    for mark in marks:
        place, _, degrees = mark.partition("=")
        x, y = (float(one) for one in place.split(","))
        page.locator("#heat-celsius").fill(degrees)
        tap(x, min(max(y, 2), high - 3))
    assert page.locator("#heat-scale").input_value().count("=") == 2
    page.locator("#heat-aim").select_option("place")
    for name, (x, y) in list(at.items())[1:]:
        page.locator("#heat-point").fill(name)
        tap(float(x), float(y))
    page.locator("#heat-point").fill(TAPPED[0])
    shown.focus()
    cross = page.evaluate("() => window.suspectsPage.heatSheet.cross")
    goal = at[TAPPED[0]]
    for axis, (less, more) in enumerate((("ArrowLeft", "ArrowRight"), ("ArrowUp", "ArrowDown"))):
        steps = round(float(goal[axis]) - cross[axis])
        for key, count in (
            (f"Shift+{more if steps > 0 else less}", abs(steps) // 10),
            (more if steps > 0 else less, abs(steps) % 10),
        ):
            for _ in range(count):
                shown.press(key)
    shown.press("Enter")
    told = dict(one.split("=") for one in page.locator("#heat-taps").input_value().split())
    assert set(told) == set(TAPPED)
    for name, text in told.items():
        assert np.allclose([float(one) for one in text.split(",")], at[name], atol=1.3), name
    page.locator("#heat-against").select_option("good")
    page.locator("#heat-other").set_input_files(files[1])
    page.get_by_role("group", name="Picture shown").wait_for()
    page.locator("#heat-air").fill(f"{AIR_C:g}")
    page.locator("#heat-read").click()
    noted(page, "Read and noted")
    row = last(bench)
    assert row["kind"] == "heat" and row["picture"]["against"] == "good" and len(row["picture"]["taps"]) == len(TAPPED)
    hot = {ref for ref, one in row["picture"]["parts"].items() if one["verdict"] == "hot"}
    assert {"U29"} <= hot <= {"U29", "R21"}  # R21 lies beside it, in its glow
    assert not page.locator("#heat-taps").input_value()


def lies_under_the_map(page: Page, bench: Bench) -> None:
    """The picture is drawn where the board is, its colours are told in degC, a list says the same; a key puts it away and lays it back."""
    shown = page.locator("#suspect-map image.thermal")
    got = page.request.get(bench.address + (shown.get_attribute("href") or ""))
    assert got.ok and got.headers["content-type"] == "image/png"
    at = [float(shown.get_attribute(name) or "nan") for name in ("x", "y", "width", "height")]
    x0, y0, x1, y1 = page.evaluate("() => window.suspectsPage.found.size_mm")
    assert at[0] <= x0 + 5 and at[0] + at[2] >= x1 - 5 and at[1] <= -y1 + 5 and at[1] + at[3] >= -y0 - 5
    scale = page.locator(".thermal-scale").get_attribute("aria-label") or ""
    assert "9" in scale and "\u00b0C" in scale and "light" in scale
    assert "hot: U29" in page.locator("#thermal-words").inner_text()
    rows = page.locator("#thermal-parts tbody tr").all_inner_texts()
    assert rows[0].startswith("U29") and "hot" in rows[0] and "\u00b0C" in rows[0] and len(rows) >= 16
    key = page.locator("#thermal button")
    assert key.get_attribute("aria-pressed") == "true"
    key.click()
    shown.wait_for(state="detached")
    assert page.locator("#thermal-parts").count() == 0 and page.locator("#thermal-words").count() == 0
    key.click()
    shown.wait_for(state="attached")
    page.locator("#map-turn").click()
    assert "you look at the other one" in page.locator("#thermal-words").inner_text()


def test_a_smell_stops_power_and_checks_go_on(page: Page, bench: Bench) -> None:
    say(bench, "gate", "override", "for", "the", "test")
    say(bench, "power", "on")
    say(bench, "seen", "smell=burnt")
    opened(page, bench)
    assert "power stays off" in page.locator("#stop").inner_text()
    assert "Power off" in page.locator("#next").inner_text() and "Power off" in page.locator("#caution").inner_text()
    points = page.evaluate("() => window.suspectsPage.points")
    assert len(points) == 2 and page.locator("#say-high").count() == 0
    page.keyboard.press("c")
    noted(page, "Noted")
    made = last(bench)
    assert made["kind"] == "closed" and [one["id"] for one in made["points"]] == points


def test_named_and_nothing_left_are_said(page: Page, bench: Bench) -> None:
    three_levels(bench)

    def named(body: dict[str, Any]) -> None:
        body["suspects"] |= {"next": None, "named": body["suspects"]["suspects"][0]["unit"]}
        body["next"] = []

    altered(page, named)
    page.goto(f"{bench.address}/page/suspects.html?case={bench.case}")
    page.locator("#next").filter(has_text="Named beyond doubt: mend that with power off").wait_for(timeout=WAIT_MS)
    page.unroute("**/suspects/map")
    altered(page, lambda body: (body["suspects"].update(next=None, named="", nothing_left=True), body.update(next=[])))  # type: ignore[func-returns-value]
    page.reload()
    page.locator("#next").filter(has_text="Nothing more can be told apart").wait_for(timeout=WAIT_MS)
    page.unroute_all(behavior="ignoreErrors")


def test_waiting_and_failing_are_said(page: Page, bench: Bench) -> None:
    page.route("**/suspects/map", lambda route: None)
    page.goto(f"{bench.address}/page/suspects.html?case={bench.case}")
    page.locator("#waiting").wait_for()
    assert "Weighing" in page.locator("#waiting").inner_text()
    page.unroute_all(behavior="ignoreErrors")
    page.route("**/suspects/map", lambda route: route.abort())
    page.reload()
    page.locator("[role=alert]").filter(has_text="does not answer").wait_for()
    page.unroute_all(behavior="ignoreErrors")
    page.locator("#again").click()
    page.locator("#suspect-list li").first.wait_for(timeout=WAIT_MS)
    bench.errors.clear()  # the console notes the aborted request; the page said it in words


@pytest.mark.parametrize("size", [(720, 450), (390, 844)])
def test_nothing_is_cut_at_twice_the_size_or_on_a_phone_and_a_tap_finds_its_mark(
    chromium: Browser, bench: Bench, size: tuple[int, int]
) -> None:
    three_levels(bench)
    context = chromium.new_context(
        viewport={"width": size[0], "height": size[1]}, has_touch=True, reduced_motion="reduce"
    )
    page = context.new_page()
    opened(page, bench)
    wide = page.evaluate(
        "() => [document.documentElement, document.querySelector('main > section')].filter((e) => e.scrollWidth > e.clientWidth + 1).length"
    )
    assert wide == 0
    small = page.evaluate(
        "() => [...document.querySelectorAll('#pin-card button, #words button, .suspect-tools button')]"
        ".filter((b) => !b.closest('details:not([open])') && b.getBoundingClientRect().height < 40).map((b) => b.id)"
    )
    assert small == []
    mark = page.locator("#suspect-map .mark[aria-label*='not as']")
    mark.scroll_into_view_if_needed()
    box = mark.bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + box["width"] / 2 + 3, box["y"] + box["height"] / 2 + 3)
    page.locator("#pin-card h2").filter(has_text=re.compile("not as expected")).wait_for(timeout=WAIT_MS)
    page.locator("#map-turn").click()
    assert "solder side" in (page.locator("#suspect-map").get_attribute("aria-label") or "")
    context.close()


@pytest.mark.parametrize("light", ["day", "lamp"])
def test_no_rule_is_broken(chromium: Browser, bench: Bench, light: str) -> None:
    three_levels(bench)
    context = chromium.new_context(viewport={"width": 1180, "height": 900}, reduced_motion="reduce", bypass_csp=True)
    context.add_init_script(f"localStorage.setItem('light', '{light}')")
    page = context.new_page()
    opened(page, bench)
    page.locator("#suspect-map .mark .breaks").first.click()
    page.locator("#seen").wait_for(timeout=WAIT_MS)
    page.add_script_tag(content=(npm_tool("axe-core", AXE) / "axe.min.js").read_text(encoding="utf-8"))
    done = page.evaluate("async () => await axe.run(document, { resultTypes: ['violations'] })")
    context.close()
    assert len(done["passes"]) > 5 and complaints(done["violations"]) == []
