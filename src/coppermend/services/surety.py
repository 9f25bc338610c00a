"""When a break is sure enough to wire: one threshold and one sentence for ``next``, ``wire plan`` and the page; and what is said of a net that is whole again.

The threshold is the planner's (``core/planning/spans.py``): above ``advice_above`` by two independent readings. Below it a wire may be soldered across
sound copper while the break lies elsewhere, so the next reading comes first; where no reading is left that tells more, the plan is given and says so.
"""

from __future__ import annotations

from dataclasses import dataclass

from coppermend.core.findings import Place, refuse
from coppermend.core.planning.describe import point_words
from coppermend.core.planning.localise import best_readings, suspects
from coppermend.core.planning.model import Span
from coppermend.core.planning.risk import risk_of
from coppermend.core.planning.spans import spans
from coppermend.core.rework.apart import closed_again
from coppermend.core.rework.pieces import components, nodes_of, pins_of, points_of, sites_of
from coppermend.core.rework.wires import WirePlan
from coppermend.core.units import chance_words
from coppermend.services.askedagain import asked_again
from coppermend.services.bench import posterior_of, spans_of
from coppermend.services.bind import Binding
from coppermend.services.cutwork import NOT_READ_OPEN, Parted, ends_of_cuts, parted_on, unread_under_wires
from coppermend.services.evidence import says_open
from coppermend.services.map_doubt import tips_of

LIKELY = 0.5
"""A break that is likelier than not is spoken of before it is sure enough to wire."""


@dataclass(frozen=True, slots=True)
class DoubtfulBreak:
    """A likely break that is not sure enough to wire. ``next_points``: the reading to take first, () where none is left that tells more."""

    span: Span
    next_points: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a net's breaks: site ids that are sure enough to wire, the cuts that wait, likely breaks, the pins that are to be joined."""

    broken: tuple[str, ...]
    parted: Parted | None
    doubts: tuple[DoubtfulBreak, ...]
    pins: tuple[str, ...]


def enough_words(binding: Binding) -> str:
    """The one sentence on when a break is wired."""
    return f"A break is wired when it is more than {100 * binding.basis.advice_above:g} % sure by two independent readings."


def doubtful_breaks(binding: Binding, net: int | None = None) -> tuple[DoubtfulBreak, ...]:
    """The likely breaks of a net (without one: of all nets) that are not sure enough to wire, likeliest first."""
    if "doubtful breaks" not in binding.memo:
        sure = {one.sites for one in spans_of(binding)}
        likely = spans(binding.graph, posterior_of(binding), binding.basis, least=LIKELY)
        binding.memo["doubtful breaks"] = tuple(one for one in likely if one.sites not in sure)
    found: tuple[Span, ...] = binding.memo["doubtful breaks"]
    names = binding.graph.net_names
    mine = [one for one in found if net is None or one.net == names[net]]
    points = {one.net: _next_points(binding, names.index(one.net)) for one in mine}
    return tuple(DoubtfulBreak(one, points[one.net], _doubt_words(binding, one, points[one.net])) for one in mine)


def _doubt_words(binding: Binding, span: Span, points: tuple[str, ...]) -> str:
    head = f"Net {span.net} is {chance_words(span.p)} broken ({span.words}): not sure enough to wire. {enough_words(binding)}"
    if points:
        a, b = (point_words(binding.graph.point(one)) for one in points)
        return f"{head} Next reading: {a} to {b}."
    return f"{head} No reading is left that tells more: look at the place with a lens, clean both points bright, before you solder."


def _next_points(binding: Binding, net: int) -> tuple[str, ...]:
    """The reading that tells most on a net whose open readings are not explained; () where none does."""
    posterior = posterior_of(binding)
    risk = risk_of(posterior)
    view = risk.frame.view_of_net.get(net)
    if view is None or not suspects(posterior, risk, view):
        return ()
    seed = len(binding.evidence)
    found = best_readings(posterior, risk, view, binding.costs, tips_of(binding), seed=seed)
    return (found[0].a.id, found[0].b.id) if found else ()


def known_of(binding: Binding, net: int, *, asked: bool = False) -> Known:
    """What is known of a net's breaks and cuts. Refusal WIR-016 where all that is known is a break that the next reading may take back; not where
    something else is ``asked`` for than to mend what is known."""
    graph, name = binding.graph, binding.graph.net_names[net]
    sure = tuple(site for span in spans_of(binding) if span.net == name for site in span.sites)
    parted, doubts = parted_on(binding, net), doubtful_breaks(binding, net)
    near = () if sure or parted is not None else tuple(site for span in _nearly_sure(binding, name) for site in span)
    first = doubts[0] if doubts and not near else None
    if first is not None and first.next_points and not sure and parted is None and not asked:
        named = " ".join(f"--broken {site}" for site in first.span.sites)
        remedy = f"Take that reading first (coppermend next). To plan it all the same: {named}."
        raise refuse("WIR-016", first.words, remedy, Place(thing=graph.net_names[net]))
    stuck = (
        () if parted is not None else tuple(site for one in doubts if not one.next_points for site in one.span.sites)
    )
    broken = sure or near or stuck
    return Known(broken, parted, doubts, _pins(binding, net, broken, parted))


def _nearly_sure(binding: Binding, name: str) -> list[tuple[str, ...]]:
    """Breaks above ``broken_above`` by two independent readings: a wire is planned for them beforehand, with the sentence that says what is missing."""
    found = spans(binding.graph, posterior_of(binding), binding.basis, above=binding.basis.broken_above)
    return [one.sites for one in found if one.net == name]


