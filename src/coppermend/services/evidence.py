"""What the log's readings still say about the board as it is now.

A reading speaks of the copper as it was. Work done since may have changed a part of it:
* A part was moved in its socket or taken out: what was read at its legs no longer speaks of leg and contact. A closed reading still speaks of
  the copper behind them, so its end moves inwards (contact, joint); an open one may have been that contact, so it speaks no more.
* Solder flowed at a joint: a closed reading moves inwards to the land, an open one speaks no more.
* A patch wire was fitted across a break that the readings had shown (P > ``broken_above``): the break is known and stays open in the board that is
  planned on (its sites count as cut), the readings that it explains have done their work. Where no break was sure, an open reading speaks no more only
  if a way between its two points now runs through the wire; a wire elsewhere on the net leaves it as it was.
* Solder or dirt was cleared between two nets that read joined, or solder flowed at one of the places: a closed reading between them speaks no more.
  Nor where it was cleared at a place on the board that the copper of both nets comes near (the place of a located short).
* A track was cut: closed readings across the cut speak no more, nor closed ones between its net and another (a track is cut to part them).
Nothing is dropped in silence: every reading that speaks no more is listed with why.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import hypot

from coppermend.core.belief.blocks import BlockTree, block_tree
from coppermend.core.belief.model import Evidence
from coppermend.core.copper.laps import bared_point
from coppermend.core.copper.model import CopperGraph, ProbePoint, SiteKind
from coppermend.core.copper.worked import CUT_NEAR_MM, all_cut_ends
from coppermend.core.log.state import Act, CaseState, Cut, PointRef, Reading, Wire
from coppermend.services.meters import instrument_of
from coppermend.services.points import point_now, points_of_pin

SAYS = ("closed", "open", "ohms")
LEG, SOCKET, LAND = 0, 1, 2
_LEVEL = {"leg": LEG, "contact": SOCKET}
_MOVES_LEG = ("reseat", "press", "remove", "fit", "swap", "clean")


@dataclass(frozen=True, slots=True)
class Live:
    """A reading and how far in it still speaks at each end; ``why_not`` says why it speaks no more."""

    reading: Reading
    level_a: int
    level_b: int
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Folded:
    """The log laid over the copper: evidence that holds, sites known broken, and (entry, why) of the readings that speak no more.

    ``mended``: (entry of the wire or act, site ids) of each break that the readings had shown before that entry.
    """

    evidence: tuple[Evidence, ...]
    broken: tuple[str, ...]
    expired: tuple[tuple[str, str], ...]
    mended: tuple[tuple[str, tuple[str, ...]], ...] = ()


GraphAt = Callable[[Sequence[Wire], Sequence[Cut], Sequence[str]], CopperGraph]
"""The worked graph with these wires, cuts and broken sites, part states as they are now."""

NetsAt = Callable[[PointRef], frozenset[str]]
"""The names of the nets whose copper comes near a place on the board."""


def no_nets(_place: PointRef) -> frozenset[str]:
    """A board whose copper nobody knows: no net is near a place."""
    return frozenset()


BreaksIn = Callable[[CopperGraph, Sequence[Evidence]], Sequence[tuple[str, ...]]]
"""The spans (site ids) that the evidence shows broken beyond doubt."""


def fold_evidence(state: CaseState, graph_at: GraphAt, breaks_in: BreaksIn, nets_at: NetsAt = no_nets) -> Folded:
    """The evidence that holds for the board as it is now. Pure: everything comes from the state and the functions."""
    alive = [Live(one, *_levels(one)) for one in state.readings if one.kind in SAYS and len(one.points) == 2]
    wires: list[Wire] = []
    cuts: list[Cut] = []
    broken: list[str] = []
    mended: list[tuple[str, tuple[str, ...]]] = []
    for change in _changes(state):
        if isinstance(change, Act):
            mended += _mended_by(change, alive, partial(graph_at, wires, cuts, broken), breaks_in)
            asks = change.kind in PARTS_NETS and any(_joins_nets(one) for one in alive)
            parted = tuple(nets_at(one) for one in change.points) if asks else ()
            alive = [_after_act(one, change, parted) for one in alive]
        elif isinstance(change, Cut):
            cuts.append(change)
            alive = _after_cut(alive, change, graph_at(wires, cuts, broken))
        else:
            before = graph_at(wires, cuts, broken)
            spans = _breaks_before(alive, change, before, breaks_in)
            found = [site for span in spans for site in span]
            mended += [(change.id, span) for span in spans]
            wires.append(change)
            broken += [site for site in found if site not in broken]
            runs_through = _ways_through(change, partial(graph_at, wires, cuts, broken))
            alive = _after_patch(alive, change, before, frozenset(found), runs_through)
    now = graph_at(wires, cuts, broken)
    return replace(_placed(alive, now, tuple(broken)), mended=tuple(mended))


def _mended_by(
    act: Act, alive: Sequence[Live], graph_before: Callable[[], CopperGraph], breaks_in: BreaksIn
) -> list[tuple[str, tuple[str, ...]]]:
    """The breaks inside the pins that an act worked on, as the readings before it had shown them."""
    earlier = [one for one in alive if one.reading.at < act.at]
    if not any(one.reading.kind != "closed" and _after_act(one, act).why_not for one in earlier if not one.why_not):
        return []
    graph = graph_before()
    pins = {(point.part, point.pin) for point in act.points}
    at = {site.id: site for site in graph.sites}
    spans = breaks_in(graph, _placed(earlier, graph, ()).evidence)
    return [(act.entry, span) for span in spans if all(_works_on(act, pins, at[one].part, at[one].pin) for one in span)]


def _works_on(act: Act, pins: set[tuple[str, str]], part: str, pin: str) -> bool:
    return part != "" and (part == act.part or (part, pin) in pins)


def _changes(state: CaseState) -> list[Act | Cut | Wire]:
    acts: list[Act | Cut | Wire] = [one for one in state.acts if one.kind in (*_MOVES_LEG, "solder")]
    return sorted([*acts, *state.cuts, *state.wires], key=lambda one: one.at)


def says_open(reading: Reading) -> bool:
    """Whether a reading says that the circuit does not close: an open beep, ohms that read overload, or ohms above what beeps."""
    if reading.kind == "ohms":
        return reading.value is None or reading.value > BEEPS_OHM
    return reading.kind == "open"


def _levels(reading: Reading) -> tuple[int, int]:
    a, b = (level_of(point) for point in reading.points)
    return a, b


def level_of(point: PointRef) -> int:
    """How far out a point is at its pin: the leg, the socket's metal, or the land."""
    return _LEVEL.get(point.id.rpartition("/")[2], LAND)


