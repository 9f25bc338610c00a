"""Strokes of one layer cut where they enter lands and sheets and where they meet each other."""

from __future__ import annotations

import heapq
import itertools
import math
from typing import Any

import numpy as np
import shapely

from coppermend.core.copper.blobs import LayerParts, Point
from coppermend.core.copper.centreline import MEET_MM, Line, bounds, complement, insides, laid, sine
from coppermend.core.copper.inside import Interval, in_band, merged
from coppermend.core.copper.runs import Run
from coppermend.core.copper.unite import Union
from coppermend.core.geometry.polarity import box_pairs
from coppermend.core.geometry.shapes import ShapeSet

NEAR_WIDTHS = 2.0
"""Overlapping edges join nothing new when the strokes are joined within this many of their joint widths. Our choice."""
FEW_PIECES = 6
"""Blobs of fewer pieces are tried whole; in others the pieces near a stroke are found by their boxes."""


class Meeting:
    """Cuts the strokes of one layer and joins them."""

    def __init__(self, parts: LayerParts, solid: list[tuple[int, int]]) -> None:
        self.parts = parts
        self.lines = laid(parts.strokes)
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
        asked: list[tuple[Line, Any, float]] = []
        owner: list[int] = []
        pairs = self.parts.stroke_blobs
        for n, near in enumerate(self._near_pieces()):
            k, b = pairs[n]
            asked += [(self.lines[k], *self.parts.blobs[b].pieces[at]) for at in near]
            owner += [n] * len(near)
        found: list[list[Interval]] = [[] for _ in pairs]
        for n, parts in zip(owner, insides(asked), strict=True):
            found[n] += parts
        for (k, b), parts in zip(pairs, found, strict=True):
            hits = merged(parts, 1e-6)
            if hits:
                self.lines[k].spans += [(s, e, b) for s, e in hits]
            else:
                self._edge_touch(k, b)
        for line in self.lines:
            if line.spans:
                line.spans.sort()
                self._join_overlapping(line)

    def _near_pieces(self) -> list[list[int]]:
        """For each pair of stroke and blob the pieces of the blob whose boxes the stroke's box meets; all of them where they are few."""
        pairs, blobs = self.parts.stroke_blobs, self.parts.blobs
        out = [list(range(len(blobs[b].pieces))) for _, b in pairs]
        many: dict[int, list[int]] = {}
        for n, (_, b) in enumerate(pairs):
            if len(out[n]) >= FEW_PIECES:
                many.setdefault(b, []).append(n)
        for b, rows in many.items():
            shapes = ShapeSet.of(*zip(*blobs[b].pieces, strict=True))
            reach = np.array([bounds(self.lines[pairs[n][0]].stroke) for n in rows])
            i, j = box_pairs(reach, shapes.bounds_mm() + np.array([-1.0, -1.0, 1.0, 1.0]) * MEET_MM)
            for n in rows:
                out[n] = []
            for row, piece in zip(i.tolist(), j.tolist(), strict=True):
                out[rows[row]].append(piece)
        return out

    def _join_overlapping(self, line: Line) -> None:
        """Lands that hold the same piece of a centre line are one metal (a land smaller than the hole drilled through it)."""
        for k, (_, end, b) in enumerate(line.spans):
            for start, _, other in line.spans[k + 1 :]:
                if start > end:
                    break
                if self.parts.blobs[b].kind == self.parts.blobs[other].kind == "land":
                    self.node.join(b, other)

    def _edge_touch(self, k: int, b: int) -> None:
        line = self.lines[k]
        shapes = ShapeSet.of(*zip(*self.parts.blobs[b].pieces, strict=True))
        gaps = shapely.distance(line.geometry, shapes.skeleton) - shapes.radius_mm
        at = int(gaps.argmin())
        gap, skeleton = float(gaps[at]), shapes.skeleton[at]
        x, y = shapely.get_coordinates(shapely.shortest_line(line.geometry, skeleton))[0].tolist()
        self.weak.append((gap, 3.0 * line.stroke.radius, -1 - k, b))
        self.pending.append((len(self.weak) - 1, k, line.position(x, y)))

    def absorb(self) -> None:
        """Takes the parts of strokes away that lie wholly within the width of a parallel stroke."""
        for i, j in self.parts.stroke_pairs:
            a, b = sorted((i, j), key=lambda k: (self.lines[k].stroke.radius, -k))
            one, other = self.lines[a], self.lines[b]
            slack = other.stroke.radius - one.stroke.radius + 1e-6
            if one.stroke.straight and other.stroke.straight:
                if sine(one.stroke, other.stroke) < 0.02:
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
            first = np.array([self.lines[i].geometry for i, _ in pairs], dtype=object)
            second = np.array([self.lines[j].geometry for _, j in pairs], dtype=object)
            ends = shapely.get_coordinates(shapely.shortest_line(first, second)).reshape(-1, 4).tolist()
            for (i, j), (xa, ya, xb, yb) in zip(pairs, ends, strict=True):
                self._contact(i, j, (xa, ya), (xb, yb), sure=True)
                if not (self.lines[i].stroke.straight and self.lines[j].stroke.straight):
                    self._more_contacts(i, j)
        for k, line in enumerate(self.lines):
            if line.stroke.path[0] == line.stroke.path[-1]:
                self.node.join(self.locate(k, 0.0), self.locate(k, line.total))
        for slot, k, s in self.pending:
            gap, reach, _, b = self.weak[slot]
            self.weak[slot] = (gap, reach, self.locate(k, s), b)

    def _contact(self, i: int, j: int, on_i: Point, on_j: Point, *, sure: bool = False) -> None:
        """Two strokes at their places; ``sure``: their copper is known to touch, though its axes may lie a little further apart."""
        one, other = self.lines[i], self.lines[j]
        gap = math.dist(on_i, on_j)
        if not sure and gap > one.stroke.radius + other.stroke.radius + MEET_MM:
            return
        a, b = self.locate(i, one.position(*on_i)), self.locate(j, other.position(*on_j))
        if gap <= MEET_MM:
            self.node.join(a, b)
        elif a != b:
            self.weak.append((gap, NEAR_WIDTHS * 2.0 * (one.stroke.radius + other.stroke.radius), a, b))

    def _more_contacts(self, i: int, j: int) -> None:
        """An arc can meet a stroke more than once: crossings and all four ends are looked at."""
        one, other = self.lines[i], self.lines[j]
        crossing = shapely.get_parts(shapely.intersection(one.geometry, other.geometry))
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
            free = complement(merged(taken, MEET_MM), line.total)
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
