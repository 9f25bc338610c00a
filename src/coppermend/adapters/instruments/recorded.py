"""A conversation with an instrument kept as JSON lines and played back: for tests, for reports of trouble, for instruments that are not here.

One object a line: ``{"sent": "READ?", "answer": "+4.1E-01", "s": 1.25}``; ``answer`` null for a line without one; ``trouble`` a finding
instead of an answer; ``s`` seconds since the link was opened. Played back in order; what is asked must be what was asked then.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import Any

from coppermend.adapters.instruments.link import Link
from coppermend.core.findings import Place, Refusal, refuse


class RecordingLink:
    """A link that writes down what goes over another one."""

    def __init__(self, link: Link, write: Callable[[str], None], now_s: Callable[[], float] = time.monotonic) -> None:
        self._link, self._write, self._now_s, self._begin = link, write, now_s, now_s()

    @property
    def address(self) -> str:
        """Where the other link leads."""
        return self._link.address

    def tell(self, line: str) -> None:
        """Send on and write down."""
        self._kept(line, lambda: self._link.tell(line))

    def ask(self, line: str, patience_s: float | None = None) -> str:
        """Ask on and write down."""
        answer: str = self._kept(line, lambda: self._link.ask(line, patience_s))
        return answer

    def _kept(self, line: str, act: Callable[[], Any]) -> Any:
        row: dict[str, Any] = {"sent": line}
        try:
            row["answer"] = act()
        except Refusal as err:
            row["trouble"] = {"code": err.finding.code, "words": err.finding.words, "remedy": err.finding.remedy}
            raise
        finally:
            self._write(json.dumps({**row, "s": round(self._now_s() - self._begin, 3)}, ensure_ascii=False))
        return row["answer"]

    def close(self) -> None:
        """Let go of the other link."""
        self._link.close()


class RecordedLink:
    """Plays a recorded conversation. Refusal INS-013 when the file is none, or when something else is asked than then."""

    def __init__(self, address: str, text: str) -> None:
        self.address = address
        self._rows, self._at = _rows(address, text), 0

    def tell(self, line: str) -> None:
        """The next line of the conversation."""
        self._next(line)

    def ask(self, line: str, patience_s: float | None = None) -> str:
        """The next answer of the conversation."""
        answer = self._next(line).get("answer")
        if not isinstance(answer, str):
            raise _unlike(self.address, self._at, f"{line} has no answer there")
        return answer

    def _next(self, line: str) -> dict[str, Any]:
        if self._at >= len(self._rows):
            raise refuse(
                "INS-006",
                "The recording is at its end.",
                "The round goes on by hand; play the recording again for more.",
                Place(file=self.address),
            )
        row, self._at = self._rows[self._at], self._at + 1
        if row["sent"] != line:
            raise _unlike(self.address, self._at, f"{line} is asked where {row['sent']} was")
        if isinstance(row.get("trouble"), dict):
            said = row["trouble"]
            raise refuse(
                str(said.get("code")),
                str(said.get("words")),
                str(said.get("remedy")) or "Try again.",
                Place(file=self.address),
            )
        return row

    def close(self) -> None:
        """Nothing to let go of."""


def _rows(address: str, text: str) -> list[dict[str, Any]]:
    rows = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        try:
            row = json.loads(line)
        except ValueError:
            row = None
        if not isinstance(row, dict) or not isinstance(row.get("sent"), str):
            raise refuse(
                "INS-013",
                'Not a line of a recorded conversation; expected {"sent": ..., "answer": ...}.',
                "Record it again: coppermend meter read --record FILE.",
                Place(file=address, line=number),
            )
        rows.append(row)
    return rows


def _unlike(address: str, line: int, words: str) -> Refusal:
    return refuse(
        "INS-013",
        f"The recording was made by other questions: {words}.",
        "Record it again with this version: coppermend meter read --record FILE.",
        Place(file=address, line=line),
    )
