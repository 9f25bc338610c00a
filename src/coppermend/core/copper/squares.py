"""Resistance of single pieces of copper: tracks by squares, barrels by their annulus, round wire.

Sources: rho and foil thickness in ``core.units``; a right-angle corner of equal widths counts 1 - (2/pi) ln 2 = 0.558729 squares
(closed form; the book value is 0.559; see Hall, Thin Solid Films 1 (1967) 277, named from memory).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

from coppermend.core.units import (
    ALPHA_COPPER_PER_K,
    BARREL_PLATING_MM,
    COPPER_THICKNESS_MM,
    RHO_COPPER_OHM_MM,
    sheet_resistance_ohm,
)

CORNER_SQUARES = 1.0 - 2.0 / math.pi * math.log(2.0)
"""A right-angle corner of equal widths in squares; its centre line is one width long, so it saves 0.441271 squares."""

RIGHT_ANGLE_SLACK = 0.05
"""Cosine up to which a bend counts as a right angle (87 to 93 degrees)."""


def copper_ohm_mm(temperature_c: float = 20.0) -> float:
    """Resistivity of annealed copper in ohm mm, linear in temperature (0 to 100 degC)."""
    return RHO_COPPER_OHM_MM * (1.0 + ALPHA_COPPER_PER_K * (temperature_c - 20.0))


def track_squares(path: Sequence[tuple[float, float]], widths_mm: Sequence[float]) -> float:
    """Squares of a track: sum of length over width, less 0.441271 at each right-angle bend between segments at least a width long.

    ``path`` n points in mm, ``widths_mm`` n - 1.

    >>> round(track_squares([(0, 0), (10, 0)], [0.5]), 6)
    20.0
    >>> round(track_squares([(0, 0), (10, 0), (10, 10)], [0.5, 0.5]), 6)   # two arms of 19.5 squares and a corner of 0.558729
    39.558729
    """
    lengths = [math.dist(p, q) for p, q in itertools.pairwise(path)]
    squares = sum(length / width for length, width in zip(lengths, widths_mm, strict=True))
    for k in range(1, len(lengths)):
        if widths_mm[k] == widths_mm[k - 1] and min(lengths[k - 1], lengths[k]) >= widths_mm[k] > 0:
            (ax, ay), (bx, by), (cx, cy) = path[k - 1], path[k], path[k + 1]
            cosine = ((bx - ax) * (cx - bx) + (by - ay) * (cy - by)) / (lengths[k - 1] * lengths[k])
            if abs(cosine) <= RIGHT_ANGLE_SLACK:
                squares -= 1.0 - CORNER_SQUARES
    return squares


def track_ohm(
    path: Sequence[tuple[float, float]],
    widths_mm: Sequence[float],
    thickness_mm: float = COPPER_THICKNESS_MM,
    temperature_c: float = 20.0,
) -> float:
    """Resistance of a track in ohm: squares times rho / t.

    >>> round(track_ohm([(0, 0), (100, 0)], [0.25], 0.035) * 1e3, 2)   # 100 mm x 0.25 mm x 35 um: 197.04 mohm (rho L / (w t), IACS)
    197.04
    """
    return track_squares(path, widths_mm) * sheet_resistance_ohm(thickness_mm, temperature_c)


def barrel_ohm(
    drill_mm: float, height_mm: float, plating_mm: float = BARREL_PLATING_MM, temperature_c: float = 20.0
) -> float:
    """Resistance of a plated hole in ohm: rho h / (pi (D - t) t), D the drilled diameter, t the plating.

    >>> round(barrel_ohm(0.3, 1.6, 0.025) * 1e3, 4)   # 1.2772 mohm, exact annulus
    1.2772
    """
    wall = min(plating_mm, drill_mm / 2.0)
    return copper_ohm_mm(temperature_c) * height_mm / (math.pi * (drill_mm - wall) * wall)


def slot_ohm(drill_mm: float, slot_mm: float, height_mm: float, plating_mm: float = BARREL_PLATING_MM) -> float:
    """Resistance of a plated slot's wall in ohm: as ``barrel_ohm`` with the slot's perimeter; ``slot_mm`` length of its centre line."""
    wall = min(plating_mm, drill_mm / 2.0)
    return copper_ohm_mm() * height_mm / (wall * (math.pi * (drill_mm - wall) + 2.0 * slot_mm))


def wire_ohm(diameter_mm: float, length_mm: float, temperature_c: float = 20.0) -> float:
    """Resistance of round copper wire in ohm: rho L / (pi d^2 / 4).

    >>> round(wire_ohm(0.254639, 100.0) * 1e3, 2)   # 30 AWG, 100 mm: 33.86 mohm (ASTM B258 diameter, IACS)
    33.86
    """
    return copper_ohm_mm(temperature_c) * length_mm / (math.pi * diameter_mm * diameter_mm / 4.0)
