"""What the page shows, put together from the services' answers. No decision is made here."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import partial
from typing import Any

from coppermend.core.copper.model import ProbePoint
from coppermend.core.findings import Refusal
from coppermend.core.log.state import CaseState, PointRef, plain
from coppermend.core.planning.model import Check, NextStep, Span
from coppermend.core.rework.prove import ProofCheck
from coppermend.core.rework.rules import WIRE_ASSUMED
from coppermend.core.rework.wires import Wire as PlannedWire
from coppermend.core.rework.wires import WirePlan
from coppermend.services import scene
from coppermend.services.askedagain import asked_again
from coppermend.services.bench import bridge_points, next_for_case, proven_for_case, spans_for_case
from coppermend.services.bind import Binding, bind
from coppermend.services.cases import CaseView
from coppermend.services.cutmarks import cut_stroke
from coppermend.services.cutwork import STAYS, parted_nets, unread_under_wires, wire_to_lift
from coppermend.services.meters import meter_of, options_of
from coppermend.services.pinwork import pin_break
from coppermend.services.placewords import loose_in_words, near_words, places_in_words
from coppermend.services.points import point_now, wire_end
from coppermend.services.power import gate_as_dict, power_story
from coppermend.services.prepared import everything_counts
from coppermend.services.rails import show_case_with_rails
from coppermend.services.surety import doubtful_breaks, read_open
from coppermend.services.togo import to_go
from coppermend.services.wires import plan_for_case, proof_of, why_no_check
from coppermend.services.workshop import Workshop

LAST_READINGS = 400
"""Readings sent with the bench view: enough for the strip of ticks and the spike."""

TICK_KINDS = (
    "closed",
    "open",
    "ohms",
    "skip",
    "volts",
    "diode",
    "level",
    "patch",
    "cut",
    "map",
    "look",
    "clean",
    "reseat",
)

GATE_TITLES = {
    "intake": "Display, cables and the minimum to start",
    "orientation": "Orientation of the parts",
    "rails": "Rails to ground",
    "supply": "The supply by itself",
    "limit": "Current limit and abort value",
    "cuts": "Wires round the cuts",
    "bridges": "Bridges that were seen",
}


def point_view(binding: Binding, point: ProbePoint) -> dict[str, Any]:
    """One probe point with its words, its net's name and its pin's function."""
    function = ""
    for part in binding.board.parts:
        if part.ref == point.part:
            function = next((pin.function for pin in part.pins if pin.number == point.pin), "")
    return {
        **scene.point_as_json(binding.board, point),
        "net_name": binding.graph.net_names[point.net],
        "function": function,
    }


def check_view(binding: Binding, check: Check) -> dict[str, Any]:
    """A check with both points spelled out; one in ohms says the meter that it is planned for, in words and as an entry's options name it."""
    a, b = binding.graph.point(check.point_a), binding.graph.point(check.point_b)
    meter = meter_of(binding.basis) if check.purpose == "ohms" else None
    return {
        **plain(check),
        "a": point_view(binding, a),
        "b": point_view(binding, b),
        "meter": None if meter is None else {"words": meter.words, "options": options_of(meter)},
    }


def span_view(span: Span) -> dict[str, Any]:
    """A span as the map draws it."""
    return {"net": span.net, "p": span.p, "words": span.words, "sites": list(span.sites), "path": plain(span.path)}


def step_view(workshop: Workshop, case: str, binding: Binding, step: NextStep, done: int) -> dict[str, Any]:
    """The next step; a patch comes with the first wire proposed for it."""
    out: dict[str, Any] = {
        "kind": step.kind,
        "title": _title(step, done),
        "words": without_commands(step.words),
        "reason": step.reason.partition("; wire plan CASE")[0],
        "seconds": step.seconds,
        "gain_bits": step.gain_bits,
        "left": step.left,
        "left_seconds": step.left_seconds,
        "notes": [one for one in step.notes if not one.startswith(STAYS)],
        "check": check_view(binding, step.check) if step.check is not None else None,
        "span": span_view(step.span) if step.span is not None else None,
        "wire": None,
        "cuts": [],
        "remedy": remedy_view(binding, step) if step.check is None else None,
    }
    if step.kind == "patch" and step.span is not None:
        plans, why = wire_plans(workshop, case, step.span.net)
        if plans and plans[0].wires:
            out["wire"] = wire_view(binding, plans[0].wires[0], plans[0])
        elif why:
            out["notes"].append(why)
        if not step.span.sites:
            out["cuts"] = waiting_cuts(binding, step.span.net)
    said = partial(places_in_words, binding.board)
    return {
        **out,
        "words": said(out["words"]),
        "reason": said(out["reason"]),
        "notes": [said(one) for one in out["notes"]],
    }


