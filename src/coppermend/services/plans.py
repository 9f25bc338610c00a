"""Plans of the rework that a case keeps: a remark with the plan in figures, so that the record can draw it again from the log alone."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from coppermend.core.findings import Refusal, refuse
from coppermend.core.rework.alloy.composition import read_alloy
from coppermend.core.rework.alloy.dose import BISMUTH_LIMIT_WT, DosePlan
from coppermend.core.rework.heat.fit import Fit
from coppermend.services.alloyassumed import melt_assumed
from coppermend.services.alloys import PIN_MM, FeedPlan
from coppermend.services.heat import ASSUMED, Warming
from coppermend.services.notes import Noted, note
from coppermend.services.requests import Request
from coppermend.services.workshop import Workshop

ALLOY, WARMING, LISTS = "alloy", "warming", "lists"
MOST_ROWS, MOST_LINES, MOST_LETTERS = 120, 40, 600
MOST_TABLES, MOST_COLUMNS, MOST_TABLE_ROWS = 8, 8, 400


@dataclass(frozen=True, slots=True)
class AlloyKept:
    """Doses of an alloy: the old solder's name, the fed one's, the fed one's share by mass after each dose (0 to 1), the board's degC."""

    base: str
    add: str
    shares: tuple[float, ...]
    keep_c: float
    assumed: tuple[str, ...]
    tables: tuple[ListKept, ...] = ()
    """Doses, the rounds that clean the joints, warnings; () in plans of before they were kept."""


@dataclass(frozen=True, slots=True)
class WarmingKept:
    """A board warmed: rows of (s, coldest and hottest degC of the solder side, the same of the component side), the target, the laminate's Tg, the time to the
    target (None: never), limits as (name, found, allowed, kept, source)."""

    rows: tuple[tuple[float, ...], ...]
    target_c: float
    tg_c: float
    time_s: float | None
    held: tuple[tuple[str, str, str, bool, str], ...]
    assumed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ListKept:
    """A table of a kept plan: its title, the names of its columns, and its rows, each as long as the names."""

    title: str
    names: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class ListsKept:
    """A plan of taking a part out, of patch wires or of a short with a supply: its title, its tables (``services/planlists.py``), and what it rests on."""

    title: str
    tables: tuple[ListKept, ...]
    assumed: tuple[str, ...]


def alloy_plan(found: FeedPlan) -> dict[str, Any]:
    """The figures of a plan of doses as an entry keeps them."""
    plan = found.doses
    joint = found.joints
    if joint is None:
        old = f"Old solder: {plan.old_mg:.1f} mg per pin, as given."
    else:
        old = (
            f"Old solder: {plan.old_mg:.1f} mg per pin, a joint of {joint.volume_mm3:.2f} mm3 (hollow to straight fillets {joint.least_mm3:.2f} to {joint.most_mm3:.2f}): "
            f"hole less pin and two fillets as high as they are wide; the pin as given, else {PIN_MM[0]:g} x {PIN_MM[1]:g} mm (JEDEC MS-001, from memory)."
        )
    cleaning = found.cleaning
    assumed = [
        old,
        f"Dose: {_least(plan)}; the liquidus may lie {plan.melt.liquidus_off_c:g} K higher.",
        "Wire: densities mixed by volume from the pure elements' (handbook values from memory; within 0.1 g/cm3 of published alloys).",
        *melt_assumed(plan.melt),
        f"Rounds: each round of wick leaves {100 * cleaning.wick_leaves:g} % of the solder (common practice, no source); at most {cleaning.limit_wt:g} % of bismuth may stay"
        + (
            ", what a tin-lead pot may hold (a maker's table, docs/sources.md)."
            if cleaning.limit_wt == BISMUTH_LIMIT_WT
            else ", as given."
        ),
    ]
    return {
        "what": ALLOY,
        "base": plan.base.name,
        "add": plan.add.name,
        "shares": [round(one.share, 5) for one in plan.steps],
        "keep_c": round(plan.keep_c, 2),
        "tables": _alloy_tables(found),
        "assumed": assumed,
    }


def _least(plan: DosePlan) -> str:
    """Which share of the fed alloy the doses lead to."""
    if plan.reaches:
        return f"the least share whose liquidus as computed is at {plan.keep_c:g} degC"
    return f"no share keeps the joint liquid at {plan.keep_c:g} degC; this is the one whose liquidus is lowest"


def _alloy_tables(found: FeedPlan) -> list[dict[str, Any]]:
    """Doses, rounds of wick and warnings of a plan as tables."""
    after = found.cleaning
    doses = [
        [
            str(k),
            f"{100 * one.share:.1f}",
            f"{one.dose_mg:.1f}",
            _celsius(one.melt.solidus_c),
            _celsius(one.melt.liquidus_c),
        ]
        for k, one in enumerate(found.doses.steps)
    ]
    rounds = [
        [str(k), f"{bismuth:.2f}", _what_goes_in(k, after.surplus_rounds)] for k, bismuth in enumerate(after.bismuth_wt)
    ]
    tables = [
        {
            "title": "Doses, per pin",
            "names": ["No.", "Fed, % by mass", "Fed, mg", "Solidus, degC", "Liquidus, degC"],
            "rows": doses,
        },
        {
            "title": f"Rounds of wick and refill: {after.rounds} bring bismuth to {after.limit_wt:g} % or less",
            "names": ["No.", "Bismuth, %", "What is done"],
            "rows": rounds,
        },
        {"title": "Careful", "names": ["What"], "rows": [[one[:MOST_LETTERS]] for one in found.warnings]},
    ]
    return [one for one in tables if one["rows"]]


def _celsius(value: float | None) -> str:
    return "not known" if value is None else f"{value:.0f}"


def _what_goes_in(number: int, surplus_rounds: int) -> str:
    if number == 0:
        return "as fed"
    return "wick only: too much solder is in the joint" if number <= surplus_rounds else "wick, then fresh solder"


def warming_plan(made: Warming) -> dict[str, Any]:
    """The figures of a warming plan as an entry keeps them; of a long curve every so manieth row."""
    plan = made.plan
    step = max(1, math.ceil(len(plan.curve) / (MOST_ROWS - 1)))
    rows = [*plan.curve[:-1:step], *plan.curve[-1:]]
    heater = f"the heater at {made.heater.celsius:g} degC passes on {made.heater.film_w_m2k:.0f} W/m2K"
    return {
        "what": WARMING,
        "rows": [[round(float(value), 2) for value in row] for row in rows],
        "target_c": round(plan.target_c, 2),
        "tg_c": round(plan.tg_c, 2),
        "time_s": None if plan.time_s is None else round(plan.time_s, 1),
        "held": [
            [one.limit.name, one.found_words, f"{one.limit.value:g} {one.limit.unit}", one.kept, one.limit.source]
            for one in plan.held
        ],
        "assumed": [
            *made.on_board,
            f"{heater}{_by_readings(made.fit)}",
            *(() if made.spot is None else (made.held_words,)),
            *ASSUMED,
        ],
    }


def _by_readings(fit: Fit | None) -> str:
    if fit is None:
        return ""
    return ", corrected by a thermocouple" if fit.follows else ", as assumed: the model did not follow the thermocouple"


def note_plan(workshop: Workshop, case: str, words: str, plan: Mapping[str, Any]) -> Noted:
    """Keep a plan in the case: its words stand in the story, its diagram in the record."""
    return note(workshop, case, Request("remark", words=words, fields={"plan": dict(plan)}))


def checked_plan(value: Any) -> AlloyKept | WarmingKept | ListsKept:
    """A plan as an entry holds it, read back. Refusal NOT-011 for one that is none.

    >>> checked_plan({"what": "alloy", "base": "Sn63Pb37", "add": "Sn42Bi58", "shares": [0, 0.5], "keep_c": 130, "assumed": []}).shares
    (0.0, 0.5)
    """
    try:
        what = value["what"]
        assumed = tuple(_words(one) for one in _several(value["assumed"], MOST_LINES))
        if what == ALLOY:
            shares = tuple(_figure(one, 0.0, 1.0) for one in _several(value["shares"], 20))
            base, add = (read_alloy(_words(value[name])) for name in ("base", "add"))
            tables = tuple(_list(one) for one in _several(value.get("tables", ()), MOST_TABLES))
            return AlloyKept(base.name, add.name, shares, _figure(value["keep_c"], -50.0, 1000.0), assumed, tables)
        if what == WARMING:
            return _warming(value, assumed)
        if what == LISTS:
            tables = tuple(_list(one) for one in _several(value["tables"], MOST_TABLES))
            return ListsKept(_words(value["title"]), tables, assumed)
    except (KeyError, TypeError, ValueError, Refusal) as err:
        raise _no_plan(str(err)) from err
    raise _no_plan(f"it says {what!r}")


def warming_kept(plan: Mapping[str, Any]) -> WarmingKept:
    """A warming plan's figures as the drawing takes them. Refusal NOT-011 for anything else."""
    found = checked_plan(plan)
    if not isinstance(found, WarmingKept):
        raise _no_plan(f"it says {plan.get('what')!r}")
    return found


