"""From a board to its copper graph: topology of each layer, barrels between layers, pins, probe points, words."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import Board, CopperLayer, Part, PartState, Pin
from coppermend.core.copper.blobs import LayerParts, sort_layer
from coppermend.core.copper.islands import contacts_of, reaches_wall
from coppermend.core.copper.model import (
    CopperGraph,
    PinPlace,
    ProbePoint,
    Sheet,
    Site,
    SiteKind,
    Through,
)
from coppermend.core.copper.pins import lay_pin, xy_id
from coppermend.core.copper.places import Places, layer_words, mm_words
from coppermend.core.copper.squares import barrel_ohm, slot_ohm, track_ohm
from coppermend.core.copper.topology import LayerTopology, Run, meet_layer
from coppermend.core.copper.worked import through_sites
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.core.units import COPPER_THICKNESS_MM, sheet_resistance_ohm

GRAPH_VERSION = 2
"""Raise when a build gives another graph for the same board: cached graphs of other versions are not read."""

CONNECTOR_PREFIXES = ("J", "P", "K", "CN", "X", "CON", "SK", "SL", "JP", "TP")
"""Reference letters of parts whose pins stand up where a tip reaches them (connectors, jumpers, test points). Common practice, no source."""
COVERED_MM = 0.5
"""A pin this deep inside its part's outline is covered by the body. Our choice."""
ROW_SLACK_MM = 0.3
"""Pins within this of one line are a row; legs of parts with one or two rows come down outside the body."""


@dataclass(slots=True)
class _Layer:
    """One layer's parts and topology with the number of its first node."""

    copper: CopperLayer
    parts: LayerParts
    topology: LayerTopology
    first: int
    sheet_ohm: float

    def node_of_hole(self, hole: int) -> int | None:
        blob = self.parts.hole_blob.get(hole)
        return None if blob is None else self.first + self.topology.blob_node[blob]


@dataclass(slots=True)
class _Work:
    """The graph while it is built."""

    board: Board
    places: Places
    layers: list[_Layer] = field(default_factory=list)
    node_net: list[int] = field(default_factory=list)
    node_place: list[tuple[float, float, str]] = field(default_factory=list)
    node_kind: list[str] = field(default_factory=list)
    sites: list[Site] = field(default_factory=list)
    points: list[ProbePoint] = field(default_factory=list)
    pins: list[PinPlace] = field(default_factory=list)
    node_words: dict[int, str] = field(default_factory=dict)


def build_graph(board: Board) -> CopperGraph:
    """The copper graph of a board with its parts in the states as built.

    Net indices are those of ``board.nets``. Copper that no pin, hole or flash belongs to (lettering, frames) has no sites.
    Linear in the number of copper pieces up to the overlaps between them.
    """
    work = _Work(board, Places(board))
    spots = _spots(board)
    wanted = _wanted(board)
    thickness = dict(board.copper_thickness_mm)
    for layer in board.layers:
        whole = _with_contacts(layer, board)
        parts = sort_layer(board, whole, wanted, spots)
        topology = meet_layer(parts)
        first = len(work.node_net)
        work.node_net += topology.node_net
        work.node_kind += topology.node_kind
        work.node_place += [(x, y, layer.key) for x, y in topology.node_place]
        ohm = sheet_resistance_ohm(thickness.get(layer.key, COPPER_THICKNESS_MM))
        work.layers.append(_Layer(whole, parts, topology, first, ohm))
    pins = _pin_lands(work)
    work.pins = _pin_places(work, pins)
    _name_nodes(work)
    _runs(work)
    _spokes(work)
    _barrels(work)
    _bare_points(work)
    _lay_pins(work)
    return _finish(work)


# input --------------------------------------------------------------------------------------------------------


def _spots(board: Board) -> list[tuple[tuple[float, float], float]]:
    out = [(((h.x_mm + h.x2_mm) / 2, (h.y_mm + h.y2_mm) / 2), h.diameter_mm) for h in board.holes]
    out += [((p.x_mm, p.y_mm), 0.0) for part in board.parts for p in part.pins if p.hole is None]
    return out


