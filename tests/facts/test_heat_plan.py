"""Plans of warming: against lumped bodies, the model's own steady state, and readings of known origin. Sources: docs/sources.md, laminate and heat."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.bootstrap import open_board
from coppermend.core.findings import Refusal
from coppermend.core.rework.heat.fit import ASSUMED_COVARIANCE, corrected, fit_model, time_width
from coppermend.core.rework.heat.limits import below_tg
from coppermend.core.rework.heat.plate import Heater, Room, simulate, steady
from coppermend.core.rework.heat.preheat import bow_mm, highest_setting, plan_heat, plan_spot, time_to
from coppermend.core.rework.heat.slab import Build, Slab, cut
from coppermend.services.alloys import joints_of
from coppermend.services.heat import heater_of, hot_air, readings_of, slab_of, warming, with_hot_air
from coppermend.services.plans import warming_plan

BOARD = Build((120.0, 90.0), shares=(0.3, 0.4), parts_g=60.0)


@pytest.fixture(scope="module")
def slab() -> Slab:
    return cut(BOARD, cells=8, slices=3)


def lumped(slab: Slab, film: float, still: float, hot: float, room: float) -> tuple[float, float]:
    """Time constant in s and settled temperature of a board whose inside is even."""
    area = float(slab.inside.sum()) * slab.area_m2
    return float(slab.heat.sum()) / ((film + still) * area), (film * hot + still * room) / (film + still)


def test_time_is_that_of_a_lumped_body() -> None:
    """Weak films on a thin board: t = tau ln((T_end - T_0) / (T_end - T))."""
    thin = cut(Build((120.0, 90.0), 0.4, shares=(0.5, 0.5)), cells=6, slices=3)
    room = Room(20.0, still_w_m2k=2.0)
    tau, settled = lumped(thin, 5.0, 2.0, 180.0, 20.0)
    told = tau * math.log((settled - 20) / (settled - 90))
    plan = plan_heat(thin, Heater("s", 180.0, 5.0), target_c=90.0, tg_c=200.0, room=room)
    assert plan.time_s == pytest.approx(told, rel=0.02)
    assert plan.settles_c == pytest.approx(settled, abs=1.0)
    # the fastest rise over ten seconds (its mean, from t = 0), and the fastest fall: film flow over heat
    area = float(thin.inside.sum()) * thin.area_m2
    assert plan.ramp_k_s == pytest.approx((settled - 20) * (1 - math.exp(-10 / tau)) / 10, rel=0.05)
    assert plan.fall_k_s == pytest.approx(2 * 2.0 * area * (90 - 20) / float(thin.heat.sum()), rel=0.06)


@pytest.mark.parametrize(("thick_mm", "film"), [(1.6, 300.0), (0.4, 120.0), (0.2, 60.0)])
def test_the_rate_of_a_board_that_is_warm_within_seconds(thick_mm: float, film: float) -> None:
    """A plate pressed on, a foil in hot air: the rate is never less than the coldest place's own way over its time, and far over the guide's 2 K/s."""
    fast = cut(Build((120.0, 90.0), thick_mm, shares=(0.0, 0.0)), cells=5, slices=5)
    plan = plan_heat(fast, Heater("s", 300.0, film), target_c=60.0, tg_c=200.0, room=Room(20.0))
    assert plan.time_s is not None and 0.5 < plan.time_s < 12
    (warming,) = [one for one in plan.held if one.limit.name == "warming, fastest"]
    assert warming.found >= 0.95 * (60.0 - 20.0) / plan.time_s and not warming.kept
    if thick_mm < 0.3:  # thin: a lumped body is at the target after tau ln(...)
        tau, settled = lumped(fast, film, 8.0, 300.0, 20.0)
        assert plan.time_s == pytest.approx(tau * math.log((settled - 20) / (settled - 60)), rel=0.15)


def test_plan_follows_its_own_run(slab: Slab) -> None:
    heater = Heater("s", 150.0, 40.0)
    plan = plan_heat(slab, heater, target_c=95.0)
    assert plan.time_s is not None
    run = simulate(slab, [heater], plan.time_s, step_s=0.5)
    coldest = min(float(np.nanmin(run.solder[-1])), float(np.nanmin(run.component[-1])))
    assert coldest == pytest.approx(95.0, abs=0.5)
    assert plan.hottest_c == pytest.approx(max(float(run.solder[-1].max()), float(run.component[-1].max())), abs=1.0)
    assert plan.time_s == pytest.approx(time_to(slab, heater, 95.0, room=Room()))
    assert plan.curve[-1][0] >= plan.time_s > 0
    assert plan.curve[0] == (0.0, *(Room().celsius,) * 4) and all(a[0] < b[0] for a, b in pairwise(plan.curve))
    assert plan.cool_s is not None and plan.cooling[0][2] == pytest.approx(plan.hottest_c, abs=3.0)
    assert all(one.kept for one in plan.held if one.limit == below_tg(120.0))


def test_the_setting_that_may_stay_on_settles_at_the_limit(slab: Slab) -> None:
    """10 K under Tg (guide on preheating), found again by the steady state at that setting."""
    heater = Heater("s", 200.0, 40.0)
    setting = highest_setting(slab, heater, 130.0, Room())
    assert setting is not None
    assert float(steady(slab, [replace(heater, celsius=setting)]).max()) == pytest.approx(120.0, abs=0.2)
    assert highest_setting(slab, heater, 130.0, Room(125.0)) is None


def test_hotter_heater_more_copper_more_parts() -> None:
    """Hotter air is faster; more heat is slower."""
    times = [
        time_to(cut(replace(BOARD, parts_g=parts), cells=6, slices=3), Heater("s", hot, 40.0), 90.0, room=Room())
        for parts, hot in ((0.0, 150.0), (100.0, 150.0), (100.0, 180.0))
    ]
    bare, laden, hotter = (one or math.inf for one in times)
    assert bare < laden and hotter < laden


def test_the_setting_that_keeps_the_limits_is_the_hottest_that_does(slab: Slab) -> None:
    """Tried on the model itself: every limit kept there (guide on preheating, docs/sources.md), one broken 8 K above; the target within minutes."""
    plan = plan_heat(slab, Heater("s", 400.0, 40.0), target_c=95.0)
    assert not plan.kept and plan.keeps_c is not None
    at, above = (plan_heat(slab, Heater("s", plan.keeps_c + more, 40.0), target_c=95.0) for more in (0.0, 8.0))
    assert at.kept and not above.kept and "not kept" not in at.words and above.words.startswith("Limits are not kept")
    low = plan_heat(slab, Heater("s", 100.0, 40.0), target_c=60.0)
    assert not low.kept and "Aim at 75 degC or more" in low.words and "Set the heater" not in low.words


def test_no_setting_keeps_the_limits_of_a_place_too_small() -> None:
    """Metal foil alone, heated on one edge strip by a plate pressed on: whatever the setting, what is said is that none does."""
    strip = cut(Build((100.0, 80.0), 0.2, shares=(0.0, 0.0)), cells=8, slices=3)
    plan = plan_heat(strip, Heater("s", 300.0, 2000.0), target_c=109.0)
    assert not plan.kept and plan.keeps_c is None and "No cooler setting" in plan.words


def test_targets_that_cannot_be(slab: Slab) -> None:
    heater = Heater("s", 150.0, 40.0)
    for target, tg in ((115.0, 120.0), (20.0, 120.0), (math.nan, 120.0), (90.0, 20.0), (90.0, math.nan)):
        with pytest.raises(Refusal, match="HEA-006") as caught:
            plan_heat(slab, heater, target_c=target, tg_c=tg)
        assert caught.value.finding.remedy


def test_a_heater_too_cool_says_so(slab: Slab) -> None:
    plan = plan_heat(slab, Heater("s", 90.0, 15.0), target_c=100.0)
    assert plan.time_s is None
    assert "does not reach 100" in plan.words and "hotter" in plan.words


def test_bow_is_that_of_a_plate() -> None:
    """a L^2 dT / 8 d: 14 ppm/K, diagonal 500 mm, 10 K, 1.6 mm."""
    assert bow_mm(cut(Build((300.0, 400.0)), cells=3), 10.0) == pytest.approx(14e-6 * 0.25 * 10 / (8 * 1.6e-3) * 1000)


def test_fit_finds_a_lumped_body_s_film() -> None:
    """Readings made with exp(-t/tau) and no model at all: tau fixes film over heat, the end fixes film over losses."""
    thin = cut(Build((100.0, 80.0), 0.5, shares=(0.2, 0.2)), cells=5, slices=3)
    room = Room(20.0, still_w_m2k=8.0)
    true_film = 26.0
    tau, settled = lumped(thin, true_film, 8.0, 140.0, 20.0)
    readings = [(float(t), settled + (20.0 - settled) * math.exp(-t / tau)) for t in range(0, 241, 10)]
    fit = fit_model(thin, Heater("s", 140.0, 15.0), readings, room=room, reading_off_k=0.2)
    assert 15.0 * fit.film_factor / fit.heat_factor == pytest.approx(true_film, rel=0.06)
    assert 15.0 * fit.film_factor / fit.loss_factor == pytest.approx(true_film, rel=0.06)
    assert fit.rms_k < 0.6 and fit.follows


def test_fit_finds_again_what_made_the_readings(slab: Slab) -> None:
    """A finer slab with other numbers, with noise of 1 K, at a corner: the corrected model tells its time within 6 %."""
    heater, room = Heater("s", 150.0, 40.0), Room()
    true = cut(BOARD, cells=16, slices=6)
    true = replace(true, heat=true.heat * 1.25)
    run = simulate(true, [replace(heater, film_w_m2k=65.0)], 400.0, room=replace(room, film_factor=1.2), step_s=1.0)
    row, column = true.cell_at(30.0, 20.0)
    dice = np.random.default_rng(4)
    readings = [
        (float(run.seconds[i]), float(run.component[i, row, column] + dice.normal(0, 1.0))) for i in range(0, 401, 20)
    ]
    fit = fit_model(slab, heater, readings, spot_mm=(30.0, 20.0), room=room, start_c=22.0)
    assert fit.follows and fit.rms_k < 2.5
    mended = time_to(*corrected(slab, heater, room, fit)[:2], 95.0, room=corrected(slab, heater, room, fit)[2])
    told = time_to(true, replace(heater, film_w_m2k=65.0), 95.0, room=replace(room, film_factor=1.2))
    assert mended == pytest.approx(told, rel=0.06)
    before = time_to(slab, heater, 95.0, room=room)
    assert before is not None and told is not None and abs(before - told) > 0.15 * told
    # and the time is much better known than before
    wide, narrow = (
        time_width(slab, heater, room, 95.0, ASSUMED_COVARIANCE),
        time_width(*corrected(slab, heater, room, fit), 95.0, fit.covariance),
    )
    assert wide is not None and narrow is not None and narrow < wide / 5


@pytest.mark.parametrize(
    "readings",
    [
        [(30.0 * i, 22.0 if i < 4 else 110.0) for i in range(8)],
        [(0.0, 22.0), (60.0, 300.0), (120.0, 30.0), (180.0, 90.0)],
        [(0.0, 72.0), (30.0, 113.0), (60.0, 143.0), (120.0, 180.0)],
    ],
)
def test_readings_the_model_does_not_follow_correct_nothing(readings: list[tuple[float, float]]) -> None:
    """A thermocouple beside the board that jumps, one that falls in the heat, one above the heater's own 150 degC: the plan is the one without readings."""
    board = cut(BOARD, cells=4, slices=3)
    with_them, without = (
        warming(board, heater_of("air", 150.0), target_c=95.0, readings=tuple(one)) for one in (readings, ())
    )
    assert with_them.fit is not None and not with_them.fit.follows and "without them" in with_them.fit.words
    assert with_them.plan == without.plan and with_them.time_range_s == without.time_range_s
    assert not with_them.holds and without.holds


