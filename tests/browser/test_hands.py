"""Hands on the page in a real Chromium: which tip cannot reach, a learnt pedal key, spoken answers, cuts, ohms, the map."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.browser.conftest import Bench, opened

from coppermend.services.bench import next_for_case
from coppermend.services.cases import case_state

pytestmark = pytest.mark.browser
expect.set_options(timeout=20_000)


def kinds(bench: Bench) -> list[str]:
    """Kinds of the readings in the log."""
    return [one.kind for one in case_state(bench.shop, bench.case).readings]


def test_only_the_tip_that_cannot_reach_is_left_out(page: Page, bench: Bench) -> None:
    check = next_for_case(bench.shop, bench.case).check
    assert check is not None
    page.keyboard.press("n")
    expect(page.locator("#skip-a")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("#answer-closed")).to_be_visible()
    assert case_state(bench.shop, bench.case).skips == ()
    page.keyboard.press("n")
    page.keyboard.press("2")
    expect(page.locator("#story")).to_be_visible()
    for key in ("a", "b", "n"):
        page.keyboard.press(key)
    page.keyboard.press("1")
    expect(
        page.locator("#answer-closed")
    ).to_be_visible()  # the question was left with the leaf, and nothing was answered there
    assert case_state(bench.shop, bench.case).skips == ()
    page.keyboard.press("n")
    page.keyboard.press("b")
    expect(page.locator("#answer-closed")).to_be_visible()
    (skip,) = case_state(bench.shop, bench.case).skips
    assert [one.id for one in skip.points] == [check.point_b]
    after = next_for_case(bench.shop, bench.case).check
    assert after is not None and check.point_b not in (after.point_a, after.point_b)


def test_a_pedal_key_is_learnt_and_kept(page: Page, bench: Bench) -> None:
    page.locator("#sound-more").click()
    page.locator("#pedal-closed").click()
    expect(page.locator("#pedal-words")).to_contain_text("Press the pedal")
    page.keyboard.press("F9")
    expect(page.locator("#pedal-closed")).to_have_text("closed: F9")
    assert kinds(bench) == []
    page.get_by_role("button", name="Good").click()
    page.keyboard.press("F9")
    expect(page.locator(".ticks i.closed")).to_have_count(1)
    page.reload()
    page.wait_for_selector("body[data-ready]")
    page.keyboard.press("F9")
    expect(page.locator(".ticks i.closed")).to_have_count(2)
    assert kinds(bench) == ["closed", "closed"]


RECOGNISER = """
  window.SpeechRecognition = class {
    static async available(ask) { window.asked = ask; return 'available'; }
    start() { window.recogniser = this; }
    abort() {}
  };
  window.speakWord = (text) => window.recogniser.onresult({ resultIndex: 0, results: [Object.assign([{ transcript: text, confidence: 0.9 }], { isFinal: true })] });
