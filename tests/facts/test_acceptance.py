"""What must work before a machine goes back: the model's list against the log. Rules by hand; the usual list is common practice, no source."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from tests.facts import record_sample as sample

from coppermend.core.circuit.machine import USUAL_FUNCTIONS, MachineModel, MustWork
from coppermend.core.findings import Refusal
from coppermend.core.log import state as log
from coppermend.formats.machinefile import read_machine
from coppermend.services.acceptance import acceptance

MACHINE = MachineModel("A", must_work=(MustWork("keyboard", "every key"), MustWork("memory soak", "an hour")))
DEMO = Path(__file__).parents[2] / "demo" / "machine.toml"


def noted(*rows: tuple[int, str, str]) -> log.CaseState:
    """The sample, whose only repair is a wire at position 20, with these tests (position, item, result)."""
    return replace(
        sample.state(),
        notes=tuple(log.Note(f"n{at}", at, "test", item, result, "", f"t{at}") for at, item, result in rows),
    )


def results(state: log.CaseState, machine: MachineModel | None = MACHINE) -> dict[str, str]:
    return {one.name: one.result for one in acceptance(state, machine).functions}


def test_the_last_result_since_the_last_repair_counts() -> None:
    state = noted((30, "keyboard", "fails"), (31, "Keyboard", "works"), (32, "memory  soak", "works"))
    assert results(state) == {"keyboard": "works", "memory soak": "works"}
    assert acceptance(state, MACHINE).ready


def test_a_result_before_the_last_repair_is_told_and_does_not_count() -> None:
    made = acceptance(noted((10, "keyboard", "works"), (40, "memory soak", "works")), MACHINE)
    first = made.functions[0]
    assert (first.result, first.before, first.open) == ("not tested", "works, before the last repair", True)
    assert not made.ready and made.words == "1 of 2 functions work since the last repair; open: keyboard."


def test_a_soldering_after_the_test_asks_for_it_again() -> None:
    act = log.Act("a", 50, "solder", "", (), "", "", None, True, "", "")
    state = replace(noted((40, "keyboard", "works")), acts=(act,))
    assert results(state)["keyboard"] == "not tested"
    tried = replace(act, kind="swap", soldering=False, trial=True)
    assert results(replace(state, acts=(tried,)))["keyboard"] == "works"  # a trial was put back: nothing is changed


def test_functions_beside_the_list_are_kept() -> None:
    assert results(noted((40, "cassette", "fails"))) == {
        "keyboard": "not tested",
        "memory soak": "not tested",
        "cassette": "fails",
    }


def test_without_a_machine_file_the_usual_list_stands() -> None:
    assert list(results(noted(), None)) == [one.name for one in USUAL_FUNCTIONS]


def test_a_machine_file_names_its_functions() -> None:
    model = read_machine(b'[[function]]\nname = " Light  Pen "\nwords = "draws a line"\n')
    assert model.must_work == (MustWork("light pen", "draws a line"),)
    assert read_machine(b"").must_work == USUAL_FUNCTIONS
    assert "cassette" in [one.name for one in read_machine(DEMO.read_bytes()).must_work]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[function]]\nwords = "x"', "needs a name"),
        ('[[function]]\nname = "a"\nhow = "x"', "needs a name"),
        ('[[function]]\nname = "a"\n[[function]]\nname = "A"', "stands twice"),
        ('[function]\nname = "a"', r"\[\[function\]\]"),
    ],
)
def test_a_bad_list_is_refused_in_words(text: str, said: str) -> None:
    with pytest.raises(Refusal, match=said) as refusal:
        read_machine(text.encode())
    assert refusal.value.finding.code == "MAC-002"
