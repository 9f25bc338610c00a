"""Spans: the stretch of copper that the readings leave as the place of a break, in words and as a path to show.

A span is announced when its probability is above the basis' threshold and two independent readings say so.
"""

from __future__ import annotations

from collections import Counter, OrderedDict
from collections.abc import Sequence

from coppermend.core.belief.engine import CopperBelief
from coppermend.core.belief.model import Basis
from coppermend.core.belief.ratio import says_broken
from coppermend.core.belief.readings import Taken
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.geometry.groups import Groups
from coppermend.core.planning.describe import SIDE_WORDS
from coppermend.core.planning.model import Span
from coppermend.core.planning.risk import Frame, Risk, risk_of
from coppermend.core.units import chance_words


def spans(
    graph: CopperGraph,
    posterior: CopperBelief,
    basis: Basis,
    *,
    least: float | None = None,
    risk: Risk | None = None,
    above: float | None = None,
) -> tuple[Span, ...]:
    """The announced spans, most probable first: P above ``basis.advice_above`` and two independent readings.

    ``least``: instead, every span at least that probable, confirmed or not (suspects). ``above``: another threshold of the announcement, not below
    ``basis.broken_above``.

    >>> from coppermend.core.belief.engine import belief
    >>> from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
    >>> from coppermend.core.belief.model import Evidence
    >>> graph = example_graph([(0, 1)], [0, 0, 1, 1])
    >>> said = [Evidence(str(k), a, b, "open") for k, (a, b) in enumerate(3 * [("p0", "p1"), ("p0b", "p1b"), ("p0", "p1b"), ("p0b", "p1")])]
    >>> [s.sites for s in spans(graph, belief(graph, (EXAMPLE_AREA,), said, Basis()), Basis())]
    [('s0',)]
    """
    state = risk if risk is not None else risk_of(posterior)
    floor = basis.broken_above if least is None else least
    found = []
    for number in (state.chance > floor).nonzero()[0].tolist():
        if least is None and not confirmed(posterior, state, number, above):
            continue
        found.append(span_of(graph, state, number))
    return tuple(sorted(found, key=lambda s: (-s.p, s.sites)))


def span_of(graph: CopperGraph, risk: Risk, number: int) -> Span:
    """The span of one super-edge: its sites in order, probability, words and path."""
    v = int(risk.frame.view_of[number])
    view = risk.frame.views[v]
    edge = view.super_edges[number - risk.frame.first[v]]
    by_id = {s: graph.sites[k] for s, k in _site_index(graph, edge.sites).items()}
    sites = [by_id[s] for s in edge.sites]
    words = span_words(graph, sites, edge.a, edge.b)
    path = tuple((s.layer, s.path) for s in sites if s.path)
    return Span(graph.net_names[view.nets[0]], tuple(edge.sites), float(risk.chance[number]), words, path)


def _site_index(graph: CopperGraph, wanted: Sequence[str]) -> dict[str, int]:
    if "site numbers" not in graph.memo:
        graph.memo["site numbers"] = {s.id: k for k, s in enumerate(graph.sites)}
    number: dict[str, int] = graph.memo["site numbers"]
    return {name: number[name] for name in wanted if name in number}


