"""The units that were named: how each is mended, and whether the log says that it was."""

from __future__ import annotations

from collections.abc import Sequence

from coppermend.core.belief.suspects.causes import Cause
from coppermend.core.belief.suspects.posterior import Apart, Beep, path_causes
from coppermend.core.log.consent import Consent, consent_of
from coppermend.core.log.fold import is_repair
from coppermend.core.log.state import Act
from coppermend.core.planning.whole import TIMES, Named
from coppermend.services.bind import Binding
from coppermend.services.powered import PoweredBoard
from coppermend.services.whole_view import WholeView


def named_unit(view: WholeView, made: PoweredBoard, unit: str, p: float) -> Named | None:
    """How a unit is mended."""
    cause = next((one for one in made.field.causes if one.unit == unit), None)
    if cause is None:
        return None
    owner = consent_of(view.binding.state.intake)
    if cause.kind == "part":
        return _part_named(view, cause.part, unit, p, owner)
    if cause.kind == "rail":
        return Named(unit, p, "supply", TIMES.supply_s)
    if cause.kind == "short":
        return Named(unit, p, "clear", TIMES.clear_s)
    return Named(unit, p, "wire", view.binding.costs.patch_s)


def _part_named(view: WholeView, part: str, unit: str, p: float, owner: Consent) -> Named:
    states = {ref: str(state) for ref, state in view.binding.graph.part_states}
    row = view.made.circuit.by_ref.get(part) if view.made is not None else None
    kept = "replace part" if "replace part" in owner.refused else ""
    if states.get(part) == "socketed" or (row is not None and row.socketed):
        return Named(unit, p, "swap", view.binding.costs.swap_s, kept)
    chip = row is not None and row.role == "chip"
    seconds = TIMES.replace_chip_s if chip else TIMES.replace_small_s
    return Named(unit, p, "replace", seconds, kept or ("" if owner.allows("unsolder") else "unsolder"))


def mended(view: WholeView, made: PoweredBoard, unit: str, cut: int) -> str:
    """Whether work since the session has mended a unit, as far as the log tells: "" not, "unproven" a stretch that no reading crossed since, "mended"."""
    state = view.binding.state
    causes = [one for one in made.field.causes if one.unit == unit]
    acts = [one for one in state.acts if one.at >= cut and is_repair(one)]
    if causes[0].kind == "part":
        part = causes[0].part
        return "mended" if any(one.part == part and one.kind in ("swap", "fit") for one in acts) else ""
    if causes[0].kind == "rail":
        return "mended" if any(one.at >= cut and one.rail == causes[0].net for one in state.supply) else ""
    if causes[0].kind == "short":
        short = made.behaviour.shorts[int(causes[0].key[2])]
        both = {short.net_a, short.net_b}
        done = any(one.kind in ("clean", "solder") and both <= {p.net for p in one.points} for one in acts)
        return "mended" if done else ""
    return _span_mended(view, made, causes, acts, cut)


def _span_mended(view: WholeView, made: PoweredBoard, causes: Sequence[Cause], acts: Sequence[Act], cut: int) -> str:
    """The same of a stretch of copper: the last work on it, and what was read across it since. One open reading is read again."""
    worked = _worked_at(view, causes, acts, cut)
    if not worked:
        return ""
    said = _across(view, made, causes, max(worked))
    if "closed" in said or not all(ends_of(view, one) for one in causes):
        return "mended"
    return "unproven" if len(said) < 2 else ""


def _worked_at(view: WholeView, causes: Sequence[Cause], acts: Sequence[Act], cut: int) -> list[int]:
    """The entries of work on stretches of copper since an entry."""
    nets = {one.net for one in causes}
    worked = [one.at for one in view.binding.state.wires if one.at >= cut and one.a.net in nets]
    pins = {site.partition("@")[2] for one in causes for site in one.sites}
    loose = [site for one in causes for site in one.sites if site.partition("@")[0] in ("contact", "leg")]
    parts = {site.partition("@")[2].rpartition(".")[0] for site in loose}
    for one in acts:
        soldered = one.kind in ("solder", "fit", "swap") and any(f"{p.part}.{p.pin}" in pins for p in one.points)
        if soldered or (one.part in parts and one.kind in ("reseat", "clean", "swap", "fit")):
            worked.append(one.at)
    return worked


