"""Where copper really meets on one layer: strokes cut at lands, sheets and each other, and joined to track runs.

A run's length counts outside the lands. Strokes whose centre lines meet are joined there; strokes that only overlap with their
edges are joined too unless they are joined within a few widths anyway (the next chord of the same bend, the other leg of a corner).
"""

from __future__ import annotations

import heapq
import itertools
import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.copper.blobs import LayerParts, Point, Stroke
from coppermend.core.copper.inside import in_band, in_shape, merged
from coppermend.core.copper.unite import Union

MEET_MM = 0.002
"""Centre lines nearer than this meet: above the step of 4.6 and 2.4 inch formats' rounding, far below any track."""
NEAR_WIDTHS = 2.0
"""Overlapping edges join nothing new when the strokes are joined within this many of their joint widths. Our choice."""
SHORT_WIDTHS = 0.5
"""A run between junctions shorter than this share of its width is part of the junction. Our choice."""
STUB_WIDTHS = 1.0
"""A loose end shorter than this share of the widest copper where it hangs is an overshoot, no run. Our choice."""


HATCH_LOOPS = 12
"""Tracks that close at least this many loops among themselves, outside any land, are a hatched pour. Our choice."""


@dataclass(slots=True)
class Run:
    """A track run between the local nodes ``a`` and ``b``: path in mm from a to b, width of each of its segments, length."""

    a: int
    b: int
    path: list[Point]
    widths: list[float]
    length: float

    def turned(self) -> Run:
        """The same run read from b to a."""
        return Run(self.b, self.a, self.path[::-1], self.widths[::-1], self.length)


@dataclass(slots=True)
class Spoke:
    """A contact between a land and a sheet: its middle, width, and length of the spoke in mm."""

    land: int
    sheet: int
    place: Point
    width: float
    length: float


@dataclass(slots=True)
class LayerTopology:
    """Local nodes (blobs first, by blob index), their kind, net and place; runs and spokes between them.

    ``blob_node[k]`` the node of blob k: a land that a sheet holds solidly shares the sheet's node.
    """

    key: str
    node_kind: list[str]
    node_net: list[int]
    node_place: list[Point]
    blob_node: list[int]
    runs: list[Run]
    spokes: list[Spoke] = field(default_factory=list)
    hatch: dict[int, list[Run]] = field(default_factory=dict)
    """Sheet node -> the runs that a hatched pour was drawn with."""


class _Line:
    """A stroke with positions along it."""

    __slots__ = ("at", "cuts", "gone", "line", "spans", "stroke", "total")

    def __init__(self, stroke: Stroke) -> None:
        self.stroke = stroke
        self.at = [0.0, *itertools.accumulate(math.dist(p, q) for p, q in itertools.pairwise(stroke.path))]
        self.total = self.at[-1]
        self.spans: list[tuple[float, float, int]] = []
        self.gone: list[tuple[float, float, int]] = []
        self.cuts: list[tuple[float, int]] = []
        self.line: Any = None

    def geometry(self) -> Any:
        """The centre line as a shapely line."""
        if self.line is None:
            self.line = shapely.LineString(self.stroke.path)
        return self.line

    def point(self, s: float) -> Point:
        """The place at position s."""
        path = self.stroke.path
        if s <= 0.0:
            return path[0]
        if s >= self.total:
            return path[-1]
        k = next(i for i in range(1, len(path)) if self.at[i] >= s)
        step = self.at[k] - self.at[k - 1]
        t = (s - self.at[k - 1]) / step if step > 0 else 0.0
        (x0, y0), (x1, y1) = path[k - 1], path[k]
        return (x0 + (x1 - x0) * t, y0 + (y1 - y0) * t)

    def position(self, x: float, y: float) -> float:
        """The position nearest to a place."""
        if self.stroke.straight:
            (x0, y0), (x1, y1) = self.stroke.path
            t = ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / (self.total * self.total)
            return min(max(t, 0.0), 1.0) * self.total
        return float(shapely.line_locate_point(self.geometry(), shapely.Point(x, y)))

    def between(self, s: float, e: float) -> list[Point]:
        """The path from position s to e."""
        middle = [p for p, a in zip(self.stroke.path, self.at, strict=True) if s + 1e-9 < a < e - 1e-9]
        return [self.point(s), *middle, self.point(e)]

    def inside(self, skeleton: Any, radius: float) -> list[tuple[float, float]]:
        """The parts of the centre line within ``radius`` of a skeleton."""
        out = []
        for k, (p, q) in enumerate(itertools.pairwise(self.stroke.path)):
            out += [(self.at[k] + s, self.at[k] + e) for s, e in in_shape(p, q, skeleton, radius)]
        return merged(out, 1e-6)


