"""What the readers say, as the records a board is built from."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.match import place_points
from coppermend.core.board.records import (
    DrillImage,
    GerberImage,
    LayerRole,
    Netlist,
    NetlistRecord,
    ObjectAttributes,
)
from coppermend.core.findings import Finding, Place, Severity
from coppermend.formats import drill as drill_format
from coppermend.formats import gerber as gerber_format
from coppermend.formats import ipcd356 as netlist_format

UNKNOWN_DRILL_MM = 0.2
"""Diameter taken for a hole whose tool has no size: small enough to miss every antipad, wide enough to meet its land; an assumption, stated in a finding."""


def gerber_record(image: gerber_format.GerberImage) -> GerberImage:
    """A Gerber file's objects with single net names and polarity as drawn (an IPNEG image is turned over by the builder)."""
    kinds = np.empty(len(gerber_format.KINDS), dtype=object)
    kinds[:] = [str(kind) for kind in gerber_format.KINDS]
    attributes = tuple(_attributes(one) for one in image.attributes)
    return GerberImage(
        name=image.name,
        kind=kinds[image.kind],
        dark=~image.dark if image.inverted else image.dark,
        shapes=image.shapes,
        attribute=image.attribute,
        attributes=attributes,
        file_attributes=image.file_attributes,
        negative=image.inverted,
        findings=image.findings,
        tolerance_mm=gerber_format.CHORD_ERROR_MM,
        at_mm=image.at_mm,
        film_mm=image.film_mm,
    )


def _attributes(one: gerber_format.ObjectAttributes) -> ObjectAttributes:
    more = {name.lstrip("."): ",".join(values) for name, values in one.extra}
    return ObjectAttributes(
        one.function,
        one.nets[0] if one.nets else "",
        one.part,
        one.pin,
        one.pin_function,
        more.get("CVal", ""),
        more.get("CFtp", ""),
    )


MILLED_TOOLS = 12
"""A routed path longer than this many tool diameters is a mill path and no slot for a lead. Our choice."""

CLOSED_MM = 0.01


def drill_record(drill: drill_format.DrillFile) -> DrillImage:
    """A drill file's hits; tools without size get one, with a finding.

    Where plating is not stated, a routed path that closes or is longer than ``MILLED_TOOLS`` tools is a mill path: not plated; ``extra["milled"]`` counts them.
    Other routed slots, straight or bent, stay open like any hole.
    """
    plated = drill.plated.copy()
    if drill.file_plated is not None:
        plated[plated < 0] = int(drill.file_plated)
    diameter, findings = _sized(drill)
    milled = [path for path in _paths(drill, plated < 0) if _is_milled(drill, path, diameter)]
    for path in milled:
        plated[path] = 0
    return DrillImage(
        drill.name,
        drill.x_mm,
        drill.y_mm,
        drill.x2_mm,
        drill.y2_mm,
        diameter,
        plated.astype(np.int8),
        drill.span,
        (*drill.findings, *findings),
        {"format": drill.format.words(), **({"milled": str(len(milled))} if milled else {})},
    )


