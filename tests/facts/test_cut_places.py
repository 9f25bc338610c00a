"""Where a cut goes that a person names, and what is said of it. Lengths follow from the hand-drawn tracks."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.copper_boards import board, pad, part, track
from tests.fakes import fake_workshop

from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph
from coppermend.core.findings import Refusal
from coppermend.core.rework.cutland import land_under, other_arms
from coppermend.core.rework.routes_cut import CutPlace, cut_places, cut_words, place_words, track_at
from coppermend.services.cases import new_case
from coppermend.services.cautions import cautions
from coppermend.services.notes import note
from coppermend.services.typed import request_from_words


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


def test_a_place_on_a_land_is_refused_with_the_nearest_place_on_each_track() -> None:
    """The land at (40, 0) is 1.6 mm across: 0.5 mm off its edge its track lies at x = 40 - 0.8 - 0.5."""
    ends = [(0, 0), (40, 0), (40, 20)]
    shapes = [*(pad(x, y, 1.6) for x, y in ends), *track(0.4, (0, 0), (40, 0)), *track(0.4, (40, 0), (40, 20))]
    made = board({"c": shapes}, [(x, y, 0.8) for x, y in ends], [part("J1", "c", [(str(k), x, y, k) for k, (x, y) in enumerate(ends)])])  # fmt: skip
    land = land_under(build_graph(made), made, 39.7, 0.0, "c")
    assert land is not None and land.words == "J1.1"
    assert [(round(x, 2), round(y, 2)) for x, y, _ in land.ways] == [(38.7, 0.0), (40.0, 1.3)]
    assert land_under(build_graph(made), made, 38.7, 0.0, "c") is None


def test_a_track_as_wide_as_its_land_is_cut_anywhere() -> None:
    """A 2.0 mm supply track over lands of 2.2 mm: nothing tells the land from the track."""
    ends = [(0, 0), (20, 0), (40, 0)]
    shapes = [*(pad(x, y, 2.2) for x, y in ends), *track(2.0, (0, 0), (40, 0))]
    made = board({"c": shapes}, [(x, y, 0.8) for x, y in ends], [part("J1", "c", [(str(k), x, y, k) for k, (x, y) in enumerate(ends)])])  # fmt: skip
    assert land_under(build_graph(made), made, 20.0, 0.0, "c") is None


def test_a_cut_where_tracks_meet_parts_one_arm() -> None:
    met = other_arms(tee(), 20.0, 0.0, "c")
    assert met is not None and len(met[1]) == 2 and met[0].id not in {one.id for one in met[1]}
    away = other_arms(tee(), 18.5, 0.0, "c")
    assert away is not None and away[1] == ()


def test_what_the_bench_hears_of_a_cut_on_a_land_and_on_a_junction() -> None:
    ends = [(0, 0), (40, 0), (20, 20)]
    shapes = [*(pad(x, y, 1.6) for x, y in ends), *track(0.4, (0, 0), (20, 0)), *track(0.4, (20, 0), (40, 0)), *track(0.4, (20, 0), (20, 20))]  # fmt: skip
    made = board({"c": shapes}, [(x, y, 0.8) for x, y in ends], [part("J1", "c", [(str(k), x, y, k) for k, (x, y) in enumerate(ends)])])  # fmt: skip
    workshop = fake_workshop(made, build_graph(made))
    case = new_case(workshop, "by hand", "T").state.case
    with pytest.raises(Refusal) as caught:
        note(workshop, case, request_from_words(workshop, case, "cut", ["0.3,0/c"]))
    found = caught.value.finding
    assert found.code == "NOT-006" and "lies on a land (J1.0)" in found.words and "1.3,0.0/c" in str(found.remedy)
    entry = note(workshop, case, request_from_words(workshop, case, "cut", ["20,0/c"])).entry
    (said,) = cautions(workshop, case, entry)
    assert "one arm only counts as cut" in said and said.count("the track from") == 3
