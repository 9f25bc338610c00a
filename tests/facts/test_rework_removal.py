"""The removal plan of a part: ranks, order, neighbours, copper under it, the work area, and what it refuses."""

from __future__ import annotations

import itertools
import time
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from scipy import sparse
from scipy.sparse.linalg import splu
from tests.copper_boards import Piece, board, pad, part, region, track

from coppermend.core.belief.model import Basis, WorkArea
from coppermend.core.belief.priors import priors
from coppermend.core.board.conditions import gap_words
from coppermend.core.board.model import Board, Part, PartState
from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph
from coppermend.core.findings import Refusal
from coppermend.core.rework.removal import RESTS_ON, Bench, RemovalPlan, plan_removal, working_order
from coppermend.core.rework.removal_copper import ground_round
from coppermend.core.rework.removal_kind import cautions_of, kind_of, steps_for
from coppermend.core.rework.removal_near import microfarad, what_heat_harms
from coppermend.services.around import around_part

SPOKED_GROUND, SOLID_GROUND = 32, 64
"""Pin 32 hangs on inner layer 1 by four spokes; pin 64 lies solid in inner layer 2."""


def pin_places() -> list[tuple[float, float]]:
    """A 64-pin part of two rows, 2.54 mm apart, rows 22.86 mm apart (the width of a large DIP), pins counted round."""
    left = [(2.54 * k, 0.0) for k in range(32)]
    return left + [(x, 22.86) for x, _ in reversed(left)]


def plane(places: list[tuple[float, float]], solid: int | None, spoked: int | None) -> list[Piece]:
    """A plane with an antipad round every pin but the solid one; the spoked one is held by four spokes of 0.3 mm."""
    area = shapely.box(-30, -30, 110, 55)
    clear = [shapely.Point(p).buffer(1.2) for k, p in enumerate(places, 1) if k != solid]
    pieces = [region(area.difference(shapely.union_all(clear)))]
    if spoked is not None:
        x, y = places[spoked - 1]
        pieces.append(pad(x, y, 1.6))
        pieces += track(0.3, (x - 1.5, y), (x, y), (x + 1.5, y)) + track(0.3, (x, y - 1.5), (x, y), (x, y + 1.5))
    return pieces


def four_layers() -> Board:
    """A 64-pin part on four layers, an electrolytic and a cell beside it, a track under it."""
    places = pin_places()
    outer: list[Piece] = [pad(x, y, 1.6) for x, y in places]
    solder = [*outer]
    for k, (x, y) in enumerate(places):
        solder += track(0.25, (x, y), (x, y + (-12.0 if y == 0 else 12.0) - k % 3))
    component = [*outer, *track(0.25, (1.27, -8.0), (1.27, 30.0)), pad(1.27, -8.0, 1.4), pad(1.27, 30.0, 1.4)]
    extra = [(-5.0, 5.0), (-5.0, 7.5), (88.0, 10.0), (88.0, 16.0)]
    component += [pad(x, y, 1.6) for x, y in extra]
    solder += [pad(x, y, 1.6) for x, y in extra]
    box = np.array([(-2.0, 1.0), (81.0, 1.0), (81.0, 22.0), (-2.0, 22.0)])
    can = shapely.Point(-5.0, 6.25).buffer(3.0)
    parts = [
        part("U1", "c", [(str(k), x, y, k - 1) for k, (x, y) in enumerate(places, 1)], outline=box),
        part(
            "C2",
            "c",
            [("1", *extra[0], 64), ("2", *extra[1], 65)],
            outline=np.array(can.exterior.coords),
            value="100u 16V",
        ),
        part("BT1", "c", [("1", *extra[2], 66), ("2", *extra[3], 67)], value="3.6 V NiCd"),
        part("R1", "c", [("1", 1.27, -8.0, None), ("2", 1.27, 30.0, None)], value="1k"),
    ]
    holes = [(x, y, 0.9) for x, y in [*places, *extra]]
    layers: dict[str, Any] = {
        "c": component,
        "i1": plane(places, None, SPOKED_GROUND),
        "i2": plane(places, SOLID_GROUND, None),
        "s": solder,
    }
    return board(layers, holes, parts)


