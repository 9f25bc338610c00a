"""The next step of a real case, chosen among everything: the copper's before the first power-up, then looks, names that last until they are mended, consent,
tests, and the rest of the round. Common practice for the order, no source. The module's one board under power takes some
seconds. The patients of the whole kind: what is wrong shows, what is mended is mended in every answer, harm is counted."""

from __future__ import annotations

from pathlib import Path

import pytest

from coppermend import bootstrap
from coppermend.core.belief.suspects.posterior import Apart
from coppermend.core.copper.worked import PatchWire, worked
from coppermend.core.log.state import Act
from coppermend.core.planning.suspects_next import SuspectStep
from coppermend.practice.patient import Noise
from coppermend.practice.powered import Lies
from coppermend.practice.whole import WHOLE_KINDS, WholeFault, WholePatient
from coppermend.services.areas import add_area
from coppermend.services.bench import next_for_case, plan_of
from coppermend.services.bind import bind
from coppermend.services.cases import case_state, new_case
from coppermend.services.entries import write
from coppermend.services.intake import note_intake
from coppermend.services.memory import note_memory
from coppermend.services.notes import note
from coppermend.services.powered import PoweredBoard
from coppermend.services.rails import board_rails
from coppermend.services.requests import Request
from coppermend.services.whole import as_next, whole_for_case
from coppermend.services.whole_belief import not_worn_out, session_then
from coppermend.services.whole_copper import pairs_before_power
from coppermend.services.whole_hands import run_technician
from coppermend.services.whole_mends import read_since
from coppermend.services.whole_practice import _Run, marks, run_next
from coppermend.services.whole_setting import WholeSetting, whole_patient, whole_setting
from coppermend.services.whole_view import WholeStep, WholeView
from coppermend.services.whole_ways import unread_rom
from coppermend.services.workshop import Workshop


@pytest.fixture(scope="module")
def board() -> PoweredBoard:
    return bootstrap.powered_setting("demo", most=20_000)


@pytest.fixture
def made(tmp_path: Path) -> Workshop:
    return bootstrap.practice_workshop()


@pytest.fixture
def case(made: Workshop) -> str:
    return new_case(made, "demo", "Machine", complaint="dark").state.case


def whole(made: Workshop, case: str, board: PoweredBoard) -> WholeStep:
    return whole_for_case(made, case, bootstrap.device_book(), bootstrap.machine_model("demo"), (), board)


def started(made: Workshop, case: str, screen: str) -> None:
    note(made, case, Request("gate", value="override", words="a test"))
    note(made, case, Request("power", value="on"))
    note(made, case, Request("seen", fields={"screen": screen}))


def test_before_the_first_power_up_it_is_the_coppers_step(made: Workshop, case: str, board: PoweredBoard) -> None:
    assert whole(made, case, board).kind == "copper" and whole(made, case, board).copper == next_for_case(made, case)
    add_area(made, case, part="U1", kind="rework", severity=2)
    step = whole(made, case, board)
    assert as_next(step) == next_for_case(made, case) and as_next(step).kind == "check"


def test_a_start_that_can_tell_is_weighed_against_the_round(made: Workshop, case: str, board: PoweredBoard) -> None:
    """With display and cables known good and nothing else plugged in the rails that belong apart are read, then the gate; without, the round goes first."""
    add_area(made, case, part="U1", kind="rework", severity=2)
    note(made, case, Request("map", value="agreed", words="compared"))
    note_intake(made, case, "known good", yes=True)
    assert whole(made, case, board).kind == "copper"
    note_intake(made, case, "minimum", yes=True)
    step = whole(made, case, board)
    while step.copper is not None and step.copper.kind == "isolation":
        assert step.copper.check is not None
        nets = {step.copper.check.net_a, step.copper.check.net_b}
        assert nets <= set(board_rails(bind(made, case))), (
            "two rails that no reading of one of them to ground tells apart"
        )
        note(made, case, Request("open", (step.copper.check.point_a, step.copper.check.point_b)))
        step = whole(made, case, board)
    assert step.kind == "gate" and "start first" in step.why and as_next(step).kind == "gate"
    note_intake(made, case, "known good", yes=False)
    assert whole(made, case, board).kind == "copper"


