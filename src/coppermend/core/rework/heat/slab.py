"""The board as a body that takes heat: laminate, copper, parts, cut into cells in its plane and slices through it.

Sources of the defaults (docs/sources.md, section laminate and heat). All can be given by the user.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from coppermend.core.findings import refuse
from coppermend.core.units import BOARD_THICKNESS_MM, COPPER_THICKNESS_MM

Floats = NDArray[np.float64]

COPPER_W_MK = 390.0
COPPER_J_M3K = 8960.0 * 385.0
"""Copper: 390 W/(m K), 8960 kg/m3, 385 J/(kg K) (handbook values, from memory)."""

PARTS_J_KGK = 900.0
"""Plastic packages, sockets, connectors and pins together; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Laminate:
    """Glass epoxy: density kg/m3, heat capacity J/(kg K), conductivity along and through W/(m K), expansion along the plane 1/K.

    FR-4 1850 kg/m3, 0.81 W/(m K) in plane, 14 ppm/K (an encyclopaedia's article, read); 0.3 through (from memory, 0.29 to 0.34);
    1100 J/(kg K) between room temperature and Tg (G-10CR 977 at 293 K and rising, NIST cryogenic polynomials, read).
    """

    density_kg_m3: float = 1850.0
    heat_j_kgk: float = 1100.0
    along_w_mk: float = 0.81
    through_w_mk: float = 0.3
    expansion_per_k: float = 14e-6


FR4 = Laminate()


