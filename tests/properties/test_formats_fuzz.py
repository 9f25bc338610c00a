"""Whatever bytes come in, the answer is a value with findings or a Refusal in words, soon (design.md, invariant 7)."""

from __future__ import annotations

import io
import random
import re
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.facts import test_formats_centroid as placements
from tests.facts import test_formats_ipc2581 as ipc2581
from tests.oracles.gerber_cases import CASES
from tests.soak import SECONDS, code_mark, soak

from coppermend.core.findings import Refusal
from coppermend.formats.archive import read_zip
from coppermend.formats.centroid import read_centroids
from coppermend.formats.drill import candidate_formats, read_drill, read_side_file
from coppermend.formats.gerber import read_gerber
from coppermend.formats.gerberjob import read_gerberjob
from coppermend.formats.ipc2581 import read_ipc2581
from coppermend.formats.ipcd356 import read_ipcd356
from coppermend.formats.member import Member
from coppermend.formats.package import plan_package, read_corrections
from coppermend.services.boards import Package, board_of

GERBERS = [c.text.replace("*", "*\n").encode() for c in CASES] + [c.text.encode() for c in CASES[::5]]
DRILLS = [
    b"M48\nINCH,LZ,00.0000\nT01C0.03\n%\nG90\nT01\nX01Y01\nR5X001\nM25\nX02Y02\nM01\nM02X1Y1M80\nR3M02X01Y01\nM08\nG00X1Y1\nM15\n"
    b"G01X2Y2\nG02X3Y3A1\nG03X3Y3I1J1\nM16\nG05\nX1Y1G85X2Y2\nG32X1Y1A1\nG91\nX1Y1\nG93X1Y1\nM30\n",
    b"M48\n; FORMAT={-:-/ absolute / metric / decimal}\n; #@! TF.FileFunction,Plated,1,4,PTH\nFMAT,2\nMETRIC\n"
    b"; #@! TA.AperFunction,Plated,PTH,ViaDrill\nT1C0.350\n%\nG90\nG05\nT1\nX21.9Y-109.9\nX29.464Y-50.054G85X29.464Y-52.054\nM30\n",
    b";FILE : a-1-10.drl\n;T01 Holesize 1. = 8.0 Tolerance = +3.0/-3.0 PLATED MILS Quantity = 3\n%\nG90\nT01\nX00130500Y00184500\nM30\n",
]
NETLISTS = [
    b"P  UNITS CUST 1\nP  NNAMEm0000 LONG_NAME\n317A                U1    -1    D0400PA00X+010000Y+020000X0600Y0000R000S3\n"
    b"027                                    A02X0500Y0000\n327NNAMEm0000       C1    -2          A01X+005000Y+006000X0500Y0250R180 S1\n"
    b"378A             L01 X0100     X+010000Y+010000X+02Y+03\n078                X+012Y+2\n379A             B C\n"
    b"389BOARD          X+0Y+0X+100000Y+0\n089 X+10Y+10\n999\n"
]
SIDES = [
    b"INTEGER-PLACES 3\nDECIMAL-PLACES 5\nOUTPUT-UNITS ENGLISH\nFORMAT 3.5\n T01 1. 8.0000 3.0/3.0 PLATED 1873\n 8.0 P T01 3.0\n"
]
JOBS = [
    b'{"GeneralSpecs": {"Size": {"X": 1, "Y": 2}}, "FilesAttributes": [{"Path": "a.gtl", "FileFunction": "Copper,L1,Top"}]}'
]
CORRECTIONS = [
    b'[file."a.gbr"]\nrole = "copper c"\npolarity = "negative"\nplated = true\nunit = "inch"\ndigits = "2.4"\nlayers = [1, 4]\n'
]


def _zip() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a/b.gbr", GERBERS[0] * 30)
        archive.writestr("c.drl", DRILLS[0])
    return out.getvalue()


def _plan(data: bytes) -> object:
    return plan_package(
        [Member("a.gtl", GERBERS[0]), Member("x.gbr", data), Member("y.drl", data), Member("z.gbrjob", data)]
    )


