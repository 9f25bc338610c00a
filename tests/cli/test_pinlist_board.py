"""The command line on boards without fabrication data, and on mixed boards: copper of one, lists of another.

The lists are made from the demonstration machine's copper, so that what must be found is known: nothing differs but what was changed here.
"""

from __future__ import annotations

import contextlib
import csv
import io
import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from coppermend.bootstrap import open_board
from coppermend.cli import main


@dataclass(frozen=True)
class Done:
    """What a command printed (both streams) and its exit status."""

    exit_code: int
    output: str


Run = Callable[..., Done]
LIST = "part,pin,net\nU1,1,A\nU2,1,A\nU3,1,A\nU1,2,B\nU2,2,B\nU1,3,\n"


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("COPPERMEND_STORE", str(tmp_path / "store"))
    monkeypatch.setenv("COPPERMEND_CACHE", str(tmp_path / "cache"))

    def call(*words: object) -> Done:
        monkeypatch.setattr(sys, "argv", ["coppermend", *(str(one) for one in words)])
        out = io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out), pytest.raises(SystemExit) as ended:
            main()
        return Done(int(ended.value.code or 0), out.getvalue())

    return call


def rows_of_demo() -> list[list[str]]:
    board = open_board("demo")
    names = [net.name for net in board.nets]
    return [[p.part, p.number, names[p.net]] for part in board.parts for p in part.pins if p.net is not None]


def written(path: Path, rows: list[list[str]], head: str = "part,pin,net") -> Path:
    out = io.StringIO()
    csv.writer(out).writerows([head.split(","), *rows])
    path.write_text(out.getvalue(), encoding="utf-8")
    return path


