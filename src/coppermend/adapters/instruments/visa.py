"""Real instruments by PyVISA with its Python transport: serial lines, TCP sockets, USBTMC. Loaded when it is first used."""

from __future__ import annotations

import contextlib
import errno
import socket
import threading
import warnings
from collections.abc import Callable
from typing import Any

from coppermend.adapters.instruments.address import resource_of, way_of
from coppermend.adapters.instruments.trouble import trouble
from coppermend.core.findings import Finding
from coppermend.services.ports import FoundInstrument

PATIENCE_S = 3.0
"""A bench meter's slowest four-wire reading takes about a second (common practice, no source)."""
OPEN_S = 3.0
LONGEST_ANSWER = 40_000_000
"""Bytes; an instrument that talks without end is cut off here."""

_door = threading.Lock()
_manager: list[Any] = []


def manager() -> Any:
    """PyVISA's resource manager over its Python transport, made once."""
    with _door:
        if not _manager:
            import pyvisa

            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                _manager.append(pyvisa.ResourceManager("@py"))
        return _manager[0]


class VisaLink:
    """Lines over one VISA resource. One conversation at a time: a lock keeps question and answer together.

    After an error the line is shut and opened anew by the next question, so that a late answer is never taken for that of another question.
    """

    def __init__(self, address: str, baud: int = 9600, patience_s: float = PATIENCE_S) -> None:
        self.address = resource_of(address)
        self._baud, self._patience_s, self._talk = baud, patience_s, threading.Lock()
        self._line: Any = None
        with self._talk:
            self._opened()

    def tell(self, line: str) -> None:
        """Send a line."""
        with self._talk:
            self._spoken(lambda open_line: open_line.write(line), None)

    def ask(self, line: str, patience_s: float | None = None) -> str:
        """Send a line and wait for its answer."""

        def act(open_line: Any) -> str:
            open_line.write(line)
            answer: str = open_line.read(encoding="latin-1")
            return answer.rstrip("\r\n")

        with self._talk:
            said: str = self._spoken(act, patience_s)
            return said

    def close(self) -> None:
        """Let go; an instrument that is gone already is no fault."""
        line, self._line = self._line, None
        with contextlib.suppress(Exception):
            if line is not None:
                line.close()

    def _spoken(self, act: Callable[[Any], Any], patience_s: float | None) -> Any:
        line = self._opened()
        try:
            line.timeout = round(1000 * (self._patience_s if patience_s is None else patience_s))
            return act(line)
        except Exception as err:
            gone = "TMO" in str(err) and _hung_up(line)
            self.close()
            raise trouble(
                ConnectionResetError(errno.ECONNRESET, "closed") if gone else err, self.address, "reading"
            ) from err

    def _opened(self) -> Any:
        if self._line is None:
            try:
                self._line = manager().open_resource(
                    self.address, open_timeout=round(OPEN_S * 1000), timeout=round(self._patience_s * 1000),
                    read_termination="\n", write_termination="\n",
                )  # fmt: skip
                if way_of(self.address) == "serial":
                    self._line.baud_rate = self._baud
            except Exception as err:
                self.close()
                raise trouble(err, self.address, "opening") from err
        return self._line


def _hung_up(line: Any) -> bool:
    """Whether the other end of a network line closed it: PyVISA-py calls that a timeout."""
    with contextlib.suppress(Exception):
        end = manager().visalib.sessions[line.session].interface
        if isinstance(end, socket.socket):
            end.settimeout(0.0)
            return end.recv(1, socket.MSG_PEEK) == b""
    return False


def plugged_in() -> tuple[tuple[FoundInstrument, ...], tuple[Finding, ...]]:
    """Serial ports and USB instruments as the system lists them, and which way is closed, because of what. Nothing is opened, nothing on the network asked."""
    rows: list[FoundInstrument] = []
    closed: list[Finding] = []
    for way, look in (("ASRL", _serial), ("USB", _usb)):
        try:
            rows += look()
        except Exception as err:
            closed.append(trouble(err, way, "opening").finding)
    return tuple(rows), tuple(closed)


def _serial() -> list[FoundInstrument]:
    # not by the manager's list_resources: that asks every transport, the network too, whatever pattern it is given
    from serial.tools import list_ports

    out = []
    for one in list_ports.comports():
        words = "serial port" if one.description in (None, "", "n/a") else str(one.description)
        out.append(FoundInstrument(resource_of(one.device), "serial", words))
    return sorted(out, key=lambda one: one.address)


def _usb() -> list[FoundInstrument]:
    import usb.backend.libusb1

    if usb.backend.libusb1.get_backend() is None:
        raise RuntimeError("No backend available")
    from pyvisa_py.protocols import usbtmc

    out = []
    for device in usbtmc.find_tmc_devices():
        try:
            serial = device.serial_number
        except (NotImplementedError, ValueError, OSError) as err:
            raise PermissionError(errno.EACCES, str(err)) from err
        name = f"USB0::{device.idVendor:#06x}::{device.idProduct:#06x}::{serial}::0::INSTR"
        out.append(FoundInstrument(name, "usb", "USB instrument (USBTMC)"))
    return out
