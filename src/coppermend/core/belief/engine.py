"""The belief over a board: what the readings leave of every site. Exact, or with the bound on its error.

``belief`` is the port. Nets that nothing was read on keep their priors at no cost; each net's answer is remembered by its
own readings, so one more reading costs one net.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import count, product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.copper import Copper, copper_of
from coppermend.core.belief.diagram import STATE_CAP
from coppermend.core.belief.frontier import TOLERANCE
from coppermend.core.belief.joining import Bridges, Joining, joinings
from coppermend.core.belief.model import Basis, Evidence, WorkArea
from coppermend.core.belief.network import BOUND_WANTED, LEAST_TOLERANCE, PieceBelief, crossings_of, solve, solve_with
from coppermend.core.belief.priors import area_factors, priors
from coppermend.core.belief.readings import LEAST_RATE, Taken, opened, rates, reads_closed, scaled_rate, sort_readings
from coppermend.core.belief.valued import has_values, solve_valued
from coppermend.core.copper.model import CopperGraph, SiteKind

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Conflict:
    """Readings that cannot all be true on this copper, in words, and the reading to take again that would settle it."""

    entries: tuple[str, ...]
    words: str
    again: tuple[str, str]


@dataclass(frozen=True, slots=True)
class PartialOpen:
    """A stretch (site ids) that is whole but has too much resistance: its chance, and the mean of the excess in ohm if it has."""

    net: str
    sites: tuple[str, ...]
    p: float
    ohm: float


LEAST_PARTIAL = 0.01
"""Partial opens less likely than this are not listed."""


@dataclass(frozen=True, slots=True)
class Bench:
    """One supposition: the share of probe points that bite badly, the scale of the damage and that of the false opens, with its posterior weight.

    ``pieces``: the belief under it.
    """

    share: float
    weight: float
    pieces: dict[int, PieceBelief]
    scale: float = 1.0
    """What multiplies the rate of damage inside the work areas under this supposition."""
    prior: Floats | None = None
    log_weight: float = 0.0
    """Natural logarithm of its weight before all weights were made to sum to 1."""
    opens: float = 1.0
    """What multiplies the rate of false opens under this supposition."""


@dataclass(frozen=True, slots=True)
class Scale:
    """The belief under one scale of the damage: its posterior weight, and prior and posterior of every site, (sites,)."""

    weight: float
    prior: Floats
    sites: Floats


LEAST_WEIGHT = 1e-9
"""Scales of the damage less likely than this are left out of ``CopperBelief.scales``."""


@dataclass(frozen=True, slots=True)
class CopperBelief:
    """The posterior over one board's copper (the belief port's answer).

    ``sites``: (sites,) posterior of every site in graph order. ``error_bound``: 0 = exact; else no probability is off by more.
    ``benches``: the suppositions about the bench's contacts that the answer averages over. ``conflicts``: readings that contradict each other.
    ``unknown``: readings on points that this copper does not have. ``shorts``: pairs of pieces with isolation readings.
    """

    copper: Copper
    basis: Basis
    prior: Floats
    sites: Floats
    log_evidence: float
    error_bound: float
    benches: tuple[Bench, ...]
    readings: dict[int, tuple[Taken, ...]]
    conflicts: tuple[Conflict, ...]
    unknown: tuple[Evidence, ...]
    shorts: tuple[Joining, ...]
    evidence: tuple[Evidence, ...]
    partials: tuple[PartialOpen, ...] = ()
    """Stretches with at least LEAST_PARTIAL of having too much resistance, likeliest first; only nets with ohms readings are judged."""
    scales: tuple[Scale, ...] = ()
    """The suppositions about the damage; a stretch's chance to be broken is the average over them, not to be had from ``sites`` alone."""
    spoken: Bools | None = None
    """(sites,) whether a reading spoke of the site; None = of none."""
    stated: Floats | None = None
    """(sites,) the chance of a break by the priors as stated and what the readings say of the site itself, where that is above ``sites``; None = ``sites``."""

    @property
    def unproven(self) -> Floats:
        """(sites,) the chance that a proof of the site has to press below ``basis.proven_below``: that damage is mild on this board is no proof of a site."""
        return self.sites if self.stated is None else self.stated

    def proven(self, unit: str) -> bool:
        """Whether the readings prove the site with this id whole, under the priors as stated; KeyError for an unknown site.

        >>> from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
        >>> graph, said = example_graph([(0, 1)], [0, 1]), [Evidence("1", "p0", "p1", "closed")]
        >>> belief(graph, (EXAMPLE_AREA,), said, Basis()).proven("s0")
        True
        >>> said = [Evidence(n, "p0", "p1", "open") for n in "23"] + said        # after open readings one closed one is not enough
        >>> again = belief(graph, (EXAMPLE_AREA,), said, Basis(false_closed=0.002))
        >>> again.p("s0") < 0.001, again.proven("s0")
        (True, False)
        """
        return float(self.unproven[self.copper.site[unit]]) < self.basis.proven_below

    def p(self, unit: str) -> float:
        """Probability that the site with this id is broken; for a probe point's id, that it bites badly. KeyError for an unknown id."""
        if unit in self.copper.site:
            return float(self.sites[self.copper.site[unit]])
        piece = self.copper.tree.piece[self.copper.points[unit].node]
        total = 0.0
        for bench in self.benches:
            solved = bench.pieces.get(piece)
            total += bench.weight * (solved.contacts.get(unit, bench.share) if solved else bench.share)
        return total

    def joined(self, point_a: str, point_b: str) -> float:
        """Probability that the two probe points are joined by sound copper; KeyError for an unknown point.

        Between two pieces: the posterior that a short joins them (the basis knows no other way).
        """
        a, b = self.copper.points[point_a].node, self.copper.points[point_b].node
        piece = self.copper.tree.piece
        if piece[a] != piece[b]:
            pair = {piece[a], piece[b]}
            for one in self.shorts:
                if {piece[self.copper.points[one.point_a].node], piece[self.copper.points[one.point_b].node]} == pair:
                    return one.p
            return self.basis.prior_out
        asked = Taken("?", "?a", "?b", a, b, True, 1.0, 0.0)
        miss = self.basis.contact_false_open
        total = 0.0
        for bench in self.benches:
            if bench.weight <= 0.0:
                continue
            base = self.piece(piece[a], bench)
            more = _solved(self.copper, piece[a], base.prior, (*base.readings, asked), bench, self.basis)
            # the question's own tips bite: take out their share (a = 1 times the chance that both do)
            bite = (1.0 - bench.share * miss) ** 2
            total += bench.weight * float(np.exp(more.log_evidence - base.log_evidence)) / bite
        return min(1.0, total)

    def outvoted(self) -> tuple[tuple[Conflict, float], ...]:
        """Pairs of one net that read open more often than closed and are believed joined all the same, each with that chance: more opens through the same
        two tips may all come from one point that bites badly, so they settle nothing.

        >>> from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
        >>> graph, closed = example_graph([(0, 1)], [0, 1]), Evidence("1", "p0", "p1", "closed")
        >>> opens = [Evidence(n, "p0", "p1", "open") for n in "23"]
        >>> [(c.again, p > 0.5) for c, p in belief(graph, (EXAMPLE_AREA,), [closed, *opens], Basis()).outvoted()]
        [(('p0', 'p1'), True)]
        >>> belief(graph, (EXAMPLE_AREA,), opens, Basis()).outvoted()
        ()
        """
        found = []
        for readings in self.readings.values():
            by_pair: dict[tuple[str, str], list[Taken]] = {}
            for one in readings:
                pair = min((one.point_a, one.point_b), (one.point_b, one.point_a))
                by_pair.setdefault(pair, []).append(one)
            for (a, b), said in by_pair.items():
                closed = sum(t.closed for t in said)
                if 0 < closed < len(said) - closed and (p := self.joined(a, b)) > 0.5:
                    words = f"Between {a} and {b} was read open {len(said) - closed} times and closed {closed} times."
                    found.append((Conflict(tuple(t.entry for t in said), words, (a, b)), p))
        return tuple(found)

    def chance_after(
        self, point_a: str, point_b: str, closed: bool, sites: Sequence[int], least_weight: float = 0.0
    ) -> float:
        """Probability that one of a row of sites is broken if a beep between two points of its piece were answered so; ``sites``: indices, crossed
        by the same readings. ``least_weight``: suppositions about the bench that are less likely are left out. KeyError for an unknown point.

        >>> from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
        >>> graph = example_graph([(0, 1), (1, 2)], [0, 1, 2])
        >>> said = [Evidence("1", "p0", "p1", "open")]
        >>> now, then = belief(graph, (EXAMPLE_AREA,), said, Basis()), [*said, Evidence("2", "p0", "p2", "open")]
        >>> asked = now.chance_after("p0", "p2", False, [0])
        >>> abs(asked - belief(graph, (EXAMPLE_AREA,), then, Basis()).p("s0")) < 1e-12
        True
        """
        asked = Evidence("?", point_a, point_b, "closed" if closed else "open")
        (piece, taken), *_ = sort_readings(self.copper, (asked,), self.basis).by_piece.items()
        index = list(sites)
        whole = hit = 0.0
        for bench in self.benches:
            if bench.weight < least_weight or bench.weight <= 0.0:
                continue
            base = self.piece(piece, bench)
            more = _solved(
                self.copper, piece, base.prior, (*base.readings, *opened(taken, bench.opens)), bench, self.basis
            )
            weight = bench.weight * float(np.exp(more.log_evidence - base.log_evidence))
            prior = base.prior[index]
            now = np.array([more.broken.get(k, float(base.prior[k])) for k in index])
            lift = float((now / np.maximum(prior, 1e-300)).max()) if len(index) else 0.0
            whole += weight
            hit += weight * min(1.0, float(-np.expm1(np.log1p(-prior).sum())) * lift)
        return hit / whole if whole > 0.0 else 0.0

    def piece(self, piece: int, bench: Bench) -> PieceBelief:
        """The belief over one piece under one supposition, also when nothing was read on it."""
        if piece in bench.pieces:
            return bench.pieces[piece]
        readings = self.readings.get(piece)
        if readings:
            care = (TOLERANCE, STATE_CAP)
            return _solve_kept(self.copper, piece, bench, readings, _question(readings), self.basis, care)
        prior = self.prior if bench.prior is None else bench.prior
        return solve(self.copper, piece, prior, (), bench.share, self.basis.contact_false_open)


