"""From records to a Board, in two pure steps with the islands between them.

``prepare(records)`` orders the layers, takes clear polarity away and lists the holes; ``core.copper.islands`` then joins copper and
drill (it sees no name); ``assemble(prepared, islands)`` names nets and finds pins, parts and the places of netlist points.
``core.copper.fabricate.board_from`` runs the three.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.centroids import placement_findings
from coppermend.core.board.conditions import condition_words
from coppermend.core.board.cutouts import loose_strokes, without_milled
from coppermend.core.board.cuts import cut_findings, kept_cuts, with_cuts
from coppermend.core.board.edge import within_edge
from coppermend.core.board.joined import Holes, Islands
from coppermend.core.board.lands import HoleFinder, netlist_lands, pins_of, x2_lands
from coppermend.core.board.match import CopperIndex, copper_at, copper_index
from coppermend.core.board.model import Board, CopperLayer, Hole, NetlistPoint, Part, Pin
from coppermend.core.board.names import nearest_names
from coppermend.core.board.naming import name_islands
from coppermend.core.board.negative import look, says_negative
from coppermend.core.board.netlists import PlacedNetlist, ignored, netlist_findings, place_netlist, plating_findings
from coppermend.core.board.panel import (
    panel_finding,
    panel_of_copper,
    renamed_layer,
    renamed_points,
    rows_of_copies,
    rows_told_apart,
)
from coppermend.core.board.parts import CLOSING_MM, Silk, parts_of
from coppermend.core.board.records import GerberImage
from coppermend.core.board.sources import Corrections, PackageRecords, PartRow
from coppermend.core.board.spanfit import span_doubts
from coppermend.core.board.stack import (
    CopperSource,
    copper_roles,
    copper_source,
    drill_findings,
    frame_of,
    hole_columns,
    layer_findings,
    layer_keys,
    plating_stated,
    without_repeats,
)
from coppermend.core.board.twice import told_once
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.geometry.polarity import after_clearing, negated
from coppermend.core.geometry.rings import board_rings
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.core.units import BOARD_THICKNESS_MM, COPPER_THICKNESS_MM

X2_SOURCE = "X2 attributes"
"""The source name of points that come from X2 .P and .N in the copper files."""


@dataclass(frozen=True, slots=True)
class Prepared:
    """A package ready for its islands: copper layers from c to s, holes as columns, outline, silkscreen, mask openings, findings so far."""

    records: PackageRecords
    layers: tuple[CopperSource, ...]
    holes: Holes
    outline: tuple[NDArray[np.float64], ...]
    silk: tuple[Silk, ...]
    mask: tuple[tuple[str, ShapeSet], ...]
    findings: tuple[Finding, ...]


def prepare(records: PackageRecords) -> Prepared:
    """Order the copper layers, take clear polarity away, list the holes. Raises Refusal when there is no copper layer."""
    outline, is_profile, strokes = _outline(records)
    roles = copper_roles(records)
    lone = roles[0][0].side or "c"
    keys = layer_keys(len(roles), lone if lone in ("c", "s") else "c")
    holes, dropped, contradicted = without_repeats(
        hole_columns(records.drills, dict(records.roles), len(roles)), plating_stated(records.drills, records.roles)
    )
    roles = [(role, replace(image, negative=says_negative(image))) for role, image in roles]
    outer = [image for _, image in (roles[0], roles[-1])]
    seen = [
        (image, look(image, holes.take((holes.first <= k) & (k <= holes.last)), outer, frame_of(outline, image)))
        for k, (role, image) in enumerate(roles[1:-1], 1)
        if not role.negative and len(image.shapes)
    ]
    turned = [image.name for image, one in seen if one.negative]
    roles = [(role, replace(image, negative=image.negative or image.name in turned)) for role, image in roles]
    cuts = records.corrections.cuts
    layers = tuple(
        copper_source(
            key,
            role,
            with_cuts(replace(image, negative=image.negative or role.negative), [c for c in cuts if c.layer == key]),
            outline,
        )
        for key, (role, image) in zip(keys, roles, strict=True)
    )
    uncut = {
        key: copper_source(key, role, replace(image, negative=image.negative or role.negative), outline).pieces.shapes
        for key, (role, image) in zip(keys, roles, strict=True)
        if any(c.layer == key for c in cuts)
    }
    layers, milled = without_milled(outline, layers, holes, is_profile)
    layers, beyond = within_edge(outline, layers, holes, is_profile)
    findings = [*records.findings, *_reader_findings(records), *layer_findings(records, layers)]
    findings += [one.finding for _, one in seen if one.finding is not None]
    findings += cut_findings(cuts, uncut, keys)
    findings += [*drill_findings(records, holes, dropped), *contradicted]
    findings += [*milled, *beyond, *(loose_strokes(outline, strokes, layers) if is_profile else ())]
    if not outline:
        findings.append(
            Finding(
                "BRD-006",
                Severity.NOTE,
                Place(thing="board outline"),
                "No closed board outline was found; the map ends with the copper.",
                "Name the outline file in coppermend-corrections.toml if the package has one.",
            )
        )
    silk = tuple(_silk(records, side) for side in ("c", "s"))
    return Prepared(
        records,
        layers,
        holes,
        outline,
        tuple(s for s in silk if len(s.shapes)),
        _masks(records, outline),
        tuple(findings),
    )


def _reader_findings(records: PackageRecords) -> list[Finding]:
    groups = [one.findings for one in records.images] + [one.findings for one in records.drills]
    groups += [one.findings for one in records.netlists]
    return [finding for group in groups for finding in group]


def _of_kind(records: PackageRecords, kind: str, side: str = "") -> list[GerberImage]:
    out = []
    for image in records.images:
        role = records.roles.get(image.name)
        if role is not None and role.kind == kind and (not side or role.side == side):
            out.append(image)
    return out


_PROFILE = re.compile(
    r"edge[ _.-]?cuts?|outline|profile|contour|board[ _-]?(?:edge|shape)|cut[ _-]?outs?|\.(?:gko|gml|oln|mil)\Z", re.I
)


def _outline(records: PackageRecords) -> tuple[tuple[NDArray[np.float64], ...], bool, ShapeSet]:
    """The rings of the board's edge, whether X2, the job file, the corrections or the file's name state that they are its profile, and all strokes."""
    for image in _of_kind(records, "outline"):
        stated = records.roles[image.name].from_.lower() in ("x2", "job", "job file", "corrections")
        profile = stated or _PROFILE.search(image.name.rsplit("/", 1)[-1]) is not None
        drawn = image.shapes.take(image.dark)
        strokes = drawn.take((shapely.get_type_id(drawn.skeleton) == 1) & (shapely.length(drawn.skeleton) > 0))
        rings = board_rings(strokes.skeleton, CLOSING_MM)
        if rings:
            return rings, profile, strokes
        areas = drawn.skeleton[shapely.get_dimensions(drawn.skeleton) == 2]
        if len(areas):
            found = [np.asarray(shapely.get_coordinates(one.exterior)) for one in areas if one.geom_type == "Polygon"]
            return tuple(found), profile, strokes
    return (), False, ShapeSet.of([], [])


def _silk(records: PackageRecords, side: str) -> Silk:
    images = _of_kind(records, "silk", side)
    shapes = [image.shapes.take(image.dark) for image in images]
    parts = [_text(image, "part")[image.attribute][image.dark] for image in images]
    if not images:
        return Silk(side, ShapeSet.of([], []), np.empty(0, dtype=object))
    whole = ShapeSet(np.concatenate([s.skeleton for s in shapes]), np.concatenate([s.radius_mm for s in shapes]))
    solid = ~shapely.is_empty(whole.skeleton)
    return Silk(side, whole.take(solid), np.concatenate(parts)[solid])


def _masks(records: PackageRecords, outline: Sequence[NDArray[np.float64]]) -> tuple[tuple[str, ShapeSet], ...]:
    """Openings of each mask: what the file draws, or all but that where the file is said to draw the mask itself (``negative`` of the image)."""
    out = []
    for side in ("c", "s"):
        for image in _of_kind(records, "mask", side)[:1]:
            shapes, dark = image.shapes, image.dark
            if image.negative and len(shapes):
                shapes, dark = negated(shapes, dark, frame_of(outline, image))
            out.append((side, after_clearing(shapes, dark).shapes))
    return tuple(out)


def _text(image: GerberImage, name: str) -> NDArray[Any]:
    """One attribute as a column over ``image.attributes``; at least one row, so that an image without attributes has ""."""
    column = np.empty(max(1, len(image.attributes)), dtype=object)
    column[:] = [getattr(one, name) for one in image.attributes] or [""]
    return column


def _copper_layer(
    source: CopperSource, at: int, islands: Islands
) -> tuple[CopperLayer, NDArray[Any], NDArray[np.float64]]:
    """The board's copper layer, its (n, 3) part, pin and pin function texts, and its (n, 2) places (flash positions, else box middles)."""
    found = islands.layers[at]
    origin = source.pieces.source[found.source]
    image, frame = source.image, origin < 0
    attribute = np.where(frame, 0, image.attribute[origin]) if len(image.attribute) else np.zeros(len(origin), np.int64)
    texts = {
        name: _text(image, name)[attribute] for name in ("part", "pin", "pin_function", "net", "aperture_function")
    }
    for column in texts.values():
        column[frame] = ""
    kind = np.empty(len(origin), dtype=object)
    kind[:] = [str(k) for k in image.kind[origin]] if len(image.kind) else "region"
    kind[frame] = "region"
    pads = np.column_stack([texts["part"], texts["pin"], texts["pin_function"]])
    pads[(pads[:, 0] == "") | (pads[:, 1] == ""), :] = ""
    pin = np.where(pads[:, 0] == "", "", pads[:, 0] + "." + pads[:, 1])
    box = found.shapes.bounds_mm()
    places = (box[:, :2] + box[:, 2:]) / 2 if len(box) else np.empty((0, 2))
    if image.at_mm is not None and len(origin):
        flash = (kind == "flash") & ~frame
        places[flash] = image.at_mm[origin[flash]]
    layer = CopperLayer(
        source.key,
        image.name,
        found.shapes,
        kind,
        islands.piece_island[at],
        pin,
        texts["net"],
        texts["aperture_function"],
        found.contacts,
        found.walls,
    )
    return layer, pads, places


