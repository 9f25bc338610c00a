"""Suspects of a case: everything the log says, powered and unpowered, in one belief over parts and copper, and the next step."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.belief.suspects.afloat import ANALYSER, ANY, PROBE, SCOPE
from coppermend.core.belief.suspects.explain import Explanation, explanations
from coppermend.core.belief.suspects.oddity import EARLY, LATE, RUNTS
from coppermend.core.belief.suspects.posterior import (
    Apart,
    Beep,
    Look,
    Observation,
    Odd,
    Renewed,
    Sink,
    Start,
    State,
    Warmth,
    Witness,
    initial,
    observed,
    unexplained,
    verdict,
)
from coppermend.core.belief.suspects.reasons import Suspect, observation_words, suspects
from coppermend.core.belief.suspects.table import FLOATING, HIGH, LOW, PULSING, WRONG, FaultTable
from coppermend.core.belief.suspects.warmth import VERDICTS, warms
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.circuit.planes import RIGHT
from coppermend.core.log.fold import is_repair
from coppermend.core.log.state import CaseState, PointRef, Reading, plain
from coppermend.core.log.values import last_digit
from coppermend.core.planning.learned import PART
from coppermend.core.planning.suspects_hands import LEAST_P
from coppermend.core.planning.suspects_next import BenchNow, SuspectStep, best_of_kinds, ranked_steps
from coppermend.core.planning.suspects_words import step_caution, step_reason, step_risk, step_words
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import Binding, bind, part_states
from coppermend.services.chiptries import chip_conflicts
from coppermend.services.copperfirst import CopperFirst, copper_first
from coppermend.services.field_pack import FieldKeep
from coppermend.services.handsevidence import hand_evidence
from coppermend.services.handwork import hand_work
from coppermend.services.learnednumbers import factors_in
from coppermend.services.looks import Conflict, look_conflicts, marked
from coppermend.services.lookwork import looks_read, sides_to_look
from coppermend.services.points import point_now
from coppermend.services.powered import PoweredBoard, powered_board
from coppermend.services.railevidence import RailShorted, rails_shorted
from coppermend.services.rails import gate_of
from coppermend.services.startwork import Counted, counted, starts_view
from coppermend.services.witnesses import witnesses
from coppermend.services.workshop import Workshop

LEVEL_OUTCOME = {
    "low": (LOW, False),
    "high": (HIGH, False),
    "toggling": (PULSING, False),
    "pulsing": (PULSING, False),
    "floating": (FLOATING, False),
    "right": (PULSING, True),
    "wrong": (WRONG, True),
}
TAKEN_BY = {"scope": SCOPE, "meter": SCOPE, "probe": PROBE, "analyser": ANALYSER}
"""What a level was looked at with, as the belief tells instruments apart: a meter and a scope's probe have 10 megohm alike."""
COMPARED = ("holds", "even")
"""Levels that say what millivolts along a net lead to."""
VERDICT_OUTCOME = {
    "right": (PULSING, True),
    "wrong frequency": (WRONG, True),
    "wrong": (WRONG, True),
    "stuck low": (LOW, False),
    "low": (LOW, False),
    "stuck high": (HIGH, False),
    "high": (HIGH, False),
    "floating": (FLOATING, False),
    "floating or contention": (FLOATING, False),
    "contention": (FLOATING, False),
    "moving": (PULSING, False),
    "pulsing": (PULSING, False),
    "ringing": (PULSING, False),
}
"""A wave's verdict as an outcome. Ringing: the edge arrives, so the signal moves; it tells no fault from another."""
VERDICT_ODD = {"runts and glitches": RUNTS, "released too early": EARLY, "released too late": LATE}
"""Verdicts that no outcome of a look says: their own evidence (core/belief/suspects/oddity.py)."""
WITHOUT = ("wave", "heat", "swap")
"""Kinds of step that a bench may lack the means for: a logic analyser, a thermal camera, known-good parts."""
MENDED = 0.5
"""How likely the last repair was the last one needed, before a start has shown it (an assumption)."""
LOW_V, HIGH_V = 0.8, 2.0
"""TTL input thresholds (TTL data books): a voltage at rest below is low, above is high, between is neither."""
CRYSTAL_PPM, RC_PPM = 5000.0, 100000.0
"""A frequency farther off than this is another one: a crystal's divided clock is far nearer, a wrong divider far farther (an assumption)."""
REPAIRS = ("swap", "reseat", "fit", "solder", "remove", "press", "clean")