class _Meeting:
    """Cuts the strokes of one layer and joins them."""

    def __init__(self, parts: LayerParts, solid: list[tuple[int, int]]) -> None:
        self.parts = parts
        self.lines = [_Line(s) for s in parts.strokes]
        self.node = Union(len(parts.blobs))
        for land, sheet in solid:
            self.node.join(land, sheet)
        self.place: dict[int, Point] = {}
        self.near: dict[int, list[tuple[int, float]]] = {}
        self.weak: list[tuple[float, float, int, int]] = []
        self.net: dict[int, int] = {}
        self.pending: list[tuple[int, int, float]] = []

    # cutting ----------------------------------------------------------------------------------------------

    def cut_at_blobs(self) -> None:
        """Takes the parts of the centre lines inside lands and sheets away."""
        by_stroke: dict[int, list[int]] = {}
        for k, b in self.parts.stroke_blobs:
            by_stroke.setdefault(k, []).append(b)
        for k, blobs in by_stroke.items():
            line = self.lines[k]
            reach = shapely.box(*_bounds(line.stroke))
            for b in blobs:
                pieces = self.parts.blobs[b].pieces
                near = pieces if len(pieces) < 6 else [p for p in pieces if shapely.distance(p[0], reach) <= p[1]]
                hits = merged((i for g, r in near for i in line.inside(g, r)), 1e-6)
                if hits:
                    line.spans += [(s, e, b) for s, e in hits]
                else:
                    self._edge_touch(k, b)
            line.spans.sort()

    def _edge_touch(self, k: int, b: int) -> None:
        line = self.lines[k]
        gap, (skeleton, _) = min(
            ((shapely.distance(line.geometry(), g) - r, (g, r)) for g, r in self.parts.blobs[b].pieces),
            key=lambda hit: hit[0],
        )
        x, y = shapely.get_coordinates(shapely.shortest_line(line.geometry(), skeleton))[0].tolist()
        self.weak.append((gap, 3.0 * line.stroke.radius, -1 - k, b))
        self.pending.append((len(self.weak) - 1, k, line.position(x, y)))

    def absorb(self) -> None:
        """Takes the parts of strokes away that lie wholly within the width of a parallel stroke."""
        for i, j in self.parts.stroke_pairs:
            a, b = sorted((i, j), key=lambda k: (self.lines[k].stroke.radius, -k))
            one, other = self.lines[a], self.lines[b]
            slack = other.stroke.radius - one.stroke.radius + 1e-6
            if one.stroke.straight and other.stroke.straight:
                if _sine(one.stroke, other.stroke) < 0.02:
                    (a0, a1), (b0, b1) = one.stroke.path, other.stroke.path
                    hit = in_band(a0, a1, b0, b1, slack)
                    if hit and hit[1] - hit[0] > MEET_MM:
                        one.gone.append((hit[0], hit[1], b))
            elif one.stroke.path == other.stroke.path or one.stroke.path == other.stroke.path[::-1]:
                one.gone.append((0.0, one.total, b))

    def locate(self, k: int, s: float) -> int:
        """The node at position s of stroke k: a blob, a place on the stroke that covers it, or a cut."""
        line = self.lines[k]
        for start, end, b in line.spans:
            if start - MEET_MM / 2 <= s <= end + MEET_MM / 2:
                return b
        for start, end, other in line.gone:
            if start <= s <= end:
                return self.locate(other, self.lines[other].position(*line.point(s)))
        for at, node in line.cuts:
            if abs(at - s) <= MEET_MM:
                return node
        node = self.node.add()
        line.cuts.append((s, node))
        self.place[node] = line.point(s)
        self.net[node] = line.stroke.net
        return node

    def meet(self) -> None:
        """Cuts where strokes meet; overlapping edges are kept for later."""
        pairs = self.parts.stroke_pairs
        if pairs:
            first = np.array([self.lines[i].geometry() for i, _ in pairs], dtype=object)
            second = np.array([self.lines[j].geometry() for _, j in pairs], dtype=object)
            ends = shapely.get_coordinates(shapely.shortest_line(first, second)).reshape(-1, 4).tolist()
            for (i, j), (xa, ya, xb, yb) in zip(pairs, ends, strict=True):
                self._contact(i, j, (xa, ya), (xb, yb))
                if not (self.lines[i].stroke.straight and self.lines[j].stroke.straight):
                    self._more_contacts(i, j)
        for k, line in enumerate(self.lines):
            if line.stroke.path[0] == line.stroke.path[-1]:
                self.node.join(self.locate(k, 0.0), self.locate(k, line.total))
        for slot, k, s in self.pending:
            gap, reach, _, b = self.weak[slot]
            self.weak[slot] = (gap, reach, self.locate(k, s), b)

    def _contact(self, i: int, j: int, on_i: Point, on_j: Point) -> None:
        one, other = self.lines[i], self.lines[j]
        gap = math.dist(on_i, on_j)
        if gap > one.stroke.radius + other.stroke.radius + MEET_MM:
            return
        a, b = self.locate(i, one.position(*on_i)), self.locate(j, other.position(*on_j))
        if gap <= MEET_MM:
            self.node.join(a, b)
        elif a != b:
            self.weak.append((gap, NEAR_WIDTHS * 2.0 * (one.stroke.radius + other.stroke.radius), a, b))

    def _more_contacts(self, i: int, j: int) -> None:
        """An arc can meet a stroke more than once: crossings and all four ends are looked at."""
        one, other = self.lines[i], self.lines[j]
        crossing = shapely.get_parts(shapely.intersection(one.geometry(), other.geometry()))
        for part in crossing:
            for x, y in shapely.get_coordinates(part)[[0, -1]].tolist() if not part.is_empty else ():
                self._contact(i, j, (x, y), (x, y))
        for end in (one.stroke.path[0], one.stroke.path[-1]):
            self._contact(i, j, end, other.point(other.position(*end)))
        for end in (other.stroke.path[0], other.stroke.path[-1]):
            self._contact(i, j, one.point(one.position(*end)), end)

    # pieces -----------------------------------------------------------------------------------------------

    def pieces(self) -> list[Run]:
        """The free pieces of all strokes between their cuts."""
        out: list[Run] = []
        for k, line in enumerate(self.lines):
            taken = sorted([(s, e) for s, e, _ in line.spans] + [(s, e) for s, e, _ in line.gone])
            free = _complement(merged(taken, MEET_MM), line.total)
            for start, end in free:
                cuts = sorted(s for s, _ in line.cuts if start + MEET_MM < s < end - MEET_MM)
                for s, e in itertools.pairwise([start, *cuts, end]):
                    a, b = self.locate(k, s), self.locate(k, e)
                    path = line.between(s, e)
                    out.append(Run(a, b, path, [2 * line.stroke.radius] * (len(path) - 1), e - s))
        return out

    def join_overlaps(self, pieces: list[Run]) -> None:
        """Joins strokes that overlap with their edges only, where they are not joined nearby already."""
        for run in pieces:
            a, b = self.node.find(run.a), self.node.find(run.b)
            self.near.setdefault(a, []).append((b, run.length))
            self.near.setdefault(b, []).append((a, run.length))
        for gap, reach, a, b in sorted(self.weak):
            a, b = self.node.find(a), self.node.find(b)
            if a != b and not self._joined_within(a, b, reach + gap):
                self.node.join(a, b)
                keep, lost = (a, b) if self.node.find(a) == a else (b, a)
                self.near.setdefault(keep, []).extend(self.near.pop(lost, []))

    def _joined_within(self, a: int, b: int, limit: float) -> bool:
        best = {a: 0.0}
        queue = [(0.0, a)]
        while queue:
            far, node = heapq.heappop(queue)
            if node == b:
                return True
            if far > best[node]:
                continue
            for other, length in self.near.get(node, ()):
                other = self.node.find(other)
                step = far + length
                if step <= limit and step < best.get(other, math.inf):
                    best[other] = step
                    heapq.heappush(queue, (step, other))
        return False


