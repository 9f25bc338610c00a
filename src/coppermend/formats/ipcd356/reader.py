"""The IPC-D-356 reader: 80-column records, read by column where the columns hold and by letter where they slipped."""

from __future__ import annotations

import re
from dataclasses import replace

from coppermend.core.findings import Place, Severity, refuse
from coppermend.core.units import MM_PER_INCH
from coppermend.formats.collect import FindingList, decode
from coppermend.formats.ipcd356.model import Conductor, Netlist, TestRecord

MAX_RECORDS = 2_000_000
TENTH_MIL = (MM_PER_INCH, 10_000.0)
"""mm per unit as a fraction, so that whole inches come out exact: 0.0001 inch."""
MICRON = (1.0, 1_000.0)

_TAIL = re.compile(
    r"(?P<mid>M?)\s*(?:D(?P<hole>\d{1,5})(?P<plated>[PU]?))?\s*"
    r"A(?P<access>\d{2})\s*X *(?P<x>[+-]? *\d{1,7})\s*Y *(?P<y>[+-]? *\d{1,7})"
    r"(?P<rest>.*)\Z"
)
_SIZE = re.compile(r"\s*X *(\d{1,5})\s*(?:Y *(\d{0,5}))?")
_SMALL_TAIL = re.compile(r"A(\d{2})")
_ROTATION = re.compile(r"R\s*([+-]?\d{1,3})")
_MASK = re.compile(r"S\s*([0-3])")
_SPAN = re.compile(r"L\s*(\d{1,2})\D{0,3}L?\s*(\d{1,2})")
_ALIAS = re.compile(r"NNAME(\S{1,9})\s+(\S.*)")
_XY = re.compile(r"X *([+-]? *\d{1,7})?\s*(?:Y *([+-]? *\d{1,7}))?|Y *([+-]? *\d{1,7})")
_LAYER = re.compile(r"L(\d{2})")
_NET_PIN = re.compile(r"(?P<ref>.{0,6}?)\s*-\s*(?P<pin>\S{0,6})\s*\Z")
Point = tuple[float, float]


def read_ipcd356(data: bytes, name: str) -> Netlist:
    """The test points of an IPC-D-356 or 356A netlist, in mm.

    ``data`` the file's bytes, ``name`` for findings. Raises Refusal (IPC-...) when nothing in the file is such a record;
    a line that cannot be read is a finding with its number and text.

    >>> n = read_ipcd356(b"P  UNITS CUST 0\\n317GND              U1    -8    D0320PA00X+010000Y-020000X0600Y0000R000S3\\n999\\n", "a.ipc")
    >>> r = n.records[0]; r.net, r.ref, r.pin, r.x_mm, r.y_mm, round(r.hole_mm, 4), r.plated
    ('GND', 'U1', '8', 25.4, -50.8, 0.8128, True)

    Source: IPC-D-356A record layout (columns from memory, compared with files of three design systems).
    """
    text = decode(data, name, "IPC-001")
    return _Reader(text, name).run()


