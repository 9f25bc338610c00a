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
    assert "No way is left" in printed and "--allow" in printed and "0 wire(s)" not in printed


@pytest.mark.parametrize("current_a", ["-1", "500"])
def test_a_current_that_no_net_carries_is_refused(home: Path, current_a: str) -> None:
    with pytest.raises(Refusal, match="WIR-015"):
        run(home, "wire", "plan", "demo", "--net", "A4", "--broken", BROKEN, "--current-a", current_a)


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
    run(home, "intake", "note", case, "consent", "--yes", "--act", "scrape mask")
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
    """The log knows that the net was cut: the plan joins its parts again, and says when no wire is needed any more: status 1 while nothing proves the wire."""
    run(home, "case", "new", "--board", "demo", "--title", "cut")
    case = str(json.loads(run(home, "case", "list", "--json"))[-1]["number"])
    run(home, "note", case, "cut", "145.0,113.6/c")
    best = json.loads(run(home, "wire", "plan", case, "--net", "A4", "--json"))["plans"][0]
    assert best["restores"] and len(best["wires"]) == 1
    twice = json.loads(run(home, "wire", "plan", case, "--net", "A4", "--cut", "145.0,113.6/c", "--json"))["plans"][0]
    assert twice["restores"] and len(twice["wires"]) == 1
    run(home, "note", case, "patch", best["wires"][0]["a"], best["wires"][0]["b"], "30awg")
    again = json.loads(run(home, "wire", "plan", case, "--net", "A4", "--json", status=1))["plans"][0]
    assert again["wires"] == [] and not again["restores"]
    unread = "not proven: the cut has not been read open"
    assert any("no wire is needed" in note and unread in note for note in again["notes"])
    with pytest.raises(Refusal, match="NOT-009"):
        run(home, "note", case, "patch", "U5.5", "U1.35", "30awg", "-5mm")
    page = home / "cut.html"
    run(home, "record", case, "--html", str(page))
    assert "1 track cut on purpose: 145.0, 113.6 mm, component side." in page.read_text(encoding="utf-8")


def two_tracks(folder: Path) -> str:
    """A board made by hand: net A and net B each one 0.3 mm track from J1 (x = 10 mm) to J2 (x = 110 mm), 0.6 mm apart; A on y = 10 mm."""

    def at(x: float, y: float, what: str) -> str:
        return f"X{round(x * 1e6)}Y{round(y * 1e6)}{what}*\n"

    def head(function: str) -> str:
        return f"%TF.FileFunction,{function}*%\n%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,0.300*%\n%ADD11C,1.600*%\n"

    pads = [(10, 7, "A", "J1", 1), (110, 7, "A", "J2", 1), (10, 13.6, "B", "J1", 2), (110, 13.6, "B", "J2", 2)]
    flashed = "".join(f"%TO.P,{ref},{pin}*%\n%TO.N,{net}*%\nD11*\n{at(x, y, 'D03')}" for x, y, net, ref, pin in pads)
    tracks = "".join(
        f"%TO.N,{net}*%\nD10*\n{at(10, off, 'D02')}{at(10, y, 'D01')}{at(110, y, 'D01')}{at(110, off, 'D01')}%TD*%\n"
        for net, y, off in (("A", 10, 7), ("B", 10.6, 13.6))
    )
    edge = [(0, 0, "D02"), (120, 0, "D01"), (120, 30, "D01"), (0, 30, "D01"), (0, 0, "D01")]
    folder.mkdir()
    (folder / "b-F_Cu.gbr").write_text(head("Copper,L1,Top") + tracks + flashed + "M02*\n")
    (folder / "b-B_Cu.gbr").write_text(head("Copper,L2,Bot") + flashed + "M02*\n")
    (folder / "b-Edge_Cuts.gbr").write_text(
        head("Profile,NP") + "D10*\n" + "".join(at(*one) for one in edge) + "M02*\n"
    )
    holes = "".join(f"X{float(x)}Y{float(y)}\n" for x, y, *_ in pads)
    (folder / "b-PTH.drl").write_text(
        f"M48\n; #@! TF.FileFunction,Plated,1,2,PTH\nFMAT,2\nMETRIC\nT1C0.800\n%\nG90\nG05\nT1\n{holes}M30\n"
    )
    return str(folder)


