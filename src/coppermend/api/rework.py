"""Rework in a case: the removal plan of a part, steps of cleaning and protection, the supply for a short. Each route calls one service."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from coppermend.api.ohmwork import both_nets
from coppermend.api.routes import TheDesk, on_case
from coppermend.api.schemas import Body
from coppermend.api.views import plan_rows
from coppermend.core.rework.removal import Bench, RemovalPlan
from coppermend.core.rework.routes_cut import cut_words
from coppermend.core.rework.supply import METER_MV, MOST_A
from coppermend.services import planlists
from coppermend.services.around import MARGIN_MM
from coppermend.services.bind import bind
from coppermend.services.care import care_of, tick
from coppermend.services.laying import Laying, box_typed
from coppermend.services.plans import note_plan
from coppermend.services.removal import removal_for_case
from coppermend.services.supply import supply_plan
from coppermend.services.wires import Laid, plan_for_case
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api/cases/{case}", tags=["rework"])

Json = dict[str, Any]


class CareTicked(Body):
    """A step of a procedure that was started, done or left out (say why in ``words``); ``sha256`` of a photo that the case has."""

    procedure: str = Field(max_length=40)
    step: str = Field(max_length=40)
    state: Literal["started", "done", "left out"] = "done"
    words: str = Field("", max_length=4000)
    sha256: str = Field("", max_length=64)
    entry_id: str | None = Field(None, max_length=36)


Typed = Annotated[str, Field(max_length=200)]
Several = Annotated[tuple[Typed, ...], Field(max_length=50)]


class WireAsked(Body):
    """Wires wanted on a net as a person says it: the points that ``need`` joining (empty: its pins), tracks to ``cut`` and wire round (a place X,Y/c or X,Y/s
    in mm, or a run's id), parts whose ground wires may cross (``allow``), boxes to ``keep_out`` ("X,Y X,Y" in mm, with /c or /s for one side), one ``side``
    for the ends, the ``current_a`` of the net in ampere, whether wires may end on bared track (``scrape``) or lie ``straight``. ``keep``: note the plan in the case.
    """

    net: str = Field(min_length=1, max_length=200)
    need: Several = ()
    side: Literal["", "c", "s"] = ""
    current_a: float = Field(0.0, ge=0.0, le=1000.0)
    cut: Several = ()
    allow: Several = ()
    keep_out: Several = ()
    scrape: bool = True
    straight: bool = False
    keep: bool = False


def _laid(w: Workshop, c: str, asked: WireAsked) -> Laid:
    boxes = tuple(box_typed(one) for one in asked.keep_out)
    laying = Laying(asked.straight, asked.scrape, asked.allow, boxes, asked.cut)
    return plan_for_case(w, c, asked.net, (), asked.need, side=asked.side, current_a=asked.current_a, laying=laying)


@router.post("/wires/plan")
def wires_planned(case: str, body: WireAsked, desk: TheDesk) -> Json:
    """The wires of a net under a person's own conditions: cuts first, least set first. With ``keep`` the plan is noted, and the record shows it."""

    def use_case(w: Workshop, c: str) -> Json:
        laid = _laid(w, c, body)
        kept = note_plan(w, c, planlists.wire_words(laid), planlists.wire_lists(laid)) if body.keep else None
        return {
            "net": laid.plans[0].net_name,
            "cuts": [one.as_dict() for one in laid.cuts],
            "cut_words": cut_words(laid.cuts),
            "plans": plan_rows(bind(w, c), laid.plans),
            "cautions": list(laid.plans[0].cautions),
            "kept": kept.words if kept else "",
        }

    answer: Json = on_case(desk, case, use_case)
    return answer


class RemovalAsked(Body):
    """What a removal is planned with: the iron's tip, the preheated board and where the old solder is all liquid in degC, the heat each face loses to the
    air in W/m2K, and the margin of the work area round the pins in mm."""

    tip_c: float = Bench().tip_c
    preheat_c: float = Bench().preheat_c
    liquidus_c: float = Bench().liquidus_c
    film_w_m2k: float = Bench().film_w_m2k
    margin_mm: float = MARGIN_MM

    def plan(self, w: Workshop, c: str, part: str) -> RemovalPlan:
        """The plan of a part of the case with these."""
        bench = Bench(
            tip_c=self.tip_c, preheat_c=self.preheat_c, liquidus_c=self.liquidus_c, film_w_m2k=self.film_w_m2k
        )
        return removal_for_case(w, c, part, bench, self.margin_mm)


@router.post("/removal/{part}", status_code=201)
def removal_kept(case: str, part: str, desk: TheDesk, body: RemovalAsked | None = None) -> Json:
    """Note the removal plan of a part in the case; the record shows it."""
    asked = body or RemovalAsked()

    def use_case(w: Workshop, c: str) -> Json:
        plan = asked.plan(w, c, part)
        return note_plan(w, c, planlists.removal_words(plan), planlists.removal_lists(plan)).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/removal/{part}")
def removal(case: str, part: str, desk: TheDesk, asked: Annotated[RemovalAsked, Query()]) -> Json:
    """The removal plan of a part with today's part states: pins ranked by thermal resistance, an order, neighbours, copper under it, the area at risk."""

    def use_case(w: Workshop, c: str) -> Json:
        return asked.plan(w, c, part).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/care")
def care(case: str, desk: TheDesk) -> Json:
    """All procedures of cleaning and protection as far as the case has come, those begun first."""

    def use_case(w: Workshop, c: str) -> Json:
        return {"procedures": [one.as_dict() for one in care_of(w, c)]}

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/care", status_code=201)
def care_tick(case: str, body: CareTicked, desk: TheDesk) -> Json:
    """Note a step as started, done or left out; the answer says how far the procedure is and what to mind."""

    def use_case(w: Workshop, c: str) -> Json:
        written, now = tick(
            w,
            c,
            body.procedure,
            body.step,
            state=body.state,
            words=body.words,
            sha256=body.sha256,
            entry_id=body.entry_id,
        )
        return {**written.as_dict(), "care": now.as_dict()}

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/short/supply")
def short_supply(
    case: str,
    desk: TheDesk,
    net_a: str = "",
    net_b: str = "",
    step_mv: float = METER_MV,
    most_a: float = MOST_A,
) -> Json:
    """The voltage-drop method for a short: supply limits, feed points, drops to expect, thermal hint."""

    def use_case(w: Workshop, c: str) -> Json:
        return supply_plan(w, c, both_nets(net_a, net_b), step_mv, most_a).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


class SupplyAsked(Body):
    """The two nets (both empty: those of the last reading that shows a short), the meter's last digit in mV, the most ampere of the supply."""

    net_a: Annotated[str, Field(max_length=80)] = ""
    net_b: Annotated[str, Field(max_length=80)] = ""
    step_mv: float = METER_MV
    most_a: float = MOST_A


@router.post("/short/supply", status_code=201)
def short_supply_kept(case: str, body: SupplyAsked, desk: TheDesk) -> Json:
    """Note the plan of the voltage-drop method in the case; the record shows it."""

    def use_case(w: Workshop, c: str) -> Json:
        plan = supply_plan(w, c, both_nets(body.net_a, body.net_b), body.step_mv, body.most_a)
        return note_plan(w, c, planlists.supply_words(plan), planlists.supply_lists(plan)).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer
