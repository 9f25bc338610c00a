"""Nets whose copper nobody has seen: a pin list says which pins belong together, not how the copper runs.

The model. One pin of the net is its root; a site of kind ``unknown`` stands for the copper that ties each other pin to it. Between two of
these pins anything may lie: tracks, vias, further pins. So a beep between two pins says that these two are tied and nothing else, and k pins need k - 1
beeps that tie them all together; no shorter list proves the net, because fewer pairs leave it in at least two groups. The planner
therefore reads each tie by itself (``roots_of``; a tree of two ends, one check). Where readings tie pins that are not tied to the root yet, the tree is
hung anew along these readings (``rehung``), so that a break which cuts off several pins is one break.
Every pin is taken as soldered through a plated hole, joints on both sides; the hole wall belongs to the unknown copper.
Decision: docs/decisions/0011-unknown-copper.md.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from coppermend.core.board.model import Board, Part, PartState, Pin
from coppermend.core.board.pinboard import copper_is_known, made_up_places
from coppermend.core.copper.draft import Draft
from coppermend.core.copper.model import CopperGraph, PinPlace, ProbePoint, Site, SiteKind, Through
from coppermend.core.copper.pinlands import pin_places
from coppermend.core.copper.pins import lay_pin
from coppermend.core.copper.places import Places
from coppermend.core.copper.worked import through_sites
from coppermend.core.findings import Finding, Place, Severity

UNKNOWN_OHM = 0.1
"""Resistance taken for copper that nobody has seen: 100 mm of 0.5 mm track of 35 um has 0.099 ohm (rho L / (w t)). An assumption."""
LARGE_NET_PINS = 24
"""Of a net with more pins than this (a supply) only the pins in a work area are put to the proof: to tie all 170 pins of a ground would be a day's work
that says little. Our choice; what is left out is said (GRF-003)."""
NEXT_PIN_MM = 2.6
"""Pins of different nets whose centres are this near are neighbours: one pitch of 2.54 mm."""
LAND_MM = 1.6
"""Diameter taken for a land nobody measured; the gap to the next pin at 2.54 mm is then 0.94 mm. Common practice, no source."""


def unknown_graph(board: Board) -> CopperGraph:
    """The graph of a board from a pin list, parts as built: a star of unknown copper per net, joints, contacts and legs as on any other board."""
    work = Draft(board, Places(board))
    rows: list[tuple[Part, Pin, tuple[tuple[str, int], ...]]] = []
    for part in board.parts:
        for pin in part.pins:
            if pin.net is not None:
                node = len(work.node_net)
                work.node_net.append(pin.net)
                work.node_kind.append("land")
                work.node_place.append((pin.x_mm, pin.y_mm, "s" if part.side == "c" else "c"))
                rows.append((part, pin, (("c", node), ("s", node))))
    work.pins = pin_places(work, rows)
    work.sites = [site for pins in _by_net(work.pins).values() for site in _star(pins)]
    states = {part.ref: part.state for part in board.parts}
    for place in work.pins:
        laid = lay_pin(place, states[place.part], states[place.part] is PartState.SOCKETED, len(work.node_net))
        for kind, net, at in laid.nodes:
            work.node_kind.append(kind)
            work.node_net.append(net)
            work.node_place.append(at)
        work.sites += laid.sites
        work.points += laid.points
    built = tuple(states.items())
    large = [net.name for net in board.nets if len(net.pins) > LARGE_NET_PINS]
    graph = CopperGraph(
        package_id=board.package_id,
        net_names=tuple(net.name for net in board.nets),
        node_net=tuple(work.node_net),
        node_place=tuple(work.node_place),
        node_kind=tuple(work.node_kind),
        sites=tuple(work.sites),
        points=_once(work.points),
        part_states=built,
        pins=tuple(work.pins),
        through=tuple(Through(p.ref, a, b, ohm) for p in board.parts for a, b, ohm in p.through_ohm),
        built_states=built,
        findings=(_large(large),) if large else (),
    )
    return replace(graph, sites=graph.sites + through_sites(graph), memo={})


def _large(names: Sequence[str]) -> Finding:
    return Finding(
        "GRF-003",
        Severity.NOTE,
        Place(),
        f"{', '.join(names[:6])}{' ...' if len(names) > 6 else ''}: of these large nets only the pins inside a work area are checked; how they hang together "
        "elsewhere is not asked.",
        "Check further pins of theirs yourself where it matters: any two points can be tapped.",
    )


def _once(points: Sequence[ProbePoint]) -> tuple[ProbePoint, ...]:
    """Points with ids of their own: two parts drawn at one place share the names of bare lands."""
    seen: dict[str, int] = {}
    out = []
    for point in points:
        seen[point.id] = seen.get(point.id, 0) + 1
        out.append(point if seen[point.id] == 1 else replace(point, id=f"{point.id}#{seen[point.id]}"))
    return tuple(out)


def _by_net(pins: Iterable[PinPlace]) -> dict[int, list[PinPlace]]:
    out: dict[int, list[PinPlace]] = {}
    for pin in pins:
        out.setdefault(pin.net, []).append(pin)
    return out


def _star(pins: Sequence[PinPlace]) -> list[Site]:
    root = _root(pins)
    return [tie(root, pin) for pin in pins if pin is not root]


def _root(pins: Sequence[PinPlace]) -> PinPlace:
    """The pin with the least sum of distances to the others; the first of those that are equal."""
    xy = np.array([(pin.x_mm, pin.y_mm) for pin in pins])
    far = np.hypot(xy[:, None, 0] - xy[None, :, 0], xy[:, None, 1] - xy[None, :, 1]).sum(axis=1)
    return pins[int(np.argmin(np.round(far, 3)))]


def tie(root: PinPlace, pin: PinPlace, suffix: str = "") -> Site:
    """The unknown copper that ties a pin to another."""
    return Site(
        f"unknown@{root.name}-{pin.name}{suffix}",
        SiteKind.UNKNOWN,
        pin.net,
        root.lands[0][1],
        pin.lands[0][1],
        "",
        ((root.x_mm, root.y_mm), (pin.x_mm, pin.y_mm)),
        (),
        0.0,
        0.0,
        UNKNOWN_OHM,
        words=f"the copper between {root.name} and {pin.name}, whose course is not known",
    )


def has_unknown(graph: CopperGraph) -> bool:
    """Whether the graph has copper whose course nobody knows."""
    if "unknown" not in graph.memo:
        graph.memo["unknown"] = any(site.kind is SiteKind.UNKNOWN for site in graph.sites)
    return bool(graph.memo["unknown"])


def roots_of(graph: CopperGraph) -> dict[int, frozenset[int]]:
    """Net -> the nodes of its root pin (land, and the metal of the part there), for every net with unknown copper."""
    roots: dict[int, set[int]] = {}
    count: dict[int, dict[int, int]] = {}
    for site in graph.sites:
        if site.kind is SiteKind.UNKNOWN:
            count.setdefault(site.net, {})
            count[site.net][site.a] = count[site.net].get(site.a, 0) + 1
    for net, ends in count.items():
        roots[net] = {max(ends, key=lambda node: (ends[node], -node))}
    names = {pin.lands[0][1]: pin.name for pin in graph.pins if pin.lands}
    root_pins = {names[node]: net for net, nodes in roots.items() for node in nodes if node in names}
    for point in graph.points:
        home = root_pins.get(f"{point.part}.{point.pin}")
        if home is not None:
            roots[home].add(point.node)
    return {net: frozenset(nodes) for net, nodes in roots.items()}


Pairs = Sequence[tuple[str, str]]


def rehung(
    graph: CopperGraph, tied: Pairs, later: Pairs = (), wired: Collection[str] = (), broken: Collection[str] = ()
) -> CopperGraph:
    """The graph with its unknown copper hung along what was read. Pairs are of pins (``U1.8``) that read closed, in the order of the log.

    ``tied``: read before any patch wire was on their net. Pins that these readings tie to each other, but not to the root, hang on the first of them, and
    that one on the root: a break that cut them off together is one break. ``later``: read with a wire on the net, ``wired`` the pins where wires end.
    A pin that reads tied to the root although its tie was found ``broken`` (site ids) and no wire ends at it hangs together by another way: a new tie
    (``#2``) in place of the broken one. The same object comes back when nothing changes.

    >>> from coppermend.core.board.pinboard import board_of_pins
    >>> from coppermend.core.board.pinlist import PinList, PinRow
    >>> board = board_of_pins(PinList("p", tuple(PinRow(f"U{n}", "1", "A") for n in (1, 2, 3, 4))), "id", "b")
    >>> made = rehung(unknown_graph(board), [("U3.1", "U4.1")])
    >>> [site.id for site in made.sites if site.kind is SiteKind.UNKNOWN]
    ['unknown@U2.1-U1.1', 'unknown@U2.1-U3.1', 'unknown@U3.1-U4.1']
    """
    if not has_unknown(graph) or not (tied or later):
        return graph
    pins = {pin.name: pin for pin in graph.pins if pin.lands}
    star = {site.b: site for site in graph.sites if site.kind is SiteKind.UNKNOWN}
    heads = {site.a for site in star.values()}
    groups = _Groups(pins, {name for name, pin in pins.items() if pin.lands[0][1] in heads})
    groups.join(tied)
    changed: dict[str, Site] = {}
    for name in groups.named(tied):
        site, head = star.get(pins[name].lands[0][1]), groups.head(name)
        if site is not None and head != name and head not in groups.roots:
            changed[site.id] = tie(pins[head], pins[name])
    groups.join(later)
    for name in groups.named(later):
        site = star.get(pins[name].lands[0][1])
        if site is not None and site.id in broken and name not in wired and groups.head(name) in groups.roots:
            changed[site.id] = replace(site, id=f"{site.id}#2", words=f"{site.words}, another way than the broken one")
    if not changed:
        return graph
    return replace(graph, sites=tuple(changed.get(site.id, site) for site in graph.sites), memo={})


class _Groups:
    """Pins that readings tie together; the head of a group is its root pin, else its first pin in the order of the board."""

    def __init__(self, pins: Mapping[str, PinPlace], roots: set[str]) -> None:
        self.pins = pins
        self.roots = roots
        self._up = {name: name for name in pins}
        self._order = {name: k for k, name in enumerate(pins)}

    def head(self, name: str) -> str:
        """The head of a pin's group."""
        while self._up[name] != name:
            name = self._up[name]
        return name

    def named(self, pairs: Pairs) -> list[str]:
        """The pins of the pairs that this board has, in the order of the board."""
        return sorted({name for pair in pairs for name in pair if name in self.pins}, key=self._order.__getitem__)

    def join(self, pairs: Pairs) -> None:
        """Tie the pins of pairs of one net."""
        for a, b in pairs:
            if a in self.pins and b in self.pins and self.pins[a].net == self.pins[b].net:
                ends = {self.head(a), self.head(b)}
                first, *rest = sorted(ends, key=lambda name: (name not in self.roots, self._order[name]))
                for other in rest:
                    self._up[other] = first


def next_pins(
    board: Board, graph: CopperGraph, wanted: Iterable[tuple[float, float]]
) -> list[tuple[PinPlace, PinPlace, float]]:
    """Pairs of pins of different nets next to each other with one of them at a wanted place (mm): (pin, pin, gap in mm between lands of usual size).

    Pins of one part count whether its place is made up or not; pins of two parts only where both places are known.
    """
    places = [pin for pin in graph.pins if pin.lands]
    spots = list(wanted)
    if copper_is_known(board) or not places or not spots:
        return []
    guess = made_up_places(board)
    xy = np.array([(pin.x_mm, pin.y_mm) for pin in places])
    near = cKDTree(np.array(spots)).query(xy)[0] <= 1e-6
    out = []
    for i, j in sorted(cKDTree(xy).query_pairs(NEXT_PIN_MM)):
        a, b = places[i], places[j]
        apart = math.dist(xy[i], xy[j])
        strangers = a.part != b.part and (a.part in guess or b.part in guess)
        if (near[i] or near[j]) and a.net != b.net and not strangers:
            out.append((a, b, max(0.0, apart - LAND_MM)))
    return out
