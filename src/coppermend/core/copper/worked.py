"""The graph as the board is now: part states, patch wires and cut tracks laid over the copper as fabricated, without building it again."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from coppermend.core.board.model import PartState
from coppermend.core.copper.laps import along_path, parted, track_place, with_laps
from coppermend.core.copper.model import CopperGraph, PinPlace, ProbePoint, Site, SiteKind
from coppermend.core.copper.pins import is_bare, lay_pin
from coppermend.core.copper.places import layer_words, mm_words
from coppermend.core.copper.squares import wire_ohm
from coppermend.core.findings import Finding, Place, Severity

WIRE_DIAMETER_MM = 0.2546
"""Patch wire where nothing is stated: 30 AWG, the wrap wire of most benches (diameter after ASTM B258)."""

SLACK = 1.2
"""A wire's length where none is stated: the straight distance times this. Common practice, no source."""

CUT_NEAR_MM = 2.0
"""A cut is looked for at most this far from the place that was named."""


@dataclass(frozen=True, slots=True)
class PatchWire:
    """A patch wire that was fitted. ``entry`` the id of its log entry; ends are point ids. Diameter and length None where not stated."""

    entry: str
    point_a: str
    point_b: str
    diameter_mm: float | None = None
    length_mm: float | None = None


@dataclass(frozen=True, slots=True)
class TrackCut:
    """A track that was cut: between two points (point ids), or at a place (``layer``, ``x_mm``, ``y_mm``)."""

    entry: str
    point_a: str = ""
    point_b: str = ""
    layer: str = ""
    x_mm: float | None = None
    y_mm: float | None = None


def worked(
    graph: CopperGraph,
    part_states: Mapping[str, PartState] | None = None,
    wires: Iterable[PatchWire] = (),
    cuts: Iterable[TrackCut] = (),
    sockets: Collection[str] | None = None,
) -> CopperGraph:
    """The base graph with part states, cut tracks and patch wires laid over it.

    ``part_states`` reference designator -> state, for parts that differ from the state as built; unknown parts are left out with a finding.
    ``sockets`` parts that have a socket on the board now (default: those built in sockets, and those whose state is socketed).
    A wire's end on a bared track parts the run there (``laps.py``).
    Node numbers of the copper stay; metal of parts that changed gets new ones. What could not be laid is a finding of the result (GRF-010 to GRF-012).
    """
    states = dict(part_states or {})
    found: list[Finding] = []
    known = dict(graph.part_states)
    for ref in [r for r in states if r not in known]:
        del states[ref]
        found.append(
            Finding(
                "GRF-010",
                Severity.WARNING,
                Place(thing=ref),
                f"{ref} is no part of this board; its state was left out.",
                "Check the designator.",
            )
        )
    out = _with_states(graph, states, sockets)
    for cut in cuts:
        out = _with_cut(out, cut, found)
    laid = tuple(wires)
    out = with_laps(out, [end for wire in laid for end in (wire.point_a, wire.point_b) if track_place(end)])
    out = _with_wires(out, laid, found)
    return replace(out, findings=graph.findings + tuple(found), memo={}) if out is not graph or found else graph


# part states --------------------------------------------------------------------------------------------------


def _with_states(graph: CopperGraph, states: Mapping[str, PartState], sockets: Collection[str] | None) -> CopperGraph:
    known, built = dict(graph.part_states), dict(graph.built_states)
    had = {ref for ref, state in built.items() if state is PartState.SOCKETED}
    has = had if sockets is None else set(sockets)
    changed = {ref for ref, state in states.items() if state is not known[ref]} | (has ^ had)
    changed &= set(known)
    if not changed:
        return graph
    now = {ref: states.get(ref, known[ref]) for ref in known}
    sites = [s for s in graph.sites if s.part not in changed and s.kind is not SiteKind.THROUGH]
    points = [_uncovered(p, changed, now, has) for p in graph.points if p.part not in changed]
    net, place, kind = list(graph.node_net), list(graph.node_place), list(graph.node_kind)
    for pin in graph.pins:
        if pin.part in changed:
            laid = lay_pin(pin, now[pin.part], pin.part in has, len(net))
            for what, of, where in laid.nodes:
                kind.append(what)
                net.append(of)
                place.append(where)
            sites += laid.sites
            points += laid.points
    out = replace(
        graph,
        node_net=tuple(net),
        node_place=tuple(place),
        node_kind=tuple(kind),
        sites=tuple(sites),
        points=_unique_points(points),
        part_states=tuple(now.items()),
        memo={},
    )
    return replace(out, sites=out.sites + through_sites(out), memo={})


def _unique_points(points: Sequence[ProbePoint]) -> tuple[ProbePoint, ...]:
    seen: dict[str, int] = {}
    out = []
    for point in points:
        seen[point.id] = seen.get(point.id, 0) + 1
        out.append(point if seen[point.id] == 1 else replace(point, id=f"{point.id}#{seen[point.id]}"))
    return tuple(out)


