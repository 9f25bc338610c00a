"""The removal plan of a part: of a bare board as built, or of a case with its part states and its numbers."""

from __future__ import annotations

from dataclasses import replace

from coppermend.core.board.model import Board
from coppermend.core.copper.model import CopperGraph
from coppermend.core.rework.removal import Bench, RemovalPlan, plan_removal
from coppermend.services.around import MARGIN_MM, around_part
from coppermend.services.bind import bind
from coppermend.services.points import known_part
from coppermend.services.workshop import Workshop


def removal_for_package(
    workshop: Workshop, package: str, part: str, bench: Bench | None = None, margin_mm: float = MARGIN_MM
) -> RemovalPlan:
    """The removal plan of a part of a bare board; parts stand as built. ``margin_mm`` of the proposed work area round the pins."""
    shelved = workshop.shelf.take(package)
    return _plan(shelved.board, shelved.graph, part, bench, margin_mm)


def removal_for_case(
    workshop: Workshop, case: str, part: str, bench: Bench | None = None, margin_mm: float = MARGIN_MM
) -> RemovalPlan:
    """The removal plan of a part on the board of a case, with today's part states and the case's numbers."""
    bound = bind(workshop, case)
    plan = _plan(bound.board, bound.graph, part, bench, margin_mm)
    if bound.state.power_on:
        return replace(
            plan, notes=("The log says that power is on: switch off and unplug before you solder.", *plan.notes)
        )
    return plan


def _plan(board: Board, graph: CopperGraph, part: str, bench: Bench | None, margin_mm: float) -> RemovalPlan:
    ref = known_part(graph, part)
    found = board.part(ref)
    polygon = around_part(board, ref, margin_mm) if found.pins else ()
    return plan_removal(board, graph, found, polygon, None, bench)