def _holes(columns: Holes, keys: Sequence[str], islands: Islands) -> tuple[Hole, ...]:
    rows = zip(
        columns.x_mm.tolist(),
        columns.y_mm.tolist(),
        columns.x2_mm.tolist(),
        columns.y2_mm.tolist(),
        columns.diameter_mm.tolist(),
        columns.plated.tolist(),
        columns.first.tolist(),
        columns.last.tolist(),
        islands.hole_island.tolist(),
        columns.file.tolist() if len(columns.file) else [-1] * len(columns),
        strict=True,
    )
    return tuple(
        Hole(x, y, x2, y2, d, plated, tuple(keys[first : last + 1]), island if island >= 0 and plated else None, file)
        for x, y, x2, y2, d, plated, first, last, island, file in rows
    )


@dataclass(frozen=True, slots=True)
class Copper:
    """The joined copper with its texts and places: what pins and names are found on."""

    layers: tuple[CopperLayer, ...]
    pads: tuple[NDArray[Any], ...]
    places: tuple[NDArray[np.float64], ...]
    holes: tuple[Hole, ...]
    finder: HoleFinder
    index: CopperIndex
    copies: int = 1


def _copper(prepared: Prepared, islands: Islands) -> Copper:
    rows = [_copper_layer(source, at, islands) for at, source in enumerate(prepared.layers)]
    keys = [source.key for source in prepared.layers]
    holes = _holes(prepared.holes, keys, islands)
    panel = panel_of_copper([row[0] for row in rows], [row[1] for row in rows], [row[2] for row in rows])
    if panel is not None:
        rows = [(*renamed_layer(layer, pads, places, panel), places) for layer, pads, places in rows]
    layers = tuple(row[0] for row in rows)
    index = copper_index(keys, [layer.shapes for layer in layers])
    pads, places = tuple(row[1] for row in rows), tuple(row[2] for row in rows)
    return Copper(layers, pads, places, holes, HoleFinder(holes), index, 1 if panel is None else len(panel))


