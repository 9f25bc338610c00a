"""Parts: their side, outline, value, state, and the low-ohm ways through them that a continuity tester rings through."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import Part, PartState, Pin
from coppermend.core.board.sources import Corrections, PartCorrection, PartRow
from coppermend.core.geometry.groups import labels
from coppermend.core.geometry.rings import SIMPLIFY_MM, enclosed_exactly, enclosed_nearly, hull_of, ring_points
from coppermend.core.geometry.shapes import ShapeSet

RING_THROUGH_OHM = 200.0
"""Parts up to this value are told to the planner as ways through; testers beep below 10 to 200 ohm depending on make (common practice, no source)."""

FERRITE_OHM = 0.3
FUSE_OHM = 0.1
COIL_OHM = 1.0
"""Assumed direct-current values of a ferrite bead, a fuse and a small choke where the parts list gives none; common practice, no source."""

ENVELOPE_MARGIN_MM = 1.0
"""Margin round the pins where no silkscreen outline is found."""

CLOSING_MM = 0.35
"""Outline strokes whose ends are nearer than this count as closed (silkscreen is cut back from lands); common practice, no source."""


COUNT = re.compile(r"^\s*\d+\s*[x×*]\s*(?=\d)")
"""How many resistors a network holds, written before their value."""

LONG_STROKE = 0.35
"""Strokes at least this share of the pins' extent long are edges of a body, not letters; ours, tried on the packages at hand."""

FEW_STROKES = 200
"""Gaps are closed in groups of at most this many strokes: an outline has fewer, and closing costs more than linear time."""

HULL_SHARE = 0.4
"""Strokes that draw at least this share of their hull's edge are an outline that is cut back from lands; ours, tried on the packages at hand."""


_Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Silk:
    """Silkscreen of one side: ``shapes`` (n) and ``part`` (n,) the reference designator stated for each object by X2 .C, or ""."""

    side: str
    shapes: ShapeSet
    part: NDArray[Any]


def ohms(value: str) -> float | None:
    """The resistance that a parts list's value states in ohm, None when it states none.

    >>> ohms("33R"), ohms("4k7"), ohms("0R"), ohms("2R2"), ohms("10 ohm"), ohms("74LS00"), ohms("100n")
    (33.0, 4700.0, 0.0, 2.2, 10.0, None, None)
    >>> ohms("8 x 10k"), ohms("4×33R")        # a network: how many, and of what
    (10000.0, 33.0)
    """
    value = COUNT.sub("", value)
    text = value.strip().split(" ")[0] if not re.search(r"(?i)ohm|Ω|Ω", value) else value.strip()
    text = re.sub(r"(?i)\s*(ohms?|Ω|Ω)\s*$", "R", text).replace("RR", "R")
    scale = {"R": 1.0, "E": 1.0, "K": 1e3, "k": 1e3, "M": 1e6, "m": 1e-3, "": 1.0}
    found = re.fullmatch(r"(\d+)([REkKMm])(\d+)", text)
    if found:
        return float(f"{found[1]}.{found[3]}") * scale[found[2]]
    found = re.fullmatch(r"(\d+(?:\.\d+)?)([REkKMm]?)R?", text)
    return float(found[1]) * scale[found[2]] if found else None


def through_ohm(ref: str, value: str, package: str, pins: Sequence[Pin]) -> tuple[tuple[str, str, float], ...]:
    """Pairs of pin numbers with the ohms between them for a part that rings through, () for all others.

    Resistors (R), jumpers (JP with 0R, W, "jumper"), ferrites (FB, L), fuses (F) with two pins; resistor networks (RN, RP, RA) of two rows as
    isolated pairs, of one row as bussed from pin 1 when value or package say so.
    """
    numbers = [pin.number for pin in pins]
    kind = (re.match(r"[A-Za-z]+", ref) or [""])[0].upper()
    stated = ohms(value)
    if kind in ("RN", "RP", "RA", "RR") or (kind == "R" and len(numbers) > 3):
        return (
            _network(numbers, stated, f"{value} {package}") if stated is not None and stated <= RING_THROUGH_OHM else ()
        )
    if len(numbers) != 2:
        return ()
    if kind in ("FB", "L"):
        assumed = FERRITE_OHM if kind == "FB" or "ferrite" in value.lower() or "bead" in value.lower() else COIL_OHM
        return ((numbers[0], numbers[1], assumed),)
    if kind in ("F", "FU", "FS"):
        return ((numbers[0], numbers[1], FUSE_OHM),)
    if kind in ("R", "JP", "W", "LK", "LNK", "J") and stated is not None and stated <= RING_THROUGH_OHM:
        return ((numbers[0], numbers[1], stated),)
    return ()


