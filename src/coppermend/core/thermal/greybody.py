"""What a thermal camera's number means for a surface that is no black body.

A grey surface sends out its own radiation times its emissivity and mirrors the surroundings' times the rest. Total radiation, no window between
(Stefan and Boltzmann; a real camera sees a band only, so that the inversion is good to some tenths of a kelvin on a warm board, from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from coppermend.core.findings import refuse

Floats = NDArray[np.float64]
ZERO_C = -273.15
"""Absolute zero, degC (SI)."""
LEAST_EMISSIVITY = 0.05
"""Below it nearly all that is seen is the room's reflection and the inversion says nothing."""


def apparent_c(object_c: Floats | float, emissivity: float, reflected_c: float) -> Floats:
    """What a camera set to emissivity 1 shows of a surface, degC. ``reflected_c`` the surroundings that it mirrors. Refusal THM-006.

    >>> float(apparent_c(60.0, 0.90, 20.0).round(2))
    56.61
    """
    e = _checked(emissivity, reflected_c)
    fourth = e * (np.asarray(object_c, np.float64) - ZERO_C) ** 4 + (1.0 - e) * (reflected_c - ZERO_C) ** 4
    return np.asarray(fourth**0.25 + ZERO_C, dtype=np.float64)


def object_c(apparent: Floats | float, emissivity: float, reflected_c: float) -> Floats:
    """A surface's own temperature in degC from what a camera set to emissivity 1 shows; NaN where the reflection alone would be more than was seen.

    >>> float(object_c(56.61, 0.90, 20.0).round(1))
    60.0
    """
    e = _checked(emissivity, reflected_c)
    fourth = ((np.asarray(apparent, np.float64) - ZERO_C) ** 4 - (1.0 - e) * (reflected_c - ZERO_C) ** 4) / e
    return np.asarray(np.where(fourth > 0, np.abs(fourth) ** 0.25, np.nan) + ZERO_C, dtype=np.float64)


def _checked(emissivity: float, reflected_c: float) -> float:
    if not LEAST_EMISSIVITY <= emissivity <= 1.0:
        raise refuse(
            "THM-006",
            f"An emissivity of {emissivity:g} cannot be used; expected {LEAST_EMISSIVITY} to 1.",
            "Plastic packages are near 0.9. Put tape or matt paint on bare metal and use its own.",
        )
    if not -60.0 <= reflected_c <= 200.0:
        raise refuse(
            "THM-006",
            f"A reflected temperature of {reflected_c:g} degC cannot be; expected -60 to 200.",
            "Give the room's, or what crumpled foil laid beside the board shows at emissivity 1.",
        )
    return emissivity
