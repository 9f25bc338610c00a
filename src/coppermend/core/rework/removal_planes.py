"""The planes on which heat is solved through a board's thickness: foils, and flat cells of the laminate between them.

A foil is a plane of its own at the face of the laminate; a cell is a plane at its middle. Neighbouring planes exchange heat through the laminate
between them. A point of a foil without copper round it carries nothing sideways: it is taken out exactly, as a resistance in series.
How fine the cells must be is checked against scikit-fem, which solves foils and laminate as solids (tests/oracles/test_removal_heat.py).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

CELL_MM = 0.55
"""Laminate is cut into so many cells that none would be thicker if all were alike; 1.6 mm makes three. Chosen by the test against scikit-fem."""

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Links:
    """Entries of a symmetric matrix in W/K: ``row``, ``column``, ``value`` of equal length; an unknown is plane * points + point."""

    row: Indices
    column: Indices
    value: Floats

    @staticmethod
    def none() -> Links:
        """No link."""
        empty = np.empty(0, dtype=np.int64)
        return Links(empty, empty, np.empty(0))

    @staticmethod
    def between(p: Indices, q: Indices, g_w_k: Floats) -> Links:
        """Conductances ``g_w_k`` between the unknowns ``p`` and ``q``.

        >>> Links.between(np.array([0]), np.array([1]), np.array([2.0])).value.tolist()
        [-2.0, -2.0, 2.0, 2.0]
        """
        return Links(
            np.concatenate([p, q, p, q]), np.concatenate([q, p, p, q]), np.concatenate([-g_w_k, -g_w_k, g_w_k, g_w_k])
        )

    @staticmethod
    def joined(many: Sequence[Links]) -> Links:
        """All of them as one."""
        if not many:
            return Links.none()
        return Links(
            np.concatenate([one.row for one in many]),
            np.concatenate([one.column for one in many]),
            np.concatenate([one.value for one in many]),
        )


@dataclass(frozen=True, slots=True)
class Planes:
    """Planes from the component side down: ``laminate_mm`` (planes,) thickness of a cell, 0 for a foil; ``step_mm`` (planes - 1,) laminate between
    the middles of neighbours; ``foil_at`` (layers,) the plane of each foil.
    """

    laminate_mm: tuple[float, ...]
    step_mm: tuple[float, ...]
    foil_at: tuple[int, ...]

    @property
    def count(self) -> int:
        """How many planes there are."""
        return len(self.laminate_mm)

    def cells(self, layer: int) -> range:
        """The planes of the laminate between this layer's foil and the next one's."""
        return range(self.foil_at[layer] + 1, self.foil_at[layer + 1])


@dataclass(frozen=True, slots=True)
class Through:
    """Heat across the board: ``links`` between planes, and ``loss`` (planes * points,) to the air in W/K."""

    links: Links
    loss: Floats


def cells_of(gap_mm: float) -> tuple[float, ...]:
    """The thicknesses of the cells of a laminate in mm; the two beside the foils are half as thick as the others.

    >>> cells_of(1.6), cells_of(0.8), cells_of(0.4)
    ((0.4, 0.8, 0.4), (0.4, 0.4), (0.4,))
    """
    many = max(1, math.ceil(gap_mm / CELL_MM - 1e-9))
    if many == 1:
        return (gap_mm,)
    whole = gap_mm / (many - 1)
    return (whole / 2, *(whole,) * (many - 2), whole / 2)


def planes_of(gap_mm: Sequence[float]) -> Planes:
    """The planes of a stack with ``gap_mm`` (layers - 1,) of laminate between its foils.

    >>> planes_of((1.6,))
    Planes(laminate_mm=(0.0, 0.4, 0.8, 0.4, 0.0), step_mm=(0.2, 0.6, 0.6, 0.2), foil_at=(0, 4))
    """
    laminate: list[float] = [0.0]
    foil_at = [0]
    for gap in gap_mm:
        laminate += [*cells_of(gap), 0.0]
        foil_at.append(len(laminate) - 1)
    step = tuple(round((a + b) / 2, 12) for a, b in itertools.pairwise(laminate))
    return Planes(tuple(laminate), step, tuple(foil_at))


def bare_foil(points: int, tri: Indices, foils: Sequence[Floats]) -> NDArray[np.bool_]:
    """(layers, points): points of a foil without copper in any triangle round them. ``tri`` (m, 3), ``foils`` g of each triangle and layer.

    >>> bare_foil(4, np.array([[0, 1, 2], [1, 2, 3]]), [np.array([0.0, 1.0])]).tolist()
    [[True, False, False, False]]
    """
    bare = np.ones((len(foils), points), dtype=bool)
    for k, g in enumerate(foils):
        bare[k, tri[g > 0.0].ravel()] = False
    return bare


def through(planes: Planes, ground_m2: Floats, bare: NDArray[np.bool_], k_w_mk: float, film_w_m2k: float) -> Through:
    """Heat from plane to plane and to the air, for points that own ``ground_m2`` (n,); ``bare`` (layers, n) are taken out as resistances in series."""
    n = len(ground_m2)
    own = np.arange(n)
    none = np.zeros(n, dtype=bool)
    skipped = {at: bare[k] for k, at in enumerate(planes.foil_at)}
    links = []
    loss = np.zeros((planes.count, n))
    g = [k_w_mk / (step * 1e-3) * ground_m2 for step in planes.step_mm]
    for at in range(planes.count - 1):
        live = ~(skipped.get(at, none) | skipped.get(at + 1, none))
        links.append(Links.between(own[live] + at * n, own[live] + (at + 1) * n, g[at][live]))
    for at in planes.foil_at[1:-1]:
        out = own[skipped[at]]
        both = g[at - 1][out] * g[at][out] / np.maximum(g[at - 1][out] + g[at][out], 1e-300)
        links.append(Links.between(out + (at - 1) * n, out + (at + 1) * n, both))
    film = film_w_m2k * ground_m2
    for face, inner, step in ((0, 1, g[0]), (planes.count - 1, planes.count - 2, g[-1])):
        out = skipped[face]
        loss[face, ~out] += film[~out]
        loss[inner, out] += (film * step / np.maximum(film + step, 1e-300))[out]
    return Through(Links.joined(links), loss.ravel())
