"""What can go wrong between the bench and an instrument, in words, with the mending for this system."""

from __future__ import annotations

import errno
import re
import sys
from typing import Final

from coppermend.adapters.instruments.address import way_of
from coppermend.core.findings import Place, Refusal, refuse

BY_HAND = "The round goes on by hand: read the meter and use the keys."

_RIGHTS: Final = {
    "linux": {
        "serial": "Add yourself to the group that owns the port (ls -l shows it, mostly dialout or uucp): sudo usermod -aG dialout $USER; log in anew.",
        "usb": "Write a udev rule for it, for example in /etc/udev/rules.d/60-meter.rules: SUBSYSTEM==\"usb\", ATTR{idVendor}==\"VVVV\", "
        "MODE=\"0660\", GROUP=\"plugdev\" (VVVV are the digits after USB0::0x in its address); then sudo udevadm control --reload, plug it in anew.",
    },
    "darwin": {
        "serial": "Use the /dev/cu.* name of the port, not /dev/tty.*; close programs that hold it.",
        "usb": "Close programs and drivers of the instrument's maker that hold it.",
    },
    "win32": {
        "serial": "Close other programs on this COM port; see in the Device Manager that its driver is there.",
        "usb": "Give the instrument a WinUSB or libusb driver in the Device Manager (a maker's own driver keeps others out).",
    },
}  # fmt: skip

_LIBUSB: Final = {
    "linux": "Install libusb 1.0 with the system's package manager (Debian: sudo apt install libusb-1.0-0).",
    "darwin": "Install libusb, for example: brew install libusb.",
    "win32": "Put libusb-1.0.dll where Windows finds it, and give the instrument a WinUSB driver.",
}


def for_system(table: dict[str, str], system: str | None = None) -> str:
    """The mending of this system; on an unknown one that of Linux."""
    return table.get(system or sys.platform, table["linux"])


def rights_remedy(way: str, system: str | None = None) -> str:
    """How to be let at a serial or USB instrument on this system."""
    rows = _RIGHTS.get(system or sys.platform, _RIGHTS["linux"])
    return rows.get(way, "Ask whoever looks after this computer for the right to use it.")


def libusb_remedy(system: str | None = None) -> str:
    """How to get the library that USB instruments need on this system."""
    return for_system(dict(_LIBUSB), system)


def trouble(err: BaseException, resource: str, doing: str) -> Refusal:
    """A library's or system's error as a refusal in words. ``doing``: opening, reading.

    >>> trouble(ConnectionRefusedError(111, "refused"), "TCPIP0::10.0.0.9::5025::SOCKET", "opening").finding.code
    'INS-002'
    """
    if isinstance(err, Refusal):
        return err
    way, number, text = way_of(resource), _errno(err), str(err)
    place = Place(thing=resource)
    if isinstance(err, ConnectionRefusedError) or number == errno.ECONNREFUSED:
        return refuse(
            "INS-002",
            "The instrument's computer answers, but nothing listens on that port.",
            f"Switch its SCPI (raw socket) service on; look up its port, often 5025. {BY_HAND}",
            place,
        )
    if number in (errno.EACCES, errno.EPERM) or "Access is denied" in text:
        return refuse("INS-004", f"You have no right to use this {way} port.", f"{rights_remedy(way)} {BY_HAND}", place)
    if number == errno.EBUSY or "exclusively lock" in text or "Resource busy" in text or "RSRC_BUSY" in text:
        return refuse(
            "INS-003", "Another program holds the instrument.", f"Close that program, then try again. {BY_HAND}", place
        )
    if _no_backend(text):
        return refuse(
            "INS-010", "USB instruments need the library libusb, which is not on this system.", f"{libusb_remedy()} {BY_HAND}", place
        )  # fmt: skip
    if doing == "opening":
        return _not_there(way, number, text, place)
    if _gone(err, number, text):
        return refuse(
            "INS-006",
            "The connection to the instrument broke off in the middle: unplugged, switched off, or its port was closed.",
            f"Plug it in; the reading that was under way is not noted. {BY_HAND}",
            place,
        )
    if "TMO" in text or "imeout" in text or "timed out" in text:
        return refuse(
            "INS-005",
            "The instrument does not answer in time.",
            "See that it is on and set to remote (SCPI)"
            + (", with the same baud rate as named here" if way == "serial" else "")
            + f". {BY_HAND}",
            place,
        )
    return refuse(
        "INS-001",
        f"The instrument cannot be used ({type(err).__name__}: {text[:160]}).",
        f"Look at cable and switch, then try again. {BY_HAND}",
        place,
    )


def _not_there(way: str, number: int | None, text: str, place: Place) -> Refusal:
    if way == "network":
        return refuse(
            "INS-001",
            "The instrument cannot be reached: nothing answers at that address.",
            f"See that it is on, on the same network, and that the address is the one it shows in its menu. {BY_HAND}",
            place,
        )
    if (
        number in (errno.ENOENT, errno.ENODEV, errno.ENXIO)
        or "No such" in text
        or "No device" in text
        or "not find" in text
    ):
        return refuse(
            "INS-001",
            "There is no such port now: the instrument is not plugged in, or it got another name.",
            f"Plug it in and look with 'coppermend meter list'. {BY_HAND}",
            place,
        )  # fmt: skip
    return refuse(
        "INS-001",
        f"The {way} instrument cannot be opened ({text[:160]}).",
        f"Look at cable and driver, then try again. {BY_HAND}",
        place,
    )


def _gone(err: BaseException, number: int | None, text: str) -> bool:
    known = (errno.ENODEV, errno.ENXIO, errno.EIO, errno.EPIPE, errno.ECONNRESET, errno.EBADF, errno.ESHUTDOWN)
    return (
        isinstance(err, (ConnectionError, BrokenPipeError))
        or number in known
        or any(words in text for words in ("CONN_LOST", "disconnected", "No such device", "Bad file descriptor"))
    )


def _no_backend(text: str) -> bool:
    return bool(re.search(r"No backend available|install PyUSB|libusb", text))


def _errno(err: BaseException) -> int | None:
    """The system's error number, also of an error that another one was made from."""
    seen: BaseException | None = err
    while seen is not None:
        number = getattr(seen, "errno", None)
        if isinstance(number, int) and number > 0:
            return number
        seen = seen.__cause__ or seen.__context__
    found = re.search(r"\[Errno (\d+)\]", str(err))
    return int(found[1]) if found else None
