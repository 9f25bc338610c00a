"""What this bench's own log says of its speed: seconds between readings, fitted to the acts of the cost table.

Between two readings lie what the cost table calls a reading, a move of one or both tips (near, far), turning the board over, tips on two sides.
The seconds of each are those of the table times a factor of its own; the factors are fitted by weighted least squares with Huber weights (P. J. Huber,
Ann. Math. Stat. 35 (1964)) and drawn towards 1 by a Gaussian prior: few readings change little, and a pause for coffee changes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coppermend.core.copper.model import ProbePoint
from coppermend.core.planning.costs import CostTable, TipState, check_seconds

ACTS = ("one tip", "both tips", "far", "turning over", "two sides")
"""The acts that are told apart: a reading with one tip moved, with both, the extra of a far move, of turning over, of tips on two sides."""
PRIOR_SD = 0.5
"""How far a bench may be from the table before anything was seen: factor 1 +- 0.5 (an assumption)."""
NOISE = 0.4
"""Scatter of one act about its time, relative; at least NOISE_S (an assumption)."""
NOISE_S = 1.0
HUBER = 1.345
"""Residuals beyond this many of their deviations count less: 95 % efficiency for Gaussian ones (Huber's constant, from memory)."""
PAUSE = 6.0
"""An interval longer than this times the table's seconds, plus a minute, is a pause and is left out; so is one of under 0.3 s (a list typed in)."""
TYPED_S = 0.3
LOW, HIGH = 0.2, 5.0
"""Factors are kept inside this."""
FEW = 10
"""An act seen less often than this keeps much of the table's time (an assumption)."""
UNEVEN = 0.25
"""More than this share of the times beyond HUBER deviations of the fit: the gaps are uneven (a Gaussian leaves 18 %; the rest is an assumption)."""
APART = 0.15
"""The fit is called poor when its total differs from what it took by more than this share."""


@dataclass(frozen=True, slots=True)
class Interval:
    """Seconds from one reading to the next on one bench, and where the tips were before and after."""

    seconds: float
    before: tuple[ProbePoint, ProbePoint]
    after: tuple[ProbePoint, ProbePoint]


@dataclass(frozen=True, slots=True)
class ActTime:
    """One act: how often it was seen, the table's seconds, the bench's own by the fit, and the factor between them with its standard deviation."""

    act: str
    seen: int
    table_s: float
    bench_s: float
    factor: float
    sd: float


@dataclass(frozen=True, slots=True)
class BenchTimes:
    """The fit. ``used`` intervals, ``left_out`` pauses and typed lists; predicted by the table, by the fitted table, and what it took, in seconds."""

    acts: tuple[ActTime, ...]
    used: int
    left_out: int
    predicted_s: float
    fitted_s: float
    actual_s: float
    costs: CostTable
    uneven: float = 0.0
    """Share of the used intervals that lie more than HUBER deviations from the fit."""
    notes: tuple[str, ...] = ()
    """Why the fit is to be taken with care, in words; empty when it is a good one."""


def split(costs: CostTable, one: Interval) -> NDArray[np.float64]:
    """(5,) the table's seconds of one interval by ACTS; their sum is ``check_seconds`` of the same move.

    >>> a, b, c = (ProbePoint(n, k, 0, 10.0 * k, 0, "c") for k, n in enumerate("abc"))
    >>> split(CostTable(), Interval(4.0, (a, b), (a, c))).tolist()
    [3.0, 0.0, 0.0, 0.0, 0.0]
    """
    a, b = one.after
    up = one.before[0].side if one.before[0].side == one.before[1].side else one.after[0].side
    tips = TipState(*one.before, up)
    flat = replace(costs, far_s=0.0, turn_s=0.0, mixed_s=0.0)
    whole = check_seconds(costs, tips, a, b)[0]
    base = check_seconds(flat, tips, a, b)[0]
    turned = costs.turn_s if a.side == b.side and a.side != up else 0.0
    mixed = costs.mixed_s if a.side != b.side else 0.0
    kept = {one.before[0].id, one.before[1].id} & {a.id, b.id}
    moved_both = not kept or bool(turned)
    return np.array(
        [0.0 if moved_both else base, base if moved_both else 0.0, whole - base - turned - mixed, turned, mixed]
    )


def bench_times(costs: CostTable, intervals: Sequence[Interval]) -> BenchTimes:
    """The bench's own times from the intervals of its log. Without usable intervals all factors are 1."""
    rows = [(one, split(costs, one)) for one in intervals]
    usable = [(one, row) for one, row in rows if TYPED_S <= one.seconds <= PAUSE * row.sum() + 60.0]
    x = np.array([row for _, row in usable]).reshape(-1, len(ACTS))
    y = np.array([one.seconds for one, _ in usable])
    factor, sd = _robust(x, y)
    seen = (x > 0).sum(axis=0)
    mean = np.array([x[x[:, k] > 0, k].mean() if seen[k] else 0.0 for k in range(len(ACTS))])
    acts = tuple(
        ActTime(ACTS[k], int(seen[k]), round(float(mean[k]), 2), round(float(mean[k] * factor[k]), 2), float(factor[k]), float(sd[k]))
        for k in range(len(ACTS))
    )  # fmt: skip
    fitted = x @ factor
    beyond = np.abs(y - fitted) / np.maximum(NOISE * fitted, NOISE_S) > HUBER
    totals = (float(x.sum()), float(fitted.sum()), float(y.sum()))
    return BenchTimes(
        acts,
        len(usable),
        len(rows) - len(usable),
        *totals,
        _table(costs, factor, seen),
        float(beyond.mean()) if len(y) else 0.0,
        _notes(acts, totals, int((beyond & (y > fitted)).sum()), int(beyond.sum()), len(y)),
    )


def _notes(
    acts: Sequence[ActTime], totals: tuple[float, float, float], slow: int, beyond: int, used: int
) -> tuple[str, ...]:
    """Why a fit is poor, in words. ``slow`` of the ``beyond`` intervals that do not fit took longer than the fit says."""
    found: list[str] = []
    if not used:
        return ("No time between two readings can be used: the table's own seconds stand.",)
    rare = [f"{one.act} ({one.seen})" for one in acts if 0 < one.seen < FEW]
    if rare:
        found.append(f"Seen fewer than {FEW} times, so still near the table: {', '.join(rare)}.")
    if beyond > UNEVEN * used:
        found.append(
            f"The gaps are uneven: {beyond} of {used} do not fit their acts, {slow} of them longer. Something the table does not know lies between "
            "those readings (looking for the pin, writing, talking); they count less."
        )
    _, fitted, actual = totals
    if abs(fitted - actual) > APART * actual:
        found.append(
            f"With these factors the readings come to {fitted:.0f} s and took {actual:.0f} s: the factors are those of the usual gap, not of the total."
        )
    if abs(fitted - actual) > abs(totals[0] - actual):
        found.append("The table's own seconds come nearer to the total than these factors.")
    return tuple(found)


def _robust(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(5,) factors and their standard deviations: iterated weighted least squares about the prior 1 +- PRIOR_SD."""
    prior = np.eye(len(ACTS)) / PRIOR_SD**2
    factor = np.ones(len(ACTS))
    precision = prior
    for _ in range(50):
        spread = np.maximum(NOISE * (x @ factor), NOISE_S)
        z = (y - x @ factor) / spread
        weight = np.minimum(1.0, HUBER / np.maximum(np.abs(z), 1e-9)) / spread**2
        precision = (x * weight[:, None]).T @ x + prior
        new = np.clip(np.linalg.solve(precision, (x * weight[:, None]).T @ y + prior @ np.ones(len(ACTS))), LOW, HIGH)
        if np.abs(new - factor).max() < 1e-10:
            break
        factor = new
    return factor, np.sqrt(np.diag(np.linalg.inv(precision)))


def _table(costs: CostTable, factor: NDArray[np.float64], seen: NDArray[np.int64]) -> CostTable:
    """The cost table of this bench: reading and moves by the two tip factors (weighed by how often each was seen), far, turning and two sides by their own."""
    tips = float((factor[:2] * (seen[:2] + 1)).sum() / (seen[:2] + 1).sum())
    return replace(
        costs,
        read_s=round(costs.read_s * tips, 3),
        move_s=round(costs.move_s * tips, 3),
        near_s=round(costs.near_s * tips, 3),
        far_s=round(costs.far_s * float(factor[2]), 3),
        turn_s=round(costs.turn_s * float(factor[3]), 3),
        mixed_s=round(costs.mixed_s * float(factor[4]), 3),
    )
