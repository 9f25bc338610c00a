"""Every single fault that the belief holds: what it is, which unit of repair it belongs to, how likely it is."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import shapely

from coppermend.core.belief.model import WorkArea
from coppermend.core.belief.suspects.copper import CopperTree
from coppermend.core.belief.suspects.table import FaultTable
from coppermend.core.circuit.model import DRIVING, LISTENING, Circuit, CircuitPart
from coppermend.core.circuit.passives import PRIORS, across_rail, feeders_of, kind_of
from coppermend.core.circuit.planes import Key, ShortSpec
from coppermend.core.copper.model import ProbePoint

MOST_LEARNED = 0.3
"""No single fault is taken as likelier than this by past cases alone."""


@dataclass(frozen=True, slots=True)
class Cause:
    """One fault. ``unit`` the thing that is repaired ("part U9", "span CPUCLK 4", "short 17", "rail VCC"); ``kind`` part, span, short, rail."""

    key: Key
    unit: str
    kind: str
    prior: float
    words: str
    part: str = ""
    net: str = ""
    sites: tuple[str, ...] = ()


def list_causes(
    circuit: Circuit,
    trees: Mapping[str, CopperTree],
    shorts: Sequence[ShortSpec],
    table: FaultTable,
    areas: Sequence[WorkArea],
) -> tuple[Cause, ...]:
    """All single faults of a board: chips, pins, passive parts, spans of copper, bridges between neighbours, rails."""
    found: list[Cause] = []
    for part in circuit.parts:
        found += _part_causes(circuit, part, table)
    for net, copper in sorted(trees.items()):
        if net in circuit.nets and net not in circuit.unknown_nets and len(circuit.nets[net]) > 1:
            found += [
                Cause(
                    ("cut", net, k),
                    f"span {net} {k}",
                    "span",
                    span.prior,
                    f"open: {span.words}",
                    net=net,
                    sites=span.sites,
                )
                for k, span in enumerate(copper.spans)
            ]
    inside = _Inside(areas)
    for k, short in enumerate(shorts):
        chance = table.short_in if inside.any_of(trees, short) else table.short_out
        words = f"bridge between nets {short.net_a} and {short.net_b} at {_place(trees, short)}"
        found.append(Cause(("short", "", k), f"short {k}", "short", chance, words, net=short.net_a))
    for net, rail in circuit.rails.items():
        if not rail.ground:
            found.append(
                Cause(
                    ("norail", net),
                    f"rail {net}",
                    "rail",
                    table.rail_missing,
                    f"the rail {net} is missing at its source",
                    net=net,
                )
            )
            found.append(
                Cause(("lowrail", net), f"rail {net}", "rail", table.rail_low, f"the rail {net} is too low", net=net)
            )
    found += _supply_causes(circuit, {one.key for one in found})
    return tuple(found)


def kind_of_part(part: CircuitPart) -> str:
    """What past cases count a part as: a known chip by its type, others by what they are."""
    if part.chip is not None:
        return part.chip.type.lower()
    return kind_of(part) or part.role


def with_factors(causes: Sequence[Cause], circuit: Circuit, factors: Mapping[str, float]) -> tuple[Cause, ...]:
    """The causes with what past cases make of the priors of their parts, by kind of part; a prior stays below ``MOST_LEARNED``."""

    def learned(one: Cause) -> Cause:
        factor = factors.get(kind_of_part(circuit.by_ref[one.part]), 1.0) if one.part else 1.0
        return one if factor == 1.0 else replace(one, prior=min(one.prior * factor, max(one.prior, MOST_LEARNED)))

    return tuple(learned(one) for one in causes) if factors else tuple(causes)


def _supply_causes(circuit: Circuit, known: Collection[Key]) -> list[Cause]:
    """Faults of small parts that a rail hangs on: fuses, coils and regulators that feed it, electrolytics and tantalums across it."""
    rows: dict[Key, Cause] = {}

    def add(mode: str, ref: str, words: str) -> None:
        prior = PRIORS.get((kind_of(circuit.by_ref[ref]), mode), 0.0)
        if prior > 0 and (mode, ref) not in known:
            rows.setdefault((mode, ref), Cause((mode, ref), f"part {ref}", "part", prior, words, part=ref))

    for net, rail in circuit.rails.items():
        if rail.ground:
            continue
        for ref in feeders_of(circuit, net):
            gives = "gives nothing" if kind_of(circuit.by_ref[ref]) == "regulator" else "is open"
            add("open", ref, f"{ref} {gives}: the rail {net} is missing")
        for ref in across_rail(circuit, net):
            add("shorted", ref, f"{ref} is shorted: it pulls the rail {net} down")
            add("dried", ref, f"{ref} has dried out: the rail {net} sags")
    return list(rows.values())


def _part_causes(circuit: Circuit, part: CircuitPart, table: FaultTable) -> list[Cause]:
    unit = f"part {part.ref}"

    def cause(key: Key, prior: float, words: str) -> Cause:
        return Cause(key, unit, "part", prior, words, part=part.ref)

    if part.role == "crystal" and any(link.part == part.ref for link in circuit.links):
        return [
            cause(("open", part.ref), table.crystal_dead, f"{part.ref} does not start"),
            cause(("hz", part.ref), table.crystal_wrong, f"{part.ref} runs at a wrong frequency"),
        ]
    if part.ref in timing_parts(circuit):
        return [cause(("open", part.ref), table.timing_open, f"{part.ref} has lost its capacity")]
    if part.chip is None:
        used = any(link.part == part.ref for link in circuit.links) or any(
            p.terminal.part == part.ref for p in circuit.pulls
        )
        return [cause(("open", part.ref), table.passive_open, f"{part.ref} is open")] if used else []
    drives = [t for t in part.terminals if t.kind in DRIVING and t.net and t.net not in circuit.rails]
    found = []
    if part.hz and drives:
        found.append(cause(("hz", part.ref), table.crystal_wrong, f"{part.ref} runs at a wrong frequency"))
    if drives:
        modes = {"float": "its outputs do not drive", "low": "its outputs stay low", "high": "its outputs stay high"}
        found += [
            cause((mode, part.ref), table.chip_dead * share, f"{part.ref} is dead, {modes[mode]}")
            for mode, share in table.dead_modes.items()
        ]
    for t in part.terminals:
        if not t.net or t.net in circuit.rails or t.net in circuit.unknown_nets or len(circuit.nets[t.net]) < 2:
            continue
        if t in drives:
            found.append(cause(("stuck0", t.id), table.output_stuck, f"{t.id} {t.name} is held low inside {part.ref}"))
            found.append(cause(("stuck1", t.id), table.output_stuck, f"{t.id} {t.name} is held high inside {part.ref}"))
        elif t.kind in LISTENING:
            found.append(
                cause(("stuck0", t.id), table.input_low, f"{t.id} {t.name} pulls its net low inside {part.ref}")
            )
    return found


def timing_parts(circuit: Circuit) -> frozenset[str]:
    """Capacitors that set a time: from a rail to a net that a resistor pulls, no chip drives and a chip reads, such as the one that holds a reset."""
    pulled = {one.terminal.net for one in circuit.pulls}
    found = set()
    for part in circuit.parts:
        if part.role != "capacitor" or len(part.terminals) != 2:
            continue
        loose = [t.net for t in part.terminals if t.net and t.net not in circuit.rails]
        if len(loose) == 1 and loose[0] in pulled and circuit.listeners(loose[0]) and not circuit.drivers(loose[0]):
            found.add(part.ref)
    return frozenset(found)


def neighbour_shorts(circuit: Circuit, trees: Mapping[str, CopperTree], pitch_mm: float = 2.8) -> tuple[ShortSpec, ...]:
    """Bridges to reckon with: neighbouring pins of one part (at most ``pitch_mm`` apart) on two different nets, of which at most one is a rail's ground."""
    spots: dict[str, list[tuple[ProbePoint, str, int]]] = {}
    for net, copper in trees.items():
        if (
            net not in circuit.nets
            or net in circuit.unknown_nets
            or (net in circuit.rails and not circuit.rails[net].ground)
        ):
            continue
        for node, points in copper.points.items():
            for p in points:
                part = circuit.by_ref.get(p.part)
                if part is not None and part.role == "chip" and p.kind != "leg" and p.kind != "contact":
                    spots.setdefault(p.part, []).append((p, net, node))
    found: dict[tuple[str, str], ShortSpec] = {}
    for _, rows in sorted(spots.items()):
        rows.sort(key=lambda row: row[0].id)
        for i, (p, net_a, node_a) in enumerate(rows):
            for q, net_b, node_b in rows[i + 1 :]:
                close = (p.x_mm - q.x_mm) ** 2 + (p.y_mm - q.y_mm) ** 2 <= pitch_mm**2
                if net_a != net_b and close and not (net_a in circuit.rails and net_b in circuit.rails):
                    key = (min(net_a, net_b), max(net_a, net_b))
                    found.setdefault(key, ShortSpec(net_a, node_a, net_b, node_b))
    return tuple(found.values())


def _place(trees: Mapping[str, CopperTree], short: ShortSpec) -> str:
    a = trees[short.net_a].points.get(short.node_a, ())
    b = trees[short.net_b].points.get(short.node_b, ())
    names = sorted({f"{p.part}.{p.pin}" for p in (*a, *b)})
    return " and ".join(names[:2])


class _Inside:
    def __init__(self, areas: Sequence[WorkArea]) -> None:
        self._shapes = [shapely.Polygon(a.polygon) for a in areas if len(a.polygon) >= 3]

    def any_of(self, trees: Mapping[str, CopperTree], short: ShortSpec) -> bool:
        points = trees[short.net_a].points.get(short.node_a, ())
        return any(shape.covers(shapely.Point(p.x_mm, p.y_mm)) for p in points for shape in self._shapes)
