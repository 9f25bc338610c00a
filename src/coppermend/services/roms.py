"""ROM read-outs as the bench asks: checked against an owner's list, with the pins of the chip that explain what is wrong; noted in a case as evidence."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.belief.suspects.posterior import Witness
from coppermend.core.board.model import Board, Part
from coppermend.core.board.names import nearest_names
from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.log.canonical import Json
from coppermend.core.log.model import Entry
from coppermend.core.log.state import plain
from coppermend.core.memory.derive import LEAST_LINES, WRITE_PINS
from coppermend.core.rom.check import RomChecked, check_rom
from coppermend.core.rom.lists import Listed, read_list
from coppermend.devices.book import DeviceBook
from coppermend.devices.model import Chip, PinKind
from coppermend.services.bind import bind
from coppermend.services.entries import write
from coppermend.services.notes import Noted, noted
from coppermend.services.workshop import Workshop

BY_SIZE = {2048: "2716", 4096: "2732", 8192: "2764", 16384: "27128", 32768: "27256", 65536: "27512", 1024: "2708"}
"""The usual EPROM of a size in bytes: a guess where neither part nor type is named."""
GOOD = ("right",)
CONTENT = ("single bit", "weak", "wrong socket", "reordered")
"""Verdicts that say that the content is bad while the chip reads: they speak for no dead output and no pin of it."""
UNSAID = ("no list", "not listed", "list contradicts")
"""Verdicts that say nothing of the chip."""
RIGHT_THOUGH_BAD = 0.1
"""Chance that a bad ROM is read right in a reader: it fails only warm, slow or on its board. An assumption."""
WRONG_THOUGH_GOOD = 0.02
"""Chance that a good ROM is read wrong: reader set wrong, dirty legs in the reader's socket. An assumption."""
CAUTION = (
    "Power off and unplugged before a ROM is pulled; note which way round it sat; lever both ends in turn; touch ground first. Read it in a reader set to its "
    "own type: the programming voltage of another type can destroy it. Keep the window of an EPROM covered."
)
THEN = {
    "right": "Its content is right: look at its socket, its selects and its supply instead.",
    "weak": "Clean its legs and read it again, also at the ends of its supply range; keep the content, then write it to a new chip.",
    "wrong socket": "Power off. See whether it and the one of the other socket were exchanged.",
    "reordered": "See how it was read and written: the order of files, the reader's setting, or two pins exchanged.",
    "repeated": "Clean its legs and the reader's socket and read it again; if the line stays dead, its pin or its input is.",
    "stuck": "Clean its legs and the reader's socket and read it again; if it stays, the chip is bad.",
    "single bit": "Read it again; if the same bit stays wrong, the chip has lost it: write the right content to a new chip.",
    "empty": "See whether it sits right in the reader and whether its select is on; else it is erased or dead.",
    "list contradicts": "Work the list's checksums out again, or compare with a known-good read-out: --good FILE. Until then nothing speaks against the ROM.",
    "wrong": "See whether it is another version before it is called bad: two good readings that agree speak for that.",
    "not listed": "See whether it is another version; compare with a known-good read-out: --good FILE.",
    "no list": "Give the owner's list of checksums (--list FILE) or a known-good read-out (--good FILE).",
}


@dataclass(frozen=True, slots=True)
class RomRead:
    """A judged read-out. ``pins`` (line, pin number, where it leads on the board) of the chip that explain what is wrong; ``chip`` its type."""

    checked: RomChecked
    part: str
    chip: str
    pins: tuple[tuple[str, str, str], ...]
    findings: tuple[Finding, ...]
    noted: Noted | None = None

    @property
    def then(self) -> str:
        """What to do next."""
        return THEN[self.checked.verdict]

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        one = self.checked
        return {
            "verdict": one.verdict,
            "words": one.words,
            "size": one.size,
            "readings": one.readings,
            "sums": [plain(sums) for sums in one.sums],
            "listed": None if one.row is None else plain(one.row),
            "signs": [plain(sign) for sign in one.signs],
            "weak": [plain(weak) for weak in one.weak[:256]],
            "weak_bits": len(one.weak),
            "part": self.part,
            "chip": self.chip,
            "pins": [{"line": line, "pin": pin, "leads_to": where} for line, pin, where in self.pins],
            "then": self.then,
            "caution": CAUTION,
            "findings": [finding.as_dict() for finding in self.findings],
            **({} if self.noted is None else {"noted": self.noted.as_dict()}),
        }


