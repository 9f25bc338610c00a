"""From a case's state, its board and what the readings say about the copper to the record's values. Pure: everything comes in as arguments."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import groupby

from coppermend.core.belief.model import Basis
from coppermend.core.board.model import Board
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.findings import Severity
from coppermend.core.log.state import CaseState, PowerUp, Reading, TimelineItem, Wire
from coppermend.core.log.values import ampere_words, ohm_words, volt_words
from coppermend.core.log.words import with_words
from coppermend.core.planning.model import Check, Span
from coppermend.core.rework.gauge import diameter_mm
from coppermend.core.rework.rules import WIRE_CAUTIONS
from coppermend.services.acceptance import LEAVING, UNTESTED, Acceptance, acceptance, not_yet
from coppermend.services.carework import care_told
from coppermend.services.cutmarks import cut_stroke
from coppermend.services.cutwork import NOT_READ_OPEN
from coppermend.services.looks import said_of
from coppermend.services.recording.editions import PROVEN_MEANS
from coppermend.services.recording.eyes import ended, eyed, seen_left, seen_marks
from coppermend.services.recording.handled import (
    check_rows,
    chip_rows,
    intake_rows,
    look_rows,
    start_rows,
    supply_rows,
)
from coppermend.services.recording.maps import Marks, Path, Stretch, WireMark, board_map, window_of
from coppermend.services.recording.model import (
    BreakRow,
    Heading,
    NetRow,
    OhmsRow,
    PackageNote,
    Photo,
    Picture,
    PowerRow,
    ReadingRow,
    RecordView,
    StoryItem,
    Unprovable,
    WireRow,
)
from coppermend.services.recording.plainly import Judged, plainly
from coppermend.services.recording.planrows import plan_rows
from coppermend.services.recording.saying import SIDES, in_words, say_point, some, stamp
from coppermend.services.recording.seen import POWERED

MOST_PLACES = 6
"""Open places that a net's row names one by one."""

SHORTEST_RUN = 3
"""Closed readings in a row that the story tells in one line."""

MOST_NAMED = 24
"""Places of one reason that the list of unprovable places names."""


SHORT = "short"
"""``OhmsRow.kind`` of two nets that are joined."""

IDLE = "idle"
"""``Found.mended_by`` of a break that no pin hangs on: nothing was to be mended."""


@dataclass(frozen=True, slots=True)
class Found:
    """A break the readings left, and the entry that mended it ("" while it is open, IDLE where nothing hangs on it)."""

    span: Span
    mended_by: str = ""


@dataclass(frozen=True, slots=True)
class Judgement:
    """What the readings say about the copper: per site at risk its probability of being broken, breaks, what is left to check.

    ``p`` site id -> probability; ``unprovable`` (site id, why, what would prove it); ``wires_proven`` ids of wire entries that readings prove;
    ``wires_astray`` ids of wire entries that join nets which the board keeps apart; ``bridges`` (net, net, point, point) read closed though they belong apart;
    ``parted`` (net, words): nets that a noted cut left in pieces and that no wire joins yet. ``unprovable_stop``: the words with which a round that is stopped now ends.
    """

    at_risk: tuple[str, ...] = ()
    p: Mapping[str, float] = field(default_factory=dict)
    found: tuple[Found, ...] = ()
    unprovable: tuple[tuple[str, str, str], ...] = ()
    checks_left: tuple[Check, ...] = ()
    isolation_left: tuple[Check, ...] = ()
    wires_proven: frozenset[str] = frozenset()
    wires_over_unread: frozenset[str] = frozenset()
    """Wires over a cut that was not read open."""
    wires_open: frozenset[str] = frozenset()
    """Ids of wire entries that read open from end to end."""
    unread_cuts: tuple[str, ...] = ()
    """What is to be read there, a sentence each without its full stop."""
    wires_astray: frozenset[str] = frozenset()
    bridges: tuple[tuple[str, str, str, str], ...] = ()
    by_ohms: tuple[OhmsRow, ...] = ()
    gate_open: bool = True
    gate_missing: tuple[str, ...] = ()
    parted: tuple[tuple[str, str], ...] = ()
    basis: Basis = field(default_factory=Basis)
    not_proven: frozenset[str] = frozenset()
    """Sites at risk that the readings do not prove whole, whatever ``p`` says: that damage is mild on this board is no proof of a site."""


