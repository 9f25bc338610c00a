"""The copper of known boards as counts and one hash, so that no work on speed changes it silently.

The hash covers every island (its pieces by layer), every site (id, kind, layer, length and width), every probe point and the words of
sites, lengths to 1 µm. The expected values are this project's own result, kept to notice a change; that the copper is right is shown by
the tests against netlists, closed forms and other libraries. Whoever changes the copper on purpose puts the new values here and raises
BUILDER_VERSION or GRAPH_VERSION.
"""

from __future__ import annotations

import hashlib
import math
from pathlib import Path

import pytest
import shapely
from tests.copper_boards import arc, board, box, pad, part, region, track

from coppermend.adapters.files.packages import DiskPackages
from coppermend.core.board.model import Board
from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph
from coppermend.services.packages import build_board


def micrometres(mm: float) -> int:
    """A length in whole micrometres; rounding is set off from the half, where drawn lengths often lie and the last bit would decide."""
    return math.floor(mm * 1000.0 + 0.637)


def islands(made: Board) -> list[str]:
    """Each island as its pieces by layer, in no order of its own."""
    held: dict[int, list[str]] = {}
    for layer in made.layers:
        for k, number in enumerate(layer.island.tolist()):
            held.setdefault(number, []).append(f"{layer.key}{k}")
    return sorted(",".join(sorted(one)) for one in held.values())


def digest(made: Board, graph: CopperGraph) -> tuple[int, int, int, int, str]:
    """Islands, sites, track runs, probe points, and the first 16 hexadecimal digits of the hash."""
    rows = islands(made)
    rows += sorted(
        f"{s.id} {s.kind} {s.layer} {micrometres(s.length_mm)} {micrometres(s.width_mm)} {s.words}" for s in graph.sites
    )
    rows += sorted(f"{p.id} {micrometres(p.x_mm)} {micrometres(p.y_mm)} {p.side} {p.reachable}" for p in graph.points)
    rows += sorted(f"{p.ref} {[(micrometres(x), micrometres(y)) for x, y in p.outline.tolist()]}" for p in made.parts)
    runs = sum(s.kind.value == "run" for s in graph.sites)
    total = hashlib.sha256("\n".join(rows).encode()).hexdigest()[:16]
    return len(islands(made)), len(graph.sites), runs, len(graph.points), total


def teed() -> Board:
    """A track between two pads with a T in mid-run, an arc, and a pad painted with strokes."""
    return board(
        {
            "c": [
                pad(0, 0, 1.6),
                pad(20, 0, 1.6),
                pad(10, 9, 1.6),
                *track(0.3, (0, 0), (20, 0)),
                *track(0.25, (10, 0), (10, 9)),
                *arc(0.3, (20, 0), (21, 0.4), (21.6, 1.2), (21.8, 2.2)),
                *track(0.2, (5, 5), (6, 5), (6, 6), (5, 6), (5, 5)),
            ],
            "s": [pad(0, 0, 1.6), pad(20, 0, 1.6), *track(0.5, (0, 0), (4, 6), (20, 0))],
        },
        holes=[(0, 0, 0.8), (20, 0, 0.8)],
        parts=[part("U1", "c", [("1", 0, 0, 0), ("2", 20, 0, 1)]), part("R1", "c", [("1", 10, 9, None)])],
    )


def poured() -> Board:
    """A pour with an opening, lands held by spokes and held solidly, a track that ends on it, and a plane on the other side."""
    pour = shapely.box(0, 0, 30, 20).difference(shapely.Point(8, 10).buffer(1.3)).difference(shapely.box(20, 4, 24, 8))
    return board(
        {
            "c": [
                region(pour),
                pad(8, 10, 1.8),
                *track(0.4, (6.2, 10), (9.8, 10)),
                *track(0.4, (8, 8.2), (8, 11.8)),
                pad(15, 15, 2.0),
                pad(22, 6, 1.5),
                *track(0.3, (30, 10), (40, 10)),
                pad(40, 10, 1.6),
            ],
            "s": [box(-1, -1, 31, 21), pad(40, 10, 1.6)],
        },
        holes=[(8, 10, 0.8), (15, 15, 0.8), (40, 10, 0.8)],
        parts=[part("U1", "c", [("1", 8, 10, 0), ("2", 15, 15, 1), ("3", 40, 10, 2)])],
    )


@pytest.mark.parametrize(
    ("make", "expected"),
    [(teed, (2, 10, 5, 7, "638ff931f2ba08fd")), (poured, (2, 11, 1, 10, "995ef41d49e6b0b2"))],
)
def test_hand_made_boards_keep_their_copper(make, expected) -> None:  # type: ignore[no-untyped-def]
    made = make()
    assert digest(made, build_graph(made)) == expected


def test_the_demonstration_machine_keeps_its_copper(demo_package: Path) -> None:
    made = build_board(DiskPackages(), str(demo_package))
    assert digest(made, build_graph(made)) == (289, 5006, 1652, 4806, "77945709b3563757")


def test_the_digest_sees_a_change_of_two_micrometres() -> None:
    made = teed()
    graph = build_graph(made)
    moved = board(
        {"c": [pad(0, 0, 1.6), pad(20.002, 0, 1.6), *track(0.3, (0, 0), (20.002, 0))], "s": []},
        holes=[(0, 0, 0.8), (20.002, 0, 0.8)],
        parts=[part("U1", "c", [("1", 0, 0, 0), ("2", 20.002, 0, 1)])],
    )
    still = board(
        {"c": [pad(0, 0, 1.6), pad(20.0, 0, 1.6), *track(0.3, (0, 0), (20.0, 0))], "s": []},
        holes=[(0, 0, 0.8), (20.0, 0, 0.8)],
        parts=[part("U1", "c", [("1", 0, 0, 0), ("2", 20.0, 0, 1)])],
    )
    assert digest(moved, build_graph(moved))[4] != digest(still, build_graph(still))[4]
    assert digest(made, graph) == digest(made, build_graph(made))