def span_words(graph: CopperGraph, sites: Sequence[Site], node_a: int, node_b: int) -> str:
    """A stretch as a person says it: "between U9.4 and the via at 31.2, 40.0 mm, solder side: 23 mm of 0.3 mm track"."""
    if len(sites) == 1 and sites[0].words:
        return sites[0].words
    ends = f"between {node_words(graph, node_a)} and {node_words(graph, node_b)}"
    runs = [s for s in sites if s.kind is SiteKind.RUN]
    pieces = []
    for layer in dict.fromkeys(s.layer for s in runs):
        mine = [s for s in runs if s.layer == layer]
        length = sum(s.length_mm for s in mine)
        width = min(s.width_mm for s in mine)
        pieces.append(f"{length:.1f} mm of {width:.2g} mm track, {SIDE_WORDS.get(layer, 'inner layer ' + layer)}")
    for kind, one, many in (
        (SiteKind.BARREL, "the via barrel", "via barrels"),
        (SiteKind.JOINT, "the solder joint", "solder joints"),
        (SiteKind.CONTACT, "the socket contact", "socket contacts"),
        (SiteKind.LEG, "the leg", "legs"),
        (SiteKind.SPOKE, "the spoke to the pour", "spokes to the pour"),
        (SiteKind.WIRE, "the patch wire", "patch wires"),
        (SiteKind.UNKNOWN, "copper whose course is not known", "stretches of copper whose course is not known"),
    ):
        mine = [s for s in sites if s.kind is kind]
        if mine:
            where = " of " + ", ".join(f"{s.part}.{s.pin}" for s in mine if s.part) if mine[0].part else ""
            pieces.append((one if len(mine) == 1 else f"{len(mine)} {many}") + where)
    return f"{ends}: {'; '.join(pieces)}" if pieces else ends


def node_words(graph: CopperGraph, node: int) -> str:
    """A node by the pin or via that is there, else by its place."""
    here = sorted((p for p in graph.points if p.node == node), key=lambda p: (not p.part, p.kind, p.id))
    if here and here[0].part:
        kind = {"leg": "the leg of ", "contact": "the socket contact of ", "joint": "the land of "}.get(
            here[0].kind, ""
        )
        return f"{kind}{here[0].part}.{here[0].pin}"
    x, y, layer = graph.node_place[node]
    what = "the via" if here and here[0].kind == "via" else "the junction"
    side = SIDE_WORDS.get(layer)
    return f"{what} at {x:.1f}, {y:.1f} mm" + (f", {side}" if side and what == "the junction" else "")


ENOUGH_OPEN = 10
"""So many open readings across a broken stretch are enough: where something else behind the same land could be broken as well and no reading tells
the two apart, P stays below ``advice_above`` for good. Six were too few: two bad points on either side of a whole stretch can give them. Where all of them
went through one point no number is enough: there the doubt is that point, and each further reading speaks of it, so ``advice_above`` is asked for."""


def confirmed(posterior: CopperBelief, risk: Risk, number: int, above: float | None = None) -> bool:
    """Whether the break may be named for the soldering iron: above ``basis.advice_above`` (or ``above``), by two independent readings.

    Independent: open readings across the super-edge without a shared point, except where there is no other to be had; or, where there is another way
    round, ohms readings between different points that are nearer the broken value than the whole one. ``ENOUGH_OPEN`` readings
    that did not all go through one point make do with ``broken_above``.
    """
    sure = risk.chance[number] > (posterior.basis.advice_above if above is None else above)
    if not sure and (above is not None or not risk.broken[number] or not _many(posterior, risk, number)):
        return False
    if len(_by_ohms(posterior, risk, number)) > 1:
        return True
    opens = crossing_opens(posterior, risk, number)
    if len(opens) < 2:
        return False
    few = scarce_points(risk, number)
    for i, one in enumerate(opens):
        for other in opens[i + 1 :]:
            shared = {one.point_a, one.point_b} & {other.point_a, other.point_b}
            if shared <= few:
                return True
    return False


def _many(posterior: CopperBelief, risk: Risk, number: int) -> bool:
    """Whether so many open readings cross a broken super-edge that ``broken_above`` does, and no single closed reading keeps its rivals out."""
    return _enough(posterior, risk, number) and hinge(posterior, risk, number) is None


def enough_but_for(posterior: CopperBelief, risk: Risk, number: int) -> Taken | None:
    """The ``hinge`` of a broken super-edge that has enough open readings and is not sure all the same; else None."""
    sure = risk.chance[number] > posterior.basis.advice_above
    if sure or not risk.broken[number] or not _enough(posterior, risk, number):
        return None
    return hinge(posterior, risk, number)


