"""The plan of warming a board: how long to a safe temperature, how even, where it settles, how hot the heater may be, how it cools."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coppermend.core.findings import refuse
from coppermend.core.rework.heat.limits import (
    PREHEAT,
    PREHEAT_LOW,
    RAMP_DOWN,
    RAMP_UP,
    TG_OLD_C,
    TOUCH_C,
    Limit,
    below_tg,
    over_laminate,
)
from coppermend.core.rework.heat.plate import Heater, Room, Run, covered, simulate, steady
from coppermend.core.rework.heat.slab import Floats, Slab

LONGEST_S = 2400.0
STEP_S = 3.0
FINE_S, FINE_STEP_S = 30.0, 0.25
"""The first half minute is followed in fine steps: there a board warms fastest, and a strong heater is done within it."""
RATE_OVER_S = 10.0
"""A rate of warming is the mean over so many seconds, over all of the way where that is shorter: the skin of a face that meets a film jumps, what is
soldered to it does not (no source)."""
HOTTEST_SETTING_C = 400.0


@dataclass(frozen=True, slots=True)
class Held:
    """A limit beside what the plan reaches: ``found`` in the limit's unit, ``kept`` whether it is kept."""

    limit: Limit
    found: float
    kept: bool

    @property
    def found_words(self) -> str:
        """What was found, as near as its limit asks.

        >>> Held(Limit("warming, fastest", 2.0, "K/s", ""), 2.04, False).found_words
        '2.04'
        """
        return f"{self.found:.2f}" if self.limit.unit == "K/s" else f"{self.found:.1f}"


@dataclass(frozen=True, slots=True)
class HeatPlan:
    """Warming and cooling. Seconds, degC, K.

    ``time_s`` until the coldest place of the heated area is at ``target_c`` (None: never within 40 minutes); ``hottest_c`` the hottest place of
    the board then; ``across_k`` hottest less coldest in the heated area then; ``through_k`` the largest difference between the faces on the way,
    ``bow_mm`` how far it bends the free board; ``ramp_k_s`` the fastest rise of a face over any ten seconds from switching on (over all of
    the way where the target is reached sooner);
    ``settles_c`` hottest place if the heater stays on; ``setting_c`` the hottest setting of the heater that may stay on under the laminate's
    limit (None: none of up to 400 degC); ``cool_s`` from there down to ``TOUCH_C`` in still air, ``fall_k_s`` the fastest fall.
    ``curve`` rows from 0 s on of (s, coldest solder side, hottest solder side, coldest component side, hottest component side) of the heated area.
    """

    target_c: float
    tg_c: float
    time_s: float | None
    hottest_c: float
    across_k: float
    through_k: float
    bow_mm: float
    ramp_k_s: float
    settles_c: float
    setting_c: float | None
    cool_s: float | None
    fall_k_s: float
    held: tuple[Held, ...]
    curve: tuple[tuple[float, float, float, float, float], ...]
    cooling: tuple[tuple[float, float, float], ...]
    """Rows of (s, coldest, hottest) after the heater is off."""
    words: str
    keeps_c: float | None = None
    """Where a limit is broken: the hottest setting of this heater, to 2 K, that reaches the target within all limits (None: none does)."""

    @property
    def kept(self) -> bool:
        """Whether the target is reached and every limit is kept."""
        return self.time_s is not None and all(one.kept for one in self.held)


def bow_mm(slab: Slab, through_k: float) -> float:
    """How far a free board bows, mm, when its faces differ by ``through_k``: a L^2 dT / (8 d), L its diagonal (plate with a linear
    temperature through it: B. A. Boley, J. H. Weiner, Theory of Thermal Stresses (1960), from memory).

    >>> from coppermend.core.rework.heat.slab import Build, cut
    >>> round(bow_mm(cut(Build((300.0, 400.0)), cells=4), 10.0), 2)   # 14e-6 x 0.5^2 x 10 / (8 x 1.6e-3)
    2.73
    """
    rows, columns = slab.inside.shape
    long = (columns * slab.dx_m) ** 2 + (rows * slab.dy_m) ** 2
    return float(1000 * slab.laminate.expansion_per_k * long * abs(through_k) / (8 * slab.thickness_m))


