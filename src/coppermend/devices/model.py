"""The values of the device book: pins, chips, logic families.

``Pin``     one pin: number, name, kind, active level.
``Chip``    one type number with all that the book knows of it.
``Family``  the logic levels and supply that chips of one technology share.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class PinKind(StrEnum):
    """What a pin is, electrically."""

    POWER = "power"
    GROUND = "ground"
    INPUT = "input"
    OUTPUT = "output"
    TRI_STATE = "tri-state"
    OPEN_COLLECTOR = "open collector"
    BIDIRECTIONAL = "bidirectional"
    CLOCK = "clock"
    RESET = "reset"
    SELECT = "select"
    OSCILLATOR = "oscillator"
    UNCONNECTED = "not connected"
    BASE = "base"
    COLLECTOR = "collector"
    EMITTER = "emitter"


DRIVING = frozenset({PinKind.OUTPUT, PinKind.TRI_STATE, PinKind.OPEN_COLLECTOR, PinKind.BIDIRECTIONAL})
LISTENING = frozenset(
    {PinKind.INPUT, PinKind.BIDIRECTIONAL, PinKind.CLOCK, PinKind.RESET, PinKind.SELECT, PinKind.OSCILLATOR}
)


@dataclass(frozen=True, slots=True)
class Pin:
    """One pin: ``number`` counted from the notch, ``name`` as the data sheet has it (leading ``/``: active low), ``kind``."""

    number: int
    name: str
    kind: PinKind

    @property
    def active_low(self) -> bool:
        """True when the pin means yes at a low level."""
        return self.name.startswith("/")

    @property
    def drives(self) -> bool:
        """True when the chip can drive this pin."""
        return self.kind in DRIVING

    @property
    def listens(self) -> bool:
        """True when the chip reads this pin."""
        return self.kind in LISTENING


@dataclass(frozen=True, slots=True)
class Rail:
    """A supply pin's or a regulator's voltage: nominal in volt, tolerance in percent of it."""

    nominal_v: float
    tolerance_percent: float

    @property
    def low_v(self) -> float:
        """The smaller end of the range, by magnitude.

        >>> Rail(-5.0, 10.0).low_v
        -4.5
        """
        return self.nominal_v * (1.0 - self.tolerance_percent / 100.0)

    @property
    def high_v(self) -> float:
        """The larger end of the range, by magnitude."""
        return self.nominal_v * (1.0 + self.tolerance_percent / 100.0)


@dataclass(frozen=True, slots=True)
class Family:
    """A logic family. Levels in volt at a 5 V supply, worst case; None where the word has no meaning (analogue parts).

    ``power`` is the usual dissipation against the LS figure of the same type number.
    """

    name: str
    prefixes: tuple[str, ...] = ()
    supply: Rail | None = None
    vil_v: float | None = None
    vih_v: float | None = None
    vol_v: float | None = None
    voh_v: float | None = None
    power: float = 1.0


@dataclass(frozen=True, slots=True)
class Function:
    """A part with memory inside a chip: ``kind`` (d-flip-flop, jk-flip-flop, d-latch, register, counter, shift-register, monostable),
    ``pins`` role to pin names (``d``, ``clock``, ``q``, ``nq``, ``clear`` …), ``edge`` rising or falling, ``modulus`` of a counter."""

    kind: str
    pins: Mapping[str, tuple[str, ...]]
    edge: str = ""
    modulus: int = 0


PIGGYBACK = ("tri-state", "same function")
"""Why a good chip may be held on top of a suspect one: its outputs let go of the bus and both are told the same, or both always say the same."""


@dataclass(frozen=True, slots=True)
class Chip:
    """One type number. All families of a 74-series type share an entry; ``family`` names the one that was asked for.

    ``aliases`` other spellings; ``not_types`` types of like number that are other chips; ``not_families`` letters of a 74-series type
    whose pins are others, or not known to be these.
    ``needs``  driven pin's name to the names of the pins it needs to move (supply pins are meant always).
    ``logic``  driven pin's name to an expression over pin names; levels, high = 1; operators ``! & | ^ ( )``.
    ``drive``  pin's name to the expression that is true while the chip drives it; absent: always, or not known for a bus pin.
    ``rails``  supply pin's name to its voltage. ``makes``: the rails a regulator makes.
    ``rules``  clock and reset rules in SI units: clock_hz, crystal_hz, clock_min_hz, clock_max_hz, reset_clocks, reset_s.
    ``typical_w`` usual dissipation, None where it depends on the load; ``theta_k_per_w`` junction to ambient, still air.
    ``power_first`` supply pins that must be up before the others. ``piggyback`` why a good chip of the same type may be held on top of it (``PIGGYBACK``),
    "" where the book does not allow it.
    ``source`` and ``sure`` are the words of the file it came from.
    """

    type: str
    title: str
    package: str
    pins: tuple[Pin, ...]
    family: Family
    aliases: tuple[str, ...] = ()
    not_types: tuple[str, ...] = ()
    not_families: tuple[str, ...] = ()
    needs: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    logic: Mapping[str, str] = field(default_factory=dict)
    drive: Mapping[str, str] = field(default_factory=dict)
    functions: tuple[Function, ...] = ()
    rails: Mapping[str, Rail] = field(default_factory=dict)
    makes: Mapping[str, Rail] = field(default_factory=dict)
    supply_range_v: tuple[float, float] | None = None
    rules: Mapping[str, float] = field(default_factory=dict)
    typical_w: float | None = None
    theta_k_per_w: float | None = None
    note: str = ""
    unusual_power: bool = False
    power_first: tuple[str, ...] = ()
    piggyback: str = ""
    source: str = ""
    sure: str = ""
    file: str = ""

    def pin(self, key: str | int) -> Pin | None:
        """The pin of a number (8 or "8") or else of a name; None when the chip has none."""
        for pin in self.pins:
            if str(pin.number) == str(key):
                return pin
        return self.named(str(key))

    def named(self, name: str) -> Pin | None:
        """The first pin of this name (a chip may have several of NC, VCC, GND)."""
        for pin in self.pins:
            if pin.name == name:
                return pin
        return None

    def of_kind(self, *kinds: PinKind) -> tuple[Pin, ...]:
        """The pins of these kinds, by number."""
        return tuple(pin for pin in self.pins if pin.kind in kinds)
