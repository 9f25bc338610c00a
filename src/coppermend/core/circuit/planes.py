"""What every pin of a circuit does under many faults at once: one bit per hypothesis, five planes per place.

A place (node of a net's tree) is described by five bit planes: can be low, can be high, moves, is wrong (its pattern is not the expected one),
floats. Chips, links and pulls turn input planes into contributions; a net gathers them over its tree, where a cut edge lets nothing pass.
Nets are worked through in the order of their dependence; nets that depend on each other are repeated until they stand still, starting from
nothing, so that two buffers back to back do not keep each other alive. A crystal drives its gate as long as the gate's loop comes back moving.

The rules are those of the parts, not of a machine: an output follows its expression, a clocked output moves while its clock moves and its
resets can be inactive, a memory's output moves while it is selected and an address moves. A level's pattern is wrong where anything it was
made from is wrong. What no rule covers is left open ("unknown nets").
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import rustworkx as rx
from numpy.typing import NDArray

from coppermend.core.circuit.buses import Bus, Driver, bus_of, vital_outputs
from coppermend.core.circuit.logic import Tree, names_in, tree_of
from coppermend.core.circuit.model import DRIVING, LISTENING, SHARED, Circuit, CircuitPart, Link, Terminal
from coppermend.core.circuit.passives import across_rail, feeders_of
from coppermend.core.geometry.groups import Groups

Words = NDArray[np.uint64]
FULL = np.uint64(0xFFFFFFFFFFFFFFFF)
LOW, HIGH, RIGHT, WRONG, FLOATING, STEADY = range(6)
"""Symbols of a place: low, high, moving as expected, moving otherwise, floating, steady at a level that cannot be told."""
SYMBOL_WORDS = ("low", "high", "moving", "moving, not as expected", "floating", "steady")
C0, C1, MOVES, BAD, FLOATS = range(5)
_H0, _K0, _K1, _KM, _KB, _UP, _DN = range(7)
_ROUNDS = 8
MEMORY = ("d-flip-flop", "d-latch", "register", "jk-flip-flop", "shift-register")
TTL_LIKE = ("TTL", "LS", "S", "ALS", "F")
"""Families whose open input acts as a high level (bipolar inputs; TTL data books)."""
STATUS = ("HALT", "BUSAK", "BUSACK", "HLDA", "HLDAK", "BA", "BS", "BG", "INTA", "WAIT", "RFSH")
"""Outputs of processors that may rest or move, as the program has it (common practice, no source)."""

PROGRAMMED = re.compile(
    r"/?(P[A-C]?\d+|IO[AB]\d+|C[AB][12]|PC|SP|CNT|OUT[AB]?\d|TXD[AB]?|SOUT|SO|RTS[AB]?|DTR[AB]?|RXC|RDY|TXRDY|RXRDY|TXEMPTY|SYNDET|TBMT|DAV|EOC|PE|FE|OR"
    r"|[AB]RDY|IEO|W/RDY[AB]|SYNC[AB]|ZC/TO\d|O[1-3]|HRQ|DACK\d|MARK|TC|EOP|STEP|DIRC|HLD|HDL|TG43|WG|WD|WE|RG|MO|EARLY|LATE|HD|US\d|DRQ)"
)
"""Outputs of ports, serial lines, timers, disk and memory-access controllers: level, movement and direction are set by the program (data sheets of the families in
the device book). Their interrupt requests are not among them: in most machines one keeps coming (common practice, no source)."""
_GATES = ("TTL", "LS", "S", "ALS", "F", "HC", "HCT", "AC", "ACT")
"""Families of gates and registers: such a name is another thing there."""

Key = tuple[str | int, ...]
"""A cause as the simulation knows it: ("cut", net, edge), ("float" | "low" | "high" | "open" | "hz" | "shorted" | "dried", ref), ("stuck0" | "stuck1", pin),
("short", "", index), ("norail" | "lowrail", net)."""


@dataclass(frozen=True, slots=True)
class NetTree:
    """A net as its copper joins it. ``edges`` (node, node) are what can be cut, a tree over ``nodes`` places; ``taps`` pin ("U1.6") to its node."""

    net: str
    nodes: int
    edges: tuple[tuple[int, int], ...]
    taps: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class ShortSpec:
    """Two nets that may touch, and where: (net, node) each."""

    net_a: str
    node_a: int
    net_b: str
    node_b: int


def whole_trees(circuit: Circuit) -> dict[str, NetTree]:
    """Every net as one place: copper that cannot fail."""
    return {net: NetTree(net, 1, (), {one.id: 0 for one in rows}) for net, rows in circuit.nets.items()}


@dataclass(frozen=True, slots=True)
class _Output:
    """One chip pin that drives, compiled."""

    terminal: Terminal
    part: CircuitPart
    tree: Tree | str | None
    names: tuple[str, ...]
    drive: Tree | str | None
    drive_names: tuple[str, ...]
    clocks: tuple[str, ...]
    resets: tuple[str, ...]
    selects: tuple[str, ...]
    others: tuple[str, ...]
    data: tuple[str, ...]
    memory: bool
    inverted: bool

    @property
    def sources(self) -> tuple[str, ...]:
        """The names of the pins of its part that it is made from."""
        rows = (self.names, self.drive_names, self.clocks, self.resets, self.selects, self.others, self.data)
        return tuple(dict.fromkeys(name for row in rows for name in row))

    def alike(self) -> tuple[object, ...]:
        """Equal for outputs of a part that do the same, each on its own net (the data pins of a memory)."""
        own = self.terminal.id if self.memory and self.data else ""
        shared = self.terminal.kind in SHARED
        return (self.part.ref, own, shared, self.clocks, self.resets, self.selects, self.others)


@dataclass(slots=True)
class Outcome:
    """What came out of one simulation: for every net its groups of nodes and their planes, (5, words) each."""

    words: int
    groups: dict[str, list[int]] = field(default_factory=dict)
    planes: dict[str, list[Words]] = field(default_factory=dict)
    present: dict[str, list[Words]] = field(default_factory=dict)
    low: dict[str, Words] = field(default_factory=dict)
    """Rails that are too low under some hypotheses."""
    odd: dict[str, Words] = field(default_factory=dict)
    """Buses whose pattern lacks a share under some hypotheses, while what reads them goes on."""
    walks: dict[str, tuple[list[int], list[tuple[int, int, Words]]]] = field(default_factory=dict)
    """By net the group of each node and the cut edges as (parent group, child group, cut) from the root on."""

    def at(self, net: str, node: int) -> Words:
        """The five planes of a place, (5, words)."""
        return self.planes[net][self.groups[net][node]]

    def seen(self, net: str, node: int) -> Words:
        """The five planes of a place as a probe sees it: its pattern is wrong too where a bus lacks a share, (5, words)."""
        place = self.at(net, node)
        odd = self.odd.get(net)
        if odd is None:
            return place
        made = place.copy()
        made[BAD] |= odd & (place[C0] | place[C1])
        return made

    def supplied(self, net: str, node: int) -> Words:
        """Of a rail: the plane that is set where the rail's voltage is there, (words,)."""
        return self.present[net][self.groups[net][node]]