def test_build_nets_graph_path(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "pins.csv"
    path.write_text(LIST, encoding="utf-8")
    built = run("board", "build", path)
    assert built.exit_code == 0 and "no copper data (a pin list), 3 nets (2 named), 3 parts with 6 pins" in built.output
    assert "PIN-020" in built.output and "PIN-021" in built.output
    nets = json.loads(run("board", "nets", path, "--json").output)["nets"]
    assert {n["name"]: [f"{p['part']}.{p['pin']}" for p in n["points"]] for n in nets} == {
        "A": ["U1.1", "U2.1", "U3.1"],
        "B": ["U1.2", "U2.2"],
        "~U1.3": ["U1.3"],
    }
    graph = json.loads(run("board", "graph", path, "--net", "A", "--json").output)
    assert sorted(site["kind"] for site in graph["sites"]) == ["joint", "joint", "joint", "unknown", "unknown"]
    assert all(site["provable"] and site["length_mm"] == 0 for site in graph["sites"])
    way = run("board", "path", path, "U2.1", "U3.1")
    assert way.exit_code == 0 and "whose course is not known" in way.output
    assert run("board", "path", path, "U1.1", "U1.2").exit_code == 1
    alone = run("board", "compare", path)
    assert alone.exit_code == 2 and "BRD-040" in alone.output and "--with" in alone.output


def test_a_case_from_new_to_record(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "pins.csv"
    path.write_text(LIST, encoding="utf-8")
    assert run("case", "new", "--board", path, "--title", "T").exit_code == 0
    assert run("area", "add", "1", "--part", "U1").exit_code == 0
    step = json.loads(run("next", "1", "--json").output)
    assert step["kind"] == "check" and step["left"] == 3  # A needs 2 readings, B 1, the joint of U1.3 1
    cut = {"U3.1"}
    for _ in range(30):
        step = json.loads(run("next", "1", "--json").output)
        if not step["check"]:
            break
        ends = [step["check"][key].split("/")[0] for key in ("point_a", "point_b")]
        apart = step["check"]["purpose"] == "isolation" or (ends[0] != ends[1] and cut & set(ends))
        says = "open" if apart else "closed"
        assert run("note", "1", says, step["check"]["point_a"], step["check"]["point_b"]).exit_code == 0
    assert step["kind"] == "patch" and "U3.1" in step["span"]["words"]
    assert "measure the way on the board" in " ".join(step["notes"]) and " mm apart" not in " ".join(step["notes"])
    assert run("note", "1", "patch", "U3.1", "U2.1").exit_code == 0
    made = tmp_path / "r.pdf"
    assert run("record", "1", "--pdf", made).exit_code == 0 and made.read_bytes()[:5] == b"%PDF-"


def test_a_folder_with_places_and_a_photo(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "board"
    folder.mkdir()
    (folder / "pins.csv").write_text(LIST.replace("U3", "R3"), encoding="utf-8")
    Image.new("RGB", (400, 300), (20, 90, 50)).save(folder / "top.png")
    marks = [([0, 0], [0, 60]), ([400, 0], [80, 60]), ([400, 300], [80, 0]), ([0, 300], [0, 0])]
    said = (
        '[part.U1]\ntemplate = "DIP-14"\nat_mm = [10, 40]\n[part.U2]\ntemplate = "DIP-14"\npx = { 1 = [200, 100], 7 = [200, 176.2] }\n'
        '[photo.c]\nfile = "top.png"\nmarks = [' + ", ".join(f"{{ px = {px}, mm = {mm} }}" for px, mm in marks) + "]\n"
    )
    (folder / "coppermend-map.toml").write_text(said, encoding="utf-8")
    board = open_board(str(folder), tmp_path / "cache")
    at = {pin.name: (pin.x_mm, pin.y_mm) for part in board.parts for pin in part.pins}
    assert at["U1.2"] == pytest.approx((10.0, 37.46)) and at["U2.2"] == pytest.approx((40.0, 37.46), abs=1e-6)
    first = board.package_id
    (folder / "coppermend-map.toml").write_text(said.replace("[10, 40]", "[12, 40]"), encoding="utf-8")
    again = open_board(str(folder), tmp_path / "cache")
    assert again.package_id == first and again.corrections != board.corrections
    assert next(p for p in again.parts if p.ref == "U1").pins[0].x_mm == 12.0


def test_files_beside_a_single_list(run: Run, tmp_path: Path) -> None:
    (tmp_path / "b.csv").write_text(LIST, encoding="utf-8")
    (tmp_path / "b.parts.csv").write_text("ref,value,state\nU1,6502,socketed\n", encoding="utf-8")
    (tmp_path / "b.coppermend-map.toml").write_text("[part.U1]\nat_mm = [5, 5]\n", encoding="utf-8")
    board = open_board(str(tmp_path / "b.csv"), tmp_path / "cache")
    part = next(p for p in board.parts if p.ref == "U1")
    assert (part.value, str(part.state), part.pins[0].x_mm) == ("6502", "socketed", 5.0)
    graph = json.loads(run("board", "graph", tmp_path / "b.csv", "--net", "A", "--json").output)
    assert {"contact", "leg", "joint", "unknown"} == {site["kind"] for site in graph["sites"]}


@pytest.mark.parametrize("name", ["pins.txt", "pins.csv", "pins.csv.zip"])
def test_what_is_no_board_is_refused(run: Run, tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(b"hello\n\x01\x02")
    done = run("board", "build", path)
    assert done.exit_code == 2 and "FIL-004" in done.output and "Traceback" not in done.output


def compared(run: Run, path: Path) -> tuple[int, dict[str, Any]]:
    done = run("board", "compare", "demo", "--with", path, "--json")
    return done.exit_code, json.loads(done.output)


def test_a_list_of_the_same_board_agrees(run: Run, tmp_path: Path) -> None:
    status, found = compared(run, written(tmp_path / "own.csv", rows_of_demo()))
    row = next(one for one in found["sources"] if one["source"] == "own.csv")
    assert status == 0 and row["points"] == row["agree"] == len(rows_of_demo())


def test_a_mixed_board_says_where_it_differs(run: Run, tmp_path: Path) -> None:
    """Nets D0 and D1 one on the original, one pin of D7 led elsewhere, U4 missing in the list, U99 more, U1 another type."""
    rows = rows_of_demo()
    moved = next(row for row in rows if row[2] == "D7" and row[0] not in ("U1", "U4"))
    rows = [[p, n, "D0" if net == "D1" else net] for p, n, net in rows if p != "U4"]
    rows = [[p, n, "ELSE" if [p, n] == moved[:2] else net] for p, n, net in rows] + [
        ["U99", "1", "D0"],
        ["U98", "1", ""],
    ]
    status, found = compared(run, written(tmp_path / "old.csv", rows))
    mine = [one for key in ("missed", "split_nets", "joined_nets") for one in found[key] if one["source"] == "old.csv"]
    assert status == 1
    assert [one["nets"] for one in found["split_nets"] if one["source"] == "old.csv"] == [["D0"]]
    assert [one["nets"] for one in found["joined_nets"] if one["source"] == "old.csv"] == [["D7", "ELSE"]]
    assert any("has no pin U99.1" in one["words"] for one in mine)
    findings = {one["code"]: one["words"] for one in found["findings"] if one["code"].startswith("PIN-03")}
    assert "U99" in findings["PIN-030"] and "U4" in findings["PIN-031"]


def test_a_parts_list_of_the_original(run: Run, tmp_path: Path) -> None:
    board = open_board("demo")
    rows = [[part.ref, "OTHER" if part.ref == "U1" else part.value] for part in board.parts if part.ref != "U2"]
    done = run("board", "compare", "demo", "--with", written(tmp_path / "parts.csv", rows, "ref,value"))
    assert "U2" in next(line for line in done.output.splitlines() if "PIN-031" in line)
    assert "U1 is OTHER in the list" in done.output
    odd = tmp_path / "odd.csv"
    odd.write_text("a,b\n1,2\n", encoding="utf-8")
    refused = run("board", "compare", "demo", "--with", odd)
    assert refused.exit_code == 2 and "PIN-002" in refused.output


def test_a_netlist_without_copper_is_a_board_too(run: Run) -> None:
    """The demonstration machine's IPC-D-356A alone: its pins and nets, placed, and no copper."""
    package = Path(__file__).parents[2] / "demo" / "package"
    netlist = next(package.glob("*.ipc"))
    done = run("board", "build", netlist)
    assert done.exit_code == 0 and "no copper data" in done.output and "PIN-021" not in done.output
    nets = json.loads(run("board", "nets", netlist, "--json").output)["nets"]
    whole = open_board("demo")
    theirs = {frozenset(net.pins) for net in whole.nets if len(net.pins) > 1}
    assert {frozenset(f"{p['part']}.{p['pin']}" for p in n["points"]) for n in nets if len(n["points"]) > 1} == theirs
