"""A processor in free run: fed nothing but instructions that do nothing, it counts through all addresses, so each address line runs at half the rate of the one below.

With a clock of f and s clocks for each address, line k runs at f / (2 s 2^k). Two lines that touch show one signal between them; where a low wins
that signal is their AND, whose mean rate is half that of the faster one, whichever the other is. A line that a pin holds does not move.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from coppermend.core.findings import refuse

CLOCKS = MappingProxyType({"Z80": 4, "8080": 4, "8085": 4, "6502": 2, "6510": 2, "6800": 2, "6809": 2})
"""Clocks from one address to the next while it does nothing: the time of the instruction NOP in the makers' manuals (Zilog Z80 CPU user manual: 4 T states;
Intel 8080 and 8085 user manuals: 4 states; MOS Technology MCS6500 and Motorola 6800 and 6809 programming manuals: 2 cycles; all from memory)."""
REFRESHING = MappingProxyType({"Z80": 7})
"""Processors that put a refresh address on the bus between two fetches: lines below this number count on alike, those from it on show something else in
between (Zilog Z80 CPU user manual, from memory). They are judged only where they were read while /RD is low."""
TOLERANCE = 0.03
"""A rate this far off (as a share) is another one: the next that a fault makes is a factor of two away."""
STILL, RIGHT, SHORTED, WRONG, MOVES = "still", "right", "shorted", "wrong", "moves"


@dataclass(frozen=True, slots=True)
class LineRun:
    """An address line: what it should run at, what was read (Hz; 0 = it does not move), the verdict and, where two touch, the other line (-1 none)."""

    bit: int
    expected_hz: float
    seen_hz: float
    verdict: str
    other: int = -1

    @property
    def words(self) -> str:
        """The verdict in words."""
        if self.verdict == STILL:
            return f"A{self.bit} does not move: held, or its driver is dead"
        if self.verdict == SHORTED:
            return f"A{self.bit} shows one signal with A{self.other}: they touch"
        if self.verdict == RIGHT:
            return f"A{self.bit} runs as it should"
        if self.verdict == MOVES:
            return f"A{self.bit} moves; its rate tells nothing unless it is read while /RD is low"
        return f"A{self.bit} runs at {self.seen_hz / self.expected_hz:.3g} times its rate"


@dataclass(frozen=True, slots=True)
class FreeRun:
    """All lines that were read, and what they say together ("" nothing more)."""

    lines: tuple[LineRun, ...]
    words: str

    @property
    def odd(self) -> tuple[LineRun, ...]:
        """Lines that are not as they should be."""
        return tuple(one for one in self.lines if one.verdict in (STILL, SHORTED, WRONG))


def line_hz(clock_hz: float, clocks: float, bit: int) -> float:
    """The rate of an address line.

    >>> [line_hz(4e6, 4, k) for k in (0, 1, 15)]
    [500000.0, 250000.0, 15.2587890625]
    """
    return clock_hz / (2.0 * clocks * 2.0**bit)


def judge_free_run(seen_hz: Mapping[int, float], clock_hz: float, clocks: float, refreshing: int = 99) -> FreeRun:
    """Judge the rates of address lines, Hz by bit. ``refreshing``: lines from this one on are judged by whether they move only.

    Refusal FRR-001 for rates, clock or clocks that cannot be.

    >>> run = judge_free_run({0: 5e5, 1: 2.5e5, 2: 0.0, 3: 6.25e4}, 4e6, 4)
    >>> [one.verdict for one in run.lines]
    ['right', 'right', 'still', 'right']
    """
    _possible(seen_hz, clock_hz, clocks)
    want = {bit: line_hz(clock_hz, clocks, bit) for bit in seen_hz}
    moving = {bit: hz for bit, hz in seen_hz.items() if hz > 0 and bit < refreshing}
    scale = _common_scale(moving, want)
    if scale != 1.0:
        clock_hz *= scale
        want = {bit: hz * scale for bit, hz in want.items()}
    lines = []
    for bit in sorted(seen_hz):
        hz = seen_hz[bit]
        if hz <= 0:
            lines.append(LineRun(bit, want[bit], 0.0, STILL))
        elif bit >= refreshing:
            lines.append(LineRun(bit, want[bit], hz, MOVES))
        else:
            other = _touching(bit, moving, want)
            verdict = SHORTED if other >= 0 else RIGHT if _near(hz, want[bit]) else WRONG
            lines.append(LineRun(bit, want[bit], hz, verdict, other))
    return FreeRun(tuple(lines), _words(lines, scale, clock_hz))


def _possible(seen_hz: Mapping[int, float], clock_hz: float, clocks: float) -> None:
    if not 1.0 <= clock_hz <= 1e9 or not 1 <= clocks <= 1000:
        raise refuse(
            "FRR-001",
            f"A clock of {clock_hz:g} Hz with {clocks:g} clocks an address cannot be.",
            "Give --clock 4MHz and --clocks 4.",
        )
    if len(seen_hz) < 2:
        raise refuse(
            "FRR-001",
            f"{len(seen_hz)} line says nothing about the others.",
            "Read at least two address lines: A0=500k A1=250k A2=0.",
        )
    for bit, hz in seen_hz.items():
        if not 0 <= bit <= 31 or not 0.0 <= hz <= clock_hz * 1.01:
            raise refuse(
                "FRR-001",
                f"A{bit} at {hz:g} Hz cannot be: the clock is {clock_hz:g} Hz.",
                "Write it as A3=62.5k, 0 for a line that does not move.",
            )


def _near(hz: float, want: float) -> bool:
    return abs(hz - want) <= TOLERANCE * want


def _common_scale(moving: Mapping[int, float], want: Mapping[int, float]) -> float:
    """The factor by which most lines run faster or slower than they should (of two lines both); 1 where most are right or there is none."""
    ratios = {bit: hz / want[bit] for bit, hz in moving.items()}
    if len(ratios) < 2 or sum(_near(r, 1.0) for r in ratios.values()) * 2 >= len(ratios):
        return 1.0
    best = max(ratios.values(), key=lambda r: sum(_near(x, r) for x in ratios.values()))
    return best if sum(_near(x, best) for x in ratios.values()) * 2 > len(ratios) else 1.0


def _touching(bit: int, moving: Mapping[int, float], want: Mapping[int, float]) -> int:
    """The line that this one touches, -1 for none: both show half the faster one's rate."""
    hz = moving[bit]
    if _near(2 * hz, want[bit]):
        slower = [k for k in moving if k > bit and _near(moving[k], hz)]
        odd = [k for k in slower if not _near(moving[k], want[k])]
        return (odd or slower or [-1])[0]
    partner = [k for k in moving if k < bit and _near(moving[k], want[k] / 2) and _near(hz, want[k] / 2)]
    partner = [k for k in partner if _touching_down(k, moving, want) == bit]
    return partner[0] if partner else -1


def _touching_down(bit: int, moving: Mapping[int, float], want: Mapping[int, float]) -> int:
    """From the faster line: its partner among the slower ones, the odd one first."""
    slower = [k for k in moving if k > bit and _near(moving[k], moving[bit])]
    odd = [k for k in slower if not _near(moving[k], want[k])]
    return (odd or slower or [-1])[0]


def _words(lines: list[LineRun], scale: float, clock_hz: float) -> str:
    if lines and all(one.verdict == STILL for one in lines):
        return "No address line moves: the processor does not run. See its supply, clock and reset, and what can make it wait."
    if scale != 1.0:
        return f"All lines run at {scale:.3g} times the rate: the clock is another one ({clock_hz:g} Hz with so many clocks an address), or another number of clocks."
    return ""
