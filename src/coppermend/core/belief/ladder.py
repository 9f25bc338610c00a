"""Reduce a block with two ways round to its core: sites in series and side by side become one, as far as no reading tells them apart.

A *part* of the core is a site, parts in series (broken when one is) or parts side by side (broken when all are). Only whether a part is
broken matters to the readings, so its own pieces follow from it in closed form.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import accumulate
from operator import mul

import numpy as np
from numpy.typing import NDArray

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Part:
    """``kind``: site, series or parallel. ``site``: index (kind site). ``p``: prior probability that it is broken."""

    kind: str
    p: float
    site: int = -1
    pieces: tuple[Part, ...] = ()

    def sites(self) -> list[int]:
        """Every site in it."""
        return [self.site] if self.kind == "site" else [k for piece in self.pieces for k in piece.sites()]


def series(a: Part, b: Part) -> Part:
    """Two parts one after the other.

    >>> round(series(Part("site", 0.1, 0), Part("site", 0.2, 1)).p, 12)
    0.28
    """
    pieces = (*(a.pieces if a.kind == "series" else (a,)), *(b.pieces if b.kind == "series" else (b,)))
    return Part("series", 1.0 - (1.0 - a.p) * (1.0 - b.p), pieces=pieces)


def parallel(a: Part, b: Part) -> Part:
    """Two parts side by side.

    >>> round(parallel(Part("site", 0.1, 0), Part("site", 0.2, 1)).p, 12)
    0.02
    """
    pieces = (*(a.pieces if a.kind == "parallel" else (a,)), *(b.pieces if b.kind == "parallel" else (b,)))
    return Part("parallel", a.p * b.p, pieces=pieces)


@dataclass(frozen=True, slots=True)
class Core:
    """What is left of a block: ``parts[j]`` between ``ends[j]`` (indices into ``nodes``). ``idle``: sites that no reading can speak of.

    ``within``: how each site's posterior follows from its part's.
    """

    parts: tuple[Part, ...]
    ends: tuple[tuple[int, int], ...]
    nodes: dict[int, int]
    idle: tuple[int, ...]
    within: Within


@dataclass(frozen=True, slots=True)
class Within:
    """The sites of some parts: ``sites[i]`` lies in part ``part[i]``; when that is broken with chance x, it is broken with ``base[i] + gain[i] * x``."""

    sites: tuple[int, ...]
    part: Ints
    base: Floats
    gain: Floats

    def broken(self, parts: Floats) -> Floats:
        """Posterior of every site from the posteriors of the parts."""
        return np.asarray(np.clip(self.base + self.gain * parts[self.part], 0.0, 1.0), dtype=np.float64)


def within(parts: Sequence[Part]) -> Within:
    """How the sites of ``parts`` follow from them: of a broken row of parts one at least is broken, of parts side by side all; the rest by their priors.

    >>> two = within([series(Part("site", 0.1, 5), Part("site", 0.2, 6))])
    >>> two.sites, [round(p, 6) for p in two.broken(np.array([0.28])).tolist()]           # the prior in, the priors out
    ((5, 6), [0.1, 0.2])
    """
    rows: list[tuple[int, int, float, float]] = []
    todo = [(part, j, 0.0, 1.0) for j, part in reversed(list(enumerate(parts)))]
    while todo:
        part, j, base, gain = todo.pop()
        if part.kind == "site":
            rows.append((part.site, j, base, gain))
            continue
        for piece in reversed(part.pieces):
            if part.kind == "series":
                share = piece.p / part.p if part.p > 0.0 else 0.0
                start = 0.0 if part.p > 0.0 else piece.p
                todo.append((piece, j, start + base * share, gain * share))
            else:
                whole = (piece.p - part.p) / (1.0 - part.p) if part.p < 1.0 else 1.0
                todo.append((piece, j, whole + base * (1.0 - whole), gain * (1.0 - whole)))
    return Within(
        tuple(row[0] for row in rows),
        np.array([row[1] for row in rows], dtype=np.int64),
        np.array([row[2] for row in rows], dtype=np.float64),
        np.array([row[3] for row in rows], dtype=np.float64),
    )


def reduce_block(
    ends: Sequence[tuple[int, int]],
    sites: Sequence[int],
    chance: Sequence[float],
    keep: Collection[int],
    alone: Collection[int] = (),
    *,
    split: bool = False,
) -> Core:
    """The core of a block whose sites ``sites[i]`` join the nodes ``ends[i]`` and break with ``chance[i]``.

    ``keep``: nodes that readings enter or leave by. ``alone``: sites that must stay parts of their own (wires that were not always there).
    ``split``: sites side by side stay apart, because ohms tell them apart.

    >>> core = reduce_block([(0, 1), (1, 2), (0, 2), (2, 3)], [5, 6, 7, 8], [0.1, 0.2, 0.3, 0.4], {0, 2})
    >>> [(sorted(p.sites()), round(p.p, 3)) for p in core.parts], core.idle
    ([([5, 6, 7], 0.084)], (8,))
    """
    edges: dict[int, tuple[int, int, Part]] = {}
    near: dict[int, set[int]] = {}
    idle: list[int] = []
    single = set(alone)
    for i, (a, b) in enumerate(ends):
        edges[i] = (a, b, Part("site", chance[i], sites[i]))
        near.setdefault(a, set()).add(i)
        near.setdefault(b, set()).add(i)
    fixed = {i for i, k in enumerate(sites) if k in single}
    kept = set(keep)
    fresh = len(ends)

    def drop(i: int) -> tuple[int, int, Part]:
        a, b, part = edges.pop(i)
        near[a].discard(i)
        near[b].discard(i)
        return a, b, part

    todo = sorted(near)
    while todo:
        node = todo.pop()
        for i in sorted(near[node]):
            if i in edges and edges[i][0] == edges[i][1]:
                idle += drop(i)[2].sites()
        by_other: dict[int, int] = {}
        for i in sorted(near[node]):
            a, b, _ = edges[i]
            other = b if a == node else a
            if other in by_other and i not in fixed and not split:
                first = by_other[other]
                merged = parallel(drop(first)[2], drop(i)[2])
                edges[fresh] = (node, other, merged)
                near[node].add(fresh)
                near[other].add(fresh)
                by_other[other] = fresh
                fresh += 1
                todo.append(other)
            elif i not in fixed:
                by_other[other] = i
        if node in kept:
            continue
        at = sorted(near[node])
        if len(at) == 1 and at[0] not in fixed:
            a, b, part = drop(at[0])
            idle += part.sites()
            todo.append(b if a == node else a)
        elif len(at) == 2 and not fixed.intersection(at):
            a1, b1, one = drop(at[0])
            a2, b2, two = drop(at[1])
            u, v = (b1 if a1 == node else a1), (b2 if a2 == node else a2)
            edges[fresh] = (u, v, series(one, two))
            near[u].add(fresh)
            near[v].add(fresh)
            fresh += 1
            todo += [u, v]
    used = sorted({n for a, b, _ in edges.values() for n in (a, b)} | (kept & near.keys()))
    nodes = {n: k for k, n in enumerate(used)}
    rows = [edges[i] for i in sorted(edges)]
    parts = tuple(r[2] for r in rows)
    ends_of = tuple((nodes[r[0]], nodes[r[1]]) for r in rows)
    return Core(parts, ends_of, nodes, tuple(idle), within(parts))


def draw_part(part: Part, broken: Bools, rng: np.random.Generator, into: dict[int, Bools]) -> None:
    """Samples of every site in a part, given in which samples the part is broken."""
    if part.kind == "site":
        into[part.site] = broken.copy()
        return
    flip = part.kind == "parallel"
    # side by side is series with whole and broken exchanged: at least one whole unless broken
    waiting = ~broken if flip else broken.copy()
    asked = waiting.copy()
    later = list(accumulate((one.p if flip else 1.0 - one.p for one in reversed(part.pieces)), mul))
    for piece, none_later in zip(part.pieces, reversed(later), strict=True):
        chance = 1.0 - piece.p if flip else piece.p
        first = chance / (1.0 - none_later) if none_later < 1.0 else 1.0
        hit = asked & (rng.random(len(broken)) < np.where(waiting, first, chance))
        waiting &= ~hit
        draw_part(piece, ~hit if flip else hit, rng, into)
