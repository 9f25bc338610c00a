"""Whether the map of a case is of its board: the checks before the first round, and what later readings say."""

from __future__ import annotations

from typing import Any

from coppermend.core.log.state import plain
from coppermend.core.planning.map_first import MapTrust, map_step, map_trust
from coppermend.core.planning.model import NextStep
from coppermend.services.bench import next_for_case, tips_of
from coppermend.services.bind import bind
from coppermend.services.workshop import Workshop


def map_for_case(workshop: Workshop, case: str) -> MapTrust:
    """P(map wrong) from all readings on untouched copper, with the checks that would tell more."""
    binding = bind(workshop, case)
    if "map trust" not in binding.memo:
        skipped = frozenset(p.id for p in binding.graph.points if not p.reachable)
        binding.memo["map trust"] = map_trust(
            binding.graph,
            binding.areas,
            binding.evidence,
            binding.basis,
            binding.costs,
            tips_of(binding),
            skipped=skipped,
        )
    found: MapTrust = binding.memo["map trust"]
    return found


def next_with_map(workshop: Workshop, case: str) -> NextStep:
    """The next step with the map checks before the first round; without any left it is ``next_for_case``. Policies of practice do not use it."""
    step = map_step(map_for_case(workshop, case), bind(workshop, case).graph)
    return step if step is not None else next_for_case(workshop, case)


def map_as_dict(trust: MapTrust) -> dict[str, Any]:
    """The trust as plain JSON values."""
    return {**plain(trust), "state": trust.state, "words": trust.words}