class Behaviour:
    """A circuit on its copper, ready to be simulated. ``healthy`` holds what each place does when nothing fails.

    >>> from coppermend.core.circuit.examples import inverter_chain
    >>> circuit = inverter_chain()
    >>> b = Behaviour(circuit, whole_trees(circuit))
    >>> [SYMBOL_WORDS[b.healthy_symbol(net)] for net in ("A", "B", "C")]
    ['high', 'low', 'high']
    """

    def __init__(self, circuit: Circuit, trees: Mapping[str, NetTree], shorts: Sequence[ShortSpec] = ()) -> None:
        self.circuit = circuit
        self.trees = {net: trees[net] if net in trees else _one(circuit, net) for net in circuit.nets}
        self.shorts = tuple(shorts)
        self._rails = dict(circuit.rails)
        self._feeders = {net: feeders_of(circuit, net) for net in circuit.rails}
        self._across = {net: across_rail(circuit, net) for net in circuit.rails}
        self._outputs: dict[str, list[_Output]] = {}
        self._links: dict[str, list[Link]] = {}
        self._pulls: dict[str, list[tuple[Terminal, bool]]] = {}
        self._short_at: dict[str, list[int]] = {}
        self._terminals: dict[str, dict[str, Terminal]] = {}
        self._compile()
        self._sources = {net: self._sources_of(net) for net in circuit.nets if net not in self._rails}
        self._readers = _turned(self._sources)
        self._same, self._read_by = self._alike_outputs()
        self._nets_of = self._nets_of_parts()
        self._net_at = {one.id: net for net, rows in circuit.nets.items() for one in rows}
        self._whole = {net: [0] * tree.nodes for net, tree in self.trees.items()}
        self._order = self._sorted()
        self._healthy: dict[str, list[int]] | None = None
        self._active: set[str] = set()
        self._buses: dict[str, Bus] = {}
        self._calm: Outcome | None = None
        outcome = self._run({}, 1, None)
        self._healthy = {net: [_bit(outcome.planes[net][0][k]) for k in range(5)] for net in outcome.planes}
        self._buses = self._shared_nets()
        self.hertz = self._frequencies()
        self.loose = self._set_by_program()

    # ---- what is asked of it ----
    def terminal_named(self, part: CircuitPart, name: str) -> Terminal | None:
        """The first terminal of that name of a part, None when there is none; looked up once."""
        mine = self._terminals.get(part.ref)
        if mine is None:
            mine = self._terminals[part.ref] = {one.name: one for one in reversed(part.terminals)}
        return mine.get(name)

    def healthy_symbol(self, net: str) -> int:
        """The symbol of a net when nothing fails. An unknown net counts as moving."""
        assert self._healthy is not None
        return symbol_of_bits(self._healthy[net])

    def simulate(self, faults: Mapping[Key, Words], words: int) -> Outcome:
        """All places under ``64 * words`` hypotheses at once. ``faults``: cause to the plane of the hypotheses that hold it."""
        if self._calm is None:
            self._calm = self._run({}, 1, None)
        shorted = any(key[0] == "short" for key in faults)
        if not shorted:
            return self._run(faults, words, None)
        first = self._run({key: mask for key, mask in faults.items() if key[0] != "short"}, words, None)
        return self._run(faults, words, first)

    def listening(self, net: str) -> tuple[int, ...]:
        """The nodes of a net where a chip reads it or is supplied by it: what must be right there decides whether the machine works."""
        return self._nodes(net, LISTENING | {"power", "ground"})

    def watched(self, net: str) -> tuple[int, ...]:
        """The nodes that decide what a net shows: where chips listen, else where they drive, else all."""
        return self.listening(net) or self._nodes(net, DRIVING) or tuple(range(self.trees[net].nodes))

    def bipolar_inputs(self, net: str) -> list[tuple[str, bool]]:
        """The pins that read a net, and whether each is a bipolar input (``TTL_LIKE``), which pulls an open line to some 1.4 V."""
        rows = [(t.id, self.circuit.by_ref[t.part].chip) for t in self.circuit.nets[net] if t.kind in LISTENING]
        return [(pin, chip.family.name in TTL_LIKE) for pin, chip in rows if chip is not None]

    def _nodes(self, net: str, kinds: frozenset[str]) -> tuple[int, ...]:
        taps = self.trees[net].taps
        return tuple(sorted({taps[t.id] for t in self.circuit.nets[net] if t.kind in kinds and t.id in taps}))

    # ---- compiling ----
    def _compile(self) -> None:
        for part in self.circuit.parts:
            if part.chip is None:
                continue
            for one in part.terminals:
                if one.net and one.kind in DRIVING and one.net not in self._rails:
                    self._outputs.setdefault(one.net, []).append(_compile_output(part, one))
        for link in self.circuit.links:
            self._links.setdefault(link.target.net, []).append(link)
        for pull in self.circuit.pulls:
            self._pulls.setdefault(pull.terminal.net, []).append((pull.terminal, pull.up))
        for k, short in enumerate(self.shorts):
            self._short_at.setdefault(short.net_a, []).append(k)
            self._short_at.setdefault(short.net_b, []).append(k)

    def _shared_nets(self) -> dict[str, Bus]:
        """The nets that outputs take in turns, by what drives them when nothing fails."""
        rows = {
            net: [Driver(one.terminal, one.part, one.names, one.tree is not None) for one in outs]
            for net, outs in self._outputs.items()
        }
        active, vital = frozenset(self._active), vital_outputs(rows)
        found = {}
        for net, mine in rows.items():
            tree = self.trees[net]
            bus = bus_of(mine, active, vital, tree.edges, tree.taps) if net not in self.circuit.unknown_nets else None
            if bus is not None:
                found[net] = bus
        return found

    def _sorted(self) -> list[list[str]]:
        """Nets in the order of their dependence, those that depend on each other together."""
        names = [net for net in self.circuit.nets if net not in self._rails]
        index = {net: k for k, net in enumerate(names)}
        graph = rx.PyDiGraph()
        graph.add_nodes_from(names)
        for net in names:
            for source in sorted(self._sources[net]):
                if source in index:
                    graph.add_edge(index[net], index[source], None)
        parts = rx.strongly_connected_components(graph)
        self._component = {names[k]: number for number, group in enumerate(parts) for k in group}
        return [sorted(names[k] for k in group) for group in parts]

    def _sources_of(self, net: str) -> frozenset[str]:
        """The nets that what is given to a net is made from."""
        found = {link.source.net for link in self._links.get(net, ())}
        for out in self._outputs.get(net, ()):
            mine = {one.name: one.net for one in out.part.terminals}
            found |= {mine.get(name, "") for name in out.sources}
        return frozenset(found - {""})

    def _alike_outputs(self) -> tuple[dict[str, int], dict[str, tuple[str | int, ...]]]:
        """The number of each output's likes by its pin, and by net the pins of the outputs that read it and the numbers of their likes."""
        numbers: dict[tuple[object, ...], int] = {}
        same: dict[str, int] = {}
        found: dict[str, dict[str | int, None]] = {}
        for outs in self._outputs.values():
            for out in outs:
                number = same[out.terminal.id] = numbers.setdefault(out.alike(), len(numbers))
                mine = {one.name: one.net for one in out.part.terminals}
                for name in out.sources:
                    found.setdefault(mine.get(name, ""), {}).update({out.terminal.id: None, number: None})
        return same, {net: tuple(keys) for net, keys in found.items()}

    def _nets_of_parts(self) -> dict[str, frozenset[str]]:
        """The nets that a part gives something to by itself: those it drives, links to, pulls, or keeps a crystal going on."""
        found: dict[str, set[str]] = {}
        for net in self.circuit.nets:
            parts = [out.part.ref for out in self._outputs.get(net, ())]
            parts += [link.part for link in self._links.get(net, ())]
            parts += [terminal.part for terminal, _ in self._pulls.get(net, ())]
            parts += [one.part for one in self.circuit.nets[net] if one.kind == "oscillator"]
            for ref in parts:
                found.setdefault(ref, set()).add(net)
        return {ref: frozenset(nets) for ref, nets in found.items()}

    # ---- running ----
    def _run(self, faults: Mapping[Key, Words], words: int, before: Outcome | None) -> Outcome:
        run = _Run(self, faults, words, before)
        return run.go(self._order)

    def _frequencies(self) -> dict[str, float]:
        """Nets with a frequency that follows from a crystal: Hz by net."""
        found: dict[str, float] = {}
        for link in self.circuit.links:
            part = self.circuit.by_ref[link.part]
            if link.crystal and part.hz and self.healthy_symbol(link.target.net) in (RIGHT, WRONG):
                for net in (link.target.net, link.source.net):
                    found[net] = part.hz
        for part in self.circuit.parts:
            for one in part.terminals if part.chip is not None and part.hz else ():
                if one.kind in DRIVING and self.healthy_symbol(one.net) == RIGHT:
                    found[one.net] = float(part.hz or 0.0)
        for _ in range(len(self._order)):
            grew = False
            for group in self._order:
                for net in group:
                    if net not in found and self.healthy_symbol(net) == RIGHT:
                        hz = self._frequency(net, found)
                        if hz is not None:
                            found[net] = hz
                            grew = True
            if not grew:
                break
        return found

    def _frequency(self, net: str, found: Mapping[str, float]) -> float | None:
        for link in self._links.get(net, ()):
            if not link.crystal and link.source.net in found:
                return found[link.source.net]
        outs = self._outputs.get(net, ())
        if len(outs) != 1:
            return None
        out = outs[0]
        mine = {one.name: one.net for one in out.part.terminals}
        if out.tree is not None:
            moving = {mine[n] for n in out.names if mine.get(n) and self.healthy_symbol(mine[n]) in (RIGHT, WRONG)}
            return min((found[n] for n in moving), default=None) if moving and moving <= set(found) else None
        clock = next((found[mine[n]] for n in out.clocks if mine.get(n) in found), None)
        return None if clock is None else self._divided(out, mine, clock, found)

    def _divided(self, out: _Output, mine: Mapping[str, str], clock: float, found: Mapping[str, float]) -> float | None:
        for function in out.part.chip.functions if out.part.chip else ():
            outs = function.pins.get("q", ())
            if function.kind == "counter" and out.terminal.name in outs:
                stage = outs.index(out.terminal.name)
                modulus = function.modulus or 2 ** len(outs)
                return (
                    clock / 2 ** (stage + 1)
                    if modulus == 2 ** len(outs)
                    else clock / modulus
                    if stage == len(outs) - 1
                    else None
                )
            if function.kind in MEMORY and out.data:
                source = mine.get(out.data[0], "")
                if source in found:
                    return found[source]
                if self._component.get(source) == self._component.get(out.terminal.net):
                    return clock / 2.0
        return None

    def _set_by_program(self) -> frozenset[str]:
        """Nets that move or rest as the program has it: latches strobed by no free clock, a processor's status outputs, and what is made of them alone."""
        loose: set[str] = set()
        for group in self._order:
            for net in group:
                outs = self._outputs.get(net, ())
                if len(outs) == 1 and self.healthy_symbol(net) == RIGHT and self._is_loose(outs[0], loose):
                    loose.add(net)
                if any(link.source.net in loose for link in self._links.get(net, ())):
                    loose.add(net)
        return frozenset(loose)

    def _is_loose(self, out: _Output, loose: set[str]) -> bool:
        mine = {one.name: one.net for one in out.part.terminals}
        if out.tree is not None:
            moving = [mine[n] for n in out.names if mine.get(n) and self.healthy_symbol(mine[n]) == RIGHT]
            return bool(moving) and all(net in loose for net in moving)
        if out.terminal.name.strip("/") in STATUS or _is_programmed(out):
            return True
        clocks = [mine.get(n, "") for n in out.clocks]
        known = [net for net in clocks if net not in self.circuit.unknown_nets]
        return out.memory and bool(known) and all(net not in self.hertz for net in clocks)