@dataclass(slots=True)
class _Held:
    """Running total of what the remembered pieces hold."""

    bytes: int = 0


_PIECES: OrderedDict[tuple[object, ...], tuple[Copper, PieceBelief, int]] = OrderedDict()
_HELD = _Held()
_HURT: OrderedDict[tuple[object, ...], tuple[CopperGraph, Bools]] = OrderedDict()
_PRIORS: OrderedDict[tuple[object, ...], tuple[CopperGraph, Floats]] = OrderedDict()
_QUESTIONS: dict[tuple[object, ...], int] = {}
_NUMBERS = count()
_OWN_PRIORS: dict[tuple[int, int, int], tuple[Floats, Copper, bytes]] = {}
MOST_KEPT = 16_000
"""Answers about single pieces that are remembered (a large board has 1,500 nets, each asked under eight suppositions about the bench), and ..."""
MOST_KEPT_BYTES = 450_000_000
"""... so much of their arrays (what sweeps share is counted for each): all suppositions about one large net with contradicting readings can hold 300 MB."""


def belief(
    graph: CopperGraph,
    areas: Sequence[WorkArea],
    evidence: Sequence[Evidence],
    basis: Basis,
    bridges: Bridges | None = None,
) -> CopperBelief:
    """What the readings leave of every site: posterior, log evidence, error bound, conflicts.

    ``evidence`` in any order: independent readings commute. Readings on unknown points are set aside in ``unknown``.
    ``bridges``: where nets come near each other; with it ohms readings across two nets count by their values.
    Raises Refusal only for rates that make readings say nothing.

    >>> from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
    >>> graph = example_graph([(0, 1), (1, 2), (2, 3)], [0, 3])        # three sites in a row, a tip at either end
    >>> b = belief(graph, (EXAMPLE_AREA,), (Evidence("1", "p0", "p3", "closed"),), Basis())
    >>> b.p("s1") < 0.001, b.error_bound
    (True, 0.0)
    """
    copper = copper_of(graph, basis.closed_below_ohm)
    prior = prior_of(graph, areas, basis)
    sorted_readings = sort_readings(copper, evidence, basis)
    inside = hurt(graph, areas, basis) if areas else None
    table, log_evidence = _benches(copper, prior, sorted_readings.by_piece, basis, inside)
    benches = table.benches
    posterior = prior.copy()
    posterior[table.spoken] = sum([b.weight * row for b, row in zip(benches, table.chance, strict=True)])
    conflicts: list[Conflict] = []
    for piece, readings in sorted_readings.by_piece.items():
        conflicts += _conflicts(copper, piece, prior, readings, basis, benches[0].pieces.get(piece))
    conflicts += _conflicts_between(sorted_readings.between, basis)
    shorts, short_evidence = joinings(copper, sorted_readings.between, basis, sorted_readings.by_piece, bridges or {})
    by_scale, spoken = _by_scale(prior, table)
    return CopperBelief(
        copper,
        basis,
        prior,
        posterior,
        log_evidence + short_evidence,
        _off_by(table),
        benches,
        sorted_readings.by_piece,
        tuple(conflicts),
        sorted_readings.unknown,
        shorts,
        tuple(evidence),
        _partials(copper, benches),
        by_scale,
        spoken,
        _as_stated(prior, posterior, benches, by_scale, spoken),
    )


