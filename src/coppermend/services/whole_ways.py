"""What is left where looks tell little: tests, ROMs to read out, the rest of the round, parts to reseat, the likeliest unit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coppermend.core.belief.suspects.posterior import State
from coppermend.core.memory.derive import is_rom
from coppermend.core.planning.whole import COPPER_WORK, NOT_WORTH, REST, TIMES, Named, binary_bits, content_chance
from coppermend.services.bench import plan_of
from coppermend.services.copperfirst import units_inside
from coppermend.services.whole_belief import last_repair, weighed
from coppermend.services.whole_mends import named_unit
from coppermend.services.whole_view import WORKS, WholeView

CURED = 0.6
"""How often pressing a part out and in again cures a bad contact in it (an assumption)."""


def tests_left(view: WholeView) -> tuple[str, ...]:
    """What is still to be tested since the last repair before it works for good."""
    since = last_repair(view.binding.state)
    done = {one.kind for one in view.binding.state.notes if one.at > since}
    return tuple(one for one in ("memory",) if one not in done and view.machine.diagnostics)


def start_and_fail(view: WholeView) -> str:
    """The screen of a machine that starts and fails at something: the last one of its file, which has no conditions."""
    last = view.machine.screens[-1] if view.machine.screens else None
    bare = last is not None and not (last.still or last.moving or last.right or last.not_right)
    return last.name if last is not None and bare and last.name != WORKS else ""


def ways_left(view: WholeView, rest: State, look_gain: float) -> tuple[str, ...]:
    """What of ``GO_ON`` was not tried since the last repair, what finds a fault with most chance a second first; while looks tell something
    (``look_gain``, bits a minute), only what tells more than they do."""
    state, costs = view.binding.state, view.binding.costs
    since = last_repair(state)
    done = {one.kind for one in state.notes if one.at > since}
    content, p = content_chance(rest), rest.units()
    switch = 2 * costs.power_s if state.power_on else 0.0
    rows = [] if "memory" in done else [("memory", 0.5 * content, TIMES.memory_test_s)]
    if roms := _unread_roms(view):
        rows.append(("rom", 0.5 * content / len(roms), TIMES.rom_read_s + switch))
    if view.kind in (*COPPER_WORK, REST):
        plan = plan_of(view.binding)
        inside = units_inside(rest, frozenset(plan.provable))
        rows.append(("round", 1.0 - float(np.prod(1.0 - np.minimum(p[inside], 1.0))), plan.seconds + switch))
    if part := unseated(view):
        rows.append(("reseat", CURED * _loose(view, rest, part), costs.reseat_s + switch))
    likeliest = likely(view)
    if likeliest is not None:
        beep = likeliest.act == "wire"
        seconds = 10.0 if beep else likeliest.seconds + (TIMES.ask_s if likeliest.consent else 0.0)
        rows.append(("likeliest", likeliest.p, seconds + switch))
    if look_gain >= NOT_WORTH:
        rows = [row for row in rows if 60.0 * binary_bits(row[1]) / max(row[2], 1.0) > look_gain]
    rows.sort(key=lambda row: -row[1] / max(row[2], 1.0))
    return tuple(name for name, _, _ in rows)


def rom_gain(view: WholeView, rest: State, units: Sequence[str]) -> float:
    """Bits a minute of reading the next ROM out: whether what it holds is what is wrong. Nothing while something else is named."""
    left = _unread_roms(view)
    if units or not left:
        return 0.0
    p = content_chance(rest) / len(left)
    off = 2 * view.binding.costs.power_s if view.binding.state.power_on else view.binding.costs.power_s
    return 60.0 * binary_bits(p) / (TIMES.rom_read_s + off)


def _loose(view: WholeView, rest: State, part: str) -> float:
    """The chance that some contact or leg of a part is open."""
    made, p = rest.field, rest.units()
    mine = {
        int(made.unit_of[k])
        for k, one in enumerate(made.causes)
        if any(s.partition("@")[0] in ("contact", "leg") and s.partition("@")[2].rpartition(".")[0] == part for s in one.sites)
    }  # fmt: skip
    return 1.0 - float(np.prod([1.0 - min(float(p[k]), 1.0) for k in mine]))


def likely(view: WholeView) -> Named | None:
    """The likeliest unit that was not replaced yet, though it is not beyond doubt."""
    if view.made is None or view.session is None:
        return None
    state = weighed(view.binding, view.made, view.found)
    p, tried = state.units(), _tried_units(view)
    for k in p.argsort()[::-1][:8].tolist():
        unit = state.field.units[int(k)]
        one = named_unit(view, view.made, unit, float(p[k])) if unit not in tried and float(p[k]) > 0.02 else None
        if one is not None:
            return one
    return None


def _tried_units(view: WholeView) -> set[str]:
    """Parts that were put in for good already."""
    return {f"part {one.part}" for one in view.binding.state.acts if one.kind in ("swap", "fit") and not one.trial}


def _roms(view: WholeView) -> list[str]:
    """ROMs in sockets: they can be read out."""
    made = view.made
    states = {ref: str(state) for ref, state in view.binding.graph.part_states}
    rows = made.circuit.parts if made is not None else ()
    return [one.ref for one in rows if is_rom(one) and states.get(one.ref) == "socketed"]


def _unread_roms(view: WholeView) -> list[str]:
    """Those of them that were not read out yet; the ones that were put in new come last."""
    read = {one.words.partition(" ")[0] for one in view.binding.state.notes if one.kind == "rom"}
    fresh = _tried_units(view)
    return sorted((one for one in _roms(view) if one not in read), key=lambda one: f"part {one}" in fresh)


def unread_rom(view: WholeView) -> str:
    """The next ROM to read out, "" none."""
    return next(iter(_unread_roms(view)), "")


def unseated(view: WholeView) -> str:
    """The next part in a socket that was not reseated yet, "" none."""
    seated = {one.part for one in view.binding.state.acts if one.kind in ("reseat", "swap", "clean")}
    states = {ref: str(state) for ref, state in view.binding.graph.part_states}
    return next((ref for ref, how in sorted(states.items()) if how == "socketed" and ref not in seated), "")