@dataclass(frozen=True, slots=True)
class Proposed:
    """A step with its words, points and risk."""

    step: SuspectStep
    words: str
    points: tuple[str, ...]
    risk: str
    caution: str

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        step = self.step
        return {
            "kind": step.kind,
            "points": list(self.points),
            "part": step.part,
            "parts": list(step.parts),
            "seconds": step.seconds,
            "gain_bits": round(step.gain_bits, 4),
            "gain_per_minute": round(step.gain_per_minute, 4),
            "risk": self.risk,
            "risk_s": round(step.risk_s, 2),
            "words": self.words,
            "caution": self.caution,
        }


@dataclass(frozen=True, slots=True)
class SuspectsView:
    """The suspects of a case, the next step, and what of the log was used, was not, or speaks no more."""

    suspects: tuple[Suspect, ...]
    step: SuspectStep | None
    step_words: str
    why: str
    caution: str
    points: tuple[str, ...]
    used: tuple[tuple[str, str], ...]
    unused: tuple[tuple[str, str], ...]
    expired: tuple[tuple[str, str], ...]
    named: str
    nothing_left: bool
    unexplained: tuple[str, ...]
    sets: int
    covered: tuple[float, ...]
    stop: str
    explanations: tuple[Explanation, ...]
    """Minimal sets of faults that explain all that was seen, likeliest first."""
    risk: str = ""
    """What can go wrong at the next step, in words."""
    instead: tuple[Proposed, ...] = ()
    """The best step of every other kind, best first: for a bench that cannot do the first one."""
    kept_back: tuple[tuple[str, str], ...] = ()
    """Suspected parts with what the owner's limits (consent, cost) keep from being proposed for them."""
    copper_first: CopperFirst | None = None
    """For reworked areas whose round is not done: proving all their copper now against chasing the symptom, on one clock."""
    rails_shorted: tuple[RailShorted, ...] = ()
    """Rails that read shorted with the power off: which part it may be, and what tells them apart."""
    conflicts: tuple[Conflict, ...] = ()
    """What was noted of looks and chips that cannot all be, with what settles it."""

    def as_dict(self) -> dict[str, Any]:
        """The view as plain JSON values."""
        step = self.step
        return {
            "suspects": [
                {
                    **{k: v for k, v in plain(one).items() if k not in ("pro", "con")},
                    "for": plain(one.pro),
                    "against": plain(one.con),
                    "p": round(one.p, 5),
                }
                for one in self.suspects
            ],
            "named": self.named,
            "next": None
            if step is None
            else {
                **Proposed(step, self.step_words, self.points, self.risk, self.caution).as_dict(),
                "why": self.why,
            },
            "instead": [one.as_dict() for one in self.instead],
            "kept_back": [{"part": part, "why": why} for part, why in self.kept_back],
            "copper_first": None if self.copper_first is None else self.copper_first.as_dict(),
            "rails_shorted": [one.as_dict() for one in self.rails_shorted],
            "conflicts": [{"words": one.words, "settles": one.settles} for one in self.conflicts],
            "nothing_left": self.nothing_left,
            "stop": self.stop,
            "used": [{"entry": e, "words": w} for e, w in self.used],
            "unused": [{"entry": e, "words": w} for e, w in self.unused],
            "expired": [{"entry": e, "words": w} for e, w in self.expired],
            "unexplained": list(self.unexplained),
            "explanations": [
                {"words": list(one.words), "log_weight": round(one.log_weight, 3), "left": one.left}
                for one in self.explanations
            ],
            "sets": self.sets,
            "covered": [round(x, 4) for x in self.covered],
        }


def suspects_for_case(
    workshop: Workshop,
    case: str,
    book: DeviceBook,
    machine: MachineModel | None = None,
    most: int = 8,
    without: Collection[str] = (),
) -> SuspectsView:
    """The suspects of a case over parts, joints, contacts, tracks, bridges and rails, and the step worth most now.

    ``machine``: what the machine's own file says; None: only "starts" and "does not start". ``without``: kinds of step that the bench lacks the means
    for (``WITHOUT``). Nothing is stored; the log is all there is.
    """
    binding = bind(workshop, case)
    made = board_of_case(binding, book, machine, workshop.fields)
    evidence = evidence_of(workshop, case, binding, made)
    state = observed(initial(made.field), evidence.found)
    return _view(binding, made, state, evidence, most, without)