def test_round_a_noted_cut_the_least_wire_laps_on_what_is_left_on_both_sides(home: Path, tmp_path: Path) -> None:
    """Both stubs are sound copper, so a lap at each side of the cut is the least wire: 2 x 7 mm for baring (the plan's own cost) and the gap. A lap is
    two track widths at least (rules.py), here 0.6 mm, and keeps off the cut. The wire replaces the copper between its ends: 1.72e-8 ohm m over
    0.3 mm x 35 um (IACS annealed copper at 20 degC)."""
    board = two_tracks(tmp_path / "two")
    run(home, "case", "new", "--board", board, "--title", "cut")
    case = str(json.loads(run(home, "case", "list", "--json"))[-1]["number"])
    run(home, "intake", "note", case, "consent", "--yes", "--act", "scrape mask")
    run(home, "note", case, "cut", "60,10/c")
    run(home, "note", case, "open", "J1.1", "J2.1")
    plan = json.loads(run(home, "wire", "plan", case, "--net", "A", "--json"))["plans"][0]
    (wire,) = plan["wires"]
    ends = sorted((wire["path"][0][0], wire["path"][-1][0]))
    assert plan["restores"] and wire["a"].startswith("track@") and wire["b"].startswith("track@")
    assert 0.3 < 60 - ends[0] < 1.5 and 0.3 < ends[1] - 60 < 1.5
    assert plan["cost_mm"] < 18
    assert wire["replaces_ohm"] == pytest.approx(1.72e-8 * (ends[1] - ends[0]) * 1e-3 / (0.3e-3 * 35e-6), rel=0.1)
    line = next(
        one for one in run(home, "wire", "plan", case, "--net", "A").splitlines() if "note CASE patch track@" in one
    )
    run(home, *line.split("when it is in: ")[1].replace("CASE", case).split())
    whole = run(home, "wire", "plan", case, "--net", "A", status=1)
    assert "no wire is needed" in whole and "no reading has proven it yet" in whole
    for _ in range(3):
        run(home, "note", case, "closed", "J1.1", "J2.1")
    proven = run(home, "wire", "plan", case, "--net", "A")
    assert "whole again" in proven and "readings prove it" in proven and "Mind:" not in proven


def test_round_a_planned_cut_the_freed_stretch_takes_no_wire(home: Path, tmp_path: Path) -> None:
    """Two cuts 1 mm to each side of the place that touches: the wire ends beyond both, never between them. A run named as a whole is given up as a whole,
    and the plan says so."""
    board = two_tracks(tmp_path / "two")
    found = json.loads(run(home, "wire", "plan", board, "--net", "A", "--cut", "60,10/c", "--json"))
    cuts = sorted(one["x_mm"] for one in found["cuts"])
    (wire,) = found["plans"][0]["wires"]
    ends = sorted((wire["path"][0][0], wire["path"][-1][0]))
    assert cuts == [59.0, 61.0] and 57.5 < ends[0] < 58.7 and 61.3 < ends[1] < 62.5
    assert any("insulated wire only" in note for note in found["plans"][0]["notes"])
    assert wire["route_mm"] < 12.7 and "never bare" in wire["insulation"] and "bare only" not in wire["insulation"]
    assert found["plans"][0]["cost_mm"] < 20 and wire["replaces_ohm"] > 0
    for plan in found["plans"]:
        assert all(not 59 <= x <= 61 for one in plan["wires"] for x, _ in (one["path"][0], one["path"][-1]))
    site = found["cuts"][0]["site"]
    given_up = json.loads(run(home, "wire", "plan", board, "--net", "A", "--cut", site, "--json"))["plans"][0]
    assert any("given up as a whole" in note for note in given_up["notes"]) and given_up["cost_mm"] > 90
