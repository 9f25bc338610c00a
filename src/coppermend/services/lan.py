"""Second screens: a tablet or phone on the local network is let in by a short code, once, and holds a token of its own from then on.

What is kept of code and token are hashes. A token has 256 random bits, so its plain SHA-256 tells nothing; a code has 28 bits only, so it is
salted, lives five minutes, works once and dies after five wrong tries (the limits of NIST SP 800-63B, 5.1.1 and 5.2.2 are wider; from memory).
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Protocol

from coppermend.core.findings import Place, Refusal, refuse
from coppermend.core.log.state import plain

ALPHABET = "ABCDEFGHJKMNPQRTUVWXY346789"
"""Letters and digits that are not taken for each other."""
CODE_LENGTH = 6
CODE_LIFE_S = 300
MOST_TRIES = 5
TOKEN_BYTES = 32
DEVICE_LIFE_DAYS = 30
MOST_DEVICES = 20
LONGEST_NAME = 40
ROLES = ("look", "work", "manage")
"""What a device may: look at everything that is shown; work on the cases too; manage devices, import and export, learning as well. Each holds the one before it."""


@dataclass(frozen=True, slots=True)
class Device:
    """A device that was let in. ``token_sha256`` of its token, hexadecimal; times ISO 8601, UTC."""

    id: str
    name: str
    token_sha256: str
    made_at: str
    until: str
    role: str = "work"
    """One of ``ROLES``; devices of a list without roles went on working as before."""


@dataclass(frozen=True, slots=True)
class PairCode:
    """The code that is valid now: salted SHA-256, until when, how many wrong tries it has seen, and the role that it gives."""

    salt: str
    sha256: str
    until: str
    tries: int = 0
    role: str = "work"


class LanBook(Protocol):
    """Where devices and the code of now are kept; the same book for the server and the command line. Refusal LAN-006 when it cannot be written."""

    def devices(self) -> tuple[Device, ...]:
        """Every device that was let in."""

    def put_devices(self, devices: tuple[Device, ...]) -> None:
        """Keep these."""

    def code(self) -> PairCode | None:
        """The code of now."""

    def put_code(self, code: PairCode | None) -> None:
        """Keep this code, or none."""


def new_code(book: LanBook, now: str, pick: Callable[[str], str] = secrets.choice, *, role: str = "work") -> str:
    """A fresh pairing code such as ``K7M-4QT`` for a device that may do what ``role`` says; any earlier one is void. ``now`` ISO 8601, UTC. Refusal LAN-015."""
    known_role(role)
    letters = "".join(pick(ALPHABET) for _ in range(CODE_LENGTH))
    salt = secrets.token_hex(16)
    book.put_code(PairCode(salt, _hash(letters, salt), _after(now, timedelta(seconds=CODE_LIFE_S)), role=role))
    return f"{letters[:3]}-{letters[3:]}"


def pair(book: LanBook, now: str, code: str, name: str) -> tuple[Device, str]:
    """Let a device in by the code: the device and its token, which is shown to nobody else and kept nowhere. The code is void afterwards.

    Refusal LAN-002 for a wrong code, LAN-003 when none is valid, LAN-004 when there are too many devices.
    """
    known = book.code()
    if known is None or known.until <= now or known.tries >= MOST_TRIES:
        book.put_code(None)
        raise refuse("LAN-003", "No pairing code is valid now.", _ANOTHER)
    letters = "".join(one for one in code.upper() if one.isalnum())
    if not hmac.compare_digest(_hash(letters[:64], known.salt), known.sha256):
        return _wrong(book, known)
    devices = tuple(one for one in book.devices() if one.until > now)
    if len(devices) >= MOST_DEVICES:
        raise refuse(
            "LAN-004", f"{MOST_DEVICES} devices are let in already.", "Revoke one: coppermend lan revoke NAME."
        )
    token = secrets.token_urlsafe(TOKEN_BYTES)
    until = _after(now, timedelta(days=DEVICE_LIFE_DAYS))
    made = Device(secrets.token_hex(4), _named(name, devices), _digest(token), now, until, known.role)
    book.put_code(None)
    book.put_devices((*devices, made))
    return made, token


_ANOTHER = "Make one at the bench computer: 'Second screen' on its page, or coppermend lan code."


def _wrong(book: LanBook, known: PairCode) -> tuple[Device, str]:
    tries = known.tries + 1
    book.put_code(replace(known, tries=tries) if tries < MOST_TRIES else None)
    left = MOST_TRIES - tries
    words = f"{left} more {'try' if left == 1 else 'tries'}." if left else "It is void now."
    raise refuse(
        "LAN-002",
        f"That is not the pairing code. {words}",
        "Read it again from the bench computer." if left else _ANOTHER,
    )


def device_of(book: LanBook, now: str, token: str) -> Device | None:
    """The device that holds this token, unless it was revoked or its time is over."""
    digest = _digest(token)
    for one in book.devices():
        if hmac.compare_digest(one.token_sha256, digest) and one.until > now:
            return one
    return None


def known_role(role: str) -> str:
    """The role again. Refusal LAN-015 for one that there is not."""
    if role not in ROLES:
        raise refuse(
            "LAN-015", f"There is no role {role!r}.", f"Roles are: {', '.join(ROLES)}.", Place(thing=role[:40])
        )
    return role


def may(role: str, needed: str) -> bool:
    """Whether somebody with ``role`` may do what needs ``needed``. A role that is not known may nothing.

    >>> may("manage", "look"), may("look", "work"), may("", "look")
    (True, False, False)
    """
    return role in ROLES and needed in ROLES and ROLES.index(role) >= ROLES.index(needed)


def set_role(book: LanBook, which: str, role: str) -> tuple[Device, ...]:
    """Give a device (by its id or name) or ``all`` another role; those that have it now. It counts from the next request. Refusal LAN-005, LAN-015."""
    known_role(role)
    devices = book.devices()
    chosen = _chosen(devices, which)
    book.put_devices(tuple(replace(one, role=role) if one in chosen else one for one in devices))
    return tuple(replace(one, role=role) for one in chosen)


def revoke(book: LanBook, which: str) -> tuple[Device, ...]:
    """Shut a device out by its id or name, or ``all``; those that were. It counts for the next request and for live updates under way. Refusal LAN-005 for an unknown one."""
    devices = book.devices()
    gone = _chosen(devices, which)
    book.put_devices(tuple(one for one in devices if one not in gone))
    return gone


def _chosen(devices: tuple[Device, ...], which: str) -> tuple[Device, ...]:
    found = tuple(one for one in devices if which in (one.id, one.name, "all"))
    if not found and which != "all":
        have = ", ".join(one.name for one in devices) or "none"
        raise refuse("LAN-005", f"No device is called {which!r}.", f"Let in are: {have}.", Place(thing=which))
    return found


def listed(book: LanBook, now: str) -> list[dict[str, Any]]:
    """The devices that are let in, without anything secret."""
    shown = [dict(plain(one)) for one in book.devices() if one.until > now]
    return [{name: value for name, value in one.items() if name != "token_sha256"} for one in shown]


def no_lan() -> Refusal:
    """The refusal when this bench is not open to the network."""
    return refuse("LAN-001", "This bench is open on its own computer only.", "Start it with: coppermend serve --lan.")


def _named(name: str, others: tuple[Device, ...]) -> str:
    plain_name = (
        " ".join("".join(c if c.isprintable() else " " for c in name).split())[:LONGEST_NAME] or "second screen"
    )
    taken = {one.name for one in others}
    if plain_name not in taken and plain_name != "all":
        return plain_name
    return next(f"{plain_name} {k}" for k in range(2, MOST_DEVICES + 3) if f"{plain_name} {k}" not in taken)


def _hash(letters: str, salt: str) -> str:
    return hashlib.sha256(f"{salt}:{letters}".encode()).hexdigest()


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _after(now: str, span: timedelta) -> str:
    later = datetime.fromisoformat(now.replace("Z", "+00:00")) + span
    return later.isoformat(timespec="milliseconds").replace("+00:00", "Z")
