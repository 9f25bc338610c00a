"""One board written in the dialects of many design systems: names of files, number formats of drill data, forms of netlists.

The patterns of names and headers are common practice as seen in packages of open hardware, no source; nothing is copied from one.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.formats.drill import DrillFile

KINDS = ("c", "s", "mask c", "mask s", "silk c", "silk s", "paste c", "paste s", "outline", "plated", "unplated")


@dataclass(frozen=True, slots=True)
class Family:
    """File names of one design system; ``inner`` with {n} counting inner layers from 1 and {m} counting all layers from the top, {last} the number of layers."""

    inner: str
    names: tuple[str, ...]

    def called(self, count: int) -> dict[str, str]:
        """The name of each thing of a board of ``count`` layers: KINDS and i1, i2 ..."""
        out = {kind: name.format(last=count) for kind, name in zip(KINDS, self.names, strict=True)}
        return out | {f"i{n}": self.inner.format(n=n, m=n + 1) for n in range(1, count - 1)}


def _family(inner: str, names: str) -> Family:
    return Family(inner, tuple(one.strip() for one in names.split("|")))


FAMILIES = {
    "gxl": _family(
        "B.G{n}",
        "B.GTL|B.GBL|B.GTS|B.GBS|B.GTO|B.GBO|B.GTP|B.GBP|B.GM1|B-Plated.TXT|B-NonPlated.TXT",
    ),
    "planes": _family(
        "B.GP{n}",
        "B.GTL|B.GBL|B.GTS|B.GBS|B.GTO|B.GBO|B.GTP|B.GBP|B.GKO|B-RoundHoles-Plated.TXT|B-RoundHoles-NonPlated.TXT",
    ),
    "cmp": _family(
        "b.ly{m}",
        "b.cmp|b.sol|b.stc|b.sts|b.plc|b.pls|b.crc|b.crs|b.dim|b.drd|b-npth.drd",
    ),
    "spoken": _family(
        "copper_inner_l{m}.gbr",
        "copper_top.gbr|copper_bottom.gbr|soldermask_top.gbr|soldermask_bottom.gbr|silkscreen_top.gbr"
        "|silkscreen_bottom.gbr|solderpaste_top.gbr|solderpaste_bottom.gbr|profile.gbr|drill_1_16.xln"
        "|drill_npth.xln",
    ),
    "in": _family(
        "IN{n}.art",
        "TOP.art|BOTTOM.art|SMT.art|SMB.art|SST.art|SSB.art|SPT.art|SPB.art|OUTLINE.art|b-1-{last}.drl"
        "|b-1-{last}-np.drl",
    ),
    "lm": _family(
        "L{m}_GND{m}.art",
        "L1_TOP.art|L{last}_BOTTOM.art|SOLDERMASK_TOP.art|SOLDERMASK_BOTTOM.art|SILKSCREEN_TOP.art"
        "|SILKSCREEN_BOTTOM.art|PASTEMASK_TOP.art|PASTEMASK_BOTTOM.art|OUTLINE.art|b-1-{last}.drl|b_npth.drl",
    ),
    "etch": _family(
        "ETCH_L{m}.art",
        "ETCH_TOP.art|ETCH_BOT.art|MASK_TOP.art|MASK_BOT.art|SILK_TOP.art|SILK_BOT.art|PASTE_TOP.art|PASTE_BOT.art"
        "|OUTLINE.art|ncdrill.tap|ncdrill_np.tap",
    ),
    "art": _family(
        "art{m:02d}.pho",
        "art01.pho|art{last:02d}.pho|sm0121.pho|sm{last:02d}28.pho|sst0126.pho|ssb{last:02d}29.pho|smd0123.pho"
        "|smd{last:02d}22.pho|outline.pho|drl00.drl|drl01np.drl",
    ),
    "numbered": _family(
        "Layer_{m}.gbr",
        "Layer_1.gbr|Layer_{last}.gbr|Soldermask_Top.gbr|Soldermask_Bottom.gbr|Silkscreen_Top.gbr"
        "|Silkscreen_Bottom.gbr|Paste_Top.gbr|Paste_Bottom.gbr|Outline.gbr|Drill_Plated.drl|Drill_Unplated.drl",
    ),
    "capitals": _family(
        "EtchLayer{m}.gdo",
        "EtchLayer1Top.gdo|EtchLayer{last}Bottom.gdo|SoldermaskTop.gdo|SoldermaskBottom.gdo"
        "|GeneratedSilkscreenTop.gdo|GeneratedSilkscreenBottom.gdo|SolderpasteTop.gdo|SolderpasteBottom.gdo"
        "|BoardOutline.gdo|ThruHolePlated.ncd|ThruHoleNonPlated.ncd",
    ),
    "plain": _family(
        "Inner_Layer_{n}.gbr",
        "Top.gbr|Bottom.gbr|TopMask.gbr|BottomMask.gbr|TopSilk.gbr|BottomSilk.gbr|TopPaste.gbr|BottomPaste.gbr"
        "|BoardOutline.gbr|Through.drl|Through_nonplated.drl",
    ),
    "longer": _family(
        "Gerber_InnerLayer{n}.G{n}",
        "Gerber_TopLayer.GTL|Gerber_BottomLayer.GBL|Gerber_TopSolderMaskLayer.GTS|Gerber_BottomSolderMaskLayer.GBS"
        "|Gerber_TopSilkscreenLayer.GTO|Gerber_BottomSilkscreenLayer.GBO|Gerber_TopPasteMaskLayer.GTP"
        "|Gerber_BottomPasteMaskLayer.GBP|Gerber_BoardOutlineLayer.GKO|Drill_PTH_Through.DRL"
        "|Drill_NPTH_Through.DRL",
    ),
    "groups": _family(
        "b.group{m}.gbr",
        "b.front.gbr|b.back.gbr|b.frontmask.gbr|b.backmask.gbr|b.frontsilk.gbr|b.backsilk.gbr|b.frontpaste.gbr"
        "|b.backpaste.gbr|b.outline.gbr|b.plated-drill.cnc|b.unplated-drill.cnc",
    ),
    "dotted": _family(
        "b.intern.copper.none.{m}.gbr",
        "b.top.copper.none.3.gbr|b.bottom.copper.none.12.gbr|b.top.mask.none.2.gbr|b.bottom.mask.none.13.gbr"
        "|b.top.silk.none.1.gbr|b.bottom.silk.none.14.gbr|b.top.paste.none.0.gbr|b.bottom.paste.none.15.gbr"
        "|b.global.boundary.uroute.14.gbr|b.plated.cnc|b.unplated.cnc",
    ),
    "spaced": _family(
        "b - Copper Inner {n}.gbr",
        "b - Copper Top.gbr|b - Copper Bottom.gbr|b - Solder Mask Top.gbr|b - Solder Mask Bottom.gbr"
        "|b - Silkscreen Top.gbr|b - Silkscreen Bottom.gbr|b - Paste Mask Top.gbr|b - Paste Mask Bottom.gbr"
        "|b - Board Outline.gbr|b - Drill-Copper Top-Copper Bottom.drl|b - NPTH.drl",
    ),
    "resist": _family(
        "b - Inner Copper {n}.TXT",
        "b - Top Copper.TXT|b - Bottom Copper.TXT|b - Top Solder Resist.TXT|b - Bottom Solder Resist.TXT"
        "|b - Top Silk Screen.TXT|b - Bottom Silk Screen.TXT|b - Top Paste Mask.TXT|b - Bottom Paste Mask.TXT"
        "|b - Mechanical 1.TXT|b - Drill.TXT|b - NPTH.TXT",
    ),
    "older": _family(
        "b-L{m}.pho",
        "b-Component.pho|b-Copper.pho|b-Mask_Cmp.pho|b-Mask_Cop.pho|b-SilkS_Cmp.pho|b-SilkS_Cop.pho"
        "|b-SoldP_Cmp.pho|b-SoldP_Cop.pho|b-Edges_Pcb.pho|b.drl|b-NPTH.drl",
    ),
    "letters": _family(
        "b.internalplane{n}.ger",
        "b.toplayer.ger|b.bottomlayer.ger|b.topsoldermask.ger|b.bottomsoldermask.ger|b.topsilkscreen.ger"
        "|b.bottomsilkscreen.ger|b.tcream.ger|b.bcream.ger|b.boardoutline.ger|b.drills.xln|b.npth.xln",
    ),
    "a board called b": _family(
        "b_copperInner{n}.gbr",
        "b_copperTop.gbr|b_copperBottom.gbr|b_maskTop.gbr|b_maskBottom.gbr|b_silkTop.gbr|b_silkBottom.gbr"
        "|b_pasteMaskTop.gbr|b_pasteMaskBottom.gbr|b_contour.gm1|b_drill.txt|b_npth_drill.txt",
    ),
    "sides": _family(
        "b_inner_layer_{n}.gbr",
        "b_component_side.gbr|b_solder_side.gbr|b_component_mask.gbr|b_solder_mask.gbr|b_component_silk.gbr"
        "|b_solder_silk.gbr|b_component_paste.gbr|b_solder_paste.gbr|b_border.gbr|b_drill.drl|b_drill_unplated.drl",
    ),
}  # fmt: skip


# ---- drill data ----
@dataclass(frozen=True, slots=True)
class Digits:
    """How coordinates are written: unit, digits before and after the point, which zeros are left out (or ``point``: a decimal point)."""

    unit: str = "in"
    whole: int = 2
    decimals: int = 4
    omitted: str = "leading"
    point: bool = False

    def of(self, value_mm: float) -> str:
        """A coordinate in this form."""
        value = value_mm if self.unit == "mm" else value_mm / 25.4
        if self.point:
            return f"{value:.{self.decimals}f}"
        number = round(value * 10**self.decimals)
        text = str(abs(number)).rjust(self.whole + self.decimals, "0")
        text = {"leading": text.lstrip("0") or "0", "trailing": text.rstrip("0") or "0"}.get(self.omitted, text)
        return ("-" if number < 0 else "") + text

    def size(self, value_mm: float) -> str:
        """A tool's size."""
        return f"{value_mm if self.unit == 'mm' else value_mm / 25.4:.5f}"


