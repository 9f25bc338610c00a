"""What the readings of a case say about its copper, gathered for the record."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from coppermend.core.copper.model import CopperGraph, Site
from coppermend.core.copper.provable import NetView, net_view
from coppermend.core.log.gate import gate_status
from coppermend.core.log.state import Wire
from coppermend.core.planning.model import Span
from coppermend.core.planning.spans import span_words
from coppermend.services.bench import plan_of, posterior_of, spans_of
from coppermend.services.bind import Binding
from coppermend.services.points import point_now, points_of_pin
from coppermend.services.recording.gather import Found, Judgement


def judge(binding: Binding) -> Judgement:
    """The judgement over a bound case: probabilities, breaks open and mended, what is left to check."""
    state, basis = binding.state, binding.basis
    plan, posterior = plan_of(binding), posterior_of(binding)
    gone = set(binding.broken)
    p = {site: posterior.p(site) for site in plan.at_risk}
    p.update(dict.fromkeys(gone, 1.0))
    open_spans = [one for one in spans_of(binding) if one.p > basis.broken_above]
    mended = list(mended_breaks(binding))
    gate = gate_status(state.gate, state.readings, state.last_soldering)
    return Judgement(
        at_risk=tuple(dict.fromkeys([*plan.at_risk, *binding.broken])),
        p=p,
        found=(*mended, *(Found(one) for one in open_spans)),
        unprovable=plan.unprovable,
        checks_left=plan.checks,
        isolation_left=plan.isolation,
        wires_proven=frozenset(
            wire.id for wire in state.wires if _p_of_wire(binding.graph, wire, posterior.p) < basis.proven_below
        ),
        gate_open=gate.open,
        gate_missing=tuple(one.words for one in gate.missing),
        basis=basis,
    )


def _p_of_wire(graph: CopperGraph, wire: Wire, ask: Callable[[str], float]) -> float:
    """The probability that a wire is broken; 1 when the board as it is now does not hold it."""
    site = f"wire@{wire.id}"
    return ask(site) if any(one.id == site for one in graph.sites) else 1.0


def mended_breaks(binding: Binding) -> Iterable[Found]:
    """The breaks that the readings had shown before a wire bridged them, one per stretch that no reading can split, with that wire."""
    sites = {site.id: site for site in binding.base.sites}
    by_net: dict[int, list[str]] = {}
    for site in binding.broken:
        if site in sites:
            by_net.setdefault(sites[site].net, []).append(site)
    for net, its in by_net.items():
        view = net_view(binding.base, net)
        groups: dict[int, list[str]] = {}
        for site in its:
            groups.setdefault(view.super_of.get(site, -1), []).append(site)
        wire = _wire_on(binding.state.wires, binding.base, net)
        for number, group in groups.items():
            yield Found(_span(binding.base, view, number, [sites[one] for one in group]), wire)


def _span(graph: CopperGraph, view: NetView, number: int, sites: Sequence[Site]) -> Span:
    """The span of these broken sites of one super-edge, known for certain."""
    edge = view.super_edges[number] if number >= 0 else None
    ends = (edge.a, edge.b) if edge else (sites[0].a, sites[-1].b)
    path = tuple((site.layer, site.path) for site in sites if site.path)
    ids = tuple(site.id for site in sites)
    return Span(graph.net_names[view.net], ids, 1.0, span_words(graph, sites, *ends), path)


def _wire_on(wires: tuple[Wire, ...], graph: CopperGraph, net: int) -> str:
    """The first wire with an end on this net."""
    for wire in wires:
        for ref in (wire.a, wire.b):
            point = point_now(graph, ref)
            points = (point,) if point is not None else points_of_pin(graph, ref.part, ref.pin) if ref.part else ()
            if any(one.net == net for one in points):
                return wire.id
    return ""
