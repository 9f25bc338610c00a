"""What to do now at the bench: the next step, the round, the spans, what is proven and what is not.

Everything is computed from a case's binding and kept with it: asking twice costs nothing, one more entry makes a new binding.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, TypeVar, cast

from coppermend.core.belief.engine import CopperBelief, belief, hurt
from coppermend.core.belief.model import WorkArea
from coppermend.core.belief.ratio import with_ohms_words
from coppermend.core.copper.model import SiteKind
from coppermend.core.copper.neighbours import Neighbour, neighbours
from coppermend.core.copper.unknown import has_unknown
from coppermend.core.findings import Refusal, refuse
from coppermend.core.log.consent import consent_of
from coppermend.core.log.state import plain
from coppermend.core.planning.costs import TipState
from coppermend.core.planning.isolation import isolation_checks
from coppermend.core.planning.model import NextStep, RoundPlan, Span
from coppermend.core.planning.next import next_step
from coppermend.core.planning.ohms_step import OhmsWork, ohms_work
from coppermend.core.planning.risk import risk_of
from coppermend.core.planning.round import plan_round, sites_at_risk
from coppermend.core.planning.spans import not_proven, spans
from coppermend.core.planning.touching import touching
from coppermend.core.rework.wires import WirePlan, propose_wires
from coppermend.services.askedagain import asked_again, asked_again_step
from coppermend.services.bind import Binding, bind
from coppermend.services.bridging import bridges_of
from coppermend.services.clearedwork import cleared_pairs, cleared_step
from coppermend.services.cutwork import cut_check_step, cut_wire_step, lift_step, parted_words
from coppermend.services.laying import board_ways
from coppermend.services.looks import LOOKED, look_conflicts
from coppermend.services.loose import loose_check
from coppermend.services.map_doubt import doubt_words, map_first, tips_of
from coppermend.services.meters import meter_of
from coppermend.services.newwire import between_nets, new_wire_step, open_wire_step, open_wires
from coppermend.services.pinwork import pin_break, pin_step
from coppermend.services.rails import gate_of
from coppermend.services.wirebeside import beside_wires
from coppermend.services.workshop import Workshop

WINDOW_MM = 1.27
"""Nets whose copper comes this near to each other in a work area are checked for a bridge: half the pin pitch of a DIP."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Proof:
    """What the readings prove so far. Site ids; ``words`` say in plain words what is not proven if one stops now."""

    at_risk: tuple[str, ...]
    proven: tuple[str, ...]
    broken: tuple[str, ...]
    open_sites: tuple[str, ...]
    unprovable: tuple[tuple[str, str, str], ...]
    expired: tuple[tuple[str, str], ...]
    conflicts: tuple[str, ...]
    words: tuple[str, ...]
    touching: tuple[str, ...] = ()
    """Pairs of nets that read joined where they belong apart, and those that were not read since something was done to part them, in words."""
    parted: tuple[str, ...] = ()
    """Nets in pieces by a noted cut that no wire joins yet, in words."""
    wires: tuple[str, ...] = ()
    """Patch wires that read open from end to end, and pairs that read open before a wire and were not read since, in words."""
    unproven_wires: tuple[str, ...] = ()
    """Site ids of patch wires that no reading proves, also those that a beep could not prove."""

    @property
    def all_proven(self) -> bool:
        """Every site at risk that continuity can prove is proven whole, no two nets read joined that belong apart, no net waits for the wire
        round a cut, no wire reads open, and every patch wire that a beep can prove is proven; what it cannot prove stands in ``unprovable``."""
        cannot = {site for site, _, _ in self.unprovable}
        wires = set(self.unproven_wires) - cannot
        return bool(self.at_risk) and not (
            self.open_sites or self.broken or self.touching or self.parted or self.wires or wires
        )

    def as_dict(self) -> dict[str, Any]:
        """The proof as plain JSON values."""
        return {**plain(self), "all_proven": self.all_proven}