def _warming(value: Mapping[str, Any], assumed: tuple[str, ...]) -> WarmingKept:
    rows = tuple(_row(one) for one in _several(value["rows"], MOST_ROWS))
    if len(rows) < 2 or any(later[0] <= earlier[0] for earlier, later in pairwise(rows)):
        raise ValueError("its rows do not follow each other in time")
    time = value["time_s"]
    held = tuple(
        (_words(name), _words(found), _words(limit), bool(kept), _words(source))
        for name, found, limit, kept, source in _several(value["held"], MOST_LINES)
    )
    return WarmingKept(
        rows,
        _figure(value["target_c"], -50.0, 1000.0),
        _figure(value["tg_c"], -50.0, 1000.0),
        None if time is None else _figure(time, 0.0, 1e6),
        held,
        assumed,
    )


def _list(value: Any) -> ListKept:
    names = tuple(_words(one) for one in _several(value["names"], MOST_COLUMNS))
    rows = tuple(
        tuple(_words(cell) for cell in _several(row, MOST_COLUMNS)) for row in _several(value["rows"], MOST_TABLE_ROWS)
    )
    if any(len(row) != len(names) for row in rows):
        raise ValueError("a row and its table's names differ in number")
    return ListKept(_words(value["title"]), names, rows)


def _row(value: Any) -> tuple[float, ...]:
    row = _several(value, 5)
    if len(row) != 5:
        raise ValueError("a row takes five figures")
    return (_figure(row[0], 0.0, 1e6), *(_figure(one, -50.0, 1000.0) for one in row[1:]))


def _several(value: Any, most: int) -> Sequence[Any]:
    if not isinstance(value, (list, tuple)) or len(value) > most:
        raise ValueError(f"a list of at most {most} was expected")
    return value


def _figure(value: Any, low: float, high: float) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
        raise ValueError(f"{value!r} is no figure from {low:g} to {high:g}")
    return float(value)


def _words(value: Any) -> str:
    if not isinstance(value, str) or len(value) > MOST_LETTERS:
        raise ValueError(f"words of at most {MOST_LETTERS} letters were expected")
    return value


def _no_plan(why: str) -> Refusal:
    return refuse(
        "NOT-011",
        f"This is no plan that a case keeps: {why}.",
        "Take it as 'alloy plan', 'heat preheat', 'removal plan', 'wire plan' or 'short supply' print it (--json: plan), or let them note it: --note CASE.",
    )


def read_plan(text: str) -> AlloyKept | WarmingKept | ListsKept | None:
    """A kept plan from the canonical JSON of the state; None for one that this version cannot draw."""
    try:
        return checked_plan(json.loads(text))
    except (Refusal, ValueError):
        return None
