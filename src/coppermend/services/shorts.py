"""A short of a case: where its two nets touch as far as the readings say, and which reading to take next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.belief.model import Evidence
from coppermend.core.belief.ohmic import FOUR_WIRE, LIMIT_MM, Instrument, OhmsReading, short_forms
from coppermend.core.belief.shorts import MISFIT, ShortBelief, ShortModel, likely, locate
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.copper.bridges import OPEN_MM, BridgePlace
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.copper.neighbours import RANKS
from coppermend.core.copper.places import Places, layer_words, mm_words
from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import plain
from coppermend.core.log.values import ohm_words
from coppermend.core.planning.describe import point_words
from coppermend.core.planning.ohms_next import next_reading, reachable_points
from coppermend.services.bind import Binding, bind
from coppermend.services.bridging import model_of
from coppermend.services.clearedwork import cleared_pairs
from coppermend.services.meters import instrument_of
from coppermend.services.ohmsassumed import short_assumed
from coppermend.services.points import point_now
from coppermend.services.wires import net_index
from coppermend.services.workshop import Workshop

SHORT_BELOW_OHM = 20.0
"""A reading across two nets below this is taken for a bridge; above it a part lies between them (common practice, no source)."""
ENOUGH_MM = 2.0
"""A 90 % width up to this is a place to look at with a glass: no further reading is proposed."""
CAUTION = (
    "Board unpowered, parts that join the two nets (chips, capacitors) out where they can be. With a supply instead of a meter: limit it to 1 A and "
    "0.3 V, so that no chip conducts; copper that warms reads 0.4 % more for each kelvin."
)


@dataclass(frozen=True, slots=True)
class ShortPlace:
    """A place where the bridge may sit, with its probability."""

    words: str
    p: float
    x_mm: float
    y_mm: float
    layer: str
    gap_mm: float
    kind: str


@dataclass(frozen=True, slots=True)
class ShortStep:
    """The next reading: ``form`` ohms (both tips of each wire pair at the same points) or transfer; expected 90 % width is not promised, its variance is."""

    form: str
    force: tuple[str, str]
    sense: tuple[str, str]
    words: str
    note_words: str
    expected_ohm: float | None
    sd_now_mm: float
    sd_after_mm: float


FEW = 3
"""Fewer readings than this say nothing of the meter: the bridge's and both coppers' resistances are unknown together (three figures)."""
WIDTH_SD = 3.29
"""The 90 % width of a bell curve in standard deviations (2 x 1.645)."""


@dataclass(frozen=True, slots=True)
class ShortAnswer:
    """Where the short of two nets is. ``state``: located, narrowing, too coarse, no fit, nowhere. ``ellipse``: the 90 % ellipse of the place:
    middle ``x_mm``, ``y_mm``; half axes ``half_long_mm`` and ``half_short_mm`` (``long_mm`` and ``short_mm`` are their older names, the same figures);
    ``angle_deg`` from the board's x axis to the long one, counted towards its y axis. ``ellipse_words``: the same in words, whole axes; "" where readings say nothing."""

    net_a: str
    net_b: str
    state: str
    words: str
    width_90_mm: float
    ellipse: dict[str, float]
    ellipse_words: str
    bridge_ohm: float
    bridge_sd_ohm: float
    places: tuple[ShortPlace, ...]
    readings: tuple[str, ...]
    left_out: tuple[str, ...]
    instrument: str
    next: ShortStep | None
    notes: tuple[str, ...]
    caution: str = CAUTION
    bridge_words: str = ""
    """The bridge's ohms with what they may be off, in digits that the instrument has; "" without a reading."""
    assumed: tuple[str, ...] = ()
    """What place, ellipse and bridge rest on."""

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return dict(plain(self))


