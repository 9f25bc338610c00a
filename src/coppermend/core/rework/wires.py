"""Which patch wires restore a net: the least set over all pieces that it fell into, with gauge, lengths, alternatives and what to mind.

Taking each break by itself fails where several breaks share a net (a wire may end on a piece that is itself cut off), so the net is
planned as a whole: pieces by union-find, the nearest pair of solderable ends per pair of pieces, a spanning tree over the pieces that
hold a needed pin, detours over other pieces tried exactly.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise, product
from math import hypot

import numpy as np
from numpy.typing import NDArray

from coppermend.core.board.model import Board
from coppermend.core.board.pinboard import made_up_places
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.findings import Place, refuse
from coppermend.core.rework.bare import WIRE_RADIUS_MM
from coppermend.core.rework.gauge import BENCH_GAUGES, Gauge, choose_gauge
from coppermend.core.rework.insulation import insulation_of
from coppermend.core.rework.joins import Join, Joins, Places, places_of
from coppermend.core.rework.least import least_joins
from coppermend.core.rework.over import lies_over, over_words
from coppermend.core.rework.pieces import (
    Difficulty,
    Piece,
    WireEnd,
    components,
    net_of_sites,
    nodes_of,
    pieces_of,
    pins_of,
    points_of,
    sites_of,
)
from coppermend.core.rework.routes import KeepOut, Ways, fixing_dots
from coppermend.core.rework.routes_places import scraped_ends
from coppermend.core.rework.rules import WIRE_ASSUMED, WIRE_CAUTIONS, WIRE_RULES, Rule
from coppermend.core.units import COPPER_THICKNESS_MM

STRIP_MM = 3.0
"""Insulation taken off at each end. Common practice, no source."""

SLACK_MM = 3.0
"""Spare length so that the wire lies without pull. Common practice, no source."""

WALL_MM = 0.125
"""Insulation round a wire's copper at the least: wrap wire of 30 AWG measures 0.5 mm outside. From memory of data sheets."""

NEAREST_THING = "Nearest thing to do: allow one of these places (--allow PART), take the other side (--side), or take the part out and lay the wire there."

OTHER_REMEDY = {
    SiteKind.CONTACT: "is a socket contact: clean or reseat it, or put in a new socket; a wire is the last resort",
    SiteKind.JOINT: "is a solder joint: solder it again before you lay a wire",
    SiteKind.LEG: "is a part's leg: look at the part before you lay a wire",
    SiteKind.WIRE: "is an earlier patch wire: solder its ends again or replace it",
}


@dataclass(frozen=True, slots=True)
class Wire:
    """One patch wire: its two ends, ``side`` (c, s or both), ``straight_mm``, ``cut_mm`` to cut it to, its ``gauge``.

    ``replaces_ohm`` and ``replaces_width_mm``: resistance and narrowest width of the sound copper between the two ends.
    ``cost_mm`` is the straight length (or, with forbidden places, the way along the board and its bends) plus the difficulty of both ends:
    what the plan keeps least.
    """

    a: WireEnd
    b: WireEnd
    side: str
    straight_mm: float
    cut_mm: float
    cost_mm: float
    gauge: Gauge
    gauge_reason: str
    replaces_ohm: float
    replaces_width_mm: float
    words: str
    notes: tuple[str, ...] = ()
    path: tuple[tuple[float, float], ...] = ()
    """Corners from end to end, mm: the two ends alone for a straight wire."""
    dots: tuple[tuple[float, float], ...] = ()
    """Where it is fixed to the board."""
    crosses_at: tuple[float, float] | None = None
    """Where it passes to the other side."""
    insulation: str = ""
    """What it is to be insulated with, and why."""
    over: tuple[str, ...] = ()
    """Joints, lands and vias of other nets that it passes over."""

    @property
    def route_mm(self) -> float:
        """Length along its way."""
        return float(sum(hypot(p[0] - q[0], p[1] - q[1]) for p, q in pairwise(self.path)))

    @property
    def bends(self) -> int:
        """Corners on its way."""
        return max(len(self.path) - 2, 0)

    def as_dict(self) -> dict[str, object]:
        """The wire as plain JSON values."""
        return {
            "a": self.a.point,
            "b": self.b.point,
            "a_words": self.a.words(),
            "b_words": self.b.words(),
            "side": self.side,
            "straight_mm": round(self.straight_mm, 3),
            "cut_mm": round(self.cut_mm, 1),
            "cost_mm": round(self.cost_mm, 3),
            "awg": self.gauge.awg,
            "diameter_mm": self.gauge.diameter_mm,
            "resistance_ohm": self.gauge.resistance_ohm,
            "gauge_reason": self.gauge_reason,
            "replaces_ohm": self.replaces_ohm,
            "replaces_width_mm": self.replaces_width_mm,
            "path": [[round(x, 3), round(y, 3)] for x, y in self.path],
            "bends": self.bends,
            "route_mm": round(self.route_mm, 3),
            "dots": [[round(x, 2), round(y, 2)] for x, y in self.dots],
            "crosses_at": None if self.crosses_at is None else [round(v, 2) for v in self.crosses_at],
            "insulation": self.insulation,
            "over": list(self.over),
            "change_ohm": self.gauge.resistance_ohm - self.replaces_ohm if self.replaces_ohm else None,
            "words": self.words,
            "notes": list(self.notes),
        }