@dataclass(frozen=True, slots=True)
class CaseFacts:
    """What the store knows beside the folded state: the case's short number, its entries, the hash that closes the chain."""

    number: int
    entries: int
    last_sha256: str
    last_at: str


def gather(
    state: CaseState,
    facts: CaseFacts,
    board: Board,
    graph: CopperGraph,
    judgement: Judgement,
    photos: Sequence[Photo] = (),
    base: CopperGraph | None = None,
    machine: MachineModel | None = None,
) -> RecordView:
    """The record of a case; ``graph`` is the board's copper with the case's part states and patch wires laid over it; ``machine`` says what must work.

    ``base`` the copper as built: it still holds the sites that were found broken and are no longer part of ``graph``.
    """
    sites = {site.id: site for one in (base, graph) if one is not None for site in one.sites}
    findings = tuple(_finding(i, one, state) for i, one in enumerate(judgement.found, 1))
    wires = tuple(_wire(i, one, judgement) for i, one in enumerate(state.wires, 1))
    accepted = acceptance(state, machine)
    said = said_of(state, graph)
    seen = eyed(said)
    told = plainly(state, replace(_judged(findings, wires, judgement), eyed=seen), accepted)
    return RecordView(
        heading=_heading(state, facts, board, accepted),
        summary=tuple(_summary(state, judgement)),
        findings=findings,
        wires=wires,
        remaining=(*seen_left(seen), *_remaining(state, judgement, accepted)),
        cautions=tuple(_cautions(state)),
        maps=tuple(_maps(state, board, replace(marks_of(state, sites, judgement), seen=seen_marks(said)))),
        photos=tuple(photos),
        power=tuple(_power(one, state) for one in state.power_ups),
        tests=tuple(_tests(state, accepted)),
        proven=tuple(_proven(graph, sites, judgement)),
        unprovable=tuple(_unprovable(sites, judgement)),
        story=tuple(_story(state)),
        readings=tuple(_reading(one) for one in state.readings),
        package_notes=tuple(_package_notes(board)),
        corrections=board.corrections,
        assumptions=tuple(_assumptions(judgement.basis)),
        by_ohms=judgement.by_ohms,
        care=care_told(state.care),
        plans=tuple(plan_rows(state.plans, stamp)),
        intake=intake_rows(state),
        supply=supply_rows(state),
        looks=look_rows(state, graph),
        chips=chip_rows(state),
        chip_checks=check_rows(state),
        starts=start_rows(state),
        wrong=told.wrong,
        done=told.done,
        still_open=told.left,
        used=told.used,
    )


def _judged(findings: tuple[BreakRow, ...], wires: tuple[WireRow, ...], judgement: Judgement) -> Judged:
    """What the owner's words count."""
    return Judged(
        findings,
        sum(not one.mended_by for one in judgement.found),
        judgement.by_ohms,
        wires,
        len(judgement.wires_proven),
        tuple((a, b) for a, b, _, _ in judgement.bridges),
        len(judgement.unprovable),
        len(judgement.checks_left) + len(judgement.isolation_left),
        len(judgement.parted),
    )


def _heading(state: CaseState, facts: CaseFacts, board: Board, accepted: Acceptance) -> Heading:
    against = not_yet(state, accepted) if state.progress in LEAVING else ()
    return Heading(
        state.title,
        board.title,
        state.serial,
        state.owner,
        state.complaint,
        state.opened_at[:10],
        facts.last_at,
        "; ".join((state.progress, *against)),
        state.case,
        facts.number,
        board.package_id,
        facts.entries,
        facts.last_sha256,
    )