def locate_short(
    workshop: Workshop, case: str, between: tuple[str, str] | None = None, meter: Instrument | None = None
) -> ShortAnswer:
    """Where the short of a case is, from its ohms readings. ``between``: names of the two nets; without it those of the last reading that shows one.

    ``meter``: with what the next reading will be taken; without it as the last one was. Refusal SHO-001 when no reading shows a short, SHO-002 when the
    two names are one net, SHO-003 for a board whose copper nobody knows.
    """
    return short_of(bind(workshop, case), between, meter)


def short_of(
    binding: Binding, between: tuple[str, str] | None = None, meter: Instrument | None = None, *, propose: bool = True
) -> ShortAnswer:
    """``locate_short`` of a bound case. ``propose`` False: no next reading is worked out."""
    graph = binding.graph
    a, b = nets_in_short(binding, between)
    points = {p.id: p for p in graph.points}
    model = model_of(binding, a, b)
    names = (graph.net_names[a], graph.net_names[b])
    if model is None:
        words = f"The copper of {names[0]} and {names[1]} comes nowhere within {OPEN_MM:g} mm on an outer layer: the short is in a part, a socket, or inside the board."
        return ShortAnswer(
            *names,
            "nowhere",
            words,
            0.0,
            {},
            "",
            0.0,
            0.0,
            (),
            (),
            (),
            "",
            None,
            ("Take out the parts that join both nets one after the other.",),
        )
    readings, said, left_out = _readings(binding, model, points)
    belief = locate(model, readings)
    instrument = meter or (readings[-1].instrument if readings else FOUR_WIRE)
    return _answer(binding, model, belief, readings, said, left_out, instrument, names, propose)


def nets_in_short(binding: Binding, between: tuple[str, str] | None = None) -> tuple[int, int]:
    """The two nets of a short, whichever is named first: those named, or those of the last reading that shows one. Refusals SHO-001, SHO-002, SHO-003 and WIR-008."""
    if not copper_is_known(binding.board):
        raise refuse(
            "SHO-003",
            "This board comes from a pin list: its copper is not known, so ohms say nothing of a place.",
            "Look at pins of the two nets that stand beside each other, under a glass, first.",
        )
    return _named(binding.graph, between) if between else _from_log(binding)


def readings_of_short(binding: Binding, model: ShortModel) -> list[OhmsReading]:
    """The ohms readings of the case that speak of this short."""
    return _readings(binding, model, {p.id: p for p in binding.graph.points})[0]


def _named(graph: CopperGraph, between: tuple[str, str]) -> tuple[int, int]:
    a, b = (net_index(graph, name) for name in between)
    if a == b:
        raise refuse(
            "SHO-002", f"{between[0]} and {between[1]} are one net.", "Name two nets.", Place(thing=between[0])
        )
    return min(a, b), max(a, b)


def _from_log(binding: Binding) -> tuple[int, int]:
    """The two nets of the last reading that says they are joined."""
    points = {p.id: p for p in binding.graph.points}
    for one in reversed(binding.evidence):
        a, b = points.get(one.point_a), points.get(one.point_b)
        if a is not None and b is not None and a.net != b.net and _joins(one):
            return min(a.net, b.net), max(a.net, b.net)
    cleared = cleared_pairs(binding)
    if cleared:
        first = cleared[0]
        raise refuse(
            "SHO-001",
            f"No reading of this case shows two nets joined now: {first.net_a} and {first.net_b} did (no. {', '.join(map(str, first.numbers))}), and {first.since} "
            "came after those readings and may have parted them, so they speak no more.",
            f"Read {first.a.id} to {first.b.id} again: open, and the short is gone; ohms, and the place is worked out anew. To look at the place that is left "
            f"by the copper alone, name the nets: --between {first.net_a} {first.net_b}.",
        )
    raise refuse(
        "SHO-001",
        f"No reading of this case shows two nets joined (closed, or ohms below {SHORT_BELOW_OHM:g}).",
        "Read ohms from one net to the other: note CASE ohms U1.3 U2.4 0.12 4wire; or name the nets with --between NET NET.",
    )


