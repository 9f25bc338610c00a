"""From a board to its copper graph: topology of each layer, barrels between layers, pins, probe points, words."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.conditions import copper_spread, copper_temperature_c
from coppermend.core.board.model import Board, CopperLayer, PartState
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.copper.barepoints import bare_points
from coppermend.core.copper.blobs import hole_shapes, sort_layer
from coppermend.core.copper.draft import Draft, DraftLayer
from coppermend.core.copper.islands import contacts_of, reaches_wall
from coppermend.core.copper.model import CopperGraph, Sheet, Site, Through
from coppermend.core.copper.pinlands import pin_lands, pin_places
from coppermend.core.copper.pins import lay_pin
from coppermend.core.copper.places import Places, layer_words
from coppermend.core.copper.sites import barrels, name_nodes, runs, spokes
from coppermend.core.copper.topology import meet_layer
from coppermend.core.copper.unknown import unknown_graph
from coppermend.core.copper.version import GRAPH_VERSION as GRAPH_VERSION
from coppermend.core.copper.worked import through_sites
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.core.units import COPPER_THICKNESS_MM, sheet_resistance_ohm


def build_graph(board: Board, step: Callable[[str, float], None] = lambda _words, _share: None) -> CopperGraph:
    """The copper graph of a board with its parts in the states as built.

    ``step`` is told what is done next and the share of the whole (0 to 1) before each layer; what it raises ends the build.
    Net indices are those of ``board.nets``. Copper that no pin, hole or flash belongs to (lettering, frames) has no sites.
    Linear in the number of copper pieces up to the overlaps between them.
    """
    if not copper_is_known(board):
        return unknown_graph(board)
    work = Draft(board, Places(board))
    spots = _spots(board)
    wanted = _wanted(board)
    holes = hole_shapes(board)
    thickness = dict(board.copper_thickness_mm)
    for at, layer in enumerate(board.layers):
        step(f"tracks and lands of the {layer_words(layer.key)}", 0.8 * at / len(board.layers))
        whole = _with_contacts(layer, board)
        parts = sort_layer(board, whole, wanted, spots, holes)
        topology = meet_layer(parts)
        first = len(work.node_net)
        work.node_net += topology.node_net
        work.node_kind += topology.node_kind
        work.node_place += [(x, y, layer.key) for x, y in topology.node_place]
        ohm = sheet_resistance_ohm(thickness.get(layer.key, COPPER_THICKNESS_MM), copper_temperature_c(board))
        work.layers.append(DraftLayer(whole, parts, topology, first, ohm))
    step("sites and probe points", 0.8)
    pins = pin_lands(work)
    work.pins = pin_places(work, pins)
    name_nodes(work)
    runs(work)
    spokes(work)
    barrels(work)
    bare_points(work)
    _lay_pins(work)
    return _finish(work)


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


def _lay_pins(work: Draft) -> None:
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


def _finish(work: Draft) -> CopperGraph:
    board = work.board
    sheets = []
    for layer in work.layers:
        nodes: dict[int, list[Any]] = {}
        for k, blob in enumerate(layer.parts.blobs):
            node = layer.first + layer.topology.blob_node[k]
            if work.node_kind[node] == "sheet":
                nodes.setdefault(node, []).extend(blob.pieces)
        for mesh, strokes_of in layer.topology.hatch.items():
            strokes = [(shapely.LineString(run.path), min(run.widths) / 2) for run in strokes_of]
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
        copper_spread=copper_spread(board),
        copper_c=copper_temperature_c(board),
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
    if not pieces:
        return ()
    shapes = ShapeSet.of(*zip(*pieces, strict=True))
    drawn = shapes.radius_mm > 0
    shapes.skeleton[drawn] = shapely.buffer(shapes.skeleton[drawn], shapes.radius_mm[drawn])
    polygons = shapely.get_parts(shapes.skeleton)
    polygons = polygons[shapely.get_type_id(polygons) == shapely.GeometryType.POLYGON]
    if not len(polygons):
        return ()
    coordinates, (ring_start, polygon_start) = shapely.to_ragged_array(polygons)[1:]
    points = [(x, y) for x, y in coordinates.tolist()]
    rings = [tuple(points[a:b]) for a, b in itertools.pairwise(ring_start.tolist())]
    return tuple(tuple(rings[a:b]) for a, b in itertools.pairwise(polygon_start.tolist()))


def _findings(work: Draft) -> list[Finding]:
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
