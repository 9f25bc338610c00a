"""What a case waits for: a part, the owner, a tool, another case; noted when it begins and when it is over."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from coppermend.core.findings import Place, refuse
from coppermend.core.log.kinds import WAITS_FOR
from coppermend.core.log.state import Wait, plain
from coppermend.services.cases import case_state, find_case
from coppermend.services.entries import write
from coppermend.services.notes import Noted, named_entry, noted
from coppermend.services.workshop import Workshop


@dataclass(frozen=True, slots=True)
class Waiting:
    """One thing that the case waits or waited for: its ``number`` here, whole ``days`` so far, the other case's short number (0 none), ``late`` past its date, a line of words."""

    number: int
    wait: Wait
    days: int
    other: int
    late: bool
    words: str

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {
            **plain(self.wait),
            "number": self.number,
            "days": self.days,
            "other": self.other,
            "late": self.late,
            "line": self.words,
        }


def wait_for(
    workshop: Workshop,
    case: str,
    what: str,
    words: str = "",
    *,
    until: str = "",
    other: str = "",
    entry_id: str | None = None,
) -> Noted:
    """Note what the case waits for from now on. ``until`` a date as 2026-12-01; ``other`` the case (number or id) for ``what`` case.

    Refusals WAI-001 for another thing, WAI-002 for no date, WAI-003 for a case that is missing, not asked for or its own, WAI-005 for no words.
    """
    case_state(workshop, case)
    if what not in WAITS_FOR:
        raise refuse(
            "WAI-001",
            f"A case cannot wait for {what!r}.",
            f"It waits for: {', '.join(WAITS_FOR)}.",
            Place(thing=what[:40]),
        )
    if until:
        _date(until)
    found = find_case(workshop, other) if other else ""
    if (what == "case") != bool(found) or found == case:
        words_ = (
            "It waits for itself." if found else "Another case is named for a wait of the kind case, and for that only."
        )
        raise refuse("WAI-003", words_, "Name the other case by its number.", Place(thing=other[:40] or None))
    said = words.strip() or (f"case {workshop.store.number_of(found)}" if found else "")
    if not said:
        raise refuse("WAI-005", "It is not said what is waited for.", "Say it in words: which part, which question.")
    return noted(
        write(workshop, case, "waits", {"what": what, "words": said, "until": until, "case": found}, entry_id=entry_id)
    )


def wait_over(workshop: Workshop, case: str, which: str = "", words: str = "", *, entry_id: str | None = None) -> Noted:
    """Note that a wait is over: the entry called ``which`` (its number, or id), else the only one there is. Refusal WAI-004 when it is not clear which."""
    state = case_state(workshop, case)
    still = {one.entry for one in state.waits if not one.ended_at}
    if which:
        entry = named_entry(workshop.store.entries(case), workshop.store.bench, which).id
    else:
        entry = next(iter(still)) if len(still) == 1 else ""
    if entry not in still:
        have = (
            ", ".join(f"{one.number} ({one.words})" for one in waits_of(workshop, case) if not one.wait.ended_at)
            or "nothing"
        )
        raise refuse(
            "WAI-004",
            f"The case does not wait for {which or 'one thing only'}.",
            f"It waits for: {have}.",
            Place(thing=which[:40] or None),
        )
    return noted(write(workshop, case, "waited", {"entry": entry, "words": words.strip()}, entry_id=entry_id))


def waits_of(workshop: Workshop, case: str) -> tuple[Waiting, ...]:
    """What the case waits for and waited for, in the order of the log."""
    state = case_state(workshop, case)
    number = {item.entry: item.ref for item in state.timeline}
    now = workshop.clock.now()
    return tuple(
        _waiting(one, number[one.entry], workshop.store.number_of(one.case) if one.case else 0, now)
        for one in state.waits
    )


def _waiting(one: Wait, number: int, other: int, now: str) -> Waiting:
    days = max(0, (_day(one.ended_at or now) - _day(one.observed_at)).days)
    late = bool(one.until) and not one.ended_at and now[:10] > one.until
    return Waiting(number, one, days, other, late, _line(one, days, other, late))


def _line(one: Wait, days: int, other: int, late: bool) -> str:
    what = f"case {other}" if one.what == "case" and other else one.what
    said = f"{what}: {one.words}" if one.words != what else what
    since = "today" if not days else "1 day" if days == 1 else f"{days} days"
    if one.ended_at:
        return f"waited {since if days else 'less than a day'} for {said}" + (f" ({one.ended})" if one.ended else "")
    until = f", until {one.until}{': that is past' if late else ''}" if one.until else ""
    return f"waits for {said}{until} (since {since})" if not days else f"waits for {said}{until} (for {since})"


def _day(text: str) -> date:
    return datetime.fromisoformat(text).date()


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise refuse(
            "WAI-002", f"{text[:40]!r} is no date.", "Write it like 2026-12-01.", Place(thing=text[:40])
        ) from None
