"""Whole rounds on the demonstration machine through the page in a real Chromium: with keys only, with touch only, with generated beeps only.

The same hands and the same judgement as ``tests/browser/test_whole_round.py``: every check that the page shows is answered as the practice
patient's meter says, until the page shows no check any more; then every answer stands in the log, nothing provable is open, and each true break
was found. A fresh case each time, the same patient. ``minutes`` of the clock.
No real meter and no hand was there. Arguments: which of keys, touch, beeps (default all).
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from playwright.sync_api import Playwright, sync_playwright
from tests.browser.conftest import FLAGS, Bench, chromium_path, served
from tests.browser.test_whole_round import play

from coppermend.bootstrap import board_builder, workshop
from coppermend.services.areas import add_area
from coppermend.services.cases import case_state, new_case
from coppermend.services.patients import patient_truth, put_patient

PACKAGE = Path(__file__).resolve().parent.parent / "demo" / "package"
SEED = 5
HOWS = ("keys", "touch", "beeps")


def one_round(how: str, player: Playwright, bench: Bench) -> dict[str, Any]:
    """A whole round by one hand; it raises where the round does not end as it must."""
    browser = player.chromium.launch(executable_path=chromium_path(), args=list(FLAGS))
    begun = time.monotonic()
    play(how, browser, player, bench)
    minutes = (time.monotonic() - begun) / 60
    browser.close()
    kinds = [one.kind for one in case_state(bench.shop, bench.case).readings]
    return {
        "checks": len(kinds),
        "closed": kinds.count("closed"),
        "open": kinds.count("open"),
        "taken_back": sum(1 for one in bench.shop.store.entries(bench.case) if one.kind == "undo"),
        "breaks": len(patient_truth(bench.shop, bench.case).breaks),
        "minutes": round(minutes, 2),
        "seconds_a_check": round(60 * minutes / len(kinds), 2),
    }


def run(arguments: list[str]) -> dict[str, Any]:
    """The benchmark."""
    out: dict[str, Any] = {"seed": SEED}
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as player:
        build = board_builder(Path(folder) / "cache")
        for how in [one for one in HOWS if one in arguments] or HOWS:
            shop = workshop(str(Path(folder) / how), builder=build)
            case = new_case(shop, str(PACKAGE), "A whole round").state.case
            add_area(shop, case, part="U1")
            put_patient(shop, case, seed=SEED, breaks=1, noise="off")
            for bench in served(shop, case):
                out[how] = one_round(how, player, bench)
    return {**out, "load": [round(one, 1) for one in os.getloadavg()]}
