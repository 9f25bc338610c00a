"""What a person at the bench should hear at once about the entry just written: work with the power on, copper joined that belongs apart."""

from __future__ import annotations

from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.log.model import Entry
from coppermend.services.bind import Binding, bind
from coppermend.services.cases import case_state
from coppermend.services.workshop import Workshop

UNPOWERED_READINGS = ("closed", "open", "ohms", "diode")
SOLDERING = ("patch", "cut", "solder", "remove", "fit", "swap", "reseat", "press")


def cautions(workshop: Workshop, case: str, entry: Entry) -> tuple[str, ...]:
    """Sentences about an entry of this case that was just noted, most pressing first; empty where all is as it should be.

    An entry is never refused for these: what was done was done. The person is told what the log says against it.
    """
    out: list[str] = []
    if case_state(workshop, case).power_on:
        if entry.kind in UNPOWERED_READINGS:
            out.append("the log says that power is on. Continuity and ohms are read on an unpowered board only.")
        if entry.kind in SOLDERING:
            out.append(
                "the log says that power is on. Work on parts and copper is done with power off and the supply unplugged."
            )
    out += _apart(bind(workshop, case), entry)
    return tuple(out)


def _apart(binding: Binding, entry: Entry) -> list[str]:
    """Two points of different nets, read closed or joined by a wire, that nothing on the board joins."""
    if entry.kind not in ("closed", "ohms", "patch"):
        return []
    names = [str(one["id"]) for one in _ends(entry)]
    at = {point.id: point for point in binding.base.points}
    if len(names) != 2 or any(name not in at for name in names):
        return []
    a, b = (at[name].net for name in names)
    if b in joined_by_wire_or_part(binding.base if entry.kind == "patch" else binding.graph, a):
        return []
    nets = f"{binding.base.net_names[a] or 'one net'} and {binding.base.net_names[b] or 'another'}"
    if entry.kind == "patch":
        return [
            f"this wire joins {nets}, two nets that the board keeps apart. If a point was mistyped: note CASE undo."
        ]
    value = entry.payload.get("ohm")
    low = entry.kind == "closed" or (isinstance(value, (int, float)) and value < binding.basis.closed_below_ohm)
    if not low:
        return []
    return [
        f"{nets} are two nets that the board keeps apart. Read it once more with both tips seated; "
        "if it stays closed, look for a bridge there. If a point was mistyped: note CASE undo."
    ]


def joined_by_wire_or_part(graph: CopperGraph, net: int) -> set[int]:
    """The nets that wires or low-ohm parts join to ``net``, itself included: a beep between them is no bridge."""
    beside: dict[int, set[int]] = {}
    for site in graph.sites:
        if site.kind in (SiteKind.WIRE, SiteKind.THROUGH):
            a, b = graph.node_net[site.a], graph.node_net[site.b]
            beside.setdefault(a, set()).add(b)
            beside.setdefault(b, set()).add(a)
    seen, todo = {net}, [net]
    while todo:
        new = beside.get(todo.pop(), set()) - seen
        seen |= new
        todo += new
    return seen


def _ends(entry: Entry) -> list[dict[str, object]]:
    found = entry.payload.get("points")
    return [one for one in found if isinstance(one, dict)] if isinstance(found, (list, tuple)) else []
