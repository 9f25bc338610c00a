"""Ohms readings as evidence in the one belief: what their values say of stretches with another way round and of partial opens, and whether they are true.

An ohms reading of value r on a net is, independently of the others given the copper,
* a true value: the circuit closes, both tips bite, r lies about the copper's resistance (Gaussian; the copper's scale, its local width, the zero of the
  leads are in common to all readings, ``ohmic``);
* a value that says nothing: the circuit closes, but a tip added resistance of its own (``TIP_ADDS``), r anywhere;
* no circuit: a false closed, or above the beep's threshold a way through parts, r anywhere.
The sum over the sets of readings whose values are true is exact but for sets too unlikely to matter, whose share is in the error bound. Given a set, its
readings are closed ones for the exact sweep (``network``), and their Gaussian weighs the break patterns of every block that they cross: a
block with two ways round reads more with one of them broken. In a block of many stretches only those count that change a value by more than
``NOTICED`` standard deviations; that one of them and others together open a reading is left out, and bounded. A partial
open is one stretch of the net with an excess from a grid (``partial``); it
is looked for while all ways are whole: a net has a broken way or a partial open, not both (an assumption).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from coppermend.core.belief.copper import Copper
from coppermend.core.belief.diagram import STATE_CAP
from coppermend.core.belief.frontier import TOLERANCE
from coppermend.core.belief.ladder import Core, Part, reduce_block, within
from coppermend.core.belief.netforms import Forms, NetForms, around_of, forms_of, net_forms, without
from coppermend.core.belief.network import Excess, PieceBelief, crossings_of, solve, solve_with
from coppermend.core.belief.ohmic import SCALE_NET_SD, Array, common_variance
from coppermend.core.belief.partial import CELL, EXCESS_OHM
from coppermend.core.belief.patterns import Patterns, labels, patterns
from coppermend.core.belief.readings import COARSE, Taken
from coppermend.core.belief.ring import Crossing, Listed, Ring, ring_kept
from coppermend.core.copper.resistance import FLOOR_OHM

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

TIP_ADDS = {2: 0.02, 4: 0.002}
"""Chance that a tip adds resistance of its own (oxide, flux), by the wires of the instrument (an assumption)."""
LEAST_OHM, MOST_OHM = 1e-4, 10.0
"""A value that says nothing is log-uniform between these."""
PARTS_OHM, SNEAK = 1e7, 0.3
"""Where the copper is open, chance that the meter shows a way through parts, log-uniform from MOST_OHM to PARTS_OHM (an assumption)."""
MOST_VALUED = 8
"""So many values on one piece are weighed together, the last ones; earlier ones count as closed or open."""
SMALL_UP_TO = 12
"""A block of so many stretches has all its break patterns weighed by the values."""
MOST_PARTS = 12
"""In a larger block, so many stretches that change a value; where there are more, the block is taken as it is when sound."""
NOTICED = 0.3
"""A stretch that changes a value by less, broken, than this many standard deviations is not told from a whole one by it."""
LISTED = 1500
"""Break patterns of the noticed stretches of one large block; the least likely beyond are left out, and bounded."""
SMALL_SHARE = 0.02
"""A stretch with another way round that takes less of the current changes no value (by its square)."""
MOST_JOINT = 6000
"""Break patterns of all crossed blocks together; the least likely beyond are left out, and bounded."""
MOST_FALSE = 4
"""Sets with more values that are not true are bounded, never summed."""
FORGET = 1e-9
"""Sets of true readings that weigh less than this against the likeliest are left out, and bounded."""


@dataclass(frozen=True, slots=True)
class _Values:
    """The values of one piece: ``at`` (indices of their readings), values, sound means, covariance without the copper's scale, scale sd of each."""

    at: tuple[int, ...]
    ohm: Array
    sound: Array
    spread: Array
    scale: Array
    added: Array
    """(n, edges x grid) what each excess adds."""
    edges: tuple[int, ...]
    """The super-edges of ``net`` whose excess a value would show."""
    forms: Forms
    net: NetForms


