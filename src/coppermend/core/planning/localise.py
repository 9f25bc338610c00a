"""Narrow a break down: which reading tells most per second about where it is.

The information of a noisy reading about the copper depends only on P(the two points are joined): with pi that probability, a the chance
of a beep when they are joined and b when not, it is h(pi a + (1 - pi) b) - pi h(a) - (1 - pi) h(b) bits, h the binary entropy. P(joined) and the
chance of a bite are taken from samples of the exact posterior, so a point that has just read open tells less when it is asked again.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.copper import Copper
from coppermend.core.belief.engine import CopperBelief
from coppermend.core.belief.model import Basis
from coppermend.core.belief.network import block_chains, draw
from coppermend.core.belief.patterns import labels
from coppermend.core.belief.readings import rates
from coppermend.core.copper.model import ProbePoint
from coppermend.core.geometry.groups import Groups
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.risk import Frame, Risk
from coppermend.core.planning.rollout import Game, Owed
from coppermend.core.planning.settle import best_across, beyond
from coppermend.core.planning.small import SmallNet, could_rise, play_out, small_net
from coppermend.core.planning.spans import (
    MOST_REPEATS,
    block_of,
    confirmed,
    crossing_opens,
    enough_but_for,
    scarce_points,
)
from coppermend.core.planning.tour import Option
from coppermend.core.planning.trees import RiskTree, risk_trees

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

SAMPLES = 1000
THIN = 2
"""Every so-manieth sample is played on when looking ahead."""
PLAYED = 12
"""Candidates that are played on."""
ALIKE = 0.01
"""Two candidates that split fewer samples than this differently are alike ..."""
PLAYED_ALIKE = 2
"""... and of those that are alike no more are played on."""
EXCESS_SAVES_S = 0.25
"""A reading beyond the fewest has to save this many expected seconds on its net."""
LEAST_GAIN_BITS = 1e-3
"""A reading that tells less than this is not worth asking for."""
RAISED = 1.5
"""A stretch is suspect when its probability is this many times its prior ..."""
RAISED_BY = 0.05
"""... or this much above it: what was likely broken from the start cannot rise by half."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A reading that could come next: its points, seconds from where the tips are, bits, and P(closed)."""

    a: ProbePoint
    b: ProbePoint
    seconds: float
    bits: float
    p_closed: float
    confirms: int = -1
    """Number of the super-edge that this reading is to confirm, -1 = none."""
    repeats: bool = False
    """The same two points were read before."""
    bites: float = 0.98
    """P(closed) when the points are joined."""


def suspects(posterior: CopperBelief, risk: Risk, v: int, confirm: bool = True) -> list[int]:
    """Super-edges of view ``v`` that an open reading has raised well above their priors, and broken ones not yet confirmed.

    ``confirm`` False: what is named broken is settled (a bench that never errs).
    """
    base = risk.frame.first[v]
    found = []
    for e in risk.frame.views[v].super_edges:
        k = base + e.index
        if e.dead or e.a == e.b:
            continue
        p = float(risk.chance[k])
        if risk.broken[k]:
            if confirm and not confirmed(posterior, risk, k):
                found.append(k)
        elif risk.doubt[k] and p > 0.002:
            before = _before(posterior, risk, k)
            if p > min(RAISED * before, before + RAISED_BY):
                found.append(k)
    return found


_BEFORE: OrderedDict[tuple[int, int], tuple[Frame, Floats, dict[int, float]]] = OrderedDict()


def _before(posterior: CopperBelief, risk: Risk, number: int) -> float:
    """``prior_chance`` of a super-edge, remembered: every step asks it of every stretch of the nets in doubt."""
    key = (id(risk.frame), id(posterior.prior))
    hit = _BEFORE.get(key)
    if hit is None or hit[0] is not risk.frame or hit[1] is not posterior.prior:
        hit = (risk.frame, posterior.prior, {})
        _BEFORE[key] = hit
        while len(_BEFORE) > 8:
            _BEFORE.popitem(last=False)
    kept = hit[2]
    if number not in kept:
        v = int(risk.frame.view_of[number])
        edge = risk.frame.views[v].super_edges[number - risk.frame.first[v]]
        kept[number] = prior_chance(posterior, edge.sites)
    return kept[number]


