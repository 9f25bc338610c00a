"""IPC-D-356 and 356A netlists to test points in mm.

``read_ipcd356(data: bytes, name: str) -> Netlist``: ``records`` (TestRecord: net, ref, pin, via, midpoint, hole_mm, plated, access,
x_mm, y_mm, size_x_mm, size_y_mm, rotation_deg, mask, span, board, line), ``conductors``, ``adjacency``, ``outlines``, ``aliases``,
``findings``. Raises Refusal (IPC-...).
"""

from coppermend.formats.ipcd356.model import Conductor, Netlist, TestRecord
from coppermend.formats.ipcd356.reader import read_ipcd356

__all__ = ["Conductor", "Netlist", "TestRecord", "read_ipcd356"]
