"""Handing a machine over by the page: the checklist by keys and by touch, both editions of the record, the label. PDF by pypdf, not ours."""

from __future__ import annotations

import io

import pypdf
import pytest
from playwright.sync_api import Browser, Page, expect
from tests.browser.conftest import Bench, opened

from coppermend.services.cases import case_state

pytestmark = pytest.mark.browser
expect.set_options(timeout=30_000)


def noted(bench: Bench) -> list[tuple[str, str]]:
    """(function, result) in the log."""
    return [(one.key, one.result) for one in case_state(bench.shop, bench.case).notes if one.kind == "test"]


def test_the_checklist_by_keys(page: Page, bench: Bench) -> None:
    page.goto(bench.url("story"))
    works = page.get_by_role("button", name="keyboard: Works")
    works.focus()
    page.keyboard.press("Enter")
    expect(page.locator('[data-function="keyboard"]')).to_have_class("done")
    expect(page.locator("#acceptance [role=status]")).to_contain_text("1 of")
    assert noted(bench) == [("keyboard", "works")]
    page.get_by_label("Another function").fill("light pen")
    page.get_by_label("Another function").press("Enter")
    expect(page.locator('[data-function="light pen"]')).to_contain_text("works")


def test_the_checklist_by_touch(chromium: Browser, bench: Bench) -> None:
    page = opened(chromium, bench, "story", touch=True, size=(390, 844))
    page.get_by_role("button", name="sound: Fails").tap()
    expect(page.locator('[data-function="sound"]')).to_contain_text("fails")
    assert noted(bench) == [("sound", "fails")]
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.context.close()


def test_the_record_for_the_owner_and_for_a_technician(page: Page, bench: Bench) -> None:
    page.goto(bench.url("record"))
    frame = page.frame_locator("#record-sheet iframe")
    expect(frame.get_by_role("heading", name="What was wrong")).to_be_visible()
    expect(frame.get_by_role("heading", name="Every reading")).to_have_count(0)
    page.get_by_role("button", name="For a technician").click()
    expect(page.get_by_role("button", name="For a technician")).to_be_focused()
    expect(frame.get_by_role("heading", name="Numbers this rests on")).to_be_visible()
    expect(frame.get_by_role("heading", name="What was wrong")).to_have_count(0)


def test_the_label_is_offered(page: Page, bench: Bench) -> None:
    page.goto(bench.url("record"))
    link = page.get_by_role("link", name="A label for the machine")
    expect(link).to_be_visible()
    pdf = page.request.get(f"{bench.address}{link.get_attribute('href')}").body()
    words = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
    assert case_state(bench.shop, bench.case).title.split()[0] in words