def _bounds(stroke: Stroke) -> tuple[float, float, float, float]:
    xs, ys = [p[0] for p in stroke.path], [p[1] for p in stroke.path]
    return min(xs), min(ys), max(xs), max(ys)


def _sine(a: Stroke, b: Stroke) -> float:
    (ax, ay), (bx, by) = a.path[0], a.path[-1]
    (cx, cy), (dx, dy) = b.path[0], b.path[-1]
    length = math.hypot(bx - ax, by - ay) * math.hypot(dx - cx, dy - cy)
    return abs((bx - ax) * (dy - cy) - (by - ay) * (dx - cx)) / length


def _complement(taken: list[tuple[float, float]], total: float) -> list[tuple[float, float]]:
    out, at = [], 0.0
    for start, end in taken:
        if start > at + MEET_MM:
            out.append((at, start))
        at = max(at, end)
    if total > at + MEET_MM:
        out.append((at, total))
    return out


class _Simplifier:
    """Series pieces become runs; overshoots go; junctions a fraction of a width apart become one."""

    def __init__(self, runs: list[Run], fixed: int) -> None:
        self.fixed = fixed
        self.runs: dict[int, Run] = {}
        self.at: dict[int, list[int]] = {}
        self.next_key = 0
        for run in runs:
            if run.a != run.b:
                self._add(run)

    def _add(self, run: Run) -> None:
        key = self.next_key
        self.next_key += 1
        self.runs[key] = run
        self.at.setdefault(run.a, []).append(key)
        self.at.setdefault(run.b, []).append(key)

    def _drop(self, key: int) -> Run:
        run = self.runs.pop(key)
        for node in (run.a, run.b):
            self.at[node].remove(key)
        return run

    def run(self) -> list[Run]:
        """The runs that remain."""
        self._series()
        while self._stubs() or self._shorts():
            self._series()
        return [self.runs[k] for k in sorted(self.runs)]

    def _series(self) -> None:
        for node in sorted(self.at):
            keys = self.at[node]
            if node < self.fixed or len(keys) != 2 or keys[0] == keys[1]:
                continue
            first, second = self._drop(keys[0]), self._drop(keys[0])
            first = first if first.b == node else first.turned()
            second = second if second.a == node else second.turned()
            joined = Run(
                first.a,
                second.b,
                first.path + second.path[1:]
                if math.dist(first.path[-1], second.path[0]) <= MEET_MM
                else first.path + second.path,
                first.widths + second.widths
                if math.dist(first.path[-1], second.path[0]) <= MEET_MM
                else [*first.widths, min(first.widths[-1], second.widths[0]), *second.widths],
                first.length + second.length,
            )
            if joined.a != joined.b:
                self._add(joined)

    def _stubs(self) -> bool:
        gone = False
        for node in sorted(self.at):
            keys = self.at[node]
            if node < self.fixed or len(keys) != 1:
                continue
            run = self.runs[keys[0]]
            other = run.a if run.b == node else run.b
            wide = max(w for k in self.at[other] for w in self.runs[k].widths)
            if run.length <= STUB_WIDTHS * wide:
                self._drop(keys[0])
                gone = True
        return gone

    def _shorts(self) -> bool:
        gone = False
        for key in sorted(self.runs):
            run = self.runs.get(key)
            if run is None:
                continue
            lowest, highest = min(run.a, run.b), max(run.a, run.b)
            if highest < self.fixed or run.length > SHORT_WIDTHS * max(run.widths) or len(self.at[highest]) < 2:
                continue
            self._drop(key)
            for k in list(self.at[highest]):
                moved = self._drop(k)
                moved.a = lowest if moved.a == highest else moved.a
                moved.b = lowest if moved.b == highest else moved.b
                if moved.a != moved.b:
                    self._add(moved)
            gone = True
        return gone