class _Reader:
    def __init__(self, text: str, name: str) -> None:
        self.name = name
        self.lines = text.splitlines()
        self.found = FindingList()
        self.unit_mm = TENTH_MIL
        self.unit_stated = False
        self.radians = False
        self.board = 0
        self.ended = False
        self.aliases: dict[str, str] = {}
        self.parameters: list[tuple[str, str]] = []
        self.records: list[TestRecord] = []
        self.conductors: list[Conductor] = []
        self.adjacency: list[tuple[str, str]] = []
        self.outlines: list[tuple[Point, ...]] = []
        self.at: Point = (0.0, 0.0)
        self.last_kind = ""
        self.skipped: dict[str, int] = {}
        self.bad = 0
        self.no = 0

    def run(self) -> Netlist:
        for number, raw in enumerate(self.lines, 1):
            self.no = number
            line = raw.rstrip()
            if line:
                self._line(line)
            if len(self.records) > MAX_RECORDS:
                words = f"More than {MAX_RECORDS:,} records."
                raise refuse("IPC-003", words, "Split the file by board.", self._place(""))
        return self._close()

    def _place(self, line: str) -> Place:
        return Place(file=self.name, line=self.no, column=1, text=line[:80])

    def _line(self, line: str) -> None:
        head = line[0]
        code = line[:3]
        if head == "P":
            self._parameter(line)
        elif head == "C":
            self._alias(line[1:].strip())
        elif code in ("999", "099"):
            self.ended = True
        elif len(code) < 3 or not code.isdecimal():
            self._unreadable(line, "it starts with no operation code")
        else:
            if self.ended:
                self.ended = False
                self.board += 1
            self._record(code, line)

    # ---- header ----
    def _parameter(self, line: str) -> None:
        words = line[1:].strip()
        if self._alias(words):
            return
        key, _, value = words.partition(" ")
        value = value.strip()
        if key.upper() == "UNITS":
            self._units(value.upper(), line)
        elif key.upper() == "IMAGE" and self.records and self.records[-1].board == self.board:
            self.board += 1
        elif key.upper() == "JOB" and self.ended:
            self.board += 1
            self.ended = False
        if len(self.parameters) < 1000:
            self.parameters.append((key, value))

    def _alias(self, words: str) -> bool:
        match = _ALIAS.search(words)
        if match is None:
            return False
        self.aliases["NNAME" + match[1]] = match[2].strip()
        return True

    def _units(self, value: str, line: str) -> None:
        compact = value.replace(" ", "")
        known = {
            "CUST0": (TENTH_MIL, False),
            "CUST": (TENTH_MIL, False),
            "CUST1": (MICRON, False),
            "CUST2": (TENTH_MIL, True),
            "SI": (MICRON, False),
            "INCH": (TENTH_MIL, False),
            "MM": (MICRON, False),
        }
        if compact not in known:
            words = f"The unit {value!r} is not known; 0.0001 inch assumed."
            self.found.add("IPC-010", Severity.GUESS, self._place(line), words)
            return
        unit, self.radians = known[compact]
        if self.unit_stated and unit != self.unit_mm and self.records:
            self.found.add(
                "IPC-011", Severity.WARNING, self._place(line), "The unit changes in the middle of the file."
            )
        self.unit_mm, self.unit_stated = unit, True

    # ---- records ----
    def _record(self, code: str, line: str) -> None:
        kind = code[1:]
        if code[0] == "0":
            self._continuation(kind, line)
            return
        self.last_kind = kind
        if code[0] != "3":
            self._skip(code, line)
        elif kind in ("78", "88"):
            self._conductor(line)
        elif kind == "79":
            self._adjacent(line)
        elif kind == "89":
            self.at = (0.0, 0.0)
            self._outline(line[3:].split("X", 1)[-1], fresh=True)
        elif kind[1] == "7" or kind in ("12", "22", "30", "40"):
            self._test(code, line)
        else:
            self._skip(code, line)

    def _skip(self, code: str, line: str) -> None:
        self.skipped[code] = self.skipped.get(code, 0) + 1
        if self.skipped[code] == 1:
            words = f"Records {code} are not read (no test point, conductor, adjacency or outline)."
            self.found.add("IPC-012", Severity.NOTE, self._place(line), words)

    def _unreadable(self, line: str, why: str) -> None:
        self.bad += 1
        if self.found.wants("IPC-013"):
            words = f"The line is not a record: {why}; left out."
            self.found.add("IPC-013", Severity.WARNING, self._place(line), words)
        else:
            self.found.count("IPC-013", 1)

    def _test(self, code: str, line: str) -> None:
        match = _TAIL.search(line, 31) or _TAIL.search(line, 17)
        if match is None:
            self._unreadable(line, "no access code and coordinates (A..X..Y..) where they are expected")
            return
        ref, pin, midpoint = self._who(line, match.start())
        short = line[3:17].strip()
        via = ref.upper() == "VIA" or code[1:] in ("07",)
        hole = match["hole"]
        size_x, size_y, rest = self._size(match["rest"])
        rotation, mask, span = self._small(rest)
        self.records.append(
            TestRecord(
                operation=code,
                net=self.aliases.get(short, short),
                short_net=short,
                ref="" if via else ref,
                pin="" if via else pin,
                via=via,
                midpoint=midpoint or match["mid"] == "M",
                hole_mm=self._length(hole) if hole else 0.0,
                plated=None if not hole else match["plated"] != "U",
                access=int(match["access"]),
                x_mm=self._length(match["x"]),
                y_mm=self._length(match["y"]),
                size_x_mm=size_x,
                size_y_mm=size_y,
                rotation_deg=rotation,
                mask=mask,
                span=span,
                board=self.board,
                line=self.no,
            )
        )

    def _who(self, line: str, tail: int) -> tuple[str, str, bool]:
        """Reference designator, pin and mid-point flag from columns 21 to 32."""
        field = line[20:tail]
        midpoint = False
        if len(field) >= 12 and field[11] == "M":
            field, midpoint = field[:11], True
        if len(field) > 6 and field[6] == "-":
            return field[:6].strip(), field[7:].strip(), midpoint
        match = _NET_PIN.match(field.strip())
        if match:
            return match["ref"].strip(), match["pin"].strip(), midpoint
        return field[:6].strip(), field[7:].strip(), midpoint

    def _length(self, digits: str) -> float:
        return int(digits.replace(" ", "")) * self.unit_mm[0] / self.unit_mm[1]

    def _size(self, rest: str) -> tuple[float, float, str]:
        match = _SIZE.match(rest)
        if match is None:
            return 0.0, 0.0, rest
        y = self._length(match[2]) if match[2] else 0.0
        return self._length(match[1]), y, rest[match.end() :]

    def _small(self, rest: str) -> tuple[float, int | None, tuple[int, int] | None]:
        rotation, mask, span = _ROTATION.search(rest), _MASK.search(rest), _SPAN.search(rest)
        degrees = float(rotation[1]) if rotation else 0.0
        if self.radians:
            degrees *= 57.29577951308232 / 100.0
        return degrees, int(mask[1]) if mask else None, (int(span[1]), int(span[2])) if span else None

    def _continuation(self, kind: str, line: str) -> None:
        """017, 027: more about the record before; 078, 089: more points."""
        if kind in ("78", "88") and self.conductors:
            last = self.conductors[-1]
            points = self._points(line[3:])
            self.conductors[-1] = replace(last, points=last.points + points)
        elif kind == "89" and self.outlines:
            self._outline(line[3:], fresh=False)
        elif kind == "79" and self.adjacency:
            self._adjacent_to(self.adjacency[-1][0], line[3:])
        elif kind[1:] == "7" and self.records:
            self._more(line)
        else:
            self._unreadable(line, "it continues a record that is not there")

    def _more(self, line: str) -> None:
        """A continuation of a test record: what the first one left open, and another side's access."""
        last = self.records[-1]
        access = _SMALL_TAIL.search(line, 17)
        span = _SPAN.search(line, 3)
        after = line[access.end() :] if access else line[17:]
        sizes = _SIZE.search(after)
        size = self._length(sizes[1]) if sizes and last.size_x_mm == 0 else last.size_x_mm
        wide = self._length(sizes[2]) if sizes and sizes[2] and last.size_x_mm == 0 else last.size_y_mm
        both = last.access
        if access and both is not None and int(access[1]) != both and last.hole_mm > 0 and last.operation[1] != "0":
            both = 0
        ref, pin, _ = self._who(line, access.start() if access else 32) if line[20:31].strip() else ("", "", False)
        self.records[-1] = replace(
            last,
            size_x_mm=size,
            size_y_mm=wide,
            access=both,
            ref=last.ref or ("" if last.via else ref),
            pin=last.pin or ("" if last.via else pin),
            span=last.span or ((int(span[1]), int(span[2])) if span else None),
        )

    # ---- 378, 379, 389 ----
    def _points(self, text: str) -> tuple[Point, ...]:
        """Coordinates with modal X and Y; widths (X without sign in four digits before the first point) are not points."""
        out: list[Point] = []
        x, y = self.at
        for match in _XY.finditer(text):
            xs, ys, only = match.groups()
            if xs:
                x = self._length(xs)
            if ys or only:
                y = self._length(ys or only)
            if xs or ys or only:
                out.append((x, y))
        self.at = (x, y)
        return tuple(out)

    def _conductor(self, line: str) -> None:
        short = line[3:17].strip()
        rest = line[17:]
        layer = _LAYER.search(rest)
        width = re.match(r"\s*X\s*(\d{1,5})\s*(?:Y\s*(\d{0,5}))?\s+", rest[layer.end() :]) if layer else None
        self.at = (0.0, 0.0)
        start = (layer.end() if layer else 0) + (width.end() if width else 0)
        points = self._points(rest[start:])
        net = self.aliases.get(short, short)
        wide = self._length(width[1]) if width else 0.0
        self.conductors.append(Conductor(net, int(layer[1]) if layer else None, wide, points, self.board, self.no))

    def _adjacent(self, line: str) -> None:
        short = line[3:17].strip()
        self._adjacent_to(self.aliases.get(short, short), line[17:])

    def _adjacent_to(self, net: str, text: str) -> None:
        for other in text.split():
            self.adjacency.append((net, self.aliases.get(other, other)))

    def _outline(self, text: str, fresh: bool) -> None:
        points = self._points("X" + text if fresh else text)
        if fresh:
            self.outlines.append(points)
        else:
            self.outlines[-1] += points

    # ---- end ----
    def _close(self) -> Netlist:
        file = Place(file=self.name)
        if not self.records and not self.conductors:
            words = "No IPC-D-356 test record in the file; expected lines like 317GND ... X+010000Y+020000."
            raise refuse(
                "IPC-002", words, "Check that this is a bare-board netlist and not some other list.", self._first()
            )
        if self.bad > 20 and self.bad > len(self.records):
            words = f"{self.bad} of {self.bad + len(self.records)} lines are no IPC-D-356 records."
            raise refuse(
                "IPC-002", words, "Check that this is a bare-board netlist and not some other list.", self._first()
            )
        if not self.unit_stated:
            self.found.add("IPC-010", Severity.GUESS, file, "The file does not state its unit; 0.0001 inch assumed.")
        if not self.ended:
            self.found.add("IPC-014", Severity.WARNING, file, "The file does not end with 999; it may be cut off.")
        unused = {
            r.short_net for r in self.records if r.short_net.startswith("NNAME") and r.short_net not in self.aliases
        }
        if unused:
            words = f"{len(unused)} net names are aliases without a full name, for example {min(unused)}."
            self.found.add("IPC-015", Severity.WARNING, file, words)
        full = sum(1 for r in self.records if len(r.short_net) == 14)
        if full:
            words = f"{full} records have a net name of 14 characters, which may have been cut."
            self.found.add("IPC-016", Severity.NOTE, file, words)
        boards = 1 + max([r.board for r in self.records] + [c.board for c in self.conductors], default=0)
        if boards > 1:
            words = f"The file holds {boards} boards."
            self.found.add(
                "IPC-017",
                Severity.NOTE,
                file,
                words,
                "Say in the corrections file which one is meant if it is not the first.",
            )
        # aliases may be stated after use
        records = tuple(
            r if r.short_net not in self.aliases or r.net != r.short_net else replace(r, net=self.aliases[r.short_net])
            for r in self.records
        )
        return Netlist(
            name=self.name,
            records=records,
            conductors=tuple(self.conductors),
            adjacency=tuple(self.adjacency),
            outlines=tuple(self.outlines),
            boards=boards,
            aliases=tuple(self.aliases.items()),
            parameters=tuple(self.parameters),
            findings=self.found.close(self.name),
        )

    def _first(self) -> Place:
        for number, line in enumerate(self.lines, 1):
            if line.strip():
                return Place(file=self.name, line=number, column=1, text=line[:60])
        return Place(file=self.name)
