"""Thermal resistance of a pin against closed forms and against scikit-fem (an unrelated finite-element library)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
import shapely
import skfem
from scipy.sparse import csr_matrix
from scipy.special import i0, i1, k0, k1
from skfem import helpers

from coppermend.core.rework.removal_fronts import seen_from
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
THIN_MM = 0.2
"""So thin a plate is one temperature through its thickness in that film (h*t/k is 0.13): the plane is all of it."""
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


def test_what_few_unknowns_see_of_each_other_is_the_block_of_the_inverse() -> None:
    """40 random networks of conductances (numpy's inverse of the whole matrix is the reference): points in a plane with one to five unknowns each, few
    unknowns tied to some of them, parts that hang together by those alone."""
    rng = np.random.default_rng(11)
    for _ in range(40):
        points, many = int(rng.integers(1, 60)), int(rng.integers(1, 6))
        xy = rng.uniform(0, 10, (points, 2))
        point = np.repeat(np.arange(points), rng.integers(1, 6, points))
        where = np.concatenate([np.full(many, -1), point])
        apart = np.hypot(*(xy[where][:, None] - xy[where][None]).T)
        joined = (apart < 2.5) & (rng.random(apart.shape) < 0.5)
        joined[:many] = rng.random((many, len(where))) < 0.2
        g = np.where(joined | joined.T, rng.uniform(0.1, 10.0, apart.shape), 0.0)
        g = (g + g.T) / 2
        np.fill_diagonal(g, 0.0)
        whole = np.diag(g.sum(axis=1) + rng.uniform(0.01, 1.0, len(g))) - g
        found = seen_from(csr_matrix(whole), many, 7 * point)
        assert found == pytest.approx(np.linalg.inv(whole)[:many, :many], rel=1e-9, abs=1e-12)


def test_transfer_is_symmetric_and_energy_is_kept() -> None:
    """Reciprocity of a linear passive network; and a well-joined plate that loses little is one temperature: 1/(h*A) (closed form)."""
    area = shapely.box(-10, -10, 10, 10)
    pins = [HotPin(-4, 0, 0.5, (0, 1)), HotPin(3, 5, 0.5, (0, 1)), HotPin(6, -6, 0.4, (0, 1))]
    answer = heat_paths(area, [area, NONE], Stack.even(1.6, (0.035, 0.0), FILM), pins)
    assert answer.transfer == pytest.approx(answer.transfer.T, rel=1e-9)
    slow = heat_paths(area, [area, area], Stack.even(1.6, (2.0, 2.0), 0.01), pins)
    assert slow.k_per_w == pytest.approx(1.0 / (0.01 * 2 * 400e-6), rel=0.001)


@dataclass(frozen=True, slots=True)
class Passing:
    """A pin of 1 mm in the middle of a disc: per layer the land's radius (0: none) and the radius of the plane's clearance (``inf``: no plane; 0: joined)."""

    gaps_mm: tuple[float, ...]
    land_mm: tuple[float, ...]
    clear_mm: tuple[float, ...]
    outer_mm: float = 15.0

    def copper(self, layer: int, r: Any) -> Any:
        """True where the layer has foil, at the radii ``r`` in mm."""
        return (r < self.land_mm[layer]) | (r > self.clear_mm[layer])


PIN_MM, FOIL_MM, NO = 0.5, 0.035, math.inf
TWO, FOUR = (1.6,), (0.4, 0.8, 0.4)
LANDS = (0.8, 0.8)


def axial(case: Passing, fine: int = 1) -> float:
    """K/W of the pin, every foil and laminate as a solid in (r, z), quadratic elements (scikit-fem)."""
    rims = [x for x in (*case.land_mm, *case.clear_mm) if PIN_MM < x < case.outer_mm]
    close = [
        x + d
        for x in {*rims, PIN_MM}
        for d in (*-np.geomspace(0.01, 0.4, 6 * fine), 0.0, *np.geomspace(0.01, 0.4, 6 * fine))
    ]
    r = np.concatenate([np.geomspace(PIN_MM, case.outer_mm, 30 * fine), close])
    r = np.unique(np.round(r[(r >= PIN_MM) & (r <= case.outer_mm)], 3))
    z, foils = [0.0, FOIL_MM], [(0.0, FOIL_MM)]
    for gap in case.gaps_mm:
        half = np.geomspace(0.02, gap / 2, 5 * fine)
        z += [*(z[-1] + half), *(z[-1] + gap - half[-2::-1]), z[-1] + gap, z[-1] + gap + FOIL_MM]
        foils.append((z[-2], z[-1]))
    mesh = skfem.MeshQuad.init_tensor(r, np.array(z))  # mm: the weak form below is scaled to match
    basis = skfem.Basis(mesh, skfem.ElementQuad2())

    @skfem.BilinearForm  # type: ignore[untyped-decorator]
    def conduction(u: Any, v: Any, w: Any) -> Any:
        radius, height = w.x
        k_r = np.full_like(radius, LAMINATE_IN_W_MK)
        k_z = np.full_like(radius, LAMINATE_THROUGH_W_MK)
        for k, (low, high) in enumerate(foils):
            inside = (height > low) & (height < high)
            if k in (0, len(foils) - 1):  # no foil on a face: nothing there, the film lies on the laminate
                k_r[inside], k_z[inside] = 1e-9, 1e3
            on = inside & case.copper(k, radius)
            k_r[on] = k_z[on] = COPPER_W_MK
        gu, gv = helpers.grad(u), helpers.grad(v)
        return 2 * np.pi * radius * 1e-3 * (k_r * gu[0] * gv[0] + k_z * gu[1] * gv[1])

    @skfem.BilinearForm  # type: ignore[untyped-decorator]
    def film(u: Any, v: Any, w: Any) -> Any:
        return 2 * np.pi * w.x[0] * 1e-6 * FILM * u * v

    top = mesh.p[1].max()
    faces = mesh.facets_satisfying(lambda x: (x[1] < 1e-9) | (x[1] > top - 1e-9))
    matrix = conduction.assemble(basis) + film.assemble(skfem.FacetBasis(mesh, skfem.ElementQuad2(), facets=faces))
    hot = basis.get_dofs(lambda x: x[0] < PIN_MM + 1e-9).all()
    start = np.zeros(matrix.shape[0])
    start[hot] = 1.0
    field = skfem.solve(*skfem.condense(matrix, np.zeros(matrix.shape[0]), x=start, D=hot))
    own = 2 * FILM * math.pi * (PIN_MM * 1e-3) ** 2  # the pin's own two faces
    return float(1.0 / (field @ (matrix @ field) + own))


def layered(case: Passing) -> float:
    """The same by the code under test."""

    def disc(radius_mm: float) -> Any:
        return shapely.Point(0, 0).buffer(radius_mm, quad_segs=64)

    area = disc(case.outer_mm)
    copper = []
    for land, clear in zip(case.land_mm, case.clear_mm, strict=True):
        plane = NONE if clear > case.outer_mm else area.difference(disc(clear)) if clear > 0 else area
        copper.append(plane.union(disc(land)) if land else plane)
    stack = Stack((FOIL_MM,) * len(copper), case.gaps_mm, FILM)
    return float(heat_paths(area, copper, stack, [HotPin(0, 0, PIN_MM, tuple(range(len(copper))))]).k_per_w[0])


OUTER = [Passing(TWO, LANDS, (NO, clear)) for clear in (1.0, 1.3, 1.8, 2.5, 4.0)]
"""A pour on the solder side passes the pin, the commonest case of a board of two layers."""
OTHER_OUTER = [
    Passing(TWO, LANDS, (1.3, 1.3)),
    Passing(TWO, (0.0, 0.8), (NO, 1.3)),
    Passing((0.8,), LANDS, (NO, 1.3)),
    Passing((2.4,), LANDS, (NO, 1.3)),
    Passing(TWO, LANDS, (1.3, 0.0)),
]
"""Both faces; no land on one; thin and thick boards; joined on one face."""
FOUR_LANDS = (0.8, 0.0, 0.0, 0.8)
INNER = [
    *(Passing(FOUR, FOUR_LANDS, (NO, clear, clear, NO)) for clear in (0.9, 1.3, 2.0, 4.0)),
    Passing(FOUR, FOUR_LANDS, (1.3, 1.3, 1.3, 1.3)),
    Passing(FOUR, FOUR_LANDS, (1.3, NO, NO, 2.0)),
    Passing((1.6 / 3,) * 3, FOUR_LANDS, (NO, 1.3, 1.3, NO)),
    Passing(FOUR, FOUR_LANDS, (NO, 0.0, 0.9, NO)),
    Passing(FOUR, FOUR_LANDS, (NO, 0.0, 0.0, NO)),
]
"""Four layers: inner planes that pass at 0.1 to 3.5 mm, pours on all layers or the faces alone, layers evenly spaced, planes joined."""


@pytest.mark.parametrize("case", [*OUTER, *OTHER_OUTER, *INNER], ids=str)
def test_copper_that_passes_a_pin(case: Passing) -> None:
    """Foils and cells against solid foils and laminate by scikit-fem: within 6 %, within 10 % where inner planes pass at 0.4 mm."""
    close = case.clear_mm[1:3] == (0.9, 0.9)
    assert layered(case) == pytest.approx(axial(case), rel=0.10 if close else 0.06)


def test_the_figures_of_scikit_fem_are_converged() -> None:
    """A mesh with twice the lines in both directions says the same within 1 %."""
    for case in (OUTER[0], INNER[0]):
        assert axial(case, fine=2) == pytest.approx(axial(case), rel=0.01)


PIN_RADIUS_MM = 0.5


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


SPOKED = [(0, 0.3, 265.64), (1, 0.3, 89.81), (2, 0.3, 55.42), (4, 0.3, 34.03), (4, 0.5, 26.61), (2, 0.2, 67.54)]
"""(spokes, width in mm, K/W by ``plane_fem`` with scikit-fem 12.0.2)."""


def plane_fem(copper: Any) -> float:
    """K/W of a 1 mm pin in a plate coppered alike on both faces, in the plane on a fine grid (scikit-fem). The pin's metal itself loses nothing to the air."""
    half = np.concatenate([np.arange(0, 1.6, 0.025), np.linspace(1.6, 8.0, 40)])
    lines = np.unique(np.round(np.concatenate([-half, half]), 4))
    mesh = skfem.MeshQuad.init_tensor(lines, lines)
    basis = skfem.Basis(mesh, skfem.ElementQuad1())
    laminate, foil = LAMINATE_IN_W_MK * THIN_MM * 1e-3, 2 * COPPER_W_MK * 35e-6
    shapely.prepare(copper)

    @skfem.BilinearForm  # type: ignore[untyped-decorator]
    def conduction(u: Any, v: Any, w: Any) -> Any:
        on = shapely.contains_xy(copper, w.x[0].ravel(), w.x[1].ravel()).reshape(w.x[0].shape)
        return (laminate + foil * on) * helpers.dot(helpers.grad(u), helpers.grad(v))

    @skfem.BilinearForm  # type: ignore[untyped-decorator]
    def film(u: Any, v: Any, w: Any) -> Any:
        return 2 * BREEZE * 1e-6 * (w.x[0] ** 2 + w.x[1] ** 2 > PIN_RADIUS_MM**2) * u * v

    matrix = conduction.assemble(basis) + film.assemble(basis)
    hot = mesh.nodes_satisfying(lambda x: x[0] ** 2 + x[1] ** 2 <= PIN_RADIUS_MM**2 + 1e-9)
    start = np.zeros(matrix.shape[0])
    start[hot] = 1.0
    field = skfem.solve(*skfem.condense(matrix, np.zeros(matrix.shape[0]), x=start, D=hot))
    return float(1.0 / (field @ (matrix @ field)))


def sheet_answer(copper: Any, spoked: bool) -> float:
    """The same by the code under test. ``spoked``: the pin is told to stand on spokes, and the mesh is fine there."""
    area = shapely.box(-8, -8, 8, 8)
    stack = Stack.even(THIN_MM, (0.035, 0.035), BREEZE)
    return float(heat_paths(area, [copper, copper], stack, [HotPin(0, 0, PIN_RADIUS_MM, (0, 1), spoked)]).k_per_w[0])


@pytest.mark.parametrize(("spokes", "width_mm", "by_scikit_fem"), SPOKED)
def test_spokes(spokes: int, width_mm: float, by_scikit_fem: float) -> None:
    """A land held by spokes against scikit-fem 12.0.2 on a grid of 0.025 mm, in a plate so thin that the spokes are all that counts: within 6 %, always low
    (on the mesh of other pins up to 17 % low). A land that only 0.2 mm of laminate holds is no such pin: 16 % low there."""
    found = sheet_answer(spoked_copper(spokes, width_mm), spokes > 0)
    assert found == pytest.approx(by_scikit_fem, rel=0.06 if spokes else 0.17) and found < by_scikit_fem


def test_the_kept_spoke_figures_are_those_of_scikit_fem() -> None:
    """The figures above are what scikit-fem says here and now."""
    for spokes, width_mm, kept in SPOKED[:2]:
        assert plane_fem(spoked_copper(spokes, width_mm)) == pytest.approx(kept, rel=0.002)
