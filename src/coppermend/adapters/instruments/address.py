"""Addresses as people name them, made into VISA resource names (VPP-4.3 "The VISA Library", section 4.3; from memory)."""

from __future__ import annotations

import re

from coppermend.core.findings import Place, refuse

SIMULATED = "sim:meter"
RECORDED = "recorded:"
HOW = (
    "Name it like 192.168.1.40:5025 (network), ASRL/dev/ttyUSB0::INSTR or COM4 (serial), or as 'coppermend meter list' shows it "
    "(USB0::...::INSTR)."
)
_TCP = re.compile(r"(?P<host>[A-Za-z0-9](?:[A-Za-z0-9.-]{0,251}[A-Za-z0-9])?):(?P<port>\d{1,5})")
_SOCKET = re.compile(r"TCPIP\d*::(?P<host>[^:\s]+)::(?P<port>\d{1,5})::SOCKET", re.IGNORECASE)
_SERIAL = re.compile(r"ASRL(?P<port>[^:\s]+)::INSTR", re.IGNORECASE)
_USB = re.compile(r"USB\d*(?:::[^:\s]+){3,4}::INSTR", re.IGNORECASE)
_LAN = re.compile(r"TCPIP\d*::[^:\s]+(?:::[^:\s]+)?::INSTR", re.IGNORECASE)


def resource_of(address: str) -> str:
    """The VISA resource name of an address as typed. Refusal INS-009 when it is none.

    >>> resource_of("192.168.1.40:5025"), resource_of("COM4"), resource_of("/dev/ttyUSB0")
    ('TCPIP0::192.168.1.40::5025::SOCKET', 'ASRL4::INSTR', 'ASRL/dev/ttyUSB0::INSTR')
    """
    text = address.strip()
    network = _TCP.fullmatch(text) or _SOCKET.fullmatch(text)
    if network:
        if not 0 < int(network["port"]) < 65536:
            raise refuse("INS-009", f"Port {network['port']} does not exist.", HOW, Place(thing=text))
        return f"TCPIP0::{network['host']}::{network['port']}::SOCKET"
    if re.fullmatch(r"COM\d{1,3}", text, re.IGNORECASE):
        return f"ASRL{text[3:]}::INSTR"
    if re.fullmatch(r"/dev/[\w./-]+", text):
        return f"ASRL{text}::INSTR"
    if _SERIAL.fullmatch(text) or _USB.fullmatch(text) or _LAN.fullmatch(text):
        return text
    raise refuse("INS-009", f"{address[:80]!r} is no address of an instrument.", HOW)


def way_of(resource: str) -> str:
    """How an instrument is reached: serial, usb, network or simulated.

    >>> way_of("TCPIP0::10.0.0.9::5025::SOCKET"), way_of("ASRL4::INSTR")
    ('network', 'serial')
    """
    head = resource.upper()
    return (
        "serial" if head.startswith("ASRL")
        else "usb" if head.startswith("USB")
        else "network" if head.startswith("TCPIP")
        else "simulated"
    )  # fmt: skip
