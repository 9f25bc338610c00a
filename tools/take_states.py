"""Take pictures of every state of every screen of the page, in both lights, on a desk, a tablet and a phone; one sheet of six pictures a state.

    python tools/take_states.py docs/pictures/states [NAME ...]

Needs the test environment (playwright) and the system's Chromium. Everything is served by this process from a store of its own; answers that
cannot be had here (a server that is gone, a meter that was unplugged, a bench opened to the network) are put in the way of the page's requests.
"""

from __future__ import annotations

import contextlib
import io
import json
import sys
import tempfile
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from PIL import Image
from playwright.sync_api import Browser, Page, Route, sync_playwright
from tests.browser.conftest import FLAGS, chromium_path, served
from tools.leaf_states import LEAVES, brought, schematic_kept

from coppermend.bootstrap import board_builder, workshop
from coppermend.services.areas import add_area
from coppermend.services.cases import new_case
from coppermend.services.patients import put_patient
from coppermend.services.workshop import Workshop

ROOT = Path(__file__).resolve().parent.parent
SIZES = {"desk": (1440, 900), "tablet": (820, 1180), "phone": (390, 844)}
LIGHTS = ("day", "lamp")
WIDE = {"desk": 760, "tablet": 330, "phone": 220}
"""Width in pixels of a picture on the sheet."""
GONE = {
    "code": "CAS-004",
    "severity": "error",
    "place": {},
    "words": "The package demo was changed since the case was opened: its id begins 51ab90e3c1d2, expected 7f20aa41be66.",
    "remedy": "Put the files back as they were, or say that they were corrected: coppermend case board CASE --board PACKAGE --changed.",
}
SLOW = {
    "state": "building",
    "title": "A slow machine",
    "words": "contacts on the solder side",
    "share": 0.42,
    "seconds": 31.0,
}
LAN = {
    "open": True,
    "address": "https://192.168.7.20:8138",
    "fingerprint": "3F:A1:9C:" + ":".join(["7E"] * 29),
    "devices": [
        {"id": "a", "name": "tablet", "made_at": "2026-11-25T18:02:00Z"},
        {"id": "b", "name": "phone of the shop", "made_at": "2026-11-24T09:30:00Z"},
    ],
}
WATCH = {"state": "on", "name": "Coppermend simulated meter", "wires": 2, "shown": "0.21 Ω", "tips": "held", "trouble": None, "touch": None, "address": "sim:meter"}  # fmt: skip


@dataclass
class World:
    """A served bench: its address, the cases by what they are for, and one picture file."""

    address: str
    cases: dict[str, str]
    photo: Path
    taps: dict[str, tuple[float, float]] = field(default_factory=dict)
    ready: set[str] = field(default_factory=set)

    def bring(self, case: str) -> None:
        """Bring a case where its pictures are taken, once."""
        if case not in self.ready:
            self.ready.add(case)
            READY.get(case, lambda world, name: None)(self, case)

    def url(self, case: str, view: str = "bench") -> str:
        """A leaf of a case."""
        return f"{self.address}/#/case/{self.cases[case]}/{view}"

    def call(self, case: str, what: str, body: Any = None) -> Any:
        """Ask the server as the page does."""
        data = None if body is None else json.dumps(body).encode()
        asked = urllib.request.Request(
            f"{self.address}/api/cases/{self.cases[case]}/{what}", data, {"content-type": "application/json"}
        )
        with urllib.request.urlopen(asked) as answer:
            return json.loads(answer.read())

    def answered(self, case: str, most: int = 400) -> dict[str, Any]:
        """Answer checks as the practice patient says, until there is none or so many are done; the step then."""
        for _ in range(most):
            step: dict[str, Any] = self.call(case, "bench")["step"]
            if step["check"] is None:
                return step
            points = [step["check"]["a"]["id"], step["check"]["b"]["id"]]
            said = self.call(case, "practice/ask", {"points": points, "attempt": 0})["says"]
            self.call(case, "entries", {"kind": said, "points": points})
        return dict(self.call(case, "bench")["step"])


