"""Checks put into a round that is left: all places at once against one place after the other with the cost table's own function."""

from __future__ import annotations

import numpy as np

from coppermend.core.copper.model import ProbePoint
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.merge import merged
from coppermend.core.planning.model import Check

COSTS = CostTable()


def _one_by_one(
    points: dict[str, ProbePoint], fresh: list[Check], waiting: list[Check], tips: TipState
) -> list[tuple[str, str]]:
    """By definition: each fresh check behind the first place from which nothing is cheaper, ahead when no place beats the tips as they are."""
    order, ahead = list(waiting), []
    for check in fresh:
        a, b = points[check.point_a], points[check.point_b]
        best, at = check_seconds(COSTS, tips, a, b)[0], 0
        for i, planned in enumerate(order):
            here = TipState(points[planned.point_a], points[planned.point_b], points[planned.point_a].side)
            cost = check_seconds(COSTS, here, a, b)[0]
            if cost < best - 1e-9:
                best, at = cost, i + 1
        if at:
            order.insert(at, check)
        else:
            ahead.append(check)
    return [(c.point_a, c.point_b) for c in (*ahead, *order)]


def test_every_check_goes_where_the_cost_table_says() -> None:
    """60 random rounds on a grid of 0.1 mm over 60 x 40 mm, both sides, distances of exactly 3 and 25 mm among them: the same order as one by one."""
    rng = np.random.default_rng(3)
    moved = 0
    for _ in range(60):
        points = {
            f"p{k}": ProbePoint(
                f"p{k}",
                k,
                0,
                float(rng.integers(0, 600)) / 10 if k % 3 else float(rng.integers(0, 3)) * 25.0 + 3.0 * (k % 2),
                float(rng.integers(0, 400)) / 10 if k % 3 else 0.0,
                "s" if rng.random() < 0.3 else "c",
            )
            for k in range(40)
        }
        checks = []
        for n in range(24):
            a, b = rng.choice(40, 2, replace=False).tolist()
            checks.append(Check(str(n), "continuity", f"p{a}", f"p{b}", "N", "N", None, (), float(n % 7), ""))
        waiting, fresh = checks[:16], checks[16:]
        tips = TipState(points["p1"], points["p2"], "c")
        got = merged(points, fresh, waiting, COSTS, tips)
        want = _one_by_one(points, fresh, waiting, tips)
        assert [(c.point_a, c.point_b) for c in got] == want
        moved += want[: len(fresh)] != [(c.point_a, c.point_b) for c in fresh]
    assert moved >= 50
