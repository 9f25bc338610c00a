"""What the package or its corrections themselves state that parts or joins nets: milling, cuts, wires, holes said to be unplated or to end early."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from coppermend.core.board.cuts import cut_shape, factory_cuts
from coppermend.core.board.factory import factory_wires
from coppermend.core.board.model import Board, Hole, NetlistPoint
from coppermend.core.board.sources import FactoryWire

if TYPE_CHECKING:
    from coppermend.core.copper.compare import ContactGraph

TOUCH_MM = 0.02
"""Copper this near to what was taken away ended there because of it. Our choice, above the rounding of edges."""

MOST_NAMED = 3

Place = tuple[float, float, str]


@dataclass(frozen=True, slots=True)
class Statement:
    """A statement that parts copper: ``words``, where (mm, layer), and the islands that end at it."""

    words: str
    place: Place
    islands: frozenset[int]


def parting_statements(board: Board) -> tuple[Statement, ...]:
    """The statements that took copper or a barrel away between two islands or more."""
    found = [*_milled(board), *_cuts(board), *_holes(board)]
    return tuple(one for one in found if len(one.islands) > 1)


def parted_by(statements: Sequence[Statement], one: int, other: int, alien: Collection[int]) -> list[Statement]:
    """The fewest statements without which two islands would be one; [] where they do not explain it.

    The way from one to the other runs over islands that end at the same place; ``alien`` islands (of other nets) are no part of it.
    """
    came: dict[int, tuple[int, Statement]] = {}
    todo, seen = [one], {one}
    for island in todo:
        for said in statements:
            if island in said.islands:
                for far in sorted(said.islands - seen):
                    if far == other or far not in alien:
                        came[far] = (island, said)
                        seen.add(far)
                        todo.append(far)
    way: list[Statement] = []
    at = other
    while at in came and at != one:
        at, said = came[at]
        way.append(said)
    return list(dict.fromkeys(reversed(way)))


def parting_words(found: Sequence[Statement]) -> str:
    """Words for the statements that part a net."""
    words = list(dict.fromkeys(one.words for one in found))
    more = f" And {len(words) - MOST_NAMED} more like these." if len(words) > MOST_NAMED else ""
    return " ".join(words[:MOST_NAMED]) + more


def joining_wires(graph: ContactGraph, points: Sequence[NetlistPoint]) -> tuple[FactoryWire, ...]:
    """The wires of the corrections that end on the copper of the points' island, where the copper without them does not join the points."""
    island = points[0].island
    out = []
    for wire in factory_wires(graph.board):
        ends = (NetlistPoint("", "", "", e.x_mm, e.y_mm, (e.layer,), "", 0, island) for e in (wire.start, wire.end))
        if any(graph.nodes_at(end) or _hole_at(graph.board, end) for end in ends):
            out.append(wire)
    return tuple(out)


def wire_words(wires: Sequence[FactoryWire]) -> str:
    """Words for the wires that join two nets."""
    ends = [
        f"from {w.start.x_mm:g}, {w.start.y_mm:g} {w.start.layer} to {w.end.x_mm:g}, {w.end.y_mm:g} {w.end.layer}"
        for w in wires[:MOST_NAMED]
    ]
    which = "A [[wire]] of the corrections joins" if len(wires) == 1 else "[[wire]]s of the corrections join"
    more = f" and {len(wires) - MOST_NAMED} more" if len(wires) > MOST_NAMED else ""
    return f"{which} them: {'; '.join(ends)}{more}. The copper alone does not."


def said_of_holes(board: Board) -> dict[int, str]:
    """Drill file (position in ``board.drill_files``) -> what the corrections say of its holes' plating or layers."""
    out: dict[int, str] = {}
    for finding in board.findings:
        told = re.fullmatch(r"Corrected by the user: ((?:plated|layers) = .+)\.", finding.words)
        if finding.code == "COR-010" and told:
            for at, name in enumerate(board.drill_files):
                if finding.place.thing in (name, name.rsplit("/", 1)[-1]):
                    plain = told[1].replace("True", "true").replace("False", "false").replace("(", "[")
                    out[at] = " and ".join(filter(None, (out.get(at, ""), plain.replace(")", "]"))))
    return out