def waiting_cuts(binding: Binding, net: str) -> list[dict[str, Any]]:
    """The cuts of a net that wait for their wire, as an entry that they stay would name them."""
    return [
        {"entry": cut.id, "x_mm": cut.x_mm, "y_mm": cut.y_mm, "side": cut.side}
        for one in parted_nets(binding)
        if one.net_name == net
        for cut in one.cuts
    ]


def without_commands(words: str) -> str:
    """A step's words for the page: how to note it and what to type is said by its keys."""
    return re.sub(
        r"(?: Locate it|(?<=narrows it)): short locate CASE(?: --between \S+ \S+)?\.?(?=[. ]|$)",
        "",
        words.partition("; then note:")[0],
    )


def remedy_view(binding: Binding, step: NextStep) -> dict[str, Any] | None:
    """The entry that says a step was done: a pin seated anew, soldered again, looked at; a bridge cleared; a wire lifted. None for other steps."""
    if lifted := wire_to_lift(binding, step):
        done = "One end is lifted: take the wire's entry back"
        return {"kind": "undo", "done": done, "part": "", "points": [], "words": "", "undoes": lifted}
    if step.kind == "short" and (pair := bridge_points(binding)) is not None:
        return {"kind": "clean", "done": "Bridge cleared: note it", "part": "", "points": list(pair), "words": ""}
    found = pin_break(binding.graph, step.span) if step.span is not None else None
    if found is None or step.kind not in ("reseat", "solder", "look"):
        return None
    done = {"reseat": "Seated again: note it", "solder": "Soldered again: note it", "look": "Looked at: note it"}[
        step.kind
    ]
    joint = next(
        (
            p.id
            for p in binding.graph.points
            if (p.part, p.pin, p.kind) == (found.part, found.pin, "joint") and p.reachable
        ),
        found.name,
    )
    return {
        "kind": step.kind,
        "part": "" if step.kind == "solder" else found.part,
        "points": [joint] if step.kind == "solder" else [],
        "words": "",
        "done": done,
    }


def _title(step: NextStep, done: int) -> str:
    if step.check is not None:
        if step.kind == "retest":
            return "Once more"
        if step.check.purpose == "ohms":
            return "Ohms here"
        if step.check.id.startswith("cut:"):
            return "Is the cut open?"
        return "No bridge here?" if step.check.purpose == "isolation" else f"Check {done + 1}"
    cut = step.kind == "patch" and step.span is not None and not step.span.sites
    words = {
        "patch": "A cut waits for its wire"
        if cut
        else "A wire over a cut"
        if step.span is None
        else "A break is found",
        "gate": "Before power",
        "power": "Power",
        "done": "Round finished",
        "area": "Where?",
        "short": "A bridge is found",
        "reseat": "Inside one pin",
        "solder": "Inside one pin",
        "look": "Look",
    }
    return words.get(step.kind, step.kind.capitalize())


def wire_plans(workshop: Workshop, case: str, net: str) -> tuple[Sequence[WirePlan], str]:
    """The wire plans of a net, or none and why."""
    try:
        return plan_for_case(workshop, case, net).plans, ""
    except Refusal as err:
        return (), f"{err.finding.words} {err.finding.remedy}"


def wire_view(binding: Binding, wire: PlannedWire, plan: WirePlan) -> dict[str, Any]:
    """A proposed wire, its ends spelled out, with what its log entry will hold."""
    a, b = wire_end(binding.graph, wire.a.point), wire_end(binding.graph, wire.b.point)
    return {
        **wire.as_dict(),
        "a": point_view(binding, a),
        "b": point_view(binding, b),
        "words": " ".join([wire.words, wire.gauge_reason, *wire.notes]),
        "cautions": list(plan.cautions),
        "options": {
            "awg": wire.gauge.awg,
            "diameter_mm": wire.gauge.diameter_mm,
            "length_mm": round(wire.cut_mm, 1),
            "side": wire.side if wire.side in ("c", "s") else None,
            **({"path": [[round(x, 3), round(y, 3)] for x, y in wire.path]} if len(wire.path) > 2 else {}),
        },
    }