def _summary(state: CaseState, judgement: Judgement) -> Iterable[str]:
    """The record in a few sentences for the person who gets the machine back."""
    powered = sum(one.kind in POWERED for one in state.readings)
    unpowered = len(state.readings) - powered
    yield f"{some(len(state.areas), 'work area').capitalize()} of the board examined with {some(unpowered, 'reading')}."
    if powered:
        yield f"{some(powered, 'reading').capitalize()} with power on."
    proven = proven_sites(judgement)
    lost = {site for one in judgement.found for site in one.span.sites}
    if judgement.at_risk:
        sound = len(proven)
        rest = len(set(judgement.at_risk) - proven - lost)
        yield (
            f"Of {some(len(judgement.at_risk), 'place')} where a connection could have failed, {sound} "
            f"{'is' if sound == 1 else 'are'} proven sound and {some(rest, 'place')} {'is' if rest <= 1 else 'are'} not proven."
        )
    mended = [one for one in judgement.found if one.mended_by not in ("", IDLE)]
    idle = sum(one.mended_by == IDLE for one in judgement.found)
    if judgement.found:
        nothing = f", {idle} with nothing to mend" if idle else ""
        yield f"{some(len(judgement.found), 'break').capitalize()} found, {len(mended)} of them mended{nothing}."
    elif unpowered and not judgement.wires_open:
        yield "No break was found by the readings so far."
    if state.wires:
        yield f"{some(len(state.wires), 'patch wire').capitalize()} fitted, {len(judgement.wires_proven)} of them proven by readings."
    if state.cuts:
        places = "; ".join(f"{one.x_mm:.1f}, {one.y_mm:.1f} mm, {SIDES.get(one.side, one.side)}" for one in state.cuts)
        yield f"{some(len(state.cuts), 'track').capitalize()} cut on purpose: {places}."
    for _, words in judgement.parted:
        yield f"Cut and not joined again: {words}."
    if judgement.bridges:
        pairs = "; ".join(f"{a} and {b}" for a, b, _, _ in judgement.bridges)
        yield f"Read closed though the board keeps them apart: {pairs}. A bridge is likely there."
    for row in judgement.by_ohms:
        if row.kind != SHORT:
            yield f"Net {row.nets} has too much resistance: {_in_one_line(row)}."
    bare = [str(i) for i, w in enumerate(state.wires, 1) if w.id in judgement.wires_open]
    if bare:
        yield f"Patch wire {', '.join(bare)} reads open from end to end."
    astray = [str(i) for i, w in enumerate(state.wires, 1) if w.id in judgement.wires_astray]
    if astray:
        yield f"Patch wire {', '.join(astray)} joins two nets that the board keeps apart."
    if state.power_ups:
        last = state.power_ups[-1]
        seen = "; ".join(_seen(last)) or "nothing was noted"
        yield f"Switched on {some(len(state.power_ups), 'time')}. The last time: {ended(seen)}"
    else:
        yield "The machine was not switched on in this case."
    gone = [n.words for n in state.notes if n.kind == "symptom" and n.result == "gone"]
    if gone:
        yield f"No longer seen: {ended('; '.join(gone))}"


def proven_sites(judgement: Judgement) -> frozenset[str]:
    """Sites at risk whose probability of being broken is below the limit, also under the priors as stated, and that continuity can prove."""
    cannot = {site for site, _, _ in judgement.unprovable} | judgement.not_proven
    return frozenset(
        s for s in judgement.at_risk if s not in cannot and judgement.p.get(s, 1.0) < judgement.basis.proven_below
    )


def _in_one_line(row: OhmsRow) -> str:
    """The likeliest stretch of a row with its ohms."""
    more = row.words.count("\n")
    return f"{row.ohms.splitlines()[0]} {row.words.splitlines()[0]}" + (
        f", or {some(more, 'other stretch', 'other stretches')}" if more else ""
    )


def _fate(found: Found) -> str:
    return {"": "not mended yet", IDLE: "nothing to mend"}.get(found.mended_by, "mended")


def _finding(number: int, found: Found, state: CaseState) -> BreakRow:
    by = "nothing to mend: no pin hangs on it" if found.mended_by == IDLE else "not mended yet"
    for i, wire in enumerate(state.wires, 1):
        if wire.id == found.mended_by:
            by = f"patch wire {i}"
    for act in state.acts:
        if act.entry == found.mended_by:
            by = {"solder": "soldered again", "clean": "cleaned", "reseat": "reseated"}.get(act.kind, act.kind)
    sure = f"{found.span.p * 100:.1f} %" if found.span.p < 0.9995 else "over 99.9 %"
    return BreakRow(number, found.span.net, found.span.words, sure, by)


