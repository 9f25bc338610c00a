"""Use cases of boards: build one from a package, compare it with its netlists, list its nets.

``build_board(source, path, cache=None, progress=None, stop=None) -> Board``; ``compare_board(board) -> dict``;
``board_nets(board, origin) -> dict``; ``board_report(board) -> dict``. Refusal for what cannot be used, ``Stopped`` when told to stop.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from coppermend.core.board.align import align_layers
from coppermend.core.board.conditions import gap_words
from coppermend.core.board.drillfit import lands_of
from coppermend.core.board.model import Board
from coppermend.core.board.records import DrillImage, GerberImage, LayerRole, Netlist
from coppermend.core.board.sources import PackageRecords, PartRow
from coppermend.core.board.spanfit import spans_by_lands
from coppermend.core.copper.fabricate import board_from
from coppermend.core.findings import Finding, Place, Refusal, Severity, refuse
from coppermend.formats.centroid import read_centroids
from coppermend.formats.gerber import read_gerber
from coppermend.formats.gerberjob import JobFile
from coppermend.formats.ipcd356 import read_ipcd356
from coppermend.formats.package import Format, PackagePlan, PlannedFile, RoleKind, layer_rank, plan_package
from coppermend.formats.partslist import read_partslist
from coppermend.services.board_corrections import builder_corrections, settled
from coppermend.services.board_drills import read_drills
from coppermend.services.board_film import CLEARLY, film_findings, fit_of_films, off_film
from coppermend.services.board_ipc2581 import corrected, ipc2581_part
from coppermend.services.board_records import drill_from_gerber, gerber_record, netlist_record
from coppermend.services.board_views import board_nets as board_nets
from coppermend.services.board_views import board_report as board_report
from coppermend.services.board_views import compare_board as compare_board
from coppermend.services.packages import BUILDER_VERSION as BUILDER_VERSION
from coppermend.services.packages import Package, Stages, package_id
from coppermend.services.packages import Stopped as Stopped
from coppermend.services.packages import build_board as build_board
from coppermend.services.packages import cache_key as cache_key
from coppermend.services.pinlists import pinlist_board, placed_lists, with_pinlists


def board_of(package: Package, stages: Stages | None = None) -> Board:
    """The board of a package's files, built now."""
    stages = stages or Stages(None, None)
    stages.enter("plan", "sorting the files")
    everything = (*package.members, *package.beside)
    listed = pinlist_board(package_id(package.members), package.title, everything)
    if listed is not None:
        return listed
    plan = plan_package(everything)
    records = read_records(package, plan, lambda words: stages.enter("parse", words))

    def step(words: str) -> None:
        stage = words.split(" ")[0].rstrip(",")
        stages.enter(stage if stage in ("clear", "contacts", "islands", "pins") else "pins", words)

    try:
        return settled(with_pinlists(board_from(records, step), everything), records.corrections)
    except MemoryError:
        raise refuse(
            "BRD-007",
            "The package needs more memory than there is.",
            "Leave out what is no fabrication data.",
            Place(thing=package.title),
        ) from None


def read_records(
    package: Package, plan: PackagePlan, step: Callable[[str], None] = lambda _words: None
) -> PackageRecords:
    """The records of every file of a plan that the builder uses. A copper file that cannot be read refuses the package; others become findings."""
    said, findings = builder_corrections(plan.corrections)
    findings = [*plan.findings, *findings, *_unreadable(plan)]
    images: list[GerberImage] = []
    roles: dict[str, LayerRole] = {}
    for file in plan.files:
        if file.format is Format.GERBER and file.role.kind in _DRAWN:
            step(f"reading {file.member.base}")
            image = _gerber(file, plan, findings)
            if image is not None:
                images.append(image)
                roles[image.name] = _role(file)
    drills, more = _drills(plan, images, roles, step)
    if any(one.film_mm != (0.0, 0.0) for one in images):
        images, drills, more = _films(plan, images, roles, step, (drills, more))
    findings += more
    drills, more = _spans_told_by_lands(drills, images, roles, findings)
    told = {one.place.file for one in more}
    findings = [one for one in findings if one.code not in ("PKG-017", "PKG-020") or one.place.file not in told] + more
    stated = ipc2581_part(plan, step)
    findings += stated.findings
    if stated.board is not None:
        board = corrected(stated.board, plan)
        images += board.images
        drills += board.drills
        roles |= board.roles
    aligned = align_layers([one for one in images if roles[one.name].kind != "drill"], roles, drills)
    findings += aligned.findings
    outer = [one for one in aligned.images if roles[one.name].kind == "copper" and roles[one.name].side in ("c", "s")]
    netlists = [*_netlists(plan, findings, step, outer), *stated.netlists]
    if not netlists and not any(one.part for image in images for one in image.attributes):
        netlists = placed_lists([*package.members, *package.beside])
    rows = [*stated.part_rows, *_part_rows(plan, findings)]
    job = plan.job
    title = (job.title if job else "") or package.title
    thickness = job.thickness_mm if job else None
    if thickness is None and stated.board is not None:
        thickness = stated.board.thickness_mm
    return PackageRecords(
        package_id(package.members),
        title,
        aligned.images,
        tuple(drills),
        tuple(netlists),
        roles,
        tuple(rows),
        said,
        tuple(findings),
        thickness,
        {**_looks(job), **gap_words(_gaps(job) or (stated.board.gaps_mm if stated.board is not None else ()))},
        {**_job_copper(job, roles), **(stated.board.copper_mm if stated.board is not None else {})},
    )