def prior_chance(posterior: CopperBelief, sites: Sequence[str]) -> float:
    """Prior probability that one of the sites is broken."""
    index = [posterior.copper.site[s] for s in sites]
    return 1.0 - float(np.prod(1.0 - posterior.prior[index]))


def best_readings(
    posterior: CopperBelief,
    risk: Risk,
    v: int,
    costs: CostTable,
    tips: TipState,
    *,
    skipped: Collection[str] = (),
    seed: int = 0,
    most: int = 20,
    confirm: bool = True,
    among: Sequence[int] | None = None,
) -> list[Candidate]:
    """The readings on view ``v`` that tell most per second, best first; empty when no reading tells anything worth having.

    A broken stretch that needs its second, independent reading comes first; ``confirm`` False: none does (a bench that never errs).
    ``among``: the super-edges whose state is wanted, instead of the suspects.
    """
    view = risk.frame.views[v]
    copper = posterior.copper
    asked = _asked(posterior)
    raised = suspects(posterior, risk, v, confirm)
    for k in raised:
        if risk.broken[k] or (confirm and among is None and _all_but_sure(posterior, risk, k, raised)):
            found = _confirming(posterior, risk, k, costs, tips, skipped, asked)
            if found is not None:
                return [found]
    classes = _classes(copper, risk, v, skipped)
    if len(classes) < 2:
        return []
    played = _played(posterior, risk, v, classes, costs, tips, asked, skipped)
    if played is not None:
        return [played]
    piece = copper.tree.piece[next(iter(view.points))]
    broken, contacts = _samples(posterior, piece, seed)
    where = node_labels(copper, piece, broken, [nodes[0] for nodes, _ in classes])
    raised = raised if among is None else list(among)
    state, members = _states(posterior, risk, v, broken, raised)
    pairs = list(dict.fromkeys([*_read_pairs(posterior, classes), *_rough_pairs(where, state, posterior.basis)[:most]]))
    found_all: list[Candidate] = []
    apart: dict[tuple[str, str], Bools] = {}
    for i, j in pairs:
        joined = where[i] == where[j]
        mine = _with_points(posterior, joined, classes[i][1], classes[j][1], contacts, costs, tips, asked)
        apart.update({(c.a.id, c.b.id): joined for c in mine})
        found_all += mine
    found_all = [replace(c, bits=told(apart[c.a.id, c.b.id], state, c, posterior.basis)) for c in found_all]
    found_all = [c for c in found_all if c.bits >= LEAST_GAIN_BITS]
    found_all.sort(key=lambda c: (-worth(c, costs), c.a.id, c.b.id))
    if not found_all:
        return _nearly_sure(posterior, risk, v, costs, tips, skipped, asked, confirm)
    found_all = found_all[:most]
    owed = _owed(posterior, risk, raised, members, found_all)
    return _looked_ahead(posterior, found_all, apart, state, owed, contacts, costs)


def _played(
    posterior: CopperBelief,
    risk: Risk,
    v: int,
    classes: Sequence[tuple[list[int], list[ProbePoint]]],
    costs: CostTable,
    tips: TipState,
    asked: dict[frozenset[str], int],
    skipped: Collection[str],
) -> Candidate | None:
    """What playing a small net out recommends; None on a larger net, and where a small one is settled."""
    worn = {pair for pair, times in asked.items() if times >= MOST_REPEATS}
    net = _small(posterior, risk, v, classes, tips, worn, skipped)
    pair = play_out(net, costs, tips, asked)[0] if net is not None else None
    if net is None or pair is None:
        return None
    seconds, _ = check_seconds(costs, tips, *pair)
    joined = float(net.closes[net.pairs.index(pair)] @ net.weight)
    low_open, low_closed = rates(posterior.basis)
    bits = float(information(joined, 1.0 - low_open, low_closed))
    p_closed = low_closed + (1.0 - low_open - low_closed) * joined
    return Candidate(*pair, seconds, bits, p_closed, repeats=frozenset((pair[0].id, pair[1].id)) in asked)


