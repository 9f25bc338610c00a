"""How the belief about a case went: the likeliest suspect after each thing that was seen, from the first reading to the last."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coppermend.core.belief.suspects.posterior import (
    Apart,
    Beep,
    Observation,
    Renewed,
    Start,
    State,
    Warmth,
    initial,
    observed,
)
from coppermend.core.belief.suspects.reasons import observation_words, picture_words
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.log.fold import fold
from coppermend.core.log.model import Entry, agreed_order
from coppermend.core.log.state import CaseState
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import Binding, bind_state
from coppermend.services.placewords import places_in_words
from coppermend.services.powered import PoweredBoard
from coppermend.services.suspects import REPAIRS, board_of_case, evidence_of
from coppermend.services.workshop import Workshop

SHIFT = 0.05
"""Continuity readings are a moment of their own when they change the likeliest suspect, or its probability by so much."""


MOST_BOARDS = 3
"""Sets of part states beside today's that a course is reckoned with: each costs a board under power of its own."""


@dataclass(frozen=True, slots=True)
class Moment:
    """One thing that was seen or done, and what it left: ``unit`` the likeliest suspect, in ``words``, with its probability ``p``.

    ``kind`` seen, heat, copper, repair or complaint; ``at`` the entry's time ("" for the complaint).
    """

    entry: str
    at: str
    kind: str
    seen: str
    unit: str
    words: str
    p: float


@dataclass(frozen=True, slots=True)
class _Event:
    """A moment before it is weighed."""

    entry: str
    kind: str
    words: str
    found: tuple[Observation, ...] = ()


def suspect_course(
    workshop: Workshop,
    case: str,
    binding: Binding,
    made: PoweredBoard,
    book: DeviceBook | None = None,
    machine: MachineModel | None = None,
) -> tuple[Moment, ...]:
    """The likeliest suspect after each reading under power, thermal picture, start and repair, oldest first; () when nothing was seen under power.

    What a later repair made worthless counts up to that repair. With ``book`` a stretch before a repair is reckoned with the parts as they were then: what
    was taken out later is no gap yet (for the last ``MOST_BOARDS`` sets of part states; older ones, and all without ``book``, with today's parts).
    ``seen`` and ``words`` name places as a person finds them.
    """
    entries = list(agreed_order(workshop.store.entries(case)))
    place = {one.id: k for k, one in enumerate(entries)}
    times = {one.id: one.observed_at for one in entries}
    if not made.field.units:
        return ()
    moments: list[Moment] = []
    since = -1
    cuts = (*_cuts(binding.state), len(entries))
    thens = {cut: _then(binding, entries, place, cut) for cut in cuts}
    boards = (
        _boards(thens, binding, made, lambda one: board_of_case(one, book, machine, workshop.fields)) if book else {}
    )
    for cut in cuts:
        then, board = boards.get(cut, (thens[cut], made))
        segment = _Segment(workshop, case, then, board, place)
        moments += segment.moments(since, binding.state if since >= 0 else None)
        since = cut
    if not any(one.kind in ("seen", "heat") for one in moments):
        return ()
    return tuple(
        replace(one, at=times.get(one.entry, ""), seen=places_in_words(binding.board, one.seen), words=places_in_words(binding.board, one.words))
        for one in moments
    )  # fmt: skip


def _cuts(state: CaseState) -> tuple[int, ...]:
    """Positions of the first repair after each stretch of readings under power."""
    seen = [r.at for r in state.readings if r.kind in ("level", "volts", "hertz", "wave", "heat")]
    seen += [one.at for up in state.power_ups for one in up.seen]
    repairs = sorted([a.at for a in state.acts if a.kind in REPAIRS] + [w.at for w in state.wires])
    cuts: list[int] = []
    for at in repairs:
        if any((cuts[-1] if cuts else -1) < one < at for one in seen):
            cuts.append(at)
    return tuple(cuts)


def _then(binding: Binding, entries: Sequence[Entry], place: dict[str, int], cut: int) -> Binding:
    """The case as its log stood before entry number ``cut``, without what was taken back since; on today's copper."""
    if cut >= len(entries):
        return binding
    gone = set(binding.state.undone)
    kept = [one for one in entries[:cut] if one.id not in gone and one.kind != "undo"]
    evidence = tuple(one for one in binding.evidence if place.get(one.entry, -1) < cut)
    return replace(binding, state=fold(kept), evidence=evidence)


