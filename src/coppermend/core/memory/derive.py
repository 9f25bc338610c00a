"""The memory map of a circuit: which chips are memories, which of the processor's bits each pin carries, what selects it, and the lines between."""

from __future__ import annotations

import re
from collections.abc import Iterable

from coppermend.core.circuit.decode import decode_select
from coppermend.core.circuit.expect import processor_of
from coppermend.core.circuit.logic import names_in
from coppermend.core.circuit.model import DRIVING, Circuit, CircuitPart, Terminal
from coppermend.core.findings import Refusal, refuse
from coppermend.core.memory.model import Between, Chosen, Line, MemoryChip, MemoryMap
from coppermend.core.memory.routes import (
    Route,
    address_routes,
    data_route,
    joined_nets,
    pins_on,
    processor_bits,
    steered_by,
)
from coppermend.core.memory.screen import is_shown

_LINE = re.compile(r"A\d+")
_IN_OUT = re.compile(r"(?:D|DQ|IO|I/O)\d+")
_OUT = re.compile(r"(?:DOUT|Q|DO\d+|O\d+|Q\d+)")
_IN = re.compile(r"(?:DIN|D|DI\d+)")
WRITE_PINS = ("/WE", "/W", "R/W", "/WR", "WE", "R//W")
LEAST_LINES = 5
GIVE = (
    "Give the map: --map FILE with a line for each chip, such as U50 0000-FFFF D0 (docs/how-to/read-a-memory-test.md)."
)


def memory_map(circuit: Circuit) -> MemoryMap:
    """The memory map of a circuit. Refusal MEM-003 when there is no processor, no memory, or no memory whose data reach it: it says what to give."""
    processor = processor_of(circuit)
    if processor is None:
        raise refuse(
            "MEM-003",
            "No processor is known on this board: no chip of the device book has a clock, a reset and eight address outputs.",
            f"See whether its type is printed in the parts list and known (coppermend device show TYPE). {GIVE}",
        )
    rows = [part for part in circuit.parts if is_memory(part)]
    if not rows:
        raise refuse(
            "MEM-003",
            "No memory is known on this board: no chip of the device book has five address inputs or more, data, and no clock.",
            f"See whether their types are printed in the parts list and known. {GIVE}",
        )
    made = _Maker(circuit, processor, rows)
    if not [one for one in made.chips if not one.rom]:
        raise refuse(
            "MEM-003",
            f"The data of no writable memory reach the processor {processor.ref}: {'; '.join(made.asides[:4]) or 'only ROMs do'}.",
            GIVE,
        )
    return made.map()


def is_memory(part: CircuitPart) -> bool:
    """Whether a part is a memory: address inputs and data of its own, no clock, no reset.

    >>> from coppermend.core.circuit.examples import inverter_chain
    >>> [is_memory(one) for one in inverter_chain().parts][:1]
    [False]
    """
    if part.chip is None:
        return False
    kinds = {t.kind for t in part.terminals}
    lines = sum(1 for t in part.terminals if _LINE.fullmatch(t.name) and t.kind == "input")
    return (
        lines >= LEAST_LINES
        and bool(_outs(part))
        and not kinds & {"clock", "reset", "oscillator"}
        and not part.chip.logic
    )


def is_writable(part: CircuitPart) -> bool:
    """Whether a memory has a write pin."""
    return any(part.named(name) is not None for name in WRITE_PINS)


def is_rom(part: CircuitPart) -> bool:
    """Whether a part is a memory without a write pin."""
    return is_memory(part) and not is_writable(part)


def _outs(part: CircuitPart) -> list[Terminal]:
    return [t for t in part.terminals if t.kind in DRIVING and (_IN_OUT.fullmatch(t.name) or _OUT.fullmatch(t.name))]


def _is_dynamic(part: CircuitPart) -> bool:
    return part.named("/RAS") is not None


