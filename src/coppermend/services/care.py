"""Cleaning and protection in a case: steps that are started, ticked, timed and photographed. The log holds every tick; the rest is computed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from coppermend.core.findings import refuse
from coppermend.core.log.consent import Consent, consent_of
from coppermend.core.log.state import CareTick, CaseState
from coppermend.core.rework.care import PROCEDURES, Procedure, Step, procedure
from coppermend.services.carework import owned, seconds_between, span_words
from coppermend.services.cases import case_state
from coppermend.services.entries import write
from coppermend.services.notes import Noted, noted
from coppermend.services.photos import attach_photo
from coppermend.services.workshop import Workshop

STATES = ("started", "done", "left out")


@dataclass(frozen=True, slots=True)
class StepNow:
    """A step as the log has it: ``state`` open, started, done or left out; ``seconds`` from start to tick (None where it was not started),
    ``wait_left_s`` of its waiting time still to go, ``photos`` as SHA-256."""

    step: Step
    state: str
    started_at: str
    ended_at: str
    seconds: float | None
    wait_left_s: float
    words: str
    photos: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The step as plain JSON values."""
        return {
            **self.step.as_dict(),
            "state": self.state,
            "started_at": self.started_at,
            "ended_at": self.ended_at,
            "seconds": self.seconds,
            "wait_left_s": round(self.wait_left_s, 1),
            "said": self.words,
            "photos": list(self.photos),
        }


@dataclass(frozen=True, slots=True)
class CareNow:
    """A procedure as far as a case has come with it; ``next`` the first step that is neither done nor left out ("" when all are)."""

    procedure: Procedure
    steps: tuple[StepNow, ...]
    next: str
    cautions: tuple[str, ...] = ()

    @property
    def done(self) -> int:
        """Steps that are over."""
        return sum(1 for one in self.steps if one.state in ("done", "left out"))

    def as_dict(self) -> dict[str, Any]:
        """The procedure as plain JSON values."""
        return {
            "procedure": self.procedure.key,
            "title": self.procedure.title,
            "when": self.procedure.when,
            "steps": [{**one.as_dict(), "owned": owned(self.procedure.key, one.step.key)} for one in self.steps],
            "done": self.done,
            "next": self.next,
            "cautions": list(self.cautions),
        }


def care_now(workshop: Workshop, case: str, key: str) -> CareNow:
    """How far a case has come with a procedure. Refusal CAR-001 for a procedure that is none."""
    return _now(case_state(workshop, case), procedure(key), workshop.clock.now())


def care_of(workshop: Workshop, case: str) -> tuple[CareNow, ...]:
    """All procedures as far as a case has come, those begun first."""
    state, now = case_state(workshop, case), workshop.clock.now()
    found = [_now(state, one, now) for one in PROCEDURES.values()]
    return tuple(sorted(found, key=lambda one: not any(step.state != "open" for step in one.steps)))


def tick(
    workshop: Workshop,
    case: str,
    key: str,
    step: str,
    *,
    state: str = "done",
    words: str = "",
    photo: bytes | None = None,
    photo_name: str = "",
    sha256: str = "",
    entry_id: str | None = None,
) -> tuple[Noted, CareNow]:
    """Note a step as started, done or left out, with a photo where one was taken (its bytes, or the SHA-256 of one this case has).

    Steps may be ticked in any order; what was passed over is said. Refusals: CAR-001, CAR-002 (no such procedure or step), CAR-003 (no such state),
    CAR-004 (left out without saying why), PHO-00x for the photo.
    """
    work = procedure(key)
    found = work.step(step)
    if state not in STATES:
        raise refuse("CAR-003", f"A step cannot be {state!r}.", f"Say one of: {', '.join(STATES)}.")
    if state == "left out" and not words.strip():
        raise refuse(
            "CAR-004", f"Why is {found.key} left out?", "Say it in a few words: --words 'lithium cell, no acid'."
        )
    before = case_state(workshop, case)
    if photo is not None:
        taken = attach_photo(
            workshop, case, photo, name=photo_name, words=f"{work.title}: {owned(work.key, found.key)}"
        )
        sha256 = str(taken.entry.payload["sha256"])
    elif sha256 and all(one.sha256 != sha256 for one in before.photos):
        raise refuse("PHO-003", "This case has no such photo.", "Add it first: coppermend photo CASE FILE.")
    payload = {"procedure": work.key, "step": found.key, "state": state, "words": words.strip(), "sha256": sha256}
    entry = write(workshop, case, "care", payload, entry_id=entry_id)
    after = _now(case_state(workshop, case), work, workshop.clock.now())
    return noted(entry), CareNow(after.procedure, after.steps, after.next, _cautions(before, work, found, state, after))