def _is_programmed(out: _Output) -> bool:
    """Whether the program alone decides what this output does: see ``PROGRAMMED``."""
    chip = out.part.chip
    if chip is None or chip.family.name in _GATES or chip.type.startswith("74"):
        return False
    return PROGRAMMED.fullmatch(out.terminal.name) is not None


class _Run:
    """One simulation under way."""

    def __init__(self, behaviour: Behaviour, faults: Mapping[Key, Words], words: int, before: Outcome | None) -> None:
        self.b = behaviour
        self.faults = faults
        self.words = words
        self.before = before
        self.healthy = behaviour._healthy
        self.zero = np.zeros(words, np.uint64)
        self.ones = np.full(words, FULL, np.uint64)
        self.out = Outcome(words)
        self.cuts: dict[str, list[tuple[int, Words]]] = {}
        for key, mask in faults.items():
            if key[0] == "cut":
                self.cuts.setdefault(str(key[1]), []).append((int(key[2]), mask))
        self._alive: dict[str, Words] = {}
        self._pins: dict[str, Words] = {}
        if before is not None:
            self.out.walks = before.walks
        self.crystal: dict[str, Words] = {}
        self._mute: frozenset[str] = frozenset()
        self._gives: dict[str, Words] = {}
        self._cut_off: dict[str, tuple[list[Words], Words]] = {}
        self._weak: dict[str, Words] = {}
        self._kept: dict[str | int, tuple[Words, ...]] = {}
        """What outputs give by pin, and what their inputs let them do by the number of their likes, until a net changes that they read."""
        self.like = behaviour._calm if before is None else before
        """What everything does that no fault reaches: the run without faults, or the one without the shorts; None in the very first."""
        self._changed: set[str] = set()

    def go(self, order: Sequence[Sequence[str]]) -> Outcome:
        """All nets, rails first. A net that no fault touches and that is made from nothing that changed is as it was (``like``), bit for bit."""
        if self.before is None:
            for net in self.b._rails:
                self._rail(net)
        else:
            for net in self.b._rails:
                self._as_before(net)
        touched = self._touched()
        for group in order:
            if touched is not None and not any(
                net in touched or not self._changed.isdisjoint(self.b._sources[net]) for net in group
            ):
                for net in group:
                    self._as_before(net)
                continue
            if len(group) == 1 and group[0] not in self.b._sources[group[0]]:
                self._net(group[0])
            else:
                self._loop(group)
            for net in group:
                if self._differs(net):
                    self._changed.add(net)
        return self.out

    def _touched(self) -> set[str] | None:
        """The nets that a fault touches by itself, not through others; None where there is nothing to compare with."""
        if self.like is None:
            return None
        found: set[str] = set()
        for key in self.faults:
            if key[0] == "short":
                short = self.b.shorts[int(key[2])]
                found |= {short.net_a, short.net_b}
            elif self.before is not None:
                continue
            elif key[0] == "cut":
                found.add(str(key[1]))
            elif key[0] in ("stuck0", "stuck1"):
                found.add(self.b._net_at.get(str(key[1]), ""))
            elif key[0] not in ("norail", "lowrail"):
                found |= self.b._nets_of.get(str(key[1]), frozenset())
        if self.before is not None:
            return found
        self._changed |= {net for net in self.b._rails if self._differs(net)}
        weak = {net for net in self.b._rails if net in self.out.low}
        for part in self.b.circuit.parts:
            supplies = {one.net for one in part.terminals if one.net in self.b._rails}
            if supplies.isdisjoint(self._changed) and supplies.isdisjoint(weak):
                continue
            if self.weak(part).any() or not np.array_equal(self.alive(part), self.ones):
                found |= self.b._nets_of.get(part.ref, frozenset())
        return found

    def _as_before(self, net: str) -> None:
        """A net as it is in ``like``."""
        if self.before is None:
            assert self.like is not None
            self.out.groups[net] = self.b._whole[net]
            self.out.planes[net] = [np.broadcast_to(one, (5, self.words)) for one in self.like.planes[net]]
            return
        before = self.before
        self.out.groups[net] = before.groups[net]
        self.out.planes[net] = before.planes[net]
        if net in before.present:
            self.out.present[net] = before.present[net]
        if net in before.low:
            self.out.low[net] = before.low[net]
        if net in before.odd:
            self.out.odd[net] = before.odd[net]

    def _differs(self, net: str) -> bool:
        """Whether a net shows something else somewhere than in ``like``."""
        if self.like is None:
            return True
        mine, theirs = self.out.planes[net], self.like.planes[net]
        if self.before is None:
            return not all((one == theirs[0]).all() for one in mine)
        return not all(a is b or np.array_equal(a, b) for a, b in zip(mine, theirs, strict=True))

    def mask(self, *key: str | int) -> Words | None:
        """The hypotheses that hold a cause, None when none does."""
        return self.faults.get(key)

    def _any(self, *keys: Key) -> Words | None:
        """The hypotheses that hold one of these causes, None when none does."""
        found: Words | None = None
        for key in keys:
            mask = self.faults.get(key)
            if mask is not None:
                found = mask if found is None else found | mask
        return found

    def _weak_rail(self, net: str) -> Words | None:
        return self._any(("lowrail", net), *(("dried", ref) for ref in self.b._across[net]))

    # ---- nets ----
    def _walk(self, net: str) -> tuple[list[int], list[tuple[int, int, Words]]]:
        """Group of each node (joined by edges that no hypothesis cuts), and the cut edges as (parent group, child group, cut) from the root on."""
        known = self.out.walks.get(net)
        if known is not None:
            self.out.groups[net] = known[0]
            return known
        tree = self.b.trees[net]
        cut = dict(self.cuts.get(net, ()))
        if not cut:
            made: tuple[list[int], list[tuple[int, int, Words]]] = ([0] * tree.nodes, [])
        else:
            made = _contract(tree, cut)
        self.out.walks[net] = made
        self.out.groups[net] = made[0]
        return made

    def _gather(self, net: str, given: Iterable[tuple[int, Words]], planes: int) -> list[Words]:
        groups, walk = self._walk(net)
        count = max(groups) + 1
        have = np.zeros((count, planes, self.words), np.uint64)
        for node, one in given:
            have[groups[node]] |= one
        for parent, child, mask in reversed(walk):
            have[parent] |= have[child] & ~mask
        for parent, child, mask in walk:
            have[child] |= have[parent] & ~mask
        return [have[k] for k in range(count)]

    def _rail(self, net: str) -> None:
        rail = self.b._rails[net]
        tree = self.b.trees[net]
        gone = self._any(
            ("norail", net),
            *(("open", ref) for ref in self.b._feeders[net]),
            *(("shorted", ref) for ref in self.b._across[net]),
        )
        there = self.ones if gone is None else ~gone
        given = [(tree.taps.get(one.id, 0), there[None, :]) for one in rail.sources] or [(0, there[None, :])]
        weak = self._weak_rail(net)
        if weak is not None:
            self.out.low[net] = weak
        have = self._gather(net, given, 1)
        self.out.present[net] = [one[0] for one in have]
        planes = []
        for one in have:
            full = np.zeros((5, self.words), np.uint64)
            full[C0 if rail.ground else C1] = one[0]
            full[FLOATS] = ~one[0]
            planes.append(full)
        self.out.planes[net] = planes

    def _net(self, net: str) -> None:
        self.out.planes[net] = self._resolved(net)
        self._forget(net)

    def _forget(self, net: str) -> None:
        """What was read off a net before it changed."""
        for one in self.b.circuit.nets[net]:
            self._pins.pop(one.id, None)
        for key in self.b._read_by.get(net, ()):
            self._kept.pop(key, None)

    def _loop(self, group: Sequence[str]) -> None:
        crystals = [link for net in group for link in self.b._links.get(net, ()) if link.crystal]
        for _ in range(2 if crystals else 1):
            self._still(group)
            changed = False
            for link in crystals:
                back = self._node(link.source.net, link.source.id)[MOVES]
                on = self.crystal.get(link.part, self.ones) & (back | self._own_oscillator(link))
                changed |= not np.array_equal(on, self.crystal.get(link.part, self.ones))
                self.crystal[link.part] = on
            if not changed:
                break

    def _own_oscillator(self, link: Link) -> Words:
        """A chip with an oscillator inside keeps its crystal going as long as it is supplied."""
        for one in self.b.circuit.nets[link.target.net]:
            if one.kind == "oscillator":
                return self.alive(self.b.circuit.by_ref[one.part])
        return self.zero

    def _still(self, group: Sequence[str]) -> None:
        for net in group:
            groups, _ = self._walk(net)
            blank = np.zeros((5, self.words), np.uint64)
            blank[FLOATS] = self.ones
            self.out.planes[net] = [blank] * (max(groups) + 1)
            self._forget(net)
        self._mute = frozenset(group)
        self._settle(group)
        self._mute = frozenset()
        for net in group:
            self._forget(net)
        self._settle(group)

    def _settle(self, group: Sequence[str]) -> None:
        """Repeats the nets of a loop until they stand still. Muted, only levels count: what is wrong is then found from the settled levels on,
        so that nothing stays wrong merely because it was not yet driven in the first round."""
        due = set(group)
        for _ in range(_ROUNDS):
            moved = False
            for net in group:
                if net not in due:
                    continue
                due.discard(net)
                new = self._resolved(net)
                if net in self._mute:
                    for one in new:
                        one[BAD] = 0
                if not all(np.array_equal(a, b) for a, b in zip(new, self.out.planes[net], strict=True)):
                    moved = True
                    self.out.planes[net] = new
                    due |= self.b._readers.get(net, frozenset())
                    self._forget(net)
            if not moved:
                return

    def _resolved(self, net: str) -> list[Words]:
        if net in self.b.circuit.unknown_nets:
            return self._unknown(net)
        have = self._gather(net, self._given(net), 7)
        lacking = self._lacking(net)
        result = []
        for k, one in enumerate(have):
            h0, c0, c1, m, b, up, dn = one
            driven = c0 | c1 | h0
            if lacking is not None:
                b = b | lacking[k]
            full = np.empty((5, self.words), np.uint64)
            full[C0] = h0 | c0 | (~driven & dn & ~up)
            full[C1] = (c1 & ~h0) | (~driven & up & ~dn)
            full[MOVES] = m & full[C0] & full[C1]
            full[BAD] = b & driven
            full[FLOATS] = ~driven & ~(up ^ dn)
            result.append(full)
        return result

    def _lacking(self, net: str) -> list[Words] | None:
        """Where a vital share of a bus is missing: by group the hypotheses. What else is missing is noted for what a probe sees."""
        bus = self.b._buses.get(net)
        if bus is None or self.healthy is None:
            return None
        silent, odd = self.zero, self.zero
        for pin in bus.active:
            gone = ~self._gives.get(pin, self.ones)
            if pin in bus.vital:
                silent = silent | gone
            else:
                odd = odd | gone
        apart, parted = self._parted(net, bus)
        self.out.odd[net] = odd | parted
        return [silent | one for one in apart]

    def _parted(self, net: str, bus: Bus) -> tuple[list[Words], Words]:
        """By group the hypotheses under which a cut keeps a vital share from it, and those under which some share is kept from some place."""
        if net not in self._cut_off:
            groups, _ = self._walk(net)
            apart = [self.zero] * (max(groups) + 1)
            parted = self.zero
            cut = dict(self.cuts.get(net, ()))
            for edge, far, vital_far, vital_near in bus.sides:
                mask = cut.get(edge)
                if mask is None:
                    continue
                parted = parted | mask
                beyond = {groups[node] for node in far}
                for k in range(len(apart)):
                    if vital_near if k in beyond else vital_far:
                        apart[k] = apart[k] | mask
            self._cut_off[net] = (apart, parted)
        return self._cut_off[net]

    def _unknown(self, net: str) -> list[Words]:
        """A net that something outside the book drives: right wherever its copper is whole, as seen from the first node."""
        groups, _ = self._walk(net)
        full = np.zeros((5, self.words), np.uint64)
        full[C0] = full[C1] = full[MOVES] = self.ones
        return [full] * (max(groups) + 1)

    # ---- what is given to a net ----
    def _given(self, net: str) -> Iterable[tuple[int, Words]]:
        tree = self.b.trees[net]
        for terminal, up in self.b._pulls.get(net, ()):
            weak = np.zeros((7, self.words), np.uint64)
            weak[_UP if up else _DN] = self._part_ok(terminal.part)
            yield tree.taps.get(terminal.id, 0), weak
        for out in self.b._outputs.get(net, ()):
            yield tree.taps.get(out.terminal.id, 0), self._driven(out)
        for link in self.b._links.get(net, ()):
            yield tree.taps.get(link.target.id, 0), self._linked(link)
        for one in self.b.circuit.nets[net]:
            if one.kind in DRIVING or one.kind == "passive":
                continue
            low = self.mask("stuck0", one.id)
            if low is not None:
                hard = np.zeros((7, self.words), np.uint64)
                hard[_H0] = low
                hard[_KB] = low
                yield tree.taps.get(one.id, 0), hard
        yield from self._shorted(net)

    def _part_ok(self, ref: str) -> Words:
        gone = self.mask("open", ref)
        return self.ones if gone is None else ~gone

    def _linked(self, link: Link) -> Words:
        full = np.zeros((7, self.words), np.uint64)
        ok = self._part_ok(link.part)
        if link.crystal:
            on = ok & self.crystal.get(link.part, self.ones)
            full[_K0] = full[_K1] = full[_KM] = on
            wrong = self.mask("hz", link.part)
            if wrong is not None:
                full[_KB] = on & wrong
            return full
        source = self._node(link.source.net, link.source.id)
        passes = ok & ~source[FLOATS]
        if link.ac:
            passes = passes & source[MOVES]
        full[_K0], full[_K1] = source[C0] & passes, source[C1] & passes
        full[_KM], full[_KB] = source[MOVES] & passes, source[BAD] & passes
        return full

    def _shorted(self, net: str) -> Iterable[tuple[int, Words]]:
        if self.before is None:
            return
        for k in self.b._short_at.get(net, ()):
            mask = self.mask("short", "", k)
            if mask is None:
                continue
            short = self.b.shorts[k]
            mine, other = (
                (short.node_a, (short.net_b, short.node_b))
                if short.net_a == net
                else (short.node_b, (short.net_a, short.node_a))
            )
            there = self.before.at(*other) if other[0] in self.before.planes else None
            here = self.before.at(net, mine)
            if there is None:
                continue
            full = np.zeros((7, self.words), np.uint64)
            low_there = there[C0] & ~there[C1] & ~there[FLOATS]
            low_here = here[C0] & ~here[C1] & ~here[FLOATS]
            full[_H0] = mask & (low_there | low_here)
            rest = mask & ~low_there & ~low_here & ~there[FLOATS]
            full[_K0], full[_K1], full[_KM] = there[C0] & rest, there[C1] & rest, there[MOVES] & rest
            full[_KB] = mask & (rest | low_there)
            yield mine, full

    def _node(self, net: str, terminal: str) -> Words:
        node = self.b.trees[net].taps.get(terminal, 0)
        if net not in self.out.planes:
            self._walk(net)
            blank = np.zeros((5, self.words), np.uint64)
            blank[FLOATS] = self.ones
            return blank
        return self.out.at(net, node)

    # ---- chips ----
    def alive(self, part: CircuitPart) -> Words:
        """Where a chip has its supply and ground and is not dead."""
        known = self._alive.get(part.ref)
        if known is not None:
            return known
        live = self.ones.copy()
        for one in part.terminals:
            if one.kind in ("power", "ground") and one.net in self.b._rails:
                live &= self.out.supplied(one.net, self.b.trees[one.net].taps.get(one.id, 0))
        for mode in ("float", "low", "high"):
            gone = self.mask(mode, part.ref)
            if gone is not None:
                live &= ~gone
        self._alive[part.ref] = live
        return live

    def weak(self, part: CircuitPart) -> Words:
        """Where a chip works on a supply that is too low."""
        known = self._weak.get(part.ref)
        if known is not None:
            return known
        low = self.zero
        for one in part.terminals:
            if one.kind == "power" and one.net in self.b._rails:
                mask = self._weak_rail(one.net)
                if mask is not None:
                    low = low | mask
        self._weak[part.ref] = low
        return low

    def pin(self, part: CircuitPart, terminal: Terminal) -> Words:
        """What a chip reads at a pin: can be low, can be high, moves, is wrong; (4, words)."""
        known = self._pins.get(terminal.id)
        if known is not None:
            return known
        full = np.empty((4, self.words), np.uint64)
        if not terminal.net:
            full[:] = 0
            full[C1] = self.ones
            if part.chip is None or part.chip.family.name not in TTL_LIKE:
                full[C0] = self.ones
            return full
        place = self._node(terminal.net, terminal.id)
        ttl = part.chip is not None and part.chip.family.name in TTL_LIKE
        full[C0] = place[C0] if ttl else place[C0] | place[FLOATS]
        full[C1] = place[C1] | place[FLOATS]
        full[MOVES] = place[MOVES]
        full[BAD] = place[BAD]
        if self.healthy is not None:
            want = self.healthy[terminal.net]
            for k in (C0, C1, MOVES, FLOATS):
                full[BAD] |= ~place[k] if want[k] else place[k]
        self._pins[terminal.id] = full
        return full

    def _named(self, out: _Output, names: Iterable[str]) -> list[tuple[Terminal, Words]]:
        found = []
        for name in names:
            one = self.b.terminal_named(out.part, name)
            if one is not None:
                found.append((one, self.pin(out.part, one)))
        return found

    def _driven(self, out: _Output) -> Words:
        """What one output gives to its net, (7, words)."""
        known = self._kept.get(out.terminal.id)
        if known is not None:
            return known[0]
        alive = self.alive(out.part)
        c0, c1, m, b = self._logic(out) if out.tree is not None else self._clocked(out)
        enabled = alive
        if out.drive is not None:
            levels = {t.name: p for t, p in self._named(out, out.drive_names)}
            enabled = alive & _level(out.drive, levels, self.ones, self.zero)[1]
            for one in levels.values():
                b = b | one[BAD]
            still = self._expected_still(out.terminal.net, c0, c1)
            b = b & ~still
        b = b | self.weak(out.part)
        other = self.mask("hz", out.part.ref) if out.part.hz else None
        if other is not None:
            b = b | other
        full = np.zeros((7, self.words), np.uint64)
        full[_K0], full[_K1], full[_KM], full[_KB] = c0 & enabled, c1 & enabled, m & enabled, b & enabled
        self._stuck(out, full)
        self._note(out, full)
        self._kept[out.terminal.id] = (full,)
        return full

    def _note(self, out: _Output, full: Words) -> None:
        """Remembers where an output drives: on a bus its share is missing elsewhere."""
        if self.healthy is None:
            if _bit(full[_K0] | full[_K1] | full[_H0]):
                self.b._active.add(out.terminal.id)
            else:
                self.b._active.discard(out.terminal.id)
        elif out.terminal.net in self.b._buses:
            self._gives[out.terminal.id] = full[_K0] | full[_K1] | full[_H0]

    def _stuck(self, out: _Output, full: Words) -> None:
        for mode, low in (("low", True), ("high", False)):
            for key in ((mode, out.part.ref), (f"stuck{0 if low else 1}", out.terminal.id)):
                mask = self.mask(*key)
                if mask is None:
                    continue
                full[_K0] &= ~mask
                full[_K1] &= ~mask
                full[_KM] &= ~mask
                full[_KB] |= mask
                full[_H0 if low else _K1] |= mask

    def _expected_still(self, net: str, c0: Words, c1: Words) -> Words:
        if self.healthy is None:
            return self.zero
        want = self.healthy[net]
        if want[C0] == want[C1]:
            return self.zero
        return c0 & ~c1 if want[C0] else c1 & ~c0

    def _logic(self, out: _Output) -> tuple[Words, Words, Words, Words]:
        assert out.tree is not None
        levels = {t.name: p for t, p in self._named(out, out.names)}
        c0, c1 = _level(out.tree, levels, self.ones, self.zero)
        moving, bad = self.zero, self.zero
        for one in levels.values():
            moving, bad = moving | one[MOVES], bad | one[BAD]
        return c0, c1, c0 & c1 & moving, bad & ~self._expected_still(out.terminal.net, c0, c1)

    def _clocked(self, out: _Output) -> tuple[Words, ...]:
        number = self.b._same[out.terminal.id]
        known = self._kept.get(number)
        if known is None:
            known = self._kept[number] = self._ticked(out)
        return known

    def _ticked(self, out: _Output) -> tuple[Words, ...]:
        """What an output without an expression may do: low, high, moves, is wrong; the same for all its likes."""
        go = self.ones
        bad = self.zero
        drives = self.ones
        ticks = self._named(out, out.clocks)
        if ticks and self.healthy is None:
            go = np.bitwise_or.reduce([p[MOVES] for _, p in ticks])
        for t, p in ticks if self.healthy is not None else ():
            level = self._want(t.net)
            go = go & (p[MOVES] if level is None else p[C1 if level else C0])
            bad = bad | p[BAD]
        for t, p in self._named(out, out.resets):
            drives = drives & p[C1 if t.active_low else C0]
            bad = bad | p[BAD]
        for t, p in self._named(out, out.selects):
            drives = drives & p[C0 if t.active_low else C1]
            bad = bad | p[BAD]
        movers = []
        for t, p in self._named(out, out.others):
            bad = bad | p[BAD]
            level = self._want(t.net)
            if level is not None and out.clocks:
                drives = drives & p[C1 if level else C0]
            movers.append(p[MOVES])
        if not out.clocks and movers:
            go = go & np.bitwise_or.reduce(movers)
        go = go & drives
        if out.memory and out.data and not self._own_loop(out):
            return self._remembered(out, go, bad)
        shared = out.terminal.kind in SHARED
        steady = ~go & drives if shared else ~go
        return go | steady, go | steady, go, bad

    def _own_loop(self, out: _Output) -> bool:
        component = self.b._component
        return any(
            (t := out.part.named(name)) is not None and component.get(t.net) == component.get(out.terminal.net)
            for name in out.data
        )

    def _remembered(self, out: _Output, go: Words, bad: Words) -> tuple[Words, Words, Words, Words]:
        c0 = c1 = m = self.zero
        for _, p in self._named(out, out.data):
            a, b = (p[C1], p[C0]) if out.inverted else (p[C0], p[C1])
            c0, c1, m, bad = c0 | a, c1 | b, m | p[MOVES], bad | p[BAD]
        return (c0 & go) | ~go, (c1 & go) | ~go, m & go, bad

    def _want(self, net: str) -> int | None:
        if self.healthy is None or not net or net in self.b.circuit.unknown_nets:
            return None
        want = self.healthy[net]
        if want[C0] == want[C1]:
            return None
        return 1 if want[C1] else 0