class _Maker:
    """Collects chips, lines and what lies between."""

    def __init__(self, circuit: Circuit, processor: CircuitPart, rows: list[CircuitPart]) -> None:
        self.circuit, self.processor = circuit, processor
        self.address = processor_bits(processor)
        self.data = processor_bits(processor, data=True)
        self.memories = frozenset(one.ref for one in rows)
        self.skip = self.memories | {processor.ref}
        self.asides: list[str] = []
        self.ways: list[tuple[str, str, str, Route]] = []
        self.selects: list[tuple[str, Terminal]] = []
        self.roms: set[str] = set()
        self.chips = [one for one in (self._chip(row) for row in rows) if one is not None]

    def _chip(self, part: CircuitPart) -> MemoryChip | None:
        held: dict[int, list[str]] = {}
        ways: list[tuple[str, str, str, Route]] = []
        for t in part.terminals:
            out = t in _outs(part)
            if not t.net or not (out or (_IN.fullmatch(t.name) and t.kind == "input")):
                continue
            route = data_route(self.circuit, t.net, self.data, self.skip, out)
            if route is not None:
                held.setdefault(route.bit, []).append(t.id)
                ways.append(("data", part.ref, t.id, route))
        if not any(self._is_out(part, pin) for pins in held.values() for pin in pins):
            self.asides.append(f"{part.ref} ({part.value}): its data reach no data line of {self.processor.ref}")
            return None
        lines = []
        for t in part.terminals:
            if not (_LINE.fullmatch(t.name) and t.net) or t.kind != "input":
                continue
            found = address_routes(self.circuit, t.net, self.address, self.skip)
            lines.append((t.id, tuple(sorted(one.bit for one in found))))
            ways += [("address", part.ref, t.id, one) for one in found]
        if not any(bits for _, bits in lines):
            self.asides.append(f"{part.ref} ({part.value}): no address line of {self.processor.ref} reaches it")
            return None
        self.ways += ways
        rom = not is_writable(part)
        if rom:
            self.roms.add(part.ref)
        for t in part.terminals:
            if t.net and t.net not in self.circuit.rails and (t.kind == "select" or t.name in WRITE_PINS):
                self.selects.append((part.ref, t))
        return MemoryChip(
            part.ref,
            part.value,
            tuple(sorted((bit, tuple(pins)) for bit, pins in held.items())),
            tuple(lines),
            self._chosen(part, [route for what, _, _, route in ways if what == "data"]),
            _is_dynamic(part),
            rom,
            shown=is_shown(self.circuit, [t.net for t in _outs(part) if t.net], self.data, self.skip),
        )

    def _is_out(self, part: CircuitPart, pin: str) -> bool:
        return any(t.id == pin for t in _outs(part))

    def _chosen(self, part: CircuitPart, ways: list[Route]) -> tuple[Chosen, ...]:
        """What selects a chip: its own selects, and those of the buffers that its data pass."""
        found = []
        for t in [*part.terminals, *self._enables(ways)]:
            if t.kind != "select" or not t.net:
                continue
            hit = decode_select(self.circuit, t, self.processor)
            if hit is not None and hit.active:
                found.append(Chosen(tuple(int(name[1:]) for name in hit.lines), hit.active))
        return tuple(dict.fromkeys(found))

    def _enables(self, ways: list[Route]) -> Iterable[Terminal]:
        for part, name in dict.fromkeys(
            (pin.split(".")[0], pin) for route in ways for pair in route.through for pin in pair
        ):
            row = self.circuit.by_ref[part]
            driven = next((t for t in row.terminals if t.id == name), None)
            text = row.chip.drive.get(driven.name) if row.chip is not None and driven is not None else None
            for one in names_in(text) if text else ():
                t = row.named(one)
                if t is not None:
                    yield t

    # ---- lines ----
    def map(self) -> MemoryMap:
        """Everything together."""
        space = max(max(self.address.values(), default=15) + 1, 8)
        width = max(self.data.values(), default=7) + 1
        lines = [*self._lines("data"), *self._lines("address"), *self._decode_lines(), *self._select_lines()]
        lines += self._multiplex_lines()
        return MemoryMap(
            self.processor.ref,
            width,
            space,
            tuple(self.chips),
            tuple(_whole(lines)),
            tuple(self._between()),
            tuple(self.asides),
        )

    def _lines(self, kind: str) -> Iterable[Line]:
        """Every stretch between two active parts that some way passes."""
        bits: dict[tuple[str, ...], set[int]] = {}
        chips: dict[tuple[str, ...], set[str]] = {}
        pins: dict[tuple[str, ...], set[str]] = {}
        for what, ref, pin, route in self.ways:
            if what != kind:
                continue
            for k, net in enumerate(route.nets):
                key = tuple(sorted(joined_nets(self.circuit, net)))
                bits.setdefault(key, set()).add(route.bit)
                chips.setdefault(key, set()).add(ref)
                if k == 0:
                    pins.setdefault(key, set()).add(pin)
        decoded = {bit for one in self.chips if one.rom for chosen in one.chosen for bit in chosen.bits}
        for key in bits:
            nets = self._ordered(key)
            own = {self.address[net] for net in nets if net in self.address} if kind == "address" else set()
            yield Line(
                f"{nets[0]}",
                kind,
                tuple(sorted(bits[key])),
                nets,
                tuple(sorted(chips[key])),
                tuple(sorted(pins.get(key, ()))),
                self._driver(nets),
                self._resistors(nets),
                bool(chips[key] & self.roms or own & decoded),
            )

    def _decode_lines(self) -> Iterable[Line]:
        """Address lines that reach memories by the decoding of their selects alone."""
        known = {bit for what, _, _, route in self.ways if what == "address" for bit in [route.bit]}
        for net, bit in sorted(self.address.items(), key=lambda row: row[1]):
            served = [one for one in self.chips if any(bit in chosen.bits for chosen in one.chosen)]
            if bit not in known and served:
                program = any(one.rom for one in served)
                refs = tuple(one.ref for one in served)
                yield Line(net, "address", (bit,), (net,), refs, (), self._driver((net,)), (), program)

    def _select_lines(self) -> Iterable[Line]:
        seen: dict[tuple[str, ...], list[tuple[str, Terminal]]] = {}
        for ref, t in self.selects:
            seen.setdefault(tuple(sorted(joined_nets(self.circuit, t.net))), []).append((ref, t))
        for key, rows in seen.items():
            refs = tuple(sorted({ref for ref, _ in rows}))
            if set(refs) <= self.roms:
                continue
            nets = self._ordered(key)
            program = bool(set(refs) & self.roms)
            pins = tuple(sorted(t.id for _, t in rows))
            yield Line(nets[0], "select", (), nets, refs, pins, self._driver(nets), self._resistors(nets), program)

    def _multiplex_lines(self) -> Iterable[Line]:
        """Nets that switch the multiplexers of the address lines over."""
        pairs: dict[str, set[tuple[int, ...]]] = {}
        chips: dict[str, set[str]] = {}
        pins: dict[str, set[str]] = {}
        for one in self._between():
            both = tuple(bits for bits in one.bits if len(bits) > 1)
            for t in steered_by(self.circuit.by_ref[one.ref]) if both else ():
                if t.net and t.net not in self.circuit.rails:
                    pairs.setdefault(t.net, set()).update(both)
                    chips.setdefault(t.net, set()).update(one.chips)
                    pins.setdefault(t.net, set()).add(t.id)
        for net, own in sorted(pairs.items()):
            nets = joined_nets(self.circuit, net)
            yield Line(
                net,
                "multiplex",
                (),
                nets,
                tuple(sorted(chips[net])),
                tuple(sorted(pins[net])),
                self._driver(nets),
                self._resistors(nets),
                bool(chips[net] & self.roms),
                tuple(sorted(own)),
            )

    def _ordered(self, key: tuple[str, ...]) -> tuple[str, ...]:
        """The memories' own net first."""
        near = [net for net in key if pins_on(self.circuit, (net,), self.memories)]
        return tuple(near + [net for net in key if net not in near])

    def _driver(self, nets: tuple[str, ...]) -> str:
        drivers = [t for net in nets for t in self.circuit.drivers(net) if t.part not in self.memories]
        return drivers[0].id if drivers else ""

    def _resistors(self, nets: tuple[str, ...]) -> tuple[str, ...]:
        inside = set(nets)
        return tuple(
            dict.fromkeys(
                one.part for one in self.circuit.links if one.source.net in inside and one.target.net in inside
            )
        )

    def _between(self) -> Iterable[Between]:
        mask: dict[str, int] = {}
        bits: dict[str, set[tuple[int, ...]]] = {}
        chips: dict[str, set[str]] = {}
        carried: dict[str, dict[str, set[int]]] = {}
        for what, ref, _, route in self.ways:
            for leaves, _ in route.through:
                part = leaves.split(".")[0]
                if self.circuit.by_ref[part].chip is None:
                    continue
                chips.setdefault(part, set()).add(ref)
                if what == "data":
                    mask[part] = mask.get(part, 0) | 1 << route.bit
                else:
                    carried.setdefault(part, {}).setdefault(leaves, set()).add(route.bit)
        for part, pins in carried.items():
            bits[part] = {tuple(sorted(one)) for one in pins.values()}
        for part in chips:
            row = self.circuit.by_ref[part]
            program = bool(chips[part] & self.roms)
            yield Between(
                part,
                row.value,
                mask.get(part, 0),
                tuple(sorted(bits.get(part, ()))),
                tuple(sorted(chips[part])),
                program,
            )