def _small(
    posterior: CopperBelief,
    risk: Risk,
    v: int,
    classes: Sequence[tuple[list[int], list[ProbePoint]]],
    tips: TipState,
    worn: Collection[frozenset[str]],
    skipped: Collection[str],
) -> SmallNet | None:
    """View ``v`` as a small net, with what an open reading could put in doubt where that leaves it small."""
    loose = could_rise(risk, v, posterior.basis.proven_below)
    if loose:
        apart = _classes(posterior.copper, risk, v, skipped, loose)
        net = small_net(posterior, risk, v, apart, tips, worn, loose)
        if net is not None:
            return net
    return small_net(posterior, risk, v, classes, tips, worn)


def played_cover(
    posterior: CopperBelief,
    risk: Risk,
    v: int,
    trees: Sequence[RiskTree],
    costs: CostTable,
    tips: TipState,
    skipped: Collection[str],
) -> Option | None:
    """On a small net the reading with the least expected seconds: one after which, closed, one check fewer proves the rest, unless another saves
    ``EXCESS_SAVES_S`` or more. None on a larger net.
    """
    asked = _asked(posterior)
    net = _small(posterior, risk, v, _classes(posterior.copper, risk, v, skipped), tips, set(asked), skipped)
    if net is None:
        return None
    bound = sum(tree.bound for tree in trees)
    column = {name: i for i, name in enumerate(net.edges)}
    fits: dict[bytes, bool] = {}
    allowed = np.zeros(len(net.pairs), dtype=np.bool_)
    for i, closes in enumerate(net.closes):
        key = closes.tobytes()
        if key not in fits:
            way = {name for name, k in column.items() if not (closes & net.broken[:, k]).any()}
            fits[key] = sum(_bound_without(tree, way) for tree in trees) < bound
        allowed[i] = fits[key]
    free, least = play_out(net, costs, tips, asked)
    short, seconds = play_out(net, costs, tips, asked, allowed)
    return free if least <= seconds - EXCESS_SAVES_S else short


def _bound_without(tree: RiskTree, way: Collection[int]) -> int:
    """Fewest checks that prove the tree when the stretches of ``way`` are proven."""
    edges = {name: (a, b) for a, b, name in tree.edges}
    touch = [g for g, nodes in enumerate(tree.groups) if nodes]
    left = [name for name in edges if name not in way]
    return sum(one.bound for one in risk_trees(edges, left, (), touch)[0]) if left else 0


def _states(posterior: CopperBelief, risk: Risk, v: int, broken: Bools, raised: Sequence[int]) -> tuple[Ints, Bools]:
    """(samples,) number of the suspects' state, and (states, suspects) which of them are broken in it."""
    copper, view, base = posterior.copper, risk.frame.views[v], risk.frame.first[v]
    if not raised:
        return np.zeros(broken.shape[1], dtype=np.int64), np.zeros((1, 0), dtype=np.bool_)
    place = {k: i for i, k in enumerate(copper.pieces[copper.tree.piece[next(iter(view.points))]])}
    rows = np.stack(
        [broken[[place[copper.site[s]] for s in view.super_edges[k - base].sites]].any(axis=0) for k in raised]
    )
    members, state = np.unique(rows, axis=1, return_inverse=True)
    return state.reshape(-1).astype(np.int64), np.ascontiguousarray(members.T)


