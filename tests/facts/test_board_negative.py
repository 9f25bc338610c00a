"""Inner layers that do not say their polarity: negative planes are found by what they draw, lands and tracks are left as they are.

Planes are made here from their holes; what must be joined follows from how they were made.
"""

from __future__ import annotations

import pytest

from coppermend.core.board.model import Board
from coppermend.formats.member import Member
from coppermend.services.boards import Package, board_of

HOLES = [(x, y) for x in range(5, 45, 5) for y in range(5, 30, 5)]
ON_PLANE = [hole for k, hole in enumerate(HOLES) if k % 3 == 0]
HEAD = "%FSLAX46Y46*%\n%MOMM*%\n%AMTH*7,0,0,2.0,1.4,0.3,45*%\n%ADD10C,1.4*%\n%ADD11TH*%\n%ADD12C,0.3*%\n%ADD13C,1.6*%\n"


def flash(code: int, places: list[tuple[int, int]]) -> str:
    return f"D{code}*\n" + "".join(f"X{x}000000Y{y}000000D03*\n" for x, y in places)


def gerber(*body: str) -> bytes:
    return (HEAD + "".join(body) + "M02*\n").encode()


EDGE = "D12*\nX0Y0D02*\nX45000000Y0D01*\nX45000000Y30000000D01*\nX0Y30000000D01*\nX0Y0D01*\n"
TRACKS = "D12*\n" + "".join(f"X{x}000000Y{y}000000D02*\nX{x + 2}000000Y{y}000000D01*\n" for x, y in HOLES)
POUR = "G36*\nX1000000Y1000000D02*\nX44000000D01*\nY29000000D01*\nX1000000D01*\nY1000000D01*\nG37*\n"
DRILL = ("M48\nMETRIC\nT1C0.8\n%\nT1\n" + "".join(f"X{x}.0Y{y}.0\n" for x, y in HOLES) + "M30\n").encode()


def board(inner: bytes, corrections: bytes = b"") -> Board:
    outer = gerber(flash(13, HOLES))
    files = {
        "b.gtl": outer,
        "b.gbl": outer,
        "b.g1": inner,
        "b.g2": gerber(flash(13, HOLES), TRACKS),
        "b.gko": gerber(EDGE),
        "b.drl": DRILL,
    }
    if corrections:
        files["coppermend-corrections.toml"] = corrections
    return board_of(Package("b", tuple(Member(name, data) for name, data in files.items())))


def joined(found: Board) -> set[tuple[float, float]]:
    """Places of the holes that lie in the biggest net."""
    islands = [hole.island for hole in found.holes]
    most = max(set(islands), key=islands.count)
    return {(h.x_mm, h.y_mm) for h in found.holes if h.island == most} if islands.count(most) > 1 else set()


def guessed(found: Board) -> bool:
    return any(one.code == "BRD-008" for one in found.findings)


@pytest.mark.parametrize("border", ["", EDGE])
@pytest.mark.parametrize("thermals", [True, False])
def test_a_negative_plane_joins_the_holes_without_clearance(thermals: bool, border: str) -> None:
    away = [hole for hole in HOLES if hole not in ON_PLANE]
    found = board(gerber(flash(10, away), flash(11, ON_PLANE) if thermals else "", border))
    assert guessed(found) and joined(found) == set(ON_PLANE)


@pytest.mark.parametrize("body", [flash(13, HOLES) + TRACKS, POUR + flash(13, HOLES)], ids=["tracks", "pour"])
def test_lands_with_tracks_or_a_pour_stay_as_they_are(body: str) -> None:
    found = board(gerber(body))
    assert not guessed(found)
    assert joined(found) == (set(HOLES) if body.startswith("G36") else set())


def test_what_the_file_or_the_user_says_wins() -> None:
    away = [hole for hole in HOLES if hole not in ON_PLANE]
    said = b'[file."b.g1"]\npolarity = "positive"\n'
    assert joined(board(gerber(flash(10, away)), said)) == set()
    stated = gerber("%TF.FileFunction,Copper,L2,Inr*%\n%TF.FilePolarity,Positive*%\n", flash(10, away))
    assert joined(board(stated)) == set()


