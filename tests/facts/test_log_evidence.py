"""What readings still say after work was done: the rules of services/evidence.py on a board of two nets that can be worked out by hand.

Net N0 on the solder side: U1.1 (soldered, 0,0) - U4.1 (soldered, 20,0) - U2.1 (in a socket, 40,0). Net N1: U1.2 (0,5) - U2.2 (40,5).
Expected values follow from which metal each tip stood on; no source but the drawing.
"""

from __future__ import annotations

import pytest
from tests.copper_boards import board, pad, part, track
from tests.fakes import fake_workshop

from coppermend.core.belief.model import Basis
from coppermend.core.board.model import PartState
from coppermend.core.copper.build import build_graph
from coppermend.core.findings import Refusal
from coppermend.core.planning.costs import CostTable
from coppermend.services.areas import add_area
from coppermend.services.bench import next_for_case, proven_for_case, spans_for_case
from coppermend.services.bind import Binding, bind
from coppermend.services.cases import new_case
from coppermend.services.evidence import Pieces
from coppermend.services.notes import note
from coppermend.services.typed import request_from_words
from coppermend.services.wires import plan_for_case
from coppermend.services.workshop import Workshop

SPOTS = {
    ("U1", "1"): (0.0, 0.0),
    ("U4", "1"): (20.0, 0.0),
    ("U2", "1"): (40.0, 0.0),
    ("U1", "2"): (0.0, 5.0),
    ("U2", "2"): (40.0, 5.0),
}


@pytest.fixture
def bench() -> tuple[Workshop, str]:
    lands = [pad(x, y, 1.6) for x, y in SPOTS.values()]
    pins = {ref: [(n, *SPOTS[r, n], k) for k, (r, n) in enumerate(SPOTS) if r == ref] for ref in ("U1", "U2", "U4")}
    made = board(
        {
            "c": lands,
            "s": [*lands, *track(0.3, (0, 0), (20, 0)), *track(0.3, (20, 0), (40, 0)), *track(0.3, (0, 5), (40, 5))],
        },
        [(x, y, 0.8) for x, y in SPOTS.values()],
        [
            part("U1", "c", pins["U1"]),
            part("U2", "c", pins["U2"], state=PartState.SOCKETED),
            part("U4", "c", pins["U4"]),
        ],
    )
    workshop = fake_workshop(made, build_graph(made))
    case = new_case(workshop, "by hand", "T").state.case
    add_area(workshop, case, polygon=[(-5, -5), (45, -5), (45, 10), (-5, 10)])
    return workshop, case


def say(bench: tuple[Workshop, str], *lines: str) -> Binding:
    """Note each line as the command line would."""
    for line in lines:
        kind, *words = line.split()
        note(*bench, request_from_words(*bench, kind, words))
    return bind(*bench)


def holds(binding: Binding) -> list[tuple[str, str, str]]:
    return [(one.point_a, one.point_b, one.says) for one in binding.evidence]


def test_the_numbers_a_case_was_opened_with_come_back_as_they_were(bench: tuple[Workshop, str]) -> None:
    assert bind(*bench).basis == Basis() and bind(*bench).costs == CostTable()


def test_a_plain_pin_is_stored_as_what_its_part_exposes(bench: tuple[Workshop, str]) -> None:
    assert holds(say(bench, "closed U1.1 U2.1")) == [("U1.1/leg", "U2.1/leg", "closed")]
    assert holds(say(bench, "remove U2", "closed U1.1 U2.1"))[-1] == ("U1.1/leg", "U2.1/contact", "closed")
    stored = [dict(point) for point in bench[0].store.entries(bench[1])[-1].payload["points"]]  # type: ignore[union-attr,arg-type]
    assert (stored[1]["id"], stored[1]["x_mm"], stored[1]["y_mm"], stored[1]["side"]) == (
        "U2.1/contact",
        40.0,
        0.0,
        "c",
    )
    assert bench[0].store.entries(bench[1])[-1].payload["states"] == {"U1": "soldered", "U2": "out"}


def test_after_reseating_a_closed_reading_speaks_from_the_land_inwards(bench: tuple[Workshop, str]) -> None:
    """The joint's own point stands on the land; leg, contact and joint at U2.1 are to be read again."""
    binding = say(bench, "closed U1.1 U2.1", "reseat U2")
    assert holds(binding) in ([("U1.1/leg", "U2.1/joint-c", "closed")], [("U1.1/leg", "U2.1/joint-s", "closed")])


