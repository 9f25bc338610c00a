"""Routes of solder, heat and wire: what a mixture melts at, doses for a part, warming the board of a case, what a gauge of wire is good for."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import Field

from coppermend.api.routes import TheDesk, on_case
from coppermend.api.schemas import Body
from coppermend.core.board.model import Board
from coppermend.core.rework.alloy.dose import BISMUTH_LIMIT_WT, WICK_LEAVES
from coppermend.core.rework.gauge import gauge
from coppermend.core.rework.heat.limits import TG_OLD_C
from coppermend.core.rework.heat.plate import NOZZLE_FILM_W_M2K, Room
from coppermend.core.rework.heat.slab import Build, Slab, cut
from coppermend.services import alloys, heat, plans
from coppermend.services.bind import bind
from coppermend.services.heatcautions import NOT_KNOWN, cautions_on_board

router = APIRouter(prefix="/api", tags=["solder"])

Json = dict[str, Any]
AlloyName = Annotated[str, Field(min_length=1, max_length=60)]
Pair = tuple[float, float]


class MixAsked(Body):
    """Old solder and what is fed to it: ``share`` of the added alloy by mass (0 to 1), or both masses in mg."""

    base: AlloyName
    add: AlloyName
    share: float | None = None
    base_mg: float | None = None
    add_mg: float | None = None


class DosesAsked(Body):
    """What is fed to a part's joints: ``keep_c`` the board's temperature at the joints; old solder from the board's holes unless ``old_mg`` is given."""

    base: AlloyName
    add: AlloyName
    keep_c: float
    part: Annotated[str, Field(max_length=40)] = ""
    old_mg: float | None = None
    pins: Annotated[int, Field(ge=1, le=10_000)] | None = None
    pin_mm: Pair = alloys.PIN_MM
    wire_mm: float = 1.0
    doses: Annotated[int, Field(ge=1, le=12)] = 4
    fresh: Annotated[str, Field(max_length=60)] = ""
    wick_leaves: float = WICK_LEAVES
    limit_wt: float = BISMUTH_LIMIT_WT


class Nozzle(Body):
    """Hot air on a spot: place and diameter in mm, the air's temperature, and where the solder is all liquid plus 20 K."""

    x_mm: float
    y_mm: float
    diameter_mm: float
    celsius: float = 350.0
    melt_c: float = 203.0
    film_w_m2k: float = NOZZLE_FILM_W_M2K


class PreheatAsked(Body):
    """A heater under the case's board: kind and temperature, target, the laminate's Tg, mass of the parts; ``readings`` of a thermocouple as text.

    ``size_mm`` for a board of which no data is known; it is taken as 1.6 mm thick with 30 % copper on both sides.
    """

    heater: Literal["air", "plate"]
    heater_c: float
    side: Literal["c", "s"] = "s"
    film_w_m2k: float | None = None
    gap_mm: float | None = None
    area_mm: tuple[float, float, float, float] | None = None
    target_c: float = 100.0
    tg_c: float = TG_OLD_C
    room_c: float = 22.0
    parts_g: float = 0.0
    size_mm: Pair | None = None
    readings: Annotated[str, Field(max_length=100_000)] = ""
    at_mm: Pair | None = None
    at_side: Literal["c", "s"] = "c"
    nozzle: Nozzle | None = None


def _board(desk: TheDesk, case: str) -> Board:
    """The board of a case; what is computed from it does not hold up the bench."""
    board: Board = on_case(desk, case, lambda workshop, found: bind(workshop, found).board)
    return board


@router.get("/alloys")
def known() -> Json:
    """Published solders with their solidus and liquidus, beside the model's."""
    return {"alloys": alloys.known_alloys()}


@router.post("/alloys/mix")
def mixed(body: MixAsked) -> Json:
    """Composition, solidus, liquidus and heat of melting of a joint to which an alloy is fed."""
    share = alloys.share_of(body.share, body.base_mg, body.add_mg)
    return alloys.mixture(body.base, body.add, share).as_dict()


