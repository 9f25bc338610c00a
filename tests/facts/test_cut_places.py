"""Where a cut goes that a person names, and what is said of it. Lengths follow from the hand-drawn tracks."""

from __future__ import annotations

from dataclasses import replace

from tests.copper_boards import board, pad, part, track

from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph
from coppermend.core.rework.routes_cut import CutPlace, cut_places, cut_words, place_words, track_at


def tee() -> CopperGraph:
    """Tracks from (0, 0) to (40, 0) and from (20, 0) to (20, 20) on the component side, a land at each end."""
    ends = [(0, 0), (40, 0), (20, 20)]
    shapes = [*(pad(x, y, 1.6) for x, y in ends), *track(0.4, (0, 0), (20, 0)), *track(0.4, (20, 0), (40, 0)), *track(0.4, (20, 0), (20, 20))]  # fmt: skip
    parts = [part(f"J{k}", "c", [("1", x, y, k)]) for k, (x, y) in enumerate(ends)]
    return build_graph(board({"c": shapes}, [(x, y, 0.8) for x, y in ends], parts))


def said_at(x: float, y: float) -> tuple[tuple[CutPlace, ...], tuple[str, ...]]:
    graph = tee()
    site = track_at(graph, x, y, "c")
    cuts = cut_places(site, (x, y))
    return cuts, place_words(graph, site, (x, y), cuts)


def test_a_cut_on_a_junction_says_that_one_arm_is_cut() -> None:
    cuts, said = said_at(20.0, 0.0)
    assert len(cuts) == 1 and any("2 other tracks of the net meet" in one and "only one arm" in one for one in said)
    assert any("moved" in one for one in said)


def test_a_cut_in_the_middle_of_a_track_has_nothing_to_say() -> None:
    cuts, said = said_at(10.0, 0.0)
    assert len(cuts) == 2 and said == () and cut_words(cuts).startswith("Two cuts across the track")


def test_a_cut_named_in_a_land_is_moved_and_that_is_said() -> None:
    cuts, said = said_at(40.0, 0.0)
    far = 40.0 - cuts[0].x_mm
    assert len(cuts) == 1 and f"moved {far:.1f} mm" in said[0] and "40, 0 mm" in said[0]
    assert cut_words(cuts).startswith("One cut across the track") and "between" not in cut_words(cuts)


def test_words_for_cuts_of_several_tracks() -> None:
    one = CutPlace(1, 0, "c", 0.4, "run@c:a", "")
    other = replace(one, site="run@c:b")
    assert cut_words([]) == "" and cut_words([one, other]).startswith("One cut across each track")
    assert "where two are listed" in cut_words([one, one, other])
