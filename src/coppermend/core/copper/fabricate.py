"""Records in, board out: prepare, join copper and drill (and the wires that the corrections add), assemble. The islands see no name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from coppermend.core.board.build import Prepared, assemble, prepare
from coppermend.core.board.factory import with_factory_wires
from coppermend.core.board.joined import Islands
from coppermend.core.board.model import Board
from coppermend.core.board.sources import PackageRecords
from coppermend.core.copper.islands import join, layer_copper


def islands_of(prepared: Prepared, step: Callable[[str], None] = lambda _words: None) -> Islands:
    """The islands of a prepared package, layer by layer; ``step`` is told what comes next and may raise to stop."""
    found = []
    for at, source in enumerate(prepared.layers):
        step(f"contacts on {source.image.name}")
        found.append(layer_copper(source.pieces.shapes, prepared.holes, at))
    step("islands")
    return join(found, len(prepared.holes))


def board_from(records: PackageRecords, step: Callable[[str], None] = lambda _words: None) -> Board:
    """The board of a package's records. Raises Refusal when there is no copper layer."""
    step("clear polarity")
    prepared = prepare(records)
    islands = islands_of(prepared, step)
    step("pins, parts and names")
    keys = [layer.key for layer in prepared.layers]
    islands, kept, findings = with_factory_wires(islands, prepared.holes, keys, records.corrections.wires)
    if kept or findings:
        extra = {**prepared.records.extra, **kept}
        told = (*prepared.findings, *findings)
        prepared = replace(prepared, records=replace(prepared.records, extra=extra), findings=told)
    return assemble(prepared, islands)
