"""Two people on one case: the same check answered at both screens at once is one reading; answers that differ are both kept, and it is said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from coppermend.core.log.model import Entry
from coppermend.core.log.values import is_value, parse_value
from coppermend.core.log.words import entry_words
from coppermend.services.bind import bind
from coppermend.services.cases import case_state
from coppermend.services.notes import Noted, note, noted
from coppermend.services.points import resolve
from coppermend.services.requests import Request
from coppermend.services.workshop import Workshop

ANSWERS = ("closed", "open", "ohms", "skip")


@dataclass(frozen=True, slots=True)
class Answered:
    """What became of an answer: ``noted``; ``already`` when the other screen had given the same one and nothing was written; ``differs`` its other answer in words."""

    noted: Noted
    already: bool = False
    differs: str = ""

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return {**self.noted.as_dict(), "already": self.already, "differs": self.differs}


def note_seen(workshop: Workshop, case: str, request: Request, after: str | None = None) -> Answered:
    """Note a request as ``note`` does. ``after``: the newest reading on the screen that answers ("" none, None: it does not say).

    When another screen answered the same two points since then, the same answer is not written a second time: two people looked at one check.
    A different answer is written, too, and both count: a tip that did not bite is worth knowing. A retry under its own id is never held up.
    """
    if after is None or request.kind not in ANSWERS or len(request.points) != 2:
        return Answered(note(workshop, case, request))
    entries = workshop.store.entries(case)
    if any(one.id == request.entry_id for one in entries):
        return Answered(note(workshop, case, request))
    graph = bind(workshop, case).graph
    pair = frozenset(resolve(graph, name).id for name in request.points)
    undone = set(case_state(workshop, case).undone)
    others = [one for one in _since(entries, after) if one.id not in undone and _pair(one) == pair]
    for one in others:
        if _says(one.kind, one.payload) == _says(request.kind, {"ohm": None if _overload(request.value) else 1.0}):
            return Answered(noted(one), already=True)
    done = note(workshop, case, request)
    return Answered(done, differs=entry_words(others[-1]) if others else "")


def seen_ago(workshop: Workshop, case: str, seconds: float) -> str | None:
    """When something happened that was handed in ``seconds`` late: ISO 8601, UTC, as the log writes it. None, which is now, for 0 s and where that
    would lie before the case was opened: the sender's clock has leaped then, and no time is better than a false one."""
    if seconds <= 0.0:
        return None
    now = datetime.fromisoformat(workshop.clock.now().replace("Z", "+00:00"))
    opened = datetime.fromisoformat(case_state(workshop, case).opened_at.replace("Z", "+00:00"))
    if seconds > (now - opened).total_seconds():
        return None
    return (now - timedelta(seconds=seconds)).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _since(entries: tuple[Entry, ...], after: str) -> tuple[Entry, ...]:
    at = next((k for k, one in enumerate(entries) if one.id == after), -1)
    return entries[at + 1 :]


def _pair(entry: Entry) -> frozenset[str]:
    points: Any = entry.payload.get("points") or ()
    return frozenset(str(one["id"]) for one in points) if entry.kind in ANSWERS and len(points) == 2 else frozenset()


def _says(kind: str, payload: Mapping[str, Any]) -> tuple[str, bool]:
    return kind, kind == "ohms" and payload.get("ohm") is None


def _overload(value: str) -> bool:
    return is_value(value, "ohm") and parse_value(value, "ohm") is None
