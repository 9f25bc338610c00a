"""``coppermend record``: the document that goes out with the machine."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend.bootstrap import device_book, machine_model, typesetter
from coppermend.cli.shop import CASE, shop_and_case
from coppermend.core.findings import Place, refuse
from coppermend.services.cases import case_state
from coppermend.services.records import case_record, record_html, record_pdf_of

FILE = click.Path(dir_okay=False, path_type=Path)


@click.command("record")
@CASE
@click.option("--pdf", type=FILE, help="Write the record as a PDF to this file.")
@click.option("--html", type=FILE, help="Write the record as one HTML page to this file.")
@click.pass_context
def record_command(ctx: click.Context, case: str, pdf: Path | None, html: Path | None) -> None:
    """Write the record of a case: the story, maps, readings, what is proven and what is not."""
    if pdf is None and html is None:
        raise refuse("REC-002", "No file was named.", "Say where to write it: --pdf FILE, --html FILE, or both.")
    made, found = shop_and_case(ctx, case)
    book = device_book(ctx.find_root().obj.get("store"))
    view = case_record(made, found, book, machine_model(case_state(made, found).package))
    if html is not None:
        _write(html, record_html(view).encode())
    if pdf is not None:
        _write(pdf, record_pdf_of(view, typesetter()))


def _write(path: Path, data: bytes) -> None:
    """Write a file; a folder that is not there or a full disk is said in words."""
    try:
        path.write_bytes(data)
    except OSError as err:
        raise refuse(
            "REC-003",
            f"{path} could not be written: {err.strerror or err}.",
            "Name a file in a folder that exists and can be written.",
            Place(file=str(path)),
        ) from err
    click.echo(f"Wrote {path} ({len(data) / 1000:.0f} kB).")
