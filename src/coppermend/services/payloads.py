"""A request made into the payload of its kind: points resolved under the part states of now, values parsed with their unit. One maker per kind."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

from coppermend.core.board.model import PartState
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.copper.worked import CUT_NEAR_MM
from coppermend.core.findings import Place, refuse
from coppermend.core.log.canonical import Json
from coppermend.core.log.kinds import EFFECTS, GATE_ITEMS, KINDS, LEVELS, MAP_SAYS, PROGRESS, TAKEN_WITH, is_way
from coppermend.core.log.values import parse_value
from coppermend.core.rework.cutland import land_under
from coppermend.services.bind import Binding, bind
from coppermend.services.cases import case_state
from coppermend.services.points import known_part, point_payload, resolve, wire_end
from coppermend.services.rails import gate_of_case
from coppermend.services.requests import PART_KINDS, TIPS, UNIT, Request
from coppermend.services.ways import nearest_run, tracks_between
from coppermend.services.workshop import Workshop

PLACE = re.compile(r"\s*([+-]?\d+(?:\.\d+)?)\s*,\s*([+-]?\d+(?:\.\d+)?)\s*/\s*([cs])\s*", re.ASCII)
"""A place as typed: "31.2,40.0/s"."""


INNER = re.compile(r"[^/]*,[^/]*/\s*(i\d+|in\d+|\d+)\s*", re.ASCII | re.IGNORECASE)
"""A place on an inner layer as somebody may type it: "30,30/i1"."""


def place_payload(text: str) -> dict[str, Any]:
    """A place on the board as a point of an entry: where something was cleared that is no pin, via or land.

    >>> place_payload("100, 12.30/c")
    {'id': '100,12.3/c', 'x_mm': 100.0, 'y_mm': 12.3, 'side': 'c', 'net': '', 'part': '', 'pin': ''}
    """
    found = PLACE.fullmatch(text)
    if found is None:
        raise refuse("NOT-002", f"{text!r} is no place.", "Write it in mm with its side: 31.2,40.0/s.")
    x, y, side = float(found[1]), float(found[2]), found[3]
    return {"id": f"{x:g},{y:g}/{side}", "x_mm": x, "y_mm": y, "side": side, "net": "", "part": "", "pin": ""}


def _tips(binding: Binding, request: Request) -> list[ProbePoint]:
    least, most = TIPS[request.kind]
    if not least <= len(request.points) <= most:
        many = f"{least}" if least == most else f"{least} to {most}"
        raise refuse(
            "NOT-002",
            f"{request.kind} takes {many} points, found {len(request.points)}.",
            "Name them like U1.8 or via@31200,40000/s.",
        )
    find = wire_end if request.kind == "patch" else resolve
    found = [find(binding.graph, name) for name in request.points]
    if len(found) == 2 and found[0].id == found[1].id:
        raise refuse("NOT-002", f"Both tips are on {found[0].id}.", "Name two different points.")
    return found


def states_at(binding: Binding, points: Sequence[ProbePoint]) -> dict[str, Json]:
    """The states of the parts at these points, as an entry keeps them."""
    states = dict(binding.graph.part_states)
    return {point.part: str(states[point.part]) for point in points if point.part in states}


def _points(binding: Binding, found: Sequence[ProbePoint]) -> dict[str, Any]:
    return {"points": [point_payload(binding.graph, one) for one in found], "states": states_at(binding, found)}


def _reading(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    binding = bind(workshop, case)
    payload: dict[str, Any] = {
        **_points(binding, _tips(binding, request)),
        "instrument": request.instrument,
        "raw": request.raw or request.value,
    }
    unit = UNIT.get(request.kind)
    if unit:
        payload[unit] = parse_value(request.value, unit)
    if request.kind == "ohms":
        _ohms_that_can_be(payload["ohm"], request.value)
        payload |= _how(binding, request)
    if request.kind == "level":
        payload["level"] = _one_of(request.value, LEVELS, "level")
        if "with" in request.fields:
            payload["with"] = _one_of(
                str(request.fields["with"]), TAKEN_WITH, "instrument that a level is looked at with"
            )
    return payload


LEAST_OHM = -1.0
"""A meter whose leads were nulled may show a little less than nothing; more below zero is a typing error or a voltage on the board."""

FINEST_AWG = 46
"""Finer magnet wire than this is no patch wire (common practice, no source)."""


def _ohms_that_can_be(ohm: float | None, text: str) -> None:
    """Refusal NOT-008 for a resistance below what an unpowered board can show."""
    if ohm is not None and ohm < LEAST_OHM:
        raise refuse(
            "NOT-008",
            f"{text} is no resistance: found {ohm:g} ohm, expected 0 or more.",
            "Look at the figure again; a negative one means a voltage on the board: power off, charged parts emptied.",
        )


def _how(binding: Binding, request: Request) -> dict[str, Any]:
    """The points between which the voltage was read, resolved; nothing for a plain ohms reading. Refusal NOT-002 when they are not two."""
    named: Any = request.fields.get("sense")
    if named is None:
        return {}
    if not isinstance(named, (list, tuple)) or len(named) != 2 or not all(isinstance(one, str) for one in named):
        raise refuse(
            "NOT-002", "sense takes 2 points.", "Write it like: note CASE ohms A B 0.012 sense P Q: current at A and B, voltage at P and Q."
        )  # fmt: skip
    found = [resolve(binding.graph, one) for one in named]
    return {"sense": [point_payload(binding.graph, one) for one in found]}


def _wave(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    binding = bind(workshop, case)
    return {**_points(binding, _tips(binding, request)), "instrument": request.instrument}


def _heat(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    return {
        **_where(workshop, case, request),
        "celsius": parse_value(request.value, "celsius"),
        "raw": request.value,
        "instrument": request.instrument,
    }


def _map(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    says = _one_of(str(request.fields.get("says") or request.value), MAP_SAYS, "word on the map")
    least = {"joined": 2, "apart": 1, "agreed": 0}[says]
    if len(request.points) < least or (says == "agreed" and request.points):
        raise refuse(
            "NOT-002",
            f"map {says} takes {least or 'no'} points, found {len(request.points)}.",
            "Write it like: map fix CASE joined U1.8 U7.3, map fix CASE apart U1.8, map fix CASE agreed.",
        )
    binding = bind(workshop, case)
    found = _tips(binding, request)
    return {"says": says, **(_points(binding, found) if found else {})}


def _skip(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    binding = bind(workshop, case)
    return _points(binding, _tips(binding, request))


def _where(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    """A part, or points, or nothing more than words."""
    binding = bind(workshop, case)
    if request.part:
        return {"part": known_part(binding.graph, request.part), **_effect(request)}
    if request.points:
        bare = request.kind == "clean"
        found = [
            place_payload(name)
            if bare and PLACE.fullmatch(name)
            else point_payload(binding.graph, resolve(binding.graph, name))
            for name in request.points
        ]
        return {"points": found, **_effect(request)}
    if not request.words:
        raise refuse(
            "NOT-002", f"{request.kind} needs a part, a point or words.", f"Write it like: note CASE {request.kind} U1."
        )
    return {}


def _part(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    binding = bind(workshop, case)
    if not request.part:
        raise refuse("NOT-002", f"{request.kind} needs a part.", f"Write it like: note CASE {request.kind} U1.")
    part = known_part(binding.graph, request.part)
    before = dict(binding.graph.part_states).get(part, PartState.SOLDERED)
    after = _state_after(request, part, before)
    payload: dict[str, Any] = {"part": part, **_effect(request)}
    if request.kind != "state":
        payload["states"] = {part: str(before)}
    if request.fields.get("trial"):
        after = ""
    return {**payload, "state": str(after)} if after else payload


def _effect(request: Request) -> dict[str, Any]:
    """What an act did to what the machine shows, checked. Refusal NOT-007 for a word that is none."""
    said = str(request.fields.get("effect") or "")
    return {"effect": _one_of(said, EFFECTS, "effect")} if said else {}


def _state_after(request: Request, part: str, before: PartState) -> str:
    """The part's state after the act; Refusal NOT-005 when the act cannot be."""
    asked = str(request.fields.get("state") or request.value)
    off = before in (PartState.OUT, PartState.NOT_FITTED)
    if request.kind == "state":
        return _one_of(asked, tuple(str(one) for one in PartState), "part state")
    if request.kind == "fit":
        if not off:
            raise refuse(
                "NOT-005",
                f"{part} is {before} already.",
                f"Note its removal first: note CASE remove {part}.",
                Place(thing=part),
            )
        return (
            _one_of(asked, ("soldered", "socketed", "replaced"), "way to fit")
            if asked
            else ("socketed" if before is PartState.OUT else "replaced")
        )
    if off:
        raise refuse(
            "NOT-005",
            f"{part} is {before}, it cannot be {KINDS[request.kind].words}.",
            f"Note that it was fitted first: note CASE fit {part}.",
            Place(thing=part),
        )
    if request.kind == "piggyback":
        return ""
    if request.kind == "remove":
        return "out" if before is PartState.SOCKETED else "not fitted"
    if request.kind == "swap":
        return "socketed" if before is PartState.SOCKETED else "replaced"
    if before is not PartState.SOCKETED:
        raise refuse(
            "NOT-005",
            f"{part} is {before}, only a part in a socket can be reseated.",
            f"If it is in a socket: note CASE state {part} socketed.",
            Place(thing=part),
        )
    return ""


