"""``note CASE level POINT LEVEL with=INSTRUMENT``: said by the log and the record, used by the belief, gone with an undo, refused where it is none."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner, Result

from coppermend.bootstrap import device_book, machine_model, workshop
from coppermend.cli import cli
from coppermend.core.belief.suspects.posterior import Look
from coppermend.services.bind import bind
from coppermend.services.cases import new_case
from coppermend.services.suspects import board_of_case, evidence_of, suspects_for_case


def test_a_level_says_what_it_was_looked_at_with(tmp_path: Path) -> None:
    store = str(tmp_path / "store.db")
    made = workshop(store)
    case = new_case(made, "demo", "Machine", complaint="dead").state.case
    book, model = device_book(store), machine_model("demo")

    def run(*args: str) -> Result:
        return CliRunner().invoke(cli, ["--store", store, *args])

    def looks() -> list[str]:
        binding = bind(made, case)
        found = evidence_of(made, case, binding, board_of_case(binding, book, model, made.fields)).found
        return [one.by for one in found if isinstance(one, Look)]

    for tool in ("scope", "probe", "meter", "analyser"):
        done = run("note", "1", "level", "U1.6", "low", f"with={tool}")
        assert done.exit_code == 0 and "U1.6" in done.output
    assert run("note", "1", "level", "U1.6", "low").exit_code == 0
    assert looks() == ["scope", "probe", "scope", "analyser", ""], "a meter has the 10 megohm of a scope's probe"
    assert "low, with a logic probe" in run("case", "show", "1").output
    refused = run("note", "1", "level", "U1.6", "low", "with=thumb")
    assert refused.exit_code == 1 and "NOT-007" in str(refused.exception) and "analyser" in str(refused.exception)
    assert run("note", "1", "level", "U1.6", "floating", "with=meter").exit_code == 0
    unused = [words for _, words in suspects_for_case(made, case, book, model).unused]
    assert any("mean of what moves" in words for words in unused), "the clock of U1.6 moves on a sound board"
    assert len(looks()) == 5
    undone = run("note", "1", "undo")
    assert undone.exit_code == 0 and "with a meter" in undone.output
    assert run("note", "1", "undo").exit_code == 0
    assert looks() == ["scope", "probe", "scope", "analyser"]
    told = json.loads(run("suspects", "1", "--json").output)
    assert len(told["used"]) >= 4
    page = tmp_path / "record.html"
    assert run("record", "1", "--html", str(page)).exit_code == 0
    assert "low, with a logic analyser" in page.read_text("utf-8")
