"""Where a tin-lead-bismuth alloy begins to melt, where it is all liquid, and the heat that takes: from the thermodynamic model."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq

from coppermend.core.rework.alloy.equilibrium import Equilibrium, first_to_form, inside, lowest, stable
from coppermend.core.rework.alloy.gibbs import (
    LIQUID,
    MOLAR_G,
    PHASES,
    SOLIDS,
    ZERO_C_K,
    Floats,
    Phase,
    energy,
    energy_slope,
    gibbs,
    potentials,
)

COLDEST_K, HOTTEST_K = 340.0, 620.0
"""Between these every alloy of the three begins and ends to melt: the ternary eutectic is 371 K, lead melts at 601 K."""

APART_K = 0.3
"""The heat is taken from so far below the solidus to so far above the liquidus."""


@dataclass(frozen=True, slots=True)
class Melting:
    """``solidus_c`` and ``liquidus_c`` in degC, ``enthalpy_j_g`` from just below the one to just above the other, J/g; ``first`` the solid that
    freezes first, in words."""

    solidus_c: float
    liquidus_c: float
    enthalpy_j_g: float
    first: str


def mole_fractions(mass: tuple[float, float, float]) -> Floats:
    """Mole fractions from shares by mass (Bi, Pb, Sn; any common factor).

    >>> [round(float(one), 3) for one in mole_fractions((0.0, 37.0, 63.0))]
    [0.0, 0.252, 0.748]
    """
    moles = np.array(mass) / np.array(MOLAR_G)
    return np.asarray(moles / moles.sum())


def mass_shares(x: Floats) -> tuple[float, float, float]:
    """Shares by mass that sum to one, from mole fractions."""
    mass = np.asarray(x) * np.array(MOLAR_G)
    mass = mass / mass.sum()
    return float(mass[0]), float(mass[1]), float(mass[2])


def liquidus_k(x: Floats) -> tuple[float, str]:
    """Temperature in K above which nothing of the alloy is solid, and the solid that freezes first; ``x`` mole fractions Bi, Pb, Sn."""
    x = inside(x)

    def least(kelvin: float) -> tuple[float, Phase]:
        return first_to_form(SOLIDS, kelvin, potentials(energy(LIQUID, kelvin), x))

    kelvin = float(brentq(lambda one: least(one)[0], COLDEST_K, HOTTEST_K, xtol=1e-4, rtol=1e-12))
    return kelvin, least(kelvin)[1].words


def solidus_k(x: Floats, liquidus: float) -> float:
    """Temperature in K below which nothing of the alloy is liquid; ``x`` mole fractions Bi, Pb, Sn, ``liquidus`` in K."""
    x = inside(x)

    last: Equilibrium | None = None

    def force(kelvin: float) -> float:
        nonlocal last
        last = solid = stable(x, kelvin, SOLIDS, near=last)
        return lowest(LIQUID, kelvin, np.array(solid.potentials))[0]

    high = liquidus + 0.05
    return float(min(brentq(force, COLDEST_K, high, xtol=1e-4, rtol=1e-12), liquidus))


def enthalpy_j_mol(of: Equilibrium) -> float:
    """Enthalpy of an equilibrium in J per mole of atoms, against the stable elements at 25 degC."""
    total = 0.0
    for one in of.portions:
        x = np.array(one.x)
        value = float(gibbs(energy(one.phase, of.kelvin), x))
        slope = float(gibbs(energy_slope(one.phase, of.kelvin), x))
        total += one.amount * (value - of.kelvin * slope)
    return total


@lru_cache(maxsize=4096)
def melting(mass: tuple[float, float, float]) -> Melting:
    """Solidus, liquidus and heat of melting of an alloy given by mass (Bi, Pb, Sn; not all zero).

    >>> found = melting((58.0, 0.0, 42.0))
    >>> round(found.solidus_c, 1), round(found.liquidus_c, 1)   # assessed eutectic 138.8 degC at 57 % bismuth
    (138.8, 141.4)
    """
    x = mole_fractions(mass)
    liquidus, first = liquidus_k(x)
    solidus = solidus_k(x, liquidus)
    before = enthalpy_j_mol(stable(x, solidus - APART_K, SOLIDS))
    after = enthalpy_j_mol(stable(x, liquidus + APART_K, (LIQUID,)))
    grams = float(x @ np.array(MOLAR_G))
    return Melting(solidus - ZERO_C_K, liquidus - ZERO_C_K, (after - before) / grams, first)


def liquid_share(mass: tuple[float, float, float], celsius: float) -> float:
    """Share by mass that is liquid at this temperature in equilibrium, 0 to 1.

    >>> round(liquid_share((0.0, 50.0, 50.0), 190.0), 2)
    0.77
    """
    x = mole_fractions(mass)
    found = stable(x, celsius + ZERO_C_K, PHASES)
    weights = np.array(MOLAR_G)
    liquid = sum(one.amount * float(np.array(one.x) @ weights) for one in found.portions if one.phase is LIQUID)
    return liquid / float(x @ weights)
