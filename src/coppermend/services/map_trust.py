"""Whether the map of a case is of its board: the checks before the first round, what later readings say, and corrections at one place."""

from __future__ import annotations

from typing import Any

from coppermend.core.log.state import plain
from coppermend.core.planning.map_first import MapTrust, map_step
from coppermend.core.planning.model import NextStep
from coppermend.services.bench import next_for_case
from coppermend.services.bind import bind
from coppermend.services.map_doubt import trust_of
from coppermend.services.notes import Noted, note
from coppermend.services.requests import Request
from coppermend.services.workshop import Workshop


def map_for_case(workshop: Workshop, case: str) -> MapTrust:
    """P(map wrong) from all readings on untouched copper, with the checks that would tell more."""
    return trust_of(bind(workshop, case))


def next_with_map(workshop: Workshop, case: str) -> NextStep:
    """The next step as ``next`` gives it, the map's checks also where ``next`` would leave them out (a practice patient, a round already begun)."""
    step = map_step(map_for_case(workshop, case), bind(workshop, case).graph)
    return step if step is not None else next_for_case(workshop, case)


def correct_map(workshop: Workshop, case: str, says: str, points: tuple[str, ...] = (), words: str = "") -> Noted:
    """Correct the map at one place (an entry; ``note undo`` takes it back). ``says`` joined: two points are on one net on this board; apart: the pin of
    the first point is not on the map's net; agreed: map and board were compared and agree. Refusals NOT-002, NOT-007, PNT-001.
    """
    return note(workshop, case, Request("map", points, value=says, words=words))


def map_as_dict(trust: MapTrust) -> dict[str, Any]:
    """The trust as plain JSON values."""
    return {**plain(trust), "state": trust.state, "words": trust.words}
