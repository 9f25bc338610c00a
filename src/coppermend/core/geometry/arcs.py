"""Circular arcs: from start, end, centre or radius to points on the arc, with a stated chord error."""

from __future__ import annotations

import math

CHORD_ERROR_MM = 0.0005
"""Arcs become chords whose ends lie on the arc; no chord is further from its arc than this (0.5 um)."""

TAU = 2.0 * math.pi
MAX_CHORDS = 20_000


def chord_count(radius_mm: float, angle: float, error_mm: float = CHORD_ERROR_MM) -> int:
    """How many chords keep the sagitta r(1 - cos(a/2n)) below ``error_mm``.

    >>> chord_count(1.0, math.pi)     # closed form: pi / (2 acos(1 - 0.0005)) = 49.7
    50
    """
    if radius_mm <= error_mm:
        return max(1, math.ceil(abs(angle) / (TAU / 8)))
    step = 2.0 * math.acos(1.0 - error_mm / radius_mm)
    return min(MAX_CHORDS, max(1, math.ceil(abs(angle) / step - 1e-9)))


def multi_quadrant(
    x0: float, y0: float, x1: float, y1: float, i: float, j: float, clockwise: bool
) -> tuple[float, float, float, float]:
    """Centre, start angle and signed sweep (counter-clockwise positive) of a G75 arc; equal ends make a full circle."""
    cx, cy = x0 + i, y0 + j
    a0 = math.atan2(y0 - cy, x0 - cx)
    if x0 == x1 and y0 == y1:
        return cx, cy, a0, -TAU if clockwise else TAU
    sweep = math.atan2(y1 - cy, x1 - cx) - a0
    if clockwise:
        while sweep >= 0.0:
            sweep -= TAU
    else:
        while sweep <= 0.0:
            sweep += TAU
    return cx, cy, a0, sweep


def single_quadrant(
    x0: float, y0: float, x1: float, y1: float, i: float, j: float, clockwise: bool
) -> tuple[float, float, float, float] | None:
    """Same for a G74 arc, whose offsets have no sign: the centre of the four whose arc is at most 90 degrees and whose radii agree best."""
    best: tuple[float, float, float, float] | None = None
    best_error = math.inf
    for si in (1.0, -1.0):
        for sj in (1.0, -1.0):
            ii, jj = si * abs(i), sj * abs(j)
            if x0 == x1 and y0 == y1:
                return x0 + ii, y0 + jj, math.atan2(-jj, -ii), 0.0
            arc = multi_quadrant(x0, y0, x1, y1, ii, jj, clockwise)
            if abs(arc[3]) > math.pi / 2 + 1e-3:
                continue
            error = abs(math.hypot(ii, jj) - math.hypot(x1 - arc[0], y1 - arc[1]))
            if error < best_error:
                best, best_error = arc, error
    return best


def points(
    x0: float, y0: float, x1: float, y1: float, arc: tuple[float, float, float, float]
) -> tuple[list[tuple[float, float]], float]:
    """Points after the start, last one exactly (x1, y1), and how much the end's radius differs from the start's in mm.

    Where the two radii differ the radius goes evenly from one to the other, so that the ends stay where the file puts them.
    """
    cx, cy, a0, sweep = arc
    r0, r1 = math.hypot(x0 - cx, y0 - cy), math.hypot(x1 - cx, y1 - cy)
    n = chord_count(max(r0, r1), sweep)
    out: list[tuple[float, float]] = []
    for k in range(1, n):
        t = k / n
        a, r = a0 + sweep * t, r0 + (r1 - r0) * t
        out.append((cx + r * math.cos(a), cy + r * math.sin(a)))
    out.append((x1, y1))
    return out, abs(r1 - r0)


def by_radius(
    x0: float, y0: float, x1: float, y1: float, radius: float, clockwise: bool
) -> tuple[float, float, float, float] | None:
    """Same for an arc given by its radius: the shorter of the two; None where the ends are equal or the radius is 0.

    A radius shorter than half the chord is taken as half the chord.

    >>> [round(v, 6) for v in by_radius(1.0, 0.0, 0.0, 1.0, 1.0, False)[:2]]
    [0.0, 0.0]
    """
    dx, dy = x1 - x0, y1 - y0
    chord = math.hypot(dx, dy)
    if chord == 0.0 or radius <= 0.0:
        return None
    rise = math.sqrt(max(0.0, radius * radius - chord * chord / 4.0))
    side = -1.0 if clockwise else 1.0
    i = dx / 2 - side * dy / chord * rise
    j = dy / 2 + side * dx / chord * rise
    return multi_quadrant(x0, y0, x1, y1, i, j, clockwise)