def starts_of_case(
    workshop: Workshop, case: str, book: DeviceBook, machine: MachineModel | None = None
) -> dict[str, Any]:
    """The counted starts of a case and what they say, as plain JSON values: see ``startwork.starts_view``."""
    binding = bind(workshop, case)
    made = board_of_case(binding, book, machine, workshop.fields)
    evidence = evidence_of(workshop, case, binding, made)
    state = observed(initial(made.field), evidence.found)
    return starts_view(workshop, case, state, made.machine, evidence.repaired)


def evidence_of(workshop: Workshop, case: str, binding: Binding, made: PoweredBoard) -> _Evidence:
    """The case's log as observations, thermal pictures and all."""
    seen = witnesses(workshop, case, binding, made.circuit, made.machine)
    found = _Evidence(binding, made, wave_features(workshop, case), heat_pictures(workshop, case), seen)
    found.gather()
    return found


def wave_features(workshop: Workshop, case: str) -> dict[str, dict[str, Any]]:
    """What the waves of a case were measured to be, by entry."""
    found: dict[str, dict[str, Any]] = {}
    for one in workshop.store.entries(case):
        features = one.payload.get("features") if one.kind == "wave" else None
        if isinstance(features, Mapping):
            found[one.id] = dict(features)
    return found


def heat_pictures(workshop: Workshop, case: str) -> dict[str, dict[str, Any]]:
    """What the thermal pictures of a case said of each part, by entry: ``{part: {"verdict", "words", ...}}``."""
    found: dict[str, dict[str, Any]] = {}
    for one in workshop.store.entries(case):
        picture = one.payload.get("picture") if one.kind == "heat" else None
        parts = picture.get("parts") if isinstance(picture, Mapping) else None
        if isinstance(parts, Mapping):
            found[one.id] = dict(parts)
    return found


def board_of_case(
    binding: Binding, book: DeviceBook, machine: MachineModel | None, keep: FieldKeep | None = None
) -> PoweredBoard:
    """The powered board of a case, kept as long as its copper, areas and numbers stay; ``keep``: where its fault sets outlast the command."""
    model = machine or MachineModel()
    areas = marked(binding.areas)
    factors = factors_in(binding.state).get(PART, {})
    key = ("powered", id(binding.graph), areas, repr(binding.basis), book.digest, model, tuple(sorted(factors.items())))
    if key not in binding.kept:
        table = FaultTable(copper=binding.basis)
        states = part_states(binding.state)
        made = powered_board(
            binding.board, binding.graph, areas, book, model, table, states=states, keep=keep, factors=factors
        )
        names = {
            (net, node): f"{points[0].id} ({net})"
            for net, tree in made.trees.items()
            for node, points in tree.points.items()
        }
        made.field.memo["place names"] = names
        binding.kept[key] = (binding.graph, made)
    kept: PoweredBoard = binding.kept[key][1]
    return kept