def _patch(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    binding = bind(workshop, case)
    ends = _tips(binding, request)
    fields = wire_fields(request.value)
    way: Any = fields.get("path") or request.fields.get("path")
    if is_way(way):
        _check_way(ends, way)
    _check_length(ends, fields.get("length_mm", request.fields.get("length_mm")))
    return {**_points(binding, ends), **fields}


END_REACH_MM = 3.0
"""At each end a wire may be this much shorter than the gap between the noted points: it is soldered to the near edge of a land, a leg or a joint. Our choice."""


def _check_length(ends: Sequence[ProbePoint], length_mm: object) -> None:
    """Refusal NOT-009 for a wire that cannot span the gap between its ends."""
    if not isinstance(length_mm, (int, float)) or len(ends) != 2:
        return
    gap = math.hypot(ends[0].x_mm - ends[1].x_mm, ends[0].y_mm - ends[1].y_mm)
    if length_mm < gap - 2 * END_REACH_MM:
        raise refuse(
            "NOT-009",
            f"A wire of {length_mm:g} mm does not reach from {ends[0].id} to {ends[1].id}: they lie {gap:.0f} mm apart.",
            "Look at the two points, or give the length that was cut, or leave the length out.",
            Place(thing=ends[0].id, x_mm=ends[0].x_mm, y_mm=ends[0].y_mm),
        )


WAY_OFF_MM = 5.0
"""A way may begin this far from its noted point: elsewhere on the same land or pin. Our choice."""


def _check_way(ends: Sequence[ProbePoint], way: Sequence[Sequence[float]]) -> None:
    """Refusal NOT-010 for a way that begins or ends elsewhere than its wire."""
    for point, (x, y) in zip(ends, (way[0], way[-1]), strict=False):
        off = math.hypot(point.x_mm - x, point.y_mm - y)
        if off > WAY_OFF_MM:
            raise refuse(
                "NOT-010",
                f"The way has its end at {x:g}, {y:g} mm, {off:.0f} mm from {point.id}.",
                "Give its corners in the order of the two points, in mm as the map shows them, or leave the way out.",
                Place(thing=point.id, x_mm=point.x_mm, y_mm=point.y_mm),
            )


WAY = re.compile(r"way=(-?\d+(?:\.\d+)?,-?\d+(?:\.\d+)?(?:;-?\d+(?:\.\d+)?,-?\d+(?:\.\d+)?)+)")
"""A wire's way as typed: corners X,Y in mm, joined by semicolons."""


def wire_fields(text: str) -> dict[str, Json]:
    """Gauge, length and way of a wire as typed: "30awg 62mm way=10,20;40,20", "0.25mm 62mm"; one figure in mm is the length.

    >>> wire_fields("30awg 62mm")["length_mm"]
    62.0
    >>> wire_fields("62mm way=10,20;40,20")["path"]
    [[10.0, 20.0], [40.0, 20.0]]
    """
    fields: dict[str, Json] = {}
    way = WAY.search(text)
    if way:
        fields["path"] = [[float(v) for v in spot.split(",")] for spot in way[1].split(";")]
        text = text.replace(way[0], "")
    if re.search(r"-\s*\d+(?:[.,]\d+)?\s*mm", text):
        raise refuse(
            "NOT-009", f"A wire of {text.strip()} cannot be.", "Give its length in mm, more than 0: 30awg 62mm."
        )
    gauge = re.search(r"(\d{1,2})\s*awg|awg\s*(\d{1,2})", text, re.IGNORECASE)
    if gauge:
        awg = int(gauge[1] or gauge[2])
        if awg > FINEST_AWG:
            raise refuse(
                "NOT-009", f"{awg} AWG is no patch wire.", f"Gauges go from 0 to {FINEST_AWG}; wrap wire is 30awg."
            )
        fields |= {"awg": awg, "diameter_mm": round(awg_diameter_mm(awg), 4)}
    sizes = [float(one.replace(",", ".")) for one in re.findall(r"(\d+(?:[.,]\d+)?)\s*mm", text, re.IGNORECASE)]
    if sizes and max(sizes) >= 2.0:
        fields["length_mm"] = max(sizes)
    if sizes and min(sizes) < 2.0 and not gauge:
        fields["diameter_mm"] = min(sizes)
    return fields


def awg_diameter_mm(awg: int) -> float:
    """Diameter of a gauge by the formula of ASTM B258: 0.127 mm * 92 ** ((36 - n) / 39).

    >>> round(awg_diameter_mm(36), 4)
    0.127
    """
    return float(0.127 * 92 ** ((36 - awg) / 39))


def _cut(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    """A cut at a place (fields x_mm, y_mm, side, or one point "x,y/side"), or in the track between two points."""
    binding = bind(workshop, case)
    place = PLACE.fullmatch(request.points[0]) if len(request.points) == 1 else None
    if place:
        return _checked_cut(binding, float(place[1]), float(place[2]), place[3])
    if {"x_mm", "y_mm", "side"} <= set(request.fields):
        x, y = request.fields["x_mm"], request.fields["y_mm"]
        return _checked_cut(binding, float(str(x)), float(str(y)), str(request.fields["side"]))
    if any(INNER.fullmatch(one) for one in request.points):
        raise refuse(
            "NOT-006",
            f"{request.points[0]} lies on an inner layer: no knife reaches a track there.",
            "Cut where the net comes to an outer layer (X,Y/c or X,Y/s in mm), or drill out the via that leads inside and note the cut beside it.",
            Place(thing=request.points[0]),
        )
    found = _tips(binding, request)
    if len(found) != 2:
        raise refuse(
            "NOT-002",
            "A cut needs two points or a place.",
            "Write it like: note CASE cut U1.8 U7.3, or note CASE cut 31.2,40.0/s.",
        )
    return {**_cut_place(binding.graph, found[0], found[1]), **_points(binding, found)}


def _checked_cut(binding: Binding, x_mm: float, y_mm: float, side: str) -> dict[str, Any]:
    """A cut at a place, refused when no track lies there, or when the place lies on a land."""
    where = f"{x_mm:g}, {y_mm:g} mm on the {'component' if side == 'c' else 'solder'} side"
    if nearest_run(binding.graph, x_mm, y_mm, side, CUT_NEAR_MM) is None:
        raise refuse(
            "NOT-006",
            f"No track lies within {CUT_NEAR_MM:g} mm of {where}.",
            "Name a place on the track: X,Y/c or X,Y/s in mm.",
        )
    land = land_under(binding.base, binding.board, x_mm, y_mm, side)
    if land is not None:
        spots = "; ".join(f"{x:.1f},{y:.1f}/{side} ({site.words or site.id})" for x, y, site in land.ways)
        raise refuse(
            "NOT-006",
            f"{where} lies on a land ({land.words}): a knife parts the track beside a land, not the land.",
            f"Nearest places on a track that leaves it: {spots}."
            if spots
            else "No track leaves it on this side: name a place on a track.",
            Place(x_mm=x_mm, y_mm=y_mm, layer=side, thing=land.point.id),
        )
    return {"x_mm": x_mm, "y_mm": y_mm, "side": side}


def _cut_place(graph: CopperGraph, a: ProbePoint, b: ProbePoint) -> dict[str, Any]:
    """The middle of the longest outer track on the only way between two points."""
    tracks = [site for site in tracks_between(graph, a, b) if site.layer in ("c", "s")]
    if not tracks:
        raise refuse(
            "NOT-006",
            f"No single track joins {a.id} and {b.id}.",
            "Name the place of the cut: note CASE cut X,Y/c or X,Y/s in mm.",
        )
    longest = max(tracks, key=lambda site: site.length_mm)
    x, y = middle_of(longest.path)
    return {"x_mm": round(x, 3), "y_mm": round(y, 3), "side": longest.layer}


def middle_of(path: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The place halfway along a path.

    >>> middle_of(((0, 0), (4, 0), (4, 2)))
    (3.0, 0.0)
    """
    steps = [((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5 for (x1, y1), (x2, y2) in pairwise(path)]
    left = sum(steps) / 2
    for (one, two), step in zip(pairwise(path), steps, strict=True):
        if left <= step and step > 0:
            t = left / step
            return one[0] + t * (two[0] - one[0]), one[1] + t * (two[1] - one[1])
        left -= step
    return path[-1]


def _solder(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    binding = bind(workshop, case)
    return _points(binding, _tips(binding, request))


def _gate(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    item = _one_of(str(request.fields.get("item") or request.value), (*GATE_ITEMS, "override"), "gate item")
    if item == "limit" and not {"limit_a", "abort_a"} <= set(request.fields):
        raise refuse(
            "NOT-002",
            "The limit needs both a current limit and an abort value.",
            "Write it like: note CASE gate limit 800mA 500mA.",
        )
    if item == "override" and not request.words:
        raise refuse(
            "NOT-002", "Passing the gate over needs a reason.", "Write it like: note CASE gate override REASON."
        )
    return {"item": item}


def _power(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    """Power on or off. On asks the gate: GAT-001 says what is missing."""
    on = request.fields["on"] if "on" in request.fields else _one_of(request.value, ("on", "off"), "power") == "on"
    if not on:
        return {"on": False}
    state = case_state(workshop, case)
    status, rails = gate_of_case(workshop, case)
    if not status.open:
        missing = " ".join(f"[{one.item}] {one.words}" for one in status.missing)
        raise refuse(
            "GAT-001",
            f"Before power is put on, since the last soldering: {missing}",
            "Note each with 'note CASE gate ITEM ...', or pass it over on purpose: note CASE gate override REASON.",
            Place(thing=f"case {case}"),
        )
    gate = {"gate": "passed over" if status.overridden else "done"}
    limits = [one.limit_a for one in state.gate if one.at > state.last_soldering and one.limit_a is not None]
    return {"on": True, "limit_a": limits[-1] if limits else None, "overrides": status.overridden, **rails, **gate}


def _seen(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    if not request.words and not set(request.fields) & {"screen", "sound", "smell", "heat", "current_a"}:
        raise refuse(
            "NOT-002",
            "What was seen needs words.",
            "Write it like: note CASE seen screen=black sound='two beeps' current=350mA.",
        )
    return {}


def _words(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    if not request.words:
        raise refuse(
            "NOT-002", f"{request.kind} needs words.", f"Write it like: note CASE {request.kind} 'what you noticed'."
        )
    if request.fields.get("plan") is not None:
        from coppermend.services.plans import checked_plan

        checked_plan(request.fields["plan"])
    return {}


def _test(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    if not request.fields.get("item"):
        raise refuse(
            "NOT-002", "A test needs what was tested and its result.", "Write it like: note CASE test keyboard works."
        )
    return {
        "result": _one_of(
            str(request.fields.get("result") or request.value), ("works", "fails", "not tested"), "result"
        )
    }


def _progress(workshop: Workshop, case: str, request: Request) -> dict[str, Any]:
    return {"state": _one_of(str(request.fields.get("state") or request.value), PROGRESS, "state of work")}


def _one_of(text: str, words: Sequence[str], what: str) -> str:
    wanted = text.strip().lower()
    if wanted in words:
        return wanted
    raise refuse("NOT-007", f"{text!r} is no {what}.", f"Say one of: {', '.join(words)}.")


MAKERS: dict[str, Callable[[Workshop, str, Request], dict[str, Any]]] = {
    **dict.fromkeys(("closed", "open", "ohms", "volts", "diode", "level", "hertz"), _reading),
    **dict.fromkeys(PART_KINDS, _part),
    **dict.fromkeys(("look", "clean", "press", "tap"), _where),
    "wave": _wave,
    "heat": _heat,
    "skip": _skip,
    "map": _map,
    "patch": _patch,
    "cut": _cut,
    "solder": _solder,
    "gate": _gate,
    "power": _power,
    "seen": _seen,
    "symptom": _words,
    "remark": _words,
    "test": _test,
    "progress": _progress,
}