@dataclass(frozen=True, slots=True)
class Slab:
    """A board cut up. Cells ``dx_m`` by ``dy_m``, ``inside`` (ny, nx) tells which are board; ``slices`` equal ones of ``dz_m`` from the solder
    side up. ``heat`` (slices, ny, nx) J/K per cell; ``along`` (slices, ny, nx) in-plane conductance of a square W/K; ``through`` W/K between slices.

    ``origin_mm`` is the lower left corner; ``mirror`` False always: x to the right and y up as seen from the component side.
    """

    origin_mm: tuple[float, float]
    dx_m: float
    dy_m: float
    dz_m: float
    inside: NDArray[np.bool_]
    heat: Floats
    along: Floats
    through: float
    half_through_w_m2k: float
    thickness_m: float
    laminate: Laminate = FR4
    notes: tuple[str, ...] = field(default=())

    @property
    def slices(self) -> int:
        """How many slices."""
        return len(self.heat)

    @property
    def area_m2(self) -> float:
        """Area of one cell, m2."""
        return self.dx_m * self.dy_m

    def cell_at(self, x_mm: float, y_mm: float) -> tuple[int, int]:
        """Row and column of the cell over a place; a Refusal off the board."""
        column = int((x_mm - self.origin_mm[0]) / 1000 // self.dx_m)
        row = int((y_mm - self.origin_mm[1]) / 1000 // self.dy_m)
        rows, columns = self.inside.shape
        if not (0 <= row < rows and 0 <= column < columns and self.inside[row, column]):
            raise refuse(
                "HEA-004",
                f"The place {x_mm:g}, {y_mm:g} mm is not on the board.",
                "Give a place in the coordinates of the board, in mm.",
            )
        return row, column


@dataclass(frozen=True, slots=True)
class Build:
    """How a board is made: size in mm, thickness, copper ``shares`` per layer from the solder side up (0 to 1; numbers, or (ny, nx) arrays),
    foil thickness in mm, mass of all parts in g."""

    size_mm: tuple[float, float]
    thickness_mm: float = BOARD_THICKNESS_MM
    shares: tuple[float | Floats, ...] = (0.3, 0.3)
    foil_mm: float = COPPER_THICKNESS_MM
    parts_g: float = 0.0
    laminate: Laminate = FR4


def checked(build: Build) -> Build:
    """The build when it can be one; a Refusal that names what cannot be."""
    width, height = build.size_mm
    numbers = (width, height, build.thickness_mm, build.foil_mm, build.parts_g)
    if not all(math.isfinite(one) for one in numbers) or min(width, height, build.thickness_mm) <= 0:
        raise refuse(
            "HEA-001",
            f"A board of {width:g} by {height:g} by {build.thickness_mm:g} mm cannot be.",
            "Give width, height and thickness in mm, each above zero.",
        )
    if max(width, height) > 1000 or build.thickness_mm > 10 or not 0 <= build.foil_mm <= 0.5:
        raise refuse(
            "HEA-001",
            f"A board of {width:g} by {height:g} by {build.thickness_mm:g} mm with {build.foil_mm:g} mm foil is outside what the model holds for.",
            "Give at most 1000 mm across, 10 mm thick, foil up to 0.5 mm.",
        )
    if build.parts_g < 0:
        raise refuse(
            "HEA-001", f"Parts of {build.parts_g:g} g cannot be.", "Give the mass of all parts in g, 0 or more."
        )
    for share in build.shares:
        if not (np.all(np.isfinite(share)) and np.all(np.asarray(share) >= 0) and np.all(np.asarray(share) <= 1)):
            raise refuse(
                "HEA-001",
                "A copper share is outside 0 to 1.",
                "Give the part of each layer that is copper, such as 0.3.",
            )
    if not 1 <= len(build.shares) <= 32:
        raise refuse("HEA-001", f"{len(build.shares)} copper layers cannot be.", "Give 1 to 32 layers.")
    return build


def cut(
    build: Build,
    *,
    cells: int = 32,
    slices: int = 5,
    inside: NDArray[np.bool_] | None = None,
    origin_mm: tuple[float, float] = (0.0, 0.0),
) -> Slab:
    """The board cut into cells, at most ``cells`` along its longer side, and ``slices`` through it.

    Foils lie at equal distances through the thickness, the outer ones on the faces; each belongs to the slice it lies in. Parts weigh on the
    component side, evenly. Where ``inside`` (ny, nx) is given, the numbers of cells are its.

    >>> board = cut(Build((100.0, 80.0), shares=(0.0, 0.0)), cells=10)
    >>> round(float(board.heat.sum()), 1)   # 1850 kg/m3 x 1100 J/kgK x 100 x 80 x 1.6 mm3
    26.0
    """
    checked(build)
    width, height = build.size_mm
    longest = max(width, height)
    if inside is None:
        columns, rows = max(1, round(cells * width / longest)), max(1, round(cells * height / longest))
        inside = np.ones((rows, columns), dtype=bool)
    rows, columns = inside.shape
    dx, dy, thick = width / columns / 1000, height / rows / 1000, build.thickness_mm / 1000
    dz = thick / slices
    lam = build.laminate
    heat = np.full((slices, rows, columns), lam.density_kg_m3 * lam.heat_j_kgk * dx * dy * dz)
    along = np.full((slices, rows, columns), lam.along_w_mk * dz)
    foil = build.foil_mm / 1000
    for number, share in enumerate(build.shares):
        at = min(slices - 1, int(slices * number / max(1, len(build.shares) - 1)))
        heat[at] += COPPER_J_M3K * foil * dx * dy * np.asarray(share)
        along[at] += COPPER_W_MK * foil * spread(share)
    heat[-1] += build.parts_g / 1000 * PARTS_J_KGK / max(1, int(inside.sum()))
    heat, along = heat * inside, along * inside
    through = lam.through_w_mk * dx * dy / dz
    return Slab(origin_mm, dx, dy, dz, inside, heat, along, through, 2 * lam.through_w_mk / dz, thick, lam)


def spread(share: float | Floats) -> float | Floats:
    """How much of a whole foil's conduction a layer of tracks with this copper share has: the plane's upper bound s / (2 - s) for scattered
    copper in a poor conductor (Hashin and Shtrikman, two phases, two dimensions; from memory).

    >>> spread(0.0), spread(1.0), round(spread(0.3), 3)
    (0.0, 1.0, 0.176)
    """
    return share / (2.0 - share)