@dataclass(frozen=True, slots=True)
class WirePlan:
    """One way to restore a net: its ``wires``, their summed ``cost_mm``, ``kind`` (least, alternative, at the breaks) and what to mind.

    ``restores`` True when the wires join every needed pin that a wire can reach; ``left_out`` names pins that no wire reaches.
    ``exact`` True when no cheaper set of wires exists under the stated costs.
    """

    net: int
    net_name: str
    kind: str
    wires: tuple[Wire, ...]
    cost_mm: float
    restores: bool
    exact: bool
    pieces: tuple[Piece, ...] = field(repr=False)
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    rules: tuple[Rule, ...] = field(default=WIRE_RULES, repr=False)
    cautions: tuple[str, ...] = field(default=WIRE_CAUTIONS, repr=False)

    def as_dict(self) -> dict[str, object]:
        """The plan as plain JSON values."""
        return {
            "net": self.net_name,
            "kind": self.kind,
            "cost_mm": round(self.cost_mm, 3),
            "restores": self.restores,
            "exact": self.exact,
            "wires": [wire.as_dict() for wire in self.wires],
            "pieces": [
                {"pins": list(p.pins), "needed": list(p.needed), "required": p.required, "ends": len(p.ends)}
                for p in self.pieces
            ],
            "left_out": list(self.left_out),
            "notes": list(self.notes),
            "rules": [{"topic": r.topic, "words": r.words, "source": r.source} for r in self.rules],
            "cautions": list(self.cautions),
            "assumed": list(WIRE_ASSUMED),
        }


def propose_wires(
    graph: CopperGraph,
    broken: Collection[str],
    needed_points: Collection[str] = (),
    board: Board | None = None,
    *,
    difficulty: Difficulty = Difficulty(),
    side: str = "",
    current_a: float = 0.0,
    at_hand: tuple[int, ...] = BENCH_GAUGES,
    alternatives: int = 3,
    ways: Ways | None = None,
    scrape: bool = False,
    net: int | None = None,
    sound: CopperGraph | None = None,
) -> tuple[WirePlan, ...]:
    """The wires that restore one net after its ``broken`` sites (site ids), least first, then other ways to do it.

    ``needed_points`` are point ids that must be joined again (default: every pin that hung together with the broken sites; what was
    cut off on purpose before stays apart). ``side`` c or s keeps to one side,
    ``current_a`` the current the net carries where known. ``board`` lets notes name parts that lie in the way. All site ids must lie on
    one net. With ``ways`` wires are led along the board round the forbidden places, and what the plan keeps least is that way's cost; ``scrape``
    offers bared tracks as ends too. ``net`` names the net where no site of it is broken (its tracks were cut: ``graph`` has it in pieces already;
    name the needed points then); ``sound`` the copper before those cuts under the same node numbers, which each wire is compared with.
    An empty tuple never comes back: a net that is still whole is a plan without wires that says so.
    """
    net = net if net is not None and not broken else net_of_sites(graph, broken)
    needed = needed_pins(graph, net, broken, needed_points)

    def bared(sites: Sequence[Site]) -> Iterable[WireEnd]:
        return scraped_ends(graph, sites, net, ways, side)

    pieces = pieces_of(graph, net, broken, needed, difficulty, side, bared if scrape else None)
    required = tuple(p.index for p in pieces if p.required)
    reachable = tuple(i for i in required if pieces[i].ends)
    optional = tuple(p.index for p in pieces if not p.required and p.ends)
    joins = Joins(pieces, difficulty, ways, alternatives > 0)
    weights = joins.weights(reachable, optional)
    groups = _joinable(weights, pieces, reachable)
    _, edges, exact = least_joins(weights, groups[0] if groups else (), optional)
    left_out = tuple(point for i in required if i not in reachable for point in pieces[i].needed)
    if len(required) < 2:
        left_out = ()
    broken_sites = [graph.site(one) for one in dict.fromkeys(broken)]
    common = (*_notes(broken_sites, left_out), *_barred_notes(pieces, groups, joins, ways))
    maker = _Maker(graph, net, frozenset(broken), board, current_a, at_hand, ways.keep_outs if ways else (), sound)
    best = [joins.between(*edge)[0] for edge in edges]
    plans = [_plan(maker, "least", best, pieces, reachable, left_out, common, exact)]
    others = _others(joins, edges, pieces, broken_sites, reachable) if alternatives > 0 else ()
    for kind, chosen in others:
        plan = _plan(maker, kind, chosen, pieces, reachable, left_out, common, False)
        if plan.restores and all(_ends_of(plan) != _ends_of(known) for known in plans):
            plans.append(plan)
        if len(plans) > alternatives:
            break
    return (plans[0], *sorted(plans[1:], key=lambda p: p.cost_mm))


