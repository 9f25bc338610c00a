"""A track that was cut on purpose: the net waits for its wire until it has one, and every list says so.

The board is that of ``test_log_evidence`` (net N0 on the solder side: U1.1 (0,0), U4.1 (20,0), U2.1 (40,0), one 0.3 mm track; net N1: U1.2 (0,5), U2.2 (40,5)).
Which pins hang together after a cut follows from the drawing; no source but it.
"""

from __future__ import annotations

import pytest
from tests.facts.test_log_evidence import BROKEN, bench, holds, say

from coppermend.core.findings import Refusal
from coppermend.core.planning.model import NextStep
from coppermend.core.rework.wires import WirePlan, propose_wires
from coppermend.services.bench import next_for_case, proven_for_case, spans_for_case
from coppermend.services.bind import Binding, bind
from coppermend.services.cases import new_case
from coppermend.services.cutwork import parted_nets
from coppermend.services.evidence import Pieces
from coppermend.services.proofs import proof_for_wire
from coppermend.services.rails import gate_of
from coppermend.services.recording.gather import CaseFacts, gather, marks_of
from coppermend.services.recording.judge import judge
from coppermend.services.recording.maps import board_map
from coppermend.services.recording.model import RecordView
from coppermend.services.wirebeside import beside
from coppermend.services.wires import plan_for_case, proof_of
from coppermend.services.workshop import Workshop

__all__ = ["bench"]

CUT = "cut 10,0/s"


def step(bench: tuple[Workshop, str]) -> NextStep:
    return next_for_case(*bench)


def answered(bench: tuple[Workshop, str]) -> NextStep:
    """Every check answered as the copper of now is; the first step that asks for no reading."""
    for _ in range(40):
        check = step(bench).check
        if check is None:
            return step(bench)
        graph = bind(*bench).graph
        a, b = graph.point(check.point_a), graph.point(check.point_b)
        joined = a.net == b.net and not Pieces(graph, ()).apart(a, b)
        say(bench, f"{'closed' if joined else 'open'} {a.id} {b.id}")
    raise AssertionError("the checks do not end")


def record_of(binding: Binding) -> RecordView:
    """The record of a bound case."""
    facts = CaseFacts(1, 1, "", "2026-01-01T00:00:00Z")
    return gather(binding.state, facts, binding.board, binding.graph, judge(binding), base=binding.base)


def test_the_cut_is_read_open_before_anything_else(bench: tuple[Workshop, str]) -> None:
    """The two nearest pins on either side of the cut at 10 mm are U1.1 (0) and U4.1 (20)."""
    say(bench, CUT)
    found = step(bench)
    assert found.check is not None and found.check.purpose == "isolation"
    assert {found.check.point_a.split("/")[0], found.check.point_b.split("/")[0]} == {"U1.1", "U4.1"}
    say(bench, "closed U1.1 U4.1")
    again = step(bench)
    assert again.kind == "retest" and "has not parted the track" in again.reason
    say(bench, "open U1.1 U4.1")
    after = step(bench).check
    assert after is None or not after.id.startswith("cut:")


def test_a_cut_without_its_wire_is_told_everywhere_until_the_wire_is_in(bench: tuple[Workshop, str]) -> None:
    """The readings prove both pieces; what is missing is the wire: next, round, gate and record say so. With the wire none of them does."""
    say(bench, CUT)
    found = answered(bench)
    binding = bind(*bench)
    assert found.kind == "patch" and "10.0, 0.0 mm" in found.words and "N0" in found.words
    assert isinstance(found.wire, WirePlan) and len(found.wire.wires) == 1 and found.wire.restores
    proof = proven_for_case(*bench)
    assert not proof.all_proven and any("N0 is in 2 pieces" in line and "reads open" in line for line in proof.words)
    assert any("Wire round the cut first" in one.words for one in gate_of(binding).missing)
    view = record_of(binding)
    assert any("N0 is in 2 pieces" in line for line in view.remaining)
    assert any("pieces by a cut" in "; ".join(row.open_places) for row in view.proven if row.net == "N0")
    say(bench, f"patch {found.wire.wires[0].a.point} {found.wire.wires[0].b.point} 30awg")
    assert parted_nets(bind(*bench)) == ()
    assert all("cut" not in one.item for one in gate_of(bind(*bench)).items)
    now = bind(*bench)
    marks = marks_of(now.state, {one.id: one for one in now.graph.sites}, judge(now))
    wire = next(one for one in now.graph.sites if one.kind == "wire")
    assert [(one.layer, one.path) for one in marks.cuts] == [
        ("s", ((10.0, 0.75), (10.0, -0.75)))
    ]  # half of 0.3 mm and 0.6 mm beyond it
    assert (
        'class="cut"' in board_map(now.board, "s", marks, "m")[0]
        and 'class="cut"' not in board_map(now.board, "c", marks, "m")[0]
    )
    assert len(marks.wires) == 1 and all(one.path != wire.path for one in (*marks.open_risk, *marks.proven))
    check = step(bench).check
    assert check is not None and check.purpose == "continuity"


