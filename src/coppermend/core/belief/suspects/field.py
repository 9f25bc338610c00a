"""Sets of up to three faults, and what each of them predicts at every place that can be looked at.

All single faults, then pairs and triples from the likeliest down (W. Williams & R. Ragno's best-first order is not needed: the odds of a set are
the product of its members' odds, so the best pairs and triples are found by thresholds). Predictions are kept as bit planes of the places that
differ at all. The share of the prior that was left out is stated.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import log
from sys import byteorder
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.suspects.afloat import FREE
from coppermend.core.belief.suspects.causes import Cause
from coppermend.core.belief.suspects.table import FaultTable
from coppermend.core.circuit.machine import DEFAULT_SCREENS, Screen
from coppermend.core.circuit.planes import Behaviour, Key, Outcome, Words, symbol_planes

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Bytes = NDArray[np.uint8]
CHUNK = 32768
MOST_SETS = 430_000
PAIR_SHARE = 0.6
"""Of the sets beyond single faults, the share of pairs."""
DEEPEST = 6
"""Most faults in one explanation."""
MOST_REMEMBERED = 6000
"""Fault sets whose predictions are remembered from step to step (about 1 kB each)."""
_OCTET = np.arange(8) if byteorder == "little" else np.arange(7, -1, -1)


@dataclass(frozen=True, slots=True)
class Spot:
    """A place that can be looked at under power: a node of a net's tree. ``content``: its pattern or frequency can be judged."""

    net: str
    node: int
    rail: bool
    ground: bool
    loose: bool
    content: bool
    clocked: bool
    healthy: int
    pull: str = FREE
    """What pulls at the place when nothing drives it (``afloat``)."""