Act = Callable[[Page, World], None]
STATES: dict[str, Act] = dict(LEAVES)


def state(name: str) -> Callable[[Act], Act]:
    """A state of a screen; its function takes a page there."""

    def keep(act: Act) -> Act:
        STATES[name] = act
        return act

    return keep


def at(page: Page, world: World, case: str, view: str = "bench") -> None:
    """A leaf, drawn."""
    world.bring(case)
    page.goto(world.url(case, view))
    page.wait_for_selector("body[data-ready]")
    page.wait_for_timeout(500)


def answering(page: Page, path: str, status: int, body: Any) -> None:
    """Put an answer in the way of a request."""
    page.route(path, lambda route: route.fulfill(status=status, json=body))


def never(route: Route) -> None:
    """A request that is not answered while the picture is taken."""


def leafed(name: str, case: str, view: str) -> None:
    """A state that is just a leaf of a case."""
    STATES[name] = lambda page, world: at(page, world, case, view)


@state("home-empty")
def _home_empty(page: Page, world: World) -> None:
    answering(page, "**/api/cases", 200, {"cases": [], "after": "", "states": {}, "in_all": 0, "notes": []})
    page.goto(world.address)
    page.wait_for_selector(".empty")


@state("home")
def _home(page: Page, world: World) -> None:
    page.goto(world.address)
    page.wait_for_selector(".cases")


@state("home-loading")
def _home_loading(page: Page, world: World) -> None:
    page.route("**/api/cases", never)
    page.goto(world.address)
    page.wait_for_selector(".skeleton")


@state("home-error")
def _home_error(page: Page, world: World) -> None:
    page.route("**/api/cases", lambda route: route.abort())
    page.goto(world.address)
    page.wait_for_selector(".error-sheet")


@state("bench-loading")
def _bench_loading(page: Page, world: World) -> None:
    page.route("**/scene.bin", never)
    page.goto(world.url("fresh"))
    page.wait_for_selector("#slip .skeleton")


@state("bench-planning")
def _bench_planning(page: Page, world: World) -> None:
    page.route("**/bench", never)
    page.goto(world.url("fresh"))
    page.wait_for_timeout(2500)


@state("bench-building")
def _bench_building(page: Page, world: World) -> None:
    answering(page, "**/scene.bin", 202, {**GONE, "code": "BLD-001", "place": {"thing": "x"}})
    answering(page, "**/api/builds/**", 200, SLOW)
    page.goto(world.url("fresh"))
    page.wait_for_selector(".building")


@state("bench-error")
def _bench_error(page: Page, world: World) -> None:
    answering(page, "**/scene.bin", 422, GONE)
    page.goto(world.url("fresh"))
    page.wait_for_selector("#slip [role=alert]")


leafed("bench-empty", "fresh", "bench")
leafed("round", "round", "bench")
leafed("round-break", "broken", "bench")
leafed("round-done", "done", "bench")
leafed("log-empty", "fresh", "story")
leafed("log", "done", "story")
leafed("wires-empty", "fresh", "wires")
leafed("wires", "broken", "wires")
leafed("wires-fitted", "done", "wires")
leafed("map-trust", "round", "trust")
leafed("map-trust-wrong", "wrong", "trust")
leafed("power-open", "power", "story")
leafed("power-on", "on", "story")


def recorded(name: str, case: str) -> None:
    """The record of a case, once its page is written."""

    def act(page: Page, world: World) -> None:
        at(page, world, case, "record")
        page.locator("#record-wait").wait_for(state="detached", timeout=60_000)

    STATES[name] = act


recorded("record-empty", "fresh")
recorded("record", "done")


@state("round-answered")
def _round_answered(page: Page, world: World) -> None:
    at(page, world, "round")
    page.keyboard.press(" ")
    page.locator(".hands .key.chosen").wait_for()
    page.wait_for_timeout(400)


@state("round-which-tip")
def _round_tip(page: Page, world: World) -> None:
    at(page, world, "round")
    page.keyboard.press("n")


