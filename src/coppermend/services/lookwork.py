"""Looking as a piece of work: the tour over each work area and side, its gain, a look noted, and what looks say of the suspects."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import shapely

from coppermend.core.belief.engine import prior_of
from coppermend.core.belief.suspects.looks import (
    BRIDGE,
    COPPER,
    FINDINGS,
    OVER,
    OVER_BRIDGE,
    PART,
    log_ratio,
    site_factor,
)
from coppermend.core.belief.suspects.posterior import Witness
from coppermend.core.belief.suspects.witness import Say
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.findings import refuse
from coppermend.core.log.kinds import LOOK_FINDINGS
from coppermend.core.log.state import Area
from coppermend.core.planning.suspects_look import Stop, Visible, look_tour, side_bits
from coppermend.core.planning.suspects_next import SideShows
from coppermend.services.bench import posterior_of
from coppermend.services.bind import Binding, bind
from coppermend.services.entries import write
from coppermend.services.looks import Said, look_conflicts, marked, overruled, overs_of, repeated, said_of
from coppermend.services.notes import Noted, noted
from coppermend.services.points import known_part, point_payload, resolve
from coppermend.services.powered import PoweredBoard
from coppermend.services.workshop import Workshop

SIDES = {"c": "component side", "s": "solder side"}
CAUTION = (
    "Power off, unplugged, before anybody bends over the board; a lens or microscope and light from the side. Old flux, dust and leaked electrolyte: gloves, "
    "and do not breathe it. Keep away from mains and picture-tube parts: leave them to people qualified for it and follow your local rules."
)


@dataclass(frozen=True, slots=True)
class SideLook:
    """A look over one side of a work area: modelled seconds, bits it is expected to tell, whether it was done, the tour."""

    area: str
    label: str
    side: str
    seconds: float
    gain_bits: float
    looked: bool
    stops: tuple[Stop, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {
            "area": self.area,
            "label": self.label,
            "side": self.side,
            "side_words": SIDES[self.side],
            "seconds": self.seconds,
            "gain_bits": round(self.gain_bits, 4),
            "looked": self.looked,
            "stops": [
                {**asdict(one), "box": [round(v, 2) for v in one.box], "expected": round(one.expected, 4)}
                for one in self.stops
            ],
        }


def look_sides(binding: Binding) -> tuple[SideLook, ...]:
    """The two sides of every work area that hold something to see, in the order of the log; best looked at first by bits a second where it matters to others."""
    key = "look sides"
    if key not in binding.memo:
        binding.memo[key] = tuple(_sides(binding))
    found: tuple[SideLook, ...] = binding.memo[key]
    return found


def _sides(binding: Binding) -> Sequence[SideLook]:
    graph = binding.graph
    found: list[SideLook] = []
    done = {(one.area, one.side) for one in overs_of(binding.state) if not one.why_not}
    posterior = posterior_of(binding) if binding.state.areas else None
    for area in binding.state.areas:
        inside = _sites_in(graph, area)
        shape = shapely.make_valid(shapely.Polygon(area.polygon))
        for side in SIDES:
            things = [
                Visible(
                    str(s.kind),
                    *_middle(s, shape),
                    posterior.p(s.id) if posterior else 0.0,
                    f"{s.part}.{s.pin}" if s.part else "",
                )
                for s in inside
                if str(s.kind) in OVER and s.layer == side
            ]
            things += [Visible("part", x, y, 0.0, ref) for ref, x, y in _parts_in(binding, area, side)]
            if not things:
                continue
            gain = side_bits([(t.kind, t.p) for t in things])
            seconds = binding.costs.look_s + (binding.costs.turn_s if side == "s" else 0.0)
            label = area.label or area.part or f"area {len(found) // 2 + 1}"
            found.append(SideLook(area.id, label, side, seconds, gain, (area.id, side) in done, look_tour(things)))
    return found


def _sites_in(graph: CopperGraph, area: Area) -> list[Site]:
    shape = shapely.make_valid(shapely.Polygon(area.polygon))
    shapely.prepare(shape)
    return [s for s in graph.sites if s.path and s.kind is not SiteKind.WIRE and shape.intersects(_line(s))]


def _ids_in(binding: Binding, area: Area) -> frozenset[str]:
    """The ids of the sites in an area, kept as long as the copper stays."""
    key = ("sites in", id(binding.graph), area.id, area.polygon)
    if key not in binding.kept:
        binding.kept[key] = (binding.graph, frozenset(s.id for s in _sites_in(binding.graph, area)))
    found: frozenset[str] = binding.kept[key][1]
    return found


def _line(site: Site) -> shapely.Geometry:
    return shapely.LineString(site.path) if len(site.path) > 1 else shapely.Point(site.path[0])


def _middle(site: Site, shape: shapely.Geometry) -> tuple[float, float]:
    """The middle of the part of a site that lies in the area; of one without length (a spoke can be one) its place."""
    line = _line(site)
    inside = line.intersection(shape)
    middle = (
        shapely.get_point(shapely.shortest_line(line, shape), 0) if inside.is_empty else inside.representative_point()
    )
    return float(middle.x), float(middle.y)


def _parts_in(binding: Binding, area: Area, side: str) -> list[tuple[str, float, float]]:
    shape = shapely.make_valid(shapely.Polygon(area.polygon))
    rows = []
    for part in binding.board.parts:
        if part.side != side or len(part.outline) < 3:
            continue
        middle = shapely.Polygon(part.outline).centroid
        if shape.covers(middle):
            rows.append((part.ref, float(middle.x), float(middle.y)))
    return rows


def look_first(binding: Binding, gain_bits: float, seconds: float) -> str:
    """What a look over a side would tell against the step in hand, in words; "" where every side was looked over or it would tell nothing."""
    left = [one for one in look_sides(binding) if not one.looked and one.gain_bits > 0.01]
    if not left:
        return ""
    best = max(left, key=lambda one: one.gain_bits / one.seconds)
    mine = f"this step {gain_bits:.2f} bits in {seconds:.0f} s, " if seconds > 0 else ""
    better = seconds <= 0 or best.gain_bits / best.seconds > gain_bits / seconds
    return (
        f"A look over {best.label}, {SIDES[best.side]}, is expected to tell {best.gain_bits:.2f} bits in {best.seconds:.0f} s, {mine}both modelled: "
        f"{'look first' if better else 'the step first'} (coppermend look; the page: Look over the board)."
    )


# ---- noting ----
def note_look(
    workshop: Workshop,
    case: str,
    *,
    points: Sequence[str] = (),
    part: str = "",
    finding: str = "",
    seen: bool = True,
    area: str = "",
    side: str = "",
    clear: bool = True,
    words: str = "",
    entry_id: str | None = None,
) -> Noted:
    """Note a look: a ``finding`` at ``points`` or on a ``part``, seen or looked for and not seen; or, without one, a look over one ``side`` of an ``area``.

    Refusals LOK-001 (no such finding), LOK-002 (where?), LOK-003 (area or side). ``clear`` of a look over a side: nothing more was to be seen.
    """
    binding = bind(workshop, case)
    if not finding:
        return noted(
            write(
                workshop,
                case,
                "look",
                {"area": _area(binding, area), "side": _side(side), "sound": clear, "words": words},
                entry_id=entry_id,
            )
        )
    row = FINDINGS.get(finding.strip().lower())
    if row is None:
        raise refuse(
            "LOK-001", f"{finding[:40]!r} is nothing that a look notes.", f"Say one of: {', '.join(LOOK_FINDINGS)}."
        )
    payload: dict[str, Any] = {"finding": row.name, "seen": seen, "words": words}
    if side:
        payload["side"] = _side(side)
    if row.of == PART:
        if not part and points:
            part = resolve(binding.graph, points[0]).part
        if not part:
            raise refuse("LOK-002", f"Which part: {row.name}?", f"Name it: look CASE --part U5 --seen '{row.name}'.")
        payload["part"] = known_part(binding.graph, part)
    else:
        least = 2 if row.of == BRIDGE else 1
        if not least <= len(points) <= 8:
            many = "two points, one on each net" if row.of == BRIDGE else "its point"
            raise refuse(
                "LOK-002",
                f"Where: {row.name}? Found {len(points)} points.",
                f"Name {many}: look CASE --at U1.3 --seen '{row.name}'.",
            )
        found = [resolve(binding.graph, one) for one in points]
        if row.of == BRIDGE and len({one.net for one in found}) < 2:
            raise refuse(
                "LOK-002",
                f"{points[0]} and {points[1]} are on one net: solder between them joins nothing that belongs apart.",
                "Name a point on each of the two nets.",
            )
        payload["points"] = [point_payload(binding.graph, one) for one in found]
    return noted(write(workshop, case, "look", payload, entry_id=entry_id))


def _side(text: str) -> str:
    if text.strip().lower() not in SIDES:
        raise refuse("LOK-003", f"{text!r} is no side.", "Say c (component side) or s (solder side).")
    return text.strip().lower()


def _area(binding: Binding, text: str) -> str:
    areas = binding.state.areas
    if not areas:
        raise refuse(
            "LOK-003",
            "No work area is marked: there is nothing to look over.",
            "Mark one: coppermend area add CASE --part U1.",
        )
    if not text and len(areas) == 1:
        return areas[0].id
    wanted = text.strip().lower()
    for k, one in enumerate(areas, 1):
        if wanted and wanted in (one.id.lower(), str(k), one.label.lower(), one.part.lower()):
            return one.id
    names = ", ".join(f"{k} ({one.label or one.part or 'drawn'})" for k, one in enumerate(areas, 1))
    raise refuse("LOK-003", f"Which work area? Found {text!r}.", f"Say its number: {names}.")


# ---- the suspects ----
@dataclass(frozen=True, slots=True)
class LooksRead:
    """What the looks say of the suspects: findings, and (entry, words) of those that tell nothing there or speak no more."""

    found: tuple[Witness, ...]
    unused: tuple[tuple[str, str], ...]
    expired: tuple[tuple[str, str], ...]


def looks_read(binding: Binding, made: PoweredBoard) -> LooksRead:
    """The looks of a case as findings over its fault sets."""
    found: list[Witness] = []
    unused: list[tuple[str, str]] = []
    expired: list[tuple[str, str]] = []
    spans = _spans(binding, made)
    rows = said_of(binding.state, binding.graph)
    weaker, again = overruled(rows), repeated(rows)
    for one in rows:
        words = f"{one.finding} {'seen' if one.seen else 'looked for and not seen'} at {one.place}"
        if one.why_not:
            expired.append((one.entry, f"{words}: {one.why_not}"))
            continue
        if one.entry in again:
            unused.append((one.entry, f"{words}: noted before; the same look counts once"))
            continue
        if one.entry in weaker:
            unused.append(
                (one.entry, f"{words}: {weaker[one.entry].finding} was seen there too, and only one of the two can be")
            )
            continue
        witness = _witness(binding, made, spans, one, words)
        if witness is None:
            unused.append((one.entry, f"{words}: {_why_unused(one)}"))
        else:
            found.append(witness)
    for over in overs_of(binding.state):
        area = next(a for a in binding.state.areas if a.id == over.area)
        words = f"looked over {area.label or area.part or 'the work area'}, {SIDES[over.side]}"
        if over.why_not:
            expired.append((over.entry, f"{words}: {over.why_not}"))
            continue
        says = (*_over_says(spans, binding, area, over.side), *_bridge_says(made, area, over.side))
        if says:
            found.append(Witness(says, 0.0, words, over.entry))
    return LooksRead(tuple(found), tuple(unused), tuple(expired))


def _why_unused(one: Said) -> str:
    if one.kind.of == "dirt":
        return "dirt is no fault; readings there are trusted less until it is cleaned"
    if one.kind.of == BRIDGE:
        return "no bridge is reckoned with there; check that the two are apart"
    return "no place that the belief holds"


Spans = tuple[tuple[tuple[str, ...], tuple[tuple[Site, float], ...]], ...]


def _spans(binding: Binding, made: PoweredBoard) -> Spans:
    """Of every span cause its sites, each with its share of the span's chance."""
    key = "look spans"
    if key not in binding.memo:
        graph = binding.graph
        priors = prior_of(graph, marked(binding.areas), binding.basis).tolist()
        at = {s.id: (s, p) for s, p in zip(graph.sites, priors, strict=True)}
        rows = []
        for cause in made.field.causes:
            mine = [at[one] for one in cause.sites if one in at] if cause.kind == "span" else []
            total = sum(p for _, p in mine)
            if total > 0:
                rows.append((cause.sites, tuple((s, p / total) for s, p in mine)))
        binding.memo[key] = tuple(rows)
    found: Spans = binding.memo[key]
    return found


