"""Crystal oscillators in a can: crystal and gate in one part with its own supply. What a parts list calls X1, "25.175MHz" with four pins that are wired.

Two outlines of dual-in-line cans, numbered like the sockets they fit: 14 pins' length (1 not connected or enable, 7 ground, 8 output, 14 supply) and 8 pins'
length (1, 4 ground, 5 output, 8 supply); and the small ones with four pads (1 enable, 2 ground, 3 output, 4 supply). All makers' data sheets have
them so (common practice, from memory). A crystal with four pads has both grounds on one net: it is no can.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from coppermend.core.circuit.model import CircuitPart, FunctionFacts, Rail

ROLE = "oscillator"
OUTLINES: tuple[tuple[str, str, str, str], ...] = (
    ("1", "7", "8", "14"),
    ("1", "4", "5", "8"),
    ("1", "2", "3", "4"),
)
"""(enable or nothing, ground, output, supply) of each outline."""
SUPPLY_V, SUPPLY_PERCENT = 5.0, 10.0


@dataclass(frozen=True, slots=True)
class CanPin:
    """A pin of the can."""

    number: int
    name: str
    kind: str


@dataclass(frozen=True, slots=True)
class CanFamily:
    """Its technology: an output that drives TTL and CMOS; no input levels of its own."""

    name: str = "TTL"
    vil_v: float | None = None
    vih_v: float | None = None


@dataclass(frozen=True, slots=True)
class CanRail:
    """Its supply."""

    nominal_v: float = SUPPLY_V
    tolerance_percent: float = SUPPLY_PERCENT


@dataclass(frozen=True, slots=True)
class Can:
    """A can with what the circuit wants to know of a chip."""

    type: str
    pins: Sequence[CanPin]
    family: CanFamily = field(default_factory=CanFamily)
    logic: Mapping[str, str] = field(default_factory=dict)
    drive: Mapping[str, str] = field(default_factory=dict)
    needs: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: {"OUT": ()})
    functions: Sequence[FunctionFacts] = ()
    rails: Mapping[str, CanRail] = field(default_factory=lambda: {"VCC": CanRail()})
    makes: Mapping[str, CanRail] = field(default_factory=dict)
    rules: Mapping[str, float] = field(default_factory=dict)


def as_can(part: CircuitPart, hertz: float | None, rails: Mapping[str, Rail]) -> CircuitPart:
    """The part as an oscillator in a can where its pins and their rails say so and its frequency can be read (``hertz``), else unchanged."""
    nets = {one.number: one.net for one in part.terminals}
    outline = next((one for one in OUTLINES if set(nets) <= set(one) and set(one[1:]) <= set(nets)), None)
    if outline is None or hertz is None or part.chip is not None:
        return part
    enable, ground, output, supply = outline
    low, high = rails.get(nets[ground]), rails.get(nets[supply])
    if low is None or high is None or not low.ground or high.ground or nets[output] in rails or not nets[output]:
        return part
    words = {
        enable: ("EN", "not connected"),
        ground: ("GND", "ground"),
        output: ("OUT", "output"),
        supply: ("VCC", "power"),
    }
    terminals = tuple(replace(one, name=words[one.number][0], kind=words[one.number][1]) for one in part.terminals)
    pins = tuple(CanPin(int(one.number), one.name, one.kind) for one in terminals)
    return replace(part, role=ROLE, terminals=terminals, chip=Can(part.value, pins), hz=hertz)
