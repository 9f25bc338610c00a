"""Starts that come and go: counted starts noted with their condition, what they say of the suspects, and how many more prove a repair."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.belief.suspects.posterior import State
from coppermend.core.belief.suspects.reasons import tally_words
from coppermend.core.belief.suspects.starts import LOCAL, Starts, Tally, loose_share, starts_needed, summed
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.findings import refuse
from coppermend.core.log.kinds import CONDITIONS
from coppermend.core.log.state import CaseState
from coppermend.services.bind import bind
from coppermend.services.entries import write
from coppermend.services.notes import Noted, noted
from coppermend.services.points import known_part
from coppermend.services.workshop import Workshop

CAUTION = (
    "Freeze spray: frostbite, and many kinds burn: power off while you spray unless its can says otherwise, no sparks, fresh air, eyes covered. "
    "Warm air below 60 °C, not a flame. Nothing is tapped or sprayed near mains or picture-tube parts: leave those to people qualified for it and "
    "follow your local rules. Current limited, a hand at the switch."
)


@dataclass(frozen=True, slots=True)
class Counted:
    """Starts since the last repair: the evidence (None where nothing came and went), whether a start counted or seen worked and failed, conditions under
    which it always worked."""

    seen: Starts | None
    mixed: bool
    works_when: tuple[str, ...]


def note_starts(
    workshop: Workshop,
    case: str,
    good: int,
    of: int,
    *,
    condition: str = "",
    part: str = "",
    minutes: float | None = None,
    words: str = "",
    entry_id: str | None = None,
) -> Noted:
    """Note that ``good`` of ``of`` starts were as they should be. Refusals STR-001 (numbers), STR-002 (condition), STR-003 (its part or minutes)."""
    if not 1 <= of <= 1000 or not 0 <= good <= of:
        raise refuse(
            "STR-001",
            f"{good} of {of} starts cannot be.",
            "Say how many of how many were as they should be, such as 3/5; at most 1000.",
        )
    if condition and condition not in CONDITIONS:
        raise refuse("STR-002", f"{condition[:40]!r} is no condition.", f"Say one of: {', '.join(CONDITIONS)}.")
    if condition in LOCAL and not part:
        raise refuse(
            "STR-003",
            f"{condition} on which part?",
            f"Name it: starts CASE {good}/{of} --when '{condition}' --part U5.",
        )
    if part and condition not in LOCAL:
        raise refuse(
            "STR-003", f"A part goes with {' or '.join(LOCAL)}.", "Say --when 'freeze spray', or leave the part out."
        )
    if minutes is not None and not 0 <= minutes <= 10_000:
        raise refuse("STR-003", f"{minutes:g} minutes cannot be.", "Give minutes from 0 to 10000.")
    payload: dict[str, Any] = {"good": good, "of": of, "condition": condition, "minutes": minutes, "words": words}
    if part:
        payload["part"] = known_part(bind(workshop, case).graph, part)
    return noted(write(workshop, case, "starts", payload, entry_id=entry_id))


def parsed(text: str) -> tuple[int, int]:
    """(good, of) from what was typed. Refusal STR-001.

    >>> parsed("3/5"), parsed("0 of 4")
    ((3, 5), (0, 4))
    """
    good, _, of = text.lower().replace("of", "/").partition("/")
    try:
        return int(good), int(of)
    except ValueError:
        raise refuse(
            "STR-001", f"{text[:40]!r} is no count of starts.", "Write it as 3/5: three of five as they should be."
        ) from None


def counted(state: CaseState, machine: MachineModel, repaired: int) -> Counted:
    """The starts since the last repair (position ``repaired``). Power-ups whose screen was noted count as one start each; the last bad one is left to be
    evidence by its screen, so that nothing counts twice."""
    works = machine.screen("works")
    noted_rows = [one for one in state.starts if one.at > repaired]
    tallies = [Tally(one.condition, one.part, one.good, one.of) for one in noted_rows]
    seen = [machine.screen(s.screen) for up in state.power_ups for s in up.seen if s.screen and s.at > repaired]
    good = sum(1 for k in seen if k is not None and k == works)
    bad = sum(1 for k in seen if k is not None and k != works)
    mixed = bool(good and bad) or any(0 < one.good < one.of for one in noted_rows) or _differ(tallies)
    if not tallies and not (good and bad):
        return Counted(None, False, ())
    if good + bad > (1 if bad else 0):
        tallies.append(Tally("", "", good, good + max(0, bad - 1)))
    rows = summed(tallies)
    entry = (
        noted_rows[-1].entry
        if noted_rows
        else next((s.entry for up in reversed(state.power_ups) for s in reversed(up.seen) if s.screen), "")
    )
    always = tuple(sorted({t.condition for t in rows if t.condition and not t.part and t.good == t.of}))
    return Counted(Starts(rows, entry), mixed, always if mixed else ())


def _differ(tallies: Sequence[Tally]) -> bool:
    return any(t.good for t in tallies) and any(t.good < t.of for t in tallies)


def starts_view(workshop: Workshop, case: str, state: State, machine: MachineModel, repaired: int) -> dict[str, Any]:
    """Counted starts of a case as plain JSON values: the tallies, how likely what is wrong comes and goes, how many good starts in a row would prove that it
    is gone, the conditions that can be noted."""
    binding = bind(workshop, case)
    found = counted(binding.state, machine, repaired)
    rows = found.seen.tallies if found.seen else ()
    number = {item.entry: item.ref for item in binding.state.timeline}
    bad, of = sum(t.of - t.good for t in rows), sum(t.of for t in rows)
    share = (bad + 1) / (of + 2) if of else None
    return {
        "noted": [
            {
                "entry": one.entry,
                "ref": number.get(one.entry, 0),
                "good": one.good,
                "of": one.of,
                "condition": one.condition,
                "part": one.part,
                "counts": one.at > repaired,
            }
            for one in binding.state.starts
        ],
        "tallies": [
            {"condition": t.condition, "part": t.part, "good": t.good, "of": t.of, "words": tally_words(t)}
            for t in rows
        ],
        "mixed": found.mixed,
        "comes_and_goes": round(_comes_and_goes(state, rows), 4) if rows else None,
        "fails_share": None if share is None else round(share, 4),
        "good_starts_to_prove": None if share is None else starts_needed(share),
        "conditions": list(CONDITIONS),
        "local": list(LOCAL),
        "caution": CAUTION,
        "mark": binding.mark,
    }


def _comes_and_goes(state: State, rows: Sequence[Tally]) -> float:
    """Chance that what is wrong comes and goes, over the likeliest sets."""
    total = loose = 0.0
    for block, row, p in state.best_rows(256):
        alone = block.one(row)
        if int(alone.members.max()) < 0:
            continue
        total += p
        loose += p * float(loose_share(state.field, alone.members, rows)[0])
    return loose / total if total else 0.0