@pytest.fixture(scope="module")
def made() -> tuple[Board, CopperGraph]:
    one = four_layers()
    return one, build_graph(one)


def planned(made: tuple[Board, CopperGraph], ref: str = "U1", bench: Bench | None = None) -> RemovalPlan:
    one, graph = made
    return plan_removal(one, graph, one.part(ref), around_part(one, ref, 3.0), None, bench)


def test_pins_in_planes_come_first(made: tuple[Board, CopperGraph]) -> None:
    """A pin solid in a plane loses its heat fastest, one on spokes next (physics: conductance grows with copper section)."""
    plan = planned(made)
    by_rank = sorted(plan.pins, key=lambda pin: pin.rank)
    assert [pin.number for pin in by_rank[:2]] == [str(SOLID_GROUND), str(SPOKED_GROUND)]
    assert [pin.rank for pin in by_rank] == list(range(1, 65))
    assert all(a.k_per_w <= b.k_per_w for a, b in itertools.pairwise(by_rank))
    assert by_rank[0].k_per_w < 0.75 * float(np.median([pin.k_per_w for pin in plan.pins]))
    assert any("inner layer 2: lies solid" in words for words in by_rank[0].reasons)
    assert any("inner layer 1: 4 spokes of 0.3 mm" in words for words in by_rank[1].reasons)
    assert any("one track of 0.25 mm" in words for words in by_rank[-1].reasons)


def test_the_stated_stack_up_is_what_the_solve_takes(made: tuple[Board, CopperGraph]) -> None:
    """The package's laminate goes into the solve as it is (the solve itself stands against scikit-fem on an uneven stack, tests/oracles); the plan says which."""
    one, graph = made
    stated = replace(one, extra={**one.extra, **gap_words((0.2, 1.1, 0.2))})
    places = {pin.number: pin for pin in graph.pins if pin.part == "U1"}
    assert ground_round(stated, stated.part("U1"), places, 10.0).stack.gap_mm == (0.2, 1.1, 0.2)
    even, uneven = planned(made), planned((stated, graph))
    assert any("even spacing is taken" in note for note in even.notes)
    assert any("0.2, 1.1, 0.2 mm" in note for note in uneven.notes)
    assert not any("even spacing" in note for note in uneven.notes)
    ratio = [a.k_per_w / b.k_per_w for a, b in zip(uneven.pins, even.pins, strict=True)]
    assert max(abs(one - 1) for one in ratio) > 1e-4 and max(ratio) < 1.2 and min(ratio) > 0.8


def reference_s() -> float:
    """CPU seconds for factoring a grid of 200 x 200 points and 16 columns: what this machine is worth right now (0.17 s on the machine of the target)."""
    line = sparse.diags([np.full(199, -1.0), np.full(200, 2.01), np.full(199, -1.0)], [-1, 0, 1])
    matrix = (sparse.kron(sparse.eye(200), line) + sparse.kron(line, sparse.eye(200))).tocsc()
    before = time.process_time()
    splu(matrix, permc_spec="MMD_AT_PLUS_A", relax=1, options={"SymmetricMode": True}).solve(np.ones((40_000, 16)))
    return time.process_time() - before


def test_a_board_of_unlikely_thickness_is_said(made: tuple[Board, CopperGraph]) -> None:
    """1.6 mm is the usual thickness of a board (common practice, no source): 4.7 mm is named with what to do, 1.6 mm is not."""
    one, graph = made
    for thick, said in ((1.6, 0), (4.69, 1)):
        notes = planned((replace(one, thickness_mm=thick), graph)).notes
        assert sum("4.69 mm thick" in note and "Measure its edge" in note for note in notes) == said


def test_the_plan_says_with_which_laminate_and_foils_it_was_reckoned(made: tuple[Board, CopperGraph]) -> None:
    plan = planned(made, "C2")
    assert (
        plan.rests_on[0].startswith("Board: 1.60 mm of laminate, foils of 35, 35, 35, 35 um")
        and len(plan.rests_on) == len(RESTS_ON) + 1
    )
    assert plan.as_dict()["rests_on"] == list(plan.rests_on)
    topics = [one.split(":")[0] for one in plan.rests_on]
    assert topics == ["Board", "K/W", "W", "Needs", "Order", "Shield", "Under", "At risk"]