MAY_PART = "may have parted the two nets"
"""Why a closed reading between two nets speaks no more: the pair is to be read again."""
ANOTHER_WAY = "a way between its points runs through a patch wire fitted since then"
"""Why an open reading speaks no more that a wire may have answered: the pair is read again (``services/askedagain.py``)."""
PARTS_NETS = ("clean", "solder")
"""Acts that may take away what joined two nets."""


def _parts_nets(act: Act, reading: Reading, near: Sequence[frozenset[str]]) -> bool:
    """Whether an act may have taken away what joined the two nets of a closed reading: solder or dirt cleared between points on both nets, or at a place
    that both come near (``near``: the nets there, for each of the act's places), or work at one of the reading's own places."""
    nets = {point.net for point in reading.points}
    if act.kind not in PARTS_NETS or says_open(reading) or len(nets) < 2:
        return False
    between = len(act.points) > 1 and {point.net for point in act.points} == nets
    at_place = any(nets <= there for there in near)
    return between or at_place or any(_same_place(point, one) for point in reading.points for one in act.points)


def _joins_nets(one: Live) -> bool:
    """Whether a reading that still speaks says that two nets are joined."""
    return not one.why_not and not says_open(one.reading) and len({point.net for point in one.reading.points}) > 1


def _after_act(one: Live, act: Act, near: Sequence[frozenset[str]] = ()) -> Live:
    if one.why_not or one.reading.at > act.at:
        return one
    if _parts_nets(act, one.reading, near):
        return replace(one, why_not=f"{act.kind} since then {MAY_PART}")
    touched = [_touches(act, point) for point in one.reading.points]
    if not any(touched):
        return one
    if says_open(one.reading):
        return replace(one, why_not=f"{act.kind} since then may have closed it")
    inner = LAND if act.soldering else SOCKET
    levels = [
        max(level, inner) if hit else level for level, hit in zip((one.level_a, one.level_b), touched, strict=True)
    ]
    return replace(one, level_a=levels[0], level_b=levels[1])


def _touches(act: Act, point: PointRef) -> bool:
    """Whether an act changed what lies under a tip: its own leg and contact, or for solder the joint it was at."""
    if act.kind == "solder":
        return any(_same_place(point, one) for one in act.points)
    if act.kind == "clean" and not act.part:
        return any(_same_place(point, one) for one in act.points)
    if not act.part or point.part != act.part:
        return False
    return act.soldering or level_of(point) == LEG or (level_of(point) == SOCKET and act.kind == "clean")


