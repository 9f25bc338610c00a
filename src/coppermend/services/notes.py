"""Noting things: every bench act becomes one entry; taking one back is another entry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import Place, refuse
from coppermend.core.log.kinds import KINDS
from coppermend.core.log.model import Entry
from coppermend.core.log.words import entry_words
from coppermend.services.cases import case_state
from coppermend.services.entries import write
from coppermend.services.payloads import MAKERS
from coppermend.services.requests import NOTE_KINDS, Request
from coppermend.services.workshop import Workshop


@dataclass(frozen=True, slots=True)
class Noted:
    """What was written: the entry, how it is called on this bench (``ref``) and in words."""

    entry: Entry
    words: str

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return {"entry": self.entry.as_dict(), "ref": self.entry.bench_seq, "words": self.words}


def note(workshop: Workshop, case: str, request: Request) -> Noted:
    """Write one entry of any bench kind. It is on disk when this returns. Refuses unknown points, parts, values and kinds with what to do."""
    if request.kind == "undo":
        return undo(workshop, case, request.undoes, entry_id=request.entry_id, observed_at=request.observed_at)
    make = MAKERS.get(request.kind)
    if make is None:
        raise refuse(
            "NOT-001", f"There is nothing to note by the kind {request.kind!r}.", f"Kinds are {', '.join(NOTE_KINDS)}."
        )
    payload = {**request.fields, **make(workshop, case, request)}
    if request.words and "words" in {*KINDS[request.kind].must, *KINDS[request.kind].may}:
        payload["words"] = request.words
    entry = write(workshop, case, request.kind, payload, entry_id=request.entry_id, observed_at=request.observed_at)
    return noted(entry)


def noted(entry: Entry) -> Noted:
    """An entry just written, with its words."""
    return Noted(entry, entry_words(entry))


def undo(
    workshop: Workshop, case: str, which: str = "", *, entry_id: str | None = None, observed_at: str | None = None
) -> Noted:
    """Take an entry back by another entry: the last one that counts, or the one called ``which`` (its number here, BENCH:NUMBER, or its id)."""
    entries = workshop.store.entries(case)
    state = case_state(workshop, case)
    target = named_entry(entries, workshop.store.bench, which) if which else _last_counting(entries, set(state.undone))
    if target.kind in ("case", "board", "basis"):
        raise refuse(
            "NOT-004",
            f"{entry_words(target)} cannot be taken back: the case stands on it.",
            "Open another case instead.",
            Place(thing=f"entry {target.bench_seq}"),
        )
    if target.id in state.undone:
        raise refuse(
            "NOT-004",
            "That entry is taken back already.",
            "Take back the undo to have it again.",
            Place(thing=f"entry {target.bench_seq}"),
        )
    entry = write(workshop, case, "undo", {}, undoes=target.id, entry_id=entry_id, observed_at=observed_at)
    return Noted(entry, f"taken back: no. {target.bench_seq}, {entry_words(target)}")


def _last_counting(entries: Sequence[Entry], undone: set[str]) -> Entry:
    for entry in reversed(entries):
        if entry.kind not in ("undo", "case", "board", "basis", "practice") and entry.id not in undone:
            return entry
    raise refuse("NOT-003", "There is nothing to take back.", "See 'coppermend case show'.")


def named_entry(entries: Sequence[Entry], bench: str, which: str) -> Entry:
    """The entry that a person names: its number on this bench, BENCH:NUMBER, or the last six or more letters of its id. Refusal NOT-003 for no such entry."""
    wanted = which.strip().lower().removeprefix("#")
    of_bench, _, number = wanted.rpartition(":")
    for entry in entries:
        by_number = (
            number.isdecimal()
            and entry.bench_seq == int(number)
            and (entry.bench.startswith(of_bench) if of_bench else entry.bench == bench)
        )
        by_id = len(wanted) >= 6 and (entry.id == wanted or entry.id.endswith(wanted))
        if by_number or by_id:
            return entry
    raise refuse("NOT-003", f"This case has no entry {which!r}.", "The numbers stand in 'coppermend case show'.")
