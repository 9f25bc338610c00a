"""Alloys of a joint as the bench asks for them: what a mixture melts at, how much to feed, how to clean the joint again."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from typing import Any

import numpy as np

from coppermend.core.board.model import Board, ObjectKind
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.findings import refuse
from coppermend.core.rework.alloy.answer import Melt, melts_at
from coppermend.core.rework.alloy.caution import soft_remainder, warnings_for
from coppermend.core.rework.alloy.composition import Alloy, mix, read_alloy, share_by_mass
from coppermend.core.rework.alloy.dose import (
    BISMUTH_LIMIT_WT,
    WICK_LEAVES,
    Cleaning,
    DosePlan,
    plan_cleaning,
    plan_doses,
)
from coppermend.core.rework.alloy.joint import Joint, joint
from coppermend.core.rework.alloy.published import ROWS
from coppermend.core.rework.heat.limits import NOT_ALL_OVER, over_laminate
from coppermend.core.rework.removal_kind import CELL, cautions_of, kind_of
from coppermend.services.alloyassumed import melt_assumed
from coppermend.services.alloydrawing import draw_alloys
from coppermend.services.heatcautions import cautions_at_joints

LOW_C = 150.0
"""A joint that begins to melt below this is said to be no joint to stay. Our choice: the eutectic of tin and bismuth, 139 degC, lies under it."""
PIN_MM = (0.46, 0.25)
"""Section of a DIP's leg, width and thickness in mm (JEDEC MS-001 nominal, from memory). A socket's pin differs: give its own."""


@dataclass(frozen=True, slots=True)
class Mixture:
    """A joint's alloy, what it melts at, and what to mind."""

    alloy: Alloy
    share: float
    melt: Melt
    warnings: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The fixed names of ``coppermend alloy mix --json``."""
        return {
            "share": self.share,
            **melt_dict(self.melt),
            "warnings": list(self.warnings),
            "assumed": list(melt_assumed(self.melt)),
        }


def melt_dict(melt: Melt) -> dict[str, Any]:
    """What an alloy melts at as plain JSON values, rounded to 0.01."""
    table = melt.table
    return {
        "name": melt.alloy.name,
        "composition_wt": melt.alloy.as_dict(),
        "solidus_c": round(melt.solidus_c, 2),
        "liquidus_c": round(melt.liquidus_c, 2),
        "melting_enthalpy_j_g": None if melt.enthalpy_j_g is None else round(melt.enthalpy_j_g, 2),
        "uncertainty_c": melt.uncertainty_c,
        "solidus_uncertainty_c": melt.solidus_off_c,
        "liquidus_uncertainty_c": melt.liquidus_off_c,
        "source": melt.source,
        "published": None
        if table is None
        else {"solidus_c": table.solidus_c, "liquidus_c": table.liquidus_c, "source": table.source},
        "density_g_cm3": round(melt.alloy.density_g_cm3, 3),
        "notes": list(melt.notes),
    }


def share_of(share: float | None, base_mass: float | None, add_mass: float | None) -> float:
    """The added alloy's share from what was said: a share, or two masses; a Refusal when neither or both are there."""
    masses = base_mass is not None and add_mass is not None
    if masses and share is None:
        return share_by_mass(base_mass or 0.0, add_mass or 0.0)
    if share is None or base_mass is not None or add_mass is not None:
        raise refuse(
            "ALY-006",
            "The amounts are not clear.",
            "Give either the added alloy's share of the joint (--share 0.5) or both masses (--base-mg 12 --add-mg 12).",
        )
    return share


def mixture(base: str, add: str, share: float) -> Mixture:
    """What a joint of ``base`` melts at when ``share`` of it by mass (0 to 1) is ``add``; names as in ``read_alloy``."""
    old, new = read_alloy(base), read_alloy(add)
    made = mix(old, new, share)
    melt, warnings = melts_at(made), warnings_for(made, new if share > 0 else None)
    if melt.solidus_c < LOW_C and soft_remainder(made) is None:
        low = f"It begins to melt at {melt.solidus_c:.0f} degC: for taking parts out, not for a joint that stays in a machine."
        warnings = (low, *warnings)
    return Mixture(made, share, melt, warnings)


