"""Which file of a package is what: X2, job file, names, contents, corrections, conflicts.

File endings and name parts are common practice, no source; FileFunction values from the Gerber format specification.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from coppermend.core.findings import Refusal, Severity
from coppermend.formats.gerberjob import read_gerberjob
from coppermend.formats.member import Member
from coppermend.formats.package import Format, PackagePlan, RoleKind, Source, plan_package, read_corrections
from coppermend.formats.package.roles import drill_role, from_name

GERBER = b"%FSLAX24Y24*%%MOIN*%%ADD10C,.1*%D10*X0Y0D03*M02*"
DRILL = b"M48\nMETRIC\nT1C0.8\n%\nT1\nX1.0Y1.0\nM30\n"
NETLIST = b"P  UNITS CUST 0\n317GND              U1    -8    D0320PA00X+010000Y-020000X0600Y0400R090S3\n999\n"


def stated(function: str, polarity: str = "Positive") -> bytes:
    return f"%TF.FileFunction,{function}*%%TF.FilePolarity,{polarity}*%".encode() + GERBER


def plan(**files: bytes) -> PackagePlan:
    return plan_package([Member(name.replace("__", "."), data) for name, data in files.items()])


def roles(p: PackagePlan) -> dict[str, str]:
    return {f.member.name: f.role.key or f"{f.role.kind} {f.role.side or ''}".strip() for f in p.files}


@pytest.mark.parametrize(
    ("name", "kind", "side", "number"),
    [
        ("board-F_Cu.gbr", "copper", "c", None),
        ("board-B_Cu.gbr", "copper", "s", None),
        ("board-In1_Cu.gbr", "copper", None, 1),
        ("board-In12_Cu.gbr", "copper", None, 12),
        ("board-F_Mask.gbr", "mask", "c", None),
        ("board-B_Silkscreen.gbr", "silk", "s", None),
        ("board-F_SilkS.gbr", "silk", "c", None),
        ("board-F_Paste.gbr", "paste", "c", None),
        ("board-Edge_Cuts.gbr", "outline", None, None),
        ("board-PTH-drl_map.gbr", "other", None, None),
        ("x.GTL", "copper", "c", None),
        ("x.GBL", "copper", "s", None),
        ("x.gts", "mask", "c", None),
        ("x.gbs", "mask", "s", None),
        ("x.gto", "silk", "c", None),
        ("x.gbo", "silk", "s", None),
        ("x.gtp", "paste", "c", None),
        ("x.gko", "outline", None, None),
        ("x.gm1", "outline", None, None),
        ("x.g2", "copper", None, 2),
        ("x.gp1", "copper", None, 1),
        ("x.cmp", "copper", "c", None),
        ("x.sol", "copper", "s", None),
        ("x.stc", "mask", "c", None),
        ("x.pls", "silk", "s", None),
        ("x.ly2", "copper", None, 2),
        ("TOP.art", "copper", "c", None),
        ("BOTTOM.art", "copper", "s", None),
        ("a_lyr7.art", "copper", None, 7),
        ("a_smc.art", "mask", "c", None),
        ("a_tslk.art", "silk", "c", None),
        ("a_spc.art", "paste", "c", None),
        ("a_assy.art", "other", None, None),
        ("soldermask_top.pho", "mask", "c", None),
        ("silkscreen_bottom.pho", "silk", "s", None),
        ("board_outline.ger", "outline", None, None),
        ("top_copper.gbr", "copper", "c", None),
        ("copper_bottom.gbr", "copper", "s", None),
        ("toppaste.gbr", "paste", "c", None),
        ("layer3.gbr", "copper", None, 3),
        ("inner2.gbr", "copper", None, 2),
        ("x.top", "copper", "c", None),
        ("x.bot", "copper", "s", None),
        ("x.smt", "mask", "c", None),
        ("x.ssb", "silk", "s", None),
        ("x.in1", "copper", None, 1),
        ("soldside.gbx", "copper", "s", None),
        ("COMPSIDE.GBX", "copper", "c", None),
        ("Platine Oberseite Kupfer.ger", "copper", "c", None),
        ("Platine Unterseite Kupfer.ger", "copper", "s", None),
        ("Platine Innenlage 2.ger", "copper", None, 2),
        ("cuivre_dessous.gbr", "copper", "s", None),
        ("cuivre_interne1.gbr", "copper", None, 1),
        ("Плата верх медь.gbr", "copper", "c", None),
        ("Плата внутр 3 медь.gbr", "copper", None, 3),
    ],
)
def test_names_tell_roles(name: str, kind: str, side: str | None, number: int | None) -> None:
    role = from_name(name)
    assert role is not None
    assert (str(role.kind), role.side, role.number) == (kind, side, number)
    assert role.guessed


@pytest.mark.parametrize("name", ["readme.gbr", "x.gbr", "4711.pho"])
def test_names_that_tell_nothing(name: str) -> None:
    assert from_name(name) is None


@pytest.mark.parametrize(
    ("name", "plated"),
    [
        ("a-PTH.drl", True),
        ("a-NPTH.drl", False),
        ("a_non_plated.txt", False),
        ("a-NonPlated.TXT", False),
        ("plated.drl", True),
        ("a.drl", None),
    ],
)
def test_names_tell_plating(name: str, plated: bool | None) -> None:
    assert drill_role(name, "").plated is plated


def test_what_the_files_say_is_stronger_than_their_names() -> None:
    p = plan(
        a__gbl=stated("Copper,L1,Top"), a__gtl=stated("Copper,L2,Bot"), a__gts=stated("Soldermask,Top", "Negative")
    )
    assert roles(p) == {"a.gbl": "c", "a.gtl": "s", "a.gts": "mask c"}
    assert p.of_kind(RoleKind.MASK)[0].role.negative
    assert not [f for f in p.findings if f.severity is Severity.GUESS]


def test_the_job_file_is_stronger_than_names() -> None:
    job = {
        "FilesAttributes": [
            {"Path": "one.gbr", "FileFunction": "Copper,L1,Top"},
            {"Path": "two.gbr", "FileFunction": "Copper,L2,Bot"},
        ]
    }
    p = plan(one__gbr=GERBER, two__gbr=GERBER, b__gbrjob=json.dumps(job).encode())
    assert roles(p) == {"one.gbr": "c", "two.gbr": "s", "b.gbrjob": "other"}
    assert p.files[1].role.source is Source.JOB


def test_every_guess_is_a_finding() -> None:
    p = plan(a__gtl=GERBER, a__gbl=GERBER, a__PTH__drl=DRILL)
    guesses = [f for f in p.findings if f.code == "PKG-010"]
    assert {f.place.file for f in guesses} == {"a.gtl", "a.gbl", "a.PTH.drl"}
    assert all(f.severity is Severity.GUESS and "coppermend-corrections.toml" in f.remedy for f in guesses)


def test_inner_layers_in_order_of_their_numbers_not_of_their_names() -> None:
    p = plan(**{f"a_lyr{n}__art": GERBER for n in range(1, 13)})
    assert [f.role.key for f in p.of_kind(RoleKind.COPPER)] == ["c", *(f"i{k}" for k in range(1, 11)), "s"]
    assert [f.member.name for f in p.of_kind(RoleKind.COPPER)][:3] == ["a_lyr1.art", "a_lyr2.art", "a_lyr3.art"]
    assert p.of_kind(RoleKind.COPPER)[-1].member.name == "a_lyr12.art"


def test_stated_layer_numbers_make_inner_keys() -> None:
    p = plan(
        a__gbr=stated("Copper,L1,Top"),
        b__gbr=stated("Copper,L3,Inr"),
        c__gbr=stated("Copper,L2,Inr"),
        d__gbr=stated("Copper,L4,Bot"),
    )
    assert roles(p) == {"a.gbr": "c", "c.gbr": "i1", "b.gbr": "i2", "d.gbr": "s"}


def test_two_layers_of_one_ending_are_told_apart_by_their_names() -> None:
    p = plan(top__gbr=GERBER, bottom__gbr=GERBER, top_mask__gbr=GERBER, silk_top__gbr=GERBER)
    assert roles(p) == {"top.gbr": "c", "bottom.gbr": "s", "top_mask.gbr": "mask c", "silk_top.gbr": "silk c"}


def test_two_files_that_claim_one_layer_are_an_error_and_the_better_stated_one_is_used() -> None:
    p = plan(old__gtl=GERBER, new__gtl=stated("Copper,L1,Top"), x__gbl=GERBER)
    assert roles(p) == {"old.gtl": "other", "new.gtl": "c", "x.gbl": "s"}
    fault = next(f for f in p.findings if f.code == "PKG-011")
    assert fault.severity is Severity.ERROR
    assert "new.gtl (by X2) is used, old.gtl (by name) is left out" in fault.words
    assert '[file."old.gtl"] with role = "copper c"' in fault.remedy


@pytest.mark.parametrize(("said", "keys"), [
    ("", {"t.gtl": "c", "p.gbr": "i1", "q.gbr": "other", "b.gbl": "s"}),
    ('[file."q.gbr"]\nrole = "copper i2"\n', {"t.gtl": "c", "p.gbr": "i1", "q.gbr": "i2", "b.gbl": "s"}),
    ('[file."q.gbr"]\nrole = "copper i1"\n', {"t.gtl": "c", "p.gbr": "other", "q.gbr": "i1", "b.gbl": "s"}),
])  # fmt: skip
def test_what_the_finding_about_a_layer_claimed_twice_tells_to_write_works(said: str, keys: dict[str, str]) -> None:
    files = {
        "t__gtl": stated("Copper,L1,Top"),
        "p__gbr": stated("Copper,L2,Inr"),
        "q__gbr": stated("Copper,L2,Inr"),
        "b__gbl": stated("Copper,L4,Bot"),
    }
    members = [Member(name.replace("__", "."), data) for name, data in files.items()]
    found = plan_package([*members, *([Member("coppermend-corrections.toml", said.encode())] if said else [])])
    assert {k: v for k, v in roles(found).items() if k in keys} == keys
    told = [f for f in found.findings if f.code == "PKG-011"]
    assert len(told) == (0 if "i2" in said else 1)
    if not said:
        assert "p.gbr (by X2) is used, q.gbr (by X2) is left out" in told[0].words
        assert '[file."q.gbr"] with role = "copper i1"' in told[0].remedy


@pytest.mark.parametrize(("first", "second", "keys"), [
    ("b-In1_Cu.gbr", "b-In2_Cu.gbr", ("i1", "i2")),  # In1 states L2: In2 is L3
    ("gnd.gbr", "b-In2_Cu.gbr", ("i1", "i2")),  # no stated name has a number: In2 counts inner layers
    ("b_layer2.gbr", "b_layer3.gbr", ("i1", "i2")),  # layer2 states L2: layer3 is L3
])  # fmt: skip
def test_names_beside_a_stated_layer_are_counted_alike(first: str, second: str, keys: tuple[str, str]) -> None:
    """One inner file states L2 (X2), the other only has a name: none is left out, and nothing is said to be claimed twice."""
    files = {
        "t.gtl": stated("Copper,L1,Top"),
        first: stated("Copper,L2,Inr"),
        second: GERBER,
        "b.gbl": stated("Copper,L4,Bot"),
    }
    found = plan_package([Member(name, data) for name, data in files.items()])
    assert (roles(found)[first], roles(found)[second]) == keys
    assert not [f for f in found.findings if f.code == "PKG-011"]


def test_a_name_that_claims_a_stated_layer_is_still_said() -> None:
    files = {"t.gtl": GERBER, "gnd.gbr": stated("Copper,L2,Inr"), "b-In1_Cu.gbr": GERBER, "b.gbl": GERBER}
    found = plan_package([Member(name, data) for name, data in files.items()])
    assert roles(found)["b-In1_Cu.gbr"] == "other"
    assert [f.place.file for f in found.findings if f.code == "PKG-011"] == ["b-In1_Cu.gbr"]


def test_planes_and_signals_without_a_stated_order_are_a_guess() -> None:
    p = plan(a__gtl=GERBER, a__gbl=GERBER, gnd__art=GERBER, pwr__art=GERBER)
    assert [f.role.key for f in p.of_kind(RoleKind.COPPER)] == ["c", "i1", "i2", "s"]
    assert "PKG-013" in [f.code for f in p.findings]


def test_formats_are_told_by_content_whatever_the_name() -> None:
    p = plan(
        a__gtl=GERBER,
        holes__txt=DRILL,
        list__txt=NETLIST,
        notes__txt=b"remember the milk",
        photo__jpg=b"\xff\xd8\xff\xe0",
    )
    assert {f.member.name: f.format for f in p.files} == {
        "a.gtl": Format.GERBER,
        "holes.txt": Format.DRILL,
        "list.txt": Format.IPCD356,
        "notes.txt": Format.IGNORED,
        "photo.jpg": Format.IGNORED,
    }


def test_header_comments_tell_a_layer_when_the_name_does_not() -> None:
    p = plan(
        film7__art=b"G04 Layer:  ETCH/TOP*\n" + GERBER, film8__art=b"G04 Layer:  PIN/SOLDERMASK_BOTTOM*\n" + GERBER
    )
    assert roles(p) == {"film7.art": "c", "film8.art": "mask s"}


def test_side_files_go_to_their_drill_file() -> None:
    body = b"%\nG90\nT01\nX00150000Y00025000\nM30\n"
    p = plan(
        a__gtl=GERBER,
        main_drill__drl=body,
        main_route__rou=body,
        nc_param__txt=b"INTEGER-PLACES 3\nDECIMAL-PLACES 5\nOUTPUT-UNITS ENGLISH\n",
        drill__log=b" T01 8.0 mil PLATED\n",
        route__log=b" T01 40.0 mil\n",
    )
    by_name = {f.member.name: f for f in p.files}
    drill, route = by_name["main_drill.drl"].side, by_name["main_route.rou"].side
    assert drill is not None and route is not None
    assert (drill.format.whole, drill.format.decimals, drill.tool_sizes[1]) == (3, 5, pytest.approx(0.2032))
    assert (route.format.whole, route.tool_sizes[1]) == (3, pytest.approx(1.016))


def test_corrections_overrule_everything() -> None:
    toml = b"""
