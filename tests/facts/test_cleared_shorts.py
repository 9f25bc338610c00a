"""What was done to part two nets that read joined, and the readings that it asks for anew; isolation beside a wire outside every work area.

The board is that of ``test_log_evidence`` (net N0 on the solder side: U1.1 (0,0), U4.1 (20,0), U2.1 (40,0), one 0.3 mm track; net N1: U1.2 (0,5), U2.2 (40,5), one
0.3 mm track): at 20, 2.5 mm on the solder side both tracks lie 2.35 mm away, on the component side there is no copper. Plain reasoning from the drawing, no
source but it.
"""

from __future__ import annotations

import pytest
from tests.copper_boards import board, pad, part, track
from tests.facts.test_cut_work import CUT, answered, step
from tests.facts.test_log_evidence import bench, holds, say
from tests.fakes import fake_workshop

from coppermend.core.copper.build import build_graph
from coppermend.core.copper.neighbours import neighbours, nets_near
from coppermend.core.findings import Refusal
from coppermend.core.planning.touching import touching
from coppermend.practice.patient import Truth
from coppermend.services.areas import add_area
from coppermend.services.askedagain import asked_again
from coppermend.services.bench import plan_of, posterior_of, proven_for_case
from coppermend.services.bind import bind
from coppermend.services.cases import new_case
from coppermend.services.clearedwork import cleared_pairs
from coppermend.services.ohms import locate_excess_for_case
from coppermend.services.patients import _still_bridged
from coppermend.services.proofs import proof_for_wire
from coppermend.services.recording.byohms import ohms_rows
from coppermend.services.recording.gather import CaseFacts, gather
from coppermend.services.recording.judge import judge
from coppermend.services.shorts import locate_short
from coppermend.services.wirebeside import beside_wires
from coppermend.services.wires import plan_for_case
from coppermend.services.workshop import Workshop

__all__ = ["bench"]

SHORTED = ("closed U1.1 U1.2", "closed U2.1 U2.2")


def two_tracks(pins: tuple[str, str, str, str], length_mm: float, apart_mm: float) -> tuple[Workshop, str]:
    """A case on a board of J1 alone: two 0.3 mm tracks side by side on the solder side, ``pins`` at their left ends (lower, upper), then at their right ends."""
    spots = dict(zip(pins, [(x, y) for x in (0.0, length_mm) for y in (0.0, apart_mm)], strict=True))
    lands = [pad(x, y, 1.6) for x, y in spots.values()]
    tracks = [*track(0.3, (0, 0), (length_mm, 0)), *track(0.3, (0, apart_mm), (length_mm, apart_mm))]
    made = board(
        {"c": lands, "s": [*lands, *tracks]},
        [(x, y, 0.8) for x, y in spots.values()],
        [part("J1", "c", [(n, x, y, k) for k, (n, (x, y)) in enumerate(spots.items())])],
    )
    workshop = fake_workshop(made, build_graph(made))
    return workshop, new_case(workshop, "by hand", "T").state.case


@pytest.mark.parametrize("act", ["clean 20,2.5/s", "clean 20,-2.0/s", "solder U4.1"])
def test_clearing_at_the_place_of_a_short_asks_the_pair_again(bench: tuple[Workshop, str], act: str) -> None:
    """Wherever the two nets were read: what joined them may be gone. 20, -2 mm is 1.85 mm from N0 and 6.85 mm from N1; U4.1's land (0.8 mm) is 4.05 mm from N1:
    no bridge lies there, and nothing is taken back."""
    say(bench, *SHORTED, act)
    now = bind(*bench)
    near = act.endswith("2.5/s")
    assert (holds(now) == []) == near and bool(cleared_pairs(now)) == near
    if not near:
        return
    asked = step(bench)
    assert (
        asked.check is not None
        and {asked.check.net_a, asked.check.net_b} == {"N0", "N1"}
        and "read joined" in asked.reason
    )
    proof = proven_for_case(*bench)
    assert not proof.all_proven and any("must be open" in line and "no. " in line for line in proof.touching)
    view = gather(
        now.state, CaseFacts(1, 1, "", "2026-01-01T00:00:00Z"), now.board, now.graph, judge(now), base=now.base
    )
    assert any("were not read since they were to be parted" in line for line in view.remaining)
    say(bench, f"open {asked.check.point_a} {asked.check.point_b}")
    assert cleared_pairs(bind(*bench)) == () and proven_for_case(*bench).touching == ()
    say(bench, "undo", f"closed {asked.check.point_a} {asked.check.point_b}")
    assert any(words for _, words in touching(posterior_of(bind(*bench))))


