"""Alloys by name, joints by volume, doses and cleaning rounds: against plane geometry, balances of mass and closed forms."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from coppermend.core.findings import Refusal
from coppermend.core.rework.alloy.answer import melts_at, modelled_part
from coppermend.core.rework.alloy.caution import soft_remainder, warnings_for
from coppermend.core.rework.alloy.composition import alloy, mix, read_alloy, share_by_mass
from coppermend.core.rework.alloy.diagram import isotherms, section
from coppermend.core.rework.alloy.dose import plan_cleaning, plan_doses
from coppermend.core.rework.alloy.joint import joint
from coppermend.core.rework.alloy.melting import melting
from coppermend.services.alloys import drawing, mixture, share_of


@pytest.mark.parametrize(
    ("said", "wt"),
    [
        ("Sn63Pb37", {"Sn": 63, "Pb": 37}),
        ("Pb37Sn63", {"Sn": 63, "Pb": 37}),
        ("Bi51.6Pb32.6Sn15.8", {"Bi": 51.6, "Pb": 32.6, "Sn": 15.8}),
        ("Sn-3.0Ag-0.5Cu", {"Sn": 96.5, "Ag": 3.0, "Cu": 0.5}),
        ("SAC305", {"Sn": 96.5, "Ag": 3.0, "Cu": 0.5}),
        ("Sn60Pb", {"Sn": 60, "Pb": 40}),
        ("Sn", {"Sn": 100}),
        ("Bi52.5Pb32Sn15.5", {"Bi": 52.5, "Pb": 32, "Sn": 15.5}),
        ("Sn62.8Pb36.8", {"Sn": 100 * 62.8 / 99.6, "Pb": 100 * 36.8 / 99.6}),
    ],
)
def test_names_of_alloys(said: str, wt: dict[str, float]) -> None:
    assert dict(read_alloy(said).wt) == pytest.approx(wt)


@pytest.mark.parametrize(
    ("said", "code"),
    [
        ("", "ALY-001"),
        ("solder", "ALY-001"),
        ("Sn63pb37", "ALY-001"),
        ("Sn-63Pb37", "ALY-001"),
        ("Xx50Sn50", "ALY-001"),
        ("Sn60Sn40", "ALY-001"),
        ("Sn63Pb30", "ALY-002"),
        ("Sn70Pb37", "ALY-002"),
        ("SnPb", "ALY-002"),
        ("Sn63PbBi", "ALY-002"),
        ("Bi50Pb26.7Sn13.3Cd10", "ALY-004"),
    ],
)
def test_names_that_are_none(said: str, code: str) -> None:
    with pytest.raises(Refusal) as caught:
        read_alloy(said)
    assert caught.value.finding.code == code
    assert caught.value.finding.remedy


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="SnPbiAgCu0123456789.- x\u00e9", max_size=24) | st.text(max_size=12))
def test_any_text_is_an_alloy_or_refused(text: str) -> None:
    try:
        found = read_alloy(text)
    except Refusal as refused:
        assert refused.finding.code.startswith("ALY-") and refused.finding.remedy
    else:
        assert sum(percent for _, percent in found.wt) == pytest.approx(100.0)


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 1), st.floats(0.1, 99.9), st.floats(0.1, 99.9))
def test_mixing_keeps_every_element_s_mass(share: float, tin: float, bismuth: float) -> None:
    base, add = alloy({"Sn": tin, "Pb": 100 - tin}), alloy({"Bi": bismuth, "Sn": 100 - bismuth})
    made = mix(base, add, share)
    assert sum(percent for _, percent in made.wt) == pytest.approx(100)
    for element in ("Sn", "Pb", "Bi"):
        assert made.share(element) == pytest.approx((1 - share) * base.share(element) + share * add.share(element))


@pytest.mark.parametrize("masses", [(-1.0, 2.0), (1.0, -2.0), (0.0, 0.0), (math.nan, 1.0), (math.inf, 1.0)])
def test_masses_that_cannot_be(masses: tuple[float, float]) -> None:
    with pytest.raises(Refusal, match="ALY-003"):
        share_by_mass(*masses)


@pytest.mark.parametrize("share", [-0.01, 1.01, math.nan])
def test_shares_that_cannot_be(share: float) -> None:
    with pytest.raises(Refusal, match="ALY-003"):
        mixture("Sn63Pb37", "Sn42Bi58", share)


@pytest.mark.parametrize("said", [(None, None, None), (0.5, 1.0, 1.0), (None, 1.0, None), (0.5, None, 1.0)])
def test_amounts_that_are_not_clear(said: tuple[float | None, float | None, float | None]) -> None:
    with pytest.raises(Refusal, match="ALY-006"):
        share_of(*said)


def test_elements_beyond_model_and_tables() -> None:
    with pytest.raises(Refusal, match="ALY-005"):
        melts_at(read_alloy("In50Pb50"))
    with pytest.raises(Refusal, match="ALY-005"):
        melts_at(read_alloy("Ag100"))


def test_fillets_are_bodies_of_revolution() -> None:
    """Hole, straight and quarter-round fillet integrated as shells 2 pi r h(r) dr."""
    hole, pin, land, board = 0.9, (0.5, 0.3), 1.7, 1.6
    inner = math.sqrt(pin[0] * pin[1] / math.pi)
    span = land / 2 - inner
    straight = quad(lambda r: 2 * math.pi * r * (span - (r - inner)), inner, land / 2)[0]
    # hollow: the circle of radius span round the corner away from pin and land
    hollow = quad(lambda r: 2 * math.pi * r * (span - math.sqrt(span**2 - (land / 2 - r) ** 2)), inner, land / 2)[0]
    found = joint(hole, pin, land, board_mm=board)
    assert found.hole_mm3 == pytest.approx((math.pi * hole**2 / 4 - 0.15) * board, rel=1e-12)
    assert found.most_mm3 == pytest.approx(found.hole_mm3 + 2 * straight, rel=1e-9)
    assert found.least_mm3 == pytest.approx(found.hole_mm3 + 2 * hollow, rel=1e-7)
    assert found.least_mm3 < found.volume_mm3 < found.most_mm3
    assert joint(hole, pin, land, board_mm=board, sides=0).volume_mm3 == found.hole_mm3
    assert found.mass_mg(8.4) == pytest.approx(8.4 * found.volume_mm3)


@pytest.mark.parametrize(
    "bad",
    [(0.0, (0.4, 0.2), 1.5, 1.6), (0.8, (0.9, 0.2), 1.5, 1.6), (0.8, (0.4, -0.2), 1.5, 1.6), (0.8, (0.4, 0.2), 1.5, 0.0), (math.nan, (0.4, 0.2), 1.5, 1.6)],
)  # fmt: skip
def test_joints_that_cannot_be(bad: tuple[float, tuple[float, float], float, float]) -> None:
    with pytest.raises(Refusal, match="ALY-007"):
        joint(bad[0], bad[1], bad[2], board_mm=bad[3])


def test_dose_is_the_least_that_keeps_it_liquid() -> None:
    plan = plan_doses(read_alloy("Sn63Pb37"), read_alloy("Bi52Pb32Sn16"), 12.0, pins=40, keep_c=140.0)
    assert plan.reaches
    assert plan.melt.liquidus_c == pytest.approx(140.0, abs=0.05)
    less = mix(plan.base, plan.add, plan.share - 0.01)
    assert melting(modelled_part(less)).liquidus_c > 140.1
    assert plan.dose_mg / (plan.dose_mg + 12.0) == pytest.approx(plan.share)
    assert plan.total_g == pytest.approx(40 * plan.dose_mg / 1000)
    # the length of wire weighs the dose
    volume = plan.wire_mm * math.pi / 4
    assert volume * plan.add.density_g_cm3 == pytest.approx(plan.dose_mg)
    assert [one.dose_mg for one in plan.steps] == pytest.approx([plan.dose_mg * i / 4 for i in range(5)])
    assert plan.steps[-1].melt.liquidus_c == pytest.approx(plan.melt.liquidus_c)
    assert plan.steps[0].melt.liquidus_c == pytest.approx(183.2, abs=0.1)


def test_no_dose_reaches_below_the_added_alloys_own_liquidus_and_it_says_so() -> None:
    plan = plan_doses(read_alloy("Sn63Pb37"), read_alloy("Sn42Bi58"), 12.0, keep_c=110.0)
    assert not plan.reaches
    assert "lowest liquidus" in plan.words
    assert plan.melt.liquidus_c > 110.0


def test_nothing_to_feed_when_it_is_liquid_already() -> None:
    plan = plan_doses(read_alloy("Sn63Pb37"), read_alloy("Sn42Bi58"), 12.0, keep_c=200.0)
    assert (plan.reaches, plan.share, plan.dose_mg, len(plan.steps)) == (True, 0.0, 0.0, 1)


@pytest.mark.parametrize(
    ("old", "pins", "keep"),
    [(-3.0, 1, 150.0), (0.0, 1, 150.0), (12.0, 0, 150.0), (12.0, 1, math.nan), (12.0, 1, 900.0)],
)
def test_plans_that_cannot_be(old: float, pins: int, keep: float) -> None:
    with pytest.raises(Refusal) as caught:
        plan_doses(read_alloy("Sn63Pb37"), read_alloy("Sn42Bi58"), old, pins=pins, keep_c=keep)
    assert caught.value.finding.remedy


@settings(max_examples=50, deadline=None)
@given(st.floats(0.5, 60.0), st.floats(0.05, 0.6), st.floats(0.05, 2.0))
def test_rounds_of_wick_are_a_geometric_series(bismuth: float, leaves: float, limit: float) -> None:
    """After n rounds bismuth is b r^n, so n is the ceiling of ln(limit / b) / ln r."""
    exact = math.log(limit / bismuth) / math.log(leaves)
    if exact > 11.9 or abs(exact - round(exact)) < 1e-6:
        return
    dirty, fresh = alloy({"Bi": bismuth, "Sn": 100 - bismuth}), read_alloy("Sn99.3Cu0.7")
    found = plan_cleaning(dirty, fresh, wick_leaves=leaves, limit_wt=limit)
    assert found.rounds == max(0, math.ceil(exact))
    assert found.bismuth_wt[-1] == pytest.approx(bismuth * leaves**found.rounds, rel=1e-6)


@settings(max_examples=50, deadline=None)
@given(st.floats(1.0, 40.0), st.floats(0.05, 0.35))
def test_wick_and_refill_keep_the_balance_of_mass(surplus: float, leaves: float) -> None:
    """Milligrams counted by hand: a round leaves its part of what is there, fresh solder goes in only up to the ten that the joint holds."""
    dirty, fresh = alloy({"Bi": 50.0, "Sn": 50.0}), read_alloy("Sn99.3Cu0.7")
    found = plan_cleaning(dirty, fresh, wick_leaves=leaves, surplus=surplus)
    there, bismuth, only_off = 10.0 * surplus, 5.0 * surplus, 0
    for told in found.bismuth_wt[1:]:
        there, bismuth = there * leaves, bismuth * leaves
        only_off += there >= 10.0
        there = max(there, 10.0)
        assert told == pytest.approx(100 * bismuth / there, rel=1e-6)
    assert found.surplus_rounds == only_off


def test_cleaning_that_cannot_reach() -> None:
    dirty = read_alloy("Sn42Bi58")
    with pytest.raises(Refusal, match="ALY-009"):
        plan_cleaning(dirty, read_alloy("Sn42Bi58"))
    with pytest.raises(Refusal, match="ALY-009"):
        plan_cleaning(dirty, read_alloy("Sn63Pb37"), wick_leaves=0.95)
    with pytest.raises(Refusal, match="ALY-003"):
        plan_cleaning(dirty, read_alloy("Sn63Pb37"), wick_leaves=1.0)


def test_warnings_follow_the_alloy() -> None:
    """Bi52Pb32Sn16 is the 95 degC eutectic of engineers' forums (read): most of it freezes last there."""
    share, celsius = soft_remainder(read_alloy("Bi52Pb32Sn16")) or (0.0, 0.0)
    assert share > 0.9 and celsius == pytest.approx(98.0, abs=0.2)
    assert soft_remainder(read_alloy("Sn63Pb37")) is None
    mixed = warnings_for(read_alloy("Sn52.5Bi29Pb18.5"), read_alloy("Sn42Bi58"))
    assert "95 to 96 degC" in mixed[0]
    assert any("holds lead" in one for one in mixed) and any("fume" in one for one in mixed)
    clean = warnings_for(read_alloy("SAC305"))
    assert not any("holds lead" in one or "eutectic" in one for one in clean)


def test_section_is_the_model_and_the_drawing_is_xml() -> None:
    base, add = read_alloy("Sn63Pb37"), read_alloy("Bi52Pb32Sn16")
    found = section(base, add, 5)
    for share, solidus, liquidus in zip(found.share, found.solidus_c, found.liquidus_c, strict=True):
        melt = melting(modelled_part(mix(base, add, share)))
        assert (solidus, liquidus) == pytest.approx((melt.solidus_c, melt.liquidus_c), abs=1e-3)
    plan = plan_doses(base, add, 12.0, keep_c=140.0)
    root = ET.fromstring(drawing(plan))
    words = [one.text for one in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "board at 140" in words and {"Pb", "Sn", "Bi"} <= set(words)
    assert len(list(root.iter("{http://www.w3.org/2000/svg}circle"))) == 2 * len(plan.steps)


def test_lines_of_equal_liquidus_lie_where_the_model_says() -> None:
    checked = 0
    for line in isotherms():
        for ends in line.pieces[:: max(1, len(line.pieces) // 4)]:
            bismuth, lead, tin = ends[0]
            assert melting((bismuth, lead, tin)).liquidus_c == pytest.approx(line.celsius, abs=4.0)
            checked += 1
    assert checked > 40
