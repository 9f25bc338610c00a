"""Readings of a case with the power off, compared: like pins against each other, against another case of the same board, or against a good board's list."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.belief.suspects.posterior import Witness
from coppermend.core.circuit.model import Circuit
from coppermend.core.compare.like import ALPHA, Group, Measured, Member, against, between, like_groups, pooled, stem_of
from coppermend.core.findings import Finding, Place, Refusal, Severity, refuse
from coppermend.core.log.state import CaseState, PointRef, Reading, plain
from coppermend.core.log.values import parse_value
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import bind
from coppermend.services.cases import case_state, cases_of_board
from coppermend.services.powered import circuit_of
from coppermend.services.workshop import Workshop

ODD_THOUGH_SOUND = 0.1
"""Chance that a pin without a fault is called odd: sound pins of one name can have other neighbours. An assumption, well above the statistic's own."""
CAUTION = (
    "Power off, unplugged, and large capacitors discharged through a resistor and measured to be empty before ohms or diode mode: they can hurt you and the "
    "meter. Mains supplies and picture tubes are for people qualified for them, by your local rules. Same meter, same range, same tip on ground all the time."
)
THEN = "Read the odd pin again, then compare with its chip out of its socket: what stays is on the board, what goes is the chip's."


@dataclass(frozen=True, slots=True)
class ReadingsCompared:
    """The answer: groups of like pins, the groups against another board, the odd pins of both, what was not compared and why."""

    like: tuple[Group, ...]
    against: tuple[Group, ...]
    other: str
    readings: int
    unused: tuple[tuple[str, str], ...]
    findings: tuple[Finding, ...]

    @property
    def differ(self) -> tuple[str, ...]:
        """Pins that another board reads otherwise, while nothing says which of the two is odd."""
        return tuple(
            dict.fromkeys(one.pin for group in self.against for one in group.differ if one.pin not in self.odd)
        )

    @property
    def odd(self) -> Mapping[str, Member]:
        """The odd pins, each once."""
        return pooled((*self.like, *self.against))

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {
            "readings": self.readings,
            "groups": [_group_dict(one) for one in self.like],
            "against": {"other": self.other, "groups": [_group_dict(one) for one in self.against]},
            "odd": [
                {"pin": pin, "net": one.net, "value": one.value, "p": one.p, "words": one.words}
                for pin, one in self.odd.items()
            ],
            "differ": list(self.differ),
            "unused": [{"entry": entry, "words": words} for entry, words in self.unused],
            "then": THEN if self.odd else "",
            "caution": CAUTION,
            "findings": [one.as_dict() for one in self.findings],
        }


def _group_dict(one: Group) -> dict[str, Any]:
    return {
        **{k: v for k, v in plain(one).items() if k != "members"},
        "members": plain(one.members),
        "odd": [m.pin for m in one.odd],
        "differ": [m.pin for m in one.differ],
    }


def compare_readings(
    workshop: Workshop,
    case: str,
    book: DeviceBook,
    *,
    other: str = "",
    good: str | None = None,
    good_name: str = "",
    alpha: float = ALPHA,
) -> ReadingsCompared:
    """Compare the diode and ohms readings of a case. ``other`` another case of the same board, "" the latest three that have such readings; ``good`` the text
    of a good board's list (pin, value) instead. Nobody knows of another case whether it was sound then: see ``core.compare.like.between``.

    Refusals CMP-001 (no such readings), CMP-002 (the other case is of another board), CMP-003 (the list), CMP-004 (``alpha``).
    """
    if not 1e-6 <= alpha <= 0.2:
        raise refuse(
            "CMP-004", f"A chance of {alpha:g} is no useful limit.", "Give --alpha from 0.000001 to 0.2; 0.01 is usual."
        )
    binding = bind(workshop, case)
    circuit = circuit_of(binding.board, book)
    rows, unused = measured_of(binding.state, circuit)
    if not rows:
        raise refuse(
            "CMP-001",
            "The case has no diode or ohms reading of a pin against ground or a rail.",
            "Power off, capacitors discharged: note them as diode U1.14 GND-PIN 0.612V, the red tip's pin first (coppermend note CASE diode A B VALUE).",
        )
    notes = list(_power_notes(binding.state))
    if good is not None:
        theirs, said = _good_rows(good, good_name, rows)
        notes += said
        boards = [(good_name or "the good board", theirs)] if theirs else []
        apart = against(rows, theirs, boards[0][0], alpha) if theirs else ()
    else:
        boards = _other_cases(workshop, case, binding.state, circuit, other)
        apart = between(rows, boards, alpha)
    name = ", ".join(one for one, _ in boards)
    if boards and not apart:
        notes.append(
            Finding(
                "CMP-005",
                Severity.NOTE,
                Place(),
                f"{name} shares no pin, range and tip with these readings.",
                "Read the same pins the same way.",
            )
        )
    return ReadingsCompared(like_groups(rows, alpha), apart, name, len(rows), unused, tuple(notes))


def measured_of(state: CaseState, circuit: Circuit) -> tuple[tuple[Measured, ...], tuple[tuple[str, str], ...]]:
    """The readings that can be compared, and those that cannot with the reason."""
    rows: list[Measured] = []
    unused: list[tuple[str, str]] = []
    for one in state.readings:
        if one.kind not in ("diode", "ohms") or len(one.points) != 2:
            continue
        found = _measured(one, circuit)
        if isinstance(found, str):
            unused.append((one.entry, found))
        else:
            rows.append(found)
    return tuple(rows), tuple(unused)