def _as_stated(
    prior: Floats, now: Floats, benches: Sequence[Bench], by_scale: Sequence[Scale], spoken: Bools
) -> Floats:
    """(sites,) the odds of the priors as stated times what the readings of a site's own net say about it, as probabilities; never below ``now``."""
    if all(b.scale == 1.0 for b in benches):
        return now
    total = sum(one.weight for one in by_scale)
    before = np.sum([one.weight / total * one.prior[spoken] for one in by_scale], axis=0)
    found = now.copy()
    odds = _odds(prior[spoken]) * _odds(now[spoken]) / np.maximum(_odds(before), 1e-300)
    found[spoken] = np.maximum(now[spoken], odds / (1.0 + odds))
    return found


def _odds(p: Floats) -> Floats:
    return p / np.maximum(1.0 - p, 1e-15)


def _off_by(table: _Table) -> float:
    """The most by which a probability can be off, all suppositions about the bench taken together; 0 = exact.

    A piece's own bound is the weight that may be missing over the weight that was summed up, so a supposition that the readings make unlikely has
    little of both: its bound counts by its weight.
    """
    total = 0.0
    for bench, bounds in zip(table.benches, table.bounds, strict=True):
        if bench.weight > 0.0:
            total += bench.weight * float(np.expm1(min(700.0, np.log1p(np.maximum(bounds, 0.0)).sum())))
    left_out = sum(bench.weight <= 0.0 for bench in table.benches)
    return min(1.0, total + left_out * float(np.exp(NOT_WORTH)))


