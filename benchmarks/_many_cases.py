"""A store as a shop has it after years, generated: machines, owners, complaints, readings with nets and parts, remarks, states of work. Every chain is whole."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from coppermend.adapters.storage.sql import SqlStore
from coppermend.core.log.model import NO_PREV, Draft, Entry, placed_after

MAKERS = ("Larkenfell", "Tarnwick", "Ostrava", "Quillmere", "Dunvar", "Haselbeck", "Merrow", "Pelzig")
"""Machines of our own invention."""
MODELS = ("64", "128", "II", "Micro", "Plus", "Terminal", "Portable", "XL")
OWNERS = ("Ash", "Birk", "Cole", "Dorn", "Eder", "Fehn", "Grau", "Hain", "Igel", "Jung", "Kern", "Lind")
COMPLAINTS = (
    "black screen",
    "garbage on screen",
    "no sound",
    "keys dead",
    "resets after a minute",
    "leaked battery",
    "will not load",
)
REMARKS = (
    "ordered a socket",
    "cleaned with isopropanol",
    "green joints round the clock chip",
    "owner called",
    "waiting for a part",
    "soaked overnight",
)
STATES = ("waiting", "on the bench", "soak test", "ready", "returned")
NETS = tuple(f"{name}{k}" for name in ("A", "D", "MA", "MD") for k in range(16))
BENCHES = 3
BATCH = 20
"""Cases written in one transaction."""


def made_cases(seed: int, cases: int, entries: int) -> Iterator[list[Entry]]:
    """Whole cases of about ``entries`` entries each (half to one and a half times as many), the same for the same seed."""
    for number in range(cases):
        yield list(_case(random.Random(f"{seed} {number}"), number, entries))


def fill(store: SqlStore, seed: int, cases: int, entries: int) -> int:
    """Write that many cases; how many entries they have."""
    total, batch = 0, list[Entry]()
    for number, one in enumerate(made_cases(seed, cases, entries), 1):
        batch += one
        if number % BATCH == 0 or number == cases:
            total += store.absorb(batch)
            batch = []
    return total


def _case(dice: random.Random, number: int, entries: int) -> Iterator[Entry]:
    case = _uuid(dice)
    at = datetime(2016, 1, 1, tzinfo=UTC) + timedelta(hours=8 * number)
    last: dict[str, tuple[int, str]] = {}
    for lamport in range(max(4, round(entries * dice.uniform(0.5, 1.5)))):
        at += timedelta(seconds=dice.uniform(5, 600))
        when = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
        bench = f"bench-{dice.randrange(BENCHES) if lamport > 2 else 0}"
        kind, payload = _said(dice, lamport)
        seq, prev = last.get(bench, (0, NO_PREV))
        draft = Draft(_uuid(dice), case, bench, when, when, dice.choice(OWNERS).lower(), kind, 1, payload)
        entry = placed_after(draft, seq, prev, lamport)
        last[bench] = (entry.bench_seq, entry.sha256())
        yield entry


def _said(dice: random.Random, place: int) -> tuple[str, dict[str, object]]:
    if place == 0:
        machine = f"{dice.choice(MAKERS)} {dice.choice(MODELS)}"
        return "case", {
            "title": machine, "serial": f"{dice.choice('ABCDEFGH')}{dice.randrange(10**6):06}", "complaint": dice.choice(COMPLAINTS), "owner": dice.choice(OWNERS),
        }  # fmt: skip
    if place == 1:
        return "board", {
            "package": "demo",
            "package_id": f"{dice.randrange(40):064x}",
            "title": f"board {dice.randrange(40)}",
        }
    if place == 2 or dice.random() < 0.02:
        return "progress", {"state": dice.choice(STATES)}
    if dice.random() < 0.1:
        return "remark", {"words": dice.choice(REMARKS)}
    net, points = dice.choice(NETS), [_point(dice), _point(dice)]
    kind = dice.choice(("closed", "closed", "closed", "open", "ohms"))
    return kind, {"points": [{**one, "net": net} for one in points], "raw": "0.31", **({"ohm": round(dice.uniform(0.05, 3), 2)} if kind == "ohms" else {})}  # fmt: skip


def _point(dice: random.Random) -> dict[str, object]:
    part, pin = f"U{dice.randrange(1, 60)}", str(dice.randrange(1, 41))
    place = {"x_mm": round(dice.uniform(0, 300), 2), "y_mm": round(dice.uniform(0, 200), 2), "side": dice.choice("cs")}
    return {"id": f"{part}.{pin}/leg", "part": part, "pin": pin, **place}


def _uuid(dice: random.Random) -> str:
    text = f"{dice.getrandbits(128):032x}"
    return f"{text[:8]}-{text[8:12]}-7{text[13:16]}-8{text[17:20]}-{text[20:]}"
