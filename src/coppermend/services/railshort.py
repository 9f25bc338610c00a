"""A rail that is shorted to ground by a part: which one, by the milliohms read round it and by how often such parts short.

The parts that stand between the two nets are the candidates; the copper from the tips to each is the resistance model of ``short locate``. The nearer a
pair of tips is to the shorted part, the less it reads.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from typing import Any

from coppermend.core.belief.ohmic import FOUR_WIRE, Instrument, OhmsReading
from coppermend.core.belief.shorts import MISFIT, ShortBelief, ShortModel, locate, short_model
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.circuit.model import Circuit, CircuitPart
from coppermend.core.copper.bridges import BridgePlace, Spot
from coppermend.core.copper.model import CopperGraph, PinPlace
from coppermend.core.copper.neighbours import RANKS
from coppermend.core.findings import Place, refuse
from coppermend.core.log.gate import RAIL_SHORT_OHM
from coppermend.core.log.state import plain
from coppermend.core.log.values import ohm_words
from coppermend.devices.book import DeviceBook, shipped
from coppermend.services.bind import Binding, bind
from coppermend.services.chips import circuit_for
from coppermend.services.shorts import ShortStep, readings_of_short, step_of_short
from coppermend.services.workshop import Workshop

SHORTS_OFTEN = {"tantalum": 20.0, "electrolytic": 3.0, "capacitor": 1.0, "diode": 2.0, "chip": 1.0}
"""How often such a part shorts a rail, against a ceramic capacitor. Old tantalums do most of all (common practice, no source; the figures are assumptions)."""
NEAR_MM = 8.0
"""A reading with both tips this near to a part was taken at it."""
NAMED = 0.9
"""From this chance on a part is named."""
MOST_NAMED = 8
CAUTION = (
    "Board unpowered, supply unplugged, capacitors discharged. Four wires, or a supply limited to 1 A and 0.3 V with a millivolt meter: no chip conducts then. "
    "A tantalum that is powered into its short can burn and spit: eyes away, goggles on. Never power up to see which part smokes."
)


@dataclass(frozen=True, slots=True)
class ShortedPart:
    """A candidate: its kind, chance, the least reading taken at it (None: none), and its pins on rail and ground."""

    part: str
    value: str
    kind: str
    p: float
    near_ohm: float | None
    pin_rail: str
    pin_ground: str


@dataclass(frozen=True, slots=True)
class RailShort:
    """Which part shorts a rail. ``state``: named, narrowing, no fit (the readings fit no single part: look at the copper, ``short locate``), no reading."""

    rail: str
    ground: str
    state: str
    words: str
    parts: tuple[ShortedPart, ...]
    readings: int
    part_ohm: float
    next: ShortStep | None
    caution: str = CAUTION
    every: tuple[ShortedPart, ...] = ()
    """All candidates, of which ``parts`` are the likeliest."""

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values, the likeliest parts alone."""
        return {name: value for name, value in plain(self).items() if name != "every"}


def shorted_part(
    workshop: Workshop, case: str, rail: str = "", meter: Instrument | None = None, book: DeviceBook | None = None
) -> RailShort:
    """Which part shorts a rail to ground, from the case's ohms readings across them; ``rail`` "" the one that reads lowest.

    Refusals SUP-001 (no such rail), SUP-005 (no part stands between it and ground), SUP-006 (no rail reads low), SHO-003 (copper not known).
    """
    return shorted_part_of(bind(workshop, case), rail, meter, book)


def shorted_part_of(
    binding: Binding, rail: str = "", meter: Instrument | None = None, book: DeviceBook | None = None
) -> RailShort:
    """``shorted_part`` of a bound case, with its refusals."""
    if not copper_is_known(binding.board):
        raise refuse(
            "SHO-003",
            "This board comes from a pin list: its copper is not known, so ohms say nothing of a place.",
            "Lift one leg of each capacitor on the rail in turn, tantalums first.",
        )
    circuit = circuit_for(binding, book or shipped())
    net, ground = _nets(binding, circuit, rail)
    model, rows = _model(binding, circuit, net, ground)
    readings = readings_of_short(binding, model)
    belief = locate(model, readings)
    return _answer(binding, model, rows, belief, readings, (net, ground), meter)