def meet_layer(parts: LayerParts) -> LayerTopology:
    """The nodes, runs and spokes of one layer."""
    solid, spokes = _land_on_sheet(parts)
    work = _Meeting(parts, solid)
    work.cut_at_blobs()
    work.absorb()
    work.meet()
    pieces = work.pieces()
    work.join_overlaps(pieces)
    fixed = len(parts.blobs)
    for run in pieces:
        run.a, run.b = work.node.find(run.a), work.node.find(run.b)
    runs, hatch = hatched(_Simplifier(pieces, fixed).run(), fixed)
    return _numbered(parts, work, runs, spokes, hatch)


def hatched(runs: list[Run], fixed: int) -> tuple[list[Run], dict[int, list[Run]]]:
    """Meshes of tracks that meet outside any land (hatched pours) taken together: the runs that remain, and per mesh node its runs.

    A mesh is what is left of runs between junctions after loose ends are taken away, where it closes at least HATCH_LOOPS loops.
    """
    near: dict[int, list[int]] = {}
    for k, run in enumerate(runs):
        if run.a >= fixed and run.b >= fixed:
            near.setdefault(run.a, []).append(k)
            near.setdefault(run.b, []).append(k)
    live = {k for keys in near.values() for k in keys}
    degree = {node: len(keys) for node, keys in near.items()}
    todo = [node for node, d in degree.items() if d == 1]
    while todo:
        node = todo.pop()
        for k in near[node]:
            if k in live:
                live.discard(k)
                other = runs[k].a if runs[k].b == node else runs[k].b
                degree[other] -= 1
                if degree[other] == 1:
                    todo.append(other)
    group = Union(max((max(r.a, r.b) for r in runs), default=0) + 1)
    for k in live:
        group.join(runs[k].a, runs[k].b)
    meshes: dict[int, list[int]] = {}
    for k in sorted(live):
        meshes.setdefault(group.find(runs[k].a), []).append(k)
    nodes: dict[int, int] = {}
    gone: dict[int, list[Run]] = {}
    for root, keys in meshes.items():
        ends = {n for k in keys for n in (runs[k].a, runs[k].b)}
        if len(keys) - len(ends) + 1 >= HATCH_LOOPS:
            gone[root] = [runs[k] for k in keys]
            nodes |= dict.fromkeys(ends, root)
    if not gone:
        return runs, {}
    taken = {id(run) for mesh in gone.values() for run in mesh}
    left = [run for run in runs if id(run) not in taken]
    for run in left:
        run.a, run.b = nodes.get(run.a, run.a), nodes.get(run.b, run.b)
    return [run for run in left if run.a != run.b], gone