def _uncovered(point: ProbePoint, changed: set[str], now: Mapping[str, PartState], has: Collection[str]) -> ProbePoint:
    """A via or land under a part: reachable while nothing of the part is on the board."""
    for ref, need in point.needs:
        if ref in changed and need is PartState.NOT_FITTED and not point.part:
            bare = is_bare(now[ref], ref in has)
            return replace(point, reachable=bare, why_not="" if bare else f"under the body of {ref}")
    return point


def through_sites(graph: CopperGraph) -> tuple[Site, ...]:
    """Sites of the low-ohm parts that are fitted now, between the legs of their pins."""
    legs = {(s.part, s.pin): s.a for s in graph.sites if s.kind in (SiteKind.LEG, SiteKind.JOINT)}
    legs |= {(s.part, s.pin): s.a for s in graph.sites if s.kind is SiteKind.LEG}
    fitted = {ref for ref, state in graph.part_states if state not in (PartState.OUT, PartState.NOT_FITTED)}
    out = []
    for way in graph.through:
        a, b = legs.get((way.part, way.pin_a)), legs.get((way.part, way.pin_b))
        if way.part not in fitted or a is None or b is None:
            continue
        (xa, ya, _), (xb, yb, layer) = graph.node_place[a], graph.node_place[b]
        out.append(
            Site(
                f"through@{way.part}.{way.pin_a}-{way.pin_b}",
                SiteKind.THROUGH,
                graph.node_net[a],
                a,
                b,
                layer,
                ((xa, ya), (xb, yb)),
                (),
                0.0,
                0.0,
                way.ohm,
                way.part,
                "",
                f"{way.part} itself, {way.ohm:g} ohm from pin {way.pin_a} to pin {way.pin_b}",
            )
        )
    return tuple(out)


# points that are gone -----------------------------------------------------------------------------------------


def node_of(graph: CopperGraph, point_id: str) -> int | None:
    """The node a point id stands for under the graph's part states; None when there is no such metal.

    A point that the present part states do not have (``U1.8/leg`` while U1 is out) stands for what is left there: a wire soldered to it now
    hangs on the pin's land. ``U1.8`` alone stands for the first point that the state exposes.
    """
    points = graph._by_id("points", graph.points)
    if point_id in points:
        return int(points[point_id].node)
    name, _, what = point_id.partition("/")
    if "pins" not in graph.memo:
        graph.memo["pins"] = {pin.name: pin for pin in graph.pins}
        first: dict[str, int] = {}
        for point in graph.points:
            if point.part:
                first.setdefault(f"{point.part}.{point.pin}", point.node)
        graph.memo["first_point"] = first
    if not what and name in graph.memo["first_point"]:
        return int(graph.memo["first_point"][name])
    pin: PinPlace | None = graph.memo["pins"].get(name)
    if pin is not None and pin.lands:
        side = what[-1:] if what.startswith("joint-") else ("s" if pin.side == "c" else "c")
        node = pin.land(side)
        return node if node is not None else pin.lands[-1][1]
    return _land_at(graph, name, what)


def _land_at(graph: CopperGraph, name: str, side: str) -> int | None:
    """A land, via or pin's land named by its place, whatever it is called now."""
    kind, _, spot = name.partition("@")
    if kind not in ("via", "land") or spot.count(",") != 1:
        return None
    try:
        x, y = (int(v) / 1000.0 for v in spot.split(","))
    except ValueError:
        return None
    for pin in graph.pins:
        if math.dist((pin.x_mm, pin.y_mm), (x, y)) <= 0.002:
            node = pin.land(side[:1])
            if node is not None:
                return node
    for point in graph.points:
        if point.side == side[:1] and math.dist((point.x_mm, point.y_mm), (x, y)) <= 0.002:
            return point.node
    return None


# wires --------------------------------------------------------------------------------------------------------


def _with_wires(graph: CopperGraph, wires: tuple[PatchWire, ...], found: list[Finding]) -> CopperGraph:
    sites = []
    for wire in wires:
        a, b = node_of(graph, wire.point_a), node_of(graph, wire.point_b)
        if a is None or b is None:
            lost = wire.point_a if a is None else wire.point_b
            words = (
                f"The patch wire {wire.point_a} to {wire.point_b} was left out: there is no point {lost} on this board."
            )
            found.append(Finding("GRF-011", Severity.ERROR, Place(thing=lost), words, "Correct the point in the log."))
            continue
        (xa, ya, layer), (xb, yb, _) = graph.node_place[a], graph.node_place[b]
        length = wire.length_mm if wire.length_mm is not None else SLACK * math.dist((xa, ya), (xb, yb))
        diameter = wire.diameter_mm if wire.diameter_mm is not None else WIRE_DIAMETER_MM
        sites.append(
            Site(
                f"wire@{wire.entry}",
                SiteKind.WIRE,
                graph.node_net[a],
                a,
                b,
                layer,
                ((xa, ya), (xb, yb)),
                (diameter,),
                length,
                diameter,
                wire_ohm(diameter, length, graph.copper_c),
                words=f"the patch wire from {wire.point_a} to {wire.point_b}, {mm_words(length)} mm",
            )
        )
    return replace(graph, sites=graph.sites + tuple(sites), memo={}) if sites else graph