def _wire(number: int, wire: Wire, judgement: Judgement) -> WireRow:
    made = []
    if wire.awg is not None:
        made.append(f"{wire.awg:.0f} AWG ({diameter_mm(int(wire.awg)):.2f} mm)")
    elif wire.diameter_mm is not None:
        made.append(f"{wire.diameter_mm:.2f} mm")
    if wire.length_mm is not None:
        made.append(f"{wire.length_mm:.0f} mm long")
    proof = "proven by readings" if wire.id in judgement.wires_proven else "not proven yet"
    if wire.id in judgement.wires_open:
        proof = "reads open from end to end"
    if wire.id in judgement.wires_over_unread:
        proof = NOT_READ_OPEN
    if wire.id in judgement.wires_astray:
        proof = "joins two nets that the board keeps apart"
    return WireRow(
        number,
        f"{say_point(wire.a)}\n{say_point(wire.b)}",
        ", ".join(made) or "not noted",
        stamp(wire.observed_at),
        proof,
    )


def _tests(state: CaseState, accepted: Acceptance) -> Iterable[tuple[str, str, str]]:
    """The checklist, once the machine was switched on or a function tested."""
    if state.power_ups or any(one.words or one.observed_at for one in accepted.functions):
        for one in accepted.functions:
            yield one.name, one.result, one.words or one.before


def _remaining(state: CaseState, judgement: Judgement, accepted: Acceptance) -> Iterable[str]:
    """What is still to be done, most important first."""
    for one in judgement.found:
        if not one.mended_by:
            yield f"A break in net {one.span.net} is not mended: {one.span.words}."
    for _, words in judgement.parted:
        yield f"Lay the wire round the cut before power: {words}."
    placed = {row.nets: row for row in judgement.by_ohms if row.kind == SHORT}
    for net_a, net_b, a, b in judgement.bridges:
        row = placed.get(f"{net_a} and {net_b}") or placed.get(f"{net_b} and {net_a}")
        where = f" Likeliest {row.words}; {row.band}." if row is not None and row.band else ""
        yield f"Find the bridge between {net_a} and {net_b} (read closed between {a} and {b}) before power.{where}"
        if row is not None:
            placed.pop(row.nets)
    for row in placed.values():
        yield f"Find the bridge between {row.nets} before power: likeliest {row.words}; {row.band}."
    for row in judgement.by_ohms:
        if row.kind != SHORT:
            yield f"Net {row.nets}: a stretch with too much resistance is not mended ({_in_one_line(row)})."
    for i, wire in enumerate(state.wires, 1):
        if wire.id in judgement.wires_astray:
            yield f"Patch wire {i} joins two nets that the board keeps apart: see that it is meant, or take it off, before power."
    for i, wire in enumerate(state.wires, 1):
        if wire.id in judgement.wires_open:
            yield f"Patch wire {i} reads open from end to end: resolder both its ends, then read it again, before power."
    unproven = [
        i
        for i, w in enumerate(state.wires, 1)
        if w.id not in judgement.wires_proven and w.id not in judgement.wires_astray
    ]
    for words in judgement.unread_cuts:
        yield f"{words[:1].upper()}{words[1:]}."
    if unproven:
        yield f"Prove patch wire {', '.join(map(str, unproven))}: a reading through each, and isolation from what lies beside its ends."
    if judgement.checks_left:
        yield f"{some(len(judgement.checks_left), 'continuity check')} of the round {'is' if len(judgement.checks_left) == 1 else 'are'} not made yet."
    if judgement.isolation_left:
        yield f"{some(len(judgement.isolation_left), 'isolation check')} not made: a bridge of solder between neighbours is not excluded there."
    if judgement.unprovable:
        yield f"{some(len(judgement.unprovable), 'place')} cannot be proven by continuity; below it says what would."
    if not judgement.gate_open:
        for words in judgement.gate_missing:
            yield f"Before power: {words}"
    yield from open_functions(state, accepted)


