"""A rail that reads shorted to ground with the power off, as evidence over parts, and what it says beside the suspects: which part, and what tells them apart.

A shorted capacitor across the rail reads so for certain; where none is, a reading as low is misread (``RAIL_MISREAD``, each reading anew, two at most), or
the short is in a part that the suspects hold no such fault of (a ceramic capacitor, a chip's supply pins) or a bridge of solder: that stays said in words.
Ohms at several places tell the capacitors apart as in ``coppermend supply short``: the evidence takes over what they say.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from coppermend.core.belief.suspects.posterior import Witness
from coppermend.core.circuit.passives import PRIORS
from coppermend.core.findings import Refusal
from coppermend.core.log.gate import DIODE_SHORT_V, RAIL_SHORT_OHM
from coppermend.core.log.state import Reading
from coppermend.core.log.values import ohm_words, volt_words
from coppermend.services.bind import Binding
from coppermend.services.powered import PoweredBoard
from coppermend.services.railshort import SHORTS_OFTEN, RailShort, shorted_part_of

RAIL_MISREAD = 0.001
"""Chance that a rail reads as good as joined to ground though nothing shorts it (a tip on the wrong pin, a capacitor still charging); an assumption."""
PER_SHARE = PRIORS[("electrolytic", "shorted")] / SHORTS_OFTEN["electrolytic"]
"""Chance that a part shorts the rail for each unit of ``SHORTS_OFTEN``, so that both tables say one thing."""


@dataclass(frozen=True, slots=True)
class LowRail:
    """A rail whose last reading to ground is as good as a short: the readings since the last soldering that say so, the last of them first."""

    rail: str
    ground: str
    rows: tuple[Reading, ...]

    @property
    def words(self) -> str:
        """What was read, in words."""
        ohms = next((ohm_words(one.value) for one in self.rows if one.kind == "ohms"), "")
        diode = next((f"{volt_words(one.value)} in diode mode" for one in self.rows if one.kind == "diode"), "")
        read = " and ".join(one for one in (ohms, diode) if one)
        return f"{self.rail} reads {read} to {self.ground}, power off: a short"


@dataclass(frozen=True, slots=True)
class RailShorted:
    """A shorted rail beside the suspects: what was read, the parts it may be (with their chances), what tells them apart and how to note that."""

    rail: str
    ground: str
    words: str
    parts: tuple[dict[str, Any], ...]
    next: str
    points: tuple[str, ...]
    note: str
    state: str

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {
            "rail": self.rail, "ground": self.ground, "words": self.words, "parts": list(self.parts), "next": self.next,
            "points": list(self.points), "note": self.note, "state": self.state,
        }  # fmt: skip


def low_rails(binding: Binding, made: PoweredBoard) -> tuple[LowRail, ...]:
    """The rails that read shorted since the last soldering: a later reading of the same kind that is well takes it back."""
    rails = made.circuit.rails
    rows: dict[tuple[str, str], list[Reading]] = {}
    for one in binding.state.readings:
        if one.kind in ("ohms", "diode") and one.at > binding.state.last_soldering and len(one.points) == 2:
            nets = sorted({point.net for point in one.points if point.net in rails}, key=lambda net: rails[net].ground)
            if len(nets) == 2 and not rails[nets[0]].ground and rails[nets[1]].ground:
                rows.setdefault((nets[0], nets[1]), []).append(one)
    found = []
    for (rail, ground), mine in rows.items():
        last = {one.kind: one for one in mine}
        low = tuple(one for one in reversed(mine) if _low(one) and _low(last[one.kind]))
        if low:
            found.append(LowRail(rail, ground, low))
    return tuple(found)


def _low(one: Reading) -> bool:
    if one.value is None:
        return False
    return one.value < RAIL_SHORT_OHM if one.kind == "ohms" else abs(one.value) < DIODE_SHORT_V


def rail_witnesses(binding: Binding, made: PoweredBoard) -> tuple[tuple[Witness, int, bool], ...]:
    """A finding for each shorted rail, its place in the log, and that it says nothing of what is right."""
    found = []
    for low in low_rails(binding, made):
        across = [
            str(cause.key[1])
            for cause in made.field.causes
            if cause.key[0] == "shorted" and _stands(made, str(cause.key[1]), low)
        ]
        like = _likelihoods(binding, low)
        says = tuple(("fault", f"shorted {ref}", math.log(like.get(ref, (1.0, 0.0))[0])) for ref in across)
        outside = sum(PER_SHARE * share * ratio for ref, (ratio, share) in like.items() if ref not in across)
        other = outside + RAIL_MISREAD ** min(2, len(low.rows))
        if says:
            found.append((Witness(says, math.log(other), low.words, low.rows[0].entry), low.rows[0].at, False))
    return tuple(found)


def _stands(made: PoweredBoard, ref: str, low: LowRail) -> bool:
    return {low.rail, low.ground} <= {t.net for t in made.circuit.by_ref[ref].terminals}


def _likelihoods(binding: Binding, low: LowRail) -> dict[str, tuple[float, float]]:
    """Of each part between the rail and ground how much likelier the ohms read so far are with the short in it than with one in any of them, and its share."""
    answer = _answer(binding, low)
    if not isinstance(answer, RailShort) or answer.state in ("no fit", "no reading"):
        return {}
    every = sum(SHORTS_OFTEN[one.kind] for one in answer.every)
    return {
        one.part: (max(1e-6, one.p * every / SHORTS_OFTEN[one.kind]), SHORTS_OFTEN[one.kind]) for one in answer.every
    }


def _answer(binding: Binding, low: LowRail) -> RailShort | Refusal:
    key = f"shorted part of {low.rail}"
    if key not in binding.memo:
        try:
            binding.memo[key] = shorted_part_of(binding, low.rail)
        except Refusal as err:
            binding.memo[key] = err
    found: RailShort | Refusal = binding.memo[key]
    return found


def rails_shorted(binding: Binding, made: PoweredBoard) -> tuple[RailShorted, ...]:
    """What stands beside the suspects of each shorted rail."""
    return tuple(_beside(binding, low) for low in low_rails(binding, made))


def _beside(binding: Binding, low: LowRail) -> RailShorted:
    answer = _answer(binding, low)
    if isinstance(answer, Refusal):
        said = answer.finding
        return RailShorted(low.rail, low.ground, f"{low.words}. {said.words}", (), said.remedy, (), "", "unknown")
    parts = tuple({"part": one.part, "value": one.value, "kind": one.kind, "p": one.p} for one in answer.parts)
    then, note = "", ""
    points: tuple[str, ...] = ()
    if answer.next is not None:
        then, points, note = answer.next.words, answer.next.force, answer.next.note_words
    elif answer.state == "no fit":
        then = f"Look for a bridge of solder: coppermend short locate CASE --between {low.rail} {low.ground}."
    elif answer.state == "narrowing":
        then = "No reading parts these any more: lift one leg of each in turn, the likeliest first, and measure the rail again."
    return RailShorted(low.rail, low.ground, f"{low.words}. {answer.words}", parts, then, points, note, answer.state)