def _near(one: Said, site: Site) -> bool:
    kind = one.kind
    if str(site.kind) not in kind.kinds:
        return False
    if site.part:
        return any((p.part, p.pin) == (site.part, site.pin) for p in one.points)
    if site.kind in (SiteKind.RUN, SiteKind.SPOKE) and one.layer and site.layer != one.layer:
        return False
    return bool(site.path) and any(
        _line(site).distance(shapely.Point(p.x_mm, p.y_mm)) <= one.reach_mm for p in one.points
    )


def _witness(binding: Binding, made: PoweredBoard, spans: Spans, one: Said, words: str) -> Witness | None:
    kind = one.kind
    ratio = kind.ratio if one.seen and kind.false else kind.ratio_unseen if not one.seen else 1.0
    if kind.of == PART:
        known = any(cause.part == one.part for cause in made.field.causes)
        return _said((("part", one.part, ratio),), words, one.entry) if known else None
    if kind.of == BRIDGE:
        nets = sorted({p.net for p in one.points})[:2]
        name = " ".join(nets)
        there = any(
            c.key[0] == "short"
            and {made.behaviour.shorts[int(c.key[2])].net_a, made.behaviour.shorts[int(c.key[2])].net_b} == set(nets)
            for c in made.field.causes
        )
        return _said((("short", name, ratio),), words, one.entry) if there else None
    if kind.of != COPPER:
        return None
    rows = []
    for sites, shares in spans:
        share = sum(part for site, part in shares if _near(one, site))
        if share > 0:
            rows.append(("site", sites[0], site_factor(kind, one.seen, min(1.0, share))))
    return _said(tuple(rows), words, one.entry) if rows else None