def test_a_place_on_the_other_side_takes_nothing_back(bench: tuple[Workshop, str]) -> None:
    """On the component side only U4.1's land (N0, 1.7 mm away) lies there: no bridge between the two nets can have."""
    now = say(bench, *SHORTED, "clean 20,2.5/c")
    assert len(holds(now)) == 2
    assert len(nets_near(now.board, 20.0, 2.5, "c", 3.0)) == 1 and len(nets_near(now.board, 20.0, 2.5, "s", 3.0)) == 2


def test_after_a_cut_locating_the_short_says_what_expired_and_every_piece_is_read(bench: tuple[Workshop, str]) -> None:
    """The cut at 10 mm leaves N0 in two pieces; either may still touch N1."""
    say(bench, *SHORTED, CUT)
    with pytest.raises(Refusal) as caught:
        locate_short(*bench)
    said = caught.value.finding
    assert said.code == "SHO-001" and "the cut (no. " in said.words and "N0" in said.words and bench[1] not in str(said)
    assert len(cleared_pairs(bind(*bench))) == 2
    say(bench, "open U1.1 U4.1", "open U1.1 U1.2")
    (left,) = cleared_pairs(bind(*bench))
    assert {left.a.part, left.b.part} <= {"U2", "U4"}


def test_a_short_is_said_before_any_work_area_is_marked() -> None:
    """Three closed readings between two nets come before the question where copper was disturbed."""
    here = two_tracks(("1", "2", "3", "4"), 40.0, 5.0)
    assert step(here).kind == "area"
    say(here, "closed J1.1 J1.2", "closed J1.3 J1.4", "closed J1.1 J1.4")
    assert step(here).kind == "short"
    say(here, "clean 20,2.5/s")
    assert step(here).check is not None


def test_solder_beside_a_wire_outside_every_work_area_is_in_the_round() -> None:
    """A wire between two lands of N0, each 0.9 mm beside a land of N1 (pitch 2.5 mm, lands 1.6 mm; window 1.27 mm), no area marked: the pair is read once."""
    here = two_tracks(("1", "3", "2", "4"), 30.0, 2.5)
    say(here, "cut 15,0/s", "open J1.1 J1.2", "patch J1.1/joint-s J1.2/joint-s 30awg 35mm")
    now = bind(*here)
    assert len({(one.net_a, one.net_b) for one in beside_wires(now)}) == 1
    assert len(plan_of(now).isolation) == 1
    assert any(one.purpose == "isolation" for one in proof_for_wire(*here)[0].checks)
    say(here, "open J1.1/joint-s J1.3")
    assert plan_of(bind(*here)).isolation == ()


def test_proof_of_a_wire_over_an_unread_cut_asks_for_the_cut_first(bench: tuple[Workshop, str]) -> None:
    say(bench, CUT, "patch U1.1/joint-s U4.1/joint-s 30awg 25mm")
    checks = proof_for_wire(*bench)[0].checks
    assert checks[0].purpose == "cut" and checks[0].expect == "open" and "lifted" in checks[0].reason
    assert all(not one.proves for one in checks if one.purpose in ("bridge", "beyond"))
    first = step(bench)
    assert first.kind == "patch" and "undo" in first.words
    say(bench, "undo", "open U1.1 U4.1", "patch U1.1/joint-s U4.1/joint-s 30awg 25mm")
    checks = proof_for_wire(*bench)[0].checks
    assert checks[0].purpose == "bridge" and checks[0].proves