class _Evidence:
    """The log as observations: what is used, what is not and why, what speaks no more because something was repaired since."""

    def __init__(
        self,
        binding: Binding,
        made: PoweredBoard,
        features: Mapping[str, Mapping[str, Any]],
        heat: Mapping[str, Mapping[str, Any]] | None = None,
        witnesses: Sequence[tuple[Witness, int, bool]] = (),
    ) -> None:
        self.binding, self.made, self.features = binding, made, features
        self.witnesses = witnesses
        self.heat = heat or {}
        self.state: CaseState = binding.state
        self.found: list[Observation] = []
        self.unused: list[tuple[str, str]] = []
        self.expired: list[tuple[str, str]] = []
        self.seen_start = False
        self.counted = Counted(None, False, ())
        repairs = [a.at for a in self.state.acts if a.kind in REPAIRS and is_repair(a)] + [
            w.at for w in self.state.wires
        ]
        self.repaired = max(repairs, default=-1)

    def gather(self) -> None:
        """All of it, in the order of the log."""
        self.counted = counted(self.state, self.made.machine, self.repaired)
        for one in self.state.readings:
            if one.kind in ("level", "volts", "hertz", "wave"):
                self._powered(one)
        self._copper()
        self._starts()
        for act in self.state.acts:
            if act.kind in ("swap", "fit") and act.part and not act.trial:
                self.found.append(Renewed(act.part, act.entry))
        self._pictures()
        self._found_elsewhere()
        self._by_hand()
        looks = looks_read(self.binding, self.made)
        self.found += looks.found
        self.unused += looks.unused
        self.expired += looks.expired

    def _found_elsewhere(self) -> None:
        """What memory tests, ROM read-outs and readings compared say; from before the last repair only what reads right counts."""
        for one, at, good in self.witnesses:
            if at < self.repaired and not good:
                self.expired.append((one.entry, f"{one.words}: something was repaired since"))
            else:
                self.found.append(one)

    def _by_hand(self) -> None:
        """Contacts worked on, chips swapped for a try, checks of chips, the supply's figures; from before the last repair only what lasts."""
        found, unused = hand_evidence(self.binding, self.made, self.made.machine.spares)
        self.unused += unused
        for one in found:
            if one.at < self.repaired and not one.lasts:
                words = observation_words(self.made.field, one.seen)
                self.expired.append((one.seen.entry, f"{words}: something was repaired since"))
            else:
                self.found.append(one.seen)

    def _pictures(self) -> None:
        """What the thermal pictures say of each part, of each the latest; cold and hot from before the last repair speak no more."""
        last: dict[str, Warmth] = {}
        for one in self.state.readings:
            for part, said in self.heat.get(one.entry, {}).items() if one.kind == "heat" else ():
                verdict, words = str(said.get("verdict", "")), str(said.get("words", ""))
                if verdict not in VERDICTS:
                    continue
                if not warms(self.made.field, part):
                    self.unused.append((one.entry, f"{part}: {words}"))
                elif one.at < self.repaired and verdict != "even":
                    self.expired.append((one.entry, f"{part} {verdict}: something was repaired since"))
                else:
                    last[part] = Warmth(part, verdict, words, one.entry)
        self.found += last.values()

    # ---- under power ----
    def _powered(self, one: Reading) -> None:
        if one.kind == "level" and one.says in COMPARED:
            self._compared(one)
            return
        for k, point in enumerate(one.points[:1] if one.kind != "wave" else one.points):
            place = self._place(point)
            if place is None:
                self.unused.append((one.entry, f"{point.id}: nothing is expected there"))
                continue
            odd = VERDICT_ODD.get(self._verdict(one, k)) if one.kind == "wave" else None
            if odd is not None:
                self._add_odd(Odd(place[0], place[1], odd, one.entry), one.at)
                if odd == RUNTS:
                    self._add(Look(place[0], place[1], PULSING, False, one.entry, self._taken_with(one)), one.at)
                continue
            outcome = self._outcome(one, place, k)
            if outcome is None:
                self.unused.append((one.entry, f"{point.id}: {self._untold(one)}"))
                continue
            seen = Look(place[0], place[1], outcome[0], outcome[1], one.entry, self._taken_with(one))
            if not self._while_it_worked(one, seen):
                self._add(seen, one.at)

    def _while_it_worked(self, one: Reading, seen: Look) -> bool:
        """Whether a reading was taken under a condition in which the machine always worked, and saw nothing wrong: it says nothing of a fault that is away then."""
        if not one.condition or one.condition not in self.counted.works_when:
            return False
        k = self.made.field.spot_at.get((seen.net, seen.node))
        if k is None or not self._normal(k, seen):
            return False
        words = f"{observation_words(self.made.field, seen)}: read {one.condition}, when it always worked; that says nothing of a fault that is away then"
        self.unused.append((one.entry, words))
        return True

    def _compared(self, one: Reading) -> None:
        """Millivolts compared along a net: the pin they lead to, or none."""
        point = one.points[0]
        place = self._place(point)
        if place is None or place[0] in self.made.circuit.rails:
            self.unused.append((one.entry, f"{point.id}: no net of signals that the belief holds"))
            return
        found = Sink(place[0], f"{point.part}.{point.pin}" if one.says == "holds" else "", one.entry)
        if one.at < self.repaired:
            self.expired.append(
                (one.entry, f"{observation_words(self.made.field, found)}: something was repaired since")
            )
        else:
            self.found.append(found)

    def _outcome(self, one: Reading, place: tuple[str, int], k: int) -> tuple[int, bool] | None:
        rail = self.made.circuit.rails.get(place[0])
        if one.kind == "level":
            if one.taken_with == "meter" and one.says in ("high", "floating") and self._moves(place[0]):
                return None
            found = LEVEL_OUTCOME.get(one.says)
            return found if rail is None or found is None else (found[0], False)
        if one.kind == "wave":
            return VERDICT_OUTCOME.get(self._verdict(one, k))
        if one.value is None:
            return None
        if one.kind == "hertz":
            return self._frequency(one, place)
        return self._voltage(one.value, place)

    @staticmethod
    def _untold(one: Reading) -> str:
        if one.kind == "level" and one.taken_with == "meter" and one.says in ("high", "floating"):
            return f"{one.says} on a meter; the line should move, and a meter shows the mean of what moves: look with a scope or a logic probe"
        return "it tells no fault from another"

    def _moves(self, net: str) -> bool:
        """Whether a net moves on a sound board: a meter shows the mean of what moves, any voltage between."""
        return self.made.behaviour.healthy_symbol(net) == RIGHT

    def _taken_with(self, one: Reading) -> str:
        """A level in words counts as its instrument shows it, as a scope's or a logic probe's where none was told; a voltage is a meter's; a wave without
        any voltage is a logic analyser's."""
        if one.kind == "level":
            return TAKEN_BY.get(one.taken_with, ANY)
        if one.kind != "wave":
            return SCOPE
        said = self.features.get(one.entry, {})
        return ANALYSER if "low_v" in said and said["low_v"] is None and said.get("high_v") is None else SCOPE

    def _verdict(self, one: Reading, k: int) -> str:
        """The verdict of a wave's k-th point."""
        said = self.features.get(one.entry, {})
        verdicts = said.get("verdicts")
        found = verdicts[k] if isinstance(verdicts, list) and k < len(verdicts) else said.get("verdict", one.says)
        return str(found).lower()

    def _voltage(self, volt: float, place: tuple[str, int]) -> tuple[int, bool] | None:
        rail = self.made.circuit.rails.get(place[0])
        if rail is not None and rail.ground:
            return (LOW, False) if abs(volt) < 0.2 else (FLOATING, False)
        if rail is not None:
            share = volt / rail.nominal_v
            if share < 0.5:
                return FLOATING, False
            return (LOW, False) if share < 1.0 - 1.2 * rail.tolerance_percent / 100.0 else (HIGH, False)
        if self._moves(place[0]) and LOW_V < volt < 4.5:
            return None
        return (LOW, False) if volt <= LOW_V else (HIGH, False) if volt >= HIGH_V else (FLOATING, False)

    def _frequency(self, one: Reading, place: tuple[str, int]) -> tuple[int, bool] | None:
        """Judged with its own resolution: half the last digit that was typed. One too coarse to tell says that it moves, no more."""
        want = self.made.behaviour.hertz.get(place[0])
        if one.value is None or one.value <= 0:
            return LOW, False
        if want is None:
            return PULSING, False
        coarse = 0.5 * last_digit(one.raw, one.value)
        off = abs(one.value - want)
        if off > max(CRYSTAL_PPM * 1e-6 * want, coarse):
            return WRONG, True
        return PULSING, coarse <= 0.02 * want

    def _add(self, one: Look, at: int) -> None:
        k = self.made.field.spot_at.get((one.net, one.node))
        if k is None:
            self.unused.append((one.entry, f"{one.net}: no place that the belief looks at"))
            return
        if at < self.repaired and not self._normal(k, one):
            self.expired.append((one.entry, f"{observation_words(self.made.field, one)}: something was repaired since"))
            return
        self.found.append(one)

    def _add_odd(self, one: Odd, at: int) -> None:
        if at < self.repaired:
            self.expired.append((one.entry, f"{observation_words(self.made.field, one)}: something was repaired since"))
        else:
            self.found.append(one)

    def _normal(self, k: int, one: Look) -> bool:
        spot = self.made.field.spots[k]
        healthy = {0: LOW, 1: HIGH, 2: PULSING, 4: FLOATING}.get(spot.healthy)
        if spot.rail:
            healthy = LOW if spot.ground else HIGH
        return one.outcome == healthy

    # ---- copper ----
    def _copper(self) -> None:
        for one in self.binding.evidence:
            a, b = self._node_of(one.point_a), self._node_of(one.point_b)
            if a is None or b is None or one.says not in ("closed", "open", "ohms"):
                continue
            closed = one.says == "closed" or (one.ohms is not None and one.ohms <= self.binding.basis.closed_below_ohm)
            if a[0] != b[0]:
                self.found.append(Apart(a[0], b[0], closed, one.entry, a[1], b[1]))
            elif a[1] != b[1]:
                self.found.append(Beep(a[0], a[1], b[1], closed, one.entry))

    def _node_of(self, point_id: str) -> tuple[str, int] | None:
        known = self.made.field.memo.get("point nodes")
        if known is None:
            known = {
                p.id: (net, node)
                for net, tree in self.made.trees.items()
                for node, points in tree.points.items()
                for p in points
            }
            known |= self._other_points(known)
            self.made.field.memo["point nodes"] = known
        found: tuple[str, int] | None = known.get(point_id)
        return found

    def _other_points(self, known: Mapping[str, tuple[str, int]]) -> dict[str, tuple[str, int]]:
        """Points that share the metal of a place that is looked at."""
        at = {p.node: known[p.id] for p in self.binding.graph.points if p.id in known}
        return {p.id: at[p.node] for p in self.binding.graph.points if p.id not in known and p.node in at}

    def _place(self, ref: PointRef) -> tuple[str, int] | None:
        point = point_now(self.binding.graph, ref)
        found = self._node_of(point.id) if point is not None else None
        return found or (self.made.node_of_pin(f"{ref.part}.{ref.pin}") if ref.part else None)

    # ---- starts ----
    def _starts(self) -> None:
        """The last start since the last repair decides; without one, the complaint stands: it does not start as it should."""
        last: Start | None = None
        for up in self.state.power_ups:
            for seen in up.seen:
                self.seen_start |= bool(seen.screen) and seen.at > self.repaired
                k = self.made.machine.screen(seen.screen) if seen.screen else None
                if k is not None and seen.at > self.repaired:
                    last = Start(k, seen.entry)
                elif k is not None:
                    self.expired.append((seen.entry, f"screen {seen.screen}: something was repaired since"))
                elif seen.screen:
                    self.unused.append((seen.entry, f"screen {seen.screen!r}: the machine's file has no such screen"))
        for note in self.state.notes:
            k = self.made.machine.screen(note.key) if note.kind == "symptom" and note.key else None
            if k is not None and note.result != "gone" and note.at > self.repaired:
                last = Start(k, note.entry)
            elif k is None and note.kind == "symptom" and note.key:
                self.unused.append((note.entry, f"symptom {note.key!r}: the machine's file has no such screen"))
        if self.counted.seen is not None:
            self.found.append(self.counted.seen)
            self.seen_start = True
        works = self.made.machine.screen("works")
        if self.counted.mixed and last is not None and last.screen == works:
            last = None
        if (
            last is None
            and self.counted.seen is not None
            and not self.counted.mixed
            and all(t.good == t.of for t in self.counted.seen.tallies)
        ):
            return
        self.found.append(self._after_work(last) or last or Start(-1))

    def _after_work(self, last: Start | None) -> Start | None:
        """What the last repair did to the machine, where its entry tells it and no start was noted since: cured is a start that works."""
        act = next((a for a in reversed(self.state.acts) if a.at == self.repaired and a.effect), None)
        if act is None or last is not None:
            return None
        self.seen_start = True
        works = self.made.machine.screen("works")
        return Start(works, act.entry) if act.effect == "cured" and works is not None else None


