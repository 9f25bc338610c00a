"""Tracks that were cut on purpose: whether the cut reads open, and the wire that has to go round it before the machine is whole.

A cut frees a stretch that touches another net; the net then lies in pieces until a wire joins it again. The log knows that from the cut's own entry,
so nobody has to find the break by readings. Whoever means the cut to stay says so when it is noted (``note CASE cut X,Y/s stays``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot

from coppermend.core.copper.model import CopperGraph
from coppermend.core.copper.worked import CUT_NEAR_MM, all_cut_ends
from coppermend.core.findings import Refusal
from coppermend.core.log.gate import GateItem, GateStatus
from coppermend.core.log.state import Cut, Reading
from coppermend.core.planning.costs import check_seconds
from coppermend.core.planning.describe import SIDE_WORDS, point_words
from coppermend.core.planning.model import Check, NextStep, Span
from coppermend.core.rework.apart import Apart, CutEnds, apart_by_cuts, sides_of
from coppermend.core.rework.pieces import components, nodes_of, sites_of
from coppermend.core.rework.wires import WirePlan
from coppermend.services.bind import Binding
from coppermend.services.evidence import says_open
from coppermend.services.map_doubt import tips_of
from coppermend.services.points import point_now

OPEN, CLOSED, UNREAD = "open", "closed", ""
CUTS = "cuts"
"""The gate's item for nets that wait for the wire round a cut; it is done by the wire, not by a word."""
STAYS = "Is the cut to stay?"
"""How the note begins that says what to type where no wire is to go round a cut."""


@dataclass(frozen=True, slots=True)
class CutCheck:
    """A reading that tells whether a cut is open: its points, what was read since the cut (``said``: open, closed or ""), how many cuts it crosses."""

    entry: str
    point_a: str
    point_b: str
    said: str
    crosses: int = 1


@dataclass(frozen=True, slots=True)
class Parted:
    """A net that waits for the wire round its cuts: its name, the cuts, the pins of each piece, the checks that the cuts are open."""

    net: int
    net_name: str
    cuts: tuple[Cut, ...]
    numbers: tuple[int, ...]
    apart: Apart
    checks: tuple[CutCheck, ...]

    @property
    def where(self) -> str:
        """The places of the cuts in words."""
        return " and ".join(f"{one.x_mm:.1f}, {one.y_mm:.1f} mm, {SIDE_WORDS[one.side]}" for one in self.cuts)

    @property
    def words(self) -> str:
        """What waits, as one sentence without its full stop."""
        cut = "the cut" if len(self.cuts) == 1 else f"the {len(self.cuts)} cuts"
        pieces = " | ".join(_few(piece) for piece in self.apart.pieces)
        return f"net {self.net_name} is in {len(self.apart.pieces)} pieces by {cut} at {self.where} ({pieces}); no wire joins them yet"

    @property
    def state_words(self) -> str:
        """What the readings across the cuts say."""
        if not self.checks:
            return "no reading can tell whether the cut is open: look at it with a lens"
        if any(one.said == CLOSED for one in self.checks):
            return "a reading across the cut is closed: it has not parted the track"
        if all(one.said == OPEN for one in self.checks):
            return "it reads open across the cut" if len(self.cuts) == 1 else "they read open across the cuts"
        left = " and ".join(f"{one.point_a} to {one.point_b}" for one in self.checks if one.said != OPEN)
        return f"not read across the cut yet: {left} must be open"

    @property
    def span(self) -> Span:
        """The places of the cuts as a span: what the map shows."""
        path = tuple((one.side, ((one.x_mm, one.y_mm), (one.x_mm, one.y_mm))) for one in self.cuts)
        return Span(self.net_name, (), 1.0, f"the cut at {self.where}", path)


NOT_READ_OPEN = "not proven: the cut has not been read open"
"""What is said of a wire over a cut that no reading shows open: the track itself may be what beeps."""


