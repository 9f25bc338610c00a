"""Use cases of boards: build one from a package, compare it with its netlists, list its nets.

``build_board(source, path, cache=None, progress=None, stop=None) -> Board``; ``compare_board(board) -> dict``;
``board_nets(board, origin) -> dict``; ``board_report(board) -> dict``. Refusal for what cannot be used, ``Stopped`` when told to stop.
"""

from __future__ import annotations

import hashlib
import re
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

from coppermend.core.board.align import align_layers
from coppermend.core.board.build import X2_SOURCE, with_seconds
from coppermend.core.board.drillfit import lands_of
from coppermend.core.board.model import Board, NetlistPoint
from coppermend.core.board.names import nearest_names
from coppermend.core.board.naming import says_a_net
from coppermend.core.board.records import DrillImage, GerberImage, LayerRole, Netlist
from coppermend.core.board.sources import PackageRecords, PartRow
from coppermend.core.copper.compare import Disagreement, Missed, SourceRow, compare, sources
from coppermend.core.copper.fabricate import board_from
from coppermend.core.findings import Finding, Place, Refusal, Severity, refuse
from coppermend.formats.centroid import read_centroids
from coppermend.formats.gerber import read_gerber
from coppermend.formats.gerberjob import JobFile
from coppermend.formats.ipcd356 import read_ipcd356
from coppermend.formats.member import Member
from coppermend.formats.package import Format, PackagePlan, PlannedFile, RoleKind, layer_rank, plan_package
from coppermend.formats.partslist import read_partslist
from coppermend.formats.pinlist import MAP_NAME
from coppermend.services.board_corrections import builder_corrections
from coppermend.services.board_drills import read_drills
from coppermend.services.board_ipc2581 import corrected, ipc2581_part
from coppermend.services.board_records import drill_from_gerber, gerber_record, netlist_record
from coppermend.services.collection import without_collection
from coppermend.services.pinlists import pinlist_board, with_pinlists

BUILDER_VERSION = "4"
"""Changes with everything that makes the same files give another board; part of the cache key."""

CORRECTIONS_NAME = "coppermend-corrections.toml"

Progress = Callable[[str, float], None]
"""Told the stage's name and the share of the whole build that is done (0 to 1)."""


class Stopped(Exception):
    """The caller asked to stop; nothing was kept."""


@dataclass(frozen=True, slots=True)
class Package:
    """A package's files: ``title`` for people, ``members`` of the package itself, ``beside`` files that stand beside it (corrections, parts list)."""

    title: str
    members: tuple[Member, ...]
    beside: tuple[Member, ...] = ()


class PackageSource(Protocol):
    """Reads packages, whole and within limits."""

    def read(self, path: str) -> Package:
        """The files of a folder or zip. Refusal when there is none or it is unsafe."""

    def keep_map(self, path: str, data: bytes) -> str:
        """Write the map file of a package, whole or not at all; the name it got. Refusal when that place cannot be written."""


class BoardCache(Protocol):
    """Keeps built boards. It may lose them at any time and never gives a damaged one."""

    def load(self, key: str) -> Board | None:
        """The board kept under the key, or None."""

    def save(self, key: str, board: Board) -> None:
        """Keep a board; a failure to write is no error."""


def package_id(members: Sequence[Member]) -> str:
    """SHA-256 (hex) over the sorted member names and bytes; corrections and map files do not count.

    Per file: name in UTF-8, a zero byte, the length as 8 bytes (big-endian), the bytes.

    >>> package_id([Member("b", b"2"), Member("a", b"1")]) == package_id([Member("a", b"1"), Member("b", b"2")])
    True
    """
    digest = hashlib.sha256()
    for member in sorted(members, key=lambda one: one.name):
        if member.base.lower() in (CORRECTIONS_NAME, MAP_NAME):
            continue
        digest.update(member.name.encode("utf-8", "surrogatepass") + b"\0" + len(member.data).to_bytes(8, "big"))
        digest.update(member.data)
    return digest.hexdigest()


def cache_key(package: Package) -> str:
    """Key of a built board: package id, everything that stands beside it or corrects it, and the builder's version."""
    extra = [
        one
        for one in (*package.members, *package.beside)
        if one.base.lower() in (CORRECTIONS_NAME, MAP_NAME) or one in package.beside
    ]
    digest = hashlib.sha256(f"{package_id(package.members)} {BUILDER_VERSION}".encode())
    for member in sorted(extra, key=lambda one: one.name):
        digest.update(member.name.encode() + b"\0" + len(member.data).to_bytes(8, "big") + member.data)
    return digest.hexdigest()