def _same_place(a: PointRef, b: PointRef) -> bool:
    if a.part or b.part:
        return (a.part, a.pin) == (b.part, b.pin)
    return abs(a.x_mm - b.x_mm) < 0.05 and abs(a.y_mm - b.y_mm) < 0.05


def _after_cut(alive: list[Live], cut: Cut, graph: CopperGraph) -> list[Live]:
    """The readings after a cut (``graph`` with it): closed ones across it speak no more, nor closed ones between its net and another, which it may have
    been made to part."""
    parted = Pieces(graph, ())
    mine = {graph.node_net[node] for pair in all_cut_ends(graph) for node in pair if _at_cut(graph, node, cut)}

    def after(one: Live) -> Live:
        if one.why_not or one.reading.at > cut.at or says_open(one.reading):
            return one
        a, b = _ends(one, graph)
        if parted.apart(a, b):
            return replace(one, why_not="a track of it was cut since then")
        if a is not None and b is not None and a.net != b.net and {a.net, b.net} & mine:
            return replace(one, why_not=f"a track was cut since then, which {MAY_PART}")
        return one

    return [after(one) for one in alive]


def _at_cut(graph: CopperGraph, node: int, cut: Cut) -> bool:
    x, y, layer = graph.node_place[node]
    return layer == cut.side and hypot(x - cut.x_mm, y - cut.y_mm) <= CUT_NEAR_MM


def _breaks_before(alive: list[Live], wire: Wire, before: CopperGraph, breaks_in: BreaksIn) -> list[tuple[str, ...]]:
    """The spans (site ids), in the nets that the wire touches, that the readings before it showed broken."""
    earlier = [one for one in alive if one.reading.at < wire.at]
    evidence = _placed(earlier, before, ()).evidence
    nets = _nets_of(wire, before)
    at = {site.id: site for site in before.sites}
    spans = breaks_in(before, evidence) if any(one.says != "closed" for one in evidence) else ()
    return [span for span in spans if before.node_net[at[span[0]].a] in nets]


RunsThrough = Callable[[Live], bool]
"""Whether some way between the two points of a reading runs through a wire."""


def _ways_through(wire: Wire, graph_after: Callable[[], CopperGraph]) -> RunsThrough:
    """Says of a reading whether a way between its points, none touched twice, runs through the wire: its site then lies in a block on their route.

    A wire that the graph does not hold counts as run through: nothing is known of where it lies.
    """
    kept: list[tuple[CopperGraph, BlockTree, dict[int, int], int] | None] = []

    def laid() -> tuple[CopperGraph, BlockTree, dict[int, int], int] | None:
        graph = graph_after()
        site = next((one for one in graph.sites if one.id == f"wire@{wire.id}"), None)
        if site is None:
            return None
        edges = [(one.a, one.b) for one in graph.sites if one.net == site.net and one.kind is not SiteKind.THROUGH]
        number = {node: k for k, node in enumerate(dict.fromkeys(node for pair in edges for node in pair))}
        tree = block_tree(len(number), [(number[a], number[b]) for a, b in edges])
        mine = edges.index((site.a, site.b))
        return graph, tree, number, next((k for k, its in enumerate(tree.edges) if mine in its), -1)

    def through(one: Live) -> bool:
        if not kept:
            kept.append(laid())
        if kept[0] is None:
            return True
        graph, tree, number, block = kept[0]
        a, b = _ends(one, graph)
        if a is None or b is None or a.node not in number or b.node not in number:
            return True
        start, end = number[a.node], number[b.node]
        return tree.piece[start] == tree.piece[end] and any(step[0] == block for step in tree.route(start, end))

    return through


def _after_patch(
    alive: list[Live], wire: Wire, before: CopperGraph, broken: frozenset[str], runs_through: RunsThrough
) -> list[Live]:
    parted = Pieces(before, broken)
    nets = _nets_of(wire, before)
    return [_under_patch(one, wire, before, parted, nets, bool(broken), runs_through) for one in alive]


