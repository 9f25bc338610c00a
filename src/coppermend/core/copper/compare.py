"""Copper against what netlists say: points tested, agreeing and missed, nets split and joined, each with words and a place.

The copper is never changed by what is found here. Sources: the X2 attributes of the copper files, and each IPC-D-356 file.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import breadth_first_order

from coppermend.core.board.build import X2_SOURCE, shift_of, x2_points
from coppermend.core.board.model import Board, CopperLayer, Hole, NetlistPoint
from coppermend.core.board.naming import says_a_net
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.copper.reasons import (
    TIE_PINS,
    bridge_place,
    is_tie_part,
    joined_at_part,
    one_stated_name,
    open_land,
    overlapping_lands,
    part_beside,
    shared_parts,
)
from coppermend.core.copper.stated import (
    Statement,
    joining_wires,
    parted_by,
    parting_statements,
    parting_words,
    said_of_holes,
    wire_words,
)
from coppermend.core.findings import Finding, Severity
from coppermend.core.geometry.polarity import box_pairs
from coppermend.core.geometry.shapes import ShapeSet

STALE_NETS = 0.2
"""From this share of disagreeing nets on, the netlist is more likely of another state of the board than the copper is wrong; our assumption."""

NAME_COLUMNS = 14
"""Width of the net name's column in an IPC-D-356 record (IPC-D-356A, columns 4 to 17)."""

ENOUGH_CUT = 3
"""This many different names that X2 has longer, cut to one length, show a narrower column; our assumption."""

FEWEST_OF_A_NET = 2
"""A net has at least two points: one point apart from the rest of its name is no net of its own that was cut to that name."""

NEAR_GAP_MM = 1.0
"""Up to this gap the nearest place of two islands is looked for edge by edge; beyond it, by centre lines."""

AT_PART_MM = 0.5
"""A place this near to a part's outline lies at the part."""


@dataclass(frozen=True, slots=True)
class Disagreement:
    """One net that is split, or nets that are joined. ``why``: tie, jumper, equal numbers, no hole,
    one layer, cut name, moved, stale, stated, open, open span, short, tie or short, no net, lists differ."""

    kind: str
    nets: tuple[str, ...]
    points: tuple[str, ...]
    """The points on the smaller side: those that the copper does not join to the rest (split), or joins to it (joined)."""
    why: str
    words: str
    x_mm: float
    y_mm: float
    layer: str


@dataclass(frozen=True, slots=True)
class Missed:
    """A netlist point where no copper was found."""

    point: str
    net: str
    words: str
    x_mm: float
    y_mm: float
    line: int


@dataclass(frozen=True, slots=True)
class SourceRow:
    """One netlist source against the copper. ``points`` of it; ``agree`` of them; the rest by disagreement; ``nets`` different names of nets (N/C is none).

    A point agrees when its net lies on one island that holds no other net of this source. Of split and joined nets the points on the
    larger side agree still: the main island of the net, when the net is the main net of the island. A point in no net agrees when its
    copper holds no point of a net (copper that the package does not have agrees with "no net" too).
    """

    source: str
    nets: int
    points: int
    agree: int
    missed: tuple[Missed, ...]
    split_nets: tuple[Disagreement, ...]
    joined_nets: tuple[Disagreement, ...]
    origin_shift_mm: tuple[float, float]

    @property
    def exact(self) -> bool:
        """Whether copper and source agree in every point."""
        return not (self.missed or self.split_nets or self.joined_nets) and self.agree == self.points


def point_name(point: NetlistPoint) -> str:
    """A netlist point in words: ``U1.8``, or ``via at 12.700, 30.480 mm``."""
    if point.part and point.part != "VIA":
        return f"{point.part}.{point.pin}" if point.pin else point.part
    return f"via at {point.x_mm:.3f}, {point.y_mm:.3f} mm"


def sources(board: Board) -> dict[str, list[NetlistPoint]]:
    """Points by source: X2 attributes first (one point per pin and layer), then each netlist file."""
    out: dict[str, list[NetlistPoint]] = {}
    stated = x2_points(board)
    if stated:
        out[X2_SOURCE] = list(stated)
    for point in board.netlist_points:
        out.setdefault(point.source, []).append(point)
    return out


def compare(board: Board) -> tuple[SourceRow, ...]:
    """One row per netlist source of the board; empty when the package has none."""
    graph = ContactGraph(board)
    return tuple(compare_source(board, name, points, graph) for name, points in sources(board).items())


