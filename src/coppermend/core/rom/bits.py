"""Lines and bits of a read-out: address lines that do nothing, data lines that stand still or follow another, single wrong bits found by CRC-32, weak bits."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Words = NDArray[np.uint32]
MOST_TRIED = 12
"""Places in which two readings differ and that are tried both ways against a checksum."""


@dataclass(frozen=True, slots=True)
class Weak:
    """A place where several readings differ: address, data bit, how many of ``readings`` read 1."""

    address: int
    bit: int
    ones: int
    readings: int


def idle_lines(data: bytes) -> tuple[int, ...]:
    """Address lines that change nothing: both halves by that line hold the same. () unless the size is a power of two.

    >>> idle_lines(bytes([1, 2, 1, 2])), idle_lines(bytes([1, 2, 3, 4]))
    ((1,), ())
    """
    n = len(data)
    if n < 2 or n & (n - 1):
        return ()
    raw = np.frombuffer(data, np.uint8)
    found = []
    for k in range(n.bit_length() - 1):
        pairs = raw.reshape(-1, 2, 1 << k)
        if np.array_equal(pairs[:, 0], pairs[:, 1]):
            found.append(k)
    return tuple(found)


def still_bits(data: bytes) -> tuple[tuple[int, int], ...]:
    """Data lines that never move: (bit, level).

    >>> still_bits(bytes([0x01, 0x03, 0x05]))[0]
    (0, 1)
    """
    raw = np.frombuffer(data, np.uint8)
    every, some = int(np.bitwise_and.reduce(raw)), int(np.bitwise_or.reduce(raw))
    return tuple((k, 1 if every >> k & 1 else 0) for k in range(8) if every >> k & 1 or not some >> k & 1)


def twin_bits(data: bytes) -> tuple[tuple[int, int], ...]:
    """Pairs of data lines that move and are always the same.

    >>> twin_bits(bytes([0b00, 0b11, 0b00]))
    ((0, 1),)
    """
    raw = np.frombuffer(data, np.uint8)
    still = {bit for bit, _ in still_bits(data)}
    return tuple(
        (a, b)
        for a in range(8)
        for b in range(a + 1, 8)
        if a not in still and b not in still and not ((raw >> a ^ raw >> b) & 1).any()
    )


def touching_lines(data: bytes) -> tuple[tuple[int, int], ...]:
    """Pairs of address lines that act as one where they differ, as both low or both high: they touch. () unless the size is a power of two.

    >>> touching_lines(bytes([1, 1, 1, 2])), touching_lines(bytes([1, 2, 3, 4]))
    (((0, 1),), ())
    """
    n = len(data)
    if n < 4 or n & (n - 1):
        return ()
    raw = np.frombuffer(data, np.uint8)
    idle = set(idle_lines(data))
    found = []
    for a in range(n.bit_length() - 1):
        for b in range(a + 1, n.bit_length() - 1):
            if a in idle or b in idle:
                continue
            four = raw.reshape(-1, 2, 1 << (b - a - 1), 2, 1 << a)
            low, one, other, high = four[:, 0, :, 0], four[:, 0, :, 1], four[:, 1, :, 0], four[:, 1, :, 1]
            if np.array_equal(one, other) and (np.array_equal(one, low) or np.array_equal(one, high)):
                found.append((a, b))
    return tuple(found)


def single_flip(data: bytes, crc32: str) -> tuple[tuple[int, int], ...]:
    """Places (address, bit) at which one turned bit would give this CRC-32.

    CRC-32 is linear over GF(2): the CRCs of two equally long messages differ by that of their difference alone (W. W. Peterson and D. T. Brown, "Cyclic Codes
    for Error Detection", Proc. IRE 49, 1961). By chance some of 8 n places fits with 8 n / 2**32.

    >>> good = bytes(range(64)); bad = bytearray(good); bad[10] ^= 4
    >>> single_flip(bytes(bad), f"{zlib.crc32(good):08x}")
    ((10, 2),)
    """
    n = len(data)
    wanted = np.uint32(zlib.crc32(data) ^ int(crc32, 16))
    table = _table()
    state: Words = table[1 << np.arange(8)]
    found = []
    for back in range(n):
        for bit in np.flatnonzero(state == wanted).tolist():
            found.append((n - 1 - back, int(bit)))
        state = (state >> np.uint32(8)) ^ table[state & np.uint32(0xFF)]
    return tuple(sorted(found))


def _table() -> Words:
    rows = np.arange(256, dtype=np.uint32)
    for _ in range(8):
        rows = np.where(rows & 1, (rows >> np.uint32(1)) ^ np.uint32(0xEDB88320), rows >> np.uint32(1)).astype(
            np.uint32
        )
    return rows


def weak_bits(readings: Sequence[bytes]) -> tuple[Weak, ...]:
    """Places where readings of one ROM differ, all of one length.

    >>> weak_bits([b"\\x01", b"\\x01", b"\\x00"])
    (Weak(address=0, bit=0, ones=2, readings=3),)
    """
    raw = np.stack([np.frombuffer(one, np.uint8) for one in readings])
    differ = np.bitwise_or.reduce(raw, axis=0) ^ np.bitwise_and.reduce(raw, axis=0)
    found = []
    for address in np.flatnonzero(differ).tolist():
        for bit in range(8):
            if differ[address] >> bit & 1:
                found.append(Weak(address, bit, int((raw[:, address] >> bit & 1).sum()), len(readings)))
    return tuple(found)


def majority(readings: Sequence[bytes]) -> bytes:
    """Every bit as most of the readings have it; of two that differ as the first has it.

    >>> majority([b"\\x01", b"\\x03", b"\\x03"])
    b'\\x03'
    """
    if len(readings) < 3:
        return readings[0]
    raw = np.unpackbits(np.stack([np.frombuffer(one, np.uint8) for one in readings]), axis=1)
    ones = raw.sum(axis=0)
    first = raw[0]
    chosen = np.where(2 * ones == len(readings), first, 2 * ones > len(readings))
    return np.packbits(chosen.astype(np.uint8)).tobytes()


def confined(places: Sequence[int], bits: int) -> tuple[tuple[int, int], ...]:
    """Address lines that are at one level at all these places: (line, level). With few places that is chance: n places by 2**(1 - n) each.

    >>> confined([0x10, 0x11, 0x1F], 5)
    ((4, 1),)
    """
    every, some = (1 << bits) - 1, 0
    for one in places:
        every &= one
        some |= one
    return tuple((k, 1 if every >> k & 1 else 0) for k in range(bits) if every >> k & 1 or not some >> k & 1)
