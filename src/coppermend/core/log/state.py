"""The state of a case as the fold computes it: values only, in the agreed order, nothing that is not in the log."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from typing import Any

from coppermend.core.log.canonical import canonical_bytes, sha256_hex


@dataclass(frozen=True, slots=True)
class PointRef:
    """A place named by an entry: resolved id, coordinates (mm, copper files), side c or s, the net's name on that day."""

    id: str
    x_mm: float
    y_mm: float
    side: str
    net: str = ""
    part: str = ""
    pin: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading. ``kind`` closed, open, ohms, volts, diode, level, wave, heat. ``value`` in the SI unit of the kind, None for overload or no number.

    ``at`` its position in the case's agreed order, to compare with acts. ``says`` the level's word or "".
    """

    entry: str
    at: int
    kind: str
    points: tuple[PointRef, ...]
    value: float | None
    says: str
    raw: str
    instrument: str
    states: tuple[tuple[str, str], ...]
    observed_at: str
    part: str = ""
    sense: tuple[PointRef, ...] = ()
    """Ohms in the transfer form: the two points between which the voltage was read; () where the current's own."""
    wires: int = 0
    """Ohms: 2 or 4 wires; 0 not said."""
    step_ohm: float | None = None
    """Ohms: the last digit that the meter shows, where it was said."""
    lead_ohm: float | None = None
    """Ohms: the leads' own resistance that had been taken off, where it was said."""
    condition: str = ""
    """Under what it was read (``kinds.CONDITIONS``); "" not said."""
    taken_with: str = ""
    """Level: what it was looked at with (``kinds.TAKEN_WITH``); "" not said."""


@dataclass(frozen=True, slots=True)
class Area:
    """A work area. ``id`` is its entry's id."""

    id: str
    at: int
    polygon: tuple[tuple[float, float], ...]
    kind: str
    severity: int
    label: str
    part: str
    margin_mm: float | None


@dataclass(frozen=True, slots=True)
class Act:
    """Something done to a part or a place: look, clean, reseat, press, tap, piggyback, remove, fit, swap, state, solder. ``soldering`` whether solder flowed."""

    entry: str
    at: int
    kind: str
    part: str
    points: tuple[PointRef, ...]
    area: str
    state: str
    sound: bool | None
    soldering: bool
    words: str
    observed_at: str
    finding: str = ""
    """Of a look: what was looked for at its place (``kinds.LOOK_FINDINGS``); "" a look at everything."""
    seen: bool | None = None
    """Of a look: whether ``finding`` was seen there."""
    side: str = ""
    """Of a look: the side of the board it went over, c or s; "" not said."""
    effect: str = ""
    """What it did to what the machine shows: cured, changed, none, worse; "" not told."""
    trial: bool = False
    """For a try: everything was put back afterwards."""
    chip_in: str = ""
    chip_out: str = ""
    """Labels of the chips that went in and came out, "" not told."""


@dataclass(frozen=True, slots=True)
class IntakeNote:
    """One thing told at intake (``kinds.INTAKE_ITEMS``): ``yes`` None where it was no yes or no; ``acts`` consented to or refused; ``photos`` SHA-256."""

    entry: str
    at: int
    item: str
    words: str
    yes: bool | None
    amount: float | None
    currency: str
    acts: tuple[str, ...]
    photos: tuple[str, ...]
    observed_at: str


@dataclass(frozen=True, slots=True)
class SupplyReading:
    """A supply rail measured (``place``: alone, connector, far). Volts, amperes of the dummy load, ripple and noise in V peak to peak, seconds from switch-on."""

    entry: str
    at: int
    rail: str
    place: str
    volt: float | None
    part: str
    load_a: float | None
    ripple_v: float | None
    noise_v: float | None
    rise_s: float | None
    points: tuple[PointRef, ...]
    words: str