def _flash_places(copper: Copper) -> list[NDArray[np.float64]]:
    """Places of the lands of each layer that are flashed or drawn as a dot."""
    return [
        places[(layer.kind == "flash") | layer.shapes.dots()]
        for layer, places in zip(copper.layers, copper.places, strict=True)
    ]


def assemble(prepared: Prepared, islands: Islands) -> Board:
    """The board: nets from the islands, names, pins and parts from X2 attributes and netlists, netlist points on the copper."""
    records = prepared.records
    said = records.corrections
    copper = _copper(prepared, islands)
    findings = [*prepared.findings, *span_doubts(prepared.holes, islands, copper.index.keys, _flash_places(copper))]
    placed: list[PlacedNetlist] = []
    copies = copper.copies
    for netlist in records.netlists:
        if netlist.name in said.ignore_netlists:
            continue
        one = place_netlist(
            netlist, copper.layers, copper.places, copper.index, copper.holes, copper.finder, said.origin_shift_mm
        )
        findings += [*netlist_findings(one), *plating_findings(netlist, one, copper.holes, copper.finder)]
        points, count = renamed_points(one.points)
        copies = max(copies, count)
        placed.append(replace(one, points=points))
    if copies > 1:
        findings.append(panel_finding(copies))
    pins = _pins(copper, [one for one in placed if not ignored(one)])
    votes: Counter[tuple[int, str]] = Counter()
    for one in placed:
        if not ignored(one):
            votes.update(zip(one.island.tolist(), (p.net for p in one.points), strict=True))
    overrule, more = _named_by_user(prepared, copper, pins)
    findings += more
    nets = name_islands(copper.layers, islands.count, pins, votes, overrule)
    given = rows_told_apart(records.part_rows, copies) if copies > 1 else records.part_rows
    given, twice = told_once(given, pins)
    listed = [*_stated_parts(records), *given]
    rows, more = _part_rows(rows_of_copies(listed, copies, {pin.part for pin in pins}) if copies > 1 else listed, pins)
    findings += [*more, *twice, *placement_findings(given, pins)]
    parts = parts_of(pins, rows, said, prepared.silk)
    findings += _part_findings(prepared, parts, pins)
    shift = (placed[0].placing.dx_mm, placed[0].placing.dy_mm) if placed else (0.0, 0.0)
    thickness = said.thickness_mm or records.thickness_mm or BOARD_THICKNESS_MM
    return Board(
        package_id=records.package_id,
        title=records.title,
        layers=copper.layers,
        holes=copper.holes,
        parts=parts,
        nets=nets,
        outline=prepared.outline,
        silk=tuple((one.side, one.shapes) for one in prepared.silk),
        mask_openings=prepared.mask,
        netlist_points=tuple(point for one in placed for point in one.points),
        origin_shift_mm=shift,
        thickness_mm=thickness,
        copper_thickness_mm=_copper_mm(records, copper.layers),
        findings=(*findings, *_no_such_layer(said, copper.layers)),
        corrections=said.digest,
        drill_files=prepared.holes.files,
        extra={
            **records.extra,
            **condition_words(said.copper_spread, said.temperature_c),
            **kept_cuts([cut for cut in said.cuts if cut.layer in copper.index.keys]),
            **{shift_key(one.name): f"{one.placing.dx_mm!r} {one.placing.dy_mm!r}" for one in placed},
        },
    )


