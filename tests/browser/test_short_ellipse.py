"""The ohms leaf tells the 90 % ellipse of a short in words and draws it on the board (issue 7)."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, expect
from tests.browser.conftest import Bench, opened

from coppermend.services.notes import note
from coppermend.services.requests import Request
from coppermend.services.shorts import locate_short

pytestmark = pytest.mark.browser


def test_the_ellipse_is_told_and_drawn(chromium: Browser, bench: Bench) -> None:
    """The words are those of ``short locate``; after the key the board's map holds a ring round the ellipse's middle."""
    note(bench.shop, bench.case, Request("ohms", ("U1.9/joint-s", "U1.10/joint-s"), value="0.3", fields={"wires": 4}))
    found = locate_short(bench.shop, bench.case)
    page = opened(chromium, bench, "ohms")
    expect(page.locator("#ohms-leaf")).to_contain_text(found.ellipse_words, timeout=60_000)
    page.get_by_role("button", name="Show the ellipse on the board").click()
    expect(page.locator("body")).to_have_attribute("data-view", "bench")
    page.wait_for_function("window.bench.map.laid.ring.length === 72")
    ring = page.evaluate("window.bench.map.laid.ring")
    page.context.close()
    for k, axis in enumerate(("x_mm", "y_mm")):
        assert sum(corner[k] for corner in ring) / 72 == pytest.approx(found.ellipse[axis], abs=1e-6)
    assert found.ellipse_words and bench.errors == []
