"""A read-out judged: right, listed for another socket, right but for its order, repeated, stuck, single or weak bits, or not in the list."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.rom.bits import (
    MOST_TRIED,
    Weak,
    confined,
    idle_lines,
    majority,
    single_flip,
    still_bits,
    touching_lines,
    twin_bits,
    weak_bits,
)
from coppermend.core.rom.lists import Listed, Sums, sums_of
from coppermend.core.rom.shapes import shapes

MOST_BYTES = 1 << 20
MOST_FLIPS = 1 << 18
"""Longest read-out in which a single wrong bit is looked for by CRC-32."""
VERDICTS = (
    "right",
    "weak",
    "wrong socket",
    "reordered",
    "repeated",
    "stuck",
    "single bit",
    "empty",
    "wrong",
    "list contradicts",
    "not listed",
    "no list",
)


@dataclass(frozen=True, slots=True)
class Sign:
    """One thing seen in a read-out: ``kind``, ``words``, the ``lines`` by name (A12, D3) that explain it."""

    kind: str
    words: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RomChecked:
    """The answer. ``verdict`` one of ``VERDICTS``; ``row`` of the list that it is, or would be but for what is wrong; ``weak`` places where readings differ."""

    verdict: str
    words: str
    size: int
    readings: int
    sums: tuple[Sums, ...]
    row: Listed | None
    signs: tuple[Sign, ...]
    weak: tuple[Weak, ...]
    findings: tuple[Finding, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """All lines that explain what was seen."""
        return tuple(dict.fromkeys(line for one in self.signs for line in one.lines))


def check_rom(
    readings: Sequence[bytes], rows: Sequence[Listed] = (), socket: str = "", size: int = 0, good: bytes | None = None
) -> RomChecked:
    """Judge the readings of one ROM. ``rows`` the owner's list, ``socket`` the part it was read from, ``size`` of its chip in bytes (0: not known), ``good``
    a read-out known to be right. Refusals ROM-003 (nothing, too large) and ROM-004 (readings of different lengths).

    >>> from coppermend.core.rom.lists import read_list
    >>> check_rom([b"123456789"], read_list("cbf43926 test.bin")[0]).verdict
    'right'
    """
    _check_sizes(readings)
    weak = weak_bits(readings) if len(readings) > 1 else ()
    data = majority(readings)
    notes = list(_size_notes(len(data), socket, size, rows))
    mine = [one for one in rows if socket and one.socket == socket.upper()]
    notes += _list_notes(data, rows, mine)
    signs: list[Sign] = []
    if weak:
        signs.append(_weak_sign(weak, len(data)))
    verdict, words, row = _judged(data, readings, weak, rows, mine, socket, signs, good)
    return RomChecked(
        verdict,
        words,
        len(data),
        len(readings),
        tuple(sums_of(one) for one in readings),
        row,
        tuple(signs),
        weak,
        tuple(notes),
    )


def _check_sizes(readings: Sequence[bytes]) -> None:
    lengths = {len(one) for one in readings}
    if not readings or 0 in lengths:
        raise refuse("ROM-003", "A read-out is empty.", "Read the ROM again and give the whole file.")
    if max(lengths) > MOST_BYTES:
        raise refuse(
            "ROM-003",
            f"The read-out has {max(lengths)} bytes, more than {MOST_BYTES}.",
            "Give the read-out of one ROM of up to 1 MiB, as raw bytes.",
        )
    if len(lengths) > 1:
        raise refuse(
            "ROM-004",
            f"The readings have different lengths: {', '.join(str(one) for one in sorted(lengths))} bytes.",
            "Give readings of one and the same ROM, read with the same type set.",
        )


def _size_notes(n: int, socket: str, size: int, rows: Sequence[Listed]) -> Iterator[Finding]:
    if n & (n - 1):
        words = f"{n} bytes is no power of two: no ROM has that size."
        yield Finding(
            "ROM-005",
            Severity.WARNING,
            Place(),
            words,
            "Was it cut short, or is it no raw read-out (Intel hex, S-records)?",
        )
    if size and n != size:
        more = "more" if n > size else "less"
        words = f"The read-out has {n} bytes, {more} than the {size} of the chip{f' in {socket}' if socket else ''}."
        yield Finding(
            "ROM-005", Severity.WARNING, Place(thing=socket or None), words, "Set the reader to the chip's own type."
        )
    listed = {one.size for one in rows if one.size and one.socket == socket.upper()} if socket else set()
    if listed and n not in listed:
        words = f"The list says {', '.join(str(x) for x in sorted(listed))} bytes for {socket}, the read-out has {n}."
        yield Finding(
            "ROM-005",
            Severity.WARNING,
            Place(thing=socket),
            words,
            "Look at the chip's type and at the reader's setting.",
        )


def _judged(
    data: bytes,
    readings: Sequence[bytes],
    weak: Sequence[Weak],
    rows: Sequence[Listed],
    mine: Sequence[Listed],
    socket: str,
    signs: list[Sign],
    good: bytes | None,
) -> tuple[str, str, Listed | None]:
    row = _listed(data, rows, mine) or _chosen(readings, weak, rows, mine, signs)
    if row is None and good == data:
        return (
            ("weak", "most readings give the good content; some bits waver", None)
            if weak
            else ("right", "it is the same as the good read-out", None)
        )
    if row is not None:
        if socket and row not in mine and (mine or row.socket):
            where = f"the list has it for {row.socket}" if row.socket else "the list has another for this socket"
            return "wrong socket", f"it is {row.name or 'a listed ROM'}, and {where}, not for {socket}", row
        if weak:
            return (
                "weak",
                f"it is {row.name or 'the listed ROM'}, but {len(weak)} bits waver from reading to reading",
                row,
            )
        return "right", f"it is {row.name or 'the listed ROM'}", row
    signs += _line_signs(data)
    if good is not None and len(good) == len(data):
        signs.append(_against(data, good))
        flip = _only_flip(data, good)
        if flip is not None:
            words = _flip_words(data, *flip)
            signs.insert(0, Sign("single bit", f"{words}{_faded(data[flip[0]] >> flip[1] & 1)}", (f"D{flip[1]}",)))
            return "single bit", f"it is the good read-out, but {words}", None
    empty = next((one for one in signs if one.kind == "empty"), None)
    if empty is not None:
        return "empty", empty.words, None
    verdict, words, row = _wrong(data, rows, mine, signs, good is not None)
    if weak and verdict in ("wrong", "not listed"):
        return (
            "weak",
            f"{len(weak)} bits waver from reading to reading, and no choice of them gives what belongs there",
            row,
        )
    return verdict, words, row


def _wrong(
    data: bytes, rows: Sequence[Listed], mine: Sequence[Listed], signs: list[Sign], compared: bool
) -> tuple[str, str, Listed | None]:
    wanted = [*mine, *(one for one in rows if one not in mine)]
    found = (
        next(((one, row) for one in shapes(data) for row in wanted if sums_of(one.data).agrees(row.sums)), None)
        if wanted
        else None
    )
    if found is not None:
        shape, row = found
        signs.insert(0, Sign(shape.kind, shape.words, shape.lines))
        return "reordered", f"it is {row.name or 'a listed ROM'}, but {shape.words}", row
    for row in wanted:
        flips = _flips(data, row)
        if flips:
            address, bit = flips[0]
            words = _flip_words(data, address, bit)
            signs.insert(0, Sign("single bit", f"{words}{_faded(data[address] >> bit & 1)}", (f"D{bit}",)))
            return "single bit", f"it is {row.name or 'a listed ROM'}, but {words}", row
    half = next((one for one in wanted if _contradicts(data, one)), None)
    if half is not None:
        return "list contradicts", _contradicts(data, half), half
    if not rows and not compared:
        looks = [one.words for one in signs if one.kind in ("stuck", "repeated")]
        said = f". What stands out: {'; '.join(looks)}. A sound text or small font may look so too" if looks else ""
        return "no list", f"nothing to compare it with{said}", None
    for kind in ("stuck", "repeated"):
        seen = [one for one in signs if one.kind == kind]
        if seen:
            return kind, "; ".join(one.words for one in seen), None
    if compared or mine:
        return "wrong", "its content is another than the one that belongs there", mine[0] if mine else None
    return "not listed", "no row of the list has its checksums", None


def _listed(data: bytes, rows: Sequence[Listed], mine: Sequence[Listed]) -> Listed | None:
    sums = sums_of(data)
    return next((one for one in (*mine, *rows) if sums.agrees(one.sums)), None)


def _chosen(
    readings: Sequence[bytes], weak: Sequence[Weak], rows: Sequence[Listed], mine: Sequence[Listed], signs: list[Sign]
) -> Listed | None:
    """Wavering bits tried both ways against the list; many of them line by line, since what loses its contact or its charge reads one way."""
    if not weak or not rows:
        return None
    base = bytearray(majority(readings))
    if len(weak) > MOST_TRIED:
        return _by_line(base, weak, rows, mine, signs)
    for pick in range(1 << len(weak)):
        for k, one in enumerate(weak):
            base[one.address] = (base[one.address] & ~(1 << one.bit)) | (pick >> k & 1) << one.bit
        row = _listed(bytes(base), rows, mine)
        if row is not None:
            said = ", ".join(f"{one.address:04X} D{one.bit}={pick >> k & 1}" for k, one in enumerate(weak))
            signs.append(Sign("settled", f"with {said} the checksum is right"))
            return row
    return None


def _by_line(
    base: bytearray, weak: Sequence[Weak], rows: Sequence[Listed], mine: Sequence[Listed], signs: list[Sign]
) -> Listed | None:
    """All wavering bits of each data line taken as 0, or all as 1."""
    lines = sorted({one.bit for one in weak})
    for pick in range(1 << len(lines)):
        level = {bit: pick >> k & 1 for k, bit in enumerate(lines)}
        for one in weak:
            base[one.address] = (base[one.address] & ~(1 << one.bit)) | level[one.bit] << one.bit
        row = _listed(bytes(base), rows, mine)
        if row is not None:
            said = ", ".join(f"of D{bit} as {one}" for bit, one in level.items())
            signs.append(Sign("settled", f"with every wavering bit {said} the checksum is right"))
            return row
    return None


def _flips(data: bytes, row: Listed) -> tuple[tuple[int, int], ...]:
    """Single wrong bits that give the row's checksums; those that its SHA does not confirm are left out."""
    if not row.sums.crc32 or len(data) > MOST_FLIPS or (row.size and row.size != len(data)):
        return ()
    found = []
    for address, bit in single_flip(data, row.sums.crc32):
        turned = bytearray(data)
        turned[address] ^= 1 << bit
        if sums_of(bytes(turned)).agrees(row.sums):
            found.append((address, bit))
    return tuple(found)


