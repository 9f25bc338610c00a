"""``coppermend schematic``: PDF pages kept with a case, searched by part, pin and net."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend.cli import print_json
from coppermend.cli.files import file_bytes
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.services.schematics import attach_schematic, find_in_schematics, schematic_page, schematics_of


@click.group("schematic")
def schematic_command() -> None:
    """The schematic: pages kept with a case, searched by part, pin and net."""


@schematic_command.command("add")
@CASE
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--words", default="", help="What it is: revision, where it is from.")
@JSON
@click.pass_context
def add_command(ctx: click.Context, case: str, file: Path, words: str, as_json: bool) -> None:
    """Keep the schematic FILE (PDF) with a case, unchanged, by its hash."""
    made, found = shop_and_case(ctx, case)
    noted = attach_schematic(made, found, file_bytes(file), file.name, words)
    row = next(one for one in schematics_of(made, found) if one["entry"] == noted.entry.id)
    if as_json:
        print_json({**row, "noted": noted.as_dict()})
        return
    click.echo(
        f"{noted.entry.bench_seq}  {noted.words}, {sum(p['words'] for p in row['pages'])} words that can be searched."
    )
    if row["note"]:
        click.echo(row["note"])


@schematic_command.command("list")
@CASE
@JSON
@click.pass_context
def list_command(ctx: click.Context, case: str, as_json: bool) -> None:
    """The schematics of a case with their pages."""
    made, found = shop_and_case(ctx, case)
    rows = schematics_of(made, found)
    if as_json:
        print_json({"schematics": rows})
        return
    for row in rows:
        click.echo(
            f"no. {row['ref']}: {row['name']}, {len(row['pages'])} pages. {row['note'] or row['words']}".rstrip()
        )
    if not rows:
        click.echo("The case has no schematic. Attach one: coppermend schematic add CASE FILE.pdf.")


@schematic_command.command("find")
@CASE
@click.argument("text", metavar="NAME")
@JSON
@click.pass_context
def find_command(ctx: click.Context, case: str, text: str, as_json: bool) -> None:
    """Where a part (U5), a pin (U5.3) or a net (/RD) stands on the pages, and on the board. Status 1 when it stands nowhere."""
    made, found = shop_and_case(ctx, case)
    answer = find_in_schematics(made, found, text)
    if as_json:
        print_json(answer)
    else:
        for hit in answer["hits"]:
            x0, y0, _, _ = hit["box"]
            near = f", beside {hit['near']}" if hit["near"] else ""
            click.echo(
                f"page {hit['page']}, {x0 / 72 * 25.4:.0f} mm from the left, {y0 / 72 * 25.4:.0f} mm from the top: {hit['text']} ({hit['what']}{near})"
            )
        place = answer["on_board"]
        if place and "x_mm" in place:
            click.echo(
                f"On the board: {place['what']} at {place['x_mm']:g}, {place['y_mm']:g} mm, {'component' if place['side'] == 'c' else 'solder'} side."
            )
            if place["net_too"]:
                click.echo(
                    f"On the board {answer['asked']} is a net, too, of {', '.join(place['net_too'])}: the pages may mean either."
                )
        elif place:
            click.echo(f"On the board: a net of {', '.join(place['parts'])}.")
        if not answer["hits"]:
            click.echo(f"{answer['asked']} stands on no page.")
    if not answer["hits"]:
        ctx.exit(1)


@schematic_command.command("page")
@CASE
@click.argument("number", type=int, metavar="PAGE")
@click.option(
    "--schematic", "which", default="", metavar="NUMBER", help="Which one, by its number in the log. Default: the last."
)
@click.option(
    "--output", "-o", "output", type=click.Path(path_type=Path), required=True, help="Where the picture (PNG) goes."
)
@click.pass_context
def page_command(ctx: click.Context, case: str, number: int, which: str, output: Path) -> None:
    """Write a page of a schematic as a picture."""
    made, found = shop_and_case(ctx, case)
    rows = schematics_of(made, found)
    data = schematic_page(made, found, which or (rows[-1]["entry"] if rows else ""), number)
    output.write_bytes(data)
    click.echo(f"{output.name}: {len(data) / 1024:.0f} KiB")
