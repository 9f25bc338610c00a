"""Against clients that take their time: a request's head must be there within seconds, and one address holds only so many connections.

What it is against: OWASP ASVS 4.0, V11.1.4 and V13 (limits on what a client can hold; from memory); the attack's common name is "slow headers".
"""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any, ClassVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 10.0
"""Seconds for the head of a request, from the first byte (of a new connection: from its beginning)."""
MOST_EACH = 24
"""Connections of one address at once; a browser holds six for each window."""

_ANSWERED = (h11.DONE, h11.MUST_CLOSE, h11.CLOSED)


class BriskProtocol(H11Protocol):
    """HTTP/1.1 as uvicorn speaks it, with a clock on the head and a count by address."""

    head_s = HEAD_S
    most_each = MOST_EACH
    held: ClassVar[Counter[str]] = Counter()
    _due: asyncio.TimerHandle | None = None
    _from = ""

    def connection_made(self, transport: Any) -> None:
        """Begin, unless this address holds too many already."""
        super().connection_made(transport)
        self._from = str((transport.get_extra_info("peername") or ("",))[0])
        self.held[self._from] += 1
        if self.held[self._from] > self.most_each:
            transport.abort()
        else:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """End."""
        self._done()
        self.held[self._from] -= 1
        if self.held[self._from] <= 0:
            del self.held[self._from]
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Bytes came: the clock runs while the head is not whole, and while a body comes that was answered already."""
        super().data_received(data)
        if self.conn.their_state is h11.IDLE or (
            self.conn.their_state is h11.SEND_BODY and self.conn.our_state in _ANSWERED
        ):
            self._wait()
        else:
            self._done()

    def _wait(self) -> None:
        if self._due is None and not self.transport.is_closing():
            self._due = self.loop.call_later(self.head_s, self._too_slow)

    def _done(self) -> None:
        if self._due is not None:
            self._due.cancel()
            self._due = None

    def _too_slow(self) -> None:
        self._due = None
        if not self.transport.is_closing():
            self.transport.abort()