def test_a_wire_between_two_nets_has_no_proof_and_says_so(bench: tuple[Workshop, str]) -> None:
    say(bench, "patch U1.1/joint-s U1.2/joint-s 30awg 8mm")
    (found,) = proof_for_wire(*bench)
    assert found.checks == () and not found.proves and "N0" in found.why_none and "N1" in found.why_none
    assert any("joins two nets" in line for line in proven_for_case(*bench).words)
    say(bench, CUT, "patch U1.1/joint-s U4.1/joint-s 30awg 25mm")  # and beside a wire over a cut that was not read open
    assert step(bench).kind == "patch" and proof_for_wire(*bench)[0].checks[0].purpose == "cut"


@pytest.mark.parametrize("words", ["cut 20,0/i1", "cut 20,0/2"])
def test_an_inner_track_cannot_be_cut(bench: tuple[Workshop, str], words: str) -> None:
    with pytest.raises(Refusal) as caught:
        say(bench, words)
    assert caught.value.finding.code == "NOT-006" and "inner layer" in caught.value.finding.words


def test_every_check_of_a_cleared_short_can_be_answered(bench: tuple[Workshop, str]) -> None:
    """The list of what is asked ends."""
    say(bench, *SHORTED, "clean 20,2.5/s")
    assert answered(bench).check is None and cleared_pairs(bind(*bench)) == ()


def test_a_practice_bridge_is_gone_where_its_own_place_is_cleared() -> None:
    """The gap between the lands at 0,0 and 0,2.5 mm lies at 0,1.25: cleared there the patient's bridge is gone, cleared at 30 mm it is not."""
    spots = {"1": (0.0, 0.0), "2": (30.0, 0.0), "3": (0.0, 2.5), "4": (30.0, 2.5)}
    lands = [pad(x, y, 1.6) for x, y in spots.values()]
    made = board(
        {"c": lands, "s": [*lands, *track(0.3, (0, 0), (30, 0)), *track(0.3, (0, 2.5), (30, 2.5))]},
        [(x, y, 0.8) for x, y in spots.values()],
        [part("J1", "c", [(n, x, y, k) for k, (n, (x, y)) in enumerate(spots.items())])],
    )
    workshop = fake_workshop(made, build_graph(made))
    here = workshop, new_case(workshop, "by hand", "T").state.case
    add_area(*here, polygon=[(-5, -5), (5, -5), (5, 8), (-5, 8)])
    (gap,) = neighbours(made, bind(*here).base, [bind(*here).areas[0].polygon], 1.27)
    truth = Truth(shorts=(("J1.1/joint-s", "J1.3/joint-s"),))
    say(here, f"clean 30,1.25/{gap.layer}")
    assert _still_bridged(bind(*here), truth) == truth.shorts
    say(here, f"clean 0,1.25/{gap.layer}")
    assert _still_bridged(bind(*here), truth) == ()


def test_readings_that_fit_no_bridge_tell_neither_place_nor_copper() -> None:
    """Two 0.3 mm tracks of 30 mm (some 49 milliohm each): 0.31 ohm from both left ends and 0.11 from both right ones differ by more than both tracks have.
    No bridge does that (Ohm's law)."""
    here = two_tracks(("1", "2", "3", "4"), 30.0, 2.5)
    say(here, "ohms J1.1 J1.2 0.31 4wire", "ohms J1.3 J1.4 0.11 4wire", "ohms J1.1 J1.4 0.5 4wire")
    found = locate_short(*here)
    assert found.state == "no fit" and "do not fit one bridge" in found.words and found.next is None
    assert (found.places, found.ellipse, found.ellipse_words, found.bridge_words) == ((), {}, "", "")
    assert not any("times its nominal" in note or "ellipse" in note for note in found.notes)
    (row,) = ohms_rows(bind(*here), [("N0", "N1")])
    assert row.ohms == "no one bridge" and "do not fit" in row.words


