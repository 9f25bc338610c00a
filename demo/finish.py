"""From ways on the raster to tracks as they were drawn in 1983: straight runs, 45 degree corners, wide supply tracks."""

from __future__ import annotations

import itertools
from math import hypot

from demo.copper import Corner, Routed
from demo.maze import Maze, Net
from demo.placement import TIE_LAND_MM, lands, placed, supply_tracks, supply_vias
from demo.raster import CELL_MM, TRACK_MM, VIA_LAND_MM, cell_of

CLEAR_MM = 0.205
LARGEST_CUT = 3
SUPPLY_WIDTHS_UM = (1270, 1000, 800, 600, 500, 400)
SUPPLY_NETS = ("GND", "VCC", "VBB", "CELL")
_BUCKET = 8  # cells


class _Run:
    """A run of track between two fixed points, as corner cells; the corners between its ends may be cut."""

    def __init__(self, net: str, layer: int, corners: list[Corner]) -> None:
        self.net = net
        self.layer = layer
        self.corners = corners
        self.width_um = round(TRACK_MM * 1000)


Capsule = tuple[float, float, float, float, float]  # x0, y0, x1, y1, radius, in mm


def _apart(a: Capsule, b: Capsule) -> float:
    """The gap between two straight strokes with round ends, in mm (below zero when they overlap)."""
    return _segments_apart(a[:4], b[:4]) - a[4] - b[4]


def _point_apart(px: float, py: float, x0: float, y0: float, x1: float, y1: float) -> float:
    dx, dy = x1 - x0, y1 - y0
    length = dx * dx + dy * dy
    t = 0.0 if length == 0 else min(1.0, max(0.0, ((px - x0) * dx + (py - y0) * dy) / length))
    return hypot(px - x0 - t * dx, py - y0 - t * dy)


def _segments_apart(a: tuple[float, ...], b: tuple[float, ...]) -> float:
    ax0, ay0, ax1, ay1 = a
    bx0, by0, bx1, by1 = b

    def side(px: float, py: float, x0: float, y0: float, x1: float, y1: float) -> float:
        return (x1 - x0) * (py - y0) - (y1 - y0) * (px - x0)

    if (side(bx0, by0, *a) * side(bx1, by1, *a) < 0) and (side(ax0, ay0, *b) * side(ax1, ay1, *b) < 0):
        return 0.0
    return min(
        _point_apart(ax0, ay0, *b), _point_apart(ax1, ay1, *b), _point_apart(bx0, by0, *a), _point_apart(bx1, by1, *a)
    )