def sizes_mm(holes: DrillFile) -> list[float]:
    """The tools' sizes, small to large."""
    return sorted({round(float(d), 4) for d in holes.diameter_mm})


def motions(holes: DrillFile, digits: Digits, first: int = 1, dx_mm: float = 0.0, modal: bool = False) -> list[str]:
    """Tool selections and coordinates; ``modal`` leaves out a coordinate that does not change."""
    lines: list[str] = []
    for number, size in enumerate(sizes_mm(holes), first):
        lines.append(f"T{number:02d}")
        last = ("", "")
        for k in np.flatnonzero(np.abs(holes.diameter_mm - size) < 1e-4):
            x, y = digits.of(float(holes.x_mm[k]) + dx_mm), digits.of(float(holes.y_mm[k]))
            x2, y2 = digits.of(float(holes.x2_mm[k]) + dx_mm), digits.of(float(holes.y2_mm[k]))
            if (x, y) != (x2, y2):
                lines.append(f"X{x}Y{y}G85X{x2}Y{y2}")
                last = ("", "")
                continue
            same_x, same_y = modal and x == last[0], modal and y == last[1] and x != last[0]
            lines.append(("" if same_x else f"X{x}") + ("" if same_y else f"Y{y}"))
            last = (x, y)
    return lines


