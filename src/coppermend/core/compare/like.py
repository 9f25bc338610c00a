"""Readings of like pins against each other, and against earlier readings of the same pins. Diode mode in volt, ohms by their logarithm."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coppermend.core.compare.outliers import LEAST, grubbs_limit, outliers

ALPHA = 0.01
"""Chance of calling one of a group of sound pins odd. A choice, adjustable."""
DIODE_FLOOR_V, OHM_FLOOR = 0.004, 0.02
"""Spread of repeated readings with a hand-held meter, volt in diode mode and share of the ohms: an assumption."""
DIODE_LEAST_V, OHM_LEAST = 0.03, 0.2
"""Less than this, volt or share of the ohms, is not called odd, however alike the others are: junctions of one chip differ that much (an assumption)."""
SHORT_V, SHORT_OHM = 0.03, 2.0
"""Below this a pin is as good as joined to the reference."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One reading of a pin against a reference: ``kind`` diode or ohms, ``value`` volt or ohm (None: overload), ``red`` whether the red tip was on the pin,
    ``like`` what pins it is compared with, ``states`` the parts' states then."""

    pin: str
    net: str
    kind: str
    value: float | None
    reference: str
    red: bool
    like: tuple[str, ...] = ()
    entry: str = ""
    at: int = 0
    states: tuple[tuple[str, str], ...] = ()

    @property
    def key(self) -> tuple[str, str, str, bool]:
        """What must be the same for two readings to be of one thing."""
        return self.pin, self.kind, self.reference, self.red


@dataclass(frozen=True, slots=True)
class Member:
    """A pin of a group: its value, the other board's where there is one, odd or not and why. ``p`` chance of as odd a one among sound pins, None where
    it was told by counting (overload among values) or by a limit alone."""

    pin: str
    net: str
    value: float | None
    other: float | None
    odd: bool
    p: float | None
    words: str
    entry: str
    at: int
    differs: bool = False
    """Read otherwise on another board, without anything that says which of the two is odd."""


@dataclass(frozen=True, slots=True)
class Group:
    """Like pins, or the pins that two boards share. ``middle`` the median and ``spread`` the standard deviation of the numbers (of logarithms for ohms);
    ``limit`` Grubbs' limit, None where there are too few; ``words`` what was said of the whole."""

    name: str
    kind: str
    reference: str
    red: bool
    members: tuple[Member, ...]
    middle: float | None
    spread: float | None
    limit: float | None
    words: str

    @property
    def odd(self) -> tuple[Member, ...]:
        """The odd ones."""
        return tuple(one for one in self.members if one.odd)

    @property
    def differ(self) -> tuple[Member, ...]:
        """Those that are read otherwise on the other board, though nothing says that this one is odd."""
        return tuple(one for one in self.members if one.differs)


def stem_of(name: str) -> str:
    """A pin's or net's name without its numbers: pins of one stem do like work.

    >>> stem_of("D7"), stem_of("1Y3"), stem_of("/CS")
    ('D#', '#Y#', '/CS')
    """
    return re.sub(r"\d+", "#", name)


def like_groups(rows: Sequence[Measured], alpha: float = ALPHA) -> tuple[Group, ...]:
    """Every group of like pins of which two or more were read, the latest reading of each pin.

    >>> rows = [Measured(f"U1.{k}", f"D{k}", "diode", v, "GND", False, ("U1 D#",)) for k, v in enumerate((0.6, 0.602, 0.598, 0.2, 0.601, 0.6))]
    >>> [one.pin for one in like_groups(rows)[0].odd]
    ['U1.3']
    """
    last = {one.key: one for one in rows}
    groups: dict[tuple[str, str, str, bool], list[Measured]] = {}
    for one in last.values():
        for name in one.like:
            groups.setdefault((name, one.kind, one.reference, one.red), []).append(one)
    found, seen = [], set()
    for (name, kind, reference, red), own in groups.items():
        nets = {one.net: one for one in own}
        own = [one for one in own if nets[one.net] is one]
        members = frozenset(one.key for one in own)
        if len(own) >= 2 and members not in seen:
            seen.add(members)
            found.append(_group(name, kind, reference, red, own, alpha))
    return tuple(found)


