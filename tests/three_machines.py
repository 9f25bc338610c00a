"""Three machines in a store, without a board: what lists and searches are tried on."""

from __future__ import annotations

from tests.fakes import CountingIds

from coppermend.core.log.model import Draft, Entry
from coppermend.services.ports import CaseStore

IDS = CountingIds(70_000)


def say(
    store: CaseStore, case: str, kind: str, /, undoes: str | None = None, minute: int = 0, **payload: object
) -> Entry:
    when = f"2026-03-0{1 + minute // 600}T{9 + minute // 60 % 10:02}:{minute % 60:02}:00.000Z"
    return store.append(Draft(IDS.new(), case, store.bench, when, when, "Jörg", kind, 1, payload, undoes))  # type: ignore[arg-type]


def point(part: str, pin: str, net: str) -> dict[str, object]:
    return {"id": f"{part}.{pin}/leg", "part": part, "pin": pin, "net": net, "x_mm": 1.0, "y_mm": 2.0, "side": "c"}


def machines(store: CaseStore) -> list[str]:
    """Three machines: a finished one, one with an open net, one that nothing was done to."""
    ids = [IDS.new() for _ in range(3)]
    say(store, ids[0], "case", title="Quillmere II", serial="E031234", complaint="black screen", owner="Müller")
    say(store, ids[0], "board", package="p", package_id="a" * 64, title="main board")
    say(store, ids[0], "swap", part="U10", **{"with": "C7"})
    say(store, ids[0], "progress", minute=10, state="returned")
    say(store, ids[1], "case", title="Larkenfell 64", serial="E090001", complaint="garbage on screen")
    say(store, ids[1], "board", minute=5, package="p", package_id="b" * 64)
    say(store, ids[1], "open", minute=9, points=[point("U1", "8", "D3"), point("U7", "3", "D3")], raw="o")
    say(
        store,
        ids[1],
        "ohms",
        minute=12,
        points=[point("U1", "9", "/RESET"), point("U9", "1", "/RESET")],
        raw="4,7 kΩ",
        ohm=4700.0,
    )
    say(store, ids[2], "case", title="Quillmere Plus", serial="F000001")
    return ids
