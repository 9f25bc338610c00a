"""A chip written in one line: for worked examples, and for tests that need a chip of their own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from coppermend.core.circuit.logic import names_in


@dataclass(frozen=True, slots=True)
class ToyPin:
    """A pin: number, name, kind."""

    number: int
    name: str
    kind: str


@dataclass(frozen=True, slots=True)
class ToyFamily:
    """A technology by name."""

    name: str


@dataclass(frozen=True, slots=True)
class ToyRail:
    """A supply's voltage."""

    nominal_v: float
    tolerance_percent: float


class Toy:
    """A chip from text: ``"1 A input|2 Y output|..."`` and expressions by output; power pins are 5 V, 5 %.

    >>> Toy("BUF", "1 A input|2 Y output", {"Y": "A"}).needs["Y"]
    ('A',)
    """

    def __init__(
        self,
        name: str,
        pins: str,
        logic: Mapping[str, str] | None = None,
        needs: Mapping[str, tuple[str, ...]] | None = None,
        drive: Mapping[str, str] | None = None,
        family: str = "LS",
    ) -> None:
        self.type = name
        self.pins: Sequence[ToyPin] = tuple(
            ToyPin(int(number), label, kind.replace("_", " "))
            for number, label, kind in (row.split(" ", 2) for row in pins.split("|"))
        )
        self.family = ToyFamily(family)
        self.logic: Mapping[str, str] = dict(logic or {})
        self.needs: Mapping[str, tuple[str, ...]] = {
            **{out: names_in(text) for out, text in self.logic.items()},
            **(needs or {}),
        }
        self.drive: Mapping[str, str] = dict(drive or {})
        self.functions: Sequence[ToyFunction] = ()
        self.rails: Mapping[str, ToyRail] = {one.name: ToyRail(5.0, 5.0) for one in self.pins if one.kind == "power"}
        self.makes: Mapping[str, ToyRail] = {}
        self.rules: Mapping[str, float] = {}


@dataclass(frozen=True, slots=True)
class ToyFunction:
    """A part with memory inside a toy chip."""

    kind: str
    pins: Mapping[str, tuple[str, ...]]
    modulus: int = 0