def read_since(view: WholeView, session: Binding, made: PoweredBoard, cut: int) -> tuple[Beep | Apart, ...]:
    """Continuity and isolation that were read since the first repair where nothing was worked on before: the copper there is as it was in the session."""
    known = {one.entry for one in session.evidence}
    at = {one.entry: one.at for one in view.binding.state.readings}
    acts = [one for one in view.binding.state.acts if one.at >= cut and is_repair(one)]
    found: list[Beep | Apart] = []
    for one in view.binding.evidence:
        a, b = made.node_at(one.point_a), made.node_at(one.point_b)
        if one.entry in known or one.says not in ("closed", "open") or a is None or b is None or a == b:
            continue
        read = at.get(one.entry, -1)
        if a[0] != b[0]:
            cleared = [act.at for act in acts if {a[0], b[0]} <= {p.net for p in act.points}]
            if all(work > read for work in cleared):
                found.append(Apart(a[0], b[0], one.says == "closed", one.entry, a[1], b[1]))
            continue
        over = [made.field.causes[k] for k in path_causes(made.field, a[0], a[1], b[1])]
        if all(work > read for work in _worked_at(view, over, acts, cut)):
            found.append(Beep(a[0], a[1], b[1], one.says == "closed", one.entry))
    return tuple(found)


def _across(view: WholeView, made: PoweredBoard, causes: Sequence[Cause], since: int) -> list[str]:
    """What the readings across a stretch said since an entry."""
    wanted = {k for k, one in enumerate(made.field.causes) if one.unit == causes[0].unit}
    said = []
    for one in view.binding.state.readings:
        if one.at <= since or one.kind not in ("closed", "open") or len(one.points) != 2:
            continue
        a, b = (made.node_at(p.id) for p in one.points)
        if a is not None and b is not None and a[0] == b[0] and wanted & set(path_causes(made.field, a[0], a[1], b[1])):
            said.append(one.kind)
    return said


def ends_of(view: WholeView, cause: Cause) -> tuple[str, str] | None:
    """Points on either side of a stretch."""
    assert view.made is not None
    edge = int(cause.key[2])
    return ends_between(view, cause.net, *view.made.behaviour.trees[cause.net].edges[edge], edge)


def ends_between(view: WholeView, net: str, a: int, b: int, edge: int) -> tuple[str, str] | None:
    """A reachable point on either side of a span, the nearest ones."""
    assert view.made is not None
    tree = view.made.behaviour.trees[net]
    points = view.made.trees[net].points
    near: dict[int, list[int]] = {}
    for k, (x, y) in enumerate(tree.edges):
        if k != edge:
            near.setdefault(x, []).append(y)
            near.setdefault(y, []).append(x)
    ends = []
    for start in (a, b):
        queue, seen = [start], {start}
        for node in queue:
            here = [p for p in points.get(node, ()) if p.reachable]
            if here:
                ends.append(here[0].id)
                break
            fresh = [o for o in near.get(node, ()) if o not in seen]
            seen |= set(fresh)
            queue += fresh
    return (ends[0], ends[1]) if len(ends) == 2 else None


def point_at(view: WholeView, net: str, node: int) -> str:
    assert view.made is not None
    points = view.made.trees[net].points.get(node, ())
    return points[0].id if points else ""


def read_since_up(view: WholeView, net: str, a: int, b: int) -> bool:
    """Whether a reading that crosses the span was noted since the last power-up."""
    ups = view.binding.state.power_ups
    since = ups[-1].at if ups else -1
    made = view.made
    if made is None or view.session is None:
        return False
    entries = {one.entry for one in view.binding.state.readings if one.at > since and one.kind in ("closed", "open")}
    want = {
        k
        for k, one in enumerate(made.field.causes)
        if one.key[0] == "cut" and one.net == net and made.behaviour.trees[net].edges[int(one.key[2])] == (a, b)
    }
    return any(
        isinstance(one, Beep)
        and one.entry in entries
        and one.net == net
        and want & set(path_causes(made.field, net, one.node_a, one.node_b))
        for one in view.found
    )
