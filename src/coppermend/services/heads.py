"""A case at a glance: its head, kept beside the log with every entry and computed from the log alone.

``head_of`` says what a head is. ``grown`` makes the same of the head before and one more entry, without reading the log again; only an undo
of something that a head shows asks for the few entries that it is made of.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import Any

from coppermend.core.log.fold import CHANGING, ends_tests, flows_solder, undone_ids
from coppermend.core.log.kinds import SOLDERING
from coppermend.core.log.model import Entry, agreed_order
from coppermend.core.log.terms import terms_of
from coppermend.core.log.words import entry_words

REST_S = 900.0
"""A longer gap between two entries is counted as time away from the bench (assumption)."""
_MENDING = tuple(dict.fromkeys((*CHANGING, *SOLDERING)))
STANDING = ("case", "board", "progress", "waits", "waited", "practice", "test", *_MENDING)
"""Kinds whose contents a head shows; taking one of them back changes what it shows."""
BOOKKEEPING = ("case", "board", "basis", "practice")
"""Kinds of entries that say nothing of where the work stands: that a case was opened, which numbers are used, that a patient answers."""
LONGEST = 300
"""Characters of a text that a head keeps: it is a line of a list."""


@dataclass(frozen=True, slots=True)
class Head:
    """A case as a list shows it.

    ``place`` the largest place in the log (lamport): by it a head is known that missed an entry. ``state`` one of ``kinds.PROGRESS``;
    ``waiting`` what it waits for, (id of the entry, words) each; ``last_*`` the last entry in the agreed order; ``told_words`` the last that is no
    bookkeeping, "" where nothing else was told; ``recorded_at`` the latest time that an entry was handed in; ``worked_s`` seconds between entries, gaps over ``REST_S`` left out;
    ``parts`` what went in; ``wires`` how many patch wires; ``practice`` whether a patient answers; ``fails`` the functions whose last test since the last
    repair says that they fail (``services/acceptance.py``).
    """

    entries: int = 0
    place: int = 0
    title: str = ""
    serial: str = ""
    owner: str = ""
    complaint: str = ""
    board: str = ""
    package_id: str = ""
    state: str = "on the bench"
    waiting: tuple[tuple[str, str], ...] = ()
    opened_at: str = ""
    last_at: str = ""
    recorded_at: str = ""
    last_kind: str = ""
    last_words: str = ""
    told_words: str = ""
    worked_s: float = 0.0
    parts: tuple[str, ...] = ()
    wires: int = 0
    practice: bool = False
    fails: tuple[str, ...] = ()

    @property
    def waits(self) -> str:
        """What it waits for, in words; "" for nothing."""
        return "; ".join(words for _, words in self.waiting)

    def as_dict(self) -> dict[str, Any]:
        """The head as plain JSON values."""
        return {
            **{one.name: getattr(self, one.name) for one in fields(self)},
            "parts": list(self.parts),
            "fails": list(self.fails),
            "waiting": [list(one) for one in self.waiting],
        }


WORDED = ("last_words", "told_words")
"""Fields in a program's own words: another version may say the same otherwise."""
_SHOWN = (
    "title",
    "serial",
    "owner",
    "complaint",
    "board",
    "package_id",
    "state",
    "waiting",
    "parts",
    "wires",
    "practice",
    "fails",
)


def head_from(values: dict[str, Any]) -> Head:
    """The head of plain JSON values; fields that it does not know are left out."""
    known = {one.name for one in fields(Head)}
    kept = {name: value for name, value in values.items() if name in known}
    waiting = tuple((str(entry), str(words)) for entry, words in kept.get("waiting", ()))
    return Head(
        **{**kept, "parts": tuple(kept.get("parts", ())), "fails": tuple(kept.get("fails", ())), "waiting": waiting}
    )


def head_of(entries: Iterable[Entry]) -> Head:
    """The head of a whole log. Entries may come in any order and more than once.

    >>> a = Entry("1", "c", "b", 1, 1, "", "2026-01-01T10:00:00Z", "2026-01-01T10:00:00Z", "", "case", 1, {"title": "Machine"})
    >>> b = Entry("2", "c", "b", 2, 2, "", "2026-01-01T10:05:00Z", "2026-01-01T10:05:00Z", "", "progress", 1, {"state": "ready"})
    >>> head = head_of([b, a])
    >>> head.title, head.state, head.entries, head.worked_s, head.last_words
    ('Machine', 'ready', 2, 300.0, 'progress: ready')
    """
    ordered = agreed_order(entries)
    by_id = {one.id: one for one in ordered}
    head = Head()
    for entry in ordered:
        head = _counted(head, entry, by_id.get(entry.undoes or ""))
    return _standing(head, ordered)


def grown(head: Head, entry: Entry, target: Entry | None, said: Callable[[], Sequence[Entry]]) -> Head:
    """The head after one more entry that comes last in the agreed order. ``target`` what it takes back, None where nothing;
    ``said`` gives the case's entries of the kinds ``STANDING`` and undo, this one with them: asked only when they are needed."""
    head = _counted(head, entry, target)
    if entry.kind != "undo":
        return _shown(head, entry)
    if target is not None and target.kind in (*STANDING, "undo"):
        return _standing(head, agreed_order(said()))
    return head


