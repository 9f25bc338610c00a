"""The Gerber interpreter: tokens to rows, one row per object, then rows to shapes (build.py)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace

from coppermend.core.findings import Refusal, Severity, refuse
from coppermend.core.geometry.tangles import in_file
from coppermend.formats.collect import SHOWN_PER_CODE, FindingList, decode, place_at
from coppermend.formats.gerber import macro
from coppermend.formats.gerber.aperture import (
    HAIRLINE,
    NO_TURN,
    Template,
    Turn,
    pieces_of,
    standard,
    template_of,
    turn_of,
)
from coppermend.formats.gerber.attributes import AttributeStore, Frozen
from coppermend.formats.gerber.build import ImagePlacing, Row, build_image
from coppermend.formats.gerber.curves import Curves
from coppermend.formats.gerber.lexer import WORD, offsets, tokens
from coppermend.formats.gerber.model import ARC, DRAW, FLASH, REGION, GerberImage
from coppermend.formats.gerber.numbers import CoordinateFormat, Numbers

MAX_OBJECTS = 1_000_000
"""More objects than this in one file, after step-and-repeat and blocks, are refused (largest board known to us: 206,544 in all)."""
MAX_POINTS = 10_000_000
MAX_BLOCK_DEPTH = 20
MAX_TEMPLATE_WORK = 2_000_000

_COORDINATE = re.compile(
    r"(?:G0*([123]))?(?:X([+-]?[\d.]+))?(?:Y([+-]?[\d.]+))?(?:I([+-]?[\d.]+))?(?:J([+-]?[\d.]+))?(?:D0*([123]))?\Z"
)
_FORMAT = re.compile(r"FS([LTD]?)([AI]?)(?:[NGDM]\d)*X(\d)(\d)Y(\d)(\d)")
_APERTURE = re.compile(r"ADD0*(\d{1,9})([A-Za-z_.$][^,]*)(?:,(.*))?\Z", re.S)
_ATTRIBUTE_COMMENT = re.compile(r"\s*#@!\s*(TF|TA|TO|TD)(.*)\Z", re.S)
_ATTRIBUTES = frozenset(("TF", "TA", "TO", "TD"))
_COMMENT = re.compile(r"G(?:04|4(?!\d))")
_PAIR = re.compile(r"([AB])([+-]?[\d.]+)")
_STEP = re.compile(r"([XYIJ])([+-]?[\d.]+)")
_JUSTIFY = re.compile(r"([AB])([LC]?)([+-]?\d[\d.]*)?")
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class State:
    """What all objects drawn under the same settings share. ``aperture`` index into the aperture list, -1 for regions."""

    dark: bool
    aperture: int
    attribute: int
    turn: Turn


@dataclass(slots=True)
class ApertureEntry:
    """An AD statement: D code, template (None: no area or not usable), the aperture attributes then in force, or block rows."""

    code: int
    template: Template | None
    attributes: Frozen
    block: list[Row] | None = None
    problem: str = ""


@dataclass(slots=True)
class _Frame:
    """Rows being collected for the image, a step-and-repeat or a block; ``repeat`` columns, rows and steps in mm."""

    kind: str
    rows: list[Row]
    code: int = 0
    attributes: Frozen = ()
    repeat: tuple[int, int, float, float] = (1, 1, 0.0, 0.0)


@dataclass(slots=True)
class _Pending:
    code: str
    severity: Severity
    token: int
    words: str
    remedy: str


@dataclass(slots=True)
class _Settings:
    """Image-wide deprecated statements."""

    inverted: bool = False
    placing: ImagePlacing = field(default_factory=ImagePlacing)


def read_gerber(data: bytes, name: str, hairlines: bool = False) -> GerberImage:
    """The objects of a Gerber file (RS-274X with or without X2) in drawing order, in mm.

    ``data`` the file's bytes, ``name`` for findings. ``hairlines`` keeps what a circle of size 0 draws, with radius 0: it is no
    copper, but many outlines are drawn that way. Raises Refusal (codes GBR-...) when the file is no Gerber file, has no
    coordinate format, asks for more than MAX_OBJECTS objects, or has an area that
    crosses itself too often (GEO-001); every lesser fault is a finding and the rest is read.

    >>> image = read_gerber(b"%FSLAX24Y24*%%MOMM*%%ADD10C,1.5*%D10*X10000Y20000D03*M02*", "a.gbr")
    >>> image.at_mm.tolist(), float(image.shapes.radius_mm[0])
    ([[1.0, 2.0]], 0.75)

    Source: the Gerber layer format specification (Ucamco), its appendix of deprecated elements included.
    """
    text = decode(data, name, "GBR-001")
    try:
        return _Reader(text, name, hairlines).run()
    except Refusal as refusal:
        raise in_file(refusal, name) from None


class _Reader:
    def __init__(self, text: str, name: str, hairlines: bool) -> None:
        self.text, self.name, self.hairlines = text, name, hairlines
        self.format: CoordinateFormat = CoordinateFormat()
        self.format_known = False
        self.metric: bool | None = None
        self.numbers = Numbers(self.format)
        self.attributes = AttributeStore()
        self.entries: list[ApertureEntry] = []
        self.by_code: dict[int, int] = {}
        self.macros: dict[str, list[str]] = {}
        self.states: list[State] = []
        self.state_index: dict[State, int] = {}
        self.paths: list[list[Point]] = []
        self.frames: list[_Frame] = [_Frame("image", [])]
        self.current = -1
        self.missing = 0
        self.dark = True
        self.mirror_x = self.mirror_y = False
        self.rotate, self.scale = 0.0, 1.0
        self.turn = NO_TURN
        self.state = -1
        self.curves = Curves(self.note)
        self.settings = _Settings()
        self.comments: list[str] = []
        self.pending: list[_Pending] = []
        self.counted: dict[str, int] = {}
        self.region: list[Point] | None = None
        self.region_state = -1
        self.made_objects = 0
        self.made_points = 0
        self.template_work = 0
        self.ended = False
        self.k = 0
        self.x = self.y = 0.0

    # ---- findings ----
    def note(self, code: str, severity: Severity, words: str, remedy: str = "") -> None:
        seen = self.counted.get(code, 0)
        self.counted[code] = seen + 1
        if seen < SHOWN_PER_CODE:
            self.pending.append(_Pending(code, severity, self.k, words, remedy))

    def refusal(self, code: str, words: str, remedy: str) -> Refusal:
        at = offsets(self.text, {self.k}).get(self.k, 0)
        return refuse(code, words, remedy, place_at(self.name, self.text, at))

    # ---- main loop ----
    def run(self) -> GerberImage:
        """Reads the whole file."""
        self.curves.vote(self.text)
        self._loop()
        self._close()
        where = offsets(self.text, {p.token for p in self.pending})
        found = FindingList()
        for p in self.pending:
            found.add(p.code, p.severity, place_at(self.name, self.text, where.get(p.token, 0)), p.words, p.remedy)
            self.counted[p.code] -= 1
        for code, more in self.counted.items():
            found.count(code, more)
        return build_image(
            self.name,
            self.frames[0].rows,
            self.paths,
            self.states,
            self.entries,
            self.settings.inverted,
            self.settings.placing,
            self.attributes,
            tuple(self.comments),
            found,
        )

    def _loop(self) -> None:
        text_tokens = tokens(self.text)
        numbers = self.numbers
        x = y = 0.0
        mode, last = "1", "2"
        rows = self.frames[-1].rows
        incremental = False
        block: list[Row] | None = None
        region: list[Point] | None = None
        k = -1
        for g, xs, ys, i_, j_, d, other in text_tokens:
            k += 1
            if other:
                self.k, self.x, self.y = k, x, y
                more = self._slow(other)
                if self.ended:
                    break
                numbers, rows, incremental = self.numbers, self.frames[-1].rows, self.format.incremental
                block = self.entries[self.current].block if self.current >= 0 else None
                region = self.region
                if more is None:
                    continue
                g, xs, ys, i_, j_, d = more
            if g:
                mode = g
            op = d
            if not op:
                if not (xs or ys or i_ or j_):
                    continue
                op = last
            x0, y0 = x, y
            if xs:
                x = numbers[xs] + x if incremental else numbers[xs]
            if ys:
                y = numbers[ys] + y if incremental else numbers[ys]
            last = op
            if region is not None:
                if op == "1":
                    if mode == "1":
                        region.append((x, y))
                    else:
                        self.k = k
                        region.extend(self._arc(x0, y0, x, y, i_, j_, mode))
                elif op == "2":
                    self._end_contour()
                    region = self.region = [(x, y)]
                else:
                    self.k = k
                    self.note("GBR-021", Severity.WARNING, "A flash (D03) inside a region has no meaning; left out.")
                continue
            if op == "2":
                continue
            if self.state < 0:
                self.k = k
                if not self._make_state():
                    continue
            if op == "3":
                if block is None:
                    rows.append((FLASH, self.state, x, y, x, y))
                else:
                    self.k = k
                    self._flash_block(block, x, y)
            elif mode == "1":
                if block is None:
                    rows.append((DRAW, self.state, x0, y0, x, y))
                else:
                    self.k = k
                    self._drawn_block()
            else:
                self.k = k
                self._draw_arc(rows, x0, y0, x, y, i_, j_, mode)
            if len(rows) > MAX_OBJECTS:
                self.k = k
                raise self._too_many()
        self.k, self.x, self.y = max(k, 0), x, y

    def _too_many(self) -> Refusal:
        return self.refusal(
            "GBR-003",
            f"The file asks for more than {MAX_OBJECTS:,} objects or {MAX_POINTS:,} points.",
            "Check the step-and-repeat numbers; take a panel apart into single boards.",
        )

    def _draw_arc(self, rows: list[Row], x0: float, y0: float, x: float, y: float, i_: str, j_: str, mode: str) -> None:
        entry = self.entries[self.current]
        if entry.block is not None:
            self.note(
                "GBR-022", Severity.WARNING, "A block aperture was drawn with; blocks can only be flashed. Left out."
            )
            return
        path = [(x0, y0), *self._arc(x0, y0, x, y, i_, j_, mode)]
        rows.append((ARC, self.state, len(self.paths), 0.0, 0.0, 0.0))
        self.paths.append(path)

    def _drawn_block(self) -> None:
        self.note("GBR-022", Severity.WARNING, "A block aperture was drawn with; blocks can only be flashed. Left out.")

    def _arc(self, x0: float, y0: float, x: float, y: float, i_: str, j_: str, mode: str) -> list[Point]:
        """Points after (x0, y0) of the arc that the statement in hand draws."""
        offset = (self.numbers[i_] if i_ else 0.0, self.numbers[j_] if j_ else 0.0)
        points = self.curves.path((x0, y0), (x, y), offset, mode == "2")
        self.made_points += len(points)
        if self.made_points > MAX_POINTS:
            raise self._too_many()
        return points

    # ---- states ----
    def _make_state(self) -> bool:
        """The index of the state now in force, for draws and flashes; False when there is no usable aperture."""
        if self.current < 0:
            if self.missing:
                words = f"Aperture D{self.missing} is used but not defined; what it draws is missing from the image."
            else:
                words = "Something is drawn before any aperture was chosen; left out."
            self.note("GBR-010", Severity.ERROR, words, "Export this layer again, or name another file for it.")
            return False
        entry = self.entries[self.current]
        number = self.attributes.number(entry.attributes, self.attributes.object_frozen)
        self.state = self._state_number(State(self.dark, self.current, number, self.turn))
        return True

    def _state_number(self, state: State) -> int:
        found = self.state_index.get(state)
        if found is None:
            found = self.state_index[state] = len(self.states)
            self.states.append(state)
        return found

    # ---- regions ----
    def _start_region(self) -> None:
        number = self.attributes.number(self.attributes.aperture_frozen, self.attributes.object_frozen)
        self.region_state = self._state_number(State(self.dark, -1, number, NO_TURN))
        self.region = [(self.x, self.y)]

    def _end_contour(self) -> None:
        contour = self.region or []
        if len(contour) >= 3:
            if contour[0] != contour[-1] and math.dist(contour[0], contour[-1]) > 0.001:
                self.note(
                    "GBR-027",
                    Severity.NOTE,
                    "A region's contour does not end where it began; closed with a straight line.",
                )
            self.frames[-1].rows.append((REGION, self.region_state, len(self.paths), 0.0, 0.0, 0.0))
            self.paths.append(contour)
            self.made_points += len(contour)
        self.region = []

    # ---- everything that is not a coordinate ----
    def _slow(self, other: str) -> tuple[str, str, str, str, str, str] | None:
        if other[0] == "%" and len(other) > 1:
            self._extended(other[1:-1])
        elif other[-1] == "*":
            if _COMMENT.match(other):
                self._comment(other.split("4", 1)[1][:-1])
            else:
                return self._word("".join(other[:-1].split()))
        else:
            shown = other.strip()[:40]
            words = f"Text that belongs to no statement: {shown!r}. A '*' or '%' is missing."
            self.note("GBR-011", Severity.WARNING, words, "The file may be cut off; export it again.")
        return None

    def _comment(self, comment: str) -> None:
        match = _ATTRIBUTE_COMMENT.match(comment)
        if match:
            self._attribute(match[1], match[2])
        elif len(self.comments) < 200:
            self.comments.append(comment.strip())

    def _attribute(self, letters: str, text: str) -> None:
        if not self.attributes.statement(letters, text):
            self.note("GBR-012", Severity.WARNING, f"An attribute statement {letters} without a name; ignored.")
        if letters != "TF":
            self.state = -1

    def _word(self, word: str) -> tuple[str, str, str, str, str, str] | None:
        match = _COORDINATE.match(word)
        if match:
            return self._groups(match)
        rest: list[str] = []
        for letter, digits in WORD.findall(word):
            if letter in "GDM" and digits.isdecimal():
                code = int(digits[:6])
                if letter == "G" and self._g_code(code, rest):
                    continue
                if letter == "D" and code >= 10:
                    self._select(code)
                    continue
                if letter == "D" and 1 <= code <= 3:
                    rest.append(f"D{code}")
                    continue
                if letter == "M" and code in (0, 1, 2, 30):
                    self.ended = True
                    return None
            elif letter in "XYIJ" and digits:
                rest.append(letter + digits)
                continue
            elif letter == "N" and digits.isdecimal():
                continue
            self.note("GBR-013", Severity.WARNING, f"{word[:40]!r} is not a Gerber statement; ignored.")
            return None
        joined = "".join(sorted(rest, key=lambda s: "GXYIJD".index(s[0])))
        match = _COORDINATE.match(joined) if joined else None
        if joined and match is None:
            self.note("GBR-013", Severity.WARNING, f"{word[:40]!r} is not a Gerber statement; ignored.")
        return self._groups(match) if match else None

    @staticmethod
    def _groups(match: re.Match[str]) -> tuple[str, str, str, str, str, str]:
        return match[1] or "", match[2] or "", match[3] or "", match[4] or "", match[5] or "", match[6] or ""

    def _g_code(self, code: int, rest: list[str]) -> bool:
        """Takes a G code; interpolation codes go to ``rest``. False when it is unknown."""
        if code in (0, 1, 2, 3):
            rest.append(f"G{max(code, 1)}")
        elif code == 36:
            self._start_region()
        elif code == 37:
            if self.region is not None:
                self._end_contour()
            self.region = None
        elif code in (70, 71):
            self._unit(code == 71)
        elif code in (74, 75):
            self.curves.quadrant = code == 75
        elif code in (90, 91):
            self._set_format(replace(self.format, incremental=code == 91))
        elif code not in (54, 55):
            return False
        return True

    def _select(self, code: int) -> None:
        self.current = self.by_code.get(code, -1)
        self.missing = code if self.current < 0 else 0
        self.state = -1

    def _unit(self, metric: bool) -> None:
        self.metric = metric
        self._set_format(self.format.with_unit(metric))

    def _set_format(self, form: CoordinateFormat) -> None:
        if form != self.format:
            self.format = form
            self.numbers = Numbers(form)

    # ---- extended statements ----
    def _extended(self, block: str) -> None:
        stripped = block.strip()
        if stripped.startswith("AM"):
            self._macro(stripped)
            return
        if stripped[:2] in _ATTRIBUTES and stripped.find("*") == len(stripped) - 1 and "\n" not in stripped:
            self._attribute(stripped[:2], stripped[2:-1].replace("\r", "").rstrip())
            return
        for raw in stripped.split("*"):
            statement = "".join(raw.split("\n")).replace("\r", "").strip()
            if statement:
                self._statement(statement)

    def _macro(self, block: str) -> None:
        name, *body = block[2:].split("*")
        self.macros["".join(name.split())] = body

    def _statement(self, s: str) -> None:
        head = s[:2]
        if head in _ATTRIBUTES:
            self._attribute(head, s[2:])
        elif head == "AD":
            self._define(s)
        elif head in _STATEMENTS:
            _STATEMENTS[head](self, "".join(s.split())[2:])
            self.state = -1
        elif s.startswith("G04"):
            self._comment(s[3:])
        elif s[0] in "GDMXY":
            self.note(
                "GBR-014", Severity.WARNING, f"A plain statement between %: {s[:40]!r}; read as if it stood outside."
            )
            more = self._word("".join(s.split()))
            if more is not None and more[5]:
                self.note("GBR-015", Severity.ERROR, "A drawing statement between % cannot be placed; left out.")
        else:
            self.note("GBR-013", Severity.WARNING, f"{s[:40]!r} is not a Gerber statement; ignored.")

    def _fs(self, s: str) -> None:
        match = _FORMAT.match("FS" + s)
        if match is None:
            words = f"The coordinate format {'FS' + s[:30]!r} cannot be read; expected something like FSLAX46Y46."
            raise self.refusal("GBR-002", words, "Export the layer again as RS-274X or X2.")
        zeros, notation, xw, xd, yw, yd = match.groups()
        if (xw, xd) != (yw, yd):
            self.note("GBR-016", Severity.WARNING, "X and Y have different formats; that of X is used for both.")
        if not zeros:
            self.note(
                "GBR-017", Severity.GUESS, "The format does not say which zeros are left out; leading ones assumed."
            )
        self.format_known = True
        self._set_format(
            replace(self.format, whole=int(xw), decimals=int(xd), trailing=zeros == "T", incremental=notation == "I")
        )
        rest = s[match.end() - 2 :]
        if rest.startswith("MO"):
            self._mo(rest[2:])

    def _mo(self, s: str) -> None:
        if s not in ("IN", "MM"):
            self.note("GBR-018", Severity.ERROR, f"The unit {s[:10]!r} is neither IN nor MM; ignored.")
            return
        self._unit(s == "MM")

    def _lp(self, s: str) -> None:
        if s in ("D", "C"):
            self.dark = s == "D"
        else:
            self.note("GBR-013", Severity.WARNING, f"{'LP' + s[:20]!r} is neither LPD nor LPC; ignored.")

    def _lm(self, s: str) -> None:
        self.mirror_x, self.mirror_y = "X" in s, "Y" in s
        self._set_turn()

    def _lr(self, s: str) -> None:
        self.rotate = self._number(s, 0.0)
        self._set_turn()

    def _ls(self, s: str) -> None:
        scale = self._number(s, 1.0)
        self.scale = scale if 0 < scale < 1e4 else 1.0
        self._set_turn()

    def _set_turn(self) -> None:
        self.turn = turn_of(self.mirror_x, self.mirror_y, self.rotate, self.scale)
        if self.turn == NO_TURN:
            self.turn = NO_TURN

    def _number(self, s: str, default: float) -> float:
        try:
            value = float(s)
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or abs(value) > 1e9:
            self.note("GBR-013", Severity.WARNING, f"{s[:20]!r} is not a number; {default:g} is used.")
            return default
        return value

    def _define(self, s: str) -> None:
        match = _APERTURE.match(s)
        if match is None:
            self.note(
                "GBR-019",
                Severity.ERROR,
                f"The aperture definition {s[:40]!r} cannot be read.",
                "What it draws is missing.",
            )
            return
        code, kind = int(match[1]), "".join(match[2].split())
        entry = ApertureEntry(code, None, self.attributes.aperture_frozen)
        try:
            values = (
                [float(v) for v in re.split(r"[Xx]", match[3].strip().rstrip("Xx,"))]
                if match[3] and match[3].strip()
                else []
            )
            if not all(math.isfinite(v) and abs(v) < 1e6 for v in values):
                raise ValueError("a number is out of range")
            entry.template = self._template(kind, values)
            if entry.template is None and self.hairlines and kind == "C":
                entry.template = HAIRLINE
            if entry.template is None:
                entry.problem = "it has no area"
        except ValueError as error:
            entry.problem = str(error)
            words = f"Aperture D{code} cannot be made: {error}."
            self.note("GBR-019", Severity.ERROR, words, "What it draws is missing from the image.")
        self._enter(entry)

    def _enter(self, entry: ApertureEntry) -> None:
        self.by_code[entry.code] = len(self.entries)
        self.entries.append(entry)
        if entry.code == self.missing:
            self._select(entry.code)

    def _template(self, kind: str, values: list[float]) -> Template | None:
        if self.metric is None:
            self._assume_inch()
        k = self.format.mm_per_unit
        if kind in ("R", "O") and len(values) == 1:
            self.note("GBR-034", Severity.GUESS, f"Aperture {kind} with one size: taken as equally high and wide.")
            values = values * 2
        if kind in ("C", "R", "O"):
            return standard(kind, [v * k for v in values])
        if kind == "P":
            return standard(kind, [v if n in (1, 2) else v * k for n, v in enumerate(values)])
        body = self.macros.get(kind)
        if body is None:
            raise macro.MacroError(f"there is no macro {kind[:30]!r}")
        primitives = macro.primitives(body, values)
        self.template_work += sum(len(v) for _, v in primitives)
        if self.template_work > MAX_TEMPLATE_WORK:
            raise self.refusal(
                "GBR-004", "The apertures have more corners than can be real.", "Export the layer again."
            )
        for _, numbers in primitives:
            if any(abs(v) > 1e6 for v in numbers):
                raise macro.MacroError("a number is out of range")
        return template_of(pieces_of(primitives, k))

    def _assume_inch(self) -> None:
        self.metric = False
        self.note("GBR-020", Severity.GUESS, "The file does not say its unit before its first aperture; inch assumed.")

    # ---- blocks and step-and-repeat ----
    def _ab(self, s: str) -> None:
        if s:
            match = re.match(r"D0*(\d{1,9})\Z", s)
            if match is None or len(self.frames) > MAX_BLOCK_DEPTH:
                self.note("GBR-028", Severity.ERROR, f"The block aperture {s[:20]!r} cannot be opened.")
                return
            self.frames.append(_Frame("block", [], int(match[1]), self.attributes.aperture_frozen))
        elif self.frames[-1].kind == "block":
            frame = self.frames.pop()
            self._enter(ApertureEntry(frame.code, None, frame.attributes, block=frame.rows))
        else:
            self.note("GBR-028", Severity.WARNING, "A block aperture is closed that was not opened; ignored.")

    def _sr(self, s: str) -> None:
        if self.frames[-1].kind == "repeat":
            self._end_repeat()
        values = {a: self._number(b, 0.0) for a, b in _STEP.findall(s)}
        nx, ny = int(values.get("X", 1)), int(values.get("Y", 1))
        if s and min(nx, ny) < 1:
            self.note(
                "GBR-013", Severity.WARNING, f"{'SR' + s[:30]!r} repeats less than once; what follows is drawn once."
            )
        if not s or (nx <= 1 and ny <= 1):
            return
        if nx < 1 or ny < 1 or nx * ny > MAX_OBJECTS:
            words = f"Step-and-repeat {nx} x {ny} is not between 1 and {MAX_OBJECTS:,} copies."
            raise self.refusal("GBR-003", words, "Check the SR statement; take a panel apart into single boards.")
        k = self.format.mm_per_unit
        self.frames.append(_Frame("repeat", [], repeat=(nx, ny, values.get("I", 0.0) * k, values.get("J", 0.0) * k)))

    def _end_repeat(self) -> None:
        frame = self.frames.pop()
        nx, ny, dx, dy = frame.repeat
        self._reserve(nx * ny, frame.rows)
        target = self.frames[-1].rows
        for a in range(nx):
            for b in range(ny):
                self._copy(frame.rows, target, NO_TURN, a * dx, b * dy)

    def _reserve(self, copies: int, rows: list[Row]) -> None:
        """Counts what copying would make; refuses beyond the limits before anything is made."""
        points = sum(len(self.paths[int(r[2])]) for r in rows if r[0] in (ARC, REGION))
        self.made_objects += copies * len(rows)
        self.made_points += copies * points
        if self.made_objects > MAX_OBJECTS or self.made_points > MAX_POINTS:
            raise self._too_many()

    def _copy(self, rows: list[Row], target: list[Row], turn: Turn, dx: float, dy: float) -> None:
        plain = turn == NO_TURN
        for kind, state, x0, y0, x1, y1 in rows:
            if kind in (ARC, REGION):
                path = self.paths[int(x0)]
                if not plain:
                    path = [turn.point(*p) for p in path]
                self.paths.append([(px + dx, py + dy) for px, py in path])
                target.append((kind, state, len(self.paths) - 1, 0.0, 0.0, 0.0))
                continue
            if not plain:
                (x0, y0), (x1, y1) = turn.point(x0, y0), turn.point(x1, y1)
            target.append((kind, state, x0 + dx, y0 + dy, x1 + dx, y1 + dy))

    def _flash_block(self, rows: list[Row], x: float, y: float) -> None:
        self._reserve(1, rows)
        outer = self.states[self.state]
        stated = self.attributes.sets[outer.attribute]
        changed: dict[int, int] = {}
        moved: list[Row] = []
        self._copy(rows, moved, outer.turn, x, y)
        for kind, state, *numbers in moved:
            number = changed.get(state)
            if number is None:
                inner = self.states[state]
                mine = self.attributes.sets[inner.attribute]
                keep = mine.nets or mine.part or not (stated.nets or stated.part)
                attribute = inner.attribute if keep else outer.attribute
                dark = inner.dark if outer.dark else not inner.dark
                turn = NO_TURN if inner.aperture < 0 else outer.turn.after(inner.turn)
                number = changed[state] = self._state_number(State(dark, inner.aperture, attribute, turn))
            self.frames[-1].rows.append((kind, number, numbers[0], numbers[1], numbers[2], numbers[3]))

    # ---- image-wide deprecated statements ----
    def _ip(self, s: str) -> None:
        self.settings.inverted = s == "NEG"

    def _pair(self, s: str, a: float, b: float, scale: float) -> tuple[float, float]:
        values = {k: self._number(v, 0.0) * scale for k, v in _PAIR.findall(s)}
        return values.get("A", a), values.get("B", b)

    def _of(self, s: str) -> None:
        offset = self._pair(s, 0.0, 0.0, self.format.mm_per_unit)
        self._place(replace(self.settings.placing, offset_mm=offset))

    def _sf(self, s: str) -> None:
        a, b = self._pair(s, 1.0, 1.0, 1.0)
        if not (0 < a < 1e4 and 0 < b < 1e4):
            self.note("GBR-013", Severity.WARNING, f"{'SF' + s[:20]!r} is not a scale; ignored.")
            return
        self._place(replace(self.settings.placing, scale=(a, b)))

    def _mi(self, s: str) -> None:
        a, b = self._pair(s, 0.0, 0.0, 1.0)
        self._place(replace(self.settings.placing, mirror=(a == 1.0, b == 1.0)))

    def _as(self, s: str) -> None:
        self._place(replace(self.settings.placing, swapped=s == "AYBX"))

    def _ir(self, s: str) -> None:
        self._place(replace(self.settings.placing, degrees=self._number(s, 0.0)))

    def _place(self, placing: ImagePlacing) -> None:
        if placing == self.settings.placing:
            return
        if self.frames[0].rows:
            words = "OF, SF, MI, AS, IR, IJ or IO after the first object; the last one is used for the whole image."
            self.note("GBR-029", Severity.WARNING, words, "Look at this layer on the map.")
        self.settings.placing = placing

    def _named(self, s: str) -> None:
        """IN, LN: names, for people. IC, PF, NF: character code, film and block numbers of old plotters."""

    def _io(self, s: str) -> None:
        """IO: the finished image is moved by A, B. From memory of the RS-274X format description of 1998."""
        offset = self._pair(s, 0.0, 0.0, self.format.mm_per_unit)
        self._place(replace(self.settings.placing, film_mm=offset))

    def _ij(self, s: str) -> None:
        """IJ: the image's left or lower edge comes to lie at 0 (L) or at the number given. From memory of the RS-274X format description of 1998.

        C centres the image on a film whose size no file says: not applied, and said.
        """
        found = {axis: (letter, number) for axis, letter, number in _JUSTIFY.findall(s)}
        edges: list[float | None] = []
        for axis in "AB":
            letter, number = found.get(axis, ("L", ""))
            at = self._number(number, 0.0) * self.format.mm_per_unit if number else 0.0
            edges.append(None if letter == "C" else at)
        if None in edges:
            words = f"IJ{s[:20]} centres the image on its film, whose size no file says. That is not applied: the coordinates count as they stand."
            remedy = "Look on the map whether this layer's lands lie on its holes; export it again if they do not."
            self.note("GBR-033", Severity.WARNING, words, remedy)
        self._place(replace(self.settings.placing, justified_mm=(edges[0], edges[1])))

    def _ko(self, s: str) -> None:
        """KO: a rectangle in its own polarity over all that was drawn before; what follows is drawn upon it.

        X, Y its lower left corner, I, J its width and height. With a border (K) it would lie round what follows up to a place that is not at hand:
        refused, as is one without polarity or size. From memory of the RS-274X format description of 1998.
        """
        if not s:
            return
        values = {
            letter: self._number(number, 0.0) * self.format.mm_per_unit for letter, number in _STEP.findall(s[1:])
        }
        wide, high = values.get("I", 0.0), values.get("J", 0.0)
        if s[0] not in "CD" or "K" in s or min(wide, high) <= 0:
            words = (
                f"The old statement KO{s[:20]} cuts an area out of the image; expected its polarity (C or D) and X, Y, I, J of a rectangle. "
                "Its border round what follows is not clear, so what is copper would be wrong."
            )
            raise self.refusal("GBR-035", words, "Export the layer again as RS-274X without knock-out, or as X2.")
        x, y = values.get("X", 0.0), values.get("Y", 0.0)
        number = self.attributes.number((), ())
        state = self._state_number(State(s[0] == "D", -1, number, NO_TURN))
        self.frames[-1].rows.append((REGION, state, len(self.paths), 0.0, 0.0, 0.0))
        self.paths.append([(x, y), (x + wide, y), (x + wide, y + high), (x, y + high), (x, y)])

    def _if(self, s: str) -> None:
        self.note(
            "GBR-030", Severity.ERROR, "An include file (IF) is asked for; it is not part of this file and is left out."
        )

    # ---- end ----
    def _close(self) -> None:
        if self.region is not None:
            self.note("GBR-031", Severity.WARNING, "The file ends inside a region; closed there.")
            self._end_contour()
        while len(self.frames) > 1:
            frame = self.frames[-1]
            if frame.kind == "repeat":
                self._end_repeat()
            else:
                self.note("GBR-031", Severity.WARNING, "The file ends inside a block aperture; the block is dropped.")
                self.frames.pop()
        if not self.ended:
            self.note(
                "GBR-032",
                Severity.WARNING,
                "The file does not end with M02; it may be cut off.",
                "Compare its size with the original.",
            )
        rows = self.frames[0].rows
        if not self.format_known:
            if rows or not self.entries:
                words = "No coordinate format (FS) in the file: it is no Gerber file, or an old one without format and apertures."
                raise self.refusal("GBR-002", words, "Export the layer again as RS-274X or X2.")
        elif self.metric is None and rows:
            self._assume_inch()


_STATEMENTS = {
    "FS": _Reader._fs, "MO": _Reader._mo, "LP": _Reader._lp, "LM": _Reader._lm, "LR": _Reader._lr, "LS": _Reader._ls,
    "AB": _Reader._ab, "SR": _Reader._sr, "IP": _Reader._ip, "OF": _Reader._of, "SF": _Reader._sf, "MI": _Reader._mi,
    "AS": _Reader._as, "IR": _Reader._ir, "IN": _Reader._named, "LN": _Reader._named, "IF": _Reader._if,
    "IC": _Reader._named, "PF": _Reader._named, "NF": _Reader._named,
    "IJ": _Reader._ij, "IO": _Reader._io, "KO": _Reader._ko,
}  # fmt: skip
