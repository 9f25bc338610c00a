"""The bench page on the demonstration machine in headless Chromium without a GPU: first picture, frames while moving, pick, answer to next check.

Frame gaps are those between animation frames while the map is moved and zoomed at three distances (whole board, 4 times, 16 times nearer);
60 frames a second is a gap of 16.7 ms. ``first_picture_ms`` from opening the address to the first sharp drawing of the board, board from the cache.
``answer_ms`` from the key to the next check on the slip, practice patient behind it. Arguments: number of frames (default 180).
"""

from __future__ import annotations

import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from typing import Any

from playwright.sync_api import Page, sync_playwright

FLAGS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
]

MOVE = """async ([frames, nearer]) => {
  const map = window.bench.map;
  map.fit();
  map.zoom(nearer);
  await new Promise((r) => setTimeout(r, 600));
  const gaps = [];
  let last = performance.now();
  for (let i = 0; i < frames; i++) {
    const f = i % 60 < 30 ? 1.006 : 1 / 1.006;
    map.move({ ...map.view, x: map.view.x + (i % 120 < 60 ? 3 : -3) / map.view.scale, scale: map.view.scale * f });
    await new Promise((r) => requestAnimationFrame(r));
    const now = performance.now();
    gaps.push(now - last);
    last = now;
  }
  return gaps;
}"""


PICK = """() => {
  const map = window.bench.map;
  map.on.tap = () => {};
  const begun = performance.now();
  for (let i = 0; i < 200; i++) map.tap(300 + i, 300);
  return (performance.now() - begun) / 200;
}"""


def quantiles(values: list[float]) -> dict[str, float]:
    """Median, 95th percentile and largest, rounded."""
    ordered = sorted(values)
    return {
        "p50": round(statistics.median(ordered), 1),
        "p95": round(ordered[int(0.95 * (len(ordered) - 1))], 1),
        "max": round(ordered[-1], 1),
    }


def answers(page: Page, count: int) -> list[float]:
    """Milliseconds from the key to the next check, ``count`` times."""
    out = []
    for _ in range(count):
        page.keyboard.press(" ")
        chosen = page.locator(".answers .key.chosen")
        chosen.wait_for()
        said = (chosen.get_attribute("id") or "").removeprefix("answer-")
        begun = time.perf_counter()
        page.keyboard.press({"closed": "c", "open": "o"}[said])
        chosen.wait_for(state="detached")
        out.append(1000 * (time.perf_counter() - begun))
    return out


def measure(page: Page, address: str, frames: int) -> dict[str, Any]:
    """All figures on one page."""
    begun = time.perf_counter()
    page.goto(address)
    page.locator("body[data-ready]").wait_for()
    first = 1000 * (time.perf_counter() - begun)
    page.wait_for_timeout(1000)
    scene = page.evaluate(
        "() => { const s = window.bench.scene; return s.layers.reduce((n, l) => n + l.discs.length + l.strokes.length + l.regions.length, 0); }"
    )
    gaps = {
        name: quantiles(page.evaluate(MOVE, [frames, nearer]))
        for name, nearer in (("whole", 1), ("mid", 4), ("close", 16))
    }
    pick = page.evaluate(PICK)
    page.reload()
    page.locator("body[data-ready]").wait_for()
    return {
        "copper_shapes": scene,
        "first_picture_ms": round(first),
        "frame_gap_ms": gaps,
        "pick_ms": round(pick, 3),
        "answer_ms": quantiles(answers(page, 12)),
    }


def run(arguments: list[str]) -> dict[str, Any]:
    """The benchmark; says so when there is no Chromium."""
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if chromium is None:
        return {"not_run": "no Chromium on this machine"}
    with tempfile.TemporaryDirectory() as folder:
        words = [sys.executable, "-m", "coppermend", "--store", f"{folder}/demo", "demo", "--no-browser"]
        served = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"})
        try:
            assert served.stdout is not None
            address = next(found[0] for line in served.stdout if (found := re.search(r"http://\S+", line)))
            with sync_playwright() as play:
                browser = play.chromium.launch(executable_path=chromium, args=FLAGS)
                page = browser.new_page(viewport={"width": 1440, "height": 900})
                result = measure(page, address, int(arguments[0]) if arguments else 180)
                browser.close()
        finally:
            served.terminate()
            served.wait(10)
    return result