def compare_source(board: Board, name: str, all_points: Sequence[NetlistPoint], graph: ContactGraph) -> SourceRow:
    """One source against the copper; see SourceRow."""
    all_points = whole_names(board, all_points)
    lone = _lone_names(all_points)
    points = [point for point in all_points if says_a_net(point.net) or point.net in lone]
    free = [point for point in all_points if not says_a_net(point.net) and point.net not in lone]
    found = [point for point in points if point.island >= 0]
    missed = tuple(_missed(board, point) for point in points if point.island < 0)
    of_net: dict[str, Counter[int]] = defaultdict(Counter)
    of_island: dict[int, Counter[str]] = defaultdict(Counter)
    for point in found:
        of_net[point.net][point.island] += 1
        of_island[point.island][point.net] += 1
    main_island = {net: _most(counts) for net, counts in of_net.items()}
    main_net = {
        island: _most(Counter({net: n for net, n in counts.items() if main_island[net] == island}) or counts)
        for island, counts in of_island.items()
    }
    agree = sum(main_island[p.net] == p.island and main_net[p.island] == p.net for p in found)
    bad = sum(len(c) > 1 for c in of_net.values()) + sum(len(c) > 1 for c in of_island.values())
    stale = bad > STALE_NETS * max(1, len(of_net)) and bad > 5
    by_island: dict[int, list[NetlistPoint]] = defaultdict(list)
    for point in found:
        by_island[point.island].append(point)
    stated = _stated_islands(board)
    width = cut_width(name, set(of_net), {one for names in stated.values() for one in names})
    bare = _undrilled(board, found)
    splits = [
        _split(
            board,
            graph,
            net,
            main_island[net],
            island,
            by_island,
            stale,
            main_net[island],
            len(net) == width and not one_stated_name(counts, stated),
            bare,
        )
        for net, counts in sorted(of_net.items())
        if len(counts) > 1
        for island in sorted(counts)
        if island != main_island[net]
    ]
    joins = [
        _joined(board, graph, main_net[island], net, by_island[island], stale, main_island[net] != island)
        for island, nets in sorted(of_island.items())
        if len(nets) > 1
        for net in sorted(nets)
        if net != main_net[island]
    ]
    caught = [point for point in free if point.island in main_net]
    joins += [_caught(main_net[point.island], point) for point in caught]
    shift = shift_of(board, name)
    nets = len({p.net for p in points})
    agree += len(free) - len(caught)
    return SourceRow(name, nets, len(all_points), agree, missed, tuple(splits), tuple(joins), shift)


def cut_width(source: str, names: Collection[str], stated: Collection[str]) -> int:
    """The length at which a source's names may have been cut, 0 where nothing says that they were.

    The column of an IPC-D-356 record where the longest names fill it exactly, or a narrower one where X2 has at least ENOUGH_CUT of the
    longest names whole and longer. Names that merely are equally long are not cut.

    >>> cut_width("a.ipc", {"CLOCKA", "CLOCKB", "DATA10", "GND"}, ()), cut_width("a.ipc", {"CONTROL_BUS_EN"}, ())
    (0, 14)
    """
    if source == X2_SOURCE or source == "ipc2581" or source.lower().endswith(".csv"):
        return 0
    longest = max(map(len, names), default=0)
    if longest >= NAME_COLUMNS:
        return NAME_COLUMNS if longest == NAME_COLUMNS else 0
    known = {_letters(one) for one in stated}
    full = [name for name in names if len(name) == longest and _letters(name) not in known]
    cut = sum(any(_is_cut_from(name, one) for one in stated) for name in full)
    return longest if cut >= ENOUGH_CUT else 0


def _stated_islands(board: Board) -> dict[int, set[str]]:
    """The names that X2 states, by island."""
    out: dict[int, set[str]] = defaultdict(set)
    for point in x2_points(board):
        if says_a_net(point.net):
            out[point.island].add(point.net)
    return out


def full_width(names: Collection[str]) -> int:
    """The number of characters at which a source seems to cut its names: that of its longest ones where several have it, else NAME_COLUMNS."""
    longest = max(map(len, names), default=0)
    return longest if sum(len(name) == longest for name in names) >= ENOUGH_CUT else NAME_COLUMNS


def whole_names(board: Board, points: Sequence[NetlistPoint]) -> Sequence[NetlistPoint]:
    """The points, with names that a narrow column cut written out where X2 tells them apart.

    Two nets whose names begin (or end) alike can have one name after cutting. A name as wide as the column that lies on several islands,
    each of which X2 gives a different name that it can be cut from, is several nets, not one that is split.
    """
    where: dict[str, set[int]] = defaultdict(set)
    for point in points:
        if point.source != X2_SOURCE and says_a_net(point.net):
            where[point.net].add(point.island)
    width = full_width(where)
    wide = {net: islands for net, islands in where.items() if len(net) == width and len(islands - {-1}) > 1}
    if not wide:
        return points
    stated = _stated_islands(board)
    full: dict[tuple[str, int], str] = {}
    for net, islands in wide.items():
        fits = {k: [name for name in sorted(stated.get(k, ())) if _is_cut_from(net, name)] for k in islands if k >= 0}
        names = [found[0] for found in fits.values() if len(found) == 1]
        if len(names) == len(fits) and len(set(names)) > 1:
            full |= {(net, k): found[0] for k, found in fits.items()}
    return [replace(p, net=full[p.net, p.island]) if (p.net, p.island) in full else p for p in points]