def read_rom(
    readings: Sequence[bytes],
    book: DeviceBook,
    *,
    list_text: str = "",
    list_name: str = "",
    good: bytes | None = None,
    board: Board | None = None,
    part: str = "",
    type_name: str = "",
) -> RomRead:
    """Judge the readings of one ROM. ``part`` on ``board``, else ``type_name``, tells its pins; without both the usual chip of that size, as a guess.

    Refusals ROM-002 to ROM-004, ROM-006 (no such part), ROM-007 (no such type, or no ROM), ROM-008 (hexadecimal text).
    """
    for one in (*readings, *(() if good is None else (good,))):
        _raw(one)
    rows: tuple[Listed, ...] = ()
    notes: tuple[Finding, ...] = ()
    if list_text:
        rows, notes = read_list(list_text, list_name)
    row = None if board is None or not part else _part(board, part)
    ref = part.upper() if row is None else row.ref
    chip, guessed = _chip(book, row, type_name, len(readings[0]) if readings else 0)
    size = 0 if chip is None or guessed else size_of(chip)
    checked = check_rom(readings, rows, ref, size, good)
    if guessed and chip is not None and checked.lines:
        words = f"Pins are counted as on a {chip.type}, the usual ROM of {checked.size} bytes."
        notes += (
            Finding("ROM-007", Severity.GUESS, Place(), words, "Name it: --board PACKAGE --part U5, or --type 27128."),
        )
    pins = tuple(_pin(chip, line, board, row) for line in checked.lines) if chip is not None else ()
    name = "" if chip is None else chip.type
    return RomRead(checked, ref, name, tuple(one for one in pins if one[1]), (*notes, *checked.findings))


def size_of(chip: Chip) -> int:
    """Bytes (words) that a ROM holds, by its address pins.

    >>> from coppermend.bootstrap import device_book
    >>> size_of(device_book(None).find("27128"))
    16384
    """
    return 1 << sum(1 for pin in chip.pins if re.fullmatch(r"A\d+", pin.name))


def is_rom_type(chip: Chip) -> bool:
    """Whether a type is a ROM: address inputs, data outputs, no write pin, clock or reset.

    >>> from coppermend.bootstrap import device_book
    >>> [is_rom_type(device_book(None).find(name)) for name in ("27128", "82S129", "Z80", "4164", "74LS244")]
    [True, True, False, False, False]
    """
    inputs = [pin for pin in chip.pins if re.fullmatch(r"A\d+", pin.name) and pin.kind == PinKind.INPUT]
    other = any(
        pin.kind in (PinKind.CLOCK, PinKind.RESET, PinKind.OSCILLATOR) or pin.name in WRITE_PINS for pin in chip.pins
    )
    return len(inputs) >= LEAST_LINES and any(pin.drives for pin in chip.pins) and not other and not chip.logic


def _raw(data: bytes) -> None:
    """Refusal ROM-008 where a read-out is Intel hex or S-records, which are texts."""
    lines = data[:4096].splitlines()[:4]
    for shape, name in ((rb":[0-9A-Fa-f]{10,}", "Intel hex"), (rb"S[0-9][0-9A-Fa-f]{6,}", "S-records")):
        if lines and all(re.fullmatch(shape, one.strip()) for one in lines[: max(1, len(lines) - 1)]):
            raise refuse(
                "ROM-008",
                f"The file is a text of {name}, no raw read-out: what stands in it is not the ROM's bytes.",
                "Save it from the reader's program as raw bytes (binary) and give that file.",
            )