def symbol_of_bits(bits: Sequence[int]) -> int:
    """The symbol of a place from its five bits (can be low, can be high, moves, is wrong, floats)."""
    c0, c1, moves, bad, floats = bits
    if floats or not (c0 or c1):
        return FLOATING
    if c0 and c1:
        return (WRONG if bad else RIGHT) if moves else STEADY
    return LOW if c0 else HIGH


def symbol_planes(place: Words) -> tuple[Words, Words, Words]:
    """The symbols of a place as three bit planes (bit 0, 1, 2 of the symbol's number)."""
    c0, c1, moves, bad, floats = place
    floats = floats | ~(c0 | c1)
    both = c0 & c1 & ~floats
    low = c0 & ~c1 & ~floats
    high = ~floats & ~low & ~both
    moving, steady = both & moves, both & ~moves
    right, wrong = moving & ~bad, moving & bad
    return high | wrong | steady, right | wrong, floats | steady


def _bit(plane: Words) -> int:
    return int(plane[0] & np.uint64(1))


def _turned(sources: Mapping[str, frozenset[str]]) -> dict[str, frozenset[str]]:
    """The nets that are made from each net, by what each is made from."""
    found: dict[str, set[str]] = {}
    for net, mine in sources.items():
        for one in mine:
            found.setdefault(one, set()).add(net)
    return {net: frozenset(nets) for net, nets in found.items()}


