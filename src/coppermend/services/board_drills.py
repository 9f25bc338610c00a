"""Drill files read in the way that fits the copper: units, digits and zeros checked, a shifted origin found, each with a finding."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coppermend.core.board.drillfit import FEW_HOLES, GOOD_SHARE, Fit, Lands, best_shift, fit, hits, shifted, spread
from coppermend.core.board.records import DrillImage
from coppermend.core.findings import Finding, Place, Refusal, Severity
from coppermend.formats.drill import DrillFile, DrillFormat, candidate_formats, read_drill
from coppermend.formats.package import PlannedFile
from coppermend.services.board_records import drill_record

_OVERRULE = "Say unit, digits and zeros for the file in coppermend-corrections.toml if that is wrong."


def read_drills(files: Sequence[PlannedFile], lands: Lands) -> tuple[list[DrillImage], list[Finding]]:
    """All NC drill files of a plan. A file that cannot be read is an error finding."""
    findings: list[Finding] = []
    read: list[tuple[PlannedFile, DrillFile]] = []
    for file in files:
        try:
            read.append((file, read_drill(file.member.data, file.member.name, file.drill_hint, file.side)))
        except Refusal as refusal:
            findings.append(refusal.finding)
    read.sort(key=lambda pair: -len(pair[1]))
    out: list[DrillImage] = []
    told = _Told()
    for file, drill in read:
        image, new, more = _settled(file, drill, lands, told)
        findings += more
        told = told.with_file(drill, new, fit(image, lands))
        out.append(image)
    laid = _on_origin(out, lands, findings)
    return [one for pair, image in zip(read, laid, strict=True) for one in _by_tool(*pair, image)], findings


def _by_tool(file: PlannedFile, drill: DrillFile, image: DrillImage) -> list[DrillImage]:
    """The file's holes, apart where its tools drill between different layers."""
    if not file.tool_spans or image.span is not None:
        return [image]
    span_of = dict(file.tool_spans)
    out = []
    for span in dict.fromkeys(span_of.values()):
        mine = np.isin(drill.tool, [tool for tool, one in span_of.items() if one == span])
        if mine.any():
            out.append(_part(image, mine, span))
    rest = ~np.isin(drill.tool, list(span_of))
    out += [_part(image, rest, None)] if rest.any() else []
    return [*out[:1], *(replace(one, findings=(), extra={}) for one in out[1:])]


def _part(image: DrillImage, mine: NDArray[np.bool_], span: tuple[int, int] | None) -> DrillImage:
    columns = {name: getattr(image, name)[mine] for name in ("x_mm", "y_mm", "x2_mm", "y2_mm", "diameter_mm", "plated")}
    return replace(image, **columns, span=span)


@dataclass(frozen=True, slots=True)
class _Told:
    """What files read before tell of the others: ``proven`` formats that bring holes onto lands, ``better`` first reading -> that which fits,
    ``last`` the one last found.
    """

    proven: tuple[DrillFormat, ...] = ()
    better: tuple[tuple[DrillFormat, DrillFormat], ...] = ()
    last: DrillFormat | None = None

    def with_file(self, drill: DrillFile, new: DrillFormat | None, found: Fit) -> _Told:
        """The same with one more file."""
        proven = (
            (*self.proven, new or drill.format)
            if found.share >= GOOD_SHARE and len(drill) >= FEW_HOLES
            else self.proven
        )
        better = (*self.better, (drill.format, new)) if new is not None else self.better
        return _Told(proven, better, new or self.last)

    def followed_by(self, drill: DrillFile) -> DrillFormat | None:
        """The format that a file with open parts takes from those beside it: where its own first reading proved wrong, else a proven one that
        agrees in all it states.
        """
        found = dict(self.better).get(drill.format)
        if found is not None:
            return found
        return next((one for one in self.proven if one != drill.format and _agree(one, drill)), None)


def _agree(one: DrillFormat, drill: DrillFile) -> bool:
    """Whether a format differs from a file's in guessed parts only."""
    mine = drill.format
    same = {
        "unit": one.metric == mine.metric,
        "zeros": one.omitted == mine.omitted,
        "digits": (one.whole, one.decimals) == (mine.whole, mine.decimals),
    }
    return not drill.decimal_points and all(same[part] or part in drill.guessed for part in same)