@pytest.mark.parametrize("role", [b"", b'[file."b.g1"]\nrole = "copper i1"\n'], ids=["name", "corrections"])
@pytest.mark.parametrize("word", ["", "%TF.FileFunction,Copper,L2,Inr*%\n"], ids=["polarity only", "with function"])
def test_a_stated_negative_polarity_holds_wherever_the_role_comes_from(word: str, role: bytes) -> None:
    """FilePolarity stands by itself: The Gerber Layer Format Specification, 5.6.4 (from memory). Two clearances: nothing to guess from."""
    away = HOLES[:2]
    found = board(gerber(word, "%TF.FilePolarity,Negative*%\n", flash(10, away)), role)
    assert joined(found) == set(HOLES[2:]) and not guessed(found)


def test_few_clearances_are_taken_as_lands_and_that_is_said() -> None:
    """Five holes, two with a clearance: nothing is joined by the layer, and the user hears what it might be."""
    few = "".join(f"X{x}.0Y{y}.0\n" for x, y in HOLES[:5])
    outer = gerber(flash(13, HOLES[:5]))
    files = {
        "b.gtl": outer,
        "b.gbl": outer,
        "b.g1": gerber(flash(10, HOLES[:2])),
        "b.g2": gerber(flash(13, HOLES[:5]), TRACKS),
        "b.gko": gerber(EDGE),
        "b.drl": f"M48\nMETRIC\nT1C0.8\n%\nT1\n{few}M30\n".encode(),
    }
    found = board_of(Package("b", tuple(Member(name, data) for name, data in files.items())))
    said = [one for one in found.findings if one.code == "BRD-008"]
    assert [one.place.file for one in said] == ["b.g1"] and "taken as positive" in said[0].words
    assert joined(found) == set()


AWAY = [hole for hole in HOLES if hole not in ON_PLANE]


def line(*points: tuple[float, float], code: int = 12) -> str:
    x0, y0 = points[0]
    drawn = "".join(f"X{round(x * 1e6)}Y{round(y * 1e6)}D01*\n" for x, y in points[1:])
    return f"D{code}*\nX{round(x0 * 1e6)}Y{round(y0 * 1e6)}D02*\n{drawn}"


@pytest.mark.parametrize("size", [13, 10], ids=["as the outer lands", "smaller"])
@pytest.mark.parametrize("way", [[(5, 5), (10, 5)], [(5, 5), (7, 7.5), (10, 7.5), (10, 10)]])
def test_one_track_from_hole_to_hole_makes_a_layer_copper(size: int, way: list[tuple[float, float]]) -> None:
    """A sparse signal layer: 40 lands and one track. It joins the track's two holes, and no doubt is left."""
    found = board(gerber(flash(size, AWAY), line(*way)))
    assert joined(found) == {way[0], way[-1]} and not guessed(found)


def test_lands_of_which_the_unused_were_removed_stay_lands() -> None:
    """Spots as large as the outer layers' lands are lands; that nothing else tells so is said as a warning."""
    found = board(gerber(flash(13, AWAY)))
    (said,) = [one for one in found.findings if one.code == "BRD-008"]
    assert joined(found) == set() and said.severity == "warning" and "as large as the lands" in said.words


def test_lands_at_all_holes_but_one_are_no_question() -> None:
    """Were it a plane it would join one hole to nothing: the nets are the same."""
    assert not guessed(board(gerber(flash(13, HOLES[1:]))))


FRAME = "%ADD14C,9.0*%\n" + line((0, 0), (45, 0), (45, 30), (0, 30), (0, 0), code=14)


@pytest.mark.parametrize(("moats", "parts"), [
    (FRAME, [set(ON_PLANE) - {h for h in ON_PLANE if min(h[0], h[1], 45 - h[0], 30 - h[1]) < 4.5 + 0.4}]),
    (line((22.5, 0), (22.5, 30)) + line((15, 0), (15, 12.5), (22.5, 12.5)), [
        {h for h in ON_PLANE if h[0] > 22.5}, {h for h in ON_PLANE if h[0] < 22.5} - {(20, 5)},
    ]),
], ids=["a wide frame", "moats along a column"])  # fmt: skip
def test_frames_and_moats_that_touch_clearances_leave_a_plane_a_plane(moats: str, parts: list[set]) -> None:
    """The frame's inner rim lies 4.5 mm within the board; the moats, through two clearances, part the plane in three (one of a single hole)."""
    found = board(gerber(flash(10, AWAY), moats))
    assert guessed(found)
    islands: dict[int | None, set] = {}
    for hole in found.holes:
        islands.setdefault(hole.island, set()).add((hole.x_mm, hole.y_mm))
    many = [places for places in islands.values() if len(places) > 1]
    assert sorted(map(sorted, many)) == sorted(sorted(part) for part in parts if len(part) > 1)