def bench_view(workshop: Workshop, case: str) -> dict[str, Any]:
    """Everything the bench shows: next step, progress, marks on the map, the last readings."""
    view, binding = show_case_with_rails(workshop, case), bind(workshop, case)
    step, proof = next_for_case(workshop, case), proven_for_case(workshop, case)
    readings = reading_rows(binding)
    done = sum(1 for one in readings if not one["undone"] and one["kind"] in ("closed", "open", "ohms", "skip"))
    shown_spans = [one for one in spans_for_case(workshop, case) if one.p > 0.5]
    left = to_go(binding, step)
    return {
        "mark": binding.mark,
        "case": case_view(view),
        "states": {ref: str(state) for ref, state in binding.graph.part_states},
        "areas": areas_view(binding.state),
        "sites": sites_view(
            binding, proof.at_risk, set(proof.proven), {s for s, _, _ in proof.unprovable}, shown_spans
        ),
        "spans": [span_view(one) for one in shown_spans],
        "wires": fitted_wires(binding),
        "cuts": cuts_view(binding),
        "step": step_view(workshop, case, binding, step, done),
        "progress": {
            "done": done,
            "left": left.checks,
            "left_seconds": left.seconds,
            "at_risk": len(proof.at_risk),
            "proven": len(proof.proven),
            "unproven": len(proof.open_sites) + len(proof.broken),
            "broken": len(proof.broken),
            "unprovable": len(proof.unprovable),
        },
        "readings": readings,
        "acts": sum(one.kind in TICK_KINDS for one in binding.state.timeline),
        "conflicts": list(proof.conflicts),
        "practice": bool(view.state.practice),
        "everything": everything_counts(binding.state, step),
        "laid": {one.side: one.entry for one in binding.state.laid},
    }


def case_view(view: CaseView) -> dict[str, Any]:
    """The case's head."""
    state = view.state
    return {
        "id": state.case,
        "number": view.number,
        "title": state.title,
        "serial": state.serial,
        "complaint": state.complaint,
        "owner": state.owner,
        "progress": state.progress,
        "package": state.package,
        "package_id": state.package_id,
        "opened_at": state.opened_at,
        "power_on": state.power_on,
    }


def areas_view(state: CaseState) -> list[dict[str, Any]]:
    """Work areas as the map draws them."""
    return [
        {
            "id": one.id,
            "polygon": scene.polygon_as_flat(one.polygon),
            "kind": one.kind,
            "severity": one.severity,
            "label": one.label or (f"{one.kind} round {one.part}" if one.part else one.kind),
            "part": one.part,
        }
        for one in state.areas
    ]


def sites_view(
    binding: Binding, at_risk: Iterable[str], proven: set[str], unprovable: set[str], found: Sequence[Span]
) -> list[dict[str, Any]]:
    """Sites at risk with what is known of each: suspect, proven, unprovable, unproven."""
    suspects = {site for span in found for site in span.sites}

    def state(site: str) -> str:
        if site in suspects:
            return "suspect"
        if site in proven:
            return "proven"
        return "unprovable" if site in unprovable else "unproven"

    paths = scene.site_paths(binding.graph, at_risk)
    return [{"id": site, "state": state(site), **path} for site, path in paths.items()]


def fitted_wires(binding: Binding) -> list[dict[str, Any]]:
    """Patch wires as the map draws them."""
    return [
        {
            "id": one.id,
            "a": [one.a.x_mm, one.a.y_mm],
            "b": [one.b.x_mm, one.b.y_mm],
            "side": one.a.side if one.a.side == one.b.side else "",
            "words": f"{short_name(binding, one.a)} to {short_name(binding, one.b)}"
            + (f", {one.length_mm:.0f} mm" if one.length_mm else ""),
            "path": [list(spot) for spot in one.path],
            "planned": False,
        }
        for one in binding.state.wires
    ]


