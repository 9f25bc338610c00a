"""Practice under power: a patient with faults of any kind, a policy that looks for the first of them, and the marks.

``next`` takes the planner's steps; ``checklist`` goes through the fixed order of common practice (rails, clock, reset, processor, selects,
buses, memory, video, rest) with the same belief. A run ends when a unit of repair is named at ``FaultTable.named_above``. Seconds are modelled.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from time import process_time
from typing import Any

from coppermend.core.belief.suspects.afloat import SCOPE
from coppermend.core.belief.suspects.hands import Effect
from coppermend.core.belief.suspects.posterior import (
    Apart,
    Beep,
    Look,
    Observation,
    Sink,
    Start,
    State,
    Swapped,
    Warmth,
    initial,
    observed,
    path_causes,
    short_causes,
    verdict,
)
from coppermend.core.belief.suspects.table import OUTCOMES
from coppermend.core.belief.suspects.warmth import LIKELY, supply_places, warms
from coppermend.core.circuit.expect import checklist, expectations
from coppermend.core.circuit.passives import topped_capacitors
from coppermend.core.findings import refuse
from coppermend.core.planning.costs import CostTable
from coppermend.core.planning.suspects_hands import HandsNow
from coppermend.core.planning.suspects_next import BenchNow, SuspectStep, ranked_steps
from coppermend.practice.powered import PoweredPatient, draw_causes, draw_lies
from coppermend.services.powered import PoweredBoard

OFF = ("check", "apart")
"""Steps after which power is off."""
POLICIES = ("next", "checklist")
MOST_STEPS = 60
"""The planner is stopped after this many steps."""
_TRIES = 400


@dataclass(frozen=True, slots=True)
class PoweredCase:
    """A patient with its truth: indices of its causes."""

    patient: PoweredPatient
    truth: tuple[int, ...]
    seed: int
    screen: int


@dataclass(frozen=True, slots=True)
class Act:
    """One step of a run: what was done where, what was seen, what it cost; the likeliest unit afterwards."""

    kind: str
    places: tuple[str, ...]
    answers: tuple[str, ...]
    seconds: float
    gain_bits: float
    top: str
    p: float
    cpu_ms: float

    def as_dict(self) -> dict[str, Any]:
        """The step as plain JSON values."""
        return {
            "kind": self.kind,
            "places": list(self.places),
            "answers": list(self.answers),
            "seconds": self.seconds,
            "gain_bits": round(self.gain_bits, 3),
            "top": self.top,
            "p": round(self.p, 4),
            "cpu_ms": round(self.cpu_ms, 1),
        }


def powered_patient(
    made: PoweredBoard, seed: int, faults: int, kinds: str = "any", *, uniform: bool = False, noise_off: bool = False
) -> PoweredCase:
    """A patient whose faults show at the start: drawn until something is not as it should be (the same seed, the same patient)."""
    field = made.field
    causes = field.causes
    conditions = [(s.still, s.moving, s.right, s.not_right) for s in field.screens]
    works = next((k for k, s in enumerate(field.screens) if s.name == "works"), -1)
    for turn in range(_TRIES):
        chosen = draw_causes(
            seed,
            [c.prior / (1.0 - c.prior) for c in causes],
            [c.kind for c in causes],
            [c.unit for c in causes],
            kinds,
            faults,
            uniform,
            turn,
        )
        patient = PoweredPatient(made.behaviour, [causes[k].key for k in chosen], seed, draw_lies(seed, noise_off))
        if not patient.all_right():
            return PoweredCase(patient, chosen, seed, patient.screen(conditions, works))
    raise refuse(
        "PRA-032", f"No {faults} faults of the kind {kinds} show at a start of this board.", "Ask for another kind."
    )


def run_powered(
    made: PoweredBoard, case: PoweredCase, policy: str = "next", costs: CostTable | None = None, analyser: bool = True
) -> dict[str, Any]:
    """Let a policy look for the first fault, and mark it: ``steps``, ``seconds_bench``, ``named``, ``named_true``, ``top3_true`` and the acts.

    ``analyser``: the bench has a logic analyser. The bench begins with power on and the start just seen (its 45 s belong to the intake). Refusal PRA-008 for an unknown policy.
    """
    if policy not in POLICIES:
        raise refuse(
            "PRA-008", f"There is no policy {policy} for faults of any kind.", f"Say one of: {', '.join(POLICIES)}."
        )
    run = _Run(made, case, costs or CostTable(), analyser)
    source = run.planned() if policy == "next" else run.listed()
    for _ in source:
        if run.named():
            break
    return run.marks(policy)


def batch_powered(
    made: PoweredBoard,
    seeds: Sequence[int],
    faults: tuple[int, int],
    kinds: str,
    policies: Sequence[str],
    *,
    uniform: bool = False,
    noise_off: bool = False,
) -> Iterator[dict[str, Any]]:
    """Many patients, every policy meets the same ones; the number of faults goes round in its range by seed."""
    low, high = faults
    for seed in seeds:
        for policy in policies:
            case = powered_patient(
                made, seed, low + seed % (high - low + 1), kinds, uniform=uniform, noise_off=noise_off
            )
            yield {**run_powered(made, case, policy), "seed": seed}


class _Run:
    """A run under way."""

    def __init__(self, made: PoweredBoard, case: PoweredCase, costs: CostTable, analyser: bool = True) -> None:
        self.made, self.case, self.costs = made, case, costs
        begun = process_time()
        self.state = observed(initial(made.field), [Start(case.screen)], widen=False)
        self.acts: list[Act] = []
        self.bench = BenchNow(
            powered=True,
            analyser=analyser,
            swaps=tuple(p for p in made.machine.spares if p in made.circuit.by_ref),
            hands=HandsNow(tops=topped_capacitors(made.circuit)),
        )
        self.cpu = process_time() - begun
        self.nothing_left = False

    def top(self) -> tuple[int, float]:
        """The likeliest unit and its probability."""
        p = self.state.units()
        k = int(p.argmax())
        return k, float(p[k])

    def named(self) -> bool:
        """Whether some unit is beyond the threshold, with no rival that a look would tell from it."""
        return verdict(self.state).stands

    def planned(self) -> Iterator[None]:
        """The planner's steps, one by one."""
        while len(self.acts) < MOST_STEPS:
            begun = process_time()
            steps = ranked_steps(self.state, self.bench, self.costs, 1)
            if not steps:
                self.nothing_left = True
                return
            self.do(steps[0], begun)
            yield

    def listed(self) -> Iterator[None]:
        """The fixed order: every pin of the checklist, one look each."""
        behaviour = self.made.behaviour
        pins = expectations(self.made.circuit, behaviour, None).pins
        for item in checklist(self.made.circuit, behaviour, pins):
            place = self.made.node_of_pin(item.pin) if item.pin else None
            if place is None or place not in self.made.field.spot_at:
                continue
            rail = item.step == "rails"
            seconds = (
                self.costs.rail_s
                if rail
                else self.costs.scope_next_s
                if self.bench.scope_ready
                else self.costs.scope_first_s
            )
            self.do(SuspectStep("rail" if rail else "look", (place,), seconds, 0.0, judged=True), process_time())
            yield

    def do(self, step: SuspectStep, begun: float) -> None:
        """Carry out a step on the patient and believe what it says."""
        seen, words = self._ask(step)
        self.state = observed(self.state, seen)
        cpu = 1000.0 * (process_time() - begun)
        self.bench = replace(
            self.bench,
            powered=step.kind not in OFF,
            scope_ready=self.bench.scope_ready or step.kind == "look",
        )
        k, p = self.top()
        places = tuple(f"{net} {_pins_at(self.made, net, node)}".strip() for net, node in step.spots) or (
            step.part or "board",
        )
        self.acts.append(Act(step.kind, places, words, step.seconds, step.gain_bits, self.made.field.units[k], p, cpu))

    def _ask(self, step: SuspectStep) -> tuple[list[Observation], tuple[str, ...]]:
        field, patient = self.made.field, self.case.patient
        if step.kind in ("look", "wave", "rail"):
            words = tuple(patient.look(net, node, step.judged and self._judged(net, node)) for net, node in step.spots)
            return [
                Look(net, node, OUTCOMES.index(w), step.judged, by=SCOPE)
                for (net, node), w in zip(step.spots, words, strict=True)
            ], words
        if step.kind == "check":
            (net, a), (_, b) = step.spots
            closed = patient.joined(net, [field.causes[k].key for k in path_causes(field, net, a, b)], (a, b))
            return [Beep(net, a, b, closed)], ("closed" if closed else "open",)
        if step.kind == "apart":
            (net_a, a), (net_b, b) = step.spots
            joined = patient.bridged([field.causes[k].key for k in short_causes(field, net_a, net_b)], step.spots)
            return [Apart(net_a, net_b, joined, "", a, b)], ("closed" if joined else "open",)
        if step.kind == "sink":
            net = step.spots[0][0]
            pins = [t.id for t in self.made.circuit.nets[net] if t.kind != "passive"]
            pin = patient.lowest(net, pins)
            return [Sink(net, pin)], (pin or "none stands out",)
        if step.kind == "heat":
            return self._picture()
        if step.kind == "piggyback":
            changed = patient.on_top(step.part)
            return [Effect("piggyback", step.part, (), changed)], ("something changes" if changed else "no change",)
        started = patient.starts_with(step.part)
        return [Swapped(step.part, started)], ("starts" if started else "no change",)

    def _picture(self) -> tuple[list[Observation], tuple[str, ...]]:
        """All parts that a thermal picture can judge."""
        field = self.made.field
        parts = [part for part in field.warm if warms(field, part)]
        said = [self.case.patient.warmth(part, supply_places(field, part), LIKELY) for part in parts]
        found = [Warmth(part, word) for part, word in zip(parts, said, strict=True)]
        return list(found), tuple(f"{one.part} {one.verdict}" for one in found if one.verdict != "even") or (
            "all even",
        )

    def _judged(self, net: str, node: int) -> bool:
        return self.made.field.spots[self.made.field.spot_at[(net, node)]].content

    def marks(self, policy: str) -> dict[str, Any]:
        """The run marked against the truth."""
        field = self.made.field
        p = self.state.units()
        order = p.argsort()[::-1]
        true = {field.causes[k].unit for k in self.case.truth}
        named = field.units[int(order[0])] if self.named() else ""
        cpu = [one.cpu_ms for one in self.acts]
        return {
            "policy": policy,
            "faults": len(self.case.truth),
            "screen": field.screens[self.case.screen].name,
            "steps": len(self.acts),
            "seconds_bench": round(sum(one.seconds for one in self.acts), 3),
            "named": named,
            "p_named": round(float(p[order[0]]), 5),
            "named_words": _unit_words(self.state, named) if named else "",
            "named_true": named in true if named else False,
            "top3_true": any(field.units[int(k)] in true for k in order[:3]),
            "top": [{"unit": field.units[int(k)], "p": round(float(p[k]), 5)} for k in order[:3]],
            "true": [
                {"unit": field.causes[k].unit, "kind": field.causes[k].kind, "words": field.causes[k].words}
                for k in self.case.truth
            ],
            "nothing_left": self.nothing_left,
            "sets": field.sets,
            "step_cpu_ms": {"max": round(max(cpu, default=0.0), 1), "all": [round(x, 1) for x in cpu]},
            "acts": [one.as_dict() for one in self.acts],
        }


def _pins_at(made: PoweredBoard, net: str, node: int) -> str:
    points = made.trees[net].points.get(node, ())
    return points[0].id if points else ""


def _unit_words(state: State, unit: str) -> str:
    p = state.causes()
    mine = [k for k, one in enumerate(state.field.causes) if one.unit == unit]
    return state.field.causes[max(mine, key=lambda k: float(p[k]))].words if mine else unit
