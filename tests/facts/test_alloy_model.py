"""The model of tin, lead and bismuth against the assessed invariants, handbook melting points and published alloy tables.

Sources, see docs/sources.md, section solder. "NIST" is U. R. Kattner's solder pages (Pb-Sn, Bi-Cu-Pb, Bi-Pb-Sn, calculated invariants, read);
the Bi-Sn invariant and the table of alloys were computed with pycalphad 0.11.2 on the same published parameters.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.core.rework.alloy.answer import melts_at
from coppermend.core.rework.alloy.composition import read_alloy
from coppermend.core.rework.alloy.equilibrium import Equilibrium, stable
from coppermend.core.rework.alloy.freezing import freezing
from coppermend.core.rework.alloy.gibbs import (
    BCT,
    FCC,
    HCP,
    LIQUID,
    PHASES,
    RHOMBO,
    ZERO_C_K,
    Phase,
    energy,
    energy_slope,
    gibbs,
    potential_slopes,
    potentials,
    potentials_all,
)
from coppermend.core.rework.alloy.melting import (
    enthalpy_j_mol,
    liquid_share,
    mass_shares,
    melting,
    mole_fractions,
    solidus_k,
)
from coppermend.core.rework.alloy.published import ROWS, Row


def at(mass: tuple[float, float, float], celsius: float) -> Equilibrium:
    """The equilibrium of an alloy by mass (Bi, Pb, Sn)."""
    return stable(mole_fractions(mass), celsius + ZERO_C_K, PHASES)


def of_phase(found: Equilibrium, phase: Phase) -> list[float]:
    """Percent by mass (Bi, Pb, Sn) of one phase of an equilibrium."""
    (one,) = [p for p in found.portions if p.phase is phase]
    return [100 * share for share in mass_shares(np.array(one.x))]


# name, alloy on the invariant (Bi, Pb, Sn % by mass), degC after NIST (Bi-Sn: pycalphad)
INVARIANTS = [
    ("L to (Pb) + (Sn)", (0.0, 50.0, 50.0), 182.2),
    ("L to (Sn) + (Bi)", (50.0, 0.0, 50.0), 138.8),
    ("L to epsilon + (Bi)", (60.0, 40.0, 0.0), 125.9),
    ("L + (Pb) to epsilon + (Sn)", (20.0, 50.0, 30.0), 135.7),
    ("L to (Sn) + epsilon + (Bi)", (50.0, 30.0, 20.0), 98.0),
]


@pytest.mark.parametrize(("name", "mass", "celsius"), INVARIANTS, ids=[one[0] for one in INVARIANTS])
def test_invariant_temperatures(name: str, mass: tuple[float, float, float], celsius: float) -> None:
    assert melting(mass).solidus_c == pytest.approx(celsius, abs=0.1)


def test_tin_lead_eutectic_compositions() -> None:
    """NIST Pb-Sn: liquid 62.13 % Sn, (Pb) 18.91, (Sn) 96.59."""
    below = at((0.0, 50.0, 50.0), 182.23)
    assert of_phase(below, FCC)[2] == pytest.approx(18.91, abs=0.1)
    assert of_phase(below, BCT)[2] == pytest.approx(96.59, abs=0.1)
    above = at((0.0, 50.0, 50.0), 182.26)
    assert of_phase(above, LIQUID)[2] == pytest.approx(62.13, abs=0.1)


def test_tin_bismuth_eutectic_compositions() -> None:
    """pycalphad on these parameters: liquid 56.97 % Bi, (Sn) 21.0, (Bi) 99.9."""
    below = at((50.0, 0.0, 50.0), 138.79)
    assert of_phase(below, BCT)[0] == pytest.approx(21.0, abs=0.1)
    assert of_phase(below, RHOMBO)[0] == pytest.approx(99.9, abs=0.1)
    assert of_phase(at((50.0, 0.0, 50.0), 138.83), LIQUID)[0] == pytest.approx(56.97, abs=0.1)


def test_lead_bismuth_eutectic_and_peritectic() -> None:
    """NIST: eutectic liquid 55.51 % Bi, epsilon 42.13, (Bi) 99.52; L + (Pb) to epsilon at 184.9 degC with 36.07, 23.27 and 27.94 % Bi."""
    below = at((60.0, 40.0, 0.0), 125.89)
    assert of_phase(below, HCP)[0] == pytest.approx(42.13, abs=0.1)
    assert of_phase(below, RHOMBO)[0] == pytest.approx(99.52, abs=0.1)
    assert of_phase(at((60.0, 40.0, 0.0), 125.93), LIQUID)[0] == pytest.approx(55.51, abs=0.1)
    above, under = at((30.0, 70.0, 0.0), 185.0), at((30.0, 70.0, 0.0), 184.9)
    assert {one.phase for one in above.portions} == {LIQUID, FCC}
    assert {one.phase for one in under.portions} == {LIQUID, HCP}
    assert of_phase(above, LIQUID)[0] == pytest.approx(36.07, abs=0.1)
    assert of_phase(above, FCC)[0] == pytest.approx(23.27, abs=0.1)
    assert of_phase(under, HCP)[0] == pytest.approx(27.94, abs=0.1)


def test_ternary_eutectic_compositions() -> None:
    """NIST Bi-Pb-Sn: L 51.59 Bi 32.59 Pb 15.82 Sn; (Sn) 10.93/.63/88.44; epsilon 41.24/50.29/8.47; (Bi) 99.62/.32/.06."""
    below = at((50.0, 30.0, 20.0), 97.95)
    assert of_phase(below, BCT) == pytest.approx([10.93, 0.63, 88.44], abs=0.1)
    assert of_phase(below, HCP) == pytest.approx([41.24, 50.29, 8.47], abs=0.1)
    assert of_phase(below, RHOMBO) == pytest.approx([99.62, 0.32, 0.06], abs=0.1)
    last = freezing((50.0, 30.0, 20.0), 0.5)
    assert last.last_c == pytest.approx(98.0, abs=0.1)
    assert [100 * one for one in last.last_wt] == pytest.approx([51.59, 32.59, 15.82], abs=0.1)


def test_ternary_peritectic_liquid() -> None:
    """NIST: L + (Pb) to epsilon + (Sn) at 135.7 degC, L 30.54 Bi 47.56 Pb 21.90 Sn."""
    above = at((20.0, 50.0, 30.0), 135.72)
    assert of_phase(above, LIQUID) == pytest.approx([30.54, 47.56, 21.90], abs=0.15)


# pycalphad 0.11.2 on the same parameters, grid of 0.05 K: solidus, liquidus in degC, heat of melting in J/g (None: not computed)
ALLOYS = [
    ((0.0, 38.1, 61.9), 182.25, 182.90, 44.4),
    ((0.0, 37.0, 63.0), 182.25, 183.15, 44.9),
    ((0.0, 40.0, 60.0), 182.25, 188.40, 44.7),
    ((0.0, 50.0, 50.0), 182.25, 213.80, 45.1),
    ((0.0, 60.0, 40.0), 182.25, 234.90, None),
    ((0.0, 90.0, 10.0), 276.65, 300.90, None),
    ((58.0, 0.0, 42.0), 138.85, 141.35, 49.7),
    ((57.0, 0.0, 43.0), 138.85, 138.85, 49.2),
    ((55.5, 44.5, 0.0), 125.95, 125.95, None),
    ((14.0, 43.0, 43.0), 135.70, 165.50, 45.2),
    ((46.0, 20.0, 34.0), 98.00, 138.15, 48.0),
    ((52.0, 32.0, 16.0), 98.00, 99.60, None),
    ((51.6, 32.6, 15.8), 98.00, 98.00, 31.7),
    ((50.0, 28.0, 22.0), 98.00, 115.20, None),
    ((50.0, 25.0, 25.0), 98.00, 120.65, None),
]


@pytest.mark.parametrize(("mass", "solidus", "liquidus", "heat"), ALLOYS)
def test_alloys_as_computed_by_another_program(
    mass: tuple[float, float, float], solidus: float, liquidus: float, heat: float | None
) -> None:
    found = melting(mass)
    assert found.solidus_c == pytest.approx(solidus, abs=0.1)
    assert found.liquidus_c == pytest.approx(liquidus, abs=0.1)
    if heat is not None:
        assert found.enthalpy_j_g == pytest.approx(heat, abs=0.15)


# melting points of the fixed points of handbooks (tin 231.93 is a fixed point of ITS-90; lead 327.46, bismuth 271.40), heats in J/g from the
# unary data: tin 59.2, lead 23.0 (JANAF 4.774 kJ/mol), bismuth 54.1
@pytest.mark.parametrize(
    ("mass", "celsius", "heat"),
    [((0.0, 0.0, 1.0), 231.93, 59.2), ((0.0, 1.0, 0.0), 327.46, 23.0), ((1.0, 0.0, 0.0), 271.40, 54.1)],
)
def test_pure_elements(mass: tuple[float, float, float], celsius: float, heat: float) -> None:
    found = melting(mass)
    assert found.solidus_c == pytest.approx(celsius, abs=0.02)
    assert found.liquidus_c == pytest.approx(celsius, abs=0.02)
    assert found.enthalpy_j_g == pytest.approx(heat, rel=0.01)


MODELLED = [row for row in ROWS if all(element in ("Sn", "Pb", "Bi") for element, _ in read_alloy(row.name).wt)]


@pytest.mark.parametrize("row", MODELLED, ids=lambda row: row.name)
def test_published_tables_lie_within_the_uncertainty(row: Row) -> None:
    """Measured figures lie within what the model's answer admits."""
    found = melts_at(read_alloy(row.name))
    assert found.source == "model" and found.table == row
    assert abs(found.solidus_c - row.solidus_c) <= found.solidus_off_c
    assert abs(found.liquidus_c - row.liquidus_c) <= found.liquidus_off_c
    assert found.uncertainty_c <= 9.0


