"""A practice patient behind a case: it answers the tips as a broken board would, and shows its truth at the end.

The log keeps what the patient is made from (seed, number of breaks, areas, noise), never which site is broken: the same entry makes the same
patient on every machine. What the bench does to it (patch wires, parts in or out, joints soldered again) is taken from the log.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from math import hypot
from typing import Any

from coppermend.core.belief.model import WorkArea
from coppermend.core.copper.laps import run_of
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.copper.neighbours import WINDOW_MM, Neighbour, neighbours
from coppermend.core.copper.worked import PatchWire, TrackCut, worked
from coppermend.core.findings import refuse
from coppermend.core.log.model import Entry
from coppermend.core.log.state import CaseState, plain
from coppermend.core.log.values import ohm_words
from coppermend.core.planning.describe import point_words as describe
from coppermend.practice.drawing import draw_breaks, draw_bridges, draw_patient
from coppermend.practice.patient import BEEP_OHM, OXIDISED_FALSE_OPEN, Answer, Patient, Truth
from coppermend.services.bench import bridge_points, pairs_to_read, round_for_case, spans_for_case
from coppermend.services.bind import CLEARED_MM, Binding, bind, part_states, sockets
from coppermend.services.entries import write
from coppermend.services.points import resolve
from coppermend.services.practice import PracticeSetting, refuse_no_rates, run
from coppermend.services.workshop import Workshop

_MENDED_BY_SOLDER = (SiteKind.JOINT,)
_MENDED_BY_RESEAT = (SiteKind.CONTACT, SiteKind.LEG)


@dataclass(frozen=True, slots=True)
class Touched:
    """What the patient's meter says: ``says`` closed or open, ``ohms`` it shows (None = overload), ``words`` for the page."""

    says: str
    ohms: float | None
    words: str

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return {"says": self.says, "ohms": self.ohms, "words": self.words}


@dataclass(frozen=True, slots=True)
class Lies:
    """How the bench of a patient lies, as the options of ``practice run``: rates from 0 to 1. None: drawn by the patient's seed.

    >>> Lies(slips=0.01).given()
    {'slips': 0.01}
    """

    false_open: float | None = None
    false_closed: float | None = None
    oxidised: float | None = None
    slips: float = 0.0
    mixed_up: float = 0.0
    intermittent: float = 0.0

    def given(self) -> dict[str, float]:
        """What was asked for, by name; the rest is as it is for every patient."""
        return {f.name: float(v) for f in fields(self) if (v := getattr(self, f.name)) != f.default}


NO_WISH = Lies()


@dataclass(frozen=True, slots=True)
class TrueBreak:
    """One thing that was really broken: net, words, where it is drawn, and whether it was found (inside an announced span) or mended."""

    net: str
    words: str
    layer: str
    path: tuple[tuple[float, float], ...]
    found: bool
    mended: bool


@dataclass(frozen=True, slots=True)
class TruthShown:
    """The patient's truth, marked: its breaks, and one line that says how it went."""

    breaks: tuple[TrueBreak, ...]
    readings: int
    words: str
    lies: tuple[str, ...] = ()
    """How its readings lied, a sentence each."""

    def as_dict(self) -> dict[str, Any]:
        """The truth as plain JSON values."""
        return {
            "breaks": plain(self.breaks),
            "readings": self.readings,
            "words": self.words,
            "lies": list(self.lies),
        }


def put_patient(
    workshop: Workshop,
    case: str,
    *,
    seed: int,
    breaks: int,
    noise: str = "standard",
    lies: Lies = NO_WISH,
    bridges: int = 0,
) -> Entry:
    """Put a practice patient behind a case: ``breaks`` sites broken, drawn by the standard damage in the case's work areas, and ``bridges`` of solder between
    nets that lie near each other there.

    ``noise`` standard, or off: no false reading but those that ``lies`` asks for by slips, mixed-up answers and loose joints. Refusals PRA-007 for a
    number that is no rate, PRA-004 for more bridges than gaps, PRA-010, PRA-011.
    """
    refuse_no_rates({name.replace("_", "-"): rate for name, rate in lies.given().items()})
    if noise not in ("standard", "off"):
        raise refuse("PRA-010", f"There is no noise {noise!r}.", "Say standard or off.")
    state = bind(workshop, case).state
    if state.practice:
        raise refuse(
            "PRA-011", "A practice patient is behind this case already.", "Open another case for another patient."
        )
    areas: list[Any] = [
        {"polygon": [list(xy) for xy in one.polygon], "kind": one.kind, "severity": one.severity} for one in state.areas
    ]
    wished: dict[str, Any] = {"lies": lies.given()} if lies.given() else {}
    if bridges:
        binding = bind(workshop, case)
        draw_bridges(binding.base, _near(binding, binding.areas), seed, bridges)
        wished["bridges"] = bridges
    spec: dict[str, Any] = {"seed": seed, "breaks": breaks, "noise": noise, "areas": areas, **wished}
    return write(workshop, case, "practice", {"patient": spec})