def _by_scale(prior: Floats, table: _Table) -> tuple[tuple[Scale, ...], Bools]:
    """The benches of one scale together, for each scale; and which sites a reading spoke of."""
    spoken = np.zeros(len(prior), dtype=np.bool_)
    spoken[table.spoken] = True
    found: list[Scale] = []
    for scale in dict.fromkeys(b.scale for b in table.benches):
        mine = [(b, row) for b, row in zip(table.benches, table.chance, strict=True) if b.scale == scale]
        weight = sum(b.weight for b, _ in mine)
        if weight < LEAST_WEIGHT:
            continue
        own = prior if mine[0][0].prior is None else mine[0][0].prior
        now = own.copy()
        now[table.spoken] = sum([b.weight / weight * row for b, row in mine])
        found.append(Scale(weight, own, now))
    return tuple(found), spoken


def _partials(copper: Copper, benches: Sequence[Bench]) -> tuple[PartialOpen, ...]:
    """The partial opens of all pieces with ohms readings, averaged over the suppositions about the bench."""
    graph = copper.graph
    rows: list[PartialOpen] = []
    for piece, first in benches[0].pieces.items():
        for k, one in enumerate(first.excess):
            under = [(b.weight, b.pieces[piece].excess[k]) for b in benches if piece in b.pieces]
            p = sum(w * e.p for w, e in under)
            if p >= LEAST_PARTIAL:
                ohm = sum(w * e.p * e.ohm for w, e in under) / p
                net = graph.net_names[graph.sites[copper.site[one.sites[0]]].net]
                rows.append(PartialOpen(net, one.sites, p, ohm))
    return tuple(sorted(rows, key=lambda r: (-r.p, r.sites)))


def _chances(solved: PieceBelief, first: PieceBelief) -> Floats:
    """Posteriors of one supposition in the order of sites of the first."""
    if solved.spoken is first.spoken or np.array_equal(solved.spoken, first.spoken):
        return solved.chance
    return np.array([solved.broken[k] for k in first.broken])


@dataclass(frozen=True, slots=True)
class _Column:
    """One piece of copper under every supposition, in their order: (suppositions,) ``logs`` of the evidence and ``bounds``; ``chance`` (suppositions,
    sites that readings spoke of, in the order of the first).
    """

    solved: tuple[PieceBelief, ...]
    logs: Floats
    bounds: Floats
    chance: Floats
    known: Bools
    """(suppositions,) whether it was worked out; what is not has the most that its evidence can be, and somebody else's chances."""

    def but(self, k: int, one: PieceBelief) -> _Column:
        """The column with another answer under supposition ``k``."""
        return _column((*self.solved[:k], one, *self.solved[k + 1 :]), self.known)


def _column(solved: tuple[PieceBelief, ...], known: Bools | None = None) -> _Column:
    return _Column(
        solved,
        np.array([one.log_evidence for one in solved]),
        np.array([one.error_bound for one in solved]),
        np.stack([_chances(one, solved[0]) for one in solved]),
        np.ones(len(solved), dtype=np.bool_) if known is None else known,
    )


@dataclass(frozen=True, slots=True)
class _Table:
    """All suppositions beside each other: ``spoken`` the sites that readings spoke of, ``chance`` (suppositions, spoken), ``bounds`` (suppositions, pieces)."""

    benches: tuple[Bench, ...]
    spoken: Ints
    chance: Floats
    bounds: Floats


