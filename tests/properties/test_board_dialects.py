"""One board in the dialects of many design systems has the same nets, without help: names of files, drill formats, netlists, wrappings.

What each is held to is the board's own package; a netlist never takes part in the nets.
"""

from __future__ import annotations

import io
import re
import zipfile
from functools import lru_cache
from pathlib import Path

import pytest
from tests.dialects import FAMILIES, drill_variants, is_point, netlist_variants

from coppermend.adapters.files.packages import DiskPackages
from coppermend.core.board.model import Board
from coppermend.formats.drill import DrillFile, read_drill
from coppermend.formats.member import Member
from coppermend.formats.package import Format, RoleKind, plan_package
from coppermend.services.boards import Package, board_of, build_board, compare_board

DRILLS = [
    "inch 2.4, leading zeros left out", "inch 2.4, trailing zeros left out", "inch 2.4, zeros not said", "inch 2.3, digits not said", "inch 2.5 by comment",
    "metric 4.4 by comment", "metric 4.2, trailing", "metric with points", "metric 3.3 by picture", "M71 alone", "no unit", "inch said, metric meant",
    "wrong zeros said", "modal", "another origin", "old line ends", "no tool sizes", "sizes in comments, format beside", "sizes in comments alone",
    "plating by comments", "drawn as Gerber", "a drawing beside",
]  # fmt: skip
NETLISTS = [
    "upper case", "80 columns", "another origin", "mirrored", "upside down", "no unit, no end", "aliases in P", "aliases in C", "aliases at the end",
    "aliases without names", "no sizes of lands", "no drill field", "every side", "two boards", "a second image",
]  # fmt: skip
UNSURE = {"inch 2.4, zeros not said": "DRL-011", "inch 2.3, digits not said": "BRD-015", "no unit": "DRL-010", "inch said, metric meant": "BRD-015",
          "wrong zeros said": "BRD-015", "another origin": "BRD-016", "no tool sizes": "DRL-021", "sizes in comments alone": "DRL-010"}  # fmt: skip
"""The finding that must say what was uncertain or put right."""


@lru_cache
def bare(folder: Path) -> dict[str, bytes]:
    """Gerber and drill files without X2 and comments, by what they are; the netlist as it is."""
    members = [Member(one.name, one.read_bytes()) for one in sorted(folder.iterdir()) if one.is_file()]
    out: dict[str, bytes] = {}
    for file in plan_package(members).files:
        data = re.sub(rb"%T[FAOD][^%]*%\r?\n?|G04[^*]*\*\r?\n?|; ?#@![^\n]*\n", b"", file.member.data)
        role = file.role
        if role.kind is RoleKind.COPPER and role.key:
            out[role.key] = data
        elif role.kind in (RoleKind.MASK, RoleKind.SILK, RoleKind.PASTE):
            out[f"{role.kind} {role.side}"] = data
        elif role.kind is RoleKind.OUTLINE:
            out["outline"] = data
        elif role.kind is RoleKind.DRILL:
            out["unplated" if role.plated is False else "plated"] = data
        elif file.format is Format.IPCD356:
            out["netlist"] = file.member.data
    return out


def build(files: dict[str, bytes]) -> Board:
    return board_of(Package("b", tuple(Member(name, data) for name, data in files.items())))


def without_drill(things: dict[str, bytes], family: str = "gxl") -> dict[str, bytes]:
    names = FAMILIES[family].called(2)
    return {names[kind]: data for kind, data in things.items() if kind in names and kind not in ("plated", "unplated")}


def islands(board: Board) -> list[list[int]]:
    """The islands of every layer's pieces, numbered in order of appearance: equal for equal nets."""
    first: dict[int, int] = {}
    return [[first.setdefault(int(k), len(first)) for k in layer.island] for layer in board.layers]


@pytest.fixture(scope="module")
def things(demo_package: Path) -> dict[str, bytes]:
    return bare(demo_package)


@pytest.fixture(scope="module")
def holes(things: dict[str, bytes]) -> tuple[DrillFile, DrillFile]:
    return read_drill(things["plated"], "p"), read_drill(things["unplated"], "u")