@state("round-server-gone")
def _round_gone(page: Page, world: World) -> None:
    page.route("**/events", lambda route: route.abort())
    at(page, world, "round")
    page.evaluate("window.bench.live(false)")
    page.route("**/entries", lambda route: route.abort())
    page.keyboard.press("c")
    page.wait_for_timeout(1000)


@state("round-own-check")
def _round_own(page: Page, world: World) -> None:
    at(page, world, "round")
    page.evaluate("() => { const c = window.bench.bench.step.check; window.bench.do('measure', { a: c.b, b: c.a }); }")
    page.wait_for_timeout(800)


def first_of_all(page: Page, world: World) -> None:
    """What comes first of all the work stands on the slip; weighing it takes seconds."""
    at(page, world, "started")
    page.wait_for_function("() => Boolean(window.bench.first.found)", timeout=180_000)
    if page.locator("#show-first").count():  # the check had stood for a while when it came
        page.keyboard.press("e")
    page.locator("#first-words").wait_for()


@state("bench-first-of-all")
def _first_of_all(page: Page, world: World) -> None:
    first_of_all(page, world)


@state("bench-first-of-all-line")
def _first_of_all_line(page: Page, world: World) -> None:
    first_of_all(page, world)
    page.keyboard.press("e")
    page.locator("#show-first").wait_for()


@state("map-net")
def _map_net(page: Page, world: World) -> None:
    at(page, world, "round")
    page.evaluate("window.bench.do('find', 'U1.27')")
    page.wait_for_timeout(1500)


@state("map-marks")
def _map_marks(page: Page, world: World) -> None:
    at(page, world, "done")
    page.keyboard.press("f")
    page.keyboard.press("m")
    page.wait_for_timeout(1500)


@state("map-list")
def _map_list(page: Page, world: World) -> None:
    at(page, world, "round")
    page.keyboard.press("l")


@state("map-new-area")
def _map_area(page: Page, world: World) -> None:
    at(page, world, "fresh")
    page.evaluate("window.bench.do('newArea')")


@state("keys")
def _keys(page: Page, world: World) -> None:
    at(page, world, "round")
    page.keyboard.press("?")


@state("sound")
def _sound(page: Page, world: World) -> None:
    at(page, world, "round")
    page.evaluate("window.bench.do('sound')")
    page.wait_for_selector("#pedal-open")


def lay_sheet(page: Page, world: World) -> None:
    at(page, world, "round")
    page.keyboard.press("p")
    page.locator("#lay-file").wait_for()


@state("photo-empty")
def _photo_empty(page: Page, world: World) -> None:
    lay_sheet(page, world)


def tap(page: Page, world: World, count: int) -> None:
    """Tap the pins that the sheet asks for."""
    with page.expect_response(lambda r: r.url.endswith("/photos") and r.request.method == "POST", timeout=120_000):
        page.locator("#lay-file").set_input_files(world.photo)
    page.wait_for_function("() => window.bench.laySheet.kept !== ''")
    page.locator(".lay-pins").wait_for()
    page.wait_for_function(
        "() => { const l = window.bench.laySheet; return l.view.w && l.view.scale !== 1 && l.view.w === l.canvas.clientWidth && l.view.h === l.canvas.clientHeight; }"
    )
    page.wait_for_timeout(300)
    for _ in range(count):
        name = str(page.evaluate("() => window.bench.laySheet.pin"))
        for _ in range(
            8
        ):  # the first tap brings the place near, the second marks it; on a loaded machine a press can be too long to be a tap
            spot = page.evaluate(
                "([x, y]) => { const v = window.bench.laySheet.view; return [v.w / 2 + v.scale * (x + 0.5 - v.x), v.h / 2 + v.scale * (y + 0.5 + v.y)]; }",
                list(world.taps[name]),
            )
            page.locator("#lay-photo").click(position={"x": spot[0], "y": spot[1]})
            page.wait_for_timeout(200)
            if page.evaluate("() => window.bench.laySheet.pin") != name:
                break


