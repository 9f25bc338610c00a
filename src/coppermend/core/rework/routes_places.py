"""Where no patch wire may lie on this board, where it can pass to the other side, and where a track can be bared to take its end."""

from __future__ import annotations

import itertools
import re
from collections.abc import Collection, Iterable, Sequence
from math import hypot

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import Board, Part, PartState
from coppermend.core.copper.laps import along_path, path_mm, track_id
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.copper.worked import cut_ends
from coppermend.core.rework.ground import board_ground
from coppermend.core.rework.insulation import HEAT_OF
from coppermend.core.rework.pieces import WireEnd, points_of
from coppermend.core.rework.routes import KeepOut, Ways
from coppermend.core.rework.rules import lap_mm

GAP_MM = 0.5
"""A wire's middle stays this far from what it must keep clear of: half an insulated wrap wire (0.5 mm) and a little. Our choice."""
EDGE_MM = 2.0
"""A wire stays this far inside the board's edge. Common practice, no source."""
SCREW_MM = 2.5
"""Round a mounting hole, beyond its rim: screw head and washer. Common practice, no source."""
MOUNTING_MM = 2.4
"""An unplated hole without a pin from this diameter on is taken for a mounting hole. Our choice."""
HOT_MM = 3.0
"""Round parts that run hot. Common practice, no source."""
THREAD_MM = 0.7
"""The narrowest free hole that a wire is led through. Our choice: an insulated wrap wire with room."""
TEST_LAND_MM = 0.8
"""Round the middle of a land that no pin sits on: it may serve a probe. Our choice."""
RECTANGLE = 0.99
"""An outline that fills this share of its box is taken for a rectangle (rounded corners)."""
STRIP_MM, MOST_STRIPS = 3.0, 80
"""Width and number of the strips in which the ground off a board is boxed."""
SCRAPED_MM = 7.0
"""What baring a track and tinning it costs, as mm of wire (shared measures of patch planning; an assumption)."""
SCRAPE_STEP_MM = 2.5
"""Along a track a bared place is tried this often."""
CUT_CLEAR_MM = 0.5
"""A bared place keeps this far from a cut, so that solder does not run over it. Our choice."""
MOST_SCRAPED = 60
"""At most so many bared places are tried for each piece."""

_HOT = re.compile(
    r"to-?220|to-?3\b|to-?247|heat ?sink|\bsink\b|regulator|78\d\d|79\d\d|power transistor", re.IGNORECASE
)

Box = tuple[float, float, float, float]


def ways_of(
    board: Board, graph: CopperGraph, own: Sequence[tuple[Box, str, str]] = (), without: Collection[str] = ()
) -> Ways:
    """Where wires may lie on this board: not under parts, not over test lands, mounting holes, hot parts, the edge, or the user's ``own`` boxes
    ((x0, y0, x1, y1), side c, s or "", words). ``without``: reference designators whose ground is allowed after all.
    """
    keep = [
        *_parts(board, graph, frozenset(without)),
        *_test_lands(graph),
        *_mounting(board),
        *_off_the_board(board),
        *(KeepOut(*box, side, words) for box, sides, words in own for side in (sides or "cs")),
    ]
    return Ways(tuple(keep), frame_of(board), tuple(_free_holes(board)))


def frame_of(board: Board) -> Box:
    """The box inside the board's edge; the copper's box where no outline was found."""
    if board.outline:
        xy = np.vstack([np.asarray(one) for one in board.outline if len(one)])
        low, high, inside = xy.min(axis=0), xy.max(axis=0), EDGE_MM
    else:
        boxes = [layer.shapes.bounds_mm() for layer in board.layers if len(layer.shapes)]
        if not boxes:
            return (-1e4, -1e4, 1e4, 1e4)
        whole = np.vstack(boxes)
        low, high, inside = np.nanmin(whole[:, :2], axis=0), np.nanmax(whole[:, 2:], axis=0), 0.0
    return (float(low[0] + inside), float(low[1] + inside), float(high[0] - inside), float(high[1] - inside))


