"""The answer to a memory test in values and words: suspects, what speaks for and against each, what the errors look like, what to do next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from coppermend.core.findings import Finding
from coppermend.core.memory.errors import ErrorLog, ErrorWord
from coppermend.core.memory.model import MemoryMap
from coppermend.core.memory.units import Unit


@dataclass(frozen=True, slots=True)
class MemorySuspect:
    """A unit with its probability. ``kind`` chip, chips (several of them bad), line, short, buffer, refresh, several; ``mode`` the likeliest way of failing,
    ``pins`` and ``nets`` it hangs on, ``parts`` of it; ``log_like`` natural logarithm of its likelihood; ``alike`` other units that make the same of every word."""

    unit: str
    kind: str
    p: float
    mode: str
    pins: tuple[str, ...]
    nets: tuple[str, ...]
    parts: tuple[str, ...]
    pro: tuple[str, ...]
    con: tuple[str, ...]
    alike: tuple[str, ...]
    log_like: float
    program: bool = False


@dataclass(frozen=True, slots=True)
class MemoryExplained:
    """The answer: suspects with the likeliest first, the error words counted by bit, what they look like, what to do next."""

    suspects: tuple[MemorySuspect, ...]
    words: int
    errors: int
    bits: tuple[tuple[int, int], ...]
    looks: tuple[str, ...]
    then: tuple[str, ...]
    findings: tuple[Finding, ...]

    @property
    def named(self) -> tuple[str, ...]:
        """The first unit and those that no error word parts from it."""
        return (self.suspects[0].unit, *self.suspects[0].alike) if self.suspects else ()


def reasons_of(unit: Unit, log: ErrorLog, board: MemoryMap) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What the error words say for and against a unit, in words."""
    errors = log.errors
    address = np.array([one.address for one in errors], np.int64)
    bits = np.array([one.bits for one in errors], np.int64)
    mask = unit.mask(address, board.drawn(address, np.array([one.picture for one in errors])))
    inside = int(((bits & ~mask) == 0).sum())
    pro: list[str] = []
    con: list[str] = []
    if unit.kind in ("several", "refresh"):
        touched = sum(
            1 for one in board.rams if any(one.mask & e.bits and one.covers(np.array([e.address]))[0] for e in errors)
        )
        pro.append(f"{touched} chips are touched by the errors")
        return tuple(pro), tuple(con)
    if inside:
        pro.append(f"{inside} of {len(errors)} errors are in its bits and addresses alone")
    if inside < len(errors):
        con.append(f"{len(errors) - inside} of {len(errors)} errors are in bits or addresses it does not reach")
    if unit.program:
        con.append("the testing program itself is read over this: it ran")
    unhurt = [one for one in log.words if not one.bits and not _hides(errors, one)]
    if unhurt:
        hit = int((unit.mask(np.array([one.address for one in unhurt], np.int64)) != 0).sum())
        if hit:
            con.append(f"{hit} words that it reaches read right")
    common = int(np.bitwise_and.reduce(bits))
    if unit.kind == "chip" and common and inside == len(errors):
        pro.append(f"D{'/'.join(str(b) for b in range(board.width) if common >> b & 1)} is wrong in every error word")
    return tuple(pro), tuple(con)


def _hides(errors: Sequence[ErrorWord], right: ErrorWord) -> bool:
    """Whether a word that read right shows nothing: in every bit that the errors hurt it was written at the one level that they read there."""
    for bit in range(int(np.bitwise_or.reduce([one.bits for one in errors])).bit_length()):
        levels = {one.read >> bit & 1 for one in errors if one.bits >> bit & 1}
        if levels and levels != {right.wrote >> bit & 1}:
            return False
    return True


def looks_of(log: ErrorLog, board: MemoryMap) -> Iterator[str]:
    """What the errors look like."""
    errors = log.errors
    wrote = np.array([one.wrote for one in errors], np.int64)
    read = np.array([one.read for one in errors], np.int64)
    address = np.array([one.address for one in errors], np.int64)
    bits = wrote ^ read
    for bit in range(board.width):
        hit = (bits >> bit & 1) == 1
        if hit.any():
            level = set((read[hit] >> bit & 1).tolist())
            way = "high and low" if len(level) > 1 else "high" if 1 in level else "low"
            yield f"D{bit} is wrong in {int(hit.sum())} of {len(errors)} error words, read {way}"
    varies = int(np.bitwise_or.reduce(address ^ address[0]))
    same = [bit for bit in range(board.space) if not varies >> bit & 1]
    if len(set(address.tolist())) >= 4 and same:
        low = [bit for bit in same if bit < varies.bit_length()]
        if low:
            yield f"all error addresses have {', '.join(f'A{b}={int(address[0]) >> b & 1}' for b in low[:8])}"
    if len(set(address.tolist())) == 1 and len(errors) > 1:
        yield f"all errors are at one address, {int(address[0]):04X}"


def then_of(found: Sequence[MemorySuspect], board: MemoryMap) -> Iterator[str]:
    """What to do next: what tells the first ones apart."""
    first = found[0]
    if first.kind == "chip":
        chip = board.chip(first.parts[0])
        pins = ", ".join(first.pins[:4])
        yield f"Power off. {first.parts[0]}: look at its legs and joints{f' ({pins})' if pins else ''}, then swap it with a known-good one."
        others = [one for one in board.rams if chip is not None and one.ref != chip.ref and one.type == chip.type]
        if others:
            yield f"In a socket: exchange it with {others[0].ref} and test again; if the bad bit moves with it, the chip is bad, else what it sits on."
    elif first.kind == "chips":
        yield f"Power off. {' and '.join(first.parts)}: look at the legs and joints of each, then swap them one by one with known-good ones and test after each."
    elif first.kind == "line":
        net = first.nets[0] if first.nets else first.unit
        through = f", and through {', '.join(first.parts)}" if first.parts else ""
        by = first.pins[0] if first.pins else "its driver"
        yield f"Continuity of {net} from {by} to every pin on it{through}; then a scope there."
    elif first.kind == "short":
        yield f"Power off. Ohms between {' and '.join(first.nets) or first.unit}: look for a bridge where they run side by side."
    elif first.kind == "buffer":
        yield f"{first.parts[0]}: look at its select or enable and its supply with a scope before it is swapped."
    elif first.kind == "refresh":
        yield "Look whether /RAS goes on while nothing is read, and at what counts the refresh addresses."
    else:
        yield "Test again over one block, all words, and give all of them: more than one fault is likelier than any single one."
    if first.alike:
        yield f"Error words cannot part {first.unit} from {', '.join(first.alike)}: another bank, or a scope at the pin, can."