def _settled(
    file: PlannedFile, drill: DrillFile, lands: Lands, told: _Told
) -> tuple[DrillImage, DrillFormat | None, list[Finding]]:
    """One file in the reading that fits best, and the format when it is not the one first read.

    What the file states, or what a file beside it in the same format proves, gives way to nothing but lands: holes beside all copper
    (of mounting) are no sign of a wrong format. A file in a format that proved wrong elsewhere follows the one that was right there.
    """
    first = drill_record(drill)
    now = fit(first, lands)
    stated = not drill.guessed and not drill.decimal_points
    if len(drill) == 0 or file.drill_hint is not None or now.share >= GOOD_SHARE:
        return first, None, []
    believed = stated or drill.format in told.proven
    follows = None if believed else told.followed_by(drill)
    last = [told.last] if told.last is not None else []
    if len(drill) >= FEW_HOLES:
        trials = last + list(candidate_formats(drill))
    elif believed:
        trials = []
    else:
        trials = last + ([] if now.inside > 0 else list(candidate_formats(drill)))
    best, best_fit, best_format = first, now, None
    for trial in ([follows] if follows is not None else []) + trials:
        try:
            image = drill_record(read_drill(file.member.data, file.member.name, trial, file.side))
        except Refusal:
            continue
        found = fit(image, lands)
        if trial == follows and found.inside >= max(now.inside, GOOD_SHARE):
            best, best_fit, best_format = image, found, trial
            break
        if believed and found.share < GOOD_SHARE:
            continue
        if found.score > best_fit.score + 0.1 and (len(drill) < FEW_HOLES or spread(image, lands) > 0.05):
            best, best_fit, best_format = image, found, trial
    if best_format is None:
        return first, None, []
    return best, best_format, [_reread(file, drill, best_format, now, best_fit, stated)]


def _reread(file: PlannedFile, drill: DrillFile, better: DrillFormat, before: Fit, after: Fit, stated: bool) -> Finding:
    where = "on lands" if after.share > 0 else "inside the box of copper and outline"
    old = before.share if after.share > 0 else before.inside
    new = after.share if after.share > 0 else after.inside
    how = "the file says" if stated else "first taken as"
    words = f"Read as {better.words()}: then {new:.0%} of the holes lie {where}; {how} {drill.format.words()}, where {old:.0%} do."
    severity = Severity.WARNING if stated else Severity.GUESS
    return Finding("BRD-015", severity, Place(file=file.member.name), words, _OVERRULE)


def _on_origin(drills: list[DrillImage], lands: Lands, findings: list[Finding]) -> list[DrillImage]:
    """All drill files moved together when their origin is not the copper's."""
    count = sum(len(hits(one)) for one in drills)
    if count < 2 * FEW_HOLES or len(lands.places) == 0:
        return drills
    share = sum(fit(one, lands).share * len(hits(one)) for one in drills) / count
    if share >= GOOD_SHARE:
        return drills
    move = best_shift(drills, lands)
    if move.words or move.share < GOOD_SHARE or (abs(move.dx_mm) < 0.01 and abs(move.dy_mm) < 0.01):
        if share < 0.2:
            findings.append(
                Finding(
                    "BRD-017",
                    Severity.WARNING,
                    Place(thing="drill data"),
                    f"Only {share:.0%} of the holes lie on the middle of a land, in whatever way the files are read. "
                    "Layers may be joined wrongly or not at all.",
                    "Check that drill data and copper belong to one board; say unit, digits and zeros in coppermend-corrections.toml.",
                )
            )
        return drills
    findings.append(
        Finding(
            "BRD-016",
            Severity.WARNING,
            Place(thing="drill data"),
            f"The drill data's origin differs from the copper's by {move.dx_mm:.3f}, {move.dy_mm:.3f} mm; the holes were moved "
            f"({move.share:.0%} lie on lands then, {share:.0%} before).",
        )
    )
    return [shifted(one, move.dx_mm, move.dy_mm) for one in drills]