def drill_file(holes: DrillFile, digits: Digits, head: tuple[str, ...], dx_mm: float = 0.0, modal: bool = False, sized: bool = True) -> bytes:  # fmt: skip
    """A whole drill file: ``head`` the lines after M48; ``sized`` False leaves the tool table out."""
    tools = [f"T{n:02d}C{digits.size(s)}" for n, s in enumerate(sizes_mm(holes), 1)] if sized else []
    lines = ["M48", *head, *tools, "%", *motions(holes, digits, 1, dx_mm, modal), "M30"]
    return ("\n".join(lines) + "\n").encode()


def both_in_one(plated: DrillFile, unplated: DrillFile, how: str) -> bytes:
    """Plated and unplated holes in one file: told by ``type`` comments before the tools, by ``holesize`` comments, or not at all (``none``)."""
    digits = Digits(decimals=5, omitted="none" if how == "holesize" else "leading")
    one, two = sizes_mm(plated), sizes_mm(unplated)
    if how == "holesize":
        said = [(s, "PLATED") for s in one] + [(s, "NON_PLATED") for s in two]
        head = [f";T{n:02d} Holesize {n}. = {s / 0.0254:.3f} Tolerance = +0/-0 {word} MILS Quantity = 1" for n, (s, word) in enumerate(said, 1)]  # fmt: skip
    else:
        table = [f"T{n:02d}F00S00C{digits.size(s)}" for n, s in enumerate(one + two, 1)]
        words = (";TYPE=PLATED", ";TYPE=NON_PLATED") if how == "type" else (";", ";")
        head = ["M48", ";FILE_FORMAT=2:5", "INCH,TZ", words[0], *table[: len(one)], words[1], *table[len(one) :]]
    lines = [*head, "%", "G90", *motions(plated, digits), *motions(unplated, digits, len(one) + 1), "M30"]
    return ("\r\n".join(lines) + "\r\n").encode()


