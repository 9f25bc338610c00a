"""Cleaning and protection: what the steps say and where it comes from, and a case that ticks, times and photographs them."""

from __future__ import annotations

import io
from typing import Any

import pytest
from PIL import Image
from tests.copper_boards import board, pad, part, track
from tests.fakes import fake_workshop

from coppermend.core.copper.build import build_graph
from coppermend.core.findings import Refusal
from coppermend.core.log.state import CareTick
from coppermend.core.rework.care import CELL, PROCEDURES, procedure
from coppermend.services.care import care_now, care_of, tick
from coppermend.services.carework import OWNED, care_owned, care_rows
from coppermend.services.cases import case_state, new_case
from coppermend.services.intake import note_intake
from coppermend.services.notes import undo
from coppermend.services.workshop import Workshop


@pytest.fixture
def shop() -> Workshop:
    layers: dict[str, Any] = {
        "c": [pad(0, 0, 1.5), pad(9, 0, 1.5)],
        "s": [pad(0, 0, 1.5), pad(9, 0, 1.5), *track(0.3, (0, 0), (9, 0))],
    }
    one = board(layers, [(0, 0, 0.8), (9, 0, 0.8)], [part("J1", "c", [("1", 0, 0, 0), ("2", 9, 0, 1)])])
    return fake_workshop(one, build_graph(one))


def test_every_step_has_words_and_a_source_and_keys_are_unique() -> None:
    """A step says what to do and where that comes from; every procedure begins with the power off."""
    for key, one in PROCEDURES.items():
        assert one.key == key and one.title and one.when
        keys = [step.key for step in one.steps]
        assert len(set(keys)) == len(keys) and keys[0] == "power"
        assert all(step.words.endswith(".") and step.source for step in one.steps)


def test_a_leaked_cell_is_neutralised_rinsed_and_dried_in_that_order() -> None:
    """Order and means after a collector's page on battery corrosion and collectors' lists (docs/sources.md); drying: a day or two."""
    keys = [step.key for step in CELL.steps]
    assert (
        keys.index("out")
        < keys.index("neutralise")
        < keys.index("rinse")
        < keys.index("alcohol")
        < keys.index("dry")
        < keys.index("area")
    )
    assert "vinegar" in CELL.step("neutralise").words and CELL.step("dry").wait_s >= 86400.0
    said = " ".join(mind for step in CELL.steps for mind in step.mind)
    assert "caustic" in said and "lithium" in said and "burst" in said and "attacks copper" in said


def test_hot_work_warns_of_fumes_and_lead_where_it_is_done() -> None:
    """Every step that solders says fumes and lead (HSE INDG248 for rosin fume; lead: common practice)."""
    for one, keys in (("land", ("clean", "wire")), ("barrel", ("clean", "round")), ("removal", ("joints", "wick"))):
        for key in keys:
            assert any("fumes" in mind and "lead" in mind for mind in procedure(one).step(key).mind)


def test_short_with_a_supply_keeps_chips_off() -> None:
    """At most 0.3 V open: below the forward voltage of a silicon junction (common practice)."""
    limit = procedure("short").step("limit")
    assert "0.3 V" in limit.words and "chip" in " ".join(limit.mind)


def picture() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (8, 6)).save(out, "PNG")
    return out.getvalue()


def test_ticks_are_kept_timed_and_photographed(shop: Workshop) -> None:
    """Start, done: the time between is the step's; the drying time runs on; undo opens the step again."""
    case = new_case(shop, "hand", "leaked").state.case
    first = care_now(shop, case, "cell")
    assert first.done == 0 and first.next == "power"
    tick(shop, case, "cell", "power")
    _, begun = tick(shop, case, "cell", "guard", state="started")
    assert any("caustic" in one for one in begun.cautions)
    _, over = tick(shop, case, "cell", "guard")
    guard = next(one for one in over.steps if one.step.key == "guard")
    assert guard.state == "done" and guard.seconds is not None and guard.seconds > 0
    _, shot = tick(shop, case, "cell", "before", photo=picture(), photo_name="a.png")
    assert len(next(one for one in shot.steps if one.step.key == "before").photos) == 1
    _, early = tick(shop, case, "cell", "dry")
    assert any("not ticked yet: out" in one for one in early.cautions)
    dry = next(one for one in early.steps if one.step.key == "dry")
    assert 0 < dry.wait_left_s <= 86400.0
    _, later = tick(shop, case, "cell", "look")
    assert any("dry needs" in one for one in later.cautions)
    undo(shop, case)
    assert next(one for one in care_now(shop, case, "cell").steps if one.step.key == "look").state == "open"
    assert care_of(shop, case)[0].procedure.key == "cell"