def test_a_start_asks_for_looks_and_a_machine_that_works_for_its_tests(
    made: Workshop, case: str, board: PoweredBoard
) -> None:
    add_area(made, case, part="U1", kind="rework", severity=2)
    started(made, case, "garbage")
    step = whole(made, case, board)
    assert step.kind == "look" and step.look is not None and step.look.points and as_next(step).kind == "powered"
    started(made, case, "works")
    assert whole(made, case, board).kind == "memory" and not whole(made, case, board).healthy
    write(made, case, "memory", {"errors": [], "words": "no error"})
    step = whole(made, case, board)
    assert step.healthy and step.kind == "copper" and step.copper is not None and step.copper.check is not None


def test_what_a_memory_test_names_waits_for_the_owner_and_stays_named_until_it_is_mended(
    made: Workshop, case: str, board: PoweredBoard
) -> None:
    """Bit 1 wrong in ten words: the chip of bit 1, U51 (its 4164 holds one bit). It is soldered in: the owner has to agree first."""
    add_area(made, case, part="U1", kind="rework", severity=2)
    started(made, case, "starts, something fails")
    assert whole(made, case, board).kind == "memory"
    words = "\n".join(f"{0x8000 + 0x111 * k:04X} 55 57" for k in range(10))
    note_memory(made, case, bootstrap.device_book(), words.encode(), "test")
    step = whole(made, case, board)
    assert (
        step.kind == "ask"
        and step.named is not None
        and step.named.unit == "part U51"
        and step.named.consent == "unsolder"
    )
    note_intake(made, case, "consent", yes=True, acts=["unsolder"])
    step = whole(made, case, board)
    assert step.kind == "mend" and step.part == "U51" and "qualified" in step.caution
    note_intake(made, case, "consent", yes=False, acts=["replace part"])
    step = whole(made, case, board)
    assert step.kind == "ask" and step.named is not None and step.named.consent == "replace part"
    note_intake(made, case, "consent", yes=True, acts=["replace part"])
    assert whole(made, case, board).kind == "mend"
    note(made, case, Request("power", value="off"))
    note(made, case, Request("reseat", part="U5"))
    assert whole(made, case, board).part == "U51", "another repair makes the readings worthless, not the finding"
    note(made, case, Request("swap", part="U51"))
    acts: tuple[Act, ...] = case_state(made, case).acts
    assert acts[-1].part == "U51" and whole(made, case, board).kind in ("gate", "power", "copper")


def test_isolation_read_while_power_is_off_for_a_mend_counts_and_nothing_is_asked_for_ever(
    made: Workshop, case: str, board: PoweredBoard
) -> None:
    """Two neighbouring pins of U28 after U35 was swapped: read apart before anything was cleared there, it speaks of the board as it was in the session; a
    pair that was read five times in one session is not asked for again. Our own rules, no source."""
    add_area(made, case, part="U1", kind="rework", severity=2)
    started(made, case, "garbage")
    note(made, case, Request("power", value="off"))
    note(made, case, Request("swap", part="U35"))
    cut = case_state(made, case).acts[-1].at
    pair = ("U28.4/joint-s", "U28.5/joint-s")
    (a, b) = (board.node_at(one) for one in pair)
    assert a is not None and b is not None and a[0] != b[0]
    look = SuspectStep("apart", (a, b), 5.0, 1.0)
    for turn in range(5):
        note(made, case, Request("open", pair))
        binding = bind(made, case)
        view = WholeView(made, case, binding, next_for_case(made, case), "done", bootstrap.device_book(), board.machine, frozenset(), board)  # fmt: skip
        found = read_since(view, session_then(view, cut), board, cut)
        assert [one for one in found if isinstance(one, Apart)] and len(found) == turn + 1
        assert not_worn_out(view, board, (look,)) == ((look,) if turn < 4 else ())