@dataclass(frozen=True, slots=True)
class ChipNote:
    """What was said of one chip (a piece, not a place): its label and what this entry tells; "" and None where it says nothing."""

    entry: str
    at: int
    chip: str
    type: str
    speed: str
    origin: str
    goodness: str
    place: str
    price: float | None
    words: str
    observed_at: str


@dataclass(frozen=True, slots=True)
class ChipCheck:
    """One check when a chip goes out or in (``kinds.CHIP_CHECKS``): ``good`` whether it is as it should be, of these pins (() the whole part)."""

    entry: str
    at: int
    part: str
    item: str
    good: bool
    pins: tuple[str, ...]
    words: str
    observed_at: str


@dataclass(frozen=True, slots=True)
class Wire:
    """A patch wire that was fitted, from point ``a`` to point ``b``. ``id`` is its entry's id (site ``wire@ID``)."""

    id: str
    at: int
    a: PointRef
    b: PointRef
    diameter_mm: float | None
    length_mm: float | None
    awg: float | None
    words: str
    observed_at: str
    path: tuple[tuple[float, float], ...] = ()
    """Corners of its way in mm; empty where nobody noted one."""


@dataclass(frozen=True, slots=True)
class CareTick:
    """A step of a procedure (cleaning, protection) that was started, done or left out; ``sha256`` of a photo taken at it, "" without."""

    id: str
    at: int
    procedure: str
    step: str
    state: str
    words: str
    sha256: str
    observed_at: str


@dataclass(frozen=True, slots=True)
class Cut:
    """A track that was cut on purpose at a place (mm, side c or s). ``points``: the points it was to part, where they were named."""

    id: str
    at: int
    x_mm: float
    y_mm: float
    side: str
    points: tuple[PointRef, ...]
    words: str
    observed_at: str
    stays: bool = False
    """The pins that it parts are to stay apart: no wire goes round it."""


@dataclass(frozen=True, slots=True)
class GateEntry:
    """One thing done before power: item intake, orientation, rails, supply, limit or override."""

    entry: str
    at: int
    item: str
    words: str
    volt: float | None
    limit_a: float | None
    abort_a: float | None


@dataclass(frozen=True, slots=True)
class PowerUp:
    """Power put on: what was seen while it was on, and the repairs (entry ids) since the power-up before."""

    entry: str
    at: int
    observed_at: str
    words: str
    limit_a: float | None
    gate_open: bool
    overrides: str
    repairs: tuple[str, ...]
    seen: tuple[Seen, ...]
    off_at: str = ""


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen, heard, smelled or measured at a power-up."""

    entry: str
    at: int
    screen: str
    sound: str
    smell: str
    heat: str
    current_a: float | None
    words: str
    observed_at: str


@dataclass(frozen=True, slots=True)
class StartsNote:
    """``good`` of ``of`` starts were as they should be, under a condition ("" none said), with spray or heat on ``part`` ("" none)."""

    entry: str
    at: int
    good: int
    of: int
    condition: str
    part: str
    minutes: float | None
    words: str
    observed_at: str


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo kept by content hash."""

    entry: str
    at: int
    sha256: str
    media: str
    bytes: int
    name: str
    words: str
    side: str
    observed_at: str


@dataclass(frozen=True, slots=True)
class LaidPhoto:
    """A photo laid on its side of the board. ``lens`` the view as canonical JSON (see services/layphoto.py), ``residual_mm`` root mean square miss of
    ``matched`` of ``tried`` lands."""

    entry: str
    at: int
    sha256: str
    side: str
    lens: str
    residual_mm: float
    matched: int
    tried: int


@dataclass(frozen=True, slots=True)
class Note:
    """An entry that is words: symptom, remark, test, progress. ``key`` its code, item or state; ``result`` of a test, "gone" of a symptom."""

    entry: str
    at: int
    kind: str
    key: str
    result: str
    words: str
    observed_at: str


