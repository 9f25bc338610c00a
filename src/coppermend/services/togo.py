"""How much of a case's round is still to go: the check in hand, the pairs of nets that belong apart and what ohms alone prove counted in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coppermend.core.planning.model import Check, NextStep
from coppermend.core.planning.next import isolation_left
from coppermend.services.bench import by_ohms_of, copper_step, neighbours_of, posterior_of
from coppermend.services.bind import Binding


@dataclass(frozen=True, slots=True)
class ToGo:
    """Checks that are still to be done, the one in hand counted in, and their modelled seconds."""

    checks: int
    seconds: float

    @property
    def words(self) -> str:
        """Both in words.

        >>> ToGo(107, 480.0).words, ToGo(1, 9.0).words
        ('107 checks to go, 8 min modelled', '1 check to go, 9 s modelled')
        """
        long = f"{self.seconds / 60:.0f} min" if self.seconds >= 90 else f"{self.seconds:.0f} s"
        return f"{self.checks} {'check' if self.checks == 1 else 'checks'} to go, {long} modelled"

    def after(self, step: NextStep) -> ToGo:
        """What is left behind the check of a step."""
        return self if step.check is None else ToGo(self.checks - 1, max(0.0, self.seconds - step.seconds))


def to_go(binding: Binding, step: NextStep) -> ToGo:
    """What is to go from ``step``, the case's next one, to the end of the round: the checks of the copper, those of the pairs of nets beside it, and the readings
    in ohms of what no beep proves.

    A follow-up of an open reading, and a check of the map, of a cut or of a wire, comes on top while it is in hand. A step that is no check
    counts the round behind it where there is one, else what it says itself (breaks to bridge). Seconds are modelled; those of the pairs as first planned.
    """
    if not binding.marking and not binding.state.wires and not binding.evidence:
        return _own(step)
    copper = copper_step(binding)
    pairs = _pairs(binding)
    rest = _plus(_plus(_copper(copper), ToGo(len(pairs), sum(one.seconds for one in pairs))), _ohms(binding))
    if step.check is None:
        return rest if rest.checks else _own(step)
    if step.kind == "ohms" or _same(step.check, copper.check) or _among(binding, step.check, pairs):
        return rest if rest.checks else _own(step)
    return _plus(_own(step), rest)


def _own(step: NextStep) -> ToGo:
    """What the step says itself, with its check."""
    now = step.check is not None
    return ToGo(step.left + now, step.left_seconds + (step.seconds if now else 0.0))


def _copper(step: NextStep) -> ToGo:
    """The continuity checks to go by the copper's own step; its check of a pair of nets is among the pairs."""
    if step.kind in ("isolation", "patch", "done"):
        return ToGo(0, 0.0)
    if step.check is None or step.check.purpose == "isolation":
        return ToGo(step.left, step.left_seconds)
    return ToGo(step.left + 1, step.left_seconds + step.seconds)


def _ohms(binding: Binding) -> ToGo:
    """The readings in ohms."""
    step = by_ohms_of(binding).step
    return ToGo(0, 0.0) if step is None else _own(step)


def _pairs(binding: Binding) -> tuple[Check, ...]:
    """The pairs of nets that have not read open yet."""
    return isolation_left(posterior_of(binding), binding.areas, binding.costs, neighbours_of(binding))


def _plus(a: ToGo, b: ToGo) -> ToGo:
    return ToGo(a.checks + b.checks, a.seconds + b.seconds)


def _same(check: Check, other: Check | None) -> bool:
    return other is not None and {check.point_a, check.point_b} == {other.point_a, other.point_b}


def _among(binding: Binding, check: Check, pairs: Sequence[Check]) -> bool:
    """Whether a check between two nets is one of those pairs, at whatever points."""
    if check.purpose != "isolation":
        return False
    copper = posterior_of(binding).copper

    def pieces(one: Check) -> frozenset[int]:
        return frozenset(copper.tree.piece[copper.points[name].node] for name in (one.point_a, one.point_b))

    return pieces(check) in {pieces(one) for one in pairs}
