"""Take the pictures of the page for the docs, on the demonstration machine, in a real Chromium.

    python tools/take_pictures.py docs/pictures

Needs the test environment (playwright) and the system's Chromium. Starts ``coppermend demo`` with a store of its own, answers the first
checks as the practice patient says, lays a made photo under the board, and takes each picture once.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import numpy as np
from benchmarks._browser import answer, chromium, chromium_path, leaf, rest, served
from PIL import Image
from playwright.sync_api import Browser, Page
from tests.photo_maker import Shot, photograph, project

from coppermend.bootstrap import open_board

CHECKS = 26
SHOT = Shot(k1=-0.02)


def made_photo(folder: Path) -> tuple[Path, dict[str, tuple[float, float]]]:
    """A photo of the demonstration board's component side as tests make them, and where each pin is in it."""
    board = open_board("demo")
    out = folder / "component-side.jpg"
    Image.fromarray(photograph(board, "c", SHOT)).save(out, quality=92)
    ring = np.vstack([one for one in board.outline if len(one)])
    box = (*map(float, ring.min(axis=0)), *map(float, ring.max(axis=0)))
    names, places = zip(*((p.name, (p.x_mm, p.y_mm)) for part in board.parts for p in part.pins), strict=True)
    px = project(SHOT, box, places, "c")
    return out, {name: (float(x), float(y)) for name, (x, y) in zip(names, px, strict=True)}


def lay(page: Page, photo: Path, at: dict[str, tuple[float, float]], out: Path) -> None:
    """Lay the photo as a person does, and picture the sheet on the way."""
    page.keyboard.press("p")
    page.locator("#lay-file").set_input_files(photo)
    page.locator(".lay-pins").wait_for()
    for k in range(5):
        if k == 3:
            page.screenshot(path=out / "lay-a-photo.png")
        name = str(page.evaluate("() => window.bench.laySheet.pin"))
        for _ in range(2):  # from far, then exactly
            spot = page.evaluate(
                "([x, y]) => { const v = window.bench.laySheet.view; return [v.w / 2 + v.scale * (x + 0.5 - v.x), v.h / 2 + v.scale * (y + 0.5 + v.y)]; }",
                list(at[name]),
            )
            page.locator("#lay-photo").click(position={"x": spot[0], "y": spot[1]})
            page.wait_for_timeout(150)
            if page.evaluate("() => window.bench.laySheet.pin") != name:
                break
    page.locator("#lay-it").click()
    page.locator("#underlay").wait_for(timeout=60_000)


def find(page: Page, text: str) -> None:
    """Type into the search field."""
    page.keyboard.press("/")
    page.keyboard.type(text)
    page.keyboard.press("Enter")
    page.wait_for_timeout(1000)
    rest(page)


def take(browser: Browser, address: str, out: Path, folder: Path) -> None:
    """All pictures."""
    page = leaf(browser, address)
    for _ in range(CHECKS):
        answer(page)
    page.keyboard.press("f")
    page.wait_for_timeout(3000)
    rest(page)
    page.screenshot(path=out / "bench.png")
    find(page, "U1.27")
    page.keyboard.press("t")
    page.keyboard.press("f")
    rest(page)
    page.screenshot(path=out / "net-solder-side.png")
    page.keyboard.press("Escape")
    page.keyboard.press("t")
    page.evaluate("() => window.bench.map.spin(17)")
    page.wait_for_timeout(300)
    rest(page)
    page.screenshot(path=out / "turned-as-it-lies.png")
    page.evaluate("() => window.bench.map.spin(-17)")
    photo, at = made_photo(folder)
    lay(page, photo, at, out)
    find(page, "U1.27")
    page.wait_for_timeout(9000)  # the note of the residual goes away
    page.screenshot(path=out / "net-on-the-photo.png")
    leaf(browser, address, (1024, 768), "lamp").screenshot(path=out / "bench-lamp-tablet.png")
    leaf(browser, address, (390, 844), "day", touch=True).screenshot(path=out / "bench-phone.png")
    leaf(browser, address.replace("/bench", "/story")).screenshot(path=out / "story.png")


def main() -> int:
    """Start the demonstration, take the pictures, end it."""
    out = Path(sys.argv[1])
    out.mkdir(parents=True, exist_ok=True)
    if chromium_path() is None:
        raise SystemExit("No Chromium on this machine.")
    with (
        tempfile.TemporaryDirectory() as folder,
        served("--store", f"{folder}/demo", "demo", "--no-browser") as address,
        chromium() as browser,
    ):
        take(browser, address, out, Path(folder))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