def _joins(one: Evidence) -> bool:
    return one.says == "closed" or (one.says == "ohms" and one.ohms is not None and one.ohms < SHORT_BELOW_OHM)


def _readings(
    binding: Binding, model: ShortModel, points: dict[str, ProbePoint]
) -> tuple[list[OhmsReading], list[str], list[str]]:
    """Ohms readings on the two nets that still speak, each in words; and those left out, with why."""
    by_entry = {one.entry: one for one in binding.state.readings if one.kind == "ohms"}
    took: list[OhmsReading] = []
    said: list[str] = []
    left_out: list[str] = []
    for one in binding.evidence:
        reading = by_entry.get(one.entry)
        a, b = points.get(one.point_a), points.get(one.point_b)
        if reading is None or one.ohms is None or a is None or b is None:
            continue
        ends = [point_now(binding.graph, p) for p in reading.sense] or [a, b]
        words = f"{a.id} to {b.id}: {ohm_words(one.ohms)}"
        nodes = [p.node for p in (a, b, *[e for e in ends if e is not None])]
        if any(n not in model.a.at and n not in model.b.at for n in nodes):
            continue
        if len(nodes) != 4 or a.node == b.node or ends[0] is None or ends[1] is None:
            left_out.append(f"{words}: a point of it is not there now")
            continue
        made = OhmsReading((a.node, b.node), (ends[0].node, ends[1].node), one.ohms, instrument_of(reading), one.entry)
        if one.ohms >= SHORT_BELOW_OHM:
            left_out.append(f"{words}: too much for a bridge")
        elif not short_forms(model.a, model.b, model.ends, [made]).possible.any():
            left_out.append(f"{words}: no copper leads from one tip to the other")
        else:
            took.append(made)
            where = f", voltage at {reading.sense[0].id} and {reading.sense[1].id}" if reading.sense else ""
            said.append(f"{words}{where}, {made.instrument.words}")
    return took, said, left_out


def _answer(
    binding: Binding,
    model: ShortModel,
    belief: ShortBelief,
    readings: Sequence[OhmsReading],
    said: Sequence[str],
    left_out: Sequence[str],
    instrument: Instrument,
    names: tuple[str, str],
    propose: bool,
) -> ShortAnswer:
    speak = Places(binding.board)
    listed = tuple(_as_place(speak, model.places[k], float(belief.p[k])) for k in likely(belief))
    best = _as_place(speak, model.places[belief.best], float(belief.p[belief.best]))
    following, first = None, _state(belief, readings, None)
    if first != "located" if propose else first == "too coarse":
        following = _next(binding, model, belief, readings, instrument)
    state = _state(belief, readings, following)
    if state == "no fit":
        return _no_fit(binding, best, belief, readings, said, left_out, instrument, names)
    notes = _notes(belief, readings, state, instrument)
    long_mm, short_mm = (round(one, 2) for one in belief.axes_mm)
    ellipse = {
        "x_mm": round(belief.centre[0], 2), "y_mm": round(belief.centre[1], 2), "half_long_mm": long_mm, "half_short_mm": short_mm,
        "long_mm": long_mm, "short_mm": short_mm, "angle_deg": round(belief.angle_deg, 1),
    }  # fmt: skip
    words = _words(state, best, belief, len(readings), instrument)
    return ShortAnswer(
        *names, state, words, round(belief.width_mm, 2), ellipse, _ellipse_words(belief, readings), round(belief.bridge_ohm[0], 5), round(belief.bridge_ohm[1], 5),
        listed, tuple(said), tuple(left_out), instrument.words, following if propose else None, notes,
        bridge_words=_bridge_words(belief, instrument) if readings else "", assumed=short_assumed(binding.board, binding.graph, readings, instrument),
    )  # fmt: skip