@dataclass(frozen=True, slots=True)
class UnreadUnderWire:
    """A net whose noted cut no reading shows open, with a wire over it: a beep may come through the track. ``wires`` entry ids, ``numbers`` theirs."""

    parted: Parted
    wires: tuple[str, ...]
    numbers: tuple[int, ...]

    @property
    def named(self) -> str:
        """The wires by their numbers."""
        return f"wire no. {', '.join(map(str, self.numbers))}"

    @property
    def read(self) -> str:
        """The readings that must be open with the wire off."""
        return " and ".join(f"{one.point_a} to {one.point_b}" for one in self.parted.checks if one.said != OPEN)

    @property
    def words(self) -> str:
        """What is not proven, and what proves it, without the full stop."""
        closed = " (it read closed before the wire)" if any(one.said == CLOSED for one in self.parted.checks) else ""
        return (
            f"net {self.parted.net_name}: {self.named} over the cut at {self.parted.where} is {NOT_READ_OPEN}{closed}; "
            f"with one end of the wire lifted {self.read} must be open"
        )


MOST_PINS_NAMED = 4


def _few(pins: tuple[str, ...]) -> str:
    names = list(dict.fromkeys(pin.partition("/")[0] for pin in pins))
    more = f" and {len(names) - MOST_PINS_NAMED} more" if len(names) > MOST_PINS_NAMED else ""
    return ", ".join(names[:MOST_PINS_NAMED]) + more


def ends_of_cuts(binding: Binding, staying: bool = False) -> tuple[CutEnds, ...]:
    """Where each noted cut parted the copper of now. ``staying``: also the cuts that are to stay."""
    graph = binding.graph
    free = list(all_cut_ends(graph))
    out = []
    for cut in binding.state.cuts:
        near = [
            (hypot(graph.node_place[a][0] - cut.x_mm, graph.node_place[a][1] - cut.y_mm), a, b)
            for a, b in free
            if graph.node_place[a][2] == cut.side
        ]
        far, a, b = min(near, default=(CUT_NEAR_MM + 1.0, -1, -1))
        if far > CUT_NEAR_MM:
            continue
        free.remove((a, b))
        if staying or not cut.stays:
            out.append(CutEnds(cut.id, a, b))
    return tuple(out)


def parted_nets(binding: Binding) -> tuple[Parted, ...]:
    """The nets whose pins a noted cut keeps apart and that no wire joins yet, in the order of the cuts. Kept with the binding."""
    if not binding.state.cuts:
        return ()
    if "parted nets" not in binding.memo:
        binding.memo["parted nets"] = _parted(binding)
    found: tuple[Parted, ...] = binding.memo["parted nets"]
    return found


def _parted(binding: Binding) -> tuple[Parted, ...]:
    return _parted_in(binding, binding.graph, ends_of_cuts(binding), None)


def unread_under_wires(binding: Binding) -> tuple[UnreadUnderWire, ...]:
    """The nets with a wire over a cut that was not read open, after the cut and before the wire or with the wire off. Kept with the binding.

    A cut that no two tips can tell of asks for a lens, not for a reading, and is left out.
    """
    if not binding.state.cuts or not binding.state.wires:
        return ()
    if "unread under wires" not in binding.memo:
        binding.memo["unread under wires"] = _unread(binding)
    found: tuple[UnreadUnderWire, ...] = binding.memo["unread under wires"]
    return found


def _unread(binding: Binding) -> tuple[UnreadUnderWire, ...]:
    ends = ends_of_cuts(binding, staying=True)
    over = _over_cuts(binding, ends)
    if not over:
        return ()
    bare = replace(
        binding.graph, sites=tuple(one for one in binding.graph.sites if one.id not in over.values()), memo={}
    )
    wires = [one for one in binding.state.wires if one.id in over]
    refs = {one.entry: one.ref for one in binding.state.timeline}
    out = []
    for parted in _parted_in(binding, bare, ends, min(one.at for one in wires)):
        at = {site.id: site for site in binding.graph.sites}
        its = [one.id for one in wires if binding.graph.node_net[at[over[one.id]].a] == parted.net]
        if its and any(one.said != OPEN for one in parted.checks):
            out.append(UnreadUnderWire(parted, tuple(its), tuple(refs.get(one, 0) for one in its)))
    return tuple(out)


def _over_cuts(binding: Binding, ends: tuple[CutEnds, ...]) -> dict[str, str]:
    """Wires (entry id -> site id) whose ends hang together without any wire once the cuts are closed, and do not while they are open."""
    graph = binding.graph
    laid = {f"wire@{one.id}": one.id for one in binding.state.wires}
    out = {}
    for net in dict.fromkeys(graph.node_net[one.node_a] for one in ends):
        nodes, sites = nodes_of(graph, net), sites_of(graph, net)
        joins = [(one.a, one.b) for one in sites if one.id not in laid]
        now = components(nodes, joins)
        before = components(nodes, [*joins, *((one.node_a, one.node_b) for one in ends)])
        for one in sites:
            if one.id not in laid or one.b not in now:  # a wire to another net is over no cut
                continue
            if now[one.a] != now[one.b] and before[one.a] == before[one.b]:
                out[laid[one.id]] = one.id
    return out