def _one(circuit: Circuit, net: str) -> NetTree:
    return NetTree(net, 1, (), {one.id: 0 for one in circuit.nets[net]})


def _contract(tree: NetTree, cut: Mapping[int, Words]) -> tuple[list[int], list[tuple[int, int, Words]]]:
    tied = Groups()
    find = tied.find
    for k, (a, b) in enumerate(tree.edges):
        if k not in cut:
            tied.join(a, b)
    number: dict[int, int] = {}
    groups = [number.setdefault(find(node), len(number)) for node in range(tree.nodes)]
    near: dict[int, list[tuple[int, Words]]] = {}
    for k, mask in cut.items():
        a, b = (groups[node] for node in tree.edges[k])
        near.setdefault(a, []).append((b, mask))
        near.setdefault(b, []).append((a, mask))
    walk: list[tuple[int, int, Words]] = []
    seen: set[int] = set()
    for start in range(len(number)):
        if start in seen:
            continue
        seen.add(start)
        queue = [start]
        for here in queue:
            for there, mask in near.get(here, ()):
                if there not in seen:
                    seen.add(there)
                    queue.append(there)
                    walk.append((here, there, mask))
    return groups, walk


def _level(tree: Tree | str, levels: Mapping[str, Words], ones: Words, zero: Words) -> tuple[Words, Words]:
    """(can be low, can be high) of an expression; names that are not there are open pins: either."""
    if isinstance(tree, str):
        found = levels.get(tree)
        return (ones, ones) if found is None else (found[C0], found[C1])
    sign, left, right = tree
    a0, a1 = _level(left, levels, ones, zero)
    if sign == "!":
        return a1, a0
    b0, b1 = _level(right, levels, ones, zero)
    if sign == "&":
        return a0 | b0, a1 & b1
    if sign == "|":
        return a0 & b0, a1 | b1
    return (a0 & b0) | (a1 & b1), (a0 & b1) | (a1 & b0)