def _counted(head: Head, entry: Entry, target: Entry | None) -> Head:
    """What every entry counts for, taken back or not."""
    words = entry_line(entry) + (f": {entry_line(target)}" if target is not None else "")
    return replace(
        head,
        entries=head.entries + 1,
        place=max(head.place, entry.lamport),
        opened_at=head.opened_at or entry.observed_at,
        last_at=entry.observed_at,
        recorded_at=max(head.recorded_at, entry.recorded_at),
        last_kind=entry.kind,
        last_words=words[:LONGEST],
        worked_s=head.worked_s + worked_s(head.last_at, entry.observed_at),
        told_words=head.told_words if entry.kind in BOOKKEEPING else words[:LONGEST],
    )


def _standing(head: Head, ordered: Sequence[Entry]) -> Head:
    """The head with what it shows made anew from the entries that count."""
    gone, blank = undone_ids(ordered), Head()
    head = replace(head, **{name: getattr(blank, name) for name in _SHOWN})
    for entry in ordered:
        if entry.id not in gone and entry.kind in STANDING:
            head = _shown(head, entry)
    return head


def _shown(head: Head, entry: Entry) -> Head:
    """What an entry that counts changes of what the head shows."""

    def text(name: str) -> str:
        return str(entry.payload.get(name) or "")[:LONGEST]

    if entry.kind == "case":
        return replace(
            head, title=text("title"), serial=text("serial"), owner=text("owner"), complaint=text("complaint")
        )
    if entry.kind == "board":
        return replace(head, board=text("title") or text("package"), package_id=text("package_id"))
    if entry.kind == "progress":
        return replace(head, state=text("state"))
    if entry.kind == "waits":
        return replace(head, waiting=(*head.waiting, (entry.id, _waits_words(entry))))
    if entry.kind == "waited":
        return replace(head, waiting=tuple(one for one in head.waiting if one[0] != entry.payload.get("entry")))
    if entry.kind == "test":
        return replace(head, fails=_failing(head.fails, text("item"), text("result")))
    if entry.kind in _MENDING and _ends_tests(entry):
        head = replace(head, fails=())
    if entry.kind == "patch":
        return replace(head, wires=head.wires + 1)
    if entry.kind == "practice":
        return replace(head, practice=True)
    part = _went_in(entry)
    return replace(head, parts=(*head.parts, part)) if part else head


def _ends_tests(entry: Entry) -> bool:
    """As ``fold.ends_tests``; an entry of a newer Coppermend that cannot be read as it is counts as a repair."""
    try:
        return ends_tests(entry.kind, flows_solder(entry), bool(entry.payload.get("trial")))
    except (TypeError, ValueError, AttributeError):
        return True


def _failing(fails: tuple[str, ...], name: str, result: str) -> tuple[str, ...]:
    """The functions that fail after one more test of one of them; names are compared without regard to case and spaces."""
    others = tuple(one for one in fails if _key(one) != _key(name))
    return (*others, name) if result == "fails" else others


def _key(name: str) -> str:
    return " ".join(name.split()).lower()


def _went_in(entry: Entry) -> str:
    """The part that went in by an act, in words; "" where none did or it was for a try."""
    payload, part = entry.payload, str(entry.payload.get("part") or "")[:LONGEST]
    if entry.kind == "swap" and not payload.get("trial") and part:
        into = str(payload.get("with") or "")[:LONGEST]
        return f"{part} exchanged{f' with {into}' if into else ''}"
    return f"{part} replaced" if entry.kind == "fit" and payload.get("state") == "replaced" and part else ""


def _waits_words(entry: Entry) -> str:
    """What the machine waits for."""
    what, words, until = (str(entry.payload.get(name) or "")[:LONGEST] for name in ("what", "words", "until"))
    said = words if not what or words.startswith(what) else f"{what}: {words}"
    return said + (f", until {until}" if until else "")


def entry_line(entry: Entry) -> str:
    """An entry in words; its kind alone where a newer Coppermend wrote it."""
    try:
        return entry_words(entry)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError):
        return entry.kind


def worked_s(before: str, after: str) -> float:
    """Seconds from one entry to the next; 0 over a gap longer than ``REST_S``, for a clock that was set back, and where a time cannot be read.

    >>> worked_s("2026-01-01T10:00:00Z", "2026-01-01T10:05:00Z"), worked_s("2026-01-01T10:00:00Z", "2026-01-01T11:00:00Z"), worked_s("", "x")
    (300.0, 0.0, 0.0)
    """
    try:
        gap = (datetime.fromisoformat(after) - datetime.fromisoformat(before)).total_seconds()
    except (ValueError, TypeError):
        return 0.0
    return gap if 0.0 < gap <= REST_S else 0.0


def best_hit(entries: Iterable[Entry], groups: Sequence[Sequence[str]]) -> Entry | None:
    """The entry that says most of what was searched for, of several the first; None where none says any. ``groups``: for each term the words it stands for.

    What a line of the list shows anyway (the case's opening) comes after all that says as much.
    """
    best, most = None, (0, False)
    for entry in agreed_order(entries):
        said = terms_of(entry)
        count = sum(any(word in said for word in group) for group in groups)
        worth = (count, entry.kind != "case")
        if count and worth > most:
            best, most = entry, worth
    return best
