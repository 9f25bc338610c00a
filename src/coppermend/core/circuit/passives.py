"""Parts without a chip inside: value, tolerance, their own faults, and what ohms across them in circuit say.

Tolerances that nobody printed: resistors and networks 5 %, ceramic capacitors 20 %, electrolytics and tantalums 20 %, coils 20 %, crystals 100 ppm (common
practice, no source). Letters after a value are those of IEC 60062 (F 1 %, G 2 %, J 5 %, K 10 %, M 20 %; three figures of a capacitor are picofarads).
In circuit whatever lies in parallel only lowers what a meter reads across a resistor: a reading above the part's value plus tolerance says that the part
itself is open or has drifted up; one below says nothing (Kirchhoff).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from types import MappingProxyType

from coppermend.core.circuit.model import Circuit, CircuitPart

LETTERS = MappingProxyType({"F": 1.0, "G": 2.0, "J": 5.0, "K": 10.0, "M": 20.0})
USUAL_PERCENT = MappingProxyType(
    {
        "resistor": 5.0,
        "network": 5.0,
        "ceramic": 20.0,
        "electrolytic": 20.0,
        "tantalum": 20.0,
        "coil": 20.0,
        "crystal": 0.01,
    }
)
METER_PERCENT = 2.0
"""What a bench meter adds in ohms (common practice, no source)."""
LARGE_F = 0.9e-6
"""A capacitor from here on is an electrolytic or tantalum on an old board (common practice, no source)."""
SHORT_OHM = 2.0
"""Ohms across a capacitor up to this are a short (common practice, no source)."""
PRIORS = MappingProxyType({
    ("tantalum", "shorted"): 0.003, ("electrolytic", "shorted"): 0.0002, ("electrolytic", "dried"): 0.0005, ("fuse", "open"): 0.01,
    ("coil", "open"): 0.0005, ("regulator", "open"): 0.01,
})  # fmt: skip
"""How likely each fault is before anything was seen; assumptions, no source."""
FAULTS = MappingProxyType({
    "resistor": ("open", "drifted up"), "network": ("open", "one element open", "drifted up"), "ceramic": ("shorted", "cracked: open"),
    "electrolytic": ("dried out: too little capacity, too much series resistance", "shorted", "leaks onto the board"),
    "tantalum": ("shorted", "open"), "coil": ("open",), "fuse": ("open",), "crystal": ("does not start", "wrong frequency"),
    "regulator": ("gives nothing", "gives too much or too little"),
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Passive:
    """A part: ``kind`` resistor, network, ceramic, electrolytic, tantalum, coil, fuse, crystal, regulator. ``value`` in SI units of its kind (ohm, farad,
    ampere, hertz; volt of a regulator), None where it cannot be read."""

    ref: str
    kind: str
    value: float | None
    tolerance_percent: float
    faults: tuple[str, ...]

    @property
    def most(self) -> float | None:
        """The most that its value may be, meter included."""
        return None if self.value is None else self.value * (1.0 + (self.tolerance_percent + METER_PERCENT) / 100.0)


def farads_of(value: str) -> float | None:
    """The capacity printed on a part, None when it cannot be read.

    >>> farads_of("100n"), farads_of("4n7"), farads_of("22u 16V"), farads_of("104"), farads_of("blue")
    (1e-07, 4.7e-09, 2.2e-05, 1e-07, None)
    """
    scale = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3}
    text = value.strip()
    split = re.match(r"(\d+)([pnuµμ])(\d+)", text)
    if split:
        return float(f"{float(f'{split[1]}.{split[3]}') * scale[split[2]]:.12g}")
    found = re.match(r"(\d+(?:[.,]\d+)?)\s*([pnuµμm])[Ff]?(?:\b|$)", text)
    if found:
        return float(f"{float(found[1].replace(',', '.')) * scale[found[2]]:.12g}")
    code = re.fullmatch(r"(\d\d)(\d)[FGJKM]?", text)
    return float(f"{float(code[1]) * 10 ** int(code[2]) * 1e-12:.12g}") if code and int(code[2]) <= 6 else None


def tolerance_of(value: str, kind: str) -> float:
    """Per cent, as printed or as usual.

    >>> tolerance_of("4k7 1%", "resistor"), tolerance_of("10k J", "resistor"), tolerance_of("104K", "ceramic"), tolerance_of("33R", "resistor")
    (1.0, 5.0, 10.0, 5.0)
    """
    said = re.search(r"(\d+(?:[.,]\d+)?)\s*%", value)
    if said:
        return float(said[1].replace(",", "."))
    letter = (
        re.search(r"(?:^|[\s\d])([FGJKM])$", value.strip())
        if re.search(r"\s[FGJKM]$|^\d{3}[FGJKM]$", value.strip())
        else None
    )
    return LETTERS[letter[1]] if letter else USUAL_PERCENT.get(kind, 20.0)


def kind_of(part: CircuitPart) -> str:
    """What a part is, "" for one that is none of these."""
    if part.chip is not None:
        return "regulator" if part.chip.makes else ""
    if part.role == "capacitor":
        farad = farads_of(part.value)
        if re.search(r"tant", part.value, re.IGNORECASE):
            return "tantalum"
        return "electrolytic" if farad is not None and farad >= LARGE_F else "ceramic"
    return {"resistor": "resistor", "network": "network", "inductor": "coil", "fuse": "fuse", "crystal": "crystal"}.get(
        part.role, ""
    )


def passive_of(part: CircuitPart) -> Passive | None:
    """A part's value, tolerance and own faults; None for chips and parts that are none of these."""
    kind = kind_of(part)
    if not kind:
        return None
    value = {"resistor": part.ohm, "network": part.ohm, "crystal": part.hz}.get(kind)
    if kind in ("ceramic", "electrolytic", "tantalum"):
        value = farads_of(part.value)
    if kind == "regulator" and part.chip is not None:
        value = next(iter(part.chip.makes.values())).nominal_v
    if kind == "fuse":
        amp = re.search(r"(\d+(?:[.,]\d+)?)\s*(m?)A", part.value)
        value = float(amp[1].replace(",", ".")) * (1e-3 if amp[2] else 1.0) if amp else None
    return Passive(part.ref, kind, value, tolerance_of(part.value, kind), FAULTS[kind])


