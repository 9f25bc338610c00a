"""The next step of a case, chosen among everything that a bench does: copper, gate, power, looks, tests, mending, asking the owner.

One function (``whole_for_case``) answers for the command line, the page and the practice patients: what it names is computed from the log alone.
What was named in the last session with power on stays on the list until it is mended: a repair makes the readings that named it worthless, not the finding.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar, cast

import numpy as np

from coppermend.core.belief.suspects.causes import Cause
from coppermend.core.belief.suspects.posterior import Beep, Observation, State, Witness, initial, observed, path_causes
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.log.consent import Consent, consent_of
from coppermend.core.log.fold import fold, is_repair
from coppermend.core.log.model import agreed_order
from coppermend.core.log.state import Act, CaseState, plain
from coppermend.core.memory.derive import is_rom
from coppermend.core.planning.model import Check, NextStep
from coppermend.core.planning.suspects_next import SuspectStep, ranked_steps
from coppermend.core.planning.whole import (
    COPPER_WORK,
    GO_ON_BELOW,
    NOT_WORTH,
    REST,
    TIMES,
    Choice,
    Named,
    Situation,
    binary_bits,
    chosen,
    content_chance,
    hand_act,
    more_wrong,
    names_of,
    tells,
)
from coppermend.devices.book import DeviceBook
from coppermend.services.bench import next_for_case, next_without_pairs, plan_of, posterior_of, step_as_dict
from coppermend.services.bind import Binding, bind, bind_state
from coppermend.services.copperfirst import power_first, units_inside
from coppermend.services.map_doubt import map_first
from coppermend.services.newwire import new_wire_step
from coppermend.services.powered import PoweredBoard
from coppermend.services.prepared import start_can_tell
from coppermend.services.rails import board_rails, gate_of, rails_for_case
from coppermend.services.suspects import REPAIRS, Proposed, bench_now, board_of_case, evidence_of, proposed
from coppermend.services.workshop import Workshop

WORKS = "works"
MOVES = ("reseat", "clean", "swap", "fit", "press")
"""Work on a part after which its pins are read again."""
CURED = 0.6
"""How often pressing a part out and in again cures a bad contact in it (an assumption)."""


@dataclass(frozen=True, slots=True)
class WholeStep:
    """The step to take. ``kind`` as ``Choice.kind``; ``copper`` the copper's own step, ``look`` a step under power with its points, ``named`` what is
    mended or asked about, ``check`` points to read first, ``rail`` that reads shorted, ``item`` of the gate, ``test`` or part meant."""

    kind: str
    words: str
    why: str
    seconds: float
    copper: NextStep | None = None
    look: Proposed | None = None
    named: Named | None = None
    check: tuple[str, str] | None = None
    sites: tuple[str, ...] = ()
    rail: str = ""
    item: str = ""
    part: str = ""
    caution: str = ""
    names: tuple[Named, ...] = ()
    more: float = 0.0
    notes: tuple[str, ...] = ()
    healthy: bool = False
    """The machine starts as it should and passed its tests; what follows only proves more of the copper."""

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {
            "kind": self.kind,
            "words": self.words,
            "why": self.why,
            "seconds": round(self.seconds, 1),
            "copper": None if self.copper is None else step_as_dict(self.copper),
            "look": None if self.look is None else self.look.as_dict(),
            "named": None if self.named is None else plain(self.named),
            "check": list(self.check) if self.check else None,
            "sites": list(self.sites),
            "rail": self.rail,
            "item": self.item,
            "part": self.part,
            "caution": self.caution,
            "names": [plain(one) for one in self.names],
            "more": round(self.more, 4),
            "notes": list(self.notes),
            "healthy": self.healthy,
        }


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
    copper, kind = _copper(binding, next_for_case(workshop, case))
    view = _View(workshop, case, binding, copper, kind, book, machine or MachineModel(), frozenset(without), made)
    return view.step()


T = TypeVar("T")


def _kept_with_copper(binding: Binding, name: str, make: Callable[[], T]) -> T:
    """What holds until the copper, the areas or what was read of it change: not planned anew for every entry at the gate."""
    state = binding.state
    read = tuple(one.entry for one in state.readings if one.kind in ("closed", "open"))
    key = (name, id(binding.graph), binding.areas, hash(read), len(state.acts), len(state.wires))
    if key not in binding.kept:
        binding.kept[key] = (binding.graph, make())
    return cast(T, binding.kept[key][1])


def pairs_before_power(binding: Binding) -> tuple[Check, ...]:
    """Of the pairs of nets that belong apart those that are read before the first power-up: one of the two is a supply rail. The others wait until a start was
    seen: a bridge between two signals shows under power, and their list is long and finds little."""
    if binding.state.power_ups:
        return ()
    rails = set(board_rails(binding))
    return tuple(one for one in plan_of(binding).isolation if {one.net_a, one.net_b} & rails)


def rails_apart(binding: Binding) -> tuple[Check, ...]:
    """Of the pairs that belong apart those of two rails, ground among them, that were not read yet: what no reading of one rail to ground shows."""
    rails = set(board_rails(binding))
    return tuple(one for one in pairs_before_power(binding) if {one.net_a, one.net_b} <= rails)


def _read_before(binding: Binding, step: NextStep) -> bool:
    """Whether a check of the round asks again for a pin that was read before its part was worked on."""
    if step.check is None:
        return False
    worked = {one.part: one.at for one in binding.state.acts if one.part and one.kind in MOVES}
    pins = [binding.graph.point(one) for one in (step.check.point_a, step.check.point_b)]
    return any(
        (p.part, p.pin) == (one.part, one.pin) and reading.at < worked[p.part]
        for p in pins
        if p.part in worked
        for reading in binding.state.readings
        for one in reading.points
    )


def _pair_first(step: NextStep, rows: Sequence[Check]) -> NextStep:
    """The first of the pairs as a step."""
    one = rows[0]
    words = f"Touch {one.point_a} ({one.net_a}) and {one.point_b} ({one.net_b}): they belong apart."
    reason = f"{one.reason}; a bridge to a supply rail can do harm, so these pairs are read before power"
    seconds = sum(row.seconds for row in rows[1:])
    return replace(
        step, words=words, reason=reason, seconds=one.seconds, check=one, left=len(rows) - 1, left_seconds=seconds
    )


def _copper(binding: Binding, step: NextStep) -> tuple[NextStep, str]:
    """The copper's step, and its kind for the choice. After a start was seen the proof of what was mended comes first, and what else a mend has opened
    again of the round is the rest."""
    ups = binding.state.power_ups
    if ups and step.kind == "area":
        return step, ""
    if step.kind == "isolation":
        first = pairs_before_power(binding)
        if first:
            return _pair_first(step, first), step.kind
        after = next_without_pairs(binding)
        return (after, after.kind) if after.kind in COPPER_WORK else (step, REST)
    plain = step.kind == "check" and step.span is None and step.check is not None
    if not plain or new_wire_step(binding, posterior_of(binding)) is not None:
        return step, step.kind
    if not ups and not _read_before(binding, step):
        return step, step.kind
    begun = ups[-1].at if ups else -1
    since = {one.entry for one in binding.state.acts if one.at > begun}
    sites = {site for entry, mended in binding.mended if entry in since for site in mended}
    posterior = posterior_of(binding)
    doubtful = {one for one in sites if one in posterior.copper.site and posterior.p(one) >= binding.basis.proven_below}
    check = next((one for one in plan_of(binding).checks if doubtful & set(one.sites)), None) if doubtful else None
    if check is None:
        return step, REST
    words = f"Touch {check.point_a} and {check.point_b}: it shows whether what was mended holds."
    reason = "The proof of a mend comes before power."
    return replace(step, words=words, reason=reason, seconds=check.seconds, check=check), step.kind


def next_of_all(
    workshop: Workshop, case: str, book: DeviceBook, machine: MachineModel | None = None, without: Collection[str] = ()
) -> NextStep:
    """``whole_for_case`` as a next step, which is what the command line and the page show: kind of the copper's own steps, gate, power, done; powered (a look,
    a wave, a rail), memory, rom, short, mend, ask, other hands."""
    return as_next(whole_for_case(workshop, case, book, machine, without))


def as_next(step: WholeStep) -> NextStep:
    """The step in the shape that every next step has."""
    if step.kind == "copper" and step.copper is not None:
        return step.copper
    if step.kind in ("gate", "power", "done") and step.copper is not None and step.copper.kind == step.kind:
        return step.copper
    known = tuple(f"Named: {one.unit} ({100 * one.p:.0f} %)." for one in step.names)
    notes = (*known, *step.notes, *((step.caution,) if step.caution else ()))
    gain = step.look.step.gain_bits if step.look is not None else 0.0
    kind = {"look": "powered", "check": "powered"}.get(step.kind, step.kind)
    return NextStep(kind, step.words, step.why, step.seconds, gain, notes=notes)


@dataclass(slots=True)
class _View:
    """One case looked at as a whole."""

    workshop: Workshop
    case: str
    binding: Binding
    copper: NextStep
    kind: str
    book: DeviceBook
    machine: MachineModel
    without: frozenset[str]
    made: PoweredBoard | None = None
    session: Binding | None = None
    found: tuple[Observation, ...] = ()

    def step(self) -> WholeStep:
        """The choice in words and with what it needs."""
        now = self.situation()
        choice = chosen(now)
        return self._worded(now, choice)

    def situation(self) -> Situation:
        """Everything the choice rests on."""
        state, gate = self.binding.state, gate_of(self.binding)
        shorted = (
            next((one.net for one in rails_for_case(self.workshop, self.case) if one.low), "")
            if not gate.overridden
            else ""
        )
        ups = state.power_ups
        now = Situation(self.kind, shorted=shorted, gate_open=gate.open, powered=state.power_on)
        bad_supply = next((one.words for one in gate.items if one.item == "supply" and one.danger), "")
        if bad_supply:
            now = replace(now, named=(Named("the supply", 1.0, "supply", TIMES.supply_s),))
        if shorted:
            return now
        if not ups:
            return replace(now, power_first=self._power_first())
        cut = _cut(state)
        seen = _screen(state, self.machine)
        tests = self._tests() if seen in (WORKS, self._fails()) else ()
        now = replace(now, seen=seen, tests=tests)
        if seen == WORKS:
            return now
        return self._with_belief(now, cut)

    def _power_first(self) -> str:
        """Why a start is seen before the round is read. Only where a start can be trusted to tell something (intake: display and cables known good, nothing
        plugged in that need not be), the map is no question, nothing reads open, and rails that belong apart do."""
        step = self.copper
        plain = self.kind in ("check", "isolation") and step.span is None and step.check is not None
        if not plain or not start_can_tell(self.binding.state) or map_first(self.binding) is not None:
            return ""
        apart, why = _kept_with_copper(self.binding, "power first", self._weighed_first)
        if apart:
            self.copper, self.kind = _pair_first(step, apart), "isolation"
        return why

    def _weighed_first(self) -> tuple[tuple[Check, ...], str]:
        """The pairs of rails to read first; without any, why a start comes before the round."""
        if apart := rails_apart(self.binding):
            return apart, ""
        made = self._board(self.binding)
        evidence = evidence_of(self.workshop, self.case, self.binding, made)
        pairs = sum(one.seconds for one in pairs_before_power(self.binding))
        return (), power_first(self.binding, _weighed(self.binding, made, evidence.found), pairs)

    def _board(self, session: Binding) -> PoweredBoard:
        """The board under power, on the copper as built."""
        self.made = self.made or board_of_case(
            replace(session, graph=session.base), self.book, self.machine, self.workshop.fields
        )
        return self.made

    def _with_belief(self, now: Situation, cut: int) -> Situation:
        """The names of the last session and, while its readings speak, the looks that tell most."""
        session = self._session(cut)
        made, self.session = self._board(session), session
        evidence = evidence_of(self.workshop, self.case, session, made)
        self.found = (*evidence.found, *_wired(session, made))
        state = _weighed(self.binding, made, self.found)
        names, rest = names_of(state)
        tested = [one for one in _by_tests(self.found) if one[0] not in {unit for unit, _ in names}]
        names = (*names, *tested)
        units = [unit for unit, _ in names]
        bench, stop, _ = bench_now(session, made, evidence, self.without)
        found = tuple(one for one in (self._named(made, unit, p) for unit, p in names) if one is not None)
        stands = {one.unit: self._mended(made, one.unit, cut) for one in found}
        left = tuple(one for one in found if stands[one.unit] == "")
        unproven = tuple(one.unit for one in found if stands[one.unit] == "unproven")
        looks: tuple[SuspectStep, ...] = ()
        if now.seen:
            on = self.binding.state.power_on
            since = self.binding.state.power_ups[-1].at
            ready = any(one.kind == "level" and one.at > since for one in self.binding.state.readings)
            bench = replace(bench, powered=on, seen_start=True, mended=0.0, scope_ready=on and ready)
            looks = tuple(
                one for one in ranked_steps(rest, bench, self.binding.costs, 64) if one.kind not in self.without
            )
        dull = bool(now.seen) and not left and not (looks and tells(looks[0], GO_ON_BELOW))
        more = 0.0 if tested else more_wrong(state, units) if units else 1.0
        return replace(
            now,
            stop=stop,
            named=(*now.named, *left),
            more=more,
            looks=looks,
            looked_on=self._looked_on(self.found, units),
            ways=self._ways(rest, looks[0].gain_per_minute if looks else 0.0) if dull else (),
            unproven=unproven,
            rom_per_minute=self._rom_gain(rest, units) if now.seen else 0.0,
        )

    def _rom_gain(self, rest: State, units: Sequence[str]) -> float:
        """Bits a minute of reading the next ROM out: whether what it holds is what is wrong. Nothing while something else is named."""
        left = self._unread_roms()
        if units or not left:
            return 0.0
        p = content_chance(rest) / len(left)
        off = 2 * self.binding.costs.power_s if self.binding.state.power_on else self.binding.costs.power_s
        return 60.0 * binary_bits(p) / (TIMES.rom_read_s + off)

    # ---- the session ----
    def _session(self, cut: int) -> Binding:
        """The case as it stood at entry number ``cut``, on the copper as it was then."""
        entries = list(agreed_order(self.workshop.store.entries(self.case)))
        if cut >= len(entries):
            return self.binding
        key = ("session", entries[cut].id, len(self.binding.state.undone))
        if key not in self.binding.kept:
            gone = set(self.binding.state.undone)
            kept = [one for one in entries[:cut] if one.id not in gone and one.kind != "undo"]
            self.binding.kept[key] = bind_state(
                fold(kept), self.binding.board, self.binding.base, "", self.binding.kept
            )
        return cast(Binding, self.binding.kept[key])

    def _looked_on(self, found: Sequence[Observation], units: Sequence[str]) -> int:
        """How many observations were made since the first name stood."""
        if not units:
            return 0
        marks = self.binding.kept.setdefault(("first name", self._mark()), len(found))
        return max(0, len(found) - int(marks))

    def _mark(self) -> str:
        ups = self.binding.state.power_ups
        return ups[-1].entry if ups else ""

    # ---- what is named ----
    def _named(self, made: PoweredBoard, unit: str, p: float) -> Named | None:
        """How a unit is mended."""
        cause = next((one for one in made.field.causes if one.unit == unit), None)
        if cause is None:
            return None
        owner = consent_of(self.binding.state.intake)
        if cause.kind == "part":
            return self._part(cause.part, unit, p, owner)
        if cause.kind == "rail":
            return Named(unit, p, "supply", TIMES.supply_s)
        if cause.kind == "short":
            return Named(unit, p, "clear", TIMES.clear_s)
        return Named(unit, p, "wire", self.binding.costs.patch_s)

    def _part(self, part: str, unit: str, p: float, owner: Consent) -> Named:
        states = {ref: str(state) for ref, state in self.binding.graph.part_states}
        row = self.made.circuit.by_ref.get(part) if self.made is not None else None
        if states.get(part) == "socketed" or (row is not None and row.socketed):
            return Named(unit, p, "swap", self.binding.costs.swap_s)
        chip = row is not None and row.role == "chip"
        seconds = TIMES.replace_chip_s if chip else TIMES.replace_small_s
        return Named(unit, p, "replace", seconds, "" if owner.allows("unsolder") else "unsolder")

    def _mended(self, made: PoweredBoard, unit: str, cut: int) -> str:
        """Whether work since the session has mended a unit, as far as the log tells: "" not, "unproven" a stretch that no reading crossed since, "mended"."""
        state = self.binding.state
        causes = [one for one in made.field.causes if one.unit == unit]
        acts = [one for one in state.acts if one.at >= cut and is_repair(one)]
        if causes[0].kind == "part":
            part = causes[0].part
            return "mended" if any(one.part == part and one.kind in ("swap", "fit") for one in acts) else ""
        if causes[0].kind == "rail":
            return "mended" if any(one.at >= cut and one.rail == causes[0].net for one in state.supply) else ""
        if causes[0].kind == "short":
            short = made.behaviour.shorts[int(causes[0].key[2])]
            both = {short.net_a, short.net_b}
            done = any(one.kind in ("clean", "solder") and both <= {p.net for p in one.points} for one in acts)
            return "mended" if done else ""
        return self._span_mended(made, causes, acts, cut)

    def _span_mended(self, made: PoweredBoard, causes: Sequence[Cause], acts: Sequence[Act], cut: int) -> str:
        """The same of a stretch of copper: the last work on it, and what was read across it since. One open reading is read again."""
        nets = {one.net for one in causes}
        worked = [one.at for one in self.binding.state.wires if one.at >= cut and one.a.net in nets]
        pins = {site.partition("@")[2] for one in causes for site in one.sites}
        loose = [site for one in causes for site in one.sites if site.partition("@")[0] in ("contact", "leg")]
        parts = {site.partition("@")[2].rpartition(".")[0] for site in loose}
        for one in acts:
            soldered = one.kind in ("solder", "fit", "swap") and any(f"{p.part}.{p.pin}" in pins for p in one.points)
            if soldered or (one.part in parts and one.kind in ("reseat", "clean", "swap", "fit")):
                worked.append(one.at)
        if not worked:
            return ""
        said = self._across(made, causes, max(worked))
        if "closed" in said or not all(self._ends_of(one) for one in causes):
            return "mended"
        return "unproven" if len(said) < 2 else ""

    def _across(self, made: PoweredBoard, causes: Sequence[Cause], since: int) -> list[str]:
        """What the readings across a stretch said since an entry."""
        wanted = {k for k, one in enumerate(made.field.causes) if one.unit == causes[0].unit}
        said = []
        for one in self.binding.state.readings:
            if one.at <= since or one.kind not in ("closed", "open") or len(one.points) != 2:
                continue
            a, b = (made.node_at(p.id) for p in one.points)
            if (
                a is not None
                and b is not None
                and a[0] == b[0]
                and wanted & set(path_causes(made.field, a[0], a[1], b[1]))
            ):
                said.append(one.kind)
        return said

    def _ends_of(self, cause: Cause) -> tuple[str, str] | None:
        """Points on either side of a stretch."""
        assert self.made is not None
        edge = int(cause.key[2])
        return self._ends(cause.net, *self.made.behaviour.trees[cause.net].edges[edge], edge)

    # ---- tests and ways to go on ----
    def _tests(self) -> tuple[str, ...]:
        """What is still to be tested since the last repair before it works for good."""
        since = _last_repair(self.binding.state)
        done = {one.kind for one in self.binding.state.notes if one.at > since}
        return tuple(one for one in ("memory",) if one not in done and self.machine.diagnostics)

    def _fails(self) -> str:
        """The screen of a machine that starts and fails at something: the last one of its file, which has no conditions."""
        last = self.machine.screens[-1] if self.machine.screens else None
        bare = last is not None and not (last.still or last.moving or last.right or last.not_right)
        return last.name if last is not None and bare and last.name != WORKS else ""

    def _ways(self, rest: State, look_gain: float) -> tuple[str, ...]:
        """What of ``GO_ON`` was not tried since the last repair, what finds a fault with most chance a second first; while looks tell something
        (``look_gain``, bits a minute), only what tells more than they do."""
        state, costs = self.binding.state, self.binding.costs
        since = _last_repair(state)
        done = {one.kind for one in state.notes if one.at > since}
        content, p = content_chance(rest), rest.units()
        switch = 2 * costs.power_s if state.power_on else 0.0
        rows = [] if "memory" in done else [("memory", 0.5 * content, TIMES.memory_test_s)]
        if roms := self._unread_roms():
            rows.append(("rom", 0.5 * content / len(roms), TIMES.rom_read_s + switch))
        if self.kind in (*COPPER_WORK, REST):
            plan = plan_of(self.binding)
            inside = units_inside(rest, frozenset(plan.provable))
            rows.append(("round", 1.0 - float(np.prod(1.0 - np.minimum(p[inside], 1.0))), plan.seconds + switch))
        if part := self._unseated():
            rows.append(("reseat", CURED * self._loose(rest, part), costs.reseat_s + switch))
        likeliest = self._likely()
        if likeliest is not None:
            beep = likeliest.act == "wire"
            seconds = 10.0 if beep else likeliest.seconds + (TIMES.ask_s if likeliest.consent else 0.0)
            rows.append(("likeliest", likeliest.p, seconds + switch))
        if look_gain >= NOT_WORTH:
            rows = [row for row in rows if 60.0 * binary_bits(row[1]) / max(row[2], 1.0) > look_gain]
        rows.sort(key=lambda row: -row[1] / max(row[2], 1.0))
        return tuple(name for name, _, _ in rows)

    def _loose(self, rest: State, part: str) -> float:
        """The chance that some contact or leg of a part is open."""
        made, p = rest.field, rest.units()
        mine = {
            int(made.unit_of[k])
            for k, one in enumerate(made.causes)
            if any(s.partition("@")[0] in ("contact", "leg") and s.partition("@")[2].rpartition(".")[0] == part for s in one.sites)
        }  # fmt: skip
        return 1.0 - float(np.prod([1.0 - min(float(p[k]), 1.0) for k in mine]))

    def _roms(self) -> list[str]:
        made = self.made
        states = {ref: str(state) for ref, state in self.binding.graph.part_states}
        rows = made.circuit.parts if made is not None else ()
        return [one.ref for one in rows if is_rom(one) and states.get(one.ref) == "socketed"]

    def _unread_roms(self) -> list[str]:
        read = {one.words.partition(" ")[0] for one in self.binding.state.notes if one.kind == "rom"}
        return [one for one in self._roms() if one not in read]

    def _unread_rom(self) -> str:
        return next(iter(self._unread_roms()), "")

    def _unseated(self) -> str:
        seated = {one.part for one in self.binding.state.acts if one.kind in ("reseat", "swap", "clean")}
        states = {ref: str(state) for ref, state in self.binding.graph.part_states}
        return next((ref for ref, how in sorted(states.items()) if how == "socketed" and ref not in seated), "")

    def _waiting(self) -> tuple[str, ...]:
        """What of the round waits until a start was seen."""
        waits = self.kind == REST or not self.binding.state.power_ups
        rows = (
            _kept_with_copper(self.binding, "pairs that wait", lambda: plan_of(self.binding).isolation) if waits else ()
        )
        if not rows:
            return ()
        minutes = sum(one.seconds for one in rows) / 60.0
        words = (
            f"{len(rows)} pairs of nets that belong apart wait until a start was seen ({minutes:.0f} min modelled; none of them is a supply rail). "
            "Where solder flowed between pins read them first: coppermend round CASE."
        )
        return (words,)

    # ---- words ----
    def _worded(self, now: Situation, choice: Choice) -> WholeStep:
        healthy = now.seen == WORKS and not now.tests and not now.shorted
        base = WholeStep(choice.kind, "", choice.why, 0.0, names=now.named, more=now.more, healthy=healthy)
        costs = self.binding.costs
        if choice.kind == "short":
            return replace(
                base,
                words=f"Find what shorts {now.shorted or 'the board'}: ohms by four wires, power off.",
                seconds=TIMES.ohms_s,
                rail=now.shorted,
            )
        if choice.kind in ("copper", "round"):
            return replace(
                base,
                kind="copper",
                words=self.copper.words,
                why=self.copper.reason or choice.why,
                seconds=self.copper.seconds,
                copper=self.copper,
            )
        if choice.kind == "gate":
            missing = gate_of(self.binding).missing
            asks = (*(f"{one.item}: {one.words}" for one in missing), *self._waiting())
            words = f"Before power: {missing[0].words}"
            return replace(base, words=words, item=missing[0].item, copper=self.copper, notes=asks)
        if choice.kind == "power":
            return replace(
                base,
                words="Put power on, look, listen, and note what is seen.",
                seconds=costs.power_s,
                copper=self.copper,
                notes=self._waiting(),
            )
        if choice.kind == "look" and self.made is not None:
            found = proposed(self.made, now.looks[choice.which], "")
            return replace(base, words=found.words, seconds=found.step.seconds, look=found, caution=found.caution)
        if choice.kind == "prove" and self.made is not None:
            cause = next(one for one in self.made.field.causes if one.unit == now.unproven[0])
            ends = self._ends_of(cause)
            assert ends is not None
            words = f"Power off; check continuity from {ends[0]} to {ends[1]}: closed proves the mend."
            seconds = costs.read_s + 2 * costs.move_s
            return replace(base, kind="check", words=words, seconds=seconds, check=ends, sites=cause.sites)
        if choice.kind in ("mend", "ask"):
            return self._mend(base, now.named[choice.which])
        if choice.kind == "test" or choice.kind == "memory":
            return replace(
                base,
                kind="memory",
                words="Test the whole memory from a good ROM (coppermend memory note).",
                seconds=TIMES.memory_test_s,
            )
        if choice.kind == "rom":
            part = self._unread_rom()
            return replace(
                base,
                words=f"Power off; take {part} out and compare what it reads with its list (coppermend rom note).",
                seconds=TIMES.rom_read_s,
                part=part,
            )
        if choice.kind == "reseat":
            part = self._unseated()
            return replace(
                base,
                words=f"Power off; press {part} out of its socket and in again.",
                seconds=costs.reseat_s,
                part=part,
            )
        if choice.kind == "likeliest":
            return self._likeliest(base)
        last = {
            "done": "It starts and its tests passed: protect the repair, test the other functions, hand it over.",
            "other hands": "Nothing is left to try within what the owner agreed to: put it before the owner, or into other hands.",
        }
        return replace(base, words=last.get(choice.kind, choice.why), copper=self.copper)

    def _likeliest(self, base: WholeStep) -> WholeStep:
        """Mend what is likeliest, though it is not beyond doubt."""
        one = self._likely()
        if one is None:
            return replace(
                base, kind="other hands", words="Whatever was likely has been mended: put it into other hands."
            )
        return self._mend(replace(base, kind="ask" if one.consent else "mend"), one)

    def _likely(self) -> Named | None:
        """The likeliest unit that was not replaced yet, though it is not beyond doubt."""
        if self.made is None or self.session is None:
            return None
        state = _weighed(self.binding, self.made, self.found)
        p, tried = state.units(), self._tried_units()
        for k in p.argsort()[::-1][:8].tolist():
            unit = state.field.units[int(k)]
            one = self._named(self.made, unit, float(p[k])) if unit not in tried and float(p[k]) > 0.02 else None
            if one is not None:
                return one
        return None

    def _tried_units(self) -> set[str]:
        return {f"part {one.part}" for one in self.binding.state.acts if one.kind in ("swap", "fit") and not one.trial}

    def _mend(self, base: WholeStep, one: Named) -> WholeStep:
        base = replace(base, named=one, seconds=one.seconds)
        if base.kind == "ask":
            return replace(
                base,
                words=f"Ask the owner: {one.unit} can only be mended by what cannot be undone ({one.consent or 'the price'}).",
                seconds=TIMES.ask_s,
            )
        part = one.unit.partition(" ")[2]
        if one.act == "supply":
            return replace(base, words="Take another supply and prove it alone.", item="supply")
        if one.act in ("swap", "replace"):
            return replace(base, words=f"Power off; put a good {part} in for good.", part=part, caution=_CAUTION)
        assert self.made is not None
        cause = next(c for c in self.made.field.causes if c.unit == one.unit)
        if one.act == "clear":
            short = self.made.behaviour.shorts[int(cause.key[2])]
            ends = [self._point(short.net_a, short.node_a), self._point(short.net_b, short.node_b)]
            return replace(
                base,
                words=f"Power off; take the solder from between {ends[0]} and {ends[1]}.",
                check=(ends[0], ends[1]),
                caution=_CAUTION,
            )
        return self._mend_span(base, one, cause.net, int(cause.key[2]), cause.sites)

    def _mend_span(self, base: WholeStep, one: Named, net: str, edge: int, sites: tuple[str, ...]) -> WholeStep:
        """Read across the span first; once that was open the copper's own advice, or the wire."""
        assert self.made is not None
        a, b = self.made.behaviour.trees[net].edges[edge]
        ends = self._ends(net, a, b, edge)
        if ends is not None and not self._read_since_up(net, a, b):
            words = (
                f"Power off; check continuity from {ends[0]} to {ends[1]}: what was seen under power says it is open."
            )
            return replace(
                base,
                kind="check",
                words=words,
                seconds=self.binding.costs.read_s + 2 * self.binding.costs.move_s,
                check=ends,
                sites=sites,
            )
        kinds = {site.partition("@")[0] for site in sites}
        pins = {site.partition("@")[2] for site in sites}
        if len(pins) == 1 and kinds <= {"joint", "contact", "leg"}:
            return self._by_hand(base, pins.pop(), kinds, sites)
        if self.kind in COPPER_WORK and self.kind != "isolation":
            return replace(
                base,
                kind="copper",
                words=self.copper.words,
                why=self.copper.reason,
                seconds=self.copper.seconds,
                copper=self.copper,
            )
        return replace(
            base,
            words=f"Bridge net {net} round {one.unit} by a wire (coppermend wire plan).",
            sites=sites,
            item=net,
            check=ends,
        )

    def _by_hand(self, base: WholeStep, pin: str, kinds: set[str], sites: tuple[str, ...]) -> WholeStep:
        """A break inside one pin: what was not tried since it was named, quick before slow."""
        part = pin.rpartition(".")[0]
        since = self.binding.state.power_ups[-1].at
        done = {
            "renew" if one.words == RENEWED else one.kind
            for one in self.binding.state.acts
            if one.at > since and (one.part == part or any(f"{p.part}.{p.pin}" == pin for p in one.points))
        }
        act = hand_act(kinds, done)
        words, seconds = {
            "reseat": (f"Power off; press {part} out of its socket and in again: {pin} does not connect.", self.binding.costs.reseat_s),
            "solder": (f"Power off; solder the joint of {pin} again.", TIMES.solder_s),
            "clean": (f"Power off; take {part} out, wipe the contact and the leg of {pin}, put it back.", TIMES.clean_s),
            "renew": (f"Power off; renew what connects {pin}: the socket's contact, the leg, the land.", TIMES.renew_pin_s),
        }[act]  # fmt: skip
        return replace(base, words=words, seconds=seconds, item=act, part=pin, sites=sites, caution=_CAUTION)

    def _point(self, net: str, node: int) -> str:
        assert self.made is not None
        points = self.made.trees[net].points.get(node, ())
        return points[0].id if points else ""

    def _ends(self, net: str, a: int, b: int, edge: int) -> tuple[str, str] | None:
        """A reachable point on either side of a span, the nearest ones."""
        assert self.made is not None
        tree = self.made.behaviour.trees[net]
        points = self.made.trees[net].points
        near: dict[int, list[int]] = {}
        for k, (x, y) in enumerate(tree.edges):
            if k != edge:
                near.setdefault(x, []).append(y)
                near.setdefault(y, []).append(x)
        ends = []
        for start in (a, b):
            queue, seen = [start], {start}
            for node in queue:
                here = [p for p in points.get(node, ()) if p.reachable]
                if here:
                    ends.append(here[0].id)
                    break
                fresh = [o for o in near.get(node, ()) if o not in seen]
                seen |= set(fresh)
                queue += fresh
        return (ends[0], ends[1]) if len(ends) == 2 else None

    def _read_since_up(self, net: str, a: int, b: int) -> bool:
        """Whether a reading that crosses the span was noted since the last power-up."""
        ups = self.binding.state.power_ups
        since = ups[-1].at if ups else -1
        made = self.made
        if made is None or self.session is None:
            return False
        entries = {
            one.entry for one in self.binding.state.readings if one.at > since and one.kind in ("closed", "open")
        }
        want = {
            k
            for k, one in enumerate(made.field.causes)
            if one.key[0] == "cut" and one.net == net and made.behaviour.trees[net].edges[int(one.key[2])] == (a, b)
        }
        return any(
            isinstance(one, Beep)
            and one.entry in entries
            and one.net == net
            and want & set(path_causes(made.field, net, one.node_a, one.node_b))
            for one in self.found
        )