def _network(numbers: Sequence[str], value_ohm: float, words: str) -> tuple[tuple[str, str, float], ...]:
    count = len(numbers)
    if re.search(r"(?i)bus|common|sip|array_sip", words) and not re.search(r"(?i)isolated|dip|dil", words):
        return tuple((numbers[0], other, value_ohm) for other in numbers[1:])
    if count % 2:
        return ()
    if re.search(r"(?i)sip", words):
        return tuple((numbers[k], numbers[k + 1], value_ohm) for k in range(0, count, 2))
    return tuple((numbers[k], numbers[count - 1 - k], value_ohm) for k in range(count // 2))


def pin_order(pin: Pin) -> tuple[Any, ...]:
    """Sort key of pins: 1, 2, 10, A1, A2, A10."""
    return tuple(
        (0, int(piece), "") if piece.isdecimal() else (1, 0, piece) for piece in re.findall(r"\d+|\D+", pin.number)
    )


def clusters(shapes: ShapeSet, within_mm: float = CLOSING_MM) -> NDArray[np.int64]:
    """(n,) label of the group of strokes each shape belongs to: strokes whose centre lines come nearer than ``within_mm``."""
    box = shapely.bounds(shapes.skeleton) + within_mm * np.array([-1.0, -1.0, 1.0, 1.0])
    i, j = shapely.STRtree(shapes.skeleton).query(shapely.box(*box.T))
    once = i < j
    i, j = i[once], j[once]
    near = shapely.distance(shapes.skeleton[i], shapes.skeleton[j]) <= within_mm
    return labels(np.column_stack([i[near], j[near]]), len(shapes))


def closed_outline(lines: NDArray[Any], gap_mm: float) -> NDArray[np.float64] | None:
    """The outer ring of what strokes enclose (``gap_mm`` 0: without gaps, else with gaps up to that closed); None for nothing. (m, 2)"""
    rings = enclosed_nearly(lines, gap_mm) if gap_mm > 0 else enclosed_exactly(lines)
    if not rings:
        return None
    if len(rings) == 1:
        return ring_points(rings[0])
    parts = shapely.get_parts(shapely.union_all(rings))
    return ring_points(parts[int(np.argmax(shapely.area(parts)))])


def envelope(pins: Sequence[Pin], margin_mm: float = ENVELOPE_MARGIN_MM) -> NDArray[np.float64]:
    """(5, 2) box round the pins with a margin."""
    xy = np.array([(pin.x_mm, pin.y_mm) for pin in pins])
    x0, y0 = xy.min(axis=0) - margin_mm
    x1, y1 = xy.max(axis=0) + margin_mm
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)])


def fits(ring: NDArray[np.float64], pins: Sequence[Pin]) -> bool:
    """Whether a silkscreen ring can be the outline of a part with these pins: it covers their middle and is neither a speck nor a frame.

    The body of a DIP chip lies between its rows, a connector's outside its pins: from 0.3 of the pins' box to 6 times (at least 6 mm more each way).
    """
    return _fits(ring, _pin_box(pins))


def _fits(ring: NDArray[np.float64], held: _Box) -> bool:
    return box_fits(ring.min(axis=0), ring.max(axis=0), held)


def box_fits(low_mm: NDArray[np.float64], high_mm: NDArray[np.float64], held: _Box, slack_mm: float = 0.0) -> bool:
    """Whether a ring with this box (its lower left and upper right corner) can be the outline of a part whose pins ``held`` is the box of.

    ``slack_mm``: also where a ring up to that much larger or smaller on each side can.
    """
    x0, y0, x1, y1 = held
    (left, low), (right, high) = low_mm.tolist(), high_mm.tolist()
    wide, tall = x1 - x0, y1 - y0
    body_wide, body_tall = right - left - 2 * slack_mm, high - low - 2 * slack_mm
    frame = body_wide > max(6 * wide, wide + 12.0) or body_tall > max(6 * tall, tall + 12.0)
    if frame or (body_wide > wide + 12.0 and body_tall > tall + 12.0):
        return False
    return _covers((x0, y0, x1, y1), (left - slack_mm, low - slack_mm, right + slack_mm, high + slack_mm))


def _covers(held: _Box, box: _Box) -> bool:
    """Whether a box covers the middle of the pins and is no speck beside them: what holds no such box holds no outline either."""
    x0, y0, x1, y1 = held
    left, low, right, high = box
    wide, tall, body_wide, body_tall = x1 - x0, y1 - y0, right - left, high - low
    if not (left - 0.5 <= (x0 + x1) / 2 <= right + 0.5 and low - 0.5 <= (y0 + y1) / 2 <= high + 0.5):
        return False
    large = body_wide >= min(0.3 * wide, wide - 1.0) and body_tall >= min(0.3 * tall, tall - 1.0)
    return large and max(body_wide, body_tall) >= 0.6