def plan_heat(
    slab: Slab,
    heater: Heater,
    *,
    target_c: float,
    tg_c: float = TG_OLD_C,
    room: Room | None = None,
    start_c: float | None = None,
    coarse: Slab | None = None,
) -> HeatPlan:
    """How the board warms under one heater until all of the heated area is at ``target_c``, and how it cools after.

    Where that breaks a limit, a setting that keeps them is looked for on the ``coarse`` slab (same board, fewer cells; default ``slab``) and tried
    on ``slab``. Refusals: a target at or below the room, or above what the laminate takes (Tg less 10 K).

    >>> from coppermend.core.rework.heat.slab import Build, cut
    >>> plan = plan_heat(cut(Build((100.0, 80.0)), cells=6, slices=3), Heater("s", 150.0, 40.0), target_c=100.0)
    >>> plan.time_s is not None and 60 < plan.time_s < 600
    True
    """
    room = Room() if room is None else room
    _check_target(target_c, tg_c, room)
    cells = covered(slab, heater)
    run = _until_warm(slab, heater, cells, target_c, room, start_c)
    both = np.stack([run.solder, run.component])
    coldest = np.nanmin(both[:, :, cells], axis=(0, 2))
    last = len(run.seconds) - 1
    time_s = _crossing(run.seconds, coldest, target_c, last) if coldest[last] >= target_c else None
    now = both[:, last]
    through = float(np.nanmax(np.abs(run.solder[: last + 1] - run.component[: last + 1])))
    ramp = _fastest(slab, heater, run, room, start_c)
    settles = float(steady(slab, [heater], room)[:, slab.inside].max())
    cool = simulate(
        slab, [], LONGEST_S, room=room, step_s=STEP_S, start=run.last, until=lambda a, b: _all_under(a, b, slab.inside)
    )
    hottest = np.nanmax(np.stack([cool.solder, cool.component]), axis=(0, 2, 3))
    cold = np.nanmin(np.stack([cool.solder, cool.component]), axis=(0, 2, 3))
    under = np.flatnonzero(hottest <= TOUCH_C)
    falls = -np.diff(np.stack([cool.solder, cool.component]), axis=1)[:, 1:] / STEP_S
    fall = float(np.nanmax(falls)) if falls.size else 0.0
    plan = HeatPlan(
        target_c,
        tg_c,
        time_s,
        float(np.nanmax(now)),
        float(np.nanmax(now[:, cells]) - np.nanmin(now[:, cells])),
        through,
        bow_mm(slab, through),
        ramp,
        settles,
        highest_setting(slab, heater, tg_c, room),
        float(cool.seconds[under[0]]) if len(under) else None,
        fall,
        (),
        _curve(run, cells, last, room.celsius if start_c is None else start_c),
        tuple(
            (float(s), float(a), float(b))
            for s, a, b in zip(cool.seconds[::10], cold[::10], hottest[::10], strict=True)
        ),
        "",
    )
    plan = replace(plan, held=_held(plan))
    if not all(one.kept for one in plan.held if one.limit.name in BY_SETTING):
        start = room.celsius if start_c is None else start_c
        found = _within_limits(slab if coarse is None else coarse, slab, heater, plan, room, start)
        plan = replace(plan, keeps_c=None if found is None else found[0])
        return replace(plan, words=f"{_breach(plan, heater, found)} {_words(plan, heater)}")
    breach = _breach(plan, heater, None)
    return replace(plan, words=f"{breach} {_words(plan, heater)}" if breach else _words(plan, heater))


BY_SETTING = (below_tg(TG_OLD_C).name, PREHEAT.name, RAMP_UP.name)
"""The limits that a cooler heater keeps."""
SETTING_STEP_K = 2.0


