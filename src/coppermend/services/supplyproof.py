"""The supply of a case: proven by itself, the rails to ground, what is lost on the way to a far chip, and the current to expect."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from coppermend.core.belief.suspects.posterior import Witness, path_causes
from coppermend.core.circuit.model import Circuit
from coppermend.core.circuit.supplies import (
    LEAST_LOAD_A,
    RailDraw,
    RailWant,
    expected_draw,
    far_drop,
    first_rails,
    rise_faults,
    supply_faults,
)
from coppermend.core.findings import Place, refuse
from coppermend.core.log.canonical import Json
from coppermend.core.log.gate import SupplyProof
from coppermend.core.log.kinds import SUPPLY_AT
from coppermend.core.log.state import CaseState, SupplyReading, plain
from coppermend.core.log.values import ampere_words, volt_words
from coppermend.services.bind import Binding, bind
from coppermend.services.entries import write
from coppermend.services.notes import Noted, noted
from coppermend.services.powered import PoweredBoard, circuit_of
from coppermend.services.workshop import Workshop

CAUTION = (
    "Prove the supply without the board. Inside a mains supply capacitors hold dangerous voltages long after it is unplugged: measure at its output plug only; "
    "its inside, and all work on mains, is for people qualified for it and by your local rules. A dummy load gets hot."
)
BAD_ALONE = (0.9, 0.02)
"""Chance that a supply measured alone is out of its range where its rail is a suspect's fault, and where it is not. Assumptions."""
MISSING_SHARE = 0.5
"""Below this share of the nominal voltage a rail counts as missing, else as too low (as for a rail measured on the board)."""
DROP_SEEN = (0.8, 0.03)
"""Chance of a drop beyond ``DROP_SHARE`` where the way from connector to chip is bad, and where it is whole. Assumptions."""


@dataclass(frozen=True, slots=True)
class SupplyRail:
    """One rail: what it should be, what was measured of it and what that says."""

    want: RailWant
    alone: SupplyReading | None
    faults: tuple[str, ...]
    proven: bool
    connector_v: float | None
    far: tuple[dict[str, Any], ...]
    draw: RailDraw | None

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        want = self.want
        low, high = sorted((want.low_v, want.high_v))
        return {
            "rail": want.net,
            "nominal_v": want.nominal_v,
            "low_v": round(low, 4),
            "high_v": round(high, 4),
            "ripple_most_v": want.ripple_v,
            "alone": None if self.alone is None else plain(self.alone),
            "faults": list(self.faults),
            "proven": self.proven,
            "connector_v": self.connector_v,
            "far": list(self.far),
            "draw": None
            if self.draw is None
            else {**plain(self.draw), "limit_a": self.draw.limit_a, "abort_a": self.draw.abort_a},
        }


@dataclass(frozen=True, slots=True)
class SupplyNow:
    """The supply of a case as it stands."""

    rails: tuple[SupplyRail, ...]
    order: tuple[str, ...]
    rise: tuple[str, ...]
    proof: SupplyProof
    limit_words: str

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {
            "rails": [one.as_dict() for one in self.rails],
            "rise_order": list(self.order),
            "rise_faults": list(self.rise),
            "left": list(self.proof.left),
            "wrong": self.proof.wrong,
            "words": self.proof.words,
            "limit_words": self.limit_words,
            "caution": CAUTION,
        }


def supply_now(workshop: Workshop, case: str) -> SupplyNow:
    """The supply of a case: per rail what the book wants, what was measured alone, at the connector and far away, and the draw to expect."""
    return supply_of(bind(workshop, case))


def supply_of(binding: Binding) -> SupplyNow:
    """``supply_now`` of a bound case, kept with it."""
    if "supply now" not in binding.memo:
        binding.memo["supply now"] = _supply(binding)
    found: SupplyNow = binding.memo["supply now"]
    return found


def _supply(binding: Binding) -> SupplyNow:
    circuit, draws, first = _book_side(binding)
    state = binding.state
    fed = fed_rails(circuit)
    last = {one.rail: one for one in state.supply if one.place == "alone"}
    rails = tuple(_rail(state, want, last.get(want.net), draws.get(want.net)) for want in fed)
    rises = {net: one.rise_s for net, one in last.items() if one.rise_s is not None}
    late = rise_faults(rises, first)
    order = tuple(f"{net} before {' and '.join(others)}" for net, others in sorted(first.items()))
    wrong = [*(fault for one in rails for fault in one.faults), *late]
    done = [one for one in rails if one.proven]
    words = ", ".join(_alone_words(one.alone) for one in rails if one.alone is not None)
    left = tuple(one.want.net for one in rails if not one.proven) if last else ()
    if done and first and not late:
        left += tuple(
            f"rise time of {net}"
            for net in sorted({*first, *(o for os in first.values() for o in os)})
            if net not in rises
        )
    bad = [one.alone.at for one in rails if one.faults and one.alone is not None]
    bad += [one.at for one in last.values()] if late else []
    proof = SupplyProof(words, left, "; ".join(wrong), max(bad, default=-1))
    return SupplyNow(rails, order, late, proof, _limit_words(rails))


