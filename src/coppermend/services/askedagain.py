"""Pairs that read open before a patch wire gave their way a second one: the reading speaks no more, so the pair is read again, wherever it lies.

The wire may be what the open reading asked for, or it may lie elsewhere and the break still stand; only a reading after it tells.
"""

from __future__ import annotations

from dataclasses import dataclass

from coppermend.core.belief.engine import CopperBelief
from coppermend.core.copper.model import ProbePoint
from coppermend.core.geometry.groups import Groups
from coppermend.core.log.state import PointRef, Reading
from coppermend.core.planning.costs import check_seconds
from coppermend.core.planning.describe import continuity_check, tips_words
from coppermend.core.planning.model import NextStep
from coppermend.services.bind import Binding
from coppermend.services.evidence import ANOTHER_WAY, BEEPS_OHM, says_open
from coppermend.services.map_doubt import tips_of
from coppermend.services.points import point_now

Spot = tuple[str, str]
"""The pin of a point, or its own id where it belongs to none."""


@dataclass(frozen=True, slots=True)
class AskedAgain:
    """A pair of a net to read again: points ``a`` and ``b``, ``numbers`` of the open readings, ``wire`` the number of the wire that came after them."""

    net: str
    a: ProbePoint
    b: ProbePoint
    numbers: tuple[int, ...]
    wire: int

    @property
    def unread(self) -> str:
        """What was read before and not since, without the net and the full stop."""
        said = ", ".join(map(str, self.numbers))
        return f"{self.a.id} to {self.b.id} read open (no. {said}) before wire no. {self.wire} and was not read since"

    @property
    def words(self) -> str:
        """What is not proven, without the full stop."""
        return f"net {self.net}: {self.unread}: it must be closed"


def asked_again(binding: Binding) -> tuple[AskedAgain, ...]:
    """The pairs that read open, lost their reading to a wire, and were not read since; nor do closed readings since then lead from one to the other.
    In the order of the log. Kept with the binding."""
    if "asked again" not in binding.memo:
        binding.memo["asked again"] = _asked(binding)
    found: tuple[AskedAgain, ...] = binding.memo["asked again"]
    return found


def _asked(binding: Binding) -> tuple[AskedAgain, ...]:
    gone = {entry for entry, why in binding.expired if why == ANOTHER_WAY}
    refs = {one.entry: one.ref for one in binding.state.timeline}
    rows: dict[frozenset[Spot], tuple[ProbePoint, ProbePoint, list[Reading]]] = {}
    for one in binding.state.readings:
        if one.entry not in gone:
            continue
        a, b = (point_now(binding.graph, ref) for ref in one.points)
        if a is not None and b is not None and a.node != b.node and a.reachable and b.reachable:
            rows.setdefault(frozenset((_spot(one.points[0]), _spot(one.points[1]))), (a, b, []))[2].append(one)
    out = []
    for pair, (a, b, read) in rows.items():
        last = max(one.at for one in read)
        wire = next((one for one in binding.state.wires if one.at > last), None)
        if wire is None or _told_since(binding, pair, wire.at):
            continue
        numbers = tuple(refs.get(one.entry, 0) for one in read)
        out.append(AskedAgain(binding.graph.net_names[a.net], a, b, numbers, refs.get(wire.id, 0)))
    return tuple(out)


def _spot(ref: PointRef) -> Spot:
    return (ref.part, ref.pin) if ref.part else ("", ref.id)


def _told_since(binding: Binding, pair: frozenset[Spot], since: int) -> bool:
    """Whether the pair was read after an entry, or closed readings after it lead from one of its points to the other."""
    live = {one.entry for one in binding.evidence}
    groups, number = Groups(), dict[Spot, int]()

    def named(spot: Spot) -> int:
        return number.setdefault(spot, len(number))

    for one in binding.state.readings:
        if one.at <= since or one.entry not in live or len(one.points) != 2:
            continue
        a, b = (_spot(ref) for ref in one.points)
        if frozenset((a, b)) == pair:
            return True
        closed = one.kind == "closed" or (one.kind == "ohms" and one.value is not None and one.value <= BEEPS_OHM)
        if closed and not says_open(one):
            groups.join(named(a), named(b))
    return len({groups.find(named(spot)) for spot in pair}) == 1


def asked_again_step(binding: Binding, posterior: CopperBelief) -> NextStep | None:
    """The reading of a pair that a wire left unanswered; None where none is."""
    found = asked_again(binding)
    if not found:
        return None
    one, tips = found[0], tips_of(binding)
    seconds, after = check_seconds(binding.costs, tips, one.a, one.b)
    over = after.up != tips.up
    numbers = ", ".join(map(str, one.numbers))
    reason = f"it read open (no. {numbers}) before wire no. {one.wire} gave it another way round: closed says that the net hangs together there, open that a break is left"
    check = continuity_check(posterior.copper, one.a, one.b, seconds, reason, over)
    words = tips_words(one.a, one.b, over)
    rest = len(found) - 1
    return NextStep("check", words, reason, seconds, 0.0, check=check, left=rest, left_seconds=rest * seconds)
