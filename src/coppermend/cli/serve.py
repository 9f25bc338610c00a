"""``coppermend serve`` and ``coppermend demo``: the bench page on this computer, and the same with the demonstration machine on it."""

from __future__ import annotations

import importlib
import os
import socket
import sys
import threading
import webbrowser
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

import click
import uvicorn

from coppermend.bootstrap import (
    LanPlace,
    clock_now,
    demo_machine,
    demo_store,
    in_background,
    lan_book,
    lan_place,
    learned_book,
    migrate,
    qr_lines,
    qr_rows,
    small_pictures,
    workshop,
)
from coppermend.core.findings import refuse
from coppermend.services.demo import BREAKS, DemoCase, Wish, open_demo
from coppermend.services.lan import new_code
from coppermend.services.patients import Lies
from coppermend.services.workshop import Workshop

PORT = 8137
HOST = "127.0.0.1"
"""This computer only; the network is asked for with --lan and lets paired devices in."""


LAN_PORT = 8138
QUIET: dict[str, Any] = {
    "log_level": "warning", "access_log": False, "lifespan": "off", "timeout_graceful_shutdown": 3, "server_header": False,
}  # fmt: skip
"""No access log: addresses and cookies of people's devices are nobody's business."""
CIPHERS = "ECDHE+AESGCM:ECDHE+CHACHA20"
"""TLS 1.2 by forward secret, authenticated suites alone (RFC 9325, 4.2); those of TLS 1.3 are such anyway."""


class BenchServer(uvicorn.Server):
    """A server that tells live updates to let go before it waits for them."""

    def __init__(self, config: uvicorn.Config, closing: threading.Event) -> None:
        super().__init__(config)
        self.closing = closing

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Ctrl-C or a polite kill."""
        self.closing.set()
        super().handle_exit(sig, frame)


def listening(port: int | None) -> socket.socket:
    """A listening socket on this computer: the named port, or 8137 and if that is taken a free one. Refusal SRV-001 when a named port is taken."""
    for wanted in (PORT, 0) if port is None else (port,):
        sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name != "nt":
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind((HOST, wanted))
            sock.listen(64)
            return sock
        except OSError:
            sock.close()
    raise refuse(
        "SRV-001",
        f"Port {port} on {HOST} cannot be had: another program uses it.",
        "Name another with --port, or leave --port out.",
    )


def can_show() -> bool:
    """Whether this session has a screen that a browser could open on."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


@dataclass(frozen=True, slots=True)
class Beyond:
    """The wish to be open to the local network: on which address ("" all of this computer's), on which port, with which store."""

    address: str = ""
    port: int | None = None
    store: str | None = None


def run_server(
    made: Workshop,
    port: int | None,
    browser: bool,
    path: str = "/",
    lines: tuple[str, ...] = (),
    beyond: Beyond | None = None,
    store: str | None = None,
) -> None:
    """Serve until Ctrl-C. Prints the address first. ``beyond`` this computer only when asked."""
    sock = listening(port)
    address = f"http://{HOST}:{sock.getsockname()[1]}{path}"
    place = (
        lan_place(beyond.store, beyond.address, (LAN_PORT, 0) if beyond.port is None else (beyond.port,))
        if beyond
        else None
    )
    lan = _lan(place, beyond) if place and beyond else None
    app: Any = importlib.import_module("coppermend.api.app").create_app(
        in_background(made), lan=lan, learned=learned_book(store), thumbs=small_pictures()
    )
    closing: threading.Event = app.state.desk.closing
    click.echo(f"The bench is open: {address}")
    for line in (*lines, *(lan_lines(place, beyond) if place and beyond else ())):
        click.echo(line)
    click.echo("Ctrl-C closes it; everything noted is kept.")
    if browser and can_show():
        threading.Timer(0.3, webbrowser.open, [address]).start()
    other = LanServer(app, lan, place, closing) if place and lan else None
    try:
        if other:
            other.start()
        BenchServer(uvicorn.Config(app, **QUIET), closing).run(sockets=[sock])
    except KeyboardInterrupt:
        pass
    finally:
        closing.set()
        if other:
            other.stop()
        sock.close()
    click.echo("The bench is closed.")


class LanServer:
    """The network's listener, https, in a thread of its own beside that of this computer; both serve one application."""

    def __init__(self, app: Any, lan: Any, place: LanPlace, closing: threading.Event) -> None:
        door = importlib.import_module("coppermend.api.lan").LanDoor(app, lan)
        brisk = importlib.import_module("coppermend.api.slow").BriskProtocol
        config = uvicorn.Config(
            door,
            http=brisk,
            ssl_certfile=str(place.papers.server_file),
            ssl_ciphers=CIPHERS,
            limit_concurrency=64,
            **QUIET,
        )
        self.place, self.server = place, BenchServer(config, closing)
        self.thread = threading.Thread(
            target=self.server.run, kwargs={"sockets": [place.sock]}, name="lan", daemon=True
        )

    def start(self) -> None:
        """Begin to serve."""
        self.thread.start()

    def stop(self) -> None:
        """Stop serving and let go of the port."""
        self.server.should_exit = True
        self.thread.join(10)
        self.place.sock.close()


def _lan(place: LanPlace, beyond: Beyond) -> Any:
    module = importlib.import_module("coppermend.api.lan")
    book, papers = lan_book(beyond.store), place.papers
    return module.Lan(book, clock_now, place.names, place.address, papers.fingerprint, papers.authority_pem, qr_rows)


