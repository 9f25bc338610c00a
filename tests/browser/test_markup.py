"""Every text field of every kind of entry with one nasty string, opened in a real Chromium whose policy against scripts is switched off: nothing of it runs,
nothing of it becomes an element.

What is defended against: OWASP ASVS 4.0.3, V5.3.3 (docs/explanation/asvs.md). Takes seconds, because a browser opens each leaf once.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser
from tests.api.test_markup_in_fields import NASTY, nasty_entries
from tests.browser.conftest import Bench, leaf_page

from coppermend.services.cases import new_case

pytestmark = pytest.mark.browser

SHOWN = ("/", "/#/case/{case}/story", "/page/chips.html?case={case}")
"""Leaves on which the words must come up."""
LEAVES = (*SHOWN, "/page/intake.html?case={case}", "/page/found.html?case={case}", "/page/rework.html?case={case}")
HURT = "() => window.hurt === undefined && !document.querySelector('img[src=x], svg[onload], script:not([src])')"


def test_nothing_that_was_written_into_a_case_runs_on_the_page(
    chromium: Browser, bench: Bench, demo_package: str
) -> None:
    case = new_case(bench.shop, str(demo_package), NASTY, serial=NASTY, complaint=NASTY, owner=NASTY).state.case
    assert len(list(nasty_entries(bench.shop, case))) > 35
    with leaf_page(chromium, bench, console=False) as page:
        for leaf in LEAVES:
            page.goto("about:blank")
            page.goto(bench.address + leaf.format(case=case))
            if leaf in SHOWN:
                page.wait_for_function("() => document.body.innerText.includes('onerror=')", timeout=60_000)
            page.wait_for_timeout(400)
            assert page.evaluate(HURT), leaf
        page.set_content(f"<p>{NASTY}</p>")
        page.wait_for_function("() => window.hurt === 1")  # the string does bite where it goes in as markup