def needed_pins(graph: CopperGraph, net: int, broken: Collection[str], asked: Collection[str]) -> tuple[str, ...]:
    """The points that must be joined: those asked for, else all pins that hung together with a broken site."""
    if not asked:
        sites = sites_of(graph, net)
        gone = frozenset(broken)
        home = components(nodes_of(graph, net), [(site.a, site.b) for site in sites])
        hurt = {home[site.a] for site in sites if site.id in gone}
        at = {point.id: point.node for point in points_of(graph, net)}
        return tuple(pin for pin in pins_of(graph, net) if home[at[pin]] in hurt)
    known = {point.id for point in points_of(graph, net)}
    for point in asked:
        if point not in known:
            raise refuse(
                "WIR-005",
                f"{point} is no point of net {graph.net_names[net]}.",
                "Name points of this net, as 'coppermend board graph' lists them.",
                Place(thing=point),
            )
    return tuple(asked)


def _joinable(
    weights: NDArray[np.float64], pieces: Sequence[Piece], required: Sequence[int]
) -> tuple[tuple[int, ...], ...]:
    """The required pieces, by what wires can join at all: those with most needed pins first."""
    pairs = [(int(a), int(b)) for a, b in np.argwhere(np.isfinite(weights))]
    home = components(range(len(pieces)), pairs)
    groups: dict[int, list[int]] = {}
    for one in required:
        groups.setdefault(home[one], []).append(one)
    ranked = sorted(groups.values(), key=lambda group: (-sum(len(pieces[one].needed) for one in group), group))
    return tuple(tuple(group) for group in ranked)


def _barred_notes(
    pieces: Sequence[Piece], groups: Sequence[Sequence[int]], joins: Joins, ways: Ways | None
) -> Iterable[str]:
    """Where forbidden places leave no way to a piece: what bars the plainest way, and the nearest thing that can be done."""
    if ways is None:
        return
    for group in groups[1:]:
        i, j = min(product(groups[0], group), key=lambda pair: joins.lower_mm(*pair))
        a, b = min(
            product(pieces[i].ends, pieces[j].ends),
            key=lambda pair: (
                pair[0].side != pair[1].side,
                hypot(pair[0].x_mm - pair[1].x_mm, pair[0].y_mm - pair[1].y_mm),
            ),
        )
        if len(groups[0]) > 1:
            words = ", ".join(pieces[one].words() for one in group)
            yield f"The wires join the other pieces; {words} stays cut off."
        bars = ways.barred((a.x_mm, a.y_mm), (b.x_mm, b.y_mm), a.side)
        what = ", ".join(bars[:5]) or "the board's edge or a forbidden place at its end"
        yield f"No way is left from {a.words()} to {b.words()}: {what} bars it. {NEAREST_THING}"