def _no_fit(
    binding: Binding,
    best: ShortPlace,
    belief: ShortBelief,
    readings: Sequence[OhmsReading],
    said: Sequence[str],
    left_out: Sequence[str],
    instrument: Instrument,
    names: tuple[str, str],
) -> ShortAnswer:
    """Readings that no one bridge explains: no place, ellipse, bridge or copper is told from them, only that, and what to do."""
    words = _words("no fit", best, belief, len(readings), instrument)
    return ShortAnswer(
        *names, "no fit", words, 0.0, {}, "", 0.0, 0.0, (), tuple(said), tuple(left_out), instrument.words, None,
        _notes(belief, readings, "no fit", instrument), assumed=short_assumed(binding.board, binding.graph, readings, instrument),
    )  # fmt: skip


def _state(belief: ShortBelief, readings: Sequence[OhmsReading], following: ShortStep | None) -> str:
    """A meter is called too coarse once readings were taken and the next one promises no place either; before that the place is open."""
    if readings and belief.misfit < MISFIT:
        return "no fit"
    if len(readings) >= 2 and (belief.width_mm <= ENOUGH_MM or len(belief.held) <= 2):
        return "located"
    promises = following is not None and WIDTH_SD * following.sd_after_mm <= LIMIT_MM
    few = len(readings) < FEW and (following is None or promises)
    return "too coarse" if belief.too_coarse and not few and not promises else "narrowing"


def _words(state: str, best: ShortPlace, belief: ShortBelief, count: int, instrument: Instrument) -> str:
    where = f"{best.words}, {mm_words(max(belief.width_mm, 0.5))} mm"
    if not count:
        return f"No ohms reading yet. Likeliest by the copper alone: {best.words}."
    if state == "located":
        return f"The short is {where} (90 %)."
    if state == "no fit":
        return f"These readings do not fit one bridge between the two nets (chance {belief.misfit:.1e}): a part between them, two bridges, or a tip on the wrong pin."
    if state == "too coarse":
        taken = f"{count} {'reading' if count == 1 else 'readings'}"
        return f"The instrument is too coarse here: 90 % of the probability spreads over {belief.width_mm:.0f} mm (limit {LIMIT_MM:g}) after {taken}, {instrument.words}."
    return f"So far {where} (90 %)."


def _ellipse_words(belief: ShortBelief, readings: Sequence[OhmsReading]) -> str:
    """The 90 % ellipse of the place in words, whole axes; "" before the first reading and where one place is left."""
    if not readings or len(belief.held) < 2:
        return ""
    return (
        f"90 % ellipse of the place: {2 * belief.axes_mm[0]:.1f} by {2 * belief.axes_mm[1]:.1f} mm round {belief.centre[0]:.1f}, "
        f"{belief.centre[1]:.1f} mm, its long axis {belief.angle_deg % 180:.0f} degrees from the board's x axis, as if the place were spread like a bell curve."
    )


def _bridge_words(belief: ShortBelief, instrument: Instrument) -> str:
    """The bridge's ohms no finer than the instrument's last digit: below half of it a bridge reads as nothing."""
    ohm, off = belief.bridge_ohm[0], max(belief.bridge_ohm[1], instrument.step_ohm / 2)
    if ohm < off:
        return f"under {ohm_words(_one_figure(ohm + off))}"
    bound = _one_figure(off)
    unit = 10.0 ** math.floor(math.log10(bound) + 1e-9)
    return f"{ohm_words(round(ohm / unit) * unit)} ± {ohm_words(bound)}"


def _one_figure(ohm: float) -> float:
    """A bound rounded up to one figure: more would claim to know it.

    >>> _one_figure(0.0511), _one_figure(0.002)
    (0.06, 0.002)
    """
    if ohm <= 0.0:
        return 0.0
    unit = 10.0 ** math.floor(math.log10(ohm) + 1e-9)
    return float(round(math.ceil(ohm / unit - 1e-9) * unit, 12))