[file."a.gtl"]
role = "copper s"
[file."b.gbr"]
role = "copper c"
polarity = "negative"
[file."h.drl"]
plated = false
unit = "inch"
digits = "2.4"
zeros = "leading"
[file."old.ipc"]
role = "ignore"
[part.U1]
socketed = true
"""
    p = plan_package(
        [
            Member("a.gtl", stated("Copper,L1,Top")),
            Member("b.gbr", GERBER),
            Member("h.drl", DRILL),
            Member("old.ipc", NETLIST),
            Member("coppermend-corrections.toml", toml),
        ]
    )
    by_name = {f.member.name: f for f in p.files}
    assert by_name["a.gtl"].role.key == "s"
    assert (by_name["b.gbr"].role.key, by_name["b.gbr"].role.negative) == ("c", True)
    hint = by_name["h.drl"].drill_hint
    assert hint is not None
    assert (by_name["h.drl"].role.plated, hint.words()) == (False, "inch 2.4, leading zeros omitted")
    assert by_name["old.ipc"].role.kind is RoleKind.OTHER
    assert p.corrections is not None and p.corrections.tables == {"part": {"U1": {"socketed": True}}}
    assert not [f for f in p.findings if f.code == "PKG-010" and f.place.file != "h.drl"]


def test_a_wrong_correction_is_said_and_not_applied() -> None:
    c = read_corrections(
        b'[file."a.gbr"]\nrole = "copper top"\nplated = "yes"\ncolour = "red"\n', "coppermend-corrections.toml"
    )
    assert (c.files[0].role, c.files[0].plated) == (None, None)
    assert len(c.findings) == 3


def test_a_correction_for_a_file_that_is_not_there_is_said() -> None:
    p = plan_package(
        [Member("a.gtl", GERBER), Member("coppermend-corrections.toml", b'[file."b.gtl"]\nrole = "ignore"\n')]
    )
    assert "COR-003" in [f.code for f in p.findings]


@pytest.mark.parametrize(
    ("members", "code"),
    [
        ([], "PKG-001"),
        ([Member("a.txt", b"hello")], "PKG-002"),
        ([Member("h.drl", DRILL)], "PKG-002"),
        ([Member("inner.zip", b"PK\x03\x04" + bytes(30))], "PKG-002"),
        ([Member("a.gtl", GERBER), Member("coppermend-corrections.toml", b"[file\n")], "COR-001"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_words(members: list[Member], code: str) -> None:
    with pytest.raises(Refusal) as refusal:
        plan_package(members)
    assert refusal.value.finding.code == code
    assert refusal.value.finding.remedy


def test_one_copper_layer_and_no_drill_is_a_plan() -> None:
    assert roles(plan(a__gtl=GERBER)) == {"a.gtl": "c"}


def test_job_files_give_board_facts() -> None:
    text = {
        "GeneralSpecs": {
            "Size": {"X": 180.1, "Y": 120.1},
            "LayerNumber": 4,
            "BoardThickness": 1.6,
            "Finish": "ENIG",
            "ProjectId": {"Name": "b"},
        },
        "FilesAttributes": [{"Path": "g/a.gtl", "FileFunction": "Copper,L1,Top", "FilePolarity": "Positive"}],
        "MaterialStackup": [{"Type": "SolderMask", "Color": "Green", "Thickness": 0.01, "Name": "Top Solder Mask"}],
    }
    job = read_gerberjob(json.dumps(text).encode(), "b.gbrjob")
    assert (job.size_mm, job.thickness_mm, job.layer_count, job.finish, job.title) == (
        (180.1, 120.1),
        1.6,
        4,
        "ENIG",
        "b",
    )
    assert job.materials[0].color == "Green"
    entry = job.layer_of("A.GTL")
    assert entry is not None and entry.function == ("Copper", "L1", "Top")


@pytest.mark.parametrize("data", [b"", b"{", b"[1]", b"[" * 100_000, b'{"FilesAttributes": 7}'])
def test_broken_job_files(data: bytes) -> None:
    if data.endswith(b"7}"):
        assert [f.code for f in read_gerberjob(data, "b.gbrjob").findings] == ["JOB-003"]
        return
    with pytest.raises(Refusal, match="JOB-00"):
        read_gerberjob(data, "b.gbrjob")


@pytest.mark.parametrize(("name", "words", "number"), [
    ("sm_top.gbr", "solder mask, component side", None), ("BOTSM.ger", "solder mask, solder side", None),
    ("ss_top.gbr", "silkscreen, component side", None), ("SPTOP.art", "solder paste, component side", None),
    ("TopAssy.gbr", "other", None), ("mech1.gbr", "outline", None), ("b.gbl.gbr", "copper, solder side", None),
    ("EtchLayer2.gdo", "copper, inner", 2), ("b.group3.gbr", "copper, inner", 3), ("board.art02", "copper, inner", 2),
    ("CopperLayer1.gbr", "copper, inner", 1), ("GroundPlane.gbr", "copper, inner", None), ("TOP.art", "copper, component side", None),
])  # fmt: skip
def test_names_of_several_design_systems(name: str, words: str, number: int | None) -> None:
    # common practice, no source
    role = from_name(name)
    assert role is not None and (role.words(), role.number) == (words, number)


def nameless(members: list[Member]) -> list[Member]:
    """The same files with names that say nothing and without X2: only what they draw is left."""
    out = []
    for n, one in enumerate(sorted(members, key=lambda m: m.name)):
        if b"%FS" in one.data[:4000]:
            data = re.sub(rb"%T[FAOD][^%]*%\r?\n?|G04[^*]*\*\r?\n?", b"", one.data)
            out.append(Member(f"sheet{n:02d}.dat", data))
        elif one.name.endswith(".xnc"):
            out.append(Member(f"{n:02d}.xnc", one.data))
    return out


def test_copper_without_name_or_statement_is_found_by_what_it_draws(demo_package: Path) -> None:
    """Origin: the demonstration machine's own package, whose roles its X2 attributes state before they are taken away."""
    members = [Member(f.name, f.read_bytes()) for f in sorted(demo_package.iterdir()) if f.suffix in (".gbr", ".xnc")]
    stated = plan_package(members)
    truth = [f.member.name for f in stated.files if f.role.kind is RoleKind.COPPER]
    assert len(truth) == 2
    order = [m.name for m in sorted(members, key=lambda m: m.name)]
    plan = plan_package(nameless(members))
    found = [f for f in plan.files if f.role.kind is RoleKind.COPPER]
    assert [f.member.name for f in found] == [f"sheet{order.index(name):02d}.dat" for name in truth]
    assert {f.role.side for f in found} == {"c", "s"}
    assert all(f.role.source is Source.CONTENT for f in found)
    said = [one for one in plan.findings if one.code == "PKG-010" and "content" in one.words]
    assert len(said) == 3  # two copper files and the outline: each guess is said