class _Stages:
    """Times the stages of a build, tells progress, stops when asked."""

    SHARES = (
        ("read", 0.0),
        ("plan", 0.03),
        ("parse", 0.05),
        ("clear", 0.35),
        ("contacts", 0.5),
        ("islands", 0.7),
        ("pins", 0.72),
    )

    def __init__(self, progress: Progress | None, stop: Callable[[], bool] | None) -> None:
        self.progress, self.stop = progress, stop
        self.begun = self.last = time.perf_counter()
        self.seconds: dict[str, float] = {}
        self.stage = ""

    def enter(self, stage: str, words: str = "") -> None:
        """Begin a stage; the time since the last one is booked on that one."""
        if self.stop is not None and self.stop():
            raise Stopped
        now = time.perf_counter()
        if self.stage:
            self.seconds[self.stage] = self.seconds.get(self.stage, 0.0) + now - self.last
        self.last, self.stage = now, stage
        if self.progress is not None:
            self.progress(words or stage, dict(self.SHARES).get(stage, 1.0))

    def close(self) -> tuple[tuple[str, float], ...]:
        """Seconds by stage, with ``total`` first."""
        now = time.perf_counter()
        self.seconds[self.stage] = self.seconds.get(self.stage, 0.0) + now - self.last
        if self.progress is not None:
            self.progress("done", 1.0)
        return (("total", now - self.begun), *self.seconds.items())


def build_board(
    source: PackageSource,
    path: str,
    cache: BoardCache | None = None,
    progress: Progress | None = None,
    stop: Callable[[], bool] | None = None,
    fresh: bool = False,
) -> Board:
    """The board of a package, from the cache where it is kept there (``fresh``: built now all the same).

    ``seconds`` of the board say how long this took by stage; ``cached`` stands there when it was not built now. ``extra["key"]`` is the
    cache key, for whatever else is computed from this board and kept beside it.

    Raises Refusal for a package that gives no board, Stopped when ``stop`` answered True between two steps.
    """
    with without_collection():
        return _board(source, path, cache, _Stages(progress, stop), fresh)


def _board(source: PackageSource, path: str, cache: BoardCache | None, stages: _Stages, fresh: bool) -> Board:
    stages.enter("read", f"reading {path}")
    package = source.read(path)
    key = cache_key(package)
    kept = cache.load(key) if cache is not None and not fresh else None
    if kept is not None:
        return with_seconds(kept, (*stages.close(), ("cached", 1.0)))
    board = board_of(package, stages)
    board = with_seconds(board, stages.close())
    board = replace(board, extra={**board.extra, "key": key})
    if cache is not None:
        cache.save(key, board)
    return board


def board_of(package: Package, stages: _Stages | None = None) -> Board:
    """The board of a package's files, built now."""
    stages = stages or _Stages(None, None)
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
        return with_pinlists(board_from(records, step), everything)
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
    findings += more
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
        _looks(job),
        stated.board.copper_mm if stated.board is not None else {},
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
    read, findings = read_drills(files, lands_of(outer or [one for one in images if roles[one.name].kind == "copper"]))
    spans = {file.member.name: file.role.span for file in files if file.role.span is not None}
    read = [replace(one, span=spans.get(one.name, one.span)) for one in read]
    return [*read, *drawn], findings


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


def _looks(job: JobFile | None) -> dict[str, str]:
    if job is None:
        return {}
    masks = [one.color for one in job.materials if one.kind.lower().startswith("soldermask") and one.color]
    silks = [one.color for one in job.materials if one.kind.lower().startswith("legend") and one.color]
    pairs = {"mask_color": masks[0] if masks else "", "silk_color": silks[0] if silks else "", "finish": job.finish}
    return {key: value for key, value in pairs.items() if value}


# ---- what the commands and routes print ----
def board_report(board: Board) -> dict[str, Any]:
    """The board in numbers, with its findings, as plain JSON values."""
    return {
        "package_id": board.package_id,
        "title": board.title,
        "layers": [{"key": one.key, "file": one.file, "pieces": len(one.shapes)} for one in board.layers],
        "holes": len(board.holes),
        "plated_holes": sum(hole.plated for hole in board.holes),
        "parts": len(board.parts),
        "pins": sum(len(part.pins) for part in board.parts),
        "nets": len(board.nets),
        "named_nets": sum(bool(net.names) for net in board.nets),
        "origin_shift_mm": list(board.origin_shift_mm),
        "findings": [finding.as_dict() for finding in board.findings],
        "seconds": dict(board.seconds),
    }


def compare_board(board: Board) -> dict[str, Any]:
    """Copper against every netlist source, as plain JSON values: one row per source in ``sources``, their sums at the top.

    ``points, agree, missed, split_nets, joined_nets, origin_shift_mm, sources, findings, seconds``. ``agrees`` says whether all is exact.
    """
    begun = time.perf_counter()
    rows = compare(board)
    if not rows:
        raise refuse(
            "BRD-040",
            "The package has no netlist to compare with: no X2 net names in copper files, no IPC-D-356 file, no pin list beside copper.",
            "Add a netlist, name a list (--with pins.csv), or use 'coppermend board nets' to see what is joined.",
            Place(thing=board.title),
        )
    seconds = dict(board.seconds)
    seconds["compare"] = time.perf_counter() - begun
    seconds["total"] = seconds.get("total", 0.0) + seconds["compare"]
    seconds.setdefault("parse", 0.0)
    return {
        "points": sum(row.points for row in rows),
        "agree": sum(row.agree for row in rows),
        "missed": [_missed(row, one) for row in rows for one in row.missed],
        "split_nets": [_disagreement(row, one) for row in rows for one in row.split_nets],
        "joined_nets": [_disagreement(row, one) for row in rows for one in row.joined_nets],
        "origin_shift_mm": list(board.origin_shift_mm),
        "sources": [_row(row) for row in rows],
        "findings": [finding.as_dict() for finding in board.findings],
        "seconds": seconds,
        "agrees": all(row.exact for row in rows),
    }