def _others(
    joins: Joins,
    edges: Iterable[tuple[int, int]],
    pieces: Sequence[Piece],
    broken: Sequence[Site],
    required: tuple[int, ...],
) -> Iterable[tuple[str, list[Join]]]:
    """Other sets of wires worth showing: at the breaks themselves, then the least set with one wire ending elsewhere."""
    home = {node: piece.index for piece in pieces for node in piece.nodes}
    local = sorted({(min(a, b), max(a, b)) for a, b in _across(broken, home)})
    if local and all(joins.between(*pair) for pair in local):
        yield "at the breaks", [joins.between(*pair)[0] for pair in local]
    edges = list(edges)
    found = [joins.between(*edge) for edge in edges]
    swaps = [(one[k].cost_mm - one[0].cost_mm, i, k) for i, one in enumerate(found) for k in range(1, len(one))]
    for _, i, k in heapq.nsmallest(4, swaps):
        yield "alternative", [one[k if i == j else 0] for j, one in enumerate(found)]
    for chosen in product(required, repeat=2):
        if len(required) == 3 and chosen[0] < chosen[1]:  # the other spanning trees of three pieces
            tree = [pair for pair in combinations(required, 2) if pair != chosen]
            if all(joins.between(*pair) for pair in tree):  # forbidden places may leave no way between two of them
                yield "alternative", [joins.between(*pair)[0] for pair in tree]


def _across(broken: Iterable[Site], home: dict[int, int]) -> Iterable[tuple[int, int]]:
    """The pairs of pieces on the two sides of each broken site."""
    for site in broken:
        a, b = home.get(site.a), home.get(site.b)
        if a is not None and b is not None and a != b:
            yield a, b


def _ends_of(plan: WirePlan) -> frozenset[Places]:
    """What tells two plans apart."""
    return frozenset(places_of(wire.a, wire.b) for wire in plan.wires)


@dataclass(frozen=True, slots=True)
class _Maker:
    """Makes wires of end pairs: what copper each replaces, which gauge, what lies in the way."""

    graph: CopperGraph
    net: int
    broken: frozenset[str]
    board: Board | None
    current_a: float
    at_hand: tuple[int, ...]
    keep_outs: tuple[KeepOut, ...] = ()
    sound: CopperGraph | None = None

    def wire(self, join: Join) -> Wire:
        """The wire between two ends."""
        a, b = join.a, join.b
        straight = hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm)
        path = join.path or ((a.x_mm, a.y_mm), (b.x_mm, b.y_mm))
        way = sum(abs(p[0] - q[0]) + abs(p[1] - q[1]) for p, q in pairwise(path))
        cut = way + 2 * STRIP_MM + SLACK_MM + sum(end.lap_mm for end in (a, b))
        ohm, width = least_way(self.sound or self.graph, self.net, a.reach_ohm, b.reach_ohm)
        thickness = COPPER_THICKNESS_MM
        if self.board is not None and self.board.copper_thickness_mm:
            thickness = max(value for _, value in self.board.copper_thickness_mm)
        choice = choose_gauge(
            cut, track_section_mm2=width * thickness, track_ohm=ohm, current_a=self.current_a, at_hand=self.at_hand
        )
        side = a.side if a.side == b.side else "both"
        radius = max(WIRE_RADIUS_MM, choice.gauge.diameter_mm / 2 + WALL_MM)
        over = self._over(path, join, radius)
        notes = (*self._notes(join, side), *([over_words(over)] if over else []))
        if self._placed(a) and self._placed(b):
            words = (
                f"{choice.gauge.awg} AWG wire, cut to {cut:.0f} mm, from {a.words()} to {b.words()} "
                f"({straight:.0f} mm apart)"
            )
        else:
            words = f"{choice.gauge.awg} AWG wire from {a.words()} to {b.words()}; measure the way on the board, their places are not known"
        dots = fixing_dots(path) if join.path else ()
        return Wire(
            a,
            b,
            side,
            straight,
            cut,
            join.cost_mm,
            choice.gauge,
            choice.reason,
            ohm,
            width,
            words,
            notes,
            path,
            dots,
            join.crosses_at,
            insulation_of(path, side, self.keep_outs, way),
            over,
        )

    def _over(self, path: Sequence[tuple[float, float]], join: Join, radius: float) -> tuple[str, ...]:
        """What the wire lies over, each stretch looked at on its own side."""
        if join.crosses_at is None:
            sides = join.a.side if join.a.side == join.b.side else "cs"
            return lies_over(self.graph, self.net, path, sides, radius, self.board)
        at = path.index(join.crosses_at)
        halves = ((path[: at + 1], join.a.side), (path[at:], join.b.side))
        named = [one for half, on in halves for one in lies_over(self.graph, self.net, half, on, radius, self.board)]
        return tuple(dict.fromkeys(named))

    def _placed(self, end: WireEnd) -> bool:
        return self.board is None or end.part not in made_up_places(self.board)

    def _notes(self, join: Join, side: str) -> Iterable[str]:
        """What to mind at this wire."""
        if side == "both" and join.crosses_at is None:
            yield "The ends lie on two sides: lead the wire through a free hole or round the edge."
        elif join.crosses_at is not None:
            x, y = join.crosses_at
            yield f"It passes to the other side at {x:.1f}, {y:.1f} mm: through the free hole there, or round the board's edge."
        for end in (join.a, join.b):
            if end.kind == "hole":
                yield f"{end.words()}: leave the hole open for the part."
        for end in (join.a, join.b):
            if end.kind == "track":
                yield (f"{end.words()}: scrape the mask off, tin it, lap the wire on over at least two track widths.")
        in_the_way = sorted(self._crossed(join)) if side == "c" and not join.path else []
        if in_the_way:
            yield f"Lead it round {', '.join(in_the_way)}: no wire over or under a part."

    def _crossed(self, join: Join) -> Iterable[str]:
        """Parts on the component side whose outline the straight line crosses, the two ends' own parts left out."""
        if self.board is None:
            return
        names, low, high = _bodies(self.graph, self.board)
        hit = straight_crosses((join.a.x_mm, join.a.y_mm), (join.b.x_mm, join.b.y_mm), low, high)
        for at in np.flatnonzero(hit):
            if names[at] not in (join.a.part, join.b.part):
                yield names[at]


