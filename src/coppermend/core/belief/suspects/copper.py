"""The copper of every net as a tree of spans between its pins, from the copper graph.

A span is the copper between two neighbouring places that a tip can tell apart at pins (a leg, the joint on the solder side): all sites in it
part the same pins, so no reading at pins separates them, and a patch wire mends them alike. Copper with two ways round parts nothing by one
break and is one place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from coppermend.core.belief.engine import prior_of
from coppermend.core.belief.model import Basis, WorkArea
from coppermend.core.circuit.planes import NetTree
from coppermend.core.copper.model import CopperGraph, ProbePoint, SiteKind
from coppermend.core.copper.provable import NetView, all_views
from coppermend.core.geometry.groups import Groups

KNOWN_BREAK = 0.995
"""Prior of a gap that the readings have already shown."""


@dataclass(frozen=True, slots=True)
class Span:
    """One edge of a net's tree: its sites (ids), the chance that it is open, its ends in words."""

    sites: tuple[str, ...]
    prior: float
    words: str
    kinds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CopperTree:
    """A net's tree with its spans (one per edge) and the points (reachable, at pins) at each node."""

    tree: NetTree
    spans: tuple[Span, ...]
    points: Mapping[int, tuple[ProbePoint, ...]]


def copper_trees(
    graph: CopperGraph,
    areas: Sequence[WorkArea],
    basis: Basis,
    only: Mapping[str, frozenset[str]] | None = None,
) -> dict[str, CopperTree]:
    """The trees of all nets with pins, by net name. ``only``: of these nets (rails) the parts that matter; spans between others are one with their neighbours."""
    prior = dict(zip((s.id for s in graph.sites), prior_of(graph, areas, basis).tolist(), strict=True))
    words = {s.id: (s.words or s.id, str(s.kind)) for s in graph.sites}
    pins: dict[int, list[ProbePoint]] = {}
    for point in graph.points:
        if point.part:
            pins.setdefault(point.net, []).append(point)
    found: dict[str, CopperTree] = {}
    for net, view in all_views(graph).items():
        if net != min(view.nets):
            continue
        points = [p for one in view.nets for p in pins.get(one, ())]
        if points:
            name = graph.net_names[net]
            if only is not None and name in only:
                points = [p for p in points if p.part in only[name]]
            if not points:
                continue
            found[name] = _tree(name, view, points, prior, words, _lands(graph, view))
    for k, name in enumerate(graph.net_names):
        if name not in found and pins.get(k):
            found[name] = _tree(name, None, pins[k], prior, words, {})
    return found


def _lands(graph: CopperGraph, view: NetView) -> dict[tuple[str, str], int]:
    members = set(view.nets)
    return {(one.part, one.number): one.lands[0][1] for one in graph.pins if one.net in members and one.lands}


@dataclass(slots=True)
class _Edge:
    a: int
    b: int
    sites: tuple[str, ...]


def _tree(
    name: str,
    view: NetView | None,
    points: Sequence[ProbePoint],
    prior: Mapping[str, float],
    words: Mapping[str, tuple[str, str]],
    lands: Mapping[tuple[str, str], int],
) -> CopperTree:
    groups = Groups()
    find = groups.find
    bridges: list[_Edge] = []
    for edge in view.super_edges if view is not None else ():
        find(edge.a), find(edge.b)
        if edge.bridge:
            bridges.append(_Edge(edge.a, edge.b, edge.sites))
        else:
            groups.join(edge.a, edge.b)
    if view is None:
        for p in points[1:]:
            groups.join(p.node, points[0].node)
    edges = [_Edge(find(one.a), find(one.b), one.sites) for one in bridges]
    legs = _legs(points, lands)
    shown = _shown(points)
    keep = {find(node) for node in legs.values()} | {find(p.node) for p in shown}
    edges = _pruned(edges, keep)
    edges = _with_gaps(edges, keep)
    numbers = {node: k for k, node in enumerate(sorted(keep | {n for e in edges for n in (e.a, e.b)}))}
    at: dict[int, list[ProbePoint]] = {}
    for p in shown:
        at.setdefault(numbers[find(p.node)], []).append(p)
    taps = {f"{part}.{pin}": numbers[find(node)] for (part, pin), node in legs.items()}
    pins_at: dict[int, list[str]] = {}
    for pin, number in taps.items():
        pins_at.setdefault(number, []).append(pin)
    tree = NetTree(name, len(numbers), tuple((numbers[e.a], numbers[e.b]) for e in edges), taps)
    spans = tuple(_span(tree, k, e.sites, prior, words, pins_at) for k, e in enumerate(edges))
    return CopperTree(tree, spans, {k: tuple(sorted(v, key=_rank)) for k, v in at.items()})