def open_functions(state: CaseState, accepted: Acceptance) -> Iterable[str]:
    """What the checklist leaves open."""
    fails = [one.name for one in accepted.functions if one.result == "fails"]
    if fails:
        yield f"Does not work: {', '.join(fails)}."
    if not state.power_ups:
        yield "Switch on and test every function."
    untested = [one.name for one in accepted.functions if one.result == UNTESTED]
    if untested and (state.power_ups or len(untested) < len(accepted.functions)):
        yield f"Not tested since the last repair: {', '.join(untested)}."


def _cautions(state: CaseState) -> Iterable[str]:
    """What the next person must mind."""
    yield PROVEN_MEANS
    kinds = {area.kind for area in state.areas}
    if "corrosion" in kinds:
        yield "A cell has leaked on this board. Residue may creep on under lacquer and chips: look again after some months; wear gloves and eye protection when cleaning."
    if state.wires or any(act.soldering for act in state.acts):
        yield WIRE_CAUTIONS[1]
    yield "Mains supplies and picture tubes hold dangerous voltages, also unplugged. Follow your local rules; leave work on them to people qualified for it."


def _power(one: PowerUp, state: CaseState) -> PowerRow:
    words = {item.entry: item.words for item in state.timeline}
    guards = [f"current limit {ampere_words(one.limit_a)}"] if one.limit_a is not None else []
    guards.append("all points of the gate done" if one.gate_open and not one.overrides else "")
    if one.overrides:
        guards.append(f"gate passed over: {one.overrides}")
    repairs = tuple(words[entry] for entry in one.repairs if entry in words)
    guarded = ", ".join(g for g in guards if g) or "nothing named"
    return PowerRow(stamp(one.observed_at), repairs, guarded, tuple(_seen(one)))


def _seen(one: PowerUp) -> Iterable[str]:
    for seen in one.seen:
        said = [
            f"{name}: {value}"
            for name, value in (
                ("screen", seen.screen),
                ("sound", seen.sound),
                ("smell", seen.smell),
                ("heat", seen.heat),
                ("current", "" if seen.current_a is None else ampere_words(seen.current_a)),
            )
            if value
        ]
        text = ", ".join([*said, *([seen.words] if seen.words else [])])
        if text:
            yield text


def _proven(graph: CopperGraph, sites: Mapping[str, Site], judgement: Judgement) -> Iterable[NetRow]:
    """Net by net: how many places at risk are proven, and which are not."""
    proven = proven_sites(judgement)
    broken = {site: i for i, one in enumerate(judgement.found, 1) for site in one.span.sites}
    cannot = {site for site, _, _ in judgement.unprovable}
    by_net: dict[int, list[str]] = {}
    for site in judgement.at_risk:
        if site in sites:
            by_net.setdefault(sites[site].net, []).append(site)
    for net, its in sorted(by_net.items(), key=lambda item: graph.net_names[item[0]]):
        open_sites = [s for s in its if s not in proven and s not in cannot and s not in broken]
        words = [sites[s].words or s for s in open_sites[:MOST_PLACES]]
        if len(open_sites) > MOST_PLACES:
            words.append(f"and {len(open_sites) - MOST_PLACES} more places")
        for number in sorted({broken[s] for s in its if s in broken}):
            words.append(f"break {number}, {_fate(judgement.found[number - 1])}")
        if any(name == graph.net_names[net] for name, _ in judgement.parted):
            words.append("in pieces by a cut, which waits for its wire")
        unprovable = sum(s in cannot and s not in broken for s in its)
        if unprovable:
            words.append(f"{some(unprovable, 'place')} that continuity cannot prove")
        yield NetRow(graph.net_names[net], len(its), sum(s in proven for s in its), tuple(words))


def _unprovable(sites: Mapping[str, Site], judgement: Judgement) -> Iterable[Unprovable]:
    """Places that continuity cannot prove, equal reasons together."""
    groups: dict[tuple[str, str], list[str]] = {}
    for site, why, would in judgement.unprovable:
        groups.setdefault((why, would), []).append((sites[site].words if site in sites else "") or site)
    for (why, would), words in groups.items():
        more = f"\nand {len(words) - MOST_NAMED} more" if len(words) > MOST_NAMED else ""
        yield Unprovable("\n".join(words[:MOST_NAMED]) + more, why, would, len(words))


