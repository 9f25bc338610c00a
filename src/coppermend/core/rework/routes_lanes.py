"""The cheapest ways from many places to many others at once, among forbidden boxes on one side of a board.

Some cheapest way keeps to lanes: the straight stretches of free ground on which an edge of a box, an edge of the frame or an end lies, for each run of
a way can be slid until it meets one of them. Where two lanes cross a way can turn, for ``BEND_MM``. Least costs over the crossings: Dijkstra (scipy).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from coppermend.core.rework.routes_boxes import (
    BEND_MM,
    SAME_MM,
    Boxes,
    Flags,
    Floats,
    Frame,
    Ints,
    Spot,
    Stops,
    made_corners,
)

NEAR_MM = (20.0, 60.0)
"""So far above its lower bound a way is looked for on near ground, one after the other, then on the whole side."""
ON_LINE_MM = 10 * SAME_MM
"""An edge or end this near to a line lies on it: lines nearer to each other than SAME_MM are one."""
START = 1.0
"""Added to every cost while it is searched: scipy may take an explicit cost of 0 for no way."""


def lower_bounds(sources: Stops, targets: Stops) -> Floats:
    """(n, m) in mm: no way between two ends costs less, what ending there costs with it; inf where an end cannot leave its forbidden place."""
    dx = _apart(sources.out, targets.out)
    bent = (np.abs(sources.at[:, None, 0] - targets.at[None, :, 0]) > SAME_MM) & (
        np.abs(sources.at[:, None, 1] - targets.at[None, :, 1]) > SAME_MM
    )
    ending = sources.cost[:, None] + targets.cost[None, :]
    bound = dx + BEND_MM * bent + sources.far[:, None] + targets.far[None, :]
    if (sources.far > 0).any() or (targets.far > 0).any():
        direct = _apart(sources.at, targets.at)
        on_way = direct + _apart(sources.out, targets.at) <= sources.far[:, None] + SAME_MM
        on_way |= direct + _apart(sources.at, targets.out) <= targets.far[None, :] + SAME_MM
        bound = np.where(on_way & (bound < inf), direct, bound)
    return np.asarray(bound + ending)


def _apart(one: Floats, two: Floats) -> Floats:
    """(n, m) lengths in the board's two directions."""
    return np.asarray(np.abs(one[:, None, 0] - two[None, :, 0]) + np.abs(one[:, None, 1] - two[None, :, 1]))


