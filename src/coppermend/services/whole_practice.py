"""Practice of a whole repair: a case of its own, the steps that ``whole_for_case`` names carried out on a patient, every answer noted, and the marks.

The policy ``next`` is what a user's ``coppermend next CASE`` names: it sees the log of its case and nothing of the patient. The policies ``practice`` and
``checklist`` (``practice/technician.py``) meet the same patients on the same clock. Seconds are modelled.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from time import process_time
from typing import Any

from coppermend.core.belief.suspects.afloat import SCOPE
from coppermend.core.belief.suspects.warmth import LIKELY, supply_places, warms
from coppermend.core.board.model import PartState
from coppermend.core.copper.worked import PatchWire, worked
from coppermend.core.findings import Refusal, refuse
from coppermend.core.planning.costs import CostTable
from coppermend.core.planning.model import NextStep
from coppermend.core.planning.suspects_next import SINK_PIN_S
from coppermend.core.planning.whole import BY_HAND, TIMES
from coppermend.core.rework.wires import WirePlan
from coppermend.devices.book import DeviceBook
from coppermend.practice.whole import WholePatient
from coppermend.services.areas import add_area
from coppermend.services.bench import bridge_points, plan_of
from coppermend.services.bind import Binding, bind, part_states, sockets
from coppermend.services.cases import new_case
from coppermend.services.entries import write
from coppermend.services.intake import note_intake
from coppermend.services.map_doubt import map_first
from coppermend.services.memory import note_memory
from coppermend.services.notes import note
from coppermend.services.payloads import states_at
from coppermend.services.pinwork import pin_break
from coppermend.services.points import point_payload, resolve
from coppermend.services.rails import gate_of, rails_for_case
from coppermend.services.railshort import shorted_part
from coppermend.services.requests import Request
from coppermend.services.supplyproof import note_supply, supply_now
from coppermend.services.suspects import pins_of_net
from coppermend.services.whole import whole_for_case
from coppermend.services.whole_copper import pairs_before_power, rails_apart
from coppermend.services.whole_setting import WholeSetting, whole_patient
from coppermend.services.whole_view import WholeStep
from coppermend.services.whole_words import RENEWED
from coppermend.services.wires import plan_for_case
from coppermend.services.workshop import Workshop

MOST_ACTS = 900
"""A policy that does more than this is stopped."""
MOST_SECONDS = 8 * 3600.0
"""A working day: a policy that is not done by then is stopped."""
WITHOUT = ("press", "piggyback", "repeat", "spray", "inspect", "replace")
"""Kinds of steps that these patients do not answer, taken from the planner like means that a bench lacks."""
RAIL_READINGS = 8
"""So many four-wire readings before the likeliest part is lifted."""


@dataclass(frozen=True, slots=True)
class Act:
    """One act of a run: kind, what at, what it said, modelled seconds."""

    kind: str
    what: str
    said: str
    seconds: float

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {"kind": self.kind, "what": self.what, "said": self.said, "seconds": round(self.seconds, 1)}


@dataclass(slots=True)
class Tally:
    """What a run cost: acts, seconds, and why it ended."""

    acts: list[Act] = field(default_factory=list)
    seconds: float = 0.0
    end: str = ""

    def add(self, kind: str, what: str, said: str, seconds: float) -> None:
        """One act more."""
        self.acts.append(Act(kind, what, said, seconds))
        self.seconds += seconds

    @property
    def over(self) -> bool:
        """Whether the run has to end."""
        return len(self.acts) >= MOST_ACTS or self.seconds >= MOST_SECONDS


def run_next(
    workshop: Workshop,
    setting: WholeSetting,
    patient: WholePatient,
    book: DeviceBook,
    tell: Callable[[Act], None] | None = None,
) -> Tally:
    """The steps of ``whole_for_case`` in a new case of the workshop, until it says that the machine works, or nothing is left."""
    run = _Run(workshop, setting, patient, book, tell)
    run.opened()
    while not run.tally.over:
        step = whole_for_case(workshop, run.case, book, setting.made.machine, WITHOUT, setting.made)
        if step.healthy or step.kind == "other hands":
            run.tally.end = "done" if step.healthy else step.kind
            break
        try:
            run.do(step)
        except Refusal as err:
            run.tally.end = f"refused {err.finding.code}"
            break
    return run.tally


WHOLE_POLICIES = ("next", "practice", "checklist")


def run_whole(
    setting: WholeSetting,
    seed: int,
    faults: int,
    policy: str,
    new_workshop: Callable[[], Workshop],
    book: DeviceBook,
    *,
    noise_off: bool = False,
) -> tuple[dict[str, Any], Tally]:
    """One policy on the patient of a seed, and its marks. ``new_workshop`` opens an empty workshop for the case of ``next``. Refusal PRA-008."""
    from coppermend.services.whole_hands import run_technician

    if policy not in WHOLE_POLICIES:
        raise refuse(
            "PRA-008",
            f"There is no policy {policy} for faults of all kinds.",
            f"Say one of: {', '.join(WHOLE_POLICIES)}.",
        )
    patient = whole_patient(setting, seed, faults, noise_off)
    begun = process_time()
    if policy == "next":
        tally = run_next(new_workshop(), setting, patient, book)
    else:
        tally = run_technician(setting, patient, fixed=policy == "checklist")
    return {**marks(setting, patient, tally, policy, seed), "cpu_s": round(process_time() - begun, 2)}, tally


def marks(setting: WholeSetting, patient: WholePatient, tally: Tally, policy: str, seed: int) -> dict[str, Any]:
    """A run marked against the truth: ``power_ups``, ``harm``, ``mended``, ``seconds_bench`` (all work), what was wrong and what still is."""
    left = patient.left()
    harm = patient.harm
    return {
        "policy": policy,
        "seed": seed,
        "faults": len(patient.faults()),
        "kinds": sorted(one.kind for one in patient.faults()),
        "true": [one.words for one in patient.faults()],
        "left": [one.words for one in left],
        "mended": not left and tally.end == "done",
        "end": tally.end or "stopped",
        "power_ups": patient.power_ups,
        "acts": len(tally.acts),
        "seconds_bench": round(tally.seconds, 1),
        "harm": {"into_short": harm.into_short, "without_consent": harm.without_consent, "needless": harm.needless},
    }


class _Run:
    """The bench of one case with its patient."""

    def __init__(
        self,
        workshop: Workshop,
        setting: WholeSetting,
        patient: WholePatient,
        book: DeviceBook,
        tell: Callable[[Act], None] | None,
    ) -> None:
        self.w, self.setting, self.patient, self.book, self.tell = workshop, setting, patient, book, tell
        self.case = ""
        self.tally = Tally()
        self.costs = CostTable()
        self.on = False
        self.scope = False

    def opened(self) -> None:
        """The case as it comes in: areas, what the owner agreed to, display and cables known good."""
        self.case = new_case(self.w, self.setting.package, "Practice", complaint="does not start").state.case
        for one in self.setting.areas:
            if one.part:
                add_area(self.w, self.case, part=one.part, kind=one.kind, severity=one.severity)
            else:
                add_area(self.w, self.case, polygon=one.polygon, kind=one.kind, severity=one.severity, label=one.id)
        note_intake(self.w, self.case, "known good", yes=True, words="display and cables tried on another machine")
        note_intake(self.w, self.case, "minimum", yes=True, words="nothing plugged in")
        if self.patient.consents():
            note_intake(self.w, self.case, "consent", yes=True, acts=["unsolder"])

    # ---- bookkeeping ----
    def did(self, kind: str, what: str, said: str, seconds: float) -> None:
        before = len(self.tally.acts)
        self.tally.add(kind, what, said, seconds)
        if self.tell is not None:
            self.tell(self.tally.acts[before])

    def note(
        self, kind: str, points: tuple[str, ...] = (), value: str = "", part: str = "", words: str = "", **fields: Any
    ) -> None:
        note(self.w, self.case, Request(kind, points, value, part, words, fields))

    def bound(self) -> Binding:
        return bind(self.w, self.case)

    def power_off(self) -> None:
        if self.on:
            self.note("power", value="off")
            self.on = False
            self.did("power off", "", "", self.costs.power_s)

    def power_on(self) -> None:
        """Power on, and what it shows; the gate first, which soldering has closed."""
        if self.on:
            return
        for _ in range(12):
            gate = gate_of(self.bound())
            if gate.open or any(one.low for one in rails_for_case(self.w, self.case)):
                break
            self.gate(gate.missing[0].item)
        self.note("power", value="on")
        self.on = True
        self.seen(self.patient.power(), "power on", self.costs.power_s)

    def seen(self, screen: int, what: str, seconds: float) -> None:
        name = self.setting.made.field.screens[screen].name
        self.did(what, "", name, seconds)
        self.note("seen", screen=name)

    # ---- the steps ----
    def do(self, step: WholeStep) -> None:
        """Carry out one step and note what it said."""
        if step.kind == "copper" and step.copper is not None:
            self.power_off()
            self.copper(step.copper)
        elif step.kind == "gate":
            self.gate(step.item)
        elif step.kind == "power":
            self.power_on()
        elif step.kind == "short":
            self.power_off()
            self.rail_short(step.rail)
        elif step.kind == "look":
            self.look(step)
        elif step.kind == "check" and step.check is not None:
            self.power_off()
            self.beep(*step.check, step.seconds)
        elif step.kind == "memory":
            self.memory()
        elif step.kind == "rom":
            self.rom(step.part)
        elif step.kind == "reseat":
            self.power_off()
            self.reseat(step.part)
        elif step.kind == "ask":
            self.patient.asked_owner()
            note_intake(self.w, self.case, "consent", yes=True, acts=["unsolder"])
            self.did("ask", "owner", "agrees", TIMES.ask_s)
        elif step.kind == "mend":
            self.power_off()
            self.mend(step)
        else:
            self.did(step.kind, step.words, "not done", self.costs.look_s)

    def gate(self, item: str) -> None:
        if item == "rails":
            rail = next(one for one in rails_for_case(self.w, self.case) if not one.read)
            ohm = self.patient.rail_ohm(rail.net, rail.point_a, rail.point_b)
            self.note("ohms", (rail.point_a, rail.point_b), f"{ohm:.3f}")
            self.did("rail to ground", rail.net, f"{ohm:.3g} ohm", self.costs.rail_s)
        elif item == "supply":
            now = supply_now(self.w, self.case)
            for row in now.proof.left or tuple(r.want.net for r in now.rails):
                nominal = self.setting.made.circuit.rails[row].nominal_v
                volt = self.patient.supply_volt(row, nominal)
                note_supply(self.w, self.case, row, "alone", volt, load_a=0.5)
                self.did("supply alone", row, f"{volt:.2f} V", self.costs.rail_s)
        elif item == "limit":
            self.note("gate", value="limit", limit_a=1.5, abort_a=2.0)
        else:
            self.note("gate", value=item, words="looked at")
            self.did("gate", item, "looked at", TIMES.glance_s)

    def beep(self, a: str, b: str, seconds: float) -> bool:
        closed = self.patient.closed(a, b)
        self.note("closed" if closed else "open", (a, b))
        self.did("check", f"{a} {b}", "closed" if closed else "open", seconds)
        return closed

    def copper(self, step: NextStep) -> None:
        first = step.kind == "isolation" or not (self.bound().mended or self.bound().state.power_ups)
        if step.check is not None and step.kind in ("check", "isolation") and step.span is None and first:
            self.down_the_list(step)
        elif step.check is not None and step.kind == "ohms":
            a, b = step.check.point_a, step.check.point_b
            ohm = self.patient.ohm(a, b)
            self.note("ohms", (a, b), "OL" if ohm is None else f"{ohm:.4f}", wires=4, step_ohm=0.0001)
            self.did("ohms by four wires", f"{a} {b}", "OL" if ohm is None else f"{ohm:.4f}", step.seconds)
        elif step.check is not None:
            self.beep(step.check.point_a, step.check.point_b, step.seconds)
        elif step.kind == "patch":
            self.wires(step.wire, step.span.net if step.span else "", step.span.sites if step.span else ())
        elif step.kind == "short":
            pair = bridge_points(self.bound())
            assert pair is not None
            self.clear(pair)
        elif step.kind in ("reseat", "solder", "look") and step.span is not None:
            self.pin(step)
        elif step.kind == "look" and map_first(self.bound()) is not None:
            self.note("map", value="agreed", words="type, revision and date compared")
            self.did("map", "", "agrees", self.costs.look_s)
        else:
            self.note("gate", value="override", words=f"practice cannot do {step.kind}")
            self.did(step.kind, step.words[:60], "not done", self.costs.look_s)

    def down_the_list(self, step: NextStep) -> None:
        """The check that is named and those that follow it on the round's sheet, as long as every answer is the expected one; another one asks anew."""
        binding = self.bound()
        plan = plan_of(binding)
        apart = plan.isolation if binding.state.power_ups else pairs_before_power(binding)
        rows = apart if step.kind == "isolation" else plan.checks
        wanted = "open" if step.kind == "isolation" else "closed"
        assert step.check is not None
        rails = rails_apart(binding)
        if any({one.point_a, one.point_b} == {step.check.point_a, step.check.point_b} for one in rails):
            rows = rails
        named = {step.check.point_a, step.check.point_b}
        start = next((k for k, one in enumerate(rows) if {one.point_a, one.point_b} == named), None)
        if start is None:
            self.beep(step.check.point_a, step.check.point_b, step.seconds)
            return
        at = {p.id: p for p in binding.graph.points}
        for one in (*rows[start:], *rows[:start]):
            said = "closed" if self.patient.closed(one.point_a, one.point_b) else "open"
            tips = [at[one.point_a], at[one.point_b]]
            points: list[Any] = [point_payload(binding.graph, p) for p in tips]
            write(
                self.w, self.case, said, {"points": points, "states": states_at(binding, tips), "instrument": "typed"}
            )
            self.did("check", f"{one.point_a} {one.point_b}", said, one.seconds)
            if said != wanted:
                return

    def pin(self, step: NextStep) -> None:
        found = pin_break(self.bound().graph, step.span) if step.span is not None else None
        if found is None:
            self.did(step.kind, step.words[:60], "no pin", self.costs.look_s)
            return
        joint = self.joint_of(found.part, found.pin)
        if step.kind == "reseat":
            self.reseat(found.part)
        elif step.kind == "solder":
            self.patient.soldered([joint])
            self.note("solder", (joint,))
            self.did("solder", found.name, "", TIMES.solder_s)
        else:
            self.patient.pin_renewed(found.part, found.pin)
            if joint:
                self.note("solder", (joint,), words=RENEWED)
            if dict(self.bound().graph.part_states).get(found.part) is PartState.SOCKETED:
                self.note("reseat", part=found.part)
            self.did("renew pin", found.name, "", TIMES.renew_pin_s)

    def joint_of(self, part: str, pin: str) -> str:
        """A joint of a pin that a tip can touch, the solder side's first; "" none."""
        rows = [p for p in self.bound().graph.points if (p.part, p.pin, p.kind) == (part, pin, "joint") and p.reachable]
        return min(rows, key=lambda p: (p.side != "s", p.id)).id if rows else ""

    def reseat(self, part: str) -> None:
        self.patient.reseated(part)
        self.note("reseat", part=part)
        self.did("reseat", part, "", self.costs.reseat_s)

    def clear(self, pair: tuple[str, str]) -> None:
        names = self.setting.graph.net_names
        at = {p.id: names[p.net] for p in self.bound().graph.points}
        self.patient.cleared([at[one] for one in pair])
        self.note("clean", pair)
        self.did("clear", " ".join(pair), "", TIMES.clear_s)

    def wires(self, plan: object, net: str, sites: tuple[str, ...]) -> None:
        if not isinstance(plan, WirePlan):
            try:
                plan = plan_for_case(self.w, self.case, net, sites).plans[0]
            except Refusal as err:
                self.did("wire", net, err.finding.words[:80], self.costs.look_s)
                self.unwired(sites)
                return
        for one in plan.wires:
            ends = (one.a.point, one.b.point)
            self.note("patch", ends)
            self.did("wire", " ".join(ends), "", self.costs.patch_s)
        self.patient.laid(self.graph_worked())
        if not plan.wires:
            self.unwired(sites)

    def unwired(self, sites: tuple[str, ...]) -> None:
        """No wire goes round it: the pin is renewed by hand."""
        inside = [one.partition("@")[2] for one in sites if one.partition("@")[0] in ("joint", "contact", "leg")]
        if not inside:
            return
        part, _, pin = inside[0].rpartition(".")
        joint = self.joint_of(part, pin)
        self.patient.pin_renewed(part, pin)
        if joint:
            self.note("solder", (joint,), words=RENEWED)
        self.did("renew pin", inside[0], "", TIMES.renew_pin_s)

    def graph_worked(self) -> Any:
        state = self.bound().state
        states = part_states(state)
        wires = [PatchWire(one.id, one.a.id, one.b.id, one.diameter_mm, one.length_mm) for one in state.wires]
        return worked(self.bound().base, states, wires, (), sockets(state, self.bound().base, states))

    def rail_short(self, rail: str) -> None:
        """Readings by four wires until one part is named; it is replaced."""
        for _ in range(RAIL_READINGS):
            found = shorted_part(self.w, self.case, rail, book=self.book)
            if found.next is None:
                break
            a, b = found.next.force
            ohm = self.patient.rail_ohm(rail, a, b)
            self.note("ohms", (a, b), f"{ohm:.5f}", wires=4)
            self.did("ohms by four wires", f"{a} {b}", f"{ohm:.4f}", TIMES.ohms_s)
        tried = {one.what for one in self.tally.acts if one.kind == "replace"}
        part = next(
            one.part for one in shorted_part(self.w, self.case, rail, book=self.book).parts if one.part not in tried
        )
        self.replace(part)

    def replace(self, part: str) -> None:
        socketed = dict(self.bound().graph.part_states).get(part) is PartState.SOCKETED
        if not socketed and not self.patient.consents():
            self.patient.asked_owner()
            note_intake(self.w, self.case, "consent", yes=True, acts=["unsolder"])
            self.did("ask", "owner", "agrees", TIMES.ask_s)
        row = self.setting.made.circuit.by_ref[part]
        self.patient.replaced(part, socketed)
        self.note("swap", part=part)
        seconds = (
            self.costs.swap_s if socketed else TIMES.replace_chip_s if row.role == "chip" else TIMES.replace_small_s
        )
        self.did("replace", part, "", seconds)

    def mend(self, step: WholeStep) -> None:
        one = step.named
        assert one is not None
        if one.act == "supply":
            self.patient.supply_replaced()
            for rail in [one.want.net for one in supply_now(self.w, self.case).rails]:
                nominal = self.setting.made.circuit.rails[rail].nominal_v
                volt = self.patient.supply_volt(rail, nominal)
                note_supply(self.w, self.case, rail, "alone", volt, load_a=0.5, words="another supply")
            self.did("supply", "another one", "", TIMES.supply_s + self.costs.rail_s)
        elif one.act in ("swap", "replace"):
            self.replace(step.part)
        elif one.act == "clear" and step.check is not None:
            self.clear(step.check)
        else:
            self.span(step)

    def span(self, step: WholeStep) -> None:
        """A stretch named under power and read open: inside one pin by hand, else a wire."""
        if step.item in BY_HAND:
            self.by_hand(step.item, step.part, step.sites)
            return
        self.wires(None, step.item, step.sites)

    def by_hand(self, act: str, pin: str, sites: tuple[str, ...]) -> None:
        """A pin that does not connect: pressed, soldered, wiped, renewed."""
        part = pin.rpartition(".")[0]
        if act == "reseat":
            self.reseat(part)
        elif act == "clean":
            self.patient.reseated(part, "clean")
            self.note("clean", part=part)
            self.did("clean", part, "", TIMES.clean_s)
        elif act == "solder":
            joint = self.joint_of(part, pin.rpartition(".")[2])
            self.patient.soldered([joint])
            self.note("solder", (joint,))
            self.did("solder", pin, "", TIMES.solder_s)
        else:
            self.unwired(sites)

    # ---- under power ----
    def look(self, step: WholeStep) -> None:
        assert step.look is not None
        one, points = step.look.step, step.look.points
        if one.kind in ("check", "apart"):
            self.power_off()
            self.beep(points[0], points[1], self.costs.read_s + 2 * self.costs.move_s)
            return
        if one.kind == "reseat":
            self.power_off()
            self.reseat(one.part)
            return
        if one.kind == "swap":
            self.trial(one.part)
            return
        self.power_on()
        if one.kind in ("look", "rail"):
            self.level(points[0], one.judged)
            first = 0.0 if self.scope or one.kind == "rail" else self.costs.scope_first_s - self.costs.scope_next_s
            self.scope = self.scope or one.kind == "look"
            said = self.tally_said
            self.did(
                one.kind,
                points[0],
                said,
                (self.costs.rail_s if one.kind == "rail" else self.costs.scope_next_s) + first,
            )
        elif one.kind == "wave":
            self.wave(points)
        elif one.kind == "heat":
            self.heat()
        elif one.kind == "sink":
            self.sink(one.spots[0][0])
        else:
            self.did(one.kind, step.words[:60], "not done", self.costs.look_s)

    tally_said = ""

    def level(self, point: str, judged: bool) -> None:
        said = self.patient.level(point, judged and self.content(point))
        self.tally_said = said
        word = "right" if said == "pulsing" and judged and self.content(point) else said
        self.note("level", (point,), word, **{"with": SCOPE})

    def content(self, point: str) -> bool:
        place = self.setting.answers.node_of.get(point)
        k = self.setting.made.field.spot_at.get(place) if place else None
        return k is not None and self.setting.made.field.spots[k].content

    def wave(self, points: tuple[str, ...]) -> None:
        graph = self.bound().graph
        said = [self.patient.level(p, self.content(p)) for p in points]
        words = {"low": "stuck low", "high": "stuck high", "wrong": "wrong", "floating": "floating"}
        verdicts = [words.get(s, "right" if self.content(p) else "moving") for s, p in zip(said, points, strict=True)]
        payload: dict[str, Any] = {
            "points": [point_payload(graph, resolve(graph, p)) for p in points],
            "sha256": "0" * 64,
            "features": {"verdicts": verdicts},
        }
        write(self.w, self.case, "wave", payload)
        self.did("wave", " ".join(points), " ".join(said), self.costs.wave_s)

    def heat(self) -> None:
        made = self.setting.made.field
        parts = {}
        for part in made.warm:
            if warms(made, part):
                parts[part] = {"verdict": self.patient.warmth(part, supply_places(made, part), LIKELY), "words": ""}
        write(self.w, self.case, "heat", {"celsius": 40.0, "sha256": "0" * 64, "picture": {"parts": parts}})
        self.did(
            "heat",
            "",
            " ".join(f"{k} {v['verdict']}" for k, v in parts.items() if v["verdict"] != "even"),
            self.costs.thermal_s,
        )

    def sink(self, net: str) -> None:
        made = self.setting.made
        pins = [t.id for t in made.circuit.nets[net] if t.kind != "passive"]
        found = self.patient.lowest(net, pins)
        place = pins_of_net(made, net)[0]
        point = found or made.trees[net].points[place[1]][0].id
        self.note("level", (point,), "holds" if found else "even")
        self.did("sink", net, found or "none", self.costs.rail_s + SINK_PIN_S * len(pins))

    def trial(self, part: str) -> None:
        self.power_off()
        started = self.patient.tried(part)
        self.did(
            "swap for a try", part, "starts" if started else "no change", self.costs.swap_s + 2 * self.costs.power_s
        )
        if started:
            self.patient.replaced(part, True)
            self.note("swap", part=part)
        else:
            self.note("swap", part=part, trial=True, effect="none")

    # ---- tests ----
    def memory(self) -> None:
        self.power_on()
        found = self.patient.memory_errors()
        if found is None:
            self.note("remark", words="the memory test does not run")
            write(self.w, self.case, "memory", {"errors": [], "words": "the test does not run"})
            self.did("memory test", "", "does not run", TIMES.memory_test_s)
        elif not found:
            write(self.w, self.case, "memory", {"errors": [], "words": "no error"})
            self.did("memory test", "", "no error", TIMES.memory_test_s)
        else:
            base = self.base()
            text = "\n".join(f"{base + a % 0x4000:04X} {w:02X} {r:02X}" for a, w, r in found)
            got = note_memory(self.w, self.case, self.book, text.encode(), "practice")
            self.did("memory test", "", f"{len(found)} errors: {got.explained.suspects[0].unit}", TIMES.memory_test_s)

    def base(self) -> int:
        """The first address of the main memory."""
        from coppermend.core.memory.derive import memory_map
        from coppermend.core.memory.model import ranges_of

        found = memory_map(self.setting.made.circuit)
        chip = next(one for one in found.chips if one.ref in self.setting.answers.memory_bits)
        first, _ = max(ranges_of(chip, found.space), key=lambda pair: pair[1] - pair[0])
        return first

    def rom(self, part: str) -> None:
        self.power_off()
        right = self.patient.rom_right(part)
        verdict = "right" if right else "wrong"
        write(self.w, self.case, "rom", {"part": part, "verdict": verdict, "words": f"{part} reads {verdict}"})
        self.did("rom", part, verdict, TIMES.rom_read_s)
