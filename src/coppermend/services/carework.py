"""Cleaning and protection as it was done: rows for the record, from the ticks of a case."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from coppermend.core.log.state import CareTick
from coppermend.core.rework.care import PROCEDURES, Procedure


def care_rows(ticks: Sequence[CareTick]) -> tuple[tuple[str, str, str, str], ...]:
    """(piece of work, step, how it stands with the time it took, what was said), steps in the order of the procedure; the last tick of a step counts."""
    rows = []
    for key in dict.fromkeys(one.procedure for one in ticks):
        work = PROCEDURES.get(key)
        mine = [one for one in ticks if one.procedure == key]
        order = [step.key for step in work.steps] if work else []
        steps = sorted(
            dict.fromkeys(one.step for one in mine), key=lambda s: order.index(s) if s in order else len(order)
        )
        for step in steps:
            its = [one for one in mine if one.step == step]
            words = "; ".join(one.words for one in its if one.words)
            known = next((one for one in work.steps if one.key == step), None) if work else None
            photo = "photo kept" if any(one.sha256 for one in its) else ""
            if not photo and known is not None and known.photo and its[-1].state == "done":
                photo = "photo asked for, none kept"
            rows.append((work.title if work else key, step, _stands(its), "; ".join(filter(None, (words, photo)))))
    return tuple(rows)


def care_told(ticks: Sequence[CareTick]) -> tuple[tuple[str, str, str, str], ...]:
    """``care_rows`` as a reader without the program takes them: each step with what it is, what to mind there, and its source."""
    titles = {one.title: one for one in PROCEDURES.values()}
    return tuple(
        (title, _step_told(titles.get(title), step), stands, said) for title, step, stands, said in care_rows(ticks)
    )


OWNED = {
    "cell": {
        "before": "photographed as found",
        "out": "the cell taken out",
        "brush": "deposits brushed off",
        "neutralise": "what had leaked neutralised",
        "rinse": "rinsed with water",
        "alcohol": "rinsed with alcohol",
        "dry": "dried",
        "look": "every track there looked at under the lens",
        "area": "every track there put down for measuring",
        "protect": "bare copper covered",
    },
    "land": {
        "before": "photographed as found",
        "clean": "cleaned",
        "bond": "the land glued down again",
        "cure": "the glue left to harden",
        "wire": "a wire led past it",
        "prove": "measured afterwards",
        "protect": "bare copper covered",
    },
    "barrel": {
        "clean": "the hole cleared",
        "both": "soldered on both sides",
        "round": "a wire led round it",
        "prove": "measured afterwards",
    },
    "mask": {
        "proven": "the place measured first",
        "clean": "cleaned",
        "coat": "coated",
        "cure": "the coat left to harden",
        "after": "measured and photographed afterwards",
    },
    "short": {
        "drop": "the place found by measuring",
        "warm": "the place looked for by its warmth",
        "free": "the joined copper parted",
        "prove": "measured afterwards",
    },
    "removal": {
        "look": "photographed before",
        "shield": "what stands near protected from heat",
        "preheat": "the board warmed gently",
        "joints": "all joints melted",
        "free": "the part lifted out",
        "wick": "the holes cleaned",
        "round": "the connections there put down for measuring",
    },
}
"""What a step that was done is to the machine's owner, by procedure and step; what only guards the work (gloves, power off) is left out."""


def owned(procedure: str, step: str) -> str:
    """What a step is to the machine's owner, the step's name where that is nothing to be told.

    >>> owned("cell", "before"), owned("cell", "guard")
    ('photographed as found', 'guard')
    """
    return OWNED.get(procedure, {}).get(step, step)


def care_owned(ticks: Sequence[CareTick]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """(piece of work, what was done) for the machine's owner: the steps done, in the order of the procedure; () where none of them is work to be told.

    >>> def ticked(step): return CareTick("", 1, "cell", step, "done", "", "", "2026-11-26T10:00:00Z")
    >>> care_owned([ticked("rinse"), ticked("guard"), ticked("neutralise")])
    (('After a leaked cell', ('what had leaked neutralised', 'rinsed with water')),)
    """
    found: list[tuple[str, tuple[str, ...]]] = []
    for key in dict.fromkeys(one.procedure for one in ticks):
        mine = tuple(one for one in ticks if one.procedure == key)
        rows = [row for row in care_rows(mine) if row[2].startswith("done")]
        if rows:
            words = OWNED.get(key, {})
            found.append((rows[0][0], tuple(words[step] for _, step, _, _ in rows if step in words)))
    return tuple(found)


def _step_told(work: Procedure | None, key: str) -> str:
    known = next((one for one in work.steps if one.key == key), None) if work else None
    if known is None:
        return key
    mind = f" Mind: {' '.join(known.mind)}" if known.mind else ""
    return f"{key}: {known.words}{mind} [{known.source}]"


def _stands(ticks: Sequence[CareTick]) -> str:
    """How a step stands, with the time from its start where it was started."""
    last = ticks[-1]
    began = next((one.observed_at for one in reversed(ticks[:-1]) if one.state == "started"), "")
    when = clock_words(last.observed_at)
    if last.state != "done" or not began:
        return f"{last.state}, {when}"
    return f"{last.state}, {when}, after {span_words(seconds_between(began, last.observed_at))}"


def clock_words(when: str) -> str:
    """A time as the log writes it, to the minute, in UTC.

    >>> clock_words("2026-11-26T00:44:15.120Z")
    '2026-11-26 00:44'
    """
    return when[:16].replace("T", " ")


def seconds_between(start: str, end: str) -> float:
    """Seconds between two times as the log writes them."""
    one, two = (datetime.fromisoformat(text.replace("Z", "+00:00")) for text in (start, end))
    return (two - one).total_seconds()


def span_words(seconds: float) -> str:
    """A time span as a person says it.

    >>> span_words(5400.0), span_words(40.0)
    ('1.5 h', '1 min')
    """
    return f"{seconds / 3600:.1f} h" if seconds >= 3600 else f"{max(seconds / 60, 1):.0f} min"
