"""The bench page in a real Chromium, on the demonstration machine: keys only, touch only, two windows, reload, no other host."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.browser.conftest import Bench, opened

from coppermend.services.bench import next_for_case, proven_for_case
from coppermend.services.bind import bind
from coppermend.services.cases import case_state
from coppermend.services.notes import note
from coppermend.services.requests import Request

pytestmark = pytest.mark.browser


def readings(bench: Bench) -> list[tuple[str, tuple[str, ...]]]:
    """What the log says was read."""
    return [(one.kind, tuple(p.id for p in one.points)) for one in case_state(bench.shop, bench.case).readings]


def check_now(bench: Bench) -> tuple[str, str]:
    """The points of the check that the planner proposes now."""
    check = next_for_case(bench.shop, bench.case).check
    assert check is not None
    return check.point_a, check.point_b


def screen_place(page: Page, bench: Bench, x_mm: float, y_mm: float) -> tuple[float, float]:
    """Where a place of the board is on the screen, worked out here from how near and where the whole board lies, component side up, y up."""
    box = page.locator("#map").bounding_box()
    assert box is not None
    scale, x, y = page.evaluate("(({ scale, x, y }) => [scale, x, y])(window.bench.map.view)")
    return (
        box["x"] + box["width"] / 2 + scale * (x_mm - x),
        box["y"] + box["height"] / 2 - scale * (y_mm - y),
    )


def test_a_round_with_keys_only(page: Page, bench: Bench) -> None:
    for count in range(1, 5):
        a, b = check_now(bench)
        expect(page.locator(".tip .name")).to_have_count(2)
        page.keyboard.press(" ")
        chosen = page.locator(".hands .key.chosen")
        expect(chosen).to_have_count(1)
        said = (chosen.get_attribute("id") or "").removeprefix("answer-")
        page.keyboard.press({"closed": "c", "open": "o", "ohms": "d"}[said])
        expect(page.locator(".ticks i.closed, .ticks i.open")).to_have_count(count)
        assert readings(bench)[-1] == (said, (a, b))
    page.keyboard.press("z")
    expect(page.locator(".ticks i.closed, .ticks i.open")).to_have_count(3)
    assert len(readings(bench)) == 3
    page.keyboard.press("2")  # away from the bench Z names the entry before it takes it
    expect(page.locator("#story")).to_be_visible()
    page.keyboard.press("z")
    expect(page.locator("#toast")).to_contain_text("Z again takes back")
    assert len(readings(bench)) == 3
    page.keyboard.press("z")
    expect(page.locator("#toast")).to_contain_text("aken back")
    assert len(readings(bench)) == 2
    page.keyboard.press("1")
    page.reload()
    expect(page.locator(".ticks i.closed, .ticks i.open")).to_have_count(2)
    page.keyboard.press("v")
    page.keyboard.type("0.2 ohm")
    page.keyboard.press("Enter")
    expect(page.locator(".ticks i.closed, .ticks i.open")).to_have_count(3)
    assert readings(bench)[-1][0] == "ohms"


def test_with_touch_only_any_two_points_can_be_measured(chromium: Browser, bench: Bench) -> None:
    page = opened(chromium, bench, touch=True)
    board = bind(bench.shop, bench.case).board
    first, second = (next(p for p in board.part("U22").pins if p.number == no) for no in ("5", "30"))
    page.touchscreen.tap(*screen_place(page, bench, first.x_mm, first.y_mm))
    card = page.locator("#card")
    expect(card.locator("h2").first).to_have_text("U22 pin 5")
    net = bind(bench.shop, bench.case).graph.net_names[first.net or 0]
    expect(card).to_contain_text(net)
    page.locator("#tip-a-here").tap()
    card.get_by_label("Put the card away").tap()
    page.touchscreen.tap(*screen_place(page, bench, second.x_mm, second.y_mm))
    expect(page.locator(".slip-head b")).to_have_text("Your own check")
    expect(page.locator(".tip .name")).to_have_text([re.compile("U22 pin 5 leg$"), re.compile("U22 pin 30 leg$")])
    page.locator("#answer-open").tap()
    expect(page.locator(".spike")).to_contain_text("open: U22.5 and U22.30")
    assert [(k, tuple(p.split("/")[0] for p in ids)) for k, ids in readings(bench)] == [("open", ("U22.5", "U22.30"))]
    page.context.close()
    assert bench.foreign == [] and bench.errors == []


def test_the_board_is_turned_over_and_rotated_as_said(page: Page) -> None:
    compass = page.locator("#compass")
    expect(compass).to_contain_text("Component side")
    before = page.locator("#map").screenshot()
    page.keyboard.press("t")
    expect(compass).to_contain_text("Solder side")
    expect(compass).to_contain_text("top edge away from you")
    page.wait_for_timeout(200)
    assert page.locator("#map").screenshot() != before
    page.keyboard.press("r")
    expect(compass).to_contain_text("top edge at your right")
    page.keyboard.press("Shift+T")
    expect(compass).to_contain_text("Component side")
    said = page.locator("#say").inner_text()
    page.keyboard.press("r")
    expect(page.locator("#say")).not_to_have_text(said)  # a pin's row and notch lie elsewhere after a quarter turn


def test_find_and_list_reach_every_pin_without_the_map(page: Page, bench: Bench) -> None:
    page.keyboard.press("/")
    page.keyboard.type("u22.7")
    page.keyboard.press("Enter")
    expect(page.locator("#card h2").first).to_have_text("U22 pin 7")
    page.keyboard.press("Escape")
    expect(page.locator("#card")).to_be_hidden()
    page.keyboard.press("l")
    twin = page.locator("#twin")
    twin.get_by_text("U1", exact=True).click()
    twin.get_by_role("button", name="U1.30", exact=True).click()
    expect(page.locator("#card h2").first).to_have_text("U1 pin 30")
    page.keyboard.press("/")
    page.keyboard.type("GMD")
    page.keyboard.press("Enter")
    expect(page.locator("#toast")).to_contain_text("GND")
    bench.errors.clear()  # Chromium writes the refusal (404) to its console


def test_a_second_window_and_the_command_line_are_followed(page: Page, chromium: Browser, bench: Bench) -> None:
    other = opened(chromium, bench)
    page.keyboard.press("c")
    expect(page.locator(".ticks i.closed")).to_have_count(1)
    expect(other.locator(".ticks i.closed")).to_have_count(1)
    a, b = check_now(bench)
    note(bench.shop, bench.case, Request("closed", (a, b)))
    expect(page.locator(".ticks i.closed")).to_have_count(2)
    expect(other.locator(".ticks i.closed")).to_have_count(2)
    other.context.close()


LOSE_ONE = """() => {
  const real = window.fetch;
  window.lost = 0;
  window.fetch = async (...asked) => {
    const answer = await real(...asked); // the server has written it
    if (!String(asked[0]).endsWith('/entries') || window.lost) return answer;
    window.lost++;
    throw new TypeError('the page never hears of it');
  };
}"""


def test_an_answer_lost_on_the_way_is_written_once(page: Page, bench: Bench) -> None:
    page.evaluate(LOSE_ONE)
    page.keyboard.press("c")
    expect(page.locator(".ticks i.closed")).to_have_count(1)
    assert page.evaluate("window.lost") == 1
    assert len(readings(bench)) == 1
    expect(page.locator("#toast")).to_contain_text("Noted")


def test_a_press_is_not_lost_when_the_page_is_drawn_anew_under_the_finger(page: Page, bench: Bench) -> None:
    """Another screen's entry arrives between the press and the lift; the same key is pressed that the finger went down on."""
    box = page.locator("#answer-open").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.evaluate("window.bench.redraw()")
    page.mouse.up()
    expect(page.locator(".ticks i.open")).to_have_count(1)
    assert [kind for kind, _ in readings(bench)] == ["open"]
    page.mouse.down()
    page.evaluate("window.bench.redraw()")
    page.mouse.move(5, 400)
    page.mouse.up()
    page.wait_for_function("() => !window.bench.holding && !window.bench.late")
    assert len(readings(bench)) == 1


