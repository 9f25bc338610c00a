"""Lands and pins: which copper and which hole belong to which pin, from X2 attributes first, else from a netlist's records."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from coppermend.core.board.match import SAME_PLACE_MM
from coppermend.core.board.model import CopperLayer, Hole, NetlistPoint, Pin
from coppermend.core.geometry.shapes import ShapeSet

SURFACE_FUNCTIONS = ("SMDPad", "BGAPad", "HeatsinkPad", "ConnectorPad", "FiducialPad", "TestPad", "CastellatedPad")
"""X2 aperture functions of lands that no lead goes through (Ucamco, The Gerber Layer Format Specification, 5.6.10, .AperFunction)."""

LEAD_MM = 0.5
"""A hole in the middle of a land that nothing else explains is for a lead from this diameter on, else a via in the land; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Land:
    """A land of a pin on one layer (or through all, from a netlist). ``through`` None: not stated. ``island`` -1: no copper found there.

    ``function`` what the pin does, the third field of X2 .P (``D7``), "" where not stated.
    """

    part: str
    number: str
    x_mm: float
    y_mm: float
    layers: tuple[str, ...]
    through: bool | None
    island: int
    function: str = ""
    hole: int = -1


class HoleFinder:
    """Answers which hole is at a place: the nearest centre within 0.05 mm, else the hole whose drill covers the place."""

    def __init__(self, holes: Sequence[Hole]) -> None:
        self._middle = np.array([((h.x_mm + h.x2_mm) / 2, (h.y_mm + h.y2_mm) / 2) for h in holes]).reshape(-1, 2)
        self._radius = np.array([h.diameter_mm / 2 for h in holes])
        self._centre = cKDTree(self._middle) if len(holes) else None
        self._slot = [k for k, h in enumerate(holes) if (h.x_mm, h.y_mm) != (h.x2_mm, h.y2_mm)]
        self._slot_line = [
            shapely.LineString([(holes[k].x_mm, holes[k].y_mm), (holes[k].x2_mm, holes[k].y2_mm)]) for k in self._slot
        ]

    def at(self, xy_mm: NDArray[np.float64], within_mm: float = SAME_PLACE_MM) -> NDArray[np.int64]:
        """For (n, 2) places the index of the hole there, -1 for none."""
        out = np.full(len(xy_mm), -1, dtype=np.int64)
        if self._centre is None or len(xy_mm) == 0:
            return out
        apart, near = self._centre.query(xy_mm)
        covered = apart <= np.maximum(within_mm, self._radius[near])
        out[covered] = near[covered]
        for hole, line in zip(self._slot, self._slot_line, strict=True):
            free = np.flatnonzero(out < 0)
            on = shapely.distance(shapely.points(xy_mm[free]), line) <= self._radius[hole]
            out[free[on]] = hole
        return out

    def near(self, x_mm: float, y_mm: float, within_mm: float = SAME_PLACE_MM) -> list[int]:
        """Every hole whose middle lies within ``within_mm`` of the place: several where blind holes of both sides meet."""
        return [] if self._centre is None else sorted(self._centre.query_ball_point((x_mm, y_mm), within_mm))

    def inside(self, shapes: ShapeSet, at_mm: NDArray[np.float64]) -> NDArray[np.int64]:
        """For each land shape the hole whose centre lies on it, nearest to ``at_mm``; -1 for none."""
        out = np.full(len(shapes), -1, dtype=np.int64)
        if self._centre is None or len(shapes) == 0:
            return out
        tree = shapely.STRtree(shapely.points(self._middle))
        i, j = tree.query(shapely.box(*shapes.bounds_mm().T))
        on = shapely.distance(shapes.skeleton[i], shapely.points(self._middle[j])) <= shapes.radius_mm[i]
        i, j = i[on], j[on]
        apart = np.hypot(*(self._middle[j] - at_mm[i]).T)
        for k in np.lexsort((apart, i))[::-1]:
            out[i[k]] = j[k]
        return out


def x2_lands(
    layers: Sequence[CopperLayer],
    pads: Sequence[NDArray[Any]],
    at_mm: Sequence[NDArray[np.float64]],
    finder: HoleFinder,
) -> list[Land]:
    """Lands that carry an X2 pin. ``pads[k]`` (n, 3) part, pin and the pin's function of each piece of layer k; ``at_mm[k]`` (n, 2) its place (flash position).

    Strokes that paint one land of one pin count once, at the middle of their box.
    """
    out: list[Land] = []
    for layer, names, where in zip(layers, pads, at_mm, strict=True):
        named = np.flatnonzero(names[:, 0] != "")
        holes = finder.inside(layer.shapes.take(named), where[named])
        seen: dict[tuple[str, str, int], list[int]] = {}
        for k, piece in enumerate(named):
            part, number, function = names[piece]
            if layer.kind[piece] == "flash":
                out.append(_x2_land(layer, int(piece), (part, number, function), where[piece], int(holes[k])))
            else:
                seen.setdefault((part, number, int(layer.island[piece])), []).append(k)
        for (part, number, _), group in seen.items():
            box = layer.shapes.take(named[group]).bounds_mm()
            middle = (box[:, :2].min(axis=0) + box[:, 2:].max(axis=0)) / 2
            hole = max(int(holes[k]) for k in group)
            first = int(named[group[0]])
            out.append(_x2_land(layer, first, (part, number, names[first][2]), middle, hole))
    return out


