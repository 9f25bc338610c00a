"""What the readings of a case say about its copper, gathered for the record."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from coppermend.core.belief.joining import Joining
from coppermend.core.copper.model import CopperGraph, Site
from coppermend.core.copper.provable import NetView, net_view
from coppermend.core.log.state import Wire
from coppermend.core.planning.model import Span
from coppermend.core.planning.spans import span_words
from coppermend.services.askedagain import asked_again
from coppermend.services.bench import plan_of, posterior_of, spans_of
from coppermend.services.bind import Binding
from coppermend.services.cautions import joined_by_wire_or_part
from coppermend.services.clearedwork import cleared_pairs
from coppermend.services.cutwork import CUTS, parted_nets, unread_under_wires
from coppermend.services.newwire import open_wires
from coppermend.services.rails import gate_of
from coppermend.services.recording.byohms import ohms_rows
from coppermend.services.recording.gather import IDLE, Found, Judgement


def judge(binding: Binding) -> Judgement:
    """The judgement over a bound case: probabilities, breaks open and mended, what is left to check."""
    state, basis = binding.state, binding.basis
    plan, posterior = plan_of(binding), posterior_of(binding)
    gone = set(binding.broken)
    p = {site: posterior.p(site) for site in plan.at_risk}
    p.update(dict.fromkeys(gone, 1.0))
    open_spans = [one for one in spans_of(binding) if one.p > basis.broken_above]
    mended = list(mended_breaks(binding, open_spans))
    gate = gate_of(binding)
    astray = wires_astray(binding)
    bridges = tuple(_bridges(binding, posterior.shorts))
    unread = unread_under_wires(binding)
    bare = frozenset(one.entry for one in open_wires(binding))
    over_unread = frozenset(wire for one in unread for wire in one.wires)
    return Judgement(
        at_risk=tuple(dict.fromkeys([*plan.at_risk, *binding.broken])),
        p=p,
        found=(*mended, *(Found(one) for one in open_spans)),
        unprovable=plan.unprovable,
        checks_left=plan.checks,
        isolation_left=plan.isolation,
        wires_proven=frozenset(
            wire.id
            for wire in state.wires
            if wire.id not in astray | over_unread | bare
            and _p_of_wire(binding.graph, wire, posterior.p) < basis.proven_below
        ),
        wires_astray=astray,
        wires_over_unread=over_unread,
        wires_open=bare,
        unread_cuts=(
            *(one.words for one in unread),
            *(one.words for one in cleared_pairs(binding)),
            *(one.words for one in asked_again(binding)),
        ),
        bridges=bridges,
        by_ohms=ohms_rows(binding, [(a, b) for a, b, _, _ in bridges]),
        gate_open=gate.open,
        gate_missing=tuple(one.words for one in gate.missing if one.item != CUTS),
        parted=tuple((one.net_name, f"{one.words}; {one.state_words}") for one in parted_nets(binding)),
        basis=basis,
        not_proven=frozenset(site for site in plan.at_risk if not posterior.proven(site)),
    )


LIKELY = 0.5
"""A pair of nets is called bridged in the record when that is likelier than not."""


def wires_astray(binding: Binding) -> frozenset[str]:
    """Ids of the fitted wires whose ends lie on nets that neither copper nor a low-ohm part of the board joins."""
    net = {point.id: point.net for point in binding.base.points}
    return frozenset(
        wire.id
        for wire in binding.state.wires
        if wire.a.id in net
        and wire.b.id in net
        and net[wire.b.id] not in joined_by_wire_or_part(binding.base, net[wire.a.id])
    )


def _bridges(binding: Binding, shorts: Iterable[Joining]) -> Iterable[tuple[str, str, str, str]]:
    """The pairs read closed that belong apart, as (net, net, point, point)."""
    net = {point.id: binding.graph.net_names[point.net] or "a net without name" for point in binding.graph.points}
    for one in shorts:
        if one.p > LIKELY:
            yield net[one.point_a], net[one.point_b], one.point_a, one.point_b


def _p_of_wire(graph: CopperGraph, wire: Wire, ask: Callable[[str], float]) -> float:
    """The probability that a wire is broken; 1 when the board as it is now does not hold it."""
    site = f"wire@{wire.id}"
    return ask(site) if any(one.id == site for one in graph.sites) else 1.0


def mended_breaks(binding: Binding, still_open: Iterable[Span] = ()) -> Iterable[Found]:
    """The breaks that the readings had shown before something mended them, each with the last wire or act that did; then those that need nothing.

    A break that is open again is left out: the act had not mended it.
    """
    taken = {site for span in still_open for site in span.sites}
    latest: list[tuple[str, tuple[str, ...]]] = []
    for entry, its in reversed(binding.mended):
        if not taken & set(its):
            taken |= set(its)
            latest.append((entry, its))
    for entry, its in reversed(latest):
        yield from _found(binding, its, entry)
    yield from _found(binding, binding.idle, IDLE)


def _found(binding: Binding, its: Sequence[str], entry: str) -> Iterable[Found]:
    """These sites as breaks, one per stretch that no reading can split."""
    sites = {site.id: site for site in binding.base.sites}
    groups: dict[tuple[int, int], list[Site]] = {}
    views: dict[int, NetView] = {}
    for one in (sites[site] for site in its if site in sites):
        view = views.setdefault(one.net, net_view(binding.base, one.net))
        groups.setdefault((one.net, view.super_of.get(one.id, -1)), []).append(one)
    for (net, number), group in groups.items():
        yield Found(_span(binding.base, views[net], number, group), entry)


def _span(graph: CopperGraph, view: NetView, number: int, sites: Sequence[Site]) -> Span:
    """The span of these broken sites of one super-edge, known for certain."""
    edge = view.super_edges[number] if number >= 0 else None
    ends = (edge.a, edge.b) if edge else (sites[0].a, sites[-1].b)
    path = tuple((site.layer, site.path) for site in sites if site.path)
    ids = tuple(site.id for site in sites)
    return Span(graph.net_names[view.net], ids, 1.0, span_words(graph, sites, *ends), path)