def test_a_work_area_is_drawn_on_the_map(page: Page, bench: Bench) -> None:
    page.locator("#tool-newArea").click()
    page.get_by_role("button", name="Corners").click()
    corners = [(60.0, 70.0), (110.0, 70.0), (110.0, 95.0)]
    for x, y in corners:
        page.mouse.click(*screen_place(page, bench, x, y))
    expect(page.locator("#area-form")).to_contain_text("3 corners")
    page.locator("#area-form select[name=kind]").select_option("impact")
    page.locator("#area-form button[type=submit]").click()
    expect(page.locator("#area-form")).to_be_hidden(timeout=60_000)  # the round is planned anew
    drawn = case_state(bench.shop, bench.case).areas[-1]
    assert drawn.kind == "impact"
    for (x, y), (wx, wy) in zip(drawn.polygon, corners, strict=True):
        assert abs(x - wx) < 0.6 and abs(y - wy) < 0.6


def test_pinch_wheel_and_drag_move_the_board_as_the_hand_does(chromium: Browser, bench: Bench) -> None:
    """Two fingers that part from 40 to 200 px bring the board five times nearer; a drag moves the place under the finger with it."""
    page = opened(chromium, bench, touch=True)
    session = page.context.new_cdp_session(page)

    def fingers(kind: str, *places: tuple[float, float]) -> None:
        points = [{"x": x, "y": y, "id": i} for i, (x, y) in enumerate(places)]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    def view() -> dict[str, float]:
        seen: dict[str, float] = page.evaluate("() => window.bench.map.view")
        return seen

    before = view()
    fingers("touchStart", (380, 350), (420, 350))
    for i in range(1, 11):
        fingers("touchMove", (380 - 8 * i, 350), (420 + 8 * i, 350))
    fingers("touchEnd")
    near = view()
    assert near["scale"] == pytest.approx(5 * before["scale"], rel=0.02)
    fingers("touchStart", (400, 300))
    for i in range(1, 11):
        fingers("touchMove", (400 + 10 * i, 300))
    fingers("touchEnd")
    assert view()["x"] == pytest.approx(near["x"] - 100 / near["scale"], abs=0.2)
    expect(page.locator("#card")).to_be_hidden()
    page.mouse.move(400, 300)
    page.mouse.wheel(0, -300)
    page.wait_for_timeout(200)
    assert view()["scale"] > near["scale"]
    page.context.close()
    assert bench.foreign == [] and bench.errors == []


