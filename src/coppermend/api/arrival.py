"""Routes of intake, supply and chips: each calls one service."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from coppermend.api.ohmwork import tips
from coppermend.api.routes import TheDesk, on_case
from coppermend.api.schemas import Body, Name, Words
from coppermend.core.log.state import plain
from coppermend.core.log.values import parse_value
from coppermend.services.bind import bind
from coppermend.services.chips import note_check, note_chip, pin_list
from coppermend.services.chiptries import cards_of, chip_conflicts
from coppermend.services.chipwork import chip_work, parts_with_chips
from coppermend.services.intake import intake_now, note_intake
from coppermend.services.rails import rails_for_case
from coppermend.services.railshort import shorted_part
from coppermend.services.supplyproof import note_supply, supply_now
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api/cases/{case}", tags=["arrival"])

Json = dict[str, Any]


class IntakeSaid(Body):
    """One item of the intake: yes or no, words, an amount, acts consented to, photos that the case has (SHA-256)."""

    item: Name
    yes: bool | None = None
    words: Words = ""
    amount: float | None = None
    currency: Name = ""
    acts: list[str] = Field(default_factory=list, max_length=20)
    photos: list[str] = Field(default_factory=list, max_length=40)
    entry_id: Annotated[str, Field(pattern=r"^[0-9a-f-]{36}$")] | None = None


class SupplySaid(Body):
    """A rail of the supply as typed: volts, where, and with which load, ripple, noise, rise time."""

    rail: Name
    volt: Name
    at: Literal["alone", "connector", "far"] = "alone"
    part: Name = ""
    load: Name = ""
    ripple: Name = ""
    noise: Name = ""
    rise: Name = ""
    words: Words = ""
    entry_id: Annotated[str, Field(pattern=r"^[0-9a-f-]{36}$")] | None = None


class ChipSaid(Body):
    """What one chip is and where it is."""

    chip: Name
    type: Name = ""
    speed: Name = ""
    origin: Name = ""
    goodness: Name = ""
    place: Name = ""
    price: float | None = None
    words: Words = ""
    entry_id: Annotated[str, Field(pattern=r"^[0-9a-f-]{36}$")] | None = None


class ChipChecked(Body):
    """A check of a part, of all of it or of some pins ("1-8, 12")."""

    item: Name
    good: bool = True
    pins: str = Field("", max_length=1000)
    words: Words = ""
    entry_id: Annotated[str, Field(pattern=r"^[0-9a-f-]{36}$")] | None = None


@router.get("/intake")
def intake(case: str, desk: TheDesk) -> Json:
    """What is asked when a machine arrives, what was answered, what the owner allows."""

    def use_case(w: Workshop, c: str) -> Json:
        return intake_now(w, c).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/intake", status_code=201)
def intake_said(case: str, body: IntakeSaid, desk: TheDesk) -> Json:
    """Note one item of the intake; the answer holds the whole intake as it stands then."""

    def use_case(w: Workshop, c: str) -> Json:
        written = note_intake(
            w, c, body.item, yes=body.yes, words=body.words, amount=body.amount, currency=body.currency, acts=body.acts,
            photos=body.photos, entry_id=body.entry_id,
        )  # fmt: skip
        return {**written.as_dict(), "intake": intake_now(w, c).as_dict()}

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/supply")
def supply(case: str, desk: TheDesk) -> Json:
    """The supply: what each rail should be and was measured to be, limits to set, and where each rail is measured to ground."""
    answer: Json = on_case(desk, case, _supply)
    return answer


def _supply(w: Workshop, c: str) -> Json:
    return {
        **supply_now(w, c).as_dict(),
        "to_ground": [{**plain(one), "tips": tips(w, c, (one.point_a, one.point_b))} for one in rails_for_case(w, c)],
    }


@router.post("/supply", status_code=201)
def supply_said(case: str, body: SupplySaid, desk: TheDesk) -> Json:
    """Note a rail of the supply, measured alone, at the connector or at a far chip."""

    def use_case(w: Workshop, c: str) -> Json:
        def figure(text: str, unit: str) -> float | None:
            return parse_value(text, unit) if text.strip() else None

        written = note_supply(
            w, c, body.rail, body.at, _volt(body.volt), part=body.part, load_a=figure(body.load, "ampere"), ripple_v=figure(body.ripple, "volt"),
            noise_v=figure(body.noise, "volt"), rise_s=figure(body.rise, "second"), words=body.words, entry_id=body.entry_id,
        )  # fmt: skip
        return {**written.as_dict(), "supply": _supply(w, c)}

    answer: Json = on_case(desk, case, use_case)
    return answer


def _volt(text: str) -> float:
    value = parse_value(text, "volt")
    return float("inf") if value is None else value


@router.get("/supply/short")
def supply_short(case: str, desk: TheDesk, rail: Annotated[str, Query(max_length=80)] = "") -> Json:
    """Which part shorts a rail to ground, by milliohms and neighbourhood, and the reading to take next."""

    def use_case(w: Workshop, c: str) -> Json:
        return shorted_part(w, c, rail).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/chips")
def chips(case: str, desk: TheDesk) -> Json:
    """The labelled chips with their history, and the chips of the board."""
    answer: Json = on_case(desk, case, _chips)
    return answer


def _chips(w: Workshop, c: str) -> Json:
    binding = bind(w, c)
    return {
        "chips": [one.as_dict() for one in cards_of(binding).values()],
        "parts": list(parts_with_chips(w, c)),
        "conflicts": [{"words": one.words, "settles": one.settles} for one in chip_conflicts(binding)],
    }


@router.post("/chips", status_code=201)
def chip_said(case: str, body: ChipSaid, desk: TheDesk) -> Json:
    """Note what one chip is, where it came from and where it is."""

    def use_case(w: Workshop, c: str) -> Json:
        written = note_chip(
            w, c, body.chip, type_name=body.type, speed=body.speed, origin=body.origin, goodness=body.goodness, place=body.place, price=body.price,
            words=body.words, entry_id=body.entry_id,
        )  # fmt: skip
        return {**written.as_dict(), **_chips(w, c)}

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/chips/{part}")
def chip_of_part(case: str, part: str, desk: TheDesk) -> Json:
    """The work on one part: legs free or not, bare holes while it is out, the fit of the next one, every pin from leg to track."""

    def use_case(w: Workshop, c: str) -> Json:
        return chip_work(w, c, part).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/chips/{part}/checks", status_code=201)
def chip_checked(case: str, part: str, body: ChipChecked, desk: TheDesk) -> Json:
    """Tick a check of a part as it should be or not; the answer holds the work as it stands then."""

    def use_case(w: Workshop, c: str) -> Json:
        written = note_check(
            w, c, part, body.item, body.good, pins=pin_list(body.pins), words=body.words, entry_id=body.entry_id
        )
        return {**written.as_dict(), "work": chip_work(w, c, part).as_dict()}

    answer: Json = on_case(desk, case, use_case)
    return answer
