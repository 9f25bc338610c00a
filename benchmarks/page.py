"""The bench page in headless Chromium without a GPU, through the real server: first picture, frames while moving, pick, answer to next check.

    python -m benchmarks page --json [FRAMES [OBJECTS]]

Two boards: the demonstration machine, and a package of OBJECTS drawn copper objects (200,000 unless said otherwise) made for this purpose.
``first_picture_ms`` from opening the address to a board drawn sharp all over the window (server running, board in its cache); ``first_copper_ms``
to the first copper in it, drawn in small and enlarged. ``cold_ms`` the same two with a server that was just started.
``first_picture_cpu_ms`` the processor time that server, browser and workers together used meanwhile: what the clock shows on a computer that does
nothing else is at most about that. ``frame_gap_ms`` between animation frames while the map is moved and zoomed at three distances (whole board, 4 and 16 times nearer); 60 frames
a second is a gap of 16.7 ms. ``own_ms`` how long the page itself worked for one frame. ``sharp_ms`` from the last movement to a sharp picture. ``pick_ms`` from a
tap to the point and net found. ``answer_ms`` from the key to the next check on the slip, practice patient behind it; ``turn_ms`` to turn the board over without its film.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page

from benchmarks._big_board import write_big_board
from benchmarks._browser import chromium, chromium_path, family_seconds, rest, served

SIZE = {"width": 1440, "height": 900}

MOVE = """async ([frames, nearer]) => {
  const map = window.bench.map;
  map.fit();
  map.zoom(nearer);
  await new Promise((r) => setTimeout(r, 1200));
  const gaps = [], own = map.frames.length;
  let last = performance.now();
  for (let i = 0; i < frames; i++) {
    const f = i % 60 < 30 ? 1.006 : 1 / 1.006;
    map.move({ ...map.view, x: map.view.x + (i % 120 < 60 ? 3 : -3) / map.view.scale, scale: map.view.scale * f });
    await new Promise((r) => requestAnimationFrame(r));
    const now = performance.now();
    gaps.push(now - last);
    last = now;
  }
  const begun = performance.now();
  while (map.canvas.dataset.sharp !== 'yes' && performance.now() - begun < 20000) await new Promise((r) => setTimeout(r, 5));
  return { gaps, own: map.frames.slice(-frames), sharp: performance.now() - begun };
}"""

PICK = """() => {
  const map = window.bench.map, took = [], on = map.on.tap;
  map.pointGrid();
  map.on.tap = () => {};
  for (let i = 0; i < 300; i++) {
    const begun = performance.now();
    map.tap(100 + (i * 37) % 700, 100 + (i * 53) % 600);
    took.push(performance.now() - begun);
  }
  map.on.tap = on;
  return took;
}"""

TURN = """async () => {
  const map = window.bench.map, took = [];
  map.fit();
  for (let i = 0; i < 10; i++) {
    const begun = performance.now();
    await map.turn(i % 2 ? 'level' : 'upright');
    await new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)));
    took.push(performance.now() - begun);
  }
  return took;
}"""

FIRST = """() => {
  const begun = performance.now(), seen = (window.seen = {});
  const look = () => {
    const map = window.bench?.map, canvas = document.getElementById('map');
    if (map?.ready && map.store.kept.size && seen.copper === undefined) seen.copper = performance.now();
    if (canvas?.dataset.sharp === 'yes' && seen.copper !== undefined) seen.sharp = performance.now();
    if (seen.sharp === undefined) requestAnimationFrame(look);
  };
  look();
}"""


def quantiles(values: list[float]) -> dict[str, float]:
    """Median, 95th percentile and largest, rounded."""
    ordered = sorted(values)
    return {
        "p50": round(statistics.median(ordered), 2),
        "p95": round(ordered[int(0.95 * (len(ordered) - 1))], 2),
        "max": round(ordered[-1], 1),
    }


def first_picture(browser: Browser, address: str) -> tuple[Page, dict[str, float]]:
    """A fresh page and the milliseconds from the start of its loading to first copper and to a sharp picture."""
    context = browser.new_context(viewport=SIZE, reduced_motion="reduce")
    page = context.new_page()
    page.add_init_script(f"({FIRST})()")
    before = family_seconds()
    page.goto(address)
    page.wait_for_function("() => window.seen.sharp !== undefined", timeout=120_000)
    cpu = family_seconds() - before
    seen = page.evaluate("() => window.seen")
    return page, {
        "first_copper_ms": round(seen["copper"]),
        "first_picture_ms": round(seen["sharp"]),
        "first_picture_cpu_ms": round(1000 * cpu),
    }


def answers(page: Page, count: int) -> list[float]:
    """Milliseconds from the key to the next check, ``count`` times."""
    out = []
    for _ in range(count):
        page.keyboard.press(" ")
        chosen = page.locator(".hands .key.chosen")
        chosen.wait_for()
        said = (chosen.get_attribute("id") or "").removeprefix("answer-")
        begun = time.perf_counter()
        page.keyboard.press({"closed": "c", "open": "o", "ohms": "d"}[said])
        chosen.wait_for(state="detached")
        out.append(1000 * (time.perf_counter() - begun))
    return out


def measure(browser: Browser, address: str, frames: int, check: bool) -> dict[str, Any]:
    """All figures of one board; the page is opened five times, the median of the times to the first picture counts."""
    opened = []
    for k in range(5):
        page, times = first_picture(browser, address)
        opened.append(times)
        if k < 4:
            page.context.close()
    page.locator("body[data-ready]").wait_for(timeout=300_000)
    rest(page)
    shapes = page.evaluate(
        """async () => { const f = await import('/page/map/scenefile.js'), s = window.bench.scene;
        const n = (o) => Object.values(o).reduce((a, p) => a + f.countShapes(p), 0);
        return { copper: n(s.layers), mask: n(s.mask), print: n(s.silk), holes: f.countShapes(s.holes), parts: s.parts.length, points: window.bench.map.points.length }; }"""
    )
    moved = {name: page.evaluate(MOVE, [frames, nearer]) for name, nearer in (("whole", 1), ("mid", 4), ("close", 16))}
    out = {
        "shapes": shapes,
        **{key: statistics.median(one[key] for one in opened) for key in opened[0]},
        "frame_gap_ms": {name: quantiles(one["gaps"]) for name, one in moved.items()},
        "own_ms": {name: quantiles(one["own"]) for name, one in moved.items()},
        "sharp_ms": {name: round(one["sharp"]) for name, one in moved.items()},
        "pick_ms": quantiles(page.evaluate(PICK)),
        "turn_ms": quantiles(page.evaluate(TURN)),
        "memory_mb": round(page.evaluate("() => performance.memory.usedJSHeapSize") / 1e6),
    }
    if check:
        out["answer_ms"] = quantiles(answers(page, 12))
    page.context.close()
    return out


def big_case(folder: Path, objects: int) -> tuple[str, int]:
    """A case on a package of that many objects, its board built into the cache; the store's folder and the objects drawn."""
    from coppermend.bootstrap import board_builder, workshop
    from coppermend.services.areas import add_area
    from coppermend.services.cases import new_case

    drawn = write_big_board(folder / "package", objects)
    shop = workshop(str(folder / "store"), builder=board_builder(folder / "cache"))
    case = new_case(shop, str(folder / "package"), "A large board").state.case
    add_area(shop, case, part="U1")
    return case, drawn


def run(arguments: list[str]) -> dict[str, Any]:
    """The benchmark; says so when there is no Chromium."""
    if chromium_path() is None:
        return {"not_run": "no Chromium on this machine"}
    frames, objects = (int(arguments[0]) if arguments else 180), (int(arguments[1]) if len(arguments) > 1 else 200_000)
    result: dict[str, Any] = {"frames": frames, "window": SIZE, "processors": os.cpu_count()}
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        with served("--store", f"{folder}/demo", "demo", "--no-browser") as address:
            result["demo"] = measure(browser, address, frames, check=True)
            print("demo measured", file=sys.stderr)
        case, drawn = big_case(Path(folder) / "big", objects)
        print("large board built", file=sys.stderr)
        words = ("--store", f"{folder}/big/store", "serve", "--no-browser")
        with served(*words, more={"COPPERMEND_CACHE": f"{folder}/big/cache"}) as address:
            place = f"{address.rstrip('/')}/#/case/{case}/bench"
            page, cold = first_picture(browser, place)
            page.context.close()
            result["large"] = {"objects": drawn, "cold_ms": cold, **measure(browser, place, frames, check=False)}
        result["browser"] = browser.version
        result["load"] = round(os.getloadavg()[0], 1)
    return result
