"""``coppermend record`` and ``coppermend label``: the document that goes out with the machine, and what is stuck on it."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend.bootstrap import device_book, label_printer, machine_model, qr_rows, typesetter
from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.findings import Place, refuse
from coppermend.services.cases import case_state
from coppermend.services.labels import label_of, label_pdf
from coppermend.services.recording.editions import PARTS, READERS, chosen, edition
from coppermend.services.records import case_record, lacking_letters, record_html, record_pdf_of

FILE = click.Path(dir_okay=False, path_type=Path)


@click.command("record")
@CASE
@click.option("--pdf", type=FILE, help="Write the record as a PDF to this file.")
@click.option("--html", type=FILE, help="Write the record as one HTML page to this file.")
@click.option(
    "--for",
    "reader",
    type=click.Choice(list(READERS)),
    default="technician",
    show_default=True,
    help="The owner's record in plain words, or everything.",
)
@click.option("--parts", default="", metavar="PART,…", help=f"Only these parts: {', '.join(PARTS)}.")
@click.pass_context
def record_command(ctx: click.Context, case: str, pdf: Path | None, html: Path | None, reader: str, parts: str) -> None:
    """Write the record of a case: the story, maps, readings, what is proven and what is not."""
    if pdf is None and html is None:
        raise refuse("REC-002", "No file was named.", "Say where to write it: --pdf FILE, --html FILE, or both.")
    wanted = chosen(reader, [one.strip() for one in parts.split(",") if one.strip()])
    made, found = shop_and_case(ctx, case)
    book = device_book(ctx.find_root().obj.get("store"))
    view = edition(case_record(made, found, book, machine_model(case_state(made, found).package)), reader, wanted)
    if html is not None:
        _write(html, record_html(view).encode())
    if pdf is not None:
        _write(pdf, record_pdf_of(view, typesetter()))
        lacking = lacking_letters(view, typesetter())
        if lacking:
            named = ", ".join(f"{one} (U+{ord(one):04X})" for one in lacking)
            click.echo(
                f"No font on this computer has {named}: the PDF shows the numbers. Install a font that has them, for instance Noto Sans CJK, "
                "or hand over the record as HTML.",
                err=True,
            )


@click.command("label")
@CASE
@click.option("--pdf", type=FILE, help="Write the label as a PDF to this file.")
@JSON
@click.pass_context
def label_command(ctx: click.Context, case: str, pdf: Path | None, as_json: bool) -> None:
    """Write a label for the machine of a case: its name, serial number, case number, and a QR picture that finds the case again."""
    if pdf is None and not as_json:
        raise refuse("REC-002", "No file was named.", "Say where to write it: --pdf FILE, or --json for its words.")
    made, found = shop_and_case(ctx, case)
    label = label_of(made, found)
    if pdf is not None:
        _write(pdf, label_pdf(label, label_printer(), qr_rows), say=not as_json)
    if as_json:
        print_json(label.as_dict())


def _write(path: Path, data: bytes, *, say: bool = True) -> None:
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
    if say:
        click.echo(f"Wrote {path} ({len(data) / 1000:.0f} kB).")