Boards = dict[int, tuple[Binding, PoweredBoard]]


def _boards(
    thens: Mapping[int, Binding], binding: Binding, made: PoweredBoard, build: Callable[[Binding], PoweredBoard]
) -> Boards:
    """Of each stretch, by the entry it ends before, its case bound to the parts as they were, and the board under power of that; those with today's parts left out."""
    found: Boards = {}
    built: dict[object, PoweredBoard] = {binding.state.part_states: made}
    for cut, then in reversed(list(thens.items())):
        states = then.state.part_states
        if states == binding.state.part_states or (states not in built and len(built) > MOST_BOARDS):
            continue
        bound = bind_state(then.state, binding.board, binding.base, binding.mark, binding.kept)
        if states not in built:
            built[states] = build(bound)
        found[cut] = (replace(bound, evidence=then.evidence), built[states])
    return found


class _Segment:
    """The readings between two repairs, weighed one after the other."""

    def __init__(self, workshop: Workshop, case: str, then: Binding, made: PoweredBoard, place: dict[str, int]) -> None:
        self.made, self.place = made, place
        self.events = self._events(evidence_of(workshop, case, then, made).found)
        self.state = observed(initial(made.field), ())

    def moments(self, since: int, whole: CaseState | None) -> Iterable[Moment]:
        """Moments of the events after entry number ``since``; the repair there first, when ``whole`` tells of one."""
        old = [one for one in self.events if one.entry and self._place(one) <= since]
        self._take([one for one in self.events if not one.entry] + old)
        if whole is not None:
            row = next((one for one in whole.timeline if one.at == since), None)
            yield self._moment(
                _Event(row.entry if row else "", "repair", row.words if row else "something was repaired")
            )
        elif any(not one.entry for one in self.events):
            yield self._moment(next(one for one in self.events if not one.entry))
        for one in self.events:
            if one.entry and self._place(one) > since:
                before = self._top()
                self._take([one])
                if one.kind != "copper" or self._moved(before):
                    yield self._moment(one)

    def _place(self, one: _Event) -> int:
        return self.place.get(one.entry, -1) if one.entry else -1

    def _events(self, found: Iterable[Observation]) -> list[_Event]:
        """In the order of the log; continuity readings in a row, and what one thermal picture says, are one event."""
        field = self.made.field
        rows = [_Event(one.entry, _kind(one), observation_words(field, one), (one,)) for one in found]
        rows.sort(key=self._place)
        joined: list[_Event] = []
        for one in rows:
            last = joined[-1] if joined else None
            if last is not None and last.kind == one.kind == "copper":
                words = f"{len(last.found) + 1} continuity readings"
                joined[-1] = _Event(one.entry, "copper", words, last.found + one.found)
            elif last is not None and last.kind == one.kind == "heat" and last.entry == one.entry:
                all_of_it = last.found + one.found
                said = picture_words([seen for seen in all_of_it if isinstance(seen, Warmth)])
                joined[-1] = _Event(one.entry, "heat", said, all_of_it)
            else:
                joined.append(one)
        return joined

    def _take(self, events: Sequence[_Event]) -> None:
        fresh = tuple(one for event in events for one in event.found)
        if fresh:
            self.state = observed(self.state, fresh)

    def _top(self) -> tuple[int, float]:
        p = self.state.units()
        k = int(p.argmax())
        return k, float(p[k])

    def _moved(self, before: tuple[int, float]) -> bool:
        k, p = self._top()
        return k != before[0] or abs(p - before[1]) >= SHIFT

    def _moment(self, one: _Event) -> Moment:
        k, p = self._top()
        return Moment(
            one.entry, "", one.kind, one.words, self.state.field.units[k], top_words(self.state, k), round(p, 5)
        )


def _kind(one: Observation) -> str:
    if isinstance(one, (Beep, Apart)):
        return "copper"
    if isinstance(one, Warmth):
        return "heat"
    if isinstance(one, Renewed):
        return "repair"
    return "complaint" if isinstance(one, Start) and not one.entry else "seen"


def top_words(state: State, unit: int) -> str:
    """A unit by its likeliest fault, in words."""
    made, causes = state.field, state.causes()
    mine = np.flatnonzero(made.unit_of == unit)
    return made.causes[int(mine[np.argmax(causes[mine])])].words