def _whole(lines: list[Line]) -> Iterable[Line]:
    """Lines of one name and kind once."""
    seen: dict[tuple[str, str], Line] = {}
    for one in lines:
        seen.setdefault((one.kind, one.name), one)
    return seen.values()


def map_from_text(text: str, circuit: Circuit | None = None) -> MemoryMap:
    """A map that a person gives: a chip a line, ``U50 0000-FFFF D0`` or ``U60 8000-87FF D0-D7 static``; with a circuit, its lines are added.

    Refusal MEM-004 names the line that is none.

    >>> [(one.ref, one.mask) for one in map_from_text("U50 0000-FFFF D0\\nU51 0000-FFFF D1").chips]
    [('U50', 1), ('U51', 2)]
    """
    chips = []
    for number, line in enumerate(text.splitlines(), 1):
        words = line.split("#")[0].split()
        if words:
            chips.append(_given(words, number))
    if not chips:
        raise refuse("MEM-004", "The map holds no chip.", "Write a chip a line: U50 0000-FFFF D0.")
    top = max(b for one in chips for _, b in one.first_last)
    width = max(bit for one in chips for bit, _ in one.bits) + 1
    space = max(16, top.bit_length())
    derived: MemoryMap | None = None
    if circuit is not None:
        try:
            derived = memory_map(circuit)
        except Refusal:
            derived = None
    known = {one.ref for one in chips}
    if derived is not None and known & {one.ref for one in derived.chips}:
        pins = {one.ref: one for one in derived.chips}
        chips = [_with_lines(one, pins.get(one.ref)) for one in chips]
        others = tuple(one for one in derived.chips if one.ref not in known)
        return MemoryMap(
            derived.processor,
            max(width, derived.width),
            max(space, derived.space),
            (*chips, *others),
            derived.lines,
            derived.between,
        )
    lines = [
        Line(f"D{bit}", "data", (bit,), (), tuple(one.ref for one in chips if one.mask >> bit & 1), ())
        for bit in range(width)
        if any(one.mask >> bit & 1 for one in chips)
    ]
    refs = tuple(one.ref for one in chips)
    lines += [Line(f"A{bit}", "address", (bit,), (), refs, ()) for bit in range(space)]
    return MemoryMap("", width, space, tuple(chips), tuple(lines), ())


