"""Outliers in small samples against the handbook and scipy, and like pins: what is odd, what is too few, what is only another meter."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from coppermend.core.compare.like import Group, Measured, against, between, like_groups
from coppermend.core.compare.outliers import grubbs_limit, grubbs_p, outliers


# ---- the statistic ----
def test_the_handbook_example() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.17.1 (from memory): eight uranium ratios, 245.57 has G = 2.4687, the one-sided 5 % limit is 2.032."""
    values = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    (found,) = outliers(values, 0.05)
    assert found.index == 7 and found.g == pytest.approx(2.4687, abs=2e-4)
    assert grubbs_limit(8, 2 * 0.05) == pytest.approx(2.032, abs=1e-3)


@pytest.mark.parametrize(
    ("n", "limit"), [(3, 1.155), (4, 1.481), (5, 1.715), (6, 1.887), (7, 2.020), (8, 2.126), (10, 2.290), (20, 2.709)]
)
def test_limits_are_the_published_ones(n: int, limit: float) -> None:
    """Grubbs 1969, two-sided 5 % (the table in ASTM E178 and ISO 5725-2, upper 2.5 %; from memory)."""
    assert grubbs_limit(n, 0.05) == pytest.approx(limit, abs=1.5e-3)


@pytest.mark.parametrize("n", [3, 4, 6, 8, 12])
def test_limits_and_chances_are_scipys(n: int) -> None:
    """The closed form with scipy.stats' Student distribution."""
    t = stats.t.isf(0.01 / (2 * n), n - 2)
    assert grubbs_limit(n, 0.01) == pytest.approx((n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t)), rel=1e-9)
    assert grubbs_p(grubbs_limit(n, 0.01), n) == pytest.approx(0.01, rel=1e-6)


def test_sound_groups_are_called_odd_as_seldom_as_said() -> None:
    """20,000 normal samples of eight (seed 3): at alpha 0.05 the farthest passes in 5 % (the bound is exact there; binomial 3 sigma is 0.5 %)."""
    rows = np.random.default_rng(3).normal(size=(20_000, 8))
    g = np.abs(rows - rows.mean(axis=1, keepdims=True)).max(axis=1) / rows.std(axis=1, ddof=1)
    share = float((g > grubbs_limit(8, 0.05)).mean())
    assert share == pytest.approx(0.05, abs=0.005)


def test_two_odd_ones_do_not_hide_each_other() -> None:
    """Rosner's reason for repeating the test: one step alone finds none of two alike."""
    values = [0.601, 0.603, 0.599, 0.602, 0.600, 0.604, 0.598, 0.601, 0.100, 0.102]
    assert {one.index for one in outliers(values, 0.01)} == {8, 9}
    g = (max(abs(v - np.mean(values)) for v in values)) / np.std(values, ddof=1)
    assert g < grubbs_limit(10, 0.01)


def test_the_chance_is_that_of_the_pin_itself() -> None:
    """Two odd ones: the farther one's own step passes no limit (p about 0.6 beside the other), each among the six sound ones does by far."""
    values = [0.600, 0.601, 0.250, 0.260, 0.602, 0.599, 0.600, 0.603]
    found = outliers(values, 0.01)
    assert {one.index for one in found} == {2, 3} and all(one.p < 0.01 for one in found)
    six = [v for v in values if v > 0.5]
    for one in found:
        rows = np.array([*six, values[one.index]])
        g = abs(values[one.index] - rows.mean()) / rows.std(ddof=1)
        t = math.sqrt(7 * 5 * g * g / (36 - 7 * g * g))
        assert one.p == pytest.approx(min(1.0, 14 * stats.t.sf(t, 5)), rel=1e-6)


def test_fewer_than_three_have_no_outlier() -> None:
    assert outliers([0.1, 0.9]) == () and outliers([]) == ()
    with pytest.raises(ValueError, match="three"):
        grubbs_limit(2, 0.05)


# ---- pins ----
def bus(values: list[float | None], kind: str = "diode") -> list[Measured]:
    return [Measured(f"U1.{k}", f"D{k}", kind, v, "GND", False, ("U1 D#",)) for k, v in enumerate(values)]