def crossed_twice(posterior: CopperBelief, risk: Risk, number: int) -> bool:
    """Whether two independent open readings cross the super-edge: no shared point, except where there is no other to be had."""
    few = scarce_points(risk, number)
    pairs = [{r.point_a, r.point_b} for r in crossing_opens(posterior, risk, number)]
    return any((one & other) <= few for one, other in combinations(pairs, 2))


def _owed(
    posterior: CopperBelief, risk: Risk, raised: Sequence[int], members: Bools, found: Sequence[Candidate]
) -> Owed:
    """Which of the candidates would confirm which suspect, alone or two together."""
    tree = posterior.copper.tree
    ways = [{block for block, _, _ in tree.route(c.a.node, c.b.node)} for c in found]
    ends = [{c.a.id, c.b.id} for c in found]
    now = np.zeros(len(raised), dtype=np.bool_)
    past = np.zeros((len(raised), len(found)), dtype=np.bool_)
    both = np.zeros((len(raised), len(found), len(found)), dtype=np.bool_)
    for i, k in enumerate(raised):
        now[i] = crossed_twice(posterior, risk, k)
        block, few = block_of(posterior, risk, k), scarce_points(risk, k)
        before = [{r.point_a, r.point_b} for r in crossing_opens(posterior, risk, k)]
        across = [c for c, way in enumerate(ways) if block in way]
        for c in across:
            past[i, c] = any((ends[c] & pair) <= few for pair in before)
            for d in across:
                both[i, c, d] = (ends[c] & ends[d]) <= few
    return Owed(members, now, past, both)


def told(joined: Bools, state: Ints, one: Candidate, basis: Basis) -> float:
    """Bits that a reading tells about the suspects' state: what it tells about other copper is the round's to ask, with fewer checks."""
    low_closed = rates(basis)[1]
    share = np.bincount(state) / len(state)
    closes = np.bincount(state, weights=joined) / np.maximum(np.bincount(state), 1)
    p_closed = low_closed + (one.bites - low_closed) * closes
    return max(0.0, float(entropy_bits(float(share @ p_closed)) - share @ entropy_bits(p_closed)))


def _looked_ahead(
    posterior: CopperBelief,
    found: list[Candidate],
    joined: dict[tuple[str, str], Bools],
    state: Ints,
    owed: Owed,
    contacts: _Contacts,
    costs: CostTable,
) -> list[Candidate]:
    """The candidates with the one first that costs the fewest expected seconds when played on."""
    thin = slice(None, None, THIN)
    few = state[thin]
    if len(found) < 2 or np.bincount(few).max() >= 0.9 * len(few):
        return found
    low_open, low_closed = rates(posterior.basis)
    whole = np.stack([joined[c.a.id, c.b.id][thin] for c in found])
    bites = contacts.as_drawn({p.id for c in found for p in (c.a, c.b)}, posterior.basis.contact_false_open, thin)
    meets = np.stack([bites[c.a.id] * bites[c.b.id] for c in found]) * whole
    game = Game(
        low_closed + (1.0 - low_open - low_closed) * meets,
        np.array([c.bits / worth(c, costs) for c in found]),
        (few[:, None] == np.arange(len(owed.members))).astype(np.float64),
        owed,
    )
    best = min(_varied(whole.astype(np.float64)), key=lambda i: (game.expected(i), i))
    return [found[best], *found[:best], *found[best + 1 :]]


def _varied(joined: Floats) -> list[int]:
    """Which of the readings, best first, are played on: few of those that are alike."""
    chosen: list[int] = []
    for i in range(len(joined)):
        apart = np.abs(joined[chosen] - joined[i]).mean(axis=1) if chosen else np.ones(0)
        if int((apart < ALIKE).sum()) < PLAYED_ALIKE:
            chosen.append(i)
        if len(chosen) == PLAYED:
            break
    return chosen


