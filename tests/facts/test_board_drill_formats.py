"""Holes beside all copper, as mounting holes have it: their file is read as it states, or as the file beside it. Truth by construction."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from coppermend.core.board.model import Board
from coppermend.formats.member import Member
from coppermend.services.boards import Package, board_of

INCH = 25.4
LANDS = [(0.3 + 0.1 * k, 0.2 + 0.1 * j) for k in range(8) for j in range(3)]
"""Inches. The copper lies in one corner of a board of 5 by 3.5 inches; read with one decimal more, the mounting holes would lie in it."""
MOUNTS = [(4.8, 3.3), (4.0, 3.3), (4.8, 2.0), (4.0, 2.0)]
HEAD = "%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,1.5*%\n%ADD11C,0.1*%\n"


def um(inches: float) -> int:
    return round(inches * INCH * 1e6)


def copper() -> bytes:
    return (HEAD + "D10*\n" + "".join(f"X{um(x)}Y{um(y)}D03*\n" for x, y in LANDS) + "M02*\n").encode()


def edge() -> bytes:
    corners = [(5, 0), (5, 3.5), (0, 3.5), (0, 0)]
    return (HEAD + "D11*\nX0Y0D02*\n" + "".join(f"X{um(x)}Y{um(y)}D01*\n" for x, y in corners) + "M02*\n").encode()


def drill(places: list[tuple[float, float]], number: Callable[[float], str], header: str, tool: str) -> bytes:
    rows = "".join(f"X{number(x)}Y{number(y)}\n" for x, y in places)
    return f"M48\n{header}\n{tool}\n%\nT1\n{rows}T0\nM30\n".encode()


def full(value: float) -> str:
    return f"{round(value * 1e4):06d}"


def no_trailing(value: float) -> str:
    return full(value).rstrip("0") or "0"


def no_leading(value: float) -> str:
    return str(round(value * 1e4))


STYLES = {
    "stated": (no_leading, ";FILE_FORMAT=2:4\nINCH,TZ"),
    "digits open": (no_leading, "INCH,TZ"),
    "zeros open": (full, "INCH"),
    "trailing zeros omitted": (no_trailing, "INCH,LZ"),
    "a point": (lambda v: f"{v:.4f}", "INCH"),
}


def made(style: str, mounts: list[tuple[float, float]], outline: bool) -> Board:
    number, header = STYLES[style]
    files = {
        "b.gtl": copper(),
        "b.gbl": copper(),
        "b-PTH.drl": drill(LANDS, number, header, "T1C0.0315"),
        "b-NPTH.drl": drill(mounts, number, header, "T1C0.1250"),
    }
    if outline:
        files["b.gko"] = edge()
    return board_of(Package("b", tuple(Member(name, data) for name, data in files.items())))


@pytest.mark.parametrize("outline", [True, False])
@pytest.mark.parametrize("count", [1, 4])
@pytest.mark.parametrize("style", STYLES)
def test_mounting_holes_far_from_copper_stay_where_their_format_puts_them(
    style: str, count: int, outline: bool
) -> None:
    found = made(style, MOUNTS[:count], outline)
    bare = sorted((round(h.x_mm / INCH, 4), round(h.y_mm / INCH, 4)) for h in found.holes if not h.plated)
    assert bare == sorted(MOUNTS[:count])
    assert not [one for one in found.findings if one.code == "BRD-015"]


def test_a_small_file_follows_the_one_beside_it() -> None:
    """Both in inch 2.3 without saying so: the plated one is found by its lands, the other one cannot be and is read alike."""
    number, header = (lambda value: f"{round(value * 1e3)}"), "INCH,TZ"
    files = {
        "b.gtl": copper(),
        "b.gbl": copper(),
        "b.gko": edge(),
        "b-PTH.drl": drill(LANDS, number, header, "T1C0.0315"),
        "b-NPTH.drl": drill(MOUNTS[:3], number, header, "T1C0.1250"),
    }
    found = board_of(Package("b", tuple(Member(name, data) for name, data in files.items())))
    bare = sorted((round(h.x_mm / INCH, 4), round(h.y_mm / INCH, 4)) for h in found.holes if not h.plated)
    assert bare == sorted(MOUNTS[:3])
    assert sorted(one.place.file or "" for one in found.findings if one.code == "BRD-015") == [
        "b-NPTH.drl",
        "b-PTH.drl",
    ]


@pytest.mark.parametrize("named", [True, False])
def test_a_hole_in_two_files_is_as_the_one_that_states_it(named: bool) -> None:
    """A combined file that says nothing beside PTH and NPTH files (common practice: leftovers of two exports): the mounting hole cuts, it joins nothing."""
    number, header = STYLES["stated"]
    both = drill([*LANDS, MOUNTS[0]], number, header, "T1C0.0315")
    files = {
        "b.gtl": copper(),
        "b.gbl": copper(),
        "b-PTH.drl": drill(LANDS, number, header, "T1C0.0315"),
        "b-NPTH.drl": drill(MOUNTS[:1], number, header, "T1C0.1250"),
        "b.drl" if named else "b-plated.drl": both,
    }
    found = board_of(Package("b", tuple(Member(name, data) for name, data in files.items())))
    (hole,) = [h for h in found.holes if h.x_mm > 60]
    told = [f for f in found.findings if f.code == "BRD-044"]
    assert hole.plated is not named and len(found.holes) == len(LANDS) + 1
    assert len(told) == (0 if named else 1)
    assert all("b-plated.drl" in f.words and "b-NPTH.drl" in f.words and f.severity == "error" for f in told)
