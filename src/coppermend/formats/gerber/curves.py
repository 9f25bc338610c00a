"""Arcs of a Gerber file while it is read: quadrant mode, its guess, and what to do with arcs that fit nothing."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

from coppermend.core.findings import Severity
from coppermend.core.geometry import arcs

Point = tuple[float, float]
Arc = tuple[float, float, float, float]
"""Centre, start angle, signed sweep."""
Note = Callable[[str, Severity, str, str], None]

_FAR_MM = 1e6
_QUADRANT = re.compile(r"G0*7[45](?!\d)")
_OFFSET = re.compile(r"[XYIJ\d][IJ]([+-]?\d+)(?=[JD*])")
ENOUGH_OFFSETS = 4
"""Fewer centre offsets than this in a file prove nothing; the first arc decides then."""


class Curves:
    """``quadrant``: True after G75, False after G74, None before either (then the numbers decide: those of the whole file, else of the first arc)."""

    def __init__(self, note: Note) -> None:
        self._note = note
        self.quadrant: bool | None = None
        self._voted = False

    def vote(self, text: str) -> None:
        """Decides between G74 and G75 for a file that says neither: offsets that never have a sign are those of G74."""
        if _QUADRANT.search(text):
            return
        offsets = _OFFSET.findall(text)
        if len(offsets) < ENOUGH_OFFSETS:
            return
        self.quadrant = any(one.startswith("-") for one in offsets)
        self._voted = not self.quadrant
        name = "G75 (some offsets have a sign)" if self.quadrant else "G74 (no offset has a sign)"
        self._note(
            "GBR-026", Severity.GUESS, f"The file has arcs and neither G74 nor G75; {name} fits its numbers.", ""
        )

    def path(self, start: Point, end: Point, offset: Point, clockwise: bool) -> list[Point]:
        """Points after ``start``, the last one ``end``; a straight line, with a finding, where no arc fits."""
        if not all(abs(v) < _FAR_MM for v in (*start, *end, *offset)):
            return [end]
        if offset == (0.0, 0.0):
            words = "An arc without centre (no I, no J); drawn as a straight line."
            self._note("GBR-023", Severity.WARNING, words, "")
            return [end]
        arc = self._arc(start, end, offset, clockwise)
        if arc is None:
            words = "No arc of at most 90 degrees fits (G74); drawn as a straight line."
            self._note("GBR-024", Severity.WARNING, words, "")
            return [end]
        points, off = arcs.points(*start, *end, arc)
        self._judge(math.hypot(start[0] - arc[0], start[1] - arc[1]), off)
        return points

    def _arc(self, start: Point, end: Point, offset: Point, clockwise: bool) -> Arc | None:
        arc = arcs.multi_quadrant(*start, *end, *offset, clockwise)
        if self.quadrant is None:
            self._guess(arc, end, offset)
        if self.quadrant:
            return arc
        return arcs.single_quadrant(*start, *end, *offset, clockwise) or (arc if self._voted else None)

    def _guess(self, arc: Arc, end: Point, offset: Point) -> None:
        """Neither G74 nor G75 was said: offsets with sign, or a fit with signed offsets, decide."""
        radius = math.hypot(*offset)
        off = abs(radius - math.hypot(end[0] - arc[0], end[1] - arc[1]))
        self.quadrant = min(offset) < 0 or off <= 0.002 + 0.001 * radius
        name = "G75 (offsets with sign)" if self.quadrant else "G74 (offsets without sign)"
        self._note("GBR-026", Severity.GUESS, f"An arc before G74 or G75; {name} fits its numbers.", "")

    def _judge(self, radius_mm: float, off_mm: float) -> None:
        if off_mm > 0.02 + 0.01 * radius_mm:
            words = f"Start and end of an arc are {off_mm:.3f} mm apart in radius ({radius_mm:.3f} mm at the start)."
            self._note("GBR-025", Severity.WARNING, words, "Look at this arc on the map; its centre may be wrong.")