def _copper_mm(records: PackageRecords, layers: Sequence[CopperLayer]) -> tuple[tuple[str, float], ...]:
    """Copper thickness by layer key: what the corrections say of the layer, then of all, then what the package states, then 1 oz/ft2."""
    said, stated = records.corrections.copper_mm, records.copper_mm
    every = said.get("")
    return tuple((one.key, said.get(one.key, every or stated.get(one.file, COPPER_THICKNESS_MM))) for one in layers)


def _no_such_layer(said: Corrections, layers: Sequence[CopperLayer]) -> list[Finding]:
    keys = [layer.key for layer in layers]
    return [
        Finding(
            "COR-004",
            Severity.WARNING,
            Place(file="coppermend-corrections.toml", thing=f"board.copper_um.{key}"),
            f"The corrections give the copper of layer {key}; the board has {', '.join(keys)}. It is not applied.",
        )
        for key in said.copper_mm
        if key and key not in keys
    ]


def _pins(copper: Copper, placed: Sequence[PlacedNetlist]) -> list[Pin]:
    """Pins from X2 where the copper states any; the netlists add parts that X2 does not know, at places that no pin has yet.

    Netlists cut and upper-case reference designators, so a place that has its pin is not given another one.
    """
    lands = x2_lands(copper.layers, copper.pads, copper.places, copper.finder)
    for one in placed:
        known = {land.part for land in lands}
        taken = {(_spot(land.x_mm, land.y_mm), key) for land in lands for key in land.layers}
        through = one.through.tolist() if one.holes_known else [None] * len(one.points)
        new = netlist_lands(one.points, one.island.tolist(), through, copper.finder)
        lands += [
            land
            for land in new
            if land.part not in known and not any((_spot(land.x_mm, land.y_mm), key) in taken for key in land.layers)
        ]
    return pins_of(lands, copper.holes, len(copper.layers))