def _is_cut_from(short: str, name: str) -> bool:
    """Whether a name can have been cut to the short one; writers also change case and drop signs, so letters and digits are compared."""
    long, head = _letters(name), _letters(short)
    return bool(head) and (long.startswith(head) or long.endswith(head))


def _letters(name: str) -> str:
    return "".join(c for c in name.upper() if c.isalnum())


def _lone_names(points: Sequence[NetlistPoint]) -> set[str]:
    """Names like ``NC`` that stand for one island only: a net that is called so, not the word for "no net"."""
    islands: dict[str, set[int]] = defaultdict(set)
    for point in points:
        if point.net.strip() and point.net.strip().upper() != "N/C" and not says_a_net(point.net):
            islands[point.net].add(point.island)
    return {name for name, found in islands.items() if len(found) == 1 and -1 not in found}


def _lists_differ(kind: str, nets: tuple[str, ...], points: Sequence[NetlistPoint], of: str) -> Disagreement:
    """Two lists of pins that disagree, neither of them copper."""
    names = tuple(sorted({point_name(p) for p in points if p.net == of}))
    shown = ", ".join(names[:6]) + (" ..." if len(names) > 6 else "")
    if kind == "split":
        words = f"Net {nets[0]} of this list is several nets on the board's own list: {shown} stand apart."
    else:
        words = f"Nets {nets[0]} and {nets[1]} of this list are one net on the board's own list ({shown} of {nets[1]})."
    return Disagreement(kind, nets, names, "lists differ", words, points[0].x_mm, points[0].y_mm, "")


def _caught(net: str, point: NetlistPoint) -> Disagreement:
    """A point that the source says is in no net, on the copper of one."""
    name, layer = point_name(point), point.layers[0] if point.layers else ""
    says = "X2 says" if point.source == X2_SOURCE else "the netlist says"
    knows = "X2 does not know" if point.source == X2_SOURCE else "the netlist does not know"
    words = (
        f"Copper joins {name}, which {says} is in no net, to net {net} at {point.x_mm:.3f}, {point.y_mm:.3f} mm, layer {layer}. "
        f"A line led across an unused land, a land whose net {knows}, or a short in the copper data."
    )
    return Disagreement("joined", (net, ""), (name,), "no net", words, point.x_mm, point.y_mm, layer)


def _most(counts: Counter[Any]) -> Any:
    return min(counts.items(), key=lambda item: (-item[1], item[0]))[0]


def _missed(board: Board, point: NetlistPoint) -> Missed:
    if not point.layers:
        words = f"The copper has no pin {point_name(point)}, which the list puts in net {point.net}."
        return Missed(point_name(point), point.net, words, point.x_mm, point.y_mm, point.line)
    on = "any layer" if len(point.layers) > 1 else f"layer {point.layers[0]}" if point.layers else "any layer"
    words = f"No copper lies on {on} where the netlist has {point_name(point)} of net {point.net}."
    return Missed(point_name(point), point.net, words, point.x_mm, point.y_mm, point.line)