def bench_now(
    binding: Binding, made: PoweredBoard, evidence: _Evidence, without: Collection[str]
) -> tuple[BenchNow, str, str]:
    """The bench now, why power must stay off (or ""), and what comes before power (or "")."""
    state = binding.state
    gate = gate_of(binding)
    stop = ""
    shorted = next((one.words for one in gate.items if one.danger), "")
    last = state.power_ups[-1] if state.power_ups else None
    seen = last.seen if last is not None else ()
    abort = next((g.abort_a for g in reversed(state.gate) if g.abort_a is not None), None)
    if any(one.smell for one in seen):
        stop = "Something smelled at the last power-up: power stays off until that is found."
    elif abort is not None and any(one.current_a is not None and one.current_a >= abort for one in seen):
        stop = "The current went over the abort value at the last power-up: power stays off until that is found."
    elif shorted and not gate.overridden:
        stop = f"{shorted} Power stays off until that is found."
    gate_first = (
        "" if gate.open or state.power_on or stop else "Pass the gate before power first (coppermend case show). Then: "
    )
    states = dict(binding.graph.part_states)
    spares = tuple(p for p in made.machine.spares if str(states.get(p, "")) == "socketed")
    on = state.power_on and not stop
    work = hand_work(binding, made, made.machine, not stop)
    swaps = tuple(dict.fromkeys((*spares, *work.swaps)))
    now = BenchNow(
        powered=on,
        scope_ready=False,
        may_power=not stop,
        analyser="wave" not in without,
        swaps=swaps if not stop and "swap" not in without else (),
        camera="heat" not in without,
        seen_start=evidence.seen_start,
        mended=MENDED if evidence.repaired >= 0 and not evidence.seen_start else 0.0,
        sides=sides_to_look(binding, made),
        tallies=evidence.counted.seen.tallies if evidence.counted.mixed and evidence.counted.seen else None,
        hands=work.hands,
    )
    return now, stop, gate_first