def test_a_waiting_time_never_started_and_a_photo_that_is_missing_are_said_at_once(shop: Workshop) -> None:
    """Drying takes a day or two (a collector's page, docs/sources.md); the photo before anything is wiped off is the step itself."""
    case = new_case(shop, "hand", "leaked").state.case
    _, dried = tick(shop, case, "cell", "dry")
    assert any(
        "dry was not started here: its waiting time of 24.0 h counts from this tick" in one for one in dried.cautions
    )
    tick(shop, case, "land", "cure", state="started")
    _, early = tick(shop, case, "land", "cure")
    assert any("cure is ticked early: it needs 4.0 h more" in one or "it needs 3.9 h" in one for one in early.cautions)
    _, bare = tick(shop, case, "cell", "before")
    assert any("before asks for a photo and has none" in one for one in bare.cautions)
    rows = {step: said for _, step, _, said in care_rows(case_state(shop, case).care)}
    assert rows["before"] == "photo asked for, none kept" and rows["dry"] == ""
    _, shot = tick(shop, case, "cell", "before", photo=picture(), photo_name="a.png")
    assert not any("photo" in one for one in shot.cautions)
    assert ("before", "photo kept") in {(row[1], row[3]) for row in care_rows(case_state(shop, case).care)}
    _, begun = tick(shop, case, "cell", "look", state="started")
    assert not any("photo" in one for one in begun.cautions)


def test_no_coat_that_the_owner_does_not_want(shop: Workshop) -> None:
    """Lacquer cannot be undone: where the owner was asked and has not agreed it stands first at the step, and is said when it is ticked all the same."""

    def minds(case: str) -> tuple[str, ...]:
        return next(one.step.mind for one in care_now(shop, case, "mask").steps if one.step.key == "coat")

    case = new_case(shop, "hand", "asked").state.case
    assert not any("owner" in one for one in minds(case))
    note_intake(shop, case, "consent", yes=True, acts=["unsolder"])
    assert "has not agreed" in minds(case)[0]
    for how in ("started", "done"):
        assert any("has not agreed" in one for one in tick(shop, case, "mask", "coat", state=how)[1].cautions), how
    note_intake(shop, case, "consent", yes=True, acts=["coat"])
    assert not any("owner" in one for one in (*minds(case), *tick(shop, case, "mask", "coat")[1].cautions))


def test_refusals(shop: Workshop) -> None:
    """Unknown names, a step left out without a reason, a photo the case does not have, a picture that is none."""
    case = new_case(shop, "hand", "x").state.case
    for code, words, more in (
        ("CAR-001", ("wash", "power"), {}),
        ("CAR-002", ("cell", "polish"), {}),
        ("CAR-003", ("cell", "power"), {"state": "half"}),
        ("CAR-004", ("cell", "neutralise"), {"state": "left out"}),
        ("PHO-003", ("cell", "before"), {"sha256": "0" * 64}),
        ("PHO-002", ("cell", "before"), {"photo": b"no picture"}),
    ):
        with pytest.raises(Refusal, match=code):
            tick(shop, case, *words, **more)
    assert care_now(shop, case, "cell").done == 0


def test_the_owner_reads_what_was_done_in_words_not_in_names_of_steps() -> None:
    """Each step told to the owner exists; what only guards the work (gloves, supply off) is left out; started and left out steps were not done."""
    for key, told in OWNED.items():
        assert set(told) <= {one.key for one in PROCEDURES[key].steps}
    assert set(OWNED) == set(PROCEDURES)

    def ticked(step: str, state: str = "done") -> CareTick:
        return CareTick("", 1, "cell", step, state, "", "", "2026-11-26T10:00:00Z")

    ticks = [
        ticked("guard"),
        ticked("out"),
        ticked("neutralise"),
        ticked("rinse"),
        ticked("alcohol", "left out"),
        ticked("dry", "started"),
    ]
    assert care_owned(ticks) == (
        ("After a leaked cell", ("the cell taken out", "what had leaked neutralised", "rinsed with water")),
    )
    assert (
        care_owned([ticked("guard")]) == (("After a leaked cell", ()),) and care_owned([ticked("dry", "started")]) == ()
    )