def _pins(binding: Binding, net: int, broken: tuple[str, ...], parted: Parted | None) -> tuple[str, ...]:
    """The pins that hung together with what is broken or cut; () leaves it to the plan."""
    if parted is None:
        return ()
    graph = closed_again(binding.graph, ends_of_cuts(binding))
    sites = sites_of(graph, net)
    home = components(nodes_of(graph, net), [(one.a, one.b) for one in sites])
    at = {point.id: point.node for point in points_of(graph, net)}
    hurt = {home[one.a] for one in sites if one.id in broken} | {home[at[pin]] for pin in parted.apart.pins}
    return tuple(pin for pin in pins_of(graph, net) if home[at[pin]] in hurt)


def whole_or_refused(binding: Binding, net: int) -> WirePlan:
    """A net without a known break: the plan without wires that says what joins it again; Refusal WIR-006 where nothing was done on it or readings say open."""
    name = binding.graph.net_names[net]
    unexplained = _read_open(binding, net)
    if unexplained is not None:
        raise refuse(
            "WIR-006",
            f"Net {name} reads open from {unexplained.a} to {unexplained.b}, and the readings do not tell yet where.",
            "Narrow it down first (coppermend next), or name the broken sites with --broken, or tracks to cut with --cut.",
            Place(thing=name),
        )
    joined = _joined_by(binding, net)
    if not joined:
        raise refuse(
            "WIR-006",
            f"The readings show no break on net {name} yet.",
            "Narrow it down first (coppermend next), or name the broken sites with --broken, or tracks to cut with --cut.",
            Place(thing=name),
        )
    proven = all(sure for _, sure in joined)
    by = "; ".join(words for words, _ in joined)
    if proven:
        note = f"Net {name} is whole again: {by}. No wire is needed."
    else:
        note = f"Net {name} hangs together again as far as noted: {by}. If that holds, no wire is needed; read it first (coppermend wire prove, coppermend next)."
    return WirePlan(net, name, "whole", (), 0.0, proven, True, (), (), (note,))


@dataclass(frozen=True, slots=True)
class ReadOpen:
    """A net that reads open from ``a`` to ``b`` (point ids), and nothing tells yet where."""

    net: str
    a: str
    b: str

    @property
    def words(self) -> str:
        """That it reads open, as a sentence."""
        return f"Net {self.net} reads open from {self.a} to {self.b}, and the readings do not tell yet where."


def read_open(binding: Binding) -> tuple[ReadOpen, ...]:
    """The nets that read open between points that should hang together, where nothing tells why: no sure break, no cut. Kept with the binding."""
    if "read open" not in binding.memo:
        known = {one.net for one in spans_of(binding)}
        nets = dict.fromkeys(binding.graph.point(one.point_a).net for one in binding.evidence if one.says != "closed")
        found = [_read_open(binding, net) for net in nets if binding.graph.net_names[net] not in known]
        binding.memo["read open"] = tuple(one for one in found if one is not None)
    made: tuple[ReadOpen, ...] = binding.memo["read open"]
    return made


def _read_open(binding: Binding, net: int) -> ReadOpen | None:
    """The last open reading on pieces that should hang together, which no closed one of the same pair came after."""
    at = {point.id: point for point in points_of(binding.graph, net)}
    home = components(nodes_of(binding.graph, net), [(s.a, s.b) for s in sites_of(binding.graph, net)])
    entries = {one.entry: one for one in binding.state.readings}
    closed: set[frozenset[str]] = set()
    for one in reversed(binding.evidence):
        a, b = at.get(one.point_a), at.get(one.point_b)
        reading = entries.get(one.entry)
        if a is None or b is None or reading is None or home[a.node] != home[b.node]:
            continue
        pair = frozenset((a.id, b.id))
        if not says_open(reading):
            closed.add(pair)
        elif pair not in closed:
            return None if _held(binding, net) else ReadOpen(binding.graph.net_names[net], a.id, b.id)
    return None


def _held(binding: Binding, net: int) -> bool:
    """Whether every site of a net is proven whole in spite of an open reading on it."""
    posterior = posterior_of(binding)
    return all(posterior.proven(one.id) for one in sites_of(binding.graph, net))


def _joined_by(binding: Binding, net: int) -> list[tuple[str, bool]]:
    """What was done on a net that lay in pieces: its wires and cuts, each in words and whether the readings prove it."""
    posterior, refs = posterior_of(binding), {one.entry: one.ref for one in binding.state.timeline}
    there = {one.id: one for one in sites_of(binding.graph, net)}
    unread = {wire for one in unread_under_wires(binding) for wire in one.wires}
    out = []
    for wire in binding.state.wires:
        site = f"wire@{wire.id}"
        if site in there:
            sure = posterior.proven(site) and wire.id not in unread
            said = "readings prove it" if sure else "no reading has proven it yet"
            said = NOT_READ_OPEN if wire.id in unread else said
            out.append((f"wire no. {refs.get(wire.id, 0)} ({wire.a.id} to {wire.b.id}), {said}", sure))
    for act in binding.state.acts:
        its = [site for entry, sites in binding.mended if entry == act.entry for site in sites]
        here = [one for one in its if one in there]
        if here:
            sure = all(posterior.proven(one) for one in here)
            said = "readings prove it" if sure else "no reading has proven it yet"
            out.append(
                (
                    f"{act.kind} at {act.points[0].id if act.points else act.part} (no. {refs.get(act.entry, 0)}), {said}",
                    sure,
                )
            )
    out += [(one.unread, False) for one in asked_again(binding) if out and one.a.net == net]
    if not out and any(binding.graph.node_net[one.node_a] == net for one in ends_of_cuts(binding, staying=True)):
        out.append(("every pin that is to hang together does so in spite of the cut", True))
    return out
