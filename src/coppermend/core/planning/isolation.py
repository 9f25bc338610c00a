"""Isolation checks: which neighbouring nets could be bridged in the work area, the likeliest first."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Protocol

from coppermend.core.belief.copper import Copper
from coppermend.core.belief.engine import CopperBelief
from coppermend.core.copper.model import ProbePoint
from coppermend.core.planning.clips import clipped, order_with_clips
from coppermend.core.planning.costs import CostTable, TipState
from coppermend.core.planning.describe import needs_words
from coppermend.core.planning.model import Check
from coppermend.core.planning.touching import settled
from coppermend.core.planning.tour import plan_tour


class NeighbourPair(Protocol):
    """Two nets near each other, as ``core.copper.neighbours`` finds them."""

    @property
    def net_a(self) -> int:
        """Index of one net."""

    @property
    def net_b(self) -> int:
        """Index of the other net."""

    @property
    def point_a(self) -> str:
        """Id of the nearest probe point of the one net."""

    @property
    def point_b(self) -> str:
        """Id of the nearest probe point of the other."""

    @property
    def gap_mm(self) -> float:
        """Edge-to-edge gap."""

    @property
    def kind(self) -> str:
        """What lies next to what: adjacent soldered pins, pad and track, track and track."""


@dataclass(frozen=True, slots=True)
class Neighbours:
    """A plain value that fulfils NeighbourPair."""

    net_a: int
    net_b: int
    point_a: str
    point_b: str
    gap_mm: float
    kind: str = "track-track"


def rank(pair: NeighbourPair) -> int:
    """0 for adjacent soldered pins, 1 where a pad is one of the two, 2 for two tracks: how likely a bridge is, common practice, no source."""
    kind = pair.kind.lower()
    if "pins" in kind or "joint" in kind:
        return 0
    return 1 if "pad" in kind or "land" in kind else 2


RANK_WORDS = ("adjacent soldered pins", "a land beside a track", "two tracks side by side")


def isolation_checks(
    posterior: CopperBelief,
    neighbours: Sequence[NeighbourPair],
    costs: CostTable,
    tips: TipState,
    *,
    skipped: Collection[str] = (),
    seed: int = 0,
) -> tuple[tuple[Check, ...], TipState]:
    """The isolation checks that are still to be done, in order, and where the tips are after them.

    One check for a pair of nets, at their nearest points; pairs that have read open, with nothing left of a short, are left out. Likely bridges come first; inside one rank
    the order costs the least moving.
    """
    copper = posterior.copper
    done = _read_pairs(copper, posterior)
    best: dict[tuple[int, int], tuple[int, float, NeighbourPair, ProbePoint, ProbePoint]] = {}
    for pair in neighbours:
        a, b = copper.points.get(pair.point_a), copper.points.get(pair.point_b)
        if a is None or b is None or not a.reachable or not b.reachable or a.id in skipped or b.id in skipped:
            continue
        pieces = _pieces(copper, a.node, b.node)
        if pieces[0] == pieces[1] or pieces in done:
            continue
        entry = (rank(pair), pair.gap_mm, pair, a, b)
        if pieces not in best or entry[:2] < best[pieces][:2]:
            best[pieces] = entry
    checks: list[Check] = []
    for level in range(len(RANK_WORDS)):
        mine = [entry for entry in best.values() if entry[0] == level]
        tour = plan_tour([[(e[3], e[4])] for e in mine], costs, tips, seed=seed, tries=4)
        rows = [mine[i] for i in tour.order]
        order, stops = order_with_clips([(e[3], e[4]) for e in rows], costs, tips)
        for k, stop in zip(order, stops, strict=True):
            _, gap, _, a, b = rows[k]
            checks.append(clipped(_check(copper, a, b, gap, level, stop.seconds, stop.turned), stop))
            tips = stop.tips
    return tuple(checks), tips


def _check(copper: Copper, a: ProbePoint, b: ProbePoint, gap: float, level: int, seconds: float, turned: bool) -> Check:
    names = copper.graph.net_names
    return Check(
        f"isolation:{a.id}:{b.id}",
        "isolation",
        a.id,
        b.id,
        names[a.net],
        names[b.net],
        None,
        (),
        seconds,
        f"{RANK_WORDS[level]}, {max(gap, 0.0):.2f} mm apart: must read open",
        needs_words(a, b),
        turned,
    )


def _pieces(copper: Copper, node_a: int, node_b: int) -> tuple[int, int]:
    a, b = copper.tree.piece[node_a], copper.tree.piece[node_b]
    return (min(a, b), max(a, b))


def _read_pairs(copper: Copper, posterior: CopperBelief) -> set[tuple[int, int]]:
    """The pairs of pieces that readings have shown apart; a pair that read closed is not done."""
    return {
        _pieces(copper, copper.points[one.point_a].node, copper.points[one.point_b].node)
        for one in posterior.shorts
        if settled(one, posterior.basis)
    }
