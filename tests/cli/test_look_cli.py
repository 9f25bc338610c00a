"""``coppermend look``: the tour printed, findings noted, contradictions end with status 1, refusals in words."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner

from coppermend.bootstrap import device_book, workshop
from coppermend.cli import cli
from coppermend.services.areas import add_area
from coppermend.services.cases import new_case
from coppermend.services.lookwork import note_look
from coppermend.services.suspects import suspects_for_case


def run(store: Path, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, ["--store", str(store), *words])
    return done.exit_code, done.output if done.exception is None or isinstance(done.exception, SystemExit) else str(
        done.exception
    )


def test_the_tour_and_a_contradiction(tmp_path: Path) -> None:
    store = tmp_path / "store"
    made = workshop(str(store))
    case = new_case(made, "demo", "Machine", complaint="dark").state.case
    assert "nothing to look over" in run(store, "look", "1")[1]
    add_area(made, case, part="U1", margin_mm=3.0)
    code, text = run(store, "look", "1")
    assert code == 0 and "U1, component side:" in text and "look for" in text and "qualified" in text
    assert run(store, "look", "1", "--at", "U1.3", "--seen", "cracked joint")[0] == 0
    code, text = run(store, "look", "1", "--at", "U1.3", "--not-seen", "cracked joint", "--json")
    view = json.loads(text)
    assert code == 1 and view["conflicts"] and view["noted"][0]["words"].endswith("no cracked joint")
    code, text = run(store, "look", "1", "--over", "1", "--side", "c")
    assert "component side: looked over" in text
    for words in (("--seen", "x", "--over", "1"), ("--at", "U1.3"), ("--seen", "gremlins", "--at", "U1.3")):
        code, text = run(store, "look", "1", *words)
        assert code != 0 and "Traceback" not in text


def test_what_was_seen_weighs_the_suspects_and_a_look_is_offered(tmp_path: Path) -> None:
    """A chip the wrong way round: its odds rise 150 times (0.03 / 0.0002); the sides that nobody looked over are steps."""
    store = str(tmp_path / "store")
    made = workshop(store)
    case = new_case(made, "demo", "Machine", complaint="dark").state.case
    add_area(made, case, part="U1", margin_mm=3.0)
    book = device_book(store)
    before = suspects_for_case(made, case, book, most=50)
    assert "inspect" in {one.step.kind for one in before.instead} | {before.step.kind if before.step else ""}
    p = next((one.p for one in before.suspects if one.unit == "part U22"), 0.0)
    note_look(made, case, part="U22", finding="wrong way round")
    note_look(made, case, points=["U1.3"], finding="dirty land")
    note_look(made, case, area="1", side="c")
    note_look(made, case, area="1", side="s")
    after = suspects_for_case(made, case, book)
    first = after.suspects[0]
    assert (
        first.unit == "part U22" and first.p > max(0.3, p) and any("wrong way round" in one.words for one in first.pro)
    )
    assert any("dirt is no fault" in words for _, words in after.unused)
    assert "inspect" not in {one.step.kind for one in after.instead}
