"""The next step at a short: the place that the ohms readings leave for it, not the points that were read last."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, radians, sin

from coppermend.core.findings import Refusal
from coppermend.core.planning.model import NextStep, Span
from coppermend.services.bind import Binding
from coppermend.services.shorts import ShortAnswer, short_of

RING = 24
"""Corners of the ellipse as the map draws it."""
LEAST_AXIS_MM = 0.5
"""The ellipse is drawn at least this wide (half axis), or nobody sees it."""


def at_its_place(binding: Binding, step: NextStep, pair: tuple[str, str]) -> NextStep:
    """A short's step with the place that its ohms readings leave; without it where there are none, or where they fit no single bridge. Its notes say how the
    clearing is noted.

    ``pair``: points on the two nets. Located, the words send to that place and the span is its 90 % ellipse; before that, they say where it lies so far
    and that the next reading narrows it.
    """
    graph, bare = binding.graph, replace(step, notes=(*step.notes, cleared_words(f"{pair[0]} {pair[1]}")))
    names = (graph.net_names[graph.point(pair[0]).net], graph.net_names[graph.point(pair[1]).net])
    if not all(names):
        return bare
    try:
        found = short_of(binding, names, propose=False)
    except Refusal:
        return bare
    if not found.readings or found.state not in ("located", "narrowing"):
        return bare
    head, _, _ = step.words.partition(": a likely short.")
    read = f"{step.reason}; {len(found.readings)} by ohms"
    if found.state == "located":
        words = f"{head}. {found.words} Look there for solder, a whisker or a burr, clear it and read again."
        best = found.places[0]
        cleared = cleared_words(f"{best.x_mm:.1f},{best.y_mm:.1f}/{best.layer}")
        notes = tuple(one for one in (found.ellipse_words, *step.notes, cleared) if one)
        return replace(step, words=words, reason=read, span=_span(found, names), notes=notes)
    more = f"short locate CASE --between {names[0]} {names[1]}"
    words = f"{head}. {found.words} The next ohms reading narrows it: {more}."
    return replace(bare, words=words, reason=read, span=_span(found, names))


def cleared_words(where: str) -> str:
    """How the clearing of a short is noted: its place, or points on both nets."""
    return f"When it is cleared: note CASE clean {where}. The two nets are read again then."


def _span(found: ShortAnswer, names: tuple[str, str]) -> Span:
    """The likeliest place with its 90 % ellipse as a ring on its layer."""
    best = found.places[0]
    return Span(f"{names[0]} and {names[1]}", (), best.p, best.words, ((best.layer, ring_of(found.ellipse)),))


def ring_of(ellipse: dict[str, float]) -> tuple[tuple[float, float], ...]:
    """An ellipse's edge as a closed ring of corners, mm.

    >>> ring = ring_of({"x_mm": 10.0, "y_mm": 5.0, "half_long_mm": 2.0, "half_short_mm": 1.0, "angle_deg": 90.0})
    >>> [round(v, 6) for v in ring[0]], ring[0] == ring[-1]
    ([10.0, 7.0], True)
    """
    a, b = (max(ellipse[name], LEAST_AXIS_MM) for name in ("half_long_mm", "half_short_mm"))
    turn = radians(ellipse["angle_deg"])
    corners = [
        (
            ellipse["x_mm"] + a * cos(t) * cos(turn) - b * sin(t) * sin(turn),
            ellipse["y_mm"] + a * cos(t) * sin(turn) + b * sin(t) * cos(turn),
        )
        for t in (2 * pi * k / RING for k in range(RING))
    ]
    return (*corners, corners[0])