def _enough(posterior: CopperBelief, risk: Risk, number: int) -> bool:
    return len(crossing_opens(posterior, risk, number)) >= ENOUGH_OPEN and not all_through(posterior, risk, number)[0]


RIVAL_SHARE = 1.0 / 3.0
"""A closed reading keeps rivals of a break out by itself when the same two points, read closed once more, would take this share of the doubt away."""
HINGES = 2
"""Closed readings that are worked out for it: those whose stretches are broken likeliest."""
MOST_REPEATS = 8
"""The same two points are not asked more often than this."""
LEAST_BENCH = 0.01
"""Suppositions about the bench less likely than this are left out where a reading that was not taken yet is worked out."""


def hinge(posterior: CopperBelief, risk: Risk, number: int) -> Taken | None:
    """The closed reading that a break's name hangs on: on the way of an open reading across the break it was read closed, and if that was a mistake the
    break may as well lie there: asked again and closed it would take ``RIVAL_SHARE`` of the doubt away. None when there is none.

    It is asked before so many open readings are taken for enough: they all say that something on the way is broken, none of them where.
    """
    opens = crossing_opens(posterior, risk, number)
    own = block_of(posterior, risk, number)
    copper = posterior.copper
    ways = {b for r in opens for b, _, _ in copper.tree.route(r.node_a, r.node_b)} - {own}
    v = int(risk.frame.view_of[number])
    edges, first = risk.frame.views[v].super_edges, risk.frame.first[v]
    sites = [copper.site[s] for s in edges[number - first].sites]
    taken = posterior.readings.get(copper.tree.piece[copper.graph.sites[sites[0]].a], ())
    asked = Counter(frozenset((r.point_a, r.point_b)) for r in taken)
    rival: dict[int, float] = {}
    for e in edges:
        if (block := int(copper.block_of[copper.site[e.sites[0]]])) in ways:
            rival[block] = rival.get(block, 0.0) + float(risk.chance[first + e.index])
    p = float(risk.chance[number])
    likely: list[tuple[float, Taken]] = []
    for pair, one in {frozenset((r.point_a, r.point_b)): r for r in taken if r.closed}.items():
        way = {b for b, _, _ in copper.tree.route(one.node_a, one.node_b)}
        at_most = sum(rival.get(b, 0.0) for b in way)
        if own not in way and asked[pair] < MOST_REPEATS and at_most >= RIVAL_SHARE * (1.0 - p):
            likely.append((at_most, one))
    likely.sort(key=lambda row: (-row[0], row[1].entry))
    for _, one in likely[:HINGES]:
        after = posterior.chance_after(one.point_a, one.point_b, True, sites, LEAST_BENCH)
        if 1.0 - after <= (1.0 - RIVAL_SHARE) * (1.0 - p):
            return one
    return None


def all_through(posterior: CopperBelief, risk: Risk, number: int) -> tuple[str, int]:
    """The one point that every open reading across a super-edge went through, and how many there are; ("", 0) where two of them share none or ohms speak.

    Such readings are no independent witnesses: if that point bites badly, they all lie alike.
    """
    opens = crossing_opens(posterior, risk, number)
    if not opens or len(_by_ohms(posterior, risk, number)) > 1:
        return "", 0
    common = set.intersection(*({one.point_a, one.point_b} for one in opens))
    return (min(common), len(opens)) if common else ("", 0)


def _by_ohms(posterior: CopperBelief, risk: Risk, number: int) -> set[frozenset[str]]:
    """The pairs of points whose ohms say that a super-edge with another way round is broken."""
    copper = posterior.copper
    v = int(risk.frame.view_of[number])
    edge = risk.frame.views[v].super_edges[number - risk.frame.first[v]]
    first = copper.site[edge.sites[0]]
    home = copper.tree.piece[copper.graph.sites[first].a]
    taken = [t for t in posterior.readings.get(home, ()) if t.ohm is not None and t.sense == (t.node_a, t.node_b)]
    if edge.bridge or not taken:
        return set()
    return {frozenset((t.point_a, t.point_b)) for t in taken if says_broken(copper.graph, edge.sites, t)}