def _under_patch(
    one: Live,
    wire: Wire,
    before: CopperGraph,
    parted: Pieces,
    nets: frozenset[int],
    known: bool,
    runs_through: RunsThrough,
) -> Live:
    """One reading after a wire was soldered in."""
    if one.why_not or one.reading.at > wire.at:
        return one
    a, b = _ends(one, before)
    if a is None or b is None or not {a.net, b.net} & nets:
        return one
    if a.net != b.net:
        return replace(one, why_not="solder flowed beside it since then") if says_open(one.reading) else one
    if parted.apart(a, b):
        return replace(one, why_not="it showed the break that was patched since then")
    if says_open(one.reading) and not known and runs_through(one):
        return replace(one, why_not=ANOTHER_WAY)
    return one


def _nets_of(wire: Wire, graph: CopperGraph) -> frozenset[int]:
    ends = [point_now(graph, one) or _any_of_pin(graph, one) or bared_point(graph, one.id) for one in (wire.a, wire.b)]
    return frozenset(point.net for point in ends if point is not None)


def _any_of_pin(graph: CopperGraph, ref: PointRef) -> ProbePoint | None:
    found = points_of_pin(graph, ref.part, ref.pin) if ref.part else ()
    return found[0] if found else None


def _ends(one: Live, graph: CopperGraph) -> tuple[ProbePoint | None, ProbePoint | None]:
    a, b = one.reading.points
    return end_now(graph, a, one.level_a), end_now(graph, b, one.level_b)


def end_now(graph: CopperGraph, ref: PointRef, level: int) -> ProbePoint | None:
    """The point from which an end of a reading still speaks: its own, or one further in at the same pin; None when there is none."""
    if level <= level_of(ref):
        found = point_now(graph, ref)
        if found is not None:
            return found
    if not ref.part:
        return None
    further = [
        point
        for point in points_of_pin(graph, ref.part, ref.pin)
        if _LEVEL.get(point.kind, LAND) >= max(level, level_of(ref))
    ]
    return further[0] if further else None


def _placed(alive: Iterable[Live], graph: CopperGraph, broken: tuple[str, ...]) -> Folded:
    evidence, expired = [], []
    for one in alive:
        a, b = _ends(one, graph)
        why = one.why_not or ("its point is not there in the present part states" if a is None or b is None else "")
        if says_open(one.reading) and not why and (one.level_a, one.level_b) == _levels(one.reading):
            moved = [
                end
                for end, ref in zip((a, b), one.reading.points, strict=True)
                if end is not None and ref.part and end.id != ref.id
            ]
            why = "its point is not there in the present part states" if moved else ""
        if why or a is None or b is None:
            expired.append((one.reading.entry, why))
        elif a.node != b.node:
            evidence.append(_evidence(one.reading, a, b, graph))
    return Folded(tuple(evidence), broken, tuple(expired))


def _evidence(reading: Reading, a: ProbePoint, b: ProbePoint, graph: CopperGraph) -> Evidence:
    """A reading as evidence. Overload in ohms is open; a value whose tips have moved inwards since, or lack a point now, only says closed."""
    if reading.kind != "ohms":
        return Evidence(reading.entry, a.id, b.id, reading.kind)
    if reading.value is None:
        return Evidence(reading.entry, a.id, b.id, "open")
    sense = [point_now(graph, one) for one in reading.sense]
    moved = any(end.id != ref.id for end, ref in zip((a, b), reading.points, strict=True) if ref.part)
    ends = [one.id for one in sense if one is not None]
    if reading.value <= BEEPS_OHM and (moved or len(ends) != len(sense)):
        return Evidence(reading.entry, a.id, b.id, "closed")
    apart = (ends[0], ends[1]) if len(ends) == 2 else None
    return Evidence(reading.entry, a.id, b.id, "ohms", reading.value, instrument=instrument_of(reading), sense=apart)


BEEPS_OHM = 10.0
"""A value up to this is a closed circuit whatever else it says (IPC-9252 class 3, as ``Basis.closed_below_ohm``)."""


class Pieces:
    """Which nodes are joined when some sites are taken away. Parts that are rung through join nothing."""

    def __init__(self, graph: CopperGraph, without: Iterable[str]) -> None:
        gone = frozenset(without)
        self._root = list(range(graph.node_count))
        for site in graph.sites:
            if site.id not in gone and site.kind is not SiteKind.THROUGH:
                a, b = self._find(site.a), self._find(site.b)
                self._root[max(a, b)] = min(a, b)

    def _find(self, node: int) -> int:
        root = self._root
        while root[node] != node:
            root[node] = root[root[node]]
            node = root[node]
        return node

    def apart(self, a: ProbePoint | None, b: ProbePoint | None) -> bool:
        """Whether two points of one net are no longer joined; False when one of them is not there."""
        return a is not None and b is not None and a.net == b.net and self._find(a.node) != self._find(b.node)
