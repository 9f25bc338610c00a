"""Copper thickness, its spread and its temperature as inputs; expected ohms from R = rho L / (w t) with rho = 1/58 ohm mm2/m at 20 degC
and 0.00393 per K (docs/sources.md: NBS Handbook 100; Dellinger)."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from coppermend.cli.board import board_command
from coppermend.core.board.conditions import laminate_gaps
from coppermend.core.board.model import Board
from coppermend.core.copper.model import SiteKind
from coppermend.formats.member import Member
from coppermend.services.boards import Package, board_of
from coppermend.services.graph_pack import pack_graph, unpack_graph
from coppermend.services.graphs import graph_of, graph_under, way_between

LENGTH_MM, WIDTH_MM = 19.7, 0.3  # 20 mm between the middles of two lands of 0.3 mm, from edge to edge
HEAD = "%FSLAX46Y46*%\n%MOMM*%\n%TF.FileFunction,Copper,{},{}*%\n%ADD10C,0.3*%\n%TO.P,U1,{}*%\n%TO.N,A*%\n"
TRACK = "D10*\nX0Y0D03*\n%TO.P,U1,{}*%\nX20000000Y0D03*\n%TD*%\nX0Y0D02*\nX20000000Y0D01*\nM02*\n"
JOB = {
    "GeneralSpecs": {"LayerNumber": 2},
    "FilesAttributes": [{"Path": "b-F.gbr", "FileFunction": "Copper,L1,Top"}, {"Path": "b-B.gbr", "FileFunction": "Copper,L2,Bot"}],
    "MaterialStackup": [
        {"Type": "Copper", "Thickness": 0.07},
        {"Type": "Dielectric", "Thickness": 1.5},
        {"Type": "Copper", "Thickness": 0.0175},
    ],
}  # fmt: skip


def ohm(thick_mm: float, temperature_c: float = 20.0) -> float:
    return LENGTH_MM / 58_000.0 / (WIDTH_MM * thick_mm) * (1 + 0.00393 * (temperature_c - 20.0))


def package(said: str = "", job: bool = False) -> Package:
    sides = (("b-F.gbr", "L1", "Top", (1, 2)), ("b-B.gbr", "L2", "Bot", (3, 4)))
    files = [
        Member(name, (HEAD.format(number, side, pins[0]) + TRACK.format(pins[1])).encode())
        for name, number, side, pins in sides
    ]
    files += [Member("b.gbrjob", json.dumps(JOB).encode())] if job else []
    files += [Member("coppermend-corrections.toml", said.encode())] if said else []
    return Package("b", tuple(files))


def board(said: str = "", job: bool = False) -> Board:
    return board_of(package(said, job))


def run_ohm(found: Board, layer: str) -> float:
    (site,) = [one for one in graph_of(found).sites if one.kind is SiteKind.RUN and one.layer == layer]
    return site.resistance_ohm


@pytest.mark.parametrize(("said", "job", "c", "s"), [
    ("", False, ohm(0.035), ohm(0.035)),
    ("", True, ohm(0.07), ohm(0.0175)),  # the job file's stack-up
    ("[board]\ncopper_um = 70\n", False, ohm(0.07), ohm(0.07)),
    ("[board]\ncopper_um = { s = 105 }\n", False, ohm(0.035), ohm(0.105)),
    ("[board]\ncopper_um = { s = 105 }\n", True, ohm(0.07), ohm(0.105)),  # corrections win over the job file
    ("[board]\ncopper_um = 35\ntemperature_c = 70\n", True, ohm(0.035, 70), ohm(0.035, 70)),
])  # fmt: skip
def test_thickness_and_temperature_give_the_ohms_of_the_formula(said: str, job: bool, c: float, s: float) -> None:
    found = board(said, job)
    assert (run_ohm(found, "c"), run_ohm(found, "s")) == pytest.approx((c, s), rel=1e-6)


def test_the_spread_is_the_width_of_the_band_and_everything_is_listed_and_kept() -> None:
    found = board("[board]\ncopper_um = 70\ncopper_spread = 0.25\ntemperature_c = 45\n")
    graph = graph_of(found)
    way = way_between(graph, "U1.1/land", "U1.2/land") or way_between(graph, "U1.1", "U1.2")
    assert way is not None and way.ohms.note == ""
    runs = sum(one.resistance_ohm for one in way.steps if one.kind == "run")
    assert (runs, way.ohms.low, way.ohms.high) == pytest.approx(
        (ohm(0.07, 45), ohm(0.07, 45) / 1.25, ohm(0.07, 45) / 0.75), rel=1e-6
    )
    told = [one.words for one in found.findings if one.code == "COR-010"]
    assert [any(part in words for words in told) for part in ("70 um", "25 %", "45 degC")] == [True] * 3
    assert unpack_graph(*pack_graph(graph)) == graph
    again = graph_under(board(), 70, 0.25, 45)
    assert [one.resistance_ohm for one in again.sites] == [one.resistance_ohm for one in graph.sites]
    assert (again.copper_spread, again.copper_c) == (0.25, 45)


@pytest.mark.parametrize("said", [
    "copper_um = 0", 'copper_um = "70"', "copper_um = { i7 = 35 }", "copper_um = { top = 35 }", "copper_spread = 1",
    "temperature_c = 900", "copper_mm = 0.07", "copper_oz = 2",
])  # fmt: skip
def test_what_cannot_be_is_said_and_not_applied(said: str) -> None:
    found = board(f"[board]\n{said}\n")
    assert "COR-004" in {one.code for one in found.findings}
    assert run_ohm(found, "c") == pytest.approx(ohm(0.035), rel=1e-6)


def test_the_options_of_board_path_are_the_same_inputs(tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.mktemp("b")
    for member in package().members:
        (folder / member.name).write_bytes(member.data)
    options = ["--copper-um", "70", "--temperature-c", "70", "--copper-spread", "0.2", "--json"]
    ran = CliRunner().invoke(board_command, ["path", str(folder), "U1.1", "U1.2", *options])
    assert ran.exit_code == 0, ran.output
    said = json.loads(ran.stdout)
    (run,) = [one for one in said["steps"] if one["kind"] == "run"]
    assert run["resistance_ohm"] == pytest.approx(ohm(0.07, 70), rel=1e-6)


def test_a_job_files_stack_up_gives_the_laminate_between_the_copper() -> None:
    """Its dielectric of 1.5 mm stands between both sides; without a job file nothing is known of it."""
    assert laminate_gaps(board(job=True)) == (1.5,)
    assert laminate_gaps(board()) == ()
