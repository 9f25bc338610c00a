"""The cheapest wires between the pieces that a net fell into: straight ones, and ones led along the board.

A pair of pieces is looked at only where a wire between them can be in the least set: not where its lower bound is above what the pieces cost to join
by way of others (the bottleneck Steiner distance; such a wire can be swapped for a cheaper one in any set).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import combinations, pairwise
from math import inf

import numpy as np
from numpy.typing import NDArray

from coppermend.core.rework.pieces import Difficulty, Piece, WireEnd
from coppermend.core.rework.routes import OVER_COST_MM, Ways
from coppermend.core.rework.routes_boxes import BEND_MM, Spot, Stops
from coppermend.core.rework.routes_lanes import NEAR_MM, Field, Lanes, lower_bounds, near_lanes

PAIRS_KEPT = 3
"""Best end pairs kept per pair of pieces, for the alternatives: between different places, not leg and joint of one pin."""

WORTH_MM = 15.0
"""Led wires that cost this much more than the best are no alternative: they are not searched for, unless there is no other."""

SCARCE_MM = 60.0
"""How much more than the best the only other wire may cost."""

PLAIN_TRIED = 24
"""So many end pairs, nearest first, are tried for a straight way or one bend before ways round forbidden places are searched for."""

MOST_SORTED = 4 * PLAIN_TRIED
"""End pairs of one side that are looked at for that; leg and joint of one pin are several."""

MOST_SHARED = 200
"""Up to so many ends the lanes of a whole side are laid once for all pieces; of more only between the ends of two pieces that a wire worth finding joins."""

SAME_COST_MM = 1e-9

Floats = NDArray[np.float64]
Places = frozenset[tuple[str, str, str]]
"""Where a wire is soldered as a hand tells it: its two pins, vias or tracks, each with the side. Leg and joint of one pin are one place."""


@dataclass(frozen=True, slots=True)
class Join:
    """A possible wire between two ends, before its gauge is chosen: ``cost_mm``, and its ``path`` where it is led along the board."""

    cost_mm: float
    a: WireEnd
    b: WireEnd
    path: tuple[Spot, ...] = ()
    crosses_at: Spot | None = None


def places_of(a: WireEnd, b: WireEnd) -> Places:
    """The two places of a wire."""
    return frozenset((_place_of(a), _place_of(b)))


def _place_of(end: WireEnd) -> tuple[str, str, str]:
    if end.part:
        return end.part, end.pin, end.side
    if end.kind == "track":
        return "track", ",".join(str(node) for node, _ in end.ohm_on), end.side
    return end.point, "", end.side


@dataclass(slots=True)
class Joins:
    """The best wires between each two of these ``pieces``, found when asked for. ``ways``: where they may lie, None for straight ones.

    ``several``: whether further wires than the best are wanted for each pair.
    """

    pieces: Sequence[Piece]
    difficulty: Difficulty
    ways: Ways | None
    several: bool = True
    _found: dict[tuple[int, int], tuple[float, list[Join]]] = field(default_factory=dict)
    _sides: dict[tuple[int, str, bool], _Side] = field(default_factory=dict)
    _lower: dict[tuple[int, int], float] = field(default_factory=dict)
    _grounds: dict[tuple[str, bool], _Ground | None] = field(default_factory=dict)
    _loose: Ways | None = None

    def between(self, a: int, b: int, ceiling: float = inf) -> list[Join]:
        """The best wires between two pieces, cheapest first; none where every way is barred or the cheapest costs more than ``ceiling``."""
        pair = (min(a, b), max(a, b))
        upto, found = self._found.get(pair, (-inf, []))
        if upto < ceiling and not (found and found[0].cost_mm <= upto):
            found = self._looked_for(*pair, ceiling)
            self._found[pair] = (ceiling, found)
        return found if found and found[0].cost_mm <= ceiling else []

    def lower_mm(self, a: int, b: int) -> float:
        """No wire between two pieces costs less; inf where one has no end."""
        pair = (min(a, b), max(a, b))
        if pair not in self._lower:
            self._lower[pair] = float(
                _lower(self.pieces[a].ends, self.pieces[b].ends, self.difficulty, self.ways).min(initial=inf)
            )
        return self._lower[pair]

    def weights(self, required: Sequence[int], useful: Sequence[int]) -> Floats:
        """(k, k) the cost of the best wire between each two pieces, inf where there is none or where none can be in a least set that joins the ``required``
        ones, over others of the ``useful`` ones where that pays."""
        weights = np.full((len(self.pieces), len(self.pieces)), inf)
        left = {pair: self.lower_mm(*pair) for pair in combinations(sorted({*required, *useful}), 2)}
        while left:
            pair = min(left, key=lambda one: (left[one], one))
            lower = left.pop(pair)
            ceiling = bottleneck(weights, required, pair)
            if lower == inf or lower >= ceiling:
                continue
            found = self.between(*pair, ceiling)
            if found:
                weights[pair] = weights[pair[::-1]] = found[0].cost_mm
        return weights

    def _looked_for(self, a: int, b: int, ceiling: float) -> list[Join]:
        one, two = self.pieces[a], self.pieces[b]
        if not one.ends or not two.ends:
            return []
        if self.ways is None:
            return _straight(one.ends, two.ends, self.difficulty)
        found = self._led(a, b, self.ways, ceiling, False)
        if not found and ceiling == inf and self.ways.bare:
            self._loose = self._loose or self.ways.loose()
            found = self._led(a, b, self._loose, ceiling, True)
            found = sorted((_over(join, self.ways) for join in found), key=_cost)
        return found

    def _led(self, a: int, b: int, ways: Ways, ceiling: float, loose: bool) -> list[Join]:
        sides = {(k, side): self._side(k, side, ways, loose) for k in (a, b) for side in "cs"}
        worth = WORTH_MM if self.several else 0.0
        search = _Search(ways, self.difficulty.other_side, ceiling, worth, partial(self._whole, ways, loose))
        search.plain([(sides[a, side], sides[b, side], side) for side in "cs"])
        for side in sorted("cs", key=lambda on: _least_bound(sides[a, on], sides[b, on])):
            search.round_about(sides[a, side], sides[b, side], side)
        for side, other in ("cs", "sc"):
            search.through(sides[a, side], sides[b, other], side, other)
        return search.best()

    def _whole(self, ways: Ways, loose: bool, side: str) -> _Ground | None:
        """The lanes of a whole side, for all pieces; None where there are too many ends for that."""
        if (side, loose) not in self._grounds:
            ends = {on: [self._side(k, on, ways, loose) for k in range(len(self.pieces))] for on in "cs"}
            stops = [one.stops for here in ends.values() for one in here]
            ground = None
            if sum(len(one.at) for one in stops) <= MOST_SHARED:
                spots = np.array(ways.edge_spots(np.vstack([one.at for one in stops]))).reshape(-1, 2)
                outs = [one.stops.out[one.stops.far < inf] for one in ends[side]]
                ground = _Ground(Lanes.of(ways.boxes(side), ways.frame, np.vstack([*outs, spots])))
            self._grounds[side, loose] = ground
        return self._grounds[side, loose]

    def _side(self, piece: int, side: str, ways: Ways, loose: bool) -> _Side:
        key = (piece, side, loose)
        if key not in self._sides:
            ends = tuple(end for end in self.pieces[piece].ends if end.side == side)
            spots = np.array([(end.x_mm, end.y_mm) for end in ends]).reshape(-1, 2)
            self._sides[key] = _Side(
                piece, ends, ways.stops(spots, side, np.array([end.difficulty_mm for end in ends]))
            )
        return self._sides[key]


def bottleneck(weights: Floats, required: Sequence[int], pair: tuple[int, int]) -> float:
    """The bottleneck Steiner distance of two pieces: the least, over all ways from one to the other, of the dearest stretch between required pieces.

    A wire between them that costs at least this much is in no least set that must be paid for.

    >>> w = np.array([[0.0, 2.0, inf], [2.0, 0.0, 3.0], [inf, 3.0, 0.0]])
    >>> bottleneck(w, (0, 1, 2), (0, 2)), bottleneck(w, (0, 2), (0, 2))
    (3.0, 5.0)
    """
    far = weights.copy()
    np.fill_diagonal(far, 0.0)
    for k in range(len(far)):
        np.minimum(far, far[:, k : k + 1] + far[k : k + 1, :], out=far)
    stops = sorted({*required, *pair})
    most = far[np.ix_(stops, stops)]
    for k in range(len(stops)):
        np.minimum(most, np.maximum(most[:, k : k + 1], most[k : k + 1, :]), out=most)
    return float(most[stops.index(pair[0]), stops.index(pair[1])])


def _lower(ends_a: Sequence[WireEnd], ends_b: Sequence[WireEnd], difficulty: Difficulty, ways: Ways | None) -> Floats:
    """(n, m) no wire between two ends costs less, in mm. A wire that changes sides may bend at its crossing for nothing."""
    dx = np.abs(np.subtract.outer([e.x_mm for e in ends_a], [e.x_mm for e in ends_b]))
    dy = np.abs(np.subtract.outer([e.y_mm for e in ends_a], [e.y_mm for e in ends_b]))
    other = np.not_equal.outer([e.side for e in ends_a], [e.side for e in ends_b])
    fixed = np.add.outer([e.difficulty_mm for e in ends_a], [e.difficulty_mm for e in ends_b])
    return np.asarray((np.hypot(dx, dy) if ways is None else dx + dy) + fixed + difficulty.other_side * other)


def _straight(ends_a: Sequence[WireEnd], ends_b: Sequence[WireEnd], difficulty: Difficulty) -> list[Join]:
    """The cheapest pairs of ends as the crow flies: length, both difficulties, and the way round when the sides differ."""
    flat = _lower(ends_a, ends_b, difficulty, None).ravel()
    kept: dict[Places, Join] = {}
    for i in np.argsort(flat, kind="stable").tolist():
        if len(kept) >= PAIRS_KEPT:
            break
        a, b = ends_a[i // len(ends_b)], ends_b[i % len(ends_b)]
        kept.setdefault(places_of(a, b), Join(float(flat[i]), a, b))
    return list(kept.values())


def _over(join: Join, ways: Ways) -> Join:
    """The wire at the cost of the bare places that it passes over."""
    over = ways.passed(join.path, join.a.side, join.b.side, join.crosses_at)
    return replace(join, cost_mm=join.cost_mm + OVER_COST_MM * over)


def _cost(join: Join) -> float:
    return join.cost_mm


@dataclass(frozen=True, slots=True)
class _Side:
    """The ends of one ``piece`` on one side."""

    piece: int
    ends: tuple[WireEnd, ...]
    stops: Stops


@dataclass(frozen=True, slots=True)
class _Ground:
    """Lanes of one side, and the least costs from each piece over them that were asked for so far, each as far as was asked."""

    lanes: Lanes
    fields: dict[int, tuple[float, Field]] = field(default_factory=dict)

    def of(self, one: _Side, upto: float) -> Field:
        """The least costs from a piece, as far as they are at most ``upto``."""
        known = self.fields.get(one.piece)
        if known is None or known[0] < upto:
            known = self.fields[one.piece] = upto, self.lanes.spread(one.stops, upto)
        return known[1]


def _least_bound(one: _Side, two: _Side) -> float:
    return float(lower_bounds(one.stops, two.stops).min(initial=inf))


@dataclass(frozen=True, slots=True)
class _Reach:
    """How far is looked: a way that costs at most ``most`` is the least there is where one is found, its alternatives are exact up to ``wide``.

    ``lay`` lays the lanes between two sets of ends on a side.
    """

    most: float
    wide: float
    lay: Callable[[Stops, Stops, str], _Ground]


@dataclass(slots=True)
class _Search:
    """The led wires between two pieces, as they are found: up to ``ceiling``, and up to ``worth`` above the best.

    ``whole``: the lanes of a whole side, None where all ends are too many for them; ``unseen``: no wire that was tried for and not found yet costs less.
    """

    ways: Ways
    other_side: float
    ceiling: float
    worth: float
    whole: Callable[[str], _Ground | None]
    found: dict[Places, Join] = field(default_factory=dict)
    unseen: dict[str, float] = field(default_factory=dict)

    def best(self) -> list[Join]:
        """What was found, cheapest first."""
        return sorted(self.found.values(), key=_cost)[:PAIRS_KEPT]

    def _least(self) -> float:
        return min((join.cost_mm for join in self.found.values()), default=inf)

    def _keep(self, join: Join) -> None:
        places = places_of(join.a, join.b)
        if places not in self.found or join.cost_mm < self.found[places].cost_mm:
            self.found[places] = join

    def _goal(self) -> tuple[float, float]:
        """Below which cost a further wire is worth finding, and how far above the best of what is found then others are."""
        costs = sorted(join.cost_mm for join in self.found.values())
        if not costs or costs[0] > self.ceiling:
            return self.ceiling + self.worth, self.worth
        if not self.worth:
            return costs[0], 0.0
        more = SCARCE_MM if len(costs) < 2 else self.worth
        return min([costs[0] + more, *costs[PAIRS_KEPT - 1 : PAIRS_KEPT]]), more

    def _wanted(self, lowest: float) -> tuple[float, float]:
        """The same where a wire of this lower bound can be worth finding, else -inf."""
        goal, worth = self._goal()
        hopeless = lowest > self.ceiling and not self.found
        return (-inf, 0.0) if hopeless or lowest == inf or lowest >= goal - SAME_COST_MM else (goal, worth)

    def plain(self, sides: Iterable[tuple[_Side, _Side, str]]) -> None:
        """Straight ways and ways with one bend, the nearest ends first."""
        pairs = []
        for one, two, side in sides:
            bound = lower_bounds(one.stops, two.stops)
            flat = bound.ravel()
            order = np.argsort(flat, kind="stable").tolist()
            self.unseen[side] = float(flat[order[MOST_SORTED]]) if len(order) > MOST_SORTED else inf
            pairs += [(float(flat[i]), side, one, two, i) for i in order[:MOST_SORTED]]
        pairs.sort(key=lambda pair: pair[:2])
        tried: set[tuple[float, ...]] = set()
        for lower, side, one, two, at in pairs:
            if len(tried) >= PLAIN_TRIED or self._wanted(lower)[0] == -inf:
                self.unseen[side] = min(self.unseen[side], lower)
                continue
            k, m = divmod(at, len(two.ends))
            a, b = one.ends[k], two.ends[m]
            key = (a.x_mm, a.y_mm, b.x_mm, b.y_mm, lower, side == "c")
            if key in tried or (places_of(a, b) in self.found and lower >= self.found[places_of(a, b)].cost_mm):
                continue
            tried.add(key)
            path = self.ways.plain(one.stops, k, two.stops, m, side)
            if path is None:
                self.unseen[side] = min(self.unseen[side], lower)
            else:
                self._keep(_joined(a, b, path))

    def round_about(self, one: _Side, two: _Side, side: str) -> None:
        """The cheapest ways on one side round what lies between, where they can be cheaper than what was found."""
        upto, worth = self._wanted(self.unseen.get(side, inf))
        lowest = _least_bound(one, two)
        if upto == -inf or lowest == inf or lowest > upto:
            return
        for reach in self._reaches(lowest, upto, worth):
            ground = reach.lay(one.stops, two.stops, side)
            if self._kept(one, two, ground, reach, worth):
                if worth > 0:  # and from the others, so that both ends of the alternatives differ
                    self._kept(two, one, ground, reach, worth, True)
                return
            if self._shut(ground, one, two.stops.out) or self._shut(ground, two, one.stops.out):
                return

    def _shut(self, ground: _Ground, one: _Side, others: Floats) -> bool:
        """Whether a piece is walled in, away from these other places."""
        return ground.lanes.shut_in(one.stops, self.ways.frame, others)

    def _reaches(self, lowest: float, upto: float, worth: float) -> Iterator[_Reach]:
        """How far to look: near first, then as far as a way can be worth finding."""

        def laid(most: float, a: Stops, b: Stops, side: str) -> _Ground:
            return _Ground(near_lanes(self.ways.boxes(side), self.ways.frame, a, b, most))

        for grow in NEAR_MM:
            near = min(lowest + grow, upto)
            wide = min(near + min(worth, WORTH_MM), upto)
            yield _Reach(near, wide, partial(laid, wide))
            if near == upto:
                return
        yield _Reach(upto, upto, lambda a, b, side: self.whole(side) or laid(upto, a, b, side))

    def _kept(self, one: _Side, two: _Side, ground: _Ground, reach: _Reach, worth: float, turned: bool = False) -> bool:
        """Whether a way leads from ``one`` to ``two``; the cheapest to each end of ``two`` are kept (``turned``: as wires from two to one)."""
        spread = ground.of(one, reach.wide)
        value = spread.to(two.stops)
        for k in self._cheapest(value, reach, worth):
            source, path = spread.way(two.stops, k)
            a, b = one.ends[source], two.ends[k]
            self._keep(_joined(b, a, path[::-1]) if turned else _joined(a, b, path))
        return bool(value.min(initial=inf) <= reach.most)

    def _cheapest(self, value: Floats, reach: _Reach, worth: float) -> list[int]:
        """The ends worth keeping by their costs, cheapest first; none where no way was found."""
        least = float(value.min(initial=inf))
        if not least <= reach.most or least == inf:
            return []
        order = np.argsort(value, kind="stable")[: 4 * PAIRS_KEPT].tolist()
        return [int(k) for k in order if value[k] <= min(reach.wide, least + worth + SAME_COST_MM)]

    def through(self, one: _Side, two: _Side, side: str, other: str) -> None:
        """The cheapest ways that pass to the other side, where they can be cheaper than what was found."""
        if not one.ends or not two.ends:
            return
        turned = len(two.ends) < len(one.ends)  # the alternatives differ in the ends of the larger
        if turned:
            one, two, side, other = two, one, other, side
        plainest = _least_bound(one, two) - BEND_MM + self.other_side  # the bend at the crossing costs nothing
        if self._wanted(plainest)[0] == -inf:
            return
        spots = self.ways.edge_spots(np.vstack([one.stops.at, two.stops.at]))
        if not spots:
            return
        at = np.array(spots)
        here = self.ways.stops(at, side, np.zeros(len(at)))
        from_one = lower_bounds(one.stops, here).min(axis=0)
        to_two = lower_bounds(here, two.stops).min(axis=1) + self.other_side
        lowest = float((from_one + to_two).min())
        upto, worth = self._wanted(lowest)
        if upto == -inf:
            return
        for reach in self._reaches(lowest, upto, worth):
            ground = reach.lay(one.stops, here.costing(to_two), side)
            first = ground.of(one, reach.wide)
            cost = first.to(here)
            fits = np.flatnonzero((cost + to_two <= reach.wide) & (cost < inf))
            if not len(fits):
                if self._shut(ground, one, at):
                    return
                continue
            rest = here.some(fits).costing(cost[fits] + self.other_side)
            ground = reach.lay(rest, two.stops, other)
            second = ground.lanes.spread(rest, reach.wide)
            value = second.to(two.stops)
            for k in self._cheapest(value, reach, worth):
                number, behind = second.way(two.stops, k)
                source, before = first.way(here, int(fits[number]))
                a, b, path = one.ends[source], two.ends[k], (*before, *behind[1:])
                whole = _length(before) + _length(behind) + self.other_side + a.difficulty_mm + b.difficulty_mm
                crossed = before[-1]
                self._keep(Join(whole, b, a, path[::-1], crossed) if turned else Join(whole, a, b, path, crossed))
            if value.min() <= reach.most or self._shut(ground, two, at):
                return


def _joined(a: WireEnd, b: WireEnd, path: tuple[Spot, ...]) -> Join:
    """A wire along a path on one side."""
    return Join(_length(path) + a.difficulty_mm + b.difficulty_mm, a, b, path)


def _length(path: Sequence[Spot]) -> float:
    """Length and bends of a path, in mm."""
    length = sum(abs(p[0] - q[0]) + abs(p[1] - q[1]) for p, q in pairwise(path))
    return float(length + BEND_MM * max(len(path) - 2, 0))
