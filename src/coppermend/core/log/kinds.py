"""The kinds of entries and what each one's payload must hold. One table; ``docs/reference/log.md`` is its twin for readers.

Payload fields shared by kinds:
``points``       list of points in tip order: ``{"id", "x_mm", "y_mm", "side", "net", "part", "pin"}``, id resolved ("U1.8/leg", "via@31200,40000/s"),
                 never a site. ``net`` is the name on the day, for reading; the place decides.
``raw``          what was typed, heard or sent, unchanged.
``instrument``   "beep", "typed", "paper", "patient", or the instrument's own name.
``states``       part states when it was read: ``{"U1": "socketed"}``.
SI values carry their unit in the name: ``ohm``, ``volt``, ``ampere``, ``celsius``, ``hertz``. Null where a meter showed overload.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from coppermend.core.findings import Place, refuse
from coppermend.core.log.canonical import Json, canonical_bytes
from coppermend.core.log.model import Entry

PART_STATES = ("soldered", "socketed", "out", "not fitted", "replaced")
AREA_KINDS = ("rework", "corrosion", "impact")
LEVELS = ("low", "high", "toggling", "floating", "stuck", "pulsing", "right", "wrong", "holds", "even")
"""What a probe shows at a pin; pulsing is toggling; right and wrong: it moves, and its pattern or frequency was compared with the expected one.

Of millivolts compared along a net: ``holds`` they lead to this pin, it holds the net; ``even`` no pin of this pin's net stands out."""
TAKEN_WITH = ("scope", "probe", "meter", "analyser")
"""What a level was looked at with: an oscilloscope, a logic probe, a voltmeter, a logic analyser."""
GATE_ITEMS = ("intake", "orientation", "rails", "supply", "limit")
"""What is done before power is put on again: intake once a case, the others since the last soldering."""
FIRST_GATE_ITEMS = GATE_ITEMS[1:]
"""What the gate asked for before there was an intake: logs of that time are read by it."""
INTAKE_ITEMS = ("condition", "before", "limit", "consent", "original", "known good", "minimum")
"""What is asked when a machine arrives: condition, what was done before, cost limit, consent to what cannot be undone, originality, display and cables
known good, minimum configuration to start."""
IRREVERSIBLE = ("unsolder", "cut legs", "cut track", "scrape mask", "replace part", "coat", "write chip")
"""Acts that cannot be undone, or not without a trace: each needs the owner's consent."""
EFFECTS = ("cured", "changed", "none", "worse")
"""What an act on a part or place did to what the machine shows."""
SUPPLY_AT = ("alone", "connector", "far")
"""Where a supply was measured: by itself under a dummy load, at the board's connector, at a far chip."""
CHIP_CHECKS = ("free", "orientation", "type", "speed", "legs", "seat", "joined")
"""What is looked at when a chip goes out or in: legs free of solder, way round, type, speed grade, legs straight, seat tight, each pin from leg to track."""
GOODNESS = ("known good", "unknown", "known bad")
"""What is known of a chip by itself."""
MAP_SAYS = ("joined", "apart", "agreed")
"""What is said of the map: two points are joined here, a pin is not on the map's net, or map and board were compared by eye and agree."""
LOOK_FINDINGS = (
    "corrosion", "lifted land", "cracked joint", "broken track", "solder bridge", "wrong part", "wrong way round", "bent leg", "missing part", "dirty land",
)  # fmt: skip
"""What a look can find at a place; what each speaks of stands in core/belief/suspects/looks.py."""
CONDITIONS = ("cold", "warm", "freeze spray", "heat", "vibration", "minutes")
"""Under what something was read or started: cold, warm, spray or heat on a part, shaken, after some minutes."""
CARE_STATES = ("started", "done", "left out")
"""How a step of cleaning or protection stands."""
WAITS_FOR = ("part", "owner", "tool", "case")
"""What a case can wait for: a part that was ordered, the owner's word, a tool, another case."""
PROGRESS = ("waiting", "on the bench", "soak test", "ready", "returned")

Test = Callable[[Json], bool]


def is_text(value: Json) -> bool:
    """A string."""
    return isinstance(value, str)


def is_number(value: Json) -> bool:
    """A number or null (overload)."""
    return value is None or (isinstance(value, (int, float)) and not isinstance(value, bool))


def is_count(value: Json) -> bool:
    """A whole number from 0 to 1000."""
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 1000


def is_flag(value: Json) -> bool:
    """True or false."""
    return isinstance(value, bool)


def is_list(value: Json) -> bool:
    """A JSON array."""
    return isinstance(value, (list, tuple))


def is_map(value: Json) -> bool:
    """A JSON object."""
    return isinstance(value, Mapping)