def _view(
    binding: Binding, made: PoweredBoard, state: State, evidence: _Evidence, most: int, without: Collection[str]
) -> SuspectsView:
    field = state.field
    bench, stop, gate_first = bench_now(binding, made, evidence, without)
    found = suspects(state, most)
    settled = verdict(state)
    named = settled.unit if settled.stands else ""
    ranked = best_of_kinds(ranked_steps(state, bench, binding.costs, 64))
    rows = [proposed(made, one, gate_first) for one in ranked]
    first = rows[0] if rows else None
    shorted = rails_shorted(binding, made)
    return SuspectsView(
        found,
        first.step if first else None,
        first.words if first else f"{found[0].words}: mend that, then look again." if named else "",
        step_reason(first.step, 1.0) if first else "",
        first.caution if first else "",
        first.points if first else (),
        tuple((one.entry, observation_words(field, one)) for one in state.evidence),
        tuple(evidence.unused),
        tuple(evidence.expired),
        named,
        first is None and not named and not any(one.next for one in shorted),
        tuple(observation_words(field, one) for one in unexplained(state)),
        field.sets,
        field.covered,
        stop,
        explanations(state, 10),
        first.risk if first else "",
        tuple(rows[1:]),
        _kept_back(binding, made, found),
        copper_first(binding, state, ranked, bench.powered),
        shorted,
        (*look_conflicts(binding.state, binding.graph), *chip_conflicts(binding)),
    )


def _kept_back(binding: Binding, made: PoweredBoard, found: Sequence[Suspect]) -> tuple[tuple[str, str], ...]:
    """Of the suspected parts those that the owner's limits keep from being replaced, each with why."""
    blamed = {one.part for one in found if one.part and one.p >= LEAST_P}
    return tuple(row for row in hand_work(binding, made, made.machine, True).kept_back if row[0] in blamed)


def pins_of_net(made: PoweredBoard, net: str) -> tuple[tuple[str, int], ...]:
    """The places (net, node) of a net's pins that drive or read it, each once."""
    taps = made.behaviour.trees[net].taps
    return tuple(
        dict.fromkeys((net, taps[t.id]) for t in made.circuit.nets[net] if t.kind != "passive" and t.id in taps)
    )


def proposed(made: PoweredBoard, step: SuspectStep, gate_first: str) -> Proposed:
    spots = pins_of_net(made, step.spots[0][0]) if step.kind == "sink" else step.spots
    points = tuple(made.trees[net].points[node][0].id for net, node in spots if made.trees[net].points.get(node))
    before = gate_first if step.kind not in ("check", "apart", "inspect") else ""
    return Proposed(step, before + step_words(made.field, step), points, step_risk(step), step_caution(step))
