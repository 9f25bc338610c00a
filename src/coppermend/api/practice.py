"""Practice: a patient behind the case answers the tips; what was really broken is shown at the end."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from coppermend.api.routes import TheDesk, on_case
from coppermend.api.schemas import NewPatient, Touch
from coppermend.bootstrap import demo_machine
from coppermend.services.demo import Wish, open_demo
from coppermend.services.patients import Lies, ask_patient, compared, patient_truth

router = APIRouter(prefix="/api", tags=["practice"])


@router.post("/practice", status_code=201)
def practise(desk: TheDesk, body: NewPatient | None = None) -> dict[str, Any]:
    """A new case on the demonstration machine with a practice patient behind it, as ``coppermend demo --fresh`` makes it."""
    asked = (body or NewPatient()).model_dump()
    bridges = asked.pop("bridges")
    wish = Wish(asked.pop("breaks"), asked.pop("seed"), asked.pop("noise"), Lies(**asked), bridges)
    made = desk.do(lambda w: open_demo(w, demo_machine(), fresh=True, wish=wish))
    return {"id": made.id, "number": made.number}


@router.post("/cases/{case}/practice/ask")
def ask(case: str, body: Touch, desk: TheDesk) -> dict[str, Any]:
    """Set the tips on two points: what the patient's meter says. Nothing is noted by this."""
    answer: dict[str, Any] = on_case(
        desk, case, lambda w, c: ask_patient(w, c, body.points[0], body.points[1], body.attempt, body.wires)
    ).as_dict()
    return answer


@router.get("/cases/{case}/practice/truth")
def truth(case: str, desk: TheDesk) -> dict[str, Any]:
    """What was really broken, and whether it was found. Asked for at the end."""
    answer: dict[str, Any] = on_case(desk, case, patient_truth).as_dict()
    return answer


@router.get("/cases/{case}/practice/planner")
def planner(case: str, desk: TheDesk) -> dict[str, Any]:
    """How many readings were taken, and how many the planner takes alone on the same patient. Worked out when asked for; takes seconds."""
    answer: dict[str, Any] = on_case(desk, case, compared).as_dict()
    return answer
