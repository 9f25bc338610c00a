"""One board written in other ways keeps its nets: names of other design systems, no X2, other drill formats, a shifted drill origin, a panel of two.

The demonstration machine's own build is what each variant is held to; nothing here comes from a netlist.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from coppermend.core.board.model import Board
from coppermend.formats.drill import read_drill
from coppermend.formats.member import Member
from coppermend.formats.package import RoleKind, plan_package
from coppermend.services.boards import Package, board_of

ENDINGS = {
    "c": {RoleKind.COPPER: "GTL", RoleKind.MASK: "GTS", RoleKind.SILK: "GTO", RoleKind.PASTE: "GTP"},
    "s": {RoleKind.COPPER: "GBL", RoleKind.MASK: "GBS", RoleKind.SILK: "GBO", RoleKind.PASTE: "GBP"},
}
WORDS = {
    "c": {
        RoleKind.COPPER: "component_side.pho",
        RoleKind.MASK: "sm_top.pho",
        RoleKind.SILK: "ss_top.pho",
        RoleKind.PASTE: "sp_top.pho",
    },
    "s": {
        RoleKind.COPPER: "solder_side.pho",
        RoleKind.MASK: "sm_bot.pho",
        RoleKind.SILK: "ss_bot.pho",
        RoleKind.PASTE: "sp_bot.pho",
    },
}


@lru_cache
def files(folder: Path) -> dict[str, bytes]:
    """Gerber and drill files of the package, without X2 and without netlists."""
    out: dict[str, bytes] = {}
    members = [Member(one.name, one.read_bytes()) for one in sorted(folder.iterdir()) if one.is_file()]
    for file in plan_package(members).files:
        data = re.sub(rb"%T[FAOD][^%]*%\r?\n?|G04 #@![^*]*\*\r?\n?|; ?#@![^\n]*\n", b"", file.member.data)
        if file.role.kind in (RoleKind.COPPER, RoleKind.MASK, RoleKind.SILK, RoleKind.PASTE) and file.role.side:
            out[f"{file.role.kind}-{file.role.side}"] = data
        elif file.role.kind is RoleKind.OUTLINE:
            out["outline"] = data
        elif file.role.kind is RoleKind.DRILL:
            plated = file.role.plated is not False
            out["plated" if plated else "unplated"] = data
    return out


def build(named: dict[str, bytes]) -> Board:
    return board_of(Package("b", tuple(Member(name, data) for name, data in named.items())))


def called(sources: dict[str, bytes], names: dict[str, dict[RoleKind, str]], stem: str = "") -> dict[str, bytes]:
    out = {}
    for side, kinds in names.items():
        for kind, name in kinds.items():
            if f"{kind}-{side}" in sources:
                out[f"{stem}{name}"] = sources[f"{kind}-{side}"]
    out["board.gko"] = sources["outline"]
    out["board-PTH.drl"] = sources["plated"]
    if "unplated" in sources:
        out["board-NPTH.drl"] = sources["unplated"]
    return out


def drill(data: bytes, unit: str, whole: int, decimals: int, zeros: str, header: bool, dx: float = 0.0) -> bytes:
    """The holes of a drill file in another number format; ``zeros`` LZ, TZ (what is kept) or ALL."""
    found = read_drill(data, "d")
    scale = 1.0 if unit == "METRIC" else 1 / 25.4
    assert np.array_equal(found.x_mm, found.x2_mm), "round holes only"

    def digits(value: float) -> str:
        number = round(value * scale * 10**decimals)
        text = str(abs(number)).rjust(whole + decimals, "0")
        text = {"LZ": text.rstrip("0") or "0", "TZ": text.lstrip("0") or "0"}.get(zeros, text)
        return ("-" if number < 0 else "") + text

    tools = sorted({round(float(d), 4) for d in found.diameter_mm})
    lines = ["M48", *([f"{unit},{zeros}" if zeros != "ALL" else unit] if header else [])]
    lines += [*(f"T{n}C{d * scale:.4f}" for n, d in enumerate(tools, 1)), "%"]
    for n, size in enumerate(tools, 1):
        lines.append(f"T{n}")
        pick = np.abs(found.diameter_mm - size) < 1e-4
        lines += [f"X{digits(x + dx)}Y{digits(y)}" for x, y in zip(found.x_mm[pick], found.y_mm[pick], strict=True)]
    return ("\n".join([*lines, "M30"]) + "\n").encode()


def partition(board: Board) -> list[list[int]]:
    """The islands of every copper layer's pieces, numbered in order of appearance: equal for equal nets."""
    first: dict[int, int] = {}
    return [[first.setdefault(int(k), len(first)) for k in layer.island] for layer in board.layers]


@pytest.fixture(scope="module")
def base(demo_package: Path) -> list[list[int]]:
    return partition(build({one.name: one.read_bytes() for one in demo_package.iterdir() if one.is_file()}))


@pytest.mark.parametrize(("names", "stem"), [(ENDINGS, "board."), (WORDS, "")], ids=["endings", "words"])
def test_names_of_other_design_systems_without_x2(
    demo_package: Path, base: list[list[int]], names: dict[str, dict[RoleKind, str]], stem: str
) -> None:
    assert partition(build(called(files(demo_package), names, stem))) == base


@pytest.mark.parametrize(("unit", "whole", "decimals", "zeros", "header"), [
    ("METRIC", 3, 3, "LZ", True), ("METRIC", 4, 2, "TZ", False), ("INCH", 2, 4, "TZ", True), ("INCH", 2, 4, "LZ", False), ("INCH", 3, 3, "ALL", False),
])  # fmt: skip
def test_other_drill_formats(
    demo_package: Path, base: list[list[int]], unit: str, whole: int, decimals: int, zeros: str, header: bool
) -> None:
    sources = files(demo_package)
    other = {**sources, "plated": drill(sources["plated"], unit, whole, decimals, zeros, header)}
    assert partition(build(called(other, ENDINGS, "board."))) == base


def test_a_shifted_drill_origin_is_found_and_said(demo_package: Path, base: list[list[int]]) -> None:
    sources = files(demo_package)
    moved: dict[str, bytes] = {
        key: drill(sources[key], "METRIC", 3, 3, "LZ", True, 25.4) for key in sources if key.endswith("plated")
    }
    found = build(called({**sources, **moved}, ENDINGS, "board."))
    assert partition(found) == base and "BRD-016" in {one.code for one in found.findings}


def test_a_panel_of_two_has_twice_the_nets(demo_package: Path, base: list[list[int]]) -> None:
    sources, step = files(demo_package), 400.0
    panel = dict(sources)
    for key, data in sources.items():
        if key.startswith("copper"):
            at = re.search(rb"\n(?=D1\d+\*)", data)
            assert at is not None
            unit = step / 25.4 if b"%MOIN*%" in data else step
            panel[key] = (
                data[: at.start() + 1]
                + b"%%SRX2Y1I%.6fJ0*%%\n" % unit
                + data[at.start() + 1 :].replace(b"M02*", b"%SR*%\nM02*")
            )
        elif key == "plated":
            one, two = drill(data, "METRIC", 4, 3, "ALL", True), drill(data, "METRIC", 4, 3, "ALL", True, step)
            panel[key] = one.replace(b"M30\n", two.split(b"%\n")[1])
    islands = {island for layer in base for island in layer}
    assert len(build(called(panel, ENDINGS, "board.")).nets) == 2 * len(islands)
