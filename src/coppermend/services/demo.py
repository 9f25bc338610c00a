"""The demonstration: a case in progress on the demonstration machine with a practice patient behind it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import Place, refuse
from coppermend.services.areas import MARGIN_MM, add_area
from coppermend.services.cases import new_case
from coppermend.services.notes import note
from coppermend.services.patients import NO_WISH, Lies, put_patient, telling_seed
from coppermend.services.practice import refuse_no_rates
from coppermend.services.requests import Request
from coppermend.services.workshop import Workshop

PACKAGE = "demo"
FIRST_SEED = 1983
BREAKS = 2


@dataclass(frozen=True, slots=True)
class Machine:
    """What the machine's own file says: its name, the owner's complaint, and its work areas as ``add_area`` takes them."""

    name: str
    complaint: str
    areas: tuple[dict[str, Any], ...]


def machine_of(text: str, file: str = "machine.json") -> Machine:
    """The machine that a machine file (JSON: ``name``, ``complaint``, ``work_areas``) describes. Refusal PRA-013 when it cannot be used.

    >>> made = machine_of('{"name": "A", "complaint": "dark", "work_areas": [{"part": "U1", "kind": "rework", "severity": 2}]}')
    >>> made.complaint, made.areas[0]["part"], made.areas[0]["margin_mm"]
    ('dark', 'U1', 3.0)
    """
    try:
        said = json.loads(text)
        areas = tuple(_area(row) for row in said["work_areas"])
        return Machine(str(said["name"]), str(said["complaint"]), areas)
    except (KeyError, TypeError, ValueError, AttributeError) as err:
        raise refuse(
            "PRA-013",
            f"The machine file cannot be used ({type(err).__name__}: {err}).",
            'It needs "name", "complaint" and "work_areas", each area with "kind", "severity" and "polygon_mm" or "part".',
            Place(file=file),
        ) from None


def _area(row: dict[str, Any]) -> dict[str, Any]:
    place: dict[str, Any] = (
        {"polygon": tuple((float(x), float(y)) for x, y in row["polygon_mm"])}
        if "polygon_mm" in row
        else {"part": str(row["part"]), "margin_mm": float(row.get("margin_mm", MARGIN_MM))}
    )
    return {**place, "kind": str(row["kind"]), "severity": int(row["severity"]), "label": str(row.get("words", ""))}


@dataclass(frozen=True, slots=True)
class DemoCase:
    """The demonstration's case: ``new`` when it was made now."""

    id: str
    number: int
    title: str
    new: bool


@dataclass(frozen=True, slots=True)
class Wish:
    """What patient is wanted: ``breaks``, ``seed`` (None: one that shows the job well), ``noise`` standard or off, how the bench lies, and ``bridges`` of solder."""

    breaks: int = BREAKS
    seed: int | None = None
    noise: str = "standard"
    lies: Lies = NO_WISH
    bridges: int = 0


ANY_PATIENT = Wish()
MOST_BREAKS = 20
MOST_BRIDGES = 5


def refuse_wish(wish: Wish) -> None:
    """Refusals PRA-007, PRA-010 and PRA-015 for a patient that cannot be made."""
    refuse_no_rates({name.replace("_", "-"): rate for name, rate in wish.lies.given().items()})
    if wish.noise not in ("standard", "off"):
        raise refuse("PRA-010", f"There is no noise {wish.noise!r}.", "Say standard or off.")
    if not 0 <= wish.breaks <= MOST_BREAKS or (wish.seed is not None and wish.seed < 0):
        raise refuse(
            "PRA-015",
            f"{wish.breaks} breaks with seed {wish.seed} are no practice patient.",
            f"Ask for 0 to {MOST_BREAKS} breaks, and a seed of 0 or more.",
        )
    if not 0 <= wish.bridges <= MOST_BRIDGES:
        raise refuse(
            "PRA-015", f"{wish.bridges} bridges are no practice patient.", f"Ask for 0 to {MOST_BRIDGES} bridges."
        )


def open_demo(workshop: Workshop, machine: Machine, *, fresh: bool = False, wish: Wish = ANY_PATIENT) -> DemoCase:
    """The latest case on the demonstration machine as its package is now, or a new one (always with ``fresh`` or a ``wish``): opened, seen dark, cell out,
    areas marked, a patient behind it. Refusals of ``put_patient``, before a case is made.
    """
    refuse_wish(wish)
    fresh = fresh or wish != ANY_PATIENT
    rows = [one for one in workshop.store.heads() if one.head.practice]
    now = workshop.shelf.take(PACKAGE).board.package_id
    same = [one for one in rows if one.head.package_id == now]
    if same and not fresh:
        return DemoCase(same[-1].id, same[-1].number, same[-1].head.title, False)
    view = new_case(
        workshop,
        PACKAGE,
        machine.name,
        serial=f"LF-{1000 + len(rows)}",
        complaint=machine.complaint,
        owner="a friend of the workshop",
    )
    case = view.state.case
    note(
        workshop,
        case,
        Request("remove", part="BT1", words="leaked; green crust round its place, wiped with vinegar, then alcohol"),
    )
    note(workshop, case, Request("symptom", words="Black screen, no sound, power light on."))
    for area in machine.areas:
        add_area(workshop, case, **area)
    seed = wish.seed
    if seed is None:
        seed = telling_seed(workshop, case, FIRST_SEED + 100 * len(rows), wish.breaks)
    put_patient(workshop, case, seed=seed, breaks=wish.breaks, noise=wish.noise, lies=wish.lies, bridges=wish.bridges)
    return DemoCase(case, view.number, machine.name, True)