def _said(rows: Sequence[tuple[str, str, float]], words: str, entry: str) -> Witness:
    """Ratios against sets without the fault as a finding: the likeliest is log 0."""
    top = max(1.0, *(ratio for _, _, ratio in rows))
    says: tuple[Say, ...] = tuple((kind, name, log_ratio(ratio / top)) for kind, name, ratio in rows)
    return Witness(says, log_ratio(1.0 / top), words, entry)


def _over_says(spans: Spans, binding: Binding, area: Area, side: str) -> list[Say]:
    inside = {s.id for s in _sites_in(binding.graph, area)}
    rows: list[Say] = []
    for sites, shares in spans:
        shows = sum(part * OVER.get(str(s.kind), 0.0) for s, part in shares if s.id in inside and s.layer == side)
        if shows > 0:
            rows.append(("site", sites[0], log_ratio(1.0 - shows)))
    return rows


def _bridge_says(made: PoweredBoard, area: Area, side: str) -> list[Say]:
    if side != "s":
        return []
    shape = shapely.make_valid(shapely.Polygon(area.polygon))
    rows: list[Say] = []
    for cause in made.field.causes:
        if cause.key[0] == "short":
            short = made.behaviour.shorts[int(cause.key[2])]
            points = made.trees[short.net_a].points.get(short.node_a, ())
            if any(shape.covers(shapely.Point(p.x_mm, p.y_mm)) for p in points):
                rows.append(("short", f"{short.net_a} {short.net_b}", log_ratio(1.0 - OVER_BRIDGE)))
    return rows


