"""Small nets played out: the reading with the least expected seconds until every stretch in doubt is settled.

A net with few stretches in doubt has few break patterns. Each pattern gets its probability from the readings so far; from there on the look-ahead takes
readings as true, so that a state is the set of patterns still possible and the place of the tips. States likely to be met are searched over
all readings worth having, rare ones along the reading with most bits per second alone.
Source: R. Bellman, Dynamic Programming (1957), cut off by a rollout where a state is rare (D. P. Bertsekas; named from memory).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from math import inf

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.engine import CopperBelief
from coppermend.core.belief.model import Evidence
from coppermend.core.belief.readings import rates
from coppermend.core.copper.model import ProbePoint
from coppermend.core.geometry.groups import Groups
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.risk import Risk
from coppermend.core.planning.tour import Option, step_seconds

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

MOST_EDGES = 6
"""Nets with more stretches in doubt are not played out."""
MOST_CLASSES = 8
"""Nets with more places that a reading can tell apart are not played out."""
MOST_POINTS = 12
"""Points of the net that are looked at: those nearest to the tips and to each other."""
COULD_RISE = 0.05
"""A proven stretch with more than this share of the threshold counts in the play: an open reading can raise it to twenty times its chance."""
BEAM = ((0.2, 8), (0.04, 4), (0.01, 2))
"""(chance, readings): how many readings are tried in a state met with at least this chance; rarer states follow one."""
MOST_STATES = 700
"""After so many states every further one follows one reading."""
SURE_ANSWER = 0.001
"""A reading with an answer rarer than this tells nothing more."""
NEVER_S = 1e9
"""Seconds of a reading that may not come now."""
ROUNDS = 12
"""Rounds of fitting the patterns to the stretches' probabilities."""


@dataclass(frozen=True, slots=True)
class SmallNet:
    """What is undecided on a net. ``edges``: numbers of its stretches in doubt; ``broken`` (patterns, edges); ``weight`` (patterns,) sums to 1.

    ``pairs``: the readings on offer; ``closes`` (pairs, patterns). ``proven``, ``named`` (edges,): a stretch is settled below and above these.
    """

    edges: tuple[int, ...]
    broken: Bools
    weight: Floats
    pairs: tuple[Option, ...]
    closes: Bools
    proven: Floats
    named: float


def small_net(
    posterior: CopperBelief,
    risk: Risk,
    v: int,
    classes: Sequence[tuple[list[int], list[ProbePoint]]],
    tips: TipState,
    asked: Collection[frozenset[str]] = (),
    loose: Collection[int] = (),
) -> SmallNet | None:
    """View ``v`` as a small net, or None when it is not one. ``classes``: nodes joined by sound copper with their points; ``asked``: pairs of points
    that are not to be asked again; ``loose``: proven stretches that count all the same (``could_rise``).
    """
    base, view = risk.frame.first[v], risk.frame.views[v]
    alive = [e for e in view.super_edges if not e.dead and e.a != e.b]
    doubt = [e for e in alive if risk.doubt[base + e.index] or base + e.index in loose]
    if not 0 < len(doubt) <= MOST_EDGES or not 1 < len(classes) <= MOST_CLASSES:
        return None
    kept = {e.index for e in doubt}
    sound = [(e.a, e.b) for e in alive if e.index not in kept and not risk.broken[base + e.index]]
    broken = np.asarray(np.arange(1 << len(doubt))[:, None] >> np.arange(len(doubt)) & 1, dtype=np.bool_)
    home = _labels(sound, [(e.a, e.b) for e in doubt], broken, {n for nodes, _ in classes for n in nodes})
    points = _points_at_hand([held for _, held in classes], tips)
    of_class = {p.id: nodes[0] for nodes, held in classes for p in held}
    pairs = tuple(
        (a, b)
        for a, b in combinations(points, 2)
        if of_class[a.id] != of_class[b.id] and frozenset((a.id, b.id)) not in asked
    )
    if not pairs:
        return None
    closes = np.stack([home[of_class[a.id]] == home[of_class[b.id]] for a, b in pairs])
    edges = tuple(base + e.index for e in doubt)
    weight = _weights(posterior, risk, edges, broken, home)
    return SmallNet(
        edges, broken, weight, pairs, closes, _proven(posterior, risk, v, edges), posterior.basis.broken_above
    )


def could_rise(risk: Risk, v: int, proven_below: float) -> frozenset[int]:
    """Stretches of view ``v`` that are proven and that one open reading across them could put in doubt again: a check that need not cross them
    should not, because an open answer is then theirs to explain too.
    """
    base = risk.frame.first[v]
    own = [base + e.index for e in risk.frame.views[v].super_edges if not e.dead and e.a != e.b]
    least = COULD_RISE * proven_below
    return frozenset(k for k in own if not risk.doubt[k] and not risk.broken[k] and float(risk.unproven[k]) > least)


