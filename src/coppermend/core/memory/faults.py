"""What each way of failing makes of a word: its likelihood on every visit of a test.

Fault models after A. J. van de Goor, "Using March Tests to Test SRAMs", IEEE Design & Test of Computers 10(1), 1993, and "Testing Semiconductor Memories",
1991: stuck-at, transition, coupling and address decoder faults (four kinds), from memory. What a processor's bus adds (open and shorted lines, a multiplexer
that does not switch) follows from what the lines do. The numbers are assumptions, listed in ``docs/reference/constants.md`` by name.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coppermend.core.memory.visits import Flags, Floats, Ints, Visits
from coppermend.core.memory.ways import PATTERNS

SLIP = 1e-4
"""A word that the fault does not explain: a slip of the test or of the one who wrote it down."""
SLIPS = 0.01
"""Each further word that lies outside a unit's bits and addresses is so much less likely a slip than the first one."""
SHOWS = 0.97
"""A fault that is there shows at a word; else it reads right."""
FIRST_SHOWS = 0.02
"""Of addresses that meet in one cell the first one visited reads right. On a line that drifts it fails all the same with this chance."""
DRIFTS = 0.1
"""The line by which addresses meet drifts between a word's writing and its reading, rather than it rests."""
AGAIN = 0.5
"""A cell that failed once fails again at its next visit with this chance (tests write it both ways)."""
SINGLE_BIT = 0.7
"""A bad cell of a chip of several bits: one bit is wrong rather than several."""
WHOLE_CHIP = 0.2
"""All bits of a chip are wrong at once: its decoder took another word."""
RULED_MARCH = 0.02
"""A test that writes by the address, or something else at every address, is a march all the same with this chance."""
ADDS = 0.1
"""A fill whose rule nobody knows adds something from place to place, with this chance; as likely it turns bits over."""
SAME_WORD = 0.05
"""Two addresses hold the same word after a fill whose rule nobody knows."""
DENSITIES = tuple(float(x) for x in np.logspace(-5.0, -0.3, 16))
"""Shares of bad cells in a chip, each as likely."""
HELD_S = 0.002
"""A dynamic memory holds its cells as long without refresh (data sheets of 4116 and 4164: 2 ms; from memory)."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Visits with the bits that a fault can touch at each: ``mask`` 0 where it cannot."""

    seen: Visits
    mask: Ints
    width: int

    @property
    def full(self) -> int:
        """All bits of a word."""
        return (1 << self.width) - 1


def stuck(rows: Rows, high: bool) -> float:
    """The touched bits read one level always."""
    wrote, read, which = _known(rows)
    want = (wrote & ~rows.mask[which]) | (rows.mask[which] if high else 0)
    return _summed(rows, which, _soft(read == want, read == wrote, rows.width)) + _unknown(rows)


def floating(rows: Rows) -> float:
    """The touched bits read anything, anew at each visit."""
    wrote, read, which = _known(rows)
    mask = rows.mask[which]
    like = np.where((wrote ^ read) & ~mask == 0, 0.5 ** _count(mask), 0.0)
    logs = np.log(SHOWS * like + (1 - SHOWS) * (read == wrote) + SLIP * 0.5**rows.width)
    return _summed(rows, which, logs) + _unknown(rows)


def bridged(rows: Rows, one: int, other: int, high: bool) -> float:
    """Two data bits read alike: both low where one is (``high`` False), or both high."""
    pair = 1 << one | 1 << other
    wrote, read, which = _known(rows)
    here = (rows.mask[which] & pair) == pair
    both = (wrote >> one & 1) | (wrote >> other & 1) if high else (wrote >> one & 1) & (wrote >> other & 1)
    want = np.where(here, (wrote & ~pair) | both * pair, wrote)
    return _summed(rows, which, _soft(read == want, read == wrote, rows.width)) + _unknown(rows)


def exchanged(rows: Rows, one: int, other: int) -> float:
    """Two data bits come back in each other's place (what was written went another way than what was read)."""
    pair = 1 << one | 1 << other
    wrote, read, which = _known(rows)
    here = (rows.mask[which] & pair) == pair
    turned = (wrote & ~pair) | (wrote >> one & 1) << other | (wrote >> other & 1) << one
    want = np.where(here, turned, wrote)
    return _summed(rows, which, _soft(read == want, read == wrote, rows.width)) + _unknown(rows)


