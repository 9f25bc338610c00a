"""A supply judged before it meets the board, and what current the board should draw.

By itself under a dummy load: each rail within the tolerance of the book, ripple and noise small, the rails up in the order that the chips ask for.
On the board: what is lost between the connector and a far chip. From the book's dissipations the draw to expect, and from it a limit and an abort value.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil

from coppermend.core.circuit.model import Circuit, CircuitPart

RIPPLE_SHARE = 0.01
"""Ripple and noise together, peak to peak, against the nominal voltage: 50 mV on 5 V, 120 mV on 12 V (ATX12V Power Supply Design Guide, from memory)."""
LEAST_LOAD_A = 0.05
"""A dummy load below this proves nothing: many switching supplies do not regulate without one (common practice, no source)."""
DROP_SHARE = 0.02
"""More than this share of the nominal voltage lost between connector and far chip is a bad way (common practice, no source)."""
DRAW_SPREAD = 0.3
"""Chips of one type draw so much more or less than their typical figure (an assumption)."""
LIMIT_OVER = 1.6
"""The supply's current limit over the expected draw: capacitors must fill, a shorted output must not burn (an assumption)."""
ABORT_OVER = 1.0 + DRAW_SPREAD
"""Switch off above this share of the expected draw (an assumption: beyond the spread of the chips)."""
LEAST_LIMIT_A = 0.1
"""No limit is proposed below this."""


@dataclass(frozen=True, slots=True)
class RailWant:
    """What a rail should be: nominal in V, tolerance in percent of it."""

    net: str
    nominal_v: float
    tolerance_percent: float

    @property
    def low_v(self) -> float:
        """The smaller end by magnitude."""
        return self.nominal_v * (1.0 - self.tolerance_percent / 100.0)

    @property
    def high_v(self) -> float:
        """The larger end by magnitude."""
        return self.nominal_v * (1.0 + self.tolerance_percent / 100.0)

    @property
    def ripple_v(self) -> float:
        """The most ripple and noise, V peak to peak."""
        return abs(self.nominal_v) * RIPPLE_SHARE

    def holds(self, volt: float) -> bool:
        """Whether a voltage is within the tolerance.

        >>> RailWant("VCC", 5.0, 5.0).holds(5.25), RailWant("VCC", 5.0, 5.0).holds(5.3), RailWant("VBB", -5.0, 10.0).holds(-4.4)
        (True, False, False)
        """
        low, high = sorted((self.low_v, self.high_v))
        return low - 1e-9 <= volt <= high + 1e-9


def supply_faults(want: RailWant, volt: float | None, ripple_v: float | None, noise_v: float | None) -> tuple[str, ...]:
    """What is wrong with a rail measured by itself, in words; empty when nothing is.

    >>> supply_faults(RailWant("VCC", 5.0, 5.0), 5.02, 0.03, None)
    ()
    >>> supply_faults(RailWant("VCC", 5.0, 5.0), 5.6, 0.12, None)
    ('VCC 5.6 V, wanted 4.75 to 5.25 V', 'VCC ripple 120 mV, at most 50 mV')
    """
    found = []
    if volt is None or not want.holds(volt):
        low, high = sorted((want.low_v, want.high_v))
        found.append(f"{want.net} {'overload' if volt is None else f'{volt:g} V'}, wanted {low:g} to {high:g} V")
    for name, value in (("ripple", ripple_v), ("noise", noise_v)):
        if value is not None and value > want.ripple_v + 1e-12:
            found.append(f"{want.net} {name} {value * 1e3:.3g} mV, at most {want.ripple_v * 1e3:.3g} mV")
    return tuple(found)


