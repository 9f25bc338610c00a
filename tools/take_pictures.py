"""Take the pictures of the page for the docs, on the demonstration machine, in a real Chromium.

    python tools/take_pictures.py docs/pictures

Needs the test environment (playwright) and the system's Chromium. Starts ``coppermend demo`` with a store of its own, answers the first
checks as the practice patient says, and takes each picture once.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

FLAGS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
]
CHECKS = 26


def answer(page: Page) -> str:
    """Touch the tips, note what the patient's meter says."""
    page.keyboard.press(" ")
    chosen = page.locator(".answers .key.chosen")
    chosen.wait_for()
    said = (chosen.get_attribute("id") or "").removeprefix("answer-")
    page.keyboard.press({"closed": "c", "open": "o"}[said])
    chosen.wait_for(state="detached")
    page.wait_for_timeout(250)
    return said


def leaf(browser: Browser, url: str, size: tuple[int, int], light: str) -> Page:
    """A page at rest."""
    scheme = "dark" if light == "lamp" else "light"
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, reduced_motion="reduce"
    )  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(url)
    page.locator("body[data-ready], #home .leaf").first.wait_for()
    page.wait_for_timeout(1500)
    return page


def take(browser: Browser, address: str, out: Path) -> None:
    """All pictures."""
    page = leaf(browser, address, (1440, 900), "day")
    for _ in range(CHECKS):
        answer(page)
    page.keyboard.press("f")
    page.wait_for_timeout(3000)
    page.screenshot(path=out / "bench.png")
    page.keyboard.press("/")
    page.keyboard.type("U1.27")
    page.keyboard.press("Enter")
    page.wait_for_timeout(1500)
    page.keyboard.press("t")
    page.keyboard.press("f")
    page.wait_for_timeout(1500)
    page.screenshot(path=out / "net-solder-side.png")
    lamp = leaf(browser, address, (1024, 768), "lamp")
    lamp.screenshot(path=out / "bench-lamp-tablet.png")
    story = leaf(browser, address.replace("/bench", "/story"), (1440, 900), "day")
    story.screenshot(path=out / "story.png")


def main() -> int:
    """Start the demonstration, take the pictures, end it."""
    out = Path(sys.argv[1])
    out.mkdir(parents=True, exist_ok=True)
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if chromium is None:
        raise SystemExit("No Chromium on this machine.")
    with tempfile.TemporaryDirectory() as folder:
        words = [sys.executable, "-m", "coppermend", "--store", f"{folder}/demo", "demo", "--no-browser"]
        served = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"})
        try:
            assert served.stdout is not None
            address = next(found[0] for line in served.stdout if (found := re.search(r"http://\S+", line)))
            with sync_playwright() as play:
                browser = play.chromium.launch(executable_path=chromium, args=FLAGS)
                take(browser, address, out)
                browser.close()
        finally:
            served.terminate()
            served.wait(10)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