def test_alloys_of_other_elements_are_the_tables() -> None:
    """SAC305 217 / 220 and In52Sn48 118 / 118 degC (tables of solder alloys, read)."""
    found = melts_at(read_alloy("SAC305"))
    assert (found.source, found.solidus_c, found.liquidus_c, found.enthalpy_j_g) == ("published", 217.0, 220.0, None)
    assert melts_at(read_alloy("In52Sn48")).liquidus_c == 118.0


def test_what_silver_and_copper_move_is_admitted() -> None:
    """Sn62Pb36Ag2 (179 degC from memory) and SAC305 (217 degC, table) against the model that leaves their silver and copper out."""
    from coppermend.core.rework.alloy.answer import SMALL_OFF_C

    for name, solidus in (("Sn62Pb36Ag2", 179.0), ("SAC305", 217.0), ("Sn99.3Cu0.7", 227.0), ("Sn96.5Ag3.5", 221.0)):
        of = read_alloy(name)
        total = sum(of.share(one) for one in ("Sn", "Pb"))
        left = melting((0.0, 100 * of.share("Pb") / total, 100 * of.share("Sn") / total))
        assert 0 < left.solidus_c - solidus <= SMALL_OFF_C


# published densities, g/cm3 (table of solder alloys, read; tolerance 0.1)
@pytest.mark.parametrize(
    ("name", "density"),
    [("Sn63Pb37", 8.40), ("Sn60Pb40", 8.50), ("Sn40Pb60", 9.28), ("SAC305", 7.38), ("Sn42Bi58", 8.56), ("In52Sn48", 7.30)],
)  # fmt: skip
def test_density(name: str, density: float) -> None:
    assert read_alloy(name).density_g_cm3 == pytest.approx(density, abs=0.1)


