"""Small boards made by hand for tests: records of copper, holes and netlists with a few lines each. Lengths in mm."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from coppermend.core.board.model import Board
from coppermend.core.board.records import DrillImage, GerberImage, LayerRole, Netlist, NetlistRecord, ObjectAttributes
from coppermend.core.board.sources import NO_CORRECTIONS, Corrections, PackageRecords, PartRow
from coppermend.core.copper.fabricate import board_from
from coppermend.core.geometry.shapes import ShapeSet

Drawn = tuple[str, Any, float, bool, ObjectAttributes]


def land(
    x: float, y: float, pin: str = "", net: str = "", diameter: float = 1.6, function: str = "ComponentPad"
) -> Drawn:
    """A round flash; ``pin`` as "U1.8"."""
    part, _, number = pin.rpartition(".")
    return ("flash", shapely.Point(x, y), diameter / 2, True, ObjectAttributes(function, net, part, number))


def track(*points: tuple[float, float], width: float = 0.3, net: str = "") -> Drawn:
    """A round stroke along points."""
    return ("draw", shapely.LineString(points), width / 2, True, ObjectAttributes("Conductor", net))


def area(polygon: Any, net: str = "") -> Drawn:
    """A filled region."""
    return ("region", polygon, 0.0, True, ObjectAttributes("Conductor", net))


def clear(one: Drawn) -> Drawn:
    """The same object in clear polarity."""
    return (*one[:3], False, one[4])


def image(name: str, drawn: Sequence[Drawn], negative: bool = False) -> GerberImage:
    """A Gerber image of drawn objects, in order."""
    kind = np.empty(len(drawn), dtype=object)
    kind[:] = [one[0] for one in drawn]
    at = np.array([shapely.get_coordinates(one[1])[0] for one in drawn]).reshape(-1, 2)
    return GerberImage(
        name=name,
        kind=kind,
        dark=np.array([one[3] for one in drawn], dtype=bool),
        shapes=ShapeSet.of([one[1] for one in drawn], [one[2] for one in drawn]),
        attribute=np.arange(len(drawn), dtype=np.int32),
        attributes=tuple(one[4] for one in drawn),
        file_attributes={},
        negative=negative,
        findings=(),
        tolerance_mm=5e-4,
        at_mm=at,
    )


def drill(
    holes: Sequence[tuple[float, ...]], plated: int = 1, span: tuple[int, int] | None = None, name: str = "holes"
) -> DrillImage:
    """Drill data from (x, y, diameter) or (x, y, diameter, x2, y2) rows."""
    rows = np.array([(h[0], h[1], h[2], *(h[3:] or h[:2])) for h in holes], dtype=float).reshape(-1, 5)
    return DrillImage(
        name, rows[:, 0], rows[:, 1], rows[:, 3], rows[:, 4], rows[:, 2], np.full(len(rows), plated, np.int8), span, ()
    )


def point(
    net: str, pin: str, x: float, y: float, access: int = 0, hole: float | None = 0.8, line: int = 0
) -> NetlistRecord:
    """A netlist record; ``pin`` "U1.8", or "VIA"."""
    part, _, number = pin.rpartition(".")
    return NetlistRecord(
        net, part or pin, number, False, hole, True if hole else None, access, x, y, 1.6, 0.0, 0.0, 0, line
    )


def records(
    copper: Sequence[Sequence[Drawn]],
    drills: Sequence[DrillImage] = (),
    netlist: Sequence[NetlistRecord] = (),
    *,
    negative: Sequence[int] = (),
    others: Sequence[tuple[GerberImage, str, str]] = (),
    rows: Sequence[PartRow] = (),
    corrections: Corrections = NO_CORRECTIONS,
) -> PackageRecords:
    """A package's records: ``copper`` one list of objects a layer from the component side, ``others`` (image, kind, side)."""
    images = [image(f"copper{k}", drawn, k in negative) for k, drawn in enumerate(copper)]
    roles = {
        one.name: LayerRole(one.name, "copper", "c" if k == 0 else "s" if k == len(copper) - 1 else "", k + 1)
        for k, one in enumerate(images)
    }
    for one, kind, side in others:
        images.append(one)
        roles[one.name] = LayerRole(one.name, kind, side)
    netlists = (Netlist("nets.ipc", tuple(netlist), ()),) if netlist else ()
    return PackageRecords(
        "0" * 64, "hand made", tuple(images), tuple(drills), netlists, roles, tuple(rows), corrections
    )


def board(*args: Any, **more: Any) -> Board:
    """The board of ``records(...)``."""
    return board_from(records(*args, **more))


def nets_of_pins(made: Board) -> set[frozenset[str]]:
    """The partition of pins that the copper makes: what must not change when a board is moved or its names are taken away."""
    groups: dict[int | None, set[str]] = {}
    for part in made.parts:
        for pin in part.pins:
            groups.setdefault(pin.net, set()).add(pin.name)
    return {frozenset(group) for group in groups.values()}
