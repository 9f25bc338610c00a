"""Thermal resistance of a pin against closed forms and against scikit-fem (an unrelated finite-element library)."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
import skfem
from scipy.special import i0, i1, k0, k1
from skfem import helpers

from coppermend.core.rework.removal_heat import (
    COPPER_W_MK,
    LAMINATE_IN_W_MK,
    LAMINATE_THROUGH_W_MK,
    HotPin,
    Stack,
    heat_paths,
)

FILM = 10.0
BREEZE = 400.0
"""A film so strong that the plate itself hardly counts: the spokes do."""
NONE = shapely.Polygon()


def disc_fin(kt_w_k: float, film: float, inner_mm: float, outer_mm: float) -> float:
    """K/W from the rim of the inner circle into an annular fin with an insulated outer rim (modified Bessel functions; textbook form)."""
    m = math.sqrt(film / kt_w_k)
    a, b = m * inner_mm * 1e-3, m * outer_mm * 1e-3
    share = (k0(a) * i1(b) + i0(a) * k1(b)) / (k1(a) * i1(b) - i1(a) * k1(b))
    return float(share / (2 * math.pi * kt_w_k * a))


@pytest.mark.parametrize(
    ("outer_mm", "foil_mm"), [(20.0, 0.0), (20.0, 0.035), (60.0, 0.0), (60.0, 0.035), (50.0, 0.07)]
)
def test_disc_fin(outer_mm: float, foil_mm: float) -> None:
    """A bare or fully coppered disc: closed form of the disc fin (handbook of heat transfer, from memory; the Bessel functions are scipy's)."""
    area = shapely.Point(0, 0).buffer(outer_mm, quad_segs=64)
    copper = area if foil_mm else NONE
    answer = heat_paths(area, [copper, copper], Stack.even(1.6, (foil_mm, foil_mm), FILM), [HotPin(0, 0, 0.5, (0, 1))])
    kt = LAMINATE_IN_W_MK * 1.6e-3 + 2 * COPPER_W_MK * foil_mm * 1e-3
    assert answer.k_per_w[0] == pytest.approx(disc_fin(kt, 2 * FILM, 0.5, outer_mm), rel=0.03)


def test_transfer_is_symmetric_and_energy_is_kept() -> None:
    """Reciprocity of a linear passive network; and a well-joined plate that loses little is one temperature: 1/(h*A) (closed form)."""
    area = shapely.box(-10, -10, 10, 10)
    pins = [HotPin(-4, 0, 0.5, (0, 1)), HotPin(3, 5, 0.5, (0, 1)), HotPin(6, -6, 0.4, (0, 1))]
    answer = heat_paths(area, [area, NONE], Stack.even(1.6, (0.035, 0.0), FILM), pins)
    assert answer.transfer == pytest.approx(answer.transfer.T, rel=1e-9)
    slow = heat_paths(area, [area, area], Stack.even(1.6, (2.0, 2.0), 0.01), pins)
    assert slow.k_per_w == pytest.approx(1.0 / (0.01 * 2 * 400e-6), rel=0.001)


def axial(antipad_mm: float, joined: tuple[bool, bool], outer_mm: float = 15.0) -> float:
    """K/W of a 1 mm pin through a 1.6 mm board with two inner planes, both solved in (r, z) with every foil and laminate as a solid (scikit-fem)."""
    a, foil = 0.5, 0.035
    r = np.unique(
        np.round(np.concatenate([np.geomspace(a, outer_mm, 70), np.arange(a, antipad_mm + 0.6, 0.05), [antipad_mm]]), 3)
    )
    z, planes = [0.0], []
    for k, gap in enumerate((0.4, 0.8, 0.4)):
        z += list(z[-1] + gap * np.linspace(0, 1, 11)[1:])
        if k < 2:
            planes.append((z[-1], z[-1] + foil))
            z += [z[-1] + foil / 2, z[-1] + foil]
    mesh = skfem.MeshQuad.init_tensor(r, np.array(z))  # mm: the weak form below is scaled to match
    basis = skfem.Basis(mesh, skfem.ElementQuad1())

    @skfem.BilinearForm  # type: ignore[untyped-decorator]
    def conduction(u: Any, v: Any, w: Any) -> Any:
        radius, height = w.x
        k_r = np.full_like(radius, LAMINATE_IN_W_MK)
        k_z = np.full_like(radius, LAMINATE_THROUGH_W_MK)
        for (low, high), on in zip(planes, joined, strict=True):
            inside = (height > low) & (height < high) & ((radius > antipad_mm) | on)
            k_r[inside] = k_z[inside] = COPPER_W_MK
        gu, gv = helpers.grad(u), helpers.grad(v)
        return 2 * np.pi * radius * 1e-3 * (k_r * gu[0] * gv[0] + k_z * gu[1] * gv[1])

    @skfem.BilinearForm  # type: ignore[untyped-decorator]
    def film(u: Any, v: Any, w: Any) -> Any:
        return 2 * np.pi * w.x[0] * 1e-6 * FILM * u * v

    top = mesh.p[1].max()
    faces = mesh.facets_satisfying(lambda x: (x[1] < 1e-9) | (x[1] > top - 1e-9))
    matrix = conduction.assemble(basis) + film.assemble(skfem.FacetBasis(mesh, skfem.ElementQuad1(), facets=faces))
    hot = mesh.nodes_satisfying(lambda x: x[0] < a + 1e-9)
    start = np.zeros(matrix.shape[0])
    start[hot] = 1.0
    field = skfem.solve(*skfem.condense(matrix, np.zeros(matrix.shape[0]), x=start, D=hot))
    own = 2 * FILM * math.pi * (a * 1e-3) ** 2  # the pin's own two faces
    return float(1.0 / (field @ (matrix @ field) + own))


AXIAL = [
    (0.9, (False, False), 177.7),
    (0.9, (True, False), 96.7),
    (1.3, (False, False), 210.4),
    (1.3, (True, True), 86.3),
    (2.0, (False, False), 250.0),
]
"""(antipad radius in mm, planes joined, K/W by ``axial`` with scikit-fem 12.0.2)."""


def layered(antipad_mm: float, joined: tuple[bool, bool]) -> float:
    """The same by the code under test."""
    area = shapely.Point(0, 0).buffer(15.0, quad_segs=64)
    ring = area.difference(shapely.Point(0, 0).buffer(antipad_mm, quad_segs=32))
    copper = [NONE, *(area if on else ring for on in joined), NONE]
    stack = Stack((0.0, 0.035, 0.035, 0.0), (0.4, 0.8, 0.4), FILM)
    return float(heat_paths(area, copper, stack, [HotPin(0, 0, 0.5, (0, 1, 2, 3))]).k_per_w[0])


@pytest.mark.parametrize(("antipad_mm", "joined", "by_scikit_fem"), AXIAL)
def test_planes_under_a_pin(antipad_mm: float, joined: tuple[bool, bool], by_scikit_fem: float) -> None:
    """Layers as sheets against solid foils and laminate by scikit-fem 12.0.2: within 11 % where planes pass by at 0.4 mm, or with
    a rim that the mesh no longer follows (1.6 mm and more from the pin); within 6 % between and where a plane is joined."""
    loose = not any(joined) and not 1.0 < antipad_mm < 1.6
    assert layered(antipad_mm, joined) == pytest.approx(by_scikit_fem, rel=0.11 if loose else 0.06)


@pytest.mark.parametrize(("antipad_mm", "joined", "by_scikit_fem"), AXIAL[:3])
def test_the_kept_figures_are_those_of_scikit_fem(
    antipad_mm: float, joined: tuple[bool, bool], by_scikit_fem: float
) -> None:
    """The figures above are what scikit-fem says here and now."""
    assert axial(antipad_mm, joined) == pytest.approx(by_scikit_fem, rel=0.002)


def spoked_copper(spokes: int, width_mm: float) -> Any:
    """A plate of 16 x 16 mm with a land of 1.6 mm in an antipad of 2.6 mm, held by ``spokes`` of 4 straight spokes."""
    plate = shapely.box(-8, -8, 8, 8).difference(shapely.Point(0, 0).buffer(1.3, quad_segs=32))
    half = width_mm / 2
    arms = [
        shapely.box(0, -half, 1.5, half),
        shapely.box(-1.5, -half, 0, half),
        shapely.box(-half, 0, half, 1.5),
        shapely.box(-half, -1.5, half, 0),
    ]
    return shapely.union_all([plate, shapely.Point(0, 0).buffer(0.8, quad_segs=32), *arms[:spokes]])


SPOKED = [(0, 0.3, 61.47), (1, 0.3, 46.09), (2, 0.3, 37.22), (4, 0.3, 28.03), (4, 0.5, 23.56), (2, 0.2, 41.05)]
"""(spokes, width in mm, K/W by ``plane_fem`` with scikit-fem 12.0.2)."""


def plane_fem(copper: Any) -> float:
    """K/W of a 1 mm pin in a plate coppered alike on both faces, in the plane on a fine grid (scikit-fem)."""
    half = np.concatenate([np.arange(0, 1.6, 0.025), np.linspace(1.6, 8.0, 40)])
    lines = np.unique(np.round(np.concatenate([-half, half]), 4))
    mesh = skfem.MeshQuad.init_tensor(lines, lines)
    basis = skfem.Basis(mesh, skfem.ElementQuad1())
    laminate, foil = LAMINATE_IN_W_MK * 1.6e-3, 2 * COPPER_W_MK * 35e-6
    shapely.prepare(copper)

    @skfem.BilinearForm  # type: ignore[untyped-decorator]
    def conduction(u: Any, v: Any, w: Any) -> Any:
        on = shapely.contains_xy(copper, w.x[0].ravel(), w.x[1].ravel()).reshape(w.x[0].shape)
        return (laminate + foil * on) * helpers.dot(helpers.grad(u), helpers.grad(v))

    @skfem.BilinearForm  # type: ignore[untyped-decorator]
    def film(u: Any, v: Any, w: Any) -> Any:
        return 2 * BREEZE * 1e-6 * u * v

    matrix = conduction.assemble(basis) + film.assemble(basis)
    hot = mesh.nodes_satisfying(lambda x: x[0] ** 2 + x[1] ** 2 <= 0.5**2 + 1e-9)
    start = np.zeros(matrix.shape[0])
    start[hot] = 1.0
    field = skfem.solve(*skfem.condense(matrix, np.zeros(matrix.shape[0]), x=start, D=hot))
    return float(1.0 / (field @ (matrix @ field)))


def sheet_answer(copper: Any) -> float:
    """The same by the code under test."""
    area = shapely.box(-8, -8, 8, 8)
    stack = Stack.even(1.6, (0.035, 0.035), BREEZE)
    return float(heat_paths(area, [copper, copper], stack, [HotPin(0, 0, 0.5, (0, 1))]).k_per_w[0])


@pytest.mark.parametrize(("spokes", "width_mm", "by_scikit_fem"), SPOKED)
def test_spokes(spokes: int, width_mm: float, by_scikit_fem: float) -> None:
    """A land held by spokes against scikit-fem 12.0.2 on a grid of 0.025 mm: within 9 %."""
    assert sheet_answer(spoked_copper(spokes, width_mm)) == pytest.approx(by_scikit_fem, rel=0.09)


def test_the_kept_spoke_figures_are_those_of_scikit_fem() -> None:
    """The figures above are what scikit-fem says here and now."""
    for spokes, width_mm, kept in SPOKED[:2]:
        assert plane_fem(spoked_copper(spokes, width_mm)) == pytest.approx(kept, rel=0.002)
