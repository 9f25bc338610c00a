"""The demonstration: a case in progress on the demonstration machine with a practice patient behind it."""

from __future__ import annotations

from dataclasses import dataclass

from coppermend.services.areas import add_area
from coppermend.services.cases import case_state, list_cases, new_case
from coppermend.services.notes import note
from coppermend.services.patients import demo_areas, put_patient, telling_seed
from coppermend.services.requests import Request
from coppermend.services.workshop import Workshop

PACKAGE = "demo"
TITLE = "Larkenfell 64"
COMPLAINT = "Screen stays black since the processor's socket was changed. The cell beside the ROMs had leaked."
FIRST_SEED = 1983
BREAKS = 2


@dataclass(frozen=True, slots=True)
class DemoCase:
    """The demonstration's case: ``new`` when it was made now."""

    id: str
    number: int
    title: str
    new: bool


def open_demo(workshop: Workshop, *, fresh: bool = False) -> DemoCase:
    """The latest case on the demonstration machine as its package is now, or a new one (always with ``fresh``): opened, seen dark, cell out, areas marked."""
    rows = [row for row in list_cases(workshop) if case_state(workshop, row.id).practice]
    now = workshop.shelf.take(PACKAGE).board.package_id
    same = [row for row in rows if case_state(workshop, row.id).package_id == now]
    if same and not fresh:
        return DemoCase(same[-1].id, same[-1].number, same[-1].title, False)
    view = new_case(
        workshop, PACKAGE, TITLE, serial=f"LF-{1000 + len(rows)}", complaint=COMPLAINT, owner="a friend of the workshop"
    )
    case = view.state.case
    note(
        workshop,
        case,
        Request("remove", part="BT1", words="leaked; green crust round its place, wiped with vinegar, then alcohol"),
    )
    note(workshop, case, Request("symptom", words="Black screen, no sound, power light on."))
    for area in demo_areas(workshop, case):
        add_area(
            workshop,
            case,
            part=area.part,
            polygon=() if area.part else area.polygon,
            kind=area.kind,
            severity=area.severity,
            label=area.label,
        )
    put_patient(workshop, case, seed=telling_seed(workshop, case, FIRST_SEED + 100 * len(rows), BREAKS), breaks=BREAKS)
    return DemoCase(case, view.number, TITLE, True)
