"""A block with two ways round as its readings see it: which of them it opens together, with what prior mass, and which parts are then broken.

Small blocks list every break pattern; larger ones are swept node by node (``frontier``).
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, log2
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.copper import Copper
from coppermend.core.belief.frontier import MOST_WAYS, Way, frontier
from coppermend.core.belief.ladder import Core, reduce_block
from coppermend.core.belief.patterns import ALL_UP_TO, Patterns, labels, patterns
from coppermend.core.belief.readings import Taken

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Crossing:
    """Reading ``reading`` crosses a block from node ``a`` to node ``b``; ``absent``: sites that were not there then."""

    reading: int
    a: int
    b: int
    absent: frozenset[int]


class Inside(Protocol):
    """What happens inside a block, given what it opens."""

    @property
    def nbytes(self) -> int:
        """Bytes of its arrays."""

    def broken(self, lift: Floats) -> Floats:
        """(parts,) posterior that each part is broken, when outcome o became ``lift[o]`` times as likely as it was."""

    def sample(self, outcome: Ints, rng: np.random.Generator) -> Bools:
        """(samples, parts) which parts are broken, drawn given the outcome of each sample."""


@dataclass(frozen=True, slots=True)
class Listed:
    """Break patterns one by one. ``outcome``: (patterns,) number of the outcome that each belongs to."""

    patterns: Patterns
    outcome: Ints

    @property
    def nbytes(self) -> int:
        """Bytes of its arrays; the patterns are shared."""
        return self.outcome.nbytes

    def broken(self, lift: Floats) -> Floats:
        """(parts,) posterior that each part is broken, when outcome o became ``lift[o]`` times as likely as it was."""
        weight = self.patterns.weight * lift[self.outcome]
        return np.asarray(weight @ self.patterns.broken, dtype=np.float64)

    def sample(self, outcome: Ints, rng: np.random.Generator) -> Bools:
        """(samples, parts) which parts are broken, drawn given the outcome of each sample."""
        chosen = np.zeros((len(outcome), self.patterns.broken.shape[1]), dtype=np.bool_)
        for o in np.unique(outcome).tolist():
            mine = np.flatnonzero(outcome == o)
            rows = np.flatnonzero(self.outcome == o)
            edges = np.cumsum(self.patterns.weight[rows])
            picks = rows[np.minimum(np.searchsorted(edges, rng.random(len(mine)) * edges[-1]), len(rows) - 1)]
            chosen[mine] = self.patterns.broken[picks]
        return chosen


@dataclass(frozen=True, slots=True)
class Ring:
    """A block with two ways round. ``crossed``: bit mask of the readings that cross it; ``masks[o]``: of those that outcome o opens; ``mass[o]``: its prior.

    ``omitted``: the most prior mass that is missing, weighed by the readings it opens for good (0 = none).
    """

    block: int
    core: Core
    crossed: int
    masks: tuple[int, ...]
    mass: Floats
    omitted: float
    inside: Inside


_RINGS: OrderedDict[tuple[object, ...], tuple[Copper, Ring, int]] = OrderedDict()
_HELD = [0]
"""Running total of what the remembered rings hold."""
MOST_RINGS = 600
"""Rings remembered: a net has up to a dozen, each under every supposition about the damage, and a reading changes those that it crosses; and ..."""
MOST_RING_BYTES = 100_000_000
"""... so much of their arrays."""


def ring_kept(
    copper: Copper,
    block: int,
    prior: Floats,
    seen: Sequence[Crossing],
    readings: Sequence[Taken],
    tolerance: float,
) -> Ring:
    """The ring of a block under its readings, remembered for the next supposition about the bench."""
    worth = tuple(_worth(readings[one.reading]) for one in seen)
    key = (id(copper), block, tuple(seen), worth, prior[list(copper.block_sites[block])].tobytes(), tolerance)
    hit = _RINGS.get(key)
    if hit is None or hit[0] is not copper:
        made = _ring(copper, block, prior, seen, worth, tolerance)
        _HELD[0] += made.inside.nbytes - (hit[2] if hit is not None else 0)
        hit = (copper, made, made.inside.nbytes)
        _RINGS[key] = hit
        while len(_RINGS) > 1 and (len(_RINGS) > MOST_RINGS or _HELD[0] > MOST_RING_BYTES):
            _HELD[0] -= _RINGS.popitem(last=False)[1][2]
    else:
        _RINGS[key] = _RINGS.pop(key, hit)
    return hit[1]


def _worth(one: Taken) -> float:
    """The most that a reading's likelihood can be when it is open, as a share of the most it can be at all; rounded up to a power of two, so that
    suppositions that differ a little in their rates share their rings.
    """
    share = one.b / max(one.a, one.b)
    return min(1.0, 2.0 ** ceil(log2(share))) if share > 0.0 else 0.0


def _ring(
    copper: Copper, block: int, prior: Floats, seen: Sequence[Crossing], worth: Sequence[float], tolerance: float
) -> Ring:
    core = _core_kept(copper, block, prior, seen)
    place = {part.site: j for j, part in enumerate(core.parts) if part.kind == "site"}
    ways: dict[tuple[int, int, frozenset[int]], tuple[int, float]] = {}
    for one, value in zip(seen, worth, strict=True):
        gone = frozenset(place[k] for k in one.absent if k in place)
        a, b = core.nodes[one.a], core.nodes[one.b]
        key = (min(a, b), max(a, b), gone)
        mask, most = ways.get(key, (0, 1.0))
        ways[key] = (mask | 1 << one.reading, most * value)
    chance = np.array([part.p for part in core.parts])
    crossed = sum(1 << r for r in {one.reading for one in seen})
    readings_of = [mask for mask, _ in ways.values()]
    of_ways = [Way(a, b, gone, value) for (a, b, gone), (_, value) in ways.items()]
    if len(chance) > ALL_UP_TO and len(ways) <= MOST_WAYS:
        swept = frontier(core.ends, len(core.nodes), chance, of_ways, tolerance=tolerance)
        masks = tuple(sum(m for w, m in enumerate(readings_of) if opens >> w & 1) for opens in swept.opens)
        return Ring(block, core, crossed, masks, swept.mass, swept.dropped, swept)
    listed = _patterns_kept(chance)
    opened = np.zeros((len(listed.weight), len(ways)), dtype=bool)
    eras: dict[frozenset[int], Ints] = {}
    for j, (a, b, gone) in enumerate(ways):
        if gone not in eras:
            eras[gone] = labels(core.ends, len(core.nodes), listed.broken, gone)
        opened[:, j] = eras[gone][:, a] != eras[gone][:, b]
    some = np.flatnonzero(opened.any(axis=1))
    kinds, which = np.unique(opened[some], axis=0, return_inverse=True)
    outcome = np.zeros(len(listed.weight), dtype=np.int64)
    outcome[some] = 1 + which.reshape(-1)
    masks = (0, *(sum(readings_of[j] for j in np.flatnonzero(kind).tolist()) for kind in kinds))
    mass = np.asarray(np.bincount(outcome, weights=listed.weight, minlength=len(masks)), dtype=np.float64)
    return Ring(block, core, crossed, masks, mass, listed.omitted, Listed(listed, outcome))


_PATTERNS: dict[bytes, Patterns] = {}


def _patterns_kept(chance: Floats) -> Patterns:
    key = chance.tobytes()
    if key not in _PATTERNS:
        if len(_PATTERNS) > 64:
            _PATTERNS.clear()
        _PATTERNS[key] = patterns(chance)
    return _PATTERNS[key]


_CORES: dict[tuple[object, ...], tuple[Copper, Core]] = {}


def _core_kept(copper: Copper, block: int, prior: Floats, seen: Sequence[Crossing]) -> Core:
    """The block reduced to what its readings can tell apart, remembered."""
    sites = copper.block_sites[block]
    keep = frozenset(n for one in seen for n in (one.a, one.b))
    alone = frozenset(k for one in seen for k in one.absent)
    chance = prior[list(sites)]
    key = (id(copper), block, keep, alone, chance.tobytes())
    hit = _CORES.get(key)
    if hit is None or hit[0] is not copper:
        if len(_CORES) > 200:
            _CORES.clear()
        ends = [(copper.graph.sites[k].a, copper.graph.sites[k].b) for k in sites]
        hit = (copper, reduce_block(ends, sites, chance.tolist(), keep, alone))
        _CORES[key] = hit
    return hit[1]