Places = NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class Lanes:
    """The crossings of lanes: sorted lines ``x``, ``y``; ``at`` (n, 2) the two lines of each crossing, by row; ``graph`` (2 n, 2 n) costs from state to
    state: k lies level at crossing k, n + k upright."""

    x: Floats
    y: Floats
    at: Ints
    graph: Any

    @classmethod
    def of(cls, boxes: Boxes, frame: Frame, ends: Floats) -> Lanes:
        """The lanes inside a frame that these boxes, its edges and these ends (m, 2) span."""
        x, ix = _lines(boxes.at[:, [0, 2]].ravel(), ends[:, 0], frame[0], frame[2])
        y, iy = _lines(boxes.at[:, [1, 3]].ravel(), ends[:, 1], frame[1], frame[3])
        level, upright = (_stretches(barred) for barred in _barred(x, y, boxes))
        rows = _alive(level, *_edges(y, x, boxes.at[:, [1, 3]], boxes.at[:, [0, 2]], iy, ix))
        columns = _alive(upright, *_edges(x, y, boxes.at[:, [0, 2]], boxes.at[:, [1, 3]], ix, iy))
        crossing = rows & columns.T
        j, i = np.nonzero(crossing)
        number = np.zeros(crossing.shape, dtype=np.int64)
        number[j, i] = np.arange(len(i))
        order = number.T[crossing.T]
        return cls(x, y, np.stack([i, j], axis=1), _graph(x, y, i, j, order, level[j, i], upright[i, j]))

    def near(self, spots: Floats) -> Ints:
        """(m,) the crossing at each place (m, 2); -1 where none is."""
        i, found_x = _on(self.x, spots[:, 0])
        j, found_y = _on(self.y, spots[:, 1])
        key, known = j * len(self.x) + i, self.at[:, 1] * len(self.x) + self.at[:, 0]
        place = np.minimum(np.searchsorted(known, key), max(len(known) - 1, 0))
        return np.where(found_x & found_y & (known[place] == key), place, -1) if len(known) else np.full(len(key), -1)

    def shut_in(self, ends: Stops, frame: Frame, others: Floats) -> bool:
        """Whether no way leads from these ends to any of the ``others`` (m, 2), whatever it costs: all that they can reach lies inside these lanes' ground,
        and in the box of that lies none of the others. ``frame``: the whole side's; its edges lead nowhere.
        """
        free = ends.some(ends.far < inf)
        if not len(free.at):
            return True
        if (self.near(free.out) < 0).any():
            return False
        n = len(self.at)
        cost = self.spread(free).cost
        at = self.at[np.minimum(cost[:n], cost[n:]) < inf]
        low, high = at.min(axis=0), at.max(axis=0)
        box = (self.x[low[0]], self.y[low[1]], self.x[high[0]], self.y[high[1]])
        inner = (self.x[0] > frame[0], self.y[0] > frame[1], self.x[-1] < frame[2], self.y[-1] < frame[3])
        touched = (low[0] == 0, low[1] == 0, high[0] == len(self.x) - 1, high[1] == len(self.y) - 1)
        if any(edge and hit for edge, hit in zip(inner, touched, strict=True)):
            return False
        beside = (others < np.array(box[:2]) - ON_LINE_MM) | (others > np.array(box[2:]) + ON_LINE_MM)
        return bool(beside.any(axis=1).all())

    def spread(self, sources: Stops, limit: float = inf) -> Field:
        """The least costs from any of the sources to every crossing, as far as they cost at most ``limit``."""
        n = len(self.at)
        node = np.where(sources.far < inf, self.near(sources.out), -1)
        start = sources.cost + sources.far
        seeds = np.full(2 * n, inf)
        for way in (0, 1):
            cost = start + BEND_MM * (sources.along == 1 - way)
            np.minimum.at(seeds, way * n + node[node >= 0], cost[node >= 0])
        state = np.flatnonzero(seeds < inf)
        graph = csr_matrix(
            (
                np.concatenate([self.graph.data, seeds[state] + START]),
                np.concatenate([self.graph.indices, state.astype(self.graph.indices.dtype)]),
                np.concatenate([self.graph.indptr, [self.graph.nnz + len(state)]]),
            ),
            shape=(2 * n + 1, 2 * n + 1),
        )
        cost, before = dijkstra(graph, indices=2 * n, return_predecessors=True, limit=limit + START)
        return Field(self, sources, node, cost[: 2 * n] - START, before)