def _alone_words(one: SupplyReading | None) -> str:
    if one is None:
        return ""
    load = f" under {ampere_words(one.load_a)}" if one.load_a else " without a load"
    return f"{one.rail} {volt_words(one.volt)}{load}"


def _rail(state: CaseState, want: RailWant, alone: SupplyReading | None, draw: RailDraw | None) -> SupplyRail:
    faults = () if alone is None else supply_faults(want, alone.volt, alone.ripple_v, alone.noise_v)
    loaded = alone is not None and (alone.load_a or 0.0) >= LEAST_LOAD_A
    at = [one for one in state.supply if one.rail == want.net and one.volt is not None]
    connector = next((one.volt for one in reversed(at) if one.place == "connector"), None)
    far: list[dict[str, Any]] = []
    for part in dict.fromkeys(one.part for one in at if one.place == "far"):
        volt = next(one.volt for one in reversed(at) if one.place == "far" and one.part == part)
        if volt is None:
            continue
        drop = None if connector is None else far_drop(want, connector, volt)
        far.append(
            {
                "part": part,
                "volt": volt,
                "holds": want.holds(volt),
                "drop_v": None if drop is None else round(drop.volt, 4),
                "bad": bool(drop and drop.bad),
            }
        )
    return SupplyRail(want, alone, faults, loaded and not faults, connector, tuple(far), draw)


def _limit_words(rails: tuple[SupplyRail, ...]) -> str:
    rows = [one.draw for one in rails if one.draw is not None and one.draw.counted]
    return " ".join(
        f"By the device book the chips on {one.net} draw about {ampere_words(round(one.ampere, 2))}"
        + (f" ({len(one.unknown)} without a figure)" if one.unknown else "")
        + f": limit {ampere_words(one.limit_a)}, switch off above {ampere_words(one.abort_a)}."
        for one in rows
    )


def fed_rails(circuit: Circuit) -> tuple[RailWant, ...]:
    """The rails that come from outside: those with a pin of a connector; where no connector is known, all."""
    roles = {one.ref: one.role for one in circuit.parts}
    rails = [one for one in circuit.rails.values() if not one.ground and one.nominal_v]
    outside = [one for one in rails if any(roles.get(t.part) == "connector" for t in one.sources)] or rails
    return tuple(RailWant(one.net, one.nominal_v, one.tolerance_percent) for one in outside)


def _book_side(binding: Binding) -> tuple[Circuit, dict[str, RailDraw], dict[str, tuple[str, ...]]]:
    """The circuit, the draw of each rail and the rails that come first; kept as long as the board stays."""
    key = ("supply by book", id(binding.board))
    if key not in binding.kept:
        from coppermend.devices.book import shipped

        book = shipped()
        circuit = circuit_of(binding.board, book)
        chips = {one.ref: book.find(one.value) for one in circuit.parts if one.role == "chip"}
        watts = {ref: None if chip is None else chip.typical_w for ref, chip in chips.items()}
        pins = {ref: chip.power_first for ref, chip in chips.items() if chip is not None and chip.power_first}
        draws = {one.net: one for one in expected_draw(circuit, watts)}
        binding.kept[key] = (binding.board, circuit, draws, first_rails(circuit, pins))
    _, circuit, draws, first = binding.kept[key]
    return circuit, draws, first


