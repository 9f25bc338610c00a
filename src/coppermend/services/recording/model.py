"""What a record says, as values: words, rows and pictures that HTML and PDF are made from. No files, no markup."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Heading:
    """Whose machine, which board, from when to when. Dates as ``2026-01-31``; ``last`` is the last entry's time (ISO 8601, UTC)."""

    title: str
    board: str
    serial: str
    owner: str
    complaint: str
    opened: str
    last: str
    progress: str
    case: str
    number: int
    package_id: str
    entries: int
    log_sha256: str
    """SHA-256 of the last entry: it closes the chain over all entries before it."""


@dataclass(frozen=True, slots=True)
class BreakRow:
    """A break that the readings leave: its ``number`` on the map, the net, where in words, how sure, and what became of it."""

    number: int
    net: str
    words: str
    sure: str
    mended: str


@dataclass(frozen=True, slots=True)
class OhmsRow:
    """What ohms readings found: a short or too much resistance, on which nets, where, with how many ohms, how narrow the place is, and the readings."""

    kind: str
    nets: str
    words: str
    ohms: str
    band: str
    readings: tuple[str, ...]
    layer: str = ""
    ring: tuple[tuple[float, float], ...] = ()
    """Of a short that was read: the 90 % ellipse of its place, mm, on this layer."""
    ellipse: str = ""
    """That ellipse in words: its confidence, whole axes, middle and angle."""
    assumed: tuple[str, ...] = ()
    """What place, ellipse and ohms rest on."""


@dataclass(frozen=True, slots=True)
class WireRow:
    """A patch wire that was fitted: its ``number`` on the map, its ends, what it is made of, when, and whether readings prove it."""

    number: int
    ends: str
    wire: str
    fitted: str
    proof: str


@dataclass(frozen=True, slots=True)
class NetRow:
    """What is known about the copper of one net in the work areas: ``proven`` of ``at_risk`` places, and the open ones in words."""

    net: str
    at_risk: int
    proven: int
    open_places: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Unprovable:
    """A place that continuity cannot prove: where, why, and what would prove it."""

    words: str
    why: str
    would: str
    count: int = 1


@dataclass(frozen=True, slots=True)
class StoryItem:
    """One entry of the log as a person reads it, or a run of closed readings in one line; ``numbers`` "5" or "5-33"."""

    date: str
    time: str
    numbers: str
    words: str
    author: str
    kind: str
    undone: bool


@dataclass(frozen=True, slots=True)
class PowerRow:
    """One power-up: when, what was done before it, how it was guarded, and what was seen."""

    when: str
    repairs: tuple[str, ...]
    guarded: str
    seen: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One reading: entry number, when, the two points in words, what was read, with what."""

    number: int
    when: str
    point_a: str
    point_b: str
    net: str
    says: str
    instrument: str


@dataclass(frozen=True, slots=True)
class Picture:
    """A map as an SVG document: ``name`` for file names, ``title`` above it, ``alt`` for those who do not see it."""

    name: str
    title: str
    alt: str
    svg: str
    height_by_width: float = 1.0


@dataclass(frozen=True, slots=True)
class PlanTable:
    """A table of a plan: its title, the names of its columns, its rows."""

    title: str
    names: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class PlanRow:
    """A plan of the rework that the case keeps: its diagram (None where it cannot be drawn), limits as (name, found, allowed, kept, source), what it rests on."""

    title: str
    when: str
    words: str
    picture: Picture | None
    limits: tuple[tuple[str, str, str, str, str], ...]
    assumed: tuple[str, ...]
    tables: tuple[PlanTable, ...] = ()


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo of the case: its words, and a JPEG copy for the page as base64; ``jpeg`` "" when it cannot be decoded."""

    words: str
    when: str
    jpeg: str
    width_px: int = 0
    height_px: int = 0
    moment: str = ""
    """on arrival, or before, during, after the repair; "" where none was made."""


@dataclass(frozen=True, slots=True)
class PackageNote:
    """What the tool noticed or guessed about the fabrication package."""

    severity: str
    code: str
    words: str


@dataclass(frozen=True, slots=True)
class SuspectRow:
    """A suspect as the record closes: how likely, what, what spoke for it and against it, and what would clear it."""

    p: str
    words: str
    pro: tuple[str, ...]
    con: tuple[str, ...]
    clears: str


@dataclass(frozen=True, slots=True)
class RecordView:
    """The whole record in the order it is read."""

    heading: Heading
    summary: tuple[str, ...]
    findings: tuple[BreakRow, ...]
    wires: tuple[WireRow, ...]
    remaining: tuple[str, ...]
    cautions: tuple[str, ...]
    maps: tuple[Picture, ...]
    photos: tuple[Photo, ...]
    power: tuple[PowerRow, ...]
    tests: tuple[tuple[str, str, str], ...]
    """(function, result, words)."""
    proven: tuple[NetRow, ...]
    unprovable: tuple[Unprovable, ...]
    story: tuple[StoryItem, ...]
    readings: tuple[ReadingRow, ...]
    package_notes: tuple[PackageNote, ...]
    corrections: str
    assumptions: tuple[tuple[str, str], ...]
    by_ohms: tuple[OhmsRow, ...] = ()
    care: tuple[tuple[str, str, str, str], ...] = ()
    """Cleaning and protection: (piece of work, step, how it stands, what was said)."""
    plans: tuple[PlanRow, ...] = ()
    """Plans of alloys and of warming that were noted."""
    intake: tuple[tuple[str, str, str], ...] = ()
    supply: tuple[tuple[str, str, str, str], ...] = ()
    looks: tuple[tuple[str, str, str, str], ...] = ()
    chips: tuple[tuple[str, str, str, str, str], ...] = ()
    chip_checks: tuple[tuple[str, str, str, str], ...] = ()
    starts: tuple[tuple[str, str, str, str], ...] = ()
    """What the case says beside readings; the columns stand in ``handled``."""
    symptoms: tuple[tuple[str, str, str], ...] = ()
    """(when, what was seen, how it stands)."""
    waves: tuple[tuple[str, str, str, str, str], ...] = ()
    """(when, where, channel, measured, verdict)."""
    wave_pictures: tuple[Picture, ...] = ()
    """Each channel with its measured levels and edges."""
    warm: tuple[tuple[str, str, str, str, str], ...] = ()
    """(when, part, measured, expected, verdict) of thermal pictures."""
    warm_pictures: tuple[Picture, ...] = ()
    """Thermal pictures as they lie on the board."""
    suspects: tuple[SuspectRow, ...] = ()
    course: tuple[tuple[str, str, str, str], ...] = ()
    """The suspects over time: (when, what was seen or done, likeliest then, its probability)."""
    course_note: str = ""
    reader: str = "technician"
    """For whom this edition is: owner or technician."""
    wrong: tuple[str, ...] = ()
    done: tuple[str, ...] = ()
    still_open: tuple[str, ...] = ()
    """What was wrong, what was done and what is left, in the owner's words."""
    used: tuple[tuple[str, str], ...] = ()
    """Parts that went in and the time at the bench: (what, how much)."""

    def as_dict(self) -> dict[str, Any]:
        """The record as plain JSON values."""
        return asdict(self)
