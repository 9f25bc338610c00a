"""From lands and supply tracks to the raster of the track search, and back from ways to straight tracks."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from math import hypot

from demo.footprints import PITCH_MM
from demo.maze import BLOCKED, FREE, Maze, Net
from demo.placement import (
    HEIGHT_MM,
    MOUNTING_DRILL_MM,
    MOUNTING_HOLES,
    TIE_LAND_MM,
    WIDTH_MM,
    Placed,
    lands,
    supply_tracks,
    supply_vias,
)

CELL_MM = 0.635
TRACK_MM, VIA_LAND_MM, VIA_HOLE_MM = 0.3, 1.05, 0.65
GAP_MM = 0.205
EDGE_MM = 1.5
MASK_AND_LINE_MM = 0.26  # mask growth, half a printed line, and a little


# Words stand here in the legend, so no via may: (x, y, width, height) of a rectangle around its middle, 0.1 inch units.
_TITLES = (
    (12.5, 78, 5, 0.9),
    (33.5, 78, 6, 0.9),
    (57, 78, 3, 0.9),
    (63, 78, 3, 0.9),
    (74.5, 77.4, 3, 0.9),
    (84, 77.4, 3, 0.9),
    (90.5, 77.4, 3, 0.9),
    (103, 77.6, 6, 0.9),
    (50.7, 76, 1.5, 0.9),
    (55, 2.2, 84, 2.2),
)
_TEXT_BAND_MM = 2.0


@dataclass(frozen=True, slots=True)
class _Obstacle:
    """Copper or a hole that tracks must keep away from: a line grown by a radius, or a square; net number or -1."""

    net: int
    layers: tuple[int, ...]
    x0: float
    y0: float
    x1: float
    y1: float
    radius: float
    square: bool
    drilled: bool


def _distance(o: _Obstacle, x: float, y: float) -> float:
    """How far the point lies outside the obstacle's edge, in mm (below zero inside); lines are upright or level."""
    nx = min(max(x, min(o.x0, o.x1)), max(o.x0, o.x1))
    ny = min(max(y, min(o.y0, o.y1)), max(o.y0, o.y1))
    dx, dy = abs(x - nx), abs(y - ny)
    if o.square:
        dx, dy = max(dx - o.radius, 0.0), max(dy - o.radius, 0.0)
        return hypot(dx, dy)
    return hypot(dx, dy) - o.radius


def cell_of(x_mm: float, y_mm: float) -> tuple[int, int]:
    """The cell nearest to a point. Raises ValueError when the point lies off the raster."""
    x, y = round(x_mm / CELL_MM), round(y_mm / CELL_MM)
    if abs(x * CELL_MM - x_mm) > 1e-6 or abs(y * CELL_MM - y_mm) > 1e-6:
        raise ValueError(f"({x_mm}, {y_mm}) mm is not on the {CELL_MM} mm raster")
    return x, y


def _obstacles(of: tuple[Placed, ...], numbers: dict[str, int]) -> list[_Obstacle]:
    found = [
        _Obstacle(
            numbers.get(p.net, BLOCKED),
            (0, 1),
            p.x_mm,
            p.y_mm,
            p.x_mm,
            p.y_mm,
            p.land.size_mm / 2,
            p.land.form == "square",
            True,
        )
        for p in lands(of)
    ]
    found += [
        _Obstacle(
            numbers[t.net],
            (0 if t.side == "c" else 1,),
            t.x0_mm,
            t.y0_mm,
            t.x1_mm,
            t.y1_mm,
            t.width_mm / 2,
            False,
            False,
        )
        for t in supply_tracks()
    ]
    found += [_Obstacle(numbers[net], (0, 1), x, y, x, y, TIE_LAND_MM / 2, False, True) for net, x, y in supply_vias()]
    for ux, uy in MOUNTING_HOLES:
        x, y = ux * PITCH_MM, uy * PITCH_MM
        found.append(_Obstacle(BLOCKED, (0, 1), x, y, x, y, MOUNTING_DRILL_MM / 2 + 1.3, False, True))
    return found


def _lettered(of: tuple[Placed, ...]) -> list[tuple[float, float, float, float]]:
    """Rectangles (x0, y0, x1, y1 in mm) in which the legend has words: vias there would cut them."""
    found = []
    for item in of:
        x0, y0, x1, y1 = item.body_mm()
        if item.footprint.name.startswith("DIP"):
            middle, half = (x0 + x1) / 2, _TEXT_BAND_MM / 2
            found.append((middle - half, y0 + 0.5, middle + half, y1 - 0.5))
        elif item.footprint.name not in ("CELL", "POWER4"):
            found.append((x0, y0, x1, y1))
        if item.footprint.name.startswith(("HEADER", "LINK", "RADIAL")):
            middle = (y0 + y1) / 2
            found.append((x0 - 2.8, middle - 1.8, x0 - 0.9, middle + 1.8))
    for x, y, w, h in _TITLES:
        found.append(((x - w / 2) * PITCH_MM, (y - h / 2) * PITCH_MM, (x + w / 2) * PITCH_MM, (y + h / 2) * PITCH_MM))
    return found