def next_for_case(workshop: Workshop, case: str) -> NextStep:
    """The next step of a case: the map first where it is in doubt, then mark an area, a check, a patch, the gate, power, or done."""
    binding = bind(workshop, case)
    return _kept(
        binding,
        "next",
        lambda: _with_conflicts(
            binding,
            _turned(binding, map_first(binding))
            or lift_step(binding)
            or new_wire_step(binding, posterior_of(binding))
            or cut_check_step(binding)
            or cleared_step(binding)
            or asked_again_step(binding, posterior_of(binding))
            or _resoldered_first(binding, _next(binding)),
        ),
    )


def _resoldered_first(binding: Binding, step: NextStep) -> NextStep:
    """The step, or where it follows up no open reading the resoldering of a wire that reads open from end to end."""
    beeps = step.kind in ("check", "retest") and step.check is not None and step.check.purpose == "continuity"
    if beeps or step.kind == "short" or (step.span is not None and step.kind != "ohms"):
        return step
    return open_wire_step(binding, posterior_of(binding)) or step


def _turned(binding: Binding, step: NextStep | None) -> NextStep | None:
    """A check of the map, with the turning over of the board that it takes from where the last reading left it."""
    if step is None or step.check is None:
        return step
    a, b = binding.graph.point(step.check.point_a), binding.graph.point(step.check.point_b)
    over = a.side == b.side and a.side != tips_of(binding).up
    words = f"Turn the board over. {step.words}" if over else step.words
    return replace(step, words=words, check=replace(step.check, turn_over=over))


def round_for_case(workshop: Workshop, case: str) -> RoundPlan:
    """The round that is left to do; empty while nothing is marked that a round could be planned for. What no beep proves names the ohms that do."""
    binding = bind(workshop, case)
    plan = plan_of(binding)
    return replace(plan, unprovable=with_ohms_words(binding.graph, plan.unprovable))


def need_areas(workshop: Workshop, case: str) -> None:
    """Refusal CAS-006 when the case has no work area, patch wire or cut, and no nets that read joined: its round would be empty without a word."""
    state = bind(workshop, case).state
    if not state.areas and not state.wires and not state.cuts and not proven_for_case(workshop, case).touching:
        words = "No work area is marked: there is nothing to plan a round for."
        raise refuse("CAS-006", words, "Mark one: coppermend area add CASE --part U1.")


def spans_for_case(workshop: Workshop, case: str) -> tuple[Span, ...]:
    """The stretches that the readings leave as places of breaks, most likely first."""
    return spans_of(bind(workshop, case))


def proven_for_case(workshop: Workshop, case: str) -> Proof:
    """What is proven, what is not, and what nothing can prove."""
    return proof_of_binding(bind(workshop, case))


def proof_of_binding(binding: Binding) -> Proof:
    """What a binding's readings prove."""
    return _kept(binding, "proof", lambda: _proof(binding))


def posterior_of(binding: Binding) -> CopperBelief:
    """The belief of a binding."""
    return _kept(
        binding,
        "posterior",
        lambda: belief(binding.graph, binding.areas, binding.evidence, binding.basis, bridges_of(binding)),
    )


def plan_of(binding: Binding) -> RoundPlan:
    """The round of a binding."""
    return _kept(binding, "round", lambda: _plan(binding))


def spans_of(binding: Binding) -> tuple[Span, ...]:
    """The spans of a binding."""
    return _kept(binding, "spans", lambda: tuple(spans(binding.graph, posterior_of(binding), binding.basis)))


def neighbours_of(binding: Binding) -> tuple[Neighbour, ...]:
    """Nets that come near each other in the work areas, and those beside the joints of a patch wire, wherever it lies."""
    polygons = tuple(area.polygon for area in binding.marking)
    key = ("neighbours", id(binding.graph), polygons)
    if key not in binding.kept:
        found = neighbours(binding.board, binding.graph, polygons, WINDOW_MM)
        binding.kept[key] = (binding.graph, (*found, *beside_wires(binding)))
    return cast("tuple[Neighbour, ...]", binding.kept[key][1])