def against(rows: Sequence[Measured], others: Sequence[Measured], name: str, alpha: float = ALPHA) -> tuple[Group, ...]:
    """The pins that both boards have, by what was read and how; odd is what differs otherwise than the rest does (two meters differ alike everywhere)."""
    there = {one.key: one for one in others}
    last = {one.key: one for one in rows if one.key in there}
    groups: dict[tuple[str, str, bool], list[tuple[Measured, Measured]]] = {}
    for key, one in last.items():
        groups.setdefault((one.kind, one.reference, one.red), []).append((one, there[key]))
    return tuple(
        _compared(f"{name}: {kind}", kind, reference, red, pairs, alpha)
        for (kind, reference, red), pairs in groups.items()
    )


def between(
    rows: Sequence[Measured], boards: Sequence[tuple[str, Sequence[Measured]]], alpha: float = ALPHA
) -> tuple[Group, ...]:
    """A board against others of which nobody knows whether they are sound, one group for each and each way of reading.

    A difference is between two boards. It is this one's oddity where its own like pins say so, or where a third board reads as the other one does; the
    other's where its like pins say so or a third reads as this one does; else it stands as a difference (``Member.differs``).

    >>> rows = [Measured(f"U1.{k}", f"D{k}", "diode", v, "GND", False) for k, v in enumerate((0.6, 0.6, 0.6, 0.2))]
    >>> sound = [Measured(f"U1.{k}", f"D{k}", "diode", 0.6, "GND", False) for k in range(4)]
    >>> [[one.pin for one in group.odd] for group in between(rows, [("one", sound)])]
    [[]]
    >>> [[one.pin for one in group.odd] for group in between(rows, [("one", sound), ("two", sound)])]
    [['U1.3'], ['U1.3']]
    """
    mine = set(pooled(like_groups(rows, alpha)))
    odd_there = [set(pooled(like_groups(theirs, alpha))) for _, theirs in boards]
    apart = [against(rows, theirs, name, alpha) for name, theirs in boards]
    away = [{(g.kind, m.pin) for g in groups for m in g.odd} for groups in apart]
    shared = [{(g.kind, m.pin) for g in groups for m in g.members} for groups in apart]
    found: list[Group] = []
    for k, (name, theirs) in enumerate(boards):
        thirds = [j for j in range(len(boards)) if j != k]
        for group in apart[k]:
            members = []
            for one in group.members:
                key = (group.kind, one.pin)
                if one.odd:
                    agree = [boards[j][0] for j in thirds if key in shared[j] and key not in away[j]]
                    as_there = [
                        boards[j][0]
                        for j in thirds
                        if key in away[j]
                        and key
                        not in {(g.kind, m.pin) for g in against(theirs, boards[j][1], "", alpha) for m in g.odd}
                    ]
                    one = _whose(one, name, one.pin in mine, one.pin in odd_there[k], agree, as_there)
                members.append(one)
            odd = sum(m.odd for m in members)
            differ = sum(m.differs for m in members)
            words = group.words if not group.odd else f"{odd} odd, {differ} only different, of {len(members)} values"
            found.append(replace(group, members=tuple(members), words=words))
    return tuple(found)


def _whose(one: Member, name: str, mine: bool, theirs: bool, agree: Sequence[str], as_there: Sequence[str]) -> Member:
    """A difference between this board and ``name``: whose it is. ``mine``, ``theirs`` odd among the like pins of its own board; ``agree`` boards that read as
    this one, ``as_there`` that read as the other."""
    if mine and not theirs:
        return replace(one, words=f"{one.words}; odd among its like pins here, too")
    if theirs and not mine:
        return replace(one, odd=False, words=f"{one.words}; there it is the odd one among its like pins")
    if as_there and not agree:
        return replace(one, words=f"{one.words}; {as_there[0]} reads as there")
    if agree and not as_there:
        return replace(one, odd=False, words=f"{one.words}; {agree[0]} reads as here")
    words = f"{one.words}: a difference between the two; its like pins or a third board must say which is odd"
    return replace(one, odd=mine, differs=not mine, words=words)


def _scaled(kind: str, value: float) -> float:
    return value if kind == "diode" else math.log(max(value, 1e-3))


def _limits(kind: str) -> tuple[float, float]:
    return (DIODE_FLOOR_V, DIODE_LEAST_V) if kind == "diode" else (OHM_FLOOR, math.log1p(OHM_LEAST))


