"""One case as one open file in memory, and back: what the page and ``case export`` give out. The rest is in ``bundling``."""

from __future__ import annotations

import io

from coppermend.core.findings import Place, refuse
from coppermend.core.log.words import how_many
from coppermend.services.bundling.reading import open_bundle
from coppermend.services.bundling.taking import Imported, take_in
from coppermend.services.bundling.writing import write_bundle
from coppermend.services.workshop import Workshop

__all__ = ["Imported", "export_case", "import_case"]


def export_case(workshop: Workshop, case: str) -> bytes:
    """The case as one bundle, without its board's files. Refusal CAS-001 when there is no such case, STO-02x when an attachment is missing or changed."""
    out = io.BytesIO()
    write_bundle(out, workshop.store, [case])
    return out.getvalue()


def import_case(workshop: Workshop, data: bytes, name: str = "") -> Imported:
    """Take in an exported case: every checksum, chain and payload is verified before anything is written; entries that are here already stay.

    Refuses with BUN-0xx what is damaged, incomplete or no export of one case; STO-030 when it contradicts the case that is here.
    """
    bundle = open_bundle(io.BytesIO(data), name)
    if len(bundle.cases) != 1:
        words = f"The file holds {how_many(len(bundle.cases), 'case')}; one was expected."
        raise refuse("BUN-008", words, "Take it in with 'coppermend bundle import'.", Place(file=name or None))
    return take_in(workshop.store, bundle).cases[0]
