"""From a meter's stream of ohms to one settled reading for each touch of the tips. Pure: the times come with the samples.

A meter that reads ohms all the time shows overload while the tips are in the air, a few wrong values while the tips bite and it looks for
its range, then the value. ``feel`` takes one sample after the other and gives a reading once per touch: when the newest samples agree with
each other for long enough. The next reading needs the tips lifted first. Overload is never an answer by itself: an open net and tips in
the air look alike, so "open" is said by the person (or the value is taken on demand).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import median


@dataclass(frozen=True, slots=True)
class TouchRules:
    """When a touch counts. All are assumptions (common practice, no source), set for handheld meters of 2 to 20 readings a second.

    ``apart_ohm`` at or above it the tips count as apart, ``lift_s`` apart for so long before another touch can begin (shorter gaps are
    bouncing tips or a meter that changes its range), ``settle_s`` and ``samples`` how long and how often the newest values agree,
    within ``relative`` of the largest or ``absolute_ohm``, whichever is more.
    """

    apart_ohm: float = 20e6
    lift_s: float = 0.25
    settle_s: float = 0.2
    samples: int = 3
    relative: float = 0.01
    absolute_ohm: float = 0.02


RULES = TouchRules()


@dataclass(frozen=True, slots=True)
class TouchState:
    """Where the tips are: ``lift`` (seen touching from the start or read already: lift them), ``apart``, ``landing``.

    ``apart_since_s`` when the present run of overload began, None while there is a value; ``tail`` the newest samples that agree, as (s, ohm).
    """

    where: str = "lift"
    apart_since_s: float | None = None
    tail: tuple[tuple[float, float], ...] = ()
    last_s: float | None = None


@dataclass(frozen=True, slots=True)
class Settled:
    """One touch's reading: when it settled in s, the median in ohm, how far its samples lay apart in ohm, how many they were."""

    at_s: float
    ohm: float
    spread_ohm: float
    samples: int


def feel(
    state: TouchState, at_s: float, ohm: float | None, rules: TouchRules = RULES
) -> tuple[TouchState, Settled | None]:
    """The state after one more sample, and the reading when this sample settled a touch.

    ``at_s`` seconds on any clock that does not go back (after a step back the samples before it are forgotten), ``ohm`` None for overload.

    >>> state = TouchState()
    >>> for t, r in [(0.0, None), (0.3, None), (0.6, 7.0), (0.7, 0.412), (0.8, 0.410), (0.9, 0.411)]:
    ...     state, done = feel(state, t, r)
    >>> (done.ohm, done.samples, state.where)
    (0.411, 3, 'lift')
    """
    if state.last_s is not None and at_s < state.last_s:
        state = replace(state, apart_since_s=None, tail=())
    state = replace(state, last_s=at_s)
    if ohm is None or ohm >= rules.apart_ohm:
        since = at_s if state.apart_since_s is None else state.apart_since_s
        where = "apart" if at_s - since >= rules.lift_s else state.where
        return replace(state, where=where, apart_since_s=since, tail=()), None
    state = replace(state, apart_since_s=None)
    if state.where == "lift":
        return state, None
    tail = _agreeing((*state.tail, (at_s, ohm)), rules)
    if len(tail) < rules.samples or tail[-1][0] - tail[0][0] < rules.settle_s:
        return replace(state, where="landing", tail=tail), None
    values = [one for _, one in tail]
    done = Settled(at_s, median(values), max(values) - min(values), len(values))
    return replace(state, where="lift", tail=()), done


def _agreeing(tail: tuple[tuple[float, float], ...], rules: TouchRules) -> tuple[tuple[float, float], ...]:
    """The newest samples that agree with each other."""
    high = low = tail[-1][1]
    for back, (_, ohm) in enumerate(reversed(tail)):
        high, low = max(high, ohm), min(low, ohm)
        if high - low > max(rules.relative * max(abs(high), abs(low)), rules.absolute_ohm):
            return tail[len(tail) - back :]
    return tail