def lan_lines(place: LanPlace, beyond: Beyond) -> tuple[str, ...]:
    """What stands in the terminal for people with a tablet in hand. The code is void after five minutes or one use."""
    code = new_code(lan_book(beyond.store), clock_now())
    return (
        f"On your network: {place.address}  (no device is let in without a code)",
        f"Pairing code, five minutes, one device: {code}   another: coppermend lan code, or 'Second screen' on the page",
        *qr_lines(f"{place.address}page/pair.html#{code}"),
        f"The tablet asks once about the certificate; compare its SHA-256: {place.papers.fingerprint}",
    )


PORT_OPTION = click.option(
    "--port", type=click.IntRange(1, 65535), help=f"Port on {HOST}; default {PORT}, or a free one if that is taken."
)
BROWSER_OPTION = click.option(
    "--browser/--no-browser", default=True, help="Open a browser, if this session has a screen."
)


LAN_OPTION = click.option(
    "--lan", is_flag=True, help="Also listen on the local network (https), for paired devices only."
)
LAN_ADDRESS_OPTION = click.option(
    "--lan-address",
    default="",
    metavar="ADDRESS",
    help="With --lan: only on this address of this computer. Default: all.",
)
LAN_PORT_OPTION = click.option(
    "--lan-port",
    type=click.IntRange(1, 65535),
    help=f"With --lan: port there; default {LAN_PORT}, or a free one if that is taken.",
)


@click.command("serve")
@PORT_OPTION
@BROWSER_OPTION
@LAN_OPTION
@LAN_ADDRESS_OPTION
@LAN_PORT_OPTION
@click.pass_context
def serve_command(
    ctx: click.Context, port: int | None, browser: bool, lan: bool, lan_address: str, lan_port: int | None
) -> None:
    """Open the bench page on this computer; with --lan also for paired tablets and phones on the local network."""
    store = (ctx.find_root().obj or {}).get("store")
    run_server(
        workshop(store), port, browser, beyond=Beyond(lan_address, lan_port, store) if lan else None, store=store
    )


@click.command("demo")
@PORT_OPTION
@BROWSER_OPTION
@click.option(
    "--fresh", is_flag=True, help="Begin again with another practice patient; the old case stays in the list."
)
@click.option("--prepare", is_flag=True, help="Make or reopen the case, say where it is, and end.")
@click.option("--breaks", type=int, default=None, metavar="K", help="A new patient with K broken sites. Default 2.")
@click.option(
    "--bridges",
    type=int,
    default=0,
    metavar="K",
    help="A new patient with K bridges of solder between neighbouring nets.",
)
@click.option(
    "--seed", type=int, default=None, metavar="N", help="A new patient, this one. Default: one that shows the job well."
)
@click.option(
    "--noise",
    type=click.Choice(["standard", "off"]),
    default="standard",
    show_default=True,
    help="off: a new patient whose meter and hand never err.",
)
@click.option("--false-open", type=float, default=None, metavar="RATE", help="A new patient with this false open rate.")
@click.option("--false-closed", type=float, default=None, metavar="RATE", help="... this false closed rate.")
@click.option("--oxidised", type=float, default=None, metavar="SHARE", help="... this share of oxidised points.")
@click.option(
    "--slips", type=float, default=0.0, metavar="RATE", help="... whose tips stand on the neighbour pin so often."
)
@click.option(
    "--mixed-up",
    type=float,
    default=0.0,
    metavar="RATE",
    help="... that gives the answer of the check before so often.",
)
@click.option(
    "--intermittent",
    type=float,
    default=0.0,
    metavar="SHARE",
    help="... with this share of broken joints that close under a tip.",
)
@LAN_OPTION
@LAN_ADDRESS_OPTION
@LAN_PORT_OPTION
@click.pass_context
def demo_command(
    ctx: click.Context,
    /,
    port: int | None,
    browser: bool,
    fresh: bool,
    prepare: bool,
    lan: bool,
    lan_address: str,
    lan_port: int | None,
    breaks: int | None,
    bridges: int,
    seed: int | None,
    noise: str,
    **lies: Any,
) -> None:
    """The main job on the demonstration machine: a case in progress with a practice patient behind it."""
    store = (ctx.find_root().obj or {}).get("store") or str(demo_store())
    Path(store).parent.mkdir(parents=True, exist_ok=True)
    if Path(store).is_dir() and not (ctx.find_root().obj or {}).get("store"):
        migrate(store)  # the demonstration's own cases, perhaps of an older version
    made = workshop(store)
    wish = Wish(BREAKS if breaks is None else breaks, seed, noise, Lies(**lies), bridges)
    case = open_demo(made, demo_machine(), fresh=fresh or breaks is not None, wish=wish)
    lines = what_to_do(case, store)
    if prepare:
        for line in lines:
            click.echo(line)
        return
    beyond = Beyond(lan_address, lan_port, store) if lan else None
    run_server(made, port, browser, f"/#/case/{case.id}/bench", lines, beyond, store)


def what_to_do(case: DemoCase, store: str) -> tuple[str, ...]:
    """What a newcomer does first."""
    return (
        f"Case {case.number}: {case.title}. {'Made now.' if case.new else 'Reopened as you left it.'} Kept in {store}.",
        "First: look at the slip at the right. Set tip A and tip B where it says; here the practice patient holds the meter:",
        "press Space to touch the tips, then C for closed or O for open. An open check is narrowed down until the break is named.",
    )
