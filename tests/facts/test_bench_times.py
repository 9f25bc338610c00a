"""The bench's own times: factors put into simulated intervals come out again, a pause changes nothing, few readings change little (closed forms)."""

from __future__ import annotations

import numpy as np
import pytest

from coppermend.core.copper.model import ProbePoint
from coppermend.core.planning.bench_times import PRIOR_SD, Interval, bench_times, split
from coppermend.core.planning.costs import CostTable, TipState, check_seconds

COSTS = CostTable()


def moves(rng: np.random.Generator, count: int, tips: float, turn: float, scatter: float = 0.2) -> list[Interval]:
    """A walk over points of both sides; true seconds are the table's times a factor for tips and one for turning over."""
    points = [
        ProbePoint(f"p{k}", k, 0, float(rng.uniform(0, 80)), float(rng.uniform(0, 60)), "cs"[k % 2], "U1", str(k))
        for k in range(40)
    ]
    out = []
    at = (points[0], points[2])
    for _ in range(count):
        side = at[0].side if rng.random() < 0.7 else "cs"[at[0].side == "c"]
        same = [p for p in points if p.side == side]
        goal = (
            at[0] if side == at[0].side and rng.random() < 0.5 else same[int(rng.integers(len(same)))],
            same[int(rng.integers(len(same)))],
        )
        if goal[0].id == goal[1].id:
            continue
        row = split(COSTS, Interval(0.0, at, goal))
        true = float(row @ (tips, tips, tips, turn, 1.0)) * float(np.exp(rng.normal(0.0, scatter)))
        out.append(Interval(true, at, goal))
        at = goal
    return out


def test_the_parts_add_up_to_the_check() -> None:
    for one in moves(np.random.default_rng(1), 200, 1.0, 1.0):
        assert split(COSTS, one).sum() == pytest.approx(
            check_seconds(COSTS, TipState(*one.before, one.before[0].side), *one.after)[0]
        )


def test_the_factors_come_out() -> None:
    found = bench_times(COSTS, moves(np.random.default_rng(2), 400, 2.0, 0.5))
    factor = {a.act: a.factor for a in found.acts}
    assert factor["one tip"] == pytest.approx(2.0, rel=0.1) and factor["both tips"] == pytest.approx(2.0, rel=0.1)
    assert factor["turning over"] == pytest.approx(0.5, rel=0.15)
    assert found.costs.turn_s == pytest.approx(10.0, rel=0.15) and found.costs.move_s == pytest.approx(4.0, rel=0.1)
    assert abs(found.fitted_s / found.actual_s - 1.0) < 0.1 < abs(found.predicted_s / found.actual_s - 1.0)
    assert next(a for a in found.acts if a.act == "two sides").factor == 1.0


def test_pauses_and_typed_lists_are_left_out() -> None:
    rng = np.random.default_rng(3)
    walk = moves(rng, 100, 1.5, 1.0)
    spoilt = [
        *walk,
        *(Interval(3600.0, one.before, one.after) for one in walk[:20]),
        *(Interval(0.0, one.before, one.after) for one in walk[:20]),
    ]
    clean, found = bench_times(COSTS, walk), bench_times(COSTS, spoilt)
    assert found.left_out == 40 and found.costs == clean.costs


def test_one_interval_is_shrunk_as_the_gaussian_says() -> None:
    """One tip moved near-by taking 6 s instead of 3 s: factor 1 + w (2 - 1) with w = 9 / s^2 / (9 / s^2 + 1 / 0.25), s the scatter at the answer."""
    a, b, c = (ProbePoint(n, k, 0, 10.0 * k, 0, "c") for k, n in enumerate("abc"))
    found = bench_times(COSTS, [Interval(6.0, (a, b), (a, c))])
    f = found.acts[0].factor
    s = max(0.4 * 3.0 * f, 1.0)
    weight = min(1.0, 1.345 / ((6.0 - 3.0 * f) / s)) / s**2
    w = 9.0 * weight / (9.0 * weight + 1.0 / PRIOR_SD**2)
    assert f == pytest.approx(1.0 + w, abs=1e-6) and 1.0 < f < 2.0


def test_nothing_seen_changes_nothing() -> None:
    assert bench_times(COSTS, []).costs == COSTS


def test_a_poor_fit_says_why() -> None:
    """Even gaps leave nothing to say; where every third gap holds half a minute of something else, and where an act was seen twice, that is said."""
    walk = moves(np.random.default_rng(4), 300, 1.5, 1.0)
    good = bench_times(COSTS, walk)
    assert good.uneven < 0.25 and good.notes == ()
    spoilt = [Interval(one.seconds + 30.0 * (k % 3 == 0), one.before, one.after) for k, one in enumerate(walk)]
    poor = bench_times(COSTS, spoilt)
    assert 0.25 < poor.uneven < 0.5
    assert any(f"of {len(walk)} do not fit their acts" in note for note in poor.notes)
    assert any("not of the total" in note for note in poor.notes)
    few = bench_times(COSTS, walk[:12])
    assert any(note.startswith("Seen fewer than 10 times") and "one tip" in note for note in few.notes)
    assert bench_times(COSTS, []).notes == ("No time between two readings can be used: the table's own seconds stand.",)