def telling_seed(workshop: Workshop, case: str, first: int, breaks: int, tries: int = 400) -> int:
    """The first seed from ``first`` whose patient shows the job best: every break lies in a work area, can be proven, and at least one is a track or a via."""
    binding = bind(workshop, case)
    plan = round_for_case(workshop, case)
    kinds = {one.id: one.kind for one in binding.base.sites}
    provable = set(plan.provable)
    for seed in range(first, first + tries):
        broken = draw_breaks(binding.base, binding.areas, seed, breaks)
        if set(broken) <= provable and any(kinds[one] in (SiteKind.RUN, SiteKind.BARREL) for one in broken):
            return seed
    return first


def ask_patient(workshop: Workshop, case: str, point_a: str, point_b: str, attempt: int = 0, wires: int = 2) -> Touched:
    """Set the tips on two points and read the patient's meter. Nothing is noted.

    ``attempt`` counts touches of this pair since it was last noted; ``wires`` 4: a four-wire milliohm meter is read instead of the beeping one.
    """
    binding = bind(workshop, case)
    a, b = resolve(binding.graph, point_a).id, resolve(binding.graph, point_b).id
    if a == b:
        raise refuse("NOT-002", f"Both tips are on {a}.", "Name two different points.")
    patient = _patient(binding)
    patient.met_before(a, b, _noted(binding.state, a, b) + attempt, _said_last(binding.state))
    answer = patient.ask(a, b)
    fine = patient.ohms_between(a, b) if wires == 4 and answer.says == "closed" else None
    return _touched(answer) if fine is None else Touched("closed", fine, f"It shows {ohm_words(fine)}.")


def patient_truth(workshop: Workshop, case: str) -> TruthShown:
    """What was really broken, and which of it was found or mended."""
    binding = bind(workshop, case)
    truth = _truth(binding)
    named = {
        site for span in spans_for_case(workshop, case) if span.p > binding.basis.broken_above for site in span.sites
    } | set(binding.broken)
    named |= {run_of(site) for site in named}
    mended = set(truth.broken) - set(_still_broken(binding, truth))
    bridged = {part for site in binding.broken for part in (site, run_of(site))}
    sites = {one.id: one for one in binding.base.sites}
    rows = tuple(
        TrueBreak(
            binding.base.net_names[site.net], site.words or f"{site.kind} on net {binding.base.net_names[site.net]}", site.layer, site.path,
            site.id in named, site.id in mended or site.id in bridged,
        )
        for site in (sites[one] for one in truth.broken if one in sites)
    ) + _bridges_shown(binding, truth)  # fmt: skip
    found = sum(1 for one in rows if one.found or one.mended)
    readings = sum(1 for one in binding.state.readings if one.kind in ("closed", "open", "ohms"))
    words = f"{found} of {len(rows)} found with {readings} readings."
    return TruthShown(rows, readings, words, _lies_in_words(truth, {k: one.words for k, one in sites.items()}))


def _bridges_shown(binding: Binding, truth: Truth) -> tuple[TrueBreak, ...]:
    """The patient's bridges; found when the readings say beyond doubt that the two nets touch, mended when they were cleared."""
    points, names = {p.id: p for p in binding.base.points}, binding.base.net_names
    likely, at = bridge_points(binding), {p.id: p.net for p in binding.graph.points}
    said = {frozenset(at[one] for one in likely)} if likely else set()
    rows = []
    for a, b in ((points[one], points[two]) for one, two in truth.shorts):
        cleared = (a.id, b.id) not in _still_bridged(binding, truth)
        words = f"solder between {describe(a)} and {describe(b)}"
        path = ((a.x_mm, a.y_mm), (b.x_mm, b.y_mm))
        found = frozenset((a.net, b.net)) in said
        rows.append(TrueBreak(f"{names[a.net]} and {names[b.net]}", words, a.side, path, found, cleared))
    return tuple(rows)