def _numbered(
    parts: LayerParts, work: _Meeting, runs: list[Run], spokes: list[Spoke], hatch: dict[int, list[Run]]
) -> LayerTopology:
    kind: list[str] = []
    net: list[int] = []
    place: list[Point] = []
    number: dict[int, int] = {}
    blob_node = [work.node.find(b) for b in range(len(parts.blobs))]
    sheets = {blob_node[b] for b, blob in enumerate(parts.blobs) if blob.kind == "sheet"}
    degree: dict[int, int] = {}
    for run in runs:
        degree[run.a] = degree.get(run.a, 0) + 1
        degree[run.b] = degree.get(run.b, 0) + 1
    for node in sorted({*blob_node, *degree, *hatch}):
        number[node] = len(kind)
        if node < len(parts.blobs):
            blob = parts.blobs[node]
            kind.append("sheet" if node in sheets else "land")
            net.append(blob.net)
            place.append(blob.place)
        else:
            kind.append("sheet" if node in hatch else "end" if degree[node] == 1 else "junction")
            net.append(work.net[node])
            place.append(work.place[node])
    for run in runs:
        run.a, run.b = number[run.a], number[run.b]
    for spoke in spokes:
        spoke.land, spoke.sheet = number[blob_node[spoke.land]], number[blob_node[spoke.sheet]]
    blob_node = [number[n] for n in blob_node]
    meshes = {number[node]: mesh for node, mesh in hatch.items()}
    kept = [s for s in spokes if s.land != s.sheet]
    return LayerTopology(parts.key, kind, net, place, blob_node, runs, kept, meshes)


SOLID_SHARE = 0.6
"""A land with at least this share of its rim inside a pour is one metal with it; less are spokes. Our choice."""
SPOKE_GAPS_MM = (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.3, 1.6, 2.0)


RIM_POINTS = 48


def _land_on_sheet(parts: LayerParts) -> tuple[list[tuple[int, int]], list[Spoke]]:
    """Which lands a sheet holds solidly, and the spokes of the others."""
    pairs = parts.blob_pairs
    if not pairs:
        return [], []
    metal = np.array([_metal(parts, land) for land, _ in pairs], dtype=object)
    rim = shapely.boundary(shapely.buffer(metal, 1e-3))
    share = _rim_share(parts, rim)
    solid = [pair for pair, held in zip(pairs, share.tolist(), strict=True) if held >= SOLID_SHARE]
    spokes: list[Spoke] = []
    for k in np.flatnonzero(share < SOLID_SHARE).tolist():
        land, sheet = pairs[k]
        x0, y0, x1, y1 = metal[k].bounds
        box = (x0 - 3.0, y0 - 3.0, x1 + 3.0, y1 + 3.0)
        near = [(g, r) for g, r in parts.blobs[sheet].pieces if shapely.distance(g, metal[k]) <= r + 3.0]
        pour = shapely.union_all([_clipped(g, r, box) for g, r in near])
        spokes += _spokes(land, sheet, metal[k], pour, rim[k])
    return solid, spokes