def _ipc2581() -> list[bytes]:
    """A file with most kinds of elements: part, package, padstack, nets, negative sets, holes, a slot, a stack-up, a panel step."""
    land = '<Pad padstackDefRef="V"><Xform rotation="30" mirror="true"/><Location x="3" y="4"/><PinRef componentRef="U1" pin="1"/></Pad>'
    stack = (
        '<PadStackDef name="V"><PadstackHoleDef name="h" diameter="0.4" platingStatus="PLATED" x="0" y="0"/>'
        '<PadstackPadDef layerRef="TOP" padUse="REGULAR"><Location x="0" y="0"/><StandardPrimitiveRef id="R"/></PadstackPadDef></PadStackDef>'
    )
    part = (
        '<Component refDes="U1" packageRef="P" layerRef="TOP"><Xform rotation="90"/><Location x="3" y="4"/></Component>'
    )
    net = '<LogicalNet name="A"><PinRef componentRef="U1" pin="2"/></LogicalNet><PhyNet name="A"><PhyNetPoint x="1" y="1" layerRef="TOP"/></PhyNet>'
    arc = (
        '<Features><Location x="1" y="1"/><Contour><Polygon><PolyBegin x="-1" y="0"/><PolyStepCurve x="1" y="0" centerX="0" centerY="0" '
        'clockwise="true"/></Polygon><Cutout><PolyBegin x="0" y="0"/><PolyStepSegment x="0" y="1"/><PolyStepSegment x="1" y="1"/></Cutout></Contour></Features>'
    )
    slot = (
        '<SlotCavity name="s" platingStatus="PLATED"><Location x="1" y="2"/><Oval width="3" height="1"/></SlotCavity>'
    )
    top = ipc2581.feature(
        "TOP",
        f'<Set net="A">{land}{ipc2581.line(0, 0, 3, 4)}{arc}</Set>',
        f'<Set polarity="NEGATIVE">{ipc2581.pad(1, 1)}</Set>',
    )
    step = (
        stack
        + ipc2581.PACKAGE
        + part
        + net
        + top
        + ipc2581.feature("DRL", f'<Set net="A">{ipc2581.hole(3, 4)}{slot}</Set>')
    )
    return [
        ipc2581.xml(step),
        ipc2581.xml(step, layers=ipc2581.LAYERS + ipc2581.FOUR, stackup=ipc2581.STACKUP, unit="INCH"),
    ]


READERS: dict[str, tuple[list[bytes], Callable[[bytes], object]]] = {
    "gerber": (GERBERS, lambda d: read_gerber(d, "f")),
    "drill": (DRILLS, lambda d: candidate_formats(read_drill(d, "f"))),
    "netlist": (NETLISTS, lambda d: read_ipcd356(d, "f")),
    "ipc2581": (_ipc2581(), lambda d: read_ipc2581(d, "f")),
    "placement list": ([text.encode() for text in placements.DIALECTS.values()], lambda d: read_centroids(d, "f")),
    "side": (SIDES, lambda d: read_side_file(d, "f")),
    "job": (JOBS, lambda d: read_gerberjob(d, "f")),
    "corrections": (CORRECTIONS, lambda d: read_corrections(d, "f")),
    "zip": ([_zip()], lambda d: read_zip(d, "f")),
    "package": (GERBERS[:3] + DRILLS + NETLISTS + SIDES, _plan),
}
PIECES = [
    b"X", b"Y", b"I", b"J", b"*", b"%", b"G36*", b"G37*", b"D01*", b"D02*", b"D03*", b"G02", b"G03", b"0", b"-", b"9" * 30, b".",
    b"%AB*%", b"%ABD12*%", b"%SRX100Y50I1J1*%", b"%SR*%", b"D12*", b"(", b"$1", b"/0", b"\n", b"T1", b"C", b"R99", b"M02", b"999999999",
    b"\xff", b"\xc3\x28", b"G85", b"%LS9*%", b"%AMA*1,1,$1/$2,0,0*%", b"%ADD10C,0*%", b"e9", b"nan", b"\xd9\xa3", b"G91", b"M15", b"A1",
    b'x="', b"<Set>", b"</Set>", b"&lt;", b"<!-- -->", b'="-', b"NEGATIVE", b'radius="9', b"INCH", b"<Cutout>",
    b"%FSTIX99Y99*%", b"%MOMM*%", b"D10*", b"1e400", b"\x1f", b"\0", b"[", b"{", b'"',
]  # fmt: skip


def mutated(rng: random.Random, pool: list[bytes]) -> bytes:
    data = bytearray(rng.choice(pool))
    for _ in range(rng.choice([1, 1, 2, 3, 5, 10, 30])):
        if not data:
            break
        at, kind = rng.randrange(len(data)), rng.random()
        if kind < 0.2:
            data[at] = rng.randrange(256)
        elif kind < 0.35:
            del data[at : at + rng.randrange(1, 20)]
        elif kind < 0.65:
            data[at:at] = rng.choice(PIECES)
        elif kind < 0.75:
            del data[at:]
        else:
            other = rng.choice(pool)
            start = rng.randrange(len(other))
            data[at:at] = other[start : start + rng.randrange(1, 60)]
    return bytes(data)


