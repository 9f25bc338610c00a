"""Between which copper layers a drill file drills, where only words tell: its name, a header comment, a layer-pair file beside it.

A file that X2 or the corrections give a span keeps it. What words gave is a finding (PKG-018; PKG-020: bare numbers of a name), and so is what they leave open (PKG-017):
holes taken as through that may be blind or buried join nets which the board keeps apart. How words are read: ``spanwords``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from coppermend.core.findings import Finding, Place, Severity
from coppermend.formats.member import Member
from coppermend.formats.package.model import Format, PlannedFile, RoleKind
from coppermend.formats.package.spanreport import report_spans, tool_spans, words_of_tools
from coppermend.formats.package.spanwords import Layers, Said, in_comments, in_name, ordered

REMEDY = "Say layers = [first, last] for each such file in coppermend-corrections.toml."
HEAD_CHARACTERS = 4_000

_SERIES = re.compile(r"\.(?:tx|dr|drl|xln|exc|ncd)\d{1,2}\Z", re.I)
_LAYER_PAIR = re.compile(r"DrillFile=([^|\r\n]+)\|DrillLayers=([^|,\r\n]+)(?:,[^|,\r\n]+)*,([^|,\r\n]+)", re.I)
_COMMENT = re.compile(r"(?:^[^;\n(]*?(?:;|\(|G04)|^\s*(?:#|//|M47\s*,?))([^\n]*)", re.M)


def worded_spans(files: Sequence[PlannedFile], members: Sequence[Member], findings: list[Finding]) -> list[PlannedFile]:
    """The files with the spans that words give their drill data, on boards of more than two copper layers."""
    out = list(files)
    copper = {f.role.key: f for f in files if f.role.kind is RoleKind.COPPER and f.role.key}
    count = len(copper)
    if count <= 2:
        return out
    order = ["c", *(f"i{k}" for k in range(1, count - 1)), "s"]
    bases = [copper[key].member.base.lower() if key in copper else "" for key in order]
    layers = Layers(count, _own_words(bases))
    stated = _pair_files(members, {base: n for n, base in enumerate(bases, 1) if base})
    data = {f.member.name for f in files if f.format in (Format.GERBER, Format.DRILL)}
    beside = [one for one in members if one.name not in data]
    names = {f.member.base.lower() for f in files if f.role.kind is RoleKind.DRILL and f.format is Format.DRILL}
    reported = {
        name: Said(span, "a report beside it") for name, span in report_spans(beside, names, layers).items() if span
    }
    drills = [n for n, f in enumerate(files) if f.role.kind is RoleKind.DRILL]
    plated = [n for n in drills if files[n].role.plated is not False]
    told = [n for n in drills if files[n].role.span is None]
    series = sum(bool(_SERIES.search(files[n].member.base)) for n in plated)
    said = {n: _said(files[n].member, bases, layers, stated) for n in told}
    for n in told:
        if files[n].member.base.lower() in reported and (said[n].span is None or said[n].weak):
            said[n] = reported[files[n].member.base.lower()]
    for n in told:
        header = said[n].span is None or said[n].weak or said[n].by == "its header comment"
        by_tool = tool_spans(files[n].member.data.decode("latin-1"), layers) if header else {}
        if by_tool:
            words = (
                f"Its comments give its tools different copper layers ({words_of_tools(by_tool)} of {count}); read so."
            )
            findings.append(Finding("PKG-018", Severity.GUESS, Place(file=files[n].member.name), words, REMEDY))
            out[n] = replace(files[n], tool_spans=tuple(by_tool.items()))
            continue
        one, place = said[n], Place(file=files[n].member.name)
        if one.span is not None and not (one.weak and _none_through(plated, files, said, count)):
            if one.span != (1, count):
                words = f"Read as holes between copper layers {one.span[0]} and {one.span[1]} of {count}, by {one.by}."
                findings.append(Finding("PKG-020" if one.weak else "PKG-018", Severity.GUESS, place, words, REMEDY))
            out[n] = replace(files[n], role=replace(files[n].role, span=one.span))
        elif one.span is not None:
            words = f"The name seems to give layers {one.span[0]} to {one.span[1]}, but then no drill file goes through all {count} layers; read as holes through the board."
            remedy = "If they are blind or buried holes, say layers = [first, last] for each file in coppermend-corrections.toml."
            findings.append(Finding("PKG-016", Severity.GUESS, place, words, remedy))
        elif one.open or (n in plated and _one_of_many(files[n], series, len(plated))):
            words = (
                f"By {one.by or 'its name'} these may be blind or buried holes, but nothing readable says between which layers. They are taken "
                f"as drilled through all {count} copper layers: nets that lie over one of them may be joined falsely."
            )
            findings.append(Finding("PKG-017", Severity.ERROR, place, words, REMEDY))
    return out


def _none_through(plated: Sequence[int], files: Sequence[PlannedFile], said: Mapping[int, Said], count: int) -> bool:
    """Whether no plated file would go through the board if every number in a name were a span: ``rev-1-2.drl`` is a revision."""
    spans = [files[n].role.span or said[n].span for n in plated]
    return not any(span is None or (span[0] <= 1 and span[1] >= count) for span in spans)


def _one_of_many(file: PlannedFile, series: int, plated: int) -> bool:
    """Whether a file is one of a series of numbered endings, or stands with one beside other drill data."""
    return bool(_SERIES.search(file.member.base)) and (series > 1 or plated > 1)


def _said(member: Member, copper: Sequence[str], layers: Layers, stated: Mapping[str, tuple[int, int] | None]) -> Said:
    """What is said of a drill file: by a layer-pair file, else its header, else its name."""
    base = member.base.lower()
    if base in stated:
        return Said(stated[base], "the layer-pair file", open=stated[base] is None)
    text = member.data[:HEAD_CHARACTERS].decode("latin-1")
    header = in_comments([line.strip() for line in _COMMENT.findall(text)], layers)
    if header.span is not None:
        return header
    name = in_name(_without_board(member.base, copper), layers)
    if header.open:  # it speaks of layers, so that numbers in the name are layers
        return replace(name, weak=False) if name.span is not None else header
    return name


def _without_board(base: str, copper: Sequence[str]) -> str:
    """A drill file's name without its ending and without the beginning that it shares with the copper files: the board's own name."""
    stem = base.rsplit(".", 1)[0]
    given = [one for one in copper if one]
    shared = _common([*given, stem.lower()])
    named = len(shared) > 3 and len(given) > 1
    cut = shared if named else ""
    while cut and not (len(cut) == len(stem) or not (cut[-1].isalnum() and stem[len(cut)].isalnum())):
        cut = cut[:-1]
    return stem[len(cut) :]


def _common(texts: Sequence[str]) -> str:
    first, last = min(texts), max(texts)
    k = next((n for n, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), min(len(first), len(last)))
    return first[:k]


def _own_words(bases: Sequence[str]) -> dict[str, int]:
    """The words that tell the copper files apart (``gnd`` of ``b-gnd.gbr``), each with its layer's place."""
    stems = [base.rsplit(".", 1)[0] for base in bases]
    given = [stem for stem in stems if stem]
    if len(given) < 2:
        return {}
    before = len(_common(given))
    out: dict[str, int] = {}
    for n, stem in enumerate(stems, 1):
        word = stem[before:].strip(" _.-")
        if len(word) > 1 and not word[0].isdigit():
            out[word] = n
    return out


def _pair_files(members: Sequence[Member], copper: Mapping[str, int]) -> dict[str, tuple[int, int] | None]:
    """Spans by drill file from layer-pair files (``DrillFile=x.tx1|DrillLayers=gtl,g1``: endings of the copper files; seen in one design system's output)."""
    by_ending = {base.rsplit(".", 1)[-1]: number for base, number in copper.items()}
    out: dict[str, tuple[int, int] | None] = {}
    for member in members:
        if member.base.lower().endswith(".ldp"):
            for name, first, last in _LAYER_PAIR.findall(member.data[:200_000].decode("latin-1")):
                ends = by_ending.get(first.strip().lower()), by_ending.get(last.strip().lower())
                out[name.strip().lower()] = ordered(*ends)
    return out