def feeders_of(circuit: Circuit, net: str) -> tuple[str, ...]:
    """Parts without which a rail has no voltage: a fuse or coil in series whose other end is a net of its own, the regulator that makes it."""
    rail = circuit.rails.get(net)
    found = []
    for t in circuit.nets.get(net, ()) if rail is not None and not rail.ground else ():
        part = circuit.by_ref[t.part]
        kind = kind_of(part)
        if kind == "regulator" and part.chip is not None and t.name in part.chip.makes:
            found.append(part.ref)
        others = [o.net for o in part.terminals if o.net and o.net != net]
        if (
            kind in ("fuse", "coil")
            and len(part.terminals) == 2
            and others
            and not (others[0] in circuit.rails and circuit.rails[others[0]].ground)
        ):
            found.append(part.ref)
    return tuple(dict.fromkeys(found))


def across_rail(circuit: Circuit, net: str) -> tuple[str, ...]:
    """Electrolytics and tantalums from a rail to ground."""
    rail = circuit.rails.get(net)
    found = []
    for t in circuit.nets.get(net, ()) if rail is not None and not rail.ground else ():
        part = circuit.by_ref[t.part]
        others = [o.net for o in part.terminals if o.net != net]
        grounded = len(others) == 1 and others[0] in circuit.rails and circuit.rails[others[0]].ground
        if grounded and kind_of(part) in ("electrolytic", "tantalum"):
            found.append(part.ref)
    return tuple(dict.fromkeys(found))


def topped_capacitors(circuit: Circuit) -> tuple[str, ...]:
    """Electrolytics and tantalums across a rail: a good one of about the same value, held across it the same way round, does the work of one that has dried out."""
    found = [ref for net in sorted(circuit.rails) for ref in across_rail(circuit, net)]
    return tuple(dict.fromkeys(ref for ref in found if kind_of(circuit.by_ref[ref]) == "electrolytic"))


def read_across(facts: Passive, ohm: float | None) -> tuple[bool | None, str]:
    """What ohms across a part in circuit say of it: True at fault, False sound in this, None nothing; and in words. ``ohm`` None: overload.

    >>> r = Passive("R1", "resistor", 1000.0, 5.0, ())
    >>> [read_across(r, x)[0] for x in (1000.0, 1200.0, 300.0, None)]
    [False, True, None, True]
    """
    if facts.kind in ("resistor", "network") and facts.value is not None and facts.most is not None:
        if ohm is None or ohm > facts.most:
            return True, f"reads {_ohm(ohm)} where at most {_ohm(facts.most)} can be: open or drifted up"
        if ohm >= facts.value * (1.0 - (facts.tolerance_percent + METER_PERCENT) / 100.0):
            return False, f"reads {_ohm(ohm)}, its value"
        return None, f"reads {_ohm(ohm)}, less than its value: something lies in parallel; lift one leg to know"
    if facts.kind in ("fuse", "coil"):
        if ohm is None or ohm > 100.0:
            return True, f"reads {_ohm(ohm)}: open"
        return (
            (False, f"reads {_ohm(ohm)}: goes through")
            if ohm <= 10.0
            else (None, f"reads {_ohm(ohm)}: read again, tips clean")
        )
    if facts.kind in ("ceramic", "electrolytic", "tantalum"):
        if ohm is not None and ohm <= SHORT_OHM:
            return True, f"reads {_ohm(ohm)}: shorted, it or what lies across it"
        if ohm is None or ohm >= 100.0:
            return False, f"reads {_ohm(ohm)}: not shorted"
    return None, f"reads {_ohm(ohm)}: tells nothing of it in circuit"


def _ohm(ohm: float | None) -> str:
    return "overload" if ohm is None else f"{ohm:.3g} ohm" if ohm < 1000 else f"{ohm / 1000:.3g} kohm"