def _measured(one: Reading, circuit: Circuit) -> Measured | str:
    rails = [point.net in circuit.rails for point in one.points]
    if rails[0] == rails[1]:
        return "both ends are on rails" if rails[0] else "neither end is on ground or a rail"
    pin, reference = (one.points[1], one.points[0]) if rails[0] else (one.points[0], one.points[1])
    if one.value is not None and (one.value < 0 or not math.isfinite(one.value)):
        return "a value below zero"
    name = f"{pin.part}.{pin.pin}" if pin.part else pin.id
    return Measured(
        name,
        pin.net,
        one.kind,
        one.value,
        reference.net,
        not rails[0],
        _like(pin, name, circuit),
        one.entry,
        one.at,
        one.states,
    )


def _like(pin: PointRef, name: str, circuit: Circuit) -> tuple[str, ...]:
    """The groups a pin belongs to: like-named pins of its chip, the same pin of like chips, else like-named nets."""
    part = circuit.part(pin.part) if pin.part else None
    t = next((one for one in part.terminals if one.id == name), None) if part is not None else None
    if part is None or t is None or part.chip is None:
        return (f"nets {stem_of(pin.net)}",) if pin.net and stem_of(pin.net) != pin.net else ()
    found = []
    if stem_of(t.name) != t.name:
        found.append(f"{part.ref} {stem_of(t.name)}")
    return (*found, f"pin {t.number} {t.name} of every {part.chip.type}")


def _power_notes(state: CaseState) -> Iterable[Finding]:
    if state.power_on:
        words = "The log says that power is on."
        yield Finding(
            "CMP-006",
            Severity.WARNING,
            Place(),
            words,
            "Switch off, unplug, discharge; readings under power say nothing and can harm the meter.",
        )


MOST_OTHERS, MOST_CASES = 3, 200
"""Boards that a case is compared with, and cases that are looked through for them, latest first."""


def _other_cases(
    workshop: Workshop, case: str, state: CaseState, circuit: Circuit, other: str
) -> list[tuple[str, tuple[Measured, ...]]]:
    """(name, readings) of the case that was named, or of the latest ones of the board."""
    if other:
        found = case_state(workshop, other)
        if found.package_id != state.package_id:
            raise refuse(
                "CMP-002",
                f"Case {found.title!r} is of another board ({found.package}).",
                "Name a case of the same package: coppermend case list.",
            )
        rows = measured_of(found, circuit)[0]
        return [(f"case {found.title}", rows)] if rows else []
    boards: list[tuple[str, tuple[Measured, ...]]] = []
    for row in cases_of_board(workshop, state.package_id, (), MOST_CASES):
        if row.id == case:
            continue
        try:
            found = case_state(workshop, row.id)
        except Refusal:
            continue
        rows = measured_of(found, circuit)[0] if found.package_id == state.package_id else ()
        if rows:
            boards.append((f"case {found.title}", rows))
        if len(boards) == MOST_OTHERS:
            break
    return boards


def _good_rows(text: str, file: str, rows: Sequence[Measured]) -> tuple[tuple[Measured, ...], list[Finding]]:
    """A list of a good board: pin and value a line, in the way the case's own reading of that pin was taken."""
    by_pin: dict[str, list[Measured]] = {}
    for one in rows:
        by_pin.setdefault(one.pin.upper(), []).append(one)
    found: list[Measured] = []
    notes: list[Finding] = []
    read = 0
    for number, cells in enumerate(csv.reader(io.StringIO(text.replace(";", ",").replace("\t", ","))), 1):
        words = [one.strip() for one in cells if one.strip()]
        if len(words) == 1:
            words = words[0].split()
        if not words or words[0].startswith("#") or (number == 1 and words[0].lower() == "pin"):
            continue
        value = _typed(words[1]) if len(words) >= 2 else None
        if value is None:
            place = Place(file=file or None, line=number, text=" ".join(words)[:60])
            notes.append(
                Finding(
                    "CMP-003",
                    Severity.WARNING,
                    place,
                    f"Line {number} is no pin with a value.",
                    "Write it as U1.14, 0.612V.",
                )
            )
            continue
        read += 1
        kind, number_read = value
        for mine in by_pin.get(words[0].upper(), ()):
            if mine.kind == kind:
                found.append(Measured(mine.pin, mine.net, kind, number_read, mine.reference, mine.red))
    if not read:
        raise refuse(
            "CMP-003",
            "The good board's list holds no pin with a value.",
            "Write one a line: U1.14, 0.612V or U1.14, 4.7k; OL for overload.",
            Place(file=file or None),
        )
    return tuple(found), notes[:20]


def _typed(text: str) -> tuple[str, float | None] | None:
    """A value with its kind: volts are diode mode, everything else ohms; None when it is neither."""
    bare = text.strip()
    kind = "diode" if bare.lower().endswith("v") or bare.lower().startswith("0.") else "ohms"
    try:
        return kind, parse_value(bare, "volt" if kind == "diode" else "ohm")
    except Refusal:
        return None


def reading_witnesses(state: CaseState, circuit: Circuit) -> tuple[tuple[Witness, int, bool], ...]:
    """What like pins of a case say of its parts and nets: one finding for each odd pin."""
    rows, _ = measured_of(state, circuit)
    found = []
    for pin, one in pooled(like_groups(rows)).items():
        words = f"{pin} is odd among like pins: {one.words}"
        found.append((Witness((("pin", pin, 0.0),), math.log(ODD_THOUGH_SOUND), words, one.entry), one.at, False))
    return tuple(found)
