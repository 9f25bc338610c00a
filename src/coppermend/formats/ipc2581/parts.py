"""Parts of an IPC-2581 file: where their pins lie, their outlines, values and states."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import PartState
from coppermend.core.board.sources import PartRow
from coppermend.formats.ipc2581.shapes import Move, Points, child, move_of, path_points
from coppermend.formats.ipc2581.xmlread import Element, local, number

PIN_MM = 0.1
"""A package pin nearer than this to a land of its pin lies on it."""

_VALUES = ("value", "val", "comment", "resistance", "capacitance", "inductance")


@dataclass(frozen=True, slots=True)
class Package:
    """A Package element in its own coordinates (mm): places of its pins by number, and its outline."""

    name: str
    pins: Mapping[str, tuple[float, float]]
    outline: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Component:
    """A Component element: reference designator, package, layer, place and turn."""

    ref: str
    package: str
    layer: str
    part: str
    x_mm: float
    y_mm: float
    move: Move


@dataclass(slots=True)
class Bom:
    """Values, packages and states by reference designator, gathered from BomItem elements."""

    rows: dict[str, tuple[str, str, PartState | None]] = field(default_factory=dict)

    def add(self, item: Element) -> None:
        """Notes one BomItem: its RefDes elements and its characteristics."""
        said: dict[str, str] = {}
        for one in item.iter():
            if local(one.tag) == "Textual":
                key = one.get("textualCharacteristicName", "").strip().lower()
                said.setdefault(key, one.get("textualCharacteristicValue", "").strip())
        value = next((said[key] for key in _VALUES if said.get(key)), "")
        for one in item:
            if local(one.tag) == "RefDes" and one.get("name"):
                fitted = one.get("populate", "true").strip().lower() not in ("false", "0")
                self.rows[one.get("name", "")] = (
                    value,
                    one.get("packageRef", ""),
                    None if fitted else PartState.NOT_FITTED,
                )


def package_of(element: Element, unit: float) -> Package:
    """The pins and outline of a Package."""
    pins: dict[str, tuple[float, float]] = {}
    outline: Points = []
    for one in element:
        tag = local(one.tag)
        if tag == "Pin":
            place = child(one, "Location")
            if place is not None and one.get("number"):
                pins[one.get("number", "")] = (number(place, "x", unit), number(place, "y", unit))
        elif tag == "Outline" and not outline:
            ring = child(one, "Polygon")
            if ring is not None:
                outline = path_points(ring, unit)
    return Package(element.get("name", ""), pins, tuple(outline))


def component_of(element: Element, unit: float) -> Component | None:
    """A Component; None where it has no name or no place."""
    place = child(element, "Location")
    if place is None or not element.get("refDes"):
        return None
    return Component(
        element.get("refDes", ""),
        element.get("packageRef", ""),
        element.get("layerRef", ""),
        element.get("part", ""),
        number(place, "x", unit),
        number(place, "y", unit),
        move_of(child(element, "Xform"), unit),
    )


def placed(component: Component, move: Move, points: Sequence[tuple[float, float]]) -> NDArray[np.float64]:
    """Points of a package on the board, (n, 2) mm."""
    xy = np.array(points, dtype=np.float64).reshape(-1, 2)
    return np.asarray(move.apply(xy) + np.array([component.x_mm, component.y_mm]))


def move_on_board(component: Component, package: Package, lands: Mapping[str, Sequence[tuple[float, float]]]) -> Move:
    """How the package really lies: as stated, or mirrored or turned the other way where only that brings its pins onto their lands.

    Design systems differ in whether a part on the solder side says ``mirror`` and in which order it is mirrored and turned.
    """
    stated = component.move
    names = [pin for pin in package.pins if lands.get(pin)]
    if not names:
        return stated
    local_points = [package.pins[pin] for pin in names]
    tries = [stated]
    for degrees in (stated.degrees, -stated.degrees):
        for mirror in (stated.mirror, not stated.mirror):
            tries.append(Move(degrees, mirror, stated.scale, stated.dx_mm, stated.dy_mm))
    best, most = stated, -1
    for trial in tries:
        spots = placed(component, trial, local_points)
        hits = sum(
            min(math.dist(spot, land) for land in lands[pin]) <= PIN_MM for spot, pin in zip(spots, names, strict=True)
        )
        if hits > most:
            best, most = trial, hits
    return best


def part_rows(
    components: Sequence[Component],
    packages: Mapping[str, Package],
    moves: Mapping[str, Move],
    bom: Bom,
    sides: Mapping[str, str],
    source: str,
) -> tuple[PartRow, ...]:
    """A row per component: value and state of the bill of materials, side of its layer, outline of its package."""
    out = []
    for one in components:
        value, package, state = bom.rows.get(one.ref, ("", "", None))
        shape = packages.get(one.package)
        ring = None
        if shape is not None and len(shape.outline) > 2:
            corners = placed(one, moves.get(one.ref, one.move), shape.outline)
            if shapely.Polygon(corners).area > 0:
                ring = tuple((float(x), float(y)) for x, y in corners)
        out.append(
            PartRow(
                one.ref,
                value,
                package or one.package,
                state,
                source,
                sides.get(one.layer, ""),
                one.x_mm,
                one.y_mm,
                one.move.degrees,
                ring,
            )
        )
    return tuple(out)


def repeated(components: Sequence[Component]) -> list[str]:
    """Reference designators that stand for more than one component."""
    return sorted(ref for ref, count in Counter(one.ref for one in components).items() if count > 1)