def is_polygon(value: Json) -> bool:
    """Three or more [x_mm, y_mm] corners."""
    return isinstance(value, (list, tuple)) and len(value) >= 3 and all(_is_corner(one) for one in value)


def is_way(value: Json) -> bool:
    """Two to a hundred [x_mm, y_mm] corners."""
    return isinstance(value, (list, tuple)) and 2 <= len(value) <= 100 and all(_is_corner(one) for one in value)


def _is_corner(value: Json) -> bool:
    return (
        isinstance(value, (list, tuple))
        and len(value) == 2
        and all(one is not None and is_number(one) for one in value)
    )


def points_of(least: int, most: int) -> Test:
    """Between ``least`` and ``most`` points."""

    def test(value: Json) -> bool:
        return isinstance(value, (list, tuple)) and least <= len(value) <= most and all(_is_point(one) for one in value)

    return test


def _is_point(value: Json) -> bool:
    if not isinstance(value, Mapping) or not {"id", "x_mm", "y_mm", "side"} <= set(value):
        return False
    return (
        is_text(value["id"])
        and value["id"] != ""
        and value["x_mm"] is not None
        and is_number(value["x_mm"])
        and is_number(value["y_mm"])
    )


def one_of(*words: str | int) -> Test:
    """One of these words or numbers."""

    def test(value: Json) -> bool:
        return value in words

    return test


@dataclass(frozen=True, slots=True)
class KindSpec:
    """A kind: its words for a list, the version written today, the payload fields it must have and may have, and whether it is soldering."""

    name: str
    words: str
    v: int
    must: Mapping[str, Test]
    may: Mapping[str, Test]


_READ: dict[str, Test] = {
    "raw": is_text,
    "instrument": is_text,
    "states": is_map,
    "words": is_text,
    "condition": one_of(*CONDITIONS),
}
_HOW: dict[str, Test] = {
    "sense": points_of(2, 2),
    "wires": one_of(2, 4),
    "step_ohm": is_number,
    "lead_ohm": is_number,
    "volt": is_number,
    "ampere": is_number,
}
"""How ohms were read: the voltage at other points than the current (transfer form), 2 or 4 wires, the last digit shown, what the leads' own resistance was that
had been taken off (0: the meter was set to zero with its tips on each other), or volt and ampere."""
_ACT: dict[str, Test] = {
    "part": is_text,
    "points": points_of(1, 8),
    "area": is_text,
    "words": is_text,
    "state": one_of(*PART_STATES),
    "states": is_map,
}


_TRIED: dict[str, Test] = {**_ACT, "effect": one_of(*EFFECTS), "trial": is_flag, "with": is_text, "out": is_text}
"""Acts whose effect is told. ``trial``: put back afterwards; ``with`` and ``out``: the chips that went in and came out, by their labels."""


def _spec(name: str, words: str, must: dict[str, Test] | None = None, may: dict[str, Test] | None = None) -> KindSpec:
    return KindSpec(name, words, 1, MappingProxyType(must or {}), MappingProxyType({"raw": is_text, **(may or {})}))


_PICTURE: dict[str, Test] = {
    "name": is_text,
    "words": is_text,
    "width_px": is_number,
    "height_px": is_number,
    "side": is_text,
}
_FIT: dict[str, Test] = {
    "p95_mm": is_number,
    "matched": is_number,
    "tried": is_number,
    "blur_mm": is_number,
    "words": is_text,
}
_WIRE: dict[str, Test] = {
    "diameter_mm": is_number,
    "length_mm": is_number,
    "awg": is_number,
    "side": is_text,
    "words": is_text,
    "states": is_map,
    "path": is_way,
}
"""``path``: corners of the wire's way in mm, from end to end; without it the wire is drawn straight."""
_CHIP: dict[str, Test] = {
    **dict.fromkeys(("type", "speed", "origin", "place", "words"), is_text),
    "goodness": one_of(*GOODNESS),
    "price": is_number,
}
_INTAKE: dict[str, Test] = {
    "words": is_text,
    "yes": is_flag,
    "amount": is_number,
    "currency": is_text,
    "acts": is_list,
    "photos": is_list,
}
_SUPPLY: dict[str, Test] = {
    **dict.fromkeys(("load_a", "ripple_v", "noise_v", "rise_s"), is_number),
    "part": is_text,
    "points": points_of(1, 2),
    "words": is_text,
}
_POWER: dict[str, Test] = {
    "words": is_text,
    "limit_a": is_number,
    "overrides": is_text,
    "rails": is_list,
    "grounds": is_list,
    "gate": one_of("done", "passed over"),
}
"""``gate``: how the gate stood when power was put on; entries without it are judged by what stood in the log."""

