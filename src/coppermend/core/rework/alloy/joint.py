"""How much solder a pin's joint in a plated hole holds: hole, pin and the two fillets."""

from __future__ import annotations

import math
from dataclasses import dataclass

from coppermend.core.findings import refuse
from coppermend.core.units import BOARD_THICKNESS_MM

CONCAVE_AREA = 1 - math.pi / 4
"""A quarter-round hollow fillet fills so much of its rectangle; a straight one half."""

CONCAVE_CENTRE = (10 - 3 * math.pi) / (3 * (4 - math.pi))
"""Its centroid lies so far from the pin, in widths of the fillet; a straight one's one third (plane geometry)."""


@dataclass(frozen=True, slots=True)
class Joint:
    """Solder of one joint in mm3: ``hole_mm3`` between wall and pin, ``fillets_mm3`` of both sides, and their range from hollow to straight fillets."""

    hole_mm3: float
    fillets_mm3: float
    least_mm3: float
    most_mm3: float

    @property
    def volume_mm3(self) -> float:
        """Hole and fillets together, mm3."""
        return self.hole_mm3 + self.fillets_mm3

    def mass_mg(self, density_g_cm3: float) -> float:
        """Its mass in mg at a density in g/cm3 (1 mm3 of 1 g/cm3 is 1 mg)."""
        return self.volume_mm3 * density_g_cm3


def joint(
    hole_mm: float,
    pin_mm: tuple[float, float],
    land_mm: float,
    *,
    board_mm: float = BOARD_THICKNESS_MM,
    fillet_mm: float | None = None,
    sides: int = 2,
) -> Joint:
    """Solder in a plated hole of diameter ``hole_mm`` with a pin of section ``pin_mm`` (width, thickness) and a round land.

    Each of ``sides`` fillets (0 to 2) rises ``fillet_mm`` from the land's edge to the pin; default: as high as it is wide. The fillet's
    side lies between a straight line and a quarter round; the middle of both is taken, and both are told. Lengths in mm.

    >>> one = joint(0.8, (0.46, 0.25), 1.5)
    >>> round(one.hole_mm3, 3), round(one.volume_mm3, 2)
    (0.62, 1.12)
    """
    width, thick = pin_mm
    numbers = (hole_mm, width, thick, land_mm, board_mm, 0.0 if fillet_mm is None else fillet_mm)
    if not all(math.isfinite(one) and one >= 0 for one in numbers) or min(hole_mm, board_mm) <= 0:
        raise refuse(
            "ALY-007",
            f"A hole of {hole_mm:g} mm, a pin of {width:g} by {thick:g} mm, a land of {land_mm:g} mm, a board of {board_mm:g} mm: no such joint.",
            "Give lengths in mm, none below zero.",
        )
    if math.hypot(width, thick) > hole_mm:
        raise refuse(
            "ALY-007",
            f"A pin of {width:g} by {thick:g} mm does not pass a hole of {hole_mm:g} mm.",
            "Give the pin's section and the finished hole as a caliper finds them.",
        )
    section = width * thick
    hole = (math.pi * hole_mm**2 / 4 - section) * board_mm
    radius = math.sqrt(section / math.pi)
    span = max(0.0, land_mm / 2 - radius)
    height = span if fillet_mm is None else fillet_mm
    straight = 2 * math.pi * (radius + span / 3) * span * height / 2
    hollow = 2 * math.pi * (radius + span * CONCAVE_CENTRE) * span * height * CONCAVE_AREA
    middle = (straight + hollow) / 2
    return Joint(hole, sides * middle, hole + sides * hollow, hole + sides * straight)
