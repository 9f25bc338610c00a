"""A board made ready for work under power: circuit from netlist and device book, copper as trees of spans, causes, and the field of fault sets."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from coppermend.core.belief.model import WorkArea
from coppermend.core.belief.suspects.afloat import pull_at
from coppermend.core.belief.suspects.causes import list_causes, neighbour_shorts, with_factors
from coppermend.core.belief.suspects.copper import CopperTree, copper_trees
from coppermend.core.belief.suspects.field import MOST_SETS, Field, Spot, build_field
from coppermend.core.belief.suspects.table import FaultTable
from coppermend.core.board.model import Board, PartState
from coppermend.core.circuit.build import PartInput, build_circuit
from coppermend.core.circuit.expect import Expectations, expectations
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.circuit.model import DRIVING, Circuit
from coppermend.core.circuit.planes import Behaviour, whole_trees
from coppermend.core.copper.model import CopperGraph
from coppermend.core.findings import refuse
from coppermend.core.thermal.expect import LEAST_OWN_K, case_rise_k
from coppermend.devices.book import DeviceBook
from coppermend.services.field_pack import KIND, FieldKeep, field_key, pack_field, unpack_sets

WITHOUT = (PartState.OUT, PartState.NOT_FITTED)


@dataclass(frozen=True, slots=True)
class PoweredBoard:
    """A board under power: its circuit, the machine's own file, the copper trees and the field that beliefs are made from."""

    circuit: Circuit
    machine: MachineModel
    trees: dict[str, CopperTree]
    field: Field

    @property
    def behaviour(self) -> Behaviour:
        """The simulation of the circuit on its copper."""
        return self.field.behaviour

    def node_at(self, point: str) -> tuple[str, int] | None:
        """The (net, node) of a probe point; None for one that the trees do not hold."""
        known: dict[str, tuple[str, int]] | None = self.field.memo.get("nodes of points")
        if known is None:
            rows = ((p.id, (net, k)) for net, tree in self.trees.items() for k, ps in tree.points.items() for p in ps)
            known = self.field.memo["nodes of points"] = dict(rows)
        return known.get(point)

    def node_of_pin(self, pin: str) -> tuple[str, int] | None:
        """The (net, node) where a part's pin sits; None when it is on no net."""
        part = self.circuit.by_ref.get(pin.split(".")[0])
        for t in part.terminals if part is not None else ():
            if t.id == pin and t.net in self.behaviour.trees:
                node = self.behaviour.trees[t.net].taps.get(pin)
                return None if node is None else (t.net, node)
        return None


def circuit_of(board: Board, book: DeviceBook, states: dict[str, PartState] | None = None) -> Circuit:
    """The circuit of a board: parts with values, nets by name, chips from the book. Parts that are out or not fitted are left out."""
    now = states or {}
    rows = (one for one in _inputs(board, now) if now.get(one.ref) not in WITHOUT)
    return build_circuit(rows, book.find)


def board_expectations(board: Board, book: DeviceBook, machine: MachineModel | None = None) -> Expectations:
    """What every pin of a board should do."""
    circuit = circuit_of(board, book)
    return expectations(circuit, Behaviour(circuit, whole_trees(circuit)), machine)


