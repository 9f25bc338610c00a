"""Layers moved on their films by IJ and IO: laid by the holes. Truth by construction."""

from __future__ import annotations

import pytest

from coppermend.core.board.model import Board
from coppermend.formats.member import Member
from coppermend.services.boards import Package, board_of

HOLES = [(x, y) for x in range(10, 40, 5) for y in range(10, 30, 5)]
HEAD = "%FSLAX46Y46*%\n%MOMM*%\n{film}%ADD10C,1.5*%\n%ADD11C,0.3*%\n"


def layer(film: str, dx: float = 0.0, dy: float = 0.0, track: bool = False, more: bool = False) -> bytes:
    def at(x: float, y: float) -> str:
        return f"X{round((x + dx) * 1e6)}Y{round((y + dy) * 1e6)}"

    lands = "".join(f"{at(x, y)}D03*\n" for x, y in [*HOLES, *([(3.0, 3.0)] if more else [])])
    line = f"D11*\n{at(10, 10)}D02*\n{at(35, 10)}D01*\n" if track else ""
    return (HEAD.format(film=film) + "D10*\n" + lands + line + "M02*\n").encode()


def made(front: bytes, back: bytes, holes: bool = True) -> Board:
    rows = "".join(f"X{x}.0Y{y}.0\n" for x, y in HOLES)
    files = {"b.gtl": front, "b.gbl": back}
    if holes:
        files["b.drl"] = f"M48\nMETRIC\nT1C0.8\n%\nT1\n{rows}M30\n".encode()
    return board_of(Package("b", tuple(Member(name, data) for name, data in files.items())))


def nets(board: Board) -> int:
    return len({hole.island for hole in board.holes})


def said(board: Board) -> str:
    (found,) = [one for one in board.findings if one.code == "GBR-033"]
    return found.words


def test_coordinates_that_need_the_offset_get_it() -> None:
    """Solder side plotted 7, -3 mm away, and IO brings it back."""
    board = made(layer("", track=True), layer("%IOA7B-3*%\n", -7, 3))
    assert nets(board) == len(HOLES) - 5 and "They were moved so." in said(board)
    assert not [one for one in board.findings if one.code in ("BRD-016", "BRD-017", "BRD-019", "BRD-024")]


def test_films_justified_each_by_itself_are_laid_back() -> None:
    """Both sides are justified to their own lower left corner, which differ by a land: the coordinates as they stand fit the holes."""
    board = made(layer("%IJALBL*%\n", track=True), layer("%IJALBL*%\n", more=True))
    assert nets(board) == len(HOLES) - 5 and "100% as the coordinates stand: they are not moved" in said(board)
    assert board.layers[0].shapes.bounds_mm()[0].tolist() == pytest.approx([9.25, 9.25, 10.75, 10.75])


@pytest.mark.parametrize(("more", "moved"), [(True, False), (False, True)])
def test_without_holes_the_sides_tell(more: bool, moved: bool) -> None:
    """The sides' lands over each other: as they stand where justifying parts them, else as the films say."""
    board = made(layer("%IJALBL*%\n"), layer("%IJALBL*%\n", more=more), holes=False)
    assert ("They were moved so." in said(board)) is moved
