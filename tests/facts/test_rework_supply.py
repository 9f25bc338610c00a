"""Current limits and drops of the voltage-drop method against published values."""

from __future__ import annotations

import pytest

from coppermend.core.copper.model import Site, SiteKind
from coppermend.core.rework.supply import current_limit, mm_per_step, track_limit_a, warmth

MIL, OUNCE_MM = 0.0254, 1.378 * 0.0254


@pytest.mark.parametrize(
    ("mil", "outer_a", "inner_a"),
    [(10, 0.8855, 0.4428), (20, 1.4637, 0.7318), (50, 2.8441, 1.4221), (100, 4.7011, 2.3505)],
)
def test_ipc_2221_fit(mil: int, outer_a: float, inner_a: float) -> None:
    """I = k dT^0.44 A^0.725, k 0.048 outside and 0.024 inside, 10 K, 1.378 mil copper (a maker's trace calculator, docs/sources.md)."""
    assert track_limit_a(mil * MIL, OUNCE_MM) == pytest.approx(outer_a, rel=1e-3)
    assert track_limit_a(mil * MIL, OUNCE_MM, outer=False) == pytest.approx(inner_a, rel=1e-3)


def run(name: str, width: float, layer: str) -> Site:
    return Site(name, SiteKind.RUN, 0, 0, 1, layer, ((0, 0), (9, 0)), (width,), 9.0, width, 0.01)


def test_the_narrowest_track_sets_the_limit() -> None:
    """An inner track of the same width carries half of an outer one (IPC-2221); nothing narrow: the general limit of 1 A."""
    outer, inner, rail = run("o", 0.2, "s"), run("i", 0.2, "i1"), run("r", 2.0, "c")
    assert current_limit([outer, rail], {}).site == "o"
    assert current_limit([outer, inner, rail], {}).site == "i"
    assert current_limit([rail], {}).limit_a == 1.0
    assert current_limit([outer, rail], {}).limit_a <= track_limit_a(0.2)


def test_millimetres_a_digit_stands_for() -> None:
    """100 mm of 0.25 mm x 35 um have 197.04 milliohm at 20 degC (shared check values, 1/58): at 1 A a digit of 0.1 mV is 0.0508 mm."""
    assert mm_per_step(1.0, 0.25, 0.035, 0.1) == pytest.approx(0.1e-3 / (197.04e-3 / 100), rel=1e-3)
    assert mm_per_step(0.1, 0.25, 0.035, 1.0) == pytest.approx(100 * mm_per_step(1.0, 0.25, 0.035, 0.1), rel=1e-9)


def test_warmth_is_power_times_resistance() -> None:
    """Joule: P = I^2 R; a bridge of 10 milliohm at 0.1 A is too little for a camera, one of 1 ohm at 0.3 A is not."""
    assert warmth(0.5, 0.02, 100.0).watt == pytest.approx(0.005)
    assert not warmth(0.1, 0.01, 100.0).seen and warmth(0.3, 1.0, 100.0).seen