def powered_board(
    board: Board,
    graph: CopperGraph,
    areas: Sequence[WorkArea],
    book: DeviceBook,
    machine: MachineModel | None = None,
    table: FaultTable | None = None,
    most: int = MOST_SETS,
    states: dict[str, PartState] | None = None,
    keep: FieldKeep | None = None,
    factors: Mapping[str, float] | None = None,
) -> PoweredBoard:
    """The board under power, ready for beliefs. ``most`` fault sets are held. About 3 s of CPU and 150 MB for the demonstration machine at the default;
    with ``keep`` the fault sets are taken from there where they were reckoned before, and kept there else. ``factors``: what past cases make of the priors
    of parts, by their kind.

    Refusal EXP-011 when nothing of it can be judged: no chip of the device book on a known net.
    """
    numbers = table or FaultTable()
    model = machine or MachineModel()
    circuit = circuit_of(board, book, states)
    chips = {part.ref for part in circuit.parts if part.role == "chip"}
    only = {net: frozenset(chips | {t.part for t in rail.sources}) for net, rail in circuit.rails.items()}
    trees = {net: tree for net, tree in copper_trees(graph, areas, numbers.copper, only).items() if net in circuit.nets}
    shorts = neighbour_shorts(circuit, trees)
    behaviour = Behaviour(circuit, {net: one.tree for net, one in trees.items()}, shorts)
    causes = with_factors(list_causes(circuit, trees, shorts, numbers, areas), circuit, factors or {})
    spots = tuple(_spots(circuit, trees, behaviour, model))
    if not spots or not causes:
        raise refuse(
            "EXP-011",
            "Nothing on this board can be judged under power: none of its parts is a chip of the device book on a known net.",
            "See whether the parts list gives the chips' types ('coppermend expect PACKAGE'); add own ones (docs/reference/devices.md).",
        )
    warm = judged_by_warmth(board, book)
    key = field_key(behaviour, causes, numbers, spots, model.screens, most, book.digest) if keep is not None else ""
    found = keep.load_blob(key, KIND) if keep is not None else None
    kept = None if found is None else unpack_sets(*found, causes=len(causes), spots=len(spots))
    made = build_field(behaviour, causes, numbers, spots, model.screens, most, warm, kept)
    if keep is not None and kept is None:
        keep.save_blob(key, KIND, *pack_field(made))
    return PoweredBoard(circuit, model, trees, made)


def judged_by_warmth(board: Board, book: DeviceBook) -> tuple[str, ...]:
    """The parts that a thermal picture of the component side can judge: by their own power they rise by ``LEAST_OWN_K`` or more."""
    found = []
    for part in board.parts:
        chip = book.find(part.value) if part.value and part.side == "c" else None
        if chip is None or chip.typical_w is None or chip.theta_k_per_w is None:
            continue
        if case_rise_k(chip.typical_w, chip.theta_k_per_w) >= LEAST_OWN_K:
            found.append(part.ref)
    return tuple(found)


def _inputs(board: Board, states: dict[str, PartState]) -> Iterator[PartInput]:
    for part in board.parts:
        pins = tuple((q.number, q.function, board.nets[q.net].name if q.net is not None else "") for q in part.pins)
        yield PartInput(part.ref, part.value, pins, states.get(part.ref, part.state) is PartState.SOCKETED)


def _spots(
    circuit: Circuit, trees: dict[str, CopperTree], behaviour: Behaviour, machine: MachineModel
) -> Iterator[Spot]:
    """The places where a look is offered: points at pins of nets that a chip or a known transistor is on; of rails, at chips' supply pins alone."""
    chips = {part.ref for part in circuit.parts if part.role == "chip"}
    works = {part.ref for part in circuit.parts if part.chip is not None}
    for net, copper in sorted(trees.items()):
        rows = circuit.nets[net]
        if net in circuit.unknown_nets or len(rows) < 2 or not any(t.part in works for t in rows):
            continue
        rail = circuit.rails.get(net)
        for node, points in sorted(copper.points.items()):
            if rail is not None and not any(p.part in chips for p in points):
                continue
            clocked = net in behaviour.hertz
            yield Spot(
                net,
                node,
                rail is not None,
                rail is not None and rail.ground,
                net in behaviour.loose,
                clocked or machine.pattern_known(net),
                clocked,
                behaviour.healthy_symbol(net),
                _pull(behaviour, net, node),
            )


def _pull(behaviour: Behaviour, net: str, node: int) -> str:
    """What pulls at a place when nothing drives it: the inputs that read there, and those elsewhere on its net.

    At an output's own pin all of the net's inputs: it floats when the output does, and a cut between them leaves it driven.
    """
    taps = behaviour.trees[net].taps
    drives = any(t.kind in DRIVING and taps.get(t.id, 0) == node for t in behaviour.circuit.nets[net])
    here: list[bool] = []
    elsewhere: list[bool] = []
    for pin, bipolar in behaviour.bipolar_inputs(net):
        (here if drives or taps.get(pin, 0) == node else elsewhere).append(bipolar)
    return pull_at(here, elsewhere)