def bridge_points(binding: Binding) -> tuple[str, str] | None:
    """The points of the likeliest short that the readings show beyond doubt; None where they show none."""
    now = posterior_of(binding)
    return next(((one.point_a, one.point_b) for one, _ in touching(now) if one.p > binding.basis.broken_above), None)


def pairs_to_read(binding: Binding) -> int:
    """How many pairs of nets the planner would read for bridges on the untouched board in the case's work areas."""

    def count() -> int:
        polygons = tuple(area.polygon for area in binding.marking)
        near = neighbours(binding.board, binding.base, polygons, WINDOW_MM)
        unread = belief(binding.base, binding.areas, (), binding.basis)
        return len(isolation_checks(unread, near, binding.costs, TipState())[0])

    return _kept(binding, "pairs to read", count)


def step_as_dict(step: NextStep) -> dict[str, Any]:
    """A next step as plain JSON values."""
    value = cast("dict[str, Any]", plain(replace(step, wire=None)))
    return {**value, "wire": step.wire.as_dict() if isinstance(step.wire, WirePlan) else plain(step.wire)}


def _kept(binding: Binding, name: str, make: Callable[[], T]) -> T:
    if name not in binding.memo:
        binding.memo[name] = make()
    return cast("T", binding.memo[name])


def _plan(binding: Binding) -> RoundPlan:
    return plan_round(
        binding.graph,
        binding.areas,
        binding.evidence,
        binding.basis,
        binding.costs,
        neighbours_of(binding),
        WINDOW_MM,
        tips_of(binding),
        posterior=posterior_of(binding),
    )


def next_without_pairs(binding: Binding) -> NextStep:
    """The copper's step with the pairs of nets that belong apart left for later: what comes after them in ``next_for_case``."""
    return _kept(binding, "next without pairs", lambda: _with_conflicts(binding, _next(binding, apart=False)))


def _next(binding: Binding, apart: bool = True) -> NextStep:
    if not binding.marking and not binding.state.wires and not _nets_touch(binding):
        if (round_cut := cut_wire_step(binding)) is not None:
            return round_cut
        return NextStep(
            "area",
            "Mark where the copper was disturbed or attacked.",
            "Without a work area there is nothing to prove: the round is planned for the copper inside the areas.",
            0.0,
            0.0,
            notes=("For example: area add CASE --part U1 --kind rework --severity 2",),
        )
    step = copper_step(binding, apart)
    if step.kind == "short" and (pair := bridge_points(binding)) is not None:
        from coppermend.services.shortwork import at_its_place

        return at_its_place(binding, step, pair)
    step = _with_chips(binding, step)
    measured = _by_ohms(binding, step)
    if measured is not None:
        return measured
    if step.kind in AFTER_THE_BEEPS and (round_cut := cut_wire_step(binding)) is not None:
        return replace(round_cut, notes=(*round_cut.notes, *step.notes))
    if step.kind == "patch" and step.span is not None:
        if has_unknown(binding.graph):
            found = spans_of(binding)
            loose = loose_check(binding.graph, binding.state, found, step.span, binding.costs, tips_of(binding))
            if loose is not None:
                return loose
        return _with_wire(binding, step, step.span)
    return step if step.kind != "done" else _after_copper(binding, step)


def copper_step(binding: Binding, apart: bool = True) -> NextStep:
    """The planner's own step for the copper as it is, before anything of the bench comes first; ``apart``: pairs of nets that belong apart counted in."""
    return _kept(
        binding,
        f"copper step {apart}",
        lambda: next_step(
            binding.graph,
            binding.areas,
            binding.evidence,
            binding.basis,
            binding.costs,
            tips_of(binding),
            neighbours=neighbours_of(binding) if apart else (),
            posterior=posterior_of(binding),
        ),
    )


def _nets_touch(binding: Binding) -> bool:
    """Whether readings show two nets joined that belong apart: that comes before marking an area."""
    return bool(binding.evidence) and next(iter(touching(posterior_of(binding))), None) is not None


