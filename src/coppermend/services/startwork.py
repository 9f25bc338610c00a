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


@dataclass(frozen=True, slots=True)
class Proof:
    """One condition under which it failed: the share of its starts, good starts in a row that show with 95 % that it is gone, how many of them were counted
    since the last repair."""

    condition: str
    part: str
    share: float
    needed: int
    done: int

    @property
    def how(self) -> str:
        """The condition in words, "" none said."""
        return " on ".join(filter(None, (self.condition, self.part)))


def proofs(before: Sequence[Tally], since: Sequence[Tally]) -> tuple[Proof, ...]:
    """What would prove that the fault is gone, by condition, the one in which it fails most first. Starts under one condition say nothing of another.

    Where something failed since the last repair, that is the fault and the count stands at 0; else it is what failed ``before`` it, and the good starts
    since then count. The share is (bad + 1) / (starts + 2), Laplace's rule of succession. () where it never failed.

    >>> [(one.condition, round(one.share, 3), one.needed) for one in proofs((), [Tally("cold", "", 0, 5), Tally("minutes", "", 10, 10)])]
    [('cold', 0.857, 2)]
    >>> [(one.needed, one.done) for one in proofs([Tally("cold", "", 4, 5)], [Tally("cold", "", 3, 3), Tally("", "", 9, 9)])]
    [(9, 3)]
    """
    fresh = {(t.condition, t.part): t for t in summed(since)}
    failed = any(t.good < t.of for t in fresh.values())
    rows = fresh.values() if failed else summed(before)
    found = []
    for t in rows:
        if t.good < t.of:
            share = (t.of - t.good + 1) / (t.of + 2)
            mine = fresh.get((t.condition, t.part))
            found.append(
                Proof(t.condition, t.part, share, starts_needed(share), mine.good if mine and not failed else 0)
            )
    return tuple(sorted(found, key=lambda one: (-one.share, one.how)))


def starts_view(workshop: Workshop, case: str, state: State, machine: MachineModel, repaired: int) -> dict[str, Any]:
    """Counted starts of a case as plain JSON values: the tallies, how likely what is wrong comes and goes, how many good starts in a row, under which
    condition, would prove that it is gone, the conditions that can be noted."""
    binding = bind(workshop, case)
    found = counted(binding.state, machine, repaired)
    rows = found.seen.tallies if found.seen else ()
    before = [Tally(one.condition, one.part, one.good, one.of) for one in binding.state.starts if one.at <= repaired]
    prove = proofs(before, rows)
    failed = any(t.good < t.of for t in rows)
    loose = _comes_and_goes(state, rows) if failed else None
    number = {item.entry: item.ref for item in binding.state.timeline}
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
        "comes_and_goes": None if loose is None else round(loose, 4),
        "fails_share": round(prove[0].share, 4) if prove else None,
        "good_starts_to_prove": max(0, prove[0].needed - prove[0].done) if prove else None,
        "prove": [
            {
                "condition": one.condition,
                "part": one.part,
                "share": round(one.share, 4),
                "needed": one.needed,
                "done": one.done,
            }
            for one in prove
        ],
        "words": _said(rows, prove, loose),
        "conditions": list(CONDITIONS),
        "local": list(LOCAL),
        "caution": CAUTION,
        "mark": binding.mark,
    }


def _said(rows: Sequence[Tally], prove: Sequence[Proof], loose: float | None) -> list[str]:
    """What the counted starts say, in sentences."""
    said = []
    if loose is not None:
        said.append(f"{100 * loose:.0f} % that what is wrong comes and goes.")
    elif rows and not prove:
        said.append(
            "It never failed in the starts that were counted: that proves nothing under conditions it was not started in."
        )
    for one in prove:
        how = one.how or "no condition said"
        if loose is not None:
            said.append(
                f"It fails in about {100 * one.share:.0f} % of the starts ({how}); after mending, {one.needed} good starts in a row under that very "
                "condition would show with 95 % that it is gone."
            )
        elif one.done < one.needed:
            said.append(
                f"Before the last repair it failed in about {100 * one.share:.0f} % of the starts ({how}): {one.done} good ones of {one.needed} counted "
                f"since, {one.needed - one.done} more in a row under that very condition would show with 95 % that it is gone."
            )
        else:
            said.append(
                f"{one.done} good starts ({how}) since the last repair: with 95 % what failed there before is gone."
            )
    return said


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
