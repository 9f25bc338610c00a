"""The ear in a real Chromium: each scene through the browser's fake microphone, audio worklet and page, in real time; no real meter, no real room.

One scene after the other, so that each has the machine to itself. Each is as loud as in the false alarms of ``beep`` and holds a beep of 300 ms
every 10 s (2730 Hz, -20 dBFS, learnt; double tap on). What is answered in step with the beeps is heard, everything else is an answer without a
beep. ``p95_ms`` from the begin of the tone, as the ear reckons it, to its answer, the way of the sound into the browser not counted. ``load``
waiting processes a minute, at the end. Arguments: minutes a scene (default 5), seed (default 1).
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import wave
from itertools import pairwise
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent
SCENES = ("noise", "hammering", "voice")
RATE_HZ = 48000
EVERY_S = 10.0
FLAGS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--use-fake-ui-for-media-stream",
    "--use-fake-device-for-media-stream",
]
LEARNT = "localStorage.setItem('hearing', JSON.stringify({meter: {hz: 2730, db: -20}, taps: true}))"
COUNT = """() => {
  const ear = window.bench.hearing, take = ear.heard.bind(ear);
  window.answers = [];
  ear.heard = (heard, token) => {
    if (ear.state === 'listening' && (heard.kind === 'closed' || heard.kind === 'open') && token === ear.token) {
      window.answers.push(heard);
      ear.ready(`check ${window.answers.length}`);
      return;
    }
    take(heard, token);
  };
  window.bench.lendEar = () => {};
  ear.ready('check 0');
}"""


def pour(scene: str, seed: int, seconds: float, path: Path) -> None:
    """The scene as a WAV file."""
    words = [str(shutil.which("node")), str(HERE / "beep_sounds" / "pour.mjs")]
    job = json.dumps({"scene": scene, "seed": seed, "seconds": seconds})
    samples = subprocess.run([*words, job], capture_output=True, check=True).stdout
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes(samples)


def judged(answers: list[dict[str, Any]], seconds: float) -> dict[str, Any]:
    """Which answers are in step with the beeps: a whole number of steps (to 1.5 s) after the answer before.

    A busy computer loses pieces of the fake microphone's sound, so that the steps drift; each is compared with its neighbour only.
    """
    beeps = round(seconds / EVERY_S)
    onsets = [one["onset_ms"] / 1000 for one in answers]
    steps = [now - before for before, now in pairwise([onsets[0] - EVERY_S, *onsets])] if onsets else []
    good = [
        one
        for one, step in zip(answers, steps, strict=True)
        if round(step / EVERY_S) >= 1 and abs(step - EVERY_S * round(step / EVERY_S)) < 1.5 and one["kind"] == "closed"
    ]
    late = sorted(one["at_ms"] - one["onset_ms"] for one in good)
    p95 = round(late[int(0.95 * (len(late) - 1))], 1) if late else None
    return {
        "beeps": beeps,
        "heard": len(good),
        "answers_without_a_beep": len(answers) - len(good),
        "p95_ms": p95,
        "onsets_s": [round(one, 2) for one in onsets],
    }


def listen(scene: str, address: str, chromium: str, minutes: float, seed: int) -> dict[str, Any]:
    """One scene in a browser of its own."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        file = Path(folder) / "scene.wav"
        pour(scene, seed, minutes * 60 + 30, file)
        flags = [*FLAGS, f"--use-file-for-fake-audio-capture={file}%noloop"]
        browser = play.chromium.launch(executable_path=chromium, args=flags)
        page = browser.new_page()
        page.set_default_timeout(90_000)
        page.goto(address)
        page.locator("body[data-ready]").wait_for()
        page.evaluate(LEARNT)
        page.reload()
        page.locator("body[data-ready]").wait_for()
        page.locator("#hear").click()
        page.locator("#hear[data-state=listening]").wait_for()
        page.evaluate(COUNT)
        begun = time.monotonic()
        page.wait_for_timeout(1000 * 60 * minutes)
        answers = page.evaluate("() => window.answers")
        seconds = time.monotonic() - begun
        browser.close()
        return {"minutes": round(seconds / 60, 2), **judged(answers, seconds)}


def run(arguments: list[str]) -> dict[str, Any]:
    """The benchmark; says so when there is no Chromium or no Node."""
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if chromium is None or shutil.which("node") is None:
        return {"not_run": "no Chromium or no Node on this machine"}
    minutes = float(arguments[0]) if arguments else 5.0
    seed = int(arguments[1]) if len(arguments) > 1 else 1
    with tempfile.TemporaryDirectory() as folder:
        words = [sys.executable, "-m", "coppermend", "--store", f"{folder}/demo", "demo", "--no-browser"]
        served = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"})
        try:
            assert served.stdout is not None
            address = next(found[0] for line in served.stdout if (found := re.search(r"http://\S+", line)))
            rows = {scene: listen(scene, address, chromium, minutes, seed) for scene in SCENES}
        finally:
            served.terminate()
            served.wait(10)
    return {"seed": seed, "load": [round(one, 1) for one in os.getloadavg()], **rows}
