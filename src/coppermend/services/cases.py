"""Cases: open one, find it again, see where it stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.log.fold import fold
from coppermend.core.log.gate import GateStatus, gate_status
from coppermend.core.log.kinds import KINDS
from coppermend.core.log.model import Entry
from coppermend.core.log.state import CaseState, TimelineItem, plain
from coppermend.services.entries import write
from coppermend.services.heads import entry_line
from coppermend.services.numbers import DEFAULTS, basis_payload
from coppermend.services.ports import CaseHead, Found, Wanted
from coppermend.services.workshop import Workshop


@dataclass(frozen=True, slots=True)
class CaseRow:
    """A case as one line of a list.

    ``state`` one of ``kinds.PROGRESS``; ``waits`` what it waits for, "" for nothing; ``where`` where it stands, in words; ``hours`` at the bench, from the log's
    own times; ``parts`` what went in; ``fails`` the functions that fail; ``hit``, ``hit_at`` the entry that says what was searched for, "" where nothing was.
    """

    number: int
    id: str
    title: str
    serial: str
    board: str
    entries: int
    opened_at: str
    last_at: str
    last_words: str
    last_kind: str = ""
    owner: str = ""
    complaint: str = ""
    state: str = ""
    waits: str = ""
    where: str = ""
    hours: float = 0.0
    parts: tuple[str, ...] = ()
    wires: int = 0
    practice: bool = False
    fails: tuple[str, ...] = ()
    hit: str = ""
    hit_at: str = ""

    def as_dict(self) -> dict[str, Any]:
        """The row as plain JSON values."""
        return dict(plain(self))


@dataclass(frozen=True, slots=True)
class CaseView:
    """A case as it stands: its folded state, its short number here, the gate before power, and where one was."""

    number: int
    state: CaseState
    gate: GateStatus
    where: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The view as plain JSON values: the state's fields with number, gate and where beside them."""
        return {
            "number": self.number,
            **self.state.as_dict(),
            "gate_status": plain(self.gate),
            "where": list(self.where),
        }


def new_case(
    workshop: Workshop, package: str, title: str, *, serial: str = "", complaint: str = "", owner: str = ""
) -> CaseView:
    """Open a case on the board of a package. Writes case, board and the numbers that belief and planning use (basis); refuses before writing when the package cannot be read."""
    shelved = workshop.shelf.take(package)
    case = workshop.ids.new()
    write(workshop, case, "case", {"title": title, "serial": serial, "complaint": complaint, "owner": owner})
    write(
        workshop,
        case,
        "board",
        {"package": shelved.package, "package_id": shelved.board.package_id, "title": shelved.board.title},
    )
    for name in DEFAULTS:
        write(workshop, case, "basis", basis_payload(name))
    return show_case(workshop, case)


def name_board(workshop: Workshop, case: str, package: str, *, changed: bool = False) -> Entry:
    """Say where the case's package is now (moved, or imported from another bench). Other files are refused (CAS-003) unless they are said to be ``changed``.

    The log names points with their places, so a corrected package is taken over as far as its points are where they were.
    """
    shelved = workshop.shelf.take(package)
    state = case_state(workshop, case)
    if not changed and state.package_id and shelved.board.package_id != state.package_id:
        raise refuse(
            "CAS-003",
            f"That package is not the board of this case: its id begins {shelved.board.package_id[:12]}, expected {state.package_id[:12]}.",
            "Name the package that the case was opened with; if its files were corrected since, add --changed.",
            Place(thing=f"case {case}"),
        )
    return write(
        workshop,
        case,
        "board",
        {"package": shelved.package, "package_id": shelved.board.package_id, "title": shelved.board.title},
    )


def cases_of_board(
    workshop: Workshop, package_id: str, states: tuple[str, ...] = (), most: int = 200
) -> tuple[CaseRow, ...]:
    """The newest cases on the board of a package, newest first, in these states alone where some are named, at most ``most``; () without a package."""
    wanted = Wanted(states=states, package_id=package_id, limit=most)
    found = workshop.store.find(wanted) if package_id else Found(())
    return tuple(row_of(one) for one in found.cases)


def row_of(found: CaseHead) -> CaseRow:
    """A head as a line of a list."""
    head = found.head
    return CaseRow(
        number=found.number,
        id=found.id,
        title=head.title,
        serial=head.serial,
        board=head.board,
        entries=head.entries,
        opened_at=head.opened_at,
        last_at=head.last_at,
        last_words=head.last_words,
        last_kind=head.last_kind,
        owner=head.owner,
        complaint=head.complaint,
        state=head.state,
        waits=head.waits,
        where=head.told_words or NOTHING_MARKED,
        hours=round(head.worked_s / 3600, 2),
        parts=head.parts,
        wires=head.wires,
        practice=head.practice,
        fails=head.fails,
        hit="" if found.hit is None else entry_line(found.hit),
        hit_at="" if found.hit is None else found.hit.observed_at,
    )