def straight_crosses(
    a: tuple[float, float], b: tuple[float, float], low: NDArray[np.float64], high: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """(n,) whether the straight line between two places passes through the inside of each box, lower and upper corners (n, 2) in mm.

    >>> low, high = np.array([[2.0, 2.0], [2.0, 6.0]]), np.array([[4.0, 4.0], [4.0, 8.0]])
    >>> straight_crosses((0.0, 0.0), (9.0, 9.0), low, high).tolist()
    [True, False]
    """
    start, way = np.array(a), np.array(b) - np.array(a)
    still = np.abs(way) < 1e-12
    with np.errstate(divide="ignore", invalid="ignore"):
        one, two = (low - start) / way, (high - start) / way
    inside = (low < start) & (start < high)
    enters = np.where(still, np.where(inside, -np.inf, np.inf), np.minimum(one, two)).max(axis=1)
    leaves = np.where(still, np.where(inside, np.inf, -np.inf), np.maximum(one, two)).min(axis=1)
    return np.asarray(np.maximum(enters, 0.0) < np.minimum(leaves, 1.0) - 1e-9)


def _bodies(graph: CopperGraph, board: Board) -> tuple[tuple[str, ...], NDArray[np.float64], NDArray[np.float64]]:
    """Names and boxes, (n, 2) lower and upper corners, of the part bodies on the component side; kept with the graph."""
    known = graph.memo.get("rework bodies")
    if known is None or known[0] is not board:
        parts = [part for part in board.parts if part.side == "c" and len(part.outline) >= 3]
        low = np.array([part.outline.min(axis=0) for part in parts]).reshape(-1, 2)
        high = np.array([part.outline.max(axis=0) for part in parts]).reshape(-1, 2)
        known = graph.memo["rework bodies"] = (board, tuple(part.ref for part in parts), low, high)
    return known[1], known[2], known[3]


def replaced_copper(graph: CopperGraph, net: int, node_a: int, node_b: int) -> tuple[float, float]:
    """Resistance in ohm and narrowest track width in mm of the least-resistance way through the sound copper between two nodes.

    (0, 0) where there is none, such as on a net that was never joined.
    """
    return least_way(graph, net, {node_a: 0.0}, {node_b: 0.0})


def least_way(
    graph: CopperGraph, net: int, starts: Mapping[int, float], ends: Mapping[int, float]
) -> tuple[float, float]:
    """As ``replaced_copper``, between two places that reach several nodes over some ohms each (a place on a track reaches both ends of its run)."""
    ways: dict[int, list[Site]] = {}
    for site in sites_of(graph, net):
        ways.setdefault(site.a, []).append(site)
        ways.setdefault(site.b, []).append(site)
    best: dict[int, float] = dict(starts)
    width: dict[int, float] = dict.fromkeys(starts, np.inf)
    queue = [(ohm, node) for node, ohm in starts.items()]
    heapq.heapify(queue)
    found, narrow = np.inf, np.inf
    while queue and queue[0][0] < found:
        ohm, node = heapq.heappop(queue)
        if ohm > best[node]:
            continue
        if node in ends and ohm + ends[node] < found:
            found, narrow = ohm + ends[node], width[node]
        for site in ways.get(node, ()):
            there = site.b if site.a == node else site.a
            total = ohm + site.resistance_ohm
            if total < best.get(there, np.inf):
                best[there] = total
                own = site.width_mm if site.kind in (SiteKind.RUN, SiteKind.SPOKE) and site.width_mm > 0 else np.inf
                width[there] = min(width[node], own)
                heapq.heappush(queue, (total, there))
    if found == np.inf:
        return 0.0, 0.0
    return float(found), (0.0 if narrow == np.inf else float(narrow))


def _plan(
    maker: _Maker,
    kind: str,
    joins: Sequence[Join],
    pieces: tuple[Piece, ...],
    required: tuple[int, ...],
    left_out: tuple[str, ...],
    common: tuple[str, ...],
    exact: bool,
) -> WirePlan:
    """The plan of these joins, with the proof that they restore the net."""
    wires = tuple(maker.wire(join) for join in joins)
    home = {node: piece.index for piece in pieces for node in piece.nodes}
    after = components(range(len(pieces)), [(home[w.a.node], home[w.b.node]) for w in wires])
    restores = len({after[i] for i in required}) <= 1 and not left_out
    notes = [*common, *_plan_notes(wires, pieces, home, required, left_out)]
    return WirePlan(
        maker.net,
        maker.graph.net_names[maker.net],
        kind,
        wires,
        sum(wire.cost_mm for wire in wires),
        restores,
        exact,
        pieces,
        left_out,
        tuple(notes),
    )


def _plan_notes(
    wires: Sequence[Wire],
    pieces: Sequence[Piece],
    home: dict[int, int],
    required: tuple[int, ...],
    left_out: Sequence[object] = (),
) -> Iterable[str]:
    """What to mind about these wires together. A pin that no wire can reach (``left_out``) does not hang together with the rest."""
    if len(wires) > 1:
        yield "Check each wire before you lay the next."
    if not wires and len(required) < 2 and not left_out:
        yield "The needed pins still hang together: no wire is needed."
    for wire in wires:
        for end in (wire.a, wire.b):
            if not pieces[home[end.node]].required:
                yield f"{end.words()} is on a piece that holds no needed pin; the wire uses it as a way through."
    use: dict[str, int] = {}
    for wire in wires:
        for end in (wire.a, wire.b):
            use[end.point] = use.get(end.point, 0) + 1
    for point, count in sorted(use.items()):
        if count > 2:
            yield f"{count} wires end at {point}: two at most hold well; take an alternative for one."
    reached = {home[end.node] for wire in wires for end in (wire.a, wire.b)}
    for piece in pieces:
        if wires and not piece.required and piece.index not in reached and piece.ends:
            yield f"{piece.words()} stays cut off; it holds no needed pin."


def _notes(broken: Sequence[Site], left_out: tuple[str, ...]) -> tuple[str, ...]:
    """What to mind whatever wires are chosen."""
    notes = []
    for site in broken:
        if site.kind in OTHER_REMEDY:
            notes.append(f"{site.words or site.id} {OTHER_REMEDY[site.kind]}.")
    if left_out:
        notes.append(f"No wire can reach {', '.join(left_out)}: no solderable place is left on that piece.")
    return tuple(notes)
