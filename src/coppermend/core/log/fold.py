"""The fold: entries in, the state of the case out. Pure; the same entries give the same state bit for bit, in whatever order they were appended."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from coppermend.core.findings import Place, refuse
from coppermend.core.log.canonical import canonical_bytes
from coppermend.core.log.gate import gate_status
from coppermend.core.log.kinds import FIRST_GATE_ITEMS, READINGS, SOLDERING, check_known
from coppermend.core.log.model import Entry, agreed_order
from coppermend.core.log.state import (
    Act,
    Area,
    CareTick,
    CaseState,
    ChipCheck,
    ChipNote,
    Cut,
    GateEntry,
    IntakeNote,
    KeptPlan,
    LaidPhoto,
    MapNote,
    Note,
    Photo,
    PointRef,
    PowerUp,
    Reading,
    Seen,
    Skip,
    StartsNote,
    SupplyReading,
    TimelineItem,
    Wait,
    Wire,
)
from coppermend.core.log.words import entry_words

_VALUE = {"ohms": "ohm", "volts": "volt", "diode": "volt", "heat": "celsius", "hertz": "hertz"}
_IN_SOCKET = "socketed"


def fold(entries: Iterable[Entry]) -> CaseState:
    """The state of one case from its entries. Refusal LOG-002 for a kind or version that is not known, LOG-004 when they are no whole case.

    Entries may come in any order and more than once; they are folded in the agreed order (lamport, bench, bench_seq).
    """
    ordered = agreed_order(entries)
    for entry in ordered:
        check_known(entry)
    _check_one_case(ordered)
    undone = undone_ids(ordered)
    work = _Work(case=ordered[0].case)
    for at, entry in enumerate(ordered):
        if entry.id not in undone and entry.kind != "undo":
            _HANDLERS[entry.kind](work, entry, at)
    timeline = tuple(
        TimelineItem(
            one.id,
            at,
            one.bench_seq,
            one.bench,
            one.kind,
            one.observed_at,
            one.author,
            entry_words(one),
            one.id in undone,
        )
        for at, one in enumerate(_with_targets(ordered))
    )
    return work.state(timeline, tuple(one.id for one in ordered if one.id in undone), ordered[-1].id)


def undone_ids(ordered: Sequence[Entry]) -> frozenset[str]:
    """Ids of the entries that count no more: named by an undo that itself was not taken back. ``ordered`` in the agreed order.

    An undo comes after what it takes back, so walking backwards each undo is judged before its target.
    """
    gone: set[str] = set()
    for entry in reversed(ordered):
        if entry.kind == "undo" and entry.id not in gone and entry.undoes is not None:
            gone.add(entry.undoes)
    return frozenset(gone & {entry.id for entry in ordered})


def _check_one_case(ordered: Sequence[Entry]) -> None:
    if not ordered or ordered[0].kind != "case" or any(one.case != ordered[0].case for one in ordered):
        found = f"the first is of kind {ordered[0].kind!r}" if ordered else "there are none"
        raise refuse(
            "LOG-004",
            f"These entries are no whole case: {found}, expected one case from its opening on.",
            "Import the case again.",
            Place(),
        )


def _with_targets(ordered: Sequence[Entry]) -> list[Entry]:
    """The entries, an undo with the words of what it takes back."""
    by_id = {one.id: one for one in ordered}
    return [
        replace(one, payload={"words": f"no. {by_id[one.undoes].bench_seq}, {entry_words(by_id[one.undoes])}"})
        if one.kind == "undo" and one.undoes in by_id
        else one
        for one in ordered
    ]


@dataclass(slots=True)
class _Work:
    """The state while it is being folded."""

    case: str
    head: dict[str, str] = field(default_factory=dict)
    areas: list[Area] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    acts: list[Act] = field(default_factory=list)
    parts: dict[str, str] = field(default_factory=dict)
    wires: list[Wire] = field(default_factory=list)
    cuts: list[Cut] = field(default_factory=list)
    skips: list[Skip] = field(default_factory=list)
    gate: list[GateEntry] = field(default_factory=list)
    last_soldering: int = -1
    power_on: bool = False
    ups: list[PowerUp] = field(default_factory=list)
    repairs: list[str] = field(default_factory=list)
    photos: list[Photo] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    progress: str = "on the bench"
    basis: dict[str, tuple[str, str, str]] = field(default_factory=dict)
    practice: str = ""
    map_notes: list[MapNote] = field(default_factory=list)
    laid: list[LaidPhoto] = field(default_factory=list)
    care: list[CareTick] = field(default_factory=list)
    plans: list[KeptPlan] = field(default_factory=list)
    starts: list[StartsNote] = field(default_factory=list)
    intake: list[IntakeNote] = field(default_factory=list)
    supply: list[SupplyReading] = field(default_factory=list)
    chips: list[ChipNote] = field(default_factory=list)
    chip_checks: list[ChipCheck] = field(default_factory=list)
    waits: list[Wait] = field(default_factory=list)

    def state(self, timeline: tuple[TimelineItem, ...], undone: tuple[str, ...], last: str) -> CaseState:
        head = self.head
        return CaseState(
            case=self.case,
            title=head.get("title", ""),
            serial=head.get("serial", ""),
            complaint=head.get("complaint", ""),
            owner=head.get("owner", ""),
            opened_at=head.get("opened_at", ""),
            package=head.get("package", ""),
            package_id=head.get("package_id", ""),
            areas=tuple(self.areas),
            readings=tuple(self.readings),
            acts=tuple(self.acts),
            part_states=tuple(sorted(self.parts.items())),
            wires=tuple(self.wires),
            cuts=tuple(self.cuts),
            skips=tuple(self.skips),
            gate=tuple(self.gate),
            last_soldering=self.last_soldering,
            power_on=self.power_on,
            power_ups=tuple(self.ups),
            photos=tuple(self.photos),
            notes=tuple(self.notes),
            progress=self.progress,
            basis=tuple(self.basis[name] for name in sorted(self.basis)),
            practice=self.practice,
            undone=undone,
            timeline=timeline,
            last=last,
            map_notes=tuple(self.map_notes),
            laid=tuple(self.laid),
            care=tuple(self.care),
            plans=tuple(self.plans),
            starts=tuple(self.starts),
            intake=tuple(self.intake),
            supply=tuple(self.supply),
            chips=tuple(self.chips),
            chip_checks=tuple(self.chip_checks),
            waits=tuple(self.waits),
        )


def point_ref(value: Any) -> PointRef:
    """A point of a payload as a value."""
    return PointRef(
        str(value["id"]), float(value["x_mm"]), float(value["y_mm"]), str(value["side"]),
        str(value.get("net") or ""), str(value.get("part") or ""), str(value.get("pin") or ""),
    )  # fmt: skip


def _points(entry: Entry) -> tuple[PointRef, ...]:
    listed: Any = entry.payload.get("points") or ()
    return tuple(point_ref(one) for one in listed)


def _list(entry: Entry, name: str) -> list[Any]:
    found: Any = entry.payload.get(name) or ()
    return list(found)


def _text(entry: Entry, name: str) -> str:
    return str(entry.payload.get(name) or "")


def _number(entry: Entry, name: str) -> float | None:
    value: Any = entry.payload.get(name)
    return None if value is None else float(value)


def _states(entry: Entry) -> tuple[tuple[str, str], ...]:
    found: Any = entry.payload.get("states") or {}
    return tuple(sorted((str(part), str(state)) for part, state in found.items()))


def _json(value: Any) -> str:
    return canonical_bytes(value).decode()


def _case(work: _Work, entry: Entry, at: int) -> None:
    for name in ("title", "serial", "complaint", "owner"):
        if _text(entry, name) or name not in work.head:
            work.head[name] = _text(entry, name)
    work.head.setdefault("opened_at", entry.observed_at)


def _board(work: _Work, entry: Entry, at: int) -> None:
    work.head["package"] = _text(entry, "package")
    work.head["package_id"] = _text(entry, "package_id")


def _area(work: _Work, entry: Entry, at: int) -> None:
    corners: Any = entry.payload["polygon"]
    polygon = tuple((float(x), float(y)) for x, y in corners)
    severity = int(_number(entry, "severity") or 1)
    work.areas.append(
        Area(
            entry.id,
            at,
            polygon,
            _text(entry, "kind"),
            severity,
            _text(entry, "label"),
            _text(entry, "part"),
            _number(entry, "margin_mm"),
        )
    )


def _photo(work: _Work, entry: Entry, at: int) -> None:
    size = int(_number(entry, "bytes") or 0)
    words = (_text(entry, "name"), _text(entry, "words"), _text(entry, "side"))
    work.photos.append(
        Photo(entry.id, at, _text(entry, "sha256"), _text(entry, "media"), size, *words, entry.observed_at)
    )


def _laid(work: _Work, entry: Entry, at: int) -> None:
    counts = [int(_number(entry, name) or 0) for name in ("matched", "tried")]
    lens, residual = _json(entry.payload["lens"]), _number(entry, "residual_mm") or 0.0
    work.laid.append(LaidPhoto(entry.id, at, _text(entry, "sha256"), _text(entry, "side"), lens, residual, *counts))


def _reading(work: _Work, entry: Entry, at: int) -> None:
    value = _number(entry, _VALUE[entry.kind]) if entry.kind in _VALUE else None
    raw, instrument = _text(entry, "raw"), _text(entry, "instrument")
    work.readings.append(
        Reading(
            entry.id, at, entry.kind, _points(entry), value, _text(entry, "level"), raw, instrument,
            _states(entry), entry.observed_at, _text(entry, "part"),
            tuple(point_ref(one) for one in _list(entry, "sense")), int(_number(entry, "wires") or 0), _number(entry, "step_ohm"),
            _number(entry, "lead_ohm"), _text(entry, "condition"), _text(entry, "with"),
        )
    )  # fmt: skip


def _act(work: _Work, entry: Entry, at: int) -> None:
    part, state = _text(entry, "part"), _text(entry, "state")
    hot = flows_solder(entry)
    sound: Any = entry.payload.get("sound")
    trial = bool(entry.payload.get("trial"))
    words = _text(entry, "words")
    work.acts.append(
        Act(
            entry.id,
            at,
            entry.kind,
            part,
            _points(entry),
            _text(entry, "area"),
            state,
            sound,
            hot,
            words,
            entry.observed_at,
            _text(entry, "finding"),
            entry.payload["seen"] is True if "seen" in entry.payload else None,
            _text(entry, "side"),
            effect=_text(entry, "effect"),
            trial=trial,
            chip_in=_text(entry, "with"),
            chip_out=_text(entry, "out"),
        )
    )
    if part and state:
        work.parts[part] = state
    if hot:
        work.last_soldering = at
    if is_repair(work.acts[-1]):
        work.repairs.append(entry.id)


NO_REPAIRS = ("look", "state", "tap", "piggyback")
"""Acts that leave the board as it was; so does what was put back after a try, and a press whose effect was looked at meanwhile."""


def is_repair(act: Act) -> bool:
    """Whether an act may have mended something that lasts."""
    return act.kind not in NO_REPAIRS and not act.trial and not (act.kind == "press" and act.effect)


CHANGING = ("clean", "reseat", "remove", "fit", "swap", "solder")
"""Acts after which a machine is another one than was tested, with or without solder."""


def ends_tests(kind: str, soldering: bool, trial: bool) -> bool:
    """Whether what was tested before an act says nothing of the machine as it is: solder flowed, or something was changed and stays so."""
    return soldering or (kind in CHANGING and not trial)


def flows_solder(entry: Entry) -> bool:
    """Whether solder flowed: soldering by kind, or a part taken out, fitted or swapped that was not in a socket."""
    if entry.kind in SOLDERING:
        return True
    part = _text(entry, "part")
    before = dict(_states(entry)).get(part, "soldered")
    after = _text(entry, "state") or before
    if entry.kind == "remove":
        return before != _IN_SOCKET
    if entry.kind == "fit":
        return after != _IN_SOCKET
    return entry.kind == "swap" and after != _IN_SOCKET


def _patch(work: _Work, entry: Entry, at: int) -> None:
    a, b = _points(entry)
    size = (_number(entry, "diameter_mm"), _number(entry, "length_mm"), _number(entry, "awg"))
    path = tuple((float(x), float(y)) for x, y in _list(entry, "path"))
    work.wires.append(Wire(entry.id, at, a, b, *size, _text(entry, "words"), entry.observed_at, path))
    work.last_soldering = at
    work.repairs.append(entry.id)


def _cut(work: _Work, entry: Entry, at: int) -> None:
    x_mm, y_mm = _number(entry, "x_mm") or 0.0, _number(entry, "y_mm") or 0.0
    side, words, stays = _text(entry, "side"), _text(entry, "words"), bool(_flag(entry, "stays"))
    work.cuts.append(Cut(entry.id, at, x_mm, y_mm, side, _points(entry), words, entry.observed_at, stays))
    work.last_soldering = at
    work.repairs.append(entry.id)


def _flag(entry: Entry, name: str) -> bool | None:
    value: Any = entry.payload.get(name)
    return None if value is None else bool(value)


def _intake(work: _Work, entry: Entry, at: int) -> None:
    work.intake.append(
        IntakeNote(
            entry.id,
            at,
            _text(entry, "item"),
            _text(entry, "words"),
            _flag(entry, "yes"),
            _number(entry, "amount"),
            _text(entry, "currency"),
            tuple(str(one) for one in _list(entry, "acts")),
            tuple(str(one) for one in _list(entry, "photos")),
            entry.observed_at,
        )
    )


def _supply(work: _Work, entry: Entry, at: int) -> None:
    made = SupplyReading(
        entry.id,
        at,
        _text(entry, "rail"),
        _text(entry, "at"),
        _number(entry, "volt"),
        _text(entry, "part"),
        _number(entry, "load_a"),
        _number(entry, "ripple_v"),
        _number(entry, "noise_v"),
        _number(entry, "rise_s"),
        _points(entry),
        _text(entry, "words"),
    )
    work.supply.append(made)


def _chip(work: _Work, entry: Entry, at: int) -> None:
    made = ChipNote(
        entry.id,
        at,
        _text(entry, "chip"),
        _text(entry, "type"),
        _text(entry, "speed"),
        _text(entry, "origin"),
        _text(entry, "goodness"),
        _text(entry, "place"),
        _number(entry, "price"),
        _text(entry, "words"),
        entry.observed_at,
    )
    work.chips.append(made)


def _chip_check(work: _Work, entry: Entry, at: int) -> None:
    made = ChipCheck(
        entry.id,
        at,
        _text(entry, "part"),
        _text(entry, "item"),
        bool(entry.payload["good"]),
        tuple(str(one) for one in _list(entry, "pins")),
        _text(entry, "words"),
        entry.observed_at,
    )
    work.chip_checks.append(made)


def _skip(work: _Work, entry: Entry, at: int) -> None:
    work.skips.append(Skip(entry.id, at, _points(entry), _text(entry, "words")))


def _map(work: _Work, entry: Entry, at: int) -> None:
    work.map_notes.append(MapNote(entry.id, at, _text(entry, "says"), _points(entry), _text(entry, "words")))


def _gate(work: _Work, entry: Entry, at: int) -> None:
    size = (_number(entry, "volt"), _number(entry, "limit_a"), _number(entry, "abort_a"))
    work.gate.append(GateEntry(entry.id, at, _text(entry, "item"), _text(entry, "words"), *size))


def _power(work: _Work, entry: Entry, at: int) -> None:
    if entry.payload["on"]:
        _power_up(work, entry, at)
        work.power_on = True
        return
    work.power_on = False
    if work.ups and not work.ups[-1].off_at:
        work.ups[-1] = replace(work.ups[-1], off_at=entry.observed_at)


def _names(entry: Entry, key: str) -> list[str]:
    """A list of net names that an entry keeps; entries from before they were kept have none."""
    found = entry.payload.get(key)
    return [str(one) for one in found] if isinstance(found, list) else []


def _power_up(work: _Work, entry: Entry, at: int) -> None:
    stood = _text(entry, "gate")
    gate = gate_status(
        work.gate,
        work.readings,
        work.last_soldering,
        _names(entry, "rails"),
        _names(entry, "grounds"),
        items=FIRST_GATE_ITEMS,
    )
    words, limit = _text(entry, "words") if entry.kind == "power" else "", _number(entry, "limit_a")
    overrides = _text(entry, "overrides") or gate.overridden
    work.ups.append(
        PowerUp(
            entry.id, at, entry.observed_at, words, limit, bool(stood) or gate.open, overrides, tuple(work.repairs), ()
        )
    )
    work.repairs = []


def _seen(work: _Work, entry: Entry, at: int) -> None:
    """What was seen belongs to the last power-up; without one, seeing something was the power-up."""
    if not work.ups:
        _power_up(work, entry, at)
    seen = Seen(
        entry=entry.id,
        at=at,
        screen=_text(entry, "screen"),
        sound=_text(entry, "sound"),
        smell=_text(entry, "smell"),
        heat=_text(entry, "heat"),
        current_a=_number(entry, "current_a"),
        words=_text(entry, "words"),
        observed_at=entry.observed_at,
    )
    work.ups[-1] = replace(work.ups[-1], seen=(*work.ups[-1].seen, seen))


def _starts(work: _Work, entry: Entry, at: int) -> None:
    work.starts.append(
        StartsNote(
            entry.id,
            at,
            int(_number(entry, "good") or 0),
            int(_number(entry, "of") or 0),
            _text(entry, "condition"),
            _text(entry, "part"),
            _number(entry, "minutes"),
            _text(entry, "words"),
            entry.observed_at,
        )
    )


def _note(work: _Work, entry: Entry, at: int) -> None:
    key = _text(entry, "code") or _text(entry, "item") or _text(entry, "state")
    result = _text(entry, "result") or ("gone" if entry.payload.get("gone") else "")
    work.notes.append(Note(entry.id, at, entry.kind, key, result, _text(entry, "words"), entry.observed_at))
    if entry.kind == "progress":
        work.progress = key
    if isinstance(entry.payload.get("plan"), Mapping):
        plan = canonical_bytes(entry.payload["plan"]).decode()
        work.plans.append(KeptPlan(entry.id, at, _text(entry, "words"), plan, entry.observed_at))


def _care(work: _Work, entry: Entry, at: int) -> None:
    work.care.append(
        CareTick(
            entry.id,
            at,
            _text(entry, "procedure"),
            _text(entry, "step"),
            _text(entry, "state"),
            _text(entry, "words"),
            _text(entry, "sha256"),
            entry.observed_at,
        )
    )


def _waits(work: _Work, entry: Entry, at: int) -> None:
    what, words = _text(entry, "what"), _text(entry, "words")
    work.waits.append(Wait(entry.id, at, what, words, _text(entry, "until"), _text(entry, "case"), entry.observed_at))


def _waited(work: _Work, entry: Entry, at: int) -> None:
    """The first word that it is over holds; one that names no such entry ends nothing."""
    work.waits = [
        replace(one, ended_at=entry.observed_at, ended=_text(entry, "words"))
        if one.entry == _text(entry, "entry") and not one.ended_at
        else one
        for one in work.waits
    ]


def _basis(work: _Work, entry: Entry, at: int) -> None:
    name = _text(entry, "name")
    work.basis[name] = (name, _text(entry, "sha256"), _json(entry.payload.get("values") or {}))


def _practice(work: _Work, entry: Entry, at: int) -> None:
    work.practice = _json(entry.payload["patient"])


PART_ACTS = ("look", "clean", "reseat", "press", "tap", "piggyback", "remove", "fit", "swap", "state")

_HANDLERS: dict[str, Callable[[_Work, Entry, int], None]] = {
    "case": _case,
    "board": _board,
    "area": _area,
    "photo": _photo,
    "lay": _laid,
    **dict.fromkeys(READINGS, _reading),
    **dict.fromkeys((*PART_ACTS, "solder"), _act),
    "intake": _intake,
    "supply": _supply,
    "chip": _chip,
    "chipcheck": _chip_check,
    "patch": _patch,
    "cut": _cut,
    "skip": _skip,
    "map": _map,
    "gate": _gate,
    "power": _power,
    "seen": _seen,
    "starts": _starts,
    **dict.fromkeys(
        ("symptom", "remark", "test", "progress", "memory", "rom", "freerun", "diagnostic", "schematic"), _note
    ),
    "care": _care,
    "basis": _basis,
    "practice": _practice,
    "waits": _waits,
    "waited": _waited,
}
