"""What the looks of a case say: findings at places as evidence for copper, parts and bridges, dirt that makes tips read open, and contradictory looks.

A look is an entry of kind ``look``: with ``finding`` and ``seen`` at a place or part, or over one ``side`` of a work area (``area``). Looks weigh two
beliefs: that of the copper through the priors round the place (``looked_areas``) and the rates of readings on dirty lands (``with_dirt``), that of
the suspects as findings (``look_witnesses``). A finding speaks until its place was worked on; a look over a side until something was soldered.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import shapely

from coppermend.core.belief.model import Basis, Evidence, WorkArea
from coppermend.core.belief.suspects.looks import (
    BRIDGE,
    COPPER,
    DIRT,
    DIRTY_FALSE_OPEN,
    FINDINGS,
    OVER,
    PART,
    LookFinding,
    over_factor,
)
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.log.gate import GateItem, GateStatus
from coppermend.core.log.state import Act, CaseState, PointRef
from coppermend.services.points import point_now

LOOKED = "look:"
"""Ids of the areas that findings add begin so: they are no work areas that somebody marked."""
_MENDS = ("solder", "clean", "reseat", "press", "fit", "swap", "remove")
_DIRT_CLEANED = ("clean", "solder")
_CORNERS = 16


@dataclass(frozen=True, slots=True)
class Said:
    """A finding that a look names at a place: ``points`` ids of that day, ``net`` of the first, mm, ``side``; ``layer`` the side whose tracks it speaks of, ""
    both: a pin goes through the board, and nobody said from where it was looked at. ``reach_mm`` how far round the place it speaks, of tracks from the edge
    of the land on. ``why_not`` why it speaks no more ("" it does)."""

    entry: str
    at: int
    finding: str
    seen: bool
    part: str
    points: tuple[PointRef, ...]
    x_mm: float
    y_mm: float
    side: str
    why_not: str = ""
    layer: str = ""
    reach_mm: float = 0.0

    @property
    def kind(self) -> LookFinding:
        """The finding's row in the table."""
        return FINDINGS[self.finding]

    @property
    def place(self) -> str:
        """Where, in words: pins, else the part."""
        names = [f"{p.part}.{p.pin}" if p.part and p.pin else p.id for p in self.points]
        return " and ".join(names) or self.part


@dataclass(frozen=True, slots=True)
class Over:
    """A look over one side of a work area."""

    entry: str
    at: int
    area: str
    side: str
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Conflict:
    """Looks that contradict each other: entries, and in words what conflicts and what settles it."""

    entries: tuple[str, ...]
    words: str
    settles: str


def said_of(state: CaseState, graph: CopperGraph) -> tuple[Said, ...]:
    """Every finding of the case's looks in the order of the log, with whether it still speaks."""
    found = []
    for act in state.acts:
        if act.kind != "look" or act.finding not in FINDINGS:
            continue
        x, y, side = _place(act, graph)
        one = Said(act.entry, act.at, act.finding, act.seen is not False, act.part, act.points, x, y, act.side or side)
        through = bool(act.points) and act.points[0].id.endswith(("/leg", "/contact"))
        layer = act.side or ("" if through else side)
        edge = max((_edge_mm(graph, p) for p in act.points), default=0.0) if "run" in one.kind.kinds else 0.0
        found.append(replace(one, why_not=_worked_on(state, one), layer=layer, reach_mm=one.kind.reach_mm + edge))
    return tuple(found)


def overs_of(state: CaseState) -> tuple[Over, ...]:
    """The looks over whole sides, the last of each area and side."""
    known = {one.id for one in state.areas}
    last: dict[tuple[str, str], Over] = {}
    for act in state.acts:
        if act.kind == "look" and not act.finding and act.side and act.area in known:
            why = "something was soldered since" if state.last_soldering > act.at else ""
            last[act.area, act.side] = Over(act.entry, act.at, act.area, act.side, why)
    return tuple(last.values())


def _edge_mm(graph: CopperGraph, at: PointRef) -> float:
    """From a place to where the nearest track of its land begins; 0 where none does."""
    if "first track" not in graph.memo:
        near: dict[int, float] = {}
        for site in graph.sites:
            if site.kind is SiteKind.RUN and site.path:
                line = shapely.LineString(site.path) if len(site.path) > 1 else shapely.Point(site.path[0])
                for node in (site.a, site.b):
                    x, y, _ = graph.node_place[node]
                    near[node] = min(near.get(node, math.inf), float(line.distance(shapely.Point(x, y))))
        lands = {(pin.part, pin.number): [node for _, node in pin.lands] for pin in graph.pins}
        graph.memo["first track"] = (near, lands)
    near, lands = graph.memo["first track"]
    point = point_now(graph, at)
    nodes = lands.get((at.part, at.pin)) or ([point.node] if point is not None else [])
    return min((near[node] for node in nodes if node in near), default=0.0)


