"""What is asked when a machine arrives, what was answered, and what the owner allows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import refuse
from coppermend.core.log.canonical import Json
from coppermend.core.log.consent import Consent, consent_of
from coppermend.core.log.kinds import INTAKE_ITEMS, IRREVERSIBLE
from coppermend.core.log.state import CaseState, IntakeNote, plain
from coppermend.services.cases import case_state
from coppermend.services.entries import write
from coppermend.services.handwork import money_spent
from coppermend.services.notes import Noted, noted
from coppermend.services.photos import attach_photo
from coppermend.services.workshop import Workshop

CAUTION = (
    "Before a machine is opened: unplug it, leave it for some minutes, touch earthed metal. Picture tubes and mains supplies hold dangerous voltages "
    "unplugged; leaking cells are caustic, swollen or lithium cells can burn: leave these to people qualified for them and follow your local rules."
)
ASKS: dict[str, tuple[str, str]] = {
    "condition": (
        "Condition",
        "How it looks, inside and out, in pictures before any work: dirt, rust, dents, a leaked cell, missing screws.",
    ),
    "before": (
        "Done before",
        "What has been done to it, by whom, and what happened then: it tells where to look first.",
    ),
    "limit": ("Cost limit", "How much the owner wants to spend; beyond it you ask first."),
    "consent": (
        "Cannot be undone",
        "To which acts that cannot be undone the owner agrees; what is not agreed to is never proposed.",
    ),
    "original": ("Originality", "What must stay as it was made: parts, wires, lacquer, traces of age."),
    "known good": (
        "Display and cables",
        "Display, its cable and the supply's cable known good: tried on another machine.",
    ),
    "minimum": (
        "Minimum configuration",
        "Only what is needed to start is plugged in: no cartridge, no drive, no printer, no extension.",
    ),
}
"""Title and question of each item; common practice on repair benches, no source."""
ACT_WORDS: dict[str, str] = {
    "unsolder": "take a soldered part out",
    "cut legs": "cut a part's legs off to get it out",
    "cut track": "cut a track",
    "scrape mask": "scrape the mask off copper",
    "replace part": "put in another part than the original",
    "coat": "coat with lacquer or resin",
    "write chip": "erase or write a chip",
}


@dataclass(frozen=True, slots=True)
class IntakeRow:
    """One item: its question and its latest answer (None not asked yet); ``photos`` of all answers to it."""

    item: str
    title: str
    ask: str
    last: IntakeNote | None
    photos: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class IntakeNow:
    """The intake of a case: every item, the owner's word, money spent so far, what is left to ask."""

    rows: tuple[IntakeRow, ...]
    consent: Consent
    spent: float
    left: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        owner = self.consent
        acts = [
            {
                "act": act,
                "words": ACT_WORDS[act],
                "answer": "yes" if act in owner.allowed else "no" if act in owner.refused else "",
            }
            for act in IRREVERSIBLE
        ]
        return {
            "items": [
                {"item": one.item, "title": one.title, "ask": one.ask, "answer": None if one.last is None else plain(one.last), "photos": list(one.photos)}
                for one in self.rows
            ],
            "acts": acts,
            "limit": owner.limit,
            "currency": owner.currency,
            "spent": self.spent,
            "left": list(self.left),
            "caution": CAUTION,
        }  # fmt: skip


def intake_now(workshop: Workshop, case: str) -> IntakeNow:
    """The intake of a case as it stands."""
    return intake_of(case_state(workshop, case))


def intake_of(state: CaseState) -> IntakeNow:
    """The intake of a folded case."""
    rows = []
    for item in INTAKE_ITEMS:
        told = [one for one in state.intake if one.item == item]
        photos = tuple(dict.fromkeys(sha for one in told for sha in one.photos))
        rows.append(IntakeRow(item, *ASKS[item], told[-1] if told else None, photos))
    left = tuple(one.item for one in rows if one.last is None)
    return IntakeNow(tuple(rows), consent_of(state.intake), money_spent(state), left)


def note_intake(
    workshop: Workshop,
    case: str,
    item: str,
    *,
    yes: bool | None = None,
    words: str = "",
    amount: float | None = None,
    currency: str = "",
    acts: Sequence[str] = (),
    photos: Sequence[str] = (),
    pictures: Sequence[tuple[str, bytes]] = (),
    entry_id: str | None = None,
) -> Noted:
    """Note one item of the intake. ``photos`` SHA-256 of photos that the case has, ``pictures`` (name, bytes) of new ones, kept with the case.

    Refusals INT-001 (no such item), INT-002 (nothing said), INT-003 (an amount that cannot be), INT-004 (no such act), PHO-00x.
    """
    wanted = item.strip().lower()
    if wanted not in INTAKE_ITEMS:
        raise refuse("INT-001", f"{item!r} is no item of the intake.", f"Say one of: {', '.join(INTAKE_ITEMS)}.")
    odd = [one for one in acts if one not in IRREVERSIBLE]
    if odd:
        raise refuse(
            "INT-004", f"{odd[0]!r} is no act that is asked about.", f"Say one or more of: {', '.join(IRREVERSIBLE)}."
        )
    if amount is not None and not (math.isfinite(amount) and 0.0 <= amount < 1e7):
        raise refuse("INT-003", f"An amount of {amount:g} cannot be.", "Give it from 0 up: --amount 80 --currency EUR.")
    _said_something(wanted, yes, words, amount, photos, pictures)
    state = case_state(workshop, case)
    missing = [sha for sha in photos if all(one.sha256 != sha for one in state.photos)]
    if missing:
        raise refuse("PHO-003", "This case has no such photo.", "Add it first: coppermend photo CASE FILE.")
    taken = [
        attach_photo(workshop, case, data, name=name, words=f"intake: {ASKS[wanted][0].lower()}")
        for name, data in pictures
    ]
    kept = [*photos, *(str(one.entry.payload["sha256"]) for one in taken)]
    payload: dict[str, Json] = {
        "item": wanted,
        "words": words.strip(),
        "yes": yes,
        "amount": amount,
        "currency": currency.strip()[:8],
    }
    if acts:
        payload["acts"] = list(dict.fromkeys(acts))
    if kept:
        payload["photos"] = list(dict.fromkeys(kept))
    return noted(write(workshop, case, "intake", payload, entry_id=entry_id))


def _said_something(
    item: str, yes: bool | None, words: str, amount: float | None, photos: Sequence[str], pictures: Sequence[object]
) -> None:
    """Refusal INT-002 for an answer that answers nothing."""
    if item in ("consent", "known good", "minimum") and yes is None:
        raise refuse("INT-002", f"{ASKS[item][0]}: is it yes or no?", "Say it: --yes or --no.")
    if item == "limit" and amount is None and not words.strip():
        raise refuse(
            "INT-002",
            "A cost limit needs an amount.",
            "Say it: --amount 80 --currency EUR, or in words that there is none.",
        )
    if not (words.strip() or yes is not None or amount is not None or photos or pictures):
        raise refuse(
            "INT-002", f"{ASKS[item][0]}: nothing was said.", f"{ASKS[item][1]} Say it in words, or with --photo FILE."
        )
