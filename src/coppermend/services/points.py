"""Points as people name them, resolved to probe points of the board as it is now.

``U1.8`` is whatever the part's state exposes; ``U1.8/joint`` the joint on the side that can be touched; ``via@x,y/c`` and every other id as it
stands; ``31.2,40.0/s`` the nearest point to a place in mm.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from coppermend.core.board.names import nearest_names
from coppermend.core.copper.laps import bared_point, track_place
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import PointRef

NEAR_MM = 1.0
"""A place given in mm finds the nearest probe point within this."""

_EXPOSED = ("leg", "contact", "joint", "hole", "land", "via")
_PLACE = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*[,;]\s*([+-]?\d+(?:\.\d+)?)(?:\s*/\s*([cs]))?")


def resolve(graph: CopperGraph, text: str) -> ProbePoint:
    """The probe point that a person means. Refusal PNT-001 with the nearest names when there is none.

    A point that cannot be touched in the present part states is refused too (PNT-002), with why.
    """
    wanted = text.strip()
    found = _exact(graph, wanted) or _of_pin(graph, wanted) or _at_place(graph, wanted)
    if found is None:
        raise _unknown(graph, wanted)
    if not found.reachable:
        raise refuse(
            "PNT-002",
            f"No tip can touch {found.id} now: {found.why_not or 'it is covered'}.",
            _instead(graph, found),
            Place(thing=found.id),
        )
    return found


def wire_end(graph: CopperGraph, text: str) -> ProbePoint:
    """Where a patch wire ends: a probe point as ``resolve`` finds it, or a bared place on a track (``track@x,y/s``, integer micrometres, or mm
    with a decimal point). Refusals PNT-001, PNT-002.
    """
    if not track_place(text):
        return resolve(graph, text)
    found = _exact(graph, text.strip()) or bared_point(graph, text)
    if found is None:
        raise refuse(
            "PNT-001",
            f"No track lies at {text.strip()}.",
            "Give a place on a track as the map shows it, in mm: track@31.2,40.0/s; or a pin, a via or a land.",
            Place(thing=text.strip()),
        )
    return found


def meant(graph: CopperGraph, text: str) -> str:
    """The id of the probe point that a file means: an id as it stands, touchable or not, else as ``resolve``. Refusals PNT-001, PNT-002."""
    try:
        return graph.point(text).id
    except KeyError:
        return resolve(graph, text).id


def point_payload(graph: CopperGraph, point: ProbePoint) -> dict[str, object]:
    """A point as it stands in an entry: resolved id, coordinates, side, and the net's name for the reader."""
    return {
        "id": point.id,
        "x_mm": round(point.x_mm, 6),
        "y_mm": round(point.y_mm, 6),
        "side": point.side,
        "net": graph.net_names[point.net],
        "part": point.part,
        "pin": point.pin,
    }


def parts_of(graph: CopperGraph) -> tuple[str, ...]:
    """The reference designators that have points or pins on this board."""
    return tuple(dict.fromkeys([pin.part for pin in graph.pins] + [point.part for point in graph.points if point.part]))


def known_part(graph: CopperGraph, text: str) -> str:
    """A part's reference designator as the board writes it. Refusal PNT-003 with the nearest names when there is none."""
    parts = parts_of(graph)
    for ref in parts:
        if ref.upper() == text.strip().upper():
            return ref
    raise refuse("PNT-003", f"This board has no part {text!r}.", _nearest(text, parts))


def points_of_pin(graph: CopperGraph, part: str, pin: str) -> tuple[ProbePoint, ...]:
    """The points of one pin, the outermost metal first."""
    if "points of pins" not in graph.memo:
        index: dict[tuple[str, str], list[ProbePoint]] = {}
        for point in graph.points:
            if point.part:
                index.setdefault((point.part.upper(), point.pin.upper()), []).append(point)
        graph.memo["points of pins"] = index
    found: list[ProbePoint] = graph.memo["points of pins"].get((part.upper(), pin.upper()), [])
    return tuple(
        sorted(found, key=lambda point: _EXPOSED.index(point.kind) if point.kind in _EXPOSED else len(_EXPOSED))
    )


