"""Boards whose copper nobody has seen: before wires are laid to several pins that came loose, ask whether these still hang together."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from coppermend.core.copper.model import CopperGraph, ProbePoint, SiteKind
from coppermend.core.log.state import CaseState
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.describe import needs_words, tips_words
from coppermend.core.planning.model import Check, NextStep, Span
from coppermend.services.points import points_of_pin
from coppermend.services.ties import pin_name

_BEST = ("joint", "hole", "land", "contact", "leg")
"""Kinds of points in the order in which they tell of copper alone."""


def loose_check(
    graph: CopperGraph, state: CaseState, found: Sequence[Span], span: Span, costs: CostTable, tips: TipState
) -> NextStep | None:
    """A reading between two pins of the span's net that both came loose and were not read against each other yet; None when there are no such two.

    With the copper unknown one break may have cut off several pins together: then one wire serves them all.
    """
    loose = loose_pins(graph, [one for one in found if one.net == span.net] or [span])
    asked = {frozenset(pin_name(end) for end in one.points) for one in state.readings if len(one.points) == 2}
    for first, second in combinations(loose, 2):
        if frozenset((first, second)) not in asked:
            ends = _points(graph, first, second)
            if ends is not None:
                return _step(ends, span, costs, tips)
    return None


def loose_pins(graph: CopperGraph, found: Sequence[Span]) -> tuple[str, ...]:
    """The pins whose unknown copper the spans name, in their order."""
    at = {pin.lands[0][1]: pin.name for pin in graph.pins if pin.lands}
    sites = {site.id: site for site in graph.sites if site.kind is SiteKind.UNKNOWN}
    ends = [at.get(sites[site].b, "") for one in found for site in one.sites if site in sites]
    return tuple(dict.fromkeys(name for name in ends if name))


def _points(graph: CopperGraph, first: str, second: str) -> tuple[ProbePoint, ProbePoint] | None:
    rows = []
    for name in (first, second):
        part, _, number = name.rpartition(".")
        rows.append([point for point in points_of_pin(graph, part, number) if point.reachable])
    pairs = [(a, b) for a in rows[0] for b in rows[1]]
    order = {kind: k for k, kind in enumerate(_BEST)}
    return min(
        pairs,
        key=lambda p: (order.get(p[0].kind, 9) + order.get(p[1].kind, 9), p[0].side != p[1].side, p[0].id, p[1].id),
        default=None,
    )


def _step(ends: tuple[ProbePoint, ProbePoint], span: Span, costs: CostTable, tips: TipState) -> NextStep:
    a, b = ends
    seconds, _ = check_seconds(costs, tips, a, b)
    reason = "both read apart from the rest of the net; if they hang together, one wire serves both"
    turn = a.side == b.side and a.side != tips.up
    check = Check(
        f"continuity:{a.id}:{b.id}", "continuity", a.id, b.id, span.net, span.net, None, (), seconds, reason, needs_words(a, b), turn
    )  # fmt: skip
    words = tips_words(a, b, turn)
    return NextStep("check", words, reason, seconds, 1.0, check=check)