def _wanted(board: Board) -> NDArray[np.bool_]:
    """(nets,) islands with a pin, a hole or a flash."""
    wanted = np.zeros(len(board.nets), dtype=bool)
    for net in board.nets:
        wanted[net.index] = bool(net.pins)
    for hole in board.holes:
        if hole.island is not None:
            wanted[hole.island] = True
    for part in board.parts:
        for pin in part.pins:
            if pin.net is not None:
                wanted[pin.net] = True
    for layer in board.layers:
        wanted[layer.island[np.asarray(layer.kind).astype(str) == "flash"]] = True
    return wanted


def _with_contacts(layer: CopperLayer, board: Board) -> CopperLayer:
    """The layer with its contacts and walls, found here where the board does not hold them."""
    if len(layer.contacts) or len(layer.walls):
        return layer
    contacts = contacts_of(layer.shapes) if len(layer.shapes) > 1 else layer.contacts
    plated = [k for k, h in enumerate(board.holes) if h.plated and h.island is not None and layer.key in h.layers]
    if not plated or not len(layer.shapes):
        return replace(layer, contacts=contacts)
    skeleton = [
        shapely.Point(h.x_mm, h.y_mm)
        if (h.x_mm, h.y_mm) == (h.x2_mm, h.y2_mm)
        else shapely.LineString([(h.x_mm, h.y_mm), (h.x2_mm, h.y2_mm)])
        for h in (board.holes[k] for k in plated)
    ]
    holes = ShapeSet.of(skeleton, [board.holes[k].diameter_mm / 2 for k in plated])
    pairs = layer.shapes.near_pairs(other=holes)
    hit = reaches_wall(layer.shapes, holes, pairs[:, 0], pairs[:, 1])
    walls = np.column_stack([np.asarray(plated)[pairs[hit, 1]], pairs[hit, 0]]).astype(np.int64)
    return replace(layer, contacts=contacts, walls=walls)


# pins and lands -----------------------------------------------------------------------------------------------


def _pin_lands(work: _Work) -> list[tuple[Part, Pin, tuple[tuple[str, int], ...]]]:
    """Every pin with the lands it can be soldered to, in layer order."""
    entries = [(part, pin) for part in work.board.parts for pin in part.pins]
    found: list[list[tuple[str, int]]] = [[] for _ in entries]
    for layer in work.layers:
        key = layer.copper.key
        loose: list[int] = []
        for k, (_, pin) in enumerate(entries):
            node = layer.node_of_hole(pin.hole) if pin.hole is not None else None
            if node is not None:
                found[k].append((key, node))
            elif key in pin.layers and (pin.hole is None or not work.board.holes[pin.hole].plated):
                loose.append(k)
        for k, node in _lands_at(layer, [entries[k][1] for k in loose]):
            found[loose[k]].append((key, node))
    return [(part, pin, tuple(lands)) for (part, pin), lands in zip(entries, found, strict=True)]


def _lands_at(layer: _Layer, pins: list[Pin]) -> Iterable[tuple[int, int]]:
    """(position in ``pins``, node) of the land or sheet under each pin without a plated hole: by its X2 name first, then by place."""
    stated = {
        (str(layer.copper.pin[p]), int(layer.copper.island[p])): b
        for p, b in layer.parts.piece_blob.items()
        if str(layer.copper.pin[p])
    }
    placed = _blobs_under(layer, pins)
    for k, pin in enumerate(pins):
        blob = None if pin.net is None else stated.get((pin.name, pin.net))
        blob = placed.get(k) if blob is None else blob
        if blob is not None:
            yield k, layer.first + layer.topology.blob_node[blob]


def _blobs_under(layer: _Layer, pins: list[Pin]) -> dict[int, int]:
    """Position in ``pins`` -> the blob of the pin's net under its place; lands before sheets, the nearest first."""
    pieces = np.array(sorted(layer.parts.piece_blob), dtype=np.int64)
    if not len(pieces) or not pins:
        return {}
    shapes = layer.copper.shapes.take(pieces)
    spots = shapely.points(np.array([(p.x_mm, p.y_mm) for p in pins]))
    boxes = shapely.box(*(shapes.bounds_mm() + np.array([-0.05, -0.05, 0.05, 0.05])).T)
    i, j = shapely.STRtree(boxes).query(spots, predicate="intersects")
    gap = shapely.distance(shapes.skeleton[j], spots[i]) - shapes.radius_mm[j]
    best: dict[int, tuple[bool, float, int]] = {}
    for k, near, far in zip(i.tolist(), j.tolist(), gap.tolist(), strict=True):
        net = pins[k].net
        piece = int(pieces[near])
        if far > 0.05 or (net is not None and int(layer.copper.island[piece]) != net):
            continue
        blob = layer.parts.piece_blob[piece]
        hit = (layer.parts.blobs[blob].kind != "land", far, blob)
        if k not in best or hit < best[k]:
            best[k] = hit
    return {k: blob for k, (_, _, blob) in best.items()}


