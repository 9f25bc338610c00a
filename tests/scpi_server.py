"""Instruments of our own that speak SCPI over real lines, for tests: a TCP socket and a pseudo-terminal that stands for a serial line."""

from __future__ import annotations

import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

Answer = Callable[[str], bytes | None]
"""The bytes that answer a line; None for no answer."""


class HangUp(Exception):
    """The instrument is unplugged now."""


@dataclass
class Bench:
    """A meter: answers READ? with the next of ``readings`` (the last one for ever), refuses four wires unless it has them."""

    readings: list[str] = field(default_factory=lambda: ["+9.90000000E+37"])
    identity: str = "ACME,DM 1,007,1.2"
    four_wires: bool = True
    has_errors: bool = True
    delays_s: dict[str, float] = field(default_factory=dict)
    hang_up_at: int | None = None
    heard: list[str] = field(default_factory=list)
    error: str = '+0,"No error"'
    reads: int = 0

    def __call__(self, line: str) -> bytes | None:
        self.heard.append(line)
        time.sleep(self.delays_s.get(line, 0.0))
        if line == "*IDN?":
            return self.identity.encode("latin-1") + b"\n"
        if line == "READ?":
            if self.hang_up_at is not None and self.reads >= self.hang_up_at:
                raise HangUp
            self.reads += 1
            return self.readings[min(self.reads, len(self.readings)) - 1].encode("latin-1") + b"\n"
        if line == "SYST:ERR?":
            said, self.error = self.error, '+0,"No error"'
            return said.encode() + b"\n" if self.has_errors else None
        if line == "*CLS":
            self.error = '+0,"No error"'
        elif line == "CONF:FRES" and not self.four_wires:
            self.error = '-113,"Undefined header"'
        return None


@contextmanager
def on_socket(answer: Answer, port: int = 0) -> Iterator[int]:
    """Serve on a TCP port of this computer; gives the port."""
    door = socket.socket()
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    door.bind(("127.0.0.1", port))
    door.listen(4)
    lines: list[socket.socket] = []
    end = threading.Event()

    def talk(line: socket.socket) -> None:
        rest = b""
        with suppress(OSError, HangUp), line:
            while not end.is_set():
                got = line.recv(4096)
                if not got:
                    return
                rest += got
                while b"\n" in rest:
                    one, rest = rest.split(b"\n", 1)
                    said = answer(one.decode().strip())
                    if said is not None:
                        line.sendall(said)

    def accept() -> None:
        with suppress(OSError):
            while not end.is_set():
                line, _ = door.accept()
                lines.append(line)
                threading.Thread(target=talk, args=(line,), daemon=True).start()

    threading.Thread(target=accept, daemon=True).start()
    try:
        yield door.getsockname()[1]
    finally:
        end.set()
        for one in (door, *lines):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()


@contextmanager
def on_serial(answer: Answer) -> Iterator[str]:
    """Serve on a pseudo-terminal; gives the path of its other end, which opens like a serial port."""
    import tty

    ours, theirs = os.openpty()
    tty.setraw(ours)
    tty.setraw(theirs)
    path = os.ttyname(theirs)
    end = threading.Event()

    def talk() -> None:
        rest = b""
        with suppress(OSError, HangUp):
            while not end.is_set():
                rest += os.read(ours, 4096)
                while b"\n" in rest:
                    one, rest = rest.split(b"\n", 1)
                    said = answer(one.decode().strip())
                    if said is not None:
                        os.write(ours, said)
        with suppress(OSError):
            os.close(ours)

    thread = threading.Thread(target=talk, daemon=True)
    thread.start()
    try:
        yield path
    finally:
        end.set()
        with suppress(OSError):
            os.write(theirs, b"\n")
        with suppress(OSError):
            os.close(theirs)
        thread.join(2)
