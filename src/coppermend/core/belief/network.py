"""The exact belief over one piece of copper: reduce, sweep, expand.

Reduce: sites that the same readings cross are one group; groups that a single reading crosses are absorbed into it; a block
with two ways round is a group whose outcomes are the sets of readings it opens. Sweep: ``diagram.sweep``. Expand: each
site's posterior from its group's, in closed form.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.copper import Copper
from coppermend.core.belief.diagram import STATE_CAP, Contact, Group, Reading, Swept, evidence_of, sweep
from coppermend.core.belief.frontier import TOLERANCE
from coppermend.core.belief.ladder import draw_part
from coppermend.core.belief.patterns import Chains, chains_of
from coppermend.core.belief.readings import Taken
from coppermend.core.belief.ring import Crossing, Ring, ring_kept

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Excess:
    """A stretch (site ids) and the chance that it has too much resistance, with the mean of that excess in ohm."""

    sites: tuple[str, ...]
    p: float
    ohm: float


@dataclass(frozen=True, slots=True)
class PieceBelief:
    """The belief over one piece. ``broken``: posterior by site index (only sites that readings spoke of; others keep their prior).

    ``error_bound``: weight that may be missing as a share of the weight summed up; above 1 nothing is known but that.
    """

    copper: Copper
    piece: int
    readings: tuple[Taken, ...]
    prior: Floats
    broken: dict[int, float]
    spoken: Ints
    """Sites of ``broken`` in its order, and ``chance`` their posteriors."""
    chance: Floats
    log_evidence: float
    error_bound: float
    contacts: dict[str, float]
    """Posterior that a probe point bites badly, for points used by two readings or more."""
    swept: Swept
    group_sites: tuple[tuple[int, ...], ...]
    absorbed_sites: tuple[tuple[int, ...], ...]
    rings: tuple[tuple[int, Ring], ...]
    """(index of the sweep's group, ring)."""
    contact_points: tuple[str, ...]
    mix: tuple[tuple[float, PieceBelief], ...] = ()
    """Where ohms readings count by their values: the belief under each set of them that is true, with its weight (sum 1)."""
    excess: tuple[Excess, ...] = ()
    """Where ohms readings count: the chance of each stretch to have too much resistance."""

    @property
    def nbytes(self) -> int:
        """Bytes of the arrays that the sweeps behind it hold."""
        return self.swept.nbytes + sum(part.nbytes for _, part in self.mix)


BOUND_WANTED = 1e-9
"""An answer whose bound is worse is sought again with ``LEAST_TOLERANCE``."""
LEAST_TOLERANCE = 1e-20


def solve(
    copper: Copper,
    piece: int,
    prior: Floats,
    readings: Sequence[Taken],
    contact_bad: float,
    contact_miss: float,
    cap: int = STATE_CAP,
    tolerance: float = TOLERANCE,
) -> PieceBelief:
    """Posterior of every site of one piece. ``prior``: (sites,) of the whole graph, read at this piece's sites only.

    Exact unless states too unlikely to matter were dropped (``tolerance``: prior mass that a block with many ways round may drop; ``cap``: states
    of the sweep); ``error_bound`` then says by how much at most.
    """
    crossings = crossings_of(copper, readings)
    contact = (contact_bad, contact_miss)
    found = solve_with(copper, piece, prior, readings, crossings, {}, contact, cap, tolerance)
    if found.error_bound > BOUND_WANTED and tolerance == TOLERANCE and any(ring.omitted for _, ring in found.rings):
        return solve_with(copper, piece, prior, readings, crossings, {}, contact, cap, LEAST_TOLERANCE)
    return found


def solve_with(
    copper: Copper,
    piece: int,
    prior: Floats,
    readings: Sequence[Taken],
    crossings: dict[int, list[Crossing]],
    ready: dict[int, Ring],
    contact: tuple[float, float],
    cap: int,
    tolerance: float,
    more: Sequence[Ring] = (),
) -> PieceBelief:
    """``solve`` with the blocks in ``ready`` given: their outcomes may be weighed by more than their priors. ``contact``: bad share, miss.

    ``crossings``: by block, from ``crossings_of``. Several blocks may share one ring. ``more``: rings that hold a part of blocks whose other part
    is in ``ready``; what they say of a site counts.
    """
    bridges: dict[int, list[int]] = {}
    rings: list[Ring] = []
    never = 0
    for block, seen in crossings.items():
        sites = copper.block_sites[block]
        if len(sites) == 1:
            mask = 0
            for one in seen:
                if sites[0] in one.absent:
                    never |= 1 << one.reading
                else:
                    mask |= 1 << one.reading
            if mask:
                bridges.setdefault(mask, []).append(sites[0])
        elif block not in ready:
            rings.append(ring_kept(copper, block, prior, seen, readings, tolerance))
    last = {id(ring) for ring in more}
    rings += [ring for ring in {id(r): r for r in ready.values()}.values() if id(ring) not in last]
    rings += more
    omitted = sum(ring.omitted for ring in rings)
    order = _walk_order(copper, readings, crossings)
    return _swept(copper, piece, prior, tuple(readings), bridges, rings, never, omitted, contact, cap, order)


_ORDERS: OrderedDict[tuple[object, ...], tuple[Copper, dict[int, int]]] = OrderedDict()
_CROSSINGS: OrderedDict[tuple[object, ...], tuple[Copper, dict[int, list[Crossing]]]] = OrderedDict()
WAYS_KEPT = 32
"""Ways of readings remembered: one net is solved for several suppositions one after the other."""


def _ways_key(copper: Copper, readings: Sequence[Taken]) -> tuple[object, ...]:
    return (id(copper), *((one.node_a, one.node_b, one.absent) for one in readings))


def _walk_order(copper: Copper, readings: Sequence[Taken], crossings: dict[int, list[Crossing]]) -> dict[int, int]:
    """``_walked``, remembered."""
    key = _ways_key(copper, readings)
    hit = _ORDERS.get(key)
    if hit is None or hit[0] is not copper:
        hit = (copper, _walked(copper, readings, crossings))
        _ORDERS[key] = hit
        while len(_ORDERS) > WAYS_KEPT:
            _ORDERS.popitem(last=False)
    return hit[1]


def _walked(copper: Copper, readings: Sequence[Taken], crossings: dict[int, list[Crossing]]) -> dict[int, int]:
    """Number of each site in a walk outward from the node that most readings end at, small branches first: an order that sweeps well."""
    if not readings:
        return {}
    used: dict[int, int] = {}
    for one in readings:
        for node in (one.node_a, one.node_b):
            used[node] = used.get(node, 0) + 1
    hub = max(used, key=lambda n: (used[n], -n))
    nodes_of: dict[int, set[int]] = {b: {n for c in seen for n in (c.a, c.b)} for b, seen in crossings.items()}
    at: dict[int, list[int]] = {}
    for block, nodes in nodes_of.items():
        for node in nodes:
            at.setdefault(node, []).append(block)
    parent: dict[int, int] = {}
    order: list[int] = []
    seen_nodes = {hub}
    todo = [hub]
    above: dict[int, int] = {}
    while todo:
        node = todo.pop()
        for block in at.get(node, ()):
            if block in parent:
                continue
            parent[block] = above.get(node, -1)
            order.append(block)
            for other in nodes_of[block] - seen_nodes:
                seen_nodes.add(other)
                above[other] = block
                todo.append(other)
    size = dict.fromkeys(order, 1)
    children: dict[int, list[int]] = {}
    for block in reversed(order):
        if parent[block] >= 0:
            size[parent[block]] += size[block]
        children.setdefault(parent[block], []).append(block)
    place: dict[int, int] = {}
    stack = sorted(children.get(-1, ()), key=lambda b: (-size[b], b))
    while stack:
        block = stack.pop()
        for site in copper.block_sites[block]:
            place[site] = len(place)
        stack += sorted(children.get(block, ()), key=lambda b: (-size[b], b))
    return place


def crossings_of(copper: Copper, readings: Sequence[Taken]) -> dict[int, list[Crossing]]:
    """By block, which readings cross it and where they enter and leave; remembered, so not to be changed."""
    key = _ways_key(copper, readings)
    hit = _CROSSINGS.get(key)
    if hit is None or hit[0] is not copper:
        found: dict[int, list[Crossing]] = {}
        for r, one in enumerate(readings):
            for block, a, b in copper.tree.route(one.node_a, one.node_b):
                found.setdefault(block, []).append(Crossing(r, a, b, one.absent))
        hit = (copper, found)
        _CROSSINGS[key] = hit
        while len(_CROSSINGS) > WAYS_KEPT:
            _CROSSINGS.popitem(last=False)
    return hit[1]


def _block_chains(copper: Copper, block: int) -> Chains:
    """Chains of a block; nodes where a tip can touch or another block hangs on stay apart."""
    sites = copper.block_sites[block]
    ends = [(copper.graph.sites[k].a, copper.graph.sites[k].b) for k in sites]
    nodes = {n for pair in ends for n in pair}
    keep = {
        n for n in nodes if copper.points_at[n] or n == copper.tree.top[block] or n in _cut_nodes(copper, block)
    } | {p.node for p in copper.points.values() if p.node in nodes}
    return chains_of(ends, sites, keep)


def _cut_nodes(copper: Copper, block: int) -> set[int]:
    """Nodes of the block that are the top of another block."""
    tops = _tops(copper)
    nodes = {n for k in copper.block_sites[block] for n in (copper.graph.sites[k].a, copper.graph.sites[k].b)}
    return {n for n in nodes if n in tops}


_TOPS: dict[int, tuple[Copper, frozenset[int]]] = {}
_CHAINS: dict[tuple[int, int], tuple[Copper, Chains]] = {}


def _tops(copper: Copper) -> frozenset[int]:
    hit = _TOPS.get(id(copper))
    if hit is None or hit[0] is not copper:
        if len(_TOPS) > 8:
            _TOPS.clear()
        hit = (copper, frozenset(copper.tree.top))
        _TOPS[id(copper)] = hit
    return hit[1]


def block_chains(copper: Copper, block: int) -> Chains:
    """``_block_chains``, remembered."""
    key = (id(copper), block)
    hit = _CHAINS.get(key)
    if hit is None or hit[0] is not copper:
        if len(_CHAINS) > 400:
            _CHAINS.clear()
        hit = (copper, _block_chains(copper, block))
        _CHAINS[key] = hit
    return hit[1]


def _swept(
    copper: Copper,
    piece: int,
    prior: Floats,
    readings: tuple[Taken, ...],
    bridges: dict[int, list[int]],
    blocks: Sequence[Ring],
    never: int,
    omitted: float,
    contact: tuple[float, float],
    cap: int,
    place: dict[int, int],
) -> PieceBelief:
    """Build the sweep's input, sweep, expand."""
    whole = np.ones(len(readings))
    absorbed: list[list[int]] = [[] for _ in readings]
    groups: list[Group] = []
    group_sites: list[tuple[int, ...]] = []
    rings: list[tuple[int, Ring]] = []
    for mask, sites in bridges.items():
        intact = float(np.prod(1.0 - prior[sites]))
        if mask & (mask - 1):
            groups.append(Group(((0, intact), (mask, 1.0 - intact))))
            group_sites.append(tuple(sites))
        else:
            r = mask.bit_length() - 1
            whole[r] *= intact
            absorbed[r] += sites
    for ring in blocks:
        rings.append((len(groups), ring))
        groups.append(Group(tuple(zip(ring.masks, ring.mass.tolist(), strict=True))))
        group_sites.append(())
    users: dict[str, int] = {}
    for r, one in enumerate(readings):
        for point in dict.fromkeys((one.point_a, one.point_b)):  # not a set: its order differs from process to process
            users[point] = users.get(point, 0) | 1 << r
    bad, miss = contact
    contacts: list[Contact] = []
    names: list[str] = []
    bites = np.ones(len(readings))
    for point, mask in users.items():
        if bad <= 0.0 or miss <= 0.0:
            continue
        if mask & (mask - 1):
            contacts.append(Contact(mask, bad, miss))
            names.append(point)
        else:
            bites[mask.bit_length() - 1] *= 1.0 - bad * miss
    inputs = []
    for r, one in enumerate(readings):
        a = one.b if never >> r & 1 else bites[r] * one.a + (1.0 - bites[r]) * one.b
        inputs.append(Reading(a, one.b, float(whole[r])))
    at_ring = {g: copper.block_sites[ring.block] for g, ring in rings}
    first = [min((place.get(k, 0) for k in at_ring.get(g, sites)), default=0) for g, sites in enumerate(group_sites)]
    wish = sorted(range(len(groups)), key=lambda g: (first[g], g))
    swept = sweep(groups, inputs, contacts, cap, wish)
    bound = swept.dropped
    if omitted > 0.0 and swept.log_evidence > -np.inf:
        # at worst what was left out explains the readings across its rings as well as anything could that opens the same of them
        across, listed = 0, 1.0
        for _, ring in rings:
            if ring.omitted > 0.0:
                across |= ring.crossed
                listed *= float(ring.mass.sum())
        kind = [
            Reading(max(one.a, one.b), max(one.a, one.b), one.q) if across >> r & 1 else one
            for r, one in enumerate(inputs)
        ]
        ceiling = evidence_of(groups, kind, contacts, cap, wish)
        bound += omitted / listed * float(np.exp(min(700.0, ceiling - swept.log_evidence)))
    broken = _expand(prior, swept, group_sites, absorbed, rings, whole)
    return PieceBelief(
        copper,
        piece,
        readings,
        prior,
        broken,
        _spoken_kept(broken),
        np.fromiter(broken.values(), dtype=np.float64, count=len(broken)),
        swept.log_evidence,
        bound,
        dict(zip(names, swept.contacts.tolist(), strict=True)),
        swept,
        tuple(group_sites),
        tuple(tuple(s) for s in absorbed),
        tuple(rings),
        tuple(names),
    )


_SPOKEN: dict[bytes, Ints] = {}


def _spoken_kept(broken: dict[int, float]) -> Ints:
    """The sites that readings spoke of, in order; the same array again for the same sites, so that suppositions are told alike without comparing."""
    spoken = np.fromiter(broken.keys(), dtype=np.int64, count=len(broken))
    if len(_SPOKEN) > 4000:
        _SPOKEN.clear()
    return _SPOKEN.setdefault(spoken.tobytes(), spoken)


def _expand(
    prior: Floats,
    swept: Swept,
    group_sites: Sequence[Sequence[int]],
    absorbed: Sequence[Sequence[int]],
    rings: Sequence[tuple[int, Ring]],
    whole: Floats,
) -> dict[int, float]:
    """Posterior of every site that a reading spoke of."""
    broken: dict[int, float] = {}
    for g, sites in enumerate(group_sites):
        if sites:
            any_broken = 1.0 - float(np.prod(1.0 - prior[list(sites)]))
            for k in sites:
                broken[k] = _share(float(swept.groups[g][1]), float(prior[k]), any_broken)
    for r, sites in enumerate(absorbed):
        for k in sites:
            broken[k] = _share(float(swept.absorbed[r]), float(prior[k]), 1.0 - float(whole[r]))
    for g, ring in rings:
        lift = np.where(ring.mass > 0.0, swept.groups[g] / np.maximum(ring.mass, 1e-300), 0.0)
        chain = ring.inside.broken(lift)
        inside = ring.core.within
        broken.update(zip(inside.sites, inside.broken(chain).tolist(), strict=True))
    return broken


def _share(any_posterior: float, site: float, any_prior: float) -> float:
    """P(site broken) from P(its group broken): they break independently, so the group's posterior is shared by prior."""
    return min(1.0, any_posterior * site / any_prior) if any_prior > 0.0 else site


def draw(belief: PieceBelief, samples: int, seed: int) -> tuple[Bools, dict[str, Bools]]:
    """Posterior samples: (sites of the piece, samples) broken or not, and per contact point (samples,) bad or not. Deterministic."""
    if belief.mix:
        return _draw_mixed(belief, samples, seed)
    rng = np.random.default_rng(seed)
    uniforms = rng.random((len(belief.swept.steps) + len(belief.readings), samples))
    groups, gone, bad = belief.swept.sample(uniforms)
    place = {k: i for i, k in enumerate(belief.copper.pieces[belief.piece])}
    broken = np.zeros((len(place), samples), dtype=np.bool_)
    spoken: set[int] = set()
    for g, sites in enumerate(belief.group_sites):
        if sites:
            _spread(broken, place, sites, belief.prior, groups[g] == 1, rng)
            spoken.update(sites)
    for r, sites in enumerate(belief.absorbed_sites):
        if sites:
            _spread(broken, place, sites, belief.prior, gone[r], rng)
            spoken.update(sites)
    for g, ring in belief.rings:
        chosen = ring.inside.sample(groups[g], rng)
        for j, part in enumerate(ring.core.parts):
            found: dict[int, Bools] = {}
            draw_part(part, chosen[:, j], rng, found)
            for k, hit in found.items():
                broken[place[k]] = hit
            spoken.update(found)
    quiet = [(i, k) for k, i in place.items() if k not in spoken and belief.prior[k] > 0.0]
    if quiet:
        rows, chance = np.array([i for i, _ in quiet]), belief.prior[[k for _, k in quiet]]
        for p in np.unique(chance).tolist():
            _sprinkle(broken, rows[chance == p], p, rng)
    return broken, dict(zip(belief.contact_points, bad, strict=True))


def _sprinkle(broken: Bools, rows: Ints, p: float, rng: np.random.Generator) -> None:
    """Break each sample of each of these rows with chance ``p``, at a cost that goes with the breaks and not with the samples."""
    samples = broken.shape[1]
    cells = len(rows) * samples
    hit = rng.choice(cells, int(rng.binomial(cells, p)), replace=False, shuffle=False)
    broken[rows[hit // samples], hit % samples] = True


def _draw_mixed(belief: PieceBelief, samples: int, seed: int) -> tuple[Bools, dict[str, Bools]]:
    """Samples of each supposition about the ohms readings by its weight, the rounding to the heaviest."""
    counts = [int(samples * weight) for weight, _ in belief.mix]
    counts[max(range(len(counts)), key=lambda k: belief.mix[k][0])] += samples - sum(counts)
    drawn = [draw(one, n, seed + k) for k, ((_, one), n) in enumerate(zip(belief.mix, counts, strict=True)) if n]
    names = belief.contact_points
    return (
        np.concatenate([broken for broken, _ in drawn], axis=1),
        {name: np.concatenate([bad[name] for _, bad in drawn]) for name in names},
    )


def _spread(
    broken: Bools,
    place: dict[int, int],
    sites: Sequence[int],
    prior: Floats,
    any_broken: Bools,
    rng: np.random.Generator,
) -> None:
    """Draw which sites of a broken group are broken: one at least, the rest by their priors."""
    waiting = any_broken.copy()
    chances = prior[list(sites)]
    whole_from_here = np.cumprod(1.0 - chances[::-1])[::-1]
    for k, chance, whole in zip(sites, chances.tolist(), whole_from_here.tolist(), strict=True):
        later = 1.0 - whole
        first = chance / later if later > 0.0 else 1.0
        u = rng.random(len(any_broken))
        hit = any_broken & (u < np.where(waiting, first, chance))
        broken[place[k]] |= hit
        waiting &= ~hit