MOST_NAMED = 4


def _with_chips(binding: Binding, step: NextStep) -> NextStep:
    """The step with the advice on chips left in circuit: at the first check, and where an open reading is followed up on a net that has some."""
    check = step.check
    if check is None or (binding.evidence and step.span is None and step.kind != "retest"):
        return step
    copper = posterior_of(binding).copper
    chips = copper.chips.get(copper.tree.piece[copper.points[check.point_a].node], ())
    if not chips:
        return step
    named = ", ".join(chips[:MOST_NAMED]) + (f" and {len(chips) - MOST_NAMED} more" if len(chips) > MOST_NAMED else "")
    words = (
        f"In circuit on this net: {named}. A way through a chip can beep where the copper is open: use a range that tests below 0.3 V, "
        f"or take chips out of their sockets. The belief adds {100 * binding.basis.chip_false_closed:g} % false beeps for it."
    )
    return replace(step, notes=(*step.notes, words))


def _settled_by(posterior: CopperBelief, pair: tuple[str, str]) -> str:
    """What a reading taken again would settle: on one net opens through the same points are not independent, so that closed alone settles it there."""
    piece = posterior.copper.tree.piece
    a, b = (posterior.copper.points[one].node for one in pair)
    if piece[a] != piece[b]:
        return ": two of three settle it"
    return ", both points cleaned: closed settles it; after open read the same copper from other points"


def _with_conflicts(binding: Binding, step: NextStep) -> NextStep:
    """The step with what the readings contradict each other in, which one taken again would settle it, and work areas that hold no copper."""
    posterior = posterior_of(binding)
    told = [
        f"{one.words} Read {one.again[0]} to {one.again[1]} once more{_settled_by(posterior, one.again)}."
        for one in posterior.conflicts
    ]
    told += [
        f"{one.words} Closed is believed all the same ({100 * p:.0f} % joined): opens through the same "
        f"two points may all come from one that bites badly. Clean both points and read {one.again[0]} to {one.again[1]} once more, or read the same "
        "copper from other points; only those settle it."
        for one, p in posterior.outvoted()
    ]
    if step.kind == "check" and not binding.evidence and binding.state.areas:
        from coppermend.services.lookwork import look_first

        told += filter(None, (look_first(binding, step.gain_bits, step.seconds),))
    told += [
        f"Looks contradict each other: {one.words} {one.settles}"
        for one in look_conflicts(binding.state, binding.graph)
    ]
    if step.kind != "look" and binding.evidence:
        told += filter(None, (doubt_words(binding),))
    for area in binding.areas:
        if not area.id.startswith(LOOKED) and not hurt(binding.graph, (area,), binding.basis).any():
            told.append(
                f"The work area {area.label or area.part or _corner_words(area)} holds no copper of this board: nothing there is to be proved. "
                "Draw it again over the copper, in mm of the board."
            )
    return replace(step, notes=(*step.notes, *told)) if told else step


def _corner_words(area: WorkArea) -> str:
    x_mm, y_mm = area.polygon[0]
    return f"with a corner at {x_mm:.1f}, {y_mm:.1f} mm"


AFTER_THE_BEEPS = ("patch", "done")
"""Steps before which ohms readings are taken: measuring comes before soldering."""


def _by_ohms(binding: Binding, step: NextStep) -> NextStep | None:
    """The ohms reading to take now: once no beep tells more, or at once where a value has shown too much resistance on a net."""
    posterior = posterior_of(binding)
    high = any(one.p >= RAISED_PARTIAL for one in posterior.partials)
    if step.kind not in AFTER_THE_BEEPS and not (high and step.kind == "check"):
        return None
    found = by_ohms_of(binding)
    if found.step is None:
        return None
    return found.step if step.kind in AFTER_THE_BEEPS or found.step.check is None or high else None


def by_ohms_of(binding: Binding) -> OhmsWork:
    """What is left for readings in ohms to settle."""
    now = posterior_of(binding)
    return _kept(
        binding,
        "ohms work",
        lambda: ohms_work(now, risk_of(now), meter_of(binding.basis), binding.costs, tips_of(binding)),
    )


