"""Lists that name a part twice: both rows are said, and none wins unseen. Expected values by looking at the drawing."""

from __future__ import annotations

import pytest

from coppermend.core.board.model import Board
from coppermend.core.findings import Finding
from coppermend.formats.member import Member
from coppermend.services.boards import Package, board_of

HEAD = "%FSLAX33Y33*%%MOMM*%%ADD10R,1X1*%"
PLACES = {"R1": (10, 10), "R2": (20, 10), "R3": (30, 10), "R4": (40, 12)}
TABLE = "Ref,Val,Package,PosX,PosY,Rot,Side\n"


def front() -> str:
    """Four parts of two lands each, 2 mm apart, named by X2."""
    lands = "".join(
        f"%TO.P,{ref},{pin}*%X{x * 1000 + dx}Y{y * 1000}D03*\n"
        for ref, (x, y) in PLACES.items()
        for pin, dx in ((1, -1000), (2, 1000))
    )
    return HEAD + "D10*\n" + lands + "M02*"


def built(**lists: str) -> Board:
    files = {"b.gtl": front(), **{name.replace("_", "."): text for name, text in lists.items()}}
    return board_of(Package("b", tuple(Member(name, text.encode()) for name, text in files.items())))


def twice(board: Board) -> list[Finding]:
    return [one for one in board.findings if one.code == "CEN-013"]


def values(board: Board) -> dict[str, str]:
    return {part.ref: part.value for part in board.parts}


def rows(dx: float, dy: float, *more: str) -> str:
    whole = [f"{ref},10k,0805,{x + dx},{y + dy},0,top" for ref, (x, y) in PLACES.items() if ref != "R2"]
    return TABLE + "\n".join([*whole, *more]) + "\n"


@pytest.mark.parametrize("shift", [(0.0, 0.0), (100.0, -50.0)])
@pytest.mark.parametrize("first", [True, False])
def test_the_row_at_the_pins_counts_wherever_it_stands(first: bool, shift: tuple[float, float]) -> None:
    """R2 lies at (20, 10); a second R2 at (60, 60) is somebody else. The list's origin may be another."""
    dx, dy = shift
    true, other = f"R2,47k,0805,{20 + dx},{10 + dy},0,top", f"R2,0R,0603,{60 + dx},{60 + dy},0,top"
    board = built(place_csv=rows(dx, dy, *((true, other) if first else (other, true))))
    assert values(board) == {"R1": "10k", "R2": "47k", "R3": "10k", "R4": "10k"}
    (said,) = twice(board)
    assert said.place.file == "place.csv" and said.place.thing == "R2"
    for words in (
        "'47k' 0805",
        "'0R' 0603",
        f"{20 + dx:.3f}, {10 + dy:.3f} mm",
        f"{60 + dx:.3f}, {60 + dy:.3f} mm",
        "line 5",
        "line 6",
    ):
        assert words in said.words, words
    assert not [one for one in board.findings if one.code == "CEN-011"]


def test_two_rows_at_one_place_give_neither_value() -> None:
    """Variants of one board: both rows lie at the pins, so nothing tells which is fitted; the package, which both name alike, is kept."""
    board = built(place_csv=rows(0, 0, "R2,47k,0805,20,10,0,top", "R2,0R,0805,20,10,0,top"))
    assert values(board)["R2"] == "" and {part.ref: part.package for part in board.parts}["R2"] == "0805"
    (said,) = twice(board)
    assert "'47k'" in said.words and "'0R'" in said.words and "alike" in said.words
    assert not next(part for part in board.parts if part.ref == "R2").through_ohm


def test_the_same_row_twice_is_no_question() -> None:
    row = "R2,47k,0805,20,10,0,top"
    board = built(place_csv=rows(0, 0, row, row))
    assert values(board)["R2"] == "47k" and not twice(board)


def test_a_parts_list_without_places() -> None:
    board = built(parts_csv="ref,value,package\nR1,10k,0805\nR2,47k,0805\nR2,0R,0805\nR3 R4,1k,0603\n")
    assert values(board) == {"R1": "10k", "R2": "", "R3": "1k", "R4": "1k"}
    (said,) = twice(board)
    assert "line 3" in said.words and "line 4" in said.words and said.place.file == "parts.csv"


def test_parts_that_are_not_on_the_copper_are_not_asked_about() -> None:
    board = built(place_csv=rows(0, 0, "R2,47k,0805,20,10,0,top", "FID,x,m,0,0,0,top", "FID,y,m,50,50,0,top"))
    assert not twice(board)


def test_many_are_counted() -> None:
    lines = [f"{ref},{value},0805,{x},{y},0,top" for ref, (x, y) in PLACES.items() for value in ("1k", "2k")]
    assert len(twice(built(place_csv=TABLE + "\n".join(lines)))) == 4


def test_beside_a_pin_list() -> None:
    files = {
        "pins.csv": "part,pin,net\nU1,1,A\nU2,1,A\nU1,2,B\nU2,2,B\n",
        "parts.csv": "ref,value\nU1,74LS00\nU1,74LS02\nU2,6502\n",
    }
    board = board_of(Package("b", tuple(Member(name, text.encode()) for name, text in files.items())))
    assert values(board) == {"U1": "", "U2": "6502"}
    (said,) = twice(board)
    assert "'74LS00'" in said.words and "'74LS02'" in said.words
