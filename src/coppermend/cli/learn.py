"""``coppermend learn``: what past cases say of the priors, with their counts; switched off, exported and imported."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend.bootstrap import learned_book
from coppermend.cli import print_json
from coppermend.cli.files import file_bytes
from coppermend.cli.shop import CASE, JSON, shop, shop_and_case
from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import plain
from coppermend.core.log.words import how_many
from coppermend.core.planning.learned import learned_rates
from coppermend.formats.learned import learned_bytes, read_learned
from coppermend.services.learning import (
    LearnedBook,
    drop_learned,
    forget_taken,
    gather,
    in_words,
    learned_view,
    switch,
    take_rows,
    use_learned,
)


def _book(ctx: click.Context) -> LearnedBook:
    return learned_book((ctx.find_root().obj or {}).get("store"))


@click.group("learn")
def learn_command() -> None:
    """What finished cases say of the priors: how often each kind of site failed, on this board model and others."""


@learn_command.command("gather")
@JSON
@click.pass_context
def gather_command(ctx: click.Context, as_json: bool) -> None:
    """Look at every case that changed and keep what the finished, proven ones teach; fit this bench's own times over them."""
    done = gather(shop(ctx), _book(ctx))
    if as_json:
        print_json(done.as_dict())
        return
    teach = (
        f"{how_many(done.teaching, 'case')} {'teaches' if done.teaching == 1 else 'teach'}, {done.new} of them newly"
    )
    click.echo(f"{teach}; times between readings that were used: {done.times_used}.")
    for number, why in done.others:
        click.echo(f"  case {number} teaches nothing: {why}")


@learn_command.command("show")
@click.argument("case", required=False, metavar="CASE")
@JSON
@click.pass_context
def show_command(ctx: click.Context, case: str | None, as_json: bool) -> None:
    """Show each learned prior beside its counts: for CASE (without what it taught itself), or over all board models."""
    book = _book(ctx)
    if case:
        made, found = shop_and_case(ctx, case)
        view = learned_view(made, book, found)
    else:
        held = book.read()
        rates = [plain(one) for one in learned_rates(held.rows(), "")]
        view = {"on": held.on, "used": [], "now": rates, "words": in_words(rates, False, everywhere=True)}
    if as_json:
        print_json(view)
        return
    click.echo(
        f"Learning is {'on' if view['on'] else 'off'}: new cases {'take' if view['on'] else 'do not take'} in what was learned."
    )
    if case:
        click.echo("This case plans with what was learned." if view["used"] else "This case plans without it.")
    for line in view["words"] or ["Nothing was learned yet: coppermend learn gather."]:
        click.echo(f"  {line}")


@learn_command.command("use")
@CASE
@click.pass_context
def use_command(ctx: click.Context, case: str) -> None:
    """Plan a case with what other cases taught from now on (a basis entry in its log)."""
    made, found = shop_and_case(ctx, case)
    entry = use_learned(made, found, _book(ctx))
    click.echo(f"Noted as {entry.bench_seq}: this case is planned with what was learned.")


@learn_command.command("drop")
@CASE
@click.pass_context
def drop_command(ctx: click.Context, case: str) -> None:
    """Plan a case without what was learned."""
    made, found = shop_and_case(ctx, case)
    entry = drop_learned(made, found)
    click.echo(f"Noted as {entry.bench_seq}." if entry else "This case is planned without it already.")


@learn_command.command("switch")
@click.argument("state", type=click.Choice(["on", "off"]))
@click.pass_context
def switch_command(ctx: click.Context, state: str) -> None:
    """Say whether new cases take in what was learned."""
    switch(_book(ctx), state == "on")
    click.echo(f"Learning is {state}.")


@learn_command.command("export")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.pass_context
def export_command(ctx: click.Context, file: Path) -> None:
    """Write what was learned for another shop: counts by board model, damage and site; nothing of cases, machines or owners."""
    rows = _book(ctx).read().rows()
    try:
        file.write_bytes(learned_bytes(rows))
    except OSError as err:
        raise refuse(
            "FIL-002", f"The file cannot be written: {err.strerror or err}.", "Name another one.", Place(file=str(file))
        ) from None
    click.echo(f"The counts of {how_many(len(rows), 'case')} were written to {file}.")


@learn_command.command("import")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.pass_context
def import_command(ctx: click.Context, file: Path) -> None:
    """Take in what another shop learned. A case that is known already counts once."""
    rows = read_learned(file_bytes(file), file.name)
    click.echo(f"{how_many(len(rows), 'case')} in the file, {take_rows(_book(ctx), rows)} new here.")


@learn_command.command("forget")
@click.pass_context
def forget_command(ctx: click.Context) -> None:
    """Let go of everything that came from elsewhere; what this store's own cases teach stays."""
    click.echo(f"{how_many(forget_taken(_book(ctx)), 'case')} from elsewhere forgotten.")
