"""Patch wires lapped on a bared track: the place on the track, the run parted there, and where an earlier break lies once its run is parted.

A wire on bared copper makes a junction in mid-run: the run's site becomes two stretches that meet at a new node, and the place can be touched.
Stretches are called after the run and how far along it they reach in integer micrometres: ``run@s:0,0>9000,0|0-4000``.
Places are called ``track@x,y/side`` in integer micrometres of the copper files, as vias and lands are.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind

TRACK = "track@"
"""Ids of bared places begin so."""
NEAR_MM = 1.0
"""A place belongs to the track whose edge comes this near to it."""
AT_END_MM = 0.05
"""A place this near to a run's end is that end: nothing is parted."""

_PLACE = re.compile(r"track@(-?\d+(?:\.\d+)?),(-?\d+(?:\.\d+)?)/([cs])", re.ASCII)
_STRETCH = re.compile(r"(.+)\|(\d+)-(\d+)")

Path = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Lap:
    """A place on a run: the ``site``, how far along its middle line, and the place itself, all in mm."""

    site: Site
    along_mm: float
    x_mm: float
    y_mm: float


def track_id(x_mm: float, y_mm: float, side: str) -> str:
    """The id of a bared place.

    >>> track_id(31.2, 40.0, "s")
    'track@31200,40000/s'
    """
    return f"{TRACK}{round(x_mm * 1000)},{round(y_mm * 1000)}/{side}"


def track_place(text: str) -> tuple[float, float, str] | None:
    """(x_mm, y_mm, side) of a bared place's id; figures with a decimal point are mm. None for any other text.

    >>> track_place("track@31200,40000/s"), track_place("track@31.2,40.0/s"), track_place("U1.8")
    ((31.2, 40.0, 's'), (31.2, 40.0, 's'), None)
    """
    found = _PLACE.fullmatch(text.strip())
    if found is None:
        return None
    scale = 1.0 if "." in found[1] + found[2] else 1000.0
    return float(found[1]) / scale, float(found[2]) / scale, found[3]


def on_track(graph: CopperGraph, x_mm: float, y_mm: float, side: str) -> Lap | None:
    """The run on an outer layer that lies at a place; None where no track's edge comes within ``NEAR_MM``."""
    best: tuple[float, Site, float] | None = None
    for site in graph.sites:
        if site.kind is SiteKind.RUN and site.layer == side and len(site.path) > 1:
            apart, along = along_path(site.path, (x_mm, y_mm))
            if apart <= NEAR_MM + site.width_mm / 2 and (best is None or (apart, site.id) < (best[0], best[1].id)):
                best = (apart, site, along)
    if best is None:
        return None
    spot = parted(best[1].path, (), best[2])[0][-1]
    return Lap(best[1], best[2], *spot)


def bared_point(graph: CopperGraph, text: str) -> ProbePoint | None:
    """The point that a wire lapped on at a bared place will have, before it is there: on the middle line of the track. None when ``text``
    names no such place, or no track lies there. Its node is the nearer end of that run.
    """
    place = track_place(text)
    lap = on_track(graph, *place) if place else None
    if place is None or lap is None:
        return None
    x, y, side = place
    if math.dist((x, y), (lap.x_mm, lap.y_mm)) > max(lap.site.width_mm / 2, 0.01):
        x, y = lap.x_mm, lap.y_mm
    near_a = lap.along_mm <= path_mm(lap.site.path) / 2
    node = lap.site.a if near_a else lap.site.b
    return ProbePoint(track_id(x, y, side), node, lap.site.net, x, y, side, kind="track")


def with_laps(graph: CopperGraph, names: Iterable[str]) -> CopperGraph:
    """The graph with a node and a probe point at each bared place, its run parted there; places where no track lies are left out.

    Joins nothing and parts nothing: both stretches meet at the new node, and their resistances add up to the run's.
    """
    known = {point.id for point in graph.points}
    at: dict[str, list[tuple[Lap, str, str]]] = {}
    for name in dict.fromkeys(names):
        place = track_place(name)
        lap = on_track(graph, *place) if place and name not in known else None
        if place and lap:
            at.setdefault(lap.site.id, []).append((lap, name, place[2]))
    if not at:
        return graph
    sites: list[Site] = []
    points, net, where, kind = list(graph.points), list(graph.node_net), list(graph.node_place), list(graph.node_kind)
    for site in graph.sites:
        laps = sorted(at.get(site.id, ()), key=lambda one: (one[0].along_mm, one[1]))
        inside: list[tuple[float, int]] = []
        for lap, name, side in laps:
            node = _end_at(site, lap, inside)
            if node < 0:
                node = len(net)
                net.append(site.net)
                where.append((lap.x_mm, lap.y_mm, site.layer))
                kind.append("junction")
                inside.append((lap.along_mm, node))
            points.append(ProbePoint(name, node, site.net, lap.x_mm, lap.y_mm, side, kind="track"))
        sites += _stretches(site, inside)
    return replace(
        graph, sites=tuple(sites), points=tuple(points), node_net=tuple(net), node_place=tuple(where),
        node_kind=tuple(kind), memo={},
    )  # fmt: skip


