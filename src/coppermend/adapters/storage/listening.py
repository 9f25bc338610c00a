"""Being told by PostgreSQL that a case has grown (LISTEN), instead of asking again and again."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from typing import Any

import psycopg

FRESH_S = 5.0
"""A mark that was kept is asked again after this, for a line that fell silent without being closed."""
_AGAIN_S = 1.0


class Listener:
    """Keeps marks of cases until the database tells that the case has grown. While the line is down nothing is kept."""

    def __init__(self, url: str, channel: str, options: Mapping[str, Any]) -> None:
        self._url, self._channel, self._options = url, channel, dict(options)
        self._lock = threading.Lock()
        self._hears = False
        self._closed = threading.Event()
        self._changes: dict[str, int] = {}
        self._kept: dict[str, tuple[str, float]] = {}
        threading.Thread(target=self._run, name="store-listener", daemon=True).start()

    @property
    def hears(self) -> bool:
        """Whether the line stands."""
        return self._hears

    def kept(self, case: str, ask: Callable[[str], str]) -> str:
        """The case's mark: kept, or asked for when it may have changed."""
        with self._lock:
            mark, since = self._kept.get(case, ("", 0.0))
            change = self._changes.get(case, 0), self._changes.get("", 0)
            if mark and self._hears and time.monotonic() - since < FRESH_S:
                return mark
        mark = ask(case)
        with self._lock:
            if self._hears and change == (self._changes.get(case, 0), self._changes.get("", 0)):
                self._kept[case] = (mark, time.monotonic())
        return mark

    def forget(self, case: str) -> None:
        """The case has grown."""
        with self._lock:
            self._changes[case] = self._changes.get(case, 0) + 1
            self._kept.pop(case, None)

    def close(self) -> None:
        """Stop listening."""
        self._closed.set()

    def _run(self) -> None:
        while not self._closed.is_set():
            try:
                with psycopg.connect(self._url, autocommit=True, **self._options) as line:
                    line.execute(f"LISTEN {self._channel}")
                    self._stands(True)
                    while not self._closed.is_set():
                        for note in line.notifies(timeout=0.5):
                            self.forget(note.payload)
            except psycopg.Error:
                self._stands(False)
                self._closed.wait(_AGAIN_S)
        self._stands(False)

    def _stands(self, hears: bool) -> None:
        with self._lock:
            self._hears = hears
            self._changes[""] = self._changes.get("", 0) + 1
            self._kept.clear()