@dataclass(frozen=True, slots=True)
class _Blocks:
    """The blocks with two ways round that values cross, as one: parts, patterns, what each opens (readings) and adds to each value."""

    blocks: tuple[int, ...]
    parts: tuple[Part, ...]
    broken: Bools
    weight: Array
    opens: Ints
    """(patterns,) bit mask, by number of reading."""
    more: Array
    """(patterns, values) ohm."""
    omitted: float
    crossed: int
    rest: dict[int, Ring]
    """Blocks of which only some stretches are in the patterns: the ring of the others."""


def flat(ohm: float) -> float:
    """Density of a value that says nothing, per ohm."""
    if ohm > MOST_OHM:
        return 0.0
    return 1.0 / (max(ohm, LEAST_OHM) * float(np.log(MOST_OHM / LEAST_OHM)))


def through_parts(ohm: float) -> float:
    """Density of a value where the copper is open and the meter sees parts, per ohm."""
    if ohm <= MOST_OHM:
        return 0.0
    return SNEAK / (min(ohm, PARTS_OHM) * float(np.log(PARTS_OHM / MOST_OHM)))


def has_values(readings: Sequence[Taken]) -> bool:
    """Whether a reading brings a value."""
    return any(t.ohm is not None for t in readings)


def solve_valued(
    copper: Copper,
    piece: int,
    prior: Array,
    readings: Sequence[Taken],
    contact_bad: float,
    contact_miss: float,
    rates: tuple[float, float],
    partial_share: float,
    cap: int = STATE_CAP,
    tolerance: float = TOLERANCE,
) -> PieceBelief:
    """``network.solve`` for a piece with ohms readings: their values count. ``rates``: false open and false closed of the meter.

    ``partial_share``: chance of a partial open as a share of a stretch's chance to be broken. The answer's ``mix`` holds the belief under each
    set of true readings, ``excess`` the chances of partial opens.
    """
    made = _values(copper, readings)
    if made is None:
        return solve(copper, piece, prior, readings, contact_bad, contact_miss, cap, tolerance)
    crossings = crossings_of(copper, readings)
    blocks = _blocks(copper, prior, readings, crossings, made, tolerance)
    core = Core(blocks.parts, (), {}, (), within(blocks.parts))
    chances = _excess_prior(copper, made, prior, partial_share)
    contact = (contact_bad, contact_miss)
    found: list[_Term] = []
    left_out: list[float] = []
    best = -np.inf
    for out in _sets(len(made.at)):
        true = tuple(v for v in range(len(made.at)) if v not in out)
        gauss = _gauss(made, blocks, chances, true)
        most = gauss.top + _most(readings, made, out, rates)
        if most < best + np.log(FORGET) or (len(out) > MOST_FALSE and found):
            left_out.append(most)
            continue
        plain = _plain(readings, made, out, rates)
        found.append(_term(copper, piece, prior, plain, crossings, (blocks, core), gauss, contact, cap, tolerance))
        best = max(best, found[-1].log)
    return _mixed(found, made, tuple(readings), left_out)


def _sets(many: int) -> list[tuple[int, ...]]:
    """Which values are not true, the fewest first."""
    return [out for missing in range(many + 1) for out in combinations(range(many), missing)]


@dataclass(frozen=True, slots=True)
class _Gauss:
    """Log density of the true values under each pattern, less ``top``; ``share`` of each excess hypothesis when all is whole (the last: none)."""

    top: float
    log: Array
    share: Array


@dataclass(frozen=True, slots=True)
class _Term:
    """One set of true values: its log weight, the belief under it, the chance that every way is whole, the shares of the excesses then."""

    log: float
    belief: PieceBelief
    whole: float
    share: Array


