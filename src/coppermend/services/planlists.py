"""Plans of taking a part out, of patch wires and of a short with a supply as lists that a case keeps: what the record prints without computing anything again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from coppermend.core.copper.places import layer_words
from coppermend.core.rework.removal import RemovalPlan
from coppermend.core.rework.rules import WIRE_ASSUMED
from coppermend.core.rework.wires import STRIP_MM, Wire
from coppermend.services.plans import LISTS, MOST_LETTERS, MOST_LINES
from coppermend.services.supply import SupplyPlan
from coppermend.services.wires import Laid

IN_A_ROW = 20
"""Pins of the order of work that stand in one row."""


def removal_lists(plan: RemovalPlan) -> dict[str, Any]:
    """The figures of a removal plan as an entry keeps them: K/W of every joint, order, shields, what lies under the part, what is at risk."""
    pins = [
        (str(one.rank), one.number, f"{one.k_per_w:.1f}", f"{one.watts:.1f}", one.need, "; ".join(one.reasons))
        for one in sorted(plan.pins, key=lambda one: one.rank)
    ]
    order = [(str(k * IN_A_ROW + 1), " ".join(some)) for k, some in enumerate(_rows_of(plan.order))]
    shield = [(one.part, one.what, f"{one.gap_mm:.1f}", one.do) for one in plan.shield]
    under = [(f"{one.mm:.1f}", one.words) for one in plan.under]
    kinds: dict[str, int] = {}
    for risk in plan.at_risk:
        kinds[risk.kind] = kinds.get(risk.kind, 0) + 1
    itself = [(one.topic, one.words) for one in plan.itself]
    steps = [(str(k), one.topic, f"{one.words} [{one.source}]") for k, one in enumerate(plan.steps, 1)]
    tables = (
        _table("Careful: the part itself", ("What", "Mind"), itself),
        _table("Joints, heat runs away fastest first", ("Rank", "Pin", "K/W", "W", "Needs", "Why"), pins),
        _table("Order of work", ("From", "Pins"), order),
        _table("Shield or take out", ("Part", "What", "Gap, mm", "Do"), shield),
        _table("Under it: no scraping, no levering", ("mm", "Copper"), under),
        _table("At risk afterwards", ("Kind", "Sites"), [(kind, str(n)) for kind, n in sorted(kinds.items())]),
        _table("Steps", ("No.", "Step", "Do and mind"), steps),
    )
    bench = plan.bench
    rests = (
        f"room {bench.room_c:g}, tip {bench.tip_c:g}, preheat {bench.preheat_c:g} degC; joint worked {bench.above_k:g} K above {bench.liquidus_c:g} degC",
        f"small tip {bench.small_tip_k_per_w:g} K/W, big tip {bench.big_tip_k_per_w:g} K/W, air {bench.film_w_m2k:g} W/m2K a face",
        f"a joint keeps {100 * bench.kept:.0f} % of its heat until the next",
        f"the order meets {100 * plan.peak_share:.0f} % of the heat of going pin by pin at its worst moment",
        *plan.notes,
        *plan.rests_on,
    )
    return _plan(f"Taking out {plan.part}", tables, rests)


def removal_words(plan: RemovalPlan) -> str:
    """A removal plan in one sentence, for the story."""
    hard = sum(1 for one in plan.pins if one.need != "ordinary")
    worst = min(plan.pins, key=lambda one: one.rank)
    return (
        f"Plan for taking out {plan.part}: {len(plan.pins)} joints, {hard} of them need more than an ordinary tip; "
        f"heat runs away fastest at pin {worst.number} ({worst.k_per_w:.1f} K/W)."
    )


def wire_lists(laid: Laid) -> dict[str, Any]:
    """The figures of the first plan of patch wires as an entry keeps them: cuts, cutting list, ways and fixing dots, what to mind."""
    plan = laid.plans[0]
    cuts = [(f"{one.x_mm:.2f}, {one.y_mm:.2f}", layer_words(one.side), one.words) for one in laid.cuts]
    wires = [_wire(number, wire) for number, wire in enumerate(plan.wires, 1)]
    mind = [*plan.notes, *(note for wire in plan.wires for note in (wire.insulation, *wire.notes) if note)]
    names = ("No.", "From", "To", "Wire", "Cut to, mm", "Way, mm", "Fix at, mm")
    tables = (
        _table("Tracks to cut first", ("At, mm", "Side", "Where"), cuts),
        _table(f"Cutting list ({STRIP_MM:g} mm bared at each end)", names, wires),
        _table(
            "Gauge and resistance", ("No.", "Why"), [(str(k), one.gauge_reason) for k, one in enumerate(plan.wires, 1)]
        ),
        _table("Mind", ("What",), [(one,) for one in dict.fromkeys((*mind, *plan.cautions))]),
        _table(
            "Rules of laying and joining",
            ("Of", "Rule"),
            [(one.topic, f"{one.words} [{one.source}]") for one in plan.rules],
        ),
    )
    return _plan(f"Patch wires of net {plan.net_name}", tables, WIRE_ASSUMED)


def wire_words(laid: Laid) -> str:
    """The first plan of patch wires in one sentence, for the story."""
    plan = laid.plans[0]
    total = sum(wire.cut_mm for wire in plan.wires)
    cuts = f"{len(laid.cuts)} cuts and " if laid.cuts else ""
    done = "restores the net" if plan.restores else "does not restore the net"
    return f"Plan for net {plan.net_name}: {cuts}{len(plan.wires)} patch wire(s), {total:.0f} mm in all; it {done}."


def supply_lists(plan: SupplyPlan) -> dict[str, Any]:
    """The figures of the voltage-drop method as an entry keeps them: supply, clips, drops along both nets, what warms, what to mind."""
    setting = (
        ("Open voltage", f"{plan.open_v:g} V at most"),
        ("Current limit", plan.limit.words),
        ("Clips", plan.feed_words),
        ("Between the clips", f"{plan.expected_v * 1e3:.1f} mV"),
        ("Meter's last digit", f"{plan.step_mv:g} mV, {plan.mm_per_step:.2g} mm of track"),
        ("Likeliest place so far", plan.place),
    )
    drops = [
        (one.net, one.words, f"{one.drop_mv:.2f}", "" if one.on_the_way else "at the short or beyond it")
        for one in plan.drops
    ]
    noted = [f"Note each of {n}: {w}" for n, w in zip((plan.net_a, plan.net_b), plan.note_words, strict=True)]
    tables = (
        _table("Supply and clips", ("What", "Setting"), setting),
        _table("Drops to expect", ("Net", "Moving tip at", "mV", "Where"), drops),
        _table("What to do", ("What",), [(one,) for one in (*plan.words, *noted)]),
        _table("Mind", ("What",), [(one,) for one in dict.fromkeys(plan.cautions)]),
    )
    return _plan(f"A short between {plan.net_a} and {plan.net_b}, with a supply", tables, plan.assumed)


def supply_words(plan: SupplyPlan) -> str:
    """The voltage-drop method in one sentence, for the story."""
    return (
        f"Plan for the short between {plan.net_a} and {plan.net_b}: {plan.open_v:g} V open at most, {plan.limit.limit_a:g} A, "
        f"clips at {plan.feed[0]} and {plan.feed[1]}; likeliest place {plan.place}."
    )


def _wire(number: int, wire: Wire) -> tuple[str, ...]:
    return (
        str(number), wire.a.words(), wire.b.words(), f"{wire.gauge.awg} AWG, insulated", f"{wire.cut_mm:.0f}",
        _spots(wire.path[1:-1]) or "straight", _spots(wire.dots) or "-",
    )  # fmt: skip


def _spots(path: Iterable[tuple[float, float]]) -> str:
    return "; ".join(f"{x:.1f}, {y:.1f}" for x, y in path)


def _rows_of(order: Sequence[str]) -> list[Sequence[str]]:
    return [order[k : k + IN_A_ROW] for k in range(0, len(order), IN_A_ROW)]


def _table(title: str, names: Sequence[str], rows: Sequence[Sequence[str]]) -> dict[str, Any]:
    return {"title": title, "names": list(names), "rows": [[cell[:MOST_LETTERS] for cell in row] for row in rows]}


def _plan(title: str, tables: Sequence[dict[str, Any]], assumed: Sequence[str]) -> dict[str, Any]:
    rests = [one[:MOST_LETTERS] for one in assumed[:MOST_LINES]]
    return {"what": LISTS, "title": title, "tables": [one for one in tables if one["rows"]], "assumed": rests}
