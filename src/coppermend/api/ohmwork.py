"""What the page shows beyond the round: shorts and ways by ohms, rails before power, the map's trust, the bench's own times. Each route calls one service."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query

from coppermend.api import views
from coppermend.api.routes import TheDesk, on_case
from coppermend.core.belief.ohmic import FOUR_WIRE, Instrument, two_wire
from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import plain
from coppermend.services.bench_times import LEAST, take_times, times_of
from coppermend.services.bind import bind
from coppermend.services.map_trust import map_as_dict, map_for_case
from coppermend.services.ohms import ask_excess, located_excess, ways_for_case
from coppermend.services.points import resolve
from coppermend.services.rails import rails_for_case
from coppermend.services.shorts import ShortAnswer, locate_short
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api/cases/{case}", tags=["ohms"])

Json = dict[str, Any]
Meter = Literal["", "four-wire", "two-wire"]
StepOhm = Annotated[float, Query(ge=1e-5, le=10.0)]
Net = Annotated[str, Query(min_length=1, max_length=200)]


def _instrument(meter: Meter, step_ohm: float) -> Instrument | None:
    if not meter:
        return None
    return FOUR_WIRE if meter == "four-wire" else two_wire(step_ohm)


def tips(workshop: Workshop, case: str, names: tuple[str, ...]) -> list[Json]:
    """Points as the page names them for a hand: name, side in words, place."""
    binding = bind(workshop, case)
    return [views.point_view(binding, resolve(binding.graph, one)) for one in names]


def both_nets(net_a: str, net_b: str) -> tuple[str, str] | None:
    """Both nets, or None where neither is named. Refusal SHO-002 where one is."""
    if bool(net_a) != bool(net_b):
        one = net_a or net_b
        raise refuse(
            "SHO-002",
            f"Only one net is named: {one}.",
            "Name the other one too, or neither: then the last reading that shows a short says which.",
            Place(thing=one),
        )
    return (net_a, net_b) if net_a else None


@router.get("/short")
def short(
    case: str, desk: TheDesk, net_a: str = "", net_b: str = "", meter: Meter = "", step_ohm: StepOhm = 0.01
) -> Json:
    """Where the short of two nets is, how sure that is, and the next reading; without names the nets of the last reading that shows one."""

    def use_case(w: Workshop, c: str) -> Json:
        found: ShortAnswer = locate_short(w, c, both_nets(net_a, net_b), _instrument(meter, step_ohm))
        out: Json = found.as_dict()
        if found.next is not None:
            out["next"] = {
                **out["next"],
                "force_tips": tips(w, c, found.next.force),
                "sense_tips": tips(w, c, found.next.sense),
            }
        return out

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/ways")
def ways(case: str, net: Net, desk: TheDesk, meter: Meter = "", step_ohm: StepOhm = 0.01) -> Json:
    """The stretches of a net that have two ways round, each with the ohms reading that proves it and what was read."""

    def use_case(w: Workshop, c: str) -> Json:
        found = ways_for_case(w, c, net, _instrument(meter, step_ohm))
        out: Json = found.as_dict()
        for row, one in zip(out["rows"], found.rows, strict=True):
            row["tips"] = tips(w, c, (one.reading.point_a, one.reading.point_b))
        return out

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/excess")
def excess(case: str, net: Net, desk: TheDesk, meter: Meter = "", step_ohm: StepOhm = 0.01) -> Json:
    """Which stretch of a net has too much resistance, and the next reading."""

    asked = on_case(desk, case, lambda w, c: ask_excess(w, c, net, _instrument(meter, step_ohm)))
    found = located_excess(asked)  # a second or two on a large net, while readings of this case are answered
    return {**found.as_dict(), "tips": on_case(desk, case, lambda w, c: tips(w, c, found.next_points))}


@router.get("/rails")
def rails(case: str, desk: TheDesk) -> Json:
    """Each supply rail with the two points to touch and what it read to ground since the last soldering."""

    def use_case(w: Workshop, c: str) -> Json:
        rows = [{**plain(one), "tips": tips(w, c, (one.point_a, one.point_b))} for one in rails_for_case(w, c)]
        return {"rails": rows}

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/map")
def the_map(case: str, desk: TheDesk) -> Json:
    """Whether map and board agree: P(map wrong), the readings that speak of it, the checks on untouched copper that are left."""

    def use_case(w: Workshop, c: str) -> Json:
        trust, binding = map_for_case(w, c), bind(w, c)
        against = [{**plain(one), "tips": tips(w, c, (one.point_a, one.point_b))} for one in trust.contradictions]
        return {
            **map_as_dict(trust),
            "left": [views.check_view(binding, one) for one in trust.left],
            "contradictions": against,
        }

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/times")
def times(case: str, desk: TheDesk) -> Json:
    """The modelled seconds of readings against those of the log, act by act; ``enough`` readings to plan with them."""
    found = on_case(desk, case, lambda w, c: times_of(w, [c]))
    return {**plain(found), "enough": found.used >= LEAST, "least": LEAST}


@router.post("/times", status_code=201)
def use_times(case: str, desk: TheDesk) -> Json:
    """Plan the case with the bench's own times from now on: a basis entry in its log."""
    entry = on_case(desk, case, lambda w, c: take_times(w, c, times_of(w, [c])))
    return {"entry": entry.id, "bench_seq": entry.bench_seq}
