"""The design-rule check: distances between copper, holes and the board's edge, and whether every net is one piece.

It works on the finished shapes alone and shares no code with the track search. Rules: 0.2 mm between copper of
different nets, 0.25 mm from a hole's wall to foreign copper, 0.25 mm between holes, 0.15 mm of land around a hole,
0.5 mm from copper to the board's edge and to mounting holes (common practice for boards of this age, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from demo.copper import Board
from demo.footprints import PITCH_MM
from demo.placement import HEIGHT_MM, MOUNTING_DRILL_MM, MOUNTING_HOLES, WIDTH_MM, PlacedLand

COPPER_GAP_MM = 0.2
HOLE_TO_COPPER_MM = 0.25
HOLE_TO_HOLE_MM = 0.25
RING_MM = 0.15
EDGE_MM = 0.5
_ARC_STEPS = (
    16  # segments per quarter circle; the polygon lies inside the circle by less than 0.5 per mille of its radius
)
_EPS = 1e-6


@dataclass(frozen=True, slots=True)
class Violation:
    """A broken rule: which rule, where (mm), what was found and what was expected."""

    rule: str
    x_mm: float
    y_mm: float
    words: str


@dataclass(frozen=True, slots=True)
class Copper:
    """One piece of copper of one side: its net, its shape and what it is, for messages."""

    net: str
    side: str
    shape: BaseGeometry
    what: str


@dataclass(frozen=True, slots=True)
class Hole:
    """A plated hole: its net, centre, diameter and the land's size around it."""

    net: str
    x_mm: float
    y_mm: float
    hole_mm: float
    land_mm: float


def net_of(land: PlacedLand) -> str:
    """The land's net; a land that belongs to none stands for itself."""
    return land.net or f"{land.ref}.{land.number}"


def land_shape(land: PlacedLand) -> BaseGeometry:
    """The land's copper."""
    half = land.land.size_mm / 2
    if land.land.form == "square":
        return shapely.box(land.x_mm - half, land.y_mm - half, land.x_mm + half, land.y_mm + half)
    return shapely.Point(land.x_mm, land.y_mm).buffer(half, quad_segs=_ARC_STEPS)


def copper(board: Board) -> list[Copper]:
    """Every piece of copper of both sides."""
    found = []
    for land in board.lands:
        found += [Copper(net_of(land), side, land_shape(land), f"{land.ref}.{land.number}") for side in "cs"]
    for via in board.vias:
        shape = shapely.Point(via.x_mm, via.y_mm).buffer(via.land_mm / 2, quad_segs=_ARC_STEPS)
        found += [Copper(via.net, side, shape, f"via of {via.net}") for side in "cs"]
    for track in board.tracks:
        shape = shapely.LineString(track.points).buffer(track.width_mm / 2, quad_segs=_ARC_STEPS)
        found.append(Copper(track.net, track.side, shape, f"track of {track.net}"))
    for pour in board.pours:
        outer, *inner = [[(x / 1000, y / 1000) for x, y in ring] for ring in pour.rings]
        found.append(Copper(pour.net, pour.side, shapely.Polygon(outer, inner), f"poured area of {pour.net}"))
    return found


def holes(board: Board) -> list[Hole]:
    """Every plated hole."""
    found = [Hole(net_of(p), p.x_mm, p.y_mm, p.land.hole_mm, p.land.size_mm) for p in board.lands]
    return found + [Hole(v.net, v.x_mm, v.y_mm, v.hole_mm, v.land_mm) for v in board.vias]


def _copper_gaps(pieces: list[Copper]) -> list[Violation]:
    found = []
    for side in "cs":
        here = [p for p in pieces if p.side == side]
        shapes = [p.shape for p in here]
        for i, j in shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=COPPER_GAP_MM - _EPS).T:
            if i < j and here[i].net != here[j].net:
                at = shapely.shortest_line(shapes[i], shapes[j]).centroid
                gap = shapely.distance(shapes[i], shapes[j])
                found.append(
                    Violation(
                        "copper gap",
                        at.x,
                        at.y,
                        f"{here[i].what} and {here[j].what} on side {side}: "
                        f"{gap:.3f} mm apart, at least {COPPER_GAP_MM} mm expected",
                    )
                )
    return found


