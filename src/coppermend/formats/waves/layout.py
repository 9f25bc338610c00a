"""How a wave's CSV file is laid out: separator, decimal sign, head, columns. Known by traits, not by makers.

Traits read: a head of names and units (brackets, endings, or a row of units); keys and values before the data or in columns to its left; sample numbers with
start and step in the head; a sampling rate in a comment; decimal commas with ``;`` or tab; no head at all.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, field

from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.formats.waves.units import figure, known, split_unit

LONGEST_LINE = 65_536
LONGEST_KEYS, LONGEST_NAME = 4000, 120
"""Of a line in the head only so many characters are looked at for keys, and of a cell so many for a name."""
MOST_COLUMNS = 512
MOST_HEAD = 2000
NOT_A_NUMBER = ("nan", "-nan", "inf", "-inf", "+inf", "ol", "-ol", "*", "--", "-", "?", "x", "z")
REMEDY = "Save the wave as CSV with a time column and one column a channel."
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_STEP = re.compile(
    r"(sampl\w*\s*(interval|period|time)|time\s*(increment|step|base per)|x[\s_-]*inc|increment|\bdelta\b|\bdt\b|step)",
    re.IGNORECASE,
)
_RATE = re.compile(r"(sampl\w*\s*(rate|freq)|samplerate|\bfs\b)", re.IGNORECASE)
_START = re.compile(
    r"^\W*(start(\s*time)?|x[\s_-]*(origin|offset|zero)|t0|first\s*(point|sample)\s*(at)?|time\s*offset)\W*$",
    re.IGNORECASE,
)
_TIME = re.compile(r"^\W*(time\w*|t|x|x[\s-]?axis|second|seconds|sec|zeit\w*|temps|tiempo|tempo)\W*$", re.IGNORECASE)
_TIMES = ("s", "ms", "us", "µs", "ns", "ps")
_INDEX = re.compile(r"^\W*(x|sample\w*|samples?\s*(no|number|#)?|seq\w*|index|point\w*|n|no\.?|#)\W*$", re.IGNORECASE)


_KEY_ROW = re.compile(r"\b(units?|interval|length|model|serial|date|coupling|attenuation|firmware)\b", re.IGNORECASE)
"""A row of a head that begins so says something of the record ("Vertical Units,V"); it does not name two columns."""


@dataclass(slots=True)
class Layout:
    """``separator``, ``comma`` decimal commas, ``columns`` numbers of the columns that hold data, ``names`` and ``units`` of these, where data begins
    (``begin`` byte, ``line`` from 1), ``time`` position among the columns (None: none), ``index`` it counts samples, ``counted`` it is called time
    and counts by one, ``step_s``/``start_s`` from the head."""

    separator: str
    comma: bool
    columns: tuple[int, ...]
    names: list[str]
    units: list[str]
    begin: int
    line: int
    time: int | None = None
    index: bool = False
    counted: bool = False
    joined: bool = False
    step_s: float | None = None
    start_s: float | None = None
    headless: bool = False
    findings: list[Finding] = field(default_factory=list)


def layout_of(text: bytes, name: str) -> Layout:
    """The layout of a CSV file's bytes (UTF-8). Refusal WAV-002 without data, WAV-004 with too many columns, WAV-005 where a comma means two things."""
    samples = _sample_lines(text, name)
    separator, comma = _separator(samples, name)
    rows = [split(line, separator, comma) for line in samples]
    width = max(len(row) for row in rows)
    columns = tuple(k for k in range(width) if any(k < len(row) and numeric(row[k]) for row in rows))
    if not columns:
        raise refuse("WAV-002", "No row of numbers was found.", REMEDY, Place(file=name))
    head, begin, line = _head(text, separator, comma, columns, name)
    made = Layout(separator, comma, columns, [], [], begin, line)
    _names(made, [split(one, separator, False) for one in head])
    _keys(made, [*head, *_beside(text, begin, separator, columns)], name)
    _on_first_row(made, text, head)
    _joined(made, rows, head, name)
    _time(made, rows, name)
    _left_out(made, rows, head, name)
    return made