def _benches(
    copper: Copper,
    prior: Floats,
    by_piece: dict[int, tuple[Taken, ...]],
    basis: Basis,
    inside: Bools | None,
) -> tuple[_Table, float]:
    """The belief under each possible share of bad contacts, scale of the damage and scale of the false opens, weighted by how well it explains all
    readings; and the log evidence.
    """
    made = _supposed(prior, basis, inside)
    ask = _Asking(copper, by_piece, basis, tuple(made), {p: _question(r) for p, r in by_piece.items()})
    start = np.array([b.log_weight for b in made])
    # in the order of the pieces, so that the order of the readings changes no last digit
    light = {p: ask.column(p) for p in sorted(by_piece) if len(by_piece[p]) < MANY_READINGS}
    so_far = sum([one.logs for one in light.values()], start)
    heavy = [p for p in sorted(by_piece) if p not in light]
    columns = light | (ask.heavy(heavy, so_far) if heavy else {})
    logs = sum([columns[p].logs for p in sorted(columns)], np.zeros(len(made))) + start
    top = float(logs.max())
    if top > -np.inf:
        columns = {p: ask.sharper(p, one, np.exp(logs - top)) for p, one in columns.items()}
        logs = sum([columns[p].logs for p in sorted(columns)], np.zeros(len(made))) + start
        top = float(logs.max())
    mass = [float(np.exp(one - top)) for one in logs] if top > -np.inf else [1.0] * len(made)
    if ask.may_skip(heavy) and top > -np.inf:
        mass = [m if one - top >= NOT_WORTH else 0.0 for one, m in zip(logs, mass, strict=True)]
    benches = tuple(
        replace(
            one,
            weight=m / sum(mass),
            pieces={p: columns[p].solved[k] for p in by_piece if columns[p].known[k]},
            log_weight=float(logs[k]),
        )
        for k, (one, m) in enumerate(zip(made, mass, strict=True))
    )
    nothing = _Table(benches, np.zeros(0, dtype=np.int64), np.zeros((len(made), 0)), np.zeros((len(made), 0)))
    table = (
        nothing
        if not columns
        else _Table(
            benches,
            np.concatenate([columns[p].solved[0].spoken for p in by_piece]),
            np.concatenate([columns[p].chance for p in by_piece], axis=1),
            np.stack([columns[p].bounds for p in by_piece], axis=1),
        )
    )
    return table, top + float(np.log(sum(mass)))


def _supposed(prior: Floats, basis: Basis, inside: Bools | None) -> list[Bench]:
    """The suppositions about bench and damage with the logarithms of their weights before any reading."""
    shares = basis.contact_shares or ((basis.contact_bad, 1.0),)
    scales = (basis.damage_scales if inside is not None else ()) or ((1.0, 1.0),)
    opens = basis.open_scales or ((1.0, 1.0),)
    total = sum(w for _, w in shares) * sum(w for _, w in scales) * sum(w for _, w in opens)
    return [
        Bench(
            share,
            0.0,
            {},
            scale,
            _scaled(prior, inside, scale),
            float(np.log(max(weight * likely * may / total, 1e-300))),
            factor,
        )
        for (scale, likely), (factor, may), (share, weight) in product(scales, opens, shares)
    ]


MANY_READINGS = 24
"""A net with so many readings is dear to work out: for suppositions that the other nets leave less likely than this, with few states first ..."""
UNLIKELY = -23.0
"""... (logarithm of the weight against the likeliest, 1e-10) ..."""
FEW_STATES = 4_000
"""... so many; and an answer is exact enough when this at most may be missing of it, by the weight of the supposition."""
BOUND_OF_MANY = 1e-6
NOT_WORTH = -30.0
"""Where a net is dear, suppositions less likely than this (logarithm of the weight against the likeliest, 1e-13) count for nothing: as soon as that
much is sure, they are not worked out at all."""

LOOK_BACK = 3
"""So many readings back is looked for an earlier answer."""
_MOST_LOGS: OrderedDict[tuple[object, ...], tuple[Copper, Floats, Floats]] = OrderedDict()
"""The most that the evidence of a dear net can be under each supposition, from when it was last asked."""
_COLUMNS: OrderedDict[tuple[object, ...], tuple[Copper, Floats, _Column]] = OrderedDict()
MOST_COLUMNS = 3_000
"""Columns remembered, each of one net and all suppositions; only such as hold little."""
MOST_COLUMN_BYTES = 300_000


