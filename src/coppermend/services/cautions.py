"""What a person at the bench should hear at once about the entry just written: work with the power on, copper joined that belongs apart."""

from __future__ import annotations

from coppermend.core.circuit.passives import farads_of
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.log.consent import consent_of
from coppermend.core.log.model import Entry
from coppermend.core.log.state import CaseState
from coppermend.core.log.values import ampere_words
from coppermend.core.rework.cutland import other_arms
from coppermend.devices.book import shipped
from coppermend.services.acceptance import LEAVING, acceptance, not_yet
from coppermend.services.bind import Binding, bind
from coppermend.services.cases import case_state
from coppermend.services.chips import chip_cards, misfit, wrong_type
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
        if entry.kind in SOLDERING and not (entry.kind == "press" and entry.payload.get("effect")):
            out.append(
                "the log says that power is on. Work on parts and copper is done with power off and the supply unplugged."
            )
    binding = bind(workshop, case)
    out += [
        *_ready(binding.state, entry),
        *_owner(binding.state, entry),
        *_limit(entry),
        *_other_chip(binding, entry),
        *_apart(binding, entry),
        *_arms(binding, entry),
    ]
    return tuple(out)


def _ready(state: CaseState, entry: Entry) -> list[str]:
    """A machine that is called ready or returned while its own log says otherwise."""
    if entry.kind != "progress" or entry.payload.get("state") not in LEAVING:
        return []
    return [f"{one}. The record says so." for one in not_yet(state, acceptance(state, None))]


def undoable(entry: Entry) -> str:
    """The act of ``kinds.IRREVERSIBLE`` that an entry is; "" for one that can be undone."""
    if entry.kind == "cut":
        return "cut track"
    soldered = entry.kind == "remove" and entry.payload.get("state") == "not fitted"
    soldered |= entry.kind == "swap" and entry.payload.get("state") == "replaced"
    return "unsolder" if soldered else ""


def _owner(state: CaseState, entry: Entry) -> list[str]:
    """An act that cannot be undone and that the owner has not agreed to; said in cases in which the owner was asked."""
    act = undoable(entry)
    owner = consent_of(state.intake)
    if not act or not owner.stops(act):
        return []
    word = "has refused it" if act in owner.refused else "was not asked"
    return [f"this cannot be undone ({act}), and by intake the owner {word}. Ask before any more of it."]


def _limit(entry: Entry) -> list[str]:
    """An abort value above the current limit: the supply holds the current below it, so it is never reached."""
    limit, abort = entry.payload.get("limit_a"), entry.payload.get("abort_a")
    if (
        entry.kind != "gate"
        or not isinstance(limit, (int, float))
        or not isinstance(abort, (int, float))
        or abort <= limit
    ):
        return []
    return [
        f"the supply limits at {ampere_words(float(limit))}, so {ampere_words(float(abort))}, at which you would switch off, is never reached. "
        "Give the limit first and a smaller value to switch off at, or watch for the supply's limit lamp and note the two again."
    ]


def _other_chip(binding: Binding, entry: Entry) -> list[str]:
    """A chip that went in though its label says another type or that it is bad; a chip held on top where the device book does not allow it."""
    part, label = str(entry.payload.get("part") or ""), str(entry.payload.get("with") or "")
    row = next((one for one in binding.board.parts if one.ref == part), None)
    if row is None or entry.kind not in ("swap", "fit", "piggyback"):
        return []
    book, out = shipped(), []
    card = chip_cards(binding.state).get(label)
    mine = book.find(row.value)
    why = misfit(book, part, row.value, card) if card is not None else ""
    if card is not None and why:
        meant = (
            ". Power off; take it out again unless that was meant." if wrong_type(book, part, row.value, card) else "."
        )
        out.append(why + meant)
        if card.goodness == "known bad" and not why.endswith("known bad"):
            out.append(f"{label} is noted as known bad.")
        if entry.payload.get("trial"):
            out.append(
                "by its label it could not work there, and it did: chip list says what settles that."
                if entry.payload.get("effect") == "cured"
                else "a try with it says nothing of the chip that came out."
            )
    capacitor = mine is None and farads_of(row.value) is not None
    if entry.kind == "piggyback" and not capacitor and (mine is None or not mine.piggyback):
        out.append(
            f"the device book does not allow a chip on top of {part} ({row.value}): two outputs may fight. Power off and take it down."
        )
    return out


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


def _arms(binding: Binding, entry: Entry) -> list[str]:
    """A cut where tracks meet: which one counts as cut."""
    if entry.kind != "cut":
        return []
    x, y, side = (entry.payload.get(name) for name in ("x_mm", "y_mm", "side"))
    met = other_arms(binding.base, float(str(x)), float(str(y)), str(side))
    if met is None or not met[1]:
        return []
    others = "; ".join(one.words or one.id for one in met[1])
    return [
        f"tracks meet there, and one arm only counts as cut: {met[0].words or met[0].id}. Still joined: {others}. "
        "Note a cut on each arm that was cut, a millimetre or more from where they meet."
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