def cuts_view(binding: Binding) -> list[dict[str, Any]]:
    """Tracks cut on purpose as the map draws them: the stroke across each, mm."""
    refs = {one.entry: one.ref for one in binding.state.timeline}
    out = []
    for one in binding.state.cuts:
        a, b = cut_stroke(binding.base.sites, one)
        words = f"cut no. {refs.get(one.id, 0)}{', to stay' if one.stays else ''}"
        out.append({"entry": one.id, "a": list(a), "b": list(b), "side": one.side, "words": words, "stays": one.stays})
    return out


def reading_rows(binding: Binding) -> list[dict[str, Any]]:
    """The last acts at the bench in order, also those taken back. ``short`` names the points as a hand knows them; ``one_net`` whether copper joins them as fabricated."""
    state = binding.state
    readings = {one.entry: one for one in state.readings}
    named = {one.entry: one.points for one in state.readings} | {one.entry: one.points for one in state.skips}
    out = []
    for row in [one for one in state.timeline if one.kind in TICK_KINDS][-LAST_READINGS:]:
        refs = named.get(row.entry, ())
        reading = readings.get(row.entry)
        out.append(
            {
                "entry": row.entry,
                "ref": row.ref,
                "kind": row.kind,
                "words": row.words,
                "short": f"{row.kind}: {short_names(binding, refs)}"
                if refs
                else places_in_words(binding.board, row.words),
                "observed_at": row.observed_at,
                "undone": row.undone,
                "value": reading.value if reading is not None else None,
                "one_net": len({ref.net for ref in refs}) == 1,
            }
        )
    return out


TOUCHED = {"leg": "leg", "contact": "contact", "hole": "hole", "joint-c": "joint, component side", "joint-s": "joint, solder side"}  # fmt: skip
"""What of a pin was touched, by the end of a point's id."""


def short_names(binding: Binding, refs: Sequence[PointRef]) -> str:
    """The points of an entry in few letters; two places at one pin say which they are: "U1.23 leg and U1.23 joint, component side"."""
    names = [short_name(binding, ref) for ref in refs]
    if len(set(names)) < len(names):
        names = [
            f"{name} {TOUCHED.get(ref.id.partition('/')[2], '')}".rstrip()
            for name, ref in zip(names, refs, strict=True)
        ]
    return " and ".join(names)


def short_name(binding: Binding, ref: PointRef) -> str:
    """A point of an entry in few letters: U1.8, or "via 2.3 mm from U9 pin 4 towards the top": two vias by one pin are told apart."""
    if ref.part:
        return f"{ref.part}.{ref.pin}"
    names = binding.memo.setdefault("short names", {})
    if ref.id not in names:
        words = (ref.id.partition("@")[0], *near_words(binding.board, ref.x_mm, ref.y_mm))
        names[ref.id] = " ".join(filter(None, words))
    return str(names[ref.id])


def told_places(workshop: Workshop, case: str, answer: dict[str, Any]) -> dict[str, Any]:
    """The answer to a note with places that a person can find in its ``words`` and ``differs``; the entry itself keeps the ids."""
    board = bind(workshop, case).board
    return {**answer, **{key: places_in_words(board, answer[key]) for key in ("words", "differs") if answer.get(key)}}


def net_view(workshop: Workshop, case: str, net: int) -> dict[str, Any]:
    """A net: its points in words, its readings, how much of what is at risk on it is proven."""
    binding = bind(workshop, case)
    proof = proven_for_case(workshop, case)
    graph = binding.graph
    points = [point_view(binding, one) for one in graph.points if one.net == net]
    points.sort(
        key=lambda one: (not one["reachable"], one["part"] == "", one["part"], _natural(one["pin"]), one["side"])
    )
    mine = {one.id for one in graph.sites if one.net == net}
    risky = [one for one in proof.at_risk if one in mine]
    good = [one for one in proof.proven if one in mine]
    words = {item.entry: item.words for item in binding.state.timeline}
    readings = [
        {
            "entry": one.entry,
            "kind": one.kind,
            "words": places_in_words(binding.board, words[one.entry]),
            "points": [ref.id for ref in one.points],
        }
        for one in binding.state.readings
        if any((found := point_now(graph, ref)) is not None and found.net == net for ref in one.points)
    ]
    return {
        "net": net,
        "name": graph.net_names[net],
        "points": points,
        "readings": readings[-12:],
        "at_risk": len(risky),
        "proven": len(good),
        "state": f"{len(good)} of {len(risky)} places at risk proven" if risky else "nothing at risk here",
    }


