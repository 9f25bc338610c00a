"""What freezes last when a joint cools as joints do: no diffusion in the solid, the liquid mixed (G. H. Gulliver 1913, E. Scheil 1942)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from coppermend.core.rework.alloy.equilibrium import inside, stable
from coppermend.core.rework.alloy.gibbs import LIQUID, MOLAR_G, PHASES, ZERO_C_K
from coppermend.core.rework.alloy.melting import liquidus_k, mass_shares, mole_fractions

STEP_K = 1.0
FINEST_K = 0.02
KEEP = 0.7
"""A step down is halved until so much of the liquid is left after it; where even the finest step leaves less, the rest freezes there at once."""

NEARLY_GONE = 2e-4


@dataclass(frozen=True, slots=True)
class Freezing:
    """A joint's way down: ``steps`` of (degC, share by mass still liquid), ``last_c`` where the last liquid freezes at once, ``last_share`` how

    much that is, and ``last_wt`` its composition (Bi, Pb, Sn by mass, summing to 1).
    """

    steps: tuple[tuple[float, float], ...]
    last_c: float
    last_share: float
    last_wt: tuple[float, float, float]


@lru_cache(maxsize=256)
def freezing(mass: tuple[float, float, float], step_k: float = STEP_K) -> Freezing:
    """How an alloy by mass (Bi, Pb, Sn) freezes when the solid keeps its composition: the worst case of what stays soft.

    >>> round(freezing((3.0, 36.0, 61.0)).last_c)   # three percent bismuth: the last drops freeze near the ternary eutectic
    98
    """
    weights = np.array(MOLAR_G)
    x = inside(mole_fractions(mass))
    grams = float(x @ weights)
    kelvin, _ = liquidus_k(x)
    left, step = 1.0, step_k
    steps = [(kelvin - ZERO_C_K, 1.0)]
    while left > NEARLY_GONE and step >= FINEST_K:
        found = stable(x, kelvin - step, PHASES)
        liquid = next((one for one in found.portions if one.phase is LIQUID), None)
        if liquid is None or liquid.amount < KEEP:
            step /= 2
            continue
        x, left, kelvin = np.array(liquid.x), left * liquid.amount, kelvin - step
        steps.append((kelvin - ZERO_C_K, left * float(x @ weights) / grams))
        step = min(step_k, 1.5 * step)
    return Freezing(tuple(steps), kelvin - ZERO_C_K, steps[-1][1], mass_shares(x))
