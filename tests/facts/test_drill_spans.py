"""Blind holes whose span only words tell: a name, a header comment, a layer-pair file. What they join is known by construction."""

from __future__ import annotations

import pytest

from coppermend.formats.member import Member
from coppermend.formats.package import plan_package
from coppermend.services.boards import Package, board_of

COPPER = ("b-F_Cu.gbr", "b-In1_Cu.gbr", "b-In2_Cu.gbr", "b-B_Cu.gbr")
LAND = b"%FSLAX44Y44*%%MOMM*%%ADD10C,1.0*%%ADD11C,0.3*%D10*X0Y0D03*X100000Y0D03*D11*X0Y0D02*X100000Y0D01*M02*"
VIA = b"M48\nMETRIC,TZ\nT1C0.400\n%\nG90\nT1\nX0.0Y0.0\nM30\n"
THROUGH = b"M48\nMETRIC,TZ\nT1C0.800\n%\nG90\nT1\nX50.0Y50.0\nM30\n"


def package(drill: str, data: bytes = VIA, through: str = "b-thru.drl", *more: Member, copper=COPPER) -> list[Member]:  # type: ignore[no-untyped-def]
    """Four layers with a track each, one above the other; one hole at an end of all of them, and a hole elsewhere that goes through."""
    return [*(Member(name, LAND) for name in copper), Member(drill, data), Member(through, THROUGH), *more]


def islands(members: list[Member]) -> int:
    """How many islands the four tracks make: a hole through n of them joins those."""
    return len(board_of(Package("b", tuple(members))).nets)


def span_of(members: list[Member], name: str) -> tuple[int, int] | None:
    """The span that the plan gives a file."""
    return next(f.role.span for f in plan_package(members).files if f.member.name == name)


def commented(first: str, last: str) -> bytes:
    return VIA.replace(b"M48\n", f"M48\n;FILE : v.drl for board b.brd layers {first} and {last}\n".encode())


PAIRS = Member("b.LDP", b"Layer Pairs Export File\r\nLayersSetName=A|DrillFile=b.tx1|DrillLayers=gtl,g1\r\n")


@pytest.mark.parametrize(("members", "span"), [
    (package("b-front-in1.drl"), (1, 2)),
    (package("b-in1-in2.drl"), (2, 3)),
    (package("b-in2-back.drl"), (3, 4)),
    (package("b-PTH-F_Cu-In1_Cu.drl"), (1, 2)),
    (package("b-PTH-In2_Cu-B_Cu.drl"), (3, 4)),
    (package("drill_L1L2.txt"), (1, 2)),
    (package("b-top-inner1.drl"), (1, 2)),
    (package("L3-L4.drl"), (3, 4)),
    (package("b_layer1_to_layer2.drl"), (1, 2)),
    (package("v1.drl", commented("TOP", "L2")), (1, 2)),
    (package("v1.drl", commented("L3", "BOTTOM")), (3, 4)),
    (package("b.TX1", VIA, "b.TXT", PAIRS, copper=("b.GTL", "b.G1", "b.G2", "b.GBL")), (1, 2)),
])  # fmt: skip
def test_words_that_name_two_layers_are_a_span_and_said(members: list[Member], span: tuple[int, int]) -> None:
    """Four tracks; a hole through two of them leaves three islands (through all: one)."""
    plan = plan_package(members)
    assert span_of(members, members[4].name) == span
    assert [f.place.file for f in plan.findings if f.code == "PKG-018"] == [members[4].name]
    assert islands(members) == 3


@pytest.mark.parametrize("members", [
    package("b_top_blind.drl"), package("b_buried.drl"), package("v1.drl", commented("SIG_A", "SIG_B")),
    package("b.TX1", VIA, "b.TXT"),
])  # fmt: skip
def test_words_that_leave_the_layers_open_are_an_error_that_says_what_may_be_false(members: list[Member]) -> None:
    found = [f for f in plan_package(members).findings if f.code == "PKG-017"]
    assert [f.place.file for f in found] == [members[4].name]
    assert "joined falsely" in found[0].words and "layers = [first, last]" in found[0].remedy
    assert islands(members) == 1


@pytest.mark.parametrize(
    "name", ["b-PTH.drl", "b-F_Cu-B_Cu.drl", "front-to-back.drl", "b.drl", "L1-L4.drl", "top-2.drl", "rev-l2.drl"]
)
def test_holes_through_the_board_stay_so_without_a_word(name: str) -> None:
    members = package(name)
    assert not {f.code for f in plan_package(members).findings} & {"PKG-017", "PKG-018"}
    assert islands(members) == 1


def test_two_layers_need_no_span() -> None:
    members = [Member("b-F_Cu.gbr", LAND), Member("b-B_Cu.gbr", LAND), Member("b-front-in1.drl", VIA)]
    assert span_of(members, "b-front-in1.drl") is None and islands(members) == 1


HOLES = (
    b"M48\n;   Holesize 1. = 0.4000 Tolerance = +0.0/-0.0 PLATED MM Quantity = 1\n"
    b";   Holesize 2. = 1.5000 Tolerance = +0.0/-0.0 NON_PLATED MM Quantity = 1\nM71\n%\nT01\nX0Y0\nT02\nX50000Y50000\nM30\n"
)  # fmt: skip


def test_hole_sizes_in_comments_without_a_tool_word() -> None:
    """Sizes and plating stand in the comments by number alone; the last one says nothing of the others."""
    from coppermend.formats.drill import read_drill
    from coppermend.formats.drill.model import DrillFormat

    made = read_drill(HOLES, "x.drl", DrillFormat(True, 3, 3, "leading"))
    assert made.diameter_mm.tolist() == [0.4, 1.5] and made.plated.tolist() == [1, 0]


def test_comments_that_say_both_of_plating_speak_for_no_whole_file() -> None:
    from coppermend.formats.drill import read_drill

    both = b"M48\nMETRIC,TZ\n;the PLATED holes are drilled first\n;then the NON_PLATED ones\n%\nT1C0.4\nX1.0Y1.0\nM30\n"
    one = b"M48\nMETRIC,TZ\n;all holes NON_PLATED\nT1C0.4\n%\nT1\nX1.0Y1.0\nM30\n"
    assert read_drill(one, "x.drl").plated.tolist() == [0]
    assert read_drill(both, "x.drl").plated.tolist() != [1]