def _end_at(site: Site, lap: Lap, inside: Sequence[tuple[float, int]]) -> int:
    """The node that is at this place already: an end of the run, or the place before; -1 for none."""
    if inside and lap.along_mm - inside[-1][0] <= AT_END_MM:
        return inside[-1][1]
    if lap.along_mm <= AT_END_MM:
        return site.a
    return site.b if path_mm(site.path) - lap.along_mm <= AT_END_MM else -1


def _stretches(site: Site, inside: Sequence[tuple[float, int]]) -> list[Site]:
    """A run parted at nodes along it, in order from its end a to its end b."""
    if not inside:
        return [site]
    whole, load = path_mm(site.path), _load(site.path, site.widths_mm) or 1.0
    rest, widths, node, begun = site.path, site.widths_mm, site.a, 0.0
    out = []
    for end, there in (*inside, (whole, site.b)):
        last = there == site.b and end == whole
        if last:
            path, own = rest, widths
        else:
            path, rest, own, widths = parted(rest, widths, end - begun)
        share = (end - begun) / whole if whole > 0 else 1.0
        out.append(
            replace(
                site,
                id=f"{site.id}|{round(begun * 1000)}-{round(end * 1000)}",
                a=node,
                b=there,
                path=path,
                widths_mm=own,
                width_mm=min(own, default=site.width_mm),
                length_mm=site.length_mm * share,
                resistance_ohm=site.resistance_ohm * (_load(path, own) / load if own else share),
                words=f"{site.words or site.id}, from {begun:.1f} to {end:.1f} mm along it",
            )
        )
        node, begun = there, end
    return out


def _load(path: Path, widths: Sequence[float]) -> float:
    """Squares along a path: what its resistance is proportional to."""
    steps = [math.dist(p, q) for p, q in itertools.pairwise(path)]
    return sum(step / width for step, width in zip(steps, widths, strict=False) if width > 0)


# paths ---------------------------------------------------------------------------------------------------------


def path_mm(path: Path) -> float:
    """Length of a path.

    >>> path_mm(((0, 0), (3, 4)))
    5.0
    """
    return sum(math.dist(p, q) for p, q in itertools.pairwise(path))


def along_path(path: Path, spot: tuple[float, float]) -> tuple[float, float]:
    """(distance, position along the path) of the nearest place on a path, mm.

    >>> along_path(((0, 0), (10, 0)), (4, 3))
    (3.0, 4.0)
    """
    best, far = (math.inf, 0.0), 0.0
    for p, q in itertools.pairwise(path):
        step = math.dist(p, q)
        t = ((spot[0] - p[0]) * (q[0] - p[0]) + (spot[1] - p[1]) * (q[1] - p[1])) / (step * step) if step > 0 else 0.0
        t = min(max(t, 0.0), 1.0)
        gap = math.dist(spot, (p[0] + (q[0] - p[0]) * t, p[1] + (q[1] - p[1]) * t))
        if gap < best[0]:
            best = (gap, far + t * step)
        far += step
    return best


def parted(path: Path, widths: tuple[float, ...], at: float) -> tuple[Path, Path, tuple[float, ...], tuple[float, ...]]:
    """A path and its widths parted ``at`` mm along it.

    >>> parted(((0, 0), (10, 0), (10, 5)), (0.3, 0.5), 12.0)
    (((0, 0), (10, 0), (10.0, 2.0)), ((10.0, 2.0), (10, 5)), (0.3, 0.5), (0.5,))
    """
    far = 0.0
    for k, (p, q) in enumerate(itertools.pairwise(path)):
        step = math.dist(p, q)
        if far + step >= at or k == len(path) - 2:
            t = min(max((at - far) / step, 0.0), 1.0) if step > 0 else 0.5
            spot = (p[0] + (q[0] - p[0]) * t, p[1] + (q[1] - p[1]) * t)
            return (*path[: k + 1], spot), (spot, *path[k + 1 :]), widths[: k + 1], widths[k:]
        far += step
    return path, path, widths, widths


