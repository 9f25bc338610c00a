"""A tablet on the local network, over https in a real Chromium: paired by the code in the picture's address, follows live, answers, is shut out.

The browser is told to go on in spite of the unknown authority, as a person would be asked to; that https itself holds is tested in tests/api.
"""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, Route, expect
from tests.browser.conftest import Bench

from coppermend.api.app import create_app
from coppermend.api.lan import Lan, LanDoor
from coppermend.bootstrap import lan_book, lan_place, qr_rows, workshop
from coppermend.services.areas import add_area
from coppermend.services.cases import case_state, new_case
from coppermend.services.lan import new_code
from coppermend.services.patients import put_patient

pytestmark = pytest.mark.browser


@dataclass
class Both:
    """One bench served twice: on this computer, and on "the network" (https on loopback)."""

    here: Bench
    lan: Lan
    address: str


@pytest.fixture
def both(tmp_path: Path, builder, demo_package: Path) -> Iterator[Both]:  # type: ignore[no-untyped-def]
    """The two listeners of ``serve --lan`` over one application."""
    store = str(tmp_path / "store")
    shop = workshop(store, builder=builder, author="ada")
    case = new_case(shop, str(demo_package), "A machine for tests").state.case
    add_area(shop, case, part="U1")
    put_patient(shop, case, seed=5, breaks=1, noise="off")
    place = lan_place(store, "127.0.0.1", (0,))
    papers = place.papers
    lan = Lan(
        lan_book(store), shop.clock.now, place.names, place.address, papers.fingerprint, papers.authority_pem, qr_rows
    )
    app = create_app(shop, lan=lan)
    sock = socket.socket()
    sock.bind(("127.0.0.1", 0))
    quiet = {"log_level": "error", "lifespan": "off", "timeout_graceful_shutdown": 2}
    servers = [
        (uvicorn.Server(uvicorn.Config(app, **quiet)), sock),
        (uvicorn.Server(uvicorn.Config(LanDoor(app, lan), ssl_certfile=str(papers.server_file), **quiet)), place.sock),
    ]
    threads = [threading.Thread(target=s.run, kwargs={"sockets": [k]}, daemon=True) for s, k in servers]
    for thread in threads:
        thread.start()
    while not all(s.started for s, _ in servers):
        time.sleep(0.02)
    yield Both(Bench(f"http://127.0.0.1:{sock.getsockname()[1]}", shop, case), lan, place.address)
    app.state.desk.closing.set()
    for one, _ in servers:
        one.should_exit = True
    for thread in threads:
        thread.join(10)
    sock.close()
    place.sock.close()


def window(chromium: Browser, touch: bool = False) -> Page:
    """A browser of its own; with ``touch`` a tablet's."""
    context = chromium.new_context(
        viewport={"width": 1180, "height": 820}, has_touch=touch, ignore_https_errors=touch, reduced_motion="reduce"
    )
    context.set_default_timeout(20_000)
    return context.new_page()


def paired(chromium: Browser, both: Both) -> Page:
    """A tablet that scanned the picture and is on the bench of the case."""
    tablet = window(chromium, touch=True)
    code = new_code(both.lan.book, both.lan.now())
    tablet.goto(f"{both.address}page/pair.html#{code}")
    expect(tablet.locator("#code")).to_have_value(code)
    assert tablet.evaluate("() => location.hash") == "", "no secret stays in the address"
    tablet.locator("#pair-now").tap()
    expect(tablet.locator("#home h1")).to_have_text("On this bench")
    tablet.goto(f"{both.address}#/case/{both.here.case}/bench")
    tablet.wait_for_selector("body[data-ready]")
    return tablet


def test_a_tablet_is_let_in_follows_answers_and_is_shut_out(chromium: Browser, both: Both) -> None:
    bench = both.here
    laptop = window(chromium)
    laptop.goto(bench.url())
    laptop.wait_for_selector("body[data-ready]")
    tablet = paired(chromium, both)
    assert tablet.evaluate("() => isSecureContext && Boolean(navigator.mediaDevices?.getUserMedia)"), (
        "the microphone can be used"
    )
    assert tablet.evaluate("() => document.cookie") == "", "no script sees the token"
    laptop.keyboard.press("c")
    expect(tablet.locator(".ticks i.closed")).to_have_count(1)
    tablet.locator("#answer-closed").tap()
    expect(laptop.locator(".ticks i.closed")).to_have_count(2)
    readings = [one for one in bench.shop.store.entries(bench.case) if one.kind == "closed"]
    assert [one.author for one in readings] == ["ada", "ada (tablet)"]

    page = window(chromium)
    page.goto(f"{bench.address}/page/lan.html")
    page.get_by_role("button", name="Shut out: tablet").click()
    expect(page.locator("#lan")).to_contain_text("No device yet.")
    laptop.keyboard.press("c")
    expect(laptop.locator(".ticks i.closed")).to_have_count(3)
    tablet.wait_for_timeout(1500)
    expect(tablet.locator(".ticks i.closed")).to_have_count(2)
    expect(tablet.locator("#mat-note")).to_contain_text("This device was shut out", timeout=20_000)
    expect(tablet.locator("#mat-note a")).to_have_attribute("href", "/page/pair.html")
    tablet.locator("#answer-closed").tap()
    expect(tablet.locator("#toast")).to_contain_text("not paired")
    assert len(case_state(bench.shop, bench.case).readings) == 3
    for one in (laptop, tablet, page):
        one.context.close()