def _labels(
    sound: Sequence[tuple[int, int]], doubt: Sequence[tuple[int, int]], broken: Bools, nodes: Collection[int]
) -> dict[int, Ints]:
    """For each node (patterns,) the number of its piece of copper in each pattern."""
    every = sorted({n for pair in (*sound, *doubt) for n in pair} | set(nodes))
    groups = Groups()
    find = groups.find
    for a, b in sound:
        groups.join(a, b)
    label = {n: np.full(len(broken), n, dtype=np.int64) for n in {find(n) for n in every}}
    for _ in doubt:
        for i, (a, b) in enumerate(doubt):
            one, other = label[find(a)], label[find(b)]
            least = np.minimum(one, other)
            label[find(a)] = np.where(broken[:, i], one, least)
            label[find(b)] = np.where(broken[:, i], other, least)
    return {n: label[find(n)] for n in every}


def _points_at_hand(classes: Sequence[Sequence[ProbePoint]], tips: TipState) -> list[ProbePoint]:
    """Up to ``MOST_POINTS`` points, at least one of each class: those nearest to the tips and to other classes, on the side that lies up first."""
    centre = [(float(np.mean([p.x_mm for p in c])), float(np.mean([p.y_mm for p in c]))) for c in classes]
    share = max(1, MOST_POINTS // len(classes))
    at = [(t.x_mm, t.y_mm) for t in (tips.a, tips.b) if t is not None]
    chosen = []
    for i, held in enumerate(classes):
        others = [*at, *(c for k, c in enumerate(centre) if k != i)]
        ranked = sorted(
            held,
            key=lambda p: (
                p.side != tips.up,
                min((p.x_mm - x) ** 2 + (p.y_mm - y) ** 2 for x, y in others),
                p.id,
            ),
        )
        chosen += ranked[:share]
    return chosen


def _weights(posterior: CopperBelief, risk: Risk, edges: Sequence[int], broken: Bools, home: dict[int, Ints]) -> Floats:
    """(patterns,) probabilities: priors and readings, each reading with the rates of an average contact, then fitted so that each stretch has
    exactly the probability of the posterior.
    """
    copper, basis = posterior.copper, posterior.basis
    now = np.clip(risk.chance[list(edges)], 1e-12, 1.0 - 1e-12)
    log = np.zeros(len(broken))
    prior = _prior(posterior, risk, edges)
    log += np.where(broken, np.log(prior), np.log1p(-prior)).sum(axis=1)
    low_open, low_closed = rates(basis)
    share = sum(bench.weight * bench.share for bench in posterior.benches)
    bite = (1.0 - share * basis.contact_false_open) ** 2
    shut, loose = low_closed + (1.0 - low_open - low_closed) * bite, low_closed
    for e in posterior.evidence:
        a, b = copper.points.get(e.point_a), copper.points.get(e.point_b)
        if a is None or b is None or a.node not in home or b.node not in home or e.without:
            continue
        joined = home[a.node] == home[b.node]
        beep = _beeps(e, basis.closed_below_ohm)
        like = np.where(joined, shut, loose) if beep else np.where(joined, 1.0 - shut, 1.0 - loose)
        log += np.log(np.maximum(like, 1e-15))
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    for _ in range(ROUNDS):
        for i, p in enumerate(now.tolist()):
            mass = float(weight[broken[:, i]].sum())
            if 1e-12 < mass < 1.0 - 1e-12:
                weight = np.where(broken[:, i], weight * (p / mass), weight * ((1.0 - p) / (1.0 - mass)))
        weight /= weight.sum()
    return np.asarray(weight, dtype=np.float64)


def _beeps(reading: Evidence, below_ohm: float) -> bool:
    if reading.says == "ohms":
        return reading.ohms is not None and reading.ohms <= below_ohm
    return reading.says == "closed"


def _prior(posterior: CopperBelief, risk: Risk, edges: Sequence[int]) -> Floats:
    """(edges,) prior probability that a stretch is broken."""
    frame, found = risk.frame, []
    for k in edges:
        v = int(frame.view_of[k])
        sites = frame.views[v].super_edges[k - frame.first[v]].sites
        index = [posterior.copper.site[s] for s in sites]
        found.append(1.0 - float(np.prod(1.0 - posterior.prior[index])))
    return np.asarray(np.clip(np.array(found), 1e-9, 1.0 - 1e-9), dtype=np.float64)


def _proven(posterior: CopperBelief, risk: Risk, v: int, edges: Sequence[int]) -> Floats:
    """(edges,) a stretch is proven when it is less likely broken than this: each of its sites is then below the basis' threshold, under the priors as
    stated (whose odds stay in the same proportion to those of the posterior).
    """
    frame, found = risk.frame, []
    for k in edges:
        sites = frame.views[v].super_edges[k - frame.first[v]].sites
        q = posterior.unproven[[posterior.copper.site[s] for s in sites]]
        most, whole = float(q.max()) if len(q) else 0.0, float(risk.unproven[k])
        share = whole / most if most > 0.0 else 1.0
        found.append(posterior.basis.proven_below * share * _odds(float(risk.chance[k])) / _odds(whole))
    return np.array(found)


def _odds(p: float) -> float:
    q = min(max(p, 1e-12), 1.0 - 1e-12)
    return q / (1.0 - q)


@dataclass(slots=True)
class Play:
    """The search on one small net. ``least`` remembers states: (patterns left, last reading, readings tried) -> expected seconds."""

    net: SmallNet
    step: Floats
    masks: list[int]
    beeps: Floats
    broken: Floats
    least: dict[tuple[int, int, int], float] = field(default_factory=dict)

    def after(self, left: int, weight: Floats, chance: float, last: int) -> float:
        """Expected seconds from a state: patterns ``left`` with ``weight`` (0 on the others), met with ``chance``, the tips where pair ``last`` is."""
        wide = next((n for floor, n in BEAM if chance >= floor), 1) if len(self.least) < MOST_STATES else 1
        key = (left, last, wide)
        known = self.least.get(key)
        if known is None:
            known = self._best(left, weight, chance, self.step[last], wide)[0]
            self.least[key] = known
        return known

    def first(self, start: Floats, wide: int) -> tuple[float, int]:
        """Least expected seconds and the reading to begin with (-1: nothing to read). ``start`` (pairs,): seconds from where the tips are."""
        return self._best((1 << len(self.net.weight)) - 1, self.net.weight, 1.0, start, wide)

    def _best(self, left: int, weight: Floats, chance: float, seconds: Floats, wide: int) -> tuple[float, int]:
        total = float(weight.sum())
        if total <= 0.0:
            return 0.0, -1
        share = weight @ self.broken / total
        if ((share < self.net.proven) | (share > self.net.named)).all():
            return 0.0, -1
        yes = self.beeps @ weight / total
        worth = np.where((yes >= SURE_ANSWER) & (yes <= 1.0 - SURE_ANSWER), _bits(yes) / seconds, 0.0)
        order = np.argsort(-worth, kind="stable")[:wide] if wide > 1 else [int(np.argmax(worth))]
        best, which = inf, -1
        for k in order:
            i = int(k)
            if worth[i] <= 0.0:
                break
            cost, p = float(seconds[i]), float(yes[i])
            if cost >= best:
                continue
            shut = weight * self.beeps[i]
            cost += p * self.after(left & self.masks[i], shut, chance * p, i)
            if cost >= best:
                continue
            cost += (1.0 - p) * self.after(left & ~self.masks[i], weight - shut, chance * (1.0 - p), i)
            if cost < best:
                best, which = cost, i
        return (best, which) if which >= 0 else (0.0, -1)


def _bits(p: Floats) -> Floats:
    q = np.clip(p, 1e-12, 1.0 - 1e-12)
    return np.asarray(-(q * np.log2(q) + (1.0 - q) * np.log2(1.0 - q)), dtype=np.float64)


def play_out(
    net: SmallNet,
    costs: CostTable,
    tips: TipState,
    again: Collection[frozenset[str]] = (),
    allowed: Bools | None = None,
) -> tuple[Option | None, float]:
    """The reading to take now on a small net and the expected seconds until all is settled; None when it is settled or no reading tells.

    ``again``: pairs read before; they count as dearer by what the independent reading costs that an open answer then still needs.
    ``allowed`` (pairs,): which may come now; None = all.
    """
    step = step_seconds(net.pairs, costs)
    play = Play(
        net,
        step,
        [int.from_bytes(np.packbits(c, bitorder="little").tobytes(), "little") for c in net.closes],
        net.closes.astype(np.float64),
        net.broken.astype(np.float64),
    )
    start = np.array([check_seconds(costs, tips, a, b)[0] for a, b in net.pairs])
    if again:
        repeated = np.array([frozenset((a.id, b.id)) in again for a, b in net.pairs])
        start = start + np.where(repeated, (costs.read_s + costs.move_s) * (1.0 - net.closes @ net.weight), 0.0)
    if allowed is not None:
        start = np.where(allowed, start, NEVER_S)
    seconds, which = play.first(start, BEAM[0][1])
    return (net.pairs[which], seconds) if which >= 0 and start[which] < NEVER_S else (None, inf)