def _values(copper: Copper, readings: Sequence[Taken]) -> _Values | None:
    graph = copper.graph
    held = [r for r, t in enumerate(readings) if t.ohm is not None and not t.absent and t.sense is not None]
    held = [r for r in held if readings[r].node_a != readings[r].node_b]
    if not held:
        return None
    net = net_forms(graph, graph.node_net[readings[held[-1]].node_a])

    def inside(t: Taken) -> bool:
        return all(net.row(n) is not None for n in (t.node_a, t.node_b, *(t.sense or ())))

    at = [r for r in held if inside(readings[r])][-MOST_VALUED:]
    if not at or not net.edges:
        return None
    took = [readings[r] for r in at]
    forms = forms_of(net, [(t.node_a, t.node_b) for t in took], [_sense(t) for t in took])
    means = [t.instrument or COARSE for t in took]
    zero = np.array([i.common_ohm for i in means])
    common = common_variance(graph.copper_spread)
    scale = np.array([np.sqrt(common + SCALE_NET_SD**2 + i.gain**2) for i in means])
    spread = forms.width @ forms.width.T + np.outer(zero, zero) + np.diag([i.variance for i in means])
    edges, added = _excesses(net, forms)
    ohm = np.array([t.ohm for t in took])
    return _Values(tuple(at), ohm, forms.sound, spread, scale, added, edges, forms, net)


def _excesses(net: NetForms, forms: Forms) -> tuple[tuple[int, ...], Array]:
    """The super-edges that carry current of a reading, and (n, edges x grid) what each excess on each adds (``partial.excess_ohm``)."""
    both = forms.force * forms.sense
    least = np.where(net.bridge, 1e-6, SMALL_SHARE**2)
    edges = np.flatnonzero((np.abs(both) > least).any(axis=0))
    around = around_of(net, edges.tolist())
    r = np.array(EXCESS_OHM)
    weaker = r / (1.0 + r[None, :] * around[:, None] / net.ohm[edges][:, None])
    return tuple(edges.tolist()), (both[:, edges][:, :, None] * weaker[None, :, :]).reshape(len(both), -1)


@dataclass(frozen=True, slots=True)
class _Listed:
    """One block's patterns: its parts, the patterns, what each opens and adds, the ring of its other stretches, prior mass left out."""

    parts: tuple[Part, ...]
    listed: Patterns
    opens: Ints
    more: Array
    rest: Ring | None
    omitted: float


def _blocks(
    copper: Copper,
    prior: Array,
    readings: Sequence[Taken],
    crossings: dict[int, list[Crossing]],
    made: _Values,
    tolerance: float,
) -> _Blocks:
    """The crossed blocks, joined into one list of patterns."""
    ways = [
        (copper.tree.route(readings[r].node_a, readings[r].node_b), copper.tree.route(*_sense(readings[r])))
        for r in made.at
    ]
    touched = {b for force, sense in ways for b in ({x for x, _, _ in force} & {x for x, _, _ in sense})}
    out = _Blocks(
        (),
        (),
        np.zeros((1, 0), dtype=bool),
        np.ones(1),
        np.zeros(1, dtype=np.int64),
        np.zeros((1, len(made.at))),
        0.0,
        0,
        {},
    )
    for block in sorted(touched):
        seen = crossings.get(block, [])
        gone = any(c.absent & set(copper.block_sites[block]) for c in seen)
        if len(copper.block_sites[block]) == 1 or gone or len(readings) > 60:
            continue
        ends = [(_entry(f, block), _entry(s, block)) for f, s in ways]
        one = _small(copper, prior, block, seen, ends) or _large(copper, prior, block, seen, readings, made, tolerance)
        if one is not None:
            out = _joined(out, block, seen, one)
    return out