def _pin_places(work: _Work, pins: list[tuple[Part, Pin, tuple[tuple[str, int], ...]]]) -> list[PinPlace]:
    shows: dict[str, bool] = {}
    outlines = {part.ref: shapely.Polygon(part.outline) for part in work.board.parts if len(part.outline) >= 4}
    masks = {side: _open_at(work.board, side, [(p.x_mm, p.y_mm) for _, p, _ in pins]) for side in ("c", "s")}
    out = []
    for k, (part, pin, lands) in enumerate(pins):
        if not lands:
            continue
        covered = part.ref in outlines and _covers(part, outlines[part.ref], pin)
        if part.ref not in shows:
            shows[part.ref] = _leg_shows(part)
        hidden = f"under the body of {part.ref}" if covered else ""
        leg = hidden if covered and not shows[part.ref] else ""
        masked = "".join(side for side in ("c", "s") if not masks[side][k])
        net = work.node_net[lands[0][1]]
        out.append(
            PinPlace(
                part.ref,
                pin.number,
                net,
                pin.x_mm,
                pin.y_mm,
                pin.hole is not None,
                part.side,
                lands,
                leg,
                hidden,
                masked,
            )
        )
    return out


def _covers(part: Part, shape: Any, pin: Pin) -> bool:
    """Whether the part's outline covers the pin; an envelope drawn round the pins for want of an outline covers none of its rim."""
    spot = shapely.Point(pin.x_mm, pin.y_mm)
    deep = COVERED_MM if part.outline_from == "silkscreen" else 2.0
    return bool(shape.contains(spot)) and float(shape.exterior.distance(spot)) > deep


def _leg_shows(part: Part) -> bool:
    """Whether legs can be touched although the outline covers them: connectors, and parts with one or two rows of at least two pins."""
    letters = part.ref.rstrip("0123456789").upper()
    if letters in CONNECTOR_PREFIXES:
        return True
    if len(part.pins) < 3:
        return letters.startswith(("R", "D", "W"))
    xy = np.array([(p.x_mm, p.y_mm) for p in part.pins])
    centre = xy - xy.mean(axis=0)
    _, _, axes = np.linalg.svd(centre, full_matrices=False)
    off = centre @ axes[-1]
    return bool(np.all(np.minimum(np.abs(off - off.min()), np.abs(off - off.max())) <= ROW_SLACK_MM))


def _open_at(board: Board, side: str, xy: list[tuple[float, float]]) -> NDArray[np.bool_]:
    """(n,) whether the solder mask of that side is open at each place; all open where the board has no mask data for the side."""
    masks = dict(board.mask_openings)
    if side not in masks or not xy:
        return np.ones(len(xy), dtype=bool)
    shapes = masks[side]
    out = np.zeros(len(xy), dtype=bool)
    if not len(shapes):
        return out
    spots = shapely.points(np.asarray(xy, dtype=np.float64))
    boxes = shapely.box(*shapes.bounds_mm().T)
    i, j = shapely.STRtree(boxes).query(spots, predicate="intersects")
    hit = shapely.distance(shapes.skeleton[j], spots[i]) <= shapes.radius_mm[j] + 1e-6
    out[i[hit]] = True
    return out


# words --------------------------------------------------------------------------------------------------------