def _nets(binding: Binding, circuit: Circuit, rail: str) -> tuple[str, str]:
    grounds = [one.net for one in circuit.rails.values() if one.ground]
    rails = [one.net for one in circuit.rails.values() if not one.ground]
    if not grounds:
        raise refuse("SUP-001", "The board has no ground that is known.", "Name it in the netlist: GND, VSS or 0V.")
    ground = max(grounds, key=lambda net: len(circuit.nets.get(net, ())))
    if rail:
        found = next((one for one in rails if one.upper() == rail.strip().upper()), None)
        if found is None:
            raise refuse(
                "SUP-001",
                f"The board has no rail {rail!r}.",
                f"Its rails: {', '.join(rails) or 'none are known'}.",
                Place(thing=rail),
            )
        return found, ground
    low: dict[str, float] = {}
    for one in binding.state.readings:
        nets = {p.net for p in one.points}
        if one.kind == "ohms" and one.value is not None and ground in nets and len(nets) == 2:
            other = next(iter(nets - {ground}))
            if other in rails and one.value < RAIL_SHORT_OHM:
                low[other] = min(one.value, low.get(other, one.value))
    if not low:
        raise refuse(
            "SUP-006",
            f"No rail of this case reads below {RAIL_SHORT_OHM:g} ohm to ground.",
            "Measure each rail to ground first (coppermend supply show CASE lists them), or name one with --rail.",
        )
    return min(low, key=lambda net: low[net]), ground


@dataclass(frozen=True, slots=True)
class _Row:
    part: CircuitPart
    kind: str
    rail: PinPlace
    ground: PinPlace


def _model(binding: Binding, circuit: Circuit, net: str, ground: str) -> tuple[ShortModel, tuple[_Row, ...]]:
    """The two nets prepared with the parts between them as places; kept as long as the copper stays."""
    graph = binding.graph
    key = ("rail short", id(graph), net, ground)
    if key not in binding.kept:
        rows = _rows(graph, circuit, net, ground)
        if not rows:
            raise refuse(
                "SUP-005",
                f"No part stands between {net} and {ground} that could short them.",
                f"Look for a bridge of solder: coppermend short locate CASE --between {net} {ground}.",
            )
        places = [_place(graph, one) for one in rows]
        nodes = [p.node for p in graph.points if p.reachable]
        weights = [SHORTS_OFTEN[one.kind] for one in rows]
        made = short_model(graph, graph.net_index(net), graph.net_index(ground), places, nodes, weights)
        at = {(one.a.node, one.b.node): row for one, row in zip(places, rows, strict=True)}
        kept = tuple(at[(one.a.node, one.b.node)] for one in made.places)
        binding.kept[key] = (graph, made, kept)
    _, model, rows = binding.kept[key]
    return model, rows


def _rows(graph: CopperGraph, circuit: Circuit, net: str, ground: str) -> list[_Row]:
    """The parts that stand between the two nets, each once; chips by their first supply pins. Two parts at one place of copper are one place."""
    places = {(one.part, one.number): one for one in graph.pins if one.lands}
    taken: set[tuple[int, int]] = set()
    found = []
    for part in circuit.parts:
        kind = kind_of(part)
        a = next(
            (places[(t.part, t.number)] for t in part.terminals if t.net == net and (t.part, t.number) in places), None
        )
        b = next(
            (places[(t.part, t.number)] for t in part.terminals if t.net == ground and (t.part, t.number) in places),
            None,
        )
        if kind == "" or a is None or b is None:
            continue
        nodes = (a.lands[0][1], b.lands[0][1])
        if nodes not in taken:
            taken.add(nodes)
            found.append(_Row(part, kind, a, b))
    return found