def _group(name: str, kind: str, reference: str, red: bool, rows: Sequence[Measured], alpha: float) -> Group:
    known = [one for one in rows if one.value is not None]
    values = [_scaled(kind, one.value) for one in known if one.value is not None]
    odd = _odd(values, kind, alpha)
    said: dict[str, tuple[float | None, str]] = {}
    for k, p in odd.items():
        others = [v for i, v in enumerate(values) if i not in odd]
        said[known[k].pin] = (p, _how(known[k], float(np.median(others)), kind))
    for one in rows:
        word = _counted(one, rows)
        if word:
            said[one.pin] = (None, word)
    members = tuple(
        Member(one.pin, one.net, one.value, None, one.pin in said, *said.get(one.pin, (None, "")), one.entry, one.at)
        for one in rows
    )
    return Group(name, kind, reference, red, members, *_numbers(values, kind, alpha), _whole(len(values), len(said)))


def _compared(
    name: str, kind: str, reference: str, red: bool, pairs: Sequence[tuple[Measured, Measured]], alpha: float
) -> Group:
    known = [(a, b) for a, b in pairs if a.value is not None and b.value is not None]
    values = [_scaled(kind, a.value or 0.0) - _scaled(kind, b.value or 0.0) for a, b in known]
    odd = _odd(values, kind, alpha) if len(values) >= LEAST else _far(values, kind)
    said: dict[str, tuple[float | None, str]] = {}
    for k, p in odd.items():
        here, there = known[k]
        said[here.pin] = (p, f"{_value(here)} here, {_value(there)} there")
    for here, there in pairs:
        if (here.value is None) != (there.value is None):
            said[here.pin] = (None, f"{_value(here)} here, {_value(there)} there")
    members = tuple(
        Member(a.pin, a.net, a.value, b.value, a.pin in said, *said.get(a.pin, (None, "")), a.entry, a.at)
        for a, b in pairs
    )
    return Group(name, kind, reference, red, members, *_numbers(values, kind, alpha), _whole(len(values), len(said)))


def _odd(values: Sequence[float], kind: str, alpha: float) -> dict[int, float | None]:
    """Indices of the odd ones: beyond the statistic's limit and farther from the others' median than sound junctions differ."""
    floor, least = _limits(kind)
    found = outliers(values, alpha, floor)
    rest = [v for k, v in enumerate(values) if k not in {one.index for one in found}]
    return {one.index: one.p for one in found if abs(values[one.index] - float(np.median(rest))) >= least}


def _far(values: Sequence[float], kind: str) -> dict[int, float | None]:
    """Too few for a statistic: three times what sound ones differ."""
    return {k: None for k, v in enumerate(values) if abs(v) >= 3.0 * _limits(kind)[1]}


def _counted(one: Measured, rows: Sequence[Measured]) -> str:
    """Overload where two others or more show a value, or the reverse; most of them must be the other way."""
    open_ = sum(row.value is None for row in rows)
    shown = len(rows) - open_
    if one.value is None and shown >= 2 and shown > open_:
        return f"overload, {shown} of {len(rows)} show a value: no path to the reference"
    if one.value is not None and open_ >= 2 and open_ > shown:
        return f"{_value(one)}, {open_} of {len(rows)} show overload"
    return ""


def _how(one: Measured, middle: float, kind: str) -> str:
    short = one.value is not None and one.value < (SHORT_V if kind == "diode" else SHORT_OHM)
    rest = f"{middle:.3f} V" if kind == "diode" else f"{math.exp(middle):.4g} ohm"
    return f"{_value(one)}, the others {rest}" + (": as good as joined to the reference" if short else "")


def _value(one: Measured) -> str:
    if one.value is None:
        return "overload"
    return f"{one.value:.3f} V" if one.kind == "diode" else f"{one.value:.4g} ohm"


def _numbers(values: Sequence[float], kind: str, alpha: float) -> tuple[float | None, float | None, float | None]:
    if not values:
        return None, None, None
    middle = float(np.median(values))
    spread = float(np.std(values, ddof=1)) if len(values) > 1 else None
    return middle, spread, grubbs_limit(len(values), alpha) if len(values) >= LEAST else None


def _whole(values: int, odd: int) -> str:
    if values < LEAST:
        return f"{values} values: too few for a statistic; read more of them"
    return f"{odd} odd among {values} values" if odd else f"{values} values, none odd"


def pooled(groups: Sequence[Group]) -> Mapping[str, Member]:
    """The odd pins of all groups, each once, the least likely reason kept."""
    found: dict[str, Member] = {}
    for group in groups:
        for one in group.odd:
            old = found.get(one.pin)
            if old is None or (one.p is not None and (old.p is None or one.p < old.p)):
                found[one.pin] = one
    return found
