"""The ear and the voice in a real Chromium: a meter's beeps through the fake microphone, and a whole run of checks by generated beeps and taps only.

The microphone is Chromium's own fake, fed with a file that this test writes, or a generator in the page; no real meter, no real room.
"""

from __future__ import annotations

import math
import random
import re
import struct
import wave
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Page, Playwright, expect
from tests.browser.conftest import FLAGS, Bench, chromium_path, opened

from coppermend.services.bench import next_for_case
from coppermend.services.cases import case_state

pytestmark = pytest.mark.browser

RATE_HZ = 48000
MICROPHONE = ("--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream")


def write_wave(
    path: Path, seconds: float, beeps: list[tuple[float, float]], hz: float = 2730, level: float = 0.05
) -> None:
    """A room with a soft hiss and beeps (begin in s, length in ms)."""
    rand = random.Random(1)
    samples = [0.0005 * (rand.random() - 0.5) for _ in range(int(seconds * RATE_HZ))]
    for begin_s, length_ms in beeps:
        start = int(begin_s * RATE_HZ)
        for i in range(int(length_ms * RATE_HZ / 1000)):
            samples[start + i] += level * math.sin(2 * math.pi * hz * i / RATE_HZ)
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes(struct.pack(f"<{len(samples)}h", *(int(32767 * s) for s in samples)))


@contextmanager
def browser_page(player: Playwright, bench: Bench, *flags: str, script: str = "") -> Iterator[Page]:
    """A page in a Chromium of its own with a fake microphone; says so when there is none."""
    browser = player.chromium.launch(executable_path=chromium_path(), args=[*FLAGS, *MICROPHONE, *flags])
    page = opened(browser, bench)
    if script:
        page.evaluate(script)
    yield page
    browser.close()
    assert bench.foreign == [] and bench.errors == []


def readings(bench: Bench) -> list[str]:
    """Kinds of what the log holds."""
    return [one.kind for one in case_state(bench.shop, bench.case).readings]


def test_the_meter_is_learnt_and_its_beep_answers(player: Playwright, bench: Bench, tmp_path: Path) -> None:
    sound = tmp_path / "bench.wav"
    write_wave(sound, 4.5, [(1.0, 400), (2.6, 60), (3.2, 400)])  # beep, brush, beep; again and again
    check = next_for_case(bench.shop, bench.case).check
    assert check is not None
    with browser_page(player, bench, f"--use-file-for-fake-audio-capture={sound}") as page:
        ear = page.locator("#hear")
        expect(ear).to_contain_text("Ear: off")
        page.keyboard.press("h")
        expect(ear).to_contain_text("learning")
        expect(page.locator("#sound-words")).to_contain_text(re.compile(r"27[23]\d Hz"), timeout=15_000)
        assert readings(bench) == []  # what taught the meter is no answer
        expect(page.locator(".ticks i.closed")).to_have_count(2, timeout=20_000)
        page.keyboard.press("h")
        expect(ear).to_contain_text("Ear: off")
        count = len(readings(bench))
        page.wait_for_timeout(3000)
        assert set(readings(bench)) == {"closed"} and len(readings(bench)) == count >= 2
        first = case_state(bench.shop, bench.case).readings[0]
        assert {p.id for p in first.points} == {check.point_a, check.point_b}


def test_touching_the_tips_for_a_test_is_no_answer(player: Playwright, bench: Bench, tmp_path: Path) -> None:
    sound = tmp_path / "bench.wav"
    write_wave(sound, 3, [(1.0, 500)])
    with browser_page(player, bench, f"--use-file-for-fake-audio-capture={sound}") as page:
        page.evaluate("localStorage.setItem('hearing', JSON.stringify({meter: {hz: 2730, db: -26}}))")
        page.reload()
        page.wait_for_selector("body[data-ready]")
        page.locator("#hear").click()
        page.keyboard.press("x")
        expect(page.locator("#sound-words")).to_have_text("The tips work: it beeps.")
        page.wait_for_timeout(3500)
        assert readings(bench) == []
        page.keyboard.press("x")
        expect(page.locator(".ticks i.closed")).to_have_count(1)


GENERATOR = """() => {
  navigator.mediaDevices.getUserMedia = async () => {
    const context = new AudioContext(), out = context.createMediaStreamDestination();
    const buffer = context.createBuffer(1, 48000, 48000), d = buffer.getChannelData(0);
    for (let i = 0; i < d.length; i++) d[i] = 5e-4 * (Math.random() - 0.5);
    const hiss = new AudioBufferSourceNode(context, { loop: true, buffer });
    hiss.connect(out);
    hiss.start();
    window.beep = (afterS, lengthS) => {
      const tone = new OscillatorNode(context, { frequency: 2730 }), gain = new GainNode(context, { gain: 0.05 });
      tone.connect(gain).connect(out);
      tone.start(context.currentTime + afterS);
      tone.stop(context.currentTime + afterS + lengthS);
    };
    return out.stream;
  };
}"""


PATIENT = """async () => {
  const app = window.bench, check = app.bench.step.check;
  const body = JSON.stringify({ points: [check.a.id, check.b.id], attempt: 0 });
  const answer = await fetch(app.url('practice/ask'), { method: 'POST', headers: { 'content-type': 'application/json' }, body });
  return (await answer.json()).says;
}"""


def test_checks_are_answered_by_beeps_and_taps_only(player: Playwright, bench: Bench) -> None:
    with browser_page(player, bench, script=GENERATOR) as page:
        page.evaluate(
            "Object.assign(window.bench.hearing, {set: {meter: {hz: 2730, db: -26}, hold_ms: 100, taps: true, wait_s: 0}})"
        )
        page.locator("#hear").click()
        expect(page.locator("#hear")).to_contain_text("listening")
        wanted: list[str] = []
        for count in range(1, 13):
            if next_for_case(bench.shop, bench.case).check is None:
                break
            page.wait_for_timeout(1000)  # the tips are moved
            says = page.evaluate(PATIENT)
            if count == 3:
                says = "open"  # at least one answer by taps, whatever the patient says
            wanted.append(says)
            page.evaluate("beep(0.05, 0.35)" if says == "closed" else "beep(0.05, 0.07), beep(0.3, 0.07)")
            expect(page.locator(".ticks i.closed, .ticks i.open, .ticks i.apart, .ticks i.bridge")).to_have_count(count)
        assert readings(bench) == wanted and set(wanted) == {"closed", "open"}


def test_a_refused_microphone_is_said_in_words_and_keys_go_on(player: Playwright, bench: Bench) -> None:
    refused = "() => { navigator.mediaDevices.getUserMedia = async () => { throw new DOMException('no', 'NotAllowedError'); }; }"
    with browser_page(player, bench, script=refused) as page:
        page.keyboard.press("h")
        expect(page.locator("#sound-words")).to_contain_text("Allow it beside the address")
        page.keyboard.press("c")
        expect(page.locator(".ticks i.closed")).to_have_count(1)
