"""The electrical-rule check: supplies, drivers, listeners, pull-ups, load, and who may drive a shared net when."""

from __future__ import annotations

from dataclasses import dataclass

from demo.circuit import Part, nets
from demo.devices import Pin
from demo.logic import all_states, driven_pins, settle

SUPPLIES = {"gnd": "GND", "vcc": "VCC", "vbb": "VBB"}
RAILS = frozenset(SUPPLIES.values())
_DRIVING = ("out", "tri", "io", "oc")
_PULL_OHM_MAX = 100_000.0
LOW_LEVEL_V, SUPPLY_V = 0.4, 5.0  # V_OL of the TTL data book; nominal supply


@dataclass(frozen=True, slots=True)
class Fault:
    """A broken electrical rule: which, at which net or pin, and in words."""

    rule: str
    where: str
    words: str


Ends = dict[str, list[tuple[Part, Pin]]]


def _ends(parts: tuple[Part, ...]) -> Ends:
    found: Ends = {}
    for part in parts:
        for pin, (_, net) in zip(part.device.pins, part.nets, strict=True):
            if net:
                found.setdefault(net, []).append((part, pin))
    return found


def ohms(value: str) -> float:
    """A resistor's value in ohm from its marking: `33R`, `4k7`, `10M`, `8 x 10k`."""
    mark = value.split()[-1]
    for letter, factor in (("R", 1.0), ("k", 1e3), ("M", 1e6)):
        if letter in mark:
            whole, _, part = mark.partition(letter)
            return float(f"{whole or 0}.{part or 0}") * factor
    raise ValueError(f"{value}: not a resistor's marking")


def links(parts: tuple[Part, ...]) -> list[tuple[str, str, Part, float]]:
    """The two-ended passive ways between nets: net, net, part, resistance in ohm (0 for what is no resistor)."""
    found = []
    for part in parts:
        name = part.device.name
        if name == "resistor":
            found.append((part.net("1"), part.net("2"), part, ohms(part.value)))
        elif name == "resistor network":
            found += [
                (part.net("C"), part.net(f"{i}R"), part, ohms(part.value)) for i in range(1, 9) if part.net(f"{i}R")
            ]
        elif name in ("diode", "power diode"):
            found.append((part.net("K"), part.net("A"), part, 0.0))
        elif name in ("disc capacitor", "crystal", "watch crystal", "push button", "link"):
            found.append((part.net("1"), part.net("2"), part, 0.0))
    return found


def _supply_faults(parts: tuple[Part, ...]) -> list[Fault]:
    found = []
    for part in parts:
        for pin, (_, net) in zip(part.device.pins, part.nets, strict=True):
            want = SUPPLIES.get(pin.kind)
            if want and net != want:
                found.append(
                    Fault("supply", f"{part.ref}.{pin.number}", f"{pin.name} is on {net or 'nothing'}, {want} expected")
                )
            if pin.kind == "nc" and net:
                found.append(Fault("supply", f"{part.ref}.{pin.number}", f"a pin without a function is on {net}"))
            if pin.kind == "in" and not net:
                found.append(Fault("floating input", f"{part.ref}.{pin.number}", f"{pin.name} is connected to nothing"))
            if pin.kind in ("out", "tri", "io", "oc") and net in RAILS:
                found.append(Fault("output on a rail", f"{part.ref}.{pin.number}", f"{pin.name} is on {net}"))
    return found


def _driver_faults(ends: Ends, parts: tuple[Part, ...]) -> list[Fault]:
    found = []
    sourced = {net for net, pins in ends.items() if net in RAILS or any(p.kind in _DRIVING for _, p in pins)}
    from_plugs = {net for net, pins in ends.items() if any(part.ref.startswith("J") for part, _ in pins)}
    sourced |= from_plugs
    grew = True
    while grew:
        grew = False
        for a, b, _, _ in links(parts):
            for x, y in ((a, b), (b, a)):
                if x in sourced and y and y not in sourced:
                    sourced.add(y)
                    grew = True
    for net, pins in ends.items():
        if net in RAILS:
            continue
        if len(pins) < 2:
            found.append(Fault("lonely net", net, "only one pin"))
        listening = [f"{part.ref}.{p.number}" for part, p in pins if p.kind in ("in", "io")]
        if listening and net not in sourced:
            found.append(Fault("no driver", net, f"nothing drives {', '.join(listening)}"))
        kinds = [p.kind for _, p in pins]
        if kinds.count("out") > 1 or (kinds.count("out") == 1 and any(k in ("tri", "io", "oc") for k in kinds)):
            names = [f"{part.ref}.{p.number}" for part, p in pins if p.kind in _DRIVING]
            found.append(Fault("two drivers", net, f"a push-pull output among {', '.join(names)}"))
    return found