@dataclass(frozen=True, slots=True)
class _Asking:
    """All readings by piece of copper, with their ``_question``, to be worked out under every supposition."""

    copper: Copper
    by_piece: dict[int, tuple[Taken, ...]]
    basis: Basis
    benches: tuple[Bench, ...]
    numbers: dict[int, int]

    def one(self, piece: int, bench: Bench, tolerance: float, cap: int) -> PieceBelief:
        """The belief over a piece under a supposition."""
        readings = self.by_piece[piece]
        return _solve_kept(self.copper, piece, bench, readings, self.numbers[piece], self.basis, (tolerance, cap))

    def key(self, piece: int, number: int) -> tuple[object, ...]:
        """What an answer about a piece under every supposition depends on, its readings being the question of this number."""
        basis = self.basis
        asked = (basis.contact_false_open, basis.partial_share, *((b.share, b.scale, b.opens) for b in self.benches))
        return (id(self.copper), piece, number, id(self.stated), asked)

    @property
    def stated(self) -> Floats:
        """The priors as stated."""
        found = self.benches[-1].prior
        assert found is not None
        return found

    def column(self, piece: int) -> _Column:
        """A piece with few readings under every supposition, remembered where it holds little."""
        key = self.key(piece, self.numbers[piece])
        hit = _COLUMNS.get(key)
        if hit is not None and hit[0] is self.copper and hit[1] is self.stated:
            _used(_COLUMNS, key)
            return hit[2]
        made = _column(tuple(self.one(piece, b, TOLERANCE, STATE_CAP) for b in self.benches))
        if sum(one.nbytes for one in made.solved) < MOST_COLUMN_BYTES:
            _COLUMNS[key] = (self.copper, self.stated, made)
            while len(_COLUMNS) > MOST_COLUMNS:
                _COLUMNS.popitem(last=False)
        return made

    def heavy(self, pieces: Sequence[int], others: Floats) -> dict[int, _Column]:
        """The pieces with many readings under every supposition. ``others``: logarithms of the weights that the light ones leave.

        The likeliest supposition goes first; one that cannot come near it any more is not worked out and stands with the most it could be.
        """
        most = {p: self._most_logs(p) for p in pieces}
        limit = np.sum([most[p] for p in pieces], axis=0) + others
        rare = others - others.max() < UNLIKELY
        skip = self.may_skip(pieces)
        solved: list[list[PieceBelief]] = [[] for _ in pieces]
        found: dict[int, list[PieceBelief]] = {}
        best = -np.inf
        for k in np.argsort(-limit, kind="stable").tolist():
            if limit[k] - best < NOT_WORTH and skip:
                continue
            cap = FEW_STATES if rare[k] else STATE_CAP
            found[k] = [self.one(p, self.benches[k], TOLERANCE, cap) for p in pieces]
            best = max(best, float(others[k]) + sum(one.log_evidence for one in found[k]))
        model = found[max(found, key=lambda k: float(others[k]) + sum(one.log_evidence for one in found[k]))]
        for i, p in enumerate(pieces):
            for k in range(len(self.benches)):
                stands = replace(model[i], log_evidence=float(most[p][k]), error_bound=0.0)
                solved[i].append(found[k][i] if k in found else stands)
        known = np.isin(np.arange(len(self.benches)), list(found))
        made = {p: _column(tuple(solved[i]), known) for i, p in enumerate(pieces)}
        for p, one in made.items():
            _MOST_LOGS[self.key(p, self.numbers[p])] = (self.copper, self.stated, one.logs + np.log1p(one.bounds))
        while len(_MOST_LOGS) > MOST_COLUMNS:
            _MOST_LOGS.popitem(last=False)
        return made

    def may_skip(self, pieces: Sequence[int]) -> bool:
        """Whether suppositions that count for nothing may go unknown: not where the values of ohms readings count (their likelihood can be above 1), nor
        with readings that are never wrong (their contradictions are judged under the first supposition).
        """
        if not pieces or min(self.basis.false_open, self.basis.false_closed) <= LEAST_RATE:
            return False
        return not any(has_values(self.by_piece[p]) for p in pieces)

    def _most_logs(self, piece: int) -> Floats:
        """(suppositions,) the most that the log evidence of a piece can be: what it was before its last readings, since each of them can only lessen it."""
        readings = self.by_piece[piece]
        for end in range(len(readings), max(0, len(readings) - LOOK_BACK - 1), -1):
            number = self.numbers[piece] if end == len(readings) else _question(readings[:end])
            hit = _MOST_LOGS.get(self.key(piece, number))
            if hit is not None and hit[0] is self.copper and hit[1] is self.stated:
                return hit[2]
        return np.zeros(len(self.benches))

    def sharper(self, piece: int, column: _Column, weight: Floats) -> _Column:
        """The piece worked out once more under those suppositions whose bound, by their ``weight``, leaves the answer less exact than wanted: a supposition
        that the readings rule out is not worth a second, dearer look.
        """
        wanted = BOUND_OF_MANY if len(self.by_piece[piece]) >= MANY_READINGS else BOUND_WANTED
        for k in np.flatnonzero(weight * column.bounds > wanted).tolist():
            found = self.one(piece, self.benches[k], TOLERANCE, STATE_CAP)
            if weight[k] * found.error_bound > wanted and any(ring.omitted for _, ring in found.rings):
                found = self.one(piece, self.benches[k], LEAST_TOLERANCE, STATE_CAP)
            column = column.but(k, found)
        return column