def _story(state: CaseState) -> Iterable[StoryItem]:
    """The entries in order; closed readings in a row become one line, every one of them stands in the list of readings."""
    for is_run, run in groupby(state.timeline, key=lambda item: item.kind == "closed" and not item.undone):
        items = list(run)
        if is_run and len(items) >= SHORTEST_RUN:
            yield _story_line(items, f"{len(items)} readings, all closed")
        else:
            for item in items:
                yield _story_line([item], in_words(item.words))


def _story_line(items: Sequence[TimelineItem], words: str) -> StoryItem:
    first, last = items[0], items[-1]
    numbers = str(first.at + 1) if first is last else f"{first.at + 1}-{last.at + 1}"
    return StoryItem(
        first.observed_at[:10], first.observed_at[11:16], numbers, words, first.author, first.kind, first.undone
    )


def _reading(one: Reading) -> ReadingRow:
    points = [say_point(p) for p in one.points]
    says = {
        "ohms": f"{ohm_words(one.value)}",
        "volts": volt_words(one.value),
        "diode": f"diode {volt_words(one.value)}",
        "level": one.says + with_words(one.taken_with),
        "heat": "out of range" if one.value is None else f"{one.value:g} °C",
    }.get(one.kind, one.kind)
    nets = list(dict.fromkeys(p.net for p in one.points if p.net))
    return ReadingRow(
        one.at + 1,
        stamp(one.observed_at),
        points[0] if points else one.part,
        points[1] if len(points) > 1 else "",
        " / ".join(nets),
        says,
        one.instrument,
    )


def _package_notes(board: Board) -> Iterable[PackageNote]:
    """Warnings and errors first, then guesses; notes last; equal words once."""
    order = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.GUESS: 2, Severity.NOTE: 3}
    seen: set[tuple[str, str]] = set()
    for one in sorted(board.findings, key=lambda f: (order[f.severity], f.code)):
        where = one.place.words()
        words = f"{where}: {one.words}" if where else one.words
        if (one.code, words) not in seen:
            seen.add((one.code, words))
            yield PackageNote(str(one.severity), one.code, words)


def _assumptions(basis: Basis) -> Iterable[tuple[str, str]]:
    yield "A place counts as proven sound below a probability of", f"{basis.proven_below:g}"
    yield "A break is announced above a probability of", f"{basis.broken_above:g}"
    yield "A reading counts as closed below", f"{basis.closed_below_ohm:g} ohm"
    yield "Share of false open and false closed readings assumed", f"{basis.false_open:g} and {basis.false_closed:g}"
    yield (
        "Share of bad track, barrel, joint, contact assumed in a work area",
        ", ".join(f"{basis.prior_in.get(kind, basis.prior_out):g}" for kind in ("run", "barrel", "joint", "contact")),
    )
    yield "What these are", "assumptions, not observations of benches; see docs/reference/constants.md"


# maps ----------------------------------------------------------------------------------------------------------------------------------


def marks_of(state: CaseState, sites: Mapping[str, Site], judgement: Judgement) -> Marks:
    """What is drawn over the board."""
    proven = proven_sites(judgement)
    broken = {site for one in judgement.found for site in one.span.sites}
    drawn = [s for s in judgement.at_risk if s in sites and sites[s].kind is not SiteKind.WIRE]
    risk = [s for s in drawn if s not in proven and s not in broken]
    return Marks(
        tuple((area.polygon, area.label or f"{area.part} {area.kind}".strip()) for area in state.areas),
        tuple(_stretch(sites[s]) for s in drawn if s in proven),
        tuple(_stretch(sites[s]) for s in risk),
        tuple(stretch for i, one in enumerate(judgement.found, 1) for stretch in _span_stretches(i, one.span, sites)),
        tuple(_wire_mark(i, wire) for i, wire in enumerate(state.wires, 1)),
        tuple(Stretch(row.layer, row.ring) for row in judgement.by_ohms if row.ring),
        tuple(Stretch(one.side, cut_stroke(sites.values(), one)) for one in state.cuts),
    )