def _hole_gaps(pieces: list[Copper], drilled: list[Hole]) -> list[Violation]:
    found = []
    points = [shapely.Point(h.x_mm, h.y_mm) for h in drilled]
    shapes = [p.shape for p in pieces]
    reach = max(h.hole_mm for h in drilled) / 2 + HOLE_TO_COPPER_MM
    for i, j in shapely.STRtree(shapes).query(points, predicate="dwithin", distance=reach).T:
        gap = shapely.distance(points[i], shapes[j]) - drilled[i].hole_mm / 2
        if pieces[j].net != drilled[i].net and gap < HOLE_TO_COPPER_MM - _EPS:
            found.append(
                Violation(
                    "hole to copper",
                    drilled[i].x_mm,
                    drilled[i].y_mm,
                    f"{pieces[j].what}: {gap:.3f} mm from a hole of {drilled[i].net}",
                )
            )
    for i, j in shapely.STRtree(points).query(points, predicate="dwithin", distance=2 * reach).T:
        gap = shapely.distance(points[i], points[j]) - (drilled[i].hole_mm + drilled[j].hole_mm) / 2
        if i < j and gap < HOLE_TO_HOLE_MM - _EPS:
            found.append(
                Violation(
                    "hole to hole",
                    drilled[i].x_mm,
                    drilled[i].y_mm,
                    f"holes of {drilled[i].net} and {drilled[j].net} {gap:.3f} mm apart",
                )
            )
    for hole in drilled:
        if (hole.land_mm - hole.hole_mm) / 2 < RING_MM - _EPS:
            found.append(
                Violation("ring", hole.x_mm, hole.y_mm, f"land {hole.land_mm} mm around a {hole.hole_mm} mm hole")
            )
    return found


def _edges(pieces: list[Copper]) -> list[Violation]:
    inside = shapely.box(0, 0, WIDTH_MM, HEIGHT_MM).buffer(-EDGE_MM)
    keep_out = shapely.union_all(
        [shapely.Point(x * PITCH_MM, y * PITCH_MM).buffer(MOUNTING_DRILL_MM / 2 + EDGE_MM) for x, y in MOUNTING_HOLES]
    )
    return [
        Violation(
            "edge",
            p.shape.centroid.x,
            p.shape.centroid.y,
            f"{p.what} within {EDGE_MM} mm of the edge or a mounting hole",
        )
        for p in pieces
        if not inside.contains(p.shape) or keep_out.intersects(p.shape)
    ]


class _Groups:
    def __init__(self, count: int) -> None:
        self._up = list(range(count))

    def find(self, i: int) -> int:
        while self._up[i] != i:
            self._up[i] = self._up[self._up[i]]
            i = self._up[i]
        return i

    def join(self, i: int, j: int) -> None:
        self._up[self.find(i)] = self.find(j)


def islands(board: Board) -> list[set[str]]:
    """The copper as it hangs together, whatever the nets say: the nets found on each island, islands in fixed order.

    A sound board gives one island for each net and each island one net.
    """
    pieces, drilled = copper(board), holes(board)
    shapes = [p.shape for p in pieces]
    groups = _Groups(len(pieces))
    tree = shapely.STRtree(shapes)
    for i, j in tree.query(shapes, predicate="intersects").T:
        if pieces[i].side == pieces[j].side:
            groups.join(int(i), int(j))
    through = [shapely.Point(h.x_mm, h.y_mm) for h in drilled]
    first: dict[int, int] = {}
    for i, j in tree.query(through, predicate="intersects").T:
        groups.join(first.setdefault(int(i), int(j)), int(j))
    found: dict[int, set[str]] = {}
    for i, piece in enumerate(pieces):
        found.setdefault(groups.find(i), set()).add(piece.net)
    return [found[k] for k in sorted(found)]


def _nets(board: Board) -> list[Violation]:
    found: list[Violation] = []
    count: dict[str, int] = {}
    for nets in islands(board):
        if len(nets) > 1:
            found.append(Violation("short", 0, 0, f"nets {', '.join(sorted(nets))} hang together"))
        for net in nets:
            count[net] = count.get(net, 0) + 1
    found += [Violation("open", 0, 0, f"net {net} is in {n} pieces") for net, n in sorted(count.items()) if n > 1]
    return found


def check(board: Board) -> list[Violation]:
    """Every broken rule of the board; an empty list when it may be made."""
    pieces, drilled = copper(board), holes(board)
    return [*_copper_gaps(pieces), *_hole_gaps(pieces, drilled), *_edges(pieces), *_nets(board)]