def test_64_pins_on_four_layers_within_two_seconds(made: tuple[Board, CopperGraph]) -> None:
    """Target of the issue: under 2 s. CPU time, against a piece of work of known size, so that a busy machine does not decide."""
    for _ in range(5):
        allowed = 2.0 * max(reference_s() / 0.17, 1.0)
        before = time.process_time()
        planned(made)
        spent = time.process_time() - before
        if spent < allowed:
            return
    pytest.fail(f"{spent:.2f} s, {allowed:.2f} s allowed")


def test_order_visits_all_and_does_not_cook_one_corner(made: tuple[Board, CopperGraph]) -> None:
    """Every pin once; the hottest moment is well below that of going pin by pin; two joints in a row are never neighbours."""
    plan = planned(made)
    assert sorted(plan.order, key=int) == [pin.number for pin in plan.pins]
    assert plan.peak_share < 0.9
    at = dict(zip((str(k) for k in range(1, 65)), pin_places(), strict=True))
    steps = [np.hypot(*np.subtract(at[a], at[b])) for a, b in itertools.pairwise(plan.order)]
    assert min(steps) > 5.0


def test_hard_joints_come_last() -> None:
    """Joints that need more than the ordinary tip are worked when the rest is done and the board is warm (common practice, no source)."""
    apart = np.exp(-np.abs(np.subtract.outer(np.arange(8), np.arange(8))) / 2.0)
    order, _ = working_order(apart, [0, 0, 2, 0, 1, 0, 0, 0], 0.8)
    assert order[-2:] == (4, 2)


def test_order_against_all_orders_of_six() -> None:
    """The order of six joints in a row against the best of all 720: its peak is at most 5 % above."""
    line = np.exp(-np.abs(np.subtract.outer(np.arange(6), np.arange(6))) / 2.0)
    cross = line - np.diag(np.diag(line))

    def peak(order: tuple[int, ...]) -> float:
        met, left = 0.0, np.zeros(6)
        for k in order:
            met = max(met, float(left[k]))
            left = (left + cross[:, k]) * 0.8
        return met

    order, share = working_order(line, [0] * 6, 0.8)
    best = min(peak(one) for one in itertools.permutations(range(6)))
    assert peak(order) <= 1.05 * best
    assert share == pytest.approx(peak(order) / peak(tuple(range(6))))


def test_neighbours_and_copper_under_it(made: tuple[Board, CopperGraph]) -> None:
    """The cell first, then the electrolytic; the resistor stands heat; the track that crosses under the body is named."""
    plan = planned(made)
    assert [one.part for one in plan.shield] == ["BT1", "C2"]
    assert "burst" in plan.shield[0].do
    assert [round(one.mm, 1) for one in plan.under] == [22.9]  # from row to row: the body reaches from pin to pin


def test_at_risk_is_what_the_belief_raises(made: tuple[Board, CopperGraph]) -> None:
    """Exactly the sites whose prior the proposed area raises; all 64 joints are among them."""
    _, graph = made
    plan = planned(made)
    area = WorkArea("x", plan.polygon, "rework", plan.severity)
    raised = priors(graph, (area,), Basis()) > priors(graph, (), Basis())
    assert {risk.site for risk in plan.at_risk} == {s.id for s, up in zip(graph.sites, raised, strict=True) if up}
    assert {f"joint@U1.{k}" for k in range(1, 65)} <= {risk.site for risk in plan.at_risk}
    assert all(risk.p > Basis().prior_out for risk in plan.at_risk)


def test_more_preheat_or_a_hotter_tip_never_asks_for_more() -> None:
    """Monotone: a hotter tip reaches at least what a colder one does."""
    levels = ["ordinary", "bigger tip", "preheat and bigger tip"]
    for k_per_w in np.linspace(2, 120, 60):
        needs = [levels.index(Bench(tip_c=tip).need(float(k_per_w))) for tip in (320.0, 350.0, 380.0)]
        assert needs == sorted(needs, reverse=True)