NOTHING_MARKED = "nothing is marked yet: mark where the copper was disturbed"
"""Where a case stands that was opened and no more."""


def find_case(workshop: Workshop, name: str) -> str:
    """The id of the case that a person means by a short number (``3``), an id, or the beginning or end of one. Refusal CAS-001 or CAS-002."""
    wanted = name.strip().lower().removeprefix("#")
    store = workshop.store
    if wanted.isdecimal() and len(wanted) < 10:
        found = [case for case in (store.case_of(int(wanted)),) if case]
    elif store.number_of(wanted):
        found = [wanted]
    else:
        numbers = store.numbers() if len(wanted) >= 4 else ()
        found = [case for _, case in numbers if case.startswith(wanted) or case.endswith(wanted)]
    if len(found) == 1:
        return found[0]
    if found:
        raise refuse("CAS-002", f"{len(found)} cases go by {name!r}.", "Give more of the id, or the short number.")
    newest = store.find(Wanted(limit=5)).cases
    here = ", ".join(f"{one.number} ({one.head.title})" for one in reversed(newest))
    remedy = (
        f"Cases here: {here}." if here else "There are none yet: coppermend case new --board PACKAGE --title TITLE."
    )
    raise refuse("CAS-001", f"There is no case {name!r} in this store.", remedy, Place(thing=workshop.store.where))


def case_state(workshop: Workshop, case: str) -> CaseState:
    """The folded state of a case; Refusal CAS-001 when there is none, LOG-002 when a newer Coppermend wrote into it."""
    entries = workshop.store.entries(case)
    if not entries:
        raise refuse("CAS-001", f"There is no case {case!r} in this store.", "See 'coppermend case list'.")
    return fold(entries)


def show_case(workshop: Workshop, case: str) -> CaseView:
    """A case as it stands, rebuilt from its log."""
    state = case_state(workshop, case)
    gate = gate_status(state.gate, state.readings, state.last_soldering)
    return CaseView(workshop.store.number_of(case), state, gate, where_was_i(state))


def where_was_i(state: CaseState) -> tuple[str, ...]:
    """Where one was, in a few lines: how long ago is for the reader to see from the times, nothing here depends on today."""
    lines = [f"Opened {state.opened_at}, last entry {state.timeline[-1].observed_at}."]
    counts = _counts(state)
    if counts:
        lines.append(f"So far: {', '.join(counts)}.")
    lines += [f"{item.observed_at}  {item.words}" for item in _last_items(state.timeline)]
    out = [f"{part} is {how}" for part, how in state.part_states if how in ("out", "not fitted")]
    if out:
        lines.append(f"Parts off the board: {', '.join(out)}.")
    if state.power_on:
        lines.append("Careful: the log says that power is on.")
    if state.power_ups:
        lines.append(f"Last power-up {state.power_ups[-1].observed_at}: {_seen_words(state)}.")
    return tuple(lines)


def _counts(state: CaseState) -> list[str]:
    many = (
        (len(state.areas), "work area"),
        (len(state.readings), "reading"),
        (len(state.wires), "patch wire"),
        (len(state.cuts), "cut"),
        (len(state.power_ups), "power-up"),
        (len(state.photos), "photo"),
    )
    return [f"{count} {word}{'' if count == 1 else 's'}" for count, word in many if count]


def _last_items(timeline: Sequence[TimelineItem]) -> Sequence[TimelineItem]:
    return [item for item in timeline if not item.undone and item.kind not in ("case", "board", "basis", "undo")][-3:]


def _seen_words(state: CaseState) -> str:
    seen = [text for one in state.power_ups[-1].seen for text in (one.screen, one.sound, one.smell, one.words) if text]
    return ", ".join(seen) or "nothing noted of what was seen"


def unreadable(entries: Sequence[Entry]) -> tuple[Finding, ...]:
    """The entries that this Coppermend cannot read, for doctor: kind or version of a newer one."""
    return tuple(
        Finding(
            "LOG-002",
            Severity.ERROR,
            Place(thing=f"case {one.case} entry {one.id}"),
            f"Kind {one.kind!r} version {one.v} is not known here.",
            "Use the newer Coppermend that wrote it.",
        )
        for one in entries
        if one.kind not in KINDS or KINDS[one.kind].v != one.v
    )
