"""What a place shows that nothing drives: it has no level of its own, so the inputs on it and the meter make one.

A bipolar input (TTL, LS, S, ALS, F) pulls an open line to about 1.4 V, between both thresholds (TTL data books). An NMOS or CMOS input only leaks: at most
some microamperes by its data sheet, nanoamperes as a rule, either way; through the 10 megohm of a meter or a 10:1 probe that is near 0 V, which reads as
low. A logic probe holds its own tip between the thresholds and shows neither lamp. A logic analyser must say low or high. Neighbours couple in now and then.
The shares are assumptions made from that (no source counts them); they know families and meters, no board.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from types import MappingProxyType

FREE, BIPOLAR, MIXED = "free", "bipolar", "mixed"
"""What pulls at a place that nothing drives: nothing, a bipolar input, or either, as the cut runs."""
ANY, SCOPE, PROBE, ANALYSER = "", "scope", "probe", "analyser"
"""What a place was looked at with: not told, a scope or a meter (10 megohm to ground), a logic probe, a logic analyser."""
AFLOAT: Mapping[tuple[str, str], tuple[float, float, float, float]] = MappingProxyType(
    {
        (FREE, SCOPE): (0.82, 0.08, 0.04, 0.06),
        (FREE, PROBE): (0.05, 0.04, 0.05, 0.86),
        (FREE, ANALYSER): (0.80, 0.10, 0.09, 0.01),
        (BIPOLAR, SCOPE): (0.02, 0.08, 0.03, 0.87),
        (BIPOLAR, PROBE): (0.03, 0.17, 0.03, 0.77),
        (BIPOLAR, ANALYSER): (0.35, 0.55, 0.09, 0.01),
    }
)
"""P(low, high, pulsing, floating) of a place that nothing drives, by what pulls at it and what it was looked at with."""


def shown_afloat(pull: str, by: str) -> tuple[float, float, float, float]:
    """P(low, high, pulsing, floating) of a place that nothing drives; an instrument that was not told is a scope or a logic probe, evenly.

    >>> shown_afloat("free", "scope")[0], shown_afloat("bipolar", "scope")[3]
    (0.82, 0.87)
    >>> [round(x, 3) for x in shown_afloat("free", "")]
    [0.435, 0.06, 0.045, 0.46]
    """
    pulls = (FREE, BIPOLAR) if pull == MIXED else (pull,)
    tools = (SCOPE, PROBE) if by == ANY else (by,)
    rows = [AFLOAT[(one, tool)] for one in pulls for tool in tools]
    low, high, pulsing, floating = (sum(row[k] for row in rows) / len(rows) for k in range(4))
    return low, high, pulsing, floating


def pull_at(here: Collection[bool], elsewhere: Collection[bool]) -> str:
    """What pulls at a place of a net, by whether its inputs are bipolar: those at the place itself, and those elsewhere on the net.

    >>> pull_at([True], []), pull_at([False], [False]), pull_at([], [True, False])
    ('bipolar', 'free', 'mixed')
    """
    if any(here):
        return BIPOLAR
    return MIXED if any(elsewhere) else FREE