def _metal(parts: LayerParts, land: int) -> Any:
    """The land's copper as a polygon; the rims of its holes only where there is no other."""
    blob = parts.blobs[land]
    pieces = blob.pieces[: len(blob.piece_ids)] or blob.pieces
    shapes = [_polygon(g, r) for g, r in pieces]
    return shapes[0] if len(shapes) == 1 else shapely.union_all(shapes)


def _rim_share(parts: LayerParts, rim: NDArray[Any]) -> NDArray[np.float64]:
    """(pairs,) share of points along each land's rim that lie in its sheet."""
    spots = shapely.line_interpolate_point(rim[:, None], np.arange(RIM_POINTS)[None, :] / RIM_POINTS, normalized=True)
    xy = np.stack([shapely.get_x(spots), shapely.get_y(spots)], axis=-1)
    share = np.zeros(len(rim))
    by_sheet: dict[int, list[int]] = {}
    for k, (_, sheet) in enumerate(parts.blob_pairs):
        by_sheet.setdefault(sheet, []).append(k)
    for sheet, ks in by_sheet.items():
        at = xy[ks].reshape(-1, 2)
        hit = np.zeros(len(at), dtype=bool)
        pieces = parts.blobs[sheet].pieces
        if len(pieces) > 8:
            spots_here = shapely.points(at)
            boxes = shapely.buffer(
                shapely.box(*shapely.bounds(np.array([g for g, _ in pieces], dtype=object)).T),
                max(r for _, r in pieces),
            )
            i, j = shapely.STRtree(boxes).query(spots_here)
            skeleton = np.array([g for g, _ in pieces], dtype=object)
            radius = np.array([r for _, r in pieces])
            hit[i[shapely.distance(skeleton[j], spots_here[i]) <= radius[j]]] = True
        else:
            for g, r in pieces:
                shapely.prepare(g)
                hit |= (
                    shapely.contains_xy(g, at[:, 0], at[:, 1])
                    if r == 0
                    else shapely.distance(g, shapely.points(at)) <= r
                )
        share[ks] = hit.reshape(len(ks), RIM_POINTS).mean(axis=1)
    return share


def _clipped(skeleton: Any, radius: float, box: tuple[float, float, float, float]) -> Any:
    if radius > 0:
        return _polygon(skeleton, radius)
    part = shapely.clip_by_rect(skeleton, *box)
    return part if part.is_valid else shapely.make_valid(part)


def _spokes(land: int, sheet: int, metal: Any, pour: Any, rim: Any) -> list[Spoke]:
    hit = shapely.line_merge(shapely.intersection(rim, pour))
    parts = [p for p in shapely.get_parts(hit) if not p.is_empty]
    if not parts:
        spot = shapely.get_coordinates(shapely.shortest_line(metal, pour))[0].tolist()
        return [Spoke(land, sheet, (spot[0], spot[1]), 0.1, SPOKE_GAPS_MM[0])]
    gap = next((g for g in SPOKE_GAPS_MM if _covered(metal, pour, g) >= SOLID_SHARE), SPOKE_GAPS_MM[-1])
    out = []
    for part in parts:
        middle = (
            shapely.line_interpolate_point(part, 0.5, normalized=True)
            if part.length > 0
            else shapely.Point(part.coords[0])
        )
        out.append(Spoke(land, sheet, (float(middle.x), float(middle.y)), max(float(part.length), 0.01), gap))
    return out


def _covered(metal: Any, pour: Any, grow: float) -> float:
    ring = shapely.buffer(metal, grow).boundary
    return float(shapely.intersection(ring, pour).length / ring.length)


def _polygon(skeleton: Any, radius: float) -> Any:
    return shapely.buffer(skeleton, radius, quad_segs=16) if radius > 0 else skeleton