@dataclass(frozen=True, slots=True)
class Wait:
    """Something that the case waits or waited for (``kinds.WAITS_FOR``): ``until`` a date (ISO 8601) or "", ``case`` the other case's id or "".

    ``ended_at`` when it was told that it waits no longer, "" while it does; ``ended`` the words of that.
    """

    entry: str
    at: int
    what: str
    words: str
    until: str
    case: str
    observed_at: str
    ended_at: str = ""
    ended: str = ""


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """A plan of the rework that a remark keeps: its ``words`` and what the record draws it from, as canonical JSON (``services/plans.py``)."""

    entry: str
    at: int
    words: str
    plan: str
    observed_at: str


@dataclass(frozen=True, slots=True)
class Skip:
    """A point or a check that cannot be reached."""

    entry: str
    at: int
    points: tuple[PointRef, ...]
    words: str


@dataclass(frozen=True, slots=True)
class MapNote:
    """What was said of the map: joined, apart or agreed (``kinds.MAP_SAYS``), with its points."""

    entry: str
    at: int
    says: str
    points: tuple[PointRef, ...]
    words: str


@dataclass(frozen=True, slots=True)
class TimelineItem:
    """One entry as a person reads it. ``ref`` is how it is called on the bench (its number there); ``undone`` whether it counts no more."""

    entry: str
    at: int
    ref: int
    bench: str
    kind: str
    observed_at: str
    author: str
    words: str
    undone: bool


@dataclass(frozen=True, slots=True)
class CaseState:
    """A case as its log tells it. Everything in the agreed order; entries that were taken back count in ``timeline`` and ``undone`` only."""

    case: str
    title: str
    serial: str
    complaint: str
    owner: str
    opened_at: str
    package: str
    package_id: str
    areas: tuple[Area, ...]
    readings: tuple[Reading, ...]
    acts: tuple[Act, ...]
    part_states: tuple[tuple[str, str], ...]
    """(part, state) as the log leaves it; parts it never names keep the state they were built with."""
    wires: tuple[Wire, ...]
    cuts: tuple[Cut, ...]
    skips: tuple[Skip, ...]
    gate: tuple[GateEntry, ...]
    last_soldering: int
    """Position of the last entry at which solder flowed; -1 when there is none."""
    power_on: bool
    power_ups: tuple[PowerUp, ...]
    photos: tuple[Photo, ...]
    notes: tuple[Note, ...]
    progress: str
    basis: tuple[tuple[str, str, str], ...]
    """(name, sha256, values as canonical JSON) of each thing outside the log that a belief uses; the last of a name holds."""
    practice: str
    """The practice patient behind the case as canonical JSON; "" for a real machine."""
    undone: tuple[str, ...]
    timeline: tuple[TimelineItem, ...]
    last: str
    """Id of the last entry in the agreed order."""
    map_notes: tuple[MapNote, ...] = ()
    laid: tuple[LaidPhoto, ...] = ()
    """Photos laid on the board; the last of a side holds."""
    care: tuple[CareTick, ...] = ()
    """Steps of cleaning and protection that were started, done or left out."""
    plans: tuple[KeptPlan, ...] = ()
    """Plans of the rework that remarks keep."""
    starts: tuple[StartsNote, ...] = ()
    """Starts that were counted."""
    intake: tuple[IntakeNote, ...] = ()
    supply: tuple[SupplyReading, ...] = ()
    chips: tuple[ChipNote, ...] = ()
    chip_checks: tuple[ChipCheck, ...] = ()
    waits: tuple[Wait, ...] = ()
    """What the case waits for and waited for, in the order of the log."""

    def as_dict(self) -> dict[str, Any]:
        """The state as plain JSON values."""
        value = plain(self)
        assert isinstance(value, dict)
        return value

    def sha256(self) -> str:
        """SHA-256 over the canonical JSON of the whole state: equal states, equal hashes, on every machine."""
        return sha256_hex(canonical_bytes(self.as_dict()))


def plain(value: Any) -> Any:
    """Dataclasses, tuples and maps as plain JSON values; field names as they are."""
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, dict):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    return value
