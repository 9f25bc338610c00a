"""Wire by gauge against the AWG formula of ASTM B258, 100 % IACS, Preece and Onderdonk. Values and sources: docs/sources.md, section wire."""

from __future__ import annotations

import math

import pytest

from coppermend.core.findings import Refusal
from coppermend.core.rework.gauge import (
    choose_gauge,
    diameter_mm,
    gauge,
    onderdonk_a,
    preece_a,
    resistance_ohm,
    section_mm2,
)

# ASTM B258: 36 AWG is 0.005 in, 0000 (n = -3) is 0.46 in, 39 equal ratios between them
TABLE = {24: (0.5106, 84.22), 26: (0.4049, 133.91), 28: (0.3211, 212.92), 30: (0.2546, 338.56), 36: (0.1270, 1361.05)}


def test_the_two_defining_diameters() -> None:
    assert diameter_mm(36) == pytest.approx(0.005 * 25.4, rel=1e-12)
    assert diameter_mm(-3) == pytest.approx(0.46 * 25.4, rel=1e-12)


@pytest.mark.parametrize("awg", TABLE)
def test_diameter_and_resistance_per_km(awg: int) -> None:
    """d from ASTM B258; ohm/km with 1/58 ohm mm2/m (NBS Handbook 100)."""
    d, ohm_per_km = TABLE[awg]
    assert diameter_mm(awg) == pytest.approx(d, abs=5e-5)
    assert resistance_ohm(awg, 1e6) == pytest.approx(ohm_per_km, rel=2e-4)


def test_every_ten_gauges_are_a_tenth_of_the_section() -> None:
    """Rule of the trade that follows from the formula: 92^(10/39) is 3.19, its square 10.16."""
    assert section_mm2(20) / section_mm2(30) == pytest.approx(92 ** (20 / 39), rel=1e-12)


@pytest.mark.parametrize(("awg", "amps"), [(26, 20.6), (28, 14.56), (30, 10.28), (32, 7.26)])
def test_preece(awg: int, amps: float) -> None:
    """I = 80 d^1.5 (d in mm), the fuse equation of W. H. Preece."""
    assert preece_a(awg) == pytest.approx(amps, rel=2e-3)


def test_preece_against_the_old_table() -> None:
    """Printed table: 10 A fuses copper of 0.0098 in (2 %)."""
    printed_in = 0.0098
    assert 80.0 * (printed_in * 25.4) ** 1.5 == pytest.approx(10.0, rel=0.02)
    assert preece_a(30) == pytest.approx(10244 * (diameter_mm(30) / 25.4) ** 1.5, rel=1e-3)


def test_onderdonk() -> None:
    """33 (I/A)^2 t = log10((Tm - Ta)/(234 + Ta) + 1): 16 AWG of 2581 circular mils, 5 s, 25 degC gives 168.9 A; 30 AWG 14.70 and 6.58 A."""
    assert onderdonk_a(16, 5.0) == pytest.approx(168.9, rel=1e-3)
    assert onderdonk_a(30, 1.0) == pytest.approx(14.70, rel=2e-3)
    assert onderdonk_a(30, 5.0) == pytest.approx(6.58, rel=2e-3)


def test_a_jumper_of_100_mm() -> None:
    one = gauge(30, 100.0)
    assert one.resistance_ohm == pytest.approx(33.86e-3, rel=5e-4)
    assert one.section_mm2 == pytest.approx(math.pi * 0.2546**2 / 4, rel=1e-3)


@pytest.mark.parametrize("bad", [(99, 10.0), (-5, 10.0), (30, 0.0), (30, -1.0), (30, math.nan), (30, math.inf)])
def test_no_such_wire(bad: tuple[int, float]) -> None:
    with pytest.raises(Refusal) as caught:
        gauge(*bad)
    assert caught.value.finding.remedy


# the same-section table of a rework guide for 2 oz copper (engineering guide 4.2.4, table 1), 70 um
@pytest.mark.parametrize(("width_mm", "awg"), [(0.25, 34), (0.38, 32), (0.50, 31), (0.78, 29), (3.18, 23)])
def test_gauge_by_section_is_the_guides_table(width_mm: float, awg: int) -> None:
    every = tuple(range(20, 37))
    found = choose_gauge(1.0, track_section_mm2=width_mm * 0.070, allowance_ohm=10.0, at_hand=every)
    assert abs(found.gauge.awg - awg) <= 1  # the guide rounds to the nearest, ours never below the section
    assert found.gauge.section_mm2 >= width_mm * 0.070


def test_current_asks_for_more_copper() -> None:
    thin = choose_gauge(50.0, track_section_mm2=0.01)
    thick = choose_gauge(50.0, track_section_mm2=0.01, current_a=2.0)
    assert thin.gauge.awg == 30
    assert thick.gauge.awg < 30
    assert 2.0 * thick.gauge.resistance_ohm <= 0.05


def test_even_the_thickest_falls_short() -> None:
    found = choose_gauge(5000.0, current_a=20.0)
    assert not found.enough
    beside = max(
        20.0 / 6.0 / 0.823, 5.0 * 20.95e-3 / (0.05 / 20.0)
    )  # 18 AWG: 0.823 mm2, 20.95 milliohm/m (ASTM B258 tables, from memory)
    assert beside > 4 and "No few patch wires carry that" in found.reason and "at most 2.5 milliohm" in found.reason


def test_wires_side_by_side_are_as_many_as_the_current_asks_for() -> None:
    """18 AWG is 1.024 mm thick (ASTM B258); at 6 A/mm2 (common practice, no source) 15 A asks for so many of its section, more than the drop does."""
    found = choose_gauge(200.0, current_a=15.0)
    assert not found.enough
    count = math.ceil(15.0 / 6.0 / (math.pi / 4 * 1.024**2))
    assert 2 <= count <= 4 and f"Lay {count} wires side by side" in found.reason


@pytest.mark.parametrize("current_a", [-1.0, 500.0, math.nan, math.inf])
def test_a_current_that_is_none_is_refused(current_a: float) -> None:
    with pytest.raises(Refusal, match="WIR-015"):
        choose_gauge(50.0, current_a=current_a)