def cells(rows: Rows) -> float:
    """Some cells of the touched bits are bad, how many is open: stuck, slow, coupled, a row, a column, a decoder inside."""
    seen = rows.seen
    wrong = seen.wrong
    bits = seen.wrote[wrong] ^ seen.read[wrong]
    mask = rows.mask[wrong]
    inside = (bits & ~mask) == 0
    each = np.maximum(1, _count(mask))
    rest = (1 - SINGLE_BIT - WHOLE_CHIP) / np.maximum(1.0, 2.0**each - 1)
    like = np.where(_count(bits) == 1, SINGLE_BIT / each, np.where(bits == mask, WHOLE_CHIP, rest))
    like = np.where(each == 1, 1.0, like)
    new_pair = np.zeros(len(bits), np.bool_)
    new_pair[np.unique(np.stack([seen.address[wrong], bits]), axis=1, return_index=True)[1]] = True
    like = np.where(new_pair, like, 1.0)
    said = float(np.log(np.where(inside & (mask != 0), like, SLIP * 0.5**rows.width)).sum())
    places = seen.address[wrong][inside & (mask != 0)]
    new = len(np.unique(places))
    again = (len(places) - new) * np.log(AGAIN)
    covered = rows.mask != 0
    right = seen.passed * float((covered & ~wrong).sum()) / max(1.0, float((~wrong).sum()))
    density = np.array(DENSITIES)
    return float(said + again + _mean_log(new * np.log(density) + right * np.log1p(-density)))


def block(rows: Rows, regions: tuple[int, ...]) -> float:
    """One row, one column or one block of cells reads one level or anything. ``regions``: masks of the address bits that are the same all over it."""
    seen = rows.seen
    wrong = seen.wrong & (rows.mask != 0)
    if not wrong.any():
        return -np.inf
    touched = int(np.bitwise_or.reduce((seen.wrote ^ seen.read)[wrong] & rows.mask[wrong]))
    first = int(seen.address[wrong][0])
    each = float(np.log(max(1, int(_count(rows.mask[wrong]).max()))))
    found = []
    for fixed in regions:
        inside = ((seen.address ^ first) & fixed) == 0
        here = Rows(seen, np.where(inside, rows.mask & touched, 0), rows.width)
        size = fixed.bit_count() * np.log(2.0)
        found += [one - size - each for one in (stuck(here, False), stuck(here, True), floating(here))]
    return _mean_log(np.array(found))


def loss(rows: Rows) -> float:
    """Every touched bit forgets with some chance, alike in all chips; where waiting times are said, only in words that waited."""
    seen = rows.seen
    bits = seen.wrote ^ seen.read
    flips, held = _count(bits & rows.mask), _count(rows.mask)
    outside = (bits & ~rows.mask) != 0
    return _forgotten(rows, flips, held, outside)


def faded(rows: Rows, high: bool) -> float:
    """Every touched bit that was written the other way comes back low (``high``: high) with some chance, alike in all chips; where waiting times are
    said, only in words that waited."""
    seen = rows.seen
    bits = seen.wrote ^ seen.read
    known = seen.wrote >= 0
    can = rows.mask & (~seen.wrote if high else seen.wrote)
    held = np.where(known, _count(can), _count(rows.mask) / 2.0)
    flips = np.minimum(_count(bits & rows.mask), held)
    outside = known & ((bits & ~can) != 0)
    return _forgotten(rows, flips, held, outside)


def _forgotten(rows: Rows, flips: Ints | Floats, held: Ints | Floats, outside: Flags) -> float:
    """``flips`` of the ``held`` bits of each word came back wrong with some chance, alike in all, and none elsewhere (``outside``); where waiting times are
    said, only in words that waited."""
    seen = rows.seen
    timed = bool((seen.after >= 0).any())
    waited = (seen.after >= HELD_S) if timed else np.ones(len(seen.address), np.bool_)
    found = []
    for density in DENSITIES:
        rate = np.where(waited, density, 1e-6)
        like = flips * np.log(rate) + (held - flips) * np.log1p(-rate)
        like = np.logaddexp(np.where(outside, -np.inf, like), np.log(SLIP * 0.5**rows.width))
        found.append(float((like * seen.weight).sum()))
    return _mean_log(np.array(found))


def weak(rows: Rows) -> float:
    """Cells of one chip that forget while they wait: errors at words that waited, none at those that did not. -inf where no time was said."""
    seen = rows.seen
    waited = seen.after >= HELD_S
    if not waited.any():
        return -np.inf
    bits = seen.wrote ^ seen.read
    mask = rows.mask
    lost = seen.wrong & waited & (mask != 0) & ((bits & ~mask) == 0)
    slips = int((seen.wrong & ~lost).sum())
    kept = int((waited & ~seen.wrong & (mask != 0)).sum())
    pattern = float(
        np.log(np.where(_count(bits) == 1, SINGLE_BIT, 1 - SINGLE_BIT)[lost] / np.maximum(1, _count(mask[lost]))).sum()
    )
    density = np.array(DENSITIES)
    losses = _mean_log(int(lost.sum()) * np.log(density) + kept * np.log1p(-density))
    return float(
        losses + (0.0 if int(mask.max()).bit_count() == 1 else pattern) + slips * np.log(SLIP * 0.5**rows.width)
    )


