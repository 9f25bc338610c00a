"""Whatever the next step under power can be, its answer can be noted and is evidence then: by the words of a command, and by the page's own keys.

The kinds are those that have a risk (``RISKS``): a new kind without an answer turns this red. That waves, thermal pictures, looks over the board and counted
starts change the suspects is held beside their commands (tests/cli/test_wave_cli.py, test_heat_read_cli.py, test_look_cli.py, test_starts_cli.py).
"""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from coppermend import bootstrap
from coppermend.core.belief.suspects.hands import Effect, Worked
from coppermend.core.belief.suspects.posterior import Apart, Beep, Look, Renewed, Sink, Start, Swapped
from coppermend.core.planning.suspects_words import RISKS
from coppermend.services.areas import add_area
from coppermend.services.bind import bind
from coppermend.services.cases import new_case
from coppermend.services.notes import note
from coppermend.services.requests import Request
from coppermend.services.suspects import board_of_case, evidence_of
from coppermend.services.typed import request_from_words
from coppermend.services.workshop import Workshop

WORDS: dict[str, tuple[tuple[tuple[str, ...], ...], type]] = {
    "look": ((("level", "U1.6", "pulsing"),), Look),
    "rail": ((("volts", "U1.11", "4.95V"),), Look),
    "check": ((("closed", "U1.15", "U4.12"),), Beep),
    "apart": ((("open", "U1.14", "U1.15"),), Apart),
    "sink": ((("level", "U4.12", "holds"), ("level", "U4.11", "even")), Sink),
    "swap": ((("swap", "U4", "trial", "effect=none"),), Swapped),
    "reseat": ((("reseat", "U4", "effect=none"),), Worked),
    "press": ((("press", "U4", "effect=none"), ("press", "U5", "effect=changed")), Effect),
    "piggyback": ((("piggyback", "U50", "effect=none"),), Effect),
    "replace": ((("swap", "U4", "effect=none"),), Renewed),
    "start": ((("gate", "override", "for", "a", "test"), ("power", "on"), ("seen", "screen=garbage")), Start),
}
"""What is typed after ``coppermend note CASE`` for each kind, and what it is as evidence."""
COMMANDS = {
    "wave": "coppermend wave measure FILE --case CASE --at POINT",
    "heat": "coppermend heat read PICTURE --case CASE",
    "inspect": "coppermend look CASE",
    "repeat": "coppermend starts CASE 3/5",
    "spray": "coppermend starts CASE 3/5 --when 'freeze spray' --part REF",
}


def shop(tmp_path: Path) -> tuple[Workshop, str]:
    made = bootstrap.workshop(str(tmp_path / "store"))
    case = new_case(made, "demo", "Machine").state.case
    add_area(made, case, part="U1")
    return made, case


def evidence(made: Workshop, case: str) -> list[Any]:
    binding = bind(made, case)
    board = board_of_case(binding, bootstrap.device_book(), bootstrap.machine_model("demo"), made.fields)
    return evidence_of(made, case, binding, board).found


def test_every_kind_of_step_has_its_answer(tmp_path: Path) -> None:
    assert set(RISKS) == set(WORDS) | set(COMMANDS)
    made, case = shop(tmp_path)
    for kind, (lines, wanted) in WORDS.items():
        before = sum(isinstance(one, wanted) for one in evidence(made, case))
        for words in lines:
            note(made, case, request_from_words(made, case, words[0], list(words[1:])))
        found = evidence(made, case)
        if kind == "start":
            assert [one.screen for one in found if isinstance(one, Start)] == [3], kind
        else:
            assert sum(isinstance(one, wanted) for one in found) > before, kind


def test_millivolts_along_a_net_are_noted_and_expire_with_a_repair(tmp_path: Path) -> None:
    made, case = shop(tmp_path)
    for words in (("U4.12", "holds"), ("U4.11", "even")):
        note(made, case, request_from_words(made, case, "level", list(words)))
    assert [(one.net, one.pin) for one in evidence(made, case) if isinstance(one, Sink)] == [
        ("D1", "U4.12"),
        ("D0", ""),
    ]
    note(made, case, request_from_words(made, case, "solder", ["U4.12"]))
    assert not [one for one in evidence(made, case) if isinstance(one, Sink)]


PRESSED = """
import { answersOf } from '%s';
const steps = JSON.parse(process.argv[2]);
console.log(JSON.stringify(steps.map((step) => answersOf(step).map((one) => one.body))));
"""


def test_the_pages_keys_are_entries_that_count(tmp_path: Path) -> None:
    """Each key of the page's answers is sent as the page sends it; every step with such keys has at least two that differ."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed: the page's answers were not tried")
    module = Path(bootstrap.__file__).with_name("page") / "powered" / "tries.js"
    kinds = ("sink", "swap", "reseat", "press", "piggyback", "replace")
    steps = [{"kind": kind, "part": "U4", "points": ["U4.12/leg", "U5.12/leg"]} for kind in kinds]
    script = tmp_path / "pressed.mjs"
    script.write_text(PRESSED % module.as_uri(), encoding="utf-8")
    done = subprocess.run([node, str(script), json.dumps(steps)], capture_output=True, text=True, check=True)
    rows: list[list[dict[str, Any]]] = json.loads(done.stdout)
    assert [len(one) for one in rows] == [3, 3, 2, 2, 2, 2]
    made, case = shop(tmp_path)
    for kind, bodies in zip(kinds, rows, strict=True):
        for body in bodies:
            was = evidence(made, case)
            note(
                made,
                case,
                Request(
                    kind=body["kind"],
                    points=tuple(body.get("points", ())),
                    value=body.get("value", ""),
                    part=body.get("part", ""),
                    words=body.get("words", ""),
                    fields=body.get("options", {}),
                ),
            )
            assert evidence(made, case) != was, (kind, body)
