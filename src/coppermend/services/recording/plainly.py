"""A case in plain words for the machine's owner: what was wrong, what was done, what is left; and the parts and minutes that went into it. Pure."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from coppermend.core.log.state import Act, CaseState, TimelineItem
from coppermend.services.acceptance import UNTESTED, Acceptance
from coppermend.services.carework import care_owned, seconds_between
from coppermend.services.heads import REST_S
from coppermend.services.recording.eyes import Eyed, ended, seen_left, seen_wrong
from coppermend.services.recording.model import BreakRow, OhmsRow, WireRow

_PART = re.compile(r"\b[A-Z]{1,3}\d{1,4}\b")
_DONE = {
    "solder": "Solder joints renewed",
    "clean": "Cleaned",
    "reseat": "Taken out of the socket and pressed in again",
    "swap": "Exchanged",
    "remove": "Taken out",
    "fit": "Fitted",
}
"""What an act is called to somebody who did not do it; looks, taps and presses are readings to the owner, not work."""
_OVER = 1
"""Parts named beside a count: one more is worth a line of its own."""
MOST_NAMED = 12


@dataclass(frozen=True, slots=True)
class Plainly:
    """Sentences for the owner, and rows (what, how much) of parts and time."""

    wrong: tuple[str, ...]
    done: tuple[str, ...]
    left: tuple[str, ...]
    used: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Judged:
    """What the record's rows say, so that both editions count the same things."""

    breaks: tuple[BreakRow, ...]
    open_breaks: int
    ohms: tuple[OhmsRow, ...]
    wires: tuple[WireRow, ...]
    proven_wires: int
    bridges: tuple[tuple[str, str], ...]
    not_proven: int
    checks_left: int
    parted: int
    eyed: tuple[Eyed, ...] = ()
    """What was seen at the board."""


NO_FAULT = "No fault has been found so far."


def plainly(state: CaseState, judged: Judged, accepted: Acceptance) -> Plainly:
    """The case for its owner."""
    return Plainly(
        tuple(_wrong(state, judged)) or (NO_FAULT,),
        tuple(_done(state, judged)),
        tuple(_left(state, judged, accepted)),
        tuple(_used(state)),
    )


def parts_in(words: str) -> tuple[str, ...]:
    """Parts that a sentence names, in its order.

    >>> parts_in("between U9.5, solder side and the via near U12")
    ('U9', 'U12')
    """
    return tuple(dict.fromkeys(_PART.findall(words)))


def _wrong(state: CaseState, judged: Judged) -> Iterable[str]:
    for one in judged.breaks:
        near = parts_in(one.words)
        place = f" near {_and(near)}" if near else ""
        yield f"A connection on the board was broken{place}."
    for a, b in judged.bridges:
        yield f"Two connections touch that belong apart: {a} and {b}."
    for row in judged.ohms:
        if row.kind != "short":
            yield f"A connection carries current badly: {row.nets}."
    yield from seen_wrong(state, judged.eyed)
    for act in state.acts:
        if act.kind in ("swap", "reseat", "clean") and act.effect == "cured" and act.part:
            yield f"{act.part} was at fault, or its contact in the socket: {_DONE[act.kind].lower()}, and the fault was gone."
    gone = list(dict.fromkeys(n.words for n in state.notes if n.kind == "symptom" and n.result == "gone" and n.words))
    if gone:
        yield f"Seen before, and no more: {ended('; '.join(gone))}"


def _done(state: CaseState, judged: Judged) -> Iterable[str]:
    count = sum(one.kind in ("closed", "open", "ohms") for one in state.readings)
    if count:
        yield f"{count} {'connection was' if count == 1 else 'connections were'} measured from end to end."
    if judged.wires:
        proven = f"; {judged.proven_wires} of them measured afterwards and good" if judged.proven_wires else ""
        yield f"{_some(len(judged.wires), 'wire')} fitted in place of broken copper{proven}."
    if state.cuts:
        yield f"{_some(len(state.cuts), 'track')} cut on purpose."
    for kind, words in _DONE.items():
        told = _acts([one for one in state.acts if one.kind == kind and not one.trial])
        if told:
            yield f"{words}: {told}."
    for work, done in care_owned(state.care):
        yield f"{work}: {_and(done) if done else 'begun'}."
    if state.power_ups:
        last = state.power_ups[-1]
        seen = "; ".join(filter(None, (" ".join(filter(None, (s.screen, s.sound, s.words))) for s in last.seen)))
        yield f"Switched on {_some(len(state.power_ups), 'time')}{f'; the last time: {ended(seen)}' if seen else '.'}"