@state("photo-taps")
def _photo_taps(page: Page, world: World) -> None:
    lay_sheet(page, world)
    tap(page, world, 3)


@state("photo-refused")
def _photo_refused(page: Page, world: World) -> None:
    lay_sheet(page, world)
    blurred = "The photo is blurred: an edge is smeared over some 1.2 mm, at most 0.8 mm is usable."
    remedy = (
        "Hold the camera still (or lean it on something), more light, tap on the board to focus, and take it again."
    )
    said = {**GONE, "code": "PHO-011", "words": blurred, "remedy": remedy}
    page.route(
        "**/laid",
        lambda route: route.fulfill(status=422, json=said) if route.request.method == "POST" else route.continue_(),
    )
    tap(page, world, 4)
    page.locator("#lay-it").click()
    page.locator("#lay-panel .need").wait_for()


@state("photo-laid")
def _photo_laid(page: Page, world: World) -> None:
    at(page, world, "photo")
    page.evaluate("window.bench.do('find', 'U1.27')")
    page.locator("#underlay").wait_for(timeout=60_000)
    page.wait_for_timeout(2500)


@state("ohms-empty")
def _ohms_empty(page: Page, world: World) -> None:
    at(page, world, "fresh", "ohms")
    page.wait_for_timeout(800)


@state("ohms-loading")
def _ohms_loading(page: Page, world: World) -> None:
    page.route("**/short?**", never)
    at(page, world, "fresh", "ohms")


@state("ohms-short")
def _ohms_short(page: Page, world: World) -> None:
    world.bring("short")
    page.goto(world.url("short", "ohms"))
    page.wait_for_selector(".places", timeout=60_000)
    page.wait_for_timeout(500)


@state("ohms-net")
def _ohms_net(page: Page, world: World) -> None:
    at(page, world, "round", "ohms")
    page.evaluate("window.bench.do('askOhms', { net: 'D0', meter: 'two-wire' })")
    page.wait_for_timeout(3500)
    to_top(page, "section[aria-label='One net']")


@state("leaf-error")
def _leaf_error(page: Page, world: World) -> None:
    page.route("**/wires", lambda route: route.abort())
    at(page, world, "round", "wires")
    page.wait_for_selector(".error-sheet")


@state("leaf-loading")
def _leaf_loading(page: Page, world: World) -> None:
    page.route("**/wires", never)
    at(page, world, "round", "wires")


@state("practice-end")
def _practice_end(page: Page, world: World) -> None:
    at(page, world, "done")
    page.evaluate("window.bench.do('truth')")
    page.locator("#against dd").first.wait_for(timeout=60_000)


@state("meter")
def _meter(page: Page, world: World) -> None:
    page.goto(f"{world.address}/page/meter.html?case={world.cases['fresh']}")
    page.wait_for_selector("#rest .sheet")


@state("waves")
def _waves(page: Page, world: World) -> None:
    page.goto(f"{world.address}/page/waves.html?case={world.cases['fresh']}&at=U1.6")
    page.locator("#take-in").wait_for()
    rows = "".join(f"{k * 10e-9:.9f},{3.6 if k % 25 > 12 else 0.2}\n" for k in range(4000))
    wave = {"name": "clock.csv", "mimeType": "text/csv", "buffer": ("Time (s),CH1 (V)\n" + rows).encode()}
    page.locator("#take-in input[type=file]").set_input_files([wave])  # type: ignore[list-item]
    page.locator("#measure").click()
    page.locator("#verdict").wait_for(timeout=60_000)


@state("waves-no-case")
def _waves_no_case(page: Page, world: World) -> None:
    page.goto(f"{world.address}/page/waves.html")
    page.get_by_text("No case is chosen").wait_for()


def suspects_at(page: Page, world: World, case: str) -> None:
    """The page of suspects of a case."""
    world.bring(case)
    page.goto(f"{world.address}/page/suspects.html?case={world.cases[case]}")


@state("suspects-no-case")
def _suspects_no_case(page: Page, world: World) -> None:
    page.goto(f"{world.address}/page/suspects.html")
    page.get_by_text("No case is chosen").wait_for()