class ContactGraph:
    """Pieces and plated holes of a board as nodes, contacts and walls as edges: finds the way by which two points are joined."""

    def __init__(self, board: Board) -> None:
        self.board = board
        sizes = [len(layer.shapes) for layer in board.layers]
        self.start = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
        self.pieces = int(self.start[-1])
        self._matrix: csr_matrix | None = None
        self._parting: tuple[Statement, ...] | None = None

    def parting(self) -> tuple[Statement, ...]:
        """What the package or its corrections state that parts copper, found when first asked for."""
        if self._parting is None:
            self._parting = parting_statements(self.board)
        return self._parting

    def matrix(self) -> csr_matrix:
        """The adjacency matrix, made when first asked for."""
        if self._matrix is None:
            ends = [np.empty((0, 2), np.int64)]
            for layer, begin in zip(self.board.layers, self.start, strict=False):
                ends.append(layer.contacts + begin)
                ends.append(np.column_stack([layer.walls[:, 0] + self.pieces, layer.walls[:, 1] + begin]))
            edge = np.concatenate(ends)
            count = self.pieces + len(self.board.holes)
            ones = np.ones(2 * len(edge), np.int8)
            rows, columns = np.r_[edge[:, 0], edge[:, 1]], np.r_[edge[:, 1], edge[:, 0]]
            self._matrix = coo_matrix((ones, (rows, columns)), shape=(count, count)).tocsr()
        return self._matrix

    def nodes_at(self, point: NetlistPoint) -> list[int]:
        """Nodes of the copper of the point's island that lies at its place."""
        out: list[int] = []
        spot = shapely.Point(point.x_mm, point.y_mm)
        for at, layer in enumerate(self.board.layers):
            mine = np.flatnonzero(layer.island == point.island)
            if layer.key not in point.layers or len(mine) == 0:
                continue
            gap = shapely.distance(layer.shapes.skeleton[mine], spot) - layer.shapes.radius_mm[mine]
            best = float(gap.min())
            if best <= 0.3:
                out += (mine[gap <= max(best, 0.0)] + self.start[at]).tolist()
        return out

    def way(self, a: Sequence[int], b: Sequence[int]) -> list[int]:
        """Nodes from one of ``a`` to one of ``b`` by the fewest contacts; empty when there is none."""
        if not a or not b:
            return []
        goal = set(b)
        best: list[int] = []
        for origin in list(dict.fromkeys(a))[:8]:
            _, before = breadth_first_order(self.matrix(), origin, directed=False, return_predecessors=True)
            for end in goal:
                way = [end]
                while way[-1] != origin and before[way[-1]] >= 0:
                    way.append(int(before[way[-1]]))
                if way[-1] == origin and (not best or len(way) < len(best)):
                    best = way[::-1]
        return best

    def place(self, node: int) -> tuple[float, float, str]:
        """A place on the node's copper (mm, layer key); a hole is placed on its first layer."""
        if node >= self.pieces:
            hole = self.board.holes[node - self.pieces]
            return hole.x_mm, hole.y_mm, hole.layers[0]
        at = int(np.searchsorted(self.start, node, side="right")) - 1
        layer = self.board.layers[at]
        skeleton = layer.shapes.skeleton[node - self.start[at]]
        line = skeleton.geom_type == "LineString"
        spot = (
            shapely.line_interpolate_point(skeleton, 0.5, normalized=True)
            if line
            else shapely.point_on_surface(skeleton)
        )
        return float(spot.x), float(spot.y), layer.key

    def piece(self, node: int) -> tuple[int, int] | None:
        """(layer position, piece) of a node; None for a hole."""
        if node >= self.pieces:
            return None
        at = int(np.searchsorted(self.start, node, side="right")) - 1
        return at, node - int(self.start[at])

    def contact(self, a: int, b: int) -> tuple[float, float, str]:
        """Where two neighbouring nodes meet: the nearest points of their skeletons' shapes, halfway."""
        one, two = self.piece(a), self.piece(b)
        if one is None or two is None:
            return self.place(a if one is None else b)
        layer = self.board.layers[one[0]]
        line = shapely.shortest_line(layer.shapes.skeleton[one[1]], layer.shapes.skeleton[two[1]])
        middle = (
            shapely.line_interpolate_point(line, 0.5, normalized=True) if line.length else shapely.Point(line.coords[0])
        )
        return float(middle.x), float(middle.y), layer.key


def _stated(graph: ContactGraph, node: int) -> str:
    where = graph.piece(node)
    return "" if where is None else str(graph.board.layers[where[0]].stated_net[where[1]])


def _land_at(graph: ContactGraph, node: int, pins: Mapping[tuple[int, str], str]) -> str:
    """The pin whose land the node is, "" for tracks, pours and vias."""
    where = graph.piece(node)
    if where is None:
        hole = graph.board.holes[node - graph.pieces]
        return pins.get((round(hole.x_mm * 50), f"{round(hole.y_mm * 50)}"), "")
    layer = graph.board.layers[where[0]]
    if layer.kind[where[1]] not in ("flash", "region"):
        return ""
    x0, y0, x1, y1 = layer.shapes.take(np.array([where[1]])).bounds_mm()[0]
    if max(x1 - x0, y1 - y0) > 12.0:
        return ""
    return pins.get((round((x0 + x1) * 25), f"{round((y0 + y1) * 25)}"), "")


def _pin_places(board: Board) -> dict[tuple[int, str], str]:
    return {(round(pin.x_mm * 50), f"{round(pin.y_mm * 50)}"): pin.name for part in board.parts for pin in part.pins}


_OPEN_SPAN = (
    "The way leads through holes of {file}, and between which layers they run is open ({code}): they are taken as drilled through "
    "all layers, which may join the nets falsely. Say the span in the corrections and compare again."
)


