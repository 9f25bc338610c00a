"""Where this computer is on the local network. Nothing is sent to find out."""

from __future__ import annotations

import ipaddress
import re
import socket
from collections.abc import Sequence
from contextlib import closing, suppress

from coppermend.core.findings import refuse


def own_addresses() -> tuple[str, ...]:
    """This computer's IPv4 addresses beyond loopback, that of the usual way out first."""
    found: list[str] = []
    with suppress(OSError), closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as sock:
        # connecting a datagram socket sends nothing; it only asks the routing table (192.0.2.0/24 is for documentation, RFC 5737)
        sock.connect(("192.0.2.1", 9))
        found.append(str(sock.getsockname()[0]))
    with suppress(OSError):
        found += [str(row[4][0]) for row in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    return tuple(one for one in dict.fromkeys(found) if not ipaddress.ip_address(one).is_loopback and one != "0.0.0.0")


def own_names() -> tuple[str, ...]:
    """This computer's host name, and the same in ``.local`` (RFC 6762); none when it is no host name."""
    name = socket.gethostname().split(".")[0].lower()
    if not re.fullmatch(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?", name) or name == "localhost":
        return ()
    return (name, f"{name}.local")


def listening_on(wanted: str) -> tuple[str, tuple[str, ...]]:
    """The address to listen on and the names under which the bench is reached. ``wanted``: one of this computer's addresses, or "" for all.

    Refusal LAN-008 when there is no network, or for a text that is no IPv4 address.
    """
    if not wanted:
        addresses = own_addresses()
        if not addresses:
            raise refuse(
                "LAN-008",
                "This computer has no address on a network.",
                "Join the network first; the bench page on this computer needs none.",
            )
        return "0.0.0.0", (*addresses, *own_names())
    try:
        address = str(ipaddress.IPv4Address(wanted))
    except ValueError:
        raise refuse("LAN-008", f"{wanted!r} is no IPv4 address.", "Write it like 192.168.1.20.") from None
    return address, (address,) if address != "0.0.0.0" else (*own_addresses(), *own_names())


def listening(address: str, ports: Sequence[int]) -> socket.socket:
    """A listening socket there on the first port that can be had. Refusal SRV-001 when none can."""
    for port in ports:
        sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            sock.bind((address, port))
            sock.listen(64)
            return sock
        except OSError:
            sock.close()
    raise refuse(
        "SRV-001",
        f"Port {ports[0]} on {address} cannot be had.",
        "Name another with --lan-port, or see that the address is this computer's.",
    )