@state("suspects-loading")
def _suspects_loading(page: Page, world: World) -> None:
    page.route("**/suspects/map", never)
    suspects_at(page, world, "fresh")
    page.wait_for_selector("#waiting")


@state("suspects-error")
def _suspects_error(page: Page, world: World) -> None:
    answering(page, "**/suspects/map", 422, GONE)
    suspects_at(page, world, "fresh")
    page.wait_for_selector("[role=alert]")


@state("suspects-empty")
def _suspects_empty(page: Page, world: World) -> None:
    suspects_at(page, world, "fresh")
    page.locator("#pin-power").wait_for(timeout=120_000)


@state("suspects")
def _suspects(page: Page, world: World) -> None:
    suspects_at(page, world, "suspects")
    page.locator("#suspect-map .mark").first.wait_for(timeout=240_000)  # fault sets of the whole board, the first time


@state("suspects-pin")
def _suspects_pin(page: Page, world: World) -> None:
    _suspects(page, world)
    page.locator("#suspect-map .mark .breaks").first.click()
    page.locator("#seen").wait_for(timeout=60_000)
    to_top(page, "#pin-card")


@state("suspects-list")
def _suspects_list(page: Page, world: World) -> None:
    _suspects(page, world)
    to_top(page, "#rest")


def changed_map(page: Page, change: Callable[[dict[str, Any]], None]) -> None:
    """The server's own answer with a change that cannot be had here."""

    def answer(route: Route) -> None:
        got = route.fetch(timeout=120_000)
        body = got.json()
        change(body)
        route.fulfill(response=got, body=json.dumps(body))

    page.route("**/suspects/map", answer)


@state("suspects-check")
def _suspects_check(page: Page, world: World) -> None:
    def check(body: dict[str, Any]) -> None:
        ends = body["marks"][:2]
        step = {
            "kind": "apart",
            "points": [one["point"] for one in ends],
            "words": f"Power off; check that {ends[0]['name']} and {ends[1]['name']} are apart.",
            "caution": "Power off, supply unplugged, large capacitors emptied before a check by ohms or beep.",
        }
        body["suspects"]["next"] = {**body["suspects"]["next"], **step}
        body["next"] = ends

    changed_map(page, check)
    suspects_at(page, world, "suspects")
    page.locator("#say-closed").wait_for(timeout=120_000)


@state("suspects-named")
def _suspects_named(page: Page, world: World) -> None:
    def named(body: dict[str, Any]) -> None:
        view = body["suspects"]
        view["suspects"] = [{**view["suspects"][0], "p": 0.9812}]
        view |= {"next": None, "named": view["suspects"][0]["unit"], "unexplained": [], "explanations": []}
        body["next"], body["lies"] = [], [{**body["lies"][0], "p": 0.9812}]

    changed_map(page, named)
    suspects_at(page, world, "suspects")
    page.get_by_text("Named beyond doubt: mend that").wait_for(timeout=120_000)


@state("solder")
def _solder(page: Page, world: World) -> None:
    page.goto(f"{world.address}/page/solder.html?case={world.cases['fresh']}&part=U1")
    page.locator("#mix button").click()
    page.locator("#melts").wait_for(timeout=60_000)


@state("solder-warm")
def _solder_warm(page: Page, world: World) -> None:
    page.goto(f"{world.address}/page/solder.html?case={world.cases['fresh']}&part=U1")
    page.locator("#warm button").click()
    page.locator("#warming").wait_for(timeout=60_000)
    to_top(page, "#warming")


@state("rework")
def _rework(page: Page, world: World) -> None:
    page.goto(f"{world.address}/page/rework.html?case={world.cases['fresh']}&part=U1")
    page.locator("#order").wait_for(timeout=60_000)


