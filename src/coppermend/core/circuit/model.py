"""The values of a circuit: parts with their pins on nets, rails, pulls and links. No copper: a net here is whole.

``ChipFacts`` is what the circuit wants to know of a chip; the device book's chips fit it. Pin kinds are the book's words
(``power``, ``ground``, ``input``, ``output``, ``tri-state``, ``open collector``, ``bidirectional``, ``clock``, ``reset``, ``select``, ...).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

DRIVING = frozenset({"output", "tri-state", "open collector", "bidirectional"})
LISTENING = frozenset({"input", "bidirectional", "clock", "reset", "select", "oscillator"})
SHARED = frozenset({"tri-state", "bidirectional"})


class PinFacts(Protocol):
    """One pin of a chip, as its data sheet has it."""

    @property
    def number(self) -> int:
        """Counted from the notch."""

    @property
    def name(self) -> str:
        """As the data sheet has it; a leading ``/`` means active low."""

    @property
    def kind(self) -> str:
        """One of the device book's words."""


class RailFacts(Protocol):
    """A supply pin's voltage."""

    @property
    def nominal_v(self) -> float:
        """Volt."""

    @property
    def tolerance_percent(self) -> float:
        """Per cent of the nominal."""


class FunctionFacts(Protocol):
    """A part with memory inside a chip: kind, role to pin names, modulus of a counter."""

    @property
    def kind(self) -> str:
        """d-flip-flop, counter, register, ..."""

    @property
    def pins(self) -> Mapping[str, tuple[str, ...]]:
        """Role (clock, q, d, load, clear, ...) to pin names."""

    @property
    def modulus(self) -> int:
        """Of a counter; 0 else."""


class FamilyFacts(Protocol):
    """The technology of a chip."""

    @property
    def name(self) -> str:
        """LS, HCT, NMOS, ..."""


class ChipFacts(Protocol):
    """A chip as far as the circuit needs it."""

    @property
    def type(self) -> str:
        """Type number."""

    @property
    def pins(self) -> Sequence[PinFacts]:
        """All pins."""

    @property
    def family(self) -> FamilyFacts:
        """The technology."""

    @property
    def needs(self) -> Mapping[str, tuple[str, ...]]:
        """Driven pin's name to the names of the pins it needs to move."""

    @property
    def logic(self) -> Mapping[str, str]:
        """Driven pin's name to its expression."""

    @property
    def drive(self) -> Mapping[str, str]:
        """Driven pin's name to the expression that is true while the chip drives it."""

    @property
    def functions(self) -> Sequence[FunctionFacts]:
        """What has memory inside."""

    @property
    def rails(self) -> Mapping[str, RailFacts]:
        """Supply pin's name to its voltage."""

    @property
    def makes(self) -> Mapping[str, RailFacts]:
        """What a regulator makes."""

    @property
    def rules(self) -> Mapping[str, float]:
        """Clock and reset rules in SI units."""


@dataclass(frozen=True, slots=True)
class Terminal:
    """One pin of a part in the circuit. ``kind`` the book's word, "passive" on parts without a book entry. ``net`` "" where nothing is joined."""

    part: str
    number: str
    name: str
    kind: str
    net: str

    @property
    def id(self) -> str:
        """As written everywhere: ``U1.6``."""
        return f"{self.part}.{self.number}"

    @property
    def active_low(self) -> bool:
        """True when the pin means yes at a low level."""
        return self.name.startswith("/")


@dataclass(frozen=True, slots=True)
class CircuitPart:
    """A part. ``role``: chip, oscillator (in a can), resistor, network, capacitor, crystal, connector, diode, transistor, switch, link, cell, other, unknown chip.

    ``ohm`` of a resistor or of each resistor of a network, ``hz`` of a crystal, None where the value cannot be read. ``socketed``: it can be swapped.
    """

    ref: str
    value: str
    role: str
    terminals: tuple[Terminal, ...]
    chip: ChipFacts | None = None
    ohm: float | None = None
    hz: float | None = None
    socketed: bool = False

    def named(self, name: str) -> Terminal | None:
        """The first terminal of that name, None when there is none."""
        return next((one for one in self.terminals if one.name == name), None)


@dataclass(frozen=True, slots=True)
class Rail:
    """A supply net. ``nominal_v`` 0 and ``ground`` True for ground. ``sources`` terminals that feed it (connector or regulator), as found."""

    net: str
    nominal_v: float
    tolerance_percent: float
    ground: bool
    sources: tuple[Terminal, ...]


@dataclass(frozen=True, slots=True)
class Pull:
    """A resistor from a net to a rail. ``up`` False: to ground. ``ohm`` None when its value cannot be read."""

    terminal: Terminal
    up: bool
    ohm: float | None


@dataclass(frozen=True, slots=True)
class Link:
    """A part that hands a signal from one net to another: a series resistor, a coupling capacitor (``ac``: only what moves), or a crystal.

    ``source`` is the end on the driven net. A crystal has ``crystal`` True: it drives its end as long as its other end moves.
    """

    part: str
    source: Terminal
    target: Terminal
    ac: bool = False
    crystal: bool = False


@dataclass(frozen=True, slots=True)
class Circuit:
    """All parts, nets and what was derived from them. ``nets``: name to terminals. ``unknown_nets``: driven by something the book does not know."""

    parts: tuple[CircuitPart, ...]
    nets: Mapping[str, tuple[Terminal, ...]]
    rails: Mapping[str, Rail]
    pulls: tuple[Pull, ...]
    links: tuple[Link, ...]
    unknown_nets: frozenset[str]
    by_ref: Mapping[str, CircuitPart] = field(default_factory=dict, compare=False, repr=False)

    def part(self, ref: str) -> CircuitPart | None:
        """The part of that reference designator, None when there is none."""
        return self.by_ref.get(ref)

    def drivers(self, net: str) -> tuple[Terminal, ...]:
        """The chip pins that can drive a net."""
        return tuple(one for one in self.nets.get(net, ()) if one.kind in DRIVING)

    def listeners(self, net: str) -> tuple[Terminal, ...]:
        """The chip pins that read a net."""
        return tuple(one for one in self.nets.get(net, ()) if one.kind in LISTENING)