def assert_answers(reader: Callable[[bytes], object], data: bytes) -> bool:
    """True for a value, False for a Refusal with words; anything else fails."""
    begin = time.process_time()
    try:
        reader(data)
        answered = True
    except Refusal as refusal:
        assert refusal.finding.words
        assert refusal.finding.remedy
        answered = False
    assert time.process_time() - begin < SECONDS
    return answered


@pytest.mark.parametrize("name", READERS)
@settings(max_examples=150)
@given(seed=st.integers(0, 2**32))
def test_mutated_files_are_read_or_refused(name: str, seed: int) -> None:
    pool, reader = READERS[name]
    assert_answers(reader, mutated(random.Random(seed), pool))


@pytest.mark.parametrize("name", READERS)
@settings(max_examples=60)
@given(data=st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(name: str, data: bytes) -> None:
    assert_answers(READERS[name][1], data)


@pytest.mark.parametrize("name", READERS)
def test_the_unmutated_files_are_read(name: str) -> None:
    pool, reader = READERS[name]
    assert all(assert_answers(reader, data) for data in pool)


VALUES = [
    b"",
    b"0",
    b"-1",
    b"1e308",
    b"nan",
    b"inf",
    b"TOP",
    b"BOT",
    b"DRL",
    b"P",
    b"U1",
    b"R",
    b"360000",
    b"-0.0001",
    b"1e-9",
    b"99999",
    b"true",
    b"NEGATIVE",
    b"HOLLOW",
]


def reworded(rng: random.Random, data: bytes) -> bytes:
    """Well-formed XML with some attribute values exchanged and some elements left out or doubled."""
    for _ in range(rng.choice([1, 1, 2, 4, 9])):
        spots = [m.span(1) for m in re.finditer(rb'="([^"]*)"', data)]
        begin, end = rng.choice(spots)
        data = data[:begin] + rng.choice(VALUES) + data[end:]
        if rng.random() < 0.4:
            whole = [m.span() for m in re.finditer(rb"<(?!IPC|\?)[A-Za-z]+ [^<>]*/>", data)]
            begin, end = rng.choice(whole)
            data = data[:begin] + data[begin:end] * rng.choice([0, 2, 50]) + data[end:]
    return data


def _ipc2581_board(data: bytes) -> object:
    return board_of(Package("b", (Member("b.xml", data),)))


@settings(max_examples=80)
@given(seed=st.integers(0, 2**32))
def test_reworded_ipc2581_files_are_boards_or_refused(seed: int) -> None:
    rng = random.Random(seed)
    assert_answers(_ipc2581_board, reworded(rng, rng.choice(READERS["ipc2581"][0])))


TRIALS = 10_000


def whole(done: int) -> None:
    """Says so where COPPERMEND_SOAK_SECONDS ended a job early: it goes on when run again."""
    if done < TRIALS:
        pytest.skip(f"{done} of {TRIALS} trials done; run it again to go on")


@pytest.mark.soak
def test_ten_thousand_reworded_ipc2581_files() -> None:
    def trial(n: int) -> None:
        rng = random.Random(f"reworded {n}")
        assert_answers(_ipc2581_board, reworded(rng, rng.choice(READERS["ipc2581"][0])))

    whole(soak("reworded ipc2581", TRIALS, code_mark("formats", "core/board", "core/copper", "core/geometry"), trial))


@pytest.mark.soak
@pytest.mark.parametrize("name", READERS)
def test_ten_thousand_mutations(name: str) -> None:
    """Each trial has a seed of its own, so a stopped job goes on and a failing one can be run alone."""
    pool, reader = READERS[name]
    mark = code_mark("formats", "core/geometry")
    whole(
        soak(
            f"mutations {name}",
            TRIALS,
            mark,
            lambda n: assert_answers(reader, mutated(random.Random(f"{name} {n}"), pool)),
        )
    )


def test_a_stopped_job_goes_on_where_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COPPERMEND_SOAK", str(tmp_path))
    seen: list[int] = []

    def trial(n: int) -> None:
        seen.append(n)
        if len(seen) == 7:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        soak("a job", 10, "one", trial)
    assert soak("a job", 10, "one", trial) == 10
    assert seen == [0, 1, 2, 3, 4, 5, 6, 6, 7, 8, 9]
    assert soak("a job", 10, "one", trial) == 10 and len(seen) == 11
    assert soak("a job", 3, "other code", trial) == 3 and seen[11:] == [0, 1, 2]