def _pulls(net: str, parts: tuple[Part, ...]) -> list[float]:
    return [r for a, b, _, r in links(parts) if 0 < r <= _PULL_OHM_MAX and {a, b} in ({net, "VCC"}, {net, "VBB"})]


def _pull_faults(ends: Ends, parts: tuple[Part, ...]) -> list[Fault]:
    found = []
    for net, pins in ends.items():
        kinds = {p.kind for _, p in pins}
        listened = "in" in kinds or "io" in kinds
        if "oc" in kinds and listened and not _pulls(net, parts):
            found.append(Fault("no pull-up", net, "open-collector outputs and inputs, but no resistor to +5 V"))
    return found


def _load_faults(ends: Ends, parts: tuple[Part, ...]) -> list[Fault]:
    """Low-level current of all inputs and pull-ups against what the weakest driver can take; series resistors count as wire."""
    joined = {a: b for a, b, part, r in links(parts) if part.device.name == "resistor" and r < 100}
    found = []
    for net, pins in ends.items():
        if net in RAILS:
            continue
        beyond = ends.get(joined.get(net, ""), [])
        everything = pins + beyond
        wanted = sum(p.load_ma for _, p in everything)
        wanted += sum((SUPPLY_V - LOW_LEVEL_V) / r * 1000 for r in _pulls(net, parts))
        for part, pin in pins:
            if pin.kind in _DRIVING and wanted - pin.load_ma > pin.sink_ma + 1e-9:
                found.append(
                    Fault(
                        "load",
                        net,
                        f"{part.ref}.{pin.number} ({part.device.name}) can take {pin.sink_ma} mA, "
                        f"{wanted - pin.load_ma:.2f} mA asked",
                    )
                )
    return found


def _sharing_faults(ends: Ends, parts: tuple[Part, ...]) -> list[Fault]:
    """Nets with several three-state drivers: at most one may drive in any state of the machine."""
    shared = {net for net, pins in ends.items() if sum(p.kind in ("tri", "io") for _, p in pins) > 1}
    found = []
    for kind, address, given, writes in all_states():
        levels = settle(parts, given)
        active: dict[str, list[str]] = {}
        for part in parts:
            for pin in sorted(driven_pins(part, levels, writes)):
                net = part.net(pin)
                if net in shared:
                    active.setdefault(net, []).append(part.ref)
        for net, refs in active.items():
            if len(refs) > 1:
                rom_off = "off" if given["ROMOFF"] else "on"
                found.append(
                    Fault(
                        "contention",
                        net,
                        f"{', '.join(refs)} drive together in {kind} at {address:04X}, ROMs {rom_off}",
                    )
                )
    return found


def _decoupling_faults(parts: tuple[Part, ...]) -> list[Fault]:
    chips = sum(p.ref.startswith("U") and any(pin.kind == "vcc" for pin in p.device.pins) for p in parts)
    capacitors = sum(p.value == "100n" and {p.net("1"), p.net("2")} == {"GND", "VCC"} for p in parts)
    if capacitors < chips:
        return [Fault("decoupling", "VCC", f"{chips} chips but {capacitors} capacitors of 100 nF")]
    return []


def check(parts: tuple[Part, ...]) -> list[Fault]:
    """Every broken electrical rule; an empty list when the circuit may be built.

    Example: `check(circuit.parts()) == []`.
    """
    ends = _ends(parts)
    named = nets(parts)
    faults = [Fault("lonely net", net, "only one pin") for net in ends if net not in named]
    return [
        *faults,
        *_supply_faults(parts),
        *_driver_faults(ends, parts),
        *_pull_faults(ends, parts),
        *_load_faults(ends, parts),
        *_sharing_faults(ends, parts),
        *_decoupling_faults(parts),
    ]
