"""The numbers behind suspects: how likely each fault is before anything was seen, and how often a reading lies.

Copper priors come from the belief's own ``Basis``, so that a track is as suspect here as in the round. All are assumptions, not observations.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.model import Basis
from coppermend.core.belief.suspects.afloat import ANY, FREE, shown_afloat

OUTCOMES = ("low", "high", "pulsing", "wrong", "floating")
"""What a powered look at a pin can say. ``wrong``: it moves, but not at the expected frequency or not with the expected pattern."""
LOW, HIGH, PULSING, WRONG, FLOATING = range(5)


@dataclass(frozen=True, slots=True)
class FaultTable:
    """Priors of faults that are no copper site, and the error rates of powered readings."""

    copper: Basis = field(default_factory=Basis)
    chip_dead: float = 0.01
    dead_modes: Mapping[str, float] = field(default_factory=lambda: {"float": 0.4, "low": 0.35, "high": 0.25})
    """How a dead chip's outputs behave: open, all low, all high."""
    output_stuck: float = 0.0006
    """One output held at one level, for each of the two levels."""
    input_low: float = 0.0002
    """One input that pulls its net low."""
    passive_open: float = 0.0005
    timing_open: float = 0.003
    """A capacitor that sets a time (on a pulled net that a chip reads) without its capacity: old electrolytics dry out."""
    crystal_dead: float = 0.005
    crystal_wrong: float = 0.001
    rail_missing: float = 0.01
    rail_low: float = 0.005
    short_in: float = 0.003
    """A bridge between two neighbouring pins inside a work area."""
    short_out: float = 0.0001
    misread: float = 0.02
    """A level read or noted wrongly."""
    pattern_false_wrong: float = 0.03
    """A right pattern judged wrong."""
    pattern_false_right: float = 0.01
    """A wrong pattern judged right."""
    foreign_right: float = 0.2
    """Pulses that are not the line's own (a neighbour's that couple into a line nothing drives, those of a pin the tip slipped to) judged right: their
    frequency and pattern are another line's, which on a bus can pass for its own (an assumption)."""
    rail_misread: float = 0.01
    sink_misread: float = 0.15
    """The lowest pin of a net that is held low found wrongly: a few millivolts decide."""
    sink_lasting: float = 0.5
    """Of those the share that the board misleads to (too little current, a via on the way): they are found wrongly the same way again (an assumption)."""
    renewed: float = 0.1
    """How likely a part just replaced is faulty, against the one before."""
    screen_misread: float = 0.03
    swap_misread: float = 0.03
    number: tuple[float, ...] = (0.34, 0.33, 0.33)
    """How likely one, two, three faults are; each further one is ``more`` times the one before."""
    more: float = 0.3
    unlike_table: float = 0.1
    """How likely a fault is one that this table's priors know nothing of, any cause alike: no table knows every board."""
    rival_factor: float = 5.0
    """A rival that the readings make less than this many times less likely is still in the way: a look that tells it apart comes before a name."""
    named_above: float = 0.95
    """A unit is named a suspect beyond reasonable doubt from here on."""
    sure_above: float = 0.99
    """Below this a name that leans on one reading alone waits until that reading was taken again (common practice, no source)."""
    leans_above: float = 0.8
    """A name leans on a reading that was taken once when it would be less likely than this without it."""


def level_likelihood(
    table: FaultTable, content: bool, loose: bool, pull: str = FREE, by: str = ANY
) -> NDArray[np.float64]:
    """P(outcome | symbol), (6, 5): rows low, high, right, wrong, floating, steady; columns as ``OUTCOMES``.

    ``content``: the pattern or frequency was judged; without it everything that moves reads pulsing. ``loose``: the net moves or rests as the program has it,
    so that a level there tells no fault, and telling it twice would not either. ``pull``, ``by``: what pulls at the place when nothing drives it, and what it
    was looked at with (``afloat``).

    >>> rows = level_likelihood(FaultTable(), False, False)
    >>> [round(float(r.sum()), 12) for r in rows], round(float(rows[2][2]), 2)
    ([1.0, 1.0, 1.0, 1.0, 1.0, 1.0], 0.98)
    """
    e = table.misread
    out = np.full((6, 5), e / 3.0)
    out[:, WRONG] = 0.0
    out[0, LOW] = out[1, HIGH] = out[2, PULSING] = out[3, PULSING] = 1.0 - e
    low, high, moving, right, wrong, floating = afloat_states(table, pull, by) @ read_afloat(table)
    out[4] = (low, high, right, wrong, floating) if content else (low, high, moving, 0.0, floating)
    out[5] = (0.44, 0.44, 0.04, 0.0, 0.08)
    out[3] = (0.03, 0.03, 0.92, 0.0, 0.02)
    if loose:
        out[[0, 1, 2, 3, 5]] = (0.32, 0.32, 0.32, 0.0, 0.04)
    if content:
        good, bad = 1.0 - table.pattern_false_wrong, table.pattern_false_right
        out[2] = _split(out[2], good)
        out[3] = _split(out[3], bad)
        for row in (0, 1, 5):
            out[row] = _split(out[row], 0.5 if loose else table.foreign_right)
    return out


def afloat_states(table: FaultTable, pull: str, by: str) -> NDArray[np.float64]:
    """P(how a place looks that nothing drives), (5,): low, high, a neighbour's pulses that pass for its own, such that do not, floating.

    >>> [round(float(x), 3) for x in afloat_states(FaultTable(), "free", "scope")]
    [0.82, 0.08, 0.008, 0.032, 0.06]
    """
    low, high, pulsing, floating = shown_afloat(pull, by)
    own = table.foreign_right
    return np.array([low, high, own * pulsing, (1.0 - own) * pulsing, floating])


def read_afloat(table: FaultTable) -> NDArray[np.float64]:
    """P(reading | how the place looks), (5, 6): rows as ``afloat_states``; low, high, pulsing not judged, judged right, judged wrong, floating.

    >>> rows = read_afloat(FaultTable())
    >>> [round(float(r[[0, 1, 3, 4, 5]].sum()), 12) for r in rows], bool(np.allclose(rows[:, 2], rows[:, 3] + rows[:, 4]))
    ([1.0, 1.0, 1.0, 1.0, 1.0], True)
    """
    e = table.misread
    out = np.full((5, 6), e / 3.0)
    out[0, 0] = out[1, 1] = out[2, 2] = out[3, 2] = out[4, 5] = 1.0 - e
    right = np.full(5, table.foreign_right)
    right[2], right[3] = 1.0 - table.pattern_false_wrong, table.pattern_false_right
    out[:, 3], out[:, 4] = out[:, 2] * right, out[:, 2] * (1.0 - right)
    return out


def _split(row: NDArray[np.float64], right: float) -> NDArray[np.float64]:
    moving = row[PULSING]
    made = row.copy()
    made[PULSING], made[WRONG] = moving * right, moving * (1.0 - right)
    return made
