"""A small hand-made case for tests of the record: two areas, readings, a break, a wire, a power-up, words that try to break out."""

from __future__ import annotations

import numpy as np
import shapely

from coppermend.core.board.model import Board, CopperLayer, Net, Part
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.core.log import state as log
from coppermend.core.planning.model import Check, Span
from coppermend.services.recording.gather import CaseFacts, Found, Judgement, gather
from coppermend.services.recording.model import RecordView

NASTY = '#panic("x") </svg><script>alert(1)</script> $x$ `raw` *b* @ref <l> \\ "q" \' {{7*7}} =cmd|x é\x07\x00'
"""Markup of HTML, SVG and typst, control characters, and a letter beyond ASCII."""


def layer(key: str) -> CopperLayer:
    """Tracks across on the component side, up and down on the solder side, and lands."""
    rng = np.random.default_rng(4)
    shapes: list[shapely.Geometry] = []
    for _ in range(40):
        x, y = rng.uniform(5, 75), rng.uniform(5, 45)
        to = (x + 15, y) if key == "c" else (x, y + 12)
        shapes.append(shapely.LineString([(x, y), to]))
    shapes.append(shapely.Polygon([(2, 2), (12, 2), (12, 6), (2, 6)]))
    shapes.extend(shapely.Point(x, y) for x in range(10, 90, 10) for y in range(10, 50, 10))
    radii = [0.15] * 40 + [0.0] + [0.75] * (len(shapes) - 41)
    count = len(shapes)
    words = np.full(count, "", dtype=object)
    return CopperLayer(
        key, f"{key}.gbr", ShapeSet.of(shapes, radii), words, np.zeros(count, np.int32), words, words, words
    )


def board() -> Board:
    """100 by 60 mm, two layers, one chip."""
    outline = np.array([[0, 0], [100, 0], [100, 60], [0, 60]], dtype=float)
    chip = Part("U9", "c", np.array([[30, 20], [50, 20], [50, 28], [30, 28]], dtype=float), "silk", (), "74LS00")
    note = Finding("GBR-001", Severity.GUESS, Place(file="top.gtl", line=3), f"Role guessed {NASTY}")
    return Board(
        "0" * 64, "Sample board", (layer("c"), layer("s")), (), (chip,), (Net(0, "A0", ("A0",), ()),), (outline,),
        (), (), (), (0.0, 0.0), 1.6, (), (note,), corrections="# nothing",
    )  # fmt: skip


def sites() -> tuple[Site, ...]:
    """Twelve runs, the odd ones on the solder side, and a barrel."""
    runs = [
        Site(
            f"run@{i}", SiteKind.RUN, 0, i, i + 1, "s" if i % 2 else "c", ((20 + i, 30 + i), (26 + i, 30 + i)), (0.3,),
            6.0, 0.3, 0.01, words=f"the track number {i}",
        )
        for i in range(12)
    ]  # fmt: skip
    barrel = Site("barrel@1", SiteKind.BARREL, 0, 1, 2, "", ((40, 50),), (), 1.6, 0.8, 0.0005, words="the via under U9")
    return (*runs, barrel)


def graph() -> CopperGraph:
    """The copper of the sample."""
    return CopperGraph("0" * 64, ("A0",), (0,) * 20, ((0.0, 0.0, "c"),) * 20, ("land",) * 20, sites(), (), ())


def point(name: str, x: float, y: float, pin: str = "4") -> log.PointRef:
    """A point of U9."""
    return log.PointRef(name, x, y, "s", "A0", "U9", pin)


def state(title: str = f"Machine {NASTY}") -> log.CaseState:
    """A case with a bit of everything."""
    a, b = point("U9.4/joint-s", 38, 40), log.PointRef("via@31200,40000/c", 31.2, 40.0, "c", "A0")
    readings = tuple(
        log.Reading(
            f"e{i}", i + 2, ("closed", "open", "ohms")[i % 3], (a, b), 2.25 if i % 3 == 2 else None, "", "", "beep", (),
            f"2026-11-20T10:{i:02d}:00.000Z",
        )
        for i in range(9)
    )  # fmt: skip
    wire = log.Wire(
        "w1",
        20,
        point("U9.4/joint-s", 38, 40),
        point("U9.5/joint-s", 70, 55, "5"),
        0.2546,
        48.0,
        30,
        "",
        "2026-11-20T11:00:00Z",
    )
    areas = (
        log.Area("a1", 0, ((15, 25), (65, 25), (65, 58), (15, 58)), "rework", 2, f"near {NASTY}", "U9", 3.0),
        log.Area("a2", 1, ((70, 5), (95, 5), (95, 20), (70, 20)), "corrosion", 1, "cell", "", None),
    )
    seen = log.Seen("s1", 31, "checkerboard", "one beep", "", "", 0.41, f"steady {NASTY}", "2026-11-20T12:01:00Z")
    power = log.PowerUp("p1", 30, "2026-11-20T12:00:00Z", "", 0.5, True, "", ("w1",), (seen,))
    timeline = tuple(
        log.TimelineItem(name, i, i + 1, "b", "remark", f"2026-11-20T10:{i:02d}:00.000Z", "tech", words, i == 2)
        for i, (name, words) in enumerate(
            [("c", "case opened"), ("r", f"remark {NASTY}"), ("u", "closed by mistake"), ("w1", "patch wire 1")]
        )
    )
    return log.CaseState(
        "0193-case", title, "S/N 42", f"Black screen. {NASTY}\nSecond line.", f"Owner {NASTY}", "2026-11-20T09:00:00Z", "demo", "0" * 64,
        areas, readings, (), (), (wire,), (), (), (), 20, False, (power,), (),
        (log.Note("n", 40, "test", "keyboard", "works", f"all keys {NASTY}", ""), log.Note("n2", 41, "test", "sound", "not tested", "", ""),),
        "on the bench", (), (), ("u",), timeline, "n2",
    )  # fmt: skip


def judgement() -> Judgement:
    """One mended break, eight proven places, the rest open, a barrel that continuity cannot prove."""
    names = tuple(site.id for site in sites())
    p = {name: (0.0001 if i < 8 or name == "barrel@1" else 0.01) for i, name in enumerate(names)}
    span = Span("A0", ("run@9", "run@11"), 0.998, f"between the via under U9 and U9.5, solder side {NASTY}")
    left = Check("c1", "isolation", "a", "b", "A0", "A1", None, (), 3.0, "reason")
    return Judgement(
        names,
        p,
        (Found(span, "w1"),),
        (("barrel@1", "there are two ways round", "lift one leg"),),
        (),
        (left,),
        frozenset(),
    )


def view(title: str = f"Machine {NASTY}") -> RecordView:
    """The record of the sample."""
    facts = CaseFacts(1, 76, "ab" * 32, "2026-11-20T12:05:00.000Z")
    return gather(state(title), facts, board(), graph(), judgement())