# cuts ---------------------------------------------------------------------------------------------------------


def _with_cut(graph: CopperGraph, cut: TrackCut, found: list[Finding]) -> CopperGraph:
    place = _cut_place(graph, cut)
    if place is None:
        found.append(
            Finding(
                "GRF-012",
                Severity.ERROR,
                Place(x_mm=cut.x_mm, y_mm=cut.y_mm, thing=" ".join(w for w in (cut.point_a, cut.point_b) if w) or None),
                "A cut track was left out: no track was found where the log places the cut.",
                "Name two points with a track between.",
            )
        )
        return graph
    site, at = place
    first, second, nodes = _halves(graph, site, at, cut.entry)
    sites = []
    for one in graph.sites:
        sites += [first, second] if one.id == site.id else [one]
    return replace(
        graph,
        node_net=(*graph.node_net, site.net, site.net),
        node_place=graph.node_place + nodes,
        node_kind=(*graph.node_kind, "end", "end"),
        sites=tuple(sites),
        memo={},
    )


def _halves(
    graph: CopperGraph, site: Site, at: float, entry: str
) -> tuple[Site, Site, tuple[tuple[float, float, str], tuple[float, float, str]]]:
    before, after, w0, w1 = parted(site.path, site.widths_mm, at)
    x, y = before[-1]
    n = graph.node_count
    share = at / site.length_mm if site.length_mm > 0 else 0.5
    words = f"{site.words}, {layer_words(site.layer)}" if not site.words else site.words
    first = replace(
        site,
        id=f"{site.id}|{entry}a",
        b=n,
        path=before,
        widths_mm=w0,
        length_mm=site.length_mm * share,
        resistance_ohm=site.resistance_ohm * share,
        words=f"the near part of {words}, up to the cut",
    )
    second = replace(
        site,
        id=f"{site.id}|{entry}b",
        a=n + 1,
        path=after,
        widths_mm=w1,
        length_mm=site.length_mm * (1 - share),
        resistance_ohm=site.resistance_ohm * (1 - share),
        words=f"the far part of {words}, from the cut on",
    )
    return first, second, ((x, y, site.layer), (x, y, site.layer))


def cut_ends(graph: CopperGraph, net: int) -> tuple[tuple[int, int], ...]:
    """The two nodes at each cut of a net: where what is left of the track ends on either side. They lie at one place and are joined by nothing."""
    return tuple(pair for pair in all_cut_ends(graph) if graph.node_net[pair[0]] == net)


def all_cut_ends(graph: CopperGraph) -> tuple[tuple[int, int], ...]:
    """The two nodes at each cut of the board, in the order the cuts were laid."""
    net, kind, place = graph.node_net, graph.node_kind, graph.node_place
    return tuple(
        (n, n + 1)
        for n in range(graph.node_count - 1)
        if kind[n] == kind[n + 1] == "end" and net[n] == net[n + 1] and place[n] == place[n + 1]
    )


def rejoined(graph: CopperGraph, net: int) -> CopperGraph:
    """The graph with the cuts of a net closed again (0 ohm): the copper as it was before them, under the same node numbers. The same graph without cuts."""
    closed = [
        Site(f"cut@{a}", SiteKind.RUN, net, a, b, graph.node_place[a][2], (), (), 0.0, 0.0, 0.0)
        for a, b in cut_ends(graph, net)
    ]
    return replace(graph, sites=(*graph.sites, *closed), memo={}) if closed else graph


def _cut_place(graph: CopperGraph, cut: TrackCut) -> tuple[Site, float] | None:
    """The run that was cut and how far along it: the run nearest to the place, or the longest on the way between the points, at its middle."""
    if cut.x_mm is not None and cut.y_mm is not None:
        spot = (cut.x_mm, cut.y_mm)
        hits = [
            (*along_path(site.path, spot), site)
            for site in graph.sites
            if site.kind is SiteKind.RUN and (not cut.layer or site.layer == cut.layer)
        ]
        best = min(hits, key=lambda h: (h[0], h[2].id), default=None)
        return (best[2], best[1]) if best is not None and best[0] <= CUT_NEAR_MM else None
    from coppermend.core.copper.path import sites_between

    way = sites_between(graph, cut.point_a, cut.point_b)
    runs = [site for site in way if site.kind is SiteKind.RUN]
    if not runs:
        return None
    longest = max(runs, key=lambda s: (s.length_mm, s.id))
    return longest, longest.length_mm / 2