# breaks on runs that were parted since -------------------------------------------------------------------------


def run_of(site_id: str) -> str:
    """The run that a stretch belongs to; any other id as it is.

    >>> run_of("run@s:0,0>9000,0|0-4000"), run_of("joint@U1.8")
    ('run@s:0,0>9000,0', 'joint@U1.8')
    """
    found = _STRETCH.fullmatch(site_id)
    return found[1] if found else site_id


def inside_of(site_id: str, outer: str) -> bool:
    """Whether one stretch is a part of another, or of the whole run.

    >>> inside_of("r|0-40", "r|0-90"), inside_of("r|0-40", "r"), inside_of("r|40-95", "r|0-90"), inside_of("r", "r")
    (True, True, False, True)
    """
    if site_id == outer:
        return True
    own, other = _STRETCH.fullmatch(site_id), _STRETCH.fullmatch(outer)
    if own is None:
        return False
    if other is None:
        return own[1] == outer
    return own[1] == other[1] and int(other[2]) <= int(own[2]) and int(own[3]) <= int(other[3])


def still_broken(graph: CopperGraph, broken: Collection[str]) -> frozenset[str]:
    """The sites of ``graph`` that a break keeps open which was known before wires parted its run: ``broken`` are site ids of that time.

    A wire lapped on the broken run itself was put across the break: the break lies on the wire's own side. A wire with both ends on the run: between
    them. One end elsewhere: the stretches towards the end of the run that hangs together with that place; all of them when neither or both do.
    """
    gone = [one for one in broken if one]
    now = {site.id for site in graph.sites}
    out = {one for one in gone if one in now}
    lost = [one for one in gone if one not in now]
    if not lost:
        return frozenset(out)
    parts: dict[str, list[Site]] = {}
    for site in graph.sites:
        for one in lost:
            if "|" in site.id and inside_of(site.id, one):
                parts.setdefault(one, []).append(site)
    for found in parts.values():
        out |= {site.id for site in _across(graph, found, out | {s.id for many in parts.values() for s in many})}
    return frozenset(out)


def _across(graph: CopperGraph, parts: Sequence[Site], without: Collection[str]) -> Sequence[Site]:
    """Those of a broken run's stretches, in order along it, among which the break lies."""
    laps = {site.b: k for k, site in enumerate(parts[:-1])}
    wire = next((s for s in graph.sites if s.kind is SiteKind.WIRE and (s.a in laps or s.b in laps)), None)
    if wire is None:
        return parts
    on, other = (wire.a, wire.b) if wire.a in laps else (wire.b, wire.a)
    order = {parts[0].a: 0, parts[-1].b: len(parts), **{node: k + 1 for node, k in laps.items()}}
    if other in order:
        first, last = sorted((order[on], order[other]))
        return parts[first:last] or parts
    root = _roots(graph, without, laps)
    near_a, near_b = root[other] == root[parts[0].a], root[other] == root[parts[-1].b]
    if near_a == near_b:
        return parts
    return parts[: order[on]] if near_a else parts[order[on] :]


def _roots(graph: CopperGraph, without: Collection[str], laps: Mapping[int, int]) -> list[int]:
    """Which nodes hang together without the broken stretches and the wires on them."""
    root = list(range(graph.node_count))

    def find(node: int) -> int:
        while root[node] != node:
            root[node] = root[root[node]]
            node = root[node]
        return node

    for site in graph.sites:
        wired = site.kind is SiteKind.WIRE and (site.a in laps or site.b in laps)
        if site.id not in without and site.kind is not SiteKind.THROUGH and not wired:
            root[find(site.a)] = find(site.b)
    return [find(node) for node in range(graph.node_count)]


def middle_stretches(graph: CopperGraph, broken: Collection[str]) -> frozenset[str]:
    """The sites of ``graph`` that hold the middles of broken runs: where a practice board's break is taken to lie once its run was parted."""
    now = {site.id for site in graph.sites}
    out = {one for one in broken if one in now}
    for one in set(broken) - now:
        parts = [site for site in graph.sites if site.id.startswith(f"{one}|")]
        left = sum(site.length_mm for site in parts) / 2
        for site in parts:
            if left <= site.length_mm:
                out.add(site.id)
                break
            left -= site.length_mm
    return frozenset(out)