def _cautions(before: CaseState, work: Procedure, step: Step, state: str, after: CareNow) -> tuple[str, ...]:
    """What to hear at once: power on, steps passed over, a waiting time that is not over, a photo that is missing."""
    out = []
    if before.power_on and state != "left out":
        out.append("the log says that power is on. Switch off and unplug first.")
    order = [one.key for one in work.steps]
    passed = [one for one in after.steps[: order.index(step.key)] if one.state in ("open", "started")]
    if state != "left out" and passed:
        out.append(f"not ticked yet: {', '.join(one.step.key for one in passed)}.")
    waiting = [one for one in after.steps[: order.index(step.key)] if one.wait_left_s > 0]
    out += [f"{one.step.key} needs {span_words(one.wait_left_s)} more." for one in waiting]
    own = after.steps[order.index(step.key)]
    if state == "done":
        out += _of_step(own)
    if state == "started":
        out += list(own.step.mind)
    elif state == "done" and step.act:
        out += list(own.step.mind[: len(own.step.mind) - len(step.mind)])
    return tuple(out)


def _of_step(now: StepNow) -> list[str]:
    """What a step that was ticked as done still lacks: its waiting time, its photo."""
    out = []
    if now.wait_left_s > 0 and now.started_at:
        out.append(f"{now.step.key} is ticked early: it needs {span_words(now.wait_left_s)} more.")
    elif now.wait_left_s > 0:
        out.append(
            f"{now.step.key} was not started here: its waiting time of {span_words(now.step.wait_s)} counts from this tick. Start a step when it begins."
        )
    if now.step.photo and not now.photos:
        out.append(f"{now.step.key} asks for a photo and has none: take it now and tick {now.step.key} again with it.")
    return out


def _now(state: CaseState, work: Procedure, now: str) -> CareNow:
    ticks = [one for one in state.care if one.procedure == work.key]
    owner = consent_of(state.intake)
    steps = tuple(
        _step(_asked(one, owner), [tick for tick in ticks if tick.step == one.key], now) for one in work.steps
    )
    following = next((one.step.key for one in steps if one.state in ("open", "started")), "")
    return CareNow(work, steps, following)


def _asked(step: Step, owner: Consent) -> Step:
    """The step; where it cannot be undone and the owner was asked and has not agreed, that is the first thing to mind."""
    if not step.act or not owner.stops(step.act):
        return step
    said = f"This cannot be undone ({step.act}), and by intake the owner has not agreed to it: ask first, or leave it out and say why."
    return replace(step, mind=(said, *step.mind))


def _step(step: Step, ticks: list[CareTick], now: str) -> StepNow:
    """A step from its ticks, in log order: the last one counts; the time runs from the last start before it."""
    last = ticks[-1] if ticks else None
    started = next((one.observed_at for one in reversed(ticks) if one.state == "started"), "")
    ended = last.observed_at if last is not None and last.state != "started" else ""
    seconds = seconds_between(started, ended) if started and ended else None
    left = 0.0
    if step.wait_s and last is not None and last.state in ("done", "started"):
        left = max(step.wait_s - seconds_between(started or ended, now), 0.0)
    words = "; ".join(one.words for one in ticks if one.words)
    photos = tuple(dict.fromkeys(one.sha256 for one in ticks if one.sha256))
    return StepNow(step, last.state if last else "open", started, ended, seconds, left, words, photos)