def _joined(so_far: _Blocks, block: int, seen: Sequence[Crossing], one: _Listed) -> _Blocks:
    """The patterns of one more block laid across those so far."""
    mine = len(one.listed.weight)
    joint = (so_far.weight[:, None] * one.listed.weight[None, :]).ravel()
    keepers = np.sort(np.argsort(-joint, kind="stable")[:MOST_JOINT])
    first, second = keepers // mine, keepers % mine
    lost = float(joint.sum() - joint[keepers].sum()) + one.omitted * float(so_far.weight.sum())
    return _Blocks(
        (*so_far.blocks, block),
        (*so_far.parts, *one.parts),
        np.concatenate([so_far.broken[first], one.listed.broken[second]], axis=1),
        joint[keepers],
        so_far.opens[first] | one.opens[second],
        so_far.more[first] + one.more[second],
        so_far.omitted + lost,
        so_far.crossed | sum(1 << r for r in {c.reading for c in seen}),
        {**so_far.rest, block: one.rest} if one.rest is not None else so_far.rest,
    )


Ends = tuple[tuple[int, int] | None, tuple[int, int] | None]


def _small(copper: Copper, prior: Array, block: int, seen: Sequence[Crossing], ends: Sequence[Ends]) -> _Listed | None:
    """All patterns of a block of few stretches; None for a larger one or one with a pour."""
    graph = copper.graph
    sites = copper.block_sites[block]
    pairs = [(graph.sites[k].a, graph.sites[k].b) for k in sites]
    if {s.node for s in graph.sheets} & {n for pair in pairs for n in pair}:
        return None
    keep = {n for c in seen for n in (c.a, c.b)} | {n for both in ends for pair in both if pair for n in pair}
    core = reduce_block(pairs, sites, prior[list(sites)].tolist(), keep, split=True)
    if len(core.parts) > SMALL_UP_TO:
        return None
    listed = patterns(np.array([p.p for p in core.parts]))
    mask, adds = _pattern_effects(copper, core, listed, seen, ends)
    return _Listed(core.parts, listed, mask, adds, None, listed.omitted)


def _large(
    copper: Copper,
    prior: Array,
    block: int,
    seen: Sequence[Crossing],
    readings: Sequence[Taken],
    made: _Values,
    tolerance: float,
) -> _Listed | None:
    """The stretches of a large block that the values would notice, as patterns, and the ring of the others; None when they are too many."""
    net = made.net
    sd = np.sqrt(np.diag(made.spread) + (made.scale * made.sound) ** 2)
    both = np.abs(made.forms.force * made.forms.sense)
    home = np.array([copper.block_of[copper.site[e[0]]] for e in net.edges])
    near = np.flatnonzero((home == block) & net.single & (both > SMALL_SHARE**2).any(axis=0)).tolist()
    gain = both[:, near] * net.ohm[near] / np.maximum(around_of(net, near), 1e-9)
    hit = np.asarray((gain > NOTICED * sd[:, None]).any(axis=0), dtype=bool)
    noticed = [e for k, e in enumerate(near) if hit[k]]
    if not noticed or len(noticed) > MOST_PARTS:
        return None
    groups = [[copper.site[s] for s in net.edges[e]] for e in noticed]
    chance = np.array([1.0 - float(np.prod(1.0 - prior[g])) for g in groups])
    listed = patterns(chance)
    keep = np.sort(np.argsort(-listed.weight, kind="stable")[:LISTED])
    listed = Patterns(listed.broken[keep], listed.weight[keep], listed.omitted + 1.0 - float(listed.weight[keep].sum()))
    more, parted = without(net, made.forms, noticed, listed.broken)
    mask = _opened(copper, block, groups, listed.broken, parted, seen)
    whole = prior.copy()
    whole[[k for g in groups for k in g]] = 0.0
    rest = ring_kept(copper, block, whole, seen, readings, tolerance)
    full = ring_kept(copper, block, prior, seen, readings, tolerance)
    closed = float(listed.weight[mask == 0].sum()) * _closed(rest)
    lost = max(0.0, closed - _closed(full))
    parts = tuple(_part(prior, g) for g in groups)
    return _Listed(parts, listed, mask, more, rest, listed.omitted + lost)


