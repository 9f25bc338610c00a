"""Wires added at the factory, as the corrections file says: the copper at their two ends is one island."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.joined import Holes, Islands
from coppermend.core.board.model import Board
from coppermend.core.board.sources import FactoryWire, WireEnd
from coppermend.core.findings import Finding, Place, Severity

REACH_MM = 0.1
"""A wire's end may lie this far off its copper."""

_KEY = "wire "


def with_factory_wires(
    islands: Islands, holes: Holes, keys: Sequence[str], wires: Sequence[FactoryWire]
) -> tuple[Islands, dict[str, str], list[Finding]]:
    """The islands with those that wires join made one, what the board keeps of the wires that were applied, and a finding for each that was not.

    ``keys`` of the layers in the islands' order. Islands stay numbered by their first piece.
    """
    root = np.arange(islands.count)
    kept: dict[str, str] = {}
    findings: list[Finding] = []
    for wire in wires:
        ends = [_island_at(islands, holes, keys, end) for end in (wire.start, wire.end)]
        lost = [end for end, island in zip((wire.start, wire.end), ends, strict=True) if island < 0]
        if lost:
            findings.append(_nowhere(lost[0], keys))
            continue
        one, two = sorted(int(root[island]) for island in ends)
        root[root == two] = one
        size = "" if wire.diameter_mm is None else f" {wire.diameter_mm!r}"
        kept[f"{_KEY}{len(kept) + 1}"] = f"{_words(wire.start)} {_words(wire.end)}{size}"
    if not kept:
        return islands, {}, findings
    _, ranks = np.unique(root, return_inverse=True)
    number = np.asarray(ranks, dtype=np.int32)
    joined = replace(
        islands,
        piece_island=tuple(np.asarray(number[one], dtype=np.int32) for one in islands.piece_island),
        hole_island=np.where(islands.hole_island < 0, np.int32(-1), number[islands.hole_island]).astype(np.int32),
        count=int(number.max()) + 1,
    )
    return joined, kept, findings


def factory_wires(board: Board) -> tuple[FactoryWire, ...]:
    """The wires added at the factory that the board was built with."""
    out = []
    for key, words in board.extra.items():
        if key.startswith(_KEY):
            w = words.split()
            start, end = (WireEnd(float(w[k]), float(w[k + 1]), w[k + 2]) for k in (0, 3))
            out.append(FactoryWire(start, end, float(w[6]) if len(w) > 6 else None))
    return tuple(out)


def _words(end: WireEnd) -> str:
    return f"{end.x_mm!r} {end.y_mm!r} {end.layer}"


def _island_at(islands: Islands, holes: Holes, keys: Sequence[str], end: WireEnd) -> int:
    """The island at a wire's end: the copper there, else the plated hole there; -1 for none."""
    if end.layer not in keys:
        return -1
    at = keys.index(end.layer)
    spot = shapely.Point(end.x_mm, end.y_mm)
    shapes = islands.layers[at].shapes
    near = _nearest(shapes.skeleton, shapes.radius_mm, spot)
    if near >= 0:
        return int(islands.piece_island[at][near])
    through = np.flatnonzero(holes.plated & (holes.first <= at) & (holes.last >= at) & (islands.hole_island >= 0))
    drilled = holes.shapes()
    near = _nearest(drilled.skeleton[through], drilled.radius_mm[through], spot)
    return int(islands.hole_island[through[near]]) if near >= 0 else -1


def _nearest(skeleton: NDArray[np.object_], radius_mm: NDArray[np.float64], spot: shapely.Point) -> int:
    if not len(skeleton):
        return -1
    gap = shapely.distance(skeleton, spot) - radius_mm
    best = int(np.argmin(gap))
    return best if gap[best] <= REACH_MM else -1


def _nowhere(end: WireEnd, keys: Sequence[str]) -> Finding:
    why = "no copper lies there" if end.layer in keys else f"the board has the layers {', '.join(keys)}"
    return Finding(
        "BRD-036",
        Severity.WARNING,
        Place(file="coppermend-corrections.toml", x_mm=end.x_mm, y_mm=end.y_mm, layer=end.layer),
        f"A wire of the corrections ends at {end.x_mm:g}, {end.y_mm:g} mm on layer {end.layer}, but {why}. The wire is not applied.",
        "Give places on copper, in the coordinates of the copper files, with the layer (c, s, i1 ...).",
    )