def test_the_time_is_open_to_forty_minutes_at_most() -> None:
    """A heater that hardly gets there: what is left open has no end in minutes that anybody waits for."""
    made = warming(cut(BOARD, cells=4, slices=3), heater_of("air", 128.0), target_c=97.0)
    assert made.time_range_s is None or made.time_range_s[1] <= 2400.0


@pytest.mark.parametrize(
    "readings",
    [[], [(0.0, 20.0)] * 5, [(0.0, 20.0), (10.0, 25.0), (5.0, 30.0), (20.0, 35.0)], [(0.0, 20.0), (10.0, math.nan), (20.0, 30.0), (30.0, 40.0)],
     [(0.0, 20.0), (10.0, 900.0), (20.0, 30.0), (30.0, 40.0)], [(-5.0, 20.0), (10.0, 25.0), (20.0, 30.0), (30.0, 40.0)]],
)  # fmt: skip
def test_readings_that_cannot_be(slab: Slab, readings: list[tuple[float, float]]) -> None:
    with pytest.raises(Refusal, match="HEA-008"):
        fit_model(slab, Heater("s", 150.0, 40.0), readings)


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("0;22.5\n30;31,5", ((0, 22.5), (30, 31.5))),
        ("time,temp\n0,22\n30,31.5\n", ((0, 22), (30, 31.5))),
        ("# by hand\n0 22\n\n30\t31.5", ((0, 22), (30, 31.5))),
        ("0.5 22,25\n1,5 23", ((0.5, 22.25), (1.5, 23))),
    ],
)
def test_readings_as_people_write_them(text: str, rows: tuple[tuple[float, float], ...]) -> None:
    assert readings_of(text) == rows