def _closed(ring: Ring) -> float:
    """Prior chance that a block opens no reading."""
    return float(sum(m for opens, m in zip(ring.masks, ring.mass.tolist(), strict=True) if not opens))


def _part(prior: Array, sites: Sequence[int]) -> Part:
    single = tuple(Part("site", float(prior[k]), k) for k in sites)
    if len(single) == 1:
        return single[0]
    return Part("series", 1.0 - float(np.prod(1.0 - prior[list(sites)])), pieces=single)


def _opened(
    copper: Copper, block: int, groups: Sequence[Sequence[int]], broken: Bools, parted: Bools, seen: Sequence[Crossing]
) -> Ints:
    """(patterns,) which readings the pattern opens by itself; only those that part the block are looked at."""
    out = np.zeros(len(broken), dtype=np.int64)
    rows = np.flatnonzero(parted)
    if not len(rows):
        return out
    sites = list(copper.block_sites[block])
    ends = [(copper.graph.sites[k].a, copper.graph.sites[k].b) for k in sites]
    nodes = {n: i for i, n in enumerate(sorted({n for pair in ends for n in pair}))}
    place = {k: i for i, k in enumerate(sites)}
    gone = np.zeros((len(rows), len(sites)), dtype=bool)
    for g, group in enumerate(groups):
        gone[:, [place[k] for k in group]] |= broken[rows, g][:, None]
    here = labels([(nodes[a], nodes[b]) for a, b in ends], len(nodes), gone)
    for one in seen:
        hit = here[:, nodes[one.a]] != here[:, nodes[one.b]]
        out[rows[hit]] |= 1 << one.reading
    return out


def _sense(one: Taken) -> tuple[int, int]:
    return one.sense if one.sense is not None else (one.node_a, one.node_b)


def _entry(way: Sequence[tuple[int, int, int]], block: int) -> tuple[int, int] | None:
    return next(((a, b) for x, a, b in way if x == block), None)


def _pattern_effects(
    copper: Copper,
    core: Core,
    listed: Patterns,
    seen: Sequence[Crossing],
    ends: Sequence[Ends],
) -> tuple[Ints, Array]:
    """For each pattern of one block the readings it opens (bit mask), and what it adds to each value against the whole block."""
    here = labels(core.ends, len(core.nodes), listed.broken)
    mask = np.zeros(len(listed.weight), dtype=np.int64)
    for one in seen:
        open_now = here[:, core.nodes[one.a]] != here[:, core.nodes[one.b]]
        mask[open_now] |= 1 << one.reading
    m = len(core.nodes)
    ohm = np.array([sum(max(copper.graph.sites[k].resistance_ohm, FLOOR_OHM) for k in p.sites()) for p in core.parts])
    siemens = np.where(listed.broken, 0.0, 1.0 / ohm)
    laplacian = np.zeros((len(siemens), m, m))
    for j, (a, b) in enumerate(core.ends):
        laplacian[:, a, a] += siemens[:, j]
        laplacian[:, b, b] += siemens[:, j]
        laplacian[:, a, b] -= siemens[:, j]
        laplacian[:, b, a] -= siemens[:, j]
    leak = 1e-9 / float(ohm.sum())
    g = np.linalg.inv(laplacian + leak * np.eye(m))
    adds = np.zeros((len(siemens), len(ends)))
    for v, (force, sense) in enumerate(ends):
        if force is None or sense is None:
            continue
        i, j = (core.nodes[n] for n in force)
        p, q = (core.nodes[n] for n in sense)
        form = g[:, i, p] - g[:, i, q] - g[:, j, p] + g[:, j, q]
        closes = (here[:, i] == here[:, j]) & (here[:, p] == here[:, q])
        adds[:, v] = np.where(closes, form - form[0], 0.0)
    return mask, adds