def test_lever_rule() -> None:
    """Just above the eutectic the liquid of Sn50Pb50 is (50 - 18.91) / (62.13 - 18.91) of the mass (NIST compositions)."""
    assert liquid_share((0.0, 50.0, 50.0), 182.26) == pytest.approx((50 - 18.91) / (62.13 - 18.91), abs=0.003)
    assert liquid_share((0.0, 50.0, 50.0), 182.2) == 0.0
    assert liquid_share((0.0, 50.0, 50.0), 214.0) == pytest.approx(1.0)


def test_freezing_without_evening_out_leaves_more_than_the_lever() -> None:
    """Gulliver and Scheil: more eutectic than in equilibrium, and eutectic where equilibrium has none (tin with 2 % lead: (Sn) takes 3.4 %)."""
    lever = (50 - 18.91) / (62.13 - 18.91)
    found = freezing((0.0, 50.0, 50.0))
    assert lever < found.last_share < lever + 0.05
    assert found.last_c == pytest.approx(182.2, abs=0.1)
    thin = freezing((0.0, 2.0, 98.0))
    assert melting((0.0, 2.0, 98.0)).solidus_c > 190
    assert thin.last_c == pytest.approx(182.2, abs=0.1)
    assert 0.01 < thin.last_share < 0.05


def test_freezing_of_dilute_tin_is_scheils_equation() -> None:
    """With a constant k the last liquid is (c_eutectic / c_0)^(1/(k-1)); k = 3.41 / 37.87 at the eutectic (NIST) changes little above it: 20 %."""
    k = (100 - 96.59) / (100 - 62.13)
    closed = (37.87 / 5.0) ** (1 / (k - 1))
    assert freezing((0.0, 5.0, 95.0), 0.5).last_share == pytest.approx(closed, rel=0.2)