@pytest.mark.parametrize("text", ["0;22\n30;warm", "0 22 7\n1 2 3", "0;22\n30", "0;22x\n30;31"])
def test_lines_that_are_no_readings(text: str) -> None:
    with pytest.raises(Refusal, match=r"HEA-008.*Line [12]"):
        readings_of(text)


@pytest.mark.parametrize("text", ["abc", "", "\n \n", "# by hand\n", "seconds;degC\n"])
def test_readings_without_a_reading_are_refused_not_passed_over(text: str) -> None:
    with pytest.raises(Refusal, match=r"HEA-008.*No reading.*30;41\.5"):
        readings_of(text)


def test_a_plate_by_its_gap_and_what_cannot_be() -> None:
    assert heater_of("plate", 150.0, gap_mm=1.0).film_w_m2k == pytest.approx(30.0)  # 0.03 W/mK over 1 mm
    assert heater_of("air", 150.0).film_w_m2k == 40.0
    for kind, gap_mm in (("sun", None), ("plate", 0.0), ("plate", math.nan)):
        with pytest.raises(Refusal, match="HEA-002"):
            heater_of(kind, 150.0, gap_mm=gap_mm)


def test_the_demonstration_board_in_cells() -> None:
    """Its area is that of its outline, its copper what the layers hold: counted a second way, by area of the copper's polygons."""
    import shapely

    board = open_board("demo")
    fine = slab_of(board, cells=48)
    outline = shapely.Polygon(max(board.outline, key=len))
    assert float(fine.inside.sum()) * fine.area_m2 * 1e6 == pytest.approx(outline.area, rel=0.03)
    copper = sum(
        float(shapely.unary_union(layer.shapes.polygons()).area) * dict(board.copper_thickness_mm).get(layer.key, 0.035)
        for layer in board.layers
    )
    laminate = outline.area * board.thickness_mm * 1e-9 * 1850 * 1100
    told = laminate + copper * 1e-9 * 8960 * 385
    assert float(fine.heat.sum()) == pytest.approx(told, rel=0.03)