@dataclass(frozen=True, slots=True)
class Field:
    """Least costs from many sources over the lanes: ``cost`` (2 n,) of each state, ``before`` the state it is reached from, ``node`` (sources,)."""

    lanes: Lanes
    sources: Stops
    node: Ints
    cost: Floats
    before: Places

    def to(self, targets: Stops) -> Floats:
        """(m,) in mm the least cost to each target, the costs of both ends in it; inf where no way was found."""
        return np.asarray(self._states(targets)[1].min(axis=0, initial=inf) + targets.cost + targets.far)

    def _states(self, targets: Stops) -> tuple[Ints, Floats]:
        """(2, m) the states at each target, level and upright, and their costs with the bend that the target's way out asks for."""
        n = len(self.lanes.at)
        node = np.where(targets.far < inf, self.lanes.near(targets.out), -1)
        state = np.stack([node, n + node])
        bend = BEND_MM * np.stack([targets.along == 1, targets.along == 0])
        return state, np.where(node >= 0, self.cost[np.where(node >= 0, state, 0)] + bend, inf)

    def way(self, targets: Stops, k: int) -> tuple[int, tuple[Spot, ...]]:
        """The source that target ``k`` is reached from, and the corners from there."""
        states, costs = self._states(targets.some(np.array([k])))
        state, n = int(states[int(costs[1, 0] < costs[0, 0]), 0]), len(self.lanes.at)
        corners = [_spot(targets.at[k]), _spot(targets.out[k])]
        while True:
            i, j = self.lanes.at[state % n].tolist()
            corners.append((float(self.lanes.x[i]), float(self.lanes.y[j])))
            if int(self.before[state]) == 2 * n:
                break
            state = int(self.before[state])
        here = np.flatnonzero(self.node == state % n)
        bend = BEND_MM * (self.sources.along[here] == 1 - state // n)
        source = int(here[np.argmin(self.sources.cost[here] + self.sources.far[here] + bend)])
        corners += [_spot(self.sources.out[source]), _spot(self.sources.at[source])]
        return source, made_corners(corners[::-1])


def near_lanes(boxes: Boxes, frame: Frame, sources: Stops, targets: Stops, most: float = inf) -> Lanes:
    """The lanes that ways up to a cost, and the least lower bound at least, can keep to: a way that leaves the box of its ends is twice as much longer as it
    goes beyond. Some end of both must be free.
    """
    bound = lower_bounds(sources, targets)
    most = max(most, float(bound.min()))
    s, t = np.nonzero(bound <= most if most < inf else bound < inf)
    window = frame
    if most < inf:
        grow = ((most - bound[s, t]) / 2)[:, None]
        low = (np.minimum(sources.out[s], targets.out[t]) - grow).min(axis=0)
        high = (np.maximum(sources.out[s], targets.out[t]) + grow).max(axis=0)
        x0, y0, x1, y1 = frame
        window = (max(x0, float(low[0])), max(y0, float(low[1])), min(x1, float(high[0])), min(y1, float(high[1])))
    return Lanes.of(boxes.near(window), window, np.vstack([sources.out[np.unique(s)], targets.out[np.unique(t)]]))


def _lines(edges: Floats, ends: Floats, low: float, high: float) -> tuple[Floats, Ints]:
    """Sorted coordinates inside the window, those of the ends exactly, and the place of each end among them."""
    inside = edges[(edges > low) & (edges < high)]
    values = np.concatenate([ends, [low, high], inside])
    order = np.argsort(values, kind="stable")
    ranked = values[order]
    first = np.concatenate([[True], np.diff(ranked) > SAME_MM])
    line = np.empty(len(values), dtype=np.int64)
    line[order] = np.cumsum(first) - 1
    lines = ranked[first]
    lines[line[: len(ends)]] = ends
    return lines, line[: len(ends)]


def _on(lines: Floats, values: Floats) -> tuple[Ints, Flags]:
    """The line nearest to each value, and whether the value lies on it."""
    at = np.clip(np.searchsorted(lines, values), 1, max(len(lines) - 1, 1))
    at = at - (values - lines[at - 1] < lines[np.minimum(at, len(lines) - 1)] - values)
    at = np.minimum(at, len(lines) - 1)
    return at, np.abs(lines[at] - values) <= ON_LINE_MM


def _barred(xs: Floats, ys: Floats, boxes: Boxes) -> tuple[Flags, Flags]:
    """Which level (ny, nx - 1) and which upright (nx, ny - 1) runs between neighbouring lines lie inside a box."""
    level = np.zeros((len(ys), max(len(xs) - 1, 0)), dtype=bool)
    upright = np.zeros((len(xs), max(len(ys) - 1, 0)), dtype=bool)
    bounds = []
    for lines, low, high in ((xs, boxes.at[:, 0], boxes.at[:, 2]), (ys, boxes.at[:, 1], boxes.at[:, 3])):
        outer = np.searchsorted(lines, low - SAME_MM), np.searchsorted(lines, high + SAME_MM, side="right")
        inner = np.searchsorted(lines, low + SAME_MM, side="right"), np.searchsorted(lines, high - SAME_MM)
        # a box that begins or ends off the lines bars the runs as far as it reaches
        bounds.append(np.stack([outer[0], np.maximum(outer[1] - 1, outer[0]), *inner], axis=1).tolist())
    for (i0, i1, ii0, ii1), (j0, j1, jj0, jj1) in zip(*bounds, strict=True):
        level[jj0:jj1, i0:i1] = True
        upright[ii0:ii1, j0:j1] = True
    return level, upright


def _stretches(barred: Flags) -> Places:
    """(lines, places): the number of the free stretch that each crossing lies on, counted along the lines."""
    lines, places = barred.shape[0], barred.shape[1] + 1
    out = np.zeros((lines, places), dtype=np.int32)
    np.cumsum(barred, axis=1, out=out[:, 1:])
    out += (np.arange(lines, dtype=np.int32) * places)[:, None]
    return out


def _edges(
    lines: Floats, along: Floats, ends: Floats, spans: Floats, end_line: Ints, end_at: Ints
) -> tuple[Ints, Ints, Ints]:
    """What makes lanes along one direction: the line of each edge and end, and the first and last place it covers. ``ends`` (boxes, 2) the coordinates of
    both edges, ``spans`` (boxes, 2) from where to where they reach. The frame's two edges are with them."""
    line, found = _on(lines, ends.ravel())
    first = np.repeat(np.searchsorted(along, spans[:, 0] - SAME_MM), 2)
    last = np.repeat(np.searchsorted(along, spans[:, 1] + SAME_MM, side="right") - 1, 2)
    found &= first <= last
    return (
        np.concatenate([line[found], end_line, [0, len(lines) - 1]]),
        np.concatenate([first[found], end_at, [0, 0]]),
        np.concatenate([last[found], end_at, [len(along) - 1, len(along) - 1]]),
    )


def _alive(stretch: Places, line: Ints, first: Ints, last: Ints) -> Flags:
    """(lines, places): which crossings lie on a stretch that one of these edges touches."""
    mark = np.zeros(stretch.size + 1, dtype=np.int32)
    np.add.at(mark, stretch[line, first], 1)
    np.add.at(mark, stretch[line, last] + 1, -1)
    return np.asarray((np.cumsum(mark[:-1], dtype=np.int32) > 0)[stretch])


def _graph(x: Floats, y: Floats, i: Ints, j: Ints, order: Ints, level: Places, upright: Places) -> Any:
    """Costs between neighbouring crossings of one stretch, and of a bend at each. ``order``: the crossings by columns; ``level``, ``upright``: the
    stretches of each crossing.
    """
    n = len(i)
    across = np.flatnonzero(level[1:] == level[:-1])
    up = np.flatnonzero(upright[order[1:]] == upright[order[:-1]])
    below, above = order[up], order[up + 1]
    other = np.full((2 * n, 3), -1, dtype=np.int32)  # before, behind, and the same crossing the other way
    cost = np.full((2 * n, 3), BEND_MM)
    for one, two, apart in (
        (across, across + 1, x[i[across + 1]] - x[i[across]]),
        (n + below, n + above, y[j[above]] - y[j[below]]),
    ):
        other[one, 1], other[two, 0] = two, one
        cost[one, 1] = cost[two, 0] = apart
    other[:n, 2], other[n:, 2] = np.arange(n, 2 * n), np.arange(n)
    there = other >= 0
    start = np.concatenate([[0], np.cumsum(there.sum(axis=1))])
    return csr_matrix((cost[there], other[there], start.astype(np.int32)), shape=(2 * n, 2 * n))


def _spot(at: Floats) -> Spot:
    return float(at[0]), float(at[1])
