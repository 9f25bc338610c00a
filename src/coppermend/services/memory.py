"""Error words of a memory test against a board: which chip or line explains them, and the same noted in a case as evidence for its suspects."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.belief.suspects.posterior import Witness
from coppermend.core.board.model import Board
from coppermend.core.circuit.model import Circuit
from coppermend.core.findings import Place, Refusal, refuse
from coppermend.core.log.canonical import Json
from coppermend.core.log.model import Entry
from coppermend.core.log.state import plain
from coppermend.core.memory.derive import map_from_text, memory_map
from coppermend.core.memory.errors import ErrorLog, ErrorWord, read_errors
from coppermend.core.memory.explain import MemoryExplained, explain
from coppermend.core.memory.model import MemoryMap, range_words, ranges_of
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import bind, part_states
from coppermend.services.entries import write
from coppermend.services.notes import Noted, noted
from coppermend.services.powered import circuit_of
from coppermend.services.workshop import Workshop

MOST_BYTES = 4_000_000
MOST_KEPT = 512
"""Error words that an entry of the log holds; the whole file is kept beside it by its hash."""
FLOOR = -9.0
"""Log likelihood of the error words under faults that touch none of the named units: a slip of the test, or a fault of a kind that this does not know."""
CAUTION = (
    "Power off and unplugged before a chip is pulled or a probe in ohms touches the board; stay away from mains and picture tube, that is for people "
    "qualified for it, by your local rules. Chips from before 1990 die of a charged hand: touch ground first."
)


@dataclass(frozen=True, slots=True)
class MemoryRead:
    """An explained log with the map it rests on."""

    explained: MemoryExplained
    map: MemoryMap
    log: ErrorLog
    noted: Noted | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        found, board = self.explained, self.map
        return {
            "words": found.words,
            "errors": found.errors,
            "bits": {f"D{bit}": n for bit, n in found.bits},
            "looks": list(found.looks),
            "suspects": [
                {
                    **{k: v for k, v in plain(one).items() if k not in ("pro", "con", "log_like")},
                    "p": round(one.p, 5),
                    "for": list(one.pro),
                    "against": list(one.con),
                }
                for one in found.suspects
            ],
            "named": list(found.named),
            "then": list(found.then),
            "caution": CAUTION,
            "map": {
                "processor": board.processor,
                "data_bits": board.width,
                "chips": [
                    {
                        "part": one.ref,
                        "type": one.type,
                        "rom": one.rom,
                        "bits": [bit for bit, _ in one.bits],
                        "ranges": [[a, b] for a, b in ranges_of(one, board.space)],
                        "words": range_words(ranges_of(one, board.space), board.space),
                    }
                    for one in board.chips
                ],
                "asides": list(board.asides),
            },
            "findings": [one.as_dict() for one in found.findings],
            **({} if self.noted is None else {"noted": self.noted.as_dict()}),
        }


def explain_memory(
    board: Board, book: DeviceBook, data: bytes, name: str = "", map_text: str = "", most: int = 8
) -> MemoryRead:
    """Which chip or line of a board explains the error words of a file. ``map_text`` a map that a person gives, "" for the one that follows from the
    netlist. Refusals MEM-002 to MEM-007."""
    return _explained(circuit_of(board, book), read_words(data, name), map_text, most)


def read_words(data: bytes, name: str = "") -> ErrorLog:
    """The error words of a file's bytes. Refusal MEM-007 when it is no text or too large."""
    if len(data) > MOST_BYTES:
        raise refuse(
            "MEM-007",
            f"The file has {len(data) / 1e6:.1f} MB, more than {MOST_BYTES / 1e6:.0f} MB of error words.",
            "Give its first thousand words.",
            Place(file=name or None),
        )
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = data.decode("utf-16", "replace")
    else:
        text = data.decode("utf-8-sig", "replace")
    if text.count("\x00") + text.count("�") > len(text) // 4 + 1:
        raise refuse(
            "MEM-007",
            "The file is no text.",
            "Give error words, one a line: 8000 55 54. A ROM's read-out goes to coppermend rom check.",
            Place(file=name or None),
        )
    return read_errors(text, name)


def _explained(circuit: Circuit, log: ErrorLog, map_text: str, most: int = 8) -> MemoryRead:
    made = map_from_text(map_text, circuit) if map_text.strip() else memory_map(circuit)
    return MemoryRead(explain(log, made, most), made, log)


def note_memory(
    workshop: Workshop,
    case: str,
    book: DeviceBook,
    data: bytes,
    name: str = "",
    map_text: str = "",
    *,
    entry_id: str | None = None,
) -> MemoryRead:
    """Explain error words on a case's board and write them into its log, the file kept by its hash."""
    binding = bind(workshop, case)
    found = _explained(circuit_of(binding.board, book, part_states(binding.state)), read_words(data, name), map_text)
    first = found.explained.suspects[0]
    errors: list[Json] = [
        [one.address, one.wrote, one.read, one.after_s, *([True] if one.picture else [])]
        for one in found.log.words[:MOST_KEPT]
    ]
    payload: dict[str, Json] = {
        "errors": errors,
        "words": f"{found.explained.errors} error words: {first.unit}, {first.mode} ({first.p:.2f})"[:400],
        "raw": name,
        "sha256": workshop.store.attach(data),
        "map": map_text,
    }
    if found.log.tested is not None:
        payload["tested"] = list(found.log.tested)
    entry = write(workshop, case, "memory", payload, entry_id=entry_id)
    return MemoryRead(found.explained, found.map, found.log, noted(entry))


def memory_witness(circuit: Circuit, entry: Entry) -> Witness | None:
    """What a noted memory test says of the parts and nets of a board; None when the words fit no memory of it any more."""
    payload = entry.payload
    words = []
    for row in _rows(payload.get("errors")):
        address, wrote, read, after, *picture = row
        waited = None if after is None else float(after)
        words.append(ErrorWord(int(address), int(wrote), int(read), waited, picture=bool(picture)))
    tested = _rows([payload.get("tested")])
    log = ErrorLog(tuple(words), (int(tested[0][0]), int(tested[0][1])) if tested else None, 0, ())
    try:
        found = _explained(circuit, log, str(payload.get("map") or ""), 24).explained
    except Refusal:
        return None
    best = math.log(found.suspects[0].p)
    says: list[tuple[str, str, float]] = []
    several = FLOOR
    for one in found.suspects:
        weight = max(FLOOR, math.log(max(one.p, 1e-12)) - best)
        if one.kind in ("several", "refresh"):
            several = max(several, weight)
            continue
        says += [("part", part, weight) for part in one.parts]
        says += [("net", net, weight) for net in one.nets]
        says += [("pin", pin, weight) for pin in one.pins if one.kind == "line"]
    first = found.suspects[0]
    return Witness(tuple(says), several, f"the memory test says {first.unit}: {first.mode}", entry.id)


def _rows(value: object) -> list[Sequence[Any]]:
    return [row for row in value if isinstance(row, (list, tuple))] if isinstance(value, (list, tuple)) else []


def entries_of(workshop: Workshop, case: str, kind: str) -> Mapping[str, Entry]:
    """The entries of one kind of a case, by id."""
    return {one.id: one for one in workshop.store.entries(case) if one.kind == kind}