def test_a_board_from_a_list_has_no_body(tmp_path: Path) -> None:
    path = tmp_path / "pins.csv"
    path.write_text("part,pin,net\nU1,1,A0\nU1,2,A1\nU2,1,A0\nU2,2,A1\n", encoding="utf-8")
    board = open_board(str(path))
    with pytest.raises(Refusal, match="HEA-009"):
        slab_of(board)
    with pytest.raises(Refusal, match="ALY-010"):
        joints_of(board, "U1")


def test_odd_boards_are_answered() -> None:
    """Tons of parts, a board of a millimetre, a long strip warmed at its end: an answer in words each, no fault."""
    heavy = warming(cut(Build((100.0, 80.0), parts_g=1e9), cells=16), heater_of("air", 150.0), target_c=100.0)
    assert heavy.plan.time_s is None and heavy.time_range_s is None
    small = Build((1.0, 1.0))
    tiny = warming(
        cut(small, cells=16),
        heater_of("plate", 150.0, gap_mm=0.05),
        target_c=100.0,
        coarse=cut(small, cells=6, slices=3),
    )
    assert tiny.plan.time_s is not None
    strip = Build((900.0, 5.0))
    end = heater_of("air", 150.0, region_mm=(0.0, 0.0, 30.0, 5.0))
    made = warming(cut(strip), end, target_c=80.0, coarse=cut(strip, cells=12, slices=3))
    assert made.plan.words and made.plan.across_k >= 0


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_readings_or_refused(text: str) -> None:
    try:
        rows = readings_of(text)
    except Refusal as refused:
        assert refused.finding.code == "HEA-008" and refused.finding.remedy
    else:
        assert all(len(row) == 2 for row in rows)