def sides_to_look(binding: Binding, made: PoweredBoard) -> tuple[SideShows, ...]:
    """The sides that were not looked over since the last soldering, with what would show there."""
    done = {(one.area, one.side) for one in overs_of(binding.state) if not one.why_not}
    number = {cause.sites: k for k, cause in enumerate(made.field.causes) if cause.kind == "span"}
    found = []
    for area in binding.state.areas:
        sides = [side for side in SIDES if (area.id, side) not in done]
        inside = _ids_in(binding, area) if sides else frozenset()
        for side in sides:
            shows = []
            for sites, shares in _spans(binding, made):
                d = sum(part * OVER.get(str(s.kind), 0.0) for s, part in shares if s.id in inside and s.layer == side)
                if d > 0:
                    shows.append((number[sites], d))
            shows += _bridges_shown(made, area, side)
            if shows:
                seconds = binding.costs.look_s + (binding.costs.turn_s if side == "s" else 0.0)
                found.append(
                    SideShows(area.id, area.label or area.part or "the work area", side, seconds, tuple(shows))
                )
    return tuple(found)


def _bridges_shown(made: PoweredBoard, area: Area, side: str) -> list[tuple[int, float]]:
    named = {name for _, name, _ in _bridge_says(made, area, side)}
    rows = []
    for k, cause in enumerate(made.field.causes):
        if cause.key[0] == "short":
            short = made.behaviour.shorts[int(cause.key[2])]
            if f"{short.net_a} {short.net_b}" in named:
                rows.append((k, OVER_BRIDGE))
    return rows


