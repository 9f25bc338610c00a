"""Up to eight checks on copper that nobody touched, before the first round: do the map and this board agree?

Chosen where another board would differ most often: long nets of many pins, between far pins of different parts, each part once where that can be.
A closed reading there costs seconds; a round planned on a wrong map costs the day.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from coppermend.core.belief.copper import Copper, copper_of
from coppermend.core.belief.engine import prior_of
from coppermend.core.belief.maptrust import DOUBT, MAP_WRONG, TRUST, MapReading, map_readings, old_break, p_map_wrong
from coppermend.core.belief.model import Basis, Evidence, WorkArea
from coppermend.core.belief.priors import area_factors
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.describe import continuity_check, tips_words
from coppermend.core.planning.model import Check, NextStep

MOST = 8
LARGEST_NET = 40
"""Nets of more pins (supplies) are left out: they are alike on every revision."""
POINTS_TRIED = 24


@dataclass(frozen=True, slots=True)
class MapTrust:
    """Where the map stands: P(map wrong), the readings that speak of it, the checks that were chosen, and those of them not read yet."""

    p_wrong: float
    readings: tuple[MapReading, ...]
    chosen: tuple[Check, ...]
    left: tuple[Check, ...]
    agreed: bool = False
    """Map and board were compared by hand and said to agree, and no reading since then differs."""

    @property
    def contradictions(self) -> tuple[MapReading, ...]:
        """Readings on untouched copper that differ from the map."""
        return tuple(r for r in self.readings if r.contradicts)

    @property
    def state(self) -> str:
        """agreed (said by hand), wrong, trusted, open (checks are left), or undecided."""
        if self.agreed:
            return "agreed"
        if self.p_wrong > DOUBT:
            return "wrong"
        if self.p_wrong < TRUST:
            return "trusted"
        return "open" if self.left else "undecided"

    @property
    def words(self) -> str:
        """Where the map stands, in a sentence."""
        share = f"P(map wrong) {self.p_wrong:.3f} after {len(self.readings)} readings on untouched copper"
        if self.state == "agreed":
            alone = f"The readings on untouched copper alone ({len(self.readings)}) would leave P(map wrong) at {self.p_wrong:.3f}"
            return f"Map and board were compared and agree, as was noted; that counts. {alone}."
        if self.state == "wrong":
            places = "; ".join(
                f"{r.point_a} to {r.point_b} is {'closed' if r.closed else 'open'}" for r in self.contradictions[:4]
            )
            return f"Map and board do not agree: {places}. {share}. Compare type, revision and date on the board before going on."
        if self.state == "trusted":
            return f"Map and board agree. {share}."
        return f"Not known yet whether map and board agree. {share}."


def map_trust(
    graph: CopperGraph, areas: Sequence[WorkArea], evidence: Sequence[Evidence], basis: Basis, costs: CostTable,
    tips: TipState | None = None, most: int = MOST, skipped: Collection[str] = (), before: float = MAP_WRONG,
    chosen: Sequence[Check] | None = None,
) -> MapTrust:  # fmt: skip
    """Whether the map is of this board as far as the readings say, and the checks that would tell. The same board and areas give the same checks.

    ``before``: P(map wrong) before any reading. ``chosen``: the checks, where they were chosen before.
    """
    copper = copper_of(graph, basis.closed_below_ohm)
    said = map_readings(copper, areas, evidence, basis)
    if chosen is None:
        chosen = map_checks(copper, areas, basis, costs, tips or TipState(), pins_of_nets(graph), most, skipped)
    asked = {frozenset((e.point_a, e.point_b)) for e in evidence}
    left = tuple(c for c in chosen if frozenset((c.point_a, c.point_b)) not in asked)
    return MapTrust(p_map_wrong(said, before), said, tuple(chosen), left)


def pins_of_nets(graph: CopperGraph) -> list[int]:
    """Number of pins by net index."""
    found: list[set[str]] = [set() for _ in graph.net_names]
    for pin in graph.pins:
        if 0 <= pin.net < len(found):
            found[pin.net].add(pin.name)
    for point in graph.points:
        if point.part:
            found[point.net].add(f"{point.part}.{point.pin}")
    return [len(one) for one in found]


def map_checks(
    copper: Copper, areas: Sequence[WorkArea], basis: Basis, costs: CostTable, tips: TipState, pins: Sequence[int],
    most: int = MOST, skipped: Collection[str] = (),
) -> tuple[Check, ...]:  # fmt: skip
    """At most ``most`` checks on untouched copper, the one that another board fails most often first; parts not asked yet count more."""
    chance, touched = prior_of(copper.graph, areas, basis), area_factors(copper.graph, areas, basis) > 0.0
    nets: dict[int, list[ProbePoint]] = {}
    for point in copper.graph.points:
        if point.reachable and point.part and point.id not in set(skipped):
            nets.setdefault(point.net, []).append(point)
    rows: list[tuple[float, ProbePoint, ProbePoint]] = []
    for net, points in nets.items():
        if 2 <= pins[net] <= LARGEST_NET:
            pair = _far_pair(copper, chance, touched, points)
            if pair is not None:
                apart = math.dist((pair[0].x_mm, pair[0].y_mm), (pair[1].x_mm, pair[1].y_mm))
                rows.append((math.log1p(pins[net]) * math.log1p(apart), *pair))
    out: list[Check] = []
    used: dict[str, int] = {}
    while rows and len(out) < most:
        k = max(
            range(len(rows)),
            key=lambda i: (
                rows[i][0] * 0.5 ** (used.get(rows[i][1].part, 0) + used.get(rows[i][2].part, 0)),
                rows[i][1].id,
            ),
        )
        _, a, b = rows.pop(k)
        for part in (a.part, b.part):
            used[part] = used.get(part, 0) + 1
        seconds, tips = check_seconds(costs, tips, a, b)
        reason = f"untouched net of {pins[a.net]} pins, far ends: another board or revision would show here first"
        out.append(continuity_check(copper, a, b, seconds, reason))
    return tuple(out)


def _far_pair(
    copper: Copper, chance: np.ndarray, touched: np.ndarray, points: Sequence[ProbePoint]
) -> tuple[ProbePoint, ProbePoint] | None:
    """The two points of a net furthest apart, on different parts and one side, with a way that no work area touches."""
    one_a_pin: dict[tuple[str, str, str], ProbePoint] = {}
    for point in sorted(points, key=lambda p: p.id):
        one_a_pin.setdefault((point.part, point.pin, point.side), point)
    tried = list(one_a_pin.values())[:POINTS_TRIED]
    pairs = sorted(
        ((math.dist((a.x_mm, a.y_mm), (b.x_mm, b.y_mm)), a.id, b.id, a, b) for i, a in enumerate(tried) for b in tried[i + 1 :] if a.part != b.part and a.side == b.side),
        key=lambda row: (-row[0], row[1], row[2]),
    )  # fmt: skip
    for _, _, _, a, b in pairs[:40]:
        if (
            copper.tree.piece[a.node] == copper.tree.piece[b.node]
            and old_break(copper, chance, touched, a.node, b.node) is not None
        ):
            return a, b
    return None


def map_step(trust: MapTrust, graph: CopperGraph) -> NextStep | None:
    """The next check on the map, or word that it is wrong; None when the map is trusted or nothing is left to ask: go on with the round."""
    if trust.state == "wrong" and all(r.times >= 2 for r in trust.contradictions):
        return NextStep(
            "look",
            trust.words,
            "every plan stands on the map",
            0.0,
            0.0,
            notes=(
                "Name the right package: coppermend case board CASE --board PACKAGE --changed.",
                "Or correct the map at that place: coppermend map fix CASE joined A B, or apart A where A is not on the map's net.",
            ),
        )
    again = next((r for r in trust.contradictions if r.times < 2), None)
    if again is not None:
        return _again(trust, graph, again)
    if trust.state == "trusted" or not trust.left:
        return None
    check = trust.left[0]
    a, b = graph.point(check.point_a), graph.point(check.point_b)
    words = tips_words(a, b)
    return NextStep(
        "check",
        words,
        check.reason,
        check.seconds,
        _bits(trust),
        check=check,
        left=len(trust.left) - 1,
        left_seconds=sum(c.seconds for c in trust.left[1:]),
    )


def _again(trust: MapTrust, graph: CopperGraph, one: MapReading) -> NextStep:
    """The reading that differs from the map once more: a tip that did not bite is likelier than another board."""
    a, b = graph.point(one.point_a), graph.point(one.point_b)
    reason = f"it read {'closed' if one.closed else 'open'} against the map on copper that nobody touched: scrape both points and read it again"
    if one.joined:
        check = continuity_check(copper_of(graph), a, b, 5.0, reason)
    else:
        names = (graph.net_names[a.net], graph.net_names[b.net])
        check = Check(f"isolation:{a.id}:{b.id}", "isolation", a.id, b.id, *names, None, (), 5.0, reason)
    words = tips_words(a, b)
    return NextStep("retest", words, reason, 5.0, _bits(trust), check=check, left=len(trust.left))


def _bits(trust: MapTrust) -> float:
    """Entropy of "the map is wrong" spread over the checks that are left: what one of them is worth, in bits."""
    p = min(max(trust.p_wrong, 1e-12), 1 - 1e-12)
    whole = -(p * math.log2(p) + (1 - p) * math.log2(1 - p))
    return whole / max(len(trust.left), 1)