def _joined(
    board: Board,
    graph: ContactGraph,
    main: str,
    other: str,
    points: Sequence[NetlistPoint],
    stale: bool,
    away: bool,
) -> Disagreement:
    """Why one island holds two nets: the way between them and what lies at the place where they meet.

    ``away``: the rest of ``other`` lies on another island, so that these points are on the wrong one altogether.
    """
    if not copper_is_known(board):
        return _lists_differ("joined", (main, other), points, other)
    mine = [p for p in points if p.net == main]
    theirs = [p for p in points if p.net == other]
    way = _shortest(graph, theirs, mine)
    pins = _pin_places(board)
    meeting = _meeting(graph, way, pins)
    names = tuple(sorted({point_name(p) for p in theirs}))
    why, reason = (
        ("moved", _moved(names, other, main))
        if away and not stale
        else _why_joined(graph, meeting, theirs, mine, stale)
    )
    wires = joining_wires(graph, theirs) if not way else ()
    if wires:
        why, reason = "stated", wire_words(wires)
        meeting = replace(meeting, place=(wires[0].start.x_mm, wires[0].start.y_mm, wires[0].start.layer))
    elif why in ("short", "stale"):
        why, reason = _said_hole(graph, way) or (why, reason)
        reason += _unsure_polarity(board, _layers_of(graph, way)) if why == "short" else ""
    doubt = _open_span(graph, way) if why in ("short", "stale") else None
    if doubt is not None:
        why, reason = "open span", _OPEN_SPAN.format(file=doubt.place.file, code=doubt.code)
    if why in ("short", "tie or short") and not meeting.stated:
        meeting = replace(meeting, place=bridge_place(graph, theirs, mine) or meeting.place)
    lands = [land for land in (_land_at(graph, node, pins) for node in way) if land]
    first = theirs[0]
    x, y, layer = meeting.place or (first.x_mm, first.y_mm, first.layers[0] if first.layers else "")
    ends = f" between {lands[0]} and {lands[-1]}" if len(lands) > 1 and lands[0] != lands[-1] else ""
    words = f"Copper joins nets {main} and {other}{ends} at {x:.3f}, {y:.3f} mm, layer {layer}. {reason}"
    return Disagreement("joined", (main, other), names, why, words, x, y, layer)


def _open_span(graph: ContactGraph, way: Sequence[int]) -> Finding | None:
    """The error that says of a drill file that its span is open, where a way runs by a hole of that file through all layers."""
    board = graph.board
    doubts = {
        f.place.file: f for f in board.findings if f.code in ("PKG-017", "BRD-039") and f.severity is Severity.ERROR
    }
    if not doubts:
        return None
    for node in way:
        hole = board.holes[node - graph.pieces] if graph.piece(node) is None else None
        if hole is not None and hole.file >= 0 and len(hole.layers) == len(board.layers):
            doubt = doubts.get(board.drill_files[hole.file])
            if doubt is not None:
                return doubt
    return None


def _said_hole(graph: ContactGraph, way: Sequence[int]) -> tuple[str, str] | None:
    """Why and words where a way runs through a hole of whose plating or layers the corrections speak."""
    said = said_of_holes(graph.board)
    for node in way if said else ():
        file = graph.board.holes[node - graph.pieces].file if graph.piece(node) is None else -1
        if file in said:
            name = graph.board.drill_files[file]
            return "stated", f"The way leads through holes of {name}, of which the corrections say {said[file]}."
    return None


def _moved(names: Sequence[str], net: str, main: str) -> str:
    """Words for points of one net that lie on another net's copper, away from the rest of their own."""
    shown = ", ".join(names[:6]) + (" ..." if len(names) > 6 else "")
    return (
        f"The netlist puts {shown} in {net}, the copper in {main}, and the rest of {net} lies elsewhere: connections changed since "
        "(a netlist of another state), or a fault in the copper data."
    )


def _shortest(graph: ContactGraph, a: Sequence[NetlistPoint], b: Sequence[NetlistPoint]) -> list[int]:
    starts = [node for point in a[:20] for node in _own(graph, point)]
    ends = [node for point in b for node in _own(graph, point)]
    return graph.way(starts, ends)


def _own(graph: ContactGraph, point: NetlistPoint) -> list[int]:
    """The copper at a point, without what X2 says is of another net (a line that ends there)."""
    nodes = graph.nodes_at(point)
    if not any(_stated(graph, node) == point.net for node in nodes):
        return nodes
    return [node for node in nodes if _stated(graph, node) == point.net or not says_a_net(_stated(graph, node))]


@dataclass(frozen=True, slots=True)
class _Meeting:
    """Where two nets meet on a way: the place, and the pin whose land lies there ("").

    ``etched``: the copper there is an etched component by X2; ``bare``: X2 says of copper on the way that it is in no net;
    ``stated``: X2 states both nets, so that the place is where they change.
    """

    place: tuple[float, float, str] | None = None
    land: str = ""
    etched: bool = False
    bare: bool = False
    stated: bool = False


