"""Where the points of a netlist lie on the copper: origin shift and mirroring by a vote, then the copper and hole at each point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from coppermend.core.geometry.shapes import ShapeSet

VOTE_STEP_MM = 0.02
"""Bin of the vote on offsets: above the coarsest netlist unit in use (0.001 inch = 0.0254 mm is caught by the neighbouring bins)."""

SAME_PLACE_MM = 0.05
"""A netlist point and a hole nearer than this are one place: twice the coarsest netlist unit (0.001 inch)."""

ENOUGH = 0.98
"""Share of points on target at which no other placing is tried."""

VOTERS = 64
"""Netlist points that vote against all targets; spread evenly over the netlist."""

BALLOTS = 12
"""Offsets looked at closely in each vote."""

TURNS: tuple[tuple[str, float, float], ...] = (
    ("", 1.0, 1.0),
    ("mirrored left to right", -1.0, 1.0),
    ("mirrored top to bottom", 1.0, -1.0),
    ("turned by 180 degrees", -1.0, -1.0),
)
SCALES: tuple[tuple[str, float], ...] = (
    ("", 1.0),
    ("in inches though read as mm", 25.4),
    ("in mm though read as inches", 1 / 25.4),
    ("ten times too large", 0.1),
    ("ten times too small", 10.0),
    ("in micrometres though read as 0.0001 inch", 1 / 2.54),
    ("in 0.0001 inch though read as micrometres", 2.54),
)


@dataclass(frozen=True, slots=True)
class Placing:
    """How points of one file come to lie on another's: ``(x * sx + dx, y * sy + dy)``. ``share`` of the points on target; ``words`` for anything but a shift."""

    sx: float
    sy: float
    dx_mm: float
    dy_mm: float
    share: float
    words: str = ""

    def apply(self, xy_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) points placed."""
        return np.asarray(xy_mm * np.array([self.sx, self.sy]) + np.array([self.dx_mm, self.dy_mm]))


def share_on_target(xy_mm: NDArray[np.float64], targets: cKDTree, within_mm: float = SAME_PLACE_MM) -> float:
    """Share of the (n, 2) points that have a target within ``within_mm``; 0 for no points."""
    if len(xy_mm) == 0:
        return 0.0
    apart, _ = targets.query(xy_mm, distance_upper_bound=within_mm)
    return float(np.mean(np.isfinite(apart)))


def _vote(points: NDArray[np.float64], targets: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """The offsets most often found between voters and targets, best first (at most BALLOTS // 2).

    Bins that hold most votes are candidates; their votes are then counted anew with the neighbouring bins, for an offset on a bin's edge.
    """
    pick = np.unique(np.linspace(0, len(points) - 1, min(VOTERS, len(points))).astype(int))
    offsets = (targets[None, :, :] - points[pick][:, None, :]).reshape(-1, 2)
    bins = np.floor(offsets / VOTE_STEP_MM + 0.371).astype(np.int64)
    _, first, counts = np.unique(bins[:, 0] * (1 << 31) + bins[:, 1], return_index=True, return_counts=True)
    best: list[tuple[int, NDArray[np.float64]]] = []
    for at in np.argsort(-counts, kind="stable")[:BALLOTS]:
        centre = (bins[first[at]] - 0.371 + 0.5) * VOTE_STEP_MM
        near = np.all(np.abs(offsets - centre) <= 1.5 * VOTE_STEP_MM, axis=1)
        best.append((-int(near.sum()), np.median(offsets[near], axis=0)))
    best.sort(key=lambda pair: pair[0])
    return [offset for _, offset in best[: BALLOTS // 2]]


def place_points(points_mm: NDArray[np.float64], targets_mm: NDArray[np.float64], scales: bool = True) -> Placing:
    """The placing that brings most of ``points_mm`` (n, 2) onto ``targets_mm`` (m, 2).

    No move wins when it suits nearly all; then a shift; then mirrored and turned; then other scales (``scales``). ``share`` says how good it is.
    """
    none = Placing(1.0, 1.0, 0.0, 0.0, 0.0)
    if len(points_mm) == 0 or len(targets_mm) == 0:
        return none
    tree = cKDTree(targets_mm)
    best = Placing(1.0, 1.0, 0.0, 0.0, share_on_target(points_mm, tree))
    if best.share >= ENOUGH:
        return best
    for scale_words, scale in SCALES if scales else SCALES[:1]:
        for turn_words, mx, my in TURNS:
            sx, sy = mx * scale, my * scale
            for dx, dy in _vote(points_mm * np.array([sx, sy]), targets_mm):
                words = ", ".join(w for w in (turn_words, scale_words) if w)
                trial = Placing(sx, sy, float(dx), float(dy), 0.0, words)
                share = share_on_target(trial.apply(points_mm), tree)
                if share > best.share + 0.02:
                    best = Placing(sx, sy, float(dx), float(dy), share, words)
            if best.share >= ENOUGH:
                return best
    return best


@dataclass(frozen=True, slots=True)
class CopperIndex:
    """Copper layers made ready for questions about points: ``keys`` and ``layers`` in order, one box tree each."""

    keys: tuple[str, ...]
    layers: tuple[ShapeSet, ...]
    trees: tuple[Any, ...]


def copper_index(keys: Sequence[str], layers: Sequence[ShapeSet]) -> CopperIndex:
    """An index over the copper of each layer."""
    trees = tuple(shapely.STRtree(shapely.box(*shapes.bounds_mm().T)) for shapes in layers)
    return CopperIndex(tuple(keys), tuple(layers), trees)


def copper_at(
    index: CopperIndex, key: str, xy_mm: NDArray[np.float64], within_mm: NDArray[np.float64]
) -> NDArray[np.int64]:
    """For each of (n, 2) points the piece of layer ``key`` that it lies on, else the nearest within its ``within_mm``; -1 for none."""
    at = index.keys.index(key)
    shapes, tree = index.layers[at], index.trees[at]
    out = np.full(len(xy_mm), -1, dtype=np.int64)
    if len(xy_mm) == 0 or len(shapes) == 0:
        return out
    points = shapely.points(xy_mm)
    grown = shapely.box(*np.c_[xy_mm - within_mm[:, None], xy_mm + within_mm[:, None]].T)
    i, j = tree.query(grown)
    size = shapely.get_num_coordinates(shapes.skeleton[j])
    shapely.prepare(shapes.skeleton[np.unique(j[size > 24])])
    reach = shapes.radius_mm[j] + within_mm[i]
    near = shapely.dwithin(shapes.skeleton[j], points[i], reach)
    i, j = i[near], j[near]
    gap = shapely.distance(shapes.skeleton[j], points[i]) - shapes.radius_mm[j]
    order = np.lexsort((np.maximum(gap, 0.0), i))
    first = order[np.r_[True, i[order][1:] != i[order][:-1]]] if len(order) else order
    out[i[first]] = j[first]
    return out