def _read_pairs(
    posterior: CopperBelief, classes: Sequence[tuple[list[int], list[ProbePoint]]]
) -> list[tuple[int, int]]:
    """The pairs of classes between which the last open readings were taken: the whole stretch once more."""
    home = {p.id: c for c, (_, points) in enumerate(classes) for p in points}
    found = []
    for e in reversed(posterior.evidence):
        if e.says != "closed" and e.point_a in home and e.point_b in home and home[e.point_a] != home[e.point_b]:
            a, b = home[e.point_a], home[e.point_b]
            found.append((min(a, b), max(a, b)))
    return list(dict.fromkeys(found))[:2]


def _nearly_sure(
    posterior: CopperBelief,
    risk: Risk,
    v: int,
    costs: CostTable,
    tips: TipState,
    skipped: Collection[str],
    asked: dict[frozenset[str], int],
    confirm: bool,
) -> list[Candidate]:
    """One more reading across a stretch that is broken more likely than not, when the samples are too few to see what is left to learn."""
    likely = [
        k for k in suspects(posterior, risk, v) if float(risk.chance[k]) > 0.5 and (confirm or not risk.broken[k])
    ]
    for k in sorted(likely, key=lambda k: -float(risk.chance[k])):
        for free in (False, True):
            found = _confirming(posterior, risk, k, costs, tips, skipped, asked, any_pair=free, tied_only=True)
            if found is not None and found.bits >= LEAST_GAIN_BITS:
                return [found]
    return []


@dataclass(frozen=True, slots=True)
class _Contacts:
    """Samples of how points bite: ``bad`` by point where readings spoke of it; ``share``: the supposed share of bad points in each sample."""

    bad: dict[str, Bools]
    share: Floats

    def bites(self, point: str, miss: float) -> Floats:
        """(samples,) chance that a tip on the point bites."""
        return np.asarray(1.0 - miss * self.bad.get(point, self.share), dtype=np.float64)

    def as_drawn(self, points: Collection[str], miss: float, thin: slice) -> dict[str, Floats]:
        """By point: (samples,) chance that a tip on it bites, each point good or bad in each sample; the same points give the same draws."""
        share = self.share[thin]
        drawn: dict[str, Floats] = {}
        for point in sorted(points):
            bad = self.bad[point][thin] if point in self.bad else _lots(crc32(point.encode()), len(share)) < share
            drawn[point] = np.asarray(1.0 - miss * bad, dtype=np.float64)
        return drawn


def _lots(seed: int, count: int) -> Floats:
    return np.random.default_rng(seed).random(count)


def _samples(posterior: CopperBelief, piece: int, seed: int) -> tuple[Bools, _Contacts]:
    """(sites of the piece, samples) broken, and how the points bite, over all suppositions by their weight."""
    parts: list[Bools] = []
    shares: list[Floats] = []
    bads: list[dict[str, Bools]] = []
    left = SAMPLES
    for i, bench in enumerate(posterior.benches):
        count = left if i == len(posterior.benches) - 1 else min(left, round(SAMPLES * bench.weight))
        left -= count
        if not count:
            continue
        broken, bad = draw(posterior.piece(piece, bench), count, seed + i)
        parts.append(broken)
        bads.append(bad)
        shares.append(np.full(count, bench.share))
    names = {name for bad in bads for name in bad}
    joined = {
        name: np.concatenate(
            [
                np.asarray(bad.get(name, np.zeros(len(share), dtype=np.bool_)), dtype=np.bool_)
                for bad, share in zip(bads, shares, strict=True)
            ]
        )
        for name in names
    }
    return np.concatenate(parts, axis=1), _Contacts(joined, np.concatenate(shares))


def _asked(posterior: CopperBelief) -> dict[frozenset[str], int]:
    count: dict[frozenset[str], int] = {}
    for e in posterior.evidence:
        key = frozenset((e.point_a, e.point_b))
        count[key] = count.get(key, 0) + 1
    return count


