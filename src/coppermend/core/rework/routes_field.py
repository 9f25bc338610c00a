"""The cheapest ways from many places to many others at once, among forbidden boxes on one side of a board.

Ways keep to the lines that the boxes' edges and the ends span (``routes.py`` says why that is exact). On these lines least costs are spread run by run:
along every line at once as a running minimum that starts anew at each barred run, then round the corner for ``BEND_MM``, until nothing gets cheaper.
Only what can still end below a ceiling goes on, and the ground is cut down to what a way below the ceiling can reach.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import inf

import numpy as np

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

GROWS_MM = (20.0, 80.0, inf)
"""How far above its lower bound a way is looked for, one after the other: each wider ground holds every way up to that cost."""


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


def ceilings(lowest: float, ceiling: float = inf) -> Iterator[float]:
    """Ceilings to look up to, one after the other, none above ``ceiling``.

    >>> list(ceilings(30.0, 60.0))
    [50.0, 60.0]
    """
    for grow in GROWS_MM:
        yield min(lowest + grow, ceiling)
        if lowest + grow >= ceiling:
            return


def least_field(
    boxes: Boxes,
    frame: Frame,
    sources: Stops,
    targets: Stops,
    ceiling: float = inf,
    worth: float = 0.0,
    known: float = 0.0,
) -> Field | None:
    """The least costs from any source to each target, where the least of all is at most ``ceiling``; None where no way is.

    Costs up to ``worth`` above the least are exact as far as the ground looked at goes; the least itself always is. ``known``: none costs less.
    """
    if not len(sources.at) or not len(targets.at):
        return None
    bound = lower_bounds(sources, targets)
    if not bound.min() <= ceiling or bound.min() == inf:
        return None
    for upto in ceilings(max(float(bound.min()), known), ceiling):
        found = spread(boxes, frame, sources, targets, bound, upto, worth)
        if found is not None and found.reached(upto).any():
            return found
        if found is not None and found.shut:
            return None
    return None


def spread(
    boxes: Boxes, frame: Frame, sources: Stops, targets: Stops, bound: Floats, ceiling: float, worth: float = inf
) -> Field | None:
    """The least costs up to a ceiling. ``bound``: ``lower_bounds`` of the two."""
    pairs = bound <= ceiling if ceiling < inf else bound < inf
    if not pairs.any():
        return None
    window = _window(frame, sources, targets, bound, pairs, ceiling)
    made = Field(sources, targets, _Grid.of(boxes.near(window), window, sources, targets, pairs))
    made.fill(np.flatnonzero(pairs.any(axis=1)), ceiling, worth)
    made.shut = made.shut and bool(pairs.sum() == (bound < inf).sum()) and not made.leaves(frame)
    return made


def _window(frame: Frame, sources: Stops, targets: Stops, bound: Floats, pairs: Flags, ceiling: float) -> Frame:
    """What a way below the ceiling can reach: one that leaves the box of its ends is twice as much longer as it goes beyond."""
    if ceiling == inf:
        return frame
    s, t = np.nonzero(pairs)
    grow = (ceiling - bound[s, t]) / 2
    low = (np.minimum(sources.out[s], targets.out[t]) - grow[:, None]).min(axis=0)
    high = (np.maximum(sources.out[s], targets.out[t]) + grow[:, None]).max(axis=0)
    x0, y0, x1, y1 = frame
    return (max(x0, float(low[0])), max(y0, float(low[1])), min(x1, float(high[0])), min(y1, float(high[1])))


@dataclass(frozen=True, slots=True)
class _Grid:
    """The lines of a search: ``x``, ``y`` sorted, which runs between neighbouring crossings are barred, and on which lines the ends lie."""

    x: Floats
    y: Floats
    level: Flags
    """(ny, nx - 1): the run from x[i] to x[i + 1] on y[j]."""
    upright: Flags
    """(nx, ny - 1)."""
    source: Ints
    """(n, 2) the crossing of each source; -1 where it is not looked at."""
    target: Ints
    """(m, 2)."""

    @classmethod
    def of(cls, boxes: Boxes, window: Frame, sources: Stops, targets: Stops, pairs: Flags) -> _Grid:
        """The lines that the boxes' edges, the window and the ends of these pairs span."""
        s, t = np.flatnonzero(pairs.any(axis=1)), np.flatnonzero(pairs.any(axis=0))
        outs = np.vstack([sources.out[s], targets.out[t]])
        (x, ix), (y, iy) = (
            _lines(boxes.at[:, [k, k + 2]].ravel(), outs[:, k], window[k], window[k + 2]) for k in (0, 1)
        )
        places = np.stack([ix, iy], axis=1)
        source, target = np.full((len(sources.at), 2), -1), np.full((len(targets.at), 2), -1)
        source[s], target[t] = places[: len(s)], places[len(s) :]
        return cls(x, y, *_barred(x, y, boxes), source, target)


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