def _meeting(graph: ContactGraph, way: Sequence[int], pins: Mapping[tuple[int, str], str]) -> _Meeting:
    """The first etched component on the way, else the first change of the net that X2 states, else the land at the way's end, else its middle."""
    for node in way:
        where = graph.piece(node)
        if where is not None and str(graph.board.layers[where[0]].function[where[1]]).startswith("EtchedComponent"):
            return _Meeting(graph.place(node), _land_at(graph, node, pins), True)
    net, at = "", -1
    bare = any(_stated(graph, node) == "N/C" for node in way)
    for k, node in enumerate(way):
        stated = _stated(graph, node)
        if says_a_net(stated):
            if net and stated != net:
                land = _land_at(graph, way[at], pins) or _land_at(graph, way[at + 1], pins)
                return _Meeting(graph.contact(way[at], way[at + 1]), land, bare=bare, stated=True)
            net, at = stated, k
    if not way:
        return _Meeting()
    last = _land_at(graph, way[-1], pins)
    if last or len(way) == 1:
        return _Meeting(graph.place(way[-1]), last)
    middle = len(way) // 2
    return _Meeting(graph.contact(way[middle - 1], way[middle]))


def _parts_at(board: Board, place: tuple[float, float, str] | None) -> list[str]:
    """The parts whose outline covers a place, smallest outline first."""
    if place is None:
        return []
    spot = shapely.Point(place[0], place[1])
    found = []
    for part in board.parts:
        if len(part.outline) > 3:
            ring = shapely.Polygon(part.outline)
            if ring.distance(spot) <= AT_PART_MM:
                found.append((float(ring.area), part.ref))
    return [ref for _, ref in sorted(found)]


def _why_joined(
    graph: ContactGraph, meeting: _Meeting, theirs: Sequence[NetlistPoint], mine: Sequence[NetlistPoint], stale: bool
) -> tuple[str, str]:
    """A tie only where the data mark one or lands of one small part overlap; where place and data leave it open, the words say between what."""
    board = graph.board
    here = _parts_at(board, meeting.place)
    both = shared_parts(theirs, mine)
    if meeting.etched:
        beside = part_beside(board, both, meeting.place) or (here[0] if here else "")
        at = f" at {beside}" if beside else ""
        return "tie", f"The copper{at} is marked as an etched component (X2): an intended tie."
    for ref in filter(is_tie_part, both):
        if joined_at_part(graph, ref, theirs, mine):
            return "jumper", f"{ref} is a tie or jumper land that the copper bridges; meant so in all likelihood."
    if stale:
        words = "So many nets disagree that the netlist seems to belong to another state of the board."
        return "stale", words + _unsure_polarity(board)
    small = {part.ref for part in board.parts if len(part.pins) <= TIE_PINS}
    for ref in both:
        if ref in small and overlapping_lands(board, ref, theirs, mine):
            words = f"They meet inside {ref}, which has pins in both: its lands are joined by copper (an intended tie, or lands bridged in the data)."
            return "tie", words
    for ref in both:
        if joined_at_part(graph, ref, theirs, mine):
            unless = f" unless {ref} is meant as a tie" if ref in small else ""
            words = f"Copper joins them between lands of {ref}, which has pins in both: a short in the copper data{unless}, or a netlist of another state."
            return "short", words
    if meeting.bare:
        words = "Copper that X2 says is in no net joins them: an antenna, a printed coil or a tie, or a short in the data, which do not say."
        return "tie or short", words
    if meeting.stated and meeting.land and len({p.part for p in theirs}) <= 3:
        words = (
            f"They meet at the land of {meeting.land}: a line taken off at that land on purpose (a sense line), or a short in the data, "
            "which do not say."
        )
        return "tie or short", words
    named = [ref for ref in here if ref in {p.part for p in (*theirs, *mine)}]
    if named:
        words = f"The place lies inside the outline of {named[0]}; nothing there marks a tie: a short in the copper data, or a netlist of another state."
        return "short", words
    return "short", "Nothing at the place explains it: a short in the copper data, or a netlist of another state."


def _nearest_gap(board: Board, a: int, b: int) -> tuple[float, float, float, str] | None:
    """The smallest gap between two islands on one layer: gap, x, y (mm), layer key; None when they share no layer."""
    best: tuple[float, float, float, str] | None = None
    for layer in board.layers:
        one, two = np.flatnonzero(layer.island == a), np.flatnonzero(layer.island == b)
        if len(one) == 0 or len(two) == 0:
            continue
        if len(one) > len(two):
            one, two = two, one
        near, gap = _gaps(layer.shapes.take(one), layer.shapes.take(two))
        k = int(np.argmin(gap))
        if best is None or gap[k] < best[0]:
            line = shapely.shortest_line(layer.shapes.skeleton[one[near[k, 0]]], layer.shapes.skeleton[two[near[k, 1]]])
            spot = (
                shapely.line_interpolate_point(line, 0.5, normalized=True)
                if line.length
                else shapely.Point(line.coords[0])
            )
            best = (float(gap[k]), float(spot.x), float(spot.y), layer.key)
    return best