def crossing_opens(posterior: CopperBelief, risk: Risk, number: int) -> list[Taken]:
    """Open readings whose only way crosses the super-edge (for a block: that cross the block)."""
    copper = posterior.copper
    block = block_of(posterior, risk, number)
    first = copper.graph.sites[copper.block_sites[block][0]]
    return [
        r
        for r in posterior.readings.get(copper.tree.piece[first.a], ())
        if not r.closed and any(b == block for b, _, _ in copper.tree.route(r.node_a, r.node_b))
    ]


def block_of(posterior: CopperBelief, risk: Risk, number: int) -> int:
    """The block of the copper that a super-edge lies in: a bridge of its own, or one with two ways round."""
    v = int(risk.frame.view_of[number])
    edge = risk.frame.views[v].super_edges[number - risk.frame.first[v]]
    return int(posterior.copper.block_of[posterior.copper.site[edge.sites[0]]])


def scarce_points(risk: Risk, number: int) -> frozenset[str]:
    """Points that have no stand-in on their side of the super-edge: the only one that sound copper ties to it, or beyond other doubt."""
    v = int(risk.frame.view_of[number])
    base, last = risk.frame.first[v], risk.frame.first[v] + len(risk.frame.views[v].super_edges)
    key = (id(risk.frame), number, risk.doubt[base:last].tobytes(), risk.broken[base:last].tobytes())
    hit = _SCARCE.get(key)
    if hit is None or hit[0] is not risk.frame:
        hit = (risk.frame, _scarce_points(risk, v, number))
        _SCARCE[key] = hit
        while len(_SCARCE) > 2000:
            _SCARCE.popitem(last=False)
    return hit[1]


_SCARCE: OrderedDict[tuple[object, ...], tuple[Frame, frozenset[str]]] = OrderedDict()


def _scarce_points(risk: Risk, v: int, number: int) -> frozenset[str]:
    view, base = risk.frame.views[v], risk.frame.first[v]
    edge = view.super_edges[number - base]
    groups = Groups()
    find = groups.find
    for e in view.super_edges:
        k = base + e.index
        if k != number and not risk.doubt[k] and not risk.broken[k] and not e.dead:
            groups.join(e.a, e.b)
    tied: dict[int, list[str]] = {find(edge.a): [], find(edge.b): []}
    few: set[str] = set()
    for node, ids in view.points.items():
        home = find(node)
        if home in tied:
            tied[home] += ids
        else:
            few.update(ids)
    for points in tied.values():
        if len(points) < 2:
            few.update(points)
    return frozenset(few)


def not_proven(
    graph: CopperGraph, posterior: CopperBelief, basis: Basis, *, risk: Risk | None = None
) -> tuple[str, ...]:
    """What is not proven if one stops now, one line for each stretch in plain words, the likeliest break first; empty when all is proven.

    Sites that no continuity reading can prove are listed with why not and what would prove them.
    """
    state = risk if risk is not None else risk_of(posterior)
    frame = state.frame
    lines: list[tuple[float, str]] = []
    for number in (state.doubt | state.broken).nonzero()[0].tolist():
        span = span_of(graph, state, number)
        why = next((frame.why_not[s] for s in span.sites if s in frame.why_not), None)
        if state.broken[number]:
            note = f"broken ({chance_words(span.p)})"
        elif why is not None:
            note = f"cannot be proven by continuity: {why[0]}; {why[1]}"
        elif span.p > 0.5:
            note = f"probably broken ({chance_words(span.p, 0)}), not confirmed"
        else:
            note = f"not proven, {chance_words(span.p)} chance of a break"
        lines.append((-span.p, f"net {span.net}, {span.words}: {note}"))
    return tuple(line for _, line in sorted(lines))
