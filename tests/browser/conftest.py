"""A real server on a free port and a real Chromium that can reach nothing but this computer."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, Playwright, sync_playwright

from coppermend.api.app import create_app
from coppermend.bootstrap import board_builder, workshop
from coppermend.services.areas import add_area
from coppermend.services.building import BuildingShelf
from coppermend.services.cases import new_case
from coppermend.services.packages import Progress
from coppermend.services.patients import put_patient
from coppermend.services.ports import ShelvedBoard
from coppermend.services.shelf import MemoryShelf
from coppermend.services.workshop import Workshop

FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)  # fmt: skip


@dataclass
class Bench:
    """A served bench: its address, its workshop and a case with a truthful practice patient behind it."""

    address: str
    shop: Workshop
    case: str
    foreign: list[str] = field(default_factory=list)
    """Requests that went anywhere else."""
    errors: list[str] = field(default_factory=list)
    """What the pages' consoles complained of."""

    def url(self, view: str = "bench") -> str:
        """The address of a leaf of the case."""
        return f"{self.address}/#/case/{self.case}/{view}"


@pytest.fixture(scope="session")
def player() -> Iterator[Playwright]:
    """The one driver of a test process: its library allows no second one beside it."""
    with sync_playwright() as play:
        yield play


def chromium_path() -> str:
    """The system's Chromium; the test says that it was not run without it."""
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        pytest.skip("not run: no Chromium on this machine")
    return path


@pytest.fixture(scope="session")
def chromium(player: Playwright) -> Iterator[Browser]:
    """The system's Chromium, one for all tests that need no flags of their own."""
    browser = player.chromium.launch(executable_path=chromium_path(), args=list(FLAGS))
    yield browser
    browser.close()


@pytest.fixture(scope="session")
def builder(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    """Builds boards once for all browser tests."""
    return lru_cache(board_builder(tmp_path_factory.mktemp("cache")))


@pytest.fixture
def bench(tmp_path: Path, builder, demo_package: Path) -> Iterator[Bench]:  # type: ignore[no-untyped-def]
    """A served bench with a fresh store."""
    shop = workshop(str(tmp_path / "store"), builder=builder)
    case = new_case(shop, str(demo_package), "A machine for tests").state.case
    add_area(shop, case, part="U1")
    put_patient(shop, case, seed=5, breaks=1, noise="off")
    yield from served(shop, case)


def served(shop: Workshop, case: str, build: Callable[[str, Progress], ShelvedBoard] | None = None) -> Iterator[Bench]:
    """A served bench, ended afterwards. ``build``: boards are built by it in the background, none is in memory."""
    sock = socket.socket()
    sock.bind(("127.0.0.1", 0))
    if build is not None:
        shelf = BuildingShelf(build, MemoryShelf(lambda package: build(package, lambda _words, _share: None)), 0.05)
        shop = replace(shop, shelf=shelf, building=shelf, bindings={})
    app = create_app(shop)
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="off", timeout_graceful_shutdown=2))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield Bench(f"http://127.0.0.1:{sock.getsockname()[1]}", shop, case)
    app.state.desk.closing.set()
    server.should_exit = True
    thread.join(10)
    sock.close()


def opened(
    chromium: Browser, bench: Bench, view: str = "bench", touch: bool = False, size: tuple[int, int] = (1280, 860)
) -> Page:
    """A page on a leaf of the case, watched for requests elsewhere and for complaints."""
    context = chromium.new_context(
        viewport={"width": size[0], "height": size[1]}, has_touch=touch, reduced_motion="reduce"
    )
    context.set_default_timeout(20_000)
    page = context.new_page()
    page.on(
        "request",
        lambda r: None if r.url.startswith((bench.address, "data:", "blob:")) else bench.foreign.append(r.url),
    )
    page.on("pageerror", lambda err: bench.errors.append(str(err)))
    page.on("console", lambda m: bench.errors.append(m.text) if m.type == "error" else None)
    page.goto(bench.url(view))
    page.wait_for_selector(
        "body[data-ready]", timeout=60_000
    )  # the first round is planned: seconds, on a loaded machine many
    return page


@contextmanager
def leaf_page(chromium: Browser, bench: Bench, *, console: bool = True, policy: bool = False) -> Iterator[Page]:
    """An empty page for a leaf beside the bench, watched for requests to other hosts and for faults; ``console``: also for what its console complains of;
    ``policy``: under its own content policy, as a person's browser keeps it (else it is off, for scripts that a test adds)."""
    context = chromium.new_context(
        viewport={"width": 1280, "height": 860}, reduced_motion="reduce", has_touch=True, bypass_csp=not policy
    )
    made = context.new_page()
    made.on("request", lambda r: None if r.url.startswith((bench.address, "data:")) else bench.foreign.append(r.url))
    made.on("pageerror", lambda err: bench.errors.append(str(err)))
    if console:
        made.on("console", lambda m: bench.errors.append(m.text) if m.type == "error" else None)
    yield made
    context.close()
    assert bench.foreign == [], "the page asked another host"
    assert bench.errors == [], "the page complained"


@pytest.fixture
def page(chromium: Browser, bench: Bench) -> Iterator[Page]:
    """A page on the bench; afterwards nothing else was asked for and nothing complained."""
    made = opened(chromium, bench)
    yield made
    made.context.close()
    assert bench.foreign == [], "the page asked another host"
    assert bench.errors == [], "the page complained"
