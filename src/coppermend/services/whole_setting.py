"""What patients of the whole kind are drawn from on a board, and a patient of a seed: for practice alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coppermend.core.belief.engine import prior_of
from coppermend.core.belief.model import WorkArea
from coppermend.core.board.model import Board
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.findings import refuse
from coppermend.core.memory.derive import is_rom, memory_map
from coppermend.practice.drawing import STANDARD_BASIS, draw_noise
from coppermend.practice.powered import Lies, PoweredPatient, draw_lies
from coppermend.practice.whole import Cause, Stock, WholeBoard, WholeFault, WholePatient, draw_whole
from coppermend.services.powered import PoweredBoard

KINDS_OF_SITES = (SiteKind.RUN, SiteKind.BARREL, SiteKind.SPOKE, SiteKind.JOINT, SiteKind.CONTACT, SiteKind.LEG)
CONSENT_SHARE = 0.75
"""Of owners so many have agreed to unsoldering when the machine comes in; the others are asked when it is needed (an assumption)."""
TRIES = 200


@dataclass(frozen=True, slots=True)
class WholeSetting:
    """A board to repair in practice: package, copper, areas, the board under power, and what faults are drawn from."""

    package: str
    board: Board
    graph: CopperGraph
    areas: tuple[WorkArea, ...]
    made: PoweredBoard
    stock: Stock
    answers: WholeBoard


def whole_setting(
    package: str, board: Board, graph: CopperGraph, areas: Sequence[WorkArea], made: PoweredBoard
) -> WholeSetting:
    """The setting of a board: the causes of its field sorted by what a person would call them."""
    return WholeSetting(package, board, graph, tuple(areas), made, _stock(graph, areas, made), _answers(graph, made))


def whole_patient(setting: WholeSetting, seed: int, faults: int, noise_off: bool = False) -> WholePatient:
    """The patient of a seed: drawn until every fault of it shows (in a start, a memory test, a ROM's read-out or before power). Refusal PRA-032."""
    noise, lies = draw_noise(setting.graph, seed, off=noise_off), draw_lies(seed, noise_off)
    for turn in range(TRIES):
        found = draw_whole(setting.stock, seed, faults, turn)
        if len(found) == faults and all(_shows(setting, one) for one in found):
            agreed = bool(np.random.default_rng([seed, 23]).random() < CONSENT_SHARE)
            return WholePatient(setting.answers, found, seed, noise, lies, agreed)
    raise refuse("PRA-032", f"No {faults} faults of the whole kind show on this board.", "Ask for fewer faults.")


def _shows(setting: WholeSetting, fault: WholeFault) -> bool:
    if fault.content or fault.rail:
        return True
    alone = PoweredPatient(setting.answers.behaviour, [fault.key] if fault.key else [], 1, Lies())
    return not alone.all_right()


def _stock(graph: CopperGraph, areas: Sequence[WorkArea], made: PoweredBoard) -> Stock:
    field, circuit = made.field, made.circuit
    prior = prior_of(graph, areas, STANDARD_BASIS)
    odds = {site.id: (float(prior[k]), site.kind) for k, site in enumerate(graph.sites)}
    causes, sites, rails, bridges, supplies = [], [], [], [], []
    joints = {p.id.partition("/")[0]: p.id for p in graph.points if p.kind == "joint"}
    fed = {
        net
        for net, rail in circuit.rails.items()
        if not rail.ground and any(s.id.startswith("J") for s in rail.sources)
    }
    grounds = {net for net, rail in circuit.rails.items() if rail.ground}
    for k, one in enumerate(field.causes):
        row = circuit.by_ref.get(one.part)
        role = "" if row is None else row.role
        causes.append(Cause(one.key, one.kind, one.part, role, one.prior, one.words, one.sites))
        if one.kind == "span" and one.net not in circuit.rails:
            sites += [
                (s, str(odds[s][1]), odds[s][0], k) for s in one.sites if s in odds and odds[s][1] in KINDS_OF_SITES
            ]
        elif one.kind == "rail" and one.net in fed:
            supplies.append(k)
        elif one.key[0] == "shorted" and row is not None:
            on = {t.net: joints.get(t.id, "") for t in row.terminals}
            rail = next((net for net in on if net in fed), "")
            ground = next((net for net in on if net in grounds), "")
            if rail and ground and on[rail] and on[ground]:
                rails.append((k, rail, (on[rail], on[ground])))
        elif one.key[0] == "short":
            short = made.behaviour.shorts[int(one.key[2])]
            ends = [
                made.trees[n].points.get(node, ())
                for n, node in ((short.net_a, short.node_a), (short.net_b, short.node_b))
            ]
            inside = one.prior > field.table.short_out
            if all(ends) and inside and not {short.net_a, short.net_b} & set(circuit.rails):
                bridges.append((k, (ends[0][0].id, ends[1][0].id)))
    roms = tuple(p.ref for p in circuit.parts if is_rom(p) and p.socketed)
    return Stock(tuple(causes), tuple(sites), _memories(made), roms, tuple(rails), tuple(bridges), tuple(supplies))


def _memories(made: PoweredBoard) -> tuple[str, ...]:
    return tuple(_bits(made))


def _bits(made: PoweredBoard) -> dict[str, int]:
    """The data bit of each chip of the main memory, by the memory's map."""
    found: dict[str, int] = {}
    for one in memory_map(made.circuit).chips:
        if not one.rom and len(one.bits) == 1:
            found[one.ref] = one.bits[0][0]
    return found


def _answers(graph: CopperGraph, made: PoweredBoard) -> WholeBoard:
    nodes = {
        p.id: (net, node) for net, tree in made.trees.items() for node, points in tree.points.items() for p in points
    }
    at = {p.node: nodes[p.id] for p in graph.points if p.id in nodes}
    nodes |= {p.id: at[p.node] for p in graph.points if p.id not in nodes and p.node in at}
    screens = made.field.screens
    names = [one.name for one in screens]
    fails = len(names) - 1
    return WholeBoard(
        graph,
        made.behaviour,
        nodes,
        tuple((s.still, s.moving, s.right, s.not_right) for s in screens),
        names.index("works"),
        names.index("garbage") if "garbage" in names else fails,
        fails,
        frozenset(p.ref for p in made.circuit.parts if is_rom(p) and p.socketed and p.ref in _program(made)),
        _bits(made),
    )  # fmt: skip


def _program(made: PoweredBoard) -> frozenset[str]:
    """ROMs on the processor's data lines: what is wrong in them runs away; in others (a character ROM) it only shows."""
    return frozenset(one.ref for one in memory_map(made.circuit).chips if one.rom)