def _excess_prior(copper: Copper, made: _Values, prior: Array, share: float) -> Array:
    """(edges x grid + 1,) prior of each excess hypothesis, the last of none that a value would show."""
    sites = [[copper.site[s] for s in made.net.edges[e]] for e in made.edges]
    edge = np.array([share * (1.0 - float(np.prod(1.0 - prior[k]))) for k in sites])
    total = float(edge.sum())
    if total > 0.9:
        edge *= 0.9 / total
    grid = np.repeat(edge / len(EXCESS_OHM), len(EXCESS_OHM))
    return np.append(grid, 1.0 - float(edge.sum()))


def _gauss(made: _Values, blocks: _Blocks, chances: Array, true: Sequence[int]) -> _Gauss:
    """Log density of the values of a set under each pattern."""
    rows = list(true)
    log = np.zeros(len(blocks.weight))
    if not rows:
        return _Gauss(0.0, log, chances)
    mean = made.sound[rows] + blocks.more[:, rows]
    scaled = made.scale[rows] * mean
    cover = made.spread[np.ix_(rows, rows)] + scaled[:, :, None] * scaled[:, None, :]
    off = made.ohm[rows] - mean
    log = _normal(off, cover)
    opened = np.array([made.at[v] for v in rows])
    dead = ((blocks.opens[:, None] >> opened) & 1).any(axis=1)
    log = np.where(dead, -np.inf, log)
    with_excess = np.append(_with_excess(made, rows, cover[0]), log[0]) + np.log(np.maximum(chances, 1e-300))
    log[0] = logsumexp(with_excess)
    share = np.exp(with_excess - log[0])
    top = float(log.max())
    return _Gauss(top, log - top, share)


def _normal(off: Array, cover: Array) -> Array:
    """(patterns,) log of the multivariate normal density."""
    solved = np.linalg.solve(cover, off[:, :, None])[:, :, 0]
    size = off.shape[1]
    return np.asarray(-0.5 * ((off * solved).sum(axis=1) + np.linalg.slogdet(cover)[1] + size * np.log(2 * np.pi)))


def _with_excess(made: _Values, rows: Sequence[int], cover: Array) -> Array:
    """(edges x grid,) log density with each excess, free within its cell of the grid; all ways whole."""
    added = made.added[list(rows)]
    precision = np.linalg.inv(cover)
    off = (made.ohm[list(rows)] - made.sound[list(rows)])[:, None] - added
    step = CELL * added
    pull = precision @ step
    room = 1.0 + (step * pull).sum(axis=0)
    along = (pull * off).sum(axis=0)
    quad = (off * (precision @ off)).sum(axis=0) - along**2 / room
    return np.asarray(-0.5 * (quad + np.log(room) + np.linalg.slogdet(cover)[1] + len(rows) * np.log(2 * np.pi)))


def _plain(readings: Sequence[Taken], made: _Values, out: Sequence[int], rates: tuple[float, float]) -> list[Taken]:
    """The readings as the sweep takes them: true values close for certain, the others say closed or open only."""
    low_open, low_closed = rates
    plain = list(readings)
    for v, r in enumerate(made.at):
        one = readings[r]
        if v in out:
            b = _open_density(one, low_closed)
            a = low_open * b + (1.0 - low_open) * _adds(one) * flat(one.ohm or 0.0)
            plain[r] = replace(one, a=a, b=b)
        else:
            plain[r] = replace(one, a=(1.0 - low_open) * (1.0 - _adds(one)), b=0.0)
    return plain


def _adds(one: Taken) -> float:
    return TIP_ADDS[(one.instrument or COARSE).wires]


def _open_density(one: Taken, low_closed: float) -> float:
    ohm = one.ohm or 0.0
    return max(low_closed * flat(ohm) if ohm <= MOST_OHM else (1.0 - low_closed) * through_parts(ohm), 1e-12)