def _with_lines(given: MemoryChip, found: MemoryChip | None) -> MemoryChip:
    if found is None:
        return given
    bits = tuple((bit, dict(found.bits).get(bit, pins)) for bit, pins in given.bits)
    return MemoryChip(given.ref, found.type, bits, found.lines, (), found.dynamic, found.rom, given.first_last)


def _given(words: list[str], number: int) -> MemoryChip:
    example = "Write it like: U50 0000-FFFF D0, or U60 8000-87FF D0-D7."
    found = (
        re.fullmatch(r"(?:0x|\$)?([0-9A-Fa-f]{1,6})-(?:0x|\$)?([0-9A-Fa-f]{1,6})", words[1]) if len(words) > 2 else None
    )
    if found is None:
        raise refuse(
            "MEM-004", f"Line {number} of the map is no chip with its addresses: {' '.join(words)[:60]!r}.", example
        )
    bits: list[int] = []
    flags = {one.lower() for one in words[2:]} & {"dynamic", "static", "rom"}
    for word in words[2:]:
        hit = re.fullmatch(r"[Dd](\d{1,2})(?:-[Dd]?(\d{1,2}))?", word)
        if hit:
            a, b = int(hit[1]), int(hit[2] or hit[1])
            bits += range(min(a, b), max(a, b) + 1)
        elif word.lower() not in flags:
            raise refuse("MEM-004", f"Line {number} of the map: {word[:20]!r} is no data bit.", example)
    if not bits or max(bits) > 31:
        raise refuse("MEM-004", f"Line {number} of the map names no data bit from D0 to D31.", example)
    first, last = int(found[1], 16), int(found[2], 16)
    if first > last:
        raise refuse("MEM-004", f"Line {number} of the map: {words[1]} ends before it begins.", example)
    return MemoryChip(
        words[0],
        "",
        tuple((bit, ()) for bit in sorted(set(bits))),
        (),
        (),
        "dynamic" in flags,
        "rom" in flags,
        ((first, last),),
    )
