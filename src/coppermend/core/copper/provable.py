"""What continuity readings can prove in one net: bridges, series chains, two-ways-round blocks, and dead ends.

A site can be proved by continuity when it is a bridge of the net and a tip can touch the net on both sides of it.
Bridges by one depth-first walk (R. E. Tarjan, "A note on finding the bridges of a graph", Inf. Proc. Letters 2 (1974) 160-161).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.geometry.groups import Groups


@dataclass(frozen=True, slots=True)
class SuperEdge:
    """Sites that continuity cannot tell apart: a series chain between two distinguishable nodes ``a`` and ``b``.

    ``links`` in order from a to b; a link is a tuple of site ids side by side (one id for a plain site, several for the spokes of a pour).
    The super-edge is broken when any link has *all* its sites broken: P = 1 - prod_link(1 - prod_site p).
    ``bridge``: the only way between its ends. ``provable``: a bridge with a reachable point on both sides. ``block``: index into
    ``NetView.blocks`` or -1. ``dead``: one side has no reachable point (a stub), so no reading ever speaks about it.
    """

    index: int
    links: tuple[tuple[str, ...], ...]
    a: int
    b: int
    bridge: bool
    provable: bool
    block: int
    dead: bool

    @property
    def sites(self) -> tuple[str, ...]:
        """All site ids, in order from a to b."""
        return tuple(site for link in self.links for site in link)


@dataclass(frozen=True, slots=True)
class NetView:
    """One net as continuity sees it.

    ``nets`` the copper nets it holds (more than one where a patch wire joins nets). ``terminals`` nodes with at least one reachable point,
    ``points`` node -> ids of its reachable points. ``super_edges`` cover every site of the net once. ``bridges`` indices of super-edges that are bridges;
    ``blocks`` groups of super-edge indices with two ways round. ``super_of`` site id -> index of its super-edge.
    ``why_not`` site id -> (why continuity cannot prove it, what would) for every site it cannot prove. ``pieces``: number of connected pieces with a reachable
    point (1 for sound copper; more after a cut).
    """

    net: int
    nets: tuple[int, ...]
    terminals: tuple[int, ...]
    points: Mapping[int, tuple[str, ...]]
    super_edges: tuple[SuperEdge, ...]
    bridges: tuple[int, ...]
    blocks: tuple[tuple[int, ...], ...]
    super_of: Mapping[str, int]
    why_not: Mapping[str, tuple[str, str]]
    pieces: int
    idle: frozenset[str] = frozenset()
    """Sites that carry nothing: beyond them there is no pin, only a free end or the bare far side of a hole. Their failure parts no two pins."""

    def provable_sites(self) -> tuple[str, ...]:
        """Ids of the sites that continuity can prove."""
        return tuple(site for site in self.super_of if site not in self.why_not)


@dataclass(slots=True)
class _Edge:
    """A link (one or more parallel sites) or a chain of links while the view is built."""

    a: int
    b: int
    links: tuple[tuple[str, ...], ...]

    def other(self, node: int) -> int:
        return self.b if node == self.a else self.a

    def from_node(self, node: int) -> tuple[tuple[str, ...], ...]:
        """The links read from ``node`` on."""
        return self.links if node == self.a else self.links[::-1]


TWO_WAYS = "there are two ways round, so a beep says nothing about this one"
NO_POINT = "no tip can touch the net beyond it"
SPOKES = "several spokes lie side by side, so a beep says nothing about a single one"
IDLE = "nothing hangs on it: beyond it there is no pin"
NO_POINTS_AT_ALL = "no tip can touch this net anywhere"


def joined_nets(graph: CopperGraph, net: int) -> tuple[int, ...]:
    """The nets that patch wires join to ``net``, itself included, ascending. Parts that are rung through join nothing here."""
    neighbours: dict[int, set[int]] = {}
    for site in graph.sites:
        if site.kind is SiteKind.WIRE:
            a, b = graph.node_net[site.a], graph.node_net[site.b]
            if a != b:
                neighbours.setdefault(a, set()).add(b)
                neighbours.setdefault(b, set()).add(a)
    seen, todo = {net}, [net]
    while todo:
        for near in neighbours.get(todo.pop(), ()):
            if near not in seen:
                seen.add(near)
                todo.append(near)
    return tuple(sorted(seen))


def net_view(graph: CopperGraph, net: int) -> NetView:
    """What continuity readings can prove in the net with index ``net`` of the graph.

    Works with the part states, patch wires and cuts the graph already holds. Through parts (series resistors and the like) are left out:
    a beep through one is no proof of copper. Linear in the number of sites.

    >>> from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind
    >>> def run(name, a, b):
    ...     return Site(name, SiteKind.RUN, 0, a, b, "c", ((0, 0), (1, 0)), (0.3,), 1.0, 0.3, 0.002)
    >>> tips = tuple(ProbePoint(f"U{n}.1/leg", n, 0, float(n), 0.0, "c") for n in (0, 2))
    >>> g = CopperGraph("x", ("N",), (0,) * 4, ((0, 0, "c"),) * 4, ("pin", "junction", "pin", "end"),
    ...                 (run("r1", 0, 1), run("r2", 1, 2), run("stub", 1, 3)), tips, ())
    >>> view = net_view(g, 0)
    >>> [(e.sites, e.provable) for e in view.super_edges]
    [(('r1', 'r2'), True), (('stub',), False)]
    >>> view.why_not["stub"][0]
    'nothing hangs on it: beyond it there is no pin'
    """
    nets = joined_nets(graph, net)
    members = set(nets)
    return _view(
        net,
        nets,
        [s for s in graph.sites if s.kind is not SiteKind.THROUGH and graph.node_net[s.a] in members],
        _reachable(graph, members),
        graph.node_kind,
    )


def all_views(graph: CopperGraph) -> dict[int, NetView]:
    """``net_view`` of every net that has sites, by net index, in one pass over the graph."""
    groups: dict[int, tuple[int, ...]] = {}
    sites: dict[int, list[Site]] = {}
    for site in graph.sites:
        if site.kind is not SiteKind.THROUGH:
            sites.setdefault(graph.node_net[site.a], []).append(site)
    points: dict[int, dict[int, list[str]]] = {}
    for point in graph.points:
        if point.reachable:
            points.setdefault(graph.node_net[point.node], {}).setdefault(point.node, []).append(point.id)
    wired = any(s.kind is SiteKind.WIRE and graph.node_net[s.a] != graph.node_net[s.b] for s in graph.sites)
    out: dict[int, NetView] = {}
    for net in sorted(sites):
        nets = groups.get(net) or (joined_nets(graph, net) if wired else (net,))
        groups.update(dict.fromkeys(nets, nets))
        tips = {node: tuple(ids) for n in nets for node, ids in points.get(n, {}).items()}
        out[net] = _view(net, nets, [s for n in nets for s in sites.get(n, ())], tips, graph.node_kind)
    return out


def _reachable(graph: CopperGraph, members: set[int]) -> dict[int, tuple[str, ...]]:
    found: dict[int, list[str]] = {}
    for point in graph.points:
        if point.reachable and graph.node_net[point.node] in members:
            found.setdefault(point.node, []).append(point.id)
    return {node: tuple(ids) for node, ids in found.items()}


def _view(
    net: int, nets: tuple[int, ...], sites: list[Site], points: dict[int, tuple[str, ...]], node_kind: tuple[str, ...]
) -> NetView:
    links = _bundle_spokes(sites)
    bridge, beyond, component = _bridges(links, points)
    total = _component_terminals(component, points)
    live = [i for i in range(len(links)) if _is_live(i, links, bridge, beyond, component, total)]
    live = _without_dead_blocks(live, links, points)
    dead = sorted(set(range(len(links))) - set(live))
    idle = _idle([links[i] for i in live], [links[i] for i in dead], points, node_kind)
    chains = _chains([links[i] for i in live], points) + _chains([links[i] for i in dead], points)
    live_count = len(_chains([links[i] for i in live], points))
    flag = {links[i].links[0]: bridge[i] for i in range(len(links))}
    block_of = _blocks(chains, flag)
    edges = tuple(
        SuperEdge(
            index=k,
            links=c.links,
            a=c.a,
            b=c.b,
            bridge=flag[c.links[0]],
            provable=k < live_count and flag[c.links[0]],
            block=block_of.get(k, -1),
            dead=k >= live_count,
        )
        for k, c in enumerate(chains)
    )
    blocks: dict[int, list[int]] = {}
    for k, b in sorted(block_of.items()):
        blocks.setdefault(b, []).append(k)
    return NetView(
        net=net,
        nets=nets,
        terminals=tuple(sorted(points)),
        points=points,
        super_edges=edges,
        bridges=tuple(e.index for e in edges if e.bridge),
        blocks=tuple(tuple(blocks[b]) for b in sorted(blocks)),
        super_of={site: e.index for e in edges for site in e.sites},
        why_not=_why_not(edges, bool(points), idle),
        pieces=_pieces(component, points),
        idle=idle,
    )


def _bundle_spokes(sites: list[Site]) -> list[_Edge]:
    """One edge per site, spokes between the same two nodes as one edge with one link; loops at one node stay (they prove nothing)."""
    out: list[_Edge] = []
    spokes: dict[tuple[int, int], list[str]] = {}
    for site in sites:
        if site.kind is SiteKind.SPOKE:
            spokes.setdefault((min(site.a, site.b), max(site.a, site.b)), []).append(site.id)
        else:
            out.append(_Edge(site.a, site.b, ((site.id,),)))
    out += [_Edge(a, b, (tuple(ids),)) for (a, b), ids in spokes.items()]
    return out


def _incidence(edges: Iterable[_Edge]) -> dict[int, list[int]]:
    at: dict[int, list[int]] = {}
    for i, edge in enumerate(edges):
        at.setdefault(edge.a, []).append(i)
        if edge.b != edge.a:
            at.setdefault(edge.b, []).append(i)
    return at


def _bridges(edges: list[_Edge], points: Mapping[int, tuple[str, ...]]) -> tuple[list[bool], list[int], dict[int, int]]:
    """Per edge: is it a bridge, and terminals below it in the walk; per node: the root of its piece. No recursion."""
    at = _incidence(edges)
    bridge = [False] * len(edges)
    beyond = [0] * len(edges)
    order: dict[int, int] = {}
    low: dict[int, int] = {}
    below: dict[int, int] = {}
    component: dict[int, int] = {}
    for root in at:
        if root in order:
            continue
        order[root] = low[root] = len(order)
        below[root] = 1 if root in points else 0
        component[root] = root
        stack = [(root, -1, iter(at[root]))]
        while stack:
            node, came_by, todo = stack[-1]
            for i in todo:
                if i == came_by or edges[i].a == edges[i].b:
                    continue
                near = edges[i].other(node)
                if near in order:
                    low[node] = min(low[node], order[near])
                    continue
                order[near] = low[near] = len(order)
                below[near] = 1 if near in points else 0
                component[near] = root
                stack.append((near, i, iter(at[near])))
                break
            else:
                stack.pop()
                if stack:
                    parent = stack[-1][0]
                    low[parent] = min(low[parent], low[node])
                    below[parent] += below[node]
                    if low[node] > order[parent]:
                        bridge[came_by] = True
                        beyond[came_by] = below[node]
    return bridge, beyond, component


def _component_terminals(component: Mapping[int, int], points: Mapping[int, tuple[str, ...]]) -> dict[int, int]:
    total: dict[int, int] = {}
    for node, root in component.items():
        total[root] = total.get(root, 0) + (node in points)
    return total


def _is_live(
    i: int,
    edges: list[_Edge],
    bridge: list[bool],
    beyond: list[int],
    component: Mapping[int, int],
    total: Mapping[int, int],
) -> bool:
    whole = total[component[edges[i].a]]
    if not bridge[i]:
        return whole > 0
    return 0 < beyond[i] < whole


def _without_dead_blocks(live: list[int], edges: list[_Edge], points: Mapping[int, tuple[str, ...]]) -> list[int]:
    """Drops live-looking blocks that dead bridges cut off: pieces of the live edges without any terminal, loops, and bare dead ends."""
    keep = list(live)
    while True:
        at: dict[int, int] = {}
        for i in keep:
            at[edges[i].a] = at.get(edges[i].a, 0) + 1
            at[edges[i].b] = at.get(edges[i].b, 0) + 1
        groups = Groups()
        find = groups.find
        for i in keep:
            groups.join(edges[i].a, edges[i].b)
        alive = {find(node) for node in at if node in points}
        after = [
            i
            for i in keep
            if find(edges[i].a) in alive
            and edges[i].a != edges[i].b
            and not (at[edges[i].a] == 1 and edges[i].a not in points)
            and not (at[edges[i].b] == 1 and edges[i].b not in points)
        ]
        if len(after) == len(keep):
            return after
        keep = after


def _chains(edges: list[_Edge], points: Mapping[int, tuple[str, ...]]) -> list[_Edge]:
    """Series chains between nodes that are terminals or have other than two edges."""
    at = _incidence(edges)
    loops = {node for node in at if any(edges[i].a == edges[i].b for i in at[node])}
    stop = {node for node, own in at.items() if node in points or len(own) != 2 or node in loops}
    done: set[int] = set()
    out: list[_Edge] = []

    def walk(start: int, first: int) -> None:
        links: tuple[tuple[str, ...], ...] = ()
        node, i = start, first
        while True:
            done.add(i)
            links += edges[i].from_node(node)
            node = edges[i].other(node)
            if node in stop or node == start:
                break
            i = next(k for k in at[node] if k != i)
        out.append(_Edge(start, node, links))

    for node in at:
        if node in stop:
            for i in at[node]:
                if i not in done:
                    walk(node, i)
    for i in range(len(edges)):
        if i not in done:
            walk(edges[i].a, i)
    return out


def _blocks(chains: list[_Edge], flag: Mapping[tuple[str, ...], bool]) -> dict[int, int]:
    """Chain index -> block number for chains that are no bridges (connected through each other's nodes)."""
    groups = Groups()
    find = groups.find
    round_about = [k for k, c in enumerate(chains) if not flag[c.links[0]]]
    for k in round_about:
        groups.join(chains[k].a, chains[k].b)
    number: dict[int, int] = {}
    return {k: number.setdefault(find(chains[k].a), len(number)) for k in round_about}


def _idle(
    live: list[_Edge], dead: list[_Edge], points: Mapping[int, tuple[str, ...]], node_kind: tuple[str, ...]
) -> frozenset[str]:
    """The sites of dead parts that hold no pin but the one they hang on."""
    held = {n for e in live for n in (e.a, e.b)} | set(points)
    groups = Groups()
    find = groups.find
    for edge in dead:
        if edge.a not in held and edge.b not in held:
            groups.join(edge.a, edge.b)
    pinned = {find(n) for e in dead for n in (e.a, e.b) if n not in held and node_kind[n] in ("pin", "socket")}
    return frozenset(
        site
        for e in dead
        if not any(find(n) in pinned for n in (e.a, e.b) if n not in held)
        for link in e.links
        for site in link
    )


def _why_not(edges: tuple[SuperEdge, ...], any_point: bool, idle: frozenset[str]) -> dict[str, tuple[str, str]]:
    out: dict[str, tuple[str, str]] = {}
    for edge in edges:
        for link in edge.links:
            for site in link:
                if not any_point:
                    out[site] = (NO_POINTS_AT_ALL, "look at it under magnification, or bare a spot of copper")
                elif site in idle:
                    out[site] = (IDLE, "nothing needs to")
                elif edge.dead:
                    out[site] = (NO_POINT, "take the part out that covers it, bare a spot of copper, or look")
                elif not edge.bridge:
                    out[site] = (
                        TWO_WAYS,
                        "compare milliohms with the expected value, lift one leg of the loop, or look",
                    )
                elif len(link) > 1:
                    out[site] = (SPOKES, "look at the spokes; together they are proved by a beep")
    return out


def _pieces(component: Mapping[int, int], points: Mapping[int, tuple[str, ...]]) -> int:
    roots = {component.get(node, node) for node in points}
    return len(roots)
