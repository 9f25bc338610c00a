"""``coppermend serve`` and ``coppermend demo``: the bench page on this computer, and the same with the demonstration machine on it."""

from __future__ import annotations

import importlib
import os
import socket
import sys
import threading
import webbrowser
from pathlib import Path
from types import FrameType
from typing import Any

import click
import uvicorn

from coppermend.bootstrap import demo_machine, demo_store, workshop
from coppermend.core.findings import refuse
from coppermend.services.demo import DemoCase, open_demo
from coppermend.services.workshop import Workshop

PORT = 8137
HOST = "127.0.0.1"
"""Loopback only: the page has no password."""


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


def run_server(made: Workshop, port: int | None, browser: bool, path: str = "/", lines: tuple[str, ...] = ()) -> None:
    """Serve until Ctrl-C. Prints the address first."""
    sock = listening(port)
    address = f"http://{HOST}:{sock.getsockname()[1]}{path}"
    app: Any = importlib.import_module("coppermend.api.app").create_app(made)
    config = uvicorn.Config(
        app, log_level="warning", access_log=False, lifespan="off", timeout_graceful_shutdown=3, server_header=False
    )
    click.echo(f"The bench is open: {address}")
    for line in lines:
        click.echo(line)
    click.echo("Ctrl-C closes it; everything noted is kept.")
    if browser and can_show():
        threading.Timer(0.3, webbrowser.open, [address]).start()
    try:
        BenchServer(config, app.state.desk.closing).run(sockets=[sock])
    except KeyboardInterrupt:
        pass
    finally:
        sock.close()
    click.echo("The bench is closed.")


PORT_OPTION = click.option(
    "--port", type=click.IntRange(1, 65535), help=f"Port on {HOST}; default {PORT}, or a free one if that is taken."
)
BROWSER_OPTION = click.option(
    "--browser/--no-browser", default=True, help="Open a browser, if this session has a screen."
)


@click.command("serve")
@PORT_OPTION
@BROWSER_OPTION
@click.pass_context
def serve_command(ctx: click.Context, port: int | None, browser: bool) -> None:
    """Open the bench page on this computer (loopback only)."""
    run_server(workshop((ctx.find_root().obj or {}).get("store")), port, browser)


@click.command("demo")
@PORT_OPTION
@BROWSER_OPTION
@click.option(
    "--fresh", is_flag=True, help="Begin again with another practice patient; the old case stays in the list."
)
@click.option("--prepare", is_flag=True, help="Make or reopen the case, say where it is, and end.")
@click.pass_context
def demo_command(ctx: click.Context, port: int | None, browser: bool, fresh: bool, prepare: bool) -> None:
    """The main job on the demonstration machine: a case in progress with a practice patient behind it."""
    store = (ctx.find_root().obj or {}).get("store") or str(demo_store())
    Path(store).parent.mkdir(parents=True, exist_ok=True)
    made = workshop(store)
    case = open_demo(made, demo_machine(), fresh=fresh)
    lines = what_to_do(case, store)
    if prepare:
        for line in lines:
            click.echo(line)
        return
    run_server(made, port, browser, f"/#/case/{case.id}/bench", lines)


def what_to_do(case: DemoCase, store: str) -> tuple[str, ...]:
    """What a newcomer does first."""
    return (
        f"Case {case.number}: {case.title}. {'Made now.' if case.new else 'Reopened as you left it.'} Kept in {store}.",
        "First: look at the slip at the right. Set tip A and tip B where it says; here the practice patient holds the meter:",
        "press Space to touch the tips, then C for closed or O for open. An open check is narrowed down until the break is named.",
    )