def _natural(text: str) -> tuple[int, str]:
    return (int(text), "") if text.isdecimal() else (10**6, text)


def story_view(workshop: Workshop, case: str) -> dict[str, Any]:
    """The story: timeline, power-ups with the repairs before them, the gate, photos, and where one was. Loose places are told by the pin nearest to them."""
    view = show_case_with_rails(workshop, case)
    state = view.state
    power_ups = [
        {**one.as_dict(), "seen_words": _seen(one.as_dict()["seen"]), "repairs_text": "; ".join(one.repairs)}
        for one in power_story(state)
    ]
    timeline = plain(state.timeline)
    texts = [*view.where, *(one["words"] for one in timeline), *(one["repairs_text"] for one in power_ups)]
    said = _told_by_pins(workshop, case, texts)
    for row, words in zip(timeline, said[len(view.where) :], strict=False):
        row["words"] = words
    for row, words in zip(power_ups, said[len(view.where) + len(timeline) :], strict=True):
        row["repairs_text"] = words
    return {
        "case": case_view(view),
        "where_was_i": said[: len(view.where)],
        "timeline": timeline,
        "power_ups": power_ups,
        "gate": gate_view(view),
        "photos": plain(state.photos),
        "notes": plain(state.notes),
    }


def _told_by_pins(workshop: Workshop, case: str, texts: Sequence[str]) -> list[str]:
    """The texts with loose places told by their nearest pin; as they are where the board cannot be opened."""
    try:
        board = bind(workshop, case).board
    except Refusal:
        return list(texts)
    return loose_in_words(board, texts, sides=True)


def _seen(seen: Sequence[dict[str, Any]]) -> str:
    texts = []
    for one in seen:
        texts += [f"{name}: {one[name]}" for name in ("screen", "sound", "smell", "heat") if one.get(name)]
        texts += [f"{one['current_a']:g} A"] if one.get("current_a") is not None else []
        texts += [one["words"]] if one.get("words") else []
    return "; ".join(texts)


def gate_view(view: CaseView) -> dict[str, Any]:
    """The gate with a title for each item and one line that says how it stands."""
    gate = gate_as_dict(view.gate)
    left = [one["item"] for one in gate["items"] if not one["done"]]
    if gate["overridden"]:
        words = f"Passed over on purpose: {gate['overridden']}"
    else:
        words = (
            "All done since the last soldering."
            if not left
            else f"{len(left)} of {len(gate['items'])} still to do since the last soldering."
        )
    items = [{**one, "title": GATE_TITLES.get(one["item"], one["item"])} for one in gate["items"]]
    return {**gate, "items": items, "words": words, "power_on": view.state.power_on}


def plan_rows(binding: Binding, plans: Sequence[WirePlan]) -> list[dict[str, Any]]:
    """Wire plans as the page shows them, each wire with what its log entry will hold."""
    return [
        {
            "kind": plan.kind,
            "words": "; ".join(wire.words for wire in plan.wires),
            "notes": [
                *plan.notes,
                *(note for wire in plan.wires for note in (wire.gauge_reason, wire.insulation, *wire.notes) if note),
            ],
            "rules": [f"{one.topic}: {one.words} [{one.source}]" for one in plan.rules] if plan.wires else [],
            "wires": [wire_view(binding, wire, plan) for wire in plan.wires],
            "restores": plan.restores,
            "assumed": list(WIRE_ASSUMED) if plan.wires else [],
        }
        for plan in plans
    ]