def _classes(
    copper: Copper, risk: Risk, v: int, skipped: Collection[str], loose: Collection[int] = ()
) -> list[tuple[list[int], list[ProbePoint]]]:
    """Nodes that proven copper joins, with their points: a reading from any of them tells the same about the copper.

    ``loose``: super-edges that are not taken to join anything, though they are proven.
    """
    view, base = risk.frame.views[v], risk.frame.first[v]
    tied = Groups()
    find = tied.find
    for e in view.super_edges:
        k = base + e.index
        if not risk.doubt[k] and not risk.broken[k] and not e.dead and k not in loose:
            tied.join(e.a, e.b)
    groups: dict[int, tuple[list[int], list[ProbePoint]]] = {}
    for node in view.points:
        points = [p for p in copper.points_at[node] if p.id not in skipped]
        if points:
            nodes, held = groups.setdefault(find(node), ([], []))
            nodes.append(node)
            held += points
    return list(groups.values())


def node_labels(copper: Copper, piece: int, broken: Bools, nodes: Sequence[int]) -> Ints:
    """(nodes, samples): equal numbers in a sample mean that the nodes are joined in it. ``broken``: (sites of the piece, samples)."""
    place = {k: i for i, k in enumerate(copper.pieces[piece])}
    tree = copper.tree
    needed: set[int] = set()
    for node in nodes:
        while node not in needed:
            needed.add(node)
            if tree.home[node] < 0:
                break
            node = tree.top[tree.home[node]]
    label: dict[int, Ints] = {}
    rings: dict[int, Ints] = {}
    for node in sorted(needed, key=lambda n: tree.depth[n]):
        block = tree.home[node]
        if block < 0:
            label[node] = np.full(broken.shape[1], node, dtype=np.int64)
            continue
        top = tree.top[block]
        sites = copper.block_sites[block]
        if len(sites) == 1:
            label[node] = np.where(broken[place[sites[0]]], node, label[top])
            continue
        chains = block_chains(copper, block)
        if block not in rings:
            open_chain = np.stack([broken[[place[k] for k in s]].any(axis=0) for s in chains.sites], axis=1)
            rings[block] = _labels(chains.ends, len(chains.nodes), open_chain)
        names = np.array(sorted(chains.nodes), dtype=np.int64)
        mine, tops = rings[block][:, chains.nodes[node]], rings[block][:, chains.nodes[top]]
        label[node] = np.where(mine == tops, label[top], names[mine])
    return np.stack([label[n] for n in nodes])


def _labels(ends: Sequence[tuple[int, int]], count: int, open_chain: Bools) -> Ints:
    """``labels``, each pattern that occurs among the samples looked at once."""
    packed = np.packbits(open_chain, axis=1)
    _, first, which = np.unique(packed, axis=0, return_index=True, return_inverse=True)
    return np.asarray(labels(ends, count, open_chain[first])[which.reshape(-1)], dtype=np.int64)


def _rough_pairs(where: Ints, state: Ints, basis: Basis) -> list[tuple[int, int]]:
    """Pairs of classes by what a reading between them tells about the suspects' state, points not yet chosen."""
    low_open, low_closed = rates(basis)
    i, j = np.triu_indices(len(where), 1)
    count = np.bincount(state)
    closes, which = _joined_by_state(where, state)
    p_closed = low_closed + (1.0 - low_open - low_closed) * (closes / np.maximum(count, 1))
    share = count / len(state)
    left = entropy_bits(p_closed)[which[i, j]] @ share
    bits = entropy_bits(p_closed[which[i, j]] @ share) - left
    order = np.argsort(-bits, kind="stable")
    return list(zip(i[order].tolist(), j[order].tolist(), strict=True))