def test_what_heat_harms() -> None:
    """Reference letters and values as parts lists write them (common practice, no source)."""

    def one(ref: str, value: str = "", package: str = "", state: PartState = PartState.SOLDERED) -> str:
        found = what_heat_harms(Part(ref, "c", np.empty((0, 2)), "", (), value, package, state))
        return found[0] if found else ""

    assert one("C1", "100n") == "" and one("R1", "1k") == "" and one("U1", "74LS00") == ""
    assert one("C2", "22u 16V") == "an electrolytic capacitor"
    assert one("C3", "", "RADIAL200") == "an electrolytic capacitor"
    assert one("BT1") == "a cell or battery" and one("U9", "CR2032 holder") == "a cell or battery"
    assert one("J3").startswith("plastic") and one("Y1") == "a crystal"
    assert one("U2", "27C256", state=PartState.SOCKETED) == "a plastic socket"
    assert (microfarad("4,7 µF"), microfarad("2u2"), microfarad("10n"), microfarad("1k")) == (4.7, 2.2, 0.0, 0.0)


def test_refusals(made: tuple[Board, CopperGraph]) -> None:
    """Parts that are out, parts without pins, numbers that cannot be: said, with what can be done."""
    one, graph = made
    unknown = replace(one, extra={"copper": "unknown"})
    with pytest.raises(Refusal, match="REM-001"):
        plan_removal(unknown, graph, one.part("U1"), (), None, None)
    gone = replace(graph, part_states=(("U1", PartState.NOT_FITTED),), memo={})
    with pytest.raises(Refusal, match="REM-004"):
        plan_removal(one, gone, one.part("U1"), (), None, None)
    bare = replace(one.part("U1"), pins=())
    with pytest.raises(Refusal, match="REM-002"):
        plan_removal(one, graph, bare, (), None, None)
    for bench in (Bench(film_w_m2k=-1.0), Bench(tip_c=150.0), Bench(preheat_c=400.0), Bench(tip_c=float("nan"))):
        with pytest.raises(Refusal, match="REM-005"):
            planned(made, bench=bench)


def itself(ref: str, value: str, nets: tuple[str, ...] = (), package: str = "") -> tuple[str, str, str]:
    """Kind of a part, its own cautions and its steps as one text each."""
    part = Part(ref, "c", np.empty((0, 2)), package, (), value)
    kind = kind_of(part, nets)
    return (
        kind,
        " ".join(one.words for one in cautions_of(part, kind)),
        " ".join(one.words for one in steps_for(kind)),
    )


def test_a_cell_is_never_preheated_and_its_own_caution_comes_first() -> None:
    """The words of the procedure ``cell`` (care.py; collector's page in docs/sources.md): legs cut or cool and quick, never a swollen one, no heat."""
    kind, own, steps = itself("BT1", "3.6 V NiCd")
    assert (
        kind == "cell" and "never preheat" in own and "swollen cell is not soldered at" in own and "cut its legs" in own
    )
    assert "No preheat and no hot air while the cell is on the board" in steps
    assert "Where a pin asks for it, bring the board slowly" not in steps
    assert "stays live until it is out" in steps
    assert "Lithium burns" in itself("BT2", "CR2032")[1] and "Lithium" not in own


@pytest.mark.parametrize(
    ("ref", "value", "nets", "package", "kind", "word"),
    [
        ("C7", "220u 16V", (), "", "electrolytic", "same way round"),
        ("C8", "10u 16V tantalum", (), "", "tantalum", "plus marks plus"),
        ("SC1", "0.1F 5.5V", (), "", "supercapacitor", "holds its charge for days"),
        ("C7", "100n", (), "", "", ""),
        ("T1", "flyback", (), "", "tube", "thousands of volts"),
        ("R9", "1M", ("MAINS_L", "GND"), "", "mains", "hundreds of volts"),
        ("C1", "X2 100n 275V", (), "", "mains", "leave it to people qualified"),
        ("J4", "DIN", (), "", "plastic", "plastic softens"),
        ("U1", "74LS00", ("GND", "A0"), "", "", ""),
    ],
)
def test_what_the_part_itself_is(
    ref: str, value: str, nets: tuple[str, ...], package: str, kind: str, word: str
) -> None:
    """Common practice, no source: polarity of an electrolytic, stored charge on the mains side and at a picture tube."""
    found, own, _ = itself(ref, value, nets, package)
    assert found == kind and (word in own if word else own == "")