def watched(page: Page, world: World, watch: dict[str, Any]) -> None:
    """The meter's page with a meter in that state."""
    all_ = {"found": [{"address": "sim:meter", "words": "simulated meter"}], "closed": [], "watch": watch}
    answering(page, "**/api/meters", 200, all_)
    page.route("**/api/meters/events", lambda route: route.fulfill(content_type="text/event-stream", body=f"event: meter\ndata: {json.dumps(watch)}\n\n"))  # fmt: skip
    page.goto(f"{world.address}/page/meter.html?case={world.cases['fresh']}")
    page.wait_for_selector("#let-go")


@state("meter-reading")
def _meter_on(page: Page, world: World) -> None:
    watched(page, world, WATCH)


@state("meter-lost")
def _meter_lost(page: Page, world: World) -> None:
    trouble = {
        "code": "INS-003",
        "words": "The meter does not answer any more: the connection broke off.",
        "remedy": "Look at its cable; it is tried again every second. The round goes on by hand.",
    }
    watched(page, world, {**WATCH, "state": "lost", "shown": "", "trouble": trouble})


@state("second-screen-shut")
def _lan_shut(page: Page, world: World) -> None:
    page.goto(f"{world.address}/page/lan.html")
    page.wait_for_selector("#shut")


@state("second-screen")
def _lan(page: Page, world: World) -> None:
    rows = ["".join("1" if (x * 7 + y * 13 + x * y) % 3 else "0" for x in range(29)) for y in range(29)]
    answering(page, "**/api/lan", 200, LAN)
    answering(page, "**/api/lan/code", 200, {"code": "KX4-7PD", "qr": rows})
    page.goto(f"{world.address}/page/lan.html")
    page.locator("#fresh").click()
    page.wait_for_selector("#pair-code")


@state("pairing")
def _pair(page: Page, world: World) -> None:
    page.goto(f"{world.address}/page/pair.html")
    page.wait_for_selector("#pair .sheet")


@state("pairing-refused")
def _pair_refused(page: Page, world: World) -> None:
    words = "That is not the code of this bench, or it is older than five minutes."
    remedy = "Ask for another code at the bench computer."
    answering(page, "**/api/pair", 403, {**GONE, "code": "LAN-002", "words": words, "remedy": remedy})
    page.goto(f"{world.address}/page/pair.html")
    page.locator("#code").fill("ABC-DEF")
    page.locator("#pair-now").click()
    page.wait_for_selector("#wrong")


def opened(browser: Browser, size: str, light: str) -> Page:
    """An empty page of a device in a light."""
    wide, high = SIZES[size]
    context = browser.new_context(
        viewport={"width": wide, "height": high},
        has_touch=size != "desk",
        reduced_motion="reduce",
        service_workers="block",
        bypass_csp=True,
    )
    context.add_init_script(f"localStorage.setItem('light', '{light}')")
    context.set_default_timeout(40_000)
    return context.new_page()


def lit(page: Page, light: str) -> None:
    """Put an open page under a light, as its key does."""
    page.evaluate(
        "one => window.bench ? window.bench.light(one) : void (document.documentElement.dataset.light = one)", light
    )


def settled(page: Page) -> None:
    """Wait until the map is sharp, and until what was scrolled to stands at the top again."""
    with contextlib.suppress(Exception):
        page.wait_for_function(
            "() => { const m = document.getElementById('map'); return !(m instanceof HTMLCanvasElement) || !m.clientWidth || m.dataset.sharp === 'yes'; }",
            timeout=8000,
        )
    page.evaluate("() => window.topOf && document.querySelector(window.topOf)?.scrollIntoView()")
    page.wait_for_timeout(250)


def to_top(page: Page, selector: str) -> None:
    """Scroll there, and again whenever the window has another size."""
    page.evaluate("one => { window.topOf = one; document.querySelector(one).scrollIntoView(); }", selector)


def sized(browser: Browser, world: World, name: str) -> Iterator[tuple[str, str, Page]]:
    """A state on each device in each light. A leaf without the map is loaded once and given the other sizes; the bench is loaded on each device."""
    page: Page | None = None
    try:
        for size, (wide, high) in SIZES.items():
            if page is None or page.evaluate("() => !!window.bench"):
                if page is not None:
                    closed(page)
                page = opened(browser, size, LIGHTS[0])
                STATES[name](page, world)
            for light in LIGHTS:
                lit(page, light)
                page.set_viewport_size({"width": wide, "height": high + 1})
                page.set_viewport_size({"width": wide, "height": high})  # what is drawn on a canvas is drawn anew
                settled(page)
                yield size, light, page
    finally:
        if page is not None:
            closed(page)