def rise_faults(rises: Mapping[str, float], first: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
    """Rails that come up later than those that must wait for them, in words.

    ``rises``: seconds from switch-on to within tolerance, by rail; ``first``: rail that must come first, and the rails that wait for it.

    >>> rise_faults({"VBB": 0.08, "VDD": 0.02}, {"VBB": ("VDD", "VCC")})
    ('VBB comes up 60 ms after VDD and must come before it',)
    """
    found = []
    for net, others in sorted(first.items()):
        for other in others:
            if net in rises and other in rises and rises[net] > rises[other]:
                late = (rises[net] - rises[other]) * 1e3
                found.append(f"{net} comes up {late:.3g} ms after {other} and must come before it")
    return tuple(found)


def first_rails(circuit: Circuit, pins_first: Mapping[str, Sequence[str]]) -> dict[str, tuple[str, ...]]:
    """Rails that must come first, with the rails that wait, from each chip's supply pins that the book says come first (``pins_first``, by part)."""
    found: dict[str, set[str]] = {}
    for ref, names in pins_first.items():
        part = circuit.by_ref.get(ref)
        rails = _rails_of(circuit, part) if part is not None else {}
        mine = {rails[name] for name in names if name in rails}
        for net in mine:
            found.setdefault(net, set()).update(set(rails.values()) - mine)
    return {net: tuple(sorted(others)) for net, others in found.items() if others}


def _rails_of(circuit: Circuit, part: CircuitPart) -> dict[str, str]:
    """Supply pin's name to its rail, ground left out."""
    return {
        t.name: t.net
        for t in part.terminals
        if t.kind == "power" and t.net in circuit.rails and not circuit.rails[t.net].ground
    }


@dataclass(frozen=True, slots=True)
class Drop:
    """What is lost on the way from connector to a far chip: V and share of nominal; ``bad`` beyond DROP_SHARE."""

    volt: float
    share: float
    bad: bool


def far_drop(want: RailWant, connector_v: float, far_v: float) -> Drop:
    """The drop along a rail (by magnitude).

    >>> far_drop(RailWant("VCC", 5.0, 5.0), 5.02, 4.77).bad, round(far_drop(RailWant("VCC", 5.0, 5.0), 5.02, 4.99).share, 4)
    (True, 0.006)
    """
    lost = abs(connector_v) - abs(far_v)
    share = lost / abs(want.nominal_v) if want.nominal_v else 0.0
    return Drop(lost, share, share > DROP_SHARE)


@dataclass(frozen=True, slots=True)
class RailDraw:
    """What the chips on a rail should draw by the book. ``counted`` parts with a figure, ``unknown`` those without."""

    net: str
    ampere: float
    counted: tuple[str, ...]
    unknown: tuple[str, ...]

    @property
    def limit_a(self) -> float:
        """The current limit to set."""
        return _up(LIMIT_OVER * self.ampere)

    @property
    def abort_a(self) -> float:
        """Switch off above this."""
        return _up(ABORT_OVER * self.ampere)


def _up(ampere: float) -> float:
    """Rounded up to 50 mA, at least LEAST_LIMIT_A.

    >>> _up(1.61), _up(0.01)
    (1.65, 0.1)
    """
    return max(round(ceil(ampere / 0.05 - 1e-9) * 0.05, 2), LEAST_LIMIT_A)


def expected_draw(circuit: Circuit, watts: Mapping[str, float | None]) -> tuple[RailDraw, ...]:
    """The draw of every rail. ``watts``: usual dissipation by part, None where the book gives none.

    A chip on several rails is counted on the one of the largest voltage (its main supply); parts that are no chips are not counted.
    """
    found: dict[str, tuple[float, list[str], list[str]]] = {}
    for part in circuit.parts:
        rails = _rails_of(circuit, part) if part.role == "chip" else {}
        if not rails:
            continue
        net = max(sorted(rails.values()), key=lambda one: abs(circuit.rails[one].nominal_v))
        amps, counted, unknown = found.get(net, (0.0, [], []))
        watt = watts.get(part.ref)
        volt = abs(circuit.rails[net].nominal_v)
        if watt is None or volt <= 0.0:
            unknown.append(part.ref)
        else:
            amps += watt / volt
            counted.append(part.ref)
        found[net] = (amps, counted, unknown)
    return tuple(RailDraw(net, amps, tuple(c), tuple(u)) for net, (amps, c, u) in sorted(found.items()))