def _spot(x_mm: float, y_mm: float) -> tuple[int, int]:
    """The cell of a 0.2 mm grid that a place lies in: coarser than netlist rounding, finer than any pitch of pins."""
    return round(x_mm * 5), round(y_mm * 5)


def _named_by_user(prepared: Prepared, copper: Copper, pins: Sequence[Pin]) -> tuple[dict[int, str], list[Finding]]:
    """Names that the corrections give: by pin ``U1.8`` or by place ``"12.7, 30.0 c"``. Unknown ones become findings with the nearest names."""
    by_pin = {pin.name: pin.net for pin in pins}
    out: dict[int, str] = {}
    findings: list[Finding] = []
    for where, name in prepared.records.corrections.net_names.items():
        island = by_pin.get(where) if where in by_pin else _island_at(copper, where)
        if island is None:
            near = ", ".join(nearest_names(where, list(by_pin)))
            findings.append(
                Finding(
                    "BRD-030",
                    Severity.WARNING,
                    Place(file="coppermend-corrections.toml", thing=where),
                    f"The corrections name the net at {where} {name}, but no pin or copper is there."
                    + (f" Nearest pins: {near}." if near else ""),
                    "Give a pin (U1.8) or a place with its layer (12.7, 30.0 c).",
                )
            )
        else:
            out[island] = name
    return out, findings


def _island_at(copper: Copper, where: str) -> int | None:
    words = where.replace(",", " ").split()
    if len(words) != 3 or words[2] not in copper.index.keys:
        return None
    try:
        xy = np.array([[float(words[0]), float(words[1])]])
    except ValueError:
        return None
    piece = int(copper_at(copper.index, words[2], xy, np.array([0.1]))[0])
    return None if piece < 0 else int(copper.layers[copper.index.keys.index(words[2])].island[piece])


def _stated_parts(records: PackageRecords) -> list[PartRow]:
    """Values and footprints that the copper files state by X2 (.CVal, .CFtp); a parts list comes after them and wins."""
    found: dict[str, PartRow] = {}
    for image in _of_kind(records, "copper"):
        for one in image.attributes:
            if one.part and (one.value or one.footprint):
                found[one.part] = PartRow(one.part, one.value, one.footprint, None, image.name)
    return list(found.values())


