"""A board from a pin list alone: parts, pins and nets, no copper. What is not known is marked so, and a finding says it.

``Board.extra``: ``copper`` = ``unknown``; ``made_up`` = the parts whose places were made up, blanks between; ``photo.c`` and ``photo.s`` = JSON with
``file``, ``matrix`` (9 numbers, pixels to mm) and ``residual_mm``. ``Board.layers`` is empty and every pin is taken as a plated hole.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from coppermend.core.board.model import Board, Hole, Net, Part, PartState, Pin
from coppermend.core.board.parts import pin_order, through_ohm
from coppermend.core.board.pinlist import NO_MAP, MapFile, PinList
from coppermend.core.board.places import Places, place_pins
from coppermend.core.board.sources import NO_CORRECTIONS, Corrections, PartCorrection, PartRow
from coppermend.core.board.templates import body
from coppermend.core.board.twice import told_once
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.units import BOARD_THICKNESS_MM

HOLE_MM = 0.8
"""Diameter drawn for the hole of a pin whose board nobody measured: usual for DIP leads (common practice, no source)."""
EDGE_MM = 5.0
"""The map ends this far beyond the outermost pin where no size is given."""


def copper_is_known(board: Board) -> bool:
    """Whether the board's copper is known; False for a board from a pin list."""
    return board.extra.get("copper") != "unknown"


def made_up_places(board: Board) -> frozenset[str]:
    """The parts whose places are made up: no distance to or from them means anything."""
    return frozenset(board.extra.get("made_up", "").split())


def board_of_pins(
    pins: PinList,
    package_id: str,
    title: str,
    said: MapFile = NO_MAP,
    part_rows: Sequence[PartRow] = (),
    corrections: Corrections = NO_CORRECTIONS,
    findings: Sequence[Finding] = (),
) -> Board:
    """The board of a pin list with places from ``said`` and templates, values and states from ``part_rows`` and ``corrections``.

    >>> from coppermend.core.board.pinlist import PinRow
    >>> rows = tuple(PinRow(ref, str(n), net) for ref, n, net in (("U1", 1, "A"), ("U1", 2, ""), ("U2", 1, "A")))
    >>> board = board_of_pins(PinList("pins.csv", rows), "id", "board")
    >>> [(net.name, net.pins) for net in board.nets], copper_is_known(board)
    ([('A', ('U1.1', 'U2.1')), ('~U1.2', ('U1.2',))], False)
    """
    places = place_pins(pins, said)
    nets, index = _nets(pins)
    nets = _named(nets, corrections.net_names)
    holes: list[Hole] = []
    found: dict[str, list[Pin]] = {}
    for row in pins.rows:
        x, y = places.at[row.name]
        net = index[row.name]
        found.setdefault(row.part, []).append(Pin(row.part, row.pin, x, y, len(holes), ("c", "s"), net, row.function))
        holes.append(Hole(x, y, x, y, HOLE_MM, True, ("c", "s"), net))
    every = [pin for group in found.values() for pin in group]
    once, twice = told_once([replace(row, x_mm=None, y_mm=None) for row in (*pins.parts, *part_rows)], every)
    listed = {row.ref: row for row in once}
    parts = tuple(
        _part(ref, found[ref], listed.get(ref), corrections.parts.get(ref), places)
        for ref in sorted(found, key=lambda ref: pin_order(Pin("", ref, 0.0, 0.0, None, (), None)))
    )
    return Board(
        package_id=package_id,
        title=title,
        layers=(),
        holes=tuple(holes),
        parts=parts,
        nets=nets,
        outline=(_edge(places, said),),
        silk=(),
        mask_openings=(),
        netlist_points=(),
        origin_shift_mm=(0.0, 0.0),
        thickness_mm=corrections.thickness_mm or BOARD_THICKNESS_MM,
        copper_thickness_mm=(),
        findings=(*pins.findings, *said.findings, *findings, *twice, *places.findings, *_findings(pins, places)),
        corrections=corrections.digest,
        extra=_extra(places),
    )


def _nets(pins: PinList) -> tuple[tuple[Net, ...], dict[str, int]]:
    """Nets in the order of the list, then one for each pin in no net (it can be probed all the same)."""
    named = list(pins.nets.items()) + [(f"~{row.name}", (row.name,)) for row in pins.rows if not row.net]
    nets = tuple(Net(k, name, () if name[0] == "~" else (name,), members) for k, (name, members) in enumerate(named))
    return nets, {pin: net.index for net in nets for pin in net.pins}


def _named(nets: tuple[Net, ...], names: Mapping[str, str]) -> tuple[Net, ...]:
    of_pin = {pin: net.index for net in nets for pin in net.pins}
    said = {of_pin[where]: name for where, name in names.items() if where in of_pin}
    return tuple(
        Net(n.index, said.get(n.index, n.name), (said[n.index], *n.names) if n.index in said else n.names, n.pins)
        for n in nets
    )


def _part(ref: str, pins: Sequence[Pin], row: PartRow | None, said: PartCorrection | None, places: Places) -> Part:
    listed, corrected = row or PartRow(ref), said or PartCorrection()
    shape = places.shape[ref]
    ordered = tuple(sorted(pins, key=pin_order))
    value, package = (
        corrected.value or listed.value,
        corrected.package or listed.package or (shape.name() if shape else ""),
    )
    if corrected.outline is not None:
        outline = np.array([*corrected.outline, corrected.outline[0]])
    else:
        outline = body([(p.x_mm, p.y_mm) for p in ordered], shape.kind if shape else "", shape.row_mm if shape else 0.0)
    return Part(
        ref,
        corrected.side or places.side[ref],
        outline,
        "corrections" if corrected.outline is not None else "template",
        ordered,
        value,
        package,
        corrected.state or listed.state or PartState.SOLDERED,
        through_ohm(ref, value, package, ordered),
    )


def _edge(places: Places, said: MapFile) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    if said.size_mm is not None:
        x0, y0, x1, y1 = 0.0, 0.0, *said.size_mm
    else:
        xy = np.array(list(places.at.values()))
        (x0, y0), (x1, y1) = xy.min(axis=0) - EDGE_MM, xy.max(axis=0) + EDGE_MM
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)])


def _extra(places: Places) -> dict[str, str]:
    out = {"copper": "unknown", "made_up": " ".join(places.made_up)}
    for side, (file, view) in places.photos.items():
        matrix = [float(v) for v in view.matrix.ravel()]
        out[f"photo.{side}"] = json.dumps({"file": file, "matrix": matrix, "residual_mm": round(view.residual, 4)})
    return out


def _findings(pins: PinList, places: Places) -> list[Finding]:
    where = Place(file=pins.name)
    out = [
        Finding(
            "PIN-020",
            Severity.WARNING,
            where,
            "This board has no copper data: nets come from the pin list alone. A break is narrowed to a pair of pins, not to a place on the copper, and "
            "neighbours are known pin by pin only.",
            "Add the fabrication data of a replica if there is one.",
        )
    ]
    if places.made_up:
        count, some = len(places.made_up), ", ".join(places.made_up[:8]) + (" ..." if len(places.made_up) > 8 else "")
        out.append(
            Finding(
                "PIN-021",
                Severity.GUESS,
                where,
                f"Nobody said where {count} of {len(places.side)} parts sit ({some}); they are drawn in rows, and distances to them mean nothing.",
                "Give x and y in the list, or places in coppermend-map.toml (docs/how-to/board-without-data.md).",
            )
        )
    return out