def test_nothing_that_looks_like_copper_is_still_refused() -> None:
    lines = b"%FSLAX46Y46*%%MOMM*%%ADD10C,0.2*%D10*X0Y0D02*X9000000Y0D01*X9000000Y9000000D01*M02*"
    with pytest.raises(Refusal) as caught:
        plan_package([Member("a.dat", lines)])
    assert caught.value.finding.code == "PKG-002"


def _hole_file(name: str) -> Member:
    return Member(name, b"M48\nMETRIC\nT1C0.8\n%\nT1\nX1.0Y1.0\nM30\n")


@pytest.mark.parametrize(("drills", "spans"), [
    (["board-1-2.drl"], [None]),
    (["board-1-4.drl", "board-1-2.drl"], [(1, 4), (1, 2)]),
    (["board.drl", "board-2-3.drl"], [None, (2, 3)]),
])  # fmt: skip
def test_a_revision_in_a_name_is_no_span_of_layers(drills: list[str], spans: list[tuple[int, int] | None]) -> None:
    """Names alone, four layers: where no file would go through the board, the numbers mean something else (our assumption, said as PKG-016)."""
    copper = b"%FSLAX24Y24*%%MOMM*%%ADD10C,1*%D10*X0Y0D03*M02*"
    members = [Member(name, copper) for name in ("b.gtl", "b.g1", "b.g2", "b.gbl")] + [
        _hole_file(one) for one in drills
    ]
    plan = plan_package(members)
    assert [f.role.span for one in drills for f in plan.files if f.member.name == one] == spans
    assert ("PKG-016" in {f.code for f in plan.findings}) == (len(drills) == 1)


