"""The board coloured by evidence: where readings under power agree or not, where the suspects lie, and how the belief went, reading by reading."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from coppermend.core.belief.suspects.posterior import Look, Odd, Warmth
from coppermend.core.belief.suspects.reasons import Suspect, observation_words
from coppermend.core.belief.suspects.table import FLOATING, HIGH, LOW, PULSING
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.copper.model import ProbePoint, SiteKind
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import Binding, bind
from coppermend.services.placewords import places_in_words, point_words
from coppermend.services.powered import PoweredBoard
from coppermend.services.rails import gate_of
from coppermend.services.suspectcourse import suspect_course
from coppermend.services.suspects import board_of_case, evidence_of, suspects_for_case
from coppermend.services.wavecase import expected_pins
from coppermend.services.workshop import Workshop

MOST_MOMENTS = 60
"""Moments of the course that the page lists one by one, the last ones; how many came before is said."""
COPPER = (SiteKind.RUN, SiteKind.WIRE)


def suspect_map(
    workshop: Workshop, case: str, book: DeviceBook, machine: MachineModel | None = None, most: int = 8
) -> dict[str, Any]:
    """The suspects of a case and what a map of them draws, as plain JSON values; places in words, not as ids.

    ``suspects`` as ``suspects_for_case`` tells them; ``outline`` and ``parts`` of the board (mm); ``marks`` a place looked at under power each: what was
    expected, what was seen, ``agrees``; ``tracks`` the copper of the nets looked at; ``heat`` what thermal pictures said of parts; ``lies`` where each
    suspect is (its part's outline, or the paths of its sites); ``next`` the points of the next step; ``screens`` what a start can show; ``course`` the
    likeliest suspect after each reading, ``course_before`` so many moments are left out; ``power_on`` and ``gate_open`` as
    the log stands, ``mark`` its end.
    """
    binding = bind(workshop, case)
    made = board_of_case(binding, book, machine, workshop.fields)
    view = suspects_for_case(workshop, case, book, machine, most)
    found = evidence_of(workshop, case, binding, made).found
    looks = [one for one in found if isinstance(one, (Look, Odd))]
    rows = expected_pins(binding, book, machine)
    marks = _marks(binding, made, looks, rows)
    moments = suspect_course(workshop, case, binding, made, book, machine)
    state = binding.state
    return {
        "suspects": _told(binding, view.as_dict()),
        "size_mm": _box(binding),
        "outline": [_flat(one) for one in binding.board.outline],
        "parts": [{"ref": p.ref, "side": p.side, "outline": _flat(p.outline)} for p in binding.board.parts],
        "marks": marks,
        "tracks": _tracks(binding, marks),
        "heat": [asdict(one) for one in found if isinstance(one, Warmth)],
        "lies": [_lies(binding, one) for one in view.suspects],
        "next": _next_points(binding, view.points, rows),
        "screens": [{"name": one.name, "words": one.words} for one in made.machine.screens],
        "course": [asdict(one) for one in moments[-MOST_MOMENTS:]],
        "course_before": max(0, len(moments) - MOST_MOMENTS),
        "mark": binding.mark,
        "power_on": state.power_on,
        "gate_open": gate_of(binding).open,
    }


def _told(binding: Binding, value: Any) -> Any:
    """Plain JSON values with the words in them told as places; ids of points, entries and sites stay."""
    if isinstance(value, Mapping):
        keep = ("points", "entry", "sites", "unit")
        return {k: v if k in keep else _told(binding, v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_told(binding, one) for one in value]
    return places_in_words(binding.board, value) if isinstance(value, str) else value


def _flat(ring: Any) -> list[list[float]]:
    return [[round(float(x), 3), round(float(y), 3)] for x, y in ring]


def _box(binding: Binding) -> list[float]:
    """The smallest box round the outline and all parts, mm: x0, y0, x1, y1."""
    rings = [*binding.board.outline, *(p.outline for p in binding.board.parts if len(p.outline))]
    xs = [float(x) for ring in rings for x, _ in ring] or [p.x_mm for p in binding.graph.points] or [0.0]
    ys = [float(y) for ring in rings for _, y in ring] or [p.y_mm for p in binding.graph.points] or [0.0]
    return [min(xs), min(ys), max(xs), max(ys)]


def _at(binding: Binding, point: ProbePoint, rows: Mapping[str, Any]) -> dict[str, Any]:
    """A point with its words, its net's name and what it should show."""
    row = rows.get(f"{point.part}.{point.pin}")
    return {
        "point": point.id,
        "x_mm": round(point.x_mm, 3),
        "y_mm": round(point.y_mm, 3),
        "side": point.side,
        **{k: v for k, v in point_words(binding.board, point).items() if k in ("name", "where", "row", "side_words")},
        "net": binding.graph.net_names[point.net],
        "expected": row.words if row is not None else "",
    }


def _next_points(binding: Binding, wanted: Sequence[str], rows: Mapping[str, Any]) -> list[dict[str, Any]]:
    points = {p.id: p for p in binding.graph.points}
    return [_at(binding, points[name], rows) for name in wanted if name in points]


def _marks(
    binding: Binding, made: PoweredBoard, looks: Iterable[Look | Odd], rows: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """One mark a place, in the order of the log: the last reading there decides, all of them are told."""
    noted = {one.entry: one for one in binding.state.timeline}
    points = {p.id: p for p in binding.graph.points}
    marks: dict[tuple[str, int], dict[str, Any]] = {}
    for one in looks:
        k = made.field.spot_at.get((one.net, one.node))
        taps = made.trees[one.net].points.get(one.node, ())
        if k is None or not taps or taps[0].id not in points:
            continue
        mark = marks.setdefault((one.net, one.node), {**_at(binding, taps[0], rows), "seen": []})
        row = noted.get(one.entry)
        mark["seen"].append(
            {
                "entry": one.entry,
                "at": row.observed_at if row is not None else "",
                "words": places_in_words(binding.board, observation_words(made.field, one)),
                "noted": places_in_words(binding.board, row.words) if row is not None else "",
            }
        )
        mark["agrees"] = agrees(made, k, one)
    return list(marks.values())


def agrees(made: PoweredBoard, k: int, one: Look | Odd) -> bool:
    """Whether a look at spot ``k`` saw what the place shows when nothing is wrong; runts, and a reset let go too early or too late, never are."""
    if isinstance(one, Odd):
        return False
    spot = made.field.spots[k]
    healthy = {0: LOW, 1: HIGH, 2: PULSING, 3: PULSING, 4: FLOATING}.get(spot.healthy)
    if spot.rail:
        healthy = LOW if spot.ground else HIGH
    return one.outcome == healthy or (spot.loose and one.outcome == PULSING)


def _tracks(binding: Binding, marks: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The runs of the nets that were looked at; a net agrees when every place of it does. Rails and grounds have too much copper to tell anything."""
    seen: dict[str, bool] = {}
    for mark in marks:
        seen[mark["net"]] = seen.get(mark["net"], True) and bool(mark["agrees"])
    paths: dict[str, list[list[list[float]]]] = {net: [] for net in seen}
    for site in binding.graph.sites:
        net = binding.graph.net_names[site.net]
        if net in paths and site.kind in COPPER and len(site.path) > 1:
            paths[net].append(_flat(site.path))
    return [{"net": net, "agrees": seen[net], "paths": rows} for net, rows in paths.items() if len(rows) <= MOST_RUNS]


MOST_RUNS = 120
"""A net of more runs than this is a supply; its copper is not coloured."""


def _lies(binding: Binding, one: Suspect) -> dict[str, Any]:
    """Where a suspect is: the outline of its part, or the paths of its sites."""
    part = next((p for p in binding.board.parts if p.ref == one.part), None)
    wanted = set(one.sites)
    paths = [_flat(s.path) for s in binding.graph.sites if s.id in wanted and len(s.path)]
    return {
        "unit": one.unit,
        "p": round(one.p, 4),
        "words": places_in_words(binding.board, one.words),
        "outline": _flat(part.outline) if part is not None and not paths else [],
        "paths": paths,
    }