def test_a_wrong_code_lets_nobody_in_and_the_bench_shows_a_right_one(chromium: Browser, both: Both) -> None:
    page = window(chromium)
    page.goto(f"{both.here.address}/page/lan.html")
    page.locator("#fresh").click()
    code = page.locator("#pair-code").inner_text()
    expect(page.locator("#qr path")).to_have_count(1)
    expect(page.locator("#finger")).to_have_text(both.lan.fingerprint)
    tablet = window(chromium, touch=True)
    tablet.goto(both.address)
    expect(tablet.locator("#pair h1")).to_have_text("Pair this device")
    tablet.locator("#code").fill("AAA-AAA")
    tablet.locator("#pair-now").tap()
    expect(tablet.locator("#wrong")).to_contain_text("not the pairing code")
    tablet.locator("#code").fill(code.lower())
    tablet.locator("#name").fill("phone")
    tablet.locator("#pair-now").tap()
    expect(tablet.locator("#home h1")).to_have_text("On this bench")
    page.locator("#look").click()
    expect(page.locator("#lan li")).to_contain_text("phone")
    page.get_by_label("phone may").select_option("look")
    expect(page.get_by_label("phone may")).to_have_value("look")
    tablet.goto(both.address)
    expect(tablet.locator("#looks-only")).to_contain_text("may look only")
    page.get_by_label("phone may").select_option("work")
    tablet.goto(f"{both.address}page/lan.html")
    expect(tablet.locator("#lan")).to_contain_text("needs a device that may manage")
    for one in (tablet, page):
        one.context.close()


def test_two_windows_answer_the_same_check_at_once_and_it_is_one_reading(chromium: Browser, both: Both) -> None:
    bench = both.here
    laptop = window(chromium)
    laptop.goto(bench.url())
    laptop.wait_for_selector("body[data-ready]")
    tablet = paired(chromium, both)
    held: list[Route] = []
    for one in (laptop, tablet):
        one.route("**/entries", lambda route: held.append(route))
    laptop.keyboard.press("c")
    tablet.locator("#answer-closed").tap()
    end = time.monotonic() + 10
    while len(held) < 2 and time.monotonic() < end:
        laptop.wait_for_timeout(50)
    assert len(held) == 2, "both answered before either was heard"
    for route in held:
        route.continue_()
    for one in (laptop, tablet):
        expect(one.locator(".ticks i.closed")).to_have_count(1)
    expect(laptop.locator("#toast")).to_be_visible()
    said = laptop.locator("#toast").inner_text() + tablet.locator("#toast").inner_text()
    assert said.count("at another screen already") == 1
    assert [one.kind for one in case_state(bench.shop, bench.case).readings] == ["closed"]
    held.clear()
    laptop.keyboard.press("c")
    tablet.locator("#answer-open").tap()
    while len(held) < 2 and time.monotonic() < end + 10:
        laptop.wait_for_timeout(50)
    for route in held:
        route.continue_()
    expect(laptop.locator(".ticks i.open")).to_have_count(1)
    assert sorted(one.kind for one in case_state(bench.shop, bench.case).readings) == ["closed", "closed", "open"]
    for one in (laptop, tablet):
        one.context.close()


def test_the_board_on_the_tablet_the_log_on_the_laptop(chromium: Browser, both: Both) -> None:
    laptop = window(chromium)
    laptop.goto(both.here.url("story"))
    laptop.wait_for_selector("body[data-ready]")
    expect(laptop.locator("#story h1")).to_be_visible()
    tablet = paired(chromium, both)
    a, b = tablet.evaluate("['a', 'b'].map((which) => window.bench.bench.step.check[which].name)")
    tablet.locator("#answer-closed").tap()
    expect(laptop.locator("#story")).to_contain_text("closed", timeout=5_000)
    for name in (a, b):
        expect(laptop.locator("#story")).to_contain_text(name.replace(" pin ", "."))
    for one in (laptop, tablet):
        one.context.close()
