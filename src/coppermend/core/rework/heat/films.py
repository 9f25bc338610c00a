"""How heat passes between a face of the board and air, heater or room: films in W/(m2 K)."""

from __future__ import annotations

import numpy as np

from coppermend.core.rework.heat.slab import Floats

STEFAN_BOLTZMANN = 5.670374419e-8
"""W/(m2 K4), exact since 2019."""

MASK_EMISSIVITY = 0.9
"""Solder mask and plastic: 0.90 (a thermal camera maker's notes, read)."""

AIR_W_MK = 0.030
"""Air between about 60 and 100 degC (handbook value, from memory)."""

UP_W_M2K, DOWN_W_M2K = 1.32, 0.59
"""Plate in still air, laminar, (W/m2K)(K/m)^(-1/4): warm face up 1.32, down 0.59 (simplified relations of heat transfer books, from memory)."""

ZERO_C_K = 273.15


def natural(face_c: Floats, room_c: float, across_m: float, up: bool) -> Floats:
    """Film of still air on a level face that is warmer or colder than the room: c (dT / L)^(1/4), W/(m2 K).

    A face colder than the air behaves like the other way up.

    >>> import numpy as np
    >>> round(float(natural(np.array(100.0), 20.0, 0.2, True)), 2)   # 1.32 (80 / 0.2)^0.25
    5.9
    """
    rise = np.asarray(face_c, dtype=float) - room_c
    warm = (rise >= 0) == up
    return np.asarray(np.where(warm, UP_W_M2K, DOWN_W_M2K) * (np.abs(rise) / across_m) ** 0.25)


def radiation(face_c: Floats, other_c: float, emissivity: float) -> Floats:
    """Film that stands for radiation to large surroundings at ``other_c``: e s (T1 + T2)(T1^2 + T2^2), W/(m2 K).

    >>> import numpy as np
    >>> round(float(radiation(np.array(20.0), 20.0, 1.0)), 2)   # 4 s T^3
    5.71
    """
    one, two = np.asarray(face_c, dtype=float) + ZERO_C_K, other_c + ZERO_C_K
    return np.asarray(emissivity * STEFAN_BOLTZMANN * (one + two) * (one**2 + two**2))


def gap(gap_mm: float) -> float:
    """Film of a still air gap between board and plate, by conduction alone, W/(m2 K).

    >>> gap(2.0)
    15.0
    """
    return AIR_W_MK / (gap_mm / 1000)
