"""The drill reader: header, tools, holes, slots, routed paths, repeats."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from coppermend.core.findings import Place, Severity, refuse
from coppermend.core.geometry import arcs
from coppermend.formats.collect import FindingList, decode
from coppermend.formats.drill.decide import UNIT_LINE, decide_format
from coppermend.formats.drill.hints import CommentHints
from coppermend.formats.drill.model import HOLE, ROUT, SLOT, DrillFile, DrillFormat, SideFile, Tool
from coppermend.formats.drill.numbers import to_mm

MAX_HITS = 1_000_000

_TOOL = re.compile(r"T0*(\d{1,6})((?:[CFSBHZD][+-]?[\d.]*)*)\Z", re.I)
_TOOL_FIELD = re.compile(r"([CFSBHZD])([+-]?[\d.]+)", re.I)
_ATTRIBUTE = re.compile(r"\s*#@!\s*(TF|TA|TD)\.?([^,]*),?(.*)")
_NUMBER = r"[+-]?[\d.]+"
_XY = re.compile(rf"(?:X({_NUMBER}))?(?:Y({_NUMBER}))?\Z")
_SLOT = re.compile(rf"(?:X({_NUMBER}))?(?:Y({_NUMBER}))?G85(?:X({_NUMBER}))?(?:Y({_NUMBER}))?\Z")
_REPEAT = re.compile(rf"R0*(\d{{1,9}})(M0?2)?(?:X({_NUMBER}))?(?:Y({_NUMBER}))?\Z")
_PATTERN = re.compile(rf"M0?2(?:X({_NUMBER}))?(?:Y({_NUMBER}))?((?:M[789]0)*)\Z")
_ROUT = re.compile(
    rf"(?:G0*([0-3]))?(?:X({_NUMBER}))?(?:Y({_NUMBER}))?(?:A({_NUMBER}))?(?:I({_NUMBER}))?(?:J({_NUMBER}))?(?:F[\d.]*)?\Z"
)
_CIRCLE = re.compile(rf"G3([23])(?:X({_NUMBER}))?(?:Y({_NUMBER}))?A({_NUMBER})\Z")
_QUIET = re.compile(
    r"(?:FMAT|VER|ICI|DETECT|ATC|TCST|AFS|CCW|CP|FSB|HPCK|NCSL|OM48|OSTOP|OTCLMP|PCKPARAM|PF|PLTMODE|RSB|SBK|SG|SIXM|UP|ZA|ZC|ZS|Z\+|Z-|R,|M4[57]|M50|M0?6|M0?9"
    r"|G0?7|G0?4|G4\d|F[\d.]+|S[\d.]+|M1[0-4]|M18|M9[0-9]|N\d+\Z|/|BLKD|R\d*[TCD]|LEADER)",
    re.I,
)


@dataclass(slots=True)
class _Hit:
    x: float
    y: float
    x2: float
    y2: float
    tool: int
    kind: int
    path: int
    line: int


@dataclass(slots=True)
class _ToolEntry:
    size: float | None = None
    in_mm: bool | None = None
    plated: bool | None = None
    function: str = ""


def read_drill(data: bytes, name: str, hint: DrillFormat | None = None, side: SideFile | None = None) -> DrillFile:
    """The holes, slots and routed paths of an Excellon or XNC file, in mm.

    ``hint`` overrules what the file says (corrections, or a re-reading with one of ``candidate_formats``); ``side`` fills in what the
    file leaves open: number format and tool sizes. What then is still open is guessed from the digits, named in ``guessed`` and a
    finding. Raises Refusal (DRL-...) when the file is empty, binary, no drill file, or asks for more than MAX_HITS hits.

    >>> d = read_drill(b"M48\\nMETRIC\\nT1C0.800\\n%\\nT1\\nX1.5Y2.0\\nX3.0Y2.0G85X5.0Y2.0\\nM30\\n", "a.drl")
    >>> d.x_mm.tolist(), d.x2_mm.tolist(), d.diameter_mm.tolist()
    ([1.5, 3.0], [1.5, 5.0], [0.8, 0.8])

    Source: IPC-NC-349 and the XNC format specification (commands from memory and from public descriptions, see docs/sources.md).
    """
    text = decode(data, name, "DRL-001")
    return _Reader(text, name, hint or DrillFormat(), side).run()


class _Reader:
    def __init__(self, text: str, name: str, hint: DrillFormat, side: SideFile | None) -> None:
        self.name, self.hint, self.side = name, hint, side
        self.text = text
        self.lines = text.splitlines()
        self.found = FindingList()
        self.hints = CommentHints()
        self.tools: dict[int, _ToolEntry] = {}
        self.file_attributes: dict[str, tuple[str, ...]] = {}
        self.tool_function = ""
        self.comments: list[str] = []
        self.hits: list[_Hit] = []
        self.no = 0
        self.tool = 0
        self.x = self.y = 0.0
        self.zero = (0.0, 0.0)
        self.incremental = False
        self.in_header = False
        self.routing = False
        self.rout_mode = 0
        self.down = False
        self.path = -1
        self.paths = 0
        self.plunges = bool(re.search(r"^\s*M15", text, re.M))
        self.pattern_start = 0
        self.pattern_end: int | None = None
        self.pattern_offset = (0.0, 0.0)
        self.ended = False
        self.points_used = False
        self.digits_used = False
        self.bad = 0
        self.understood = 0
        self.format, self.guessed = decide_format(text, name, hint, side, self.found)
        self._cache: dict[str, float] = {}

    # ---- lines ----
    def run(self) -> DrillFile:
        for number, raw in enumerate(self.lines, 1):
            self.no = number
            line = raw.strip()
            if line and not self.ended:
                self._line(line)
            if len(self.hits) > MAX_HITS:
                raise self._too_many()
        return self._close()

    def _place(self, text: str = "") -> Place:
        return Place(file=self.name, line=self.no or None, column=1 if self.no else None, text=text[:60] or None)

    def _line(self, line: str) -> None:
        if line[0] in ";(":
            self._comment(line[1:])
            return
        line = line.split(";", 1)[0].strip()
        line = re.sub(r"\AN\d+\s*(?=[A-Z])", "", line)
        if line[:1] == "%" or line == "M95":
            self.in_header = False
            self.understood += 1
            return
        upper = "".join(line.upper().split())
        if self._header(upper) or self._motion(upper) or _QUIET.match(upper):
            self.understood += 1
            return
        self.bad += 1
        if self.found.wants("DRL-013"):
            self.found.add(
                "DRL-013", Severity.WARNING, self._place(line), "The line is not a drill statement; ignored."
            )
        else:
            self.found.count("DRL-013", 1)

    def _comment(self, comment: str) -> None:
        match = _ATTRIBUTE.match(comment)
        if match:
            values = tuple(v.strip() for v in match[3].split(",")) if match[3] else ()
            if match[1] == "TF":
                self.file_attributes["." + match[2].strip()] = values
            elif match[1] == "TA":
                self.tool_function = ",".join(values)
            else:
                self.tool_function = ""
            return
        self.hints.read(comment)
        if len(self.comments) < 200:
            self.comments.append(comment.strip())

    def _header(self, line: str) -> bool:
        """Units, notation, tools, begin and end. True when taken."""
        if line == "M48":
            self.in_header = True
        elif line in ("M30", "M00", "M0", "M2") or (line == "M02" and self.pattern_end is None):
            self.ended = True
        elif line in ("M71", "M72", "G20", "G21"):
            self._set_unit(line in ("M71", "G21"))
        elif line in ("G90", "G91"):
            self.incremental = line == "G91"
        elif line in ("ICI", "ICI,ON", "ICI,OFF"):
            self.incremental = line != "ICI,OFF"
        else:
            match = UNIT_LINE.match(line)
            if match:
                self._set_unit(match[1].upper() == "METRIC")
                return True
            tool = _TOOL.match(line)
            if tool is None:
                return False
            self._tool(int(tool[1]), tool[2])
        return True

    def _set_unit(self, metric: bool) -> None:
        if self.hint.metric is not None or metric == self.format.metric:
            return
        self.format = DrillFormat(metric=metric).over(self.format)
        self._cache.clear()
        if self.hits:
            self.found.add("DRL-014", Severity.WARNING, self._place(), "The unit changes in the middle of the file.")

    def _tool(self, number: int, fields: str) -> None:
        entry = self.tools.get(number)
        if entry is None:
            entry = self.tools[number] = _ToolEntry()
        for letter, value in _TOOL_FIELD.findall(fields):
            if letter.upper() == "C":
                self._tool_size(number, entry, value)
        if fields and not self.hits:
            entry.function = self.tool_function or entry.function
            plated = _plated_function(self.tool_function)
            entry.plated = (
                plated if plated is not None else (self.hints.plated if entry.plated is None else entry.plated)
            )
        if not self.in_header:
            self.tool = number
            if entry.plated is None and self.hints.plated is not None:
                entry.plated = self.hints.plated

    def _tool_size(self, number: int, entry: _ToolEntry, value: str) -> None:
        try:
            size = float(value)
        except ValueError:
            size = -1.0
        if not 0 < size < 1e5:
            self.found.add(
                "DRL-015", Severity.WARNING, self._place(), f"Tool T{number} has the size {value[:20]!r}; ignored."
            )
            return
        mm = size * self.format.mm_per_unit
        if entry.size is not None and abs(entry.size - mm) > 1e-6 and any(h.tool == number for h in self.hits):
            self.found.add(
                "DRL-016",
                Severity.WARNING,
                self._place(),
                f"Tool T{number} changes its size in the middle of the file.",
            )
        entry.size = mm

    # ---- motion ----
    def _mm(self, digits: str) -> float:
        found = self._cache.get(digits)
        if found is None:
            found = self._cache[digits] = to_mm(digits, self.format)
        if "." in digits:
            self.points_used = True
        else:
            self.digits_used = True
        return found

    def _to(self, xs: str | None, ys: str | None) -> tuple[float, float]:
        """The position that X and Y name, modal and incremental notation taken into account."""
        x, y = self.x, self.y
        if xs:
            x = self.x + self._mm(xs) if self.incremental else self._mm(xs) + self.zero[0]
        if ys:
            y = self.y + self._mm(ys) if self.incremental else self._mm(ys) + self.zero[1]
        return x, y

    def _motion(self, line: str) -> bool:
        first = line[0]
        if first in "XY":
            return self._coordinates(line)
        if first == "R":
            return self._repeat(line)
        if first == "M":
            return self._m_code(line)
        return self._g_code(line) if first == "G" else False

    def _coordinates(self, line: str) -> bool:
        match = _XY.match(line)
        if match:
            if self.routing:
                return self._rout(line)
            self.x, self.y = self._to(match[1], match[2])
            self._hit(self.x, self.y, self.x, self.y, HOLE)
            return True
        slot = _SLOT.match(line)
        if slot:
            self.x, self.y = self._to(slot[1], slot[2])
            x, y = self.x, self.y
            self.x, self.y = self._to(slot[3], slot[4])
            self._hit(x, y, self.x, self.y, SLOT)
            return True
        tooled = re.match(r"([XY][^T]*)T0*(\d{1,6})\Z", line)
        if tooled:
            self._tool(int(tooled[2]), "")
            return self._coordinates(tooled[1])
        return self._rout(line) if self.routing else False

    def _hit(self, x: float, y: float, x2: float, y2: float, kind: int) -> None:
        path = self.path if kind == ROUT else -1
        self.hits.append(_Hit(x, y, x2, y2, self.tool, kind, path, self.no))

    def _g_code(self, line: str) -> bool:
        if line in ("G05", "G5", "G81"):
            self.routing = self.down = False
            return True
        circle = _CIRCLE.match(line)
        if circle:
            self._circle(circle)
            return True
        zero = re.match(rf"G9[23](?:X({_NUMBER}))?(?:Y({_NUMBER}))?\Z", line)
        if zero:
            self.zero = (self._mm(zero[1]) if zero[1] else 0.0, self._mm(zero[2]) if zero[2] else 0.0)
            return True
        rest = re.sub(r"\A(?:G4[0-2]|G90|G91)(?=[GXY])", "", line)
        if rest != line and line[:3] in ("G90", "G91"):
            self.incremental = line[:3] == "G91"
        if rest[0] in "XY":
            return self._coordinates(rest)
        start = re.match(rf"G8[15]((?:X{_NUMBER})?(?:Y{_NUMBER})?)\Z", rest)
        if start and start[1]:
            self.routing = False
            if rest[:3] == "G85":
                x, y = self.x, self.y
                match = _XY.match(start[1])
                self.x, self.y = self._to(match[1], match[2]) if match else (x, y)
                self._hit(x, y, self.x, self.y, SLOT)
                return True
            return self._coordinates(start[1])
        return self._rout(rest)

    def _rout(self, line: str) -> bool:
        match = _ROUT.match(line)
        if match is None:
            return False
        g, xs, ys, radius, i_, j_ = match.groups()
        if g is not None:
            self.rout_mode = int(g)
            self.routing = True
        if not (xs or ys or i_ or j_):
            return g is not None
        x0, y0 = self.x, self.y
        self.x, self.y = self._to(xs, ys)
        if self.rout_mode == 0:
            self.down = False if self.plunges else self.down
            self.path = self.paths
            self.paths += 1
            return True
        if self.plunges and not self.down:
            return True
        if self.rout_mode == 1:
            self._hit(x0, y0, self.x, self.y, ROUT)
        else:
            self._arc(x0, y0, radius, i_, j_)
        return True

    def _arc(self, x0: float, y0: float, radius: str | None, i_: str | None, j_: str | None) -> None:
        clockwise = self.rout_mode == 2
        numbers = [self._mm(v) if v else 0.0 for v in (radius, i_, j_)]
        if not all(abs(v) < 1e6 for v in (*numbers, x0, y0, self.x, self.y)):
            return
        if radius:
            arc = arcs.by_radius(x0, y0, self.x, self.y, numbers[0], clockwise)
        else:
            arc = arcs.multi_quadrant(x0, y0, self.x, self.y, numbers[1], numbers[2], clockwise) if i_ or j_ else None
        if arc is None:
            self.found.add(
                "DRL-017",
                Severity.WARNING,
                self._place(),
                "A routed arc without radius and centre; taken as a straight line.",
            )
            self._hit(x0, y0, self.x, self.y, ROUT)
            return
        self._chain(x0, y0, arcs.points(x0, y0, self.x, self.y, arc)[0])

    def _chain(self, x: float, y: float, points: list[tuple[float, float]]) -> None:
        if len(self.hits) + len(points) > MAX_HITS:
            raise self._too_many()
        for px, py in points:
            self._hit(x, y, px, py, ROUT)
            x, y = px, py

    def _circle(self, match: re.Match[str]) -> None:
        """G32 and G33: a routed circle around X, Y with radius A."""
        self.x, self.y = self._to(match[2], match[3])
        radius = self._mm(match[4])
        if not (0 < radius < 1e6 and abs(self.x) < 1e6 and abs(self.y) < 1e6):
            return
        self.path = self.paths
        self.paths += 1
        x0 = self.x + radius
        arc = arcs.multi_quadrant(x0, self.y, x0, self.y, -radius, 0.0, match[1] == "2")
        self._chain(x0, self.y, arcs.points(x0, self.y, x0, self.y, arc)[0])

    def _m_code(self, line: str) -> bool:
        if line in ("M14", "M15"):
            self.down = True
            self.path = self.paths
            self.paths += 1
        elif line in ("M16", "M17"):
            self.down = False
        elif line in ("M25", "M31"):
            self.pattern_start, self.pattern_end = len(self.hits), None
            self.pattern_offset = (0.0, 0.0)
        elif line in ("M01", "M1"):
            self.pattern_end = len(self.hits)
            self.pattern_offset = (0.0, 0.0)
        elif line in ("M08", "M8"):
            self.pattern_end = None
        else:
            match = _PATTERN.match(line)
            if match is None:
                return False
            self._pattern(match[1], match[2], match[3], 1)
        return True

    def _repeat(self, line: str) -> bool:
        match = _REPEAT.match(line)
        if match is None:
            return False
        count = int(match[1])
        if count > MAX_HITS:
            raise self._too_many()
        if match[2]:
            self._pattern(match[3], match[4], "", count)
            return True
        if not (match[3] or match[4]):
            return False
        dx, dy = self._mm(match[3]) if match[3] else 0.0, self._mm(match[4]) if match[4] else 0.0
        if count + len(self.hits) > MAX_HITS:
            raise self._too_many()
        for _ in range(count):
            self.x, self.y = self.x + dx, self.y + dy
            self._hit(self.x, self.y, self.x, self.y, HOLE)
        return True

    def _pattern(self, xs: str | None, ys: str | None, turns: str, count: int) -> None:
        """Repeats what stands between M25 and M01, each repeat offset from the one before."""
        stop = self.pattern_end if self.pattern_end is not None else len(self.hits)
        block = self.hits[self.pattern_start : stop]
        if count * len(block) + len(self.hits) > MAX_HITS:
            raise self._too_many()
        if not block:
            count = min(count, 1)
        self.pattern_end = stop
        self.found.add(
            "DRL-018",
            Severity.NOTE,
            self._place(),
            "A pattern is repeated (M02); each repeat is offset from the one before.",
            "Compare the holes with the copper.",
        )
        dx, dy = self._mm(xs) if xs else 0.0, self._mm(ys) if ys else 0.0
        fx = -1.0 if "M80" in turns else 1.0
        fy = -1.0 if "M90" in turns else 1.0
        swap = "M70" in turns
        for _ in range(count):
            ox, oy = self.pattern_offset[0] + dx, self.pattern_offset[1] + dy
            self.pattern_offset = (ox, oy)
            paths = self._new_paths(block)
            for h in block:
                a, b = (h.y, h.x) if swap else (h.x, h.y)
                c, d = (h.y2, h.x2) if swap else (h.x2, h.y2)
                self.hits.append(
                    _Hit(
                        a * fx + ox,
                        b * fy + oy,
                        c * fx + ox,
                        d * fy + oy,
                        h.tool,
                        h.kind,
                        paths.get(h.path, -1),
                        h.line,
                    )
                )

    def _new_paths(self, block: list[_Hit]) -> dict[int, int]:
        """A new number for each routed path of a repeated block: its copies are paths of their own."""
        numbers = sorted({h.path for h in block if h.path >= 0})
        self.paths += len(numbers)
        return {one: self.paths - len(numbers) + k for k, one in enumerate(numbers)}

    def _too_many(self) -> Exception:
        words = f"The file asks for more than {MAX_HITS:,} holes."
        line = self.lines[self.no - 1].strip() if self.no else ""
        return refuse(
            "DRL-003", words, "Check its repeat codes; take a panel apart into single boards.", self._place(line)
        )

    # ---- end ----
    def _close(self) -> DrillFile:
        file = Place(file=self.name)
        self._check_kind()
        if not self.ended:
            self.found.add("DRL-019", Severity.WARNING, file, "The file does not end with M30; it may be cut off.")
        self._side_tools()
        self._missing_sizes()
        span, file_plated = self._function()
        tools = tuple(self._tool_value(n, e, file_plated) for n, e in sorted(self.tools.items()))
        return self._columns(tools, span, file_plated)

    def _check_kind(self) -> None:
        if (
            self.understood == 0
            or (not self.hits and not self.tools and self.bad > 2)
            or self.bad > 20 + self.understood
        ):
            first = next((k for k, s in enumerate(self.lines, 1) if s.strip()), 1)
            shown = "".join(self.lines[first - 1 : first]).strip()[:60]  # a file may hold no line at all
            raise refuse(
                "DRL-002",
                "The file is no drill file: expected tools (T01C0.8) and coordinates (X..Y..).",
                "Take it out of the package or name its role in the corrections file.",
                Place(file=self.name, line=first, column=1, text=shown),
            )

    def _side_tools(self) -> None:
        for number, size in self.hints.tool_sizes.items():
            entry = self.tools.setdefault(number, _ToolEntry())
            entry.size = size if entry.size is None else entry.size
        for number, plated in self.hints.tool_plated.items():
            entry = self.tools.setdefault(number, _ToolEntry())
            entry.plated = plated
        if self.side is None:
            return
        used = {h.tool for h in self.hits}
        for number in used:
            entry = self.tools.setdefault(number, _ToolEntry())
            if entry.size is None and number in self.side.tool_sizes:
                entry.size = self.side.tool_sizes[number]
                words = f"The size of tool T{number} comes from {self.side.name}: {entry.size:.3f} mm."
                self.found.add("DRL-020", Severity.NOTE, Place(file=self.name), words)
            if entry.plated is None and number in self.side.plated:
                entry.plated = self.side.plated[number]

    def _missing_sizes(self) -> None:
        for number in sorted({h.tool for h in self.hits}):
            entry = self.tools.setdefault(number, _ToolEntry())
            if entry.size is None:
                count = sum(1 for h in self.hits if h.tool == number)
                words = f"Tool T{number} has no size; {count} holes have no diameter."
                self.found.add(
                    "DRL-021", Severity.ERROR, Place(file=self.name), words, "Put the tool list beside the drill file."
                )

    def _function(self) -> tuple[tuple[int, int] | None, bool | None]:
        values = self.file_attributes.get(".FileFunction", ())
        if values and values[0] in ("Plated", "NonPlated", "MixedPlating"):
            numbers = [int(v) for v in values[1:3] if v.isdecimal() and len(v) < 4]
            span = (numbers[0], numbers[1]) if len(numbers) == 2 else None
            return span, {"Plated": True, "NonPlated": False}.get(values[0])
        stated = {e.plated for e in self.tools.values()}
        if self.tools and stated in ({True}, {False}):
            return None, stated == {True}
        if stated <= {None}:
            return None, None if self.hints.both else self.hints.plated
        return None, None

    def _tool_value(self, number: int, entry: _ToolEntry, file_plated: bool | None) -> Tool:
        plated = entry.plated if entry.plated is not None else file_plated
        return Tool(number, entry.size or 0.0, plated, entry.function)

    def _columns(self, tools: tuple[Tool, ...], span: tuple[int, int] | None, file_plated: bool | None) -> DrillFile:
        table = np.array([(h.x, h.y, h.x2, h.y2) for h in self.hits], dtype=np.float64).reshape(-1, 4)
        marks = np.array([(h.tool, h.kind, h.path, h.line) for h in self.hits], dtype=np.int64).reshape(-1, 4)
        near = (np.abs(table) < 1e5).all(axis=1) if len(table) else np.ones(0, dtype=bool)
        lost = int((~near).sum())
        if lost:
            words = f"{lost} holes have unreadable coordinates or lie further out than 100 m; left out."
            self.found.add("DRL-022", Severity.ERROR, Place(file=self.name), words, "The number format may be wrong.")
        table, marks = table[near], marks[near]
        by_number = {t.number: t for t in tools}
        chosen = [by_number[int(n)] for n in marks[:, 0]]
        return DrillFile(
            name=self.name,
            x_mm=table[:, 0].copy(),
            y_mm=table[:, 1].copy(),
            x2_mm=table[:, 2].copy(),
            y2_mm=table[:, 3].copy(),
            diameter_mm=np.array([t.diameter_mm or math.nan for t in chosen], dtype=np.float64),
            plated=np.array([-1 if t.plated is None else int(t.plated) for t in chosen], dtype=np.int8),
            kind=marks[:, 1].astype(np.uint8),
            path=marks[:, 2].astype(np.int32),
            tool=marks[:, 0].astype(np.int32),
            line=marks[:, 3].astype(np.int32),
            tools=tools,
            format=self.format,
            guessed=self.guessed,
            decimal_points=self.points_used and not self.digits_used,
            file_plated=file_plated,
            span=span,
            file_attributes=dict(self.file_attributes),
            comments=tuple(self.comments),
            findings=self.found.close(self.name),
        )


def _plated_function(function: str) -> bool | None:
    head = function.split(",")[0]
    return {"Plated": True, "NonPlated": False}.get(head)
