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


@pytest.mark.parametrize("place", ["at_mm = [5, 0]", "from_mm = [5, -1]\nto_mm = [5, 1]"])
def test_a_cut_parts_the_track_on_its_layer_only(place: str) -> None:
    found = board(f'[[cut]]\nlayer = "c"\n{place}\nwidth_mm = 0.5\n')
    assert (islands(found, "c"), islands(found, "s")) == (2, 1)
    # the track's body between the lands: 10 mm by 0.3 mm less what the cut takes away
    assert any("copper is cut at 5" in one.words for one in found.findings if one.code == "COR-010")


def test_a_cut_beside_the_track_changes_nothing() -> None:
    assert islands(board('[[cut]]\nlayer = "c"\nat_mm = [5, 3]\n'), "c") == 1


@pytest.mark.parametrize(("said", "code"), [
    ('[[cut]]\nlayer = "i7"\nat_mm = [5, 0]\n', "BRD-035"),
    ('[[cut]]\nlayer = "c"\nat_mm = [5]\n', "COR-004"),
    ('[[cut]]\nlayer = "c"\nat_mm = [5, 0]\nwidth_mm = -1\n', "COR-004"),
    ('cut = 3\n', "COR-004"),
])  # fmt: skip
def test_what_cannot_be_cut_is_said(said: str, code: str) -> None:
    found = board(said)
    assert islands(found, "c") == 1 and code in {one.code for one in found.findings}
