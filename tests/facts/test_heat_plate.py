"""The board's thermal model against closed forms: slab with a film (transient series), lumped body, disc on a fin, energy, uniform films.

Sources, docs/sources.md, section laminate and heat: series and disc fin as in text books of conduction (H. S. Carslaw, J. C. Jaeger, Conduction of
Heat in Solids, 2nd ed. 1959, 3.11; W. Gardner, Trans. ASME 67 (1945) 621 for the disc fin; both from memory), evaluated here with scipy.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import i0, i1, k0, k1

from coppermend.core.findings import Refusal
from coppermend.core.rework.heat.films import gap, natural, radiation
from coppermend.core.rework.heat.plate import Heater, Room, simulate, steady
from coppermend.core.rework.heat.slab import FR4, Build, cut, spread

BARE = Build((40.0, 30.0), shares=(0.0, 0.0))


def slab_series(seconds: float, part: float, film: float, thick_m: float) -> float:
    """(T - T_air)/(T_0 - T_air) at ``part`` of the thickness from the insulated face, the other face held by a film."""
    k, alpha = FR4.through_w_mk, FR4.through_w_mk / (FR4.density_kg_m3 * FR4.heat_j_kgk)
    biot = film * thick_m / k
    total = 0.0
    for n in range(60):
        low, high = n * math.pi + 1e-9, n * math.pi + math.pi / 2 - 1e-9
        z = brentq(lambda one: one * math.tan(one) - biot, low, high)
        factor = 4 * math.sin(z) / (2 * z + math.sin(2 * z))
        total += factor * math.exp(-(z**2) * alpha * seconds / thick_m**2) * math.cos(z * part)
    return total


@pytest.mark.parametrize("film", [40.0, 150.0, 600.0])
def test_slab_heated_from_one_side(film: float) -> None:
    slab = cut(BARE, cells=3, slices=12)
    room = Room(20.0, still_w_m2k=1e-9)
    run = simulate(slab, [Heater("s", 200.0, film)], 60.0, room=room, step_s=0.05)
    for second in (2.0, 5.0, 10.0, 20.0, 40.0, 60.0):
        i = int(np.argmin(np.abs(run.seconds - second)))
        for faces, part in ((run.component, 0.0), (run.solder, 1.0)):
            told = 200.0 - 180.0 * slab_series(second, part, film, 1.6e-3)
            assert faces[i, 0, 0] == pytest.approx(told, abs=0.5), (second, part)


def test_steps_are_of_second_order() -> None:
    """Halving the step divides the error by about four, against the slab series."""
    slab, room = cut(BARE, cells=2, slices=24), Room(20.0, still_w_m2k=1e-9)
    told = simulate(slab, [Heater("s", 200.0, 150.0)], 32.0, room=room, step_s=0.05).component[-1, 0, 0]
    errors = [
        abs(simulate(slab, [Heater("s", 200.0, 150.0)], 32.0, room=room, step_s=step).component[-1, 0, 0] - told)
        for step in (4.0, 2.0, 1.0)
    ]
    assert errors[0] / errors[1] > 3 and errors[1] / errors[2] > 3


def test_thin_board_cools_as_a_lumped_body() -> None:
    """exp(-t/tau), tau = heat / (2 h A): a film so small that the inside is even."""
    slab = cut(Build((100.0, 80.0), shares=(0.3, 0.3), parts_g=50.0), cells=6, slices=3)
    run = simulate(slab, [], 900.0, room=Room(20.0, still_w_m2k=2.0), start=120.0, step_s=3.0)
    tau = float(slab.heat.sum()) / (2 * 2.0 * 0.1 * 0.08)
    assert run.component[-1].mean() == pytest.approx(20 + 100 * math.exp(-900 / tau), abs=0.4)


def test_heat_of_a_board_is_its_parts_sum() -> None:
    """1850 kg/m3 x 1100 J/kgK of laminate, 8960 x 385 of copper, 900 J/kgK of parts (the defaults), by volume."""
    slab = cut(Build((100.0, 80.0), 1.6, (0.25, 1.0, 0.5), 0.035, 40.0), cells=7, slices=6)
    area = 0.1 * 0.08
    told = 1850 * 1100 * area * 1.6e-3 + 8960 * 385 * area * 35e-6 * 1.75 + 0.040 * 900
    assert float(slab.heat.sum()) == pytest.approx(told, rel=1e-9)


def test_disc_heater_on_a_large_board() -> None:
    """A round heater in the middle: modified Bessel functions within and around it, steady."""
    film, still, hot, radius = 150.0, 8.0, 300.0, 0.030
    slab = cut(Build((300.0, 300.0), shares=(1.0, 1.0)), cells=75, slices=3)
    region = (120.0, 120.0, 180.0, 180.0)
    found = steady(slab, [Heater("s", hot, film, region_mm=region, round=True)], Room(20.0, still_w_m2k=still))
    sheet = 0.81 * 1.6e-3 + 2 * 390.0 * 35e-6  # W/K of a square
    half = slab.half_through_w_m2k * 2 / 3  # film in series with half the board: the sheet's middle
    over, under = _series(film, half), _series(still, half)
    inner, outer = math.sqrt((over + under) / sheet), math.sqrt(2 * under / sheet)
    settled = over * (hot - 20) / (over + under)
    # T - 20 = settled + a I0(inner r) within, b K0(outer r) around; value and slope meet at the radius
    left = np.array(
        [
            [i0(inner * radius), -k0(outer * radius)],
            [inner * i1(inner * radius), outer * k1(outer * radius)],
        ]
    )
    a, b = np.linalg.solve(left, [-settled, 0.0])
    middle = found[1]
    for distance in (0.0, 0.020, 0.050, 0.080):
        row, column = slab.cell_at(150.0 + 1000 * distance + 0.01, 150.01)
        x = (column + 0.5) * slab.dx_m - 0.150
        y = (row + 0.5) * slab.dy_m - 0.150
        r = math.hypot(x, y)
        told = settled + a * i0(inner * r) if r < radius else b * k0(outer * r)
        assert middle[row, column] - 20 == pytest.approx(told, rel=0.03), distance


def _series(film: float, half: float) -> float:
    return film * half / (film + half)


def test_steady_is_where_the_time_goes() -> None:
    slab = cut(Build((80.0, 60.0)), cells=8, slices=4)
    heaters = [Heater("s", 150.0, 40.0, region_mm=(0.0, 0.0, 40.0, 60.0))]
    run = simulate(slab, heaters, 7200.0, step_s=10.0)
    assert run.last == pytest.approx(steady(slab, heaters), abs=0.1)


def test_uniform_board_settles_between_heater_and_room() -> None:
    """No conduction matters when all is even: face by face h_1 (T_1 - T) = h_2 (T - T_2) through the board in series."""
    slab = cut(Build((50.0, 50.0), shares=(0.5, 0.5)), cells=4, slices=4)
    found = steady(slab, [Heater("s", 180.0, 60.0)], Room(20.0, still_w_m2k=10.0))
    flow = 160.0 / (1 / 60.0 + 1.6e-3 / 0.3 + 1 / 10.0)
    assert found[0, 0, 0] == pytest.approx(180.0 - flow * (1 / 60.0 + 0.2e-3 / 0.3), abs=0.01)
    assert found[-1, 0, 0] == pytest.approx(20.0 + flow * (1 / 10.0 + 0.2e-3 / 0.3), abs=0.01)


def test_energy_in_equals_energy_kept() -> None:
    """No losses: the heat that films let in over a step sum is in the board at the end."""
    slab = cut(Build((60.0, 40.0), shares=(0.4, 0.1)), cells=6, slices=4)
    film, hot = 50.0, 140.0
    run = simulate(slab, [Heater("s", hot, film)], 200.0, room=Room(25.0, still_w_m2k=1e-9), step_s=0.5)
    flux = (film * (hot - run.solder) * slab.area_m2).sum(axis=(1, 2))
    taken = float(((flux[1:] + flux[:-1]) / 2 * np.diff(run.seconds)).sum())
    kept = float((slab.heat * (run.last - 25.0)).sum())
    assert taken == pytest.approx(kept, rel=0.004)


@settings(max_examples=15, deadline=None)
@given(st.floats(60, 250), st.floats(5, 200), st.floats(0, 1), st.floats(0, 1))
def test_never_hotter_than_the_heater_never_colder_than_the_room(hot: float, film: float, c: float, s: float) -> None:
    slab = cut(Build((70.0, 50.0), shares=(s, c)), cells=5, slices=3)
    run = simulate(slab, [Heater("c", hot, film)], 400.0, step_s=4.0)
    assert run.solder.min() >= 21.99 and run.component.max() <= hot + 1e-6
    assert np.all(np.diff(run.component.mean(axis=(1, 2))) > -0.05)


def test_moved_and_mirrored_boards_warm_alike() -> None:
    shares = np.linspace(0.1, 0.9, 48).reshape(6, 8)
    one = cut(Build((80.0, 60.0), shares=(shares, 0.2)), inside=np.ones((6, 8), dtype=bool), slices=3)
    two = cut(Build((80.0, 60.0), shares=(shares[:, ::-1], 0.2)), inside=np.ones((6, 8), dtype=bool), slices=3)
    a = simulate(one, [Heater("s", 150.0, 40.0, region_mm=(0.0, 0.0, 30.0, 60.0))], 120.0)
    b = simulate(two, [Heater("s", 150.0, 40.0, region_mm=(50.0, 0.0, 80.0, 60.0))], 120.0)
    assert a.component == pytest.approx(b.component[:, :, ::-1], abs=1e-8)


def test_a_board_with_a_piece_missing() -> None:
    inside = np.ones((8, 10), dtype=bool)
    inside[:3, 6:] = False
    slab = cut(Build((100.0, 80.0)), inside=inside, slices=3)
    run = simulate(slab, [Heater("s", 150.0, 40.0)], 300.0)
    assert np.isnan(run.component[-1][~inside]).all()
    assert np.isfinite(run.component[-1][inside]).all()
    whole = simulate(
        cut(Build((100.0, 80.0)), inside=np.ones((8, 10), dtype=bool), slices=3), [Heater("s", 150.0, 40.0)], 300.0
    )
    # an even board warms the same everywhere, whatever its outline, but for the size in the still-air film
    assert run.component[-1][inside].mean() == pytest.approx(whole.component[-1].mean(), abs=0.5)


def test_films() -> None:
    """1.32 (80/0.2)^(1/4) and 0.59 (...) up and down; 4 s T^3 at one temperature (Stefan and Boltzmann); 0.03 W/mK over the gap."""
    assert float(natural(np.array(100.0), 20.0, 0.2, True)) == pytest.approx(1.32 * 400**0.25)
    assert float(natural(np.array(100.0), 20.0, 0.2, False)) == pytest.approx(0.59 * 400**0.25)
    assert float(natural(np.array(0.0), 80.0, 0.2, False)) == pytest.approx(1.32 * 400**0.25)
    assert float(radiation(np.array(26.85), 26.85, 1.0)) == pytest.approx(4 * 5.670374e-8 * 300**3, rel=1e-6)
    hot, cold = 150.0 + 273.15, 20.0 + 273.15
    assert float(radiation(np.array(150.0), 20.0, 0.9)) * 130 == pytest.approx(
        0.9 * 5.670374e-8 * (hot**4 - cold**4), rel=1e-6
    )
    assert gap(1.0) == pytest.approx(30.0)


def test_spread_lies_between_nothing_and_proportion() -> None:
    for share in np.linspace(0.01, 0.99, 20):
        assert 0 < spread(float(share)) < share


@pytest.mark.parametrize(
    "build",
    [Build((0.0, 50.0)), Build((-5.0, 50.0)), Build((50.0, 50.0), -1.6), Build((50.0, 50.0), shares=(1.5, 0.2)), Build((50.0, 50.0), shares=()),
     Build((math.nan, 50.0)), Build((50.0, 50.0), parts_g=-2.0), Build((5000.0, 50.0)), Build((50.0, 50.0), foil_mm=3.0)],
)  # fmt: skip
def test_boards_that_cannot_be(build: Build) -> None:
    with pytest.raises(Refusal, match="HEA-001") as caught:
        cut(build)
    assert caught.value.finding.remedy


def test_heaters_that_cannot_be() -> None:
    slab = cut(BARE, cells=4, slices=2)
    for heater in (
        Heater("s", -5.0, 40.0),
        Heater("s", 900.0, 40.0),
        Heater("s", 100.0, 0.0),
        Heater("s", math.nan, 40.0),
    ):
        with pytest.raises(Refusal, match="HEA-002"):
            simulate(slab, [heater], 10.0)
    for far in (1e300, math.inf, math.nan):  # found by requests made from the API's description: these overflowed
        with pytest.raises(Refusal, match="HEA-002"):
            simulate(slab, [Heater("s", 100.0, 40.0, region_mm=(0.0, 0.0, -far, 5.0))], 10.0)
    with pytest.raises(Refusal, match="HEA-003"):
        simulate(slab, [Heater("s", 100.0, 40.0, region_mm=(500.0, 500.0, 510.0, 510.0))], 10.0)
    with pytest.raises(Refusal, match="HEA-004"):
        slab.cell_at(200.0, 5.0)
    with pytest.raises(Refusal, match="HEA-005"):
        simulate(slab, [], -1.0)
