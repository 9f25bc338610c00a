"""Boards built in the background: the asker is told at once that the board is being built, how far it is, and can stop it.

``BuildingShelf`` a shelf for a server: ``take`` gives the board where it is to be had quickly, else raises ``BeingBuilt``; ask again when
``state(id)`` says that it is ready. One build runs at a time, others wait their turn.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import count
from pathlib import PurePath
from typing import Any

from coppermend.core.findings import Finding, Place, Refusal, Severity, refuse
from coppermend.services.packages import Progress, Stopped
from coppermend.services.ports import ShelvedBoard
from coppermend.services.shelf import MemoryShelf

GRACE_S = 0.4
"""How long a board may take before the asker is told that it is being built; from the cache most boards are there sooner."""

FRESH_S = 5.0
"""How long a board that was just built serves for the same path without looking at the files again."""

MOST_REMEMBERED = 32
"""How many builds that ended can still be asked about."""


class BeingBuilt(Exception):
    """The board is not there yet. No Refusal, so that nothing on the way takes it for a package that cannot be used. ``finding`` is BLD-001."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.line())
        self.finding = finding


@dataclass(frozen=True, slots=True)
class BuildState:
    """Where a build stands: ``state`` waiting, building, ready, refused or stopped; ``share`` done (0 to 1), ``words`` the stage, ``seconds`` since it was asked for."""

    id: str
    package: str
    title: str
    state: str
    words: str
    share: float
    seconds: float
    finding: Finding | None = None

    def as_dict(self) -> dict[str, Any]:
        """The state as plain JSON values."""
        return {
            "id": self.id,
            "package": self.package,
            "title": self.title,
            "state": self.state,
            "words": self.words,
            "share": round(self.share, 3),
            "seconds": round(self.seconds, 1),
            "finding": self.finding.as_dict() if self.finding else None,
        }


@dataclass(slots=True)
class _Job:
    id: str
    package: str
    begun: float = field(default_factory=time.monotonic)
    ended: float | None = None
    words: str = "waiting for another build"
    share: float = 0.0
    begun_building: bool = False
    stop: threading.Event = field(default_factory=threading.Event)
    done: threading.Event = field(default_factory=threading.Event)
    made: ShelvedBoard | None = None
    error: BaseException | None = None

    @property
    def title(self) -> str:
        return PurePath(self.package).name or self.package

    def state(self) -> BuildState:
        seconds = (self.ended or time.monotonic()) - self.begun
        return BuildState(
            self.id, self.package, self.title, self._name(), self.words, self.share, seconds, self._finding()
        )

    def _name(self) -> str:
        if not self.done.is_set():
            return "building" if self.begun_building else "waiting"
        if self.made is not None:
            return "ready"
        return "stopped" if isinstance(self.error, Stopped) else "refused"

    def _finding(self) -> Finding | None:
        if isinstance(self.error, Refusal):
            return self.error.finding
        if isinstance(self.error, Stopped):
            return _stopped(self.title).finding
        if self.error is not None:
            words = f"A fault while the board was built ({type(self.error).__name__}: {self.error}). No entry is lost."
            return Finding("API-900", Severity.ERROR, Place(thing=self.title), words, "Please report it.")
        return None


class BuildingShelf:
    """A BoardShelf that builds in the background. ``build`` makes a board and tells its progress; ``kept`` holds what was made."""

    def __init__(
        self,
        build: Callable[[str, Progress], ShelvedBoard],
        kept: MemoryShelf,
        grace_s: float = GRACE_S,
    ) -> None:
        self._build, self._kept, self._grace_s = build, kept, grace_s
        self._door = threading.Lock()
        self._turn = threading.Lock()
        self._numbers = count(1)
        self._jobs: dict[str, _Job] = {}
        self._of: dict[str, _Job] = {}

    def take(self, package: str) -> ShelvedBoard:
        """The board of a package where it is there within the grace. BeingBuilt when it is not; Refusal when it gives no board (BLD-002: it was stopped)."""
        job = self._job(package)
        if not job.done.wait(self._grace_s):
            raise BeingBuilt(_being_built(job.state()))
        if job.made is not None:
            return self._kept.put(job.made)
        if isinstance(job.error, Stopped):
            raise _stopped(job.title)
        assert job.error is not None
        raise job.error

    def begin(self, package: str) -> None:
        """Begin with the board of a package; nobody waits for it here, ``take`` gives it."""
        self._job(package)

    def known(self, package_id: str) -> ShelvedBoard | None:
        """A board taken before in this run, by its package id."""
        return self._kept.known(package_id)

    def state(self, build: str) -> BuildState:
        """Where a build stands. Refusal BLD-003 when none goes by that id."""
        return self._named(build).state()

    def stop(self, build: str) -> BuildState:
        """Ask a build to end at its next step; one that ended already stays as it is. Refusal BLD-003."""
        job = self._named(build)
        job.stop.set()
        return job.state()

    def _named(self, build: str) -> _Job:
        with self._door:
            job = self._jobs.get(build)
        if job is None:
            raise refuse(
                "BLD-003",
                f"No build goes by {build!r} here.",
                "Open the case again: its board is built then, if need be.",
            )
        return job

    def _job(self, package: str) -> _Job:
        """The build of a package that runs or has just ended, or a new one."""
        with self._door:
            job = self._of.get(package)
            if job is not None and not (job.stop.is_set() or _stale(job)):
                return job
            job = self._of[package] = _Job(str(next(self._numbers)), package)
            self._jobs[job.id] = job
            ended = [one.id for one in self._jobs.values() if one.done.is_set()]
            for old in ended[:-MOST_REMEMBERED]:
                del self._jobs[old]
        threading.Thread(target=self._run, args=(job,), name=f"build {job.id}", daemon=True).start()
        return job

    def _run(self, job: _Job) -> None:
        def told(words: str, share: float) -> None:
            job.words, job.share = words, max(job.share, share)
            if job.stop.is_set():
                raise Stopped

        try:
            while not self._turn.acquire(timeout=0.1):
                told(job.words, 0.0)
            try:
                job.begun_building = True
                told(f"reading {job.title}", 0.0)
                job.made = self._build(job.package, told)
            finally:
                self._turn.release()
        except BaseException as err:  # whatever it is, whoever asked is told
            job.error = err
        finally:
            job.ended = time.monotonic()
            job.done.set()
            with self._door:
                for package in [name for name, one in self._of.items() if _stale(one)]:
                    del self._of[package]


def _stale(job: _Job) -> bool:
    return job.ended is not None and time.monotonic() - job.ended > FRESH_S


def _being_built(state: BuildState) -> Finding:
    return Finding(
        "BLD-001",
        Severity.NOTE,
        Place(thing=state.id),
        f"The board of {state.title} is being built: {state.words}, {state.share:.0%}.",
        f"Ask again when /api/builds/{state.id} says ready; DELETE there stops it.",
    )


def _stopped(title: str) -> Refusal:
    return refuse(
        "BLD-002",
        f"The build of the board of {title} was stopped. Nothing of the case is lost.",
        "Open it again when there is time for it.",
    )
