"""Breaks that nothing hangs on: beyond them there is copper to touch but no pin, so nothing needs to be bridged.

A hole wall that joined only an empty land, or a stub to an unused via. They are known broken and set aside: they stay in the record, are
planned round, and nobody is sent to patch them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from coppermend.core.belief.model import Evidence
from coppermend.core.copper.model import CopperGraph
from coppermend.core.findings import Refusal
from coppermend.core.rework.wires import propose_wires
from coppermend.services.evidence import BreaksIn, Folded, Pieces

MOST = 40
"""How many are looked for at once; a board has a handful."""

WHY = "it showed a break that no pin hangs on"


def set_idle_aside(
    folded: Folded, graph_with: Callable[[Sequence[str]], CopperGraph], breaks_in: BreaksIn
) -> tuple[Folded, tuple[str, ...]]:
    """The folded log with the breaks that need no wire among the known ones, and the ids of those sites.

    One at a time: what is set aside is gone from the copper that the next one is judged on, so that of two ways round only one can go.
    """
    idle: list[str] = []
    for _ in range(MOST):
        if all(one.says == "closed" for one in folded.evidence):
            break
        graph = graph_with(folded.broken)
        found = next((span for span in breaks_in(graph, folded.evidence) if needs_nothing(graph, span)), None)
        if found is None:
            break
        idle += found
        folded = _without(folded, graph, found)
    return folded, tuple(idle)


def needs_nothing(graph: CopperGraph, span: Sequence[str]) -> bool:
    """Whether every pin of the net is still joined with the span's sites gone."""
    try:
        plan = propose_wires(graph, list(span), alternatives=0)[0]
    except Refusal:
        return False
    return plan.restores and not plan.wires


def _without(folded: Folded, graph: CopperGraph, span: Sequence[str]) -> Folded:
    """The folded log once a span is known broken: readings across it have done their work."""
    parted = Pieces(graph, span)

    def across(one: Evidence) -> bool:
        return parted.apart(graph.point(one.point_a), graph.point(one.point_b))

    kept = tuple(one for one in folded.evidence if not across(one))
    done = tuple((one.entry, WHY) for one in folded.evidence if across(one))
    return replace(folded, evidence=kept, broken=(*folded.broken, *span), expired=(*folded.expired, *done))