def _within_limits(
    coarse: Slab, fine: Slab, heater: Heater, plan: HeatPlan, room: Room, start_c: float
) -> tuple[float, float] | None:
    """The hottest setting under the heater's own that reaches the target within the limits, degC, and the seconds it takes; None when there is none.

    Hotter is faster and less even, so the settings that do lie between one that is too cold and one that breaks a limit: halved on the coarse
    slab, then lowered step by step until it holds on the fine one.
    """
    low, high = plan.target_c, heater.celsius
    guess = room.celsius + (high - room.celsius) * RAMP_UP.value / max(plan.ramp_k_s, RAMP_UP.value)
    best: float | None = None
    middle = guess if low < guess < high - SETTING_STEP_K else (low + high) / 2
    while high - low > SETTING_STEP_K:
        found = _tried(coarse, replace(heater, celsius=middle), plan, room, start_c)
        if found == "broken":
            high = middle
        else:
            low = middle
            best = best if isinstance(found, str) else middle
        middle = (low + high) / 2
    for lower in range(4):
        if best is None:
            return None
        setting = float(math.floor(best - lower * SETTING_STEP_K))
        found = _tried(fine, replace(heater, celsius=setting), plan, room, start_c)
        if not isinstance(found, str):
            return setting, found
    return None


def _tried(slab: Slab, heater: Heater, plan: HeatPlan, room: Room, start_c: float) -> float | str:
    """Seconds to the target within the limits, "broken" where one is not kept, "cold" where the target is not reached."""
    cells = covered(slab, heater)
    settled = steady(slab, [heater], room)[:, cells]
    if float(settled.min()) <= plan.target_c:
        return "cold"
    run = _until_warm(slab, heater, cells, plan.target_c, room, start_c)
    both = np.stack([run.solder, run.component])
    coldest = np.nanmin(both[:, :, cells], axis=(0, 2))
    last = len(run.seconds) - 1
    hottest = float(np.nanmax(both[:, last]))
    if hottest > min(below_tg(plan.tg_c).value, PREHEAT.value):
        return "broken"
    if _fastest(slab, heater, run, room, start_c) > RAMP_UP.value:
        return "broken"
    return _crossing(run.seconds, coldest, plan.target_c, last) if coldest[last] >= plan.target_c else "cold"


def _breach(plan: HeatPlan, heater: Heater, found: tuple[float, float] | None) -> str:
    """Which limits the plan does not keep, and a setting that does; "" where all are kept or the target alone is missed."""
    broken = [one for one in plan.held if not one.kept and (one.limit != PREHEAT_LOW or plan.time_s is not None)]
    if not broken:
        return ""
    told = "; ".join(
        f"{one.limit.name} {one.found_words} {one.limit.unit}, {'at least' if one.limit == PREHEAT_LOW else 'at most'} {one.limit.value:g}"
        for one in broken
    )
    does = []
    if any(one.limit.name in BY_SETTING for one in broken):
        if found is None:
            does.append(
                "No cooler setting of this heater keeps it: aim lower, warm a larger area, or bring the heater up in steps."
            )
        else:
            does.append(
                f"Set the heater to {found[0]:.0f} degC instead: the target is reached after {found[1] / 60:.1f} minutes within the limits."
            )
    if any(one.limit == PREHEAT_LOW for one in broken):
        does.append(f"Aim at {PREHEAT_LOW.value:g} degC or more.")
    if any(one.limit == RAMP_DOWN for one in broken):
        does.append("Turn the heater down in steps before it is off.")
    return f"Limits are not kept at {heater.celsius:g} degC: {told}. {' '.join(does)} As asked:"


def time_to(slab: Slab, heater: Heater, target_c: float, *, room: Room, start_c: float | None = None) -> float | None:
    """Seconds until the coldest place of the heated area is at ``target_c``, None when that is never within 40 minutes."""
    cells = covered(slab, heater)
    run = _until_warm(slab, heater, cells, target_c, room, start_c)
    coldest = np.minimum(np.nanmin(run.solder[:, cells], axis=1), np.nanmin(run.component[:, cells], axis=1))
    return _crossing(run.seconds, coldest, target_c, len(coldest) - 1) if coldest[-1] >= target_c else None