def test_a_rom_that_was_put_in_new_is_read_out_last(made: Workshop, case: str, board: PoweredBoard) -> None:
    """Our own rule, no source: a part that was put in for good is likelier good than one that nobody touched."""

    def first() -> str:
        view = WholeView(made, case, bind(made, case), next_for_case(made, case), "done", bootstrap.device_book(), board.machine, frozenset(), board)  # fmt: skip
        return unread_rom(view)

    add_area(made, case, part="U1", kind="rework", severity=2)
    rom = first()
    note(made, case, Request("swap", part=rom))
    assert rom and first() not in ("", rom)


def test_pairs_with_a_supply_rail_come_before_power_and_the_others_wait(made: Workshop, case: str) -> None:
    """A bridge to a rail can do harm; one between two signals shows under power. Common practice, no source."""
    add_area(made, case, part="U1", kind="rework", severity=2)
    binding = bind(made, case)
    rows, rails = pairs_before_power(binding), set(board_rails(binding))
    assert rows and rails and all({one.net_a, one.net_b} & rails for one in rows)
    assert len(rows) < len(plan_of(binding).isolation)
    assert {one.id for one in rows} == {one.id for one in plan_of(binding).isolation if {one.net_a, one.net_b} & rails}
    started(made, case, "blank")
    assert pairs_before_power(bind(made, case)) == ()


# ---- the patients ----
@pytest.fixture(scope="module")
def setting(board: PoweredBoard) -> WholeSetting:
    made = bootstrap.practice_setting("demo")
    return whole_setting("demo", bootstrap.open_shelved("demo").board, made.graph, made.areas, board)


def patient(setting: WholeSetting, *faults: WholeFault, consent: bool = True) -> WholePatient:
    return WholePatient(setting.answers, faults, 1, Noise(), Lies(), consent)


def screen(setting: WholeSetting, k: int) -> str:
    return setting.made.field.screens[k].name


def test_the_same_seed_is_the_same_patient_and_every_fault_shows(setting: WholeSetting) -> None:
    kinds = set()
    for seed in range(1, 25):
        one, again = (whole_patient(setting, seed, 1 + seed % 4) for _ in range(2))
        assert one.faults() == again.faults() and len(one.faults()) == 1 + seed % 4
        kinds |= {fault.kind for fault in one.faults()}
        for fault in one.faults():
            alone = patient(setting, fault)
            shows = screen(setting, alone.screen()) != "works" or bool(fault.rail)
            assert shows, fault
    assert kinds == set(WHOLE_KINDS)


def test_harm_is_counted(setting: WholeSetting) -> None:
    """Power into a shorted rail, a soldered part taken out without the owner's word, a good part taken out."""
    k, rail, pair = setting.stock.rail_parts[0]
    cause = setting.stock.causes[k]
    short = WholeFault("supply", cause.words, cause.key, part=cause.part, pair=pair, rail=rail)
    ill = patient(setting, short, consent=False)
    assert ill.rail_ohm(rail, *pair) < 2.0
    ill.power()
    assert ill.harm.into_short == 1
    ill.replaced("U9", False)
    assert (ill.harm.without_consent, ill.harm.needless) == (1, 1)
    ill.asked_owner()
    ill.replaced(cause.part, False)
    assert (ill.harm.without_consent, ill.harm.needless) == (1, 1) and not ill.left()
    assert ill.rail_ohm(rail, *pair) > 100.0 and screen(setting, ill.power()) == "works" and ill.harm.into_short == 1


