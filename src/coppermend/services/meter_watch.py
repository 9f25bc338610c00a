"""A meter that is read all the time while the person works: one settled reading per touch, kept until somebody says between which points it was."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from coppermend.core.findings import Finding, Refusal, refuse
from coppermend.core.log.values import ohm_words
from coppermend.core.signals.leads import LeadZero
from coppermend.core.signals.touch import TouchState, feel
from coppermend.services.instruments import TRIED, Touched, zero_from
from coppermend.services.ports import Instruments, Meter, Sample

KEPT = 50
"""Touches that can still be noted."""
TRY_AGAIN_S = 2.0
"""How often a meter that went away is looked for."""
ZERO_WAITS_S = 20.0


@dataclass(frozen=True, slots=True)
class WatchState:
    """What the pages show. ``state``: off, on, lost. ``where`` of the tips: lift, apart, landing. ``touch`` the newest reading's id, "" before the first."""

    state: str = "off"
    address: str = ""
    name: str = ""
    wires: int = 2
    where: str = ""
    shown: str = ""
    touch: str = ""
    touch_words: str = ""
    trouble: Finding | None = None

    def as_dict(self) -> dict[str, Any]:
        """As plain JSON values."""
        out = {name: getattr(self, name) for name in WatchState.__slots__}
        return {**out, "trouble": self.trouble.as_dict() if self.trouble else None}


class MeterWatch:
    """Reads one meter in a thread of its own. When it goes away, that is said and it is looked for again; the rest of the bench is not held up."""

    def __init__(
        self,
        instruments: Instruments,
        new_id: Callable[[], str],
        now_s: Callable[[], float] = time.monotonic,
        again_s: float = TRY_AGAIN_S,
    ) -> None:
        self.instruments, self._new_id, self._now_s, self._again_s = instruments, new_id, now_s, again_s
        self._door = threading.Lock()
        self._changes = threading.Lock()  # starting and stopping, one at a time
        self._state = WatchState()
        self._baud = 9600
        self._end = threading.Event()
        self._thread: threading.Thread | None = None
        self._touches: dict[str, Touched] = {}
        self._recent: deque[Sample] = deque(maxlen=TRIED)
        self._samples = 0

    # ---- what others see ----
    def state(self) -> WatchState:
        """How it stands now."""
        with self._door:
            return self._state

    def touch(self, which: str) -> Touched:
        """A reading by its id. Refusal INS-012 when it is not known (any more)."""
        with self._door:
            found = self._touches.get(which)
        if found is None:
            raise refuse("INS-012", "This meter reading is not here any more.", "Lift the tips and touch once more.")
        return found

    def take_now(self) -> Touched:
        """What the meter shows at this moment, settled or not; overload is "open". Refusal INS-012 when no meter is being read."""
        with self._door:
            on, sample = self._state.state == "on", self._recent[-1] if self._recent else None
            if not on or sample is None:
                raise _no_meter()
            return self._keep(sample, sample.step_ohm)

    def zero(self) -> LeadZero:
        """The zero of the leads from the next few readings; the tips must be on each other. Refusal INS-011 when they are not, INS-012 without a meter."""
        with self._door:
            wanted, wires = self._samples + TRIED, self._state.wires
        until = time.monotonic() + ZERO_WAITS_S
        while time.monotonic() < until:
            with self._door:
                if self._state.state != "on":
                    raise _no_meter()
                if self._samples >= wanted:
                    return zero_from(tuple(self._recent), wires)
            time.sleep(0.02)
        raise refuse("INS-005", "The meter reads too slowly for a zero.", "Set it to a faster rate, then try again.")

    # ---- on and off ----
    def start(self, address: str, wires: int = 2, baud: int = 9600) -> WatchState:
        """Open a meter and read it from now on. A refusal leaves everything off."""
        with self._changes:
            self._stop()
            meter, name = self._open(address, wires, baud)
            with self._door:
                self._baud = baud
                self._state = WatchState("on", meter.address, name, wires, "lift")
                self._recent.clear()
            self._end = threading.Event()
            self._thread = threading.Thread(
                target=self._run, args=(meter, address, self._end), name="meter", daemon=True
            )
            self._thread.start()
            return self.state()

    def stop(self) -> WatchState:
        """Let go of the meter."""
        with self._changes:
            self._stop()
            return self.state()

    def _stop(self) -> None:
        if self._thread is not None:
            self._end.set()
            self._thread.join(10.0)
            self._thread = None
        with self._door:
            self._state = WatchState()

    def _open(self, address: str, wires: int, baud: int) -> tuple[Meter, str]:
        meter = self.instruments.meter(address, baud)
        try:
            name = meter.identity().words
            meter.set_ohms(wires)
        except Refusal:
            meter.close()
            raise
        return meter, name

    # ---- the thread ----
    def _run(self, meter: Meter | None, address: str, end: threading.Event) -> None:
        state = TouchState()
        while not end.is_set():
            if meter is None:
                meter = self._look_again(address, end)
                state = TouchState()
                continue
            try:
                sample = meter.read()
            except Refusal as err:
                if not self._lost(err.finding, end):
                    continue
                meter.close()
                meter = None
                continue
            state = self._took(sample, state, end)
        if meter is not None:
            meter.close()

    def _took(self, sample: Sample, state: TouchState, end: threading.Event) -> TouchState:
        state, done = feel(state, self._now_s(), sample.ohm)
        with self._door:
            if end.is_set():
                return state
            self._recent.append(sample)
            self._samples += 1
            self._state = replace(self._state, where=state.where, shown=ohm_words(sample.ohm), trouble=None)
            if done is not None:
                step = max(sample.step_ohm or 0.0, done.spread_ohm) or None
                self._keep(Sample(sample.raw, done.ohm, step), step)
        return state

    def _keep(self, sample: Sample, step_ohm: float | None) -> Touched:
        """Make a touch of a sample; the door is held."""
        made = Touched(self._new_id(), sample.raw, sample.ohm, step_ohm, self._state.wires, self._state.name)
        self._touches[made.id] = made
        while len(self._touches) > KEPT:
            del self._touches[next(iter(self._touches))]
        self._state = replace(self._state, touch=made.id, touch_words=made.words)
        return made

    def _lost(self, finding: Finding, end: threading.Event) -> bool:
        """What went wrong is shown; True when the meter is to be opened anew, False when one answer was spoilt only."""
        spoilt = finding.code == "INS-007"
        with self._door:
            if not end.is_set():
                self._state = replace(self._state, state="on" if spoilt else "lost", trouble=finding, shown="")
                self._recent.clear()
        if spoilt:
            end.wait(0.05)
        return not spoilt

    def _look_again(self, address: str, end: threading.Event) -> Meter | None:
        if end.wait(self._again_s):
            return None
        try:
            meter, name = self._open(address, self._state.wires, self._baud)
        except Refusal as err:
            with self._door:
                if not end.is_set():
                    self._state = replace(self._state, trouble=err.finding)
            return None
        with self._door:
            if not end.is_set():
                self._state = replace(self._state, state="on", name=name, trouble=None, where="lift")
        return meter


def _no_meter() -> Refusal:
    return refuse("INS-012", "No meter is being read.", "Connect one on the page 'Meter', or answer with the keys.")