def _off_the_board(board: Board) -> Iterable[KeepOut]:
    """What of the outline's box lies off the board or too near its edge, as boxes: for boards that are no rectangle, and for cut-outs.

    The box is looked at in strips; the boxes cover at least what lies off the board, so a way never leaves it.
    """
    ground = board_ground(board)
    if ground is None or ground.area >= RECTANGLE * ground.envelope.area:
        return
    x0, y0, x1, y1 = frame_of(board)
    inside = shapely.buffer(ground, -EDGE_MM, join_style="mitre")
    count = min(max(int((x1 - x0) / STRIP_MM), 1), MOST_STRIPS)
    lines = np.linspace(x0, x1, count + 1)
    corners = shapely.get_coordinates(inside)[:, 0]
    lines = np.unique(np.concatenate([lines, corners[(corners > x0) & (corners < x1)] if len(corners) <= 40 else []]))
    for left, right in itertools.pairwise(lines.tolist()):
        off = shapely.difference(shapely.box(left, y0 - 1.0, right, y1 + 1.0), inside)
        for piece in shapely.get_parts(off):
            bx0, by0, bx1, by1 = piece.bounds
            if piece.area > 1e-6 and by1 > y0 + 1e-6 and by0 < y1 - 1e-6:
                for side in "cs":
                    yield KeepOut(bx0, by0, bx1, by1, side, "off the board or at its edge")


def _box(points: NDArray[np.float64], grow: float) -> Box:
    low, high = points.min(axis=0) - grow, points.max(axis=0) + grow
    return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))


def _parts(board: Board, graph: CopperGraph, without: frozenset[str]) -> Iterable[KeepOut]:
    """The ground of parts on their own side; parts that are out come back, so theirs counts too. Hot parts wider, on both sides."""
    states = dict(graph.part_states)
    for part in board.parts:
        if part.ref in without or states.get(part.ref, part.state) is PartState.NOT_FITTED:
            continue
        ground = _ground(part)
        if ground is None:
            continue
        hot = is_hot(part)
        words = f"{HEAT_OF}{part.ref}" if hot else f"under {part.ref}"
        grow = HOT_MM if hot else GAP_MM
        for side in "cs" if hot else part.side:
            yield KeepOut(*_box(ground, grow), side, words)


def _ground(part: Part) -> NDArray[np.float64] | None:
    """A part's body; without an outline the box of its pins where that has any ground."""
    if len(part.outline) >= 3:
        return np.asarray(part.outline, dtype=np.float64)
    if len(part.pins) < 2:
        return None
    return np.array([(pin.x_mm, pin.y_mm) for pin in part.pins])


def is_hot(part: Part) -> bool:
    """Whether a part is taken to run hot: by its case and value (common practice, no source).

    >>> is_hot(Part("VR1", "c", np.empty((0, 2)), "", (), "7805", "TO-220"))
    True
    """
    return bool(_HOT.search(f"{part.value} {part.package}"))


def _test_lands(graph: CopperGraph) -> Iterable[KeepOut]:
    """Lands without a pin."""
    for point in graph.points:
        if point.kind == "land" and not point.part and point.side in ("c", "s"):
            r = TEST_LAND_MM + GAP_MM
            words = f"over the land at {point.x_mm:.1f}, {point.y_mm:.1f} mm"
            yield KeepOut(point.x_mm - r, point.y_mm - r, point.x_mm + r, point.y_mm + r, point.side, words)


def _mounting(board: Board) -> Iterable[KeepOut]:
    """Mounting holes with the ground of their screw heads, on both sides."""
    taken = {pin.hole for part in board.parts for pin in part.pins if pin.hole is not None}
    for number, hole in enumerate(board.holes):
        if number in taken or hole.diameter_mm < MOUNTING_MM:
            continue
        r = hole.diameter_mm / 2 + SCREW_MM
        box = (
            min(hole.x_mm, hole.x2_mm) - r,
            min(hole.y_mm, hole.y2_mm) - r,
            max(hole.x_mm, hole.x2_mm) + r,
            max(hole.y_mm, hole.y2_mm) + r,
        )
        for side in "cs":
            yield KeepOut(*box, side, f"the mounting hole at {hole.x_mm:.1f}, {hole.y_mm:.1f} mm")


