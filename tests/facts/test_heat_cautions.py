"""What of a board's own parts is said before it is warmed or a joint is kept liquid.

Which kinds heat harms, and the 85 or 105 degC of electrolytic capacitors: common practice, no source. Which part is which follows from the hand-made list.
"""

from __future__ import annotations

from dataclasses import replace

from tests.copper_boards import board, pad, part

from coppermend.core.board.model import Board, PartState
from coppermend.core.rework.removal import Bench, _too_warm
from coppermend.services.alloys import feed_plan, mind_part
from coppermend.services.heatcautions import cautions_at_joints, cautions_on_board


def made(*kinds: tuple[str, str, str]) -> Board:
    """A board of parts (designator, value, package) with one pin each."""
    lands = [pad(10.0 * k, 0, 1.6) for k in range(len(kinds))]
    parts = [part(ref, "c", [("1", 10.0 * k, 0, k)]) for k, (ref, _, _) in enumerate(kinds)]
    named = [replace(one, value=value, package=package) for one, (_, value, package) in zip(parts, kinds, strict=True)]
    return board({"c": lands, "s": lands}, [(10.0 * k, 0, 0.8) for k in range(len(kinds))], named)


MIXED = (("BT1", "3.6 V NiCd", ""), ("C1", "470u", "RADIAL"), ("C2", "100n", ""), ("R1", "1k", ""))


def test_cells_come_first_then_electrolytics_and_no_others() -> None:
    first, second = cautions_on_board(made(*MIXED), target_c=100.0)
    assert first.startswith("BT1 is a cell") and "never preheat" in first
    assert "C1." in second and "C2" not in second and "above the lower" in second
    assert "above" not in cautions_on_board(made(*MIXED), target_c=70.0)[1]


def test_a_cell_that_is_out_is_not_named_and_a_list_without_one_proves_nothing() -> None:
    (said,) = cautions_on_board(made(*MIXED[:1]), {"BT1": PartState.OUT})
    assert "BT1" not in said and "names no cell" in said
    assert cautions_on_board(made(("R1", "1k", ""))) == (said,)


def test_doses_of_an_electrolytic_carry_its_own_cautions_before_the_alloys() -> None:
    here = made(*MIXED)
    mind = mind_part(here, "C1")
    assert (
        "electrolytic" in mind[0]
        and any("bursts" in one for one in mind)
        and any("one joint at a time" in one for one in mind)
    )
    plan = feed_plan("Sn63Pb37", "Bi52Pb32Sn16", 130.0, old_mg=10.0, of_part=mind)
    assert plan.warnings[: len(mind)] == mind and plan.as_dict()["of_part"] == list(mind)
    assert mind_part(here, "R1") == () == cautions_at_joints(None)


def test_a_board_kept_over_its_laminates_limit_is_told_so_in_doses_and_removal_as_in_warming() -> None:
    """Rework guide on preheating: at most Tg less 10 K; old FR-4's Tg "above 120 degC" (limits.py, docs/sources.md)."""
    cells = cautions_on_board(made(*MIXED), target_c=130.0)
    hot = feed_plan("Sn63Pb37", "Bi52Pb32Sn16", 130.0, old_mg=10.0, on_board=cells)
    assert hot.of_board[0].startswith("130 degC is above 110 degC") and hot.of_board[1].startswith("BT1 is a cell")
    assert hot.warnings[:3] == hot.of_board == tuple(hot.as_dict()["of_board"])
    assert feed_plan("Sn63Pb37", "Bi52Pb32Sn16", 110.0, old_mg=10.0).of_board == ()
    assert (
        "179 degC is above 110 degC" in _too_warm(Bench(preheat_c=179.0))[0] and _too_warm(Bench(preheat_c=110.0)) == ()
    )


def test_a_supercapacitor_is_named_and_a_tantalum_is_no_can() -> None:
    """Values as parts lists write them; double-layer types are marked 70 or 85 degC (common practice, no source)."""
    here = made(("SC1", "0.1F 5.5V", "RADIAL"), ("C7", "10u 16V tantalum", "RADIAL"))
    _, said = cautions_on_board(here, target_c=100.0)
    assert said.startswith("Supercapacitors: SC1.") and "C7" not in said
    assert "holds its charge for days" in mind_part(here, "SC1")[0]
    own = " ".join(mind_part(here, "C7"))
    assert "no can that dries out" in own and "at its can" not in own
