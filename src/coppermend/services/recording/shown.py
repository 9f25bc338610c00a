"""Pictures of what was recorded under power for the record: each wave with its measured levels and edges, each thermal picture as it lies on the board."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import inf
from typing import Any

from coppermend.core.board.model import Board
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.findings import Refusal
from coppermend.core.log.model import Entry
from coppermend.devices.book import DeviceBook
from coppermend.services.heatdrawing import draw_heat
from coppermend.services.heatpicture import heat_drawn, heat_of, heat_png
from coppermend.services.placewords import places_in_words
from coppermend.services.recording.model import Picture
from coppermend.services.wavedrawing import HEIGHT, WIDTH, draw_svg
from coppermend.services.wavepicture import draw_wave
from coppermend.services.workshop import Workshop

MOST_WAVES, MOST_HEAT = 24, 4
"""Pictures of channels and thermal pictures that a record shows, the last ones; the rest stay with the case."""
PERIODS, MANY_EDGES = 8, 30
"""Of a channel with more edges than this the first periods are shown, so that they can be told apart."""


def wave_pictures(
    workshop: Workshop, case: str, board: Board, waves: Sequence[Entry], book: DeviceBook, machine: MachineModel | None
) -> tuple[Picture, ...]:
    """Every channel of the case's wave entries that its kept file still gives, oldest first; a file that is gone or unreadable leaves its row alone."""
    found: list[Picture] = []
    for entry in waves:
        said: Any = entry.payload.get("features")
        features: Mapping[str, Any] = said if isinstance(said, Mapping) else {}
        points: Any = entry.payload.get("points") or ()
        names = [str(one) for one in features.get("channels") or [""]]
        for k, name in enumerate(names[: len(points)]):
            try:
                drawn = _drawn(workshop, case, entry, book, machine, name)
            except (Refusal, KeyError):
                continue
            where = f"{places_in_words(board, str(points[k].get('id', '')))} {points[k].get('net', '')}".strip()
            found.append(_wave_picture(drawn, entry, k, where, features))
    return tuple(found[-MOST_WAVES:])


def _drawn(
    workshop: Workshop, case: str, entry: Entry, book: DeviceBook, machine: MachineModel | None, name: str
) -> Mapping[str, Any]:
    """A channel drawn: the whole record, or its first periods where they would run together."""
    whole = draw_wave(workshop, case, entry.id, book, machine, name)
    edges = whole.get("edges_s") or ()
    if len(edges) <= MANY_EDGES and not (not edges and whole["kind"] == "envelope"):
        return whole
    first = float(whole["first_s"])
    hertz = _number(entry, "frequency_hz")
    end = edges[2 * PERIODS] if len(edges) > 2 * PERIODS else first + PERIODS / hertz if hertz else inf
    return draw_wave(workshop, case, entry.id, book, machine, name, first, float(end)) if end < inf else whole


def _number(entry: Entry, name: str) -> float:
    said: Any = entry.payload.get("features") or {}
    value = said.get(name)
    return float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else 0.0


def _wave_picture(drawn: Mapping[str, Any], entry: Entry, k: int, where: str, features: Mapping[str, Any]) -> Picture:
    seen = features.get("seen")
    verdict = str(seen[k]) if isinstance(seen, (list, tuple)) and k < len(seen) else str(features.get("verdict", ""))
    part = (
        "" if drawn["begin_s"] <= drawn["first_s"] and drawn["end_s"] >= drawn["last_s"] else "; its beginning is shown"
    )
    title = f"{where}, {entry.observed_at[:16].replace('T', ' ')}: {verdict}{part}".strip()
    expected = f" Expected: {drawn['expected']}." if drawn.get("expected") else ""
    alt = f"Wave at {where}. {drawn.get('words', '')}{expected}".strip()
    return Picture(f"wave-{entry.bench_seq}-{k + 1}", title, alt, draw_svg(drawn), HEIGHT / WIDTH)


def heat_pictures(workshop: Workshop, case: str, board: Board) -> tuple[Picture, ...]:
    """The case's newest thermal pictures as they lie on the board, oldest first; one whose file is gone or unreadable is left out."""
    return tuple(reversed(list(_heat(workshop, case, board))))


def _heat(workshop: Workshop, case: str, board: Board) -> Iterable[Picture]:
    for row in heat_of(workshop, case)[:MOST_HEAT]:
        try:
            drawn = heat_drawn(workshop, case, str(row["entry"]))
            svg, ratio = draw_heat(drawn, heat_png(workshop, case, str(row["entry"])))
        except (Refusal, KeyError):
            continue
        named = [f"{word}: {', '.join(row[word])}" for word in ("cold", "hot") if row[word]]
        said = "; ".join(named) or "all parts that can be judged are even"
        side = "component side" if row["side"] == "c" else "solder side"
        title = f"Thermal picture of the {side}, {str(row['observed_at'])[:16].replace('T', ' ')}: {places_in_words(board, said)}"  # fmt: skip
        alt = f"{title}. Colours from {drawn['low_c']:.0f} to {drawn['high_c']:.0f} degC."
        yield Picture(f"heat-{row['ref']}", title, alt, svg, ratio)
