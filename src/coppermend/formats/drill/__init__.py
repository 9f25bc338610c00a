"""Drill and rout files (Excellon, XNC) to holes, slots and paths in mm.

``read_drill(data, name, hint: DrillFormat | None = None, side: SideFile | None = None) -> DrillFile``: columns of hits (x_mm, y_mm,
x2_mm, y2_mm, diameter_mm, plated 1/0/-1, kind HOLE/SLOT/ROUT, path, tool, line), ``tools``, ``format``, ``guessed``, ``span``,
``file_plated``, ``findings``. ``read_side_file(data, name) -> SideFile | None``. ``candidate_formats(drill) -> tuple[DrillFormat, ...]``
for re-reading when holes miss their lands. Raises Refusal (DRL-...).
"""

from coppermend.formats.drill.decide import candidate_formats
from coppermend.formats.drill.hints import read_side_file
from coppermend.formats.drill.model import HOLE, ROUT, SLOT, DrillFile, DrillFormat, SideFile, Tool
from coppermend.formats.drill.reader import read_drill

__all__ = [
    "HOLE",
    "ROUT",
    "SLOT",
    "DrillFile",
    "DrillFormat",
    "SideFile",
    "Tool",
    "candidate_formats",
    "read_drill",
    "read_side_file",
]