def _legs(points: Sequence[ProbePoint], lands: Mapping[tuple[str, str], int]) -> dict[tuple[str, str], int]:
    """The node where each pin's part sits: its leg, else its land, else any point of it."""
    found: dict[tuple[str, str], int] = {}
    for p in sorted(points, key=lambda p: (p.kind == "leg", p.kind == "contact")):
        found[(p.part, p.pin)] = p.node
    have = {(p.part, p.pin) for p in points if p.kind == "leg"}
    for key in set(found) - have:
        found[key] = lands.get(key, found[key])
    return found


def _shown(points: Sequence[ProbePoint]) -> list[ProbePoint]:
    """The points offered for looks: of each pin its leg and one joint, the solder side's where it can be reached."""
    chosen: dict[tuple[str, str, str], ProbePoint] = {}
    for p in points:
        if p.reachable:
            key = (p.part, p.pin, "leg" if p.kind in ("leg", "contact") else "joint")
            if key not in chosen or (p.side == "s") > (chosen[key].side == "s"):
                chosen[key] = p
    return list(chosen.values())


def _rank(p: ProbePoint) -> tuple[bool, str]:
    return (p.kind != "leg", p.id)


def _pruned(edges: list[_Edge], keep: set[int]) -> list[_Edge]:
    """Without twigs that carry no pin, and with nodes in the middle of a span taken out."""
    live = dict(enumerate(edges))
    near: dict[int, set[int]] = {}
    for k, e in live.items():
        near.setdefault(e.a, set()).add(k)
        near.setdefault(e.b, set()).add(k)
    todo = [n for n in near if n not in keep]
    while todo:
        node = todo.pop()
        mine = near.get(node, set())
        if node in keep or len(mine) > 2:
            continue
        if len(mine) == 1:
            k = next(iter(mine))
            other = live[k].b if live[k].a == node else live[k].a
            del live[k]
            near[node] = set()
            near[other].discard(k)
            todo.append(other)
        elif len(mine) == 2:
            i, j = sorted(mine)
            a = live[i].b if live[i].a == node else live[i].a
            b = live[j].b if live[j].a == node else live[j].a
            live[i] = _Edge(a, b, live[i].sites + live[j].sites)
            del live[j]
            near[node] = set()
            near[b].discard(j)
            near[b].add(i)
    return list(live.values())


def _with_gaps(edges: list[_Edge], keep: set[int]) -> list[_Edge]:
    """Pieces that no copper joins any more are tied by a gap: an edge without sites."""
    groups = Groups()
    find = groups.find
    for e in edges:
        groups.join(e.a, e.b)
    first = min(keep) if keep else None
    made = list(edges)
    for node in sorted(keep):
        if first is not None and find(node) != find(first):
            made.append(_Edge(first, node, ()))
            groups.join(node, first)
    return made


def _span(
    tree: NetTree,
    k: int,
    sites: tuple[str, ...],
    prior: Mapping[str, float],
    words: Mapping[str, tuple[str, str]],
    pins_at: Mapping[int, list[str]],
) -> Span:
    whole = 1.0
    for site in sites:
        whole *= 1.0 - prior.get(site, 0.0)
    chance = KNOWN_BREAK if not sites else min(0.5, 1.0 - whole)
    kinds = tuple(dict.fromkeys(words[s][1] for s in sites if s in words))
    a, b = (_side(tree, k, end, pins_at) for end in (0, 1))
    near, far = (a, b) if len(a) <= len(b) else (b, a)
    what = _what(kinds)
    if len(near) == 1 and set(kinds) <= {str(SiteKind.JOINT), str(SiteKind.CONTACT), str(SiteKind.LEG)}:
        text = f"{what} of {near[0]}"
    elif near == far or not far:
        text = f"{what} at {near[0] if near else tree.net}"
    else:
        text = f"{what} between {_few(near)} and {_few(far)}"
    return Span(sites, chance, f"{text}, net {tree.net}", kinds)


def _what(kinds: Sequence[str]) -> str:
    if not kinds:
        return "the known gap"
    if len(kinds) == 1:
        return {"run": "the track", "barrel": "the plated hole", "joint": "the joint", "contact": "the socket contact",
                "leg": "the leg", "wire": "the patch wire", "spoke": "the spoke", "unknown": "the copper"}.get(kinds[0], "the copper")  # fmt: skip
    return "joint or contact" if set(kinds) <= {"joint", "contact", "leg"} else "the copper"


def _side(tree: NetTree, cut: int, end: int, pins_at: Mapping[int, list[str]]) -> list[str]:
    """The pins on one side of an edge, by number of pins nearest first."""
    near: dict[int, list[int]] = {}
    for k, (a, b) in enumerate(tree.edges):
        if k != cut:
            near.setdefault(a, []).append(b)
            near.setdefault(b, []).append(a)
    queue = [tree.edges[cut][end]]
    seen = set(queue)
    found: list[str] = []
    for node in queue:
        found += sorted(pins_at.get(node, ()))
        for other in near.get(node, ()):
            if other not in seen:
                seen.add(other)
                queue.append(other)
    return found


def _few(pins: Sequence[str]) -> str:
    return ", ".join(pins[:2]) + (f" and {len(pins) - 2} more" if len(pins) > 2 else "")