"""


def test_spoken_words_answer_where_the_browser_understands_them_here(chromium: Browser, bench: Bench) -> None:
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    context.add_init_script(RECOGNISER)
    page = context.new_page()
    page.goto(bench.url())
    page.wait_for_selector("body[data-ready]")
    page.keyboard.press("k")
    expect(page.locator("#sound-words")).to_contain_text("Say")
    assert page.evaluate("window.asked") == {"langs": ["en-US"], "processLocally": True}
    page.evaluate("speakWord('open the drawer')")
    page.evaluate("speakWord('closed')")
    expect(page.locator(".ticks i.closed")).to_have_count(1)
    page.evaluate("speakWord('take that back')")
    expect(page.locator(".ticks i.closed")).to_have_count(0)
    assert kinds(bench) == []
    context.close()


def test_without_such_a_browser_it_is_said_and_keys_go_on(page: Page, bench: Bench) -> None:
    page.evaluate("delete window.SpeechRecognition; window.bench.listening.Recognition = undefined")
    page.keyboard.press("k")
    expect(page.locator("#sound-words")).to_contain_text("understands no speech")
    page.keyboard.press("c")
    expect(page.locator(".ticks i.closed")).to_have_count(1)


def test_a_cut_and_a_diode_reading_between_two_chosen_points(page: Page, bench: Bench) -> None:
    page.evaluate(
        """async () => {
          const app = window.bench, check = app.bench.step.check;
          app.do('measure', { a: check.a, b: check.b });
        }"""
    )
    expect(page.locator(".slip-head b")).to_have_text("Your own check")
    page.locator("#value-unit").select_option("diode")
    page.locator("#ohms").fill("0.62")
    page.keyboard.press("Enter")
    expect(page.locator("#toast")).to_contain_text("Noted")
    assert [(one.kind, one.value) for one in case_state(bench.shop, bench.case).readings] == [("diode", 0.62)]
    page.evaluate("() => { const c = window.bench.bench.step.check; window.bench.do('measure', { a: c.a, b: c.b }); }")
    page.get_by_text("Something was done between these two").click()
    page.locator("#cut-here").click()
    expect(page.locator("#toast")).to_contain_text("cut")
    assert len(case_state(bench.shop, bench.case).cuts) == 1
    page.keyboard.press("z")
    expect(page.locator("#toast")).to_contain_text("back")
    assert case_state(bench.shop, bench.case).cuts == ()


def test_a_short_is_asked_for_and_read_on_the_ohms_leaf(page: Page, bench: Bench) -> None:
    page.keyboard.press("4")
    expect(page.get_by_text("No reading of this case shows two nets joined.")).to_be_visible()
    bench.errors.clear()  # Chromium writes that answer (422) to its console
    board = page.evaluate("window.bench.scene.nets.filter((n) => ['D0', 'D1'].includes(n)).length")
    assert board == 2
    page.locator("#ohm-net_a").fill("D0")
    page.locator("#ohm-net_b").fill("D1")
    page.keyboard.press("Enter")
    reading = page.locator("section[aria-label='Two nets touch'] form.reading")
    expect(reading).to_be_visible(timeout=30_000)
    reading.get_by_label("Ohms").fill("0.31")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Read so far: 1")).to_be_visible(timeout=30_000)
    assert kinds(bench) == ["ohms"]
    page.locator("#ohm-net").fill("VCC")
    page.keyboard.press("Enter")
    expect(page.locator("section[aria-label='One net'] .plan").first).to_contain_text("when whole", timeout=30_000)
    expect(page.get_by_text("not told yet")).to_be_visible(timeout=30_000)
    page.get_by_label("Read with").select_option("two-wire")
    expect(page.get_by_text("Leads have 0.1 to 0.5")).to_be_visible(timeout=30_000)
    page.locator("#ohm-zeroed").check()
    expect(page.get_by_text("Leads have 0.1 to 0.5")).to_have_count(0)
    excess = page.locator("section[aria-label='One net'] > .answer").last.locator("form.reading")
    expect(excess).to_be_visible(timeout=30_000)
    excess.get_by_label("Ohms").fill("0.05")
    page.keyboard.press("Enter")
    for _ in range(300):  # the toast may still be that of the reading before
        if len(kinds(bench)) == 2:
            break
        page.wait_for_timeout(100)
    assert kinds(bench) == ["ohms", "ohms"]
    last = case_state(bench.shop, bench.case).readings[-1]
    assert (last.wires, last.lead_ohm) == (2, 0.0)


def test_the_map_leaf_lists_checks_to_measure(page: Page, bench: Bench) -> None:
    page.keyboard.press("5")
    rows = page.locator("ol[aria-label='Checks that tell more'] li")
    expect(rows.first).to_be_visible(timeout=30_000)
    assert 1 <= rows.count() <= 8
    rows.first.get_by_role("button").click()
    expect(page.locator(".slip-head b")).to_have_text("Your own check")
    page.keyboard.press("c")
    expect(page.locator("#toast")).to_contain_text("Noted")
    assert kinds(bench) == ["closed"]
    page.goto(bench.url())


def test_the_map_is_said_to_agree_and_a_pin_is_corrected(page: Page, bench: Bench) -> None:
    page.keyboard.press("5")
    form, sheet = page.locator("form[aria-label='Correct the map']"), page.locator("section[aria-label='The map']")
    expect(sheet).to_contain_text("Not looked at yet", timeout=30_000)
    form.get_by_label("On this board").select_option("agreed")
    form.get_by_label("Why, for the log").fill("same type and date")
    form.get_by_role("button", name="Note it").click()
    expect(sheet).to_contain_text("Compared by hand: they agree", timeout=30_000)
    form.get_by_label("On this board").select_option("apart")
    form.get_by_label("Pin", exact=True).fill("U1.8")
    form.get_by_role("button", name="Note it").click()
    expect(page.locator("#toast")).to_contain_text("U1.8", timeout=30_000)
    notes = case_state(bench.shop, bench.case).map_notes
    assert [one.says for one in notes] == ["agreed", "apart"]


def test_a_rail_is_read_to_ground_on_the_story_leaf(page: Page, bench: Bench) -> None:
    """Also the two largest nets of the board are judged in time: the reading joins VCC and GND."""
    page.keyboard.press("2")
    rails = page.locator("ul.rails li")
    expect(rails.first).to_contain_text("VCC to GND", timeout=30_000)
    page.locator("#rail-0").fill("240")
    page.keyboard.press("Enter")
    expect(rails.first).to_contain_text("Read 240", timeout=30_000)
    page.locator("#rail-0").fill("0.4")
    page.keyboard.press("Enter")
    expect(rails.first).to_contain_text("too low, do not switch on", timeout=30_000)
    assert [one.value for one in case_state(bench.shop, bench.case).readings] == [240.0, 0.4]


def test_a_phone_has_the_answers_in_reach(chromium: Browser, bench: Bench) -> None:
    for size in [(390, 844), (820, 1180), (640, 400)]:  # the last: 1280 by 800 at 200 % zoom
        page = opened(chromium, bench, touch=True, size=size)
        for key in ("#answer-closed", "#answer-open", "#answer-again", "#answer-skip", "#answer-back", "#touch"):
            box = page.locator(key).bounding_box()
            assert box is not None, (size, key)
            assert box["x"] >= 0 and box["x"] + box["width"] <= size[0] and box["y"] + box["height"] <= size[1], (
                size,
                key,
            )
            assert box["height"] >= 40, (size, key)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), size
        page.context.close()
    assert bench.foreign == [] and bench.errors == []


def test_a_key_pressed_by_hand_does_not_keep_the_keyboard(page: Page, bench: Bench) -> None:
    """After an answer by mouse, Space asks the practice patient as the slip says, and Enter does nothing: neither answers the next check."""
    page.locator("#answer-closed").click()
    expect(page.locator(".ticks i.closed")).to_have_count(1)
    page.keyboard.press("Enter")
    page.keyboard.press(" ")
    expect(page.locator(".hands .key.chosen")).to_have_count(1)
    assert kinds(bench) == ["closed"]
    page.locator(".patient label").click()  # "note it": the tick does not keep the keyboard either
    page.keyboard.press("c")
    expect(page.locator(".ticks i.closed")).to_have_count(2)
    assert kinds(bench) == ["closed", "closed"]


def test_who_goes_by_tab_presses_the_key_that_has_the_focus(page: Page, bench: Bench) -> None:
    page.locator("#answer-open").focus()
    page.keyboard.press("Enter")
    page.wait_for_function("() => window.bench.bench.readings.length === 1 && !window.bench.busy")
    assert kinds(bench) == ["open"]
    assert page.evaluate("document.activeElement.id") == "answer-open"


def test_escape_puts_the_marks_away_and_lets_their_key_go(page: Page) -> None:
    page.keyboard.press("m")
    expect(page.locator("#tool-marks")).to_have_attribute("aria-pressed", "true")
    page.keyboard.press("Escape")
    expect(page.locator("#legend")).to_be_hidden()
    expect(page.locator("#tool-marks")).to_have_attribute("aria-pressed", "false")


def test_a_check_on_the_other_side_says_turn_over(page: Page) -> None:
    side = page.locator("#slip .face")
    expect(side).to_have_text("Component side")
    page.evaluate("window.bench.do('turn')")
    expect(side).to_have_text("Turn over: component side")
    page.evaluate("window.bench.do('turn')")
    expect(side).to_have_text("Component side")


def test_an_answer_that_nobody_takes_is_kept_over_a_reload_and_sent(page: Page, bench: Bench) -> None:
    """The network is gone for longer than the old eight seconds of trying; the page is loaded anew meanwhile."""
    page.route("**/entries", lambda route: route.abort())
    page.keyboard.press("c")
    said = page.locator("#slip .unsent")
    expect(said).to_contain_text("Not noted yet: closed: U")
    page.keyboard.press("o")
    expect(page.locator("#toast")).to_contain_text("Once more, please")
    page.wait_for_timeout(9_000)
    expect(said).to_be_visible()
    assert kinds(bench) == []
    assert page.evaluate("localStorage.getItem('not-noted-yet')") is not None
    page.reload(wait_until="commit")
    page.unroute_all(behavior="ignoreErrors")
    page.wait_for_selector("body[data-ready]")
    expect(page.locator(".ticks i.closed")).to_have_count(1)
    assert kinds(bench) == ["closed"]
    page.wait_for_function("localStorage.getItem('not-noted-yet') === null")
    bench.errors.clear()  # the aborted requests


def test_an_answer_that_nobody_takes_can_be_given_up(page: Page, bench: Bench) -> None:
    page.route("**/entries", lambda route: route.abort())
    page.keyboard.press("o")
    expect(page.locator("#give-up")).to_be_visible()
    page.keyboard.press("z")
    expect(page.locator("#toast")).to_contain_text("Given up")
    page.unroute_all(behavior="ignoreErrors")
    page.keyboard.press("c")
    expect(page.locator(".ticks i.closed")).to_have_count(1)
    assert kinds(bench) == ["closed"]
    bench.errors.clear()


def test_the_card_of_a_pin_says_what_the_slip_says(page: Page, bench: Bench) -> None:
    """U38 lies with its notch down on the demonstration machine: pin 5 is in the right row as it lies, on the card as on the slip."""
    page.evaluate("window.bench.do('find', 'U38.5')")
    expect(page.locator("#card h2").first).to_have_text("U38 pin 5")
    page.locator("#tip-a-here").click()
    on_slip = page.locator("#slip .tip .where").first
    expect(on_slip).to_have_text("notch down: right row, 5th from it")
    expect(page.locator("#card .where").first).to_contain_text("notch down: right row, 5th from it")
    page.evaluate("window.bench.do('rotate'), window.bench.do('rotate')")
    expect(on_slip).to_have_text("notch up: left row, 5th from it")
    expect(page.locator("#card .where").first).to_contain_text("notch up: left row, 5th from it")


def test_a_pair_of_ones_own_is_read_out_and_escape_leaves_it(page: Page, bench: Bench) -> None:
    said = page.locator("#say")
    expect(said).to_contain_text("Tip A: ")
    check = said.text_content()
    page.evaluate("() => { const c = window.bench.bench.step.check; window.bench.do('measure', { a: c.b, b: c.a }); }")
    expect(said).not_to_have_text(check)
    expect(page.locator("#not-own")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("#not-own")).to_have_count(0)
    expect(said).to_have_text(check)
    assert "leg" in check or "joint" in check, "what is touched is said"


def test_a_part_to_be_marked_is_framed_before_and_a_tap_beside_it_is_answered(page: Page, bench: Bench) -> None:
    page.evaluate("window.bench.do('newArea')")
    page.locator("#area-part").fill("U4")
    frame = page.evaluate("window.bench.map.laid.draft")
    pins = page.evaluate("window.bench.scene.parts.find((p) => p.ref === 'U4').pins.map((p) => [p[1], p[2]])")
    xs, ys = [x for x, _ in pins], [y for _, y in pins]
    assert frame[0] == frame[-1] and frame[0] == pytest.approx([min(xs) - 3, min(ys) - 3])
    assert frame[2] == pytest.approx([max(xs) + 3, max(ys) + 3])
    page.evaluate("window.bench.areaTap([-50, -50])")
    expect(page.locator("#area-form [role=status]")).to_have_text(
        "No part lies there; still round U4. Tap the body of one."
    )


@pytest.mark.parametrize("size", [(390, 844), (820, 1180)])
def test_a_pin_is_found_and_the_case_is_named_on_small_upright_screens(
    chromium: Browser, bench: Bench, size: tuple[int, int]
) -> None:
    page = opened(chromium, bench, touch=True, size=size)
    expect(page.locator("#title b")).to_have_text("A machine for tests")
    expect(page.locator("#title b")).to_be_visible()
    page.locator("#find-text").fill("U4.3")
    page.locator("#find-text").press("Enter")
    expect(page.locator("#card h2").first).to_have_text("U4 pin 3")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    boxes = page.evaluate(
        "() => ['#mark', '#title', '#find', '#rail-tools', '#tabs'].map((s) => document.querySelector(s).getBoundingClientRect())"
        ".map((r) => [r.left, r.top, r.right, r.bottom])"
    )
    for i, one in enumerate(boxes):
        for other in boxes[i + 1 :]:
            apart = one[2] <= other[0] + 1 or other[2] <= one[0] + 1 or one[3] <= other[1] + 1 or other[3] <= one[1] + 1
            assert apart, (one, other)
    page.context.close()
    assert bench.errors == []


def test_nothing_is_answered_behind_an_open_sheet_and_escape_closes_it(page: Page, bench: Bench) -> None:
    for opener, sheet in (("#sound-more", "#sound-sheet"), ("[aria-label=Keys]", "#help")):
        page.locator(opener).first.click()
        expect(page.locator(sheet)).to_be_visible()
        for key in ("c", "o", "2"):
            page.keyboard.press(key)
        expect(page.locator(sheet)).to_be_visible()
        page.keyboard.press("Escape")
        expect(page.locator(sheet)).to_be_hidden()
        assert page.url.endswith("/bench")
        if opener == "#sound-more":
            expect(page.locator(opener)).to_be_focused()
    assert kinds(bench) == []
    page.keyboard.press("c")
    expect(page.locator(".ticks i.closed")).to_have_count(1)


def test_a_voice_that_is_not_there_says_so_where_it_is_seen(page: Page, bench: Bench) -> None:
    """Neither this browser nor the server has a voice: the key for it says so, and does not pretend to be on."""
    page.route("**/api/speech", lambda route: route.fulfill(json={"available": False}))
    page.evaluate("() => { speechSynthesis.getVoices = () => []; }")
    page.keyboard.press("q")
    expect(page.locator("#toast")).to_contain_text("no voice")
    expect(page.locator("#say-again")).to_contain_text("No voice")
    assert page.evaluate("window.bench.voice.set.on") is False


def test_an_ohms_reading_is_confirmed_with_its_value(page: Page, bench: Bench) -> None:
    page.keyboard.press("v")
    page.keyboard.type("0.26")
    page.keyboard.press("Enter")
    expect(page.locator("#toast")).to_contain_text("Noted: 0.26 Ω: U")
    expect(page.locator("#slip .spike li").first).to_contain_text("0.26 Ω: U")


IN_OHMS = """() => { const c = window.bench.bench.step.check; Object.assign(c, { purpose: 'ohms', expected_ohm: 0.003, broken_ohm: 0.0054,
    meter: { words: 'four-wire, 0.1 milliohm', options: { wires: 4 } } }); window.bench.redraw(); return [c.a.id, c.b.id]; }"""
"""The check in hand as one that only ohms answer, as the round has it where copper has another way round."""


def test_a_check_in_ohms_asks_for_ohms_and_notes_what_they_were_read_with(page: Page, bench: Bench) -> None:
    points = page.evaluate(IN_OHMS)
    expect(page.locator("#slip .expect")).to_contain_text("read ohms")
    expect(page.locator("#slip .expect")).to_contain_text("sound 3.0 mΩ, else 5.4 mΩ")
    expect(page.locator("#slip .hands")).to_contain_text("A beep tells nothing here")
    page.keyboard.press("d")  # nothing was typed yet: nothing is noted
    page.keyboard.press(" ")  # the practice patient's meter shows ohms, and they stand in the field
    expect(page.locator("#answer-ohms.chosen")).to_have_count(1)
    shown = float(page.locator("#ohms").input_value())
    assert kinds(bench) == []
    page.keyboard.press("d")
    expect(page.locator(".ticks i.closed, .ticks i.open")).to_have_count(1)
    (reading,) = case_state(bench.shop, bench.case).readings
    assert (reading.kind, reading.wires, [one.id for one in reading.points]) == ("ohms", 4, points)
    assert reading.value == pytest.approx(shown)
    page.evaluate(IN_OHMS)
    page.keyboard.press("v")
    page.keyboard.type("5.5m")
    page.keyboard.press("Enter")
    expect(page.locator(".ticks i.closed, .ticks i.open")).to_have_count(2)
    second = case_state(bench.shop, bench.case).readings[-1]
    assert (second.kind, second.wires) == ("ohms", 4) and second.value == pytest.approx(0.0055)