def _barred(xs: Floats, ys: Floats, boxes: Boxes) -> tuple[Flags, Flags]:
    """Which level and which upright runs lie inside a box."""
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


@dataclass(slots=True)
class _Sheet:
    """Least costs at every crossing for a wire that lies along one direction: ``cost`` (lines, places on a line).

    ``off``: the coordinate along the line, raised by ``apart`` behind every barred run, so that a running minimum never passes one.
    """

    cost: Floats
    off: Floats

    @classmethod
    def of(cls, along: Floats, barred: Flags, unreached: float) -> _Sheet:
        """No place reached yet."""
        off = np.empty((len(barred), len(along)))
        off[:, :1] = 0.0
        np.cumsum(barred, axis=1, out=off[:, 1:])
        off *= 2 * unreached
        off += along
        return cls(np.full(off.shape, unreached), off)

    def sweep(self, lines: Ints) -> None:
        """Spread the costs along these lines, both ways."""
        cost, off = self.cost[lines], self.off[lines]
        run = cost - off
        np.minimum.accumulate(run, axis=1, out=run)
        run += off
        np.minimum(cost, run, out=cost)
        np.add(cost, off, out=run)
        back = run[:, ::-1]
        np.minimum.accumulate(back, axis=1, out=back)
        run -= off
        self.cost[lines] = np.minimum(cost, run, out=cost)

    def turn(self, other: _Sheet, lines: Ints, most: Floats) -> tuple[Ints, bool]:
        """Let a wire turn off these lines into the other direction, where that is cheaper and below ``most``: the other's lines that changed, and whether
        anything was above it."""
        there = self.cost[lines].T + BEND_MM
        known = other.cost[:, lines]
        cheaper = there < known - SAME_MM
        better = cheaper & (there <= most)
        other.cost[:, lines] = np.where(better, there, known)
        return np.flatnonzero(better.any(axis=1)), bool((cheaper ^ better).any())