def met(rows: Rows, flips: int) -> float:
    """Addresses that differ in the bits ``flips`` alone meet in one cell (an address line that is stuck, or open).

    On a way that reads and writes (a march) all but the first visited read what was just written there; after filling by a rule, all but the last
    written read that one's word. Whichever explains more counts.
    """
    low = rows.seen.address & flips
    return _met(rows, _meets_before(rows.seen, flips, low), _last_of(rows.seen, flips))


def met_short(rows: Rows, pairs: tuple[tuple[int, int], ...], high: bool) -> float:
    """Two address lines shorted: ``pairs`` of masks, one for each half of a multiplexed line. Addresses in which a pair differs meet that with both low
    (``high``: both high)."""
    seen = rows.seen
    a = seen.address
    before = np.zeros(len(a), np.bool_)
    last = a.copy()
    way, start, stop = _ends(seen)
    members = [a]
    for one, other in pairs:
        both = one | other
        moves = ((a & one) != 0) != ((a & other) != 0)
        moves |= (a & both) == (both if high else 0)
        ways = ((~both, one), (~both, other), (~both, both if high else 0))
        members = [np.where(moves, (member & keep) | put, member) for member in members for keep, put in ways]
    for member in members:
        before |= np.where(way > 0, (member < a) & (member >= start), (member > a) & (member <= stop))
        last = np.where(np.where(way > 0, member > last, member < last), member, last)
    return _met(rows, before, last)


def _learned(rows: Rows, run: int, last: Ints) -> float:
    """A fill that wrote by a rule nobody knows, on one way: addresses that meet read the word of the one written last. That word is known where it is in
    the log; else it shows at the first of those that meet, or it follows from others as far away, where the rule adds or turns over bits."""
    seen = rows.seen
    here = (seen.run == run) & (rows.mask != 0)
    said, quiet = here & (seen.wrote >= 0), here & (seen.wrote < 0) & (last != seen.address)
    slip = SLIP * 0.5**rows.width
    other, known = _found(seen.address[said], seen.wrote[said], last[said])
    plain = ((seen.wrote ^ seen.read) & ~rows.mask)[said] == 0
    right = (seen.read == seen.wrote)[said]
    fixed = np.log(SHOWS * (plain & ((seen.read[said] ^ other) & rows.mask[said] == 0)) + (1 - SHOWS) * right + slip)
    own = last[said] == seen.address[said]
    fixed = np.where(own, np.log(right + slip), fixed)
    free = ~own & ~known
    same = np.maximum(0.5 ** _count(rows.mask[quiet]), SAME_WORD)
    alone = float((np.log(SHOWS * same + (1 - SHOWS)) * seen.weight[quiet]).sum())
    read, wrote, mask = seen.read[said][free], seen.wrote[said][free], rows.mask[said][free]
    turned = (read ^ wrote) & mask
    added = np.where(mask == rows.full, (read - wrote) & rows.full, turned)
    away = last ^ seen.address
    shows, good = SHOWS * plain[free], (1 - SHOWS) * right[free] + slip
    chance = np.asarray(0.5 ** _count(mask), np.float64)
    found = [alone + float(np.log(shows * _grouped(last[said][free], read & mask, chance) + good).sum())]
    weight = np.concatenate([np.ones(len(read)), seen.weight[quiet]])
    for value in (added, turned):
        key = np.concatenate([away[said][free], away[quiet]])
        like = _grouped(
            key, np.concatenate([value, np.zeros(int(quiet.sum()), np.int64)]), np.concatenate([chance, same])
        )
        logs = np.log(
            np.concatenate([shows, np.full(len(same), SHOWS)]) * like
            + np.concatenate([good, np.full(len(same), 1 - SHOWS)])
        )
        found.append(float((logs * weight).sum()))
    shares = np.log([1 - 2 * ADDS, ADDS, ADDS])
    return float(fixed[~free].sum() + np.logaddexp.reduce(np.array(found) + shares))


def _found(address: Ints, wrote: Ints, wanted: Ints) -> tuple[Ints, Flags]:
    """What was written at each of the wanted addresses, and whether the words say it."""
    if not len(address):
        return wanted, np.zeros(len(wanted), np.bool_)
    order = np.argsort(address, kind="stable")
    at = order[np.minimum(np.searchsorted(address[order], wanted), len(order) - 1)]
    return wrote[at], np.asarray(address[at] == wanted)


