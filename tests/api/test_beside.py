"""What takes seconds holds up nobody at the bench: readings are noted and answers come while a large schematic is read, and what both sides wrote is there.

A second is where the flow of thought breaks (Nielsen, *Usability Engineering*, 1993, 5.5; from memory).
"""

from __future__ import annotations

import time
from typing import Any

import anyio
import httpx
from tests.api.conftest import HOME
from tests.api.test_attacks import pdf

from coppermend.api.app import create_app
from coppermend.api.desk import BESIDE
from coppermend.api.roles import ROUTES
from coppermend.services.workshop import Workshop

AT_MOST_S = 1.0


def sheets(pages: int, words: int) -> bytes:
    """A PDF with so many words on each page; 16 pages of 2,000 take some 3 s where nothing else runs."""
    text = b"".join(b"(U%d D%d ) Tj " % (k % 99, k % 8) for k in range(words))
    return pdf(pages, drawing=b"BT /F 6 Tf 10 10 Td " + text + b"ET")


def test_every_slow_route_is_one() -> None:
    assert set(BESIDE) <= set(ROUTES)


def test_readings_are_taken_while_a_large_schematic_is_read(shop: Workshop, case: str, client: Any) -> None:
    """Pairs of pins of different nets are noted open one after the other; the bench and the next step are asked each time."""
    app, took, heavy = create_app(shop), [], []
    pins = ["U1.1", "U1.2", "U1.3", "U1.4", "U1.5", "U1.6"]
    data = sheets(16, 2000)

    async def read_it(http: httpx.AsyncClient) -> None:
        begun = time.perf_counter()
        answer = await http.post(f"/api/cases/{case}/schematics", files={"file": ("sheets.pdf", data, "application/pdf")}, timeout=120)  # fmt: skip
        heavy.append((time.perf_counter() - begun, answer.status_code))

    async def work() -> None:
        transport = httpx.ASGITransport(app=app)
        async with httpx.AsyncClient(transport=transport, base_url=HOME) as http, anyio.create_task_group() as group:
            await http.get(f"/api/cases/{case}/bench")  # the board is read before
            group.start_soon(read_it, http)
            await anyio.sleep(0.2)
            k = 0
            while not heavy:
                body = {"kind": "open", "points": [pins[k % 6], pins[(k + 1 + k // 6) % 6]]}
                if body["points"][0] != body["points"][1]:
                    begun = time.perf_counter()
                    answer = await http.post(f"/api/cases/{case}/entries", json=body)
                    assert answer.status_code == 201, answer.text
                    assert (await http.get(f"/api/cases/{case}/bench")).status_code == 200
                    took.append(time.perf_counter() - begun)
                k += 1

    anyio.run(work)
    ((seconds, status),) = heavy
    usual = sorted(took)[len(took) // 2]
    assert status == 201 and len(took) >= 3 and seconds > 3 * usual, (seconds, took)
    assert usual < AT_MOST_S, (seconds, took)
    kinds = [one.kind for one in shop.store.entries(case)]
    assert kinds.count("open") == len(took) and kinds.count("schematic") == 1
    found = client.get(f"/api/cases/{case}/schematics/find?text=U5").json()
    assert found["hits"], "the other side of the door sees what was written beside it"