def test_a_part_is_taken_out_and_values_are_noted_from_its_card(page: Page, bench: Bench) -> None:
    page.keyboard.press("/")
    page.keyboard.type("U22.7")
    page.keyboard.press("Enter")
    card = page.locator("#card")
    card.get_by_text("U22 is socketed; work on it").click()
    page.locator("#pin-value").fill("4,97 V")
    card.get_by_role("button", name="Note", exact=True).click()
    expect(page.locator("#toast")).to_contain_text("Noted")
    volts = case_state(bench.shop, bench.case).readings[-1]
    assert (volts.kind, volts.value, volts.points[0].id) == ("volts", 4.97, "U22.7/leg")
    card.get_by_role("button", name="Taken out").click()  # the card is still folded out
    page.wait_for_function(
        "() => window.bench.bench.states.U22 === 'out' && !window.bench.busy", timeout=60_000
    )  # the round is planned anew
    expect(page.locator("#card")).to_contain_text("U22 is out")
    assert dict(case_state(bench.shop, bench.case).part_states)["U22"] == "out"


def test_what_is_being_typed_survives_an_update(page: Page, bench: Bench) -> None:
    page.keyboard.press("v")
    page.keyboard.type("0.")
    note(bench.shop, bench.case, Request("closed", check_now(bench)))
    expect(page.locator(".ticks i.closed")).to_have_count(1)
    page.keyboard.type("4")
    expect(page.locator("#ohms")).to_have_value("0.4")


FAR = (
    "#slip .face, #slip .tip .name > span, #slip .tip .thing, #slip .tip .where, #slip .expect, #slip .expect .ohm, "
    "#answer-closed, #answer-open, #slip .patient output, #toast.far span"
)
"""What is read with both hands at the probes: the side, both places, what is expected, the answers' words, what the practice meter says, what was noted."""
CAPITALS = """(all) => [...document.querySelectorAll(all)].map((el) => {
  const s = getComputedStyle(el), pen = document.createElement('canvas').getContext('2d');
  pen.font = `${s.fontWeight} ${s.fontSize} ${s.fontFamily}`;
  const high = pen.measureText('H').actualBoundingBoxAscent;
  return [el.id || el.className || el.tagName, high, Math.atan(high * 25.4 / 96 / 1500) * 60 * 180 / Math.PI, el.scrollWidth > el.clientWidth + 1];
})"""


@pytest.mark.parametrize("size", [(1280, 800), (1440, 900), (1920, 1080), (820, 1180)])
def test_what_the_round_asks_can_be_read_from_one_and_a_half_metres(
    chromium: Browser, bench: Bench, size: tuple[int, int]
) -> None:
    """Capitals of at least 16 minutes of arc over 1500 mm (ISO 9241-303, from memory) on a screen of 96 dpi: atan(h px x 25.4 mm / 96 / 1500 mm), h = 26.4 px."""
    page = opened(chromium, bench, size=size)
    page.keyboard.press(" ")
    expect(page.locator(".hands .key.chosen")).to_have_count(1)
    seen = page.evaluate(CAPITALS, FAR)
    page.keyboard.press("c")
    expect(page.locator("#toast.far")).to_contain_text("Noted: closed")
    seen += page.evaluate(CAPITALS, "#toast.far span")
    names = {name for name, *_ in seen}
    assert {"thing", "ohm", "where", "expect", "answer-closed", "answer-open", "OUTPUT"} <= names and any(
        "face" in one for one in names
    )
    assert [one for one in seen if one[2] < 16.0] == []
    assert [one for one in seen if one[3]] == [], "cut off"
    assert page.locator("#answer-open").evaluate("el => el.getBoundingClientRect().bottom <= innerHeight")
    page.context.close()
    assert bench.foreign == [] and bench.errors == []