@dataclass(frozen=True, slots=True)
class Predicted:
    """What up to ``CHUNK`` fault sets predict: ``row`` of each spot in ``planes`` (words, rows, 3), the bits of its symbol; ``screen`` (sets,)."""

    count: int
    row: Ints
    planes: NDArray[np.uint64]
    screen: Bytes

    def symbols(self, spot: int) -> Bytes:
        """The symbol of one spot under every set, (sets,)."""
        b0, b1, b2 = (_bits(np.ascontiguousarray(self.planes[:, self.row[spot], k]), self.count) for k in range(3))
        return np.asarray(b0 | (b1 << 1) | (b2 << 2), dtype=np.uint8)

    def picked(self, which: NDArray[np.int64]) -> Bytes:
        """The symbols of all spots under some sets, (spots, picked)."""
        return self.rows(which)[:, self.row].T

    def rows(self, which: NDArray[np.int64]) -> Bytes:
        """The symbols of all rows of ``planes`` under some sets, (picked, rows)."""
        octets = self.planes.view(np.uint8).reshape(*self.planes.shape, 8)
        bits: Bytes = octets[which >> 6, :, :, _OCTET[(which >> 3) & 7]]
        bits >>= (which & 7).astype(np.uint8)[:, None, None]
        bits &= np.uint8(1)
        found = np.left_shift(bits[:, :, 2], np.uint8(1))
        found |= bits[:, :, 1]
        found <<= np.uint8(1)
        found |= bits[:, :, 0]
        return found

    @classmethod
    def of_symbols(cls, symbols: Bytes, screens: Bytes) -> Predicted:
        """From the symbols themselves, ``symbols`` (sets, spots), ``screens`` (sets,)."""
        count, spots = symbols.shape
        words = max(1, (count + 63) // 64)
        bits = np.zeros((spots, 3, words * 64), np.uint8)
        for k in range(3):
            bits[:, k, :count] = ((symbols >> k) & 1).T
        planes = np.packbits(bits, axis=-1, bitorder="little").view("<u8")
        return cls(count, np.arange(spots, dtype=np.int32), np.ascontiguousarray(planes.transpose(2, 0, 1)), screens)


@dataclass(slots=True)
class Block:
    """A list of fault sets: ``members`` (n, size) indices of causes, -1 where fewer; ``prior`` log weight; ``chunks`` what they predict."""

    members: Ints
    prior: Floats
    chunks: tuple[Predicted, ...]

    def symbols(self, spot: int) -> Bytes:
        """The symbol of one spot under every set."""
        return np.concatenate([one.symbols(spot) for one in self.chunks]) if self.chunks else np.empty(0, np.uint8)

    def screens(self) -> Bytes:
        """The screen that every set predicts."""
        return np.concatenate([one.screen for one in self.chunks]) if self.chunks else np.empty(0, np.uint8)

    def screens_of(self, which: NDArray[np.int64]) -> Bytes:
        """The screens that some sets (ascending indices) predict."""
        made = np.empty(len(which), np.uint8)
        start = 0
        for chunk in self.chunks:
            mine = np.flatnonzero((which >= start) & (which < start + chunk.count))
            made[mine] = chunk.screen[which[mine] - start]
            start += chunk.count
        return made

    def picked(self, which: NDArray[np.int64], spots: int) -> Bytes:
        """The symbols of all spots under some sets (ascending indices), (spots, picked)."""
        made = np.empty((len(which), spots), np.uint8)
        start = first = 0
        for chunk in self.chunks:
            last = first + int(np.searchsorted(which[first:], start + chunk.count))
            if last > first:
                np.take(chunk.rows(which[first:last] - start), chunk.row, axis=1, out=made[first:last], mode="clip")
            first, start = last, start + chunk.count
        return np.ascontiguousarray(made.T)

    def one(self, row: int) -> Block:
        """One set as a block of its own."""
        at = row
        for chunk in self.chunks:
            if at < chunk.count:
                planes = chunk.planes[at >> 6 : (at >> 6) + 1] >> np.uint64(at & 63)
                alone = Predicted(1, chunk.row, planes, chunk.screen[at : at + 1])
                return Block(self.members[row : row + 1], self.prior[row : row + 1], (alone,))
            at -= chunk.count
        raise IndexError(row)

    def with_more(self, other: Block) -> Block:
        """This block and another one behind it."""
        width = max(self.members.shape[1], other.members.shape[1])
        members = np.concatenate([widened_rows(self.members, width), widened_rows(other.members, width)])
        return Block(members, np.concatenate([self.prior, other.prior]), self.chunks + other.chunks)


def widened_rows(members: Ints, width: int) -> Ints:
    """Fault sets as rows of ``width``, -1 where fewer."""
    pad = np.full((len(members), width - members.shape[1]), -1, np.int32)
    return np.concatenate([members, pad], axis=1)


@dataclass(slots=True)
class Field:
    """Causes, spots and fault sets of one board. ``odds`` per cause (``smoothed``); ``covered`` the share of the prior of one, two and three faults that was enumerated."""

    behaviour: Behaviour
    causes: tuple[Cause, ...]
    spots: tuple[Spot, ...]
    screens: tuple[Screen, ...]
    table: FaultTable
    odds: Floats
    elementary: Floats
    main: Block
    covered: tuple[float, ...]
    spot_at: Mapping[tuple[str, int], int]
    units: tuple[str, ...]
    unit_of: Ints
    memo: dict[Any, Any] = field(default_factory=dict)
    warm: tuple[str, ...] = ()
    """Parts that a thermal picture can judge: on the component side, warm enough by their own power."""

    @property
    def sets(self) -> int:
        """How many fault sets are held."""
        return len(self.main.members)

    def log_prior(self, members: Ints) -> Floats:
        """Log prior weight of fault sets (n, size), -1 where fewer."""
        logs = np.r_[np.log(self.odds), 0.0]
        size = (members >= 0).sum(axis=1)
        count = np.array([-1e9] + [self._count(k) for k in range(1, members.shape[1] + 1)])
        made: Floats = logs[members].sum(axis=1) + count[size]
        return made

    def _count(self, size: int) -> float:
        numbers = self.table.number
        weight = numbers[size - 1] if size <= len(numbers) else numbers[-1] * self.table.more ** (size - len(numbers))
        return log(weight) - float(self.elementary[min(size, DEEPEST)])

    def predicted(self, members: Ints) -> Block:
        """A block of these fault sets."""
        return Block(members, self.log_prior(members), tuple(_predict(self, members)))

    def remembered(self, members: Ints) -> Block:
        """A block of a few fault sets; what was predicted for a set before is not reckoned again (a simulation costs about as much for 1 set as for 500)."""
        known: dict[tuple[int, ...], tuple[Bytes, int]] = self.memo.setdefault("remembered", {})
        keys = [tuple(sorted(c for c in row if c >= 0)) for row in members.tolist()]
        fresh = list(dict.fromkeys(key for key in keys if key not in known))
        if len(known) > MOST_REMEMBERED:
            known.clear()
            fresh = list(dict.fromkeys(keys))
        listed = sorted((at, key) for key in fresh if (at := self.held_at(key)) >= 0)
        if listed:
            self._remember(known, [key for _, key in listed], self.main, np.array([at for at, _ in listed]))
        fresh = [key for key in fresh if key not in known]
        if fresh:
            self._remember(known, fresh, self.predicted(padded(fresh)), np.arange(len(fresh)))
        found = [known[key] for key in keys]
        chunk = Predicted.of_symbols(np.stack([s for s, _ in found]), np.array([k for _, k in found], np.uint8))
        return Block(members, self.log_prior(members), (chunk,))

    def _remember(
        self,
        known: dict[tuple[int, ...], tuple[Bytes, int]],
        keys: Sequence[tuple[int, ...]],
        block: Block,
        rows: NDArray[np.int64],
    ) -> None:
        symbols = block.picked(rows, len(self.spots)).T
        screens = block.screens_of(rows)
        for k, key in enumerate(keys):
            known[key] = (np.ascontiguousarray(symbols[k]), int(screens[k]))

    def held_at(self, key: Sequence[int]) -> int:
        """The row of the main block that holds a fault set (ascending indices of causes), -1 where none does."""
        if len(key) > 3:
            return -1
        if "held" not in self.memo:
            rows = np.sort(self.main.members, axis=1).astype(np.int64) + 1
            codes = (rows[:, 0] << 40) | (rows[:, 1] << 20) | rows[:, 2]
            order = np.argsort(codes, kind="stable")
            self.memo["held"] = (codes[order], order)
        codes, order = self.memo["held"]
        code = 0
        for one in key:
            code = code << 20 | (one + 1)
        at = int(np.searchsorted(codes, code))
        return int(order[at]) if at < len(codes) and int(codes[at]) == code else -1

    def singles(self) -> Block:
        """Every cause alone, in their order."""
        if "singles" not in self.memo:
            self.memo["singles"] = self.predicted(padded([(k,) for k in range(len(self.causes))]))
        found: Block = self.memo["singles"]
        return found


@dataclass(frozen=True, slots=True)
class KeptSets:
    """Fault sets enumerated and predicted before: ``members`` (sets, 3), the share of the prior they cover, what they and every single cause predict."""

    members: Ints
    covered: tuple[float, ...]
    main: tuple[Predicted, ...]
    singles: tuple[Predicted, ...]


def build_field(
    behaviour: Behaviour,
    causes: Sequence[Cause],
    table: FaultTable,
    spots: Sequence[Spot],
    screens: Sequence[Screen] = DEFAULT_SCREENS,
    most: int = MOST_SETS,
    warm: Sequence[str] = (),
    kept: KeptSets | None = None,
) -> Field:
    """The field of a board: enumerate and predict. ``most`` fault sets are kept (all single faults always are); ``warm`` parts a thermal picture can judge.

    ``kept``: the sets of the same field, reckoned before: nothing is enumerated or simulated then.
    """
    prior = np.array([one.prior for one in causes], dtype=np.float64)
    odds = smoothed(prior / (1.0 - prior), table.unlike_table)
    elementary = _log_elementary(odds, DEEPEST)
    names = tuple(dict.fromkeys(one.unit for one in causes))
    number = {name: k for k, name in enumerate(names)}
    members, covered = (
        _enumerate(np.log(odds), causes, elementary, most) if kept is None else (kept.members, kept.covered)
    )
    made = Field(
        behaviour,
        tuple(causes),
        tuple(spots),
        tuple(screens),
        table,
        odds,
        elementary,
        Block(members, np.empty(0), ()),
        covered,
        {(one.net, one.node): k for k, one in enumerate(spots)},
        names,
        np.array([number[one.unit] for one in causes], dtype=np.int32),
        warm=tuple(warm),
    )
    if kept is None:
        made.main = made.predicted(members)
        made.singles()
        return made
    alone = padded([(k,) for k in range(len(causes))])
    made.main = Block(members, made.log_prior(members), kept.main)
    made.memo["singles"] = Block(alone, made.log_prior(alone), kept.singles)
    return made


def smoothed(odds: Floats, share: float) -> Floats:
    """Odds of causes when a fault is, with chance ``share``, one that the table knows nothing of: any cause alike. The sum stays.

    >>> smoothed(np.array([0.3, 0.1]), 0.5).tolist()
    [0.25, 0.15000000000000002]
    """
    made: Floats = (1.0 - share) * odds + share * (odds.mean() if len(odds) else 0.0)
    return made


def _log_elementary(odds: Floats, deepest: int) -> Floats:
    """Logs of the elementary symmetric polynomials e_0..e_deepest of the odds: the normalisers of sets of each size."""
    e = np.zeros(deepest + 1)
    e[0] = 1.0
    for x in odds.tolist():
        e[1:] += x * e[:-1].copy()
    made: Floats = np.log(np.maximum(e, 1e-300))
    return made


# ---- enumeration ----
def _enumerate(logs: Floats, causes: Sequence[Cause], elementary: Floats, most: int) -> tuple[Ints, tuple[float, ...]]:
    n = len(causes)
    order = np.argsort(-logs, kind="stable")
    sorted_logs = logs[order]
    left = max(0, most - n - 1)
    pairs = _pairs(sorted_logs, int(left * PAIR_SHARE))
    triples = _triples(sorted_logs, left - len(pairs))
    rows = np.full((1 + n + len(pairs) + len(triples), 3), -1, np.int32)
    rows[1 : 1 + n, 0] = np.arange(n)
    rows[1 + n : 1 + n + len(pairs), :2] = order[pairs]
    rows[1 + n + len(pairs) :, :3] = order[triples]
    keep = _possible(rows, causes)
    rows = rows[keep]
    shorted = np.array([one.kind == "short" for one in causes] + [False])
    rows = rows[np.argsort(shorted[rows].any(axis=1), kind="stable")]
    size = (rows >= 0).sum(axis=1)
    total = np.where(rows >= 0, logs[rows], 0.0).sum(axis=1)
    covered = tuple(float(np.exp(total[size == k] - elementary[k]).sum()) for k in (1, 2, 3))
    return rows, covered


def _pairs(logs: Floats, count: int) -> NDArray[np.int64]:
    """The likeliest pairs (i < j) of causes sorted by odds, about ``count`` of them."""
    n = len(logs)
    count = min(count, n * (n - 1) // 2)
    if count <= 0:
        return np.empty((0, 2), np.int64)
    low, high = 2 * logs[-1] - 1.0, 2 * logs[0] + 1.0
    for _ in range(60):
        mid = 0.5 * (low + high)
        if _reach(logs, mid).sum() > count:
            low = mid
        else:
            high = mid
    reach = _reach(logs, high)
    i = np.repeat(np.arange(n), reach)
    j = np.concatenate(
        [np.arange(k + 1, k + 1 + r) for k, r in enumerate(reach.tolist()) if r] or [np.empty(0, np.int64)]
    )
    return np.stack([i, j.astype(np.int64)], axis=1)


def _reach(logs: Floats, least: float) -> NDArray[np.int64]:
    """For each i, how many j > i have logs[i] + logs[j] >= least (logs descending)."""
    n = len(logs)
    upto = np.searchsorted(-logs, -(least - logs), side="right")
    made: NDArray[np.int64] = np.maximum(0, upto - (np.arange(n) + 1)).astype(np.int64)
    return made


def _triples(logs: Floats, count: int) -> NDArray[np.int64]:
    n = min(len(logs), 400)
    top = logs[:n]
    i, j = np.triu_indices(n, 1)
    both = top[i] + top[j]
    count = min(count, n * (n - 1) * (n - 2) // 6)
    if count <= 0:
        return np.empty((0, 3), np.int64)
    low, high = 3 * top[-1] - 1.0, 3 * top[0] + 1.0
    for _ in range(50):
        mid = 0.5 * (low + high)
        if np.maximum(0, np.searchsorted(-top, -(mid - both), side="right") - (j + 1)).sum() > count:
            low = mid
        else:
            high = mid
    reach = np.maximum(0, np.searchsorted(-top, -(high - both), side="right") - (j + 1))
    some = np.flatnonzero(reach)
    k = np.concatenate([np.arange(j[s] + 1, j[s] + 1 + reach[s]) for s in some.tolist()] or [np.empty(0, np.int64)])
    ij = np.repeat(some, reach[some])
    return np.stack([i[ij], j[ij], k.astype(np.int64)], axis=1)


def _possible(rows: Ints, causes: Sequence[Cause]) -> NDArray[np.bool_]:
    """Without sets that blame one part twice: its faults shut each other out. The empty set stays."""
    part = np.array([hash_part(one) for one in causes] + [-1], dtype=np.int64)
    p = np.where(rows >= 0, part[rows], -np.arange(2, 5))
    same = (
        ((p[:, 0] == p[:, 1]) & (p[:, 0] >= 0))
        | ((p[:, 0] == p[:, 2]) & (p[:, 0] >= 0))
        | ((p[:, 1] == p[:, 2]) & (p[:, 1] >= 0))
    )
    kept: NDArray[np.bool_] = ~same
    return kept


_PARTS: dict[str, int] = {}


def hash_part(cause: Cause) -> int:
    """A number for the part that a cause blames, -1 for copper and rails (equal parts, equal numbers, within one process)."""
    return _PARTS.setdefault(cause.part, len(_PARTS)) if cause.part else -1


# ---- prediction ----
def padded(sets: Sequence[Sequence[int]], least: int = 3) -> Ints:
    """Fault sets as rows of equal length, -1 where fewer."""
    width = max((len(s) for s in sets), default=1)
    rows = np.full((len(sets), max(width, least)), -1, np.int32)
    for k, one in enumerate(sets):
        rows[k, : len(one)] = one
    return rows


def masks_of(causes: Sequence[Cause], members: Ints) -> tuple[dict[Key, Words], int]:
    """For each cause in these fault sets the plane of the sets that hold it, and the number of 64-bit words."""
    count = len(members)
    words = max(1, (count + 63) // 64)
    rows, cols = np.nonzero(members >= 0)
    which = members[rows, cols]
    order = np.argsort(which, kind="stable")
    rows, which = rows[order], which[order]
    starts = np.flatnonzero(np.r_[True, which[1:] != which[:-1]]) if len(which) else np.empty(0, np.int64)
    ends = np.r_[starts[1:], len(which)] if len(which) else starts
    found: dict[Key, Words] = {}
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        plane = np.zeros(words, np.uint64)
        mine = rows[a:b]
        np.bitwise_or.at(plane, mine >> 6, np.uint64(1) << (mine & 63).astype(np.uint64))
        found[causes[int(which[a])].key] = plane
    return found, words


def _chunk(made: Field, members: Ints) -> tuple[Outcome, Words]:
    """What a chunk of sets does, and the plane of the sets that hold a part which only sets a time: no level shows it, but the start does."""
    masks, words = masks_of(made.causes, members)
    late = np.zeros(words, np.uint64)
    by_ref = made.behaviour.circuit.by_ref
    for key, plane in masks.items():
        if key[0] == "open" and by_ref[str(key[1])].role == "capacitor" and str(key[1]) not in _linked(made):
            late |= plane
    return made.behaviour.simulate(masks, words), late


def _linked(made: Field) -> frozenset[str]:
    if "linked parts" not in made.memo:
        made.memo["linked parts"] = frozenset(one.part for one in made.behaviour.circuit.links)
    found: frozenset[str] = made.memo["linked parts"]
    return found


def _bits(plane: Words, count: int) -> Bytes:
    return np.unpackbits(plane.view(np.uint8), bitorder="little", count=count)


def _spot_planes(made: Field, outcome: Outcome, spot: Spot) -> tuple[Words, Words, Words]:
    planes = symbol_planes(outcome.seen(spot.net, spot.node))
    low = outcome.low.get(spot.net)
    if low is None:
        return planes
    here = outcome.supplied(spot.net, spot.node) & low
    return planes[0] | here, planes[1] & ~here, planes[2] | here


def _predict(made: Field, members: Ints) -> Iterator[Predicted]:
    for start in range(0, len(members), CHUNK):
        part = members[start : start + CHUNK]
        outcome, late = _chunk(made, part)
        known: dict[tuple[str, int], int] = {}
        row = np.empty(len(made.spots), np.int32)
        planes: list[NDArray[np.uint64]] = []
        for k, spot in enumerate(made.spots):
            group = (spot.net, outcome.groups[spot.net][spot.node])
            if group not in known:
                known[group] = len(planes)
                planes.append(np.stack(_spot_planes(made, outcome, spot)))
            row[k] = known[group]
        yield Predicted(
            len(part),
            row,
            np.ascontiguousarray(np.stack(planes).transpose(2, 0, 1)),
            _screens(made, outcome, len(part), late),
        )


def _screens(made: Field, outcome: Outcome, count: int, late: Words) -> Bytes:
    """Index of the screen that each set predicts; under the sets of ``late`` the machine does not start although all levels are right."""
    right = _all_right(made, outcome) & ~late
    undecided = np.full(outcome.words, 0xFFFFFFFFFFFFFFFF, np.uint64)
    answer = np.zeros(count, np.uint8)
    for k, screen in enumerate(made.screens):
        holds = undecided.copy()
        if screen.name == "works":
            holds &= right
        else:
            holds &= _holds(made, outcome, screen)
        answer[_bits(holds, count) > 0] = k
        undecided &= ~holds
    answer[_bits(undecided, count) > 0] = len(made.screens) - 1
    return answer


def _all_right(made: Field, outcome: Outcome) -> Words:
    """Sets under which every chip gets what it should (faults that touch nothing the machine needs)."""
    wrong = np.zeros(outcome.words, np.uint64)
    for net, nodes in _needed(made):
        healthy = made.behaviour.healthy_symbol(net)
        groups = outcome.groups[net]
        for group in {groups[node] for node in nodes}:
            wrong |= _differs(outcome, net, group, healthy)
        for more in (outcome.low.get(net), outcome.odd.get(net)):
            if more is not None:
                wrong |= more
    return ~wrong


def _needed(made: Field) -> list[tuple[str, tuple[int, ...]]]:
    if "needed" not in made.memo:
        circuit = made.behaviour.circuit
        nets = [net for net in circuit.nets if net not in circuit.unknown_nets and len(circuit.nets[net]) > 1]
        made.memo["needed"] = [(net, nodes) for net in nets if (nodes := made.behaviour.listening(net))]
    found: list[tuple[str, tuple[int, ...]]] = made.memo["needed"]
    return found


def _differs(outcome: Outcome, net: str, group: int, healthy: int) -> Words:
    wrong = np.zeros(outcome.words, np.uint64)
    for bit, plane in enumerate(symbol_planes(outcome.planes[net][group])):
        wrong |= ~plane if (healthy >> bit) & 1 else plane
    return wrong


def _holds(made: Field, outcome: Outcome, screen: Screen) -> Words:
    ones = np.full(outcome.words, 0xFFFFFFFFFFFFFFFF, np.uint64)
    holds = ones.copy()
    if screen.right or screen.not_right:
        wrong = np.zeros(outcome.words, np.uint64)
        for net in screen.not_right or screen.right:
            wrong |= _net_wrong(made, outcome, net)
        holds &= wrong if screen.not_right else ~wrong
    for net in screen.moving:
        if net in outcome.planes:
            holds &= _moves(made, outcome, net)
    for net in screen.still:
        if net in outcome.planes:
            holds &= ~_moves(made, outcome, net)
    return holds


def _moves(made: Field, outcome: Outcome, net: str) -> Words:
    groups = {outcome.groups[net][node] for node in made.behaviour.watched(net)}
    moves: Words = np.bitwise_and.reduce([outcome.planes[net][g][2] & ~outcome.planes[net][g][4] for g in groups])
    return moves


def _net_wrong(made: Field, outcome: Outcome, net: str) -> Words:
    wrong = np.zeros(outcome.words, np.uint64)
    if net in outcome.planes:
        healthy = made.behaviour.healthy_symbol(net)
        for group in {outcome.groups[net][node] for node in made.behaviour.watched(net)}:
            wrong |= _differs(outcome, net, group, healthy)
    return wrong