def test_a_cut_that_is_to_stay_asks_for_no_wire(bench: tuple[Workshop, str]) -> None:
    binding = say(bench, CUT + " stays")
    assert binding.state.cuts[0].stays and parted_nets(binding) == ()


def test_two_cuts_free_the_stretch_between_them(bench: tuple[Workshop, str]) -> None:
    """Nothing hangs on the stretch from 8 to 12 mm: one net, two cuts, two pieces; no tip reaches between, and that is said."""
    binding = say(bench, "cut 8,0/s", "cut 12,0/s")
    (parted,) = parted_nets(binding)
    assert len(parted.cuts) == 2 and len(parted.apart.pieces) == 2
    found = step(bench)
    assert found.check is not None and "crosses 2 cuts" in found.reason
    say(bench, "open U1.1 U4.1")
    (wire,) = plan_for_case(*bench, "N0").plans[0].wires
    assert not {wire.a.x_mm, wire.b.x_mm} & set(range(8, 13))


def test_a_reading_from_any_point_of_one_piece_to_the_other_counts_across_two_cuts(bench: tuple[Workshop, str]) -> None:
    (parted,) = parted_nets(say(bench, "cut 8,0/s", "cut 12,0/s", "open U1.1 U2.1"))
    assert [one.said for one in parted.checks] == ["open"]


def test_a_cut_takes_back_what_joined_its_net_to_another(bench: tuple[Workshop, str]) -> None:
    """A track is cut to part two nets: that they read joined before says nothing now."""
    binding = say(bench, "closed U1.1 U1.2", CUT)
    assert holds(binding) == []
    assert "may have parted the two nets" in binding.expired[0][1]


def test_plan_says_no_wire_is_needed_only_where_the_readings_agree(bench: tuple[Workshop, str]) -> None:
    """Cut and wire noted: unread it is not proven (status not restored); two open readings across it are no reason to say that no wire is needed;
    closed ones prove the wire, and the net is whole again."""
    say(bench, CUT, "open U1.1 U4.1", "patch U1.1/joint-s U4.1/joint-s 30awg 25mm")
    (plan,) = plan_for_case(*bench, "N0").plans
    assert plan.kind == "whole" and not plan.restores and "no reading has proven it yet" in plan.notes[0]
    say(bench, "open U1.1 U4.1", "open U1.1/joint-s U4.1/joint-s")
    with pytest.raises(Refusal, match=r"WIR-006|WIR-016"):
        plan_for_case(*bench, "N0")
    say(bench, "undo", "undo", "closed U1.1 U4.1", "closed U1.1/joint-s U4.1/joint-s", "closed U1.1/joint-c U2.1")
    (plan,) = plan_for_case(*bench, "N0").plans
    assert (
        plan.restores and plan.wires == () and "whole again" in plan.notes[0] and "readings prove it" in plan.notes[0]
    )


@pytest.mark.parametrize("before", [("closed U1.1 U4.1",), ()])
def test_a_wire_over_a_cut_that_was_not_read_open_is_not_proven(
    bench: tuple[Workshop, str], before: tuple[str, ...]
) -> None:
    """A track that was not parted closes the same readings as the wire: they prove the wire only where the cut read open without it. Plain reasoning, no source."""
    say(bench, CUT, *before, "patch U1.1/joint-s U4.1/joint-s 30awg 25mm")
    say(bench, "closed U1.1 U4.1", "closed U1.1/joint-s U4.1/joint-s", "closed U1.1/joint-c U2.1")
    said = "not proven: the cut has not been read open"
    (plan,) = plan_for_case(*bench, "N0").plans
    assert not plan.restores and said in plan.notes[0] and "whole again" not in plan.notes[0]
    proof = proven_for_case(*bench)
    assert not proof.all_proven and any(said in line for line in proof.words)
    asked = step(bench)
    assert asked.kind == "patch" and "undo" in asked.words and "U1.1" in asked.words and said in asked.reason
    now = bind(*bench)
    facts = CaseFacts(1, 1, "", "2026-01-01T00:00:00Z")
    view = gather(now.state, facts, now.board, now.graph, judge(now), base=now.base)
    assert [row.proof for row in view.wires] == [said] and any(said in line for line in view.remaining)
    number = next(one.ref for one in now.state.timeline if one.entry == now.state.wires[0].id)
    say(bench, f"undo {number}", "open U1.1 U4.1", "patch U1.1/joint-s U4.1/joint-s 30awg 25mm")
    say(bench, "closed U1.1 U4.1", "closed U1.1/joint-s U4.1/joint-s", "closed U1.1/joint-c U2.1")
    (plan,) = plan_for_case(*bench, "N0").plans
    assert plan.restores and "readings prove it" in plan.notes[0]
    assert all(said not in line for line in proven_for_case(*bench).words)


