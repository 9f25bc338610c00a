"""What header comments and side files say about a drill file: unit, digits, zeros, tool sizes, plated or not.

Every pattern is of wording seen in real headers; what is not recognised is left alone.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.units import MM_PER_INCH
from coppermend.formats.collect import decode
from coppermend.formats.drill.model import DrillFormat, SideFile

_NOT_PLATED = re.compile(r"NON[-_ ]?PLATED|NOT[-_ ]PLATED|UN[-_ ]?PLATED|\bNPTH?\b", re.I)
_PLATED = re.compile(r"PLATED|\bPTH\b", re.I)
_DIGITS = re.compile(r"FORMAT\W{0,6}(\d)\s?[:.]\s?(\d)", re.I)
_BRACES = re.compile(r"FORMAT\s*=\s*\{([^}]*)\}", re.I)
_HOLESIZE = re.compile(r"(?:\bT0*(\d{1,5})\s[^=]*?)?HOLE\s?SIZE\D*?(\d{1,5})\.?\s*=\s*([\d.]+)", re.I)
_UNIT = re.compile(r"\b(MILS?|INCH(?:ES)?|IN|MM|MILLIMET(?:ER|RE)S?|MICRONS?|ENGLISH|IMPERIAL|METRIC)\b", re.I)
_TOOL_LINE = re.compile(r"T0*(\d{1,5})\b")
_SIZED = re.compile(r"(\d+\.?\d*|\.\d+)\s*(mils?|inch(?:es)?|in\b|mm|\")", re.I)
_NUMBER = re.compile(r"(?<![\w.])(\d+\.\d+)(?![\w.]*\d)")
_PLATING_LETTER = re.compile(r"^\s*[\d.]+\s+([PN])\s+T\d")

UNIT_MM = {"MIL": MM_PER_INCH / 1000, "INC": MM_PER_INCH, "IN": MM_PER_INCH, '"': MM_PER_INCH, "ENG": MM_PER_INCH, "IMP": MM_PER_INCH,
           "MM": 1.0, "MET": 1.0, "MIC": 0.001}  # fmt: skip


def unit_mm(word: str) -> float:
    """mm per named unit: mil, inch, mm, micron, English, metric.

    >>> unit_mm("MILS")
    0.0254
    """
    upper = word.upper()
    if upper.startswith("MILLI"):
        return 1.0
    return UNIT_MM[upper] if upper in UNIT_MM else UNIT_MM[upper[:3]]


def plating_of(text: str) -> bool | None:
    """Whether words say plated or not plated.

    >>> plating_of("TYPE=NON_PLATED"), plating_of("TYPE=PLATED"), plating_of("Layer_Color=9474304")
    (False, True, None)
    """
    if _NOT_PLATED.search(text):
        return False
    return True if _PLATED.search(text) else None


@dataclass(slots=True)
class CommentHints:
    """What the comments of one file said so far."""

    format: DrillFormat = field(default_factory=DrillFormat)
    tool_sizes: dict[int, float] = field(default_factory=dict)
    tool_plated: dict[int, bool] = field(default_factory=dict)
    plated: bool | None = None
    """What the last comment said of plating, for the tools after it."""
    both: bool = False
    """Whether comments said both: then they speak of tools, not of the whole file."""

    def read(self, comment: str) -> None:
        """Takes one comment without its semicolon."""
        sized = _HOLESIZE.search(comment)
        if sized:
            self._tool(int(sized[1] or sized[2]), sized[3], comment)
            return
        self._format(comment)
        plated = plating_of(comment)
        if plated is not None:
            self.both = self.both or self.plated == (not plated)
            self.plated = plated

    def _tool(self, number: int, size: str, comment: str) -> None:
        unit = _UNIT.search(comment)
        try:
            self.tool_sizes[number] = float(size) * (unit_mm(unit[1]) if unit else MM_PER_INCH)
        except ValueError:
            return
        plated = plating_of(comment)
        if plated is not None:
            self.tool_plated[number] = plated

    def _format(self, comment: str) -> None:
        braces = _BRACES.search(comment)
        inside = braces[1] if braces else comment
        digits = _DIGITS.search(comment) if not braces else re.match(r"\s*(\d):(\d)", inside)
        found = DrillFormat()
        if digits:
            found = DrillFormat(whole=int(digits[1]), decimals=int(digits[2]))
        if braces or digits or "FORMAT" in comment.upper():
            unit = _UNIT.search(inside)
            metric = None if unit is None else unit_mm(unit[1]) in (1.0, 0.001)
            found = DrillFormat(metric, omitted=_zeros(inside)).over(found)
        self.format = self.format.over(found)


def _zeros(text: str) -> str | None:
    lower = text.lower()
    if "suppress leading" in lower or "leading zero omit" in lower:
        return "leading"
    if "suppress trailing" in lower or "trailing zero omit" in lower:
        return "trailing"
    if "keep zeros" in lower:
        return "none"
    if re.search(r"/\s*trailing\s*$", lower):
        return "leading"
    if re.search(r"/\s*leading\s*$", lower):
        return "trailing"
    return None


def read_side_file(data: bytes, name: str) -> SideFile | None:
    """Number format and tools from a parameter file, log or tool list beside a drill file; None when it holds neither.

    >>> s = read_side_file(b"INTEGER-PLACES 3\\nDECIMAL-PLACES 5\\nOUTPUT-UNITS ENGLISH\\nSUPPRESS-LEAD-ZEROES NO\\n"
    ...                    b"SUPPRESS-TRAIL-ZEROES NO\\n", "p.txt")
    >>> s.format.words()
    'inch 3.5, all zeros written'

    Raises Refusal (DRL-001) for an empty or binary file.
    """
    text = decode(data, name, "DRL-001")[:2_000_000]
    form = _parameters(text)
    sizes, plated, findings = _tools(text, name, form)
    if form == DrillFormat() and not sizes:
        return None
    return SideFile(name, form, sizes, plated, findings)


def _parameters(text: str) -> DrillFormat:
    values: dict[str, str] = {}
    for line in text.splitlines():
        match = re.match(r"\s*([A-Za-z][A-Za-z _'-]{2,30}?)\s*(?:[:=]|\s{1,40})\s*(\S+)\s*$", line)
        if match:
            values.setdefault(match[1].upper().replace("_", "-").strip(), match[2].upper())
    whole, decimals = _integer(values.get("INTEGER-PLACES")), _integer(values.get("DECIMAL-PLACES"))
    dotted = re.match(r"(\d)\.(\d)\Z", values.get("FORMAT", ""))
    if dotted and whole is None:
        whole, decimals = int(dotted[1]), int(dotted[2])
    lettered = re.match(r"(N+)(D+)\Z", values.get("COORD FORMAT", ""))
    if lettered and whole is None:
        whole, decimals = len(lettered[1]), len(lettered[2])
    unit = values.get("OUTPUT-UNITS") or values.get("UNITS")
    metric = None
    if unit and _UNIT.fullmatch(unit):
        metric = unit_mm(unit) in (1.0, 0.001)
    return DrillFormat(metric, whole, decimals, _omitted(values))


def _integer(text: str | None) -> int | None:
    return int(text) if text and text.isdecimal() and len(text) == 1 else None


def _omitted(values: dict[str, str]) -> str | None:
    lead, trail = values.get("SUPPRESS-LEAD-ZEROES"), values.get("SUPPRESS-TRAIL-ZEROES")
    if lead == "YES":
        return "leading"
    if trail == "YES":
        return "trailing"
    if lead == "NO" and trail == "NO":
        return "none"
    written = values.get("LEADING ZERO'S")
    if written in ("OFF", "ON"):
        return "leading" if written == "OFF" else "trailing"
    return None


def _tools(text: str, name: str, form: DrillFormat) -> tuple[dict[int, float], dict[int, bool], tuple[Finding, ...]]:
    raw: dict[int, float] = {}
    sizes: dict[int, float] = {}
    plated: dict[int, bool] = {}
    for line in text.splitlines():
        match = _TOOL_LINE.search(line)
        if match is None or len(line) > 300:
            continue
        number = int(match[1])
        letter = _PLATING_LETTER.match(line)
        said = letter[1] == "P" if letter else plating_of(line)
        sized = _SIZED.search(line)
        if sized:
            sizes.setdefault(number, float(sized[1]) * unit_mm(sized[2]))
        else:
            bare = _NUMBER.search(line, 0 if letter or line.lstrip()[:1].isdecimal() else match.end())
            if bare is None:
                continue
            raw.setdefault(number, float(bare[1]))
        if said is not None:
            plated.setdefault(number, said)
    findings: tuple[Finding, ...] = ()
    unknown = {k: v for k, v in raw.items() if k not in sizes}
    if unknown:
        # English lists are in mils where a size of one inch or more would appear otherwise.
        k = 1.0 if form.metric else (MM_PER_INCH / 1000 if max(unknown.values()) >= 1.0 else MM_PER_INCH)
        word = {1.0: "mm", MM_PER_INCH: "inch"}.get(k, "mil")
        sizes |= {n: v * k for n, v in unknown.items()}
        words = f"The tool list does not name its unit; {word} fits the sizes."
        findings = (Finding("DRL-030", Severity.GUESS, Place(file=name), words),)
    return sizes, plated, findings