def _pin_box(pins: Sequence[Pin]) -> _Box:
    """Left, lower, right and upper edge of the box round the pins' middles."""
    xs, ys = [pin.x_mm for pin in pins], [pin.y_mm for pin in pins]
    return min(xs), min(ys), max(xs), max(ys)


class SilkOutlines:
    """Finds part outlines in the silkscreen of one side."""

    def __init__(self, silk: Silk) -> None:
        self.side = silk.side
        strokes = np.flatnonzero(
            (shapely.get_type_id(silk.shapes.skeleton) == 1) & (shapely.length(silk.shapes.skeleton) > 0)
        )
        self._lines = silk.shapes.skeleton[strokes]
        self._part = silk.part[strokes]
        label = clusters(ShapeSet(self._lines, np.zeros(len(strokes)))) if len(strokes) else np.empty(0, np.int64)
        order = np.argsort(label, kind="stable")
        cuts = np.flatnonzero(label[order][1:] != label[order][:-1]) + 1
        self._groups = np.split(order, cuts) if len(order) else []
        self._rings: dict[tuple[int, float], NDArray[np.float64] | None] = {}
        self._drawings: dict[tuple[bytes, float], tuple[NDArray[np.float64], NDArray[np.float64] | None]] = {}
        self._length = shapely.length(self._lines)
        self._strokes = shapely.STRtree(self._lines)
        self._box = shapely.bounds(self._lines)
        self._nobody = self._part == ""
        group = np.empty(len(strokes), np.int64)
        group[order] = np.repeat(np.arange(len(self._groups)), [len(one) for one in self._groups])
        own: dict[str, list[int]] = {}
        self._of_part: dict[str, set[int]] = {}
        named = np.flatnonzero(~self._nobody)
        for at, ref, number in zip(named.tolist(), self._part[named].tolist(), group[named].tolist(), strict=True):
            own.setdefault(str(ref), []).append(at)
            self._of_part.setdefault(str(ref), set()).add(number)
        self._own = {ref: np.array(places, np.int64) for ref, places in own.items()}
        first = np.concatenate([[0], cuts]).astype(np.int64)
        held = self._box[order]
        self._group_box = (
            np.column_stack(
                [np.minimum.reduceat(held[:, :2], first, axis=0), np.maximum.reduceat(held[:, 2:], first, axis=0)]
            )
            if len(order)
            else np.empty((0, 4))
        )
        self._tree = shapely.STRtree(shapely.box(*self._group_box.T))
        self._boxes: list[_Box] = [(a, b, c, d) for a, b, c, d in self._group_box.tolist()]

    def mentions(self, ref: str) -> bool:
        """Whether an object of this side is stated to belong to that part."""
        return ref in self._of_part

    def _ring(self, number: int, gap_mm: float) -> NDArray[np.float64] | None:
        if gap_mm > 0 and len(self._groups[number]) > FEW_STROKES:
            return None
        if (number, gap_mm) not in self._rings:
            self._rings[number, gap_mm] = self._drawn_before(self._lines[self._groups[number]], gap_mm)
        return self._rings[number, gap_mm]

    def _drawn_before(self, lines: NDArray[Any], gap_mm: float) -> NDArray[np.float64] | None:
        """``closed_outline``, worked out once for all groups that are the same drawing at another place (equal to 1 nm)."""
        xy = shapely.get_coordinates(lines)
        at = xy[0].copy()
        drawing = np.round((xy - at) * 1e6).astype(np.int64).tobytes() + shapely.get_num_coordinates(lines).tobytes()
        if (drawing, gap_mm) not in self._drawings:
            ring = closed_outline(lines, gap_mm)
            self._drawings[drawing, gap_mm] = (at, ring)
            return ring
        first, ring = self._drawings[drawing, gap_mm]
        return None if ring is None else ring + (at - first)

    def _may_fit(self, number: int, gap_mm: float, held: _Box) -> bool:
        """Whether a ring of this group can fit: a ring is at most as large as its group (and the gap that was closed), but may be smaller."""
        x0, y0, x1, y1 = self._boxes[number]
        return _covers(held, (x0 - gap_mm, y0 - gap_mm, x1 + gap_mm, y1 + gap_mm))

    def outline(self, ref: str, pins: Sequence[Pin]) -> NDArray[np.float64] | None:
        """The ring of strokes that can be this part's body: closed, else nearly closed, else the hull of long strokes that draw most of its edge.

        Strokes stated as the part's own come first; None when there is nothing like it.
        """
        held = _pin_box(pins)
        x, y = (held[0] + held[2]) / 2, (held[1] + held[3]) / 2
        own = self._of_part.get(ref, set())
        near = set(self._tree.query(shapely.box(x - 1.0, y - 1.0, x + 1.0, y + 1.0)).tolist())
        for numbers, strokes in ((own, self._own.get(ref)), (near - own, None)):
            for gap in (0.0, CLOSING_MM):
                likely = (n for n in sorted(numbers) if self._may_fit(n, gap, held))
                found = (self._ring(n, gap) for n in likely)
                rings = [ring for ring in found if ring is not None and _fits(ring, held)]
                if len(rings) == 1:
                    return rings[0]
                if rings:
                    return max(rings, key=lambda ring: float(shapely.Polygon(ring).area))
            ring = self._hull(pins, strokes)
            if ring is not None:
                return ring
        return None

    def _hull(self, pins: Sequence[Pin], own: NDArray[np.int64] | None) -> NDArray[np.float64] | None:
        """The hull of strokes long for the part (its own, else those near its pins), when they draw at least HULL_SHARE of its edge."""
        held = np.array(_pin_box(pins))
        low, high = held[:2], held[2:]
        extent = max(1.0, float(np.max(high - low)))
        grow = max(1.0, 0.25 * extent)
        if own is None:
            near = self._strokes.query(shapely.box(*(low - grow), *(high + grow)))
            box = self._box[near]
            inside = np.all(box[:, :2] >= low - grow, axis=1) & np.all(box[:, 2:] <= high + grow, axis=1)
            own = near[inside & self._nobody[near]]
        strokes = own[self._length[own] >= LONG_STROKE * extent]
        if len(strokes) < 1:
            return None
        box = self._box[strokes]
        if not box_fits(box[:, :2].min(axis=0), box[:, 2:].max(axis=0), _pin_box(pins), 2 * SIMPLIFY_MM):
            return None
        hull, share = hull_of(self._lines[strokes], 0.1)
        if share < HULL_SHARE or hull.geom_type != "Polygon":
            return None
        ring = ring_points(hull)
        return ring if fits(ring, pins) else None