_FABRICATION = re.compile(
    r"\.(gbr|ger|pho|art|g[tbmpk][lspo0-9]?|g\d+|cmp|sol|drl|drd|xln|xnc|exc|ncd|tap|rou|ipc|356|d356)$", re.I
)


def _unreadable(plan: PackagePlan) -> list[Finding]:
    """Files that are called like fabrication data and hold none: binary, empty or mis-named."""
    return [
        Finding(
            "BRD-018",
            Severity.WARNING,
            Place(file=file.member.name),
            "The file is called like fabrication data, but no Gerber, drill or netlist text was found in it (empty or binary?). It was left out.",
            "Export it again, or take it out of the package.",
        )
        for file in plan.files
        if file.format is Format.IGNORED and _FABRICATION.search(file.member.base)
    ]


_DRAWN = (RoleKind.COPPER, RoleKind.MASK, RoleKind.SILK, RoleKind.OUTLINE, RoleKind.DRILL)


def _gerber(file: PlannedFile, plan: PackagePlan, findings: list[Finding]) -> GerberImage | None:
    try:
        hairlines = file.role.kind in (RoleKind.OUTLINE, RoleKind.SILK)
        image = gerber_record(read_gerber(file.member.data, file.member.name, hairlines))
    except Refusal as refusal:
        if file.role.kind is RoleKind.COPPER:
            raise
        findings.append(replace(refusal.finding, severity=Severity.WARNING))
        return None
    correction = plan.corrections.of(file.member.name) if plan.corrections else None
    said = correction.polarity if correction else None
    if file.role.kind is RoleKind.COPPER:
        if said:
            stated = {**image.file_attributes, ".FilePolarity": (said.capitalize(),)}
            return replace(image, negative=said == "negative", file_attributes=stated)
        return replace(image, negative=image.negative or file.role.negative)
    if file.role.kind is RoleKind.MASK:
        return replace(image, negative=said == "positive" if said else image.negative)
    return replace(image, negative=False)


def _role(file: PlannedFile) -> LayerRole:
    role = file.role
    order = layer_rank(role.key) + 1 if role.key else 0
    return LayerRole(file.member.name, str(role.kind), role.side or "", order, False, str(role.source), role.plated)


def _drills(
    plan: PackagePlan, images: Sequence[GerberImage], roles: dict[str, LayerRole], step: Callable[[str], None]
) -> tuple[list[DrillImage], list[Finding]]:
    files = [one for one in plan.of_kind(RoleKind.DRILL) if one.format is Format.DRILL]
    for file in files:
        roles[file.member.name] = _role(file)
    outer = [one for one in images if roles[one.name].kind == "copper" and roles[one.name].side in ("c", "s")]
    step("reading drill files")
    drawn = [drill_from_gerber(one, roles[one.name]) for one in images if roles[one.name].kind == "drill"]
    copper = outer or [one for one in images if roles[one.name].kind == "copper"]
    read, findings = read_drills(files, lands_of(copper, [one for one in images if roles[one.name].kind == "outline"]))
    spans = {file.member.name: file.role.span for file in files if file.role.span is not None}
    read = [replace(one, span=spans.get(one.name, one.span)) for one in read]
    return [*read, *drawn], findings


def _films(
    plan: PackagePlan,
    images: list[GerberImage],
    roles: dict[str, LayerRole],
    step: Callable[[str], None],
    moved: tuple[list[DrillImage], list[Finding]],
) -> tuple[list[GerberImage], list[DrillImage], list[Finding]]:
    """Images, drill files and findings with the layers on their films (``moved`` was read so) or where their coordinates stand."""
    plain = [off_film(one) for one in images]
    drills, more = _drills(plan, plain, roles, step)
    fits = fit_of_films(images, roles, moved[0]), fit_of_films(plain, roles, drills)
    said = film_findings(images, *fits)
    return (plain, drills, [*more, *said]) if fits[1] > fits[0] + CLEARLY else (images, moved[0], [*moved[1], *said])