@pytest.fixture(scope="module")
def base(demo_package: Path) -> list[list[int]]:
    return islands(build({one.name: one.read_bytes() for one in demo_package.iterdir() if one.is_file()}))


@pytest.mark.parametrize("count", [2, 4, 12])
@pytest.mark.parametrize("family", FAMILIES)
def test_every_family_of_names_tells_every_layer(things: dict[str, bytes], family: str, count: int) -> None:
    names = FAMILIES[family].called(count)
    stand_in = things["mask c"]
    copper = {"c": things["c"], "s": things["s"]} | {f"i{n}": things["c"] for n in range(1, count - 1)}
    data = {kind: copper.get(kind) or things.get(kind) or stand_in for kind in names}
    read = {one.member.name: one.role for one in plan_package([Member(names[k], data[k]) for k in names]).files}
    for kind, name in names.items():
        role = read[name]
        if kind in copper:
            assert (role.kind, role.key) == (RoleKind.COPPER, kind), name
        elif kind in ("plated", "unplated"):
            assert role.kind is RoleKind.DRILL and role.plated is not (kind == "unplated"), name
            assert role.span is None or (role.span[0] == 1 and role.span[1] >= count), name
        elif kind != "outline":
            assert f"{role.kind} {role.side}" == kind, name
        else:
            assert role.kind is RoleKind.OUTLINE, name


def test_all_drill_variants_are_listed(holes: tuple[DrillFile, DrillFile]) -> None:
    assert [name for name, _ in drill_variants(*holes)] == DRILLS


@pytest.mark.parametrize("way", DRILLS)
def test_drill_dialects_keep_the_nets(
    things: dict[str, bytes], holes: tuple[DrillFile, DrillFile], base: list[list[int]], way: str
) -> None:
    board = build({**without_drill(things), **dict(drill_variants(*holes))[way]})
    assert islands(board) == base
    assert sum(not hole.plated for hole in board.holes) == len(holes[1])
    if way in UNSURE:
        assert UNSURE[way] in {one.code for one in board.findings}


def test_all_netlist_variants_are_listed(things: dict[str, bytes]) -> None:
    assert [name for name, _ in netlist_variants(things["netlist"].decode())] == NETLISTS


@pytest.mark.parametrize("way", NETLISTS)
def test_netlist_dialects_agree_point_by_point(things: dict[str, bytes], base: list[list[int]], way: str) -> None:
    lines = dict(netlist_variants(things["netlist"].decode()))[way]
    names = FAMILIES["gxl"].called(2)
    files = {**without_drill(things), names["plated"]: things["plated"], names["unplated"]: things["unplated"]}
    board = build({**files, "n.ipc": ("\n".join(lines) + "\n").encode("latin-1")})
    said = compare_board(board)
    assert islands(board) == base
    assert said["points"] == said["agree"] and not (said["missed"] or said["split_nets"] or said["joined_nets"])
    assert said["points"] == sum(is_point(line) for line in things["netlist"].decode().splitlines())


def test_wrappings_change_nothing(things: dict[str, bytes], base: list[list[int]], tmp_path: Path) -> None:
    """A zip in which all lies two folders deep, with a name in Latin-1 letters and Windows line ends."""
    names = FAMILIES["spaced"].called(2)
    pack = io.BytesIO()
    with zipfile.ZipFile(pack, "w", zipfile.ZIP_DEFLATED) as archive:
        for kind, data in things.items():
            if kind in names:
                archive.writestr(
                    f"Fertigung/Größe 1/{names[kind]}", data.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n")
                )
    (tmp_path / "b.zip").write_bytes(pack.getvalue())
    assert islands(build_board(DiskPackages(), str(tmp_path / "b.zip"))) == base


@pytest.mark.parametrize("family", ["gxl", "lm", "dotted", "numbered", "a board called b"])
def test_four_layers_under_other_names(corpus: Path, family: str) -> None:
    found = bare(corpus / "mackerel08_v11")
    first = islands(board_of(Package("b", tuple(Member(one.name, one.read_bytes()) for one in sorted((corpus / "mackerel08_v11").iterdir())))))  # fmt: skip
    names = FAMILIES[family].called(4)
    assert islands(build({names[kind]: data for kind, data in found.items() if kind in names})) == first