_TABLE = (
    _spec("case", "case opened", {"title": is_text}, {"serial": is_text, "complaint": is_text, "owner": is_text}),
    _spec("board", "board named", {"package": is_text, "package_id": is_text}, {"title": is_text}),
    _spec("area", "work area", {"polygon": is_polygon, "kind": one_of(*AREA_KINDS), "severity": is_number}, {"label": is_text, "part": is_text, "margin_mm": is_number}),
    _spec("photo", "photo", {"sha256": is_text, "media": is_text, "bytes": is_number}, _PICTURE),
    _spec("lay", "photo laid on the board", {"sha256": is_text, "side": one_of("c", "s"), "taps": is_list, "lens": is_map, "residual_mm": is_number}, _FIT),
    _spec("closed", "closed", {"points": points_of(2, 2)}, _READ),
    _spec("open", "open", {"points": points_of(2, 2)}, _READ),
    _spec("ohms", "ohms", {"points": points_of(2, 2), "ohm": is_number}, {**_READ, **_HOW}),
    _spec("volts", "volts", {"points": points_of(1, 2), "volt": is_number}, _READ),
    _spec("diode", "diode reading", {"points": points_of(2, 2), "volt": is_number}, _READ),
    _spec("hertz", "frequency", {"points": points_of(1, 1), "hertz": is_number}, _READ),
    _spec("level", "level", {"points": points_of(1, 1), "level": one_of(*LEVELS)}, {**_READ, "with": one_of(*TAKEN_WITH)}),
    _spec("wave", "wave", {"points": points_of(1, 8), "sha256": is_text}, {**_READ, "media": is_text, "features": is_map}),
    _spec("heat", "temperature", {"celsius": is_number}, {**_READ, "part": is_text, "points": points_of(1, 1), "sha256": is_text, "picture": is_map}),
    _spec("memory", "memory test", {"errors": is_list}, {"words": is_text, "sha256": is_text, "tested": is_list, "map": is_text}),
    _spec("rom", "ROM read out", {"part": is_text, "verdict": is_text}, {"words": is_text, "sha256": is_text, "crc32": is_text, "bytes": is_number, "readings": is_number}),
    _spec("schematic", "schematic", {"sha256": is_text, "bytes": is_number, "pages": is_count}, {"name": is_text, "found": is_number, "words": is_text}),
    _spec("freerun", "free run", {"lines": is_list, "clock_hz": is_number}, {"clocks": is_number, "part": is_text, "gated": is_flag, "words": is_text}),
    _spec("diagnostic", "diagnostic", {"name": is_text, "passed": is_count}, {"stopped": is_flag, "words": is_text}),
    _spec("look", "looked", {}, {**_ACT, "sound": is_flag, "finding": one_of(*LOOK_FINDINGS), "seen": is_flag, "side": one_of("c", "s")}),
    _spec("clean", "cleaned", {}, _TRIED),
    _spec("reseat", "reseated", {"part": is_text}, _TRIED),
    _spec("press", "pressed", {}, _TRIED),
    _spec("tap", "tapped", {}, _TRIED),
    _spec("piggyback", "good chip held on top", {"part": is_text}, _TRIED),
    _spec("remove", "removed", {"part": is_text, "state": one_of("out", "not fitted")}, _ACT),
    _spec("fit", "fitted", {"part": is_text, "state": one_of("soldered", "socketed", "replaced")}, _TRIED),
    _spec("swap", "swapped", {"part": is_text}, _TRIED),
    _spec("chip", "chip", {"chip": is_text}, _CHIP),
    _spec("chipcheck", "chip looked at", {"part": is_text, "item": one_of(*CHIP_CHECKS), "good": is_flag}, {"pins": is_list, "words": is_text, "states": is_map}),
    _spec("state", "part state", {"part": is_text, "state": one_of(*PART_STATES)}, {"words": is_text}),
    _spec("solder", "soldered again", {"points": points_of(1, 8)}, _ACT),
    _spec("patch", "patch wire", {"points": points_of(2, 2)}, _WIRE),
    _spec("cut", "track cut", {"x_mm": is_number, "y_mm": is_number, "side": one_of("c", "s")}, {"points": points_of(2, 2), "words": is_text, "states": is_map, "stays": is_flag}),
    _spec("intake", "intake", {"item": one_of(*INTAKE_ITEMS)}, _INTAKE),
    _spec("supply", "supply measured", {"rail": is_text, "at": one_of(*SUPPLY_AT), "volt": is_number}, _SUPPLY),
    _spec("gate", "before power", {"item": one_of(*GATE_ITEMS, "override")}, {"words": is_text, "limit_a": is_number, "abort_a": is_number, "volt": is_number}),
    _spec("power", "power", {"on": is_flag}, _POWER),
    _spec("seen", "seen", {}, {"screen": is_text, "sound": is_text, "smell": is_text, "heat": is_text, "current_a": is_number, "words": is_text}),
    _spec("starts", "started several times", {"good": is_count, "of": is_count}, {"condition": one_of(*CONDITIONS), "part": is_text, "minutes": is_number, "words": is_text}),
    _spec("symptom", "symptom", {"words": is_text}, {"code": is_text, "gone": is_flag}),
    _spec("test", "function tested", {"item": is_text, "result": one_of("works", "fails", "not tested")}, {"words": is_text}),
    _spec("care", "step", {"procedure": is_text, "step": is_text, "state": one_of(*CARE_STATES)}, {"words": is_text, "sha256": is_text}),
    _spec("remark", "remark", {"words": is_text}, {"plan": is_map}),
    _spec("skip", "cannot reach", {"points": points_of(1, 2)}, {"words": is_text, "states": is_map}),
    _spec("map", "map corrected", {"says": one_of(*MAP_SAYS)}, {"points": points_of(1, 2), "words": is_text, "states": is_map}),
    _spec("undo", "taken back", {}, {"words": is_text}),
    _spec("basis", "numbers used", {"name": is_text, "sha256": is_text}, {"values": is_map}),
    _spec("practice", "practice patient", {"patient": is_map}, {"words": is_text}),
    _spec("progress", "progress", {"state": one_of(*PROGRESS)}, {"words": is_text}),
    _spec("waits", "waits for", {"what": one_of(*WAITS_FOR), "words": is_text}, {"until": is_text, "case": is_text}),
    _spec("waited", "waits no longer", {"entry": is_text}, {"words": is_text}),
)  # fmt: skip