def _joined_by_state(where: Ints, state: Ints) -> tuple[NDArray[np.float32], Ints]:
    """(kinds, states) in how many samples of each state two classes are joined, and (classes, classes) which row holds for two of them.

    Samples that are alike are compared once, and so are classes.
    """
    first, sample = _kinds_of(np.column_stack([where.T, state]))
    labels_of = where[:, first].astype(np.int32)
    rows, kind = _kinds_of(labels_of)
    labels_of = labels_of[rows]
    times = np.zeros((len(first), int(state.max()) + 1), dtype=np.float32)
    times[np.arange(len(first)), state[first]] = np.bincount(sample)
    n = len(rows)
    which = np.empty((n, n), dtype=np.int64)
    found: list[NDArray[np.float32]] = []
    at = 0
    for k in range(n):
        found.append((labels_of[k:] == labels_of[k]).astype(np.float32) @ times)
        which[k, k:] = which[k:, k] = np.arange(at, at + n - k)
        at += n - k
    return np.concatenate(found), which[np.ix_(kind, kind)]


def _kinds_of(rows: NDArray[np.signedinteger[Any]]) -> tuple[Ints, Ints]:
    """The first of each kind of row, and (rows,) which kind each is of."""
    number: dict[bytes, int] = {}
    first: list[int] = []
    kind = np.empty(len(rows), dtype=np.int64)
    for k, row in enumerate(np.ascontiguousarray(rows)):
        kind[k] = n = number.setdefault(row.tobytes(), len(first))
        if n == len(first):
            first.append(k)
    return np.array(first, dtype=np.int64), kind


def entropy_bits(p: Floats | float) -> Floats:
    """Binary entropy in bits; 0 at 0 and 1."""
    q = np.clip(np.asarray(p, dtype=np.float64), 1e-15, 1.0 - 1e-15)
    return np.asarray(-(q * np.log2(q) + (1.0 - q) * np.log2(1.0 - q)), dtype=np.float64)


def information(joined: Floats | float, a: Floats | float, b: float) -> Floats:
    """Bits that a reading tells about whether two points are joined: h(pi a + (1-pi) b) - pi h(a) - (1-pi) h(b).

    >>> round(float(information(0.5, 1.0, 0.0)), 9)       # a perfect reading of an even chance
    1.0
    """
    pi = np.asarray(joined, dtype=np.float64)
    mixed = pi * a + (1.0 - pi) * b
    told = entropy_bits(mixed) - pi * entropy_bits(a) - (1.0 - pi) * entropy_bits(b)
    return np.asarray(np.maximum(told, 0.0), dtype=np.float64)


def _with_points(
    posterior: CopperBelief,
    joined: Bools,
    points_a: Sequence[ProbePoint],
    points_b: Sequence[ProbePoint],
    contacts: _Contacts,
    costs: CostTable,
    tips: TipState,
    asked: dict[frozenset[str], int],
) -> list[Candidate]:
    """The two best ways to place the tips for one pair of classes."""
    basis = posterior.basis
    low_open, low_closed = rates(basis)
    pi = float(joined.mean())
    found = []
    for a in _handy(points_a, tips, posterior):
        for b in _handy(points_b, tips, posterior):
            if a.id == b.id or asked.get(frozenset((a.id, b.id)), 0) >= MOST_REPEATS:
                continue
            miss = basis.contact_false_open
            bite = contacts.bites(a.id, miss) * contacts.bites(b.id, miss)
            closes = float(bite[joined].mean()) if joined.any() else float(bite.mean())
            p_closed_joined = closes * (1.0 - low_open) + (1.0 - closes) * low_closed
            bits = float(information(pi, p_closed_joined, low_closed))
            seconds, _ = check_seconds(costs, tips, a, b)
            p_closed = pi * p_closed_joined + (1.0 - pi) * low_closed
            again = frozenset((a.id, b.id)) in asked
            found.append(Candidate(a, b, seconds, bits, p_closed, repeats=again, bites=p_closed_joined))
    found.sort(key=lambda c: (-worth(c, costs), c.a.id, c.b.id))
    return found[:2]