def note_supply(
    workshop: Workshop,
    case: str,
    rail: str,
    at: str,
    volt: float,
    *,
    part: str = "",
    load_a: float | None = None,
    ripple_v: float | None = None,
    noise_v: float | None = None,
    rise_s: float | None = None,
    words: str = "",
    entry_id: str | None = None,
) -> Noted:
    """Note a rail of the supply: ``at`` alone (under a dummy load of ``load_a``), connector, or far (at ``part``).

    Refusals SUP-001 (no such rail), SUP-002 (a figure that cannot be), SUP-003 (where), SUP-004 (far needs a part that is on the rail).
    """
    binding = bind(workshop, case)
    circuit, _, _ = _book_side(binding)
    rails = {one.net.upper(): one.net for one in circuit.rails.values() if not one.ground}
    name = rails.get(rail.strip().upper())
    if name is None:
        raise refuse(
            "SUP-001",
            f"The board has no rail {rail!r}.",
            f"Its rails: {', '.join(rails.values()) or 'none are known'}.",
            Place(thing=rail),
        )
    if at not in SUPPLY_AT:
        raise refuse("SUP-003", f"{at!r} is no place to measure a supply.", f"Say one of: {', '.join(SUPPLY_AT)}.")
    for what, value in (("load", load_a), ("ripple", ripple_v), ("noise", noise_v), ("rise time", rise_s)):
        if value is not None and not (math.isfinite(value) and 0.0 <= value < 1e4):
            raise refuse(
                "SUP-002", f"A {what} of {value:g} cannot be.", "Give it from 0 up, with its unit: 30mV, 1.5A, 20ms."
            )
    if not (math.isfinite(volt) and abs(volt) <= 1000.0):
        raise refuse(
            "SUP-002", f"{volt:g} V is no rail of such a board.", "Look at the meter's range and write it like 5.02V."
        )
    ref = _on_rail(circuit, part, name) if at == "far" else ""
    payload: dict[str, Json] = {
        "rail": name, "at": at, "volt": volt, "part": ref, "load_a": load_a, "ripple_v": ripple_v, "noise_v": noise_v, "rise_s": rise_s, "words": words,
    }  # fmt: skip
    return noted(write(workshop, case, "supply", payload, entry_id=entry_id))


def _on_rail(circuit: Circuit, part: str, net: str) -> str:
    on = sorted({t.part for t in circuit.nets.get(net, ()) if circuit.by_ref[t.part].role == "chip"})
    found = next((one for one in on if one.upper() == part.strip().upper()), None)
    if found is None:
        raise refuse(
            "SUP-004",
            f"{part or 'No part'} is no chip on {net}.",
            f"Name the chip that is farthest from the connector: {', '.join(on[:8])} ...",
        )
    return found


def supply_witnesses(binding: Binding, made: PoweredBoard) -> tuple[tuple[Witness, int, bool], ...]:
    """What the supply's figures say of the suspects (finding, place in the log, whether it says that something is right): a rail measured alone, right or
    wrong, and what is lost on the way from the connector to a far chip."""
    found: list[tuple[Witness, int, bool]] = []
    for rail in supply_of(binding).rails:
        net = rail.want.net
        alone = _alone_witness(rail)
        if alone is not None and rail.alone is not None:
            found.append((alone, rail.alone.at, rail.proven))
        for far in rail.far:
            if far["drop_v"] is None:
                continue
            one = next(
                s for s in reversed(binding.state.supply) if (s.rail, s.place, s.part) == (net, "far", far["part"])
            )
            words = f"{net} loses {volt_words(far['drop_v'])} from the connector to {far['part']}"
            units = _way_units(made, net, str(far["part"]))
            if units:
                found.append((_witness("unit", units, DROP_SEEN, far["bad"], words, one.entry), one.at, not far["bad"]))
    return tuple(found)


def _alone_witness(rail: SupplyRail) -> Witness | None:
    """A rail measured alone: right under load speaks against its faults; too low or missing for the one it is. Too high, or with ripple, it is wrong, but no
    fault that the suspects hold."""
    net, alone = rail.want.net, rail.alone
    if alone is None or not (rail.faults or rail.proven):
        return None
    if rail.proven:
        return _witness(
            "unit", (f"rail {net}",), BAD_ALONE, False, f"the supply alone: {net} is right under load", alone.entry
        )
    share = 0.0 if alone.volt is None else alone.volt / rail.want.nominal_v
    if share * abs(rail.want.nominal_v) >= abs(rail.want.low_v):
        return None
    fault = "norail" if share < MISSING_SHARE else "lowrail"
    return _witness(
        "fault", (f"{fault} {net}",), BAD_ALONE, True, f"the supply alone: {'; '.join(rail.faults)}", alone.entry
    )


def _witness(
    kind: str, names: tuple[str, ...], chance: tuple[float, float], seen: bool, words: str, entry: str
) -> Witness:
    hit, miss = chance if seen else (1.0 - chance[0], 1.0 - chance[1])
    return Witness(tuple((kind, one, math.log(hit)) for one in names), math.log(miss), words, entry)


def _way_units(made: PoweredBoard, net: str, part: str) -> tuple[str, ...]:
    """The spans (units) between the rail's source and a chip's supply pins."""
    rail, tree, row = made.circuit.rails.get(net), made.behaviour.trees.get(net), made.circuit.by_ref.get(part)
    if rail is None or tree is None or row is None:
        return ()
    starts = [tree.taps[t.id] for t in rail.sources if t.id in tree.taps]
    ends = [tree.taps[t.id] for t in row.terminals if t.net == net and t.id in tree.taps]
    causes = {k for a in starts[:1] for b in ends for k in path_causes(made.field, net, a, b)}
    return tuple(made.field.causes[k].unit for k in sorted(causes))