def _lies_in_words(truth: Truth, places: Mapping[str, str]) -> tuple[str, ...]:
    """How a patient's readings lied, a sentence each; "" for what it did not do."""
    noise = truth.noise
    rates = (
        (noise.false_open, "of the readings over sound copper were open all the same"),
        (noise.false_closed, "of the readings over a break were closed all the same"),
        (noise.slips, "of the touches stood on the neighbour pin"),
        (noise.mixed_up, "of the answers were those of the check before"),
    )
    said = [f"{100 * rate:.2g} % {words}." for rate, words in rates if rate]
    if noise.oxidised:
        said.append(
            f"{len(noise.oxidised)} probe points were oxidised and read open in {100 * OXIDISED_FALSE_OPEN:.0f} % of the readings there."
        )
    for one in truth.intermittent:
        said.append(f"{places.get(one) or one} was loose: it closed in half of the readings with a tip on it.")
    return tuple(said) or ("Every reading was true.",)


@dataclass(frozen=True, slots=True)
class Compared:
    """Readings on one net taken at the bench against the checks that the planner needs on the same patient, seconds modelled, and a line in words.

    ``apart``: readings between two nets; ``planner_apart``: pairs of nets in the planner's list of the untouched board, each read once where nothing joins
    them, and three times at a bridge (found, read again by other points, read when cleared).
    """

    readings: int
    apart: int
    planner_checks: int
    planner_seconds: float
    words: str
    planner_apart: int = 0

    def as_dict(self) -> dict[str, Any]:
        """The comparison as plain JSON values."""
        return dict(plain(self))


def compared(workshop: Workshop, case: str) -> Compared:
    """How many readings the person took, and how many the planner takes alone on the same patient (policy ``next``, the same noise, from nothing known).

    Readings between two nets (no bridge here?) are counted apart: the policies of practice take none; the length of the planner's list of pairs stands
    beside them. A bridge of the patient is left out of the run on one net. Refusal PRA-012 without a patient.
    """
    binding = bind(workshop, case)
    spec, truth = _spec(binding.state), _truth(binding)
    name = f"planner alone {json.dumps(spec, sort_keys=True)}"
    if name not in binding.base.memo:
        alone = run(
            PracticeSetting(binding.base, tuple(binding.areas)),
            Patient(binding.base, replace(truth, shorts=()), int(spec["seed"])),
            "next",
        )
        binding.base.memo[name] = (len(alone.steps), alone.seconds)
    checks, seconds = binding.base.memo[name]
    two = [one for one in binding.state.readings if one.kind in ("closed", "open", "ohms") and len(one.points) == 2]
    apart = sum(1 for one in two if one.points[0].net != one.points[1].net)
    mine = len(two) - apart
    pairs = pairs_to_read(binding) + 2 * len(truth.shorts)
    words = (
        f"You took {mine} readings on one net and {apart} between two. The planner alone needs {checks} on this patient, {seconds / 60:.0f} minutes modelled, "
        f"and {pairs} between two nets."
    )
    return Compared(mine, apart, checks, seconds, words, pairs)


def _spec(state: CaseState) -> dict[str, Any]:
    if not state.practice:
        raise refuse(
            "PRA-012",
            "No practice patient is behind this case.",
            "Measure on the real board, or open the demonstration: coppermend demo.",
        )
    spec = json.loads(state.practice) if isinstance(state.practice, str) else dict(state.practice)
    return dict(spec)


def _truth(binding: Binding) -> Truth:
    if "patient truth" not in binding.memo:
        spec = _spec(binding.state)
        areas = [
            WorkArea(
                f"p{i}", tuple((float(x), float(y)) for x, y in one["polygon"]), str(one["kind"]), int(one["severity"])
            )
            for i, one in enumerate(spec.get("areas", ()))
        ]
        binding.memo["patient truth"] = draw_patient(
            binding.base,
            areas,
            int(spec["seed"]),
            int(spec["breaks"]),
            noise_off=spec.get("noise") == "off",
            **{name: float(rate) for name, rate in spec.get("lies", {}).items()},
        )
        if spec.get("bridges"):
            near = _near(binding, areas)
            shorts = draw_bridges(binding.base, near, int(spec["seed"]), int(spec["bridges"]))
            binding.memo["patient truth"] = replace(binding.memo["patient truth"], shorts=shorts)
    truth: Truth = binding.memo["patient truth"]
    return truth


