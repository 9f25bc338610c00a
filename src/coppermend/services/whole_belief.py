"""What was seen in the last session with power on, weighed: a repair makes readings worthless, not what they had named."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import cast

from coppermend.core.belief.suspects.posterior import Observation, State, Witness, initial, observed, path_causes
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.log.fold import fold, is_repair
from coppermend.core.log.model import agreed_order
from coppermend.core.log.state import CaseState
from coppermend.core.planning.suspects_next import SuspectStep
from coppermend.services.bind import Binding, bind_state
from coppermend.services.powered import PoweredBoard
from coppermend.services.suspects import REPAIRS, board_of_case
from coppermend.services.whole_view import WORKS, WholeView

TESTED = ("part", "content")
"""What a test says of a part: any fault of it, or what stands in it."""
SURE = 0.95
"""From this chance on a test by itself names a part (that of a name under power)."""
MOST_ASKED = 5
"""The same places are read so often in one session at most (our choice)."""
AGAIN_OFF = 2
"""So often while the power is off for a mend: of what was worked on itself such a reading does not count (our choice)."""
WIRED = math.log(0.02)
"""How likely a stretch is still open once a wire lies round it (an assumption: the wire may be badly soldered)."""


def by_tests(found: Sequence[Observation]) -> list[tuple[str, float]]:
    """Parts that a test names by itself: bad cells of a memory or a ROM are no level at any pin, so no look would name them."""
    named: list[tuple[str, float]] = []
    for one in found:
        if not isinstance(one, Witness) or one.other >= math.log(1.0 - SURE):
            continue
        best = [name for kind, name, log in one.says if kind in TESTED and log == 0.0]
        others = (log for kind, name, log in one.says if not best or kind not in TESTED or name != best[0])
        rest = sum(map(math.exp, others)) if best else 1.0
        p = 1.0 / (1.0 + rest + math.exp(one.other))
        if len(best) == 1 and p >= SURE:
            named.append((f"part {best[0]}", p))
    return named


def last_repair(state: CaseState) -> int:
    """Number of the last entry that mended something; -1 where there is none."""
    acts = [one.at for one in state.acts if one.kind in REPAIRS and is_repair(one)]
    return max([*acts, *(one.at for one in state.wires)], default=-1)


def first_repair(state: CaseState) -> int:
    """Number of the first entry that mended something since the last power-up; beyond all where there is none."""
    since = state.power_ups[-1].at if state.power_ups else -1
    acts = [one.at for one in state.acts if one.kind in REPAIRS and is_repair(one) and one.at > since]
    return min([*acts, *(one.at for one in state.wires if one.at > since)], default=1 << 60)


def screen_since_repair(state: CaseState, machine: MachineModel) -> str:
    """What the last start since the last repair showed: "", "works", or the screen's name."""
    since = last_repair(state)
    for up in reversed(state.power_ups):
        if up.at <= since:
            break
        for seen in reversed(up.seen):
            if seen.screen and seen.at > since:
                k = machine.screen(seen.screen)
                return WORKS if k is not None and k == machine.screen(WORKS) else seen.screen
    return ""


def board(view: WholeView, session: Binding) -> PoweredBoard:
    """The board under power, on the copper as built."""
    view.made = view.made or board_of_case(
        replace(session, graph=session.base), view.book, view.machine, view.workshop.fields
    )
    return view.made


def session_then(view: WholeView, cut: int) -> Binding:
    """The case as it stood at entry number ``cut``, on the copper as it was then."""
    entries = list(agreed_order(view.workshop.store.entries(view.case)))
    if cut >= len(entries):
        return view.binding
    key = ("session", entries[cut].id, len(view.binding.state.undone))
    if key not in view.binding.kept:
        gone = set(view.binding.state.undone)
        kept = [one for one in entries[:cut] if one.id not in gone and one.kind != "undo"]
        view.binding.kept[key] = bind_state(fold(kept), view.binding.board, view.binding.base, "", view.binding.kept)
    return cast(Binding, view.binding.kept[key])


def looked_on(view: WholeView, found: Sequence[Observation], units: Sequence[str]) -> int:
    """How many observations were made since the first name stood."""
    if not units:
        return 0
    marks = view.binding.kept.setdefault(("first name", _last_power_up(view)), len(found))
    return max(0, len(found) - int(marks))


def not_worn_out(
    view: WholeView, made: PoweredBoard, looks: Sequence[SuspectStep], most: int = MOST_ASKED
) -> tuple[SuspectStep, ...]:
    """Without the checks and looks that were taken ``most`` times since the last power-up: what they say, if it counts at all, changes nothing any more."""
    ups = view.binding.state.power_ups
    since = ups[-1].at if ups else -1
    asked = Counter(
        frozenset(made.node_at(p.id) for p in one.points) for one in view.binding.state.readings if one.at > since
    )
    return tuple(one for one in looks if not one.spots or asked[frozenset(one.spots)] < most)


def _last_power_up(view: WholeView) -> str:
    """The entry of the last power-up, "" before the first."""
    ups = view.binding.state.power_ups
    return ups[-1].entry if ups else ""


def wired(session: Binding, made: PoweredBoard) -> list[Observation]:
    """The wires of a case as observations: what they go round is whole again. The board under power is that of the copper as built."""
    found: list[Observation] = []
    for wire in session.state.wires:
        a, b = (made.node_of_pin(f"{one.part}.{one.pin}") for one in (wire.a, wire.b))
        if a is None or b is None or a[0] != b[0]:
            continue
        sites = {s for k in path_causes(made.field, a[0], a[1], b[1]) for s in made.field.causes[k].sites}
        if sites:
            found.append(
                Witness(tuple(("site", s, WIRED) for s in sorted(sites)), 0.0, "a wire lies round it", wire.id)
            )
    return found


def weighed(binding: Binding, made: PoweredBoard, found: Sequence[Observation]) -> State:
    """The belief from the evidence, going on from what was weighed before when the evidence only grew."""
    key = ("whole belief", id(made))
    known = binding.kept.get(key)
    fresh = list(found)
    state: State | None = None
    if known is not None and known[0] is made:
        rest = Counter(fresh)
        rest.subtract(known[1])
        if all(n >= 0 for n in rest.values()):
            state, fresh = known[2], [one for one, n in rest.items() for _ in range(n)]
    state = observed(initial(made.field) if state is None else state, fresh) if fresh or state is None else state
    binding.kept.pop(key, None)
    binding.kept[key] = (made, Counter(found), state)
    return state