class _Surface:
    """All copper of one layer by place, for asking whether a new stroke would stand clear of other nets."""

    def __init__(self) -> None:
        self._buckets: dict[tuple[int, int], dict[int, tuple[str, Capsule]]] = {}
        self._next = 0

    def _keys(self, c: Capsule, reach: float) -> list[tuple[int, int]]:
        size = _BUCKET * CELL_MM
        r = c[4] + reach
        xs = range(int((min(c[0], c[2]) - r) // size), int((max(c[0], c[2]) + r) // size) + 1)
        ys = range(int((min(c[1], c[3]) - r) // size), int((max(c[1], c[3]) + r) // size) + 1)
        return [(x, y) for x in xs for y in ys]

    def put(self, net: str, capsule: Capsule) -> int:
        self._next += 1
        for key in self._keys(capsule, 0.0):
            self._buckets.setdefault(key, {})[self._next] = (net, capsule)
        return self._next

    def take(self, number: int, capsule: Capsule) -> None:
        for key in self._keys(capsule, 0.0):
            del self._buckets[key][number]

    def clear(self, net: str, capsule: Capsule) -> bool:
        for key in self._keys(capsule, 2 * CLEAR_MM):
            for other, there in self._buckets.get(key, {}).values():
                if other != net and _apart(capsule, there) < CLEAR_MM:
                    return False
        return True


def _links(net: Net, cells: int) -> dict[int, set[int]]:
    found: dict[int, set[int]] = {}
    for a, b in net.edges:
        if abs(a - b) != cells:
            found.setdefault(a, set()).add(b)
            found.setdefault(b, set()).add(a)
    return found


def _runs(net: Net, maze: Maze, fixed: set[int]) -> list[_Run]:
    """Cuts a net's ways into runs between fixed nodes (pins, vias, junctions, points on a rail)."""
    links = _links(net, maze.cells)
    ends = {n for n, near in links.items() if len(near) != 2 or n % maze.cells in net.vias or n in fixed}
    done: set[tuple[int, int]] = set()
    runs = []
    for start in sorted(ends):
        for first in sorted(links[start]):
            if (start, first) in done:
                continue
            way = [start, first]
            while way[-1] not in ends:
                way.append(next(n for n in sorted(links[way[-1]]) if n != way[-2]))
            done.add((start, first))
            done.add((way[-1], way[-2]))
            runs.append(_Run(net.name, start // maze.cells, _corners(way, maze)))
    return runs


def _corners(way: list[int], maze: Maze) -> list[Corner]:
    points = [(n % maze.cells % maze.width, n % maze.cells // maze.width) for n in way]
    kept = [points[0]]
    for before, here, after in zip(points, points[1:], points[2:], strict=False):
        if (here[0] - before[0], here[1] - before[1]) != (after[0] - here[0], after[1] - here[1]):
            kept.append(here)
    return [*kept, points[-1]]


def _capsules(run: _Run) -> list[Capsule]:
    r = run.width_um / 2000
    mm = [(x * CELL_MM, y * CELL_MM) for x, y in run.corners]
    return [(*a, *b, r) for a, b in itertools.pairwise(mm)]


def _cut(corners: list[Corner], at: int, size: int) -> list[Corner] | None:
    """The corners with the right angle at index `at` cut by `size` cells, or None where the legs are too short."""
    (ax, ay), (bx, by), (cx, cy) = corners[at - 1 : at + 2]
    if (ax != bx and ay != by) or (bx != cx and by != cy) or (ax == cx or ay == cy):
        return None
    if max(abs(ax - bx), abs(ay - by)) < size or max(abs(cx - bx), abs(cy - by)) < size:
        return None

    def toward(x: int, y: int) -> Corner:
        return bx + size * ((x > bx) - (x < bx)), by + size * ((y > by) - (y < by))

    p, q = toward(ax, ay), toward(cx, cy)
    new = [*corners[:at], p, q, *corners[at + 1 :]]
    return [c for i, c in enumerate(new) if i == 0 or c != new[i - 1]]


class _Drawing:
    """The tracks of all nets while corners are cut and supply tracks widened."""

    def __init__(self, runs: list[_Run], nets: list[Net], maze: Maze) -> None:
        self.runs = runs
        self.surfaces = (_Surface(), _Surface())
        self.numbers: dict[int, list[tuple[int, Capsule]]] = {}
        self._enter_fixed(nets, maze)
        for i in range(len(runs)):
            self._enter(i)

    def _enter_fixed(self, nets: list[Net], maze: Maze) -> None:
        for land in lands(placed()):
            r = land.land.size_mm / 2 * (2**0.5 if land.land.form == "square" else 1.0)
            name = land.net or f"{land.ref}.{land.number}"
            for surface in self.surfaces:
                surface.put(name, (land.x_mm, land.y_mm, land.x_mm, land.y_mm, r))
        for t in supply_tracks():
            self.surfaces[t.side == "s"].put(t.net, (t.x0_mm, t.y0_mm, t.x1_mm, t.y1_mm, t.width_mm / 2))
        vias = [(net, x, y, TIE_LAND_MM) for net, x, y in supply_vias()]
        vias += [
            (n.name, c % maze.width * CELL_MM, c // maze.width * CELL_MM, VIA_LAND_MM)
            for n in nets
            for c in sorted(n.vias)
        ]
        for net, x, y, size in vias:
            for surface in self.surfaces:
                surface.put(net, (x, y, x, y, size / 2))

    def _enter(self, i: int) -> None:
        run = self.runs[i]
        self.numbers[i] = [(self.surfaces[run.layer].put(run.net, c), c) for c in _capsules(run)]

    def _try(self, i: int, corners: list[Corner], width_um: int) -> bool:
        """Changes a run when its new shape stands clear of every other net."""
        run = self.runs[i]
        new = _Run(run.net, run.layer, corners)
        new.width_um = width_um
        surface = self.surfaces[run.layer]
        old = set(_capsules(run))
        if not all(c in old or surface.clear(run.net, c) for c in _capsules(new)):
            return False
        for number, capsule in self.numbers[i]:
            surface.take(number, capsule)
        self.runs[i] = new
        self._enter(i)
        return True

    def cut_corners(self) -> None:
        """Cuts right angles, largest cuts first, until nothing more can be cut."""
        for size in range(LARGEST_CUT, 0, -1):
            changed = True
            while changed:
                changed = False
                for i in range(len(self.runs)):
                    at = 1
                    while at < len(self.runs[i].corners) - 1:
                        new = _cut(self.runs[i].corners, at, size)
                        if new is not None and self._try(i, new, self.runs[i].width_um):
                            changed = True
                        at += 1

    def widen_supply(self) -> None:
        """Gives each supply run the largest width that fits its whole length."""
        for i, run in enumerate(self.runs):
            if run.net in SUPPLY_NETS:
                any(self._try(i, run.corners, width) for width in SUPPLY_WIDTHS_UM)


def finish(maze: Maze, nets: list[Net]) -> dict[str, Routed]:
    """The tracks and vias of every net: runs straightened, corners cut, supply widened. Deterministic."""
    pins: dict[str, set[int]] = {}
    for land in lands(placed()):
        x, y = cell_of(land.x_mm, land.y_mm)
        cell = y * maze.width + x
        pins.setdefault(land.net, set()).update((cell, cell + maze.cells))
    runs: list[_Run] = []
    for net in nets:
        runs += _runs(net, maze, pins[net.name] | set(net.seed))
    drawing = _Drawing(runs, nets, maze)
    drawing.cut_corners()
    drawing.widen_supply()
    result = {}
    for net in nets:
        own = sorted(("cs"[r.layer], r.width_um, tuple(r.corners)) for r in drawing.runs if r.net == net.name)
        result[net.name] = Routed(tuple(own), tuple(sorted((c % maze.width, c // maze.width) for c in net.vias)))
    return result
