"""Writes the bare-board test netlist in IPC-D-356A, the parts list (CSV) and the Gerber job file."""

from __future__ import annotations

import csv
import io
import json

from demo.copper import Board
from demo.footprints import PITCH_MM
from demo.gerber import SOFTWARE
from demo.placement import HEIGHT_MM, MOUNTING_DRILL_MM, MOUNTING_HOLES, WIDTH_MM

_DATE = "2026-11-25T00:00:00+00:00"  # a fixed day, so that the same board gives the same bytes
THICKNESS_MM = 1.6


def _um(mm: float, digits: int) -> str:
    """A length in units of 0.001 mm with leading zeros."""
    return f"{round(mm * 1000):0{digits}d}"


def _record(
    kind: str,
    net: str,
    ref: str,
    pin: str,
    midpoint: bool,
    hole_mm: float,
    plated: bool,
    x_mm: float,
    y_mm: float,
    size_mm: float,
    square: bool,
) -> str:
    """One test record in the columns of IPC-D-356A: coordinates in 0.001 mm, reachable from both sides (A00)."""
    if len(net) > 14 or len(ref) > 6 or len(pin) > 4:
        raise ValueError(f"{net} {ref} {pin}: too long for a record; use a shorter name")
    name = f"{ref:<6}{'-' if pin else ' '}{pin:<4}{'M' if midpoint else ' '}"
    drill = f"D{_um(hole_mm, 4)}{'P' if plated else 'U'}"
    height = _um(size_mm, 4) if square else "0000"
    return f"{kind}{net:<14}   {name}{drill}A00X+{_um(x_mm, 6)}Y+{_um(y_mm, 6)}X{_um(size_mm, 4)}Y{height}R000 S0      "


def ipc_d_356a(board: Board) -> bytes:
    """The netlist: one record 317 for every pin and via, 367 for every unplated hole; unconnected pins have the net N/C."""
    lines = [
        "C  Larkenfell 64 main board, issue 2: an invented computer for practice",
        "C  written by coppermend demo",
        "P  JOB   LARKENFELL64",
        "P  UNITS CUST 1",
        "P  TITLE LARKENFELL 64 MAIN BOARD",
        "P  NUM   LF64-2",
        "P  REV   2",
        "P  VER   IPC-D-356A",
        "P  IMAGE PRIMARY",
    ]
    count: dict[str, int] = {}
    for land in board.lands:
        count[land.net] = count.get(land.net, 0) + 1
    rows = []
    for p in board.lands:
        square = p.land.form == "square"
        middle = bool(p.net) and count[p.net] > 2
        rows.append(
            (
                p.net or "N/C",
                0,
                _record(
                    "317",
                    p.net or "N/C",
                    p.ref,
                    p.number,
                    middle,
                    p.land.hole_mm,
                    True,
                    p.x_mm,
                    p.y_mm,
                    p.land.size_mm,
                    square,
                ),
            )
        )
    for v in board.vias:
        rows.append(
            (v.net, 1, _record("317", v.net, "VIA", "", True, v.hole_mm, True, v.x_mm, v.y_mm, v.land_mm, False))
        )
    lines += [row[2] for row in sorted(rows, key=lambda r: (r[0] == "N/C", r[0], r[1]))]
    for x, y in MOUNTING_HOLES:
        lines.append(
            _record(
                "367",
                "N/C",
                "",
                "",
                False,
                MOUNTING_DRILL_MM,
                False,
                x * PITCH_MM,
                y * PITCH_MM,
                MOUNTING_DRILL_MM,
                False,
            )
        )
    return ("\r\n".join([*lines, "999"]) + "\r\n").encode("ascii")


def parts_csv(board: Board) -> bytes:
    """The parts list: place is the middle of the body in mm, rotation in degrees counter-clockwise, side `c`."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["ref", "type", "value", "package", "state", "x_mm", "y_mm", "rotation", "side"])
    for item in board.parts:
        x, y = item.centre_mm()
        writer.writerow(
            [
                item.part.ref,
                item.part.device.name,
                item.part.value,
                item.footprint.name,
                item.part.state,
                f"{x:.3f}",
                f"{y:.3f}",
                item.rotation,
                "c",
            ]
        )
    return out.getvalue().encode("utf-8")


_FUNCTIONS = (
    ("larkenfell64-copper-component.gbr", "Copper,L1,Top", "Positive"),
    ("larkenfell64-copper-solder.gbr", "Copper,L2,Bot", "Positive"),
    ("larkenfell64-mask-component.gbr", "Soldermask,Top", "Negative"),
    ("larkenfell64-mask-solder.gbr", "Soldermask,Bot", "Negative"),
    ("larkenfell64-legend-component.gbr", "Legend,Top", "Positive"),
    ("larkenfell64-legend-solder.gbr", "Legend,Bot", "Positive"),
    ("larkenfell64-outline.gbr", "Profile", ""),
    ("larkenfell64-drill-plated.xnc", "Plated,1,2,PTH", ""),
    ("larkenfell64-drill-bare.xnc", "NonPlated,1,2,NPTH", ""),
)


def job_file() -> bytes:
    """The Gerber job file (Ucamco, "Gerber Job Format Specification", revision 2020.08): sizes, finish and every file's function."""
    vendor, application, version = SOFTWARE.split(",")
    files = [
        {"Path": path, "FileFunction": function} | ({"FilePolarity": polarity} if polarity else {})
        for path, function, polarity in _FUNCTIONS
    ]
    job = {
        "Header": {
            "GenerationSoftware": {"Vendor": vendor, "Application": application, "Version": version},
            "CreationDate": _DATE,
        },
        "GeneralSpecs": {
            "ProjectId": {"Name": "Larkenfell 64", "GUID": "4c61726b-656e-4665-ac6c-363464656d6f", "Revision": "2"},
            "Size": {"X": round(WIDTH_MM, 3), "Y": round(HEIGHT_MM, 3)},
            "LayerNumber": 2,
            "BoardThickness": THICKNESS_MM,
            "Finish": "HAL SnPb",
        },
        "DesignRules": [
            {"Layers": "Outer", "PadToPad": 0.2, "PadToTrack": 0.2, "TrackToTrack": 0.2, "MinLineWidth": 0.3}
        ],
        "FilesAttributes": files,
        "MaterialStackup": [
            {"Type": "Legend", "Color": "White", "Name": "component legend"},
            {"Type": "SolderMask", "Color": "Green", "Name": "component mask"},
            {"Type": "Copper", "Thickness": 0.035, "Name": "component copper"},
            {"Type": "Dielectric", "Material": "FR4", "Thickness": 1.5, "Name": "laminate"},
            {"Type": "Copper", "Thickness": 0.035, "Name": "solder copper"},
            {"Type": "SolderMask", "Color": "Green", "Name": "solder mask"},
        ],
    }
    return (json.dumps(job, indent=1) + "\n").encode("ascii")
