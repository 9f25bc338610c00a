"""The server is killed (kill -9) and started again in mid-round: nothing acknowledged is lost, the answer given meanwhile is written once."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from coppermend.bootstrap import workshop
from coppermend.cli.serve import listening
from coppermend.services.cases import case_state

pytestmark = pytest.mark.browser


def start(store: Path, port: int) -> tuple[subprocess.Popen[str], str]:
    """The demonstration as its own process, and its address."""
    env = {**os.environ, "PYTHONUNBUFFERED": "1", "COPPERMEND_CACHE": str(store.parent / "cache")}
    words = [sys.executable, "-m", "coppermend", "--store", str(store), "demo", "--no-browser", "--port", str(port)]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=env)
    assert process.stdout is not None
    for line in process.stdout:
        if found := re.search(r"http://\S+", line):
            return process, found[0]
    raise AssertionError("no address was printed")


def end(process: subprocess.Popen[str]) -> None:
    """Kill it and close its pipe."""
    process.kill()
    process.wait(10)
    if process.stdout is not None:
        process.stdout.close()


def test_a_killed_server_loses_and_doubles_nothing(chromium: Browser, tmp_path: Path) -> None:
    held = listening(None)
    port = held.getsockname()[1]
    held.close()
    store = tmp_path / "demo"
    process, address = start(store, port)
    page = chromium.new_page(viewport={"width": 1280, "height": 860})
    try:
        page.set_default_timeout(30_000)
        page.goto(address)
        page.wait_for_selector("body[data-ready]")
        ticks = page.locator(".ticks i.closed")
        page.keyboard.press("c")
        expect(ticks).to_have_count(1, timeout=20_000)
        end(process)
        expect(page.locator("#mat-note")).to_contain_text("does not answer", timeout=20_000)
        page.keyboard.press("c")
        process, _ = start(store, port)
        expect(ticks).to_have_count(2, timeout=20_000)
        expect(page.locator("#mat-note")).to_have_text("", timeout=20_000)
    finally:
        page.close()
        end(process)
    (case,) = [head.id for head in workshop(str(store)).store.heads()]
    assert [one.kind for one in case_state(workshop(str(store)), case).readings] == ["closed", "closed"]