def _grouped(key: Ints, value: Ints, chance: Floats) -> Floats:
    """Likelihood of values that are the same all over a group: the first of each comes by ``chance``, the others as the first."""
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    like = (value == value[first][which]).astype(np.float64)
    like[first] = chance[first]
    return np.asarray(like)


def _met(rows: Rows, before: Flags, last: Ints) -> float:
    seen = rows.seen
    known = seen.wrote >= 0
    touched = rows.mask != 0
    turned = (seen.wrote ^ rows.mask) & rows.full
    wrong_here = (seen.read != seen.wrote) & (((seen.wrote ^ seen.read) & ~rows.mask) == 0)
    as_turned = 0.9 * (seen.read == turned) + 0.1 * np.where(wrong_here, 0.5 ** _count(rows.mask), 0.0)
    marches = []
    for first, share in ((0.0, 1.0 - DRIFTS), (FIRST_SHOWS, DRIFTS)):
        shows = np.where(before, SHOWS, first) * touched
        march = np.log(shows * as_turned + (1 - shows) * (seen.read == seen.wrote) + SLIP * 0.5**rows.width)
        march = np.where(known, march, np.log(1 - shows * 0.5))
        marches.append(float((march * seen.weight).sum()) + np.log(share))
    makers = dict(PATTERNS)
    unruled = [k for k, run in enumerate(seen.runs) if not run.pattern]
    filled = bool(unruled) or any(run.pattern in makers for run in seen.runs)
    found = [float(np.logaddexp.reduce(marches)) + (np.log(RULED_MARCH) if filled else 0.0)]
    if filled:
        other = seen.wrote.copy()
        for k, run in enumerate(seen.runs):
            if run.pattern in makers:
                here = seen.run == k
                other[here] = makers[run.pattern](last[here])
        want = (seen.wrote & ~rows.mask) | (other & rows.mask)
        fill = np.log(SHOWS * (seen.read == want) + (1 - SHOWS) * (seen.read == seen.wrote) + SLIP * 0.5**rows.width)
        fill = np.where(known & ~np.isin(seen.run, unruled), fill, 0.0)
        found.append(float((fill * seen.weight).sum()) + sum(_learned(rows, k, last) for k in unruled))
    return float(max(found))


def _ends(seen: Visits) -> tuple[Ints, Ints, Ints]:
    way = np.array([run.way for run in seen.runs])[seen.run]
    first = np.array([run.first for run in seen.runs])[seen.run]
    last = np.array([run.last for run in seen.runs])[seen.run]
    return way, first, last


def _meets_before(seen: Visits, flips: int, low: Ints) -> Flags:
    """Whether an address that meets this one was visited before it on the same way."""
    a = seen.address
    way, first, last = _ends(seen)
    bit = low & -low
    under = (a ^ bit) | (flips & (bit - 1))
    unset = ~a & flips
    rise = unset & -unset
    over = (a | rise) & ~(flips & (rise - 1))
    up = (low != 0) & (under >= first)
    down = (unset != 0) & (over <= last)
    return np.asarray(np.where(way > 0, up, down))


def _last_of(seen: Visits, flips: int) -> Ints:
    """The address that meets this one and was visited last, in the block."""
    way, first, last = _ends(seen)
    inside = flips & _below(first ^ last)
    return np.asarray(np.where(way > 0, seen.address | inside, seen.address & ~inside))


def _below(values: Ints) -> Ints:
    """Every bit up to the highest one that is set."""
    for step in (1, 2, 4, 8, 16):
        values = values | values >> step
    return np.asarray(values)


def _known(rows: Rows) -> tuple[Ints, Ints, Flags]:
    """Written and read where both are known, and which visits these are."""
    known = rows.seen.wrote >= 0
    return rows.seen.wrote[known], rows.seen.read[known], known


def _unknown(rows: Rows) -> float:
    """Words that read right with something unknown written: each touched bit agrees with the fault by even chance."""
    which = rows.seen.wrote < 0
    if not which.any():
        return 0.0
    agree = 0.5 ** _count(rows.mask[which])
    return float((np.log(SHOWS * agree + (1 - SHOWS)) * rows.seen.weight[which]).sum())


def _summed(rows: Rows, which: Flags, logs: Floats) -> float:
    return float((logs * rows.seen.weight[which]).sum())


def _soft(as_fault: Flags, as_right: Flags, width: int) -> Floats:
    return np.asarray(np.log(SHOWS * as_fault + (1 - SHOWS) * as_right + SLIP * 0.5**width))


def _count(values: Ints) -> Ints:
    return np.asarray(np.bitwise_count(values), dtype=np.int64)


def _mean_log(logs: Floats) -> float:
    return float(np.logaddexp.reduce(logs) - np.log(len(logs)))