def _drawn(flashes: str, more: str = "") -> bytes:
    return f"%FSLAX33Y33*%%MOMM*%%ADD10C,1.6*%%ADD11C,0.3*%D10*{flashes}{more}M02*".encode()


def test_unknown_files_beside_known_copper_are_told_by_what_they_draw() -> None:
    """An inner layer by tracks that end on the lands of the holes, a plane by its area, drill data by its name and round objects; a mask is left out and said to be."""
    spots = [(10 * k, 10 * (k % 3)) for k in range(8)]
    flashes = "".join(f"X{x * 1000}Y{y * 1000}D03*" for x, y in spots)
    tracks = "D11*X0Y0D02*X10000Y10000D01*X20000Y20000D02*X30000Y0D01*"
    round_cut = "".join(f"X{35000 - 100 * k}Y{10000 + 90 * k}D01*" for k in range(110))
    plane = (
        "G36*X-5000Y-5000D02*X75000Y-5000D01*X75000Y25000D01*X-5000Y25000D01*X-5000Y10000D01*"
        + round_cut
        + "X-5000Y-5000D01*G37*"
    )
    files = {"b.gtl": _drawn(flashes, tracks), "b.gbl": _drawn(flashes, tracks), "b_aa.gbr": _drawn(flashes, tracks), "b_bb.gbr": _drawn("", plane),
             "b_cc.gbr": _drawn(flashes), "b_holes.gbr": _drawn(flashes)}  # fmt: skip
    read = {f.member.name: f.role for f in plan_package([Member(name, data) for name, data in files.items()]).files}
    assert [read[name].key for name in ("b.gtl", "b_aa.gbr", "b_bb.gbr", "b.gbl")] == ["c", "i1", "i2", "s"]
    assert read["b_cc.gbr"].kind is RoleKind.OTHER and read["b_holes.gbr"].kind is RoleKind.DRILL