def _most(readings: Sequence[Taken], made: _Values, out: Sequence[int], rates: tuple[float, float]) -> float:
    """Log of the most that the readings whose values are not true can weigh."""
    total = 0.0
    for one in (_plain(readings, made, out, rates)[made.at[v]] for v in out):
        total += float(np.log(max(one.a, one.b, 1e-300)))
    return total


def _term(
    copper: Copper,
    piece: int,
    prior: Array,
    readings: Sequence[Taken],
    crossings: dict[int, list[Crossing]],
    crossed: tuple[_Blocks, Core],
    gauss: _Gauss,
    contact: tuple[float, float],
    cap: int,
    tolerance: float,
) -> _Term:
    """The belief under one set of true values: the crossed blocks' patterns weighed by it, the rest as ever. ``crossed``: the blocks, and their parts as a core."""
    blocks, core = crossed
    if not blocks.blocks:
        found = solve_with(copper, piece, prior, readings, crossings, {}, contact, cap, tolerance)
        return _Term(found.log_evidence + gauss.top + float(gauss.log[0]), found, 1.0, gauss.share)
    kinds, which = np.unique(blocks.opens, return_inverse=True)
    weight = blocks.weight * np.exp(gauss.log)
    mass = np.asarray(np.bincount(which.reshape(-1), weights=weight, minlength=len(kinds)), dtype=np.float64)
    inside = Listed(Patterns(blocks.broken, weight, blocks.omitted), which.reshape(-1).astype(np.int64))
    ring = Ring(blocks.blocks[0], core, blocks.crossed, tuple(int(k) for k in kinds), mass, blocks.omitted, inside)
    ready = {**dict.fromkeys(blocks.blocks, ring), **blocks.rest}
    found = solve_with(copper, piece, prior, readings, crossings, ready, contact, cap, tolerance, (ring,))
    g = next(g for g, one in found.rings if one is ring)
    o = int(which.reshape(-1)[0])
    whole = float(found.swept.groups[g][o]) * float(weight[0]) / mass[o] if mass[o] > 0.0 else 0.0
    return _Term(found.log_evidence + gauss.top, found, whole, gauss.share)


def _mixed(
    terms: Sequence[_Term], made: _Values, readings: tuple[Taken, ...], left_out: Sequence[float]
) -> PieceBelief:
    """The terms averaged by their weights."""
    top = max(one.log for one in terms)
    mass = np.exp(np.array([one.log - top for one in terms]))
    total = float(mass.sum())
    share = mass / total
    heaviest = terms[int(np.argmax(share))].belief
    broken = {
        k: float(sum(w * one.belief.broken.get(k, one.belief.prior[k]) for w, one in zip(share, terms, strict=True)))
        for k in heaviest.broken
    }
    contacts = {
        point: float(sum(w * one.belief.contacts[point] for w, one in zip(share, terms, strict=True)))
        for point in heaviest.contacts
    }
    excess = sum(w * one.whole * one.share[:-1] for w, one in zip(share.tolist(), terms, strict=True))
    by_edge = np.asarray(excess).reshape(-1, len(EXCESS_OHM))
    p = by_edge.sum(axis=1)
    ohm = by_edge @ np.array(EXCESS_OHM) / np.maximum(p, 1e-300)
    found = tuple(
        Excess(made.net.edges[e], float(q), float(r))
        for e, q, r in zip(made.edges, p.tolist(), ohm.tolist(), strict=True)
    )
    error = float(share @ np.array([one.belief.error_bound for one in terms]))
    error += sum(float(np.exp(min(700.0, one - top))) for one in left_out) / total
    return replace(
        heaviest,
        readings=readings,
        broken=broken,
        spoken=np.fromiter(broken.keys(), dtype=np.int64, count=len(broken)),
        chance=np.fromiter(broken.values(), dtype=np.float64, count=len(broken)),
        log_evidence=top + float(np.log(total)),
        error_bound=min(1.0, error),
        contacts=contacts,
        mix=tuple((float(w), one.belief) for w, one in zip(share, terms, strict=True)),
        excess=found,
    )