_SCALED: OrderedDict[tuple[int, float], tuple[Floats, Bools, Floats]] = OrderedDict()


def _scaled(prior: Floats, inside: Bools | None, scale: float) -> Floats:
    """The priors with those inside the work areas scaled, remembered: the same array again for the same question.

    What is scaled is the rate of damage, 1 - (1 - p)^scale: a stretch cut in two in thought has the same chance as before.
    """
    if inside is None or scale == 1.0:
        return prior
    key = (id(prior), scale)
    hit = _SCALED.get(key)
    if hit is None or hit[0] is not prior or hit[1] is not inside:
        hit = (prior, inside, np.where(inside, -np.expm1(scale * np.log1p(-prior)), prior))
        _SCALED[key] = hit
        while len(_SCALED) > 64:
            _SCALED.popitem(last=False)
    return hit[2]


def hurt(graph: CopperGraph, areas: Sequence[WorkArea], basis: Basis) -> Bools:
    """(sites,) whether a site's prior comes from a work area, remembered; a patch wire's does not."""
    key = (id(graph), tuple(areas), repr(basis))
    hit = _HURT.get(key)
    if hit is None or hit[0] is not graph:
        wire = np.array([s.kind is SiteKind.WIRE for s in graph.sites], dtype=bool)
        hit = (graph, (area_factors(graph, areas, basis) > 0.0) & ~wire)
        _HURT[key] = hit
        while len(_HURT) > 16:
            _HURT.popitem(last=False)
    return hit[1]


def prior_of(graph: CopperGraph, areas: Sequence[WorkArea], basis: Basis) -> Floats:
    """Priors of all sites, kept below 1 and remembered for the last few questions."""
    key = (id(graph), tuple(areas), repr(basis))
    hit = _PRIORS.get(key)
    if hit is None or hit[0] is not graph:
        hit = (graph, np.clip(priors(graph, areas, basis), 0.0, 0.999))
        _PRIORS[key] = hit
        while len(_PRIORS) > 16:
            _PRIORS.popitem(last=False)
    return hit[1]


def _question(readings: tuple[Taken, ...]) -> int:
    """A number that stands for the readings without what the log calls them, which is no part of the question: many patients share the answer."""
    asked = tuple((t.point_a, t.point_b, t.closed, t.a, t.b, t.absent, t.ohm, t.instrument, t.sense) for t in readings)
    number = _QUESTIONS.get(asked)
    if number is None:
        if len(_QUESTIONS) > 4 * MOST_KEPT:
            _QUESTIONS.clear()
        number = next(_NUMBERS)
        _QUESTIONS[asked] = number
    return number


def _solve_kept(
    copper: Copper,
    piece: int,
    bench: Bench,
    readings: tuple[Taken, ...],
    asked: int,
    basis: Basis,
    care: tuple[float, int],
) -> PieceBelief:
    """``_solved`` for one supposition, remembered by ``asked``, the ``_question`` of the readings."""
    assert bench.prior is not None
    partial = basis.partial_share if has_values(readings) else 0.0
    own = _own_prior(copper, piece, bench.prior)
    key = (id(copper), piece, own, asked, bench.share, bench.opens, basis.contact_false_open, partial, care)
    hit = _PIECES.get(key)
    if hit is None or hit[0] is not copper:
        solved = _solved(copper, piece, bench.prior, opened(readings, bench.opens), bench, basis, care)
        hit = (copper, solved, solved.nbytes)
        was = _PIECES.get(key)
        _HELD.bytes += hit[2] - (was[2] if was is not None else 0)
        _PIECES[key] = hit
        if _HELD.bytes > MOST_KEPT_BYTES:  # counted anew: of two threads that add at once one may have lost its sum
            _HELD.bytes = sum(one[2] for one in list(_PIECES.values()))
        while len(_PIECES) > 1 and (len(_PIECES) > MOST_KEPT or _HELD.bytes > MOST_KEPT_BYTES):
            _HELD.bytes -= _PIECES.popitem(last=False)[1][2]
    else:
        _used(_PIECES, key)
    return hit[1]