# ---- the page and the command ----
def look_view(workshop: Workshop, case: str) -> dict[str, Any]:
    """The looks of a case as plain JSON values: the sides with their tours, what was noted and whether it still speaks, contradictions, the findings
    that can be noted, and what a map draws (outline and parts in mm, sides a photo is laid on)."""
    binding = bind(workshop, case)
    number = {item.entry: item.ref for item in binding.state.timeline}
    said = said_of(binding.state, binding.graph)
    return {
        "sides": [one.as_dict() for one in look_sides(binding)],
        "said": [
            {
                "entry": one.entry,
                "ref": number.get(one.entry, 0),
                "finding": one.finding,
                "seen": one.seen,
                "place": one.place,
                "side": one.side,
                "x_mm": None if one.x_mm != one.x_mm else round(one.x_mm, 2),
                "y_mm": None if one.y_mm != one.y_mm else round(one.y_mm, 2),
                "why_not": one.why_not,
                "settles": one.kind.settles if one.seen and not one.why_not else "",
            }
            for one in said
        ],
        "conflicts": [asdict(one) for one in look_conflicts(binding.state, binding.graph)],
        "findings": [
            {"name": one.name, "of": one.of, "ask": one.ask, "settles": one.settles} for one in FINDINGS.values()
        ],
        "map": _map(binding),
        "caution": CAUTION,
        "mark": binding.mark,
    }


def _map(binding: Binding) -> Mapping[str, Any]:
    from coppermend.services.scene import bounds_mm

    board = binding.board
    x0, y0, x1, y1 = bounds_mm(board)
    return {
        "bounds_mm": [x0, y0, x1, y1],
        "outline": [[[round(float(x), 2), round(float(y), 2)] for x, y in ring] for ring in board.outline],
        "parts": [
            {"ref": p.ref, "side": p.side, "outline": [[round(float(x), 2), round(float(y), 2)] for x, y in p.outline]}
            for p in board.parts
            if len(p.outline)
        ],
        "areas": [{"id": a.id, "polygon": [list(xy) for xy in a.polygon]} for a in binding.state.areas],
        "photos": sorted({one.side for one in binding.state.laid}),
    }