def _patient(binding: Binding) -> Patient:
    truth = _truth(binding)
    left = replace(truth, broken=_still_broken(binding, truth), shorts=_still_bridged(binding, truth))
    return Patient(_as_worked(binding), left, int(_spec(binding.state)["seed"]))


def _as_worked(binding: Binding) -> CopperGraph:
    """The patient's copper under the part states, wires and cuts of the log; what the belief holds broken is not taken from it."""
    state = binding.state
    states = part_states(state)
    wires = [PatchWire(one.id, one.a.id, one.b.id, one.diameter_mm, one.length_mm) for one in state.wires]
    cuts = [TrackCut(one.id, layer=one.side, x_mm=one.x_mm, y_mm=one.y_mm) for one in state.cuts]
    return worked(binding.base, states, wires, cuts, sockets(state, binding.base, states))


def _still_broken(binding: Binding, truth: Truth) -> tuple[str, ...]:
    """The broken sites that no act has mended: joints soldered again, contacts of parts reseated or swapped, sockets replaced."""
    soldered = {(ref.part, ref.pin) for act in binding.state.acts if act.kind == "solder" for ref in act.points}
    reseated = {act.part for act in binding.state.acts if act.kind in ("reseat", "swap", "fit", "press") and act.part}
    sites = {one.id: one for one in binding.base.sites}

    def mended(site_id: str) -> bool:
        site = sites.get(site_id)
        if site is None:
            return False
        by_solder = site.kind in _MENDED_BY_SOLDER and (site.part, site.pin) in soldered
        return by_solder or (site.kind in _MENDED_BY_RESEAT and site.part in reseated)

    return tuple(one for one in truth.broken if not mended(one))


def _near(binding: Binding, areas: Sequence[WorkArea]) -> tuple[Neighbour, ...]:
    """The gaps between nets in the areas, on the board before anything was done to its parts."""
    polygons = tuple(area.polygon for area in areas)
    key = f"patient gaps {polygons}"
    if key not in binding.base.memo:
        binding.base.memo[key] = tuple(neighbours(binding.board, binding.base, polygons, WINDOW_MM))
    found: tuple[Neighbour, ...] = binding.base.memo[key]
    return found


def _still_bridged(binding: Binding, truth: Truth) -> tuple[tuple[str, str], ...]:
    """The bridges that nobody has cleared: a note of cleaning or soldering that names points on both nets takes the solder between them away, one that
    names a place the bridge that lies there."""
    names, at = binding.base.net_names, {p.id: p for p in binding.base.points}
    done = {
        frozenset(ref.net for ref in act.points)
        for act in binding.state.acts
        if act.kind in ("clean", "solder") and len(act.points) > 1
    }
    spots = [ref for act in binding.state.acts if act.kind == "clean" for ref in act.points if not ref.part]
    gaps = _near(binding, binding.areas) if spots and truth.shorts else ()
    there = {
        frozenset(names[net] for net in (gap.net_a, gap.net_b))
        for gap in gaps
        for ref in spots
        if ref.side == gap.layer and hypot(ref.x_mm - gap.x_mm, ref.y_mm - gap.y_mm) <= CLEARED_MM
    }
    return tuple(pair for pair in truth.shorts if frozenset(names[at[one].net] for one in pair) not in done | there)


def _noted(state: CaseState, a: str, b: str) -> int:
    """How often this pair was noted: each time is another touch of the tips."""
    pair = {a, b}
    return sum(1 for one in state.readings if {ref.id for ref in one.points} == pair)


def _said_last(state: CaseState) -> Answer | None:
    """What the newest reading by tips said: the answer that a mixed-up person notes once more."""
    for one in reversed(state.readings):
        if one.kind in ("closed", "open"):
            return Answer(one.kind, None)
        if one.kind == "ohms":
            beeps = one.value is not None and one.value <= BEEP_OHM
            return Answer("closed" if beeps else "open", one.value if beeps else None)
    return None


def _touched(answer: Answer) -> Touched:
    if answer.says == "open":
        return Touched("open", None, "No beep; the display shows OL.")
    shown = "" if answer.ohms is None else f" The display shows {answer.ohms:.2f} ohm."
    return Touched("closed", answer.ohms, f"It beeps.{shown}")