def _place(act: Act, graph: CopperGraph) -> tuple[float, float, str]:
    if not act.points:
        return math.nan, math.nan, ""
    now = [point_now(graph, one) for one in act.points]
    spots = [(p.x_mm, p.y_mm) if p is not None else (r.x_mm, r.y_mm) for p, r in zip(now, act.points, strict=True)]
    x, y = (sum(v) / len(spots) for v in zip(*spots, strict=True))
    return x, y, act.points[0].side


def _worked_on(state: CaseState, one: Said) -> str:
    """Why a finding speaks no more: work at its place since then, or ""."""
    kinds = _DIRT_CLEANED if one.kind.of == DIRT else _MENDS
    for act in state.acts:
        if act.at > one.at and act.kind in kinds and _same(state, act, one):
            return f"{act.kind} since then"
    for wire in state.wires:
        if wire.at > one.at and any(_same_point(end, p) for end in (wire.a, wire.b) for p in one.points):
            return "a patch wire was fitted there since then"
    return ""


def _same(state: CaseState, act: Act, one: Said) -> bool:
    if act.part and act.part == one.part:
        return True
    if any(_same_point(a, p) for a in act.points for p in one.points):
        return True
    if act.part and not act.points and any(p.part == act.part for p in one.points):
        return act.kind != "reseat" or one.finding == "bent leg"
    area = next((a for a in state.areas if a.id == act.area), None) if act.kind == "clean" and act.area else None
    return (
        area is not None
        and not math.isnan(one.x_mm)
        and _polygon(area.polygon).covers(shapely.Point(one.x_mm, one.y_mm))
    )


def _same_point(a: PointRef, b: PointRef) -> bool:
    if a.part and a.pin and b.part:
        return (a.part, a.pin) == (b.part, b.pin)
    return abs(a.x_mm - b.x_mm) < 0.05 and abs(a.y_mm - b.y_mm) < 0.05


def _polygon(corners: Sequence[tuple[float, float]]) -> shapely.Geometry:
    return shapely.make_valid(shapely.Polygon(corners))


# ---- the belief of the copper ----
def looked_areas(state: CaseState, areas: Sequence[WorkArea], graph: CopperGraph, basis: Basis) -> tuple[WorkArea, ...]:
    """The work areas with what looks make of their priors, and a small area of its own round each place where something was found.

    A look over a side lowers what would have shown there; a finding raises the kinds of sites it speaks of, at most to even odds, and one that was looked
    for and not seen lowers them by its own likelihood. The same look noted twice counts once; contradictory ones multiply. The areas themselves where
    nobody looked.
    """
    sides: dict[str, list[str]] = {}
    for over in overs_of(state):
        if not over.why_not:
            sides.setdefault(over.area, []).append(over.side)
    scaled = [replace(one, scale=_over_scale(sides[one.id])) if one.id in sides else one for one in areas]
    return (*scaled, *_found_areas(state, areas, graph, basis))


def _over_scale(sides: Iterable[str]) -> tuple[tuple[str, float], ...]:
    return tuple((f"{kind}@{side}", over_factor(detect)) for side in sorted(sides) for kind, detect in OVER.items())


