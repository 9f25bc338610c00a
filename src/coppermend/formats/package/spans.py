"""Between which copper layers a drill file drills, where only words tell: its name, a header comment, a layer-pair file beside it.

A file that X2 or the corrections give a span keeps it. What words gave is a finding (PKG-018), and so is what they leave open (PKG-017):
holes taken as through that may be blind or buried join nets which the board keeps apart.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from coppermend.core.findings import Finding, Place, Severity
from coppermend.formats.member import Member
from coppermend.formats.package.model import PlannedFile, RoleKind

REMEDY = "Say layers = [first, last] for each such file in coppermend-corrections.toml."
HEAD_CHARACTERS = 4_000

_FIRST = r"f[ _.]?cu|front|top|component(?:[ _-]?side)?|comp|cmp|oben"
_LAST = r"b[ _.]?cu|back|bottom|bot|solder(?:[ _-]?side)?|sol|unten"
_INNER = r"(?:inner|internal|int|in|mid|innen|i)(?:[ _.-]?layer)?[ _.-]?\d{1,2}(?:[ _.]?cu)?"
_NUMBER = r"(?:layer|lyr|ly|l)[ _.-]?\d{1,2}"
_WORD = rf"{_FIRST}|{_LAST}|{_INNER}|{_NUMBER}"
_PAIR = re.compile(rf"(?<![a-z0-9])({_WORD})(?:[ _.~-]|and|to|bis|thru)*({_WORD})(?![a-z0-9])")
_COMMENT = re.compile(r"^\s*;[^\n]*?\blayers?\s+(\S+)\s+(?:and|to|thru|-)\s+(\S+)", re.I | re.M)
_NOT_THROUGH = re.compile(r"(?<![a-z])(?:blind|buried|bbv|laser|micro[ _-]?via|u[ _-]?via|sackloch|vergraben)", re.I)
_SERIES = re.compile(r"\.(?:tx|dr|drl|xln|exc|ncd)\d{1,2}\Z", re.I)
_LAYER_PAIR = re.compile(r"DrillFile=([^|\r\n]+)\|DrillLayers=([^|,\r\n]+),([^|,\r\n]+)", re.I)


def layer_position(word: str, count: int) -> int | None:
    """The place of a copper layer, 1 to ``count`` from the component side, that a word names; None where it names none.

    >>> [layer_position(w, 6) for w in ("F_Cu", "In1_Cu", "in4", "L2", "BOTTOM", "GND")]
    [1, 2, 5, 2, 6, None]
    """
    text = word.strip().lower().rstrip(".,;:")
    if re.fullmatch(_FIRST, text):
        return 1
    if re.fullmatch(_LAST, text):
        return count
    digits = re.search(r"\d{1,2}", text)
    if digits is None:
        return None
    number = int(digits[0])
    if re.fullmatch(_INNER, text):
        number += 1
    elif not re.fullmatch(_NUMBER, text):
        return None
    return number if 1 <= number <= count else None


def worded_spans(files: Sequence[PlannedFile], members: Sequence[Member], findings: list[Finding]) -> list[PlannedFile]:
    """The files with the spans that words give their drill data, on boards of more than two copper layers."""
    out = list(files)
    copper = {f.role.key: f for f in files if f.role.kind is RoleKind.COPPER and f.role.key}
    count = len(copper)
    if count <= 2:
        return out
    order = ["c", *(f"i{k}" for k in range(1, count - 1)), "s"]
    stated = _pair_files(members, {copper[k].member.base.lower(): n for n, k in enumerate(order, 1) if k in copper})
    drills = [n for n, f in enumerate(files) if f.role.kind is RoleKind.DRILL and f.role.plated is not False]
    open_ = [n for n in drills if files[n].role.span is None and not _states_span(files[n])]
    series = sum(bool(_SERIES.search(files[n].member.base)) for n in open_)
    for n in open_:
        member = files[n].member
        found, by = _span_of(member, count, stated)
        place = Place(file=member.name)
        if found is not None:
            if found != (1, count):
                words = f"Read as holes between copper layers {found[0]} and {found[1]} of {count}, by {by}."
                findings.append(Finding("PKG-018", Severity.GUESS, place, words, REMEDY))
            out[n] = replace(files[n], role=replace(files[n].role, span=found))
        elif (
            by or _NOT_THROUGH.search(member.base) or (_SERIES.search(member.base) and (series > 1 or len(drills) > 1))
        ):
            why = by or "its name"
            words = (
                f"By {why} these may be blind or buried holes, but nothing readable says between which layers. They are taken as drilled "
                f"through all {count} copper layers: nets that lie over one of them may be joined falsely."
            )
            findings.append(Finding("PKG-017", Severity.ERROR, place, words, REMEDY))
    return out


def _states_span(file: PlannedFile) -> bool:
    """Whether the file itself states its layers in X2 words."""
    return b"TF.FileFunction" in file.member.data[:HEAD_CHARACTERS]


def _span_of(
    member: Member, count: int, stated: dict[str, tuple[int, int] | None]
) -> tuple[tuple[int, int] | None, str]:
    """The span that words give and what gave it; (None, what tried) where words speak of layers that are not known; (None, "") for none."""
    if member.base.lower() in stated:
        return stated[member.base.lower()], "the layer-pair file"
    said = _COMMENT.search(member.data[:HEAD_CHARACTERS].decode("latin-1"))
    if said:
        return _ordered(layer_position(said[1], count), layer_position(said[2], count)), "its header comment"
    stem = member.base.lower().rsplit(".", 1)[0]
    pairs = list(_PAIR.finditer(stem))
    if pairs:
        found = _ordered(layer_position(pairs[-1][1], count), layer_position(pairs[-1][2], count))
        if found is not None:
            return found, "its name"
    return None, ""


def _ordered(first: int | None, last: int | None) -> tuple[int, int] | None:
    if first is None or last is None or first == last:
        return None
    return min(first, last), max(first, last)


def _pair_files(members: Sequence[Member], copper: dict[str, int]) -> dict[str, tuple[int, int] | None]:
    """Spans by drill file from layer-pair files (``DrillFile=x.tx1|DrillLayers=gtl,g1``: endings of the copper files; seen in one design system's output)."""
    by_ending = {base.rsplit(".", 1)[-1]: number for base, number in copper.items()}
    out: dict[str, tuple[int, int] | None] = {}
    for member in members:
        if member.base.lower().endswith(".ldp"):
            for name, first, last in _LAYER_PAIR.findall(member.data[:200_000].decode("latin-1")):
                ends = by_ending.get(first.strip().lower()), by_ending.get(last.strip().lower())
                out[name.strip().lower()] = _ordered(*ends)
    return out