def test_what_is_mended_is_mended_in_every_answer(setting: WholeSetting) -> None:
    """A broken track reads open and darkens the machine; a wire round it makes both right (the wire by ``worked``, as the case lays it)."""
    site, kind, _, k = next(row for row in setting.stock.sites if row[1] == "run")
    track = WholeFault("copper", "a track", setting.stock.causes[k].key, site, kind)
    ill = patient(setting, track)
    row = setting.graph.site(site)
    ends = [next((p.id for p in setting.graph.points if p.node == node and p.reachable), "") for node in (row.a, row.b)]
    assert all(ends) and not ill.closed(*ends) and screen(setting, ill.screen()) != "works"
    ill.laid(worked(setting.graph, {}, [PatchWire("w", *ends)]))
    assert ill.closed(*ends) and screen(setting, ill.power()) == "works" and ill.left() == ()


def test_bad_cells_show_in_the_tests_that_look_for_them(setting: WholeSetting) -> None:
    cells = patient(
        setting,
        WholeFault("memory", "cells", part="U53", content=True),
        WholeFault("rom", "cells", part="U29", content=True),
    )
    words = cells.memory_errors()
    assert words and {wrote ^ read for _, wrote, read in words} == {1 << 3}, "U53 holds bit 3"
    assert not cells.rom_right("U29") and cells.rom_right("U4")
    assert screen(setting, cells.screen()) == "starts, something fails"
    assert not cells.tried("U22") and cells.power_ups == 1
    cells.replaced("U53", False)
    cells.replaced("U29", True)
    assert cells.memory_errors() == () and screen(setting, cells.power()) == "works"


def test_a_contact_is_named_mended_and_proven_before_the_next_power_up(setting: WholeSetting) -> None:
    """By the steps of a case: looks name the pin, it reads open, it is worked on until it reads closed, only then power. Takes some seconds: a whole repair."""
    site, kind, _, k = next(row for row in setting.stock.sites if row[0] == "contact@U1.14")
    ill = patient(setting, WholeFault("contact", site, setting.stock.causes[k].key, site, kind))
    tally = run_next(bootstrap.practice_workshop(), setting, ill, bootstrap.device_book())
    marked = marks(setting, ill, tally, "next", 1)
    assert marked["mended"] and marked["power_ups"] == 2 and not any(marked["harm"].values())
    kinds = [one.kind for one in tally.acts]
    again = len(kinds) - 1 - kinds[::-1].index("power on")
    before = [one for one in tally.acts[:again] if one.kind == "check"][-1]
    assert "U1.14" in before.what and before.said == "closed"


def test_a_level_of_practice_says_that_it_was_looked_at_with_a_scope(setting: WholeSetting) -> None:
    """The patient answers as on a scope, where a line that nothing drives looks otherwise than on a logic probe; the entry says so."""
    ill = patient(setting, WholeFault("contact", "", None))
    run = _Run(bootstrap.practice_workshop(), setting, ill, bootstrap.device_book(), None)
    run.opened()
    run.level(next(point for point, (net, _) in setting.answers.node_of.items() if net == "CPUCLK"), False)
    levels = [one.payload for one in run.w.store.entries(run.case) if one.kind == "level"]
    assert [(one["level"], one["with"]) for one in levels] == [("pulsing", "scope")]


def test_the_policies_without_a_planner_mend_a_dead_crystal(setting: WholeSetting) -> None:
    """No clock anywhere: both go upstream from the first still clock pin to Y1. Common practice, no source."""
    crystal = next(one for one in setting.stock.causes if one.key == ("open", "Y1"))
    for fixed in (False, True):
        ill = patient(setting, WholeFault("passive", crystal.words, crystal.key, part="Y1"))
        tally = run_technician(setting, ill, fixed)
        marked = marks(setting, ill, tally, "practice", 1)
        assert marked["mended"] and marked["harm"]["into_short"] == 0 and marked["seconds_bench"] > 0
        assert ("Y1" in [one.what for one in tally.acts if one.kind == "replace"]) and marked["power_ups"] >= 2