def _compile_output(part: CircuitPart, one: Terminal) -> _Output:
    assert part.chip is not None
    chip = part.chip
    kinds = {t.name: t.kind for t in part.terminals}
    text = chip.logic.get(one.name)
    drive = chip.drive.get(one.name)
    needs = [n for n in chip.needs.get(one.name, ()) if n in kinds and n != one.name]
    drive_names = names_in(drive) if drive else ()
    function = next((f for f in chip.functions if one.name in (*f.pins.get("q", ()), *f.pins.get("nq", ()))), None)
    data: tuple[str, ...] = ()
    idle: set[str] = set()
    memory = function is not None and function.kind in MEMORY
    if function is not None and memory:
        outs = function.pins.get("q", ()) if one.name in function.pins.get("q", ()) else function.pins.get("nq", ())
        ins = function.pins.get("d", ())
        data = (ins[outs.index(one.name)],) if len(ins) == len(outs) else tuple(ins)
    elif function is not None:
        idle = set(function.pins.get("d", ()))
    left = [n for n in needs if n not in drive_names and n not in data and n not in idle]
    return _Output(
        one,
        part,
        tree_of(text) if text is not None else None,
        names_in(text) if text is not None else (),
        tree_of(drive) if drive else None,
        tuple(drive_names),
        tuple(n for n in left if kinds[n] in ("clock", "oscillator")),
        tuple(n for n in left if kinds[n] == "reset"),
        tuple(n for n in left if kinds[n] == "select"),
        tuple(n for n in left if kinds[n] not in ("clock", "oscillator", "reset", "select", "power", "ground")),
        data,
        memory,
        function is not None and one.name in function.pins.get("nq", ()),
    )