def _acts(acts: Sequence[Act]) -> str:
    """The parts (or places) that acts were done to, the most named first.

    Cleaning or soldering at places without a part is counted.
    """
    parts = Counter(part for act in acts for part in ([act.part] if act.part else sorted({p.part for p in act.points})))
    names = [f"{part} ({n} times)" if n > _OVER else part for part, n in parts.items() if part]
    places = parts.get("", 0)
    if places or (acts and not parts):
        names.append(_some(max(places, 1), "place"))
    more = len(names) - MOST_NAMED
    return _and([*names[:MOST_NAMED], *([_some(more, "more")] if more > 0 else [])])


def _left(state: CaseState, judged: Judged, accepted: Acceptance) -> Iterable[str]:
    if judged.open_breaks:
        yield f"{_some(judged.open_breaks, 'broken connection')} not mended yet."
    if judged.parted:
        yield f"{_some(judged.parted, 'connection')} cut on purpose and not joined again yet."
    if judged.bridges:
        yield "A bridge between two connections has to be found before the machine is switched on."
    yield from seen_left(judged.eyed)
    unproven = len(judged.wires) - judged.proven_wires
    if unproven:
        yield f"{_some(unproven, 'wire')} not measured yet after fitting."
    if judged.checks_left:
        yield f"{_some(judged.checks_left, 'measurement')} still to be made round the places that were worked on."
    if judged.not_proven:
        yield f"{_some(judged.not_proven, 'place')} could not be proven by measuring."
    fails = [one.name for one in accepted.functions if one.result == "fails"]
    if fails:
        yield f"Does not work: {_and(fails)}."
    untested = [one.name for one in accepted.functions if one.result == UNTESTED]
    if not state.power_ups:
        yield "The machine has not been switched on in this repair."
    elif untested:
        yield f"Not tested: {_and(untested)}."
    standing = [n.words for n in state.notes if n.kind == "symptom" and n.result != "gone" and n.words]
    for words in dict.fromkeys(standing):
        if not any(n.words == words and n.result == "gone" for n in state.notes):
            yield f"Still seen: {ended(words)}"


def _used(state: CaseState) -> Iterable[tuple[str, str]]:
    """Parts that went in and the time at the bench."""
    for act in state.acts:
        if act.kind == "swap" and not act.trial and act.part:
            into = f" with {act.chip_in}" if act.chip_in else ""
            yield f"{act.part} exchanged{into}", "1"
        elif act.kind == "fit" and act.state == "replaced" and act.part:
            yield f"{act.part} replaced", "1"
    wires = state.wires
    if wires:
        known = [one.length_mm for one in wires if one.length_mm is not None]
        length = f", {sum(known):.0f} mm" if known else ""
        left_out = len(wires) - len(known)
        yield "Patch wire", f"{len(wires)}{length}{f' ({left_out} without a length)' if known and left_out else ''}"
    yield from _waited(state)
    minutes = bench_minutes(state.timeline)
    if minutes:
        yield (
            f"At the bench, gaps of more than {REST_S / 60:.0f} minutes between entries left out",
            f"{minutes:.0f} min",
        )


def _waited(state: CaseState) -> Iterable[tuple[str, str]]:
    """What the case waited for and how long; until the log's last entry for what it still waits for."""
    last = state.timeline[-1].observed_at if state.timeline else ""
    for one in state.waits:
        days = max(0.0, seconds_between(one.observed_at, one.ended_at or last)) / 86400.0
        what = f"{one.what}: {one.words}" if one.words else one.what
        yield (
            f"{'Waited' if one.ended_at else 'Waits still'} for {what}",
            f"{days:.0f} days" if days >= 1.5 else "1 day" if days >= 0.5 else "less than a day",
        )


def bench_minutes(items: Sequence[TimelineItem]) -> float:
    """Minutes between entries, without gaps longer than ``REST_S``; a clock that was set back counts nothing.

    >>> at = lambda t: TimelineItem("", 0, 1, "", "closed", f"2026-01-01T{t}Z", "", "", False)
    >>> bench_minutes([at("10:00:00"), at("10:05:00"), at("11:00:00"), at("11:01:30")])
    6.5
    """
    gaps = (seconds_between(a.observed_at, b.observed_at) for a, b in pairwise(items))
    return sum(gap for gap in gaps if 0.0 < gap <= REST_S) / 60.0


def _some(count: int, one: str) -> str:
    """A count with its noun.

    >>> _some(1, "wire"), _some(3, "place"), _some(2, "more")
    ('1 wire', '3 places', '2 more')
    """
    return f"{count} {one}" if count == 1 or one == "more" else f"{count} {one}s"


def _and(names: Sequence[str]) -> str:
    """Names in a row.

    >>> _and(["U1"]), _and(["U1", "U2", "U3"])
    ('U1', 'U1, U2 and U3')
    """
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))