_CAUTION = (
    "Power off and unplugged before anything goes out or in; mind the notch, and static. Hot solder, lead and flux fumes: your local rules first. "
    "Leave mains and picture tubes to people qualified for them."
)


def _last_repair(state: CaseState) -> int:
    acts = [one.at for one in state.acts if one.kind in REPAIRS and is_repair(one)]
    return max([*acts, *(one.at for one in state.wires)], default=-1)


def _cut(state: CaseState) -> int:
    """Number of the first entry that mended something since the last power-up; beyond all where there is none."""
    since = state.power_ups[-1].at if state.power_ups else -1
    acts = [one.at for one in state.acts if one.kind in REPAIRS and is_repair(one) and one.at > since]
    return min([*acts, *(one.at for one in state.wires if one.at > since)], default=1 << 60)


def _screen(state: CaseState, machine: MachineModel) -> str:
    """What the last start since the last repair showed: "", "works", or the screen's name."""
    since = _last_repair(state)
    for up in reversed(state.power_ups):
        if up.at <= since:
            break
        for seen in reversed(up.seen):
            if seen.screen and seen.at > since:
                k = machine.screen(seen.screen)
                return WORKS if k is not None and k == machine.screen(WORKS) else seen.screen
    return ""


TESTED = ("part", "content")
"""What a test says of a part: any fault of it, or what stands in it."""
SURE = 0.95
"""From this chance on a test by itself names a part (that of a name under power)."""


