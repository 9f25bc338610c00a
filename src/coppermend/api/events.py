"""Live updates by server-sent events: a case's mark each time its log grew, whoever wrote (page, command line, another process)."""

from __future__ import annotations

from collections.abc import AsyncIterator

import anyio
from anyio import to_thread

from coppermend.api.desk import Desk

LOOK_EVERY_S = 0.5
"""How often the log's end is looked at; one indexed read."""

KEEP_ALIVE_S = 15.0


def event(name: str, data: str) -> str:
    """One server-sent event.

    >>> event("mark", "5:abc")
    'event: mark\\ndata: 5:abc\\n\\n'
    """
    return f"event: {name}\ndata: {data}\n\n"


async def marks(desk: Desk, case: str) -> AsyncIterator[str]:
    """The case's mark now and after every change, until the listener or the server goes."""
    last = None
    quiet_s = 0.0
    yield "retry: 1500\n\n"
    while not desk.closing.is_set():
        mark = await to_thread.run_sync(desk.do, lambda w: w.store.mark(case))
        if mark != last:
            last, quiet_s = mark, 0.0
            yield event("mark", mark)
        elif quiet_s >= KEEP_ALIVE_S:
            quiet_s = 0.0
            yield ": still here\n\n"
        await anyio.sleep(LOOK_EVERY_S)
        quiet_s += LOOK_EVERY_S