def drill_as_gerber(holes: DrillFile) -> bytes:
    """Holes drawn as a Gerber layer: a flash for each, a stroke for each slot."""
    lines = ["%FSLAX25Y25*%", "%MOIN*%"]
    lines += [f"%ADD{10 + k}C,{s / 25.4:.5f}*%" for k, s in enumerate(sizes_mm(holes))]
    for k, size in enumerate(sizes_mm(holes)):
        lines.append(f"D{10 + k}*")
        for j in np.flatnonzero(np.abs(holes.diameter_mm - size) < 1e-4):
            ends = (holes.x_mm[j], holes.y_mm[j], holes.x2_mm[j], holes.y2_mm[j])
            x, y, x2, y2 = (round(float(v) / 25.4 * 1e5) for v in ends)
            lines += [f"X{x}Y{y}D03*"] if (x, y) == (x2, y2) else [f"X{x}Y{y}D02*", f"X{x2}Y{y2}D01*"]
    return "\n".join([*lines, "M02*"]).encode()


def drill_variants(plated: DrillFile, unplated: DrillFile) -> Iterator[tuple[str, dict[str, bytes]]]:
    """Name and files of each way to write the two drill files."""
    ways: dict[str, tuple[Digits, tuple[str, ...]]] = {
        "inch 2.4, leading zeros left out": (Digits(), ("INCH,TZ",)),
        "inch 2.4, trailing zeros left out": (Digits(omitted="trailing"), ("INCH,LZ",)),
        "inch 2.4, zeros not said": (Digits(omitted="trailing"), ("INCH",)),
        "inch 2.3, digits not said": (Digits(decimals=3), ("INCH",)),
        "inch 2.5 by comment": (Digits(decimals=5), (";FILE_FORMAT=2:5", "INCH,TZ")),
        "metric 4.4 by comment": (Digits("mm", 4, 4), (";FILE_FORMAT=4:4", "METRIC,TZ")),
        "metric 4.2, trailing": (Digits("mm", 4, 2, "trailing"), (";FILE_FORMAT=4:2", "METRIC,LZ")),
        "metric with points": (Digits("mm", 3, 3, point=True), ("METRIC",)),
        "metric 3.3 by picture": (Digits("mm", 3, 3, "trailing"), ("METRIC,LZ,000.000",)),
        "M71 alone": (Digits("mm", 3, 3), ("M71",)),
        "no unit": (Digits("mm", 3, 3), ()),
        "inch said, metric meant": (Digits("mm", 3, 3), ("INCH,TZ",)),
        "wrong zeros said": (Digits(omitted="trailing"), ("INCH,TZ",)),
    }
    for name, (digits, head) in ways.items():
        yield name, {"b.drl": drill_file(plated, digits, head), "b-NPTH.drl": drill_file(unplated, digits, head)}
    plain = Digits()
    yield "modal", {"b.drl": drill_file(plated, plain, ("INCH,TZ",), modal=True), "b-NPTH.drl": drill_file(unplated, plain, ("INCH,TZ",))}  # fmt: skip
    yield "another origin", {name: drill_file(holes, plain, ("INCH,TZ",), 30.0) for name, holes in (("b.drl", plated), ("b-NPTH.drl", unplated))}  # fmt: skip
    yield "old line ends", {"b.drl": drill_file(plated, plain, ("INCH,TZ",)).replace(b"\n", b"\r"), "b-NPTH.drl": drill_file(unplated, plain, ("INCH,TZ",))}  # fmt: skip
    yield "no tool sizes", {"b.drl": drill_file(plated, plain, ("INCH,TZ",), sized=False), "b-NPTH.drl": drill_file(unplated, plain, ("INCH,TZ",))}  # fmt: skip
    side = (
        b"INTEGER-PLACES 2\nDECIMAL-PLACES 5\nOUTPUT-UNITS ENGLISH\nSUPPRESS-LEAD-ZEROES NO\nSUPPRESS-TRAIL-ZEROES NO\n"
    )
    yield "sizes in comments, format beside", {"b-1-2.drl": both_in_one(plated, unplated, "holesize"), "nc_param.txt": side}  # fmt: skip
    yield "sizes in comments alone", {"b-1-2.drl": both_in_one(plated, unplated, "holesize")}
    yield "plating by comments", {"b.txt": both_in_one(plated, unplated, "type")}
    yield "drawn as Gerber", {"b_drill_plated.gbr": drill_as_gerber(plated), "b_drill_npth.gbr": drill_as_gerber(unplated)}  # fmt: skip
    usual = {"b.drl": drill_file(plated, plain, ("INCH,TZ",)), "b-NPTH.drl": drill_file(unplated, plain, ("INCH,TZ",))}
    yield "a drawing beside", {**usual, "b.GD1": drill_as_gerber(plated)}


