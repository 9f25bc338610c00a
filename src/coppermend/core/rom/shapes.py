"""The ways a right content reads wrong as a whole: halves or bytes swapped, lines exchanged or turned over, twice in a larger chip, padded."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Shape:
    """A way and what it makes of a read-out. ``kind`` as in the answer's JSON, ``words``, ``lines`` the pins by name that explain it."""

    kind: str
    words: str
    lines: tuple[str, ...]
    data: bytes


def shapes(data: bytes) -> Iterator[Shape]:
    """Every way, simplest first, with the content that the read-out would have without it."""
    raw = np.frombuffer(data, np.uint8)
    n = len(raw)
    bits = (n - 1).bit_length() if n > 1 else 0
    whole = n > 1 and n == 1 << bits
    if n % 2 == 0 and n:
        half = n // 2
        yield Shape(
            "halves swapped", "its halves are swapped", (f"A{bits - 1}",) if whole else (), data[half:] + data[:half]
        )
        yield Shape("bytes swapped", "the bytes of every pair are swapped", ("A0",), _pairs(raw))
        yield Shape("half", "its first half alone is the content: a chip of twice the size", (), data[:half])
        yield Shape("half", "its second half alone is the content: a chip of twice the size", (), data[half:])
        yield Shape("every other byte", "its even bytes are the content: one of a pair of 8-bit ROMs", (), data[::2])
        yield Shape("every other byte", "its odd bytes are the content: one of a pair of 8-bit ROMs", (), data[1::2])
    for fill in (0xFF, 0x00):
        kept = data.rstrip(bytes([fill]))
        if 0 < len(kept) < n:
            yield Shape("padded", f"it is filled up with {fill:02X} at its end", (), kept)
    yield Shape("inverted", "every bit is turned over", (), (~raw).tobytes())
    yield Shape(
        "nibbles swapped", "high and low half of every byte are swapped", (), ((raw << 4) | (raw >> 4)).tobytes()
    )
    yield Shape(
        "bits reversed",
        "D0 to D7 come in the opposite order",
        (),
        np.packbits(np.unpackbits(raw).reshape(-1, 8)[:, ::-1]).tobytes(),
    )
    for a in range(8):
        for b in range(a + 1, 8):
            yield Shape(
                "data lines exchanged", f"D{a} and D{b} are exchanged", (f"D{a}", f"D{b}"), _data_lines(raw, a, b)
            )
    if whole:
        yield from _address_shapes(raw, bits)


def _address_shapes(raw: Bytes, bits: int) -> Iterator[Shape]:
    place = np.arange(len(raw))
    for a in range(bits):
        yield Shape("address line turned over", f"A{a} is turned over", (f"A{a}",), raw[place ^ (1 << a)].tobytes())
    for a in range(bits):
        for b in range(a + 1, bits):
            differ = (place >> a ^ place >> b) & 1
            yield Shape(
                "address lines exchanged",
                f"A{a} and A{b} are exchanged",
                (f"A{a}", f"A{b}"),
                raw[place ^ (differ << a | differ << b)].tobytes(),
            )


def _pairs(raw: Bytes) -> bytes:
    return raw.reshape(-1, 2)[:, ::-1].tobytes()


def _data_lines(raw: Bytes, a: int, b: int) -> bytes:
    differ = (raw >> a ^ raw >> b) & 1
    return np.asarray(raw ^ (differ << a | differ << b), dtype=np.uint8).tobytes()