def closed(page: Page) -> None:
    """Give a page back."""
    page.unroute_all(behavior="ignoreErrors")
    page.context.close()


def picture(page: Page) -> Image.Image:
    """What the window shows."""
    return Image.open(io.BytesIO(page.screenshot())).convert("RGB")


def sheet(pictures: dict[tuple[str, str], Image.Image]) -> Image.Image:
    """The pictures of a state on one sheet: a row for each light."""
    rows = []
    for light in LIGHTS:
        small = [
            one.resize((WIDE[size], round(one.height * WIDE[size] / one.width)), Image.Resampling.LANCZOS)
            for (size, lit), one in pictures.items()
            if lit == light
        ]
        rows.append(small)
    wide = max(sum(one.width + 10 for one in row) + 10 for row in rows)
    out = Image.new("RGB", (wide, sum(max(one.height for one in row) + 10 for row in rows) + 10), (128, 128, 128))
    y = 10
    for row in rows:
        x = 10
        for one in row:
            out.paste(one, (x, y))
            x += one.width + 10
        y += max(one.height for one in row) + 10
    return out


def cases(shop: Workshop, package: str) -> dict[str, str]:
    """The cases that the states need."""
    out = {}
    for name, title in (
        ("fresh", "Home computer, not looked at yet"),
        ("round", "Home computer, socket of U1 changed"),
        ("broken", "Home computer, first break"),
        ("done", "Home computer, proven"),
        ("wrong", "Home computer of another revision"),
        ("power", "Home computer before power"),
        ("on", "Home computer under power"),
        ("photo", "Home computer on its photo"),
        ("short", "Home computer with a short"),
        ("suspects", "Home computer that starts to nothing"),
        ("leaves", "Home computer with a history"),
        ("started", "Home computer that was started once"),
    ):
        out[name] = new_case(shop, package, title, complaint="Black screen since the socket was changed.").state.case
        if name != "fresh":
            area = "U31" if name in ("broken", "done", "power", "on") else "U1"
            add_area(shop, out[name], part=area, margin_mm=1.0 if area == "U31" else 3.0)
            put_patient(shop, out[name], seed=3 if area == "U31" else 5, breaks=1, noise="off")
    return out


def checked(world: World, case: str) -> None:
    """Some checks of the round are answered."""
    world.answered(case, 14 if case == "round" else 3)


def mended(world: World, case: str, upto: str = "") -> None:
    """Every check answered, every break mended as the step says; up to the first break where ``upto`` says so."""
    for _ in range(8):
        step = world.answered(case)
        if upto and (step.get("remedy") or step.get("wire")):
            return
        if step.get("remedy"):
            one = step["remedy"]
            world.call(case, "entries", {"kind": one["kind"], "part": one["part"], "points": one["points"]})
        elif step.get("wire"):
            wire = step["wire"]
            world.call(case, "entries", {"kind": "patch", "points": [wire["a"]["id"], wire["b"]["id"]]})
        elif step["kind"] in ("look", "clean"):
            world.call(case, "entries", {"kind": step["kind"], "words": step["words"]})
        else:
            return


def contradicted(world: World, case: str) -> None:
    """Readings on untouched copper that the map does not agree with."""
    for one in world.call(case, "map")["left"][:4]:
        for _ in range(2):
            kind = "open" if one["purpose"] != "isolation" else "closed"
            world.call(case, "entries", {"kind": kind, "points": [one["a"]["id"], one["b"]["id"]]})


