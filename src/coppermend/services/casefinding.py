"""Cases at a glance: a page of the list, filtered by state and more, and found again by anything that was ever said of them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import refuse
from coppermend.core.log.kinds import PROGRESS
from coppermend.core.log.state import plain
from coppermend.core.log.terms import MOST_ASKED, asked_terms
from coppermend.services.cases import CaseRow, find_case, row_of
from coppermend.services.ports import MOST_MEANT, Found, Wanted
from coppermend.services.workshop import Workshop

ORDERS = ("number", "last")
"""Newest case first, or last worked on first."""
MOST_ROWS = 200
"""Cases of one page."""
_SINCE = re.compile(r"\d{4}(-\d\d(-\d\d(T\d\d:\d\d(:\d\d(\.\d+)?)?Z?)?)?)?")


@dataclass(frozen=True, slots=True)
class Asked:
    """Which cases a person asks for; everything given has to hold.

    ``words`` each said somewhere in the case (machine, serial number, owner, part, net, pin, reading, remark, date); a word that nobody said is taken as
    the beginning of one, and so is one that ends in ``*``. ``states`` any of ``kinds.PROGRESS``; ``waits`` whether it waits for something; ``board_of`` a
    case (number or id) of the same board; ``since`` worked on that day (2026-03-01, 2026-03) or later. ``after`` a page's own ``after``: the page that follows.
    """

    words: str = ""
    states: Sequence[str] = ()
    waits: bool | None = None
    board_of: str = ""
    since: str = ""
    order: str = "number"
    after: str = ""
    limit: int = 50


@dataclass(frozen=True, slots=True)
class CasePage:
    """A page of cases. ``after`` what to ask for the page that follows, "" where there is none; ``states`` how many cases of the whole store are in
    each state; ``notes`` what to know of the search, in words."""

    cases: tuple[CaseRow, ...]
    after: str
    states: tuple[tuple[str, int], ...]
    notes: tuple[str, ...] = ()

    @property
    def in_all(self) -> int:
        """How many cases the store holds."""
        return sum(count for _, count in self.states)

    def as_dict(self) -> dict[str, Any]:
        """The page as plain JSON values."""
        return {
            "cases": [one.as_dict() for one in self.cases],
            "after": self.after,
            "states": dict(self.states),
            "in_all": self.in_all,
            "notes": list(plain(self.notes)),
        }


def find_cases(workshop: Workshop, asked: Asked) -> CasePage:
    """One page of the cases that are asked for. Refusal CAS-009 for a state, an order, a date or a place in the list that is none."""
    wanted = _wanted(workshop, asked)
    found = workshop.store.find(wanted) if wanted is not None else Found(())
    states = workshop.store.states()
    known = (*(one for one in PROGRESS if one in states), *sorted(set(states) - set(PROGRESS)))
    rows = tuple(row_of(one) for one in found.cases)
    return CasePage(
        rows,
        _after(rows[-1], asked.order) if found.more else "",
        tuple((one, states[one]) for one in known),
        _notes(asked, found),
    )


def all_found(workshop: Workshop, asked: Asked) -> tuple[CaseRow, ...]:
    """Every case that is asked for, page after page."""
    rows: list[CaseRow] = []
    after = asked.after
    while True:
        page = find_cases(
            workshop,
            Asked(asked.words, asked.states, asked.waits, asked.board_of, asked.since, asked.order, after, MOST_ROWS),
        )
        rows += page.cases
        after = page.after
        if not after:
            return tuple(rows)


def _wanted(workshop: Workshop, asked: Asked) -> Wanted | None:
    """The question as the store takes it; None where no case can fulfil it."""
    states = tuple(dict.fromkeys(one.strip().lower() for one in asked.states if one.strip()))
    for one in states:
        if one not in PROGRESS:
            raise _no_such("state of work", one, ", ".join(PROGRESS))
    if asked.order not in ORDERS:
        raise _no_such("order of cases", asked.order, ", ".join(ORDERS))
    if asked.since and not _SINCE.fullmatch(asked.since):
        raise _no_such("day", asked.since, "a day such as 2026-03-01, a month such as 2026-03 or a year")
    if not 1 <= asked.limit <= MOST_ROWS:
        raise _no_such("number of cases for one page", str(asked.limit), f"a number from 1 to {MOST_ROWS}")
    terms = asked_terms(asked.words)
    if asked.words.strip() and not terms:
        return None
    package = ""
    if asked.board_of:
        case = find_case(workshop, asked.board_of)
        package = next((one.head.package_id for one in workshop.store.heads_of([case])), "")
        if not package:
            return None
    return Wanted(terms, states, asked.waits, package, asked.since, asked.order, _place(asked.after), asked.limit)


def _place(after: str) -> tuple[int, str] | None:
    if not after:
        return None
    number, _, at = after.partition("@")
    if not (number.isdecimal() and len(number) < 10):
        raise _no_such("place in the list", after, "what the page before says under after")
    return int(number), at


def _after(row: CaseRow, order: str) -> str:
    return f"{row.number}@{row.last_at}" if order == "last" else str(row.number)


def _notes(asked: Asked, found: Found) -> tuple[str, ...]:
    notes = [
        f"More than {MOST_MEANT} words begin with {one!r}; the first {MOST_MEANT} were looked for: write more of it."
        for one in found.cut
    ]
    if found.from_logs:
        notes.append(
            "A page of the list is damaged: this was read from the logs themselves, which takes longer. Make the list anew: coppermend store check --rebuild."
        )
    if len(asked_terms(asked.words, MOST_ASKED + 1)) > MOST_ASKED:
        notes.append(f"The first {MOST_ASKED} words were looked for.")
    return tuple(notes)


def _no_such(what: str, found: str, expected: str) -> Exception:
    return refuse(
        "CAS-009", f"{found!r} is no {what}.", f"Say one of: {expected}." if "," in expected else f"Give {expected}."
    )