def _parted_in(
    binding: Binding, graph: CopperGraph, ends: tuple[CutEnds, ...], wired: int | None
) -> tuple[Parted, ...]:
    """What the cuts part in ``graph``. ``wired``: the entry from which on a wire lay over them, so that a closed reading says nothing of the cut."""
    by_id = {one.id: one for one in binding.state.cuts}
    refs = {one.entry: one.ref for one in binding.state.timeline}
    out = []
    for net in dict.fromkeys(graph.node_net[one.node_a] for one in ends):
        for group in apart_by_cuts(graph, net, ends):
            cuts = tuple(by_id[entry] for entry in group.cuts)
            numbers = tuple(refs.get(entry, 0) for entry in group.cuts)
            out.append(
                Parted(
                    net, graph.net_names[net], cuts, numbers, group, _checks(binding, graph, group, ends, by_id, wired)
                )
            )
    return tuple(out)


def _checks(
    binding: Binding,
    graph: CopperGraph,
    group: Apart,
    ends: tuple[CutEnds, ...],
    cuts: dict[str, Cut],
    wired: int | None,
) -> tuple[CutCheck, ...]:
    at = {one.entry: one for one in ends}
    out = []
    for entry, a, b in group.checks:
        one, other = sides_of(graph, at[entry])
        out.append(CutCheck(entry, a, b, _said(binding, cuts[entry].at, one, other, wired)))
    alone = {entry for entry, _, _ in group.checks}
    left = [entry for entry in group.cuts if entry not in alone]
    if left and group.across[0]:
        first, second = (graph.point(name) for name in group.across)
        since = max(cuts[entry].at for entry in left)
        now = components(nodes_of(graph, group.net), [(one.a, one.b) for one in sites_of(graph, group.net)])
        sides = [frozenset(n for n, piece in now.items() if piece == now[one.node]) for one in (first, second)]
        said = _said(binding, since, sides[0], sides[1], wired)
        out.append(CutCheck(left[0], first.id, second.id, said, len(group.cuts)))
    return tuple(out)


def _said(binding: Binding, since: int, one: frozenset[int], other: frozenset[int], wired: int | None = None) -> str:
    """What the last reading from one side to the other after an entry said; closed ones from ``wired`` on speak of the wire."""
    for reading in reversed(binding.state.readings):
        if reading.at <= since:
            return UNREAD
        nodes = _nodes(binding, reading)
        if len(nodes) == 2 and ((nodes[0] in one and nodes[1] in other) or (nodes[1] in one and nodes[0] in other)):
            if says_open(reading):
                return OPEN
            if wired is None or reading.at < wired:
                return CLOSED
    return UNREAD


def _nodes(binding: Binding, reading: Reading) -> list[int]:
    if reading.kind not in ("closed", "open", "ohms") or len(reading.points) != 2:
        return []
    found = [point_now(binding.graph, ref) for ref in reading.points]
    return [one.node for one in found if one is not None]


def parted_on(binding: Binding, net: int) -> Parted | None:
    """What waits on one net; None where nothing does."""
    return next((one for one in parted_nets(binding) if one.net == net), None)


def cut_check_step(binding: Binding) -> NextStep | None:
    """The reading across a cut that is not read since it was made, or read closed: it comes before anything else that is read on the board."""
    for parted in parted_nets(binding):
        for check in parted.checks:
            if check.said != OPEN:
                return _check_step(binding, parted, check)
    return None


def lift_step(binding: Binding) -> NextStep | None:
    """The wire over a cut that was never read open is lifted before anything is read across it: closed would prove neither. None where no wire lies so."""
    for one in unread_under_wires(binding):
        return _lift_step(binding, one)
    return None


def wire_to_lift(binding: Binding, step: NextStep) -> str:
    """The entry of the wire that a step asks to lift, the last one fitted first; "" for any other step."""
    asked = lift_step(binding)
    if asked is None or asked.words != step.words:
        return ""
    return unread_under_wires(binding)[0].wires[-1]