# ---- netlists ----
_AT = re.compile(r"X([+-]\d{6})Y([+-]\d{6})")
Move = Callable[[int, int], tuple[int, int]]


def moved(lines: list[str], move: Move) -> list[str]:
    """The records with their places moved, outlines left alone."""

    def one(line: str) -> str:
        at = _AT.search(line)
        if at is None or line[:1] not in "30" or line[1:3] == "89":
            return line
        x, y = move(int(at[1]), int(at[2]))
        return f"{line[: at.start()]}X{x:+07d}Y{y:+07d}{line[at.end() :]}"

    return [one(line) for line in lines]


def is_point(line: str) -> bool:
    """Whether a line is a test record with a net's name."""
    return line[:3] in ("317", "327", "367", "307")


def netlist_variants(text: str) -> Iterator[tuple[str, list[str]]]:
    """Name and lines of each way to write the netlist; nets and places stay the same but for the origin."""
    lines = text.splitlines()
    yield "upper case", [line.upper() for line in lines]
    yield "80 columns", [line.ljust(80) for line in lines]
    yield "another origin", moved(lines, lambda x, y: (x + 12345, y - 5000))
    yield "mirrored", moved(lines, lambda x, y: (100000 - x, y))
    yield "upside down", moved(lines, lambda x, y: (100000 - x, 50000 - y))
    yield "no unit, no end", [line for line in lines if not line.startswith(("P  UNITS", "999"))]
    aliases: dict[str, str] = {}
    short = []
    for line in lines:
        net = line[3:17].strip()
        if is_point(line) and net and net != "N/C":
            line = line[:3] + aliases.setdefault(net, f"NNAME{len(aliases) + 1}").ljust(14) + line[17:]
        short.append(line)
    for head in ("P", "C"):
        yield f"aliases in {head}", [*(f"{head}  {key} {net}" for net, key in aliases.items()), *short]
    yield "aliases at the end", [*short[:-1], *(f"P  {key} {net}" for net, key in aliases.items()), short[-1]]
    yield "aliases without names", short
    yield "no sizes of lands", [re.sub(r"(X[+-]\d{6}Y[+-]\d{6}).*", r"\1", line) if is_point(line) else line for line in lines]  # fmt: skip
    yield "no drill field", [re.sub(r"D\d{4}[PU]", "      ", line) for line in lines]
    yield "every side", [re.sub(r"A0\d(?=X[+-])", "A00", line) for line in lines]
    yield "two boards", [*lines, *moved(lines, lambda x, y: (x + 150000, y))]
    yield "a second image", [*(line for line in lines if not line.startswith("999")), "P  IMAGE SECONDARY", *moved(lines, lambda x, y: (x + 150000, y))]  # fmt: skip


def same_rows(a: NDArray[np.float64], b: NDArray[np.float64], within: float) -> bool:
    """Whether two (n, 2) lists hold the same places, in any order."""
    return a.shape == b.shape and bool(np.allclose(a[np.lexsort(a.T)], b[np.lexsort(b.T)], atol=within))