def _hole_at(board: Board, point: NetlistPoint) -> bool:
    return any(
        hole.island == point.island and math.hypot(hole.x_mm - point.x_mm, hole.y_mm - point.y_mm) <= hole.diameter_mm
        for hole in board.holes
    )


def _touching(board: Board, shape: Any, keys: Collection[str]) -> frozenset[int]:
    """The islands whose copper on some of the layers comes within TOUCH_MM of a shape."""
    out: set[int] = set()
    for layer in board.layers:
        if layer.key in keys and len(layer.shapes):
            gap = shapely.distance(layer.shapes.skeleton, shape) - layer.shapes.radius_mm
            out |= set(layer.island[gap <= TOUCH_MM].tolist())
    return frozenset(out)


def _milled(board: Board) -> Iterator[Statement]:
    told = [one for one in board.findings if one.code == "BRD-009" and "taken away" in one.words]
    if not told or not board.outline:
        return
    areas = [shapely.make_valid(shapely.Polygon(ring)) for ring in board.outline]
    inner = [
        one for k, one in enumerate(areas) if any(big.contains_properly(one) for j, big in enumerate(areas) if j != k)
    ]
    many = any("closed shapes of the outline" in one.words for one in told)
    spots = [(one.place.x_mm, one.place.y_mm) for one in told]
    gone = [one for one in inner if many or _middle(one) in spots]
    if any("edge" in one.words for one in told):
        whole = shapely.union_all(areas)
        gone += list(shapely.get_parts(shapely.difference(shapely.convex_hull(whole), whole)))
    for shape in gone:
        x, y = _middle(shape)
        for layer in board.layers:
            words = f"The board's outline is milled between them at {x:.3f}, {y:.3f} mm (BRD-009); their copper ends at that cut-out."
            yield Statement(words, (x, y, layer.key), _touching(board, shape, (layer.key,)))


def _middle(shape: Any) -> tuple[float, float]:
    x0, y0, x1, y1 = shape.bounds
    return (x0 + x1) / 2, (y0 + y1) / 2


def _cuts(board: Board) -> Iterator[Statement]:
    for cut in factory_cuts(board):
        shape = cut_shape(cut)
        x, y = _middle(shape)
        words = (
            f"A [[cut]] of the corrections takes the copper away between them at {x:g}, {y:g} mm on layer {cut.layer}."
        )
        yield Statement(words, (x, y, cut.layer), _touching(board, shape, (cut.layer,)))


def _holes(board: Board) -> Iterator[Statement]:
    said = said_of_holes(board)
    holes = [hole for hole in board.holes if hole.file in said] if said else []
    if not holes:
        return
    lines = shapely.linestrings(np.array([((h.x_mm, h.y_mm), (h.x2_mm, h.y2_mm)) for h in holes]))
    radius = np.array([hole.diameter_mm / 2 for hole in holes])
    met: list[set[int]] = [set() for _ in holes]
    for layer in board.layers:
        shapes = layer.shapes
        if not len(shapes):
            continue
        reach = radius + float(shapes.radius_mm.max()) + TOUCH_MM
        at, piece = shapely.STRtree(shapes.skeleton).query(lines, predicate="dwithin", distance=reach)
        gap = shapely.distance(lines[at], shapes.skeleton[piece]) - radius[at] - shapes.radius_mm[piece]
        for k, island in zip(at[gap <= TOUCH_MM].tolist(), layer.island[piece[gap <= TOUCH_MM]].tolist(), strict=True):
            met[k].add(island)
    for hole, islands in zip(holes, met, strict=True):
        yield Statement(_hole_words(board, hole, said), (hole.x_mm, hole.y_mm, hole.layers[0]), frozenset(islands))


def _hole_words(board: Board, hole: Hole, said: dict[int, str]) -> str:
    return (
        f"The corrections say {said[hole.file]} of the holes of {board.drill_files[hole.file]}: plated through all layers, "
        "they would join them."
    )
