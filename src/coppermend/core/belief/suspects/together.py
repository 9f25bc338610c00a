"""Readings that do not lie, or rest, each by itself: looks at one net that rests, and beeps that share a place of the tip.

A net that rests at a level nobody can foretell (``STEADY``), or that moves or rests as the program has it (a loose one), has *one* level: a second look at it
shows the same again and tells nothing new. So its looks share a hidden level L: P(looks | set) = sum over L of P(L) times the product of P(look | L).
The same holds for the places of a net that nothing drives, of one kind and looked at with one instrument (``afloat``): how they look is one hidden state,
a neighbour's pulses that pass for the line's own among them.
A place where a tip bites badly (oxide, flux, lacquer) gives one false open after the other: each place has a hidden state, bad or not, and two
opens through one place are not two readings (``Basis.contact_shares``, ``contact_false_open``; assumptions). Hidden states are summed out exactly; of one
net at most ``MOST_PLACES`` places are carried along, those with the most opens, the others lie each time anew.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.model import Basis
from coppermend.core.belief.suspects.afloat import ANY
from coppermend.core.belief.suspects.field import Block, Field, Floats, Ints
from coppermend.core.belief.suspects.table import (
    FLOATING,
    PULSING,
    WRONG,
    FaultTable,
    afloat_states,
    level_likelihood,
    read_afloat,
)

MOST_PLACES = 8
MOST_SPOTS = 12
"""Places of one net whose looks are taken together; further ones count by themselves."""
_FLOATS, _STEADY = 4, 5
_LEVELS = (0, 1, 2, 4)
"""Outcomes a resting net can have: low, high, pulsing, floating."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A look as it counts: ``spot`` index of its place, ``outcome`` index of ``OUTCOMES``, ``by`` what it was taken with (``afloat``), ``judged`` its pattern
    or frequency was compared."""

    spot: int
    outcome: int
    by: str = ANY
    judged: bool = False


def hidden_levels(table: FaultTable, loose: bool) -> Floats:
    """P(low, high, pulsing, floating) of a net that rests, before any look: what ``level_likelihood`` says of one look without its misreading, (4,).

    >>> [round(float(x), 3) for x in hidden_levels(FaultTable(), False)]
    [0.445, 0.445, 0.034, 0.075]
    """
    row = level_likelihood(table, False, loose)[2 if loose else _STEADY][list(_LEVELS)]
    e = table.misread
    found: Floats = (row - e / 3.0) / (1.0 - 4.0 * e / 3.0)
    return found


def read_levels(table: FaultTable) -> Floats:
    """P(outcome | hidden level), (4, 4): low, high, pulsing, floating."""
    e = table.misread
    made: Floats = np.full((4, 4), e / 3.0)
    np.fill_diagonal(made, 1.0 - e)
    return made


def resting_logs(table: FaultTable, loose: bool, counts: Sequence[int]) -> float:
    """Log P(so many looks saw low, high, pulsing, floating | one hidden level of a net that rests).

    >>> from math import exp
    >>> once, twice = (exp(resting_logs(FaultTable(), False, (n, 0, 0, 0))) for n in (1, 2))
    >>> round(once, 2), round(twice / once, 2)      # the second look finds what the first one found
    (0.44, 0.97)
    """
    return float(_hidden_logs(hidden_levels(table, loose), read_levels(table), np.array(counts)))


def _hidden_logs(hidden: Floats, read: Floats, counts: NDArray[np.int64]) -> Floats:
    """Log P(so many readings of each kind | one hidden state): ``hidden`` (states,), ``read`` (states, kinds), ``counts`` (..., kinds)."""
    logs = np.log(np.maximum(hidden, 1e-300)) + counts @ np.log(read).T
    found: Floats = np.logaddexp.reduce(logs, axis=-1)
    return found


def foretold(hidden: Floats, read: Floats, counts: Sequence[int]) -> Floats:
    """P(each kind of reading at the next look | what earlier looks at the same hidden state saw), (kinds,); ``hidden`` what it was before any look, (states,),
    ``read`` P(kind | state), (states, kinds)."""
    logs = np.log(np.maximum(hidden, 1e-300)) + np.log(read) @ np.array(counts)
    share = np.exp(logs - np.logaddexp.reduce(logs))
    found: Floats = share @ read
    return found


def counts_of(outcomes: Sequence[int]) -> tuple[int, int, int, int]:
    """How many looks saw low, high, pulsing (right or wrong), floating.

    >>> counts_of([0, 0, 2, 3, 4])
    (2, 0, 2, 1)
    """
    found = Counter(PULSING if one == WRONG else one for one in outcomes)
    return found[0], found[1], found[PULSING], found[FLOATING]


def afloat_counts(looks: Sequence[tuple[int, bool]]) -> tuple[int, ...]:
    """How many looks (outcome, judged) saw each of ``read_afloat``: low, high, pulsing not judged, judged right, judged wrong, floating.

    >>> afloat_counts([(0, False), (2, False), (2, True), (3, True), (4, True)])
    (1, 0, 1, 1, 1, 1)
    """
    found = Counter((outcome, judged and outcome == PULSING) for outcome, judged in looks)
    kinds = ((0, False), (1, False), (PULSING, False), (PULSING, True), (WRONG, False), (FLOATING, False))
    return tuple(found[kind] for kind in kinds)


def looks_extra(made: Field, block: Block, seen: Sequence[Seen]) -> Floats | None:
    """What the looks at one net say together beyond each by itself: log of the ratio, (sets,); None where they are independent.

    Only sets under which the net rests, or floats in one way, at two or more of the looks have a share in it.
    """
    if len(seen) < 2 or made.spots[seen[0].spot].rail:
        return None
    loose = made.spots[seen[0].spot].loose
    rests = np.zeros(8, np.int32)
    rests[_STEADY] = 1
    if loose:
        rests[:6] = 1
        rests[_FLOATS] = 0
    levels = _Hidden(
        hidden_levels(made.table, loose), read_levels(made.table), lambda rows: counts_of([r[0] for r in rows])
    )
    total = _shared(block, seen, rests, levels)
    floats = np.zeros(8, np.int32)
    floats[_FLOATS] = 1
    ways: dict[tuple[str, str], list[Seen]] = {}
    for one in seen:
        ways.setdefault((made.spots[one.spot].pull, one.by), []).append(one)
    for (pull, by), some in ways.items():
        if len(some) > 1:
            afloat = _Hidden(afloat_states(made.table, pull, by), read_afloat(made.table), afloat_counts)
            more = _shared(block, some, floats, afloat)
            if more is not None:
                total = more if total is None else total + more
    return total


@dataclass(frozen=True, slots=True)
class _Hidden:
    """A hidden state that looks share: its chances (states,), P(kind of reading | state), and how many of each kind some looks (outcome, judged) are."""

    hidden: Floats
    read: Floats
    counts: Callable[[Sequence[tuple[int, bool]]], Sequence[int]]


def _shared(block: Block, seen: Sequence[Seen], which: NDArray[np.int32], state: _Hidden) -> Floats | None:
    """Log of the ratio for the places whose symbol is one of ``which`` (8,): they share one hidden state."""
    by_spot: dict[int, list[tuple[int, bool]]] = {}
    for one in seen:
        by_spot.setdefault(one.spot, []).append((one.outcome, one.judged))
    places = list(by_spot)[:MOST_SPOTS]
    code = np.zeros(len(block.members), np.int32)
    for bit, k in enumerate(places):
        code += (which << bit)[block.symbols(k)]
    ratios = _ratios(state, [by_spot[k] for k in places])
    if not np.any(ratios):
        return None
    picked: Floats = ratios[code]
    return picked


def _ratios(state: _Hidden, looks: Sequence[Sequence[tuple[int, bool]]]) -> Floats:
    """For every subset of places that share the hidden state: log of together over each by itself, (2 ** places,)."""
    single = _hidden_logs(state.hidden, state.read, np.eye(state.read.shape[1], dtype=np.int64))
    bits = np.array(list(product((0, 1), repeat=len(looks))), dtype=np.int64)[:, ::-1]
    counts_by_subset = bits @ np.array([state.counts(rows) for rows in looks], dtype=np.int64)
    made: Floats = _hidden_logs(state.hidden, state.read, counts_by_subset) - counts_by_subset @ single
    made[counts_by_subset.sum(axis=1) < 2] = 0.0
    return made


# ---- millivolts along a net ----
def sink_logs(table: FaultTable, counts: Sequence[int]) -> Floats:
    """Log P(so many comparisons led to each pin, the last: to none | which of them it is), (answers,). A share of nets misleads to one wrong answer for good
    (``sink_lasting``), the rest of the errors come anew each time.

    >>> once, twice = (np.exp(sink_logs(FaultTable(), (0, n, 0)))[0] for n in (1, 2))
    >>> round(float(once), 4), round(float(twice / once), 2)      # the wrong pin again says little more
    (0.075, 0.44)
    """
    others = len(counts) - 1
    if others < 1:
        return np.zeros(len(counts))
    lasting = table.sink_misread * table.sink_lasting
    passing = (table.sink_misread - lasting) / (1.0 - lasting - lasting / others)
    seen = np.array(counts)
    led = seen * np.log1p(-passing) + (seen.sum() - seen) * np.log(passing / others)
    misled = np.array([np.logaddexp.reduce(np.delete(led, k)) for k in range(len(counts))])
    found: Floats = np.logaddexp(np.log1p(-lasting) + led, np.log(max(lasting, 1e-300) / others) + misled)
    return found


def sink_next(table: FaultTable, counts: Sequence[int]) -> Floats:
    """P(the next comparison leads to each | which it is, the comparisons so far), (answers, answers): rows which it is.

    >>> [[round(float(x), 3) for x in row] for row in sink_next(FaultTable(), (0, 0, 0))]
    [[0.85, 0.075, 0.075], [0.075, 0.85, 0.075], [0.075, 0.075, 0.85]]
    """
    before, more = sink_logs(table, counts), np.eye(len(counts), dtype=np.int64) + np.array(counts)
    found: Floats = np.exp(np.stack([sink_logs(table, row) for row in more.tolist()], axis=1) - before[:, None])
    return found


# ---- beeps ----
@dataclass(frozen=True, slots=True)
class Tone:
    """A continuity or isolation check: ``which`` causes decide it, its two places, whether it beeped; ``bridge`` joined is the fault, not open.

    ``behind``: for each of ``which`` the cuts that would part the tips from that bridge; empty where none would.
    """

    which: tuple[int, ...]
    place_a: tuple[str, int]
    place_b: tuple[str, int]
    closed: bool
    bridge: bool = False
    behind: tuple[tuple[int, ...], ...] = ()


def bad_share(basis: Basis) -> float:
    """How likely a tip bites badly at a place nobody knows.

    >>> round(bad_share(Basis()), 3)
    0.08
    """
    shares = basis.contact_shares
    return sum(s * w for s, w in shares) / sum(w for _, w in shares) if shares else basis.contact_bad


def tones_logs(made: Field, members: Ints, tones: Sequence[Tone]) -> Floats:
    """Log P(beeps | set), for every set: the places' hidden states are summed out. ``tones`` of one net, or of one pair of nets."""
    if not any(one.which for one in tones):
        return np.full(len(members), patterns_logs(made.table.copper, tones, np.zeros((1, len(tones)), np.bool_))[0])
    words = (len(tones) + 63) // 64
    masks = np.zeros((len(made.causes) + 1, words), np.uint64)
    for r, one in enumerate(tones):
        if not one.behind:
            masks[list(one.which), r // 64] |= np.uint64(1) << np.uint64(r % 64)
    codes: NDArray[np.uint64] = np.zeros((len(members), words), np.uint64)
    for column in range(members.shape[1]):
        codes |= masks[members[:, column]]
    for r, one in enumerate(tones):
        if one.behind:
            codes[held_by(members, one), r // 64] |= np.uint64(1) << np.uint64(r % 64)
    some = np.flatnonzero(codes.any(axis=1))
    kinds, at = np.unique(codes[some], axis=0, return_inverse=True)
    rows = np.concatenate([np.zeros((1, words), np.uint64), kinds])
    held = np.unpackbits(rows.view(np.uint8), axis=1, bitorder="little")[:, : len(tones)].astype(np.bool_)
    logs = patterns_logs(made.table.copper, tones, held)
    found: Floats = np.full(len(members), logs[0])
    found[some] = logs[1:][at.ravel()]
    return found


def held_by(members: Ints, tone: Tone) -> NDArray[np.int64]:
    """The sets (ascending indices) that hold a cause of a check, with no cut between it and the tips."""
    if not tone.behind:
        return np.flatnonzero(np.isin(members, np.array(tone.which, np.int32)).any(axis=1))
    found = [np.empty(0, np.int64)]
    for cause, cuts in zip(tone.which, tone.behind, strict=True):
        mine = np.flatnonzero((members == cause).any(axis=1))
        found.append(mine[~np.isin(members[mine], np.array(cuts, np.int32)).any(axis=1)] if cuts else mine)
    return np.unique(np.concatenate(found))


def patterns_logs(basis: Basis, tones: Sequence[Tone], held: NDArray[np.bool_]) -> Floats:
    """Log P(beeps | which of them cross a fault), (patterns,); ``held`` (patterns, beeps): a cause of that check is there.

    >>> basis = Basis(false_open=0.02, false_closed=0.002, contact_shares=((0.1, 1.0),), contact_false_open=0.3)
    >>> a, b, c = ("N", 0), ("N", 1), ("N", 2)
    >>> whole = np.zeros((1, 2), bool)
    >>> same = patterns_logs(basis, [Tone((), a, b, False), Tone((), a, c, False)], whole)[0]
    >>> once = patterns_logs(basis, [Tone((), a, b, False)], whole[:, :1])[0]
    >>> round(float(np.exp(once)), 3), round(float(np.exp(same - once)), 2)     # a second open through the same place says less
    (0.078, 0.17)
    """
    share, miss = bad_share(basis), basis.contact_false_open
    opens: Counter[tuple[str, int]] = Counter()
    uses: Counter[tuple[str, int]] = Counter()
    for one in tones:
        for place in {one.place_a, one.place_b}:
            uses[place] += 1
            opens[place] += not one.closed
    shared = [place for place, _ in opens.most_common() if uses[place] > 1][:MOST_PLACES]
    bits = np.array(list(product((0.0, 1.0), repeat=len(shared)))).reshape(2 ** len(shared), len(shared))
    prior = np.log(share) * bits.sum(axis=1) + np.log1p(-share) * (1.0 - bits).sum(axis=1) if share > 0 else None
    if prior is None:
        bits, prior, shared = np.zeros((1, 0)), np.zeros(1), []
    conducts = np.empty((len(bits), len(tones)))
    for r, one in enumerate(tones):
        through = np.full(len(bits), 1.0 - basis.false_open)
        for place in {one.place_a, one.place_b}:
            through = through * (1.0 - miss * (bits[:, shared.index(place)] if place in shared else share))
        conducts[:, r] = through
    closed = np.array([one.closed for one in tones])
    joined = np.log(np.where(closed, conducts, 1.0 - conducts))
    parted = np.log(np.where(closed, basis.false_closed, 1.0 - basis.false_closed))
    way = held ^ np.array([not one.bridge for one in tones])
    total = joined @ way.T.astype(np.float64) + ((~way) @ parted)[None, :]
    found: Floats = np.logaddexp.reduce(total + prior[:, None], axis=0)
    return found


def false_open_now(basis: Basis, tones: Sequence[Tone], next_one: Tone) -> float:
    """P(the next check reads open | its tips are joined, as those of the checks so far were): near ``contact_false_open`` where its place read open before."""
    more = [*tones, next_one]
    joined = np.array([[one.bridge for one in more]])
    before = patterns_logs(basis, tones, joined[:, :-1])[0] if tones else 0.0
    return float(np.exp(patterns_logs(basis, more, joined)[0] - before))
