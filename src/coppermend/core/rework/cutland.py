"""Whether a place named for a cut lies on a land, where no knife parts a track, and where beside it one does."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import Any

import numpy as np
import shapely

from coppermend.core.board.model import Board, ObjectKind
from coppermend.core.copper.laps import along_path, parted
from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind
from coppermend.core.rework.bare import LARGEST_LAND_MM

INSIDE_MM = 0.1
"""A place this deep within a land's copper lies on the land, not at its edge. Our choice."""
WIDER = 1.2
"""Copper this many times wider than the track that leaves it is a land of its own; below that a cut across it parts the track. Our choice."""
OFF_MM = 0.5
"""A proposed place keeps this far from the land's edge, so that the blade does not lift it. Our choice."""
LEAVES_MM = 0.2
"""A track that ends this near to a land leaves it."""


@dataclass(frozen=True, slots=True)
class CutLand:
    """A land under a place: the ``point`` on it, its copper's ``outline`` (shapely polygon, mm), and the ``ways`` off it: (x_mm, y_mm, track) nearest first."""

    point: ProbePoint
    outline: Any
    ways: tuple[tuple[float, float, Site], ...]

    @property
    def words(self) -> str:
        """The land as people name it: its pin, or what it is."""
        return f"{self.point.part}.{self.point.pin}" if self.point.part else self.point.kind


def land_under(graph: CopperGraph, board: Board, x_mm: float, y_mm: float, side: str) -> CutLand | None:
    """The land that a place (mm, side c or s) lies on, with the nearest place to cut on each track that leaves it. None off the lands.

    Copper hardly wider than the track that leaves it (``WIDER``) is no land: a cut across it parts the track.
    """
    outline = _outline(board, x_mm, y_mm, side)
    if outline is None:
        return None
    on = [p for p in graph.points if p.side == side and shapely.intersects_xy(outline, p.x_mm, p.y_mm)]
    if not on:
        return None
    point = min(on, key=lambda p: (hypot(p.x_mm - x_mm, p.y_mm - y_mm), p.id))
    runs = [one for one in graph.sites if _leaves(one, outline, side, point.net)]
    x0, y0, x1, y1 = outline.bounds
    if any(min(x1 - x0, y1 - y0) <= WIDER * one.width_mm for one in runs):
        return None
    spots = [(*_off(one, outline), one) for one in runs]
    return CutLand(point, outline, tuple(sorted(spots, key=lambda s: (hypot(s[0] - x_mm, s[1] - y_mm), s[2].id))))


def _outline(board: Board, x_mm: float, y_mm: float, side: str) -> Any:
    """The copper of the largest land-sized shape that covers a place; None where there is none."""
    best: Any = None
    for layer in board.layers:
        if layer.key != side or not len(layer.shapes):
            continue
        box = layer.shapes.bounds_mm()
        size = (box[:, 2:] - box[:, :2]).max(axis=1)
        stroke = np.isin(layer.kind, [ObjectKind.DRAW.value, ObjectKind.ARC.value])
        long = shapely.length(layer.shapes.skeleton) > layer.shapes.radius_mm
        near = (box[:, 0] <= x_mm) & (x_mm <= box[:, 2]) & (box[:, 1] <= y_mm) & (y_mm <= box[:, 3])
        for shape in layer.shapes.take(near & (size < LARGEST_LAND_MM) & ~(stroke & long)).polygons():
            deep = shapely.buffer(shape, -INSIDE_MM)
            if shapely.intersects_xy(deep, x_mm, y_mm) and (best is None or shape.area > best.area):
                best = shape
    return best


def _leaves(site: Site, outline: Any, side: str, net: int) -> bool:
    """Whether a track begins or ends at a land."""
    if site.kind is not SiteKind.RUN or site.layer != side or site.net != net or len(site.path) < 2:
        return False
    return any(shapely.distance(outline, shapely.Point(end)) <= LEAVES_MM for end in (site.path[0], site.path[-1]))


def _off(site: Site, outline: Any) -> tuple[float, float]:
    """The first place along a track that is ``OFF_MM`` from the land's edge, or the middle of a track too short for it."""
    line = shapely.LineString(site.path)
    free = shapely.difference(line, shapely.buffer(outline, OFF_MM))
    if free.is_empty or free.length < OFF_MM:
        middle = line.interpolate(0.5, normalized=True)
        return middle.x, middle.y
    x, y = shapely.get_coordinates(shapely.shortest_line(free, outline))[0].tolist()
    return x, y


def other_arms(graph: CopperGraph, x_mm: float, y_mm: float, side: str) -> tuple[Site, tuple[Site, ...]] | None:
    """The track that a cut at a place parts, and the other tracks of its net that meet it there and stay whole. None where no track lies."""
    runs = [
        (*along_path(one.path, (x_mm, y_mm)), one)
        for one in graph.sites
        if one.kind is SiteKind.RUN and one.layer == side
    ]
    if not runs:
        return None
    _, along, cut = min(runs, key=lambda r: (r[0], r[2].id))
    spot = parted(cut.path, (), along)[0][-1]
    others = [
        one for _, _, one in runs
        if one.id != cut.id and one.net == cut.net and along_path(one.path, spot)[0] <= (one.width_mm + cut.width_mm) / 4
    ]  # fmt: skip
    return cut, tuple(others)