def test_next_and_plan_agree_on_when_a_break_is_sure_enough_to_wire(bench: tuple[Workshop, str]) -> None:
    """Until a break is announced next asks for readings, and the plan refuses with the one sentence on it, or (above 99.5 %) says it first; once it is
    announced, the plan comes without it."""
    say(bench, "closed U4.1 U2.1", "closed U1.2 U2.2")
    refused = []
    for line in BROKEN[:9]:
        say(bench, line)
        if spans_for_case(*bench):
            break
        assert step(bench).kind in ("check", "retest")
        try:
            refused.append(plan_for_case(*bench, "N0").plans[0].notes[0])
        except Refusal as err:
            assert err.finding.code in ("WIR-006", "WIR-016")
            refused.append(err.finding.words)
    where = [one for one in refused if "do not tell yet where" not in one]
    assert len(where) > 3 and where == refused[-len(where) :]
    assert all("99.99 % sure by two independent readings" in one for one in where)
    assert "Next reading" in refused[-1]
    plan = plan_for_case(*bench, "N0").plans[0]
    assert len(plan.wires) == 1 and not any("not sure enough" in one for one in plan.notes)


def test_alternatives_are_between_other_places(bench: tuple[Workshop, str]) -> None:
    """Leg and joint of one pin on one side are one place for a hand: no two plans may join the same two places. From the stretch U4.1, U2.1 to U1.1 there are
    two pairs of pins on each side of the board, so there are real alternatives."""
    graph = bind(*bench).graph
    (run,) = [one.id for one in graph.sites if one.kind == "run" and "from U1.1 to U4.1" in one.words]
    plans = propose_wires(graph, [run])
    ends = [
        frozenset((end.part, end.pin, end.side) for wire in plan.wires for end in (wire.a, wire.b)) for plan in plans
    ]
    assert len(plans) >= 3 and len(set(ends)) == len(ends)
    assert [plan.cost_mm for plan in plans] == sorted(plan.cost_mm for plan in plans)


def test_isolation_is_not_asked_where_another_wire_joins_the_nets(bench: tuple[Workshop, str]) -> None:
    """A wire from N0 to N1 joins them: the first wire's checks no longer say that N1 must read open; and no check 1.27 mm off is asked for at all."""
    say(bench, "cut 10,0/s", "patch U1.1/joint-s U4.1/joint-s 30awg 25mm")
    found = bind(*bench)
    assert [one.purpose for one in proof_of(found, found.state.wires[0])].count("isolation") == 0  # N1 is 4 mm away
    near = beside(found, [found.graph.point("U1.1/joint-s")], 5.0)
    assert {found.graph.net_names[one.net] for one in near} == {"N1"}
    joined = say(bench, "patch U1.2/joint-s U4.1/joint-c 30awg")
    assert beside(joined, [joined.graph.point("U1.1/joint-s")], 5.0) == ()


def test_a_wire_that_reads_open_from_end_to_end_is_said_everywhere(fresh: tuple[Workshop, str]) -> None:
    """Beside sound copper no beep proves a wire, but open from its one end to its other says that it does not hold, whatever else joins them."""
    say(fresh, "patch U1.1/joint-s U4.1/joint-s 30awg 22mm", "open U1.1/joint-s U4.1/joint-s")
    proof, found, (wire,) = proven_for_case(*fresh), next_for_case(*fresh), proof_for_wire(*fresh)
    assert not proof.all_proven and "reads open from U1.1/joint-s to U4.1/joint-s" in proof.wires[0]
    assert proof.wires[0] == wire.reads_open and not wire.proves
    assert "Resolder both ends of wire no." in found.words and found.check is not None
    binding = bind(*fresh)
    view = record_of(binding)
    assert any("reads open from end to end" in line for line in view.remaining)
    assert not any("No break was found" in line for line in view.summary)
    say(fresh, "solder U4.1/joint-s")
    again = next_for_case(*fresh)
    assert again.check is not None and "new wire" in again.words
    assert proven_for_case(*fresh).wires == ()


@pytest.fixture
def fresh(bench: tuple[Workshop, str]) -> tuple[Workshop, str]:
    """A case of the same board without any work area."""
    return bench[0], new_case(bench[0], "by hand", "no area").state.case