def point_now(graph: CopperGraph, ref: PointRef) -> ProbePoint | None:
    """The point of an earlier entry on the board as it is now: by its id, else by its place; None when it is there no more."""
    try:
        return graph.point(ref.id)
    except KeyError:
        return None if ref.part else _near(graph, ref.x_mm, ref.y_mm, ref.side, 0.05)


def _exact(graph: CopperGraph, wanted: str) -> ProbePoint | None:
    if "points by lower id" not in graph.memo:
        graph.memo["points by lower id"] = {point.id.lower(): point for point in graph.points}
    found: ProbePoint | None = graph.memo["points by lower id"].get(wanted.lower())
    return found


def _of_pin(graph: CopperGraph, wanted: str) -> ProbePoint | None:
    name, _, suffix = wanted.partition("/")
    part, dot, pin = name.rpartition(".")
    if not dot:
        return None
    points = [point for point in points_of_pin(graph, part, pin) if not suffix or point.kind.startswith(suffix.lower())]
    touchable = [point for point in points if point.reachable]
    return next(iter(touchable or points), None)


def _at_place(graph: CopperGraph, wanted: str) -> ProbePoint | None:
    found = _PLACE.fullmatch(wanted)
    return _near(graph, float(found[1]), float(found[2]), found[3] or "", NEAR_MM) if found else None


def _near(graph: CopperGraph, x_mm: float, y_mm: float, side: str, within_mm: float) -> ProbePoint | None:
    best, best_mm = None, within_mm
    for point in graph.points:
        apart = ((point.x_mm - x_mm) ** 2 + (point.y_mm - y_mm) ** 2) ** 0.5
        if apart <= best_mm and point.reachable and side in ("", point.side):
            best, best_mm = point, apart
    return best


def _unknown(graph: CopperGraph, wanted: str) -> Exception:
    place = Place(thing=wanted)
    if _PLACE.fullmatch(wanted):
        return refuse(
            "PNT-001",
            f"There is no probe point within {NEAR_MM:g} mm of {wanted}.",
            "Name a pin or a via, or a place nearer to one.",
            place,
        )
    name, _, suffix = wanted.partition("/")
    part, dot, pin = name.rpartition(".")
    refs = {ref.upper(): ref for ref in parts_of(graph)}
    if dot and part.upper() in refs:
        ref = refs[part.upper()]
        pins = sorted(
            {point.pin for point in graph.points if point.part == ref}
            | {one.number for one in graph.pins if one.part == ref},
            key=_natural,
        )
        if pin.upper() in {one.upper() for one in pins}:
            kinds = ", ".join(point.id for point in points_of_pin(graph, ref, pin))
            remedy = f"What can be touched there: {kinds}." if kinds else "No tip can touch that pin anywhere."
            return refuse("PNT-001", f"{ref}.{pin} has no {suffix or 'point'} now.", remedy, place)
        return refuse(
            "PNT-001",
            f"{ref} has no pin {pin}.",
            f"It has {', '.join(pins[:12])}{' ...' if len(pins) > 12 else ''}.",
            place,
        )
    names = (
        (*refs.values(), *(point.id for point in graph.points if not point.part)) if not dot else tuple(refs.values())
    )
    return refuse("PNT-001", f"This board has no point {wanted!r}.", _nearest(part if dot else wanted, names), place)


def _nearest(word: str, names: Sequence[str]) -> str:
    near = nearest_names(word, list(names))
    if near:
        return f"Nearest names: {', '.join(near)}."
    some = list(names)
    return (
        f"Here are {', '.join(some[:12])}{' ...' if len(some) > 12 else ''}."
        if some
        else "This board has no parts by name; name a place: X,Y/s in mm."
    )


def _instead(graph: CopperGraph, point: ProbePoint) -> str:
    others = [one.id for one in graph.points if one.node == point.node and one.reachable][:3]
    return (
        f"Touch {' or '.join(others)} instead."
        if others
        else "Say what state the part is in: note CASE state PART soldered|socketed|out."
    )


def _natural(text: str) -> tuple[int, str]:
    return (int(text), "") if text.isdecimal() else (10**6, text)