def _found_areas(state: CaseState, areas: Sequence[WorkArea], graph: CopperGraph, basis: Basis) -> Iterable[WorkArea]:
    groups: dict[tuple[str, str], list[Said]] = {}
    rows = said_of(state, graph)
    again = repeated(rows)
    for one in rows:
        if not one.why_not and one.entry not in again and one.kind.of in (COPPER, BRIDGE) and not math.isnan(one.x_mm):
            groups.setdefault((one.finding, one.place), []).append(one)
    for mine in groups.values():
        ratio = math.prod(one.kind.ratio if one.seen else one.kind.ratio_unseen for one in mine)
        last = mine[-1]
        ring, name = _round(last), f"{LOOKED}{last.entry}"
        if ratio <= 1.0:
            scale = tuple(_named(kind, layer, ratio) for kind, layer in _kinds(last))
            if scale:
                yield WorkArea(
                    name, ring, "look", 1, f"no {last.finding} at {last.place}", scale=scale, rest=1.0, lowers=True
                )
            continue
        spot = shapely.Point(last.x_mm, last.y_mm)
        inside = [area for area in areas if len(area.polygon) >= 3 and _polygon(area.polygon).covers(spot)]
        own = {
            kind: 1.0 if inside else basis.prior_out / basis.prior_in.get(kind, basis.prior_out)
            for kind in last.kind.kinds
        }
        scale = tuple(_named(kind, layer, ratio * own[kind]) for kind, layer in _kinds(last))
        severity = max((area.severity for area in inside), default=1)
        yield WorkArea(name, ring, "look", severity, f"{last.finding} at {last.place}", scale=scale, rest=0.0)


