"""Which number format a drill file is in: what it states, what lies beside it, what its digits look like, and what else it could be."""

from __future__ import annotations

import re
from collections.abc import Sequence

from coppermend.core.findings import Place, Severity
from coppermend.formats.collect import FindingList
from coppermend.formats.drill.hints import CommentHints
from coppermend.formats.drill.model import DrillFile, DrillFormat, SideFile
from coppermend.formats.drill.numbers import DEFAULT_DIGITS, guess_zeros

UNIT_LINE = re.compile(r"(METRIC|INCH)\b((?:\s*,\s*[\w.]+)*)\s*\Z", re.I)
"""INCH or METRIC with its additions."""

_SAMPLE = re.compile(r"[XY]([+-]?\d+)(?![\d.])")
_TOOL_SIZE = re.compile(r"^T\d+[^C\n]{0,40}C(\d*\.\d+)", re.M)
_REMEDY = "Say it in the corrections file if the holes miss their lands."


def decide_format(
    text: str, name: str, hint: DrillFormat, side: SideFile | None, found: FindingList
) -> tuple[DrillFormat, tuple[str, ...]]:
    """The format to read with, and which of "unit", "zeros", "digits" had to be guessed (each with a finding).

    ``hint`` overrules the file's own statements, ``side`` fills in what those leave open.
    """
    form = hint.over(stated_format(text))
    if side is not None:
        form = form.over(side.format)
    guessed: list[str] = []
    if form.metric is None:
        form = DrillFormat(metric=_guess_unit(text, name, found)).over(form)
        guessed.append("unit")
    samples = _SAMPLE.findall(text[:4_000_000])
    if samples and form.omitted is None:
        form = _guess_omitted(form, samples, name, found)
        guessed.append("zeros")
    if samples and (form.whole is None or form.decimals is None):
        form = _guess_digits(form, samples, name, found)
        guessed.append("digits")
    return form, tuple(guessed)


def stated_format(text: str) -> DrillFormat:
    """What statements and comments say; the first statement of a thing counts."""
    hints, stated = CommentHints(), DrillFormat()
    for raw in text.splitlines()[:20_000]:
        line = raw.strip()
        if line.startswith(";"):
            hints.read(line[1:])
            continue
        match = UNIT_LINE.match(line)
        if match:
            stated = stated.over(_unit_statement(match))
        elif line in ("M71", "M72", "G20", "G21"):
            stated = stated.over(DrillFormat(metric=line in ("M71", "G21")))
    return stated.over(hints.format)


def _guess_unit(text: str, name: str, found: FindingList) -> bool:
    sizes = [float(m) for m in _TOOL_SIZE.findall(text[:200_000])]
    metric = bool(sizes) and max(sizes) >= 0.6
    reason = f"tool sizes up to {max(sizes):g}" if sizes else "nothing in the file tells"
    words = f"The file does not say its unit; {'metric' if metric else 'inch'} assumed ({reason})."
    found.add("DRL-010", Severity.GUESS, Place(file=name), words, _REMEDY)
    return metric


def _guess_omitted(form: DrillFormat, samples: Sequence[str], name: str, found: FindingList) -> DrillFormat:
    omitted, reason = guess_zeros(samples)
    form = DrillFormat(omitted=omitted).over(form)
    words = f"The file does not say which zeros are left out; {form.words()} assumed ({reason})."
    found.add("DRL-011", Severity.GUESS, Place(file=name), words, _REMEDY)
    return form


def _guess_digits(form: DrillFormat, samples: Sequence[str], name: str, found: FindingList) -> DrillFormat:
    whole, decimals = DEFAULT_DIGITS[bool(form.metric)]
    if form.omitted == "none":
        longest = max(len(s.lstrip("+-")) for s in samples)
        decimals = max(0, min(9, longest - whole))
    form = form.over(DrillFormat(whole=whole, decimals=decimals))
    words = f"The file does not say its number of digits; {form.words()} assumed."
    found.add("DRL-012", Severity.GUESS, Place(file=name), words, _REMEDY)
    return form


def _unit_statement(match: re.Match[str]) -> DrillFormat:
    """INCH or METRIC with LZ, TZ and a picture of the digits such as 000.000."""
    metric = match[1].upper() == "METRIC"
    form = DrillFormat(metric=metric)
    for part in (p.strip().upper() for p in match[2].split(",")):
        if part == "LZ":
            form = DrillFormat(omitted="trailing").over(form)
        elif part == "TZ":
            form = DrillFormat(omitted="leading").over(form)
        elif re.fullmatch(r"0+\.0+", part):
            whole, _, decimals = part.partition(".")
            form = DrillFormat(whole=min(9, len(whole)), decimals=min(9, len(decimals))).over(form)
    return form


def candidate_formats(drill: DrillFile) -> tuple[DrillFormat, ...]:
    """Other formats that a file could have been meant in, likeliest first, for re-reading when its holes miss the copper.

    Only what the file leaves open is varied: nothing where unit, digits and zeros are stated, the unit alone where every coordinate
    has a decimal point. Each candidate is complete and differs from ``drill.format``.
    """
    form = drill.format
    if drill.decimal_points or not len(drill):
        return (DrillFormat(not form.metric, form.whole, form.decimals, form.omitted),)
    out: list[DrillFormat] = []
    omitted = form.omitted or "leading"
    zeros = [omitted] + [z for z in ("leading", "trailing", "none") if z != omitted]
    for unit in (form.metric, not form.metric):
        digits = [(2, 4), (2, 3), (2, 5), (3, 5), (1, 4), (2, 6), (3, 4)]
        if unit:
            digits = [(3, 3), (4, 2), (3, 2), (4, 4), (3, 4), (4, 3), (5, 3), (2, 4), (3, 5), (4, 5), (2, 6)]
        for zero in zeros:
            for whole, decimals in digits:
                candidate = DrillFormat(unit, whole, decimals, zero)
                if candidate != form and candidate not in out:
                    out.append(candidate)
    return tuple(out)