def _free_holes(board: Board) -> Iterable[tuple[float, float]]:
    """Unplated holes without a pin that a wire can be led through."""
    taken = {pin.hole for part in board.parts for pin in part.pins if pin.hole is not None}
    for number, hole in enumerate(board.holes):
        if number not in taken and not hole.plated and THREAD_MM <= hole.diameter_mm < MOUNTING_MM:
            yield (hole.x_mm, hole.y_mm)


def scraped_ends(
    graph: CopperGraph, sites: Sequence[Site], net: int, ways: Ways | None, side: str = ""
) -> list[WireEnd]:
    """Places on the tracks of one piece where the mask can be scraped off and a wire lapped on: on straight stretches of twice the track's width and
    more, in the open; the last such places before a cut always. Each is the point that ``laps.py`` makes of it once the wire is noted.
    """
    cut = {node for pair in cut_ends(graph, net) for node in pair}
    beside: set[int] = set()
    held = {point.id for point in points_of(graph, net) if point.kind == "track"}
    found: list[WireEnd] = []
    for site in sites:
        if site.kind is not SiteKind.RUN or site.layer not in ("c", "s") or (side and site.layer != side):
            continue
        before = len(found)
        for x, y in _open(list(_along(site, (site.a in cut, site.b in cut))), ways, site.layer):
            name = track_id(x, y, site.layer)
            if name not in held:
                found.append(_bared(site, name, x, y))
        if len(found) > before:
            beside |= {k for k, at in ((before, site.a), (len(found) - 1, site.b)) if at in cut}
    if len(found) > MOST_SCRAPED:
        spread = np.linspace(0, len(found) - 1, MOST_SCRAPED).round().astype(int).tolist()
        found = [found[k] for k in sorted({*spread, *beside})]
    return found


def _open(spots: list[tuple[float, float]], ways: Ways | None, side: str) -> list[tuple[float, float]]:
    """Those of these places that lie in no forbidden place; bare places of other nets do not count."""
    if ways is None or not spots:
        return spots
    held = ways.hard(side).held(np.array(spots))
    return [spot for spot, barred in zip(spots, held.tolist(), strict=True) if not barred]


def _bared(site: Site, name: str, x: float, y: float) -> WireEnd:
    """The end at a place on a run."""
    share = along_path(site.path, (x, y))[1] / max(path_mm(site.path), 1e-9)
    ohm = ((site.a, site.resistance_ohm * share), (site.b, site.resistance_ohm * (1 - share)))
    lap = lap_mm(site.width_mm)
    return WireEnd(name, site.a, x, y, site.layer, "track", SCRAPED_MM, lap_mm=lap, ohm_on=ohm)


def _along(site: Site, cut: tuple[bool, bool] = (False, False)) -> Iterable[tuple[float, float]]:
    """Middles of laps along a track: each straight stretch that holds one, its length stepped through. ``cut``: which of its ends lie at a cut."""
    lap, last = lap_mm(site.width_mm), len(site.path) - 2
    for at, (p, q) in enumerate(itertools.pairwise(site.path)):
        length = hypot(q[0] - p[0], q[1] - p[1])
        first = cut[0] and at == 0
        final = cut[1] and at == last
        low = lap / 2 + (CUT_CLEAR_MM if first else 0.0)
        room = length - lap / 2 - (CUT_CLEAR_MM if final else 0.0) - low
        if room < (0.0 if first or final else 0.5):
            continue
        count = max(int(room // SCRAPE_STEP_MM), 1)
        for k in range(count + 1):
            t = (low + room * k / count) / length
            yield (p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1]))