def _gaps(one: ShapeSet, two: ShapeSet) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """(k, 2) pairs that may be the nearest, and their gaps in mm; the nearest is among them where it is at most NEAR_GAP_MM."""
    pairs, apart = shapely.STRtree(two.skeleton).query_nearest(one.skeleton, return_distance=True, all_matches=False)
    near = np.asarray(pairs.T)
    gap = np.asarray(apart) - one.radius_mm[near[:, 0]] - two.radius_mm[near[:, 1]]
    least = float(gap.min())
    if least <= NEAR_GAP_MM:  # the nearest skeletons need not be the nearest edges
        i, j = box_pairs(one.bounds_mm() + np.array([-1.0, -1.0, 1.0, 1.0]) * max(least, 0.0), two.bounds_mm())
        near = np.concatenate([near, np.column_stack([i, j])])
        gap = np.concatenate([gap, one.gap_mm(i, j, two)])
    return near, gap


def _split(
    board: Board,
    graph: ContactGraph,
    net: str,
    main: int,
    island: int,
    by_island: Mapping[int, Sequence[NetlistPoint]],
    stale: bool,
    owner: str,
    wide: bool,
    bare: frozenset[int],
) -> Disagreement:
    """Why part of a net lies on another island than the rest: what is there, or what is missing."""
    apart = [p for p in by_island[island] if p.net == net]
    rest = [p for p in by_island[main] if p.net == net]
    if not copper_is_known(board):
        return _lists_differ("split", (net,), apart, net)
    names = tuple(sorted({point_name(p) for p in apart}))
    gap = _nearest_gap(board, main, island)
    first = apart[0]
    x, y, layer = (gap[1], gap[2], gap[3]) if gap else (first.x_mm, first.y_mm, first.layers[0] if first.layers else "")
    undrilled = sum(p.line in bare for p in (*apart, *rest))
    why, reason = _why_split(board, apart, rest, gap, stale, undrilled)
    said = _stated_parting(graph, net, main, island, by_island) if why in _UNTOLD else []
    doubt = _short_span(board, main, island) if why in ("open", "stale", "no hole") and not said else None
    if said:
        why, reason = "stated", parting_words(said)
        x, y, layer = said[0].place
    elif doubt is not None:
        why, reason = "open span", _SHORT_SPAN.format(file=doubt.place.file, code=doubt.code)
    elif why == "open" and owner != net:
        why, reason = "moved", _moved(names, net, owner)
    elif why == "open" and wide:
        alone = min(len({point_name(p) for p in group}) for group in (apart, rest)) < FEWEST_OF_A_NET
        why, reason = ("open", f"{reason} {_may_be_cut(net)}") if alone else ("cut name", _cut_name(net, reason))
    shown = ", ".join(names[:6]) + (" ..." if len(names) > 6 else "")
    words = f"Net {net}: copper does not join {shown} to the rest of the net; nearest place {x:.3f}, {y:.3f} mm, layer {layer}. {reason}"
    return Disagreement("split", (net,), names, why, words, x, y, layer)


_UNTOLD = ("open", "stale", "no hole", "one layer")
"""Reasons for a split that give way to what the package itself states."""


def _stated_parting(
    graph: ContactGraph, net: str, main: int, island: int, by_island: Mapping[int, Sequence[NetlistPoint]]
) -> list[Statement]:
    alien = {k for k, points in by_island.items() if any(p.net != net for p in points)}
    return parted_by(graph.parting(), island, main, alien)


_SHORT_SPAN = (
    "A hole of {file} would join them if it went further, and its layers are taken from words alone ({code}). Say layers = [first, last] for the "
    "file in the corrections if they are others, and compare again."
)


def _short_span(board: Board, one: int, other: int) -> Finding | None:
    """The guess about the span of a drill file, where a hole of it lies on one island and, on a layer that it is not taken to reach, under the other's copper."""
    guesses = {f.place.file: f for f in board.findings if f.code in ("PKG-018", "PKG-020", "BRD-043")}
    if not guesses:
        return None
    for hole in board.holes:
        if hole.island not in (one, other) or hole.file < 0 or len(hole.layers) == len(board.layers):
            continue
        guess = guesses.get(board.drill_files[hole.file])
        sought = other if hole.island == one else one
        if guess is not None and any(
            _over(layer, sought, hole) for layer in board.layers if layer.key not in hole.layers
        ):
            return guess
    return None


