"""Two nets that read joined where they belong apart: read again by other points, then said as a likely short."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from coppermend.core.belief.engine import CopperBelief
from coppermend.core.belief.joining import Joining
from coppermend.core.belief.model import Basis
from coppermend.core.copper.model import ProbePoint
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.describe import point_words
from coppermend.core.units import chance_words

MOST_SHORT = 6
"""An isolation reading is not repeated at once more often than this; a pair still in doubt stays in the list of the round."""
NEAREST = 6
"""Points looked at beside either end of a closed isolation reading."""
SOUND_ABOVE = 0.9
"""A point stands for an end when sound copper joins the two with at least this chance."""
NO_NAME = "a net without name"


def settled(one: Joining, basis: Basis) -> bool:
    """Whether the readings across two nets make the pair done: the last one read open and nothing is left of a short.

    >>> settled(Joining("p", "q", 0.0001, 1, False), Basis()), settled(Joining("p", "q", 0.71, 1, True), Basis())
    (True, False)
    """
    return not one.last_closed and one.p <= 2 * basis.short_prior


def names_of(now: CopperBelief, one: Joining) -> tuple[str, str]:
    """The names of the two nets, in the order of their points."""
    names = now.copper.graph.net_names
    a, b = (names[now.copper.points[p].net] or NO_NAME for p in (one.point_a, one.point_b))
    return a, b


def locate_words(a: str, b: str) -> str:
    """The command that locates the short of two nets.

    >>> locate_words("D3", "D5")
    'short locate CASE --between D3 D5'
    """
    return "short locate CASE" if NO_NAME in (a, b) else f"short locate CASE --between {a} {b}"


def touching(now: CopperBelief) -> Iterator[tuple[Joining, str]]:
    """The pairs that may touch as far as the readings say, likeliest first, each with what is to be said of it."""
    points = now.copper.points
    for one in sorted(now.shorts, key=lambda s: -s.p):
        if settled(one, now.basis):
            continue
        a, b = names_of(now, one)
        at = f"between {point_words(points[one.point_a])} and {point_words(points[one.point_b])}"
        if points[one.point_a].net == points[one.point_b].net:
            words = f"the two pieces of {a} on either side of a cut read joined ({chance_words(one.p, 0)}), read {at}: cut wider and read again"
        elif one.p > now.basis.broken_above:
            words = (
                f"{a} and {b} touch ({chance_words(one.p)}): a likely short, read {at}. Locate it: {locate_words(a, b)}"
            )
        else:
            words = f"{a} and {b} may touch ({chance_words(one.p, 0)}), read {at}: read once more by other points"
        yield one, words


def again_at(
    now: CopperBelief, one: Joining, costs: CostTable, tips: TipState, skipped: Collection[str] = ()
) -> tuple[ProbePoint, ProbePoint]:
    """The points to read a closed pair again at: two others on the same two pieces of copper, cheapest first; the same two where there are none."""
    points = now.copper.points
    a, b = points[one.point_a], points[one.point_b]
    asked = {frozenset((e.point_a, e.point_b)) for e in now.evidence}
    pairs = [
        (x, y)
        for x in _beside(now, a, skipped)
        for y in _beside(now, b, skipped)
        if frozenset((x.id, y.id)) not in asked and x.side == y.side
    ]
    if not pairs:
        return a, b
    return min(pairs, key=lambda p: (check_seconds(costs, tips, *p)[0], p[0].id, p[1].id))


def _beside(now: CopperBelief, end: ProbePoint, skipped: Collection[str]) -> list[ProbePoint]:
    """Other points on the piece of an end that sound copper joins to it, nearest first."""
    copper = now.copper
    home = copper.tree.piece[end.node]
    others = [
        p
        for p in copper.graph.points
        if p.id != end.id and p.reachable and p.id not in skipped and copper.tree.piece[p.node] == home
    ]
    others.sort(key=lambda p: ((p.x_mm - end.x_mm) ** 2 + (p.y_mm - end.y_mm) ** 2, p.id))
    return [p for p in others[:NEAREST] if p.node == end.node or now.joined(p.id, end.id) >= SOUND_ABOVE]
