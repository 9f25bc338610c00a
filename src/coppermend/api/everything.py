"""What comes first of all the work on a case, as the bench shows it beside the copper's own next step."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter

from coppermend.api.routes import Json, TheDesk, on_case
from coppermend.api.views import point_view, without_commands
from coppermend.core.planning.model import NextStep
from coppermend.core.planning.whole import BY_HAND
from coppermend.services.bench import next_for_case
from coppermend.services.bind import Binding, bind
from coppermend.services.placewords import places_in_words
from coppermend.services.prepared import board_counts, everything_counts
from coppermend.services.workshop import Workshop

if TYPE_CHECKING:
    from coppermend.services.whole_view import WholeStep

router = APIRouter(prefix="/api")

LEAVES = {
    "short": "supply", "look": "suspects", "gate": "story", "power": "story", "memory": "memory", "rom": "rom", "ask": "consent", "reseat": "chips",
    "done": "record", "other hands": "record",
}  # fmt: skip
"""The leaf where a kind of work is done and noted; that of mending hangs on what is mended."""
MENDED_ON = {"supply": "supply", "swap": "chips", "replace": "chips", "wire": "wires"}
"""The same by the act of mending."""


@router.get("/cases/{case}/first", tags=["bench"])
def first_of_all(case: str, desk: TheDesk) -> Json:
    """What comes first of all the work, as ``coppermend next`` names it: words, reason, modelled seconds, the leaf where it is done, the points of a check, or the
    entry that says it was done. ``weighed`` false where only the copper's own step counts, ``own`` true where that is the one.

    The board under power takes seconds the first time; nothing else of the bench waits for it.
    """

    def wanted(workshop: Workshop, found: str) -> Binding | None:
        binding = bind(workshop, found)
        return binding if everything_counts(binding.state, next_for_case(workshop, found)) else None

    binding = on_case(desk, case, wanted)
    if binding is None:
        return {"weighed": False}
    if board_counts(binding.state):
        desk.board_beside(binding)
    answer: Json = on_case(desk, case, first_view)
    return answer


def first_view(workshop: Workshop, case: str) -> dict[str, Any]:
    """The step of the whole repair for the bench."""
    from coppermend.bootstrap import device_book, machine_model
    from coppermend.services.whole import as_next, whole_for_case

    binding, own = bind(workshop, case), next_for_case(workshop, case)
    whole = whole_for_case(workshop, case, device_book(), machine_model(binding.state.package))
    step = as_next(whole)
    said = partial(places_in_words, binding.board)
    return {
        "weighed": True,
        "mark": binding.mark,
        "own": _same(step, own),
        "kind": whole.kind,
        "words": said(without_commands(step.words)),
        "reason": said(step.reason),
        "seconds": step.seconds,
        "notes": [said(one) for one in step.notes],
        "tips": _tips(binding, whole),
        "done": done_entry(binding, whole),
        "leaf": MENDED_ON.get(whole.named.act, "") if whole.named is not None else LEAVES.get(whole.kind, ""),
        "part": whole.part.partition(".")[0],
    }


def _same(step: NextStep, own: NextStep) -> bool:
    """Whether the choice is the copper's own step."""
    return replace(step, notes=()) == replace(own, notes=())


def _tips(binding: Binding, whole: WholeStep) -> list[dict[str, Any]] | None:
    """The two points of a check without power."""
    ids: tuple[str, ...] = ()
    if whole.kind == "copper" and whole.copper is not None and whole.copper.check is not None:
        ids = (whole.copper.check.point_a, whole.copper.check.point_b)
    elif whole.kind == "check" and whole.check is not None:
        ids = whole.check
    elif whole.look is not None and whole.look.step.kind in ("check", "apart"):
        ids = tuple(whole.look.points)
    known = {one.id for one in binding.graph.points}
    return [point_view(binding, binding.graph.point(one)) for one in ids] if ids and set(ids) <= known else None


def done_entry(binding: Binding, whole: WholeStep) -> dict[str, Any] | None:
    """The entry that says that work by hand was done; None where a leaf asks for more."""
    if whole.kind == "reseat":
        return _noted("reseat", "Seated again: note it", part=whole.part)
    if whole.kind != "mend" or whole.named is None:
        return None
    if whole.named.act == "clear" and whole.check is not None:
        return _noted("clean", "Solder taken away: note it", points=list(whole.check))
    if whole.item not in BY_HAND:
        return None
    part, _, pin = whole.part.rpartition(".")
    if whole.item == "reseat":
        return _noted("reseat", "Seated again: note it", part=part)
    if whole.item == "clean":
        return _noted("clean", "Wiped and back in: note it", part=part)
    joint = next(
        (p.id for p in binding.graph.points if (p.part, p.pin, p.kind) == (part, pin, "joint") and p.reachable),
        whole.part,
    )
    if whole.item == "solder":
        return _noted("solder", "Soldered again: note it", points=[joint])
    from coppermend.services.whole_words import RENEWED

    return _noted("solder", "Renewed: note it", points=[joint], words=RENEWED)


def _noted(kind: str, done: str, *, part: str = "", points: list[str] | None = None, words: str = "") -> dict[str, Any]:
    return {"kind": kind, "done": done, "part": part, "points": points or [], "words": words}