def _x2_land(layer: CopperLayer, piece: int, names: tuple[str, str, str], at: NDArray[np.float64], hole: int) -> Land:
    kind = str(layer.function[piece]).split(",")[0]
    through = False if kind in SURFACE_FUNCTIONS else True if kind == "ComponentPad" else None
    part, number, function = names
    return Land(
        part, number, float(at[0]), float(at[1]), (layer.key,), through, int(layer.island[piece]), function, hole
    )


def netlist_lands(
    points: Iterable[NetlistPoint], islands: Iterable[int], through: Iterable[bool | None], finder: HoleFinder
) -> list[Land]:
    """Lands of pins as a netlist states them, at their places on the copper; vias and points without a pin are left out.

    ``through`` None where the netlist does not say whether a pin is drilled: the hole at its place is kept, and ``pins_of`` decides.
    """
    rows = [
        (point, island, hole)
        for point, island, hole in zip(points, islands, through, strict=True)
        if point.part and point.part != "VIA" and point.pin
    ]
    places = np.array([(point.x_mm, point.y_mm) for point, _, _ in rows]).reshape(-1, 2)
    holes = finder.at(places)
    return [
        Land(p.part, p.pin, p.x_mm, p.y_mm, p.layers, has_hole, island, "", int(hole) if has_hole is not False else -1)
        for (p, island, has_hole), hole in zip(rows, holes, strict=True)
    ]


def _settle_holes(lands: Sequence[Land], holes: Sequence[Hole], copper_count: int) -> list[Land]:
    """Decide for each land whether its hole is for the pin's lead: stated, else seen on both outer layers, else wide enough for a lead."""
    sides: dict[tuple[str, str, int], set[str]] = {}
    for land in lands:
        sides.setdefault((land.part, land.number, land.hole), set()).update(land.layers)
    out = []
    for land in lands:
        through = land.through
        if land.hole >= 0 and through is None:
            here = sides[land.part, land.number, land.hole]
            hole = holes[land.hole]
            middle = ((hole.x_mm + hole.x2_mm) / 2, (hole.y_mm + hole.y2_mm) / 2)
            centred = np.hypot(land.x_mm - middle[0], land.y_mm - middle[1]) <= SAME_PLACE_MM
            through = {"c", "s"} <= here or (bool(centred) and (copper_count == 1 or hole.diameter_mm >= LEAD_MM))
        out.append(land if through else replace(land, hole=-1))
    return out


def pins_of(lands: Sequence[Land], holes: Sequence[Hole], copper_count: int) -> list[Pin]:
    """Pins in the order of their first land. Lands around one hole are one pin; so are lands for a lead at one place where the hole is not known.

    A part with several lands of one number gets them named ``8``, ``8#2``, ``8#3`` in the order of their places (top to bottom, left to right).
    """
    merged: dict[tuple[str, str, int, int, int, str], list[Land]] = {}
    for land in _settle_holes(lands, holes, copper_count):
        if land.hole >= 0:
            key = (land.part, land.number, land.hole, 0, 0, "")
        else:
            key = (
                land.part,
                land.number,
                -1,
                round(land.x_mm * 20),
                round(land.y_mm * 20),
                "" if land.through or not land.layers else land.layers[0],
            )
        merged.setdefault(key, []).append(land)
    pins = [_pin(group, holes) for group in merged.values()]
    same: dict[tuple[str, str], list[int]] = {}
    for at, pin in enumerate(pins):
        same.setdefault((pin.part, pin.number), []).append(at)
    for group in same.values():
        group.sort(key=lambda at: (-round(pins[at].y_mm, 3), round(pins[at].x_mm, 3), pins[at].layers))
        for count, at in enumerate(group[1:], start=2):
            pins[at] = replace(pins[at], number=f"{pins[at].number}#{count}")
    return pins


def _pin(group: Sequence[Land], holes: Sequence[Hole]) -> Pin:
    first = group[0]
    hole = holes[first.hole] if first.hole >= 0 else None
    if hole is not None:
        x, y = (hole.x_mm + hole.x2_mm) / 2, (hole.y_mm + hole.y2_mm) / 2
        island = hole.island if hole.plated else None
        layers = hole.layers
    else:
        x, y, island, layers = first.x_mm, first.y_mm, None, first.layers[:1]
    if island is None:
        found = [land.island for land in group if land.island >= 0]
        island = found[0] if found else None
    function = next((land.function for land in group if land.function), "")
    return Pin(first.part, first.number, x, y, first.hole if hole is not None else None, layers, island, function)
