"""Reads a file of the device book: TOML text to chips. Pure: text in, values out; every refusal says which chip and what was expected."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from coppermend.core.circuit.logic import BadExpression, evaluate, names_in
from coppermend.core.findings import Place, refuse
from coppermend.devices.model import DRIVING, PIGGYBACK, Chip, Family, Function, Pin, PinKind, Rail

KIND_KEYS = {
    "power": PinKind.POWER,
    "ground": PinKind.GROUND,
    "output": PinKind.OUTPUT,
    "tri_state": PinKind.TRI_STATE,
    "open_collector": PinKind.OPEN_COLLECTOR,
    "bidirectional": PinKind.BIDIRECTIONAL,
    "clock": PinKind.CLOCK,
    "reset": PinKind.RESET,
    "select": PinKind.SELECT,
    "oscillator": PinKind.OSCILLATOR,
    "unconnected": PinKind.UNCONNECTED,
    "base": PinKind.BASE,
    "collector": PinKind.COLLECTOR,
    "emitter": PinKind.EMITTER,
}
BY_NAME = {
    "VCC": PinKind.POWER, "VDD": PinKind.POWER, "VBB": PinKind.POWER, "VEE": PinKind.POWER, "VPP": PinKind.POWER, "VGG": PinKind.POWER,
    "GND": PinKind.GROUND, "VSS": PinKind.GROUND, "NC": PinKind.UNCONNECTED,
}  # fmt: skip
CHIP_KEYS = frozenset(
    ("type", "title", "aliases", "not_types", "not_families", "pins", "sections", "logic", "drive", "needs", "function", "supply",
     "supply_range_v", "rail", "rules", "typical_mw", "note", "technology", "package", "theta_k_per_w", "unusual_power",
     "power_first", "piggyback")
) | frozenset(KIND_KEYS)  # fmt: skip
ROLES = frozenset(
    [
        "d",
        "q",
        "nq",
        "clock",
        "enable",
        "set",
        "clear",
        "sync_clear",
        "load",
        "async_load",
        "j",
        "k",
        "nk",
        "serial",
        "a",
        "b",
        "up",
        "down",
        "carry",
    ]
)
FUNCTIONS = frozenset(["d-flip-flop", "jk-flip-flop", "d-latch", "register", "counter", "shift-register", "monostable"])
_RANGE = re.compile(r"^(.*?)(\d+)\.\.(\d+)$")


def expand(words: str, sections: Sequence[str] = ()) -> list[str]:
    """Pin names of a list in words: ``A0..3`` is A0 A1 A2 A3, ``#Y`` stands for each section.

    >>> expand("A0..2 /CE"), expand("#Y", ["1", "2"])
    (['A0', 'A1', 'A2', '/CE'], ['1Y', '2Y'])
    """
    names: list[str] = []
    for word in words.split():
        for one in [word.replace("#", s) for s in sections] if "#" in word else [word]:
            match = _RANGE.match(one)
            if match is None:
                names.append(one)
                continue
            stem, first, last = match.group(1), int(match.group(2)), int(match.group(3))
            if last < first or last - first > 64:
                names.append(one)
                continue
            names.extend(f"{stem}{n}" for n in range(first, last + 1))
    return names


def read_families(text: str, name: str) -> tuple[dict[str, Family], dict[str, float]]:
    """Families by name, and package thermal resistances (kelvin per watt) by package."""
    data = _toml(text, name)
    families = {}
    for key, row in data.get("family", {}).items():
        levels = {level: row.get(level) for level in ("vil_v", "vih_v", "vol_v", "voh_v")}
        supply = Rail(float(row["supply_v"]), float(row["tolerance_percent"])) if "supply_v" in row else None
        families[key] = Family(
            key, tuple(row.get("prefixes", ())), supply, power=float(row.get("power", 1.0)), **levels
        )
    return families, {key: float(value) for key, value in data.get("theta_k_per_w", {}).items()}


def read_chips(text: str, name: str, families: Mapping[str, Family], theta: Mapping[str, float]) -> tuple[Chip, ...]:
    """The chips of one file. Refuses DEV-001 (not TOML), DEV-002 (a key or value that is not expected), DEV-003 (a pin that is not there)."""
    data = _toml(text, name)
    head = data.get("file", {})
    rows = data.get("chip", [])
    if not isinstance(head, dict) or not isinstance(rows, list):
        raise _bad(
            name, "the file", "has no [file] table and [[chip]] list", "begin with [file], then one [[chip]] per type"
        )
    for key in ("source", "sure"):
        if rows and not isinstance(head.get(key), str):
            raise _bad(name, "[file]", f"does not say its {key}", f'add {key} = "..." under [file]')
    return tuple(_chip(row, name, head, families, theta) for row in rows)


def _toml(text: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise refuse(
            "DEV-001",
            f"This file of the device book is not TOML: {err}.",
            "Correct the line, or take the file out of the folder.",
            Place(file=name),
        ) from None


def _bad(file: str, thing: str, words: str, remedy: str) -> Exception:
    return refuse("DEV-002", f"In the device book, {thing} {words}.", f"Correct it: {remedy}.", Place(file=file))


def _chip(
    row: Any, file: str, head: Mapping[str, Any], families: Mapping[str, Family], theta: Mapping[str, float]
) -> Chip:
    if not isinstance(row, dict) or not isinstance(row.get("type"), str) or not row["type"].strip():
        raise _bad(file, "a chip", "has no type", 'add type = "..."')
    kind = row["type"]
    odd = sorted(set(row) - CHIP_KEYS)
    if odd:
        raise _bad(file, kind, f"has an unknown key {odd[0]!r}", "use the keys of docs/reference/devices.md")
    for key in (
        "pins",
        "title",
        "aliases",
        "not_types",
        "not_families",
        "sections",
        "note",
        "technology",
        "package",
        "power_first",
        "piggyback",
        *KIND_KEYS,
    ):
        if key in row and not isinstance(row[key], str):
            raise _bad(file, kind, f"has a {key} that is not text", f'write {key} = "..."')
    family = families.get(row.get("technology", head.get("technology", "TTL")))
    if family is None:
        raise _bad(
            file, kind, f"is of an unknown technology {row.get('technology')!r}", "use one of " + ", ".join(families)
        )
    pins = _pins(row, file)
    sections = row.get("sections", "").split()
    package = row.get("package", f"DIP-{len(pins)}")
    try:
        logic = dict(_pairs(row.get("logic", []), sections))
        drive = dict(_pairs(row.get("drive", []), sections))
        functions = tuple(one for spec in row.get("function", []) for one in _functions(spec, sections))
        chip = Chip(
            type=kind,
            title=row.get("title", ""),
            package=package,
            pins=pins,
            family=family,
            aliases=tuple(row.get("aliases", "").split()),
            not_types=tuple(row.get("not_types", "").split()),
            not_families=tuple(row.get("not_families", "").split()),
            needs=_needs(row, pins, sections, logic, drive),
            logic=logic,
            drive=drive,
            functions=functions,
            rails=_rails(row, pins, family),
            makes={key: Rail(float(v[0]), float(v[1])) for key, v in row.get("rail", {}).items()},
            supply_range_v=tuple(float(v) for v in row["supply_range_v"]) if "supply_range_v" in row else None,  # type: ignore[arg-type]
            rules={key: float(v) for key, v in row.get("rules", {}).items()},
            typical_w=float(row["typical_mw"]) / 1000.0 if "typical_mw" in row else None,
            theta_k_per_w=float(row["theta_k_per_w"]) if "theta_k_per_w" in row else theta.get(package),
            note=row.get("note", ""),
            unusual_power=bool(row.get("unusual_power", False)),
            power_first=tuple(row.get("power_first", "").split()),
            piggyback=row.get("piggyback", ""),
            source=head["source"],
            sure=head["sure"],
            file=file,
        )
    except (TypeError, ValueError, KeyError, AttributeError, IndexError) as err:
        raise _bad(
            file, kind, f"has a value that cannot be read ({err})", "write it as in docs/reference/devices.md"
        ) from None
    _check(chip, file)
    return chip


def _pins(row: Mapping[str, Any], file: str) -> tuple[Pin, ...]:
    names = row.get("pins", "").split()
    if not 2 <= len(names) <= 128:
        raise _bad(file, row["type"], f"has {len(names)} pins", "list the pin names in order from pin 1")
    sections = row.get("sections", "").split()
    kinds: dict[str, PinKind] = {}
    for key, kind in KIND_KEYS.items():
        for one in expand(row.get(key, ""), sections):
            if one not in names:
                raise _no_pin(file, row["type"], one, f"{key} list")
            if one in kinds:
                raise _bad(
                    file, row["type"], f"lists pin {one} under {kinds[one]} and under {kind}", "leave it in one list"
                )
            kinds[one] = kind
    return tuple(
        Pin(number, name, kinds.get(name, BY_NAME.get(name, PinKind.INPUT))) for number, name in enumerate(names, 1)
    )


def _no_pin(file: str, chip: str, pin: str, where: str) -> Exception:
    return refuse(
        "DEV-003",
        f"In the device book, {chip} has no pin {pin}, which its {where} names.",
        "Correct the name, or the list of pins.",
        Place(file=file),
    )


def _pairs(rows: Sequence[Sequence[str]], sections: Sequence[str]) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    for pins, value in rows:
        if "#" in pins or "#" in value:
            for section in sections:
                found.extend((pin, value.replace("#", section)) for pin in expand(pins.replace("#", section)))
        else:
            found.extend((pin, value) for pin in expand(pins))
    return found


def _functions(spec: Mapping[str, Any], sections: Sequence[str]) -> list[Function]:
    kind = spec["kind"]
    if kind not in FUNCTIONS:
        raise ValueError(f"function kind {kind!r}")
    roles = {key: str(value) for key, value in spec.items() if key not in ("kind", "edge", "modulus")}
    odd = sorted(set(roles) - ROLES)
    if odd:
        raise ValueError(f"role {odd[0]!r}")
    edge = spec.get("edge", "")
    if edge not in ("", "rising", "falling"):
        raise ValueError(f"edge {edge!r}")
    each = list(sections) if any("#" in words for words in roles.values()) else [""]
    return [
        Function(
            kind,
            {key: tuple(expand(words.replace("#", s))) for key, words in roles.items()},
            edge,
            int(spec.get("modulus", 0)),
        )
        for s in each
    ]


def _needs(
    row: Mapping[str, Any],
    pins: Sequence[Pin],
    sections: Sequence[str],
    logic: Mapping[str, str],
    drive: Mapping[str, str],
) -> dict[str, tuple[str, ...]]:
    """What each driven pin needs: what the entry says; else the names in its logic and drive; else every pin that only listens."""
    said = row.get("needs", [])
    driven = [pin.name for pin in pins if pin.kind in DRIVING]
    told: dict[str, tuple[str, ...]] = {}
    if isinstance(said, str):
        told = {name: tuple(expand(said)) for name in driven}
    else:
        for pin, words in _pairs(said, sections):
            told[pin] = (*told.get(pin, ()), *expand(words))
    listening = tuple(pin.name for pin in pins if pin.listens and pin.kind is not PinKind.BIDIRECTIONAL)
    for name in driven:
        if name not in told:
            if name in logic:
                used = names_in(logic[name]) + (names_in(drive[name]) if name in drive else ())
                told[name] = tuple(dict.fromkeys(used))
            else:
                told[name] = listening
    return told


def _rails(row: Mapping[str, Any], pins: Sequence[Pin], family: Family) -> dict[str, Rail]:
    rails = {key: Rail(float(v[0]), float(v[1])) for key, v in row.get("supply", {}).items()}
    for pin in pins:
        if pin.kind is PinKind.POWER and pin.name not in rails and not row.get("supply") and family.supply is not None:
            rails[pin.name] = family.supply
    return rails


def _check(chip: Chip, file: str) -> None:
    names = {pin.name for pin in chip.pins}
    once: set[str] = set()
    for pin in chip.pins:
        if pin.name in once and pin.kind not in (PinKind.POWER, PinKind.GROUND, PinKind.UNCONNECTED):
            raise _bad(file, chip.type, f"has two pins called {pin.name}", "give each pin its own name")
        once.add(pin.name)
    if chip.piggyback not in ("", *PIGGYBACK):
        raise _bad(
            file,
            chip.type,
            f"has a piggyback {chip.piggyback!r}",
            f"use one of {', '.join(PIGGYBACK)}, or leave it out",
        )
    shared = any(pin.kind in (PinKind.TRI_STATE, PinKind.BIDIRECTIONAL, PinKind.OPEN_COLLECTOR) for pin in chip.pins)
    if chip.piggyback and (chip.makes or (chip.piggyback == "tri-state" and not shared)):
        raise _bad(
            file,
            chip.type,
            "allows a chip on top though it makes a rail or never lets go of its outputs",
            "leave piggyback out",
        )
    uses: list[tuple[str, str]] = [(pin, "power_first list") for pin in chip.power_first]
    uses += [(pin, "rail list") for pin in (*chip.rails, *chip.makes)]
    for where, table in (("logic", chip.logic), ("drive", chip.drive)):
        for pin_name, text in table.items():
            try:
                evaluate(text, {})
            except BadExpression as err:
                raise _bad(
                    file, chip.type, f"has a {where} that cannot be read: {err}", "use names, ! & ^ | and parentheses"
                ) from None
            uses += [(one, where) for one in (pin_name, *names_in(text))]
    uses += [(one, "needs") for pin_name, listed in chip.needs.items() for one in (pin_name, *listed)]
    uses += [(one, f"function {f.kind}") for f in chip.functions for listed in f.pins.values() for one in listed]
    for one, where in uses:
        if one not in names:
            raise _no_pin(file, chip.type, one, where)
