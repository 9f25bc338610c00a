"""A package's members to roles: corrections, X2, job file, names, content, in that order of trust."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from coppermend.core.findings import Finding, Place, Refusal, Severity, refuse
from coppermend.formats.drill.hints import read_side_file
from coppermend.formats.drill.model import DrillFormat, SideFile
from coppermend.formats.gerberjob import JobFile, read_gerberjob
from coppermend.formats.member import Member
from coppermend.formats.package.content import by_content, more_by_content
from coppermend.formats.package.corrections import corrected_role, read_corrections
from coppermend.formats.package.model import (
    STRENGTH,
    Corrections,
    Format,
    LayerRole,
    PackagePlan,
    PlannedFile,
    RoleKind,
    Source,
)
from coppermend.formats.package.roles import (
    counts_inner,
    drill_role,
    from_comments,
    from_function,
    from_header,
    from_name,
)
from coppermend.formats.package.sniff import HEAD, format_of
from coppermend.formats.package.spans import worded_spans

MAX_BYTES = 1024 * 1024 * 1024
_OVERRULE = "Say otherwise in coppermend-corrections.toml beside the package."


def plan_package(members: Sequence[Member]) -> PackagePlan:
    """What each file of a package is, with a finding for every role that was guessed and for files that contend for one role.

    Raises Refusal PKG-001 for an empty package and PKG-002 when there is neither copper nor other board data in it.
    A job, corrections or side file that cannot be read is a finding (corrections: the Refusal, for they were meant).

    >>> plan = plan_package([Member("a.gtl", b"%FSLAX24Y24*%%MOIN*%%ADD10C,.1*%D10*X0Y0D03*M02*")])
    >>> plan.files[0].role.words(), plan.findings[0].code
    ('copper, component side', 'PKG-010')
    """
    if not members:
        raise refuse("PKG-001", "The package holds no file.", "Name a folder or zip with Gerber files.")
    total = sum(len(m.data) for m in members)
    if total > MAX_BYTES:
        raise refuse(
            "PKG-003",
            f"The package holds {total / 2**20:,.0f} MiB; at most {MAX_BYTES // 2**20} MiB are read.",
            "Leave out what is no fabrication data.",
        )
    findings: list[Finding] = []
    ordered = sorted(members, key=lambda m: m.name)
    formats = {m.name: format_of(m) for m in ordered}
    job = _job(ordered, formats, findings)
    corrections = _corrections(ordered, formats, findings)
    sides = _sides(ordered, formats, findings)
    files = [_planned(m, formats[m.name], job, corrections, sides) for m in ordered]
    if not any(f.role.kind is RoleKind.COPPER or f.format is Format.IPC2581 for f in files):
        files = by_content(files)
    else:
        files = more_by_content(files)
    files = _key_copper(_settle(files, findings), findings)
    files = worded_spans(files, ordered, findings)
    _note_guesses(files, findings)
    _note_unknown_names(corrections, ordered, findings)
    if not any(f.role.kind is RoleKind.COPPER or f.format is Format.IPC2581 for f in files):
        _no_copper(files)
    return PackagePlan(tuple(files), job, corrections, tuple(findings))


def _no_copper(files: Sequence[PlannedFile]) -> None:
    seen = ", ".join(sorted({f.member.base for f in files})[:6])
    packed = sorted(f.member.name for f in files if f.member.data[:4] == b"PK\x03\x04")
    if packed:
        raise refuse(
            "PKG-002",
            f"No copper layer was found in the package, and {packed[0]} is an archive of its own: an archive within a package is not opened.",
            "Unpack it and name the folder or the inner archive.",
            Place(file=packed[0]),
        )
    raise refuse(
        "PKG-002",
        f"No copper layer was found in the package (files: {seen}).",
        "Add the copper layers' Gerber files, or name them in coppermend-corrections.toml.",
    )


def _job(members: Sequence[Member], formats: dict[str, Format], findings: list[Finding]) -> JobFile | None:
    job: JobFile | None = None
    for member in members:
        if formats[member.name] is not Format.JOB:
            continue
        try:
            read = read_gerberjob(member.data, member.name)
        except Refusal as refusal:
            findings.append(replace(refusal.finding, severity=Severity.WARNING))
            continue
        findings.extend(read.findings)
        if job is None:
            job = read
        else:
            findings.append(
                Finding("PKG-014", Severity.WARNING, Place(file=member.name), f"A second job file; {job.name} is used.")
            )
    return job


def _corrections(members: Sequence[Member], formats: dict[str, Format], findings: list[Finding]) -> Corrections | None:
    for member in members:
        if formats[member.name] is Format.CORRECTIONS:
            read = read_corrections(member.data, member.name)
            findings.extend(read.findings)
            return read
    return None


def _sides(members: Sequence[Member], formats: dict[str, Format], findings: list[Finding]) -> list[SideFile]:
    out: list[SideFile] = []
    for member in members:
        if formats[member.name] is not Format.SIDE:
            continue
        try:
            side = read_side_file(member.data, member.name)
        except Refusal as refusal:
            findings.append(replace(refusal.finding, severity=Severity.NOTE))
            continue
        if side is not None:
            out.append(side)
    return out


def _planned(
    member: Member, form: Format, job: JobFile | None, corrections: Corrections | None, sides: Sequence[SideFile]
) -> PlannedFile:
    role = _role(member, form, job)
    hint: DrillFormat | None = None
    correction = corrections.of(member.name) if corrections else None
    if correction is not None:
        role = corrected_role(correction, role)
        hint = correction.drill_format if correction.drill_format != DrillFormat() else None
        if role.kind is RoleKind.DRILL and form not in (Format.DRILL, Format.GERBER):
            form = Format.DRILL
        elif role.kind is RoleKind.NETLIST and form is Format.IGNORED:
            form = Format.IPCD356
        elif role.kind in _GERBER_KINDS and form not in (Format.GERBER, Format.DRILL):
            form = Format.GERBER
    side = side_for(member.base, sides) if form is Format.DRILL else None
    return PlannedFile(member, form, role, hint, side)


_GERBER_KINDS = (RoleKind.COPPER, RoleKind.MASK, RoleKind.PASTE, RoleKind.SILK, RoleKind.OUTLINE)


def _role(member: Member, form: Format, job: JobFile | None) -> LayerRole:
    if form in (Format.IPCD356, Format.IPC2581):
        return LayerRole(RoleKind.NETLIST if form is Format.IPCD356 else RoleKind.OTHER, source=Source.CONTENT)
    text = member.data[:HEAD].decode("latin-1")
    if form is Format.DRILL:
        return drill_role(member.base, text)
    if form is not Format.GERBER:
        return LayerRole(RoleKind.OTHER)
    stated = from_header(text)
    if stated is not None:
        return stated
    entry = job.layer_of(member.base) if job else None
    if entry is not None:
        return from_function(entry.function, entry.negative, Source.JOB)
    return from_name(member.base) or from_comments(text) or LayerRole(RoleKind.OTHER)


def side_for(base: str, sides: Sequence[SideFile]) -> SideFile | None:
    """What belongs to a drill file: tools of the side file that shares its stem or its word (drill, rout), formats of any."""
    if not sides:
        return None
    stem = base.lower().rsplit(".", 1)[0]
    rout = "rout" in base.lower() or base.lower().endswith((".rou", ".rout"))
    with_tools = [s for s in sides if s.tool_sizes]
    best = max(with_tools, key=lambda s: _likeness(s.name, stem, rout), default=None)
    if best is not None and _likeness(best.name, stem, rout) == 0 and len(with_tools) > 1:
        best = None
    form = best.format if best else DrillFormat()
    for side in sides:
        if not side.tool_sizes or side is best:
            form = form.over(side.format)
    if best is None:
        named = next((s for s in sides if s.format != DrillFormat()), None)
        return SideFile(named.name, form, {}, {}) if named else None
    return SideFile(best.name, form, best.tool_sizes, best.plated, best.findings)


def _likeness(side_name: str, stem: str, rout: bool) -> int:
    other = side_name.lower().rsplit("/", 1)[-1].rsplit(".", 1)[0]
    if other == stem:
        return 3
    if ("rout" in other) != rout:
        return 0
    return 2 if "drill" in other or rout else 1


# ---- one file per role ----
def _settle(files: list[PlannedFile], findings: list[Finding]) -> list[PlannedFile]:
    """Where two files claim one outer layer, mask or paste, the stronger source wins; the other becomes OTHER with a finding."""
    owners: dict[tuple[RoleKind, str], int] = {}
    out = list(files)
    for n, file in enumerate(files):
        role = file.role
        if role.kind not in (RoleKind.COPPER, RoleKind.MASK, RoleKind.PASTE, RoleKind.SILK) or role.side is None:
            continue
        slot = (role.kind, role.side)
        first = owners.get(slot)
        if first is None:
            owners[slot] = n
            continue
        keep, drop = _contend(first, n, out)
        owners[slot] = keep
        loser, winner = out[drop], out[keep]
        severity = Severity.ERROR if role.kind is RoleKind.COPPER else Severity.WARNING
        findings.append(_claimed_twice(winner, loser, role.words(), f"{role.kind} {role.side}", severity))
        out[drop] = replace(loser, role=LayerRole(RoleKind.OTHER, source=loser.role.source))
    return out


def _claimed_twice(winner: PlannedFile, loser: PlannedFile, layer: str, correction: str, severity: Severity) -> Finding:
    """PKG-011: which of two files that claim one layer is used, and how to say otherwise."""
    kept, left = winner.member.base, loser.member.base
    words = f"Two files claim to be {layer}: {kept} (by {winner.role.source}) is used, {left} (by {loser.role.source}) is left out."
    another = (
        " If it is another layer, give it that role there, for example copper i2." if "copper" in correction else ""
    )
    remedy = f'To use {left} instead, write [file."{left}"] with role = "{correction}" in coppermend-corrections.toml.{another}'
    return Finding("PKG-011", severity, Place(file=loser.member.name), words, remedy)


def _contend(a: int, b: int, files: Sequence[PlannedFile]) -> tuple[int, int]:
    """Index that keeps the role and index that loses it: stronger source, then more data."""
    x, y = files[a], files[b]
    if (STRENGTH[x.role.source], -len(x.member.data)) <= (STRENGTH[y.role.source], -len(y.member.data)):
        return a, b
    return b, a


# ---- layer keys ----
def _key_copper(files: list[PlannedFile], findings: list[Finding]) -> list[PlannedFile]:
    """Gives every copper file its key: c and s by side, else first and last number; inner ones by number, then name."""
    out = list(files)
    copper = [n for n, f in enumerate(files) if f.role.kind is RoleKind.COPPER]
    given = {
        files[n].role.key: n
        for n in copper
        if files[n].role.source is Source.CORRECTIONS and files[n].role.side is None and files[n].role.key
    }
    inner = [n for n in copper if files[n].role.side is None and n not in given.values()]
    inner = _give_way(inner, given, out, findings)
    _count_alike(inner, out)
    sides = {files[n].role.side for n in copper}
    inner.sort(key=lambda n: _inner_order(out[n]))
    inner = _drop_doubles(inner, out, findings)
    numbers = [out[n].role.number for n in inner]
    first_is_c = bool(inner) and "c" not in sides and (numbers[0] is not None and numbers[0] <= 1)
    only_one = len(inner) == 1 and not sides
    if first_is_c or only_one:
        _give(out, inner.pop(0), "c", "c")
    if "s" not in sides and inner and len(copper) > 1:
        last = out[inner[-1]].role.number
        if last is not None and last == len(copper):
            _give(out, inner.pop(), "s", "s")
    inner = _in_places(inner, given)
    for k, n in enumerate(inner, 1):
        _give(out, n, None, f"i{k}")
    for n in copper:
        side = out[n].role.side
        if out[n].role.kind is RoleKind.COPPER and side is not None:
            _give(out, n, side, side)
    _note_order(inner, files, findings)
    return out


def _give_way(
    inner: list[int], given: Mapping[str | None, int], files: list[PlannedFile], findings: list[Finding]
) -> list[int]:
    """The inner files without those whose stated layer (L2 is i1) the corrections give to another file."""
    kept = []
    for n in inner:
        role = files[n].role
        stated = role.source in (Source.X2, Source.JOB) and role.number is not None
        winner = given.get(f"i{role.number - 1}") if stated and role.number is not None else None
        if winner is None:
            kept.append(n)
            continue
        key = files[winner].role.key or ""
        findings.append(_claimed_twice(files[winner], files[n], f"copper {key}", f"copper {key}", Severity.WARNING))
        files[n] = replace(files[n], role=LayerRole(RoleKind.OTHER, source=role.source))
    return kept


def _count_alike(inner: Sequence[int], files: list[PlannedFile]) -> None:
    """Where some inner files state their copper layer (L2) and others have a number in their name only, the names' numbers become copper layers.

    ``In1`` that states L2 tells that names count from 1 at L2; where no file tells, the word does (``In1``, ``.g1``: L2; ``layer2``: L2).
    """
    stated = [n for n in inner if files[n].role.source in (Source.X2, Source.JOB) and files[n].role.number is not None]
    named = [n for n in inner if files[n].role.source is Source.NAME and files[n].role.number is not None]
    if not stated or not named:
        return
    told = {(files[n].role.number or 0) - number for n in stated if (number := _number_in_name(files[n])) is not None}
    for n in named:
        base, role = files[n].member.base, files[n].role
        more = next(iter(told)) if len(told) == 1 and told <= {0, 1} else int(counts_inner(base))
        files[n] = replace(files[n], role=replace(role, number=(role.number or 0) + more))


def _number_in_name(file: PlannedFile) -> int | None:
    role = from_name(file.member.base)
    return role.number if role is not None and role.kind is RoleKind.COPPER and role.side is None else None


def _in_places(inner: Sequence[int], given: Mapping[str | None, int]) -> list[int]:
    """Inner files in order: those with a place of the corrections there, the others in the places that are left."""
    rest = list(inner)
    out: list[int] = []
    for k in range(1, len(inner) + len(given) + 1):
        if f"i{k}" in given:
            out.append(given[f"i{k}"])
        elif rest:
            out.append(rest.pop(0))
    late = sorted((n for n in given.values() if n not in out), key=lambda n: list(given.values()).index(n))
    return [*out, *rest, *late]


def _inner_order(file: PlannedFile) -> tuple[int, int, str]:
    number = file.role.number
    return (0, number, file.member.base) if number is not None else (1, 0, file.member.base)


def _give(files: list[PlannedFile], n: int, side: str | None, key: str) -> None:
    files[n] = replace(files[n], role=replace(files[n].role, side=side, key=key))


def _drop_doubles(inner: list[int], files: list[PlannedFile], findings: list[Finding]) -> list[int]:
    """Two inner files with one stated layer number: the stronger source stays. By name alone both stay, with a finding."""
    kept: list[int] = []
    for n in inner:
        before = kept[-1] if kept else None
        number = files[n].role.number
        if before is None or number is None or files[before].role.number != number:
            kept.append(n)
            continue
        both = files[before].role.source is Source.NAME and files[n].role.source is Source.NAME
        names = f"{files[before].member.base} and {files[n].member.base}"
        if both:
            words = f"{names} have the same inner layer number {_number_in_name(files[n])}; both are kept, in order of their names."
            findings.append(Finding("PKG-012", Severity.WARNING, Place(file=files[n].member.name), words, _OVERRULE))
            kept.append(n)
            continue
        keep, drop = _contend(before, n, files)
        kept[-1] = keep
        of_place = f"copper i{max(1, number - (files[keep].role.source in (Source.X2, Source.JOB)))}"
        findings.append(_claimed_twice(files[keep], files[drop], f"copper layer {number}", of_place, Severity.ERROR))
        files[drop] = replace(files[drop], role=LayerRole(RoleKind.OTHER, source=files[drop].role.source))
    return kept


def _note_order(inner: Sequence[int], files: Sequence[PlannedFile], findings: list[Finding]) -> None:
    looks = sorted(
        (f.member.base for f in files if f.role.kind is RoleKind.COPPER and f.role.source is Source.CONTENT),
    )
    if looks:
        words = (
            f"That {', '.join(looks)} is copper follows from its look alone, and its side and place in the stack from the order of the names. If that is wrong, "
            "surface parts and blind holes join false nets and the board is shown the wrong way round."
        )
        findings.append(Finding("PKG-019", Severity.WARNING, Place(), words, _OVERRULE))
    if len(inner) < 2:
        return
    if any(files[n].role.number is None for n in inner):
        names = ", ".join(files[n].member.base for n in inner)
        words = f"The order of the inner layers is not stated; taken as {names} from the component side."
        findings.append(Finding("PKG-013", Severity.GUESS, Place(), words, _OVERRULE))


def _note_guesses(files: Sequence[PlannedFile], findings: list[Finding]) -> None:
    for file in files:
        role = file.role
        place = Place(file=file.member.name)
        if role.kind is RoleKind.NETLIST or file.format in (Format.JOB, Format.SIDE, Format.CORRECTIONS, Format.TABLE):
            continue
        if role.kind is RoleKind.DRILL:
            if role.source is Source.NAME:
                findings.append(
                    Finding("PKG-010", Severity.GUESS, place, f"Read as {role.words()}, by its name.", _OVERRULE)
                )
            continue
        if role.guessed and role.kind is not RoleKind.OTHER:
            words = f"Read as {role.words()}, by its {role.source}; the file itself does not say."
            findings.append(Finding("PKG-010", Severity.GUESS, place, words, _OVERRULE))
        elif file.format is Format.GERBER and role.source is Source.NONE:
            words = (
                "No word tells what this layer is, and what it draws does not show it for certain; it is left out. A drawing or silkscreen costs nothing. Were it "
                "a solder mask, vias and lands that it covers would be taken for bare; were it copper, or a plane drawn as its clearances, all that it joins would be missing."
            )
            findings.append(Finding("PKG-015", Severity.WARNING, place, words, _OVERRULE))


def _note_unknown_names(corrections: Corrections | None, members: Sequence[Member], findings: list[Finding]) -> None:
    if corrections is None:
        return
    names = {m.name for m in members} | {m.base for m in members}
    for one in corrections.files:
        if one.name not in names:
            words = f"The corrections name {one.name!r}, which is not in the package."
            findings.append(
                Finding(
                    "COR-003",
                    Severity.WARNING,
                    Place(file=corrections.name, thing=one.name),
                    words,
                    "Check the spelling.",
                )
            )