def _notes(belief: ShortBelief, readings: Sequence[OhmsReading], state: str, instrument: Instrument) -> tuple[str, ...]:
    if state == "no fit":
        return (
            "Take one reading again; take out chips and capacitors that join the nets; read each net by itself.",
            "No place, bridge or copper is told from readings that fit none.",
        )
    notes = []
    ellipse = _ellipse_words(belief, readings)
    if ellipse:
        notes.append(ellipse)
    if readings:
        notes.append(f"Bridge {_bridge_words(belief, instrument)}" + _copper_words(belief, readings))
    if len(readings) == 1:
        notes.append(
            "One reading cannot tell the bridge's resistance from the copper's: the place comes with the next ones."
        )
    if state == "too coarse":
        notes.append(
            "A four-wire meter, or a current-limited supply and a millivolt meter on points of their own, reads a hundred times finer."
        )
    return tuple(notes)


def _copper_words(belief: ShortBelief, readings: Sequence[OhmsReading]) -> str:
    """What the readings say of the copper's thickness; before three of them it is assumed nominal, not found."""
    if len(readings) < FEW:
        return f"; the copper is taken as nominal until {FEW} readings are there."
    return f", copper {belief.scale_a:.2f} and {belief.scale_b:.2f} times its nominal resistance."


def _as_place(speak: Places, place: BridgePlace, p: float) -> ShortPlace:
    if place.pin_a and place.pin_b:
        words = f"between {place.pin_a} and {place.pin_b}"
    elif place.pin_a or place.pin_b:
        words = f"at {place.pin_a or place.pin_b}"
    else:
        words = speak.words(place.x_mm, place.y_mm)
    side = layer_words(place.layer)
    words = f"{words}, {side}" + ("" if place.kind == RANKS[0] else f" ({place.x_mm:.1f}, {place.y_mm:.1f} mm)")
    return ShortPlace(words, round(p, 5), place.x_mm, place.y_mm, place.layer, round(place.gap_mm, 3), place.kind)


def step_of_short(
    binding: Binding, model: ShortModel, belief: ShortBelief, readings: Sequence[OhmsReading], instrument: Instrument
) -> ShortStep | None:
    """The reading that narrows the place of a short most, None where none does."""
    return _next(binding, model, belief, readings, instrument)


def _next(
    binding: Binding, model: ShortModel, belief: ShortBelief, readings: Sequence[OhmsReading], instrument: Instrument
) -> ShortStep | None:
    """The next reading in points and words."""
    reach = reachable_points(binding.graph, model.a, model.b)
    plan = next_reading(model, readings, belief, reach, instrument)
    if plan is None:
        return None
    at: dict[int, ProbePoint] = {}
    for p in sorted(reach, key=lambda p: (p.side != "s", p.id)):
        at.setdefault(p.node, p)
    force, sense = [at[n] for n in plan.force], [at[n] for n in plan.sense]
    likeliest = short_forms(model.a, model.b, [model.ends[belief.best]], [OhmsReading(plan.force, plan.sense)]).x[0, 0]
    ohm = float(likeliest @ (belief.scale_a, belief.scale_b, belief.bridge_ohm[0]))
    if plan.transfer:
        words = f"Current in at {point_words(force[0])}, out at {point_words(force[1])}; voltage between {point_words(sense[0])} and {point_words(sense[1])}."
        noted = f"ohms {force[0].id} {force[1].id} OHM sense {sense[0].id} {sense[1].id}"
    else:
        words = f"Ohms from {point_words(force[0])} to {point_words(force[1])}" + (
            ", all four leads on these two." if instrument.wires == 4 else "."
        )
        noted = f"ohms {force[0].id} {force[1].id} OHM" + (
            " 4wire" if instrument.wires == 4 else f" step={instrument.step_ohm:g}"
        )
    return ShortStep(
        "transfer" if plan.transfer else "ohms", (force[0].id, force[1].id), (sense[0].id, sense[1].id), words, noted,
        round(ohm, 5), round(math.sqrt(max(plan.now_mm2, 0.0)), 2), round(math.sqrt(max(plan.after_mm2, 0.0)), 2),
    )  # fmt: skip
