"""IPC-2581 (revisions A, B, C) to board records in mm.

``read_ipc2581(data: bytes, name: str) -> Ipc2581``: ``images`` (GerberImage per layer), ``drills``, ``roles``, ``netlist``, ``part_rows``,
``thickness_mm``, ``copper_mm``, ``findings``. XML is read as a stream without document type or entities. Raises Refusal (IPC-...).
"""

from coppermend.formats.ipc2581.model import Ipc2581
from coppermend.formats.ipc2581.reader import read_ipc2581

__all__ = ["Ipc2581", "read_ipc2581"]