def _stretch(site: Site, number: int = 0) -> Stretch:
    """A site as a stretch: a run on its layer, anything through the board on both sides."""
    flat = site.kind in (SiteKind.RUN, SiteKind.SPOKE)
    return Stretch(site.layer if flat else "", site.path, number)


def _span_stretches(number: int, span: Span, sites: Mapping[str, Site]) -> Iterable[Stretch]:
    """The pieces of a span: its own path where it has one, else its sites."""
    if span.path:
        for layer, path in span.path:
            yield Stretch(layer if len(path) > 1 else "", path, number)
        return
    for site in span.sites:
        if site in sites:
            yield _stretch(sites[site], number)


def _wire_mark(number: int, wire: Wire) -> WireMark:
    side = wire.a.side if wire.a.side == wire.b.side else "both"
    return WireMark(number, (wire.a.x_mm, wire.a.y_mm), (wire.b.x_mm, wire.b.y_mm), side, wire.path)


def _maps(state: CaseState, board: Board, marks: Marks) -> Iterable[Picture]:
    """Both sides whole, inner layers that have a mark, then each work area near by, both sides."""
    for side in ("c", "s"):
        name = f"map-{side}"
        yield Picture(name, _title(side), _alt(side, marks), *board_map(board, side, marks, name))
    for key in _inner_layers(board, marks):
        title = f"Inner layer {key.removeprefix('i')}, seen from the component side"
        yield Picture(f"map-{key}", title, f"{title}: {_alt('c', marks)}", *board_map(board, key, marks, f"map-{key}"))
    for i, area in enumerate(state.areas, 1):
        label = area.label or f"{area.part} {area.kind}".strip()
        wires = [w for w in marks.wires if _near(w.a, area.polygon) or _near(w.b, area.polygon)]
        paths: list[Path] = [area.polygon, *((w.a, w.b) for w in wires)]
        window = window_of(paths)
        for side in ("c", "s"):
            name = f"area-{i}-{side}"
            title = f"Work area {i}, {label}: {SIDES[side]}"
            yield Picture(name, title, f"{title}, enlarged", *board_map(board, side, marks, name, window))


def _inner_layers(board: Board, marks: Marks) -> Iterable[str]:
    """Inner layers on which something is marked."""
    marked = {one.layer for one in (*marks.proven, *marks.open_risk, *marks.breaks)}
    return [layer.key for layer in board.layers if layer.key in marked - {"c", "s"}]


def _near(point: tuple[float, float], polygon: Path) -> bool:
    """Inside the box of the polygon."""
    xs, ys = [x for x, _ in polygon], [y for _, y in polygon]
    return min(xs) <= point[0] <= max(xs) and min(ys) <= point[1] <= max(ys)


def _title(side: str) -> str:
    if side == "c":
        return "Component side"
    return "Solder side, the board turned over left to right"


def _alt(side: str, marks: Marks) -> str:
    """The map in words."""
    breaks = len({one.number for one in marks.breaks})
    return (
        f"Map of the {SIDES[side]}: {some(len(marks.areas), 'work area')}, {some(breaks, 'break')}, "
        f"{some(len(marks.wires), 'patch wire')}, {some(sum(one.layer == side for one in marks.cuts), 'cut')}, "
        f"{some(sum(one.side in ('', side) for one in marks.seen), 'place')} where something was seen, "
        f"{some(len(marks.proven), 'stretch', 'stretches')} proven sound, "
        f"{some(len(marks.open_risk), 'stretch', 'stretches')} not proven. The tables say the same in words."
    )


def document_date(iso: str) -> tuple[int, int, int, int, int, int]:
    """Year, month, day, hour, minute, second of a log time; the epoch's start for one that is no time.

    >>> document_date("2026-01-31T09:15:02.123Z")
    (2026, 1, 31, 9, 15, 2)
    """
    try:
        at = datetime.fromisoformat(iso.replace("Z", "+00:00"))
    except ValueError:
        return (1970, 1, 1, 0, 0, 0)
    return (at.year, at.month, at.day, at.hour, at.minute, at.second)