@router.get("/wires/gauge")
def wire_gauge(awg: int, length_mm: float) -> Json:
    """Resistance and fusing currents of a length of copper wire at 20 degC, with what they rest on."""
    return dict(gauge(awg, length_mm).as_dict())


@router.post("/cases/{case}/alloys")
def doses(case: str, body: DosesAsked, desk: TheDesk) -> Json:
    """How much alloy per pin and for the whole part keeps its joints liquid, the rounds that clean them after, and the diagram as SVG text."""
    board = _board(desk, case) if body.part or body.old_mg is None else None
    mind = alloys.mind_part(board, body.part) if board is not None else ()
    found = alloys.joints_of(board, body.part, body.pin_mm) if board is not None and body.old_mg is None else None
    plan = alloys.feed_plan(
        body.base, body.add, body.keep_c,
        old_mg=body.old_mg, joints=None if found is None else found.joint,
        pins=body.pins or (1 if found is None else found.pins),
        wire_mm=body.wire_mm, doses=body.doses, fresh=body.fresh, wick_leaves=body.wick_leaves, limit_wt=body.limit_wt,
        of_part=mind, on_board=_on_board(desk, case, body.keep_c),
    )  # fmt: skip
    return {
        **plan.as_dict(),
        "part": body.part,
        "joint_words": "" if found is None else found.words(),
        "diagram": alloys.drawing(plan.doses),
        "plan": plans.alloy_plan(plan),
    }


@router.post("/cases/{case}/preheat")
def preheat(case: str, body: PreheatAsked, desk: TheDesk) -> Json:
    """Time to a safe temperature under the laminate's Tg, differences on the board, the setting that may stay on, cooling, hot air on a spot."""
    fine, coarse = _slabs(body, desk, case)
    on_board = (NOT_KNOWN,) if body.size_mm is not None else _on_board(desk, case, body.target_c)
    made = heat.warming(
        fine,
        heat.heater_of(
            body.heater,
            body.heater_c,
            body.side,
            film_w_m2k=body.film_w_m2k,
            gap_mm=body.gap_mm,
            region_mm=body.area_mm,
        ),
        target_c=body.target_c,
        tg_c=body.tg_c,
        room=Room(body.room_c),
        readings=heat.readings_of(body.readings) if body.readings.strip() else (),
        coarse=coarse,
        spot_mm=body.at_mm,
        thermocouple_side=body.at_side,
        on_board=on_board,
    )
    if body.nozzle is not None:
        made = heat.with_hot_air(
            made,
            at_mm=(body.nozzle.x_mm, body.nozzle.y_mm),
            diameter_mm=body.nozzle.diameter_mm,
            celsius=body.nozzle.celsius,
            melt_c=body.nozzle.melt_c,
            film_w_m2k=body.nozzle.film_w_m2k,
        )
    return {**made.as_dict(), "plan": plans.warming_plan(made)}


def _on_board(desk: TheDesk, case: str, target_c: float) -> tuple[str, ...]:
    """What of the parts that stand on the case's board now heat harms."""
    found: tuple[str, ...] = on_case(
        desk,
        case,
        lambda shop, one: cautions_on_board(bind(shop, one).board, dict(bind(shop, one).graph.part_states), target_c),
    )
    return found


def _slabs(body: PreheatAsked, desk: TheDesk, case: str) -> tuple[Slab, Slab]:
    """The board in fine and in coarse cells: by its size where that was given, else its own."""
    if body.size_mm is not None:
        build = Build(body.size_mm, parts_g=body.parts_g)
        return cut(build, cells=heat.CELLS), cut(build, cells=heat.COARSE_CELLS, slices=3)
    board = _board(desk, case)
    return (
        heat.slab_of(board, parts_g=body.parts_g),
        heat.slab_of(board, cells=heat.COARSE_CELLS, slices=3, parts_g=body.parts_g),
    )