@pytest.mark.parametrize(
    ("values", "odd"),
    [
        ([0.601, 0.604, 0.600, 0.602, 0.599, 0.603, 0.601, 0.211], ["U1.7"]),
        ([0.601, 0.604, 0.600, 0.602, 0.599, 0.603, 0.601, None], ["U1.7"]),
        ([0.601, 0.604, 0.600, 0.001, 0.599, 0.603, 0.601, 0.605], ["U1.3"]),
        ([0.600, 0.600, 0.600, 0.600, 0.600, 0.600, 0.600, 0.612], []),
        ([None, None, None, None, None, None, None, 0.4], ["U1.7"]),
        ([0.60, 0.20], []),
    ],
)
def test_like_pins_in_diode_mode(values: list[float | None], odd: list[str]) -> None:
    """By construction: one input whose protection junction is open, shorted or lower; 12 mV among sound ones is nothing."""
    (group,) = like_groups(bus(values))
    assert [one.pin for one in group.odd] == odd
    if len(values) == 2:
        assert "too few" in group.words


def test_ohms_are_compared_by_ratio() -> None:
    (group,) = like_groups(bus([10_000.0, 10_100.0, 9_950.0, 10_020.0, 9_990.0, 100.0, 10_060.0, 10_010.0], "ohms"))
    assert [one.pin for one in group.odd] == ["U1.5"] and "100 ohm, the others 1" in group.odd[0].words


def test_only_readings_taken_alike_are_compared_and_the_last_counts() -> None:
    rows = bus([0.60, 0.61, 0.60, 0.20])
    red = [Measured(one.pin, one.net, one.kind, 1.2, one.reference, True, one.like) for one in rows[:3]]
    again = Measured("U1.3", "D3", "diode", 0.605, "GND", False, ("U1 D#",))
    groups = like_groups([*rows, *red, again])
    assert len(groups) == 2 and not any(one.odd for one in groups)


def test_another_meter_shifts_all_and_hides_nothing() -> None:
    """A meter with another test current reads every junction alike higher; the one pin that differs otherwise is the odd one."""
    mine = bus([0.55, 0.60, 0.65, 0.58, 0.62, 0.50])
    good = bus([v + 0.05 + (0.3 if k == 2 else 0.0) for k, v in enumerate([0.55, 0.60, 0.65, 0.58, 0.62, 0.50])])
    (group,) = against(mine, good, "good")
    assert [one.pin for one in group.odd] == ["U1.2"]
    assert group.middle == pytest.approx(-0.05)


def board(values: list[float | None]) -> list[Measured]:
    """Readings without like pins, so that other boards alone decide."""
    return [Measured(one.pin, one.net, one.kind, one.value, one.reference, one.red) for one in bus(values)]


SOUND: list[float | None] = [0.600, 0.601, 0.602, 0.603, 0.604, 0.605, 0.606, 0.607]
FAULTY: list[float | None] = [*SOUND[:6], 0.799, SOUND[7]]


def marks(groups: tuple[Group, ...]) -> list[tuple[list[str], list[str]]]:
    return [([one.pin for one in group.odd], [one.pin for one in group.differ]) for group in groups]


def test_a_difference_is_between_two_boards_until_a_third_agrees() -> None:
    """By construction: of two boards nobody knows which is sound; of three the one that stands alone is odd."""
    one, bad = board(SOUND), board(FAULTY)
    assert marks(between(one, [("b", bad)])) == [([], ["U1.6"])]
    assert marks(between(bad, [("a", one)])) == [([], ["U1.6"])]
    assert marks(between(one, [("b", bad), ("c", board(SOUND))])) == [([], []), ([], [])]
    assert marks(between(bad, [("a", one), ("c", board(SOUND))])) == [(["U1.6"], []), (["U1.6"], [])]
    split = between(one, [("b", bad), ("c", board([*SOUND[:6], 0.2, SOUND[7]]))])
    assert marks(split) == [([], ["U1.6"]), ([], ["U1.6"])], "three boards, three values: nobody knows"


def test_like_pins_say_whose_difference_it_is() -> None:
    """The other board's pin is odd among its own like pins: this one's is not; and the other way round."""
    (theirs,) = between(bus(SOUND), [("b", bus(FAULTY))])
    assert marks((theirs,)) == [([], [])] and "odd one among its like pins" in theirs.members[6].words
    (ours,) = between(bus(FAULTY), [("a", bus(SOUND))])
    assert marks((ours,)) == [(["U1.6"], [])] and "odd among its like pins here" in ours.odd[0].words
    (gone,) = between(bus([*SOUND[:6], None, SOUND[7]]), [("a", bus(SOUND))])
    assert marks((gone,)) == [(["U1.6"], [])], "overload among values"