def _name_nodes(work: _Work) -> None:
    """Words for every node: its pin, the via, the land, the pour, the junction, the free end."""
    names: dict[int, str] = {}
    for pin in work.pins:
        for _, node in pin.lands:
            if work.node_kind[node] != "sheet":
                names.setdefault(node, pin.name)
    via = {layer.node_of_hole(hole) for layer in work.layers for hole in layer.parts.hole_blob}
    for node, kind in enumerate(work.node_kind):
        if node in names:
            work.node_words[node] = names[node]
            continue
        x, y, key = work.node_place[node]
        if kind == "sheet":
            work.node_words[node] = f"the pour on the {layer_words(key)}"
            continue
        what = {"land": "via" if node in via else "land", "junction": "junction", "end": "free end"}[kind]
        work.node_words[node] = f"the {what} {work.places.words(x, y)}"


# sites --------------------------------------------------------------------------------------------------------


def _runs(work: _Work) -> None:
    """Track runs; a short run between a land and a sheet is one of its spokes."""
    taken: dict[str, int] = {}
    made: list[tuple[str, float, Site]] = []
    for layer in work.layers:
        for run in layer.topology.runs:
            made.append(_run(work, layer, run))
    for base, _, site in sorted(made, key=lambda m: (m[0], m[1])):
        taken[base] = taken.get(base, 0) + 1
        work.sites.append(site if taken[base] == 1 else replace(site, id=f"{base}#{taken[base]}"))


SPOKE_MAX_MM = 3.0


