"""The way of a patch wire along the board: straight runs in the board's two directions, few bends, round every place where no wire may lie.

Forbidden places are boxes (grown by the wire's gap); a way keeps to the lines that their edges and the two ends span. Among boxes some shortest
way with fewest bends lies on those lines (each run can be slid until it meets an edge or an end), so the search over them is exact for the stated
cost: length plus ``BEND_MM`` for each bend. Rules: jumper-wire practice after IPC-A-610 (docs/sources.md).
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import inf

import numpy as np
from numpy.typing import NDArray

BEND_MM = 2.0
"""What a bend costs, as mm of wire: it must be formed and held by a dot. Our choice."""
DOT_MM = 25.0
"""A fixing dot at least this often, and at every bend. From memory; IPC-A-610 leaves it to the drawing."""
DOT_FREE_MM = 3.0
"""No dot nearer than this to a soldered end: the end stays free of strain. Common practice, no source."""
ESCAPE_MM = 8.0
"""An end inside a forbidden place (a leg at its own part's edge) may be left straight out over at most this length."""
OVER_COST_MM = 25.0
"""What passing over a bare joint, land or via of another net costs, as mm of wire, where no way is clear of them: raised or sleeved there. Our choice."""
MOST_CROSSINGS = 12
"""Places to change sides that are tried for a wire, nearest first."""
SAME_MM = 1e-6

Spot = tuple[float, float]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class KeepOut:
    """A box where no wire may lie: ``x0, y0, x1, y1`` in mm with the wire's gap in it, the ``side`` c or s, and ``words`` such as "under U5"."""

    x0: float
    y0: float
    x1: float
    y1: float
    side: str
    words: str

    def holds(self, x: float, y: float) -> bool:
        """Whether a place lies inside, the rim left out."""
        return self.x0 + SAME_MM < x < self.x1 - SAME_MM and self.y0 + SAME_MM < y < self.y1 - SAME_MM


@dataclass(frozen=True, slots=True)
class Route:
    """A way: its corners in mm from end to end, ``length_mm``, number of ``bends``, and ``cost_mm`` = length + bends * BEND_MM."""

    path: tuple[Spot, ...]
    length_mm: float
    bends: int

    @property
    def cost_mm(self) -> float:
        """What the plan keeps least."""
        return self.length_mm + self.bends * BEND_MM


@dataclass(frozen=True, slots=True)
class Led:
    """A way that may pass through the board: ``path`` in mm, ``cost_mm``, ``crosses_at`` where it changes sides (a bend there costs nothing)."""

    path: tuple[Spot, ...]
    cost_mm: float
    crosses_at: Spot | None


def _count(a: Spot, b: Spot) -> float:
    """Length in the board's two directions."""
    return abs(a[0] - b[0]) + abs(a[1] - b[1])


@dataclass(frozen=True, slots=True)
class Ways:
    """Where wires may lie: ``keep_outs`` of both sides and the ``frame`` (x0, y0, x1, y1) inside the board's edge that they stay in.

    ``crossings``: places where a wire can pass to the other side (free holes); without one it goes round the edge at ``edge``.
    ``bare``: the ground of bare joints, lands and vias of other nets. It is forbidden too; ``loose`` gives it up, at a cost.
    """

    keep_outs: tuple[KeepOut, ...]
    frame: tuple[float, float, float, float]
    crossings: tuple[Spot, ...] = ()
    bare: tuple[KeepOut, ...] = ()
    kept: dict[object, object] = field(default_factory=dict, compare=False, repr=False)

    def clear_of(self, bare: Sequence[KeepOut]) -> Ways:
        """The same ground for a wire that also keeps clear of these bare places of other nets."""
        return replace(self, bare=tuple(bare), kept={})

    def loose(self) -> Ways:
        """The same ground for a wire that may pass over bare places of other nets."""
        return replace(self, bare=(), kept={})

    def passed(self, led: Led, side_a: str, side_b: str) -> int:
        """How many bare places of other nets a way lies over."""
        count, side = 0, side_a
        for p, q in pairwise(led.path):
            if led.crosses_at is not None and p == led.crosses_at:
                side = side_b
            count += sum(1 for one in self.bare if one.side == side and _crosses(one, p, q))
        return count

    def lower_mm(self, a: Spot, b: Spot) -> float:
        """No way between two places costs less.

        >>> Ways((), (0, 0, 9, 9)).lower_mm((1, 1), (4, 5))
        9.0
        """
        dx, dy = abs(a[0] - b[0]), abs(a[1] - b[1])
        return dx + dy + (BEND_MM if dx > SAME_MM and dy > SAME_MM else 0.0)

    def lower_mm_of(self, dx: Floats, dy: Floats) -> Floats:
        """The same for many pairs at once, from their differences in mm."""
        return np.asarray(dx + dy + BEND_MM * ((dx > SAME_MM) & (dy > SAME_MM)))

    def led(self, a: Spot, side_a: str, b: Spot, side_b: str) -> Led | None:
        """The cheapest way between two ends, through the board where their sides differ; None where every way is barred."""
        if side_a == side_b:
            found = self.route(a, b, side_a)
            return None if found is None else Led(found.path, found.cost_mm, None)
        best: Led | None = None
        for spot in self._crossings(a, b):
            if best is not None and _count(a, spot) + _count(spot, b) >= best.cost_mm:
                break
            one, two = self.route(a, spot, side_a), self.route(spot, b, side_b)
            if (
                one is not None
                and two is not None
                and (best is None or one.cost_mm + two.cost_mm < best.cost_mm - 1e-12)
            ):
                best = Led((*one.path, *two.path[1:]), one.cost_mm + two.cost_mm, spot)
        return best

    def _crossings(self, a: Spot, b: Spot) -> list[Spot]:
        """Places to pass to the other side, by the length they cost: free holes, and the edge at the height of either end."""
        x0, y0, x1, y1 = self.frame
        edge = [
            (x, y)
            for x, y in (*((x, s[1]) for x in (x0, x1) for s in (a, b)), *((s[0], y) for y in (y0, y1) for s in (a, b)))
        ]
        edge = [(min(max(x, x0), x1), min(max(y, y0), y1)) for x, y in edge]
        both = {
            spot
            for spot in (*self.crossings, *edge)
            if not any(one.holds(*spot) for one in (*self.keep_outs, *self.bare))
        }
        free = sorted(both, key=lambda spot: (_count(a, spot) + _count(spot, b), spot))
        return free[:MOST_CROSSINGS]

    def route(self, a: Spot, b: Spot, side: str) -> Route | None:
        """The cheapest way between two places on one side; None where every way is barred."""
        key = (min(a, b), max(a, b), side)
        if key not in self.kept:
            self.kept[key] = self._found(key[0], key[1], side)
        found = self.kept[key]
        if not isinstance(found, Route):
            return None
        return found if a <= b else Route(found.path[::-1], found.length_mm, found.bends)

    def barred(self, a: Spot, b: Spot, side: str) -> tuple[str, ...]:
        """The forbidden places, in words, that the plainest way (one bend) between two places meets."""
        out: dict[str, None] = {}
        for corner in ((b[0], a[1]), (a[0], b[1])):
            for p, q in ((a, corner), (corner, b)):
                for one in self.keep_outs:
                    if one.side == side and _crosses(one, p, q):
                        out.setdefault(one.words)
        return tuple(out)

    def _of(self, side: str) -> _Boxes:
        """The forbidden places of one side."""
        if ("of", side) not in self.kept:
            hard = [one for one in self.keep_outs if one.side == side]
            corners = np.array([(one.x0, one.y0, one.x1, one.y1) for one in hard]).reshape(-1, 4)
            soft = np.array([(one.x0, one.y0, one.x1, one.y1) for one in self.bare if one.side == side]).reshape(-1, 4)
            soft = soft[~_within(soft, corners)]
            self.kept["of", side] = _Boxes(
                np.vstack([corners, soft]), np.repeat([False, True], (len(corners), len(soft)))
            )
        found = self.kept["of", side]
        assert isinstance(found, _Boxes)
        return found

    def _found(self, a: Spot, b: Spot, side: str) -> Route | None:
        boxes = self._of(side)
        plain = self._plain(a, b, boxes)
        if plain is not None:
            return plain
        reach = abs(a[0] - b[0]) + abs(a[1] - b[1])
        for grow in (10.0, 40.0, inf):
            found = _searched(a, b, boxes, self.frame, grow)
            # a way that leaves the window is at least twice the margin longer than the straight count
            if found is not None and (grow == inf or found.cost_mm <= reach + 2 * grow):
                return found
            if found is None and grow == inf:
                return None
        return None

    def _plain(self, a: Spot, b: Spot, boxes: _Boxes) -> Route | None:
        """The straight way or the two ways with one bend, where one of them is free: nothing can be cheaper."""
        x0, y0, x1, y1 = self.frame
        if not all(x0 <= x <= x1 and y0 <= y <= y1 for x, y in (a, b)):
            return None
        for corner in ((b[0], a[1]), (a[0], b[1])):
            if not any(boxes.crossed(p, q).any() for p, q in ((a, corner), (corner, b))):
                return made_route((a, corner, b))
        return None


def _within(inner: Floats, outer: Floats) -> NDArray[np.bool_]:
    """(n,) which boxes lie wholly inside one of the others: they forbid nothing more."""
    if not len(inner) or not len(outer):
        return np.zeros(len(inner), dtype=bool)
    low = (inner[:, None, :2] >= outer[None, :, :2]).all(axis=2)
    high = (inner[:, None, 2:] <= outer[None, :, 2:]).all(axis=2)
    return np.asarray(np.any(low & high, axis=1))


@dataclass(frozen=True, slots=True)
class _Boxes:
    """Forbidden places of one side: ``at`` (n, 4) in mm, ``bare`` (n,) where it is a bare place of another net."""

    at: Floats
    bare: NDArray[np.bool_]

    def near(self, window: tuple[float, float, float, float]) -> _Boxes:
        """Those that reach into a window."""
        x0, y0, x1, y1 = window
        in_it = (self.at[:, 0] < x1) & (self.at[:, 2] > x0) & (self.at[:, 1] < y1) & (self.at[:, 3] > y0)
        return _Boxes(self.at[in_it], self.bare[in_it])

    def hold(self, spot: Spot) -> NDArray[np.bool_]:
        """(n,) which hold a place, their rims left out."""
        x, y = spot
        at = self.at
        level = (at[:, 0] + SAME_MM < x) & (x < at[:, 2] - SAME_MM)
        return np.asarray(level & (at[:, 1] + SAME_MM < y) & (y < at[:, 3] - SAME_MM))

    def crossed(self, p: Spot, q: Spot) -> NDArray[np.bool_]:
        """(n,) through which a level or upright run passes."""
        at = self.at
        across = (min(p[0], q[0]) < at[:, 2] - SAME_MM) & (max(p[0], q[0]) > at[:, 0] + SAME_MM)
        return np.asarray(across & (min(p[1], q[1]) < at[:, 3] - SAME_MM) & (max(p[1], q[1]) > at[:, 1] + SAME_MM))


def made_route(corners: Sequence[Spot]) -> Route:
    """A route through these corners; corners that are none are dropped.

    >>> made_route([(0, 0), (5, 0), (9, 0), (9, 3)])
    Route(path=((0, 0), (9, 0), (9, 3)), length_mm=12.0, bends=1)
    """
    path: list[Spot] = []
    for spot in corners:
        if path and abs(path[-1][0] - spot[0]) < SAME_MM and abs(path[-1][1] - spot[1]) < SAME_MM:
            continue
        if len(path) >= 2 and _in_line(path[-2], path[-1], spot):
            path[-1] = spot
        else:
            path.append(spot)
    length = sum(abs(p[0] - q[0]) + abs(p[1] - q[1]) for p, q in pairwise(path))
    return Route(tuple(path), float(length), max(len(path) - 2, 0))


def _in_line(p: Spot, q: Spot, r: Spot) -> bool:
    level = abs(p[1] - q[1]) < SAME_MM and abs(q[1] - r[1]) < SAME_MM
    upright = abs(p[0] - q[0]) < SAME_MM and abs(q[0] - r[0]) < SAME_MM
    return level or upright


def _crosses(box: KeepOut, p: Spot, q: Spot) -> bool:
    """Whether a level or upright run passes through the inside of a box."""
    low_x, high_x = min(p[0], q[0]), max(p[0], q[0])
    low_y, high_y = min(p[1], q[1]), max(p[1], q[1])
    return (
        low_x < box.x1 - SAME_MM
        and high_x > box.x0 + SAME_MM
        and low_y < box.y1 - SAME_MM
        and high_y > box.y0 + SAME_MM
    )


@dataclass(frozen=True, slots=True)
class _Lines:
    """The lines of a search: ``x``, ``y`` sorted, and which runs between neighbouring crossings are barred."""

    x: Floats
    y: Floats
    level: NDArray[np.bool_]
    """(nx - 1, ny): the run from x[i] to x[i + 1] on y[j]."""
    upright: NDArray[np.bool_]
    """(nx, ny - 1)."""


def _searched(a: Spot, b: Spot, boxes: _Boxes, frame: tuple[float, float, float, float], grow: float) -> Route | None:
    """The cheapest way on the lines inside the window that the two ends and a margin span."""
    x0, y0 = max(frame[0], min(a[0], b[0]) - grow), max(frame[1], min(a[1], b[1]) - grow)
    x1, y1 = min(frame[2], max(a[0], b[0]) + grow), min(frame[3], max(a[1], b[1]) + grow)
    near = boxes.near((x0, y0, x1, y1))
    free = [_way_out(spot, near, frame) for spot in (a, b)]
    if any(one is None for one in free):
        return None
    outs = [one for one in free if one is not None]
    extra = [*outs, a, b]
    xs = _lines([*near.at[:, [0, 2]].ravel().tolist(), x0, x1], [p[0] for p in extra], x0, x1)
    ys = _lines([*near.at[:, [1, 3]].ravel().tolist(), y0, y1], [p[1] for p in extra], y0, y1)
    lines = _barred(xs, ys, near, (x0, y0, x1, y1))
    for spot, out in zip((a, b), outs, strict=True):
        _open_way(lines, spot, out)
    return _cheapest(lines, a, b)


def _lines(edges: Iterable[float], ends: Iterable[float], low: float, high: float) -> Floats:
    """Sorted coordinates inside the window, those of the ends always."""
    values = sorted({*(v for v in edges if low <= v <= high), *ends})
    kept: list[float] = []
    fixed = set(ends)
    for value in values:
        if kept and value - kept[-1] < SAME_MM:
            if value in fixed:
                kept[-1] = value
            continue
        kept.append(value)
    return np.array(kept)


def _barred(xs: Floats, ys: Floats, boxes: _Boxes, window: tuple[float, float, float, float]) -> _Lines:
    """Which runs lie inside a box or outside the window."""
    level = np.zeros((max(len(xs) - 1, 0), len(ys)), dtype=bool)
    upright = np.zeros((len(xs), max(len(ys) - 1, 0)), dtype=bool)
    bounds = []
    for lines, low, high in ((xs, boxes.at[:, 0], boxes.at[:, 2]), (ys, boxes.at[:, 1], boxes.at[:, 3])):
        outer = np.searchsorted(lines, low - SAME_MM), np.searchsorted(lines, high + SAME_MM, side="right")
        inner = np.searchsorted(lines, low + SAME_MM, side="right"), np.searchsorted(lines, high - SAME_MM)
        bounds.append(np.stack([outer[0], np.maximum(outer[1] - 1, outer[0]), *inner], axis=1).tolist())
    for (i0, i1, ii0, ii1), (j0, j1, jj0, jj1) in zip(*bounds, strict=True):
        level[i0:i1, jj0:jj1] = True
        upright[ii0:ii1, j0:j1] = True
    x0, y0, x1, y1 = window
    off_x = (xs < x0 - SAME_MM) | (xs > x1 + SAME_MM)
    off_y = (ys < y0 - SAME_MM) | (ys > y1 + SAME_MM)
    level[:, off_y] = True
    level |= (off_x[:-1] | off_x[1:])[:, None]
    upright[off_x, :] = True
    upright |= (off_y[:-1] | off_y[1:])[None, :]
    return _Lines(xs, ys, level, upright)


def _way_out(spot: Spot, boxes: _Boxes, frame: tuple[float, float, float, float]) -> Spot | None:
    """Where an end leaves the forbidden places that it lies in, straight and the shortest way; the end itself where it lies free, None where it cannot.

    Bare places of other nets that do not hold the end itself are not passed on the way out.
    """
    x0, y0, x1, y1 = frame
    held = boxes.hold(spot)
    best: tuple[float, Spot] | None = None
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        x, y = spot
        for _ in range(8):
            inside = np.flatnonzero(boxes.hold((x, y)))
            if not len(inside):
                break
            left, low, right, high = boxes.at[inside[0]].tolist()
            x = right if dx > 0 else left if dx < 0 else x
            y = high if dy > 0 else low if dy < 0 else y
        x = min(max(x, x0), x1)
        y = min(max(y, y0), y1)
        far = abs(x - spot[0]) + abs(y - spot[1])
        straight = abs(x - spot[0]) < SAME_MM or abs(y - spot[1]) < SAME_MM
        if (
            straight
            and far <= ESCAPE_MM
            and not boxes.hold((x, y)).any()
            and not (boxes.crossed(spot, (x, y)) & boxes.bare & ~held).any()
            and (best is None or far < best[0] - SAME_MM)
        ):
            best = (far, (x, y))
    return None if best is None else best[1]


def _open_way(lines: _Lines, spot: Spot, out: Spot) -> None:
    """Allow the straight runs between an end and where it leaves its forbidden place."""
    i0, i1 = sorted(int(np.searchsorted(lines.x, v - SAME_MM)) for v in (spot[0], out[0]))
    j0, j1 = sorted(int(np.searchsorted(lines.y, v - SAME_MM)) for v in (spot[1], out[1]))
    lines.level[i0:i1, j0] = False
    lines.upright[i0, j0:j1] = False


def _cheapest(lines: _Lines, a: Spot, b: Spot) -> Route | None:
    """A* over (crossing, direction): length plus bends; never misses the least."""
    xs, ys = lines.x.tolist(), lines.y.tolist()
    level, upright = lines.level.tolist(), lines.upright.tolist()
    nx, ny = len(xs), len(ys)
    start = (_at(xs, a[0]), _at(ys, a[1]))
    goal = (_at(xs, b[0]), _at(ys, b[1]))
    gx, gy = xs[goal[0]], ys[goal[1]]
    cost: dict[tuple[int, int, int], float] = {}
    came: dict[tuple[int, int, int], tuple[int, int, int]] = {}
    queue: list[tuple[float, float, tuple[int, int, int]]] = []
    for way in (0, 1):
        state = (*start, way)
        cost[state] = 0.0
        heapq.heappush(queue, (abs(xs[start[0]] - gx) + abs(ys[start[1]] - gy), 0.0, state))
    done: set[tuple[int, int, int]] = set()
    while queue:
        _, spent, state = heapq.heappop(queue)
        if state in done:
            continue
        done.add(state)
        i, j, way = state
        if (i, j) == goal:
            return made_route(_walked(came, state, xs, ys))
        for there, more in _moves(i, j, way, level, upright, xs, ys, nx, ny):
            total = spent + more
            if total < cost.get(there, inf) - 1e-12:
                cost[there] = total
                came[there] = state
                dx, dy = abs(xs[there[0]] - gx), abs(ys[there[1]] - gy)
                turn = BEND_MM if (dx > SAME_MM if there[2] else dy > SAME_MM) else 0.0
                heapq.heappush(queue, (total + dx + dy + turn, total, there))
    return None


def _moves(
    i: int,
    j: int,
    way: int,
    level: list[list[bool]],
    upright: list[list[bool]],
    xs: list[float],
    ys: list[float],
    nx: int,
    ny: int,
) -> Iterable[tuple[tuple[int, int, int], float]]:
    """One run on in the direction of the state, or a turn on the spot."""
    yield (i, j, 1 - way), BEND_MM
    if way == 0:
        if i + 1 < nx and not level[i][j]:
            yield (i + 1, j, 0), xs[i + 1] - xs[i]
        if i > 0 and not level[i - 1][j]:
            yield (i - 1, j, 0), xs[i] - xs[i - 1]
    else:
        if j + 1 < ny and not upright[i][j]:
            yield (i, j + 1, 1), ys[j + 1] - ys[j]
        if j > 0 and not upright[i][j - 1]:
            yield (i, j - 1, 1), ys[j] - ys[j - 1]


def _at(values: list[float], wanted: float) -> int:
    """The place of a coordinate among the lines."""
    return min(range(len(values)), key=lambda k: abs(values[k] - wanted))


def _walked(
    came: dict[tuple[int, int, int], tuple[int, int, int]],
    state: tuple[int, int, int],
    xs: list[float],
    ys: list[float],
) -> list[Spot]:
    """The corners from start to goal."""
    out = [(xs[state[0]], ys[state[1]])]
    while state in came:
        state = came[state]
        out.append((xs[state[0]], ys[state[1]]))
    return out[::-1]


def fixing_dots(path: Sequence[Spot], every_mm: float = DOT_MM, free_mm: float = DOT_FREE_MM) -> tuple[Spot, ...]:
    """Where a wire is fixed: at every bend, and between two dots (or an end and a dot) never further apart than ``every_mm``; ends stay free.

    >>> fixing_dots(((0, 0), (30, 0), (30, 10)))
    ((15.0, 0.0), (30.0, 0.0))
    """
    out: list[Spot] = []
    ends = (path[0], path[-1])
    for number, (p, q) in enumerate(pairwise(path)):
        length = abs(p[0] - q[0]) + abs(p[1] - q[1])
        parts = max(int(np.ceil(length / every_mm - 1e-9)), 1)
        for k in range(1, parts + 1):
            t = k / parts
            spot = (float(p[0] + t * (q[0] - p[0])), float(p[1] + t * (q[1] - p[1])))
            last = number == len(path) - 2 and k == parts
            near = min(abs(spot[0] - e[0]) + abs(spot[1] - e[1]) for e in ends)
            if not last and near >= free_mm:
                out.append(spot)
    return tuple(out)