def _row(row: SourceRow) -> dict[str, Any]:
    return {
        "source": row.source,
        "nets": row.nets,
        "points": row.points,
        "agree": row.agree,
        "missed": len(row.missed),
        "split_nets": len(row.split_nets),
        "joined_nets": len(row.joined_nets),
        "origin_shift_mm": list(row.origin_shift_mm),
    }


def _missed(row: SourceRow, one: Missed) -> dict[str, Any]:
    return {
        "source": row.source,
        "point": one.point,
        "net": one.net,
        "x_mm": one.x_mm,
        "y_mm": one.y_mm,
        "line": one.line,
        "words": one.words,
    }


def _disagreement(row: SourceRow, one: Disagreement) -> dict[str, Any]:
    return {
        "source": row.source,
        "nets": list(one.nets),
        "points": list(one.points),
        "why": one.why,
        "x_mm": one.x_mm,
        "y_mm": one.y_mm,
        "layer": one.layer,
        "words": one.words,
    }


def board_nets(board: Board, origin: str = "copper", net: str | None = None) -> dict[str, Any]:
    """Per island (``origin`` copper) or per net of one netlist source its points: part, pin, layer, x_mm, y_mm, as plain JSON values.

    ``origin``: ``copper``, ``x2``, or the name of a netlist file; ``net``: one net by any of its names. Refusal BRD-041 for an unknown
    source, BRD-042 for an unknown net, both with the nearest names.
    """
    result = _all_nets(board, origin)
    if net is None:
        return result
    chosen = [one for one in result["nets"] if net == one["name"] or net in one.get("names", ())]
    if not chosen:
        names = [name for one in result["nets"] for name in (one["name"], *one.get("names", ())) if name]
        raise unknown_name("BRD-042", "net", net, names)
    return {"from": result["from"], "nets": chosen}


def unknown_name(code: str, kind: str, word: str, names: Sequence[str]) -> Refusal:
    """A refusal for a name that the board does not have, with the nearest ones."""
    near = nearest_names(word, names)
    remedy = f"Did you mean {' or '.join(near)}?" if near else f"'coppermend board nets' lists every {kind}."
    return refuse(code, f"The board has no {kind} {word!r}.", remedy)


def _all_nets(board: Board, origin: str) -> dict[str, Any]:
    if origin == "copper":
        return {"from": "copper", "nets": _copper_nets(board)}
    found = sources(board)
    wanted = X2_SOURCE if origin.lower() in ("x2", X2_SOURCE.lower()) else origin
    short = {name.rsplit("/", 1)[-1]: name for name in found}
    name = wanted if wanted in found else short.get(wanted, "")
    if not name:
        choices = ["copper", *(["x2"] if X2_SOURCE in found else []), *(key for key in short if key != X2_SOURCE)]
        near = nearest_names(origin, choices) or tuple(choices)
        raise refuse(
            "BRD-041",
            f"The package has no netlist {origin!r}.",
            f"Nearest: {', '.join(near)}. There are: {', '.join(choices)}.",
            Place(thing=board.title),
        )
    nets: dict[str, list[NetlistPoint]] = {}
    for point in found[name]:
        nets.setdefault(point.net if says_a_net(point.net) else "", []).append(point)
    return {
        "from": name,
        "nets": [{"name": net, "points": [_point(one) for one in points]} for net, points in sorted(nets.items())],
    }


def _point(point: NetlistPoint) -> dict[str, Any]:
    return {
        "part": point.part,
        "pin": point.pin,
        "layer": ",".join(point.layers),
        "x_mm": round(point.x_mm, 6),
        "y_mm": round(point.y_mm, 6),
        "island": point.island,
    }


def _copper_nets(board: Board) -> list[dict[str, Any]]:
    points: dict[int, list[dict[str, Any]]] = {net.index: [] for net in board.nets}
    used = set()
    for part in board.parts:
        for pin in part.pins:
            if pin.hole is not None:
                used.add(pin.hole)
            if pin.net is not None:
                place = {"layer": ",".join(pin.layers), "x_mm": round(pin.x_mm, 6), "y_mm": round(pin.y_mm, 6)}
                points[pin.net].append({"part": part.ref, "pin": pin.number, **place})
    for number, hole in enumerate(board.holes):
        if number not in used and hole.island is not None:
            place = {"layer": ",".join(hole.layers), "x_mm": round(hole.x_mm, 6), "y_mm": round(hole.y_mm, 6)}
            points[hole.island].append({"part": "VIA", "pin": "", **place})
    return [
        {"island": net.index, "name": net.name, "names": list(net.names), "points": points[net.index]}
        for net in board.nets
    ]