def _part_rows(rows: Sequence[PartRow], pins: Sequence[Pin]) -> tuple[dict[str, PartRow], list[Finding]]:
    known = {pin.part for pin in pins}
    strange = [row for row in rows if row.ref not in known]
    findings = []
    if strange and known:
        names = ", ".join(row.ref for row in strange[:8]) + (" ..." if len(strange) > 8 else "")
        findings.append(
            Finding(
                "BRD-031",
                Severity.NOTE,
                Place(file=strange[0].source.rpartition(" line ")[0] or strange[0].source),
                f"The parts list names {len(strange)} parts that have no pin on the copper: {names}.",
            )
        )
    merged: dict[str, PartRow] = {}
    for row in rows:
        old = merged.get(row.ref, row)
        merged[row.ref] = PartRow(
            row.ref,
            row.value or old.value,
            row.package or old.package,
            row.state or old.state,
            row.source,
            row.side or old.side,
            old.x_mm if row.x_mm is None else row.x_mm,
            old.y_mm if row.y_mm is None else row.y_mm,
            old.rotation_deg if row.rotation_deg is None else row.rotation_deg,
            row.outline or old.outline,
        )
    return merged, findings


def _part_findings(prepared: Prepared, parts: Sequence[Part], pins: Sequence[Pin]) -> list[Finding]:
    findings = []
    if not parts:
        findings.append(
            Finding(
                "BRD-032",
                Severity.WARNING,
                Place(thing=prepared.records.title or "package"),
                "Neither X2 attributes nor a netlist name a part. Nets come from the copper alone; lands and vias can be probed, pins have no names.",
                "Add an IPC-D-356 netlist or Gerber files with X2 attributes.",
            )
        )
    bare = [part.ref for part in parts if part.outline_from == "pins"]
    if bare and prepared.silk:
        names = ", ".join(bare[:8]) + (" ..." if len(bare) > 8 else "")
        findings.append(
            Finding(
                "BRD-033",
                Severity.GUESS,
                Place(thing="part outlines"),
                f"{len(bare)} of {len(parts)} parts have no closed outline in the silkscreen; theirs is the box round their pins: {names}.",
                "Give outlines in coppermend-corrections.toml where it matters which points a body covers.",
            )
        )
    lost = [pin.name for pin in pins if pin.net is None]
    if lost:
        names = ", ".join(lost[:8]) + (" ..." if len(lost) > 8 else "")
        findings.append(
            Finding(
                "BRD-034",
                Severity.WARNING,
                Place(thing="pins"),
                f"{len(lost)} pins lie on no copper: {names}.",
                "Check that netlist and copper belong to the same board.",
            )
        )
    return findings


def shift_key(source: str) -> str:
    """The key in ``Board.extra`` of a netlist's own shift ("dx dy" in mm); ``origin_shift_mm`` is that of the first netlist."""
    return f"shift of {source}"


def shift_of(board: Board, source: str) -> tuple[float, float]:
    """The shift of one netlist source in mm; zero for X2, which lies on its copper."""
    words = board.extra.get(shift_key(source), "").split()
    return (float(words[0]), float(words[1])) if len(words) == 2 else (0.0, 0.0)


def with_seconds(board: Board, seconds: Sequence[tuple[str, float]]) -> Board:
    """The board with the seconds of its build stages."""
    return replace(board, seconds=tuple(seconds))


def x2_points(board: Board) -> tuple[NetlistPoint, ...]:
    """The points that X2 .P and .N state: one per pin, net and island (lands of one pin on several layers count once when copper joins them)."""
    rows: dict[tuple[str, str, int], tuple[int, int]] = {}
    for at, layer in enumerate(board.layers):
        for piece in np.flatnonzero((layer.pin != "") & (layer.stated_net != "")).tolist():
            rows.setdefault(
                (str(layer.pin[piece]), str(layer.stated_net[piece]), int(layer.island[piece])), (at, piece)
            )
    out = []
    boxes = [layer.shapes.bounds_mm() if len(layer.shapes) else np.empty((0, 4)) for layer in board.layers]
    for (name, net, island), (at, piece) in rows.items():
        part, _, pin = name.rpartition(".")
        x0, y0, x1, y1 = boxes[at][piece].tolist()
        key = (board.layers[at].key,)
        out.append(NetlistPoint(net, part, pin, (x0 + x1) / 2, (y0 + y1) / 2, key, X2_SOURCE, piece, island))
    return tuple(out)