def _until_warm(
    slab: Slab, heater: Heater, cells: NDArray[np.bool_], target_c: float, room: Room, start_c: float | None
) -> Run:
    """The board under the heater until the ``cells`` are all at ``target_c``, or for 40 minutes; in fine steps where that is within half a minute.

    The first row is the board as it was laid on.
    """

    def follow(seconds: float, step_s: float) -> Run:
        return simulate(
            slab,
            [heater],
            seconds,
            room=room,
            step_s=step_s,
            start=start_c,
            until=lambda a, b: _all_over(a, b, cells, target_c),
        )

    run = follow(LONGEST_S, STEP_S)
    if run.seconds[-1] <= FINE_S:
        run = follow(FINE_S + STEP_S, FINE_STEP_S)
    return _from_cold(run, room.celsius if start_c is None else start_c)


def _from_cold(run: Run, start_c: float) -> Run:
    """The run with the board as it was laid on in its first row: ``simulate`` has the faces under the heater there already."""
    solder, component = run.solder.copy(), run.component.copy()
    for faces in (solder, component):
        faces[0][np.isfinite(faces[0])] = start_c
    return replace(run, solder=solder, component=component)


def _fastest(slab: Slab, heater: Heater, run: Run, room: Room, start_c: float | None) -> float:
    """The fastest rise of a face of the board, K/s, over any ten seconds on the way of ``run``, its first half minute in fine steps."""
    if float(run.seconds[1]) > FINE_STEP_S:
        first = simulate(
            slab, [heater], min(FINE_S, float(run.seconds[-1])), room=room, step_s=FINE_STEP_S, start=start_c
        )
        start = room.celsius if start_c is None else start_c
        return max(_rise(_from_cold(first, start)), _rise(run))
    return _rise(run)


def _rise(run: Run) -> float:
    """The fastest mean rise of a face over ten seconds (at least; over the whole run where it is shorter), K/s."""
    step = float(run.seconds[1] - run.seconds[0])
    over = min(len(run.seconds) - 1, math.ceil(RATE_OVER_S / step - 1e-9))
    return max(float(np.nanmax(one[over:] - one[:-over])) / (over * step) for one in (run.solder, run.component))


def _all_over(solder: Floats, component: Floats, cells: NDArray[np.bool_], level: float) -> bool:
    return bool(solder[cells].min() >= level and component[cells].min() >= level)


def _all_under(solder: Floats, component: Floats, cells: NDArray[np.bool_]) -> bool:
    return bool(solder[cells].max() <= TOUCH_C and component[cells].max() <= TOUCH_C)


def _check_target(target_c: float, tg_c: float, room: Room) -> None:
    most = below_tg(tg_c)
    if not (math.isfinite(tg_c) and 80 <= tg_c <= 300):
        raise refuse(
            "HEA-006",
            f"A glass transition at {tg_c:g} degC is none of a board; expected 80 to 300.",
            f"Give the laminate's Tg, or leave it out: {TG_OLD_C:g} degC is taken for old FR-4.",
        )
    if not (math.isfinite(target_c) and room.celsius < target_c):
        raise refuse(
            "HEA-006",
            f"{target_c:g} degC is not warmer than the room ({room.celsius:g}).",
            "Give the temperature the board shall reach, 75 to 110 degC is usual.",
        )
    over = over_laminate(target_c, tg_c)
    if over:
        raise refuse(
            "HEA-006",
            over,
            f"Aim at {min(most.value, PREHEAT.value):g} degC or less, or say the laminate's true Tg.",
        )


def _crossing(seconds: Floats, values: Floats, level: float, at: int) -> float:
    """When the level was crossed, by line between two steps."""
    if at == 0 or values[at] == values[at - 1]:
        return float(seconds[at])
    part = (level - values[at - 1]) / (values[at] - values[at - 1])
    return float(seconds[at - 1] + part * (seconds[at] - seconds[at - 1]))