KINDS: Mapping[str, KindSpec] = MappingProxyType({spec.name: spec for spec in _TABLE})
"""Every kind that this version reads."""

READINGS = ("closed", "open", "ohms", "volts", "diode", "level", "hertz", "wave", "heat")
SOLDERING = ("solder", "patch", "cut")
"""Kinds that are soldering by themselves; remove, fit and swap are when the part is not in a socket."""


KEEPS_FILE = ("photo", "wave", "heat", "memory", "rom", "schematic")
"""Kinds whose ``sha256`` names an attachment of their own; ``lay``, ``care`` and ``basis`` name another entry's, or no file."""


def attachments_of(entries: Iterable[Entry]) -> tuple[str, ...]:
    """The SHA-256 of every attachment that the entries name, sorted."""
    return tuple(
        sorted({str(one.payload["sha256"]) for one in entries if one.kind in KEEPS_FILE and "sha256" in one.payload})
    )


def check_known(entry: Entry) -> None:
    """Refusal LOG-002 for an entry whose kind or version this Coppermend does not read: it is never dropped and never guessed at."""
    spec = KINDS.get(entry.kind)
    if spec is not None and entry.v == spec.v:
        return
    known = f"version {spec.v}" if spec else "no such kind"
    raise refuse(
        "LOG-002",
        f"Entry {entry.id} is of kind {entry.kind!r} version {entry.v}; this Coppermend knows {known}. A newer one wrote it.",
        "Open the case with the newer Coppermend; nothing was changed.",
        Place(thing=f"case {entry.case}"),
    )


def check_payload(kind: str, payload: Mapping[str, Json], undoes: str | None = None) -> None:
    """Refusal LOG-003 when a payload lacks a field of its kind, has one too many or one of the wrong type.

    >>> check_payload("remark", {"words": "smells of fish"})
    """
    spec = KINDS.get(kind)
    if spec is None:
        raise refuse("LOG-002", f"There is no kind of entry {kind!r}.", f"Kinds are {', '.join(KINDS)}.")
    wrong = [f"{name} is missing" for name in spec.must if name not in payload]
    for name, value in payload.items():
        test = spec.must.get(name) or spec.may.get(name)
        if test is None:
            wrong.append(f"{name} does not belong here")
        elif not test(value):
            wrong.append(f"{name} is {value!r}")
    wrong += _unwritable(payload)
    if (kind == "undo") != (undoes is not None):
        wrong.append("an undo names the entry it takes back, and nothing else does")
    if wrong:
        raise refuse(
            "LOG-003",
            f"An entry of kind {kind} cannot be written: {'; '.join(wrong)}.",
            "See the table of kinds in docs/reference/log.md.",
        )


def _unwritable(payload: Mapping[str, Json]) -> list[str]:
    """What JSON cannot carry: NaN, numbers beyond reach, text that is no Unicode."""
    try:
        canonical_bytes(payload)
    except (ValueError, RecursionError) as err:
        return [f"a value cannot be written ({err})"]
    return []