def _keep_vias_off(points: tuple[tuple[float, float], ...], item: Placed, width: int, via_owner: list[int]) -> None:
    """No via where its opening in the mask would cut a printed outline."""
    reach = VIA_LAND_MM / 2 + MASK_AND_LINE_MM
    for a, b in itertools.pairwise(points):
        (ax, ay), (bx, by) = item.at(*a), item.at(*b)
        for y in range(int((min(ay, by) - reach) / CELL_MM), int((max(ay, by) + reach) / CELL_MM) + 2):
            for x in range(int((min(ax, bx) - reach) / CELL_MM), int((max(ax, bx) + reach) / CELL_MM) + 2):
                if _from_line(x * CELL_MM, y * CELL_MM, ax, ay, bx, by) < reach:
                    via_owner[y * width + x] = BLOCKED


def _from_line(px: float, py: float, ax: float, ay: float, bx: float, by: float) -> float:
    dx, dy = bx - ax, by - ay
    square = dx * dx + dy * dy
    t = 0.0 if square == 0 else min(1.0, max(0.0, ((px - ax) * dx + (py - ay) * dy) / square))
    return hypot(px - ax - t * dx, py - ay - t * dy)


def _claim(table: list[int], index: int, net: int) -> None:
    if table[index] == FREE:
        table[index] = net
    elif table[index] != net:
        table[index] = BLOCKED


def build(of: tuple[Placed, ...], nets: dict[str, list[tuple[str, str]]]) -> tuple[Maze, list[Net]]:
    """The raster with every land, supply track and hole entered, and the nets in the order in which they are tried."""
    width, height = round(WIDTH_MM / CELL_MM) + 1, round(HEIGHT_MM / CELL_MM) + 1
    cells = width * height
    owner, via_owner = [FREE] * (2 * cells), [FREE] * cells
    numbers = {name: i for i, name in enumerate(nets, 1)}
    edge = int(EDGE_MM / CELL_MM) + 1
    for y in range(height):
        for x in range(width):
            if x < edge or y < edge or x >= width - edge or y >= height - edge:
                cell = y * width + x
                owner[cell] = owner[cell + cells] = via_owner[cell] = BLOCKED
    for o in _obstacles(of, numbers):
        reach = o.radius + VIA_LAND_MM / 2 + GAP_MM + CELL_MM
        for y in range(
            max(0, int((min(o.y0, o.y1) - reach) / CELL_MM)), min(height, int((max(o.y0, o.y1) + reach) / CELL_MM) + 2)
        ):
            for x in range(
                max(0, int((min(o.x0, o.x1) - reach) / CELL_MM)),
                min(width, int((max(o.x0, o.x1) + reach) / CELL_MM) + 2),
            ):
                away = _distance(o, x * CELL_MM, y * CELL_MM)
                cell = y * width + x
                if away < TRACK_MM / 2 + GAP_MM:
                    for layer in o.layers:
                        _claim(owner, cell + layer * cells, o.net)
                if away < VIA_LAND_MM / 2 + GAP_MM:
                    _claim(via_owner, cell, BLOCKED if o.drilled else o.net)
    grow = VIA_LAND_MM / 2 + 0.2
    for x0, y0, x1, y1 in _lettered(of):
        for y in range(int((y0 - grow) / CELL_MM) + 1, int((y1 + grow) / CELL_MM) + 1):
            for x in range(int((x0 - grow) / CELL_MM) + 1, int((x1 + grow) / CELL_MM) + 1):
                via_owner[y * width + x] = BLOCKED
    for item in of:
        for stroke in item.footprint.strokes:
            _keep_vias_off(stroke.points, item, width, via_owner)
    places = {(p.ref, p.number): cell_of(p.x_mm, p.y_mm) for p in lands(of)}
    tasks = []
    for name, pins in nets.items():
        spots = [places[pin] for pin in pins]
        seed: set[int] = set()
        for t in supply_tracks():
            if t.net == name:
                (ax, ay), (bx, by) = cell_of(t.x0_mm, t.y0_mm), cell_of(t.x1_mm, t.y1_mm)
                layer = 0 if t.side == "c" else 1
                seed.update(
                    layer * cells + y * width + x
                    for y in range(min(ay, by), max(ay, by) + 1)
                    for x in range(min(ax, bx), max(ax, bx) + 1)
                )
        numbered = sorted(y * width + x for x, y in spots)
        span = max(x for x, _ in spots) - min(x for x, _ in spots) + max(y for _, y in spots) - min(y for _, y in spots)
        tasks.append((1 if seed else 0, span, Net(numbers[name], name, numbered, sorted(seed))))
    tasks.sort(key=lambda t: (-t[0], t[1], t[2].number))
    return Maze(width, height, owner, via_owner), [t[2] for t in tasks]