@pytest.mark.parametrize("view", ["bench", "story", "wires", "record"])
def test_every_control_has_a_name_in_both_lights(chromium: Browser, bench: Bench, view: str) -> None:
    page = opened(chromium, bench, view=view, size=(1024, 768))
    page.locator(f"#{view}").wait_for()
    page.wait_for_timeout(400)
    for light in ("day", "lamp"):
        if page.locator("html").get_attribute("data-light") != light:
            page.locator("#lamp").click()
        expect(page.locator("html")).to_have_attribute("data-light", light)
        nameless = page.evaluate(
            """() => [...document.querySelectorAll('button, a, input, select, textarea, summary, canvas, iframe')]
              .filter((el) => el.offsetParent && !(el.getAttribute('aria-label') || el.textContent.trim() || el.title || el.labels?.length))
              .map((el) => el.outerHTML.slice(0, 120))"""
        )
        assert nameless == []
        assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    page.context.close()
    assert bench.foreign == [] and bench.errors == []


def test_the_end_shows_what_was_really_broken(page: Page, bench: Bench) -> None:
    """The whole round is answered through the service, then the page shows the finish."""
    from coppermend.services.patients import ask_patient

    for _ in range(400):
        step = next_for_case(bench.shop, bench.case)
        if step.check is None:
            break
        a, b = step.check.point_a, step.check.point_b
        note(bench.shop, bench.case, Request(ask_patient(bench.shop, bench.case, a, b).says, (a, b)))
    assert step.check is None and proven_for_case(bench.shop, bench.case).open_sites == ()
    page.reload()
    expect(page.locator(".step-words")).to_be_visible()
    if step.kind == "patch":
        expect(page.locator(".step-words")).to_contain_text("is broken")
        page.locator("#slip .key.hot").first.click()
        expect(page.locator("#toast")).to_contain_text("Noted")
    kinds = {one.kind for one in case_state(bench.shop, bench.case).timeline}
    assert step.kind != "patch" or kinds & {"patch", "solder", "reseat"}


def test_the_gate_is_passed_over_with_a_reason_in_the_pages_own_form(page: Page, bench: Bench) -> None:
    page.goto(bench.url("story"))
    page.get_by_text("Power up all the same").click()
    page.get_by_role("button", name="Pass over what is left").click()
    assert case_state(bench.shop, bench.case).gate == (), "without a reason nothing is noted"
    page.get_by_label("Why, for the log").fill("only the lamp is looked at")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Passed over on purpose: only the lamp is looked at")).to_be_visible()
    assert [(one.item, one.words) for one in case_state(bench.shop, bench.case).gate] == [
        ("override", "only the lamp is looked at")
    ]


def test_a_patient_of_ones_own_is_asked_for_and_tells_its_lies_at_the_end(page: Page, bench: Bench) -> None:
    page.goto(f"{bench.address}/#/")
    page.click("#other-patient summary")
    form = page.locator("#other-patient form")
    form.locator("[name=breaks]").fill("0")
    form.locator("[name=bridges]").fill("1")
    form.locator("[name=noise]").select_option("off")
    form.locator("[name=slips]").fill("3")
    form.locator("button").click()
    page.wait_for_url("**/bench", timeout=60_000)
    case = page.url.split("/case/")[1].split("/")[0]
    end = """async (id) => (await import('/page/case/finish.js')).openFinish(document.getElementById('help'),
        { url: (what) => `/api/cases/${id}/${what}`, do: () => {} })"""
    page.evaluate(end, case)
    assert page.locator("ul.lies li").all_inner_texts() == ["3 % of the touches stood on the neighbour pin."]
    expect(page.locator(".truths li")).to_have_count(1)
    expect(page.locator(".truths li")).to_contain_text("Solder between")


def test_a_second_opening_asks_the_server_for_no_file_of_the_page(chromium: Browser, bench: Bench) -> None:
    """The document names them under addresses of their bytes, which a browser keeps (RFC 8246: immutable)."""
    page = opened(chromium, bench)
    again = page.context.new_page()
    log = page.context.new_cdp_session(again)
    log.send("Network.enable")
    named: dict[str, str] = {}
    asked: list[str] = []
    kept: list[str] = []

    def answered(event: dict[str, Any]) -> None:
        path = event["response"]["url"].removeprefix(bench.address)
        named[event["requestId"]] = path
        if not (event["response"].get("fromDiskCache") or event["response"].get("fromPrefetchCache")):
            asked.append(event["requestId"])

    log.on("Network.responseReceived", answered)
    log.on("Network.requestServedFromCache", lambda event: kept.append(event["requestId"]))
    again.goto(bench.url())
    again.wait_for_selector("body[data-ready]", timeout=60_000)
    assert sum(one.startswith("/page/of/") for one in named.values()) > 50, "the log saw the page's files"
    assert [named[one] for one in asked if one not in kept and named[one].startswith("/page/")] == []
    page.context.close()
