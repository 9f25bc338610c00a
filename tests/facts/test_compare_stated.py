"""Reasons that the package itself states: what is milled, cut, wired or said of holes is named, and a real open stays a real open."""

from __future__ import annotations

import pytest

from coppermend.core.copper.compare import Disagreement, compare
from coppermend.formats.member import Member
from coppermend.services.boards import Package, board_of

UNITS = "%FSLAX46Y46*%\n%MOMM*%\n"
HEAD = UNITS + "%ADD10C,1.6*%\n%ADD11C,0.3*%\n"
LANDS = [(0, 0, "A", "c"), (20, 0, "A", "c"), (0, 10, "B", "c"), (20, 10, "B", "s")]
"""x, y (mm), net and layer of the lands of U1, in the order of the pins: A is one track on c, B changes to s through a hole at 10, 10."""
EDGE = "%TF.FileFunction,Profile,NP*%\n%ADD10C,0.1*%\nD10*\n"
DRILL = b"M48\nMETRIC\nT1C0.8\n%\nG90\nT1\nX10.0Y10.0\nM30\n"


def spot(x: float, y: float) -> str:
    return f"X{round(x * 1e6)}Y{round(y * 1e6)}"


def line(*points: tuple[float, float]) -> str:
    return f"{spot(*points[0])}D02*\n" + "".join(f"{spot(*one)}D01*\n" for one in points[1:])


def copper(side: str, tracks: str) -> bytes:
    lands = "".join(
        f"%TO.P,U1,{pin}*%\n%TO.N,{net}*%\nD10*\n{spot(x, y)}D03*\n"
        for pin, (x, y, net, layer) in enumerate(LANDS, 1)
        if layer == side
    )
    name = "Copper,L1,Top" if side == "c" else "Copper,L2,Bot"
    return f"%TF.FileFunction,{name}*%\n{HEAD}{lands}%TD*%\nD10*\n{spot(10, 10)}D03*\nD11*\n{tracks}M02*\n".encode()


def found(said: str = "", edge: str = "", top: str = "") -> list[Disagreement]:
    files = [
        Member("b-F.gbr", copper("c", (top or line((0, 0), (20, 0))) + line((0, 10), (10, 10)))),
        Member("b-B.gbr", copper("s", line((10, 10), (20, 10)))),
        Member("b.drl", DRILL),
    ]
    files += [Member("b-Edge.gbr", f"{UNITS}{EDGE}{edge}M02*\n".encode())] if edge else []
    files += [Member("coppermend-corrections.toml", said.encode())] if said else []
    rows = compare(board_of(Package("b", tuple(files))))
    return [one for row in rows for one in (*row.split_nets, *row.joined_nets)]


RIM = line((-5, -5), (30, -5), (30, 20), (-5, 20), (-5, -5))
SLOT = line((9, -2), (11, -2), (11, 2), (9, 2), (9, -2))
NOTCHED = line((-5, -5), (9, -5), (9, 2), (11, 2), (11, -5), (30, -5), (30, 20), (-5, 20), (-5, -5))


@pytest.mark.parametrize(("said", "edge", "net", "words", "place"), [
    ("", RIM + SLOT, "A", "milled between them", (10, 0, "c")),
    ("", NOTCHED, "A", "milled between them", (10, -1.5, "c")),
    ('[[cut]]\nlayer = "c"\nat_mm = [7, 0]\n', "", "A", "[[cut]]", (7, 0, "c")),
    ('[file."b.drl"]\nplated = false\n', "", "B", "plated = false of the holes of b.drl", (10, 10, "c")),
    ('[file."b.drl"]\nlayers = [1, 1]\n', "", "B", "layers = [1, 1] of the holes of b.drl", (10, 10, "c")),
    ('[[wire]]\nfrom = "20, 0 c"\nto = "20, 10 s"\n', "", "A", "[[wire]] of the corrections joins", (20, 0, "c")),
])  # fmt: skip
def test_what_the_package_states_is_the_reason(
    said: str, edge: str, net: str, words: str, place: tuple[float, float, str]
) -> None:
    (one,) = found(said, edge)
    assert net in one.nets and one.why == "stated" and words in one.words
    assert (one.x_mm, one.y_mm) == pytest.approx(place[:2], abs=0.01) and one.layer == place[2]
    assert "real open" not in one.words and "Nothing at the place" not in one.words


def test_without_any_of_it_copper_and_nets_agree() -> None:
    assert found() == [] and found("", RIM) == []


@pytest.mark.parametrize(("said", "edge"), [
    ("", RIM + line((14, 4), (16, 4), (16, 6), (14, 6), (14, 4))),  # a slot away from all copper
    ('[[cut]]\nlayer = "c"\nat_mm = [18, 0]\nwidth_mm = 0.1\n', ""),  # a cut that parts nothing
    ('[file."b.drl"]\nplated = true\n', ""),
])  # fmt: skip
def test_a_real_open_beside_a_statement_stays_one(said: str, edge: str) -> None:
    (one,) = found(said, edge, top=line((0, 0), (6, 0)) + line((7, 0), (20, 0)))
    assert one.why == "open" and "A real open in the copper data" in one.words


def test_two_cuts_in_one_track_are_both_named() -> None:
    said = "".join(f'[[cut]]\nlayer = "c"\nat_mm = [{x}, 0]\n' for x in (7, 13))
    (one,) = found(said)
    assert one.why == "stated" and "7, 0 mm" in one.words and "13, 0 mm" in one.words
