"""An owner's list of checksums, in the shape that checksum tools and parts lists have: a ROM a line, its checksums known by their length.

``U5 basic.bin 16384 1a2b3c4d`` · ``da39...0709  basic.bin`` (as ``sha1sum`` and ``sha256sum`` print it) · ``name=basic.bin,socket=U5,crc32=1a2b3c4d``
"""

from __future__ import annotations

import hashlib
import re
import zlib
from dataclasses import dataclass

from coppermend.core.findings import Finding, Place, Severity, refuse

MOST_ROWS = 20_000
_KINDS = {8: "crc32", 40: "sha1", 64: "sha256"}
_SOCKET = re.compile(r"(?:U|IC|ROM)\d{1,4}[A-Z]?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Sums:
    """Checksums in lower-case hexadecimal: CRC-32 (ISO 3309, as zip uses it), SHA-1 and SHA-256 (FIPS 180-4). "" where not known."""

    crc32: str = ""
    sha1: str = ""
    sha256: str = ""

    def agrees(self, other: Sums) -> bool:
        """At least one checksum is known on both sides, and all those are the same."""
        both = [(a, b) for a, b in zip(self.all(), other.all(), strict=True) if a and b]
        return bool(both) and all(a == b for a, b in both)

    def all(self) -> tuple[str, str, str]:
        """CRC-32, SHA-1, SHA-256."""
        return self.crc32, self.sha1, self.sha256


@dataclass(frozen=True, slots=True)
class Listed:
    """A row of a list. ``size`` in bytes, 0 where not said; ``socket`` the part's reference designator, "" where not said."""

    name: str
    socket: str
    size: int
    sums: Sums
    line: int


def sums_of(data: bytes) -> Sums:
    """The checksums of some bytes.

    >>> sums_of(b"123456789").crc32, sums_of(b"abc").sha1
    ('cbf43926', 'a9993e364706816aba3e25717850c26c9cd0d89d')
    """
    crc = f"{zlib.crc32(data):08x}"
    return Sums(crc, hashlib.sha1(data, usedforsecurity=False).hexdigest(), hashlib.sha256(data).hexdigest())


def read_list(text: str, file: str = "") -> tuple[tuple[Listed, ...], tuple[Finding, ...]]:
    """The rows of a list and a finding (ROM-001) for each line that holds no checksum. Refusal ROM-002 when no line does.

    >>> rows, _ = read_list("U5 basic.bin 16384 CBF43926")
    >>> rows[0].socket, rows[0].name, rows[0].size, rows[0].sums.crc32
    ('U5', 'basic.bin', 16384, 'cbf43926')
    """
    rows: list[Listed] = []
    notes: list[Finding] = []
    for number, line in enumerate(text.splitlines(), 1):
        bare = line.split("#")[0].strip()
        if not bare:
            continue
        row = _row(bare, number)
        if row is not None:
            rows.append(row)
        elif not (not rows and re.search(r"\b(crc|sha|name|size)", bare, re.IGNORECASE)) and len(notes) < 20:
            place = Place(file=file or None, line=number, text=line[:80])
            words = f"Line {number} holds no checksum of 8, 40 or 64 hexadecimal digits."
            notes.append(
                Finding("ROM-001", Severity.WARNING, place, words, "Write it as: U5 basic.bin 16384 1a2b3c4d.")
            )
    if not rows:
        raise refuse(
            "ROM-002",
            "The list holds no checksum.",
            "Write a ROM a line: its socket or name and its CRC-32, SHA-1 or SHA-256: U5 basic.bin 1a2b3c4d.",
            Place(file=file or None),
        )
    return tuple(rows[:MOST_ROWS]), tuple(notes)


def _row(text: str, number: int) -> Listed | None:
    found: dict[str, str] = {}
    name, socket, size = "", "", 0
    for word in [one for one in re.split(r"[\s,;|]+", text) if one]:
        label, equals, value = word.partition("=")
        bare = (value if equals else word).strip("\"'*()")
        plain = bare.lower().removeprefix("0x")
        label = label.lower().replace("-", "") if equals else ""
        if label == "size" or (
            not label and not size and plain.isdigit() and len(plain) not in _KINDS and plain == bare
        ):
            size = int(plain) if plain.isdigit() else 0
        elif re.fullmatch(r"[0-9a-f]+", plain) and len(plain) in _KINDS and label not in ("name", "socket"):
            found.setdefault(_KINDS[len(plain)], plain)
        elif label == "socket" or (not label and not socket and _SOCKET.fullmatch(bare)):
            socket = bare.upper()
        elif not name and label in ("", "name"):
            name = bare
    return Listed(name, socket, size, Sums(**found), number) if found else None
