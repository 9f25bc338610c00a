"""What is tested before the machine goes back: the machine model's checklist, with what the log says of each function."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coppermend.core.circuit.machine import MachineModel, MustWork
from coppermend.core.log.canonical import Json
from coppermend.core.log.fold import ends_tests
from coppermend.core.log.state import CaseState, Note, plain

UNTESTED = "not tested"
CAUTION = "A machine under test stays attended, with the current limit set and flammable things away; mains and picture tubes are for qualified people, by your local rules."


@dataclass(frozen=True, slots=True)
class Function:
    """A function and how it stands: ``result`` works, fails or not tested since the last repair; ``before`` what was noted before it, "" nothing."""

    name: str
    how: str
    result: str
    words: str
    observed_at: str
    before: str = ""

    @property
    def open(self) -> bool:
        """Whether the record has to carry it on."""
        return self.result != "works"

    def as_dict(self) -> dict[str, Json]:
        """The row as plain JSON values."""
        return {**plain(self), "open": self.open}


@dataclass(frozen=True, slots=True)
class Acceptance:
    """The checklist of a case, the machine's own functions first, then others that were noted."""

    model: str
    functions: tuple[Function, ...]

    @property
    def ready(self) -> bool:
        """Whether every function of the list works."""
        return not any(one.open for one in self.functions)

    @property
    def words(self) -> str:
        """How it stands in a sentence."""
        left = [one.name for one in self.functions if one.open]
        if not left:
            return f"All {len(self.functions)} functions work since the last repair."
        return f"{len(self.functions) - len(left)} of {len(self.functions)} functions work since the last repair; open: {', '.join(left)}."

    def as_dict(self) -> dict[str, Json]:
        """The checklist as plain JSON values."""
        return {"model": self.model, "words": self.words, "ready": self.ready, "caution": CAUTION, "functions": [one.as_dict() for one in self.functions]}  # fmt: skip


def acceptance(state: CaseState, machine: MachineModel | None) -> Acceptance:
    """What must work before this machine goes back, and what the log says of it. A result counts until the next repair: after it the function is tested again.

    Names are compared without regard to case and spaces.
    """
    tests = [note for note in state.notes if note.kind == "test"]
    listed = (machine or MachineModel()).must_work
    known = {_key(one.name) for one in listed}
    more = {_key(note.key): MustWork(note.key) for note in tests if _key(note.key) not in known}
    last_change = _last_change(state)
    rows = (
        _function(one, [n for n in tests if _key(n.key) == _key(one.name)], last_change)
        for one in (*listed, *more.values())
    )
    return Acceptance(machine.name if machine else "", tuple(rows))


def _function(one: MustWork, notes: Sequence[Note], last_change: int) -> Function:
    now = [note for note in notes if note.at > last_change]
    if now:
        return Function(one.name, one.words, now[-1].result, now[-1].words, now[-1].observed_at)
    before = f"{notes[-1].result}, before the last repair" if notes else ""
    return Function(one.name, one.words, UNTESTED, "", "", before)


def _last_change(state: CaseState) -> int:
    """Position of the last repair: what was tested before it says nothing of the machine as it is."""
    changed = [*(one.at for one in state.wires), *(one.at for one in state.cuts)]
    changed += [one.at for one in state.acts if ends_tests(one.kind, one.soldering, one.trial)]
    return max(changed, default=-1)


LEAVING = ("ready", "returned")
"""States in which a machine leaves the bench."""


def not_yet(state: CaseState, accepted: Acceptance) -> tuple[str, ...]:
    """What speaks against the machine being ready: what it waits for, what fails, what was not tested since the last repair; () nothing does."""
    waits = [f"{one.what}: {one.words}" if one.words else one.what for one in state.waits if not one.ended_at]
    fails = [one.name for one in accepted.functions if one.result == "fails"]
    untested = [one.name for one in accepted.functions if one.result == UNTESTED]
    told = (("it still waits for", waits), ("does not work:", fails), ("not tested since the last repair:", untested))
    return tuple(f"{words} {', '.join(which)}" for words, which in told if which)


def _key(name: str) -> str:
    return " ".join(name.split()).lower()
