"""Layers plotted with another origin, mirrored, or with painted lands: laid by the holes, or said. Truth by construction."""

from __future__ import annotations

import pytest

from coppermend.core.board.model import Board
from coppermend.formats.member import Member
from coppermend.services.boards import Package, board_of

HOLES = [(3.1 * (k % 6) + 0.37 * (k // 6) ** 2, 4.3 * (k // 6) + 0.29 * (k % 6) ** 2) for k in range(24)]
"""24 places of no symmetry."""
HEAD = "%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,1.2*%\n%ADD11C,0.3*%\n%ADD12C,40*%\n"
TRACK = (HOLES[0], HOLES[6])
"""Along the left edge, past no other hole."""


def at(x: float, y: float, dx: float = 0.0, mirrored: bool = False) -> str:
    return f"X{round(((-x if mirrored else x) + dx) * 1e6)}Y{round(y * 1e6)}"


def land(kind: str, x: float, y: float, dx: float, mirrored: bool) -> str:
    place = at(x, y, dx, mirrored)
    if kind == "flash":
        return f"D10*\n{place}D03*\n"
    if kind == "dot":
        return f"D10*\n{place}D02*\n{place}D01*\n"
    strokes = "".join(
        f"{at(x - 0.5, y + k, dx, mirrored)}D02*\n{at(x + 0.5, y + k, dx, mirrored)}D01*\n"
        for k in (-0.5, -0.25, 0.0, 0.25, 0.5)
    )
    return f"D11*\n{strokes}"


def layer(kinds: tuple[str, ...] = ("flash",), dx: float = 0.0, track: bool = False, mirrored: bool = False) -> bytes:
    body = "".join(land(kinds[k % len(kinds)], x, y, dx, mirrored) for k, (x, y) in enumerate(HOLES))
    line = f"D11*\n{at(*TRACK[0], dx, mirrored)}D02*\n{at(*TRACK[1], dx, mirrored)}D01*\n" if track else ""
    return (HEAD + body + line + "M02*\n").encode()


def plane(mirrored: bool) -> bytes:
    """A plane by a dark disc of 40 mm, cleared at all holes but four."""
    clear = "".join(f"{at(x, y, 0.0, mirrored)}D03*\n" for x, y in HOLES[4:])
    disc = f"D12*\n{at(9, 8, 0.0, mirrored)}D03*\n"
    return (HEAD + f"{disc}%LPC*%\nD10*\n{clear}%LPD*%\nM02*\n").encode()


def made(*layers: bytes) -> Board:
    names = ("b.gtl", *(f"b.g{k}" for k in range(1, len(layers) - 1)), "b.gbl")
    rows = "".join(f"X{x:.4f}Y{y:.4f}\n" for x, y in HOLES)
    drill = Member("b.drl", f"M48\nMETRIC\nT1C0.8\n%\nT1\n{rows}M30\n".encode())
    return board_of(Package("b", (*(Member(n, data) for n, data in zip(names, layers, strict=True)), drill)))


def joined(board: Board) -> set[frozenset[int]]:
    """Groups of two holes or more that are one net, by their numbers."""
    groups: dict[int | None, set[int]] = {}
    for hole in board.holes:
        number = min(range(len(HOLES)), key=lambda k: abs(HOLES[k][0] - hole.x_mm) + abs(HOLES[k][1] - hole.y_mm))
        groups.setdefault(hole.island, set()).add(number)
    return {frozenset(one) for one in groups.values() if len(one) > 1}


def codes(board: Board) -> set[str]:
    return {one.code for one in board.findings if one.code in ("BRD-019", "BRD-024")}


@pytest.mark.parametrize("kinds", [("flash", "dot"), ("flash", "painted"), ("dot",), ("painted", "painted", "flash")])
def test_a_side_with_painted_lands_and_another_origin_is_laid_right(kinds: tuple[str, ...]) -> None:
    board = made(layer(), layer(kinds, dx=5.0, track=True))
    assert joined(board) == {frozenset((0, 6))} and codes(board) == {"BRD-019"}


@pytest.mark.parametrize("kinds", [("flash", "dot"), ("painted", "painted", "flash"), ("painted",)])
def test_a_side_with_painted_lands_that_lies_right_is_left_alone(kinds: tuple[str, ...]) -> None:
    board = made(layer(), layer(kinds, track=True))
    assert joined(board) == {frozenset((0, 6))} and not codes(board)


@pytest.mark.parametrize(("dx", "mirrored"), [(5.0, False), (0.0, True), (31.0, True)])
def test_an_inner_layer_astray_is_laid_right(dx: float, mirrored: bool) -> None:
    board = made(layer(), layer(dx=dx, mirrored=mirrored, track=True), layer(), layer())
    assert joined(board) == {frozenset((0, 6))} and codes(board) == {"BRD-019"}


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_plane_plotted_mirrored_is_laid_right(mirrored: bool) -> None:
    board = made(layer(), plane(mirrored), layer(), layer())
    assert joined(board) == {frozenset((0, 1, 2, 3))} and codes(board) == ({"BRD-019"} if mirrored else set())


def test_an_inner_layer_of_another_board_is_said() -> None:
    flashes = "".join(f"X{k * 1370000}Y{(k * k) * 210000}D03*\n" for k in range(12))
    board = made(layer(), f"{HEAD}D10*\n{flashes}M02*\n".encode(), layer(), layer())
    assert codes(board) == {"BRD-024"}