def test_after_reseating_an_open_reading_speaks_no_more(bench: tuple[Workshop, str]) -> None:
    binding = say(bench, "open U1.1 U2.1", "reseat U2")
    assert holds(binding) == [] and "reseat" in binding.expired[0][1]


def test_readings_taken_after_the_act_are_untouched(bench: tuple[Workshop, str]) -> None:
    assert holds(say(bench, "reseat U2", "open U1.1 U2.1")) == [("U1.1/leg", "U2.1/leg", "open")]


def test_a_part_taken_out_leaves_its_copper_proven(bench: tuple[Workshop, str]) -> None:
    assert holds(say(bench, "closed U1.1 U2.1", "remove U2")) == [("U1.1/leg", "U2.1/contact", "closed")]


def test_an_open_reading_at_a_part_that_is_out_speaks_no_more(bench: tuple[Workshop, str]) -> None:
    assert holds(say(bench, "open U4.1 U2.1", "remove U2")) == []


def test_resoldering_moves_a_closed_reading_to_the_land(bench: tuple[Workshop, str]) -> None:
    binding = say(bench, "closed U1.1 U4.1", "solder U1.1")
    [(a, b, says)] = holds(binding)
    assert a.startswith("U1.1/joint") and (b, says) == ("U4.1/leg", "closed")


def test_a_cut_ends_the_closed_readings_across_it_and_no_others(bench: tuple[Workshop, str]) -> None:
    binding = say(bench, "closed U1.1 U2.1", "closed U4.1 U2.1", "closed U1.2 U2.2", "cut U1.1 U4.1")
    assert holds(binding) == [("U4.1/leg", "U2.1/leg", "closed"), ("U1.2/leg", "U2.2/leg", "closed")]
    assert [why for _, why in binding.expired] == ["a track of it was cut since then"]
    cut = binding.state.cuts[0]
    assert (cut.x_mm, cut.y_mm, cut.side) == (
        pytest.approx(10.0, abs=0.5),
        0.0,
        "s",
    )  # the middle of the run from 0 to 20 mm


def test_a_cut_at_a_place_is_the_same_cut(bench: tuple[Workshop, str]) -> None:
    by_place = say(bench, "closed U1.1 U2.1", "cut 10,0/s")
    assert holds(by_place) == []
    u1, u4, u2 = (by_place.graph.point(f"{name}.1/leg") for name in ("U1", "U4", "U2"))
    pieces = Pieces(by_place.graph, ())
    assert pieces.apart(u1, u4) and not pieces.apart(u4, u2)


BROKEN = (
    "open U1.1 U4.1",
    "open U1.1/joint-s U4.1/joint-s",
    "open U1.1/joint-c U4.1/leg",
    "open U1.1/joint-s U2.1/joint-s",
    "open U1.1/joint-s U4.1/joint-s",
    "open U1.1/joint-c U4.1/joint-c",
    "open U1.1 U4.1/joint-s",
    "open U1.1/joint-c U4.1/joint-s",
    "open U1.1/joint-s U4.1",
    "closed U4.1 U2.1",
    "closed U1.2 U2.2",
)


def test_a_patched_break_is_known_and_its_readings_have_done_their_work(bench: tuple[Workshop, str]) -> None:
    say(bench, *BROKEN)
    [span] = spans_for_case(*bench)
    binding = say(bench, "patch U1.1/joint-s U4.1/joint-s 30awg 22mm")
    assert set(binding.broken) == set(span.sites)
    assert binding.mended == ((binding.state.wires[0].id, span.sites),)
    assert all(site.id not in span.sites for site in binding.graph.sites)
    assert [site.id for site in binding.graph.sites if site.kind == "wire"] == [f"wire@{binding.state.wires[0].id}"]
    assert holds(binding) == [("U4.1/leg", "U2.1/leg", "closed"), ("U1.2/leg", "U2.2/leg", "closed")]
    assert {why for _, why in binding.expired} == {"it showed the break that was patched since then"}


def test_a_break_inside_a_pin_is_remembered_with_the_act_that_mended_it(bench: tuple[Workshop, str]) -> None:
    """The tool is followed until it says reseat: only readings with one tip on U2.1's leg are open, so the break is inside that pin."""
    while (step := next_for_case(*bench)).check is not None:
        ends = (step.check.point_a, step.check.point_b)
        one_net = step.check.net_a == step.check.net_b
        say(bench, f"{'closed' if one_net and 'U2.1/leg' not in ends else 'open'} {ends[0]} {ends[1]}")
    [span] = spans_for_case(*bench)
    assert {site.split("@")[1] for site in span.sites} == {"U2.1"}
    assert step.kind == "reseat" and "reseat U2" in step.words
    binding = say(bench, "reseat U2")
    assert binding.mended == ((binding.state.acts[-1].entry, span.sites),) and spans_for_case(*bench) == ()


