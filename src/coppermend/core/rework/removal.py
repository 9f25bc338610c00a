"""Getting a part out without new harm: how well each joint's heat runs away, in which order to work, what to shield, what is at risk.

What is computed: thermal resistances on the board's own copper (``removal_heat.py``). What is assumed: how well a tip gives its heat away,
and how long heat stays; both stand in the answer and are inputs.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.model import Basis, WorkArea
from coppermend.core.belief.priors import priors
from coppermend.core.board.conditions import laminate_gaps
from coppermend.core.board.model import Board, Part, PartState
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.copper.model import CopperGraph, PinPlace, SiteKind
from coppermend.core.findings import Place, refuse
from coppermend.core.rework.heat.limits import NOT_ALL_OVER, TG_OLD_C, below_tg, over_laminate
from coppermend.core.rework.removal_copper import PinCopper, copper_of_pin, ground_round
from coppermend.core.rework.removal_heat import (
    COPPER_W_MK,
    FILM_W_M2K,
    LAMINATE_IN_W_MK,
    LAMINATE_THROUGH_W_MK,
    heat_paths,
)
from coppermend.core.rework.removal_kind import cautions_of, kind_of, steps_for
from coppermend.core.rework.removal_near import SHIELD_MM, Beside, Under, lies_under, to_shield
from coppermend.core.rework.rules import Rule

MOST_PINS = 400
"""Pins that one solve takes; a part with more is refused."""
THICK_MM = 3.2
"""A board thicker than this is unlikely and is said: twice the usual 1.6 mm. Our choice."""
LEAST_LIQUIDUS_C = 60.0
"""No solder is all liquid below it: indium-bismuth-tin melts at 62 degC (from memory)."""
MOST_SWAPPED, SWEEPS = 100, 4
"""Up to so many joints the greedy order is bettered by exchanging pairs, in at most so many sweeps over all pairs."""


@dataclass(frozen=True, slots=True)
class Bench:
    """What the plan assumes about iron, air and solder; every field is an input. No source but common practice where none is named.

    ``tip_c``: 316 to 371 degC is advised (docs/sources.md). ``preheat_c``: 75 to 125 degC, at most Tg less 10 K (docs/sources.md).
    ``liquidus_c``: Sn63Pb37. ``above_k``: how far above it a joint must get to be drawn clean. ``small_tip_k_per_w``, ``big_tip_k_per_w``:
    what lies between a tip's heater and the joint, wetted; orders from memory. ``kept``: share of its heat that a joint still has when the next is worked.
    """

    room_c: float = 20.0
    tip_c: float = 350.0
    preheat_c: float = 100.0
    liquidus_c: float = 183.0
    above_k: float = 40.0
    small_tip_k_per_w: float = 20.0
    big_tip_k_per_w: float = 8.0
    film_w_m2k: float = FILM_W_M2K
    kept: float = 0.8

    def joint_c(self, k_per_w: float, tip_k_per_w: float, board_c: float) -> float:
        """Steady temperature of a joint under the tip in degC: the tip's and the board's resistance divide the difference.

        >>> round(Bench().joint_c(20.0, 20.0, 20.0), 1)
        185.0
        """
        return board_c + (self.tip_c - board_c) * k_per_w / (k_per_w + tip_k_per_w)

    def need(self, k_per_w: float) -> str:
        """What a pin needs: "ordinary", "bigger tip", "preheat" or "preheat and bigger tip".

        >>> Bench().need(70.0), Bench().need(18.0), Bench().need(9.0)
        ('ordinary', 'bigger tip', 'preheat and bigger tip')
        """
        wanted = self.liquidus_c + self.above_k
        if self.joint_c(k_per_w, self.small_tip_k_per_w, self.room_c) >= wanted:
            return "ordinary"
        if self.joint_c(k_per_w, self.big_tip_k_per_w, self.room_c) >= wanted:
            return "bigger tip"
        return "preheat and bigger tip"


RESTS_ON = (
    f"K/W: steady heat in foils ({COPPER_W_MK:g} W/mK) and laminate ({LAMINATE_IN_W_MK:g} in its plane, {LAMINATE_THROUGH_W_MK:g} W/mK through it), "
    "plated holes as copper, both faces to still air. Held against closed forms and another solver: within 3 to 10 %, pins on spokes 6 to 8 % low (docs, the heat of a joint).",
    "W: what holds the joint at its working temperature without preheat, (liquidus + what it is worked above - room) / (K/W).",
    "Needs: heat divided over the tip's own resistance, which is from memory (no published figure was found), and the joint's.",
    "Order: each joint keeps so much of its heat until the next is worked (an input, no source), and warms the others by the K/W between them; "
    "the percentage holds the hottest moment met against going pin by pin.",
    f"Shield: parts within {SHIELD_MM:g} mm of the pins whose designator, value or package says that heat harms them (common practice, no source).",
    "Under: tracks of the part's own side within its outline and the hull of its pins, from 0.2 mm of length on (our choice).",
    "At risk: the priors of the bench table; severity 3 where a joint needs preheat and a bigger tip, else 2 (assumed).",
)
"""What the figures of a plan rest on besides its ``bench``."""

NEEDS = ("ordinary", "bigger tip", "preheat and bigger tip")


@dataclass(frozen=True, slots=True)
class PinHeat:
    """One pin: ``k_per_w`` rise over the air per watt (K/W), ``rank`` 1 for the joint whose heat runs away fastest, its ``need``, and why."""

    number: str
    k_per_w: float
    rank: int
    need: str
    copper: tuple[PinCopper, ...]
    reasons: tuple[str, ...]
    x_mm: float
    y_mm: float
    watts: float
    """What holds the joint at its working temperature without preheat."""

    def as_dict(self) -> dict[str, object]:
        """The pin as plain JSON values."""
        return {
            "number": self.number,
            "x_mm": round(self.x_mm, 3),
            "y_mm": round(self.y_mm, 3),
            "k_per_w": round(self.k_per_w, 2),
            "rank": self.rank,
            "need": self.need,
            "watts": round(self.watts, 2),
            "copper": [one.as_dict() for one in self.copper],
            "reasons": list(self.reasons),
        }


@dataclass(frozen=True, slots=True)
class AtRisk:
    """A site that the work disturbs, with its prior probability to be broken afterwards."""

    site: str
    kind: str
    p: float
    net: str
    words: str

    def as_dict(self) -> dict[str, object]:
        """The site as plain JSON values."""
        return {"site": self.site, "kind": self.kind, "p": self.p, "net": self.net, "words": self.words}


@dataclass(frozen=True, slots=True)
class RemovalPlan:
    """The plan for one part. ``order``: pin numbers in working order; ``peak_share``: hottest moment of that order over that of going pin by pin.

    ``polygon`` and ``severity``: the work area to mark afterwards; ``at_risk`` what it touches, likeliest break first.
    """

    part: str
    pins: tuple[PinHeat, ...]
    order: tuple[str, ...]
    peak_share: float
    shield: tuple[Beside, ...]
    under: tuple[Under, ...]
    polygon: tuple[tuple[float, float], ...]
    severity: int
    at_risk: tuple[AtRisk, ...]
    steps: tuple[Rule, ...]
    notes: tuple[str, ...]
    bench: Bench
    unknowns: int = field(compare=False)
    itself: tuple[Rule, ...] = ()
    """What to mind of the part itself (``removal_kind.py``), before anything else."""
    kind: str = ""
    """What the part is where that changes how it is taken out: cell, supercapacitor, tantalum, electrolytic, mains, tube, plastic, delicate; "" otherwise."""

    board_words: str = ""
    """The laminate and the foils that the heat was reckoned with."""

    @property
    def rests_on(self) -> tuple[str, ...]:
        """What the figures rest on besides the ``bench``."""
        return (self.board_words, *RESTS_ON) if self.board_words else RESTS_ON

    def as_dict(self) -> dict[str, object]:
        """The plan as plain JSON values."""
        return {
            "part": self.part,
            "kind": self.kind,
            "itself": [{"topic": one.topic, "words": one.words, "source": one.source} for one in self.itself],
            "pins": [one.as_dict() for one in self.pins],
            "order": list(self.order),
            "peak_share": round(self.peak_share, 3),
            "shield": [one.as_dict() for one in self.shield],
            "under": [one.as_dict() for one in self.under],
            "area": {"kind": "rework", "severity": self.severity, "polygon": [list(one) for one in self.polygon]},
            "at_risk": [one.as_dict() for one in self.at_risk],
            "steps": [{"topic": one.topic, "words": one.words, "source": one.source} for one in self.steps],
            "notes": list(self.notes),
            "rests_on": list(self.rests_on),
            "assumed": asdict(self.bench),
        }


def plan_removal(
    board: Board,
    graph: CopperGraph,
    part: Part,
    polygon: Sequence[tuple[float, float]],
    basis: Basis | None = None,
    bench: Bench | None = None,
) -> RemovalPlan:
    """The removal plan of a part: heat per pin, order, neighbours, copper under it, and the sites that the work area ``polygon`` (mm) puts at risk.

    Refusals: REM-001 (copper not known), REM-002 (no pins), REM-003 (too many pins), REM-004 (it is out already), REM-005 (numbers out of range).
    """
    bench = checked_bench(bench or Bench())
    _check(board, graph, part)
    places = {one.number: one for one in graph.pins if one.part == part.ref}
    ground = ground_round(board, part, places, bench.film_w_m2k)
    copper = [copper_of_pin(graph, places[pin.number]) if pin.number in places else () for pin in part.pins]
    hot = [
        replace(one, spoked=any(layer.spokes for layer in its)) for one, its in zip(ground.pins, copper, strict=True)
    ]
    answer = heat_paths(ground.area, ground.copper, ground.stack, hot, ground.barrels)
    pins = _pins(part, copper, answer.k_per_w, bench)
    at, share = working_order(answer.transfer, [NEEDS.index(one.need) for one in pins], bench.kept)
    severity = 3 if any(one.need == NEEDS[2] for one in pins) else 2
    area = WorkArea("removal", tuple(polygon), "rework", severity)
    at_risk = _at_risk(graph, area, basis or Basis())
    kind = kind_of(part, [graph.net_names[one.net] for one in graph.points if one.part == part.ref])
    return RemovalPlan(
        part.ref,
        pins,
        tuple(pins[k].number for k in at),
        share,
        to_shield(board, part),
        lies_under(graph, part),
        tuple(polygon),
        severity,
        at_risk,
        steps_for(kind),
        (*_too_warm(bench), *_notes(board, graph, part, pins, places, ground.evenly_spaced)),
        bench,
        answer.unknowns,
        cautions_of(part, kind),
        kind,
        f"Board: {sum(ground.stack.gap_mm):.2f} mm of laminate, foils of {', '.join(f'{1e3 * one:.0f}' for one in ground.stack.copper_mm)} um from the component side "
        "(as the package or a correction states them, else 1.6 mm and 35 um).",
    )


def checked_bench(bench: Bench) -> Bench:
    """The bench as it is; Refusal REM-005 where a number cannot be."""
    reasons = []
    if not 0.0 < bench.film_w_m2k <= 1000.0:
        reasons.append(f"a film coefficient of {bench.film_w_m2k:g} W/m2K (more than 0, at most 1000)")
    if not LEAST_LIQUIDUS_C <= bench.liquidus_c <= 450.0:
        reasons.append(f"solder that is all liquid at {bench.liquidus_c:g} degC ({LEAST_LIQUIDUS_C:g} to 450)")
    if not bench.liquidus_c + bench.above_k < bench.tip_c <= 500.0:
        reasons.append(
            f"a tip at {bench.tip_c:g} degC (above {bench.liquidus_c + bench.above_k:g}, where the solder runs, and at most 500)"
        )
    if not bench.room_c <= bench.preheat_c <= 180.0:
        reasons.append(
            f"a preheat of {bench.preheat_c:g} degC (between the room's {bench.room_c:g} and 180; old FR-4 bears {below_tg(TG_OLD_C).value:g}, its Tg less 10 K)"
        )
    if not (bench.small_tip_k_per_w > 0 and bench.big_tip_k_per_w > 0 and 0.0 <= bench.kept < 1.0):
        reasons.append("a tip's resistance of 0 or less, or a kept share outside 0 to 1")
    if reasons:
        raise refuse("REM-005", f"The plan cannot use {'; '.join(reasons)}.", "Give numbers in the stated range.")
    return bench


def _check(board: Board, graph: CopperGraph, part: Part) -> None:
    where = Place(thing=part.ref)
    if not copper_is_known(board):
        raise refuse(
            "REM-001",
            f"The copper of this board is not known (it comes from a pin list), so no heat path of {part.ref} can be computed.",
            f"Treat every ground and supply pin as one that sinks heat, and mark the area after the work: coppermend area add CASE --part {part.ref}.",
            where,
        )
    if not part.pins:
        raise refuse(
            "REM-002",
            f"{part.ref} has no pins on this board.",
            "Name a part with pins, or mark the area by hand: coppermend area add CASE --polygon 'x,y x,y x,y'.",
            where,
        )
    if len(part.pins) > MOST_PINS:
        raise refuse(
            "REM-003",
            f"{part.ref} has {len(part.pins)} pins; one plan takes {MOST_PINS}.",
            "Work it with hot air as a whole; mark the area after the work with coppermend area add CASE.",
            where,
        )
    state = dict(graph.part_states).get(part.ref, part.state)
    if state in (PartState.OUT, PartState.NOT_FITTED) and not _socket_left(board, part, state):
        raise refuse(
            "REM-004",
            f"{part.ref} is {state.value} already: there is nothing to take out.",
            f"If it is still there, say so first: coppermend note CASE state {part.ref} soldered.",
            where,
        )


def _socket_left(board: Board, part: Part, state: PartState) -> bool:
    """A chip that is out of its socket leaves the socket to be taken out."""
    return state is PartState.OUT and board.part(part.ref).state is PartState.SOCKETED


def _pins(
    part: Part, coppers: Sequence[tuple[PinCopper, ...]], k_per_w: NDArray[np.float64], bench: Bench
) -> tuple[PinHeat, ...]:
    """Every pin with its rank (1 = least K/W) and reasons; ``coppers``: what hangs on each."""
    rank = np.empty(len(part.pins), dtype=np.int64)
    rank[np.argsort(k_per_w, kind="stable")] = np.arange(1, len(part.pins) + 1)
    typical = float(np.median(k_per_w))
    out = []
    for k, (pin, copper) in enumerate(zip(part.pins, coppers, strict=True)):
        value = float(k_per_w[k])
        need = bench.need(value)
        watts = (bench.liquidus_c + bench.above_k - bench.room_c) / value
        out.append(
            PinHeat(
                pin.number,
                value,
                int(rank[k]),
                need,
                copper,
                tuple(_reasons(copper, value, typical, need, bench)),
                pin.x_mm,
                pin.y_mm,
                watts,
            )
        )
    return tuple(out)


def _reasons(copper: Sequence[PinCopper], value: float, typical: float, need: str, bench: Bench) -> list[str]:
    """Why the pin stands where it stands."""
    words = [one.words() for one in copper] or ["no land was found: laminate alone takes the heat"]
    if value < 0.7 * typical:
        words.append(
            f"{value:.0f} K/W against {typical:.0f} K/W of this part's middle pin: its copper draws the heat away"
        )
    if need == NEEDS[1]:
        reached = bench.joint_c(value, bench.small_tip_k_per_w, bench.room_c)
        words.append(f"a small tip gets it to about {reached:.0f} degC only: take a bigger tip and more time")
    if need == NEEDS[2]:
        reached = bench.joint_c(value, bench.big_tip_k_per_w, bench.room_c)
        warm = bench.joint_c(value, bench.big_tip_k_per_w, bench.preheat_c)
        words.append(
            f"even a big tip gets it to about {reached:.0f} degC only; with the board at {bench.preheat_c:.0f} degC to about {warm:.0f}"
        )
    return words


def working_order(transfer: NDArray[np.float64], stage: Sequence[int], kept: float) -> tuple[tuple[int, ...], float]:
    """An order of joints that keeps the heat left from earlier ones low where the next is worked, and its peak over that of pin order.

    ``transfer`` (n, n) K/W between pins, ``stage`` (n,) joints of a lower stage come first, ``kept`` share of heat left one joint later. Greedy from
    each start of the first stage, the best of them bettered by exchanges. The peak is the largest sum of transfer * kept^(joints since) met.

    >>> import numpy as np
    >>> line = np.exp(-np.abs(np.subtract.outer(np.arange(6), np.arange(6))))
    >>> order, share = working_order(line, [0] * 6, 0.8)
    >>> sorted(order), round(share, 2)
    ([0, 1, 2, 3, 4, 5], 0.83)
    """
    n = len(stage)
    cross = transfer - np.diag(np.diag(transfer))
    if n < 2:
        return tuple(range(n)), 1.0
    levels = np.asarray(stage)
    fade = _fading(n, kept)
    starts = np.flatnonzero(levels == levels.min())
    greedy = min((_peak(cross, fade, one), one) for one in (_greedy(cross, levels, int(k), kept) for k in starts))[1]
    order = _swapped(cross, fade, levels, greedy) if n <= MOST_SWAPPED else greedy
    plain = _peak(cross, fade, tuple(range(n)))[0]
    return order, _peak(cross, fade, order)[0] / plain if plain > 0 else 1.0


def _fading(n: int, kept: float) -> NDArray[np.float64]:
    """(n, n) what is left at step t (row) of a joint worked at step s (column): kept^(t - s) before t, nothing after."""
    step = np.arange(n)
    gone = np.subtract.outer(step, step)
    return np.where(gone > 0, kept ** np.maximum(gone, 0), 0.0)


def _greedy(cross: NDArray[np.float64], levels: NDArray[np.int64], start: int, kept: float) -> tuple[int, ...]:
    """Always the coolest joint of the lowest stage next."""
    order = [start]
    left = cross[:, start] * kept
    todo = np.ones(len(levels), dtype=bool)
    todo[start] = False
    while todo.any():
        here = np.flatnonzero(todo & (levels == levels[todo].min()))
        nxt = int(here[np.argmin(left[here])])
        order.append(nxt)
        todo[nxt] = False
        left = (left + cross[:, nxt]) * kept
    return tuple(order)


def _peak(cross: NDArray[np.float64], fade: NDArray[np.float64], order: Sequence[int]) -> tuple[float, float]:
    """Largest and mean heat left from earlier joints at the joint being worked."""
    at = np.asarray(order)
    met = np.einsum("ij,ij->i", cross[at[:, None], at[None, :]], fade)
    return float(met.max()), float(met.mean())


def _swapped(
    cross: NDArray[np.float64], fade: NDArray[np.float64], levels: NDArray[np.int64], order: tuple[int, ...]
) -> tuple[int, ...]:
    """The order after exchanging joints of one stage for as long as that lowers the peak (then the mean)."""
    best, now = _peak(cross, fade, order), list(order)
    for _ in range(SWEEPS):
        before = best
        for i, j in itertools.combinations(range(len(now)), 2):
            if levels[now[i]] != levels[now[j]]:
                continue
            now[i], now[j] = now[j], now[i]
            found = _peak(cross, fade, now)
            if found < best:
                best = found
            else:
                now[i], now[j] = now[j], now[i]
        if best == before:
            break
    return tuple(now)


def _at_risk(graph: CopperGraph, area: WorkArea, basis: Basis) -> tuple[AtRisk, ...]:
    """Sites that the area touches, likeliest break first."""
    inside = priors(graph, (area,), basis)
    outside = priors(graph, (), basis)
    hit = np.flatnonzero(
        (inside > outside) & np.array([s.kind is not SiteKind.THROUGH for s in graph.sites], dtype=bool)
    )
    found = [
        AtRisk(s.id, str(s.kind), float(inside[k]), graph.net_names[s.net], s.words or s.id)
        for k, s in ((int(k), graph.sites[int(k)]) for k in hit)
    ]
    return tuple(sorted(found, key=lambda one: (-one.p, one.site)))


def _too_warm(bench: Bench) -> tuple[str, ...]:
    """Said first where the board is to be preheated over its laminate's limit."""
    over = over_laminate(bench.preheat_c)
    return (f"Preheat: {over} {NOT_ALL_OVER}",) if over else ()


