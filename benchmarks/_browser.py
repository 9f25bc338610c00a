"""A served bench and a real Chromium for benchmarks and for the pictures in the docs. Needs the test environment (playwright) and the system's Chromium."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

FLAGS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--enable-precise-memory-info",
]


def chromium_path() -> str | None:
    """The system's Chromium, None where there is none."""
    return shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


@contextmanager
def served(*words: str, more: Mapping[str, str] | None = None) -> Iterator[str]:
    """Run ``coppermend`` with these words (``--store F demo --no-browser``); the address it prints. It is ended afterwards."""
    command = [sys.executable, "-m", "coppermend", *words]
    env = {**os.environ, "PYTHONUNBUFFERED": "1", **(more or {})}
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=env)
    try:
        assert server.stdout is not None
        yield next(found[0] for line in server.stdout if (found := re.search(r"http://\S+", line)))
    finally:
        server.terminate()
        server.wait(10)


@contextmanager
def chromium() -> Iterator[Browser]:
    """A headless Chromium without a GPU."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium_path(), args=FLAGS)
        yield browser
        browser.close()


def leaf(
    browser: Browser, url: str, size: tuple[int, int] = (1440, 900), light: str = "day", touch: bool = False
) -> Page:
    """A page at rest, the board drawn sharp."""
    scheme = "dark" if light == "lamp" else "light"
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, reduced_motion="reduce", has_touch=touch
    )  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(url)
    page.locator("body[data-ready], #home .leaf").first.wait_for(timeout=60_000)
    rest(page)
    return page


def family_seconds() -> float:
    """Processor seconds that this process's living descendants (server, browser, its workers) have used; 0.0 where /proc is not."""
    parents: dict[int, int] = {}
    used: dict[int, float] = {}
    tick = os.sysconf("SC_CLK_TCK") if hasattr(os, "sysconf") else 100
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            text = stat.read_text()
        except OSError:
            continue
        pid, rest_ = int(stat.parent.name), text.rpartition(")")[2].split()
        parents[pid], used[pid] = int(rest_[1]), (int(rest_[11]) + int(rest_[12])) / tick
    total = 0.0
    for pid, seconds in used.items():
        above = pid
        while above in parents and above != os.getpid():
            above = parents[above]
        if above == os.getpid() and pid != os.getpid():
            total += seconds
    return total


def rest(page: Page) -> None:
    """Wait until the board is drawn sharp, where one is shown."""
    page.wait_for_timeout(300)
    page.wait_for_function(
        "() => { const m = document.getElementById('map'); return !m || !m.clientWidth || m.dataset.sharp === 'yes'; }",
        timeout=60_000,
    )
    page.wait_for_timeout(200)


def answer(page: Page) -> str:
    """Touch the tips, note what the practice patient's meter says; the answer."""
    page.keyboard.press(" ")
    chosen = page.locator(".hands .key.chosen")
    chosen.wait_for()
    said = (chosen.get_attribute("id") or "").removeprefix("answer-")
    page.keyboard.press({"closed": "c", "open": "o", "ohms": "d"}[said])
    chosen.wait_for(state="detached")
    return said