@dataclass(frozen=True, slots=True)
class PartJoints:
    """The joints of a part as the board has them: ``pins`` in plated holes, ``hole_mm`` and ``land_mm`` the middle ones, ``joint`` one of them."""

    part: str
    pins: int
    hole_mm: float
    land_mm: float
    joint: Joint

    def words(self) -> str:
        """One sentence."""
        return f"{self.part}: {self.pins} joints, hole {self.hole_mm:.2f} mm, land {self.land_mm:.2f} mm."


def refuse_cell(board: Board, ref: str) -> None:
    """A Refusal (ALY-011) where the part is a cell or battery: its joints are never kept liquid. A part the board does not have passes."""
    part = next((one for one in board.parts if one.ref == ref), None)
    if part is None or kind_of(part) != CELL:
        return
    cautions = cautions_of(part, CELL)
    raise refuse(
        "ALY-011",
        f"{cautions[0].words} No doses are planned for {ref}: they would keep its joints liquid for minutes.",
        f"{' '.join(one.words for one in cautions[1:])} How it comes out: coppermend removal plan. For its stubs, with the cell off the board: "
        "give their old solder per pin by weight, without the part's name.",
    )


def mind_part(board: Board, ref: str) -> tuple[str, ...]:
    """What to mind of a part whose joints are kept liquid; a Refusal (ALY-011) for a cell, nothing for a part that the board does not have."""
    refuse_cell(board, ref)
    return cautions_at_joints(next((one for one in board.parts if one.ref == ref), None))


def joints_of(board: Board, ref: str, pin_mm: tuple[float, float] = PIN_MM) -> PartJoints:
    """The joints of a part on its board; a Refusal for a cell, a part that is not there or has no pin in a plated hole, and for a board from a pin list."""
    refuse_cell(board, ref)
    if not copper_is_known(board):
        raise refuse(
            "ALY-010",
            "This board comes from a list: its holes and lands are not known.",
            "Give the old solder per pin by weight (--old-mg) or the joint's measures (--hole-mm, --land-mm).",
        )
    try:
        part = board.part(ref)
    except KeyError:
        raise refuse(
            "ALY-010",
            f"{ref} is not on this board.",
            "Name a part as the board has it (coppermend board build lists them).",
        ) from None
    holes = [board.holes[pin.hole] for pin in part.pins if pin.hole is not None and board.holes[pin.hole].plated]
    if not holes:
        raise refuse(
            "ALY-010",
            f"{ref} has no pin in a plated hole: its joints' volume is not known from the board.",
            "Give the old solder per pin by weight (--old-mg) or the joint's measures.",
        )
    hole = statistics.median(one.diameter_mm for one in holes)
    land = statistics.median([_land_mm(board, pin.x_mm, pin.y_mm, hole) for pin in part.pins if pin.hole is not None])
    return PartJoints(ref, len(holes), hole, land, joint(hole, pin_mm, land, board_mm=board.thickness_mm))


def _land_mm(board: Board, x_mm: float, y_mm: float, hole_mm: float) -> float:
    """The land's shorter side: of the flashed copper over a place the narrowest of each side, the wider side's; at least the hole."""
    sides = [hole_mm]
    for layer in board.layers:
        if layer.key not in ("c", "s"):
            continue
        box = layer.shapes.bounds_mm()
        over = (box[:, 0] <= x_mm) & (box[:, 2] >= x_mm) & (box[:, 1] <= y_mm) & (box[:, 3] >= y_mm)
        flashed = box[over & (layer.kind == ObjectKind.FLASH)]
        if len(flashed):
            sides.append(float(np.min(np.minimum(flashed[:, 2] - flashed[:, 0], flashed[:, 3] - flashed[:, 1]))))
    return max(sides)