def _over(layer: CopperLayer, island: int, hole: Hole) -> bool:
    """Whether copper of an island on a layer meets the place of a hole."""
    mine = np.flatnonzero(layer.island == island)
    if not len(mine):
        return False
    wall = shapely.LineString([(hole.x_mm, hole.y_mm), (hole.x2_mm, hole.y2_mm)])
    gap = shapely.distance(layer.shapes.skeleton[mine], wall) - layer.shapes.radius_mm[mine]
    return bool(gap.min() <= hole.diameter_mm / 2)


def _undrilled(board: Board, points: Sequence[NetlistPoint]) -> frozenset[int]:
    """Lines of the points that reach through the board but have no plated hole within AT_PART_MM. Empty for X2, which knows no holes."""
    through = [p for p in points if p.source != X2_SOURCE and len(p.layers) == len(board.layers) > 1]
    plated = [((hole.x_mm, hole.y_mm), (hole.x2_mm, hole.y2_mm)) for hole in board.holes if hole.plated]
    if not through or not plated:
        return frozenset()
    lines = shapely.linestrings(np.array(plated))
    tree = shapely.STRtree(lines)
    near, _ = tree.query(shapely.points([(p.x_mm, p.y_mm) for p in through]), predicate="dwithin", distance=AT_PART_MM)
    missing = np.setdiff1d(np.arange(len(through)), near)
    return frozenset(through[k].line for k in missing.tolist())


def _may_be_cut(net: str) -> str:
    return f"The name has {len(net)} characters, all that this netlist has room for, so it may have been cut."


def _cut_name(net: str, reason: str) -> str:
    """Words for a name that fills its column on several islands: uncertain, two nets of one cut name or one net that is open."""
    return (
        f"{_may_be_cut(net)} These may be two nets that begin alike; the data do not say. "
        f"If it is one net: {reason[0].lower()}{reason[1:]}"
    )


def _why_split(
    board: Board,
    apart: Sequence[NetlistPoint],
    rest: Sequence[NetlistPoint],
    gap: tuple[float, float, float, str] | None,
    stale: bool,
    undrilled: int,
) -> tuple[str, str]:
    pins = [{(p.part, p.pin.split("#")[0]) for p in group if p.part not in ("", "VIA")} for group in (apart, rest)]
    if pins[0] and pins[0] <= pins[1]:
        part, number = min(pins[0])
        return (
            "equal numbers",
            f"All of them carry numbers that are also on the rest ({part}.{number}): lands of one number, joined inside the part.",
        )
    ref = open_land(board, gap, apart, rest) if gap is not None else ""
    if ref and gap is not None and is_tie_part(ref):
        return (
            "jumper",
            f"The gap is {gap[0]:.2f} mm between lands of {ref}, by its name a jumper or tie: open until solder or a shunt closes it.",
        )
    if not any(hole.plated for hole in board.holes) and len(board.layers) > 1:
        what = "drill data holds no plated hole" if board.holes else "package has no drill data"
        return "no hole", f"The {what}, and only plated holes join the layers."
    if undrilled:
        words = f"{undrilled} drilled points of the net have no plated hole in the package: a drill file is missing, is read as unplated, or is misread."
        return "no hole", words
    if len(board.layers) == 1:
        return "one layer", "The package holds one copper layer only; the other side may join them."
    left = _left_out(board) + _unsure_polarity(board)
    if stale:
        return "stale", f"So many nets disagree that the netlist seems to belong to another state of the board.{left}"
    near = f" ({gap[0]:.2f} mm apart there)" if gap else " (they share no layer)"
    unless = f" If {ref} is a jumper, its land is open there." if ref else ""
    return "open", f"A real open in the copper data{near}, or a netlist of another state.{unless}{left}"


def _layers_of(graph: ContactGraph, way: Sequence[int]) -> set[str]:
    """The files of the layers that a way leads over."""
    return {graph.board.layers[at[0]].file for at in map(graph.piece, way) if at is not None}


def _unsure_polarity(board: Board, among: Collection[str] | None = None) -> str:
    """Words for inner layers (of those ``among``) whose polarity is a guess: read the other way they join and part other nets."""
    files = [finding.place.file for finding in board.findings if finding.code == "BRD-008" and finding.place.file]
    files = [name for name in files if among is None or name in among]
    if not files:
        return ""
    return f" Or the polarity of {', '.join(files[:3])}{' ...' if len(files) > 3 else ''} is another than the one taken (BRD-008)."


def _left_out(board: Board) -> str:
    """Words for files of the package that were left out: copper that joins may be in them."""
    count = sum(finding.code == "PKG-015" for finding in board.findings)
    if not count:
        return ""
    one = (
        "1 file was left out because nothing tells what it is"
        if count == 1
        else f"{count} files were left out because nothing tells what they are"
    )
    return f" {one} (PKG-015): copper that joins this may be there."
