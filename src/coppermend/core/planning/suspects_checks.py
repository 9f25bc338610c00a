"""Checks without power that tell suspects apart: continuity between two places of a net, isolation between two nets.

Of a net all pairs of places are weighed (of a large one those next to its likeliest spans): a check over half of the likely spans tells more than one
over a single span, and one that leaves the net by a side branch tells two spans apart that meet there. Whether two nets touch is asked where they would; once
that read open, at other places, too: an open that a tip made which bites badly is not an open there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.suspects.field import Field, Floats, Ints
from coppermend.core.belief.suspects.posterior import Observation, apart_tones, bridge_ends, bridge_tone
from coppermend.core.belief.suspects.together import held_by

LIKELY_CAUSES, LIKELY_P = 6, 0.02
"""So many of the likeliest faults are asked about, each at least this likely."""
ALL_PAIRS = 40
"""Of a net with more places than this only those next to likely spans are weighed."""
A_NET = 3
"""Checks offered for one net."""
NETS = 3
"""Nets that are asked about at a time."""
OTHER_PLACES = 3
"""Places of each of two nets, nearest to a bridge first, between which isolation is offered once it read open."""


@dataclass(frozen=True, slots=True)
class Check:
    """A check: ``kind`` check (one net) or apart (two), its two places (net, node), and under which sets something is there (an open, a bridge), (sets,)."""

    kind: str
    spots: tuple[tuple[str, int], tuple[str, int]]
    there: NDArray[np.bool_]


def likely_checks(
    made: Field, members: Ints, weights: Floats, causes: Floats, evidence: Sequence[Observation] = ()
) -> list[Check]:
    """The checks that the likeliest faults call for. ``members`` (sets, size) with ``weights`` (sets,), ``causes`` (causes,) their probabilities; ``evidence``
    what was read so far."""
    likely = [k for k in np.argsort(-causes, kind="stable")[:LIKELY_CAUSES].tolist() if causes[k] >= LIKELY_P]
    nets = list(dict.fromkeys(made.causes[k].net for k in likely if made.causes[k].key[0] == "cut"))
    found = [one for net in nets[:NETS] for one in _of_net(made, members, weights, causes, net)]
    ends = [tuple(bridge_ends(made, k).items()) for k in likely if made.causes[k].key[0] == "short"]
    for place_a, place_b in dict.fromkeys((*ends, *_across_rails(made, likely))):
        found += _apart(made, members, place_a, place_b, evidence)
    return found


def _apart(
    made: Field,
    members: Ints,
    place_a: tuple[str, int],
    place_b: tuple[str, int],
    evidence: Sequence[Observation],
) -> list[Check]:
    """Isolation between two nets where they would touch; once it read open, between other places near, too."""
    before = apart_tones(evidence, made, place_a[0], place_b[0])
    near = [_near(made, place) if any(not one.closed for one in before) else [place] for place in (place_a, place_b)]
    found = []
    for a, b in product(*near):
        joined = np.zeros(len(members), np.bool_)
        joined[held_by(members, bridge_tone(made, a, b, True))] = True
        found.append(Check("apart", (a, b), joined))
    return found


def _near(made: Field, place: tuple[str, int]) -> list[tuple[str, int]]:
    """A place and the nearest others of its net that a tip reaches."""
    net, start = place
    edges = made.behaviour.trees[net].edges
    found, queue, seen = [place], [start], {start}
    for node in queue:
        if node != start and (net, node) in made.spot_at:
            found.append((net, node))
            if len(found) == OTHER_PLACES:
                break
        for a, b in edges:
            other = b if a == node else a if b == node else node
            if other not in seen:
                seen.add(other)
                queue.append(other)
    return found


def _across_rails(made: Field, likely: Sequence[int]) -> list[tuple[tuple[str, int], ...]]:
    """Is a rail joined to its return? Asked where a part across it may be shorted: power off, before anything else is blamed for the missing voltage."""
    circuit = made.behaviour.circuit
    pairs = {
        tuple(t.net for t in circuit.by_ref[made.causes[k].part].terminals if t.net)
        for k in likely
        if made.causes[k].key[0] == "shorted"
    }
    found = []
    for pair in sorted(pairs):
        places = [(net, min((node for one, node in made.spot_at if one == net), default=-1)) for net in pair]
        if len(pair) == 2 and min(node for _, node in places) >= 0:
            found.append(tuple(places))
    return found


def _of_net(made: Field, members: Ints, weights: Floats, causes: Floats, net: str) -> list[Check]:
    """The checks of one net that split its sets most evenly, best first, one for each way of splitting them."""
    tree = made.behaviour.trees[net]
    edges = {
        int(one.key[2]): k for k, one in enumerate(made.causes) if one.key[0] == "cut" and one.key[1] == net
    }  # fmt: skip
    nodes = _nodes(made, net, [e for e, k in edges.items() if causes[k] >= LIKELY_P])
    if len(nodes) < 2:
        return []
    ways = _ways(tree.edges, tree.nodes, nodes)
    held = np.zeros((len(members), len(tree.edges)), np.float32)
    for e, k in edges.items():
        held[(members == k).any(axis=1), e] = 1.0
    some = np.flatnonzero(held.any(axis=1))
    if not len(some):
        return []
    first, second = np.triu_indices(len(nodes), 1)
    paths = (ways[first] != ways[second]).astype(np.float32)
    p = (paths @ held[some].T > 0) @ weights[some]
    order = np.argsort(np.abs(p - 0.5), kind="stable")
    found: list[Check] = []
    seen: set[float] = set()
    for k in order.tolist():
        mass = round(float(p[k]), 9)
        if mass not in seen:
            seen.add(mass)
            there = held @ paths[k] > 0
            found.append(Check("check", ((net, nodes[int(first[k])]), (net, nodes[int(second[k])])), there))
        if len(found) == A_NET:
            break
    return found


def _ways(edges: Sequence[tuple[int, int]], count: int, nodes: Sequence[int]) -> NDArray[np.bool_]:
    """Which edges of a tree lie between its root and each node, (nodes, edges): two nodes are joined by those in which their rows differ."""
    near: dict[int, list[tuple[int, int]]] = {}
    for k, (a, b) in enumerate(edges):
        near.setdefault(a, []).append((b, k))
        near.setdefault(b, []).append((a, k))
    way = np.zeros((count, len(edges)), np.bool_)
    seen = {0}
    queue = [0]
    for node in queue:
        for other, k in near.get(node, ()):
            if other not in seen:
                seen.add(other)
                queue.append(other)
                way[other] = way[node]
                way[other, k] = True
    return np.asarray(way[list(nodes)])


def _nodes(made: Field, net: str, likely: Sequence[int]) -> list[int]:
    """Places of a net that are worth a tip: all of a small net, of a large one the nearest in every direction from the likely spans."""
    places = sorted(node for one, node in made.spot_at if one == net)
    if len(places) <= ALL_PAIRS:
        return places
    edges = made.behaviour.trees[net].edges
    found: dict[int, None] = {}
    for e in likely[:LIKELY_CAUSES]:
        for start in edges[e]:
            found |= dict.fromkeys(_nearest(made, net, edges, e, start))
    return sorted(found)[: 2 * ALL_PAIRS]


def _nearest(made: Field, net: str, edges: Sequence[tuple[int, int]], without: int, start: int) -> list[int]:
    """The place at one end of an edge, or the nearest one along every branch that leaves it there."""
    if (net, start) in made.spot_at:
        return [start]
    near: dict[int, list[int]] = {}
    for k, (a, b) in enumerate(edges):
        if k != without:
            near.setdefault(a, []).append(b)
            near.setdefault(b, []).append(a)
    found = []
    for branch in near.get(start, ()):
        queue, seen = [branch], {start, branch}
        for node in queue:
            if (net, node) in made.spot_at:
                found.append(node)
                break
            fresh = [other for other in near.get(node, ()) if other not in seen]
            seen |= set(fresh)
            queue += fresh
    return found
