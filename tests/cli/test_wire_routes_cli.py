"""``coppermend wire plan`` along the board: what it prints can be noted as printed, is kept with its way, and drawn in the record."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
import shapely
from click.testing import CliRunner
from tests.cli_runner import shelved_once

from coppermend.cli import cli
from coppermend.core.findings import Refusal

BROKEN = "run@c:137160,114300>153670,113030"
"""A run of net A4 of the demonstration board."""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("routes")


def run(home: Path, *words: str, status: int = 0) -> Any:
    """One command and its output."""
    found = CliRunner(env={"COPPERMEND_STORE": str(home), "COPPERMEND_CACHE": str(home / "cache")}).invoke(cli, words)
    if isinstance(found.exception, Refusal):
        raise found.exception
    assert found.exit_code == status, found.output
    return found.output


def test_way_is_planned_noted_and_drawn(home: Path) -> None:
    """From the plan to the log to the record, without typing a coordinate."""
    run(home, "case", "new", "--board", "demo", "--title", "wires")
    printed = run(home, "wire", "plan", "1", "--net", "A4", "--broken", BROKEN)
    line = next(one for one in printed.splitlines() if "note CASE patch" in one and "way=" in one)
    assert "Cutting list" in printed and "its way:" in printed
    run(home, *line.split("when it is in: ")[1].replace("CASE", "1").split())
    corners = re.search(r"way=(\S+)", line)
    assert corners is not None
    count = corners[1].count(";") + 1
    entries = json.loads(run(home, "case", "show", "1", "--json"))
    assert count >= 3 and "patch wire" in json.dumps(entries)
    page = home / "record.html"
    run(home, "record", "1", "--html", str(page))
    way = r"M[-\d. ]+" + '" stroke="#fffdf8"'
    drawn = [
        one for one in re.findall(way, page.read_text(encoding="utf-8")) if len(one.split('"')[0].split()) == 2 * count
    ]
    assert drawn


def test_cut_and_wire_round(home: Path) -> None:
    """A place on the track: two cuts on both sides of it, each as it is noted, and wires that restore the net without that stretch."""
    plan = json.loads(run(home, "wire", "plan", "demo", "--net", "A4", "--cut", "145.0,113.6/c", "--json"))
    assert [one["site"] for one in plan["cuts"]] == [BROKEN, BROKEN]
    assert plan["cuts"][1]["x_mm"] - plan["cuts"][0]["x_mm"] == pytest.approx(2.0, abs=0.01)
    best = plan["plans"][0]
    assert best["restores"] and best["wires"][0]["path"][0] != best["wires"][0]["path"][-1]


def test_a_part_is_walked_round_unless_it_is_allowed(home: Path) -> None:
    """No planned way passes a forbidden box; allowing the part can only make it cheaper."""
    plan = json.loads(run(home, "wire", "plan", "demo", "--net", "A4", "--broken", BROKEN, "--side", "c", "--json"))
    free = json.loads(
        run(
            home,
            "wire",
            "plan",
            "demo",
            "--net",
            "A4",
            "--broken",
            BROKEN,
            "--side",
            "c",
            "--allow",
            "U1",
            "--allow",
            "U22",
            "--json",
        )
    )
    assert free["plans"][0]["cost_mm"] <= plan["plans"][0]["cost_mm"] + 1e-6


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--cut", "1,1/c"), "WIR-011"),
        (("--cut", "run@nowhere"), "WIR-003"),
        (("--broken", BROKEN, "--allow", "U999"), "PNT-003"),
        (("--broken", BROKEN, "--keep-out", "1,2"), "WIR-014"),
        (("--broken", BROKEN, "--keep-out", "1,1 1,5"), "WIR-014"),
        (("--broken", BROKEN, "--keep-out", "1,1 2,5/x"), "WIR-014"),
        ((), "WIR-007"),
    ],
)
def test_bad_input_is_refused_in_words(home: Path, words: tuple[str, ...], code: str) -> None:
    with pytest.raises(Refusal, match=code):
        run(home, "wire", "plan", "demo", "--net", "A4", *words)


def test_no_way_left_is_status_1_with_what_can_be_done(home: Path) -> None:
    """The whole board forbidden: no wire, no claim, and the nearest thing to do."""
    printed = run(
        home, "wire", "plan", "demo", "--net", "A4", "--broken", BROKEN, "--keep-out", "0,0 400,400", status=1
    )
    assert "No way is left" in printed and "--allow" in printed


def test_a_way_that_is_not_the_wires_is_refused(home: Path) -> None:
    """Corners far from the two points were mistyped: said, nothing written."""
    run(home, "case", "new", "--board", "demo", "--title", "mistyped")
    case = str(json.loads(run(home, "case", "list", "--json"))[-1]["number"])
    wire = ("note", case, "patch", "via@137160,114300/s", "via@153670,113030/s", "30awg", "27mm")
    with pytest.raises(Refusal, match="NOT-010"):
        run(home, *wire, "way=10,10;20,10")
    assert "patch wire" not in run(home, "case", "show", case)


BY_R16 = "run@s:257810,119380>259080,119380"
"""A run of net RSTRC beside R16; the wire round it ends on the bared track."""


def test_a_wire_that_ends_on_a_bared_track_is_noted_joined_there_and_proven(home: Path) -> None:
    """The end that the plan names is taken as printed, parts the run there, its checks are listed, and it is a point to touch from then on."""
    run(home, "case", "new", "--board", "demo", "--title", "lapped")
    case = str(json.loads(run(home, "case", "list", "--json"))[-1]["number"])
    printed = run(home, "wire", "plan", case, "--net", "RSTRC", "--broken", BY_R16)
    line = next(one for one in printed.splitlines() if "note CASE patch track@" in one)
    words = line.split("when it is in: ")[1].replace("CASE", case).split()
    end = words[3]
    run(home, *words)
    checks = json.loads(run(home, "wire", "prove", case, "--json"))
    assert checks[0]["purpose"] == "bridge" and any(one["purpose"] == "isolation" for one in checks)
    run(home, "note", case, "closed", end, "R16.1/joint-s")
    shown = json.dumps(json.loads(run(home, "case", "show", case, "--json")))
    assert f"closed: {end} and R16.1/joint-s" in shown
    page = home / "lapped.html"
    run(home, "record", case, "--html", str(page))
    x, y = (int(one) / 1000 for one in end[6:].split("/")[0].split(","))
    assert f"track at {x:.1f}, {y:.1f} mm, solder side" in page.read_text(encoding="utf-8")


def test_a_place_off_every_track_is_no_end(home: Path) -> None:
    run(home, "case", "new", "--board", "demo", "--title", "off")
    case = str(json.loads(run(home, "case", "list", "--json"))[-1]["number"])
    with pytest.raises(Refusal, match=r"PNT-001.*No track lies at track@1000,1000/s"):
        run(home, "note", case, "patch", "track@1000,1000/s", "R16.1/joint-s")
    with pytest.raises(Refusal, match="PNT-001"):
        run(home, "note", case, "closed", "track@257810,119080/s", "R16.1/joint-s")


def test_joints_of_other_nets_under_a_wire_are_named(home: Path) -> None:
    """A straight wire over two rows of legs: shapely's joints within 0.8 mm of its middle are named, none beyond 1.6 mm; the led wire lies on none
    (jumper wires not over leads, docs/sources.md)."""
    graph = shelved_once("demo").graph
    own, count = graph.net_index("A5"), {}
    for how in ("--straight", "--json"):
        told = run(
            home, "wire", "plan", "demo", "--net", "A5", "--broken", "run@c:86360,119380>129540,118110", how, "--json"
        )
        wires = [wire for plan in json.loads(told)["plans"] for wire in plan["wires"] if wire["side"] != "both"]
        count[how] = sum(len(wire["over"]) for wire in wires)
        for wire in wires:
            line = shapely.LineString(wire["path"])
            foreign = [p for p in graph.points if p.part and p.net != own and p.side == wire["side"]]
            apart = {p: line.distance(shapely.Point(p.x_mm, p.y_mm)) for p in foreign}
            under, near = (
                {f"{p.part}.{p.pin} ({graph.net_names[p.net]})" for p, d in apart.items() if d < most}
                for most in (0.8, 1.6)
            )
            assert under <= set(wire["over"]) and {one for one in wire["over"] if not one.startswith("the ")} <= near
            assert bool(wire["over"]) == any("other nets" in note for note in wire["notes"])
    assert count["--straight"] > 3 and count["--json"] == 0


def test_a_noted_cut_is_a_break_to_wire_round_until_it_is_whole(home: Path) -> None:
    """The log knows that the net was cut: the plan joins its parts again, and says when no wire is needed any more."""
    run(home, "case", "new", "--board", "demo", "--title", "cut")
    case = str(json.loads(run(home, "case", "list", "--json"))[-1]["number"])
    run(home, "note", case, "cut", "145.0,113.6/c")
    best = json.loads(run(home, "wire", "plan", case, "--net", "A4", "--json"))["plans"][0]
    assert best["restores"] and len(best["wires"]) == 1
    twice = json.loads(run(home, "wire", "plan", case, "--net", "A4", "--cut", "145.0,113.6/c", "--json"))["plans"][0]
    assert twice["restores"] and len(twice["wires"]) == 1
    run(home, "note", case, "patch", best["wires"][0]["a"], best["wires"][0]["b"], "30awg")
    again = json.loads(run(home, "wire", "plan", case, "--net", "A4", "--json"))["plans"][0]
    assert again["wires"] == [] and any("no wire is needed" in note for note in again["notes"])
    with pytest.raises(Refusal, match="NOT-009"):
        run(home, "note", case, "patch", "U5.5", "U1.35", "30awg", "-5mm")
    page = home / "cut.html"
    run(home, "record", case, "--html", str(page))
    assert "1 track cut on purpose: 145.0, 113.6 mm, component side." in page.read_text(encoding="utf-8")