def _used(kept: OrderedDict[tuple[object, ...], Any], key: tuple[object, ...]) -> None:
    """What was just used goes last. Two threads may remember here: the other one may have let go of it meanwhile."""
    with suppress(KeyError):
        kept.move_to_end(key)


def _solved(
    copper: Copper,
    piece: int,
    prior: Floats,
    readings: tuple[Taken, ...],
    bench: Bench,
    basis: Basis,
    care: tuple[float, int] | None = None,
) -> PieceBelief:
    """The belief over one piece under one supposition, its false opens taken in already; values of ohms readings count where there are any.

    ``care``: prior mass that a block with many ways round may drop, and most states, whatever the bound; None: as the bound asks for.
    """
    miss = basis.contact_false_open
    if not has_values(readings):
        if care is None:
            return solve(copper, piece, prior, readings, bench.share, miss)
        contact, (tolerance, cap) = (bench.share, miss), care
        return solve_with(copper, piece, prior, readings, crossings_of(copper, readings), {}, contact, cap, tolerance)
    low_open, low_closed = rates(basis)
    own = (scaled_rate(low_open, bench.opens), low_closed)
    return solve_valued(copper, piece, prior, readings, bench.share, miss, own, basis.partial_share)


def _own_prior(copper: Copper, piece: int, prior: Floats) -> bytes:
    """The priors of one piece's sites as bytes, remembered for as long as the array of all priors is the same object."""
    key = (id(prior), id(copper), piece)
    hit = _OWN_PRIORS.get(key)
    if hit is None or hit[0] is not prior or hit[1] is not copper:
        if len(_OWN_PRIORS) > MOST_KEPT:
            _OWN_PRIORS.clear()
        hit = (prior, copper, prior[list(copper.pieces[piece])].tobytes())
        _OWN_PRIORS[key] = hit
    return hit[2]


def _conflicts(
    copper: Copper, piece: int, prior: Floats, readings: tuple[Taken, ...], basis: Basis, solved: PieceBelief | None
) -> list[Conflict]:
    """Readings that contradict each other: both answers on one pair, or answers that no copper can give without a false one."""
    found: list[Conflict] = []
    by_pair: dict[frozenset[str], list[Taken]] = {}
    for one in readings if len({t.closed for t in readings}) > 1 else ():
        by_pair.setdefault(frozenset((one.point_a, one.point_b)), []).append(one)
    for said in by_pair.values():
        yes, no = [t for t in said if t.closed], [t for t in said if not t.closed]
        if yes and no and yes[0].absent == no[0].absent and len(yes) == len(no):
            a, b = yes[0].point_a, yes[0].point_b
            found.append(
                Conflict(
                    tuple(t.entry for t in said),
                    f"Between {a} and {b} was read both closed and open, equally often. One of the readings is wrong.",
                    (a, b),
                )
            )
    never_wrong = min(basis.false_open, basis.false_closed) <= LEAST_RATE
    if solved is not None and solved.log_evidence < np.log(1e-7) and not found and never_wrong:
        core = _smallest_conflict(copper, piece, prior, readings, basis)
        if len(core) > 1:
            opens = [t for t in core if not t.closed] or list(core)
            words = "; ".join(f"{t.point_a} to {t.point_b} {'closed' if t.closed else 'open'}" for t in core)
            found.append(
                Conflict(
                    tuple(t.entry for t in core),
                    f"These readings cannot all be true on this copper: {words}.",
                    (opens[0].point_a, opens[0].point_b),
                )
            )
    return found


def _conflicts_between(between: Sequence[Evidence], basis: Basis) -> list[Conflict]:
    """Both answers equally often on one pair of points of two nets: whether they touch is not known then."""
    by_pair: dict[frozenset[str], list[Evidence]] = {}
    for one in between:
        by_pair.setdefault(frozenset((one.point_a, one.point_b)), []).append(one)
    found: list[Conflict] = []
    for said in by_pair.values():
        closed = sum(reads_closed(one, basis) for one in said)
        if 2 * closed == len(said):
            a, b = said[0].point_a, said[0].point_b
            words = f"Between {a} and {b}, two nets, was read both closed and open, equally often. One of the readings is wrong."
            found.append(Conflict(tuple(one.entry for one in said), words, (a, b)))
    return found


def _smallest_conflict(
    copper: Copper, piece: int, prior: Floats, readings: tuple[Taken, ...], basis: Basis
) -> tuple[Taken, ...]:
    """Leave out reading after reading while the rest still contradict each other."""
    floor = np.log(LEAST_RATE) / 2.0
    kept = list(readings)
    for one in readings:
        rest = [t for t in kept if t is not one]
        if rest and solve(copper, piece, prior, rest, 0.0, 0.0).log_evidence < floor:
            kept = rest
    return tuple(kept)