@pytest.mark.parametrize(("name", "side", "number"), [
    ("oben.gbr", "c", None), ("unten.gbr", "s", None), ("innen1.gbr", None, 1), ("b_innen2.gbr", None, 2),
    ("z_component.art", "c", None), ("c_solder.art", "s", None), ("b_layer2.art", None, 2), ("a_layer3.art", None, 3),
    ("b_copper.gbr", "s", None), ("f_layer1_top.gbr", "c", None), ("layer2_bottom.gbr", "s", None), ("bot_layer.gbr", "s", None),
])  # fmt: skip
def test_copper_named_in_german_and_by_letters_that_only_order_the_files(name: str, side: str | None, number: int | None) -> None:  # fmt: skip
    """Names seen in packages (common practice, no source)."""
    role = from_name(name)
    assert role is not None and role.kind is RoleKind.COPPER and role.side == side
    assert number is None or role.number == number


@pytest.mark.parametrize(("name", "kind"), [("c_solder_mask.art", RoleKind.MASK), ("z_smc.art", RoleKind.MASK), ("solder_paste_top.gbr", RoleKind.PASTE)])  # fmt: skip
def test_a_solder_mask_is_no_solder_side(name: str, kind: RoleKind) -> None:
    role = from_name(name)
    assert role is not None and role.kind is kind


def test_copper_known_by_its_look_alone_is_said_with_what_may_be_wrong() -> None:
    land = b"%FSLAX44Y44*%%MOMM*%%ADD10C,1.0*%%ADD11C,0.3*%D10*X0Y0D03*X100000Y0D03*X0Y50000D03*X100000Y50000D03*D11*X0Y0D02*X100000Y0D01*X0Y50000D02*X100000Y50000D01*M02*"
    plan = plan_package([Member("p.gbr", land), Member("q.gbr", land)])
    (found,) = [f for f in plan.findings if f.code == "PKG-019"]
    assert "p.gbr, q.gbr" in found.words and "order of the names" in found.words


def test_an_archive_within_a_package_is_named_and_not_opened() -> None:
    with pytest.raises(Refusal) as caught:
        plan_package([Member("inner.zip", b"PK\x03\x04" + bytes(30)), Member("h.drl", DRILL)])
    found = caught.value.finding
    assert (found.code, found.place.file) == ("PKG-002", "inner.zip") and "Unpack it" in found.remedy
