"""The numbers of two drawings: the section from the old solder to the added alloy, and the liquidus of all tin-lead-bismuth alloys as lines of equal degC."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from coppermend.core.rework.alloy.answer import modelled_part
from coppermend.core.rework.alloy.composition import Alloy, mix
from coppermend.core.rework.alloy.equilibrium import grid, grid_energies
from coppermend.core.rework.alloy.gibbs import LIQUID, MOLAR_G, SOLIDS, ZERO_C_K, Floats, energy, potentials_all
from coppermend.core.rework.alloy.melting import liquidus_k, mole_fractions, solidus_k

SECTION_POINTS = 41
TRIANGLE_STEPS = 32
LADDER_C = (*range(92, 340, 8),)
LEVELS_C = (100, 110, 120, 130, 140, 160, 180, 200, 220, 240, 260, 280, 300)


@dataclass(frozen=True, slots=True)
class Section:
    """Solidus and liquidus in degC along ``share`` (0 to 1) of the added alloy in the joint."""

    share: tuple[float, ...]
    solidus_c: tuple[float, ...]
    liquidus_c: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Isotherm:
    """Where the liquidus is ``celsius``: pieces of line between two alloys, each (Bi, Pb, Sn) by mass summing to 1."""

    celsius: float
    pieces: tuple[tuple[tuple[float, float, float], tuple[float, float, float]], ...]


def section(base: Alloy, add: Alloy, points: int = SECTION_POINTS) -> Section:
    """The section of the phase diagram that a joint walks along as ``add`` is fed to ``base``: the model's tin, lead and bismuth alone.

    >>> from coppermend.core.rework.alloy.composition import read_alloy
    >>> found = section(read_alloy("Sn63Pb37"), read_alloy("Sn42Bi58"), 3)
    >>> [round(one) for one in found.liquidus_c]
    [183, 170, 141]
    """
    shares = np.linspace(0.0, 1.0, points).tolist()
    solidus, liquidus = [], []
    for share in shares:
        x = mole_fractions(modelled_part(mix(base, add, share)))
        top = liquidus_k(x)[0]
        liquidus.append(top - ZERO_C_K)
        solidus.append(solidus_k(x, top) - ZERO_C_K)
    return Section(tuple(shares), tuple(solidus), tuple(liquidus))


@lru_cache(maxsize=1)
def isotherms() -> tuple[Isotherm, ...]:
    """Lines of equal liquidus over the triangle of all tin-lead-bismuth alloys, for drawing: within about 1 K of the model's own."""
    many = TRIANGLE_STEPS
    index: dict[tuple[int, int], int] = {}
    rows: list[tuple[float, float, float]] = []
    for i in range(many + 1):
        for j in range(many + 1 - i):
            index[i, j] = len(rows)
            rows.append((i / many, j / many, (many - i - j) / many))
    mass = np.array(rows)
    top = _liquidus_all(mass)
    corners = [(index[i, j], index[i + 1, j], index[i, j + 1]) for i in range(many) for j in range(many - i)]
    corners += [
        (index[i + 1, j], index[i, j + 1], index[i + 1, j + 1]) for i in range(many) for j in range(many - i - 1)
    ]
    return tuple(Isotherm(float(level), _pieces(mass, top, corners, float(level))) for level in LEVELS_C)


def _liquidus_all(mass: Floats) -> Floats:
    """Liquidus in degC of many alloys at once: on a ladder of temperatures, the first driving force that turns, in between by line."""
    moles = np.maximum(mass, 1e-7) / np.array(MOLAR_G)
    x = moles / moles.sum(axis=1, keepdims=True)
    points = grid()
    forces = []
    for celsius in LADDER_C:
        kelvin = celsius + ZERO_C_K
        mu = potentials_all(energy(LIQUID, kelvin), x) @ points.T
        forces.append(np.min([(grid_energies(one, kelvin)[None, :] - mu).min(axis=1) for one in SOLIDS], axis=0))
    found = np.full(len(mass), float(LADDER_C[0]))
    for (cold, below), (hot, above) in pairwise(zip(LADDER_C, forces, strict=True)):
        turns = (below < 0) & (above >= 0)
        part = -below[turns] / (above[turns] - below[turns])
        found[turns] = cold + part * (hot - cold)
    return found


def _pieces(
    mass: Floats, top: Floats, corners: list[tuple[int, int, int]], level: float
) -> tuple[tuple[tuple[float, float, float], tuple[float, float, float]], ...]:
    """Where a level crosses the small triangles."""
    pieces = []
    for triangle in corners:
        ends = []
        for a, b in ((0, 1), (1, 2), (2, 0)):
            p, q = triangle[a], triangle[b]
            if (top[p] < level) != (top[q] < level):
                part = (level - top[p]) / (top[q] - top[p])
                bismuth, lead, tin = (mass[p] + part * (mass[q] - mass[p])).tolist()
                ends.append((bismuth, lead, tin))
        if len(ends) == 2:
            pieces.append((ends[0], ends[1]))
    return tuple(pieces)