@pytest.mark.parametrize("phase", PHASES, ids=lambda one: one.name)
def test_potentials_are_the_slopes_of_gibbs(phase: Phase) -> None:
    """mu_i = d(n G)/dn_i, by central differences of n G; and their own slopes likewise."""
    of = energy(phase, 430.0)
    x = np.array([0.23, 0.41, 0.36])

    def total(n: np.ndarray) -> float:
        return float(n.sum() * gibbs(of, n / n.sum()))

    step = 1e-6
    for i in range(3):
        n = x.copy()
        n[i] += step
        m = x.copy()
        m[i] -= step
        assert potentials(of, x)[i] == pytest.approx((total(n) - total(m)) / (2 * step), abs=1e-3)
    assert float(x @ potentials(of, x)) == pytest.approx(float(gibbs(of, x)), abs=1e-8)
    assert potentials_all(of, x[None, :])[0] == pytest.approx(potentials(of, x), abs=1e-9)
    slopes = potential_slopes(of, x)
    for way in (np.array([1.0, 0.0, -x[0] / x[2]]), np.array([0.0, 1.0, -x[1] / x[2]])):
        # d ln x along which the sum stays one
        forward, back = x * np.exp(step * way), x * np.exp(-step * way)
        numeric = (potentials(of, forward / forward.sum()) - potentials(of, back / back.sum())) / (2 * step)
        assert slopes @ way == pytest.approx(numeric, abs=0.02)


def test_slopes_by_temperature() -> None:
    for phase in PHASES:
        x = np.array([0.2, 0.3, 0.5])
        numeric = (float(gibbs(energy(phase, 420.001), x)) - float(gibbs(energy(phase, 419.999), x))) / 0.002
        assert float(gibbs(energy_slope(phase, 420.0), x)) == pytest.approx(numeric, abs=1e-4)


def test_enthalpy_of_liquid_tin() -> None:
    """Heat of fusion of tin 7.03 kJ/mol (unary data at 505.08 K)."""
    tin = np.array([1e-9, 1e-9, 1 - 2e-9])
    hot = enthalpy_j_mol(stable(tin, 505.3, PHASES))
    cold = enthalpy_j_mol(stable(tin, 504.8, PHASES))
    assert hot - cold == pytest.approx(7030, abs=40)


@settings(max_examples=40, deadline=None)
@given(
    st.tuples(st.floats(0, 100), st.floats(0, 100), st.floats(0, 100)).filter(lambda one: sum(one) > 1),
    st.floats(60.0, 330.0),
)
def test_any_alloy_at_any_temperature_is_in_balance(mass: tuple[float, float, float], celsius: float) -> None:
    """The phases add up to the alloy, share their potentials, and no phase lies below them."""
    x = np.maximum(mole_fractions(mass), 1e-7)
    x = x / x.sum()
    found = stable(x, celsius + ZERO_C_K, PHASES)
    assert sum(one.amount * np.array(one.x) for one in found.portions) == pytest.approx(x, abs=1e-6)
    mu = np.array(found.potentials)
    for one in found.portions:
        y = np.array(one.x)
        assert float(gibbs(energy(one.phase, found.kelvin), y)) == pytest.approx(float(y @ mu), abs=0.01)
    fine = np.random.default_rng(1).dirichlet((0.4, 0.4, 0.4), 2000).clip(1e-9)
    for phase in PHASES:
        assert float((gibbs(energy(phase, found.kelvin), fine) - fine @ mu).min()) > -0.01


@settings(max_examples=25, deadline=None)
@given(st.tuples(st.floats(0, 100), st.floats(0, 100), st.floats(0, 100)).filter(lambda one: sum(one) > 1))
def test_solid_below_liquid_above(mass: tuple[float, float, float]) -> None:
    found = melting(mass)
    assert 97.9 < found.solidus_c <= found.liquidus_c + 1e-3 < 328
    assert liquid_share(mass, found.solidus_c - 0.05) == pytest.approx(0.0, abs=1e-9)
    assert liquid_share(mass, found.liquidus_c + 0.05) == pytest.approx(1.0, abs=1e-6)


def test_solidus_never_above_liquidus_for_one_that_melts_at_once() -> None:
    x = mole_fractions((51.59, 32.59, 15.82))
    assert solidus_k(x, 371.1) <= 371.1
