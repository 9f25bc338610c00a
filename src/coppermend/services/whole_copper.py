"""What of the copper comes when in a whole repair: pairs with a supply rail before the first power-up, the proof of a mend before the next, the rest later."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeVar, cast

from coppermend.core.planning.model import Check, NextStep
from coppermend.core.planning.whole import COPPER_WORK, REST
from coppermend.services.bench import next_without_pairs, plan_of, posterior_of
from coppermend.services.bind import Binding
from coppermend.services.newwire import new_wire_step
from coppermend.services.rails import board_rails
from coppermend.services.whole_view import WholeView

MOVES = ("reseat", "clean", "swap", "fit", "press")
"""Work on a part after which its pins are read again."""

T = TypeVar("T")


def kept_with_copper(binding: Binding, name: str, make: Callable[[], T]) -> T:
    """What holds until the copper, the areas or what was read of it change: not planned anew for every entry at the gate."""
    state = binding.state
    read = tuple(one.entry for one in state.readings if one.kind in ("closed", "open"))
    key = (name, id(binding.graph), binding.areas, hash(read), len(state.acts), len(state.wires))
    if key not in binding.kept:
        binding.kept[key] = (binding.graph, make())
    return cast(T, binding.kept[key][1])


def pairs_before_power(binding: Binding) -> tuple[Check, ...]:
    """Of the pairs of nets that belong apart those that are read before the first power-up: one of the two is a supply rail. The others wait until a start was
    seen: a bridge between two signals shows under power, and their list is long and finds little."""
    if binding.state.power_ups:
        return ()
    rails = set(board_rails(binding))
    return tuple(one for one in plan_of(binding).isolation if {one.net_a, one.net_b} & rails)


def rails_apart(binding: Binding) -> tuple[Check, ...]:
    """Of the pairs that belong apart those of two rails, ground among them, that were not read yet: what no reading of one rail to ground shows."""
    rails = set(board_rails(binding))
    return tuple(one for one in pairs_before_power(binding) if {one.net_a, one.net_b} <= rails)


def _read_before(binding: Binding, step: NextStep) -> bool:
    """Whether a check of the round asks again for a pin that was read before its part was worked on."""
    if step.check is None:
        return False
    worked = {one.part: one.at for one in binding.state.acts if one.part and one.kind in MOVES}
    pins = [binding.graph.point(one) for one in (step.check.point_a, step.check.point_b)]
    return any(
        (p.part, p.pin) == (one.part, one.pin) and reading.at < worked[p.part]
        for p in pins
        if p.part in worked
        for reading in binding.state.readings
        for one in reading.points
    )


def pair_first(step: NextStep, rows: Sequence[Check]) -> NextStep:
    """The first of the pairs as a step."""
    one = rows[0]
    words = f"Touch {one.point_a} ({one.net_a}) and {one.point_b} ({one.net_b}): they belong apart."
    reason = f"{one.reason}; a bridge to a supply rail can do harm, so these pairs are read before power"
    seconds = sum(row.seconds for row in rows[1:])
    return replace(
        step, words=words, reason=reason, seconds=one.seconds, check=one, left=len(rows) - 1, left_seconds=seconds
    )


def copper_now(binding: Binding, step: NextStep) -> tuple[NextStep, str]:
    """The copper's step, and its kind for the choice. After a start was seen the proof of what was mended comes first, and what else a mend has opened
    again of the round is the rest."""
    ups = binding.state.power_ups
    if ups and step.kind == "area":
        return step, ""
    if step.kind == "isolation":
        first = pairs_before_power(binding)
        if first:
            return pair_first(step, first), step.kind
        after = next_without_pairs(binding)
        return (after, after.kind) if after.kind in COPPER_WORK else (step, REST)
    plain = step.kind == "check" and step.span is None and step.check is not None
    if not plain or new_wire_step(binding, posterior_of(binding)) is not None:
        return step, step.kind
    if not ups and not _read_before(binding, step):
        return step, step.kind
    begun = ups[-1].at if ups else -1
    since = {one.entry for one in binding.state.acts if one.at > begun}
    sites = {site for entry, mended in binding.mended if entry in since for site in mended}
    posterior = posterior_of(binding)
    doubtful = {one for one in sites if one in posterior.copper.site and posterior.p(one) >= binding.basis.proven_below}
    check = next((one for one in plan_of(binding).checks if doubtful & set(one.sites)), None) if doubtful else None
    if check is None:
        return step, REST
    words = f"Touch {check.point_a} and {check.point_b}: it shows whether what was mended holds."
    reason = "The proof of a mend comes before power."
    return replace(step, words=words, reason=reason, seconds=check.seconds, check=check), step.kind


def waiting(view: WholeView) -> tuple[str, ...]:
    """What of the round waits until a start was seen."""
    waits = view.kind == REST or not view.binding.state.power_ups
    rows = kept_with_copper(view.binding, "pairs that wait", lambda: plan_of(view.binding).isolation) if waits else ()
    if not rows:
        return ()
    minutes = sum(one.seconds for one in rows) / 60.0
    words = (
        f"{len(rows)} pairs of nets that belong apart wait until a start was seen ({minutes:.0f} min modelled; none of them is a supply rail). "
        "Where solder flowed between pins read them first: coppermend round CASE."
    )
    return (words,)