def _contradicts(data: bytes, row: Listed) -> str:
    """What to say where one checksum of a row is this read-out's and another is not; "" else."""
    own = sums_of(data)
    pairs = {"CRC-32": (own.crc32, row.sums.crc32)}
    pairs |= {f"SHA-{kind}": (getattr(own, f"sha{kind}"), getattr(row.sums, f"sha{kind}")) for kind in (1, 256)}
    fits = {name: mine == listed for name, (mine, listed) in pairs.items() if listed}
    if len(set(fits.values())) < 2:
        return ""
    same, other = ([name for name, fit in fits.items() if fit is wanted] for wanted in (True, False))
    return f"the list's line {row.line} contradicts itself: its {' and '.join(same)} is this read-out's, its {' and '.join(other)} is not"


def _list_notes(data: bytes, rows: Sequence[Listed], mine: Sequence[Listed]) -> Iterator[Finding]:
    """Rows that contradict themselves or each other, where it matters for this read-out."""
    for row in rows:
        if said := _contradicts(data, row):
            yield Finding(
                "ROM-009",
                Severity.WARNING,
                Place(line=row.line),
                f"{said[0].upper()}{said[1:]}.",
                "Work the checksums out again from a file you trust: one of the two was written down wrong.",
            )
    others = [(a, b) for k, a in enumerate(mine) for b in mine[k + 1 :] if _differ(a, b)]
    if others:
        a, b = others[0]
        words = f"The list has different contents for {a.socket}: lines {a.line} and {b.line}."
        yield Finding(
            "ROM-009",
            Severity.WARNING,
            Place(thing=a.socket, line=b.line),
            words,
            "See whether these are two versions; keep the row of the one that belongs in this machine.",
        )