def kind_of(part: CircuitPart) -> str:
    """What a part is as a thing that shorts a rail; "" for one that does not.

    Tantalum where the value says so; else a capacitor of 1 uF and more is taken for an electrolytic.
    """
    if part.role == "capacitor":
        text = part.value.lower()
        if "tant" in text or re.search(r"\btan?\b", text):
            return "tantalum"
        found = re.match(r"\s*(\d+(?:[.,]\d+)?)\s*(u|\u00b5|\u03bc|m)", text)
        return (
            "electrolytic" if found and (found[2] == "m" or float(found[1].replace(",", ".")) >= 1.0) else "capacitor"
        )
    return part.role if part.role in ("diode", "chip") else ""


def _place(graph: CopperGraph, row: _Row) -> BridgePlace:
    a, b = row.rail, row.ground
    return BridgePlace(
        Spot(a.lands[0][1]), Spot(b.lands[0][1]), (a.x_mm + b.x_mm) / 2, (a.y_mm + b.y_mm) / 2, 0.0, "c", RANKS[0], a.name, b.name,
    )  # fmt: skip


def _answer(
    binding: Binding, model: ShortModel, rows: Sequence[_Row], belief: ShortBelief, readings: Sequence[OhmsReading],
    nets: tuple[str, str], meter: Instrument | None,
) -> RailShort:  # fmt: skip
    listed = sorted(range(len(rows)), key=lambda k: (-float(belief.p[k]), rows[k].part.ref))
    every = tuple(_shorted(binding, rows[k], float(belief.p[k]), readings) for k in listed)
    parts = every[:MOST_NAMED]
    top = parts[0]
    fits = not readings or belief.misfit >= MISFIT
    state = "no reading" if not readings else "no fit" if not fits else "named" if top.p >= NAMED else "narrowing"
    words = {
        "no reading": f"No ohms reading from {nets[0]} to {nets[1]} yet. By how often such parts short: {_names(parts)}.",
        "no fit": f"These readings fit no single part between {nets[0]} and {nets[1]}: two parts, a bridge of solder (coppermend short locate), or a tip on the wrong pin.",
        "named": f"{top.part} ({top.value}, {top.kind}) shorts {nets[0]}: {100 * top.p:.0f} % of what the readings leave. Lift one of its legs and measure the rail again.",
        "narrowing": f"So far {_names(parts)}.",
    }[state]
    instrument = meter or (readings[-1].instrument if readings else FOUR_WIRE)
    step = None if state in ("named", "no fit") else step_of_short(binding, model, belief, readings, instrument)
    return RailShort(*nets, state, words, parts, len(readings), round(belief.bridge_ohm[0], 5), step, every=every)


def _names(parts: Sequence[ShortedPart]) -> str:
    return ", ".join(
        f"{one.part} {100 * one.p:.0f} %" + (f" (reads {ohm_words(one.near_ohm)})" if one.near_ohm is not None else "")
        for one in parts[:4]
    )


def _shorted(binding: Binding, row: _Row, p: float, readings: Sequence[OhmsReading]) -> ShortedPart:
    """The candidate with the least reading whose tips both stood near it."""
    at = {point.node: (point.x_mm, point.y_mm) for point in binding.graph.points}
    middle = ((row.rail.x_mm + row.ground.x_mm) / 2, (row.rail.y_mm + row.ground.y_mm) / 2)
    near = [
        one.ohm
        for one in readings
        if all(n in at and hypot(at[n][0] - middle[0], at[n][1] - middle[1]) <= NEAR_MM for n in one.force)
    ]
    return ShortedPart(
        row.part.ref, row.part.value, row.kind, round(p, 5), min(near, default=None), row.rail.name, row.ground.name
    )