RAISED_PARTIAL = 0.3
"""A stretch that has too much resistance with this chance is measured at once: the meter is in the hand."""


def _with_wire(binding: Binding, step: NextStep, span: Span) -> NextStep:
    """The step with the wires that restore the net (the plan as ``wire``), or with the work on a pin when the break lies inside one."""
    inside = pin_break(binding.graph, span)
    if inside is not None:
        return pin_step(binding, step, inside, binding.costs)
    broken = [site for one in spans_of(binding) if one.net == span.net for site in one.sites] or list(span.sites)
    try:
        ways = board_ways(binding.board, binding.graph, net=binding.graph.net_index(span.net))
        bared = ways is not None and consent_of(binding.state.intake).allows("scrape mask")
        plan = propose_wires(binding.graph, broken, board=binding.board, alternatives=0, ways=ways, scrape=bared)[0]
    except Refusal as err:
        return replace(step, notes=(*step.notes, err.finding.words))
    said = tuple(f"Wire from {one.a.point} to {one.b.point}: {one.words}" for one in plan.wires)
    return replace(step, wire=plan, notes=(*step.notes, *said, *plan.cautions))


def _after_copper(binding: Binding, done: NextStep) -> NextStep:
    """The copper is done: the gate, then power, then what was seen."""
    state = binding.state
    gate = gate_of(binding)
    if state.power_ups and state.power_ups[-1].at > state.last_soldering:
        return done
    if not gate.open:
        asks = tuple(f"{one.item}: {one.words}" for one in gate.missing)
        return NextStep(
            "gate",
            "Before power: " + gate.missing[0].words,
            f"{done.words} {done.reason}".strip(),
            0.0,
            0.0,
            notes=asks,
        )
    return NextStep(
        "power",
        "Put power on, look, listen, and note what is seen.",
        f"{done.words} {done.reason}".strip(),
        binding.costs.power_s,
        0.0,
    )


def _proof(binding: Binding) -> Proof:
    posterior, basis = posterior_of(binding), binding.basis
    at_risk, provable, unprovable = sites_at_risk(posterior, ())
    chance = {site: posterior.p(site) for site in provable}
    announced = {site for span in spans_of(binding) for site in span.sites}
    broken = tuple(site for site in provable if chance[site] > basis.broken_above or site in announced)
    by_ohms = tuple(site for site in at_risk if site not in chance and posterior.proven(site))
    proven = (*(site for site in provable if posterior.proven(site)), *by_ohms)
    settled = {*broken, *proven}
    left = tuple(site for site in provable if site not in settled)
    conflicts = tuple(one.words for one in posterior.conflicts)
    laid = [one.words for one in binding.graph.findings[len(binding.base.findings) :]]
    idle = [
        f"{_site_words(binding, one)}: broken, but every pin is joined without it; nothing needs to be bridged"
        for one in binding.idle
    ]
    joined = (*(words for _, words in touching(posterior)), *(one.words for one in cleared_pairs(binding)))
    parted = parted_words(binding)
    wires = (*(one.words for one in open_wires(binding)), *(one.words for one in asked_again(binding)))
    bare = tuple(one.id for one in binding.graph.sites if one.kind is SiteKind.WIRE and not posterior.proven(one.id))
    words = (
        *joined,
        *parted,
        *wires,
        *between_nets(binding),
        *laid,
        *idle,
        *not_proven(binding.graph, posterior, basis),
    )
    rest = tuple(row for row in unprovable if row[0] not in set(by_ohms))
    return Proof(at_risk, proven, broken, left, rest, binding.expired, conflicts, words, joined, parted, wires, bare)


def _site_words(binding: Binding, site_id: str) -> str:
    """A site that is gone from the board as it is now, as the board as built knows it."""
    try:
        site = binding.base.site(site_id)
    except KeyError:
        return site_id
    return f"net {binding.base.net_names[site.net]}, {site.words or site_id}"
