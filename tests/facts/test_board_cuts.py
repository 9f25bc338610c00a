"""Tracks cut at the factory, by the corrections file: what the cut parts follows from the drawing."""

from __future__ import annotations

import pytest

from coppermend.core.board.model import Board
from coppermend.formats.member import Member
from coppermend.services.boards import Package, board_of

HEAD = b"%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,1.6*%\n%ADD11C,0.3*%\n"
TRACK = b"D10*\nX0Y0D03*\nX10000000Y0D03*\nD11*\nX0Y0D02*\nX10000000Y0D01*\nM02*\n"


def board(said: str) -> Board:
    files = (
        Member("b.gtl", HEAD + TRACK),
        Member("b.gbl", HEAD + TRACK),
        Member("coppermend-corrections.toml", said.encode()),
    )
    return board_of(Package("b", files))


def islands(found: Board, key: str) -> int:
    return len(set(found.layer(key).island.tolist()))


@pytest.mark.parametrize(("place", "said"), [
    ("at_mm = [5, 0]", "copper is cut at 5, 0 mm (0.5 mm wide)"),
    ("from_mm = [5, -1]\nto_mm = [5, 1]", "copper is cut from 5, -1 to 5, 1 mm (0.5 mm wide)"),
])  # fmt: skip
def test_a_cut_parts_the_track_on_its_layer_only(place: str, said: str) -> None:
    found = board(f'[[cut]]\nlayer = "c"\n{place}\nwidth_mm = 0.5\n')
    assert (islands(found, "c"), islands(found, "s")) == (2, 1)
    # the track's body between the lands: 10 mm by 0.3 mm less what the cut takes away
    assert [one.words for one in found.findings if one.code == "COR-010"] == [f"Corrected by the user: {said}."]


def test_a_cut_beside_the_track_changes_nothing() -> None:
    assert islands(board('[[cut]]\nlayer = "c"\nat_mm = [5, 3]\n'), "c") == 1


@pytest.mark.parametrize(("said", "code"), [
    ('[[cut]]\nlayer = "i7"\nat_mm = [5, 0]\n', "BRD-035"),
    ('[[cut]]\nlayer = "c"\nat_mm = [5]\n', "COR-004"),
    ('[[cut]]\nlayer = "c"\nat_mm = [5, 0]\nwidth_mm = -1\n', "COR-004"),
    ('cut = 3\n', "COR-004"),
    ('[[cut]]\nlayer = "c"\nat_mm = [5, 3]\n', "BRD-035"),  # bare board
    ('[[cut]]\nlayer = "c"\nat_mm = [5, 0]\nwidth_mm = 0.2\n', "BRD-035"),  # a hole of 0.2 mm in a track of 0.3 mm
    ('[[cut]]\nlayer = "c"\nat_mm = [5, 0]\nwidht_mm = 0.5\n', "COR-004"),
    ('[[cut]]\nlayer = "c"\nfrom_mm = [5, -1]\n', "COR-004"),
    ('[[cut]]\nlayer = "c"\nat_mm = [5, 0]\nfrom_mm = [5, -1]\nto_mm = [5, 1]\n', "COR-004"),
])  # fmt: skip
def test_what_cannot_be_cut_is_said(said: str, code: str) -> None:
    found = board(said)
    codes = {one.code for one in found.findings}
    assert islands(found, "c") == 1 and code in codes and "COR-010" not in codes


def test_two_cuts_that_part_a_track_together_both_count() -> None:
    halves = "".join(f'[[cut]]\nlayer = "c"\nat_mm = [5, {y}]\nwidth_mm = 0.3\n' for y in (-0.1, 0.1))
    found = board(halves)
    assert islands(found, "c") == 2
    assert sorted(one.code for one in found.findings if one.code in ("COR-010", "BRD-035")) == ["COR-010"] * 2


@pytest.mark.parametrize(("said", "code"), [
    ("[netlists]\nshif_mm = [1, 2]\n", "COR-004"),
    ("[board]\nfoo = 3\n", "COR-004"),
    ('[[wire]]\nfrom = "0, 0 c"\nto = "0, 0 s"\ndiam = 0.2\n', "COR-004"),
    ('[[wire]]\nfrom = "50, 50 c"\nto = "0, 0 s"\n', "BRD-036"),
    ('[file."no.gbr"]\nrole = "copper c"\n', "COR-003"),
    ('[file]\n"b.gtl" = 3\n', "COR-002"),
    ("file = 3\n", "COR-002"),
    ('[net]\n"U9.1" = "RESET"\n', "BRD-030"),
    ('[part.U1]\nsid = "c"\n', "COR-004"),
    ('[part.U1]\nside = "c"\n', "COR-004"),
])  # fmt: skip
def test_a_statement_that_is_not_applied_is_said_and_not_listed_as_applied(said: str, code: str) -> None:
    found = board(said)
    codes = {one.code for one in found.findings}
    assert code in codes and "COR-010" not in codes and len(found.nets) == 2


def test_corrections_of_copper_that_a_list_of_pins_does_not_have_are_said() -> None:
    said = '[board]\ncopper_um = 70\n[[wire]]\nfrom = "0, 0 c"\nto = "5, 0 c"\n[[cut]]\nlayer = "c"\nat_mm = [5, 0]\n'
    files = (
        Member("pins.csv", b"ref,pin,net\nU1,1,A\nU1,2,B\nU2,1,A\nU2,2,B\n"),
        Member("coppermend-corrections.toml", said.encode()),
    )
    found = board_of(Package("b", files))
    things = {one.place.thing for one in found.findings if one.code == "COR-004"}
    assert not found.layers and things == {"cut", "wire", "board.copper_um"}
    assert "COR-010" not in {one.code for one in found.findings}