def _curve(
    run: Run, cells: NDArray[np.bool_], last: int, start_c: float
) -> tuple[tuple[float, float, float, float, float], ...]:
    """Rows of the warming, the board as it was laid on first."""
    every = max(1, last // 60)
    rows = [*range(0, last, every), last]
    first = (0.0, start_c, start_c, start_c, start_c)
    return (
        first,
        *(
            (
                float(run.seconds[i]),
                float(np.nanmin(run.solder[i][cells])),
                float(np.nanmax(run.solder[i][cells])),
                float(np.nanmin(run.component[i][cells])),
                float(np.nanmax(run.component[i][cells])),
            )
            for i in rows
            if i
        ),
    )


def highest_setting(slab: Slab, heater: Heater, tg_c: float, room: Room) -> float | None:
    """The hottest setting that may stay on: its hottest place settles 10 K under Tg. None when even the room is above that; at most 400 degC."""
    most = below_tg(tg_c).value
    if room.celsius >= most:
        return None

    def over(celsius: float) -> float:
        found = steady(slab, [replace(heater, celsius=celsius, start_s=0.0, end_s=math.inf)], room)
        return float(found[:, slab.inside].max()) - most

    low, high = most, HOTTEST_SETTING_C
    below, above = over(low), over(high)
    if above <= 0:
        return high
    for _ in range(30):
        middle = low + (high - low) * min(0.95, max(0.05, -below / (above - below)))
        here = over(middle)
        if abs(here) < 0.05:
            return middle
        if here < 0:
            low, below = middle, here
        else:
            high, above = middle, here
    return low


def _held(plan: HeatPlan) -> tuple[Held, ...]:
    laminate = below_tg(plan.tg_c)
    coldest = plan.target_c if plan.time_s is not None else min(plan.curve[-1][1], plan.curve[-1][3])
    return (
        Held(laminate, plan.hottest_c, plan.hottest_c <= laminate.value),
        Held(PREHEAT, plan.hottest_c, plan.hottest_c <= PREHEAT.value),
        Held(PREHEAT_LOW, coldest, coldest >= PREHEAT_LOW.value),
        Held(RAMP_UP, plan.ramp_k_s, plan.ramp_k_s <= RAMP_UP.value),
        Held(RAMP_DOWN, plan.fall_k_s, plan.fall_k_s <= RAMP_DOWN.value),
    )


def _words(plan: HeatPlan, heater: Heater) -> str:
    """The plan in a few sentences."""
    if plan.time_s is None:
        more = (
            "Heat a larger area, or aim lower."
            if plan.settles_c > below_tg(plan.tg_c).value
            else "Set the heater hotter."
        )
        first = (
            f"The heated area does not reach {plan.target_c:g} degC: its coldest place is at {plan.curve[-1][1]:.0f} degC (solder side) and "
            f"{plan.curve[-1][3]:.0f} degC (component side) after {LONGEST_S / 60:g} minutes. {more}"
        )
    else:
        first = f"All of the heated area is at {plan.target_c:g} degC after {plan.time_s / 60:.1f} minutes; the hottest place has {plan.hottest_c:.0f} degC then."
    most = below_tg(plan.tg_c).value
    settles = f"{plan.settles_c:.1f}" if abs(plan.settles_c - most) < 1 else f"{plan.settles_c:.0f}"
    if plan.settles_c > most:
        setting = (
            "" if plan.setting_c is None else f" Turn it down to {plan.setting_c:.0f} degC then, which may stay on."
        )
        second = f"Left on at {heater.celsius:g} degC it would go on to {settles} degC, over the laminate's limit of {most:g}.{setting}"
    else:
        second = f"Left on it settles at {settles} degC, under the laminate's limit of {most:g}."
    if plan.cool_s is None:
        third = f"It is not down to {TOUCH_C:g} degC within {LONGEST_S / 60:g} minutes after."
    else:
        third = f"Off, it takes {plan.cool_s / 60:.0f} minutes to {TOUCH_C:g} degC."
    return f"{first} {second} {third}"


@dataclass(frozen=True, slots=True)
class SpotPlan:
    """Hot air on a spot of a preheated board: ``time_s`` until the spot is at ``melt_c`` on the heated side (None: not within two minutes) and
    ``far_time_s`` on the other side; ``spot_c`` and ``far_c`` when the air is taken away; ``over_tg_s`` seconds of the spot's side above Tg;
    ``around_c`` hottest place 10 mm off the nozzle's edge then."""

    melt_c: float
    time_s: float | None
    far_time_s: float | None
    spot_c: float
    far_c: float
    over_tg_s: float
    around_c: float
    words: str


SPOT_LONGEST_S = 120.0
SPOT_STEP_S = 0.5


def plan_spot(
    slab: Slab,
    nozzle: Heater,
    below: Sequence[Heater],
    *,
    melt_c: float,
    start_c: float,
    tg_c: float = TG_OLD_C,
    room: Room | None = None,
) -> SpotPlan:
    """How long hot air must stay on a spot of a board that is preheated to ``start_c`` (the heaters ``below`` stay on) until both faces are at
    ``melt_c``, and what the laminate sees. The slab should be a window round the nozzle with cells of at most a fifth of its width."""
    if not (math.isfinite(melt_c) and start_c < melt_c <= 350):
        raise refuse(
            "HEA-007",
            f"{melt_c:g} degC is nothing to melt at from a board of {start_c:g} degC; expected more than that and at most 350.",
            "Give where the joint's solder is all liquid (coppermend alloy mix says it) plus 20 K.",
        )
    cells = covered(slab, nozzle)
    rows, columns = np.nonzero(cells)
    row, column = int(np.median(rows)), int(np.median(columns))
    run = simulate(slab, [nozzle, *below], SPOT_LONGEST_S, room=room, step_s=SPOT_STEP_S, start=start_c)
    near, far = (run.component, run.solder) if nozzle.side == "c" else (run.solder, run.component)
    spot, other = near[:, row, column], far[:, row, column]
    time_s, far_s = (
        float(run.seconds[hit[0]]) if len(hit := np.flatnonzero(one >= melt_c)) else None for one in (spot, other)
    )
    end = len(run.seconds) - 1 if far_s is None else int(np.searchsorted(run.seconds, far_s))
    apart = np.hypot(
        (np.arange(slab.inside.shape[1])[None, :] - column) * slab.dx_m,
        (np.arange(slab.inside.shape[0])[:, None] - row) * slab.dy_m,
    )
    radius = math.sqrt(cells.sum() * slab.area_m2 / math.pi) + 0.010
    ring = slab.inside & (apart >= radius)
    around = float(np.nanmax(near[end][ring])) if ring.any() else math.nan
    over = float((near[: end + 1, row, column] > tg_c).sum() * SPOT_STEP_S)
    plan = SpotPlan(melt_c, time_s, far_s, float(spot[end]), float(other[end]), over, around, "")
    return replace(plan, words=_spot_words(plan, tg_c))


def _spot_words(plan: SpotPlan, tg_c: float) -> str:
    """The spot in words."""
    if plan.time_s is None:
        hurt = (
            f" Its laminate is above its glass transition ({tg_c:g} degC) for {plan.over_tg_s:.0f} s of them all the same: lands hold little in that time."
            if plan.over_tg_s > 0
            else ""
        )
        return f"The spot is only at {plan.spot_c:.0f} degC after {SPOT_LONGEST_S:g} s: preheat higher or use hotter or more air.{hurt}"
    far = (
        f"the other side after {plan.far_time_s:.0f} s"
        if plan.far_time_s is not None
        else f"the other side stays at {plan.far_c:.0f} degC: joints there need the iron"
    )
    return (
        f"The spot is at {plan.melt_c:g} degC after {plan.time_s:.0f} s, {far}. Its laminate is above its glass transition ({tg_c:g} degC) for "
        f"{plan.over_tg_s:.0f} s then: lands hold little in that time, move nothing before all solder runs. 10 mm beside it has {plan.around_c:.0f} degC."
    )