def _run(work: _Work, layer: _Layer, run: Run) -> tuple[str, float, Site]:
    a, b, path, widths = layer.first + run.a, layer.first + run.b, run.path, run.widths
    ends = [_end_place(work, n, p) for n, p in ((a, path[0]), (b, path[-1]))]
    if ends[0] > ends[1]:
        a, b, path, widths, ends = b, a, path[::-1], widths[::-1], ends[::-1]
    kinds = {work.node_kind[a], work.node_kind[b]}
    spoke = kinds == {"land", "sheet"} and run.length <= SPOKE_MAX_MM
    key = layer.copper.key
    ohm = track_ohm(path, widths) / sheet_resistance_ohm() * layer.sheet_ohm
    if spoke:
        middle = (
            path[len(path) // 2] if len(path) > 2 else ((path[0][0] + path[1][0]) / 2, (path[0][1] + path[1][1]) / 2)
        )
        base = f"spoke@{key}:{xy_id(*middle)}"
        words = f"the spoke from {_ends_words(work, a, b)}"
    else:
        base = f"run@{key}:{ends[0][0]},{ends[0][1]}>{ends[1][0]},{ends[1][1]}"
        words = (
            f"the track from {_ends_words(work, a, b)}, {layer_words(key)}, "
            f"{mm_words(run.length)} mm of {mm_words(min(widths))} mm"
        )
    kind = SiteKind.SPOKE if spoke else SiteKind.RUN
    site = Site(
        base, kind, work.node_net[a], a, b, key, tuple(path), tuple(widths), run.length, min(widths), ohm, words=words
    )
    return base, run.length, site


def _end_place(work: _Work, node: int, path_end: tuple[float, float]) -> tuple[int, int]:
    """The place that names a run's end in whole micrometres: its land or junction, on a sheet where the track enters."""
    x, y = path_end if work.node_kind[node] == "sheet" else work.node_place[node][:2]
    spot = xy_id(x, y).split(",")
    return int(spot[0]), int(spot[1])


def _ends_words(work: _Work, a: int, b: int) -> str:
    first, second = work.node_words[a], work.node_words[b]
    if first.startswith("the ") and not second.startswith("the "):
        first, second = second, first
    return f"{first} to {second}"


def _spokes(work: _Work) -> None:
    seen: dict[str, int] = {}
    for layer in work.layers:
        key = layer.copper.key
        for spoke in layer.topology.spokes:
            land, sheet = layer.first + spoke.land, layer.first + spoke.sheet
            base = f"spoke@{key}:{xy_id(*spoke.place)}"
            seen[base] = seen.get(base, 0) + 1
            work.sites.append(
                Site(
                    base if seen[base] == 1 else f"{base}#{seen[base]}",
                    SiteKind.SPOKE,
                    work.node_net[land],
                    land,
                    sheet,
                    key,
                    (spoke.place,),
                    (),
                    spoke.length,
                    spoke.width,
                    layer.sheet_ohm * spoke.length / spoke.width,
                    words=f"the spoke from {work.node_words[land]} to {work.node_words[sheet]}",
                )
            )


def _barrels(work: _Work) -> None:
    """A barrel between consecutive layers on which copper meets the wall of a plated hole."""
    order = {layer.copper.key: k for k, layer in enumerate(work.layers)}
    step = work.board.thickness_mm / max(1, len(work.layers) - 1)
    pin_at: dict[int, str] = {}
    for part in work.board.parts:
        for pin in part.pins:
            if pin.hole is not None:
                pin_at.setdefault(pin.hole, pin.name)
    for index, hole in enumerate(work.board.holes):
        nodes = [(layer.copper.key, node) for layer in work.layers if (node := layer.node_of_hole(index)) is not None]
        if not hole.plated or len(nodes) < 2:
            continue
        x, y = (hole.x_mm + hole.x2_mm) / 2, (hole.y_mm + hole.y2_mm) / 2
        where = pin_at.get(index) or f"the via {work.places.words(x, y)}"
        slot = math.dist((hole.x_mm, hole.y_mm), (hole.x2_mm, hole.y2_mm))
        for (upper, a), (lower, b) in itertools.pairwise(nodes):
            height = step * (order[lower] - order[upper])
            ohm = barrel_ohm(hole.diameter_mm, height) if slot == 0 else slot_ohm(hole.diameter_mm, slot, height)
            span = "" if len(work.layers) == 2 else f", {layer_words(upper)} to {layer_words(lower)}"
            work.sites.append(
                Site(
                    f"barrel@{xy_id(x, y)}:{upper}-{lower}",
                    SiteKind.BARREL,
                    work.node_net[a],
                    a,
                    b,
                    f"{upper}-{lower}",
                    ((x, y),),
                    (),
                    height,
                    hole.diameter_mm,
                    ohm,
                    words=f"the barrel of {where}{span}" if index not in pin_at else f"the hole wall at {where}{span}",
                )
            )


# points -------------------------------------------------------------------------------------------------------


def _bare_points(work: _Work) -> None:
    """Vias and lands that belong to no pin, on the outer sides, where the mask is open and no body is in the way."""
    pinned = {node for pin in work.pins for _, node in pin.lands}
    pin_holes = {pin.hole for part in work.board.parts for pin in part.pins if pin.hole is not None}
    rows: list[tuple[str, float, float, str, int, str]] = []
    for layer in work.layers:
        side = layer.copper.key
        if side not in ("c", "s"):
            continue
        for index in layer.parts.hole_blob:
            node = layer.node_of_hole(index)
            if node is not None and index not in pin_holes:
                hole = work.board.holes[index]
                x, y = (hole.x_mm + hole.x2_mm) / 2, (hole.y_mm + hole.y2_mm) / 2
                rows.append((f"via@{xy_id(x, y)}/{side}", x, y, side, node, "via"))
        for k, blob in enumerate(layer.parts.blobs):
            node = layer.first + layer.topology.blob_node[k]
            if blob.kind == "land" and blob.flashed and not blob.holes and node not in pinned:
                rows.append((f"land@{xy_id(*blob.place)}/{side}", *blob.place, side, node, "land"))
    for side in ("c", "s"):
        own = [r for r in rows if r[3] == side]
        opened = _open_at(work.board, side, [(r[1], r[2]) for r in own])
        seen: set[str] = set()
        for row, is_open in zip(own, opened.tolist(), strict=True):
            if row[0] not in seen:
                seen.add(row[0])
                work.points.append(_bare_point(work, row, is_open))


def _bare_point(work: _Work, row: tuple[str, float, float, str, int, str], is_open: bool) -> ProbePoint:
    name, x, y, side, node, kind = row
    over = work.places.covering(x, y, side)
    why = "" if is_open else "covered by the solder mask"
    needs: tuple[tuple[str, PartState], ...] = ()
    if is_open and over:
        why = f"under the body of {over}"
        needs = ((over, PartState.NOT_FITTED),)
    return ProbePoint(name, node, work.node_net[node], x, y, side, "", "", kind, not why, why, needs)


def _lay_pins(work: _Work) -> None:
    states = {part.ref: part.state for part in work.board.parts}
    for pin in work.pins:
        state = states[pin.part]
        laid = lay_pin(pin, state, state is PartState.SOCKETED, len(work.node_net))
        for kind, net, place in laid.nodes:
            work.node_kind.append(kind)
            work.node_net.append(net)
            work.node_place.append(place)
        work.sites += laid.sites
        work.points += laid.points


# the end ------------------------------------------------------------------------------------------------------


def _finish(work: _Work) -> CopperGraph:
    board = work.board
    sheets = []
    for layer in work.layers:
        nodes: dict[int, list[Any]] = {}
        for k, blob in enumerate(layer.parts.blobs):
            node = layer.first + layer.topology.blob_node[k]
            if work.node_kind[node] == "sheet":
                nodes.setdefault(node, []).extend(blob.pieces)
        for mesh, runs in layer.topology.hatch.items():
            strokes = [(shapely.LineString(run.path), min(run.widths) / 2) for run in runs]
            nodes.setdefault(layer.first + mesh, []).extend(strokes)
        sheets += [Sheet(n, layer.copper.key, _rings(p), layer.sheet_ohm) for n, p in sorted(nodes.items())]
    through = tuple(Through(p.ref, a, b, ohm) for p in board.parts for a, b, ohm in p.through_ohm)
    states = tuple((p.ref, p.state) for p in board.parts)
    ids: dict[str, int] = {}
    points = []
    for point in work.points:
        ids[point.id] = ids.get(point.id, 0) + 1
        points.append(point if ids[point.id] == 1 else replace(point, id=f"{point.id}#{ids[point.id]}"))
    graph = CopperGraph(
        package_id=board.package_id,
        net_names=tuple(net.name for net in board.nets),
        node_net=tuple(work.node_net),
        node_place=tuple(work.node_place),
        node_kind=tuple(work.node_kind),
        sites=_unique(work.sites),
        points=tuple(points),
        part_states=states,
        pins=tuple(work.pins),
        sheets=tuple(sheets),
        through=through,
        built_states=states,
        findings=tuple(_findings(work)),
    )
    return replace(graph, sites=graph.sites + through_sites(graph), memo={})


def _unique(sites: list[Site]) -> tuple[Site, ...]:
    seen: dict[str, int] = {}
    out = []
    for site in sites:
        seen[site.id] = seen.get(site.id, 0) + 1
        out.append(site if seen[site.id] == 1 else replace(site, id=f"{site.id}#{seen[site.id]}"))
    return tuple(out)


def _rings(pieces: list[tuple[Any, float]]) -> tuple[tuple[tuple[tuple[float, float], ...], ...], ...]:
    """The pieces of a sheet as polygons that may overlap; the resistance model unites them when it is asked."""
    shapes = [shapely.buffer(g, r) if r > 0 else g for g, r in pieces]
    polygons = [p for p in shapely.get_parts(np.array(shapes, dtype=object)) if p.geom_type == "Polygon"]
    if not polygons:
        return ()
    coordinates, (ring_start, polygon_start) = shapely.to_ragged_array(polygons)[1:]
    points = [(x, y) for x, y in coordinates.tolist()]
    rings = [tuple(points[a:b]) for a, b in itertools.pairwise(ring_start.tolist())]
    return tuple(tuple(rings[a:b]) for a, b in itertools.pairwise(polygon_start.tolist()))


def _findings(work: _Work) -> list[Finding]:
    out = []
    for side in ("c", "s"):
        if side in {layer.copper.key for layer in work.layers} and side not in dict(work.board.mask_openings):
            out.append(
                Finding(
                    "GRF-001",
                    Severity.GUESS,
                    Place(layer=side),
                    f"No solder mask data for the {layer_words(side)}: every via and land there counts as bare.",
                    "Add the mask file, or answer can't reach where the mask covers the copper.",
                )
            )
    placed = {(p.part, p.number) for p in work.pins}
    lost = [pin.name for part in work.board.parts for pin in part.pins if (part.ref, pin.number) not in placed]
    if lost:
        some = ", ".join(lost[:8]) + (" ..." if len(lost) > 8 else "")
        out.append(
            Finding(
                "GRF-002",
                Severity.WARNING,
                Place(),
                f"{len(lost)} pins stand on no copper and have no probe points: {some}",
                "Compare the netlist with the copper at these places.",
            )
        )
    return out