def _lift_step(binding: Binding, one: UnreadUnderWire) -> NextStep:
    """The wire taken off again, so that the cut under it can be read."""
    undo = ", ".join(f"note CASE undo {number}" for number in one.numbers)
    words = f"Lift one end of {one.named}, then {undo}: {one.read} must be open before the wire goes on again."
    return NextStep("patch", words, one.words, binding.costs.patch_s * len(one.wires), 0.0)


def _check_step(binding: Binding, parted: Parted, check: CutCheck) -> NextStep:
    a, b = binding.graph.point(check.point_a), binding.graph.point(check.point_b)
    tips = tips_of(binding)
    seconds, after = check_seconds(binding.costs, tips, a, b)
    over = after.up != tips.up
    cut = next(one for one in parted.cuts if one.id == check.entry)
    place = f"{cut.x_mm:.1f}, {cut.y_mm:.1f} mm, {SIDE_WORDS[cut.side]}"
    if check.said == CLOSED:
        reason = (
            f"read closed across the cut at {place}: it has not parted the track, or something else joins the two pieces. Cut wider, lift the copper off "
            "between two cuts, take chips on the net out of their sockets, and read again"
        )
    else:
        reason = f"the cut at {place} must part net {parted.net_name} before its wire goes on: open says that it does"
    if check.crosses > 1:
        reason += f"; the reading crosses {check.crosses} cuts, and open says only that one of them parts: look at each with a lens"
    made = Check(
        f"cut:{check.entry}:{a.id}:{b.id}", "isolation", a.id, b.id, parted.net_name, parted.net_name, None, (), seconds, reason, turn_over=over,
    )  # fmt: skip
    turn = "Turn the board over. " if over else ""
    words = f"{turn}Across the cut: one tip on {point_words(a)}, the other on {point_words(b)}."
    return NextStep("retest" if check.said == CLOSED else "check", words, reason, seconds, 0.0, check=made)


def cut_wire_step(binding: Binding) -> NextStep | None:
    """The wire round the first cut that waits for one, with its plan; None where none does."""
    for parted in parted_nets(binding):
        return _wire_step(binding, parted, len(parted_nets(binding)) - 1)
    return None


def _wire_step(binding: Binding, parted: Parted, more: int) -> NextStep:
    from coppermend.services.wires import plans_round_cuts

    words = f"Lay the wire round the cut at {parted.where}: net {parted.net_name} is in {len(parted.apart.pieces)} pieces by it."
    numbers = ", ".join(map(str, parted.numbers))
    reason = f"cut on purpose (no. {numbers}), {parted.state_words}; wire plan CASE --net {parted.net_name}"
    plan: WirePlan | None = None
    notes: tuple[str, ...] = ()
    try:
        plan = plans_round_cuts(binding, parted.net)[0]
        said = tuple(f"Wire from {one.a.point} to {one.b.point}: {one.words}" for one in plan.wires)
        notes = (*said, *plan.notes, *plan.cautions)
    except Refusal as err:
        notes = (err.finding.words,)
    seconds = binding.costs.patch_s * max(1, len(plan.wires) if plan is not None else 1)
    first = parted.cuts[0]
    stays = f"{STAYS} note CASE undo {parted.numbers[0]}, then note CASE cut {first.x_mm:g},{first.y_mm:g}/{first.side} stays"
    return NextStep(
        "patch", words, reason, seconds, 0.0, span=parted.span, wire=plan, left=more, left_seconds=more * binding.costs.patch_s, notes=(*notes, stays),
    )  # fmt: skip


def parted_words(binding: Binding) -> tuple[str, ...]:
    """One line for each net that waits for its wire, and for each whose wire lies over a cut that was not read open."""
    waiting = tuple(f"{one.words}; {one.state_words}" for one in parted_nets(binding))
    return (*waiting, *(one.words for one in unread_under_wires(binding)))


def gate_with_cuts(binding: Binding, gate: GateStatus) -> GateStatus:
    """The gate with what the cuts ask for before power; as it is where no net waits for its wire."""
    waiting = parted_nets(binding)
    if not waiting:
        return gate
    told = "; ".join(one.words for one in waiting)
    items = (*gate.items, GateItem(CUTS, False, f"Wire round the cut first: {told}.", by_word=False))
    return replace(gate, items=items, open=bool(gate.overridden))