def wires_view(workshop: Workshop, case: str) -> dict[str, Any]:
    """Breaks with the wires that mend them, and the wires that were fitted with the checks that prove them. ``open``: the nets that read
    open where nothing says yet why."""
    binding = bind(workshop, case)
    spans: list[dict[str, Any]] = []
    cautions: list[str] = []
    for span in spans_for_case(workshop, case):
        if span.p <= binding.basis.broken_above and span.p <= 0.5:
            continue
        plans, why = (
            wire_plans(workshop, case, span.net)
            if span.p > binding.basis.broken_above
            else ((), "Measure on: the readings leave room for doubt.")
        )
        cautions = list(plans[0].cautions) if plans else cautions
        spans.append({**span_view(span), "plans": plan_rows(binding, plans), "why_none": why})
    told = {one["net"] for one in spans}
    for parted in parted_nets(binding):
        plans, why = (
            wire_plans(workshop, case, parted.net_name) if parted.net_name not in told else ((), parted.state_words)
        )
        cautions = list(plans[0].cautions) if plans else cautions
        words = f"{parted.words}; {parted.state_words}"
        spans.insert(
            0,
            {
                **span_view(parted.span),
                "cut": True,
                "words": words,
                "plans": plan_rows(binding, plans),
                "why_none": why,
                "cuts": waiting_cuts(binding, parted.net_name),
            },
        )
    for unread in unread_under_wires(binding):
        row = {**span_view(unread.parted.span), "cut": True, "words": unread.words, "plans": [], "why_none": LIFT_FIRST}
        spans.insert(0, row)
    spans += [{**span_view(one.span), "plans": [], "why_none": one.words} for one in doubtful_breaks(binding)]
    said = partial(places_in_words, binding.board)
    spans = [{**one, "words": said(one["words"]), "why_none": said(one["why_none"])} for one in spans]
    named = {one["net"] for one in spans}
    unexplained = [said(one.words) for one in read_open(binding) if one.net not in named]
    unexplained += [said(f"Net {one.net}: {one.unread}.") for one in asked_again(binding)]
    fitted = []
    for wire, row in zip(binding.state.wires, fitted_wires(binding), strict=True):
        checks = [proof_view(binding, one, wire.at) for one in proof_of(binding, wire)]
        fitted.append({**row, "checks": checks, "why_none": why_no_check(binding, wire)})
    return {"spans": spans, "fitted": fitted, "open": unexplained, "cautions": cautions}


LIFT_FIRST = "Lift one end of the wire, take its entry back (leaf Story), and read across the cut: it must be open before the wire goes on again."
"""What is done about a cut that was not read open under its wire, in the page's words."""

PROOF_WORDS = {
    "bridge": "the wire and both its joints",
    "beyond": "what lies beyond the wire",
    "isolation": "solder could have run over here",
    "again": "it read open before the wire was fitted, and was not read since",
    "cut": "first, with one end of the wire lifted: the cut under it has not been read open",
}


def proof_view(binding: Binding, check: ProofCheck, since: int) -> dict[str, Any]:
    """A check that proves a wire, its points as a hand knows them, and what the last reading of that pair since the wire was fitted said ("" none)."""
    points = [binding.graph.point(one) for one in (check.point_a, check.point_b)]
    names = [short_name(binding, PointRef(p.id, p.x_mm, p.y_mm, p.side, "", p.part, p.pin)) for p in points]
    pair = {check.point_a, check.point_b}
    said = [one.kind for one in binding.state.readings if one.at > since and {ref.id for ref in one.points} == pair]
    why = PROOF_WORDS.get(check.purpose, check.purpose)
    if not check.proves:
        why = check.reason
        for point, name in zip(points, names, strict=True):
            why = why.replace(point.id, name)
    return {
        **check.as_dict(),
        "words": f"{names[0]} and {names[1]}: {'must read' if check.proves else 'should read'} {check.expect}",
        "why": why,
        "a": point_view(binding, points[0]),
        "b": point_view(binding, points[1]),
        "said": said[-1] if said else "",
    }


def unproven_view(workshop: Workshop, case: str) -> dict[str, Any]:
    """What is not proven if one stops now, in plain words."""
    proof = proven_for_case(workshop, case)
    sites = {one.id: one.words for one in bind(workshop, case).graph.sites}
    never = [f"{sites.get(site, site)}: {why} {what}".strip() for site, why, what in proof.unprovable]
    total = len(proof.at_risk)
    words = (
        f"{len(proof.proven)} of {total} places at risk are proven." if total else "Nothing is marked as at risk yet."
    )
    return {**proof.as_dict(), "words": words, "lines": [*proof.words, *never]}