def side_of(ref: str, pins: Sequence[Pin], silks: Sequence[SilkOutlines], listed: str = "") -> str:
    """The side a part sits on: that of its surface lands, else the ``listed`` one, else that of the silkscreen which names it, else c."""
    surface = [pin.layers[0] for pin in pins if pin.hole is None and pin.layers and pin.layers[0] in "cs"]
    if surface and len(surface) * 2 > len(pins):
        return max("cs", key=surface.count)
    if listed:
        return listed
    named = [silk.side for silk in silks if silk.mentions(ref)]
    return named[0] if len(set(named)) == 1 else "c"


def part_of(
    ref: str, pins: Sequence[Pin], row: PartRow | None, correction: PartCorrection | None, silks: Sequence[SilkOutlines]
) -> Part:
    """One part from its pins, its row in a parts list, the user's correction and the silkscreen."""
    said = correction or PartCorrection()
    listed = row or PartRow(ref)
    ordered = tuple(sorted(pins, key=pin_order))
    side = said.side or side_of(ref, ordered, silks, listed.side)
    value, package = said.value or listed.value, said.package or listed.package
    outline, origin = _outline(ref, ordered, side, said, listed, silks)
    state = said.state or listed.state or PartState.SOLDERED
    return Part(ref, side, outline, origin, ordered, value, package, state, through_ohm(ref, value, package, ordered))


def _outline(
    ref: str, pins: Sequence[Pin], side: str, said: PartCorrection, listed: PartRow, silks: Sequence[SilkOutlines]
) -> tuple[NDArray[np.float64], str]:
    if said.outline is not None:
        return np.array([*said.outline, said.outline[0]]), "corrections"
    if listed.outline is not None:
        closed = listed.outline if listed.outline[0] == listed.outline[-1] else (*listed.outline, listed.outline[0])
        return np.array(closed), "package"
    for silk in silks:
        if silk.side == side:
            ring = silk.outline(ref, pins)
            if ring is not None:
                return ring, "silkscreen"
    return envelope(pins), "pins"


def parts_of(
    pins: Sequence[Pin], rows: Mapping[str, PartRow], corrections: Corrections, silks: Sequence[Silk]
) -> tuple[Part, ...]:
    """All parts that have pins, in the order of their reference designators (U2 before U10)."""
    finders = [SilkOutlines(silk) for silk in silks if len(silk.shapes)]
    by_part: dict[str, list[Pin]] = {}
    for pin in pins:
        by_part.setdefault(pin.part, []).append(pin)
    return tuple(
        part_of(ref, by_part[ref], rows.get(ref), corrections.parts.get(ref), finders)
        for ref in sorted(by_part, key=ref_order)
    )


def ref_order(ref: str) -> tuple[Any, ...]:
    """Sort key of reference designators: R2 before R10, letters before longer letters."""
    return tuple((0, int(piece), "") if piece.isdecimal() else (1, 0, piece) for piece in re.findall(r"\d+|\D+", ref))