@dataclass(frozen=True, slots=True)
class FeedPlan:
    """Doses, the way back to clean joints, warnings, and how the old solder was found (``joints`` None: by weight)."""

    doses: DosePlan
    cleaning: Cleaning
    warnings: tuple[str, ...]
    joints: Joint | None
    of_part: tuple[str, ...] = ()
    """What to mind of the part itself; it stands in ``warnings``, too, before the rest."""
    of_board: tuple[str, ...] = ()
    """What to mind of the board that is kept so warm: its laminate, its cells and electrolytics; in ``warnings`` after ``of_part``."""

    def as_dict(self) -> dict[str, Any]:
        """The plan as plain JSON values."""
        plan, after = self.doses, self.cleaning
        return {
            "base": plan.base.name,
            "add": plan.add.name,
            "pins": plan.pins,
            "old_mg_per_pin": round(plan.old_mg, 3),
            "keep_c": plan.keep_c,
            "reaches": plan.reaches,
            "share": round(plan.share, 4),
            "dose_mg_per_pin": round(plan.dose_mg, 3),
            "dose_wire_mm_per_pin": round(plan.wire_mm, 2),
            "wire_diameter_mm": plan.wire_diameter_mm,
            "total_g": round(plan.total_g, 4),
            "words": plan.words,
            "melt": melt_dict(plan.melt),
            "steps": [
                {"share": round(one.share, 4), "dose_mg": round(one.dose_mg, 3), **melt_dict(one.melt)}
                for one in plan.steps
            ],
            "joint": None
            if self.joints is None
            else {
                "volume_mm3": round(self.joints.volume_mm3, 4),
                "least_mm3": round(self.joints.least_mm3, 4),
                "most_mm3": round(self.joints.most_mm3, 4),
            },
            "cleaning": {
                "rounds": after.rounds,
                "surplus_rounds": after.surplus_rounds,
                "limit_wt": after.limit_wt,
                "wick_leaves": after.wick_leaves,
                "bismuth_wt": [round(one, 4) for one in after.bismuth_wt],
                "after": after.after.name,
                "freezes_below_100_c": after.soft,
            },
            "warnings": list(self.warnings),
            "of_part": list(self.of_part),
            "of_board": list(self.of_board),
        }


def feed_plan(
    base: str,
    add: str,
    keep_c: float,
    *,
    old_mg: float | None = None,
    joints: Joint | None = None,
    pins: int = 1,
    wire_mm: float = 1.0,
    doses: int = 4,
    fresh: str = "",
    wick_leaves: float = WICK_LEAVES,
    limit_wt: float = BISMUTH_LIMIT_WT,
    of_part: tuple[str, ...] = (),
    on_board: tuple[str, ...] = (),
) -> FeedPlan:
    """How much of ``add`` keeps a part's joints liquid at ``keep_c`` degC and how to clean them after; the old solder by mass in mg or by ``joints``.

    ``fresh`` is what the clean joint is refilled with; "" is the old solder again. ``of_part``: what to mind of the part itself, before the other warnings;
    ``on_board``: what of the board's parts heat harms (``services/heatcautions.py``). A ``keep_c`` over the laminate's limit is said.
    """
    old, new = read_alloy(base), read_alloy(add)
    if (old_mg is None) == (joints is None):
        raise refuse(
            "ALY-006",
            "How much old solder there is, is not clear.",
            "Give either its mass per pin (--old-mg 12), or the joint's measures (--hole-mm, --land-mm), or a board and a part.",
        )
    mass = old_mg if joints is None else joints.mass_mg(old.density_g_cm3)
    plan = plan_doses(old, new, mass or 0.0, pins=pins, keep_c=keep_c, wire_diameter_mm=wire_mm, doses=doses)
    cleaning = plan_cleaning(
        plan.melt.alloy, read_alloy(fresh) if fresh else old, wick_leaves=wick_leaves, limit_wt=limit_wt,
        surplus=(plan.old_mg + plan.dose_mg) / plan.old_mg,
    )  # fmt: skip
    over = over_laminate(keep_c)
    of_board = (*((f"{over} {NOT_ALL_OVER}",) if over else ()), *on_board)
    said = (*of_part, *of_board, *warnings_for(plan.melt.alloy, new))
    return FeedPlan(plan, cleaning, said, joints, of_part, of_board)


def drawing(plan: DosePlan) -> str:
    """The diagram of a plan with its doses, as SVG text."""
    return draw_alloys(plan.base, plan.add, [one.share for one in plan.steps], plan.keep_c)


def known_alloys() -> list[dict[str, Any]]:
    """The published alloys with what the table and, where it covers them, the model say."""
    rows = []
    for row in ROWS:
        of = read_alloy(row.name)
        told = {"name": row.name, "solidus_c": row.solidus_c, "liquidus_c": row.liquidus_c, "source": row.source}
        if all(element in ("Sn", "Pb", "Bi") for element, _ in of.wt):
            melt = melts_at(of)
            told |= {"model_solidus_c": round(melt.solidus_c, 1), "model_liquidus_c": round(melt.liquidus_c, 1)}
        rows.append(told)
    return rows
