"""Log readings as the belief takes them: closed or open, between two nodes of one piece, with their likelihoods."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from coppermend.core.belief.copper import Copper
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.belief.ohmic import Instrument, two_wire
from coppermend.core.findings import Place, refuse

LEAST_RATE = 1e-9
"""A rate of 0 is taken as this: readings that contradict each other then still have an answer, and the conflict is said."""


@dataclass(frozen=True, slots=True)
class Taken:
    """One reading on one piece. ``a``/``b``: likelihood of it when the circuit closes / does not; ``absent``: sites not there then.

    ``ohm``: the value of an ohms reading, with its ``instrument`` and the nodes ``sense`` of the voltage; None for a beep.
    """

    entry: str
    point_a: str
    point_b: str
    node_a: int
    node_b: int
    closed: bool
    a: float
    b: float
    absent: frozenset[int] = frozenset()
    ohm: float | None = None
    instrument: Instrument | None = None
    sense: tuple[int, int] | None = None


COARSE = two_wire(0.1)
"""What ohms are taken to be read with where nobody said."""


@dataclass(frozen=True, slots=True)
class Sorted:
    """Readings by piece, readings between two pieces (isolation), and readings on points that this copper does not have."""

    by_piece: dict[int, tuple[Taken, ...]]
    between: tuple[Evidence, ...]
    unknown: tuple[Evidence, ...]


def rates(basis: Basis) -> tuple[float, float]:
    """False open and false closed rate, kept off 0. A meter whose two rates sum to 1 or more says nothing: refused."""
    low_open, low_closed = max(basis.false_open, LEAST_RATE), max(basis.false_closed, LEAST_RATE)
    if not (0.0 <= basis.false_open < 1.0 and 0.0 <= basis.false_closed < 1.0) or low_open + low_closed >= 1.0:
        raise refuse(
            "BLF-001",
            f"False open rate {basis.false_open} and false closed rate {basis.false_closed}: together they must be below 1, "
            "or a reading says nothing.",
            "Give rates such as 0.02 and 0.002.",
            Place(thing="basis"),
        )
    return low_open, low_closed


def reads_closed(one: Evidence, basis: Basis) -> bool:
    """Whether a reading says that the circuit closes: a beep, or ohms at most the beep's threshold."""
    if one.says == "ohms":
        return one.ohms is not None and one.ohms <= basis.closed_below_ohm
    return one.says == "closed"


MOST_FALSE_OPEN = 0.9
"""No reading is supposed to read open by mistake more often than this."""


def scaled_rate(rate: float, factor: float) -> float:
    """A rate of false opens times a factor, kept a rate.

    >>> scaled_rate(0.02, 2.0), scaled_rate(0.6, 2.0)
    (0.04, 0.9)
    """
    return min(max(rate, MOST_FALSE_OPEN), rate * factor)


def opened(readings: Sequence[Taken], factor: float) -> tuple[Taken, ...]:
    """The readings with their rate of false opens times ``factor``.

    >>> one = Taken("1", "p", "q", 0, 1, True, 0.98, 0.002)
    >>> [t.a for t in opened([one, replace(one, closed=False, a=0.02, b=0.998)], 0.5)]
    [0.99, 0.01]
    """
    if factor == 1.0:
        return tuple(readings)
    return tuple(
        replace(t, a=1.0 - scaled_rate(1.0 - t.a, factor) if t.closed else scaled_rate(t.a, factor)) for t in readings
    )


def sort_readings(copper: Copper, evidence: Sequence[Evidence], basis: Basis) -> Sorted:
    """Each reading with the piece it speaks of; order of the log is kept inside a piece."""
    low_open, low_closed = rates(basis)
    by_piece: dict[int, list[Taken]] = {}
    between: list[Evidence] = []
    unknown: list[Evidence] = []
    piece = copper.tree.piece
    for one in evidence:
        a, b = copper.points.get(one.point_a), copper.points.get(one.point_b)
        if a is None or b is None or one.says not in ("closed", "open", "ohms"):
            unknown.append(one)
            continue
        if piece[a.node] != piece[b.node]:
            between.append(one)
            continue
        closed = reads_closed(one, basis)
        sneaks = low_closed + (basis.chip_false_closed if piece[a.node] in copper.chips else 0.0)
        lies = low_open if one.false_open is None else min(0.9, max(low_open, one.false_open))
        like = (1.0 - lies, sneaks) if closed else (lies, 1.0 - sneaks)
        absent = frozenset(copper.site[s] for s in one.without if s in copper.site)
        ohm, instrument, sense = _value(copper, one)
        by_piece.setdefault(piece[a.node], []).append(
            Taken(one.entry, a.id, b.id, a.node, b.node, closed, *like, absent, ohm, instrument, sense)
        )
    return Sorted({p: tuple(t) for p, t in by_piece.items()}, tuple(between), tuple(unknown))


def _value(copper: Copper, one: Evidence) -> tuple[float | None, Instrument | None, tuple[int, int] | None]:
    """Value, instrument and voltage nodes of an ohms reading; nothing for a beep, or where a voltage tip stands on other copper."""
    if one.says != "ohms" or one.ohms is None:
        return None, None, None
    ends = one.sense or (one.point_a, one.point_b)
    nodes = [copper.points[p].node if p in copper.points else -1 for p in ends]
    home = copper.tree.piece[copper.points[one.point_a].node]
    if any(n < 0 or copper.tree.piece[n] != home for n in nodes):
        return None, None, None
    return one.ohms, one.instrument or COARSE, (nodes[0], nodes[1])