def _differ(one: Listed, other: Listed) -> bool:
    return any(a != b for a, b in zip(one.sums.all(), other.sums.all(), strict=True) if a and b)


def _only_flip(data: bytes, good: bytes) -> tuple[int, int] | None:
    """Address and bit where two contents differ, when that is one bit alone."""
    differ = np.frombuffer(data, np.uint8) ^ np.frombuffer(good, np.uint8)
    places = np.flatnonzero(differ)
    if len(places) != 1 or int(differ[places[0]]).bit_count() != 1:
        return None
    return int(places[0]), int(differ[places[0]]).bit_length() - 1


def _flip_words(data: bytes, address: int, bit: int) -> str:
    level = data[address] >> bit & 1
    return f"one bit is wrong: D{bit} at {address:04X} reads {level} for {1 - level}"


def _faded(level: int) -> str:
    """What a wrong 1 says of an EPROM: erased cells read 1 (data sheets of 2716 to 27512: "all bits in the 1 state" after erasure; from memory)."""
    return " (an EPROM cell that loses its charge reads 1: read it again at another supply voltage)" if level else ""


def _line_signs(data: bytes) -> Iterator[Sign]:
    if len(set(data)) == 1:
        level = data[0]
        words = f"every byte is {level:02X}: an empty chip, one that is not selected, or no contact"
        yield Sign("empty", words)
        return
    for bit, level in still_bits(data):
        yield Sign("stuck", f"D{bit} is {level} at every address: stuck, or its pin has no contact", (f"D{bit}",))
    for a, b in twin_bits(data):
        yield Sign("stuck", f"D{a} and D{b} are the same at every address: they touch", (f"D{a}", f"D{b}"))
    for line in idle_lines(data):
        top = line == len(data).bit_length() - 2
        why = "stuck, its pin has no contact" + (
            ", or the content fills half the chip and stands in it twice" if top else ""
        )
        yield Sign("repeated", f"A{line} changes nothing: {why}", (f"A{line}",))

    for a, b in touching_lines(data):
        words = f"where A{a} and A{b} differ it reads as if they did not: the two lines touch"
        yield Sign("repeated", words, (f"A{a}", f"A{b}"))