@dataclass(slots=True)
class Field:
    """Least costs from many sources to many targets. ``value`` (m,) in mm with the costs of both ends in it, inf where no way was found."""

    sources: Stops
    targets: Stops
    grid: _Grid
    value: Floats = field(default_factory=lambda: np.empty(0))
    shut: bool = True
    """All that the sources can reach was looked at: a target not reached is reached at no cost."""
    _sheets: tuple[_Sheet, _Sheet] = field(init=False, repr=False)
    _seeds: tuple[dict[int, list[tuple[int, float, int]]], ...] = field(init=False, repr=False)
    _unreached: float = field(init=False, repr=False)

    def fill(self, sources: Ints, ceiling: float, worth: float) -> None:
        """Spread from the sources until nothing below the ceiling, and below the least found plus ``worth``, gets cheaper."""
        x, y = self.grid.x, self.grid.y
        self._unreached = unreached = (
            16.0 * (x[-1] - x[0] + y[-1] - y[0]) + 1000.0 + 2 * float(self.sources.cost[sources].max())
        )
        level, upright = self._sheets = (
            _Sheet.of(x, self.grid.level, unreached),
            _Sheet.of(y, self.grid.upright, unreached),
        )
        self._seed(sources)
        left_x, left_y, left = self._left()
        rows, columns = (np.array(sorted(seeds), dtype=np.int64) for seeds in self._seeds)
        most = min(ceiling, unreached / 2)
        while len(rows) or len(columns):
            if len(rows):
                level.sweep(rows)
                more, cut = level.turn(upright, rows, most - left - left_y[rows] - left_x[:, None])
                columns, self.shut = np.union1d(columns, more), self.shut and not cut
            rows = np.empty(0, dtype=np.int64)
            if len(columns):
                upright.sweep(columns)
                rows, cut = upright.turn(level, columns, most - left - left_x[columns] - left_y[:, None])
                self.shut = self.shut and not cut
            columns = np.empty(0, dtype=np.int64)
            self._read()
            most = min(most, float(self.value.min()) + worth)

    def leaves(self, frame: Frame) -> bool:
        """Whether a way came to an edge of the ground looked at that is not the board's own."""
        x, y = self.grid.x, self.grid.y
        level, upright = (sheet.cost < self._unreached / 2 for sheet in self._sheets)
        edges = (
            (x[0] > frame[0], level[:, 0], upright[0]),
            (x[-1] < frame[2], level[:, -1], upright[-1]),
            (y[0] > frame[1], level[0], upright[:, 0]),
            (y[-1] < frame[3], level[-1], upright[:, -1]),
        )
        return any(bool(inner) and bool(one.any() or two.any()) for inner, one, two in edges)

    def reached(self, upto: float) -> Flags:
        """(m,) which targets a way leads to that costs at most ``upto``."""
        return np.asarray((self.value <= upto) & (self.value < inf))

    def _seed(self, sources: Ints) -> None:
        """The costs at the sources."""
        self._seeds = ({}, {})
        for k in sources.tolist():
            i, j = self.grid.source[k].tolist()
            start = float(self.sources.cost[k] + self.sources.far[k])
            for way, line, at in ((0, j, i), (1, i, j)):
                cost = start + (BEND_MM if self.sources.along[k] == 1 - way else 0.0)
                sheet = self._sheets[way]
                if cost < sheet.cost[line, at]:
                    sheet.cost[line, at] = cost
                    self._seeds[way].setdefault(line, []).append((at, cost, k))

    def _left(self) -> tuple[Floats, Floats, float]:
        """What is left at least from a crossing to the targets: by its x, by its y, and at the end."""
        seen = self.grid.target[:, 0] >= 0
        (x0, y0), (x1, y1) = self.targets.out[seen].min(axis=0), self.targets.out[seen].max(axis=0)
        x, y = self.grid.x, self.grid.y
        ending = float((self.targets.cost + self.targets.far)[seen].min())
        return np.maximum(np.maximum(x0 - x, x - x1), 0.0), np.maximum(np.maximum(y0 - y, y - y1), 0.0), ending

    def _read(self) -> None:
        """The costs at the targets."""
        i, j = self.grid.target.T
        bend = BEND_MM * np.stack([self.targets.along == 1, self.targets.along == 0])
        both = np.stack([self._sheets[0].cost[j, i], self._sheets[1].cost[i, j]]) + bend
        least = both.min(axis=0)
        value = np.where((i >= 0) & (least < self._unreached / 2), least + self.targets.cost + self.targets.far, inf)
        self.value = value

    def way(self, target: int) -> tuple[int, tuple[Spot, ...]]:
        """The source that a target is reached from, and the corners from there."""
        i, j = self.grid.target[target].tolist()
        level, upright = self._sheets
        along = self.targets.along[target]
        costs = (
            level.cost[j, i] + (BEND_MM if along == 1 else 0.0),
            upright.cost[i, j] + (BEND_MM if along == 0 else 0.0),
        )
        way = int(costs[1] < costs[0])
        corners = [_spot(self.targets.at[target]), self._at(i, j)]
        while True:
            line, at = (j, i) if way == 0 else (i, j)
            at, source = self._back(way, line, at)
            i, j = (at, line) if way == 0 else (line, at)
            corners.append(self._at(i, j))
            if source >= 0:
                corners.append(_spot(self.sources.at[source]))
                return source, made_corners(corners[::-1])
            way = 1 - way

    def _at(self, i: int, j: int) -> Spot:
        return float(self.grid.x[i]), float(self.grid.y[j])

    def _back(self, way: int, line: int, at: int) -> tuple[int, int]:
        """Where the wire came onto this line: the place, and the source that lies there or -1 where it turned."""
        barred = (self.grid.level, self.grid.upright)[way][line]
        along = (self.grid.x, self.grid.y)[way]
        before, behind = np.flatnonzero(barred[:at]), np.flatnonzero(barred[at:])
        low = int(before[-1]) + 1 if len(before) else 0
        high = at + int(behind[0]) if len(behind) else len(along) - 1
        turned = self._sheets[1 - way].cost[low : high + 1, line] + BEND_MM
        turned += np.abs(along[low : high + 1] - along[at])
        place = int(np.argmin(turned))
        seeds = [
            (cost + abs(float(along[spot] - along[at])), spot, source)
            for spot, cost, source in self._seeds[way].get(line, ())
            if low <= spot <= high
        ]
        if seeds and min(seeds)[0] <= turned[place] + SAME_MM:
            _, spot, source = min(seeds)
            return spot, source
        return low + place, -1


def _spot(at: Floats) -> Spot:
    return float(at[0]), float(at[1])