def test_the_wire_is_proven_by_a_reading_across_it(bench: tuple[Workshop, str]) -> None:
    say(bench, *BROKEN)
    binding = say(bench, "patch U1.1/joint-s U4.1/joint-s 30awg 22mm")
    wire = f"wire@{binding.state.wires[0].id}"
    assert wire in proven_for_case(*bench).open_sites
    say(bench, "closed U1.1 U4.1", "closed U1.1 U2.1")
    assert wire in proven_for_case(*bench).proven


def test_a_wire_elsewhere_on_the_net_leaves_an_open_reading_standing(bench: tuple[Workshop, str]) -> None:
    """On the one track U1 - U4 - U2 no way from U4 to U2 runs over a wire from U1 to U4; every way that a wire from U4 to U2 gives does."""
    read = ("U4.1/leg", "U2.1/leg", "open")
    binding = say(bench, "open U4.1 U2.1", "patch U1.1/joint-s U4.1/joint-s 30awg 22mm", "closed U1.1 U4.1")
    assert read in holds(binding) and binding.expired == ()
    with pytest.raises(Refusal) as refused:
        plan_for_case(*bench, "N0")
    assert refused.value.finding.code in ("WIR-006", "WIR-016")
    assert read not in holds(say(bench, "patch U4.1/joint-s U2.1/joint-s 30awg 22mm"))


def test_an_open_reading_whose_way_the_wire_shortens_is_to_be_taken_again(bench: tuple[Workshop, str]) -> None:
    binding = say(bench, "open U1.1 U2.1", "patch U1.1/joint-s U4.1/joint-s 30awg 22mm")
    assert holds(binding) == []
    assert [why for _, why in binding.expired] == [
        "a way between its points runs through a patch wire fitted since then"
    ]


def test_taking_the_patch_back_brings_the_break_back(bench: tuple[Workshop, str]) -> None:
    before = say(bench, *BROKEN)
    spans = spans_for_case(*bench)
    after = say(bench, "patch U1.1/joint-s U4.1/joint-s 30awg", "undo")
    assert holds(after) == holds(before) and after.broken == () and spans_for_case(*bench) == spans


def test_soldering_ends_what_was_read_against_the_neighbours(bench: tuple[Workshop, str]) -> None:
    say(bench, "open U1.1 U1.2", *BROKEN)
    binding = say(bench, "patch U1.1/joint-s U4.1/joint-s 30awg")
    assert ("U1.1/leg", "U1.2/leg", "open") not in holds(binding)
    assert "solder flowed beside it since then" in [why for _, why in binding.expired]


def test_a_point_out_of_reach_is_planned_round(bench: tuple[Workshop, str]) -> None:
    binding = say(bench, "skip U4.1/leg")
    assert not binding.graph.point("U4.1/leg").reachable
    with pytest.raises(Refusal, match="PNT-002"):
        say(bench, "closed U4.1/leg U1.1")


@pytest.mark.parametrize(
    ("line", "code", "hint"),
    [
        ("closed U1.1 U7.3", "PNT-001", "U"),
        ("closed U1.1 U1.9", "PNT-001", "1, 2"),
        ("closed U1.1 U1.1", "NOT-002", "two different"),
        ("reseat U1", "NOT-005", "state U1 socketed"),
        ("fit U2", "NOT-005", "remove U2"),
        ("remove U99", "PNT-003", "U"),
        ("ohms U1.1 U4.1 beep", "VAL-001", "4.7k"),
        ("sing U1", "NOT-001", "closed, open"),
        ("power on", "GAT-001", "override"),
        ("gate override", "NOT-002", "REASON"),
        ("level U1.1 loud", "NOT-007", "toggling"),
        ("undo 77", "NOT-003", "case show"),
        ("cut 300,300/c", "NOT-006", "mm"),
    ],
)
def test_what_cannot_be_noted_is_refused_with_what_to_do(
    bench: tuple[Workshop, str], line: str, code: str, hint: str
) -> None:
    count = len(bench[0].store.entries(bench[1]))
    with pytest.raises(Refusal) as refusal:
        say(bench, line)
    assert refusal.value.finding.code == code and hint in refusal.value.finding.remedy
    assert len(bench[0].store.entries(bench[1])) == count