def _by_tests(found: Sequence[Observation]) -> list[tuple[str, float]]:
    """Parts that a test names by itself: bad cells of a memory or a ROM are no level at any pin, so no look would name them."""
    named: list[tuple[str, float]] = []
    for one in found:
        if not isinstance(one, Witness) or one.other >= math.log(1.0 - SURE):
            continue
        best = [name for kind, name, log in one.says if kind in TESTED and log == 0.0]
        others = (log for kind, name, log in one.says if not best or kind not in TESTED or name != best[0])
        rest = sum(map(math.exp, others)) if best else 1.0
        p = 1.0 / (1.0 + rest + math.exp(one.other))
        if len(best) == 1 and p >= SURE:
            named.append((f"part {best[0]}", p))
    return named


RENEWED = "pin renewed"
"""Words of a soldering entry whose pin got a new contact, leg or land."""
WIRED = math.log(0.02)
"""How likely a stretch is still open once a wire lies round it (an assumption: the wire may be badly soldered)."""


def _wired(session: Binding, made: PoweredBoard) -> list[Observation]:
    """The wires of a case as observations: what they go round is whole again. The board under power is that of the copper as built."""
    found: list[Observation] = []
    for wire in session.state.wires:
        a, b = (made.node_of_pin(f"{one.part}.{one.pin}") for one in (wire.a, wire.b))
        if a is None or b is None or a[0] != b[0]:
            continue
        sites = {s for k in path_causes(made.field, a[0], a[1], b[1]) for s in made.field.causes[k].sites}
        if sites:
            found.append(
                Witness(tuple(("site", s, WIRED) for s in sorted(sites)), 0.0, "a wire lies round it", wire.id)
            )
    return found


def _weighed(binding: Binding, made: PoweredBoard, found: Sequence[Observation]) -> State:
    """The belief from the evidence, going on from what was weighed before when the evidence only grew."""
    key = ("whole belief", id(made))
    known = binding.kept.get(key)
    fresh = list(found)
    state: State | None = None
    if known is not None and known[0] is made:
        rest = Counter(fresh)
        rest.subtract(known[1])
        if all(n >= 0 for n in rest.values()):
            state, fresh = known[2], [one for one, n in rest.items() for _ in range(n)]
    state = observed(initial(made.field) if state is None else state, fresh) if fresh or state is None else state
    binding.kept.pop(key, None)
    binding.kept[key] = (made, Counter(found), state)
    return state
