"""A machine file (TOML): what a machine's start shows and what that means, sounds, expected levels, known patterns, spare parts."""

from __future__ import annotations

import tomllib
from typing import Any

from coppermend.core.circuit.machine import (
    DEFAULT_SCREENS,
    USUAL_FUNCTIONS,
    WORKS,
    Diagnostic,
    DiagnosticStep,
    MachineModel,
    MustWork,
    Said,
    Screen,
)
from coppermend.core.findings import Place, refuse

LARGEST = 1_000_000
"""Bytes; a machine file is a page of text."""
_CONDITIONS = ("still", "moving", "right", "not_right")


def read_machine(data: bytes, name: str = "machine.toml") -> MachineModel:
    """The machine that a file describes. Refusal MAC-001 when it cannot be read, MAC-002 when a row is not as it should be.

    >>> m = read_machine(b'[machine]\\nname = "A"\\n[[screen]]\\nname = "dark"\\nwords = "no picture"\\nstill = ["SYNC"]')
    >>> [s.name for s in m.screens]
    ['works', 'dark', 'fails']
    """
    if len(data) > LARGEST:
        raise refuse(
            "MAC-001", "The machine file is larger than 1 MB.", "Keep one machine to a file.", Place(file=name)
        )
    try:
        rows = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as err:
        raise refuse(
            "MAC-001",
            f"The machine file cannot be read: {err}.",
            "It is TOML in UTF-8; see docs/reference/machines.md.",
            Place(file=name),
        ) from None
    head = _table(rows, "machine", name)
    screens = tuple(_screen(row, name) for row in _rows(rows, "screen", name))
    if screens and not any(one.name == WORKS.name for one in screens):
        screens = (WORKS, *screens)
    if screens and screens[-1].name != "fails" and any(getattr(screens[-1], c) for c in _CONDITIONS):
        screens = (*screens, DEFAULT_SCREENS[1])
    said = tuple(_said(row, name) for row in _rows(rows, "expect", name))
    patterns = _texts(_table(rows, "patterns", name), "nets", name)
    spares = _texts(_table(rows, "spares", name), "parts", name)
    found = tuple(_diagnostic(row, name) for row in _rows(rows, "diagnostic", name))
    must = tuple(_function(row, name) for row in _rows(rows, "function", name)) or USUAL_FUNCTIONS
    twice = sorted({one.name for one in must if sum(two.name == one.name for two in must) > 1})
    if twice:
        raise _bad(f"the [[function]] {', '.join(twice)} stands twice", name)
    return MachineModel(str(head.get("name", "")), screens or DEFAULT_SCREENS, said, patterns, spares, found, must)


def _table(rows: dict[str, Any], key: str, name: str) -> dict[str, Any]:
    found = rows.get(key, {})
    if not isinstance(found, dict):
        raise _bad(f"[{key}] is no table", name)
    return found


def _rows(rows: dict[str, Any], key: str, name: str) -> list[dict[str, Any]]:
    found = rows.get(key, [])
    if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        raise _bad(f"{key} is no list of tables: write [[{key}]]", name)
    return found


def _texts(row: dict[str, Any], key: str, name: str) -> tuple[str, ...]:
    found = row.get(key, [])
    if not isinstance(found, list) or not all(isinstance(one, str) for one in found):
        raise _bad(f"{key} is no list of texts", name)
    return tuple(found)


def _text(row: dict[str, Any], key: str, name: str) -> str:
    found = row.get(key, "")
    if not isinstance(found, str):
        raise _bad(f"{key} is no text", name)
    return found


def _screen(row: dict[str, Any], name: str) -> Screen:
    unknown = set(row) - {"name", "words", "sound", *_CONDITIONS}
    title = _text(row, "name", name).strip().lower()
    if unknown or not title:
        raise _bad(f"a [[screen]] needs a name and knows no {', '.join(sorted(unknown)) or 'empty one'}", name)
    still, moving, right, not_right = (_texts(row, one, name) for one in _CONDITIONS)
    return Screen(title, _text(row, "words", name), still, moving, right, not_right, _text(row, "sound", name))


def _diagnostic(row: dict[str, Any], name: str) -> Diagnostic:
    title = _text(row, "name", name).strip()
    rows = _rows(row, "step", name)
    if not title or not rows or set(row) - {"name", "step"}:
        raise _bad("a [[diagnostic]] needs a name and one [[diagnostic.step]] or more, nothing else", name)
    steps = tuple(_step(one, k, name) for k, one in enumerate(rows, 1))
    return Diagnostic(title, steps)


def _step(row: dict[str, Any], number: int, name: str) -> DiagnosticStep:
    words = _text(row, "words", name).strip()
    parts, nets = _texts(row, "parts", name), _texts(row, "nets", name)
    if not words or not (parts or nets) or set(row) - {"words", "parts", "nets"}:
        raise _bad(f"step {number} of a diagnostic needs words, and the parts or nets that it needs", name)
    return DiagnosticStep(number, words, parts, nets)


def _function(row: dict[str, Any], name: str) -> MustWork:
    title = " ".join(_text(row, "name", name).split()).lower()
    if not title or set(row) - {"name", "words"}:
        raise _bad("a [[function]] needs a name, may have words on how it is tested, and knows nothing else", name)
    return MustWork(title, _text(row, "words", name).strip())


def _said(row: dict[str, Any], name: str) -> Said:
    level = _text(row, "level", name)
    net = _text(row, "net", name)
    if level not in ("low", "high", "moving", "by program") or not net:
        raise _bad(f"an [[expect]] needs a net and a level low, high, moving or by program; found {level!r}", name)
    return Said(net, level, _text(row, "words", name))


def _bad(words: str, name: str) -> Exception:
    return refuse(
        "MAC-002", f"The machine file cannot be used: {words}.", "See docs/reference/machines.md.", Place(file=name)
    )