def _part(board: Board, name: str) -> Part:
    found = next((one for one in board.parts if one.ref.upper() == name.upper()), None)
    if found is None:
        near = ", ".join(nearest_names(name, [one.ref for one in board.parts]))
        raise refuse(
            "ROM-006", f"The board has no part {name}.", f"Nearest: {near}." if near else "Name the ROM: --part U5."
        )
    return found


def _chip(book: DeviceBook, row: Part | None, type_name: str, size: int) -> tuple[Chip | None, bool]:
    name = type_name or (row.value if row is not None else "")
    if not name:
        usual = BY_SIZE.get(size)
        return (book.find(usual) if usual else None), True
    chip = book.find(name)
    if chip is None or not is_rom_type(chip):
        what = f"{row.ref} is a {name}" if row is not None and not type_name else f"{name} was named"
        raise refuse(
            "ROM-007",
            f"{what}: {'not in the device book' if chip is None else 'that is no ROM'}.",
            "Name the ROM's type: --type 27128 (coppermend device list shows the known ones).",
        )
    return chip, False


def _pin(chip: Chip, line: str, board: Board | None, row: Part | None) -> tuple[str, str, str]:
    pin = chip.named(line) or (chip.named(f"O{int(line[1:]) + 1}") if line.startswith("D") else None)
    if pin is None:
        return line, "", ""
    where = ""
    if board is not None and row is not None:
        mine = next((one for one in row.pins if one.number == str(pin.number)), None)
        if mine is not None and mine.net is not None:
            others = [
                one.name for part in board.parts for one in part.pins if one.net == mine.net and part.ref != row.ref
            ]
            where = f"{board.nets[mine.net].name}: {', '.join(others[:6])}{' ...' if len(others) > 6 else ''}"
    return line, f"{row.ref if row is not None else chip.type}.{pin.number}", where


def note_rom(
    workshop: Workshop,
    case: str,
    readings: Sequence[bytes],
    book: DeviceBook,
    part: str,
    *,
    names: Sequence[str] = (),
    list_text: str = "",
    list_name: str = "",
    good: bytes | None = None,
    type_name: str = "",
    entry_id: str | None = None,
) -> RomRead:
    """Judge the readings of a part of a case's board and write it into its log, the first reading kept by its hash."""
    if not part:
        raise refuse("ROM-006", "Which part of the case's board was read?", "Name it: --part U5.")
    binding = bind(workshop, case)
    found = read_rom(
        readings,
        book,
        list_text=list_text,
        list_name=list_name,
        good=good,
        board=binding.board,
        part=part,
        type_name=type_name,
    )
    one = found.checked
    payload: dict[str, Json] = {
        "part": found.part,
        "verdict": one.verdict,
        "words": f"{found.part} {one.words}"[:400],
        "crc32": one.sums[0].crc32,
        "sha256": workshop.store.attach(readings[0]),
        "bytes": one.size,
        "readings": one.readings,
        "raw": ", ".join(names)[:200],
    }
    entry = write(workshop, case, "rom", payload, entry_id=entry_id)
    return RomRead(one, found.part, found.chip, found.pins, found.findings, noted(entry))


def rom_witness(entry: Entry) -> tuple[Witness, bool] | None:
    """What a noted read-out says of its part, and whether it reads right; None where nothing to compare it with was given."""
    part, verdict = str(entry.payload.get("part", "")), str(entry.payload.get("verdict", ""))
    words = f"the read-out of {part}: {verdict}"
    if not part or verdict in UNSAID:
        return None
    if verdict in GOOD:
        return Witness((("part", part, math.log(RIGHT_THOUGH_BAD)),), 0.0, words, entry.id), True
    what = "content" if verdict in CONTENT else "part"
    return Witness(((what, part, 0.0),), math.log(WRONG_THOUGH_GOOD), words, entry.id), False
