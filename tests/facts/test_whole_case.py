"""The next step of a real case, chosen among everything: the copper's before the first power-up, then looks, names that last until they are mended, consent,
tests, and the rest of the round. Common practice for the order, no source. The module's one board under power takes some seconds."""

from __future__ import annotations

from pathlib import Path

import pytest

from coppermend import bootstrap
from coppermend.core.log.state import Act
from coppermend.core.planning.whole import REST
from coppermend.services.areas import add_area
from coppermend.services.bench import next_for_case
from coppermend.services.cases import case_state, new_case
from coppermend.services.entries import write
from coppermend.services.intake import note_intake
from coppermend.services.memory import note_memory
from coppermend.services.notes import note
from coppermend.services.powered import PoweredBoard
from coppermend.services.requests import Request
from coppermend.services.whole import WholeStep, as_next, whole_for_case
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
    note(made, case, Request("power", value="off"))
    note(made, case, Request("reseat", part="U5"))
    assert whole(made, case, board).part == "U51", "another repair makes the readings worthless, not the finding"
    note(made, case, Request("swap", part="U51"))
    acts: tuple[Act, ...] = case_state(made, case).acts
    assert acts[-1].part == "U51" and whole(made, case, board).kind in ("gate", "power", "copper")


def test_isolation_waits_once_a_start_was_seen() -> None:
    from coppermend.core.planning.whole import Situation, chosen

    assert chosen(Situation(REST, seen="", gate_open=True)).kind == "power"