def gated(world: World, case: str) -> None:
    """The gate is open; in the case "on" power is on."""
    mended(world, case)
    for item in ("intake", "orientation", "supply"):
        world.call(case, "entries", {"kind": "gate", "options": {"item": item}})
    rails = world.call(case, "rails")["rails"]
    for rail in rails if case == "on" else rails[:1]:
        world.call(case, "entries", {"kind": "ohms", "points": [rail["point_a"], rail["point_b"]], "value": "240"})
    world.call(case, "entries", {"kind": "gate", "options": {"item": "limit", "limit_a": "1.5", "abort_a": "1.2"}})
    if case == "on":
        world.call(case, "entries", {"kind": "power", "value": "on"})


def shorted(world: World, case: str) -> None:
    """A reading shows two nets joined."""
    options = {"wires": 4}
    world.call(case, "entries", {"kind": "ohms", "points": ["U1.3", "U1.4"], "value": "0.12", "options": options})


def looked_at(world: World, case: str) -> None:
    """Some places were looked at under power; address line A11 stays low at the processor."""
    world.call(case, "entries", {"kind": "symptom", "words": "a dark screen", "options": {"code": "fails"}})
    for point, level in (("U1.6", "pulsing"), ("U1.26", "high"), ("U1.1", "low"), ("U5.11", "floating")):
        world.call(case, "entries", {"kind": "level", "points": [point], "value": level})
    world.call(case, "entries", {"kind": "volts", "points": ["U1.11"], "value": "4.95 V"})


def started(world: World, case: str) -> None:
    """It was started once, against the gate, and showed nothing."""
    world.call(
        case,
        "entries",
        {"kind": "gate", "value": "override", "words": "nothing smelled, rails looked at by another shop"},
    )
    world.call(case, "entries", {"kind": "power", "value": "on"})
    world.call(case, "entries", {"kind": "seen", "options": {"screen": "blank"}})
    world.call(case, "entries", {"kind": "power", "value": "off"})


READY: dict[str, Callable[[World, str], None]] = {
    "round": checked,
    "photo": checked,
    "broken": lambda world, case: mended(world, case, "break"),
    "done": mended,
    "wrong": contradicted,
    "power": gated,
    "on": gated,
    "short": shorted,
    "suspects": looked_at,
    "leaves": brought,
    "started": started,
}


def laid(browser: Browser, world: World) -> None:
    """Lay the made photo on the case that is for it."""
    page = opened(browser, "desk", "day")
    at(page, world, "photo")
    page.keyboard.press("p")
    page.locator("#lay-file").wait_for()
    tap(page, world, 5)
    page.locator("#lay-it").click()
    page.locator("#underlay").wait_for(timeout=60_000)
    page.context.close()


@contextlib.contextmanager
def made_world(folder: Path) -> Iterator[World]:
    """The served cases and the made photo."""
    from tools.take_pictures import made_photo

    shop = workshop(str(folder / "store"), builder=board_builder(folder / "cache"))
    found = cases(shop, "demo")
    photo, taps = made_photo(folder)
    schematic_kept(shop, found["leaves"])
    for bench in served(shop, found["fresh"]):
        yield World(bench.address, found, photo, taps)


def main() -> int:
    """Take the sheets that are asked for, all without names."""
    out, names = Path(sys.argv[1]), sys.argv[2:]
    out.mkdir(parents=True, exist_ok=True)
    wanted = [one for one in STATES if not names or any(one.startswith(name) for name in names)]
    failed = []
    with tempfile.TemporaryDirectory() as folder, made_world(Path(folder)) as world, sync_playwright() as player:
        browser = player.chromium.launch(executable_path=chromium_path(), args=list(FLAGS))
        if any(one.startswith("photo-laid") for one in wanted):
            laid(browser, world)
        for name in wanted:
            try:
                pictures = {(size, light): picture(page) for size, light, page in sized(browser, world, name)}
            except Exception as err:  # one state that cannot be reached must not hide the others
                failed.append(f"{name}: {str(err).splitlines()[0]}")
                continue
            sheet(pictures).save(out / f"{name}.webp", quality=60, method=6)
        browser.close()
    for line in failed:
        sys.stderr.write(f"{line}\n")
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main())