def worth(one: Candidate, costs: CostTable) -> float:
    """Bits per second. The same two points once more count as dearer by what the independent reading costs that an open answer then still needs."""
    later = (costs.read_s + costs.move_s) * (1.0 - one.p_closed) if one.repeats else 0.0
    return one.bits / (one.seconds + later)


def _handy(points: Sequence[ProbePoint], tips: TipState, posterior: CopperBelief) -> list[ProbePoint]:
    """Up to five points: those a tip touches, those nearest to a tip, and one that was not used yet."""
    if len(points) <= 5:
        return list(points)
    side = [p for p in points if p.side == tips.up] or list(points)
    at = [t for t in (tips.a, tips.b) if t is not None]

    def near(p: ProbePoint) -> float:
        return min(((p.x_mm - t.x_mm) ** 2 + (p.y_mm - t.y_mm) ** 2 for t in at), default=0.0)

    ranked = sorted(side, key=lambda p: (near(p), p.id))
    used = {i for e in posterior.evidence for i in (e.point_a, e.point_b)}
    fresh = [p for p in ranked if p.id not in used][:2]
    return list({p.id: p for p in (*ranked[:3], *fresh)}.values())


SURE_ABOVE = 0.9
"""A stretch more likely broken than this, crossed by two independent open readings, is made sure by the reading that adds most to its odds ..."""
RIVALS_BELOW = 0.05
"""... when no other suspect of its net is likelier than this."""


def _all_but_sure(posterior: CopperBelief, risk: Risk, number: int, raised: Sequence[int]) -> bool:
    rivals = [float(risk.chance[k]) for k in raised if k != number]
    sure = float(risk.chance[number]) > SURE_ABOVE and max(rivals, default=0.0) < RIVALS_BELOW
    return sure and crossed_twice(posterior, risk, number)


def _confirming(
    posterior: CopperBelief,
    risk: Risk,
    number: int,
    costs: CostTable,
    tips: TipState,
    skipped: Collection[str],
    asked: dict[frozenset[str], int],
    any_pair: bool = False,
    tied_only: bool = False,
) -> Candidate | None:
    """The best reading across a broken super-edge: independent of the open readings that it has while it lacks one, else whatever makes it surest; after
    enough of them the closed reading that its name hangs on, once more.

    ``any_pair``: points that were used before will do. ``tied_only``: None when sound copper ties no point to an end.
    """
    again = enough_but_for(posterior, risk, number)
    if again is not None and not {again.point_a, again.point_b} & set(skipped):
        a, b = (posterior.copper.points[p] for p in (again.point_a, again.point_b))
        seconds, _ = check_seconds(costs, tips, a, b)
        return Candidate(a, b, seconds, float(information(0.95, 0.95, 0.002)), 0.95, number, repeats=True)
    v = int(risk.frame.view_of[number])
    edge = risk.frame.views[v].super_edges[number - risk.frame.first[v]]
    classes = _classes(posterior.copper, risk, v, skipped)
    sides: list[list[ProbePoint]] = []
    for node in (edge.a, edge.b):
        tied = next((points for nodes, points in classes if node in nodes), [])
        if not tied and tied_only:
            return None
        more = [] if tied_only else beyond(posterior, risk, number, node, skipped)
        own = [p for p in posterior.copper.points_at[node] if p.id not in skipped]
        near = (*own, *_handy(tied, tips, posterior), *_handy(more, tips, posterior))
        sides.append(list({p.id: p for p in near}.values()))
    free = any_pair or crossed_twice(posterior, risk, number)
    found = best_across(posterior, risk, number, (sides[0], sides[1]), costs, tips, asked, free)
    if found is None:
        return None
    p = 1.0 - float(risk.chance[number])
    return Candidate(found.a, found.b, found.seconds, float(information(p, 0.95, 0.002)), p, number)