def _round(one: Said) -> tuple[tuple[float, float], ...]:
    """The ring round the place of a look, mm."""
    disc = shapely.Point(one.x_mm, one.y_mm).buffer(max(one.reach_mm, _apart(one)), quad_segs=_CORNERS // 4)
    return tuple((float(x), float(y)) for x, y in disc.exterior.coords[:-1])


def repeated(rows: Sequence[Said]) -> frozenset[str]:
    """Entries that say once more what was said of the place before: the same eye on the same thing tells nothing new."""
    known: set[tuple[str, str, bool]] = set()
    found = set()
    for one in rows:
        if one.why_not:
            continue
        key = (one.finding, one.place, one.seen)
        if key in known:
            found.add(one.entry)
        known.add(key)
    return frozenset(found)


def _apart(one: Said) -> float:
    """Half the distance of the two points of a bridge, a little more: the area holds both."""
    if len(one.points) < 2:
        return 0.0
    return max(math.hypot(p.x_mm - one.x_mm, p.y_mm - one.y_mm) for p in one.points) + 0.3


def _kinds(one: Said) -> Iterable[tuple[str, str]]:
    """(site kind, its layer or "") that a finding speaks of: tracks of the side that was looked at, barrels and joints whatever their side."""
    for kind in one.kind.kinds:
        yield kind, one.layer if kind in ("run", "spoke") else ""


def _named(kind: str, layer: str, factor: float) -> tuple[str, float]:
    return (f"{kind}@{layer}" if layer else kind, factor)


def marked(areas: Iterable[WorkArea]) -> tuple[WorkArea, ...]:
    """The areas that somebody marked, without what looks made of them."""
    return tuple(replace(one, scale=(), rest=1.0) for one in areas if not one.id.startswith(LOOKED))


# ---- dirt ----
def with_dirt(state: CaseState, evidence: Sequence[Evidence]) -> tuple[Evidence, ...]:
    """The readings, those with a tip on a land that was dirty then with their own false open rate."""
    spells = tuple(dirty_spells(state))
    if not spells:
        return tuple(evidence)
    at = {one.entry: one for one in state.readings}
    return tuple(
        replace(one, false_open=DIRTY_FALSE_OPEN)
        if one.entry in at
        and any(
            first < at[one.entry].at < last and _same_point(p, place)
            for p in at[one.entry].points
            for place, first, last in spells
        )
        else one
        for one in evidence
    )


def dirty_spells(state: CaseState) -> Iterable[tuple[PointRef, float, float]]:
    """(place, after, before): from the last cleaning before a land was seen dirty to the next one after, as positions in the log."""
    for act in state.acts:
        if act.kind != "look" or act.finding != "dirty land" or act.seen is False:
            continue
        one = Said(act.entry, act.at, act.finding, True, act.part, act.points, *_ref_place(act))
        cleaned = [other.at for other in state.acts if other.kind in _DIRT_CLEANED and _same(state, other, one)]
        before = max((k for k in cleaned if k < act.at), default=-1)
        after = min((k for k in cleaned if k > act.at), default=math.inf)
        for point in act.points:
            yield point, before, after


def _ref_place(act: Act) -> tuple[float, float, str]:
    if not act.points:
        return math.nan, math.nan, ""
    n = len(act.points)
    return sum(p.x_mm for p in act.points) / n, sum(p.y_mm for p in act.points) / n, act.points[0].side


# ---- the gate ----
BRIDGES = "bridges"
"""The gate's item for bridges of solder that were seen: there only while one is unsettled."""


def gate_with_looks(state: CaseState, graph: CopperGraph, gate: GateStatus) -> GateStatus:
    """The gate with what looks found that power must not meet: a part the wrong way round and a bridge of solder, until it was worked on, a later look there
    did not see it, or, for a bridge, a reading since says that the two are apart. An override covers what was seen before it."""
    last: dict[tuple[str, str], Said] = {}
    for one in said_of(state, graph):
        if not one.why_not and (one.finding == "wrong way round" or one.kind.of == BRIDGE):
            last[one.finding, one.place] = one
    open_ones = [one for one in last.values() if one.seen and not _read_apart(state, one)]
    if not open_ones:
        return gate
    number = {item.entry: item.ref for item in state.timeline}
    turned = [f"{one.part} (no. {number.get(one.entry, 0)})" for one in open_ones if one.kind.of == PART]
    joined = [f"{one.place} (no. {number.get(one.entry, 0)})" for one in open_ones if one.kind.of == BRIDGE]
    items = list(gate.items)
    if turned:
        words = (
            f"Seen the wrong way round: {', '.join(turned)}. Turn it and note that it was fitted, or look again and note that it is not so: powered the "
            "wrong way round a part dies and can burn."
        )
        items = [GateItem(one.item, False, words, by_word=False) if one.item == "orientation" else one for one in items]
    if joined:
        words = f"A bridge of solder was seen between {'; '.join(joined)}. Take it away and note the work, or read the two apart."
        items.append(GateItem(BRIDGES, False, words, by_word=False))
    since = max(one.at for one in open_ones)
    over = [
        one.words or "no reason given"
        for one in state.gate
        if one.item == "override" and one.at > max(since, state.last_soldering)
    ]
    if gate.overridden and over:
        return replace(gate, items=tuple(items))
    return replace(gate, items=tuple(items), open=False, overridden="")


def _read_apart(state: CaseState, one: Said) -> bool:
    """Whether the two nets of a bridge that was seen have read open since."""
    nets = {p.net for p in one.points}
    return one.kind.of == BRIDGE and any(
        r.at > one.at
        and (r.kind == "open" or (r.kind == "ohms" and r.value is None))
        and {p.net for p in r.points} == nets
        for r in state.readings
    )


# ---- contradictions ----
EXCLUDED = {"missing part": ("wrong part", "wrong way round")}
"""Findings of one part that cannot both be: what is missing has neither type nor direction."""


def overruled(rows: Sequence[Said]) -> dict[str, Said]:
    """Of two findings on one part that cannot both be, the weaker one (its entry), with the one that stands for both: a part found at fault twice over by looks
    that contradict each other is not twice as surely at fault."""
    seen = [one for one in rows if one.seen and not one.why_not and one.kind.of == PART]
    found: dict[str, Said] = {}
    for one in seen:
        for other in seen:
            if one.part == other.part and other.finding in EXCLUDED.get(one.finding, ()):
                weak, strong = sorted((one, other), key=lambda x: x.kind.ratio)
                found[weak.entry] = strong
    return found


def look_conflicts(state: CaseState, graph: CopperGraph) -> tuple[Conflict, ...]:
    """Looks that say of one place that a thing is there and that it is not; and two findings on one part that cannot both be."""
    rows = [one for one in said_of(state, graph) if not one.why_not]
    number = {item.entry: item.ref for item in state.timeline}
    groups: dict[tuple[str, str], list[Said]] = {}
    for one in rows:
        groups.setdefault((one.finding, one.place), []).append(one)
    found = []
    for (finding, place), mine in groups.items():
        if len({one.seen for one in mine}) == 2:
            how = ", ".join(f"{'seen' if one.seen else 'not seen'} (no. {number.get(one.entry, 0)})" for one in mine)
            found.append(
                Conflict(tuple(one.entry for one in mine), f"{finding} at {place}: {how}.", FINDINGS[finding].settles)
            )
    seen = {(one.part, one.finding): one for one in rows if one.seen and one.kind.of == PART}
    for (part, finding), one in seen.items():
        for other in EXCLUDED.get(finding, ()):
            two = seen.get((part, other))
            if two is not None:
                words = f"{part} was seen to be missing (no. {number.get(one.entry, 0)}) and to be there ({other}, no. {number.get(two.entry, 0)})."
                found.append(
                    Conflict(
                        (one.entry, two.entry),
                        words,
                        f"Look at {part}'s place again and take the wrong one back: note CASE undo NUMBER.",
                    )
                )
    return tuple(found)