def test_three_thermals_make_a_plane_however_few() -> None:
    """Five holes, two with a clearance, three with a thermal: the thermals' holes are joined."""
    holes = HOLES[:5]
    outer = gerber(flash(13, holes))
    files = {
        "b.gtl": outer,
        "b.gbl": outer,
        "b.g1": gerber(flash(10, holes[:2]), flash(11, holes[2:])),
        "b.g2": gerber(flash(13, holes), TRACKS),
        "b.gko": gerber(EDGE),
        "b.drl": ("M48\nMETRIC\nT1C0.8\n%\nT1\n" + "".join(f"X{x}.0Y{y}.0\n" for x, y in holes) + "M30\n").encode(),
    }
    found = board_of(Package("b", tuple(Member(name, data) for name, data in files.items())))
    assert joined(found) == set(holes[2:]) and guessed(found)


def test_painted_clearances_and_thermals() -> None:
    """Clearances hatched with strokes, thermals of four arcs drawn as strokes round the hole: as on plots without flashes."""
    clearances = "".join(
        line(*((x + a, y + b) for a, b in ((-0.6, k), (0.6, k)))) for x, y in AWAY for k in (-0.4, -0.2, 0.0, 0.2, 0.4)
    )
    ring = [(0.9, 0.3), (0.3, 0.9), (-0.3, 0.9), (-0.9, 0.3), (-0.9, -0.3), (-0.3, -0.9), (0.3, -0.9), (0.9, -0.3)]
    thermals = "".join(
        line((x + ring[k][0], y + ring[k][1]), (x + ring[k + 1][0], y + ring[k + 1][1]))
        for x, y in ON_PLANE
        for k in (0, 2, 4, 6)
    )
    found = board(gerber(clearances, thermals))
    assert joined(found) == set(ON_PLANE) and guessed(found)


def rings(places: list[tuple[int, int]], size: float) -> str:
    """A pour of 44 by 28 mm with square openings round some holes, cut in from the left edge of the area (one contour, as without clear polarity)."""
    return "G36*\nX500000Y500000D02*\n" + "".join(
        f"X500000Y{round((y - 0.001) * 1e6)}D01*\nX{round((x - size) * 1e6)}D01*\nY{round((y - size) * 1e6)}D01*\nX{round((x + size) * 1e6)}D01*\n"
        f"Y{round((y + size) * 1e6)}D01*\nX{round((x - size) * 1e6)}D01*\nY{round((y + 0.001) * 1e6)}D01*\nX500000D01*\n"
        for x, y in sorted(places, key=lambda one: one[1])
    ) + "X500000Y29500000D01*\nX12000000D01*\nY500000D01*\nX500000D01*\nG37*\n"  # fmt: skip


def test_a_small_pour_round_lands_of_their_own_size_is_copper() -> None:
    """A pour over a quarter of the board with openings round three holes, lands smaller than the outer ones, no track: positive, and no doubt."""
    column = [hole for hole in HOLES if hole[0] == 10]
    found = board(gerber(rings(column[:3], 1.2), flash(10, HOLES)))
    assert not guessed(found)
    assert joined(found) == {hole for hole in HOLES if hole[0] <= 10} - set(column[:3])


def test_spokes_cleared_out_of_a_spot_are_a_thermal() -> None:
    """As some systems draw a negative plane: a dark disc, then two clear strokes across it."""
    spokes = "".join(line((x - 0.9, y), (x + 0.9, y)) + line((x, y - 0.9), (x, y + 0.9)) for x, y in ON_PLANE)
    found = board(gerber(flash(10, HOLES), "%LPC*%\n", spokes, "%LPD*%\n"))
    assert guessed(found) and joined(found) == set(ON_PLANE)
