"""The next step of a case, chosen among everything that a bench does: copper, gate, power, looks, tests, mending, asking the owner.

One function (``whole_for_case``) answers for the command line, the page and the practice patients: what it names is computed from the log alone.
What was named in the last session with power on stays on the list until it is mended: a repair makes the readings that named it worthless, not the finding.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from coppermend.core.circuit.machine import MachineModel
from coppermend.core.findings import Refusal
from coppermend.core.planning.model import Check, NextStep
from coppermend.core.planning.suspects_next import SuspectStep, ranked_steps
from coppermend.core.planning.whole import (
    GO_ON_BELOW,
    TIMES,
    Named,
    Situation,
    chosen,
    more_wrong,
    names_of,
    naming_bits,
    sparing,
    tells,
)
from coppermend.devices.book import DeviceBook
from coppermend.services.bench import next_for_case
from coppermend.services.bind import bind
from coppermend.services.copperfirst import power_first
from coppermend.services.map_doubt import map_first
from coppermend.services.powered import PoweredBoard
from coppermend.services.prepared import start_can_tell
from coppermend.services.rails import gate_of, rails_for_case
from coppermend.services.suspects import bench_now, evidence_of
from coppermend.services.whole_belief import (
    AGAIN_OFF,
    board,
    by_tests,
    first_repair,
    looked_on,
    not_worn_out,
    screen_since_repair,
    session_then,
    weighed,
    wired,
)
from coppermend.services.whole_copper import copper_now, kept_with_copper, pair_first, pairs_before_power, rails_apart
from coppermend.services.whole_mends import mended, named_unit, read_since
from coppermend.services.whole_view import WORKS, WholeStep, WholeView
from coppermend.services.whole_ways import rom_gain, start_and_fail, tests_left, ways_left
from coppermend.services.whole_words import worded
from coppermend.services.workshop import Workshop


def whole_for_case(
    workshop: Workshop,
    case: str,
    book: DeviceBook,
    machine: MachineModel | None = None,
    without: Collection[str] = (),
    made: PoweredBoard | None = None,
) -> WholeStep:
    """The step to take now in a case, whatever kind of work it is.

    ``machine``: what the machine's own file says; ``without``: kinds of step that the bench lacks the means for. Before the first power-up it is the copper's
    own next step and costs no more; the board under power is reckoned only once something was seen. ``made``: that board, where somebody has it already.
    """
    binding = bind(workshop, case)
    copper, kind = copper_now(binding, next_for_case(workshop, case))
    view = WholeView(workshop, case, binding, copper, kind, book, machine or MachineModel(), frozenset(without), made)
    try:
        now = _situation(view)
    except Refusal as err:
        if err.finding.code != "EXP-011":
            raise
        words = (f"Only the copper speaks: {err.finding.words}",)
        return WholeStep("copper", copper.words, copper.reason, copper.seconds, copper=copper, notes=words)
    return worded(view, now, chosen(now))


def next_of_all(
    workshop: Workshop, case: str, book: DeviceBook, machine: MachineModel | None = None, without: Collection[str] = ()
) -> NextStep:
    """``whole_for_case`` as a next step, which is what the command line and the page show: kind of the copper's own steps, gate, power, done; powered (a look,
    a wave, a rail), memory, rom, short, mend, ask, other hands."""
    return as_next(whole_for_case(workshop, case, book, machine, without))


def as_next(step: WholeStep) -> NextStep:
    """The step in the shape that every next step has."""
    if step.kind == "copper" and step.copper is not None:
        return replace(step.copper, notes=(*step.copper.notes, *step.notes))
    if step.kind in ("gate", "power", "done") and step.copper is not None and step.copper.kind == step.kind:
        return step.copper
    known = tuple(f"Named: {one.unit} ({100 * one.p:.0f} %)." for one in step.names)
    notes = (*known, *step.notes, *((step.caution,) if step.caution else ()))
    gain = step.look.step.gain_bits if step.look is not None else 0.0
    kind = {"look": "powered", "check": "powered"}.get(step.kind, step.kind)
    return NextStep(kind, step.words, step.why, step.seconds, gain, notes=notes)


def _situation(view: WholeView) -> Situation:
    """Everything the choice rests on."""
    state, gate = view.binding.state, gate_of(view.binding)
    shorted = (
        next((one.net for one in rails_for_case(view.workshop, view.case) if one.low), "")
        if not gate.overridden
        else ""
    )
    ups = state.power_ups
    now = Situation(view.kind, shorted=shorted, gate_open=gate.open, powered=state.power_on)
    bad_supply = next((one.words for one in gate.items if one.item == "supply" and one.danger), "")
    if bad_supply:
        now = replace(now, named=(Named("the supply", 1.0, "supply", TIMES.supply_s),))
    if shorted:
        return now
    if not ups:
        return replace(now, power_first=_power_first_why(view))
    cut = first_repair(state)
    seen = screen_since_repair(state, view.machine)
    tests = tests_left(view) if seen in (WORKS, start_and_fail(view)) else ()
    now = replace(now, seen=seen, tests=tests)
    if seen == WORKS:
        return now
    return _with_belief(view, now, cut)


def _power_first_why(view: WholeView) -> str:
    """Why a start is seen before the round is read. Only where a start can be trusted to tell something (intake: display and cables known good, nothing
    plugged in that need not be), the map is no question, nothing reads open, and rails that belong apart do."""
    step = view.copper
    plain = view.kind in ("check", "isolation") and step.span is None and step.check is not None
    if not plain or not start_can_tell(view.binding.state) or map_first(view.binding) is not None:
        return ""
    apart, why = kept_with_copper(view.binding, "power first", lambda: _weighed_first(view))
    if apart:
        view.copper, view.kind = pair_first(step, apart), "isolation"
    return why


def _weighed_first(view: WholeView) -> tuple[tuple[Check, ...], str]:
    """The pairs of rails to read first; without any, why a start comes before the round."""
    if apart := rails_apart(view.binding):
        return apart, ""
    made = board(view, view.binding)
    evidence = evidence_of(view.workshop, view.case, view.binding, made)
    pairs = sum(one.seconds for one in pairs_before_power(view.binding))
    return (), power_first(view.binding, weighed(view.binding, made, evidence.found), pairs)


def _with_belief(view: WholeView, now: Situation, cut: int) -> Situation:
    """The names of the last session and, while its readings speak, the looks that tell most."""
    session = session_then(view, cut)
    made, view.session = board(view, session), session
    evidence = evidence_of(view.workshop, view.case, session, made)
    view.found = (
        *evidence.found,
        *wired(session, made),
        *read_since(view, session, made, cut),
    )
    state = weighed(view.binding, made, view.found)
    names, rest = names_of(state)
    tested = [one for one in by_tests(view.found) if one[0] not in {unit for unit, _ in names}]
    names = (*names, *tested)
    units = [unit for unit, _ in names]
    bench, stop, _ = bench_now(session, made, evidence, view.without)
    found = tuple(one for one in (named_unit(view, made, unit, p) for unit, p in names) if one is not None)
    stands = {one.unit: mended(view, made, one.unit, cut) for one in found}
    left = tuple(one for one in found if stands[one.unit] == "")
    unproven = tuple(one.unit for one in found if stands[one.unit] == "unproven")
    looks: tuple[SuspectStep, ...] = ()
    if now.seen:
        on = view.binding.state.power_on
        since = view.binding.state.power_ups[-1].at
        ready = any(one.kind == "level" and one.at > since for one in view.binding.state.readings)
        bench = replace(bench, powered=on, seen_start=True, mended=0.0, scope_ready=on and ready)
        steps = not_worn_out(view, made, ranked_steps(rest, bench, view.binding.costs, 64))
        looks = sparing([one for one in steps if one.kind not in view.without], on)
    elif session is not view.binding and not view.binding.state.power_on and not left and not unproven:
        bench = replace(bench, powered=False, seen_start=True, mended=0.0)
        steps = not_worn_out(view, made, ranked_steps(rest, bench, view.binding.costs, 64), AGAIN_OFF)
        looks = tuple(one for one in steps if one.kind in ("check", "apart") and one.kind not in view.without)
    dull = bool(now.seen) and not left and not (looks and tells(looks[0], GO_ON_BELOW))
    more = 0.0 if tested else more_wrong(state, units) if units else 1.0
    return replace(
        now,
        stop=stop,
        named=(*now.named, *left),
        more=more,
        more_bits=naming_bits(rest, more),
        looks=looks,
        looked_on=looked_on(view, view.found, units),
        ways=ways_left(view, rest, looks[0].gain_per_minute if looks else 0.0) if dull else (),
        unproven=unproven,
        rom_per_minute=rom_gain(view, rest, units) if now.seen else 0.0,
    )