def _paths(drill: drill_format.DrillFile, which: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """The hits of each routed path among ``which``, in their order."""
    at = np.flatnonzero(which & (drill.path >= 0))
    if not len(at):
        return []
    order = at[np.argsort(drill.path[at], kind="stable")]
    return np.split(order, np.flatnonzero(np.diff(drill.path[order])) + 1)


def _is_milled(drill: drill_format.DrillFile, path: NDArray[np.int64], diameter: NDArray[np.float64]) -> bool:
    dx, dy = drill.x2_mm[path] - drill.x_mm[path], drill.y2_mm[path] - drill.y_mm[path]
    length = float(np.hypot(dx, dy).sum())
    first, last = path[0], path[-1]
    apart = math.hypot(drill.x2_mm[last] - drill.x_mm[first], drill.y2_mm[last] - drill.y_mm[first])
    return (len(path) > 1 and apart <= CLOSED_MM) or length > MILLED_TOOLS * float(diameter[path].max())


def _sized(drill: drill_format.DrillFile) -> tuple[NDArray[np.float64], list[Finding]]:
    unknown = ~(np.isfinite(drill.diameter_mm) & (drill.diameter_mm > 0))
    if not unknown.any():
        return drill.diameter_mm, []
    tools = ", ".join(f"T{int(t)}" for t in np.unique(drill.tool[unknown])[:8])
    return np.where(unknown, UNKNOWN_DRILL_MM, drill.diameter_mm), [
        Finding(
            "BRD-013",
            Severity.WARNING,
            Place(file=drill.name),
            f"{int(unknown.sum())} holes have tools without a size ({tools}); they are taken as {UNKNOWN_DRILL_MM} mm wide.",
            "Put the tool list beside the drill file.",
        )
    ]


MAX_BOARDS_TRIED = 12
"""Boards of one netlist file that are held to the copper; the first ones."""


def netlist_record(netlist: netlist_format.Netlist, targets_mm: NDArray[np.float64] | None = None) -> Netlist:
    """A netlist's test records of one of its boards: the one that fits ``targets_mm`` (m, 2) best, the first where nothing tells them apart.

    A finding says which board was used where the file holds several.
    """
    boards = sorted({record.board for record in netlist.records})
    chosen = boards[0] if boards else 0
    if len(boards) > 1 and targets_mm is not None and len(targets_mm):
        chosen = max(boards[:MAX_BOARDS_TRIED], key=lambda board: _fit(netlist, board, targets_mm))
    records = tuple(_test_record(one) for one in netlist.records if one.board == chosen)
    findings = list(netlist.findings)
    if len(boards) > 1:
        findings.append(
            Finding(
                "BRD-023",
                Severity.NOTE,
                Place(file=netlist.name),
                f"The netlist holds {netlist.boards} boards; number {boards.index(chosen) + 1} fits the copper best and was used.",
                "Split the file if another board is meant.",
            )
        )
    return Netlist(netlist.name, records, tuple(findings), netlist.boards)


def _fit(netlist: netlist_format.Netlist, board: int, targets_mm: NDArray[np.float64]) -> float:
    """Share of the board's points that lie on targets after the best shift, in steps of a thousandth, so that equal boards keep their order."""
    points = np.array([(one.x_mm, one.y_mm) for one in netlist.records if one.board == board]).reshape(-1, 2)
    return round(place_points(points, targets_mm, scales=False).share, 3)


def _test_record(one: netlist_format.TestRecord) -> NetlistRecord:
    return NetlistRecord(
        net="" if one.unconnected else one.net,
        part="VIA" if one.via else one.ref,
        pin="" if one.via else one.pin,
        midpoint=one.midpoint,
        hole_mm=one.hole_mm or None,
        plated=one.plated,
        access=one.access or 0,
        x_mm=one.x_mm,
        y_mm=one.y_mm,
        size_x_mm=one.size_x_mm,
        size_y_mm=one.size_y_mm,
        rotation_deg=one.rotation_deg,
        mask=-1 if one.mask is None else one.mask,
        line=one.line,
    )


def drill_from_gerber(image: GerberImage, role: LayerRole) -> DrillImage:
    """Drill data written as Gerber: round flashes are holes, round strokes are slots; anything else becomes a finding."""
    kind = shapely.get_type_id(image.shapes.skeleton)
    point, stroke = np.flatnonzero((kind == 0) & image.dark), np.flatnonzero((kind == 1) & image.dark)
    centre = shapely.get_coordinates(image.shapes.skeleton[point])
    pieces = [
        (image.shapes.radius_mm[k], a, b)
        for k in stroke
        for a, b in pairwise(shapely.get_coordinates(image.shapes.skeleton[k]))
    ]
    start = np.r_[centre, np.array([a for _, a, _ in pieces]).reshape(-1, 2)]
    end = np.r_[centre, np.array([b for _, _, b in pieces]).reshape(-1, 2)]
    radius = np.r_[image.shapes.radius_mm[point], np.array([r for r, _, _ in pieces])]
    other = int(np.count_nonzero((kind > 1) & image.dark))
    findings = list(image.findings)
    if other:
        findings.append(
            Finding(
                "BRD-014",
                Severity.WARNING,
                Place(file=image.name),
                f"{other} objects of the drill drawing are neither round flashes nor round strokes; they were left out.",
                "Add the NC drill file.",
            )
        )
    plated = np.full(len(radius), -1 if role.plated is None else int(role.plated), np.int8)
    return DrillImage(
        image.name, start[:, 0], start[:, 1], end[:, 0], end[:, 1], 2 * radius, plated, _span(image), tuple(findings)
    )


def _span(image: GerberImage) -> tuple[int, int] | None:
    fields = image.file_attributes.get(".FileFunction", ())
    if len(fields) >= 3 and fields[0] in ("Plated", "NonPlated") and fields[1].isdecimal() and fields[2].isdecimal():
        return int(fields[1]), int(fields[2])
    return None