def _notes(
    board: Board, graph: CopperGraph, part: Part, pins: Sequence[PinHeat], places: dict[str, PinPlace], evenly: bool
) -> list[str]:
    """What to know about this plan."""
    notes = []
    state = dict(graph.part_states).get(part.ref, part.state)
    if part.state is PartState.SOCKETED or state is PartState.SOCKETED:
        notes.append(f"{part.ref} sits in a socket: lift the chip out first; the plan is for the socket's joints.")
    bare = [pin.number for pin in part.pins if pin.number not in places]
    if bare:
        notes.append(
            f"No land was found for {', '.join(bare[:8])}{' and others' if len(bare) > 8 else ''}: their figures hold for bare laminate."
        )
    hard = [one.number for one in pins if one.need != NEEDS[0]]
    if hard:
        notes.append(f"Last in the order: {', '.join(hard)}. By then the board is warm; preheat helps all of them.")
    thick = sum(laminate_gaps(board)) or board.thickness_mm
    if thick > THICK_MM:
        notes.append(
            f"The board counts as {thick:.2f} mm thick, as its package states it: unlikely, 1.6 mm is usual. Measure its edge; on a thinner board "
            "less heat runs away."
        )
    if evenly:
        notes.append("The distances between layers are not stated in the package; even spacing is taken.")
    elif len(board.layers) > 2:
        gaps = ", ".join(f"{one:g}" for one in laminate_gaps(board))
        notes.append(f"Laminate between the layers as the package states it, from the component side: {gaps} mm.")
    notes.append(
        "The figures are steady state: what holds a joint hot. The first seconds of heating also fill the pin and its copper."
    )
    return notes