@pytest.mark.parametrize(("ohm", "told"), [("0.0469", 0), ("5.1", 1)])
def test_the_record_tells_of_too_much_resistance_only_where_a_reading_shows_it(ohm: str, told: int) -> None:
    """A 0.3 mm track of 28.4 mm between its lands has 46.6 milliohm in 35 um foil at 20 degC (IEC 60028: 1.7241e-8 ohm m); read beside an open stretch
    of the same net."""
    spots = [(0.0, 0.0), (30.0, 0.0), (60.0, 0.0)]
    lands = [pad(x, y, 1.6) for x, y in spots]
    made = board(
        {"c": lands, "s": [*lands, *track(0.3, (0, 0), (30, 0)), *track(0.3, (30, 0), (60, 0))]},
        [(x, y, 0.8) for x, y in spots],
        [part("J1", "c", [(str(k + 1), x, y, k) for k, (x, y) in enumerate(spots)])],
    )
    workshop = fake_workshop(made, build_graph(made))
    here = workshop, new_case(workshop, "by hand", "T").state.case
    say(here, "open J1.2 J1.3", f"ohms J1.1/joint-s J1.2/joint-s {ohm} 4wire")
    rows = ohms_rows(bind(*here), ())
    assert len(rows) == told and all("too much" in row.ohms for row in rows)
    through = {ohm is not None for words, _, ohm in locate_excess_for_case(*here, "N0").stretches if "J1.3" in words}
    assert through <= {False}


@pytest.mark.parametrize("answer", ["closed U1.1 U2.1", "open U1.1 U2.1"])
def test_a_pair_whose_open_reading_a_wire_silenced_is_read_again_wherever_it_lies(answer: str) -> None:
    """No work area is marked. On the one track U1 - U4 - U2 the wire from U1 to U4 gives U1 to U2 a second way, and the break may lie beyond U4."""
    lands = [pad(x, 0.0, 1.6) for x in (0.0, 20.0, 40.0)]
    made = board(
        {"c": lands, "s": [*lands, *track(0.3, (0, 0), (20, 0)), *track(0.3, (20, 0), (40, 0))]},
        [(x, 0.0, 0.8) for x in (0.0, 20.0, 40.0)],
        [part(ref, "c", [("1", x, 0.0, k)]) for k, (ref, x) in enumerate((("U1", 0.0), ("U4", 20.0), ("U2", 40.0)))],
    )
    workshop = fake_workshop(made, build_graph(made))
    here = workshop, new_case(workshop, "by hand", "T").state.case
    say(here, "open U1.1 U2.1", "patch U1.1/joint-s U4.1/joint-s 30awg 22mm", "closed U1.1/joint-s U4.1/joint-s")
    (pair,) = asked_again(bind(*here))
    assert (pair.a.part, pair.b.part) == ("U1", "U2") and not proven_for_case(*here).all_proven
    first = step(here)
    assert first.check is not None and {first.check.point_a, first.check.point_b} == {pair.a.id, pair.b.id}
    assert "not read since" in plan_for_case(*here, "N0").plans[0].notes[0]
    assert [one.purpose for one in proof_for_wire(*here)[0].checks][-1] == "again"
    assert any("not read since" in words for words in judge(bind(*here)).unread_cuts)
    now = say(here, answer)
    assert asked_again(now) == () and len(now.evidence) == 2


def test_closed_readings_from_one_point_to_the_other_answer_the_pair(bench: tuple[Workshop, str]) -> None:
    say(bench, "open U1.1 U2.1", "patch U1.1/joint-s U4.1/joint-s 30awg 22mm", "closed U1.1 U4.1")
    assert len(asked_again(bind(*bench))) == 1
    say(bench, "closed U4.1 U2.1")
    assert asked_again(bind(*bench)) == ()