def _against(data: bytes, good: bytes) -> Sign:
    """The read-out against a good one: how many bits, which data lines, which way, which address lines they have in common."""
    a, b = np.frombuffer(data, np.uint8), np.frombuffer(good, np.uint8)
    differ = a ^ b
    places = np.flatnonzero(differ).tolist()
    per = {bit: int((differ >> bit & 1).sum()) for bit in range(8)}
    lines = tuple(f"D{bit}" for bit, n in per.items() if n)
    rise = int(np.bitwise_count(differ & a).sum())
    total = sum(per.values())
    way = "all read 1 for 0" if rise == total else "all read 0 for 1" if rise == 0 else f"{rise} of them read 1 for 0"
    common = confined(places, (len(data) - 1).bit_length()) if len(places) >= 6 else ()
    where = f"; all where {', '.join(f'A{k}={v}' for k, v in common[:4])}" if common else ""
    words = f"{total} bits differ from the good read-out, in {', '.join(f'{line} {per[int(line[1:])]}' for line in lines)}; {way}{where}"
    explain = lines if len(lines) <= 2 else tuple(f"A{k}" for k, _ in common[:2])
    return Sign("differs", words, explain)


def _weak_sign(weak: Sequence[Weak], n: int) -> Sign:
    bits = sorted({one.bit for one in weak})
    places = sorted({one.address for one in weak})
    named = ", ".join(f"{one.address:04X} D{one.bit} ({one.ones} of {one.readings} read 1)" for one in weak[:4])
    more = f" and {len(weak) - 4} more" if len(weak) > 4 else ""
    if len(bits) == 1 and len(weak) >= 4:
        words = f"{len(weak)} bits waver, all on D{bits[0]}: contact or output of that pin"
        return Sign("weak", f"{words}: {named}{more}", (f"D{bits[0]}",))
    common = confined(places, (n - 1).bit_length()) if len(places) >= 6 else ()
    if common:
        words = f"{len(weak)} bits waver, all where {', '.join(f'A{k}={v}' for k, v in common[:3])}"
        return Sign("weak", f"{words}: {named}{more}", tuple(f"A{k}" for k, _ in common[:3]))
    return Sign("weak", f"{len(weak)} bits waver: {named}{more}: weak cells, supply, or the reader's speed")