def split(line: str, separator: str, comma: bool) -> list[str]:
    """A line's cells without quotes, decimal commas as points.

    >>> split('"0,001";3,3', ";", True)
    ['0.001', '3.3']
    """
    if '"' in line and separator == ",":
        cells = ["".join(pair) for pair in re.findall(r'\s*(?:"([^"]*)"|([^,]*))(?:,|$)', line)]
        cells = cells[:-1] if len(cells) > 1 and not line.rstrip().endswith(",") and cells[-1] == "" else cells
    else:
        cells = line.split(separator) if separator != " " else line.split()
    cells = [one.strip().strip('"').strip() for one in cells]
    return [one.replace(",", ".") if comma else one for one in cells]


def numeric(cell: str) -> bool:
    """Whether a cell is a number, or a word that stands for one that could not be had."""
    return bool(_NUMBER.fullmatch(cell)) or (cell != "" and cell.lower() in NOT_A_NUMBER)


def _sample_lines(text: bytes, name: str) -> list[str]:
    """Some lines from the second half of the file: data, if there is any."""
    at = text.find(b"\n", len(text) // 2)
    piece = text[at + 1 : at + 1 + 40 * LONGEST_LINE] if at >= 0 else b""
    lines = [one for one in piece[: 4 * LONGEST_LINE].splitlines()[:24] if one.strip()]
    if len(piece) > 4 * LONGEST_LINE or len(lines) > 2:
        lines = lines[:-1] or lines
    if not lines:
        lines = [one for one in text[-LONGEST_LINE:].splitlines() if one.strip()][-3:]
    if lines and max(map(len, lines)) >= LONGEST_LINE:
        raise _wide(name, "A line has more than 65,536 characters.")
    if not lines:
        raise refuse("WAV-002", "The file is empty.", REMEDY, Place(file=name))
    return [one.decode("utf-8", "replace") for one in lines]


def _wide(name: str, words: str) -> Exception:
    return refuse(
        "WAV-004", words, f"At most {MOST_COLUMNS} columns are read; save one row a sample.", Place(file=name)
    )


def _separator(lines: list[str], name: str) -> tuple[str, bool]:
    """Separator and whether numbers have decimal commas."""
    for sign in ("\t", ";"):
        if all(sign in one for one in lines):
            _check_width(lines, sign, name)
            commas = any("," in cell for one in lines for cell in one.split(sign))
            return sign, commas
    if any('"' in one and re.search(r'"[+-]?\d+,\d+', one) for one in lines):
        return ",", True
    if any("," in one for one in lines):
        _check_width(lines, ",", name)
        return ",", False
    if all(len(one.split()) > 1 for one in lines):
        _check_width(lines, " ", name)
        return " ", False
    return ";", False


def _check_width(lines: list[str], sign: str, name: str) -> None:
    widest = max(len(one.split(sign if sign != " " else None)) for one in lines)
    if widest > MOST_COLUMNS:
        raise _wide(name, f"A line has {widest} columns or more.")


def _head(text: bytes, separator: str, comma: bool, columns: tuple[int, ...], name: str) -> tuple[list[str], int, int]:
    """The lines before the first row of data, and where that begins."""
    head: list[str] = []
    at = 0
    for number in range(1, MOST_HEAD + 1):
        end = text.find(b"\n", at)
        end = len(text) if end < 0 else end
        if end - at > LONGEST_LINE:
            raise _wide(name, f"Line {number} has more than 65,536 characters.")
        line = text[at:end].decode("utf-8", "replace").rstrip("\r")
        cells = split(line, separator, comma)
        mine = [cells[k] for k in columns if k < len(cells)]
        if (
            len(mine) == len(columns)
            and all(numeric(one) for one in mine)
            and not line.lstrip().startswith(("#", ";%"))
        ):
            return head, at, number
        head.append(line)
        at = end + 1
        if at >= len(text):
            break
    raise refuse("WAV-002", f"No row of numbers in the first {MOST_HEAD} lines.", REMEDY, Place(file=name))


def _beside(text: bytes, at: int, separator: str, columns: tuple[int, ...]) -> list[str]:
    """Keys that stand to the left of the first rows of data, as lines of their own."""
    if min(columns) == 0:
        return []
    found = []
    for line in text[at : at + 100_000].splitlines()[:100]:
        cells = line.decode("utf-8", "replace").split(separator)[: min(columns)]
        if cells and cells[0].strip():
            found.append(separator.join(cells))
    return found


def _names(made: Layout, head: list[list[str]]) -> None:
    """Names and units of the columns from the last head rows."""
    rows = [[row[k].strip() if k < len(row) else "" for k in made.columns] for row in head]
    full = [
        one for one in rows if sum(bool(cell) and not numeric(cell) for cell in one) >= max(1, len(made.columns) - 1)
    ]
    if len(made.columns) == 2:
        full = [one for one in full if not _KEY_ROW.search(one[0])]
    made.headless = not full
    units = [""] * len(made.columns)
    names = [""] * len(made.columns)
    if full and all(_unit_cell(cell) for cell in full[-1] if cell) and len(full) > 1:
        units, full = [cell.strip("()[] ") for cell in full[-1]], full[:-1]
    if full:
        pairs = [split_unit(cell[:LONGEST_NAME]) for cell in full[-1]]
        names = [pair[0] for pair in pairs]
        units = [unit or pair[1] for unit, pair in zip(units, pairs, strict=True)]
    made.names, made.units = names, units


def _unit_cell(cell: str) -> bool:
    return known(cell.strip("()[] ")) or cell.strip("()[] ").lower() in ("", "a", "w", "db", "dbv", "unit", "units")


def _keys(made: Layout, head: list[str], name: str) -> None:
    """Step, rate and start from keys and values in the head."""
    cells = [
        [
            c.strip().strip('"')[:LONGEST_NAME]
            for c in re.split(r"[;\t,:=]", one[:LONGEST_KEYS].lstrip("#; %"))
            if c.strip()
        ]
        for one in head
    ]
    for row in cells:
        for key, value in itertools.pairwise(row):
            found = figure(value)
            if found is None:
                continue
            if _RATE.search(key) and found[0] > 0 and found[1] in ("", "hz", "sa/s", "s/s", "samples/s", "sps"):
                made.step_s = made.step_s or 1.0 / found[0]
            elif _STEP.search(key) and found[0] > 0 and found[1] in ("", "s"):
                made.step_s = made.step_s or found[0]
            elif _START.match(key) and found[1] in ("", "s"):
                made.start_s = made.start_s if made.start_s is not None else found[0]
    _under_names(made, cells)


def _under_names(made: Layout, cells: list[list[str]]) -> None:
    """Start and step that stand under their names in the next row of the head: ``X,CH1,Start,Increment`` and below ``Sequence,Volt,0,1e-6``."""
    for names, values in itertools.pairwise(cells):
        if len(names) != len(values):
            continue
        for key, value in zip(names, values, strict=True):
            _take_time(made, key, figure(value))


def _take_time(made: Layout, key: str, found: tuple[float, str] | None) -> None:
    """The figure as the step or the start where its name says so and neither is known yet."""
    if found is None or found[1] not in ("", "s"):
        return
    if _STEP.search(key) and found[0] > 0:
        made.step_s = made.step_s or found[0]
    elif _START.match(key):
        made.start_s = found[0] if made.start_s is None else made.start_s


def _on_first_row(made: Layout, text: bytes, head: list[str]) -> None:
    """Start and step that stand once, right of the first row of data, under their names."""
    end = text.find(b"\n", made.begin)
    first = split(text[made.begin : end if end >= 0 else None].decode("utf-8", "replace"), made.separator, made.comma)
    names = split(head[-1], made.separator, False) if head else []
    for k, (key, value) in enumerate(zip(names, first, strict=False)):
        if k not in made.columns:
            _take_time(made, key[:LONGEST_NAME], figure(value[:LONGEST_NAME]))


def _joined(made: Layout, rows: list[list[str]], head: list[str], name: str) -> None:
    """Decimal commas in a file whose separator is a comma too: told by twice as many cells as names."""
    cells = [one for one in (split(head[-1], made.separator, False) if head else []) if one]
    named = 0 if any(numeric(one) for one in cells) else len(cells)
    suspicious = made.separator == "," and not made.comma and len(made.columns) % 2 == 0 and len(made.columns) >= 2
    if not suspicious:
        return
    halves = all(re.fullmatch(r"[+-]?\d+", row[k]) for row in rows for k in made.columns[::2] if k < len(row))
    parts = all(re.fullmatch(r"\d+([eE][+-]?\d+)?", row[k]) for row in rows for k in made.columns[1::2] if k < len(row))
    if not (halves and parts):
        return
    if named * 2 == len(made.columns):
        pairs = [split_unit(one[:LONGEST_NAME]) for one in cells]
        made.joined, made.headless = True, False
        made.names, made.units = [one for one, _ in pairs], [unit for _, unit in pairs]
        made.findings.append(
            Finding(
                "WAV-005",
                Severity.GUESS,
                Place(file=name),
                "Commas separate the columns and stand in the numbers; read as decimal commas.",
                "Save it with ; between the columns.",
            )
        )
    elif made.headless and any(len(row[k]) > 1 for row in rows for k in made.columns[1::2] if k < len(row)):
        raise refuse(
            "WAV-005",
            "Commas separate the columns and may stand in the numbers too: 0,001,3,3 can be read in several ways.",
            "Save it with ; or tabs between the columns, or with decimal points.",
            Place(file=name),
        )


def _time(made: Layout, rows: list[list[str]], name: str) -> None:
    """Which column is the time, and whether it counts samples."""
    if _unit_alone(made, rows):
        made.time, made.units = 0, [made.names[0].strip(), *made.units[1:]]
    for k, (label, unit) in enumerate(zip(made.names, made.units, strict=True)):
        if _TIME.match(label) or (k == 0 and is_time(label, unit)):
            made.time = k
            break
        if _INDEX.match(label) and k == 0:
            made.time, made.index = k, True
            break
    if made.headless and not made.joined and len(made.columns) > 1:
        made.time = 0
    if made.headless and made.time is not None and made.step_s is None:
        made.findings.append(
            Finding(
                "WAV-007",
                Severity.GUESS,
                Place(file=name),
                "The file has no head; its first column is read as seconds, the others as volts.",
                "Save it with a head that names columns and units.",
            )
        )
    if made.time is not None and not made.units[made.time] and not made.joined and not made.index:
        counts = _counts(rows, made.columns[made.time])
        named = not made.headless and made.names[made.time].strip().lower() not in ("x", "t", "n")
        made.index, made.counted = counts and not named, counts and named


def _left_out(made: Layout, rows: list[list[str]], head: list[str], name: str) -> None:
    """Columns that hold words are left out, and it is said."""
    names = split(head[-1], made.separator, False) if head else []
    width = max(len(row) for row in rows)
    out = [
        k
        for k in range(width)
        if k not in made.columns and all(k < len(row) and row[k] for row in rows) and len(rows) > 1
    ]
    if out:
        called = ", ".join(names[k] if k < len(names) and names[k] else f"column {k + 1}" for k in out[:5])
        made.findings.append(
            Finding(
                "WAV-019",
                Severity.WARNING,
                Place(file=name),
                f"{called}: no numbers there; left out.",
                "Save values as numbers (0 and 1 for logic).",
            )
        )


def _unit_alone(made: Layout, rows: list[list[str]]) -> bool:
    """Whether the first column is named by nothing but a unit of time, and its figures rise."""
    if (
        made.headless
        or made.joined
        or len(made.names) < 2
        or made.units[0]
        or made.names[0].strip().lower() not in _TIMES
    ):
        return False
    cells = [row[made.columns[0]].replace(",", ".") for row in rows if made.columns[0] < len(row)]
    values = [float(one) for one in cells if numeric(one)]
    return len(values) > 2 and all(b >= a for a, b in itertools.pairwise(values)) and values[-1] > values[0]


def is_time(label: str, unit: str) -> bool:
    """Whether a column's name or unit says time.

    >>> is_time("Time", ""), is_time("X", "ms"), is_time("CH1", "V")
    (True, True, False)
    """
    return bool(_TIME.match(label)) or unit.lower() in _TIMES


def _counts(rows: list[list[str]], column: int) -> bool:
    """Whether a column counts by one."""
    cells = [row[column] for row in rows if column < len(row)]
    if len(cells) < 3 or not all(re.fullmatch(r"\d+", one) for one in cells):
        return False
    return all(int(b) - int(a) == 1 for a, b in itertools.pairwise(cells))
