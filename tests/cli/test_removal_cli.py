"""``coppermend removal plan`` end to end on the demonstration board."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from coppermend.cli import cli
from coppermend.core.findings import Refusal


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("removal")


def run(home: Path, *words: str) -> Any:
    """One command; its exit status must be 0."""
    found = CliRunner(env={"COPPERMEND_STORE": str(home), "COPPERMEND_CACHE": str(home / "cache")}).invoke(cli, words)
    if isinstance(found.exception, Refusal):
        raise found.exception
    assert found.exit_code == 0, found.output
    return found.output


def test_plan_as_json_and_the_area_it_proposes(home: Path) -> None:
    """The fixed names of the issue, and that the case takes the proposed area as printed."""
    plan = json.loads(run(home, "removal", "plan", "demo", "U1", "--json"))
    assert {"number", "k_per_w", "rank", "reasons"} <= set(plan["pins"][0])
    assert sorted(plan["order"]) == sorted(pin["number"] for pin in plan["pins"]) and len(plan["pins"]) == 40
    printed = run(home, "removal", "plan", "demo", "U1")
    line = next(one for one in printed.splitlines() if "coppermend area add CASE" in one)
    run(home, "case", "new", "--board", "demo", "--title", "removal")
    words = line.split("coppermend ")[1].replace("CASE", "1").split()
    run(home, *words, "--json")
    of_case = json.loads(run(home, "removal", "plan", "1", "U1", "--json"))
    assert of_case["order"] == plan["order"]


def test_a_cell_is_treated_as_a_cell(home: Path) -> None:
    """The battery of the demonstration board: its own caution comes first, no step warms it, and the words stand in the kept plan, too."""
    printed = run(home, "removal", "plan", "demo", "BT1")
    assert printed.startswith("Careful: BT1 is itself a cell or battery: never preheat it")
    assert "No preheat and no hot air while the cell is on the board" in printed
    assert "Nothing that heat harms stands near." not in printed
    kept = json.loads(run(home, "removal", "plan", "demo", "BT1", "--json"))
    assert kept["kind"] == "cell" and kept["itself"][0]["words"].startswith("BT1 is itself a cell")
    assert kept["plan"]["tables"][0]["title"] == "Careful: the part itself"


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("removal", "plan", "demo", "U999"), "PNT-"),
        (("removal", "plan", "demo", "U1", "--tip-c", "100"), "REM-005"),
        (("removal", "plan", "demo", "U1", "--liquidus-c", "-1e9"), "REM-005"),
        (("removal", "plan", "demo", "U1", "--margin", "-3"), "ARE-003"),
    ],
)
def test_bad_input_is_refused_in_words(home: Path, words: tuple[str, ...], code: str) -> None:
    with pytest.raises(Refusal, match=code):
        run(home, *words)


def test_care_is_shown_ticked_and_in_the_record(home: Path) -> None:
    """The steps by command line; what was done stands in the record as page and as PDF."""
    run(home, "case", "new", "--board", "demo", "--title", "leaked")
    case = json.loads(run(home, "case", "list", "--json"))[-1]["number"]
    assert "caustic" in run(home, "care", "show", str(case), "cell")
    assert "Mind:" in run(home, "care", "tick", str(case), "cell", "guard", "--start")
    run(home, "care", "tick", str(case), "cell", "guard")
    run(home, "care", "tick", str(case), "cell", "neutralise", "--left-out", "--words", "lithium cell")
    shown = json.loads(run(home, "care", "show", str(case), "cell", "--json"))[0]
    states = {one["step"]: one["state"] for one in shown["steps"]}
    assert (states["guard"], states["neutralise"], states["rinse"]) == ("done", "left out", "open")
    run(home, "record", str(case), "--html", str(home / "r.html"), "--pdf", str(home / "r.pdf"))
    page = (home / "r.html").read_text(encoding="utf-8")
    paper = "\n".join(one.extract_text() for one in PdfReader(home / "r.pdf").pages)
    for text in (page, paper):
        assert "Cleaned and protected" in text and "lithium cell" in text and "neutralise" in text
        care = " ".join(text[text.index("Cleaned and protected") :].replace("\u200b", "").split())
        assert re.search(r"done, 20\d\d-\d\d-\d\d \d\d:\d\d, after 1 min", care), care[:600]
        for told in (
            "Gloves and eye protection on",
            "is caustic",
            "battery corrosion",
        ):  # what the step is, what to mind, its source
            assert told in care
        assert re.search(r"left out, 20\d\d-\d\d-\d\d \d\d:\d\d", care)
