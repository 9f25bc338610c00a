"""The machine's gates at work: levels on all nets for a given state of the CPU, and who drives a net then.

Only combinational chips are followed; outputs of flip-flops, counters and latches are part of the state that the
caller gives. The functions are those of the data sheets (74LS family TTL data book, positive logic).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import product

from demo.circuit import Part

Levels = dict[str, bool]
_PASSES = 24


def _two(combine: Callable[[bool, bool], bool]) -> Callable[[Callable[[str], bool]], Levels]:
    return lambda read: {f"{i}Y": combine(read(f"{i}A"), read(f"{i}B")) for i in "1234"}


def _three_nand(read: Callable[[str], bool]) -> Levels:
    return {f"{i}Y": not (read(f"{i}A") and read(f"{i}B") and read(f"{i}C")) for i in "123"}


def _inverters(read: Callable[[str], bool]) -> Levels:
    return {f"{i}Y": not read(f"{i}A") for i in "123456"}


def _decoder(read: Callable[[str], bool]) -> Levels:
    on = read("G1") and not read("/G2A") and not read("/G2B")
    chosen = read("A") + 2 * read("B") + 4 * read("C")
    return {f"/Y{i}": not (on and i == chosen) for i in range(8)}


def _multiplexer(read: Callable[[str], bool]) -> Levels:
    return {f"{i}Y": read(f"{i}{'B' if read('S') else 'A'}") for i in "1234"}


def _buffer(read: Callable[[str], bool]) -> Levels:
    return {f"{h}Y{i}": read(f"{h}A{i}") for h in "12" for i in "1234" if not read(f"/{h}G")}


_COMBINE: dict[str, Callable[[Callable[[str], bool]], Levels]] = {
    "74LS00": _two(lambda a, b: not (a and b)),
    "74LS02": _two(lambda a, b: not (a or b)),
    "74LS08": _two(lambda a, b: a and b),
    "74LS32": _two(lambda a, b: a or b),
    "74LS86": _two(lambda a, b: a != b),
    "74LS10": _three_nand,
    "74LS04": _inverters,
    "74LS14": _inverters,
    "74LS138": _decoder,
    "74LS157": _multiplexer,
    "74LS257": _multiplexer,
    "74LS244": _buffer,
}


def _read(part: Part, levels: Levels) -> Callable[[str], bool]:
    return lambda name: levels.get(part.net(name), True)


def settle(parts: tuple[Part, ...], given: Levels) -> Levels:
    """The levels of all nets once the gates have settled; `given` nets stay as they are, undriven nets read high.

    Series resistors of 33 ohm count as wire. Raises ValueError when the gates do not come to rest.
    """
    levels = {"GND": False, "VCC": True} | given
    for _ in range(_PASSES):
        before = dict(levels)
        for part in parts:
            combine = _COMBINE.get(part.device.name)
            if combine:
                for name, level in combine(_read(part, levels)).items():
                    net = part.net(name)
                    if net and net not in given:
                        levels[net] = level
            elif part.value == "33R":
                levels[part.net("2")] = levels.get(part.net("1"), True)
        if levels == before:
            return levels
    raise ValueError("the gates do not come to rest: a loop without a flip-flop")


def _eight(side: str) -> frozenset[str]:
    return frozenset(f"{side}{i}" for i in range(1, 9))


_DATA = frozenset(f"D{i}" for i in range(8))


def driven_pins(part: Part, levels: Levels, cpu_writes: bool) -> frozenset[str]:
    """The three-state pins (by function) at which the part drives its net at these levels; `cpu_writes` tells for the CPU."""
    read, name = _read(part, levels), part.device.name
    if name == "Z80A CPU":
        return _DATA if cpu_writes else frozenset()
    if name in ("2764", "27128", "2732"):
        return _DATA if not read("/CE") and not read("/OE") else frozenset()
    if name == "6116":
        return _DATA if not read("/CS") and not read("/OE") and read("/WE") else frozenset()
    if name == "4164":
        return frozenset({"Q"}) if not read("/RAS") and not read("/CAS") and read("/WE") else frozenset()
    if name == "6845 CRTC":
        return _DATA if read("E") and read("R/W") and not read("/CS") else frozenset()
    if name == "146818":
        return frozenset(f"AD{i}" for i in range(8)) if not read("/RD") and not read("/CE") else frozenset()
    if name == "74LS245":
        return frozenset() if read("/G") else _eight("B" if read("DIR") else "A")
    if name == "74LS244":
        return frozenset(f"{h}Y{i}" for h in "12" for i in "1234" if not read(f"/{h}G"))
    if name == "74LS257":
        return frozenset() if read("/G") else frozenset({"1Y", "2Y", "3Y", "4Y"})
    if name == "74LS374":
        return frozenset() if read("/OE") else frozenset(f"{i}Q" for i in range(1, 9))
    return frozenset()


def drivers(parts: tuple[Part, ...], levels: Levels, net: str, cpu_writes: bool) -> list[str]:
    """The parts whose three-state pins drive the net at these levels."""
    return [p.ref for p in parts if any(p.net(pin) == net for pin in driven_pins(p, levels, cpu_writes))]


def cpu_state(kind: str, address: int) -> tuple[Levels, bool]:
    """The levels that the Z80 puts out in the middle of a cycle, and whether it drives the data bus.

    `kind`: `fetch`, `read`, `write`, `setup` (memory request before a write strobe), `in`, `out`, `refresh`,
    `interrupt`, `idle` (Z80 CPU data sheet, timing diagrams).
    """
    low = {
        "fetch": "MREQ RD M1",
        "read": "MREQ RD",
        "write": "MREQ WR",
        "setup": "MREQ",
        "in": "IORQ RD",
        "out": "IORQ WR",
        "refresh": "MREQ RFSH",
        "interrupt": "IORQ M1",
        "idle": "",
    }[kind].split()
    levels = {f"/C{name}": name not in low for name in ("MREQ", "IORQ", "RD", "WR", "M1", "RFSH", "HALT")}
    levels |= {f"A{i}": bool(address >> i & 1) for i in range(16)}
    return levels, kind in ("write", "setup", "out")


def all_states() -> Iterator[tuple[str, int, Levels, bool]]:
    """Every state that decides who has the bus: cycle, address block, ROMs on or off, RAM column strobe on or off.

    Yields (cycle, address, levels, whether the CPU drives the data bus).
    """
    for kind in ("fetch", "read", "write", "setup", "refresh", "in", "out", "interrupt", "idle"):
        step = 0x20 if kind in ("in", "out") else 0x2000
        for block, rom_off, column in product(range(8), (False, True), (False, True)):
            levels, writes = cpu_state(kind, block * step)
            request = not levels["/CMREQ"]
            strobe = column and request
            yield (
                kind,
                block * step,
                levels | {"ROMOFF": rom_off, "CASEN": strobe, "MUX": strobe, "/CKCE": False},
                writes,
            )