def _spans_told_by_lands(
    drills: Sequence[DrillImage],
    images: Sequence[GerberImage],
    roles: dict[str, LayerRole],
    findings: Sequence[Finding],
) -> tuple[list[DrillImage], list[Finding]]:
    """The drill files with spans from their lands, where words leave them open (PKG-017), mere numbers gave one (PKG-020) or nothing is said."""
    files: dict[str, set[str]] = {"PKG-017": set(), "PKG-020": set()}
    for one in findings:
        if one.code in files and one.place.file:
            files[one.code].add(one.place.file)
    if not any(files.values()) and len(drills) < 2:
        return list(drills), []
    copper = sorted((one for one in images if roles[one.name].kind == "copper"), key=lambda one: roles[one.name].order)
    return spans_by_lands(drills, copper, files["PKG-017"], files["PKG-020"])


def _netlists(
    plan: PackagePlan, findings: list[Finding], step: Callable[[str], None], copper: Sequence[GerberImage]
) -> list[Netlist]:
    out: list[Netlist] = []
    for file in plan.files:
        if file.format is Format.IPCD356 and file.role.kind is RoleKind.NETLIST:
            step(f"reading {file.member.base}")
            try:
                read = read_ipcd356(file.member.data, file.member.name)
                out.append(netlist_record(read, lands_of(copper).places if read.boards > 1 else None))
            except Refusal as refusal:
                findings.append(replace(refusal.finding, severity=Severity.WARNING))
    return out


def _part_rows(plan: PackagePlan, findings: list[Finding]) -> list[PartRow]:
    rows: list[PartRow] = []
    for file in plan.files:
        if file.format is Format.TABLE:
            placed = read_centroids(file.member.data, file.member.name)
            listed = read_partslist(file.member.data, file.member.name) or ()
            if placed is None or any(row.state is not None for row in listed):
                rows += listed  # a parts list that also tells places: what it says of sockets counts
                continue
            rows += placed.rows
            findings += placed.findings
            if placed.rows and not placed.unit_stated:
                words = "Nothing in the placement list says its unit; it is read as mm."
                findings.append(Finding("CEN-003", Severity.GUESS, Place(file=file.member.name), words))
    return rows


def _gaps(job: JobFile | None) -> tuple[float, ...]:
    """Laminate between the copper layers of a job file's stack-up, mm from the component side; what lies outside the copper (mask, legend) is none."""
    gaps: list[float] = []
    since: float | None = None
    for one in job.materials if job else ():
        if one.kind.lower() == "copper":
            gaps += [] if since is None else [since]
            since = 0.0
        elif since is not None:
            since += one.thickness_mm
    return tuple(gaps)


def _job_copper(job: JobFile | None, roles: Mapping[str, LayerRole]) -> dict[str, float]:
    """Copper thickness (mm) by image name from a job file's stack-up: its copper rows are the layers from the component side.

    A file is the layer that the job file says it is (``Copper,L2,Inr``); one that the job file does not name, by its place in the
    package where that has as many copper layers. Thicknesses outside 3 um to 0.5 mm say nothing.
    """
    stack = [one.thickness_mm for one in job.materials if one.kind.lower() == "copper"] if job else []
    if job is None or not stack:
        return {}
    copper = sorted((one for one in roles.values() if one.kind == "copper"), key=lambda one: one.order)
    out = {}
    for at, role in enumerate(copper, 1):
        entry = job.layer_of(role.file.rsplit("/", 1)[-1])
        told = re.fullmatch(r"L(\d{1,2})", entry.function[1]) if entry and len(entry.function) > 1 else None
        number = int(told[1]) if told else at if len(copper) == len(stack) else 0
        if 1 <= number <= len(stack) and 0.003 <= stack[number - 1] <= 0.5:
            out[role.file] = stack[number - 1]
    return out


def _looks(job: JobFile | None) -> dict[str, str]:
    if job is None:
        return {}
    masks = [one.color for one in job.materials if one.kind.lower().startswith("soldermask") and one.color]
    silks = [one.color for one in job.materials if one.kind.lower().startswith("legend") and one.color]
    pairs = {"mask_color": masks[0] if masks else "", "silk_color": silks[0] if silks else "", "finish": job.finish}
    return {key: value for key, value in pairs.items() if value}