def test_hot_air_after_preheat(slab: Slab) -> None:
    made = warming(slab, heater_of("air", 150.0), target_c=100.0)
    assert made.plan.time_s is not None and made.time_range_s is not None
    assert made.time_range_s[0] < made.plan.time_s < made.time_range_s[1]
    spot = hot_air(made, at_mm=(60.0, 45.0), diameter_mm=16.0, celsius=380.0, melt_c=203.0)
    cooler = hot_air(made, at_mm=(60.0, 45.0), diameter_mm=16.0, celsius=300.0, melt_c=203.0)
    assert spot.time_s is not None and cooler.time_s is not None and spot.time_s < cooler.time_s
    assert spot.spot_c > 203 and spot.over_tg_s > 0 and spot.around_c < spot.spot_c
    assert "holds little" in spot.words or "hold little" in spot.words
    weak = hot_air(made, at_mm=(60.0, 45.0), diameter_mm=16.0, celsius=210.0, melt_c=203.0)
    assert weak.time_s is None and "only at" in weak.words
    wrong = [
        ((500.0, 5.0), 16.0, 203.0, "c"),
        ((60.0, 45.0), 0.5, 203.0, "c"),
        ((60.0, 45.0), 16.0, 90.0, "c"),
        ((60.0, 45.0), 16.0, 203.0, "s"),
    ]
    for at, diameter, melt, side in wrong:
        with pytest.raises(Refusal):
            hot_air(made, at_mm=at, diameter_mm=diameter, celsius=350.0, melt_c=melt, side=side)


def test_limits_beside_a_spot_are_said_to_be_those_of_the_preheat() -> None:
    """The spot comes over the laminate's Tg, where lands lift (rework guide, docs/sources.md): that stands beside limits that the preheat keeps."""
    made = warming(cut(BOARD, cells=8, slices=3), heater_of("air", 135.0), target_c=95.0)
    assert made.holds and made.held_words == "Limits"
    cold = with_hot_air(made, at_mm=(60.0, 45.0), diameter_mm=8.0, celsius=350.0, melt_c=300.0)
    assert cold.spot is not None and cold.spot.time_s is None and cold.spot.over_tg_s > 0
    assert (
        not cold.holds
        and "above its glass transition" in cold.spot.words
        and "The spot is not among them" in cold.held_words
    )
    kept = warming_plan(cold)
    assert cold.held_words in kept["assumed"] and cold.held_words == cold.as_dict()["held_words"]
    assert with_hot_air(made, at_mm=(60.0, 45.0), diameter_mm=16.0, celsius=380.0, melt_c=203.0).holds


def test_a_thermocouple_off_the_board_is_refused_without_readings_too(slab: Slab) -> None:
    with pytest.raises(Refusal, match=r"HEA-004.*300, 300 mm is not on the board"):
        warming(slab, heater_of("air", 135.0), target_c=95.0, spot_mm=(300.0, 300.0))


def test_hot_air_on_a_wide_spot_is_a_slab() -> None:
    """A nozzle over the whole window: the face of a slab held by a film, and nothing beside it to lose heat to (lumped check after long time)."""
    window = cut(Build((20.0, 20.0), shares=(0.0, 0.0)), cells=4, slices=10)
    room = Room(20.0, still_w_m2k=1e-9)
    plan = plan_spot(window, Heater("c", 300.0, 150.0), [], melt_c=200.0, start_c=100.0, room=room)
    heat = 1850 * 1100 * 1.6e-3
    lumped_s = heat / 150.0 * math.log(200.0 / 100.0)
    assert plan.time_s is not None and plan.far_time_s is not None
    assert plan.time_s < lumped_s < plan.far_time_s
    assert (plan.time_s + plan.far_time_s) / 2 == pytest.approx(lumped_s, rel=0.15)


def test_a_heater_that_never_gets_there_keeps_no_lower_limit() -> None:
    """What was reached stands beside the 75 degC of preheat practice (docs/sources.md), not what was wished for: air of 60 degC warms nothing above 60."""
    plan = plan_heat(cut(Build((100.0, 80.0)), cells=8), Heater("s", 60.0, 40.0, 0.0, None), target_c=100.0, tg_c=120.0)
    (lowest,) = [one for one in plan.held if one.limit.name == "preheat of a board, lowest"]
    assert plan.time_s is None and lowest.found < 60.0 and not lowest.kept
